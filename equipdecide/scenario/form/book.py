"""A scenario as a workbook to fill in, and a filled one read back: every fault by its cell.

The first sheet asks the fifteen questions. Each blank is one row; where its figure may be doubtful it has three cells,
low, likely and high. What is left empty is "don't know" and takes the default that stands beside it. The later sheets
(:mod:`equipdecide.scenario.form.layout`) hold everything else a scenario can say; once anything stands there, they
count and the answers do not. Needs the extra ``workbook``.
"""

from __future__ import annotations

import datetime as dt
import warnings
import zipfile
import zlib
from functools import cache
from pathlib import Path
from typing import Any

import yaml

from equipdecide.scenario.amounts import AmountError, Quantity
from equipdecide.scenario.asking.questions import (
    BLANKS,
    QUESTIONS,
    UNKNOWN,
    AnswerError,
    Blank,
    scenario_from_answers,
)
from equipdecide.scenario.faults import Fault, ScenarioError
from equipdecide.scenario.form.cells import FIRST_SHEET, Cell
from equipdecide.scenario.models import Scenario
from equipdecide.scenario.tree import Place, Source
from equipdecide.scenario.writing import dump

SHEET = FIRST_SHEET
DAY_KEY = "decided"
DAY_LABEL = "Day of the decision"
LOW, LIKELY, HIGH, KEY = "C", "D", "E", "H"  # columns
FIRST_ROW = 6
# Figures that stand on a paper, or are the owner's own to say: one cell. All others may be doubtful.
EXACT = frozenset(
    {
        "cost",
        "deducted",
        "owed",
        "payment",
        "commission",
        "shift_week",
        "upgrade_price",
        "new_price",
        "deposit",
        "cash",
        "floor",
    }
)
MADE = dt.datetime(2026, 1, 1)  # a day that is always the same, so that the same form is the same file
NEEDED = "A form needs XlsxWriter and openpyxl: pip install 'equipdecide[workbook]'."
HOW = (
    "Fill in the yellow cells; leave empty what you do not know, and the default in column F is taken and marked "
    "as such. Nothing leaves this computer.",
    "Where a figure is doubtful give the low, the likely and the high one. Write none where there is nothing. "
    "Words such as about 60k are read too. The later sheets hold all else, and once anything stands there, they "
    "count and these answers do not.",
)
HELD = (
    "This form holds a whole scenario on its later sheets. They count; answers on this sheet would not be used.",
    "The fifteen questions are for a start from nothing: for that, leave the later sheets empty.",
)
NOT_USED = (
    "The answers on the sheet Questions are not used: the later sheets of the form are filled in, and they count. To "
    "start from the answers, make a new form of a copy whose later sheets are empty."
)


def doubtful(blank: Blank) -> bool:
    """Tell whether a blank has three cells, low, likely and high."""
    return isinstance(blank.kind, Quantity) and blank.key not in EXACT


def rows() -> dict[str, int]:
    """Return the row of each blank by its key, and of the day of the decision."""
    found, row = {DAY_KEY: FIRST_ROW - 1}, FIRST_ROW
    for question in QUESTIONS:
        row += 1  # the question itself
        for blank in question.blanks:
            found[blank.key] = row
            row += 1
    return found


# --- writing


def form(path: str | Path, scenario: Scenario | None = None) -> Path:
    """Write a form: empty, or with a scenario on its later sheets; returns its path.

    The same scenario makes the same file, byte by byte. Raises ImportError where XlsxWriter is missing, ValueError
    where a text is too long for a cell.
    """
    try:
        import xlsxwriter

        from equipdecide.scenario.form.sheets import Sheets
    except ImportError:
        raise ImportError(NEEDED) from None
    path = Path(path)
    book = xlsxwriter.Workbook(
        str(path), {"strings_to_formulas": False, "strings_to_numbers": False, "strings_to_urls": False}
    )
    book.set_properties(
        {
            "title": scenario.title if scenario is not None else "Fifteen questions",
            "comments": "Estimates for a decision, not tax, legal, lending or safety advice.",
            "created": MADE,
        }
    )
    _Sheet(book, HOW if scenario is None else HELD).write()
    later = Sheets(book, scenario)
    later.write()
    if scenario is not None:
        book.worksheets()[1].activate()
    book.close()
    return path


