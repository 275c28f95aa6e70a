"""A workbook for the accountant: one course beside Keep, every figure a live formula from the column's own text.

The amounts of the scenario are named cells that may be changed; dates, elections and choices are structure and locked.
Each working is a block, periods down the rows; the formula of every column stands over it in words of the workbook.
Needs XlsxWriter (extra ``workbook``). The same comparison gives the same bytes.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from equipdecide.calendar import Axis
from equipdecide.decide.compare import Comparison, Outcome
from equipdecide.ledger import Column, Ledger, Line, Working
from equipdecide.scenario.labels import labels
from equipdecide.scenario.reading import amounts

BAND = 8  # columns of a table side by side; the next ones follow below, so that a printed page stays readable
HOW = 200  # letters of a formula over a column; a source is never cut
FIRST, ANSWER, INPUTS, LAW, LINES = "Read me first", "Answer", "Inputs", "Law", "Lines"
KEEP, COURSE = "keep", "course"

# which sheet the workings of a rule stand on, in the order of the sheets; a rule not named stands with the returns
SUBJECTS: Mapping[str, tuple[str, ...]] = {
    "Shop": (
        "part economics",
        "crashes",
        "bills",
        "hours",
        "capacity",
        "contribution",
        "upkeep",
        "spending",
        "elsewhere",
    ),
    "Loans and orders": ("loan schedule", "settlement", "payoff", "orders", "debt service", "lease", "guarantees"),
    "Books": ("depreciation", "disposal", "section 179", "own books"),
    "Returns": ("income", "reference", "business interest", "limits", "returns", "qualified income"),
    "Payments": ("payments", "tax on the sale"),
    "Worth and cash": ("worth", "cash test", "own money", "coverage"),
}
_GROUPS = ("operating", "investment", "payoff", "borrowing", "debt service", "tax", "between purses")


@dataclass(frozen=True)
class Place:
    """Where a column stands: sheet, first row and column (from 0), and how many cells a row has (wide columns)."""

    sheet: str
    row: int
    column: int
    width: int = 1


@dataclass(eq=False)
class Layout:
    """Which course, which columns, and where each of them stands. ``names`` are the named cells of the inputs."""

    comparison: Comparison
    course: Outcome
    keep: Outcome
    blocks: dict[str, list[Block]] = field(default_factory=dict)
    places: dict[int, Place] = field(default_factory=dict)
    columns: dict[int, Column] = field(default_factory=dict)
    names: dict[int, str] = field(default_factory=dict)

    @property
    def alone(self) -> bool:
        """Whether the course is Keep itself."""
        return self.course is self.keep

    def place(self, column: Column) -> Place:
        """Return where a column stands."""
        return self.places[id(column)]

    def cells(self) -> Iterator[tuple[Column, int, str, str]]:
        """Yield every cell that holds a figure of a column: column, row of its axis, sheet, address."""
        for key, place in self.places.items():
            column = self.columns[key]
            if not column.wide:
                for row in range(len(column.axis)):
                    yield column, row, place.sheet, _address(place.row + row, place.column)


@dataclass(frozen=True, eq=False)
class Block:
    """A working on a sheet: its columns of one figure as a list, the others as tables, an axis each."""

    working: Working
    title: str
    single: tuple[Column, ...]
    tables: tuple[tuple[Axis, tuple[Column, ...]], ...]


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
    _Writer(book, made).write()
    book.close()
    return path


# --- which columns, and where


def lay_out(comparison: Comparison, alternative: str | None = None) -> Layout:
    """Return the columns that one course and Keep rest on, each with its place in the workbook."""
    if alternative is None:
        leader = comparison.leader
        alternative = leader.name if leader.name != "keep" else (comparison.runner_up or leader).name
    made = Layout(comparison, comparison[alternative], comparison.keep)
    wanted = _wanted([made.keep.ledger, made.course.ledger])
    both = {id(c) for c in made.keep.ledger.order} & {id(c) for c in made.course.ledger.order}
    sheets: dict[str, list[Block]] = {}
    for part, ledger, take in (
        ("", made.keep.ledger, True),
        (KEEP, made.keep.ledger, False),
        (COURSE, made.course.ledger, False),
    ):
        if part == COURSE and made.alone:
            continue
        for working in ledger.workings.values():
            columns = [c for c in working if id(c) in wanted and (id(c) in both) is (take or made.alone)]
            if part == KEEP and made.alone or not columns:
                continue
            sheets.setdefault(_sheet_of(working, part), []).append(_block(working, columns))
    order = [INPUTS, LAW, *(f"{subject}{part}" for subject in SUBJECTS for part in ("", f" - {KEEP}", f" - {COURSE}"))]
    made.blocks = {name: sheets[name] for name in sorted(sheets, key=order.index)}
    made.blocks[INPUTS] = [_in_file_order(comparison, block) for block in made.blocks[INPUTS]]
    for name, blocks in made.blocks.items():
        _place(made, name, blocks)
    return made


def _in_file_order(comparison: Comparison, block: Block) -> Block:
    """Return the block of inputs in the order of the scenario."""
    order = {path: k for k, path in enumerate(amounts(comparison.scenario))}
    return replace(block, single=tuple(sorted(block.single, key=lambda column: order.get(column.name, len(order)))))


def _wanted(ledgers: Sequence[Ledger]) -> set[int]:
    """Return the columns of the ledgers' own drafts, of their lines, and all those they were made from."""
    found: set[int] = set()
    own = [
        c
        for ledger in ledgers
        for c in ledger.order
        if not c.full_name.startswith(("inputs.", "law.", "discounting on", "hours of", "loan "))
    ]
    open_ = [*own, *(line.column for ledger in ledgers for line in ledger.lines)]
    while open_:
        column = open_.pop()
        if id(column) not in found:
            found.add(id(column))
            open_ += column.args
            if column.certificate is not None:
                open_.append(column.certificate)
    return found


