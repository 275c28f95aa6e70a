"""The sheets of workings: each a block, periods down the rows, the formula of each column over it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from equipdecide.calendar import Axis
from equipdecide.ledger import Column
from equipdecide.views.workbook.cells import cell_formulas
from equipdecide.views.workbook.layout import BAND, TABLE_HEAD, Block, bands
from equipdecide.views.workbook.paper import Paper, about, kind_of, unit_in

HOW = 200  # letters of a formula over a column; a source is never cut


def write_workings(paper: Paper, sheet: Any, name: str, blocks: Sequence[Block]) -> None:
    """Write a sheet of workings, formulas live."""
    sheet.set_column(0, 0, 36)
    sheet.set_column(1, 40, 14)
    paper.heading(sheet, name, about(name, paper.made.course.name))
    for block in blocks:
        head = _top(paper, block)
        sheet.write_string(head, 0, block.title[:1].upper() + block.title[1:], paper.head)
        for at in range(1, BAND + 1):
            sheet.write_string(head, at, "", paper.head)
        for column in block.single:
            _single(paper, sheet, column)
        for _, columns in block.tables:
            for band in bands(columns):
                _table(paper, sheet, band)
    sheet.freeze_panes(2, 1)


def _top(paper: Paper, block: Block) -> int:
    rows = [paper.made.place(c).row - 1 for c in block.single]
    rows += [paper.made.place(c).row - 1 - TABLE_HEAD for _, columns in block.tables for c in columns]
    return min(rows)


def _single(paper: Paper, sheet: Any, column: Column) -> None:
    place = paper.made.place(column)
    sheet.write_string(place.row, 0, _says(column), paper.text if len(_says(column)) > 44 else paper.short)
    _cells(paper, sheet, column)
    sheet.write_string(place.row, 2, unit_in(column.unit, paper.currency), paper.beside)
    sheet.write_string(place.row, 3, _how(column), paper.aside)


def _table(paper: Paper, sheet: Any, band: Sequence[Column]) -> None:
    top = paper.made.place(band[0]).row
    sheet.set_row(top - 3, 66)
    longest = max(len(_how(column)) for column in band)
    sheet.set_row(top - 1, 11 * (1 + longest // 17) + 2)
    sheet.write_string(top - 3, 0, _axis_word(band[0].axis), paper.corner)
    for row, label in enumerate(band[0].axis.labels):
        sheet.write_string(top + row, 0, label or str(row + 1), paper.short)
    for column in band:
        place = paper.made.place(column)
        sheet.write_string(top - 3, place.column, _says(column), paper.label)
        sheet.write_string(top - 2, place.column, unit_in(column.unit, paper.currency), paper.small)
        sheet.write_string(top - 1, place.column, _how(column), paper.small)
        _cells(paper, sheet, column)


def _cells(paper: Paper, sheet: Any, column: Column) -> None:
    counted = (
        column.kind == "given"
        and kind_of(column.unit) == "ratio"
        and bool((column.values == column.values.round()).all())
    )
    place, style = paper.made.place(column), paper.numbers["whole" if counted else kind_of(column.unit)]
    if column.wide:
        sheet.write_string(place.row - 3, place.column - 1, "Before the first", paper.label)
        for row in range(len(column.axis)):
            sheet.write_number(place.row + row, place.column - 1, 0, style)
            for k in range(place.width):
                sheet.write_number(
                    place.row + row,
                    place.column + k,
                    float(column.values[k, row if column.values.shape[1] > 1 else 0, 0]),
                    style,
                )
        return
    values = column.per_row()
    if column.kind != "formula":
        for row, value in enumerate(values):
            sheet.write_number(place.row + row, place.column, float(value), style)
        return
    for row, text in enumerate(cell_formulas(paper.made, column)):
        sheet.write_formula(place.row + row, place.column, text, style, float(values[row]))


def _says(column: Column) -> str:
    says = column.says or column.name
    return says[:1].upper() + says[1:]


def _how(column: Column) -> str:
    """Say how a column is made: its formula, or where it is given."""
    if column.formula is not None:
        if column.formula.text == "same":
            return column.args[0].name
        text = column.formula.text
        if len(text) > HOW:
            text = f"{text[: HOW - 10].rsplit(' ', 1)[0]} and so on"
        return text
    if column.kind == "computed":
        return "solved at the figures of the file: it does not follow a changed amount, and its check is then not zero"
    if column.origin is None:
        return ""
    source = f": {column.origin.source}" if column.origin.source else ""
    status = (
        f" ({column.origin.status})" if column.origin.kind == "law" and column.origin.status not in ("", "read") else ""
    )
    return f"{column.origin.kind}, {column.origin.ref}{source}{status}"


def _axis_word(axis: Axis) -> str:
    return {
        "month": "Month",
        "year": "Tax year",
        "stretch": "From",
        "payment": "Payment",
        "day": "Day",
        "period": "Period",
    }.get(axis.name, axis.name.capitalize())
