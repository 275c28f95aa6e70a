"""Which columns a workbook has, and where each of them stands."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from equipdecide.calendar import Axis
from equipdecide.decide.compare import Comparison, Outcome
from equipdecide.ledger import Column, Ledger, Working
from equipdecide.scenario.reading import amounts

BAND = 8  # columns of a table side by side; the next ones follow below, so that a printed page stays readable
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
                    yield column, row, place.sheet, address(place.row + row, place.column)


@dataclass(frozen=True, eq=False)
class Block:
    """A working on a sheet: its columns of one figure as a list, the others as tables, an axis each."""

    working: Working
    title: str
    single: tuple[Column, ...]
    tables: tuple[tuple[Axis, tuple[Column, ...]], ...]


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


def address(row: int, column: int, fixed: bool = False) -> str:
    """Return the address of a cell, counted from 0; with dollar signs where fixed."""
    letters, n = "", column
    while n >= 0:
        letters, n = chr(65 + n % 26) + letters, n // 26 - 1
    return f"${letters}${row + 1}" if fixed else f"{letters}{row + 1}"