def _sheet_of(working: Working, part: str) -> str:
    if working.name == "inputs":
        return INPUTS
    if working.name == "law":
        return LAW
    subject = next((name for name, rules in SUBJECTS.items() if working.rule in rules), "Returns")
    return f"{subject} - {part}" if part else subject


def _block(working: Working, columns: Sequence[Column]) -> Block:
    single = tuple(c for c in columns if len(c.axis) == 1 and not c.wide)
    axes: dict[int, tuple[Axis, list[Column]]] = {}
    for column in columns:
        if len(column.axis) > 1 or column.wide:
            axes.setdefault(id(column.axis), (column.axis, []))[1].append(column)
    says = working.says if working.says not in ("", working.name) else ""
    name = _short(working.name)
    return Block(
        working,
        f"{name}: {says}" if says else name,
        single,
        tuple((axis, tuple(found)) for axis, found in axes.values()),
    )


def _short(text: str) -> str:
    """Shorten the name of a working that lists many days."""
    return text if len(text) <= 60 else f"{text[:57].rsplit(', ', 1)[0]} and later"


TABLE_HEAD = 4  # rows of heading over a table: a free one, what it says, its unit, its formula


def _place(made: Layout, sheet: str, blocks: Sequence[Block]) -> None:
    row = 3 if sheet not in (INPUTS, LAW) else 4
    for block in blocks:
        row += 2  # a free row and the title
        for column in block.single:
            _put(made, column, Place(sheet, row, 1))
            row += 1
        for axis, columns in block.tables:
            for band in bands(columns):
                row += TABLE_HEAD
                at = 1
                for column in band:
                    width = column.values.shape[0] if column.wide else 1
                    at += 1 if column.wide else 0  # the cell before a wide column holds zero
                    _put(made, column, Place(sheet, row, at, width))
                    at += width
                row += len(axis)