class _Sheet:
    """The first sheet: a row for each blank under its question, answer cells open, all else locked."""

    def __init__(self, book: Any, says: tuple[str, ...]) -> None:
        self.says = says
        wrap = {"text_wrap": True, "valign": "top"}
        self.title = book.add_format({"bold": True, "font_size": 14})
        self.plain = book.add_format(wrap)
        self.head = book.add_format({"bold": True, "bottom": 1, **wrap})
        self.question = book.add_format({"bold": True, "top": 1, "bg_color": "#EAF1F3", "valign": "top"})
        self.where = book.add_format({"italic": True, "font_color": "#444444", "top": 1, "bg_color": "#EAF1F3", **wrap})
        self.label = book.add_format({"indent": 1, **wrap})
        self.default = book.add_format({"font_color": "#444444", "indent": 1, **wrap})
        self.must = book.add_format({"font_color": "#8A3B00", "bold": True, "indent": 1, **wrap})
        look = {
            "locked": False,
            "bg_color": "#FFF7D6",
            "border": 1,
            "border_color": "#B8A85C",
            "valign": "top",
            "align": "right",
        }
        self.answer = {
            shape: book.add_format(
                look | {"num_format": shape} | ({"align": "left", "text_wrap": True} if shape == "@" else {})
            )
            for shape in ("General", "0.0#%", "yyyy-mm-dd", "@")
        }
        self.sheet = book.add_worksheet(SHEET)

    def write(self) -> None:
        sheet = self.sheet
        for column, width in (("A:A", 5), ("B:B", 44), ("C:E", 15), ("F:F", 34), ("G:G", 46)):
            sheet.set_column(column, width)
        sheet.set_column(f"{KEY}:{KEY}", 12, None, {"hidden": True})
        sheet.write_string("A1", "Keep, upgrade, replace or sell? Fifteen questions", self.title)
        for k, said in enumerate(self.says):
            sheet.write_string(f"A{2 + k}", said)
        for column, head in zip(
            "ABCDEFG", ("No.", "Question", "Low", "Likely", "High", "If left empty", "Where to find it"), strict=True
        ):
            sheet.write_string(f"{column}{FIRST_ROW - 2}", head, self.head)
        place = rows()
        self._row(place[DAY_KEY], DAY_KEY, DAY_LABEL, "today", self.answer["yyyy-mm-dd"], "A day, such as 2026-09-14")
        for question in QUESTIONS:
            top = place[question.blanks[0].key] - 1
            sheet.write_number(f"A{top}", question.number, self.question)
            for column in "CDEF":  # empty, so that the question runs over them; merged cells are a barrier
                sheet.write_blank(f"{column}{top}", None, self.question)
            sheet.write_string(f"B{top}", question.ask, self.question)
            sheet.write_string(f"G{top}", question.where, self.where)
            sheet.set_row(top - 1, _height((question.where, 46)))
            for blank in question.blanks:
                self._blank(place[blank.key], blank)
        sheet.freeze_panes(FIRST_ROW - 2, 2)
        sheet.protect("", {"select_locked_cells": True, "format_columns": True, "format_rows": True})
        sheet.set_landscape()
        sheet.fit_to_pages(1, 0)
        sheet.repeat_rows(FIRST_ROW - 3)
        sheet.print_area(f"A1:G{max(place.values())}")
        sheet.activate()

    def _blank(self, row: int, blank: Blank) -> None:
        default = "must be answered" if blank.must else blank.default
        self._row(row, blank.key, blank.label, default, self.answer[_shape(blank)], _hint(blank), blank.must)
        if doubtful(blank):
            for column in (LOW, HIGH):
                self.sheet.write_blank(f"{column}{row}", None, self.answer[_shape(blank)])
                self._says(f"{column}{row}", f"{blank.label}: {'low' if column == LOW else 'high'}", _hint(blank))
        if isinstance(blank.kind, tuple):
            choice = {
                "validate": "list",
                "source": list(blank.kind),
                "error_type": "warning",
                "error_message": "This is not one of the list; it will be read as typed.",
            }
            self._says(f"{LIKELY}{row}", blank.label, _hint(blank), choice)

    def _row(self, row: int, key: str, label: str, default: str, look: Any, hint: str, must: bool = False) -> None:
        sheet = self.sheet
        sheet.set_row(row - 1, _height((label, 40), (default, 32)))
        sheet.write_string(f"B{row}", label, self.label)
        sheet.write_blank(f"{LIKELY}{row}", None, look)
        sheet.write_string(f"F{row}", default, self.must if must else self.default)
        sheet.write_string(f"{KEY}{row}", key)
        if key not in BLANKS or not isinstance(BLANKS[key].kind, tuple):
            self._says(f"{LIKELY}{row}", label, hint)

    def _says(self, cell: str, label: str, hint: str, check: dict[str, Any] | None = None) -> None:
        """What a cell asks for, shown where it is chosen and read aloud by a screen reader."""
        self.sheet.data_validation(
            cell,
            {**(check or {"validate": "any"}), "input_title": label[:32], "input_message": f"{label}. {hint}"[:255]},
        )


