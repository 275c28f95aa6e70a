"""A copy of a form in which what is wrong is marked: each cell red with a comment, and all of it
listed on a sheet in front.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from equipdecide.scenario.faults import Fault
from equipdecide.scenario.form.book import NEEDED, _open
from equipdecide.scenario.form.cells import FAULTS, Cell

AUTHOR = "equipdecide"
COLUMNS = (("Sheet", 18), ("Cell", 8), ("What it asks", 44), ("What is wrong", 50), ("How to mend it", 60))
RED, YELLOW = "FFFF9B8F", "FFFFF7D6"


def mark(path: str | Path, faults: Sequence[Fault], copy: str | Path) -> Path:
    """Write a copy of a filled form with its faults marked; the form itself is left as it is.

    Marks of an earlier copy are taken off first. Raises ImportError where openpyxl is missing, OSError where the copy
    cannot be written, ValueError where it would be the form itself.
    """
    try:
        from openpyxl.comments import Comment
        from openpyxl.styles import PatternFill
    except ImportError:
        raise ImportError(NEEDED) from None
    path, copy = Path(path), Path(copy)
    if copy.resolve() == path.resolve():
        raise ValueError(f"{path.name} is the form itself: give the marked copy another name")
    book = _open(path, values=False)
    _unmark(book, PatternFill("solid", start_color=YELLOW, end_color=YELLOW))
    marked: dict[tuple[str, str], list[Fault]] = {}
    for fault in faults:
        if isinstance(fault.place, Cell) and fault.place.sheet in book.sheetnames:
            marked.setdefault((fault.place.sheet, fault.place.name), []).append(fault)
    for (sheet, name), found in marked.items():
        cell = book[sheet][name]
        cell.fill = PatternFill("solid", start_color=RED, end_color=RED)
        cell.comment = Comment(
            "\n".join(_sentences(fault) for fault in found), AUTHOR, width=340, height=60 + 50 * len(found)
        )
    _list(book, faults)
    book.save(copy)
    return copy


def _unmark(book: Any, plain: Any) -> None:
    if FAULTS in book.sheetnames:
        del book[FAULTS]
    for sheet in book.worksheets:
        for row in sheet.iter_rows():
            for cell in row:
                if cell.comment is not None and cell.comment.author == AUTHOR:
                    cell.comment, cell.fill = None, plain


def _sentences(fault: Fault) -> str:
    texts = (text if text.endswith((".", "?", "!")) else f"{text}." for text in (fault.what, fault.mend))
    return " ".join(text[:1].upper() + text[1:] for text in texts)


def _list(book: Any, faults: Sequence[Fault]) -> None:
    """Put a sheet in front that lists the faults, each with a link to its cell."""
    from openpyxl.styles import Alignment, Font

    sheet = book.create_sheet(FAULTS, 0)
    count = len(faults)
    sheet["A1"] = f"{count} fault{'s' if count != 1 else ''} in this form"
    sheet["A1"].font = Font(name="Calibri", bold=True, size=14)
    sheet["A2"] = "Each is red on its sheet, with the same words in a comment. Correct the form itself, not this copy."
    for column, (head, width) in enumerate(COLUMNS, 1):
        sheet.cell(4, column, head).font = Font(name="Calibri", bold=True)
        sheet.column_dimensions["ABCDE"[column - 1]].width = width
    for row, fault in enumerate(faults, 5):
        place = fault.place
        here = (place.sheet, place.name, place.label) if isinstance(place, Cell) else (str(place), "", "")
        texts = (*here, *(f"{text[:1].upper()}{text[1:]}" for text in (fault.what, fault.mend)))
        lines = max(-(-len(text) // (width - 6)) for text, (_, width) in zip(texts[2:], COLUMNS[2:], strict=True))
        sheet.row_dimensions[row].height = 15.5 * max(1, lines) + 1
        for column, text in enumerate(texts, 1):
            cell = sheet.cell(row, column)
            cell.value, cell.data_type = text, "s"  # text, whatever it begins with
            cell.alignment = Alignment(wrap_text=True, vertical="top")
        if isinstance(place, Cell) and place.sheet in book.sheetnames:
            sheet.cell(row, 2).hyperlink = f"#'{place.sheet}'!{place.name}"
            sheet.cell(row, 2).font = Font(name="Calibri", color="FF0072B2", underline="single")
    sheet.freeze_panes = "A5"
    sheet.page_setup.orientation, sheet.page_setup.fitToHeight = "landscape", 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    for other in book.worksheets:
        other.sheet_view.tabSelected = other is sheet
    book.active = 0