def bands(columns: Sequence[Column]) -> Iterator[list[Column]]:
    """Split the columns of a table into bands that fit a page."""
    band: list[Column] = []
    used = 0
    for column in columns:
        width = column.values.shape[0] + 1 if column.wide else 1
        if band and used + width > BAND:
            yield band
            band, used = [], 0
        band.append(column)
        used += width
    if band:
        yield band


def _put(made: Layout, column: Column, place: Place) -> None:
    made.places[id(column)] = place
    made.columns[id(column)] = column
    if column.origin is not None and column.origin.kind == "input":
        made.names[id(column)] = _cell_name(column.origin.ref, made.names.values())


def _cell_name(path: str, taken: Iterable[str]) -> str:
    """Return the name of an input's cell: its path with underscores, never mistaken for an address."""
    plain = re.sub(r"[^A-Za-z0-9_]+", "_", path).strip("_")[:200]
    name = plain if plain[:1].isalpha() and "_" in plain else f"input_{plain}"
    known, k = {each.lower() for each in taken}, 2
    while name.lower() in known:
        name, k = f"{plain}_{k}", k + 1
    return name


def _address(row: int, column: int, fixed: bool = False) -> str:
    letters, n = "", column
    while n >= 0:
        letters, n = chr(65 + n % 26) + letters, n // 26 - 1
    return f"${letters}${row + 1}" if fixed else f"{letters}{row + 1}"


# --- a column's formula as cells


class Addresses:
    """The cells of the columns that one column speaks of (see ``formula.SheetAddresses``)."""

    def __init__(self, made: Layout, column: Column) -> None:
        assert column.formula is not None
        self.made, self.sheet = made, made.place(column).sheet
        own = column.formula.own
        names = [name for name in column.formula.names if not (name == own and column.formula.recurs)]
        self.columns = dict(zip(names, column.args, strict=True))
        if column.formula.recurs and own is not None:
            self.columns[own] = column
        self.axes = {name: found.axis for name, found in self.columns.items()}

    def _on(self, place: Place) -> str:
        return (
            "" if place.sheet == self.sheet else f"'{place.sheet}'!" if not place.sheet.isalpha() else f"{place.sheet}!"
        )

    def at(self, name: str, row: int) -> str:
        """Return the cell of column `name` at `row` of its own axis; an input by the name of its cell."""
        column = self.columns[name]
        if id(column) in self.made.names:
            return self.made.names[id(column)]
        place = self.made.place(column)
        return self._on(place) + _address(place.row + row, place.column, True)

    def whole(self, name: str) -> str:
        """Return the absolute range of the whole column `name`."""
        column = self.columns[name]
        place = self.made.place(column)
        return (
            self._on(place)
            + _address(place.row, place.column, True)
            + ":"
            + _address(place.row + len(column.axis) - 1, place.column, True)
        )

    def across(self, name: str, row: int) -> tuple[str, str]:
        """Return the cells of a wide column at `row`, and the cells one to their left."""
        place = self.made.place(self.columns[name])
        found = []
        for shift in (0, -1):
            first, last = place.column + shift, place.column + place.width - 1 + shift
            found.append(
                self._on(place) + _address(place.row + row, first, True) + ":" + _address(place.row + row, last, True)
            )
        return found[0], found[1]


def cell_formulas(made: Layout, column: Column) -> list[str]:
    """Return the spreadsheet formulas of a formula column, a row each, with the leading equals sign."""
    assert column.formula is not None
    addresses = Addresses(made, column)
    return ["=" + column.formula.cell(row, column.axis, addresses.axes, addresses) for row in range(len(column.axis))]


# --- writing


def _kind(unit: str) -> str:
    if unit.startswith("USD") or unit == "%":
        return "money"
    if unit in ("share", "1/year"):
        return "percent"
    return "plain" if unit in ("h", "h/year", "day", "count", "min") else "ratio"


