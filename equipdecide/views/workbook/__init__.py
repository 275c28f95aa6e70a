"""A workbook for the accountant: one course beside Keep, every figure a live formula from the column's own text.

The amounts of the scenario are named cells that may be changed; dates, elections and choices are structure and locked.
Each working is a block, periods down the rows; the formula of every column stands over it in words of the workbook.
Needs XlsxWriter (extra ``workbook``). The same comparison gives the same bytes.
"""

from __future__ import annotations

from pathlib import Path

from equipdecide.decide.compare import Comparison
from equipdecide.views.workbook.cells import cell_formulas
from equipdecide.views.workbook.front import write_answer, write_first
from equipdecide.views.workbook.inputs import write_inputs
from equipdecide.views.workbook.layout import ANSWER, FIRST, INPUTS, LINES, Layout, lay_out
from equipdecide.views.workbook.lines import write_lines
from equipdecide.views.workbook.paper import Paper
from equipdecide.views.workbook.workings import write_workings

__all__ = ["ANSWER", "FIRST", "INPUTS", "Layout", "cell_formulas", "lay_out", "workbook"]


def workbook(comparison: Comparison, path: str | Path, alternative: str | None = None) -> Path:
    """Write `alternative` (the leading course, if left out) and Keep as a workbook of live formulas; returns its path.

    Raises KeyError for an unknown course, ImportError where XlsxWriter is not installed.
    """
    try:
        import xlsxwriter
    except ImportError:
        raise ImportError("A workbook needs XlsxWriter: pip install 'equipdecide[workbook]'.") from None
    made = lay_out(comparison, alternative)
    path = Path(path)
    book = xlsxwriter.Workbook(
        str(path), {"strings_to_formulas": False, "strings_to_numbers": False, "strings_to_urls": False}
    )
    _write(Paper(book, made))
    book.close()
    return path


def _write(paper: Paper) -> None:
    first, answer = paper.sheet(FIRST), paper.sheet(ANSWER)
    sheets = {name: paper.sheet(name, tall=name != INPUTS) for name in paper.made.blocks}
    lines = paper.sheet(LINES)
    write_first(paper, first)
    write_answer(paper, answer)
    for name, blocks in paper.made.blocks.items():
        if name == INPUTS:
            write_inputs(paper, sheets[name], blocks[0])
        else:
            write_workings(paper, sheets[name], name, blocks)
    write_lines(paper, lines)
    first.activate()
