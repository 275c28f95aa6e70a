"""The sheet of lines: every dated cash flow."""

from __future__ import annotations

from typing import Any

from equipdecide.ledger import Line
from equipdecide.views.workbook.layout import address
from equipdecide.views.workbook.paper import Paper


def write_lines(paper: Paper, sheet: Any) -> None:
    """Write the sheet of dated cash flows of both courses."""
    for at, width in enumerate((44, 14, 16, 30, 18, 44)):
        sheet.set_column(at, at, width)
    paper.heading(
        sheet,
        "Lines",
        "Every dated cash flow, whose it is, what it is for, and where its amounts stand. Sums are not discounted.",
    )
    row = 3
    for outcome in dict.fromkeys((paper.made.course, paper.made.keep)):
        for at, head in enumerate((f"Lines of {outcome.name}", "Purse", "For", "When", "Sum", "Amounts on sheet")):
            sheet.write_string(row, at, head, paper.label if at == 4 else paper.left)
        for line in outcome.ledger.lines:
            row += 1
            place = paper.made.place(line.column)
            for at, text in enumerate((line.name, line.purse, line.group, _when(line))):
                sheet.write_string(row, at, text, paper.short)
            last = address(place.row + len(line.column.axis) - 1, place.column, True)
            sheet.write_formula(
                row,
                4,
                f"=SUM('{place.sheet}'!{address(place.row, place.column, True)}:{last})",
                paper.numbers["money"],
                float(line.amounts().sum()),
            )
            sheet.write_url(
                row,
                5,
                f"internal:'{place.sheet}'!{address(place.row, place.column)}",
                paper.short,
                f"{place.sheet}, {address(place.row, place.column)}",
            )
        row += 2
    sheet.freeze_panes(2, 1)


def _when(line: Line) -> str:
    if line.dates is None:
        axis = line.column.axis
        return f"spread over {axis.starts[0].isoformat()} to {axis.ends[-1].isoformat()}"
    days = sorted(set(line.dates))
    return (
        days[0].isoformat() if len(days) == 1 else f"{days[0].isoformat()} to {days[-1].isoformat()}, {len(days)} days"
    )