_NUMBERS = {"money": "#,##0.00", "percent": "0.00%", "plain": "#,##0.00", "ratio": "0.0000", "whole": "0"}
_PAPER = 1  # US letter


class _Writer:
    def __init__(self, book: Any, made: Layout) -> None:
        self.book, self.made = book, made
        scenario = made.comparison.scenario
        self.currency = scenario.currency
        book.set_properties(
            {"title": scenario.title, "created": dt.datetime.combine(scenario.decision_date, dt.time())}
        )
        book.set_calc_mode("auto")
        base = {"font_name": "Calibri", "font_size": 10, "valign": "top"}
        self.title = book.add_format(base | {"bold": True, "font_size": 15})
        self.head = book.add_format(base | {"bold": True, "font_size": 11, "bottom": 1})
        self.label = book.add_format(
            base | {"bold": True, "text_wrap": True, "bottom": 1, "align": "right", "valign": "bottom"}
        )
        self.corner = book.add_format(base | {"bold": True, "bottom": 1, "valign": "bottom"})
        self.beside = book.add_format(base | {"indent": 1})
        self.left = book.add_format(base | {"bold": True, "text_wrap": True, "bottom": 1})
        self.text = book.add_format(base | {"text_wrap": True})
        self.short = book.add_format(base)
        self.small = book.add_format(
            base | {"font_size": 8, "font_color": "#555555", "text_wrap": True, "align": "right"}
        )
        self.aside = book.add_format(base | {"font_size": 8, "font_color": "#555555"})
        self.numbers = {kind: book.add_format(base | {"num_format": number}) for kind, number in _NUMBERS.items()}
        self.strong = book.add_format(base | {"num_format": _NUMBERS["money"], "bold": True, "top": 1})
        self.open = {
            kind: book.add_format(
                base
                | {"num_format": number, "locked": False, "bg_color": "#FFF6D6", "border": 1, "border_color": "#C9A227"}
            )
            for kind, number in _NUMBERS.items()
        }

    def write(self) -> None:
        first, answer = self._sheet(FIRST), self._sheet(ANSWER)
        sheets = {name: self._sheet(name, tall=name != INPUTS) for name in self.made.blocks}
        lines = self._sheet(LINES)
        self._first(first)
        self._answer(answer)
        for name, blocks in self.made.blocks.items():
            if name == INPUTS:
                self._inputs(sheets[name], blocks[0])
            else:
                self._blocks(sheets[name], name, blocks)
        self._lines(lines)
        first.activate()

    def _sheet(self, name: str, tall: bool = False) -> Any:
        sheet = self.book.add_worksheet(name)
        sheet.protect("", {"format_columns": True, "format_rows": True, "select_locked_cells": True})
        if not tall:
            sheet.set_landscape()
        sheet.set_paper(_PAPER)
        sheet.fit_to_pages(1, 0)
        sheet.set_margins(0.5, 0.5, 0.6, 0.6)
        sheet.set_footer(f"&L{name}&RPage &P of &N")
        sheet.hide_gridlines(2)
        return sheet

    def _heading(self, sheet: Any, text: str, says: str) -> None:
        sheet.set_row(0, 24)
        sheet.write_string(0, 0, text, self.title)
        sheet.write_string(1, 0, says, self.short)

    # the first sheets

    def _first(self, sheet: Any) -> None:
        made = self.made
        scenario, course = made.comparison.scenario, made.course.name
        sheet.set_column(0, 0, 28)
        sheet.set_column(1, 1, 105)
        self._heading(
            sheet,
            scenario.title,
            f"{scenario.shop.name}, decided as of {scenario.decision_date.isoformat()}, in {self.currency}",
        )
        against = "Keep, which changes nothing" if made.alone else f"{course}, beside Keep, which changes nothing"
        rows = [
            (
                "What this is",
                f"The whole computation of {against}. Every figure is a live formula; nothing is hidden and nothing "
                f"asks another file.",
            ),
            (
                "Where the answer is",
                f"On the sheet {ANSWER}: present worth, the lowest cash, what the sale leaves, what each purpose costs or brings.",
            ),
            (
                "What may be changed",
                f"The yellow cells of the sheet {INPUTS}, and only those. Every other figure follows at once.",
            ),
            (
                "What is locked",
                "Dates, elections, conventions, which offer is taken, which loan: they decide which formulas stand "
                "here. To change one, change the scenario file and write the workbook anew. The sheets are protected "
                "without a password.",
            ),
            (
                "How to trace a figure",
                "Over each column stands its formula in words, in grey; each cell holds the same as a formula. A "
                "sheet's name says whose figures it holds: keep, course, or both where neither is named.",
            ),
            (
                "What does not follow",
                "A yearly rate of a loan that has to be solved for is written as a figure; its check beside it is "
                "zero at the figures of the file. No other figure reads it.",
            ),
            (
                "Signs and units",
                f"Positive is money to the purse named. Amounts are in {self.currency}, unrounded unless a formula "
                f"rounds to cents. Rates are a year.",
            ),
            (
                "Law",
                f"Rates, limits and brackets stand on the sheet {LAW} with their source. They are read for the dates "
                f"above; a later law is not known to this file.",
            ),
            (
                "What to print",
                f"The sheets {FIRST}, {ANSWER}, {INPUTS} and {LINES}. The others are workings, of many pages, to be "
                f"followed on a screen.",
            ),
            (
                "What it is not",
                "An estimate for a decision, not tax, legal or lending advice. The return, the elections and the "
                "settlement are for a licensed practitioner and the lender's own letter to confirm.",
            ),
        ]
        row = 3
        for name, text in rows:
            sheet.write_string(row, 0, name, self.left)
            sheet.write_string(row, 1, text, self.text)
            sheet.set_row(row, 15 * (1 + len(text) // 118) + 2)
            row += 1
        row += 1
        for outcome in dict.fromkeys((made.course, made.keep)):
            sheet.write_string(row, 0, f"Locked in {outcome.name}", self.head)
            sheet.write_string(row, 1, "", self.head)
            row += 1
            for name, text in _locked(outcome):
                sheet.write_string(row, 0, name, self.text)
                sheet.write_string(row, 1, text, self.text)
                row += 1
            row += 1
        sheet.write_string(row, 0, "Sheets", self.head)
        sheet.write_string(row, 1, "", self.head)
        for name in (ANSWER, *made.blocks, LINES):
            row += 1
            sheet.write_url(row, 0, f"internal:'{name}'!A1", self.short, name)
            sheet.write_string(row, 1, _about(name), self.text)

    def _answer(self, sheet: Any) -> None:
        made = self.made
        sheet.set_column(0, 0, 52)
        sheet.set_column(1, 3, 18)
        sheet.set_column(4, 4, 30)
        self._heading(
            sheet, "Answer", f"{made.course.name} beside Keep, in {self.currency}; both follow the sheet {INPUTS}"
        )
        row = 3
        heads = [
            "",
            *([made.course.name] if not made.alone else []),
            "Keep",
            *(["Difference"] if not made.alone else []),
        ]
        row = self._compared(
            sheet,
            row,
            "Present worth after tax, by what the money is for",
            heads,
            [(group, f"worth.{group}", False) for group in _GROUPS]
            + [
                ("Present worth of all purses together", "worth.npv", True),
                ("Level yearly amount of the same", "worth.annual_worth", False),
                ("Of the present worth: loans taken, paid and paid off", "worth.npv_financing", False),
            ],
        )
        measured = [
            ("Lowest cash of the shop", "cash test.lowest", True),
            ("Lowest cash less the floor", "cash test.margin", False),
            ("Own money before the first good part", "own money.needed", False),
            ("Operating cash over loan payments, worst full year", "coverage.worst", False),
        ]
        found = [entry for entry in measured if self._has(entry[1])]
        if found:
            row = self._compared(sheet, row + 1, "Cash and loans", heads, found)
        for sale in made.course.plan.sales:
            key = f"settlement {sale.machine}"
            if not sale.at_end and key in made.course.ledger.workings:
                row = self._settlement(
                    sheet,
                    row + 1,
                    key,
                    f"What the sale of {sale.machine} leaves on {sale.sold_on.isoformat()}, before tax",
                )
        sheet.freeze_panes(3, 1)

    def _has(self, name: str) -> bool:
        return all(_found(o.ledger, name) is not None for o in (self.made.course, self.made.keep))

    def _compared(
        self, sheet: Any, row: int, title: str, heads: Sequence[str], entries: Sequence[tuple[str, str, bool]]
    ) -> int:
        sheet.write_string(row, 0, title, self.left)
        for at, head in enumerate(heads[1:], start=1):
            sheet.write_string(row, at, head, self.label)
        for text, name, strong in entries:
            row += 1
            sheet.write_string(row, 0, text[:1].upper() + text[1:], self.head if strong else self.short)
            style = self.strong if strong else self.numbers["money"]
            pair = [_found(o.ledger, name) for o in dict.fromkeys((self.made.course, self.made.keep))]
            columns = [c for c in pair if c is not None]
            for at, column in enumerate(columns, start=1):
                sheet.write_formula(row, at, self._link(column), style, column.figure())
            if len(columns) == 2:
                sheet.write_formula(
                    row, 3, f"={_address(row, 1)}-{_address(row, 2)}", style, columns[0].figure() - columns[1].figure()
                )
        return row + 1

    def _settlement(self, sheet: Any, row: int, key: str, title: str) -> int:
        sheet.write_string(row, 0, title, self.left)
        sheet.write_string(row, 1, "", self.left)
        working = self.made.course.ledger.workings[key]
        for name in (
            "gross",
            "commission",
            "costs",
            "payoff",
            "release",
            "net_cash",
            "to_owner",
            "shortfall",
            "balance",
        ):
            if name in working and id(working[name]) in self.made.places:
                row += 1
                says = working[name].says
                sheet.write_string(row, 0, says[:1].upper() + says[1:], self.short)
                sheet.write_formula(
                    row,
                    1,
                    self._link(working[name]),
                    self.strong if name == "net_cash" else self.numbers["money"],
                    working[name].figure(),
                )
        return row + 1

    def _link(self, column: Column, row: int = 0) -> str:
        place = self.made.place(column)
        return f"='{place.sheet}'!{_address(place.row + row, place.column, True)}"

    # inputs

    def _inputs(self, sheet: Any, block: Block) -> None:
        known = amounts(self.made.comparison.scenario)
        sheet.set_column(0, 0, 62)
        sheet.set_column(1, 1, 18)
        sheet.set_column(2, 2, 12)
        sheet.set_column(3, 3, 24)
        sheet.set_column(4, 4, 30)
        sheet.set_column(5, 5, 48)
        self._heading(
            sheet,
            "Inputs",
            "Change the yellow cells; every figure of both courses follows. What neither course reads is not here.",
        )
        titles = labels(self.made.comparison.scenario)
        for at, head in enumerate(
            ("Figure of the scenario", "Value", "Unit", "Given by", "Range in the file", "Key in the file")
        ):
            sheet.write_string(4, at, head, self.left if at != 1 else self.label)
        for column in block.single:
            place = self.made.place(column)
            assert column.origin is not None
            amount = known.get(column.origin.ref)
            path = column.origin.ref
            sheet.write_string(place.row, 0, titles.get(path, path).replace("`", ""), self.short)
            sheet.write_string(place.row, 5, path, self.aside)
            sheet.write_number(place.row, 1, column.figure(), self.open[_kind(column.unit)])
            sheet.write_string(place.row, 2, _unit(column.unit, self.currency), self.beside)
            sheet.write_string(
                place.row,
                3,
                ", ".join(x for x in ((amount.given_by, amount.by, amount.on) if amount else ()) if x) or "not said",
                self.short,
            )
            if amount is not None and amount.low is not None and amount.high is not None:
                ends = (amount.low, amount.likely, amount.high)
                percent = _kind(column.unit) == "percent"
                sheet.write_string(
                    place.row,
                    4,
                    " .. ".join(f"{100 * x:,.6g} %" if percent else f"{x:,.10g}" for x in ends),
                    self.short,
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
            self.book.define_name(self.made.names[id(column)], f"='{INPUTS}'!{_address(place.row, 1, True)}")
        sheet.freeze_panes(5, 1)
        sheet.repeat_rows(4)

    # blocks

    def _blocks(self, sheet: Any, name: str, blocks: Sequence[Block]) -> None:
        sheet.set_column(0, 0, 36)
        sheet.set_column(1, 40, 14)
        self._heading(sheet, name, _about(name, self.made.course.name))
        for block in blocks:
            head = self._top(block)
            sheet.write_string(head, 0, block.title[:1].upper() + block.title[1:], self.head)
            for at in range(1, BAND + 1):
                sheet.write_string(head, at, "", self.head)
            for column in block.single:
                self._single(sheet, column)
            for _, columns in block.tables:
                for band in bands(columns):
                    self._table(sheet, band)
        sheet.freeze_panes(2, 1)

    def _top(self, block: Block) -> int:
        rows = [self.made.place(c).row - 1 for c in block.single]
        rows += [self.made.place(c).row - 1 - TABLE_HEAD for _, columns in block.tables for c in columns]
        return min(rows)

    def _single(self, sheet: Any, column: Column) -> None:
        place = self.made.place(column)
        sheet.write_string(place.row, 0, _says(column), self.text if len(_says(column)) > 44 else self.short)
        self._cells(sheet, column)
        sheet.write_string(place.row, 2, _unit(column.unit, self.currency), self.beside)
        sheet.write_string(place.row, 3, _how(column), self.aside)

    def _table(self, sheet: Any, band: Sequence[Column]) -> None:
        top = self.made.place(band[0]).row
        sheet.set_row(top - 3, 66)
        longest = max(len(_how(column)) for column in band)
        sheet.set_row(top - 1, 11 * (1 + longest // 17) + 2)
        sheet.write_string(top - 3, 0, _axis_word(band[0].axis), self.corner)
        for row, label in enumerate(band[0].axis.labels):
            sheet.write_string(top + row, 0, label or str(row + 1), self.short)
        for column in band:
            place = self.made.place(column)
            sheet.write_string(top - 3, place.column, _says(column), self.label)
            sheet.write_string(top - 2, place.column, _unit(column.unit, self.currency), self.small)
            sheet.write_string(top - 1, place.column, _how(column), self.small)
            self._cells(sheet, column)

    def _cells(self, sheet: Any, column: Column) -> None:
        counted = (
            column.kind == "given"
            and _kind(column.unit) == "ratio"
            and bool((column.values == column.values.round()).all())
        )
        place, style = self.made.place(column), self.numbers["whole" if counted else _kind(column.unit)]
        if column.wide:
            sheet.write_string(place.row - 3, place.column - 1, "Before the first", self.label)
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
        for row, text in enumerate(cell_formulas(self.made, column)):
            sheet.write_formula(place.row + row, place.column, text, style, float(values[row]))

    def _lines(self, sheet: Any) -> None:
        for at, width in enumerate((44, 14, 16, 30, 18, 44)):
            sheet.set_column(at, at, width)
        self._heading(
            sheet,
            "Lines",
            "Every dated cash flow, whose it is, what it is for, and where its amounts stand. Sums are not discounted.",
        )
        row = 3
        for outcome in dict.fromkeys((self.made.course, self.made.keep)):
            for at, head in enumerate((f"Lines of {outcome.name}", "Purse", "For", "When", "Sum", "Amounts on sheet")):
                sheet.write_string(row, at, head, self.label if at == 4 else self.left)
            for line in outcome.ledger.lines:
                row += 1
                place = self.made.place(line.column)
                for at, text in enumerate((line.name, line.purse, line.group, _when(line))):
                    sheet.write_string(row, at, text, self.short)
                last = _address(place.row + len(line.column.axis) - 1, place.column, True)
                sheet.write_formula(
                    row,
                    4,
                    f"=SUM('{place.sheet}'!{_address(place.row, place.column, True)}:{last})",
                    self.numbers["money"],
                    float(line.amounts().sum()),
                )
                sheet.write_url(
                    row,
                    5,
                    f"internal:'{place.sheet}'!{_address(place.row, place.column)}",
                    self.short,
                    f"{place.sheet}, {_address(place.row, place.column)}",
                )
            row += 2
        sheet.freeze_panes(2, 1)


def _found(ledger: Ledger, name: str) -> Column | None:
    working, _, column = name.partition(".")
    return ledger.workings[working].columns.get(column) if working in ledger.workings else None


def _when(line: Line) -> str:
    if line.dates is None:
        axis = line.column.axis
        return f"spread over {axis.starts[0].isoformat()} to {axis.ends[-1].isoformat()}"
    days = sorted(set(line.dates))
    return (
        days[0].isoformat() if len(days) == 1 else f"{days[0].isoformat()} to {days[-1].isoformat()}, {len(days)} days"
    )


def _locked(outcome: Outcome) -> list[tuple[str, str]]:
    """Say what of a course is structure: steps with their dates, sales, and how each item is depreciated."""
    plan = outcome.plan
    rows = [(f"{step.do}", f"{_step_text(step)}, on {step.on.isoformat()}") for step in plan.steps] or [
        ("no step", "nothing is bought, sold or changed")
    ]
    rows += [
        ("sale", f"{s.machine} by {s.offer_name}: sold {s.sold_on.isoformat()}, paid {s.paid_on.isoformat()}")
        for s in plan.sales
    ]
    for name, working in outcome.ledger.workings.items():
        if name.startswith("federal book of ") or name.startswith("state book of "):
            rows.append((name.partition(" of ")[0], working.says))
    return rows


def _step_text(step: Any) -> str:
    parts = [str(getattr(step, key)) for key in ("machine", "improvement", "what") if getattr(step, key, None)]
    parts += [f"by {step.by}"] if getattr(step, "by", None) else []
    paid = getattr(step, "pay", None) or []
    parts += [f"paid with {', '.join(paid)}"] if paid else []
    return ", ".join(parts)


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


def _unit(unit: str, currency: str) -> str:
    return "" if unit == "1" else unit.replace("USD", currency)


def _axis_word(axis: Axis) -> str:
    return {
        "month": "Month",
        "year": "Tax year",
        "stretch": "From",
        "payment": "Payment",
        "day": "Day",
        "period": "Period",
    }.get(axis.name, axis.name.capitalize())


def _about(name: str, course: str = "the course") -> str:
    subject, _, part = name.partition(" - ")
    says = {
        ANSWER: "Present worth, cash, what the sale leaves",
        INPUTS: "Figures of the scenario; the only cells to change",
        LAW: "Rates, limits and brackets in force, with source",
        LINES: "Every dated cash flow, with its sum and where it stands",
        "Shop": "Hours, contribution, upkeep and other yearly money",
        "Loans and orders": "Loan schedules, payoff, settlement of the sale, purchases",
        "Books": "Depreciation by item, gain on the sale",
        "Returns": "Income of the business, returns of the owners",
        "Payments": "When tax is paid",
        "Worth and cash": "Cash by period and purse, present worth",
    }.get(subject, subject)
    whose = {KEEP: "of Keep", COURSE: f"of {course}"}.get(part, "")
    return f"{says}, {whose}" if whose else says