def _height(*texts: tuple[str, int]) -> float:
    """Return the height of a row that holds texts in columns of so many signs; not every program finds it itself."""
    return 15.5 * max(1, *(-(-len(text) // signs) for text, signs in texts)) + 1


def _shape(blank: Blank) -> str:
    if isinstance(blank.kind, Quantity):
        return "0.0#%" if blank.kind.example.endswith("%") else "General"
    return {
        "day": "yyyy-mm-dd",
        "number": "General",
        "years": "General",
        "deposit": "General",
        "deducted": "General",
    }.get(blank.kind if isinstance(blank.kind, str) else "", "@")


def _hint(blank: Blank) -> str:
    if isinstance(blank.kind, tuple):
        return f"One of: {', '.join(blank.kind)}."
    example = (
        blank.kind.example
        if isinstance(blank.kind, Quantity)
        else {"day": "2021-03-01", "owners": "Ines 60 %, Walt 40 %", "state": "OH", "number": "60", "years": "7"}.get(
            blank.kind, ""
        )
    )
    return (f"For example {example}." if example else "") + (" Or none." if blank.none else "")


# --- reading


def answers(path: str | Path) -> tuple[dict[str, str], dt.date | None]:
    """Return what a filled form says, by the key of each blank as it would be typed, and the day of the decision.

    Raises :class:`ScenarioError` with every cell that cannot be read as such, ImportError where openpyxl is missing.
    """
    filled = _Filled(Path(path))
    if filled.faults:
        raise ScenarioError(filled.faults)
    return filled.answers, filled.day


def read_form(path: str | Path) -> Scenario:
    """Return the scenario of a filled form: of its later sheets where anything stands there, else that of the answers.

    Raises :class:`ScenarioError` with every fault by its cell, OSError where the file cannot be opened, ImportError
    where openpyxl is missing.
    """
    path = Path(path)
    book = _open(path)
    from equipdecide.scenario.form.read import LaterSheets

    later = LaterSheets(book, cache(lambda: _open(path, values=False)), path)
    if not later.filled():
        filled = _Filled(path, book)
        scenario: Scenario = filled.use(lambda: scenario_from_answers(filled.answers, filled.day))
        scenario._source = Source(path.name, path.parent, scenario.source.places, _left_out(later))
        return scenario
    said = [NOT_USED] if SHEET in book.sheetnames and _any_answer(book[SHEET]) else []
    try:
        scenario = later.scenario()
    except ScenarioError as error:
        if said:  # said with the faults too: it may be what went wrong
            what, _, mend = NOT_USED.partition(". ")
            first = Fault(Cell(path.name, 1, 1, "A1", "", SHEET, 0), "", what, mend)
            raise ScenarioError([first, *error.faults]) from None
        raise
    source = scenario.source
    scenario._source = Source(source.name, source.folder, source.places, (*said, *_left_out(later)))
    return scenario


def _left_out(later: Any) -> tuple[str, ...]:
    """Say which sheets of a form are not read."""
    return tuple(f"The sheet {name} is no sheet of a form and is not read." for name in later.not_read())


def _any_answer(sheet: Any) -> bool:
    return any(
        sheet[f"{column}{row}"].value is not None
        for row in range(FIRST_ROW - 1, sheet.max_row + 1)
        if sheet[f"{KEY}{row}"].value
        for column in (LOW, LIKELY, HIGH)
    )


def remarks_in(text: str) -> int:
    """Return how many lines of a scenario file carry a remark after #: a form has no place for them.

    >>> remarks_in("# yaml-language-server: x\\ntitle: 'one # two'  # a remark\\n# another\\n")
    2
    """
    masked = list(text)
    for token in yaml.scan(text, Loader=yaml.BaseLoader):
        if isinstance(token, yaml.ScalarToken):
            masked[token.start_mark.index : token.end_mark.index] = "x" * (
                token.end_mark.index - token.start_mark.index
            )
    lines = "".join(masked).splitlines()
    return sum("#" in line and not line.startswith("# yaml-language-server") for line in lines)


def form_to_yaml(path: str | Path) -> str:
    """Return the scenario file that a filled form makes. Raises as :func:`read_form`."""
    return dump(read_form(path))


class _Filled:
    """A filled form: the answers as they would be typed, and what is wrong with its cells."""

    def __init__(self, path: Path, book: Any = None) -> None:
        self.file = path.name
        self.answers: dict[str, str] = {}
        self.day: dt.date | None = None
        self.faults: list[Fault] = []
        self.rows = rows()
        book = book if book is not None else _open(path)
        if SHEET not in book.sheetnames:
            fault = Fault(Cell(self.file, 1, 1, "A1"), "", f"there is no sheet {SHEET}", "Begin with an empty form")
            raise ScenarioError([fault])
        self.sheet, self.written = book[SHEET], _open(path, values=False)[SHEET]
        self._find_rows()
        for key, row in self.rows.items():
            self._read(key, row)

    def _find_rows(self) -> None:
        """Go by the keys in the hidden column, so that rows put in or sorted away do no harm."""
        found = {
            str(self.sheet[f"{KEY}{row}"].value): row
            for row in range(1, self.sheet.max_row + 1)
            if self.sheet[f"{KEY}{row}"].value
        }
        lost = [key for key in self.rows if key not in found]
        if lost:
            labels = ", ".join(BLANKS[key].label if key in BLANKS else DAY_LABEL for key in lost)
            raise ScenarioError(
                [
                    Fault(
                        Cell(self.file, 1, 1, "A1"), "", f"rows are gone: {labels}", "Begin with an empty form, or undo"
                    )
                ]
            )
        self.rows = {key: found[key] for key in self.rows}

    def _read(self, key: str, row: int) -> None:
        if key == DAY_KEY:
            self._read_day(row)
            return
        blank = BLANKS[key]
        columns = (LOW, LIKELY, HIGH) if doubtful(blank) else (LIKELY,)
        typed = {column: self._text(f"{column}{row}", blank) for column in columns}
        likely, low, high = typed[LIKELY], typed.get(LOW, ""), typed.get(HIGH, "")
        before = len(self.faults)
        for column in columns:
            self._try(blank, f"{column}{row}", typed[column], single=bool(low or high))
        if bool(low) != bool(high):
            self._fault(
                f"{LOW if not low else HIGH}{row}",
                blank.label,
                f"the {'low' if not low else 'high'} figure is missing",
                "Give both low and high, or leave both empty",
            )
        if len(self.faults) > before:
            return
        answer = likely
        if low and high:
            answer = f"{low} .. {likely} .. {high}" if likely else f"{low} to {high}"
            self._try(blank, f"{LIKELY}{row}", answer)
        if answer:
            self.answers[key] = answer

    def _try(self, blank: Blank, cell: str, text: str, single: bool = False) -> None:
        if text.lower() in UNKNOWN:
            return
        try:
            read = blank.read(text)
        except AmountError as error:
            self._fault(cell, blank.label, error.what, error.mend)
            return
        if single and (read is None or read.low is not None):
            self._fault(cell, blank.label, f"'{text}' is not one figure", "Write one figure in each of the three cells")

    def _read_day(self, row: int) -> None:
        text = self._text(f"{LIKELY}{row}", BLANKS["in_service"])
        if text.lower() in UNKNOWN:
            return
        try:
            self.day = BLANKS["in_service"].read(text)
        except AmountError as error:
            self._fault(f"{LIKELY}{row}", DAY_LABEL, error.what, error.mend)

    def _text(self, cell: str, blank: Blank) -> str:
        """What a cell holds, as it would be typed: a number with its per cent sign, a day as in the files."""
        value = self.sheet[cell].value
        if value is None:
            if self.written[cell].value is not None:
                self._fault(
                    cell,
                    blank.label,
                    "this formula holds no result",
                    "Open the form in a spreadsheet program and save it, or type the figure",
                )
            return ""
        if isinstance(value, dt.datetime | dt.date):
            return (value.date() if isinstance(value, dt.datetime) else value).isoformat()
        if isinstance(value, bool) or not isinstance(value, int | float):
            return " ".join(str(value).split())
        if "%" in self.sheet[cell].number_format:
            return f"{value * 100:.10g} %"
        return f"{value:,.6f}".rstrip("0").rstrip(".") if blank.kind not in ("number", "years") else f"{value:.10g}"

    def _fault(self, cell: str, label: str, what: str, mend: str) -> None:
        self.faults.append(Fault(self._cell(cell, label), "", what, mend))

    def _cell(self, cell: str, label: str) -> Cell:
        return Cell(self.file, int(cell[1:]), ord(cell[0]) - ord("A") + 1, cell, label)

    def use(self, make: Any) -> Any:
        """Return what `make` makes of the answers; its problems and those of the cells are raised together."""
        try:
            made = make()
        except AnswerError as error:
            told = {fault.place.line for fault in self.faults}
            for key, text in error.problems.items():
                row = self.rows.get(key)
                if row is None:
                    self.faults.append(Fault(Cell(self.file, 1, 1, "A1"), key, *_two(text)))
                elif row not in told:
                    self._fault(f"{LIKELY}{row}", BLANKS[key].label, *_two(text))
        if self.faults:
            raise ScenarioError(sorted(self.faults, key=lambda fault: (fault.place.line, fault.place.column)))
        return made


def _two(text: str) -> tuple[str, str]:
    """Divide what is said of a fault into what is wrong and how to mend it."""
    if text == "This must be answered.":
        return "this must be answered", "Write an answer in the yellow cell"
    what, _, mend = text.partition(". ")
    return what, mend or "Write an answer in the yellow cell"


def _open(path: Path, values: bool = True) -> Any:
    try:
        import openpyxl
    except ImportError:
        raise ImportError(NEEDED) from None
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # what it leaves out of a file is none of the reader's business
            return openpyxl.load_workbook(path, data_only=values)
    except (zipfile.BadZipFile, zlib.error, KeyError, ValueError, TypeError, IndexError, SyntaxError, EOFError):
        raise ScenarioError(
            [Fault(Place(path.name, 1, 1), "", "this is no workbook", "Save it as .xlsx from the spreadsheet program")]
        ) from None
