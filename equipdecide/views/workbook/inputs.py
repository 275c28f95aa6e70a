"""The sheet of inputs: the only cells to change."""

from __future__ import annotations

from typing import Any

from equipdecide.scenario.labels import labels
from equipdecide.scenario.reading import amounts
from equipdecide.views.workbook.layout import INPUTS, Block, address
from equipdecide.views.workbook.paper import Paper, kind_of, unit_in


def write_inputs(paper: Paper, sheet: Any, block: Block) -> None:
    """Write the sheet of inputs, each a named cell that may be changed."""
    known = amounts(paper.made.comparison.scenario)
    sheet.set_column(0, 0, 62)
    sheet.set_column(1, 1, 18)
    sheet.set_column(2, 2, 12)
    sheet.set_column(3, 3, 24)
    sheet.set_column(4, 4, 30)
    sheet.set_column(5, 5, 48)
    paper.heading(
        sheet,
        "Inputs",
        "Change the yellow cells; every figure of both courses follows. What neither course reads is not here.",
    )
    titles = labels(paper.made.comparison.scenario)
    for at, head in enumerate(
        ("Figure of the scenario", "Value", "Unit", "Given by", "Range in the file", "Key in the file")
    ):
        sheet.write_string(4, at, head, paper.left if at != 1 else paper.label)
    for column in block.single:
        place = paper.made.place(column)
        assert column.origin is not None
        amount = known.get(column.origin.ref)
        path = column.origin.ref
        sheet.write_string(place.row, 0, titles.get(path, path).replace("`", ""), paper.short)
        sheet.write_string(place.row, 5, path, paper.aside)
        sheet.write_number(place.row, 1, column.figure(), paper.open[kind_of(column.unit)])
        sheet.write_string(place.row, 2, unit_in(column.unit, paper.currency), paper.beside)
        sheet.write_string(
            place.row,
            3,
            ", ".join(x for x in ((amount.given_by, amount.by, amount.on) if amount else ()) if x) or "not said",
            paper.short,
        )
        if amount is not None and amount.low is not None and amount.high is not None:
            ends = (amount.low, amount.likely, amount.high)
            percent = kind_of(column.unit) == "percent"
            sheet.write_string(
                place.row,
                4,
                " .. ".join(f"{100 * x:,.6g} %" if percent else f"{x:,.10g}" for x in ends),
                paper.short,
            )
        sheet.data_validation(
            place.row,
            1,
            place.row,
            1,
            {
                "validate": "decimal",
                "criteria": "between",
                "minimum": -9999999999,
                "maximum": 9999999999,
                "error_title": "A number",
                "error_message": "Write a number here.",
            },
        )
        paper.book.define_name(paper.made.names[id(column)], f"='{INPUTS}'!{address(place.row, 1, True)}")
    sheet.freeze_panes(5, 1)
    sheet.repeat_rows(4)
