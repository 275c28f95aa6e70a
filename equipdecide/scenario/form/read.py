"""Reading the later sheets of a form: the same tree as a scenario file makes, so that the same checks see it."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

from openpyxl.utils import get_column_letter

from equipdecide.scenario.amounts import AmountError, decimal_text
from equipdecide.scenario.faults import Fault, ScenarioError, did_you_mean
from equipdecide.scenario.form.cells import FAULTS, FIRST_SHEET, Cell, read_bracket, read_list, read_who
from equipdecide.scenario.form.layout import ITEM, NAME, Keys, Line, Page, Part, pages
from equipdecide.scenario.form.sheets import FIRST, HINT, HOW_HEAD, KEY, LABEL, PRESENT, TOP, WHO, WHO_LABEL
from equipdecide.scenario.form.words import faults_in_form_words
from equipdecide.scenario.models import Scenario
from equipdecide.scenario.reading import of_tree
from equipdecide.scenario.tree import NOBODY, Items, Provenance, Source, Table, Text

_KEY = re.compile(rf"name:\d|{WHO}|[.#:][\w.]*")
EMPTY_FORMULA = (
    "this formula holds no result",
    "Open the form in a spreadsheet program and save it, or type the figure",
)


class LaterSheets:
    """What stands on the sheets of a form after the questions.

    `book` is the workbook with values; `written` gives it with formulas, asked for only where a cell is empty.
    """

    def __init__(self, book: Any, written: Callable[[], Any], path: Path) -> None:
        self.book, self.written, self.file, self.folder = book, written, path.name, path.parent
        self.faults: list[Fault] = []
        self.cells: dict[str, tuple[Cell, Page]] = {}  # where a form asks for what stands at a path
        self.currency = "USD"
        self.root = Table(Cell(self.file, 1, 1, "A1", "", pages()[0].sheet, 1), "", NOBODY, self.currency)
        self.there = [page for page in pages() if page.sheet in book.sheetnames]

    # --- is there anything

    def filled(self) -> bool:
        """Tell whether anything was filled in on these sheets."""
        return any(True for page in self.there for _ in self._filled(page))

    def _filled(self, page: Page) -> Iterator[Any]:
        sheet = self.book[page.sheet]
        for row in sheet.iter_rows(min_row=TOP + 1 if page.cards else TOP + 4, min_col=FIRST + 1 if page.cards else 1):
            for cell in row:
                if cell.value is not None and not (page.cards and not page.called and cell.row == TOP + 1):
                    yield cell

    def not_read(self) -> list[str]:
        """Return the names of sheets that are no part of a form."""
        known = {FIRST_SHEET, FAULTS, *(page.sheet for page in pages())}
        return [name for name in self.book.sheetnames if name not in known]

    # --- the scenario

    def scenario(self) -> Scenario:
        """Return the scenario of these sheets. Raises :class:`ScenarioError` with every fault by its cell."""
        self._currency()
        for page in self.there:
            (self._cards if page.cards else self._rows)(page)
        scenario, found = of_tree(self.root, self.file, self.folder)
        faults = faults_in_form_words([*self.faults, *found], self.cells)
        if faults or scenario is None:
            raise ScenarioError(faults)
        scenario._source = Source(self.file, self.folder, {path: cell for path, (cell, _) in self.cells.items()})
        return scenario

    def _currency(self) -> None:
        page = pages()[0]
        if page in self.there:
            for row in range(TOP + 1, self.book[page.sheet].max_row + 1):
                if self.book[page.sheet].cell(row, KEY + 1).value == ".currency":
                    self.currency = str(self.book[page.sheet].cell(row, FIRST + 1).value or "USD").strip()
        self.root.currency = self.currency

    def cell(self, page: Page, row: int, column: int, label: str) -> Cell:
        name = f"{get_column_letter(column)}{row}"
        return Cell(self.file, row, column, name, label, page.sheet, 1 + pages().index(page))

    def fault(self, cell: Cell, what: str, mend: str) -> None:
        self.faults.append(Fault(cell, "", what, mend))

    def known(self, path: str, cell: Cell, page: Page) -> None:
        self.cells.setdefault(path, (cell, page))

    # --- sheets of cards

    def _cards(self, page: Page) -> None:
        sheet = self.book[page.sheet]
        keys = self._keys(page)
        if not keys:
            return
        heads = {key: row for row, key in keys if key.startswith("name:")}
        self.known(".".join(page.bare_path), self.cell(page, min(heads.values(), default=TOP + 1), FIRST + 1, ""), page)
        met: dict[tuple[str, ...], str] = {}
        last = max((cell.column for cell in self._filled(page)), default=FIRST + 1)
        for column in range(FIRST + 1, last + 1 if page.called else FIRST + 2):
            names = tuple(
                self._text(page, heads[f"name:{k}"], column, Line((), "", "words")) for k in range(len(heads))
            )
            if page.called and not any(sheet.cell(row, column).value is not None for row, _ in keys):
                continue
            at = self.cell(page, heads.get(f"name:{len(names) - 1}", TOP + 1), column, "")
            if page.called and not self._named(
                page, names, [heads[f"name:{k}"] for k in range(len(names))], column, met
            ):
                continue
            self._entry(page, keys, names, column, at)

    def _keys(self, page: Page) -> list[tuple[int, str]]:
        """Return row and key of each row that asks for something; a row put in below one with a
        name of its own joins it.
        """
        sheet = self.book[page.sheet]
        found: list[tuple[int, str]] = []
        above = ""
        for row in range(TOP + 1, sheet.max_row + 1):
            key = str(sheet.cell(row, KEY + 1).value or "")
            key = key if _KEY.fullmatch(key) else ""
            filled = [c for c in range(FIRST + 1, sheet.max_column + 1) if sheet.cell(row, c).value is not None]
            if not key and above.startswith(":"):
                key = above if sheet.cell(row, LABEL + 1).value is not None or filled else ""
            elif not key and filled and (page.called or row > TOP + 1):
                cell = self.cell(page, row, filled[0], "")
                self.fault(
                    cell, "this row belongs to no question", "Write it in a row of the form, and delete this one"
                )
            if key:
                found.append((row, key))
                above = key
        if sum(key.startswith("name:") for _, key in found) != len(page.called):
            found = []
        elif sheet.cell(TOP + max(1, len(page.called)), HINT + 1).value != HOW_HEAD:
            cell = self.cell(page, TOP + max(1, len(page.called)), HINT + 1, "")
            what = "columns or rows before the answers were moved, so nothing here can be read"
            self.fault(cell, what, "Undo, or begin with a new form")
            return []
        if not found and any(True for _ in self._filled(page)):
            cell = self.cell(page, 1, 1, "")
            self.fault(
                cell, "the hidden first column is gone, so nothing here can be read", "Undo, or begin with a new form"
            )
        return found

    def _named(
        self, page: Page, names: tuple[str, ...], rows: list[int], column: int, met: dict[tuple[str, ...], str]
    ) -> bool:
        """Tell whether an entry has its names, each of them good, and all together met for the first time."""
        good = True
        for level, (name, row, called) in enumerate(zip(names, rows, page.called, strict=True)):
            cell = self.cell(page, row, column, called)
            if not name:
                self.fault(cell, "a name is missing", "Write a name, or empty what stands below it")
                good = False
            elif "." in name:
                self.fault(cell, f"the name '{name}' holds a full stop", "Leave it out of names")
                good = False
            elif level < len(names) - 1 or page.path[-1] == ITEM and len(page.bare_path) > 1:
                good = self._parent(page, name, cell) and good
        if good and names in met:
            cell = self.cell(page, rows[-1], column, page.called[-1])
            self.fault(cell, f"'{names[-1]}' stands here twice", f"Keep one of the two; the other is in {met[names]}")
            return False
        if good and page.path[-1] != ITEM:
            met[names] = self.cell(page, rows[-1], column, "").name
        return good

    def _parent(self, page: Page, name: str, cell: Cell) -> bool:
        """Tell whether what an entry hangs on is there."""
        above = self.root.get(page.path[0])
        known = list(above) if isinstance(above, Table) else []
        if name in known:
            return True
        sheet = next(one.sheet for one in pages() if one.bare_path == page.bare_path[:1])
        mend = did_you_mean(
            name, known, f"Known there: {', '.join(known)}" if known else f"Name it on the sheet {sheet}"
        )
        self.fault(cell, f"no '{name}' stands on the sheet {sheet}", mend)
        return False

    def _entry(self, page: Page, keys: list[tuple[int, str]], names: tuple[str, ...], column: int, at: Cell) -> None:
        heading = ", ".join(names)
        labelled = replace(at, label=page.called[-1] if page.called else "")
        block = self._block(page.path, names, labelled)
        self.known(block.path, labelled, page)
        who = NOBODY
        by_key: dict[str, list[int]] = {}
        for row, key in keys:
            by_key.setdefault(key, []).append(row)
        for row in by_key.get(WHO, []):
            who = self._who(page, row, column, heading, who)
        for part in page.parts:
            self._part(page, part, block, by_key, column, heading, who)

    def _part(
        self,
        page: Page,
        part: Part,
        block: Table,
        by_key: dict[str, list[int]],
        column: int,
        heading: str,
        who: Provenance,
    ) -> None:
        head = by_key.get(f"#{'.'.join(part.keys)}", [0])[0]
        present = part.must
        path = ".".join([*([block.path] if block.path else []), *part.keys])
        first = self._rows_of(part, by_key)
        place = self.cell(page, head or next(iter(first), TOP + 1), column, _label(heading, part.label))
        self.known(path, place, page)
        if head and part.keys:
            said = self._text(page, head, column, Line((), part.label, "words"))
            if said.lower() == PRESENT:
                present = True
            elif said:
                who = self._who(page, head, column, heading, who)
        if present and part.keys:
            self._inside(block, part.keys, place)
        if part.named is not None:
            self._own_names(
                page, part, part.named, block, by_key.get(f":{'.'.join(part.keys)}", []), column, heading, who
            )
        for line in part.lines:
            for row in by_key.get(f".{'.'.join(line.keys)}", []):
                cell = self.cell(page, row, column, _label(heading, line.label))
                below = ".".join([*([block.path] if block.path else []), *line.keys])
                self.known(below, cell, page)
                if text := self._text(page, row, column, line):
                    self._put(self._inside(block, line.keys[:-1], place), line.keys[-1], cell, text, line, who)

    def _rows_of(self, part: Part, by_key: dict[str, list[int]]) -> list[int]:
        return [row for line in part.lines for row in by_key.get(f".{'.'.join(line.keys)}", [])] or by_key.get(
            f":{'.'.join(part.keys)}", []
        )

    def _own_names(
        self,
        page: Page,
        part: Part,
        line: Line,
        block: Table,
        rows: list[int],
        column: int,
        heading: str,
        who: Provenance,
    ) -> None:
        """Read rows whose names are the owner's own."""
        for row in rows:
            text = self._text(page, row, column, line)
            if not text:
                continue
            name = self._text(page, row, LABEL + 1, Line((), "", "words"))
            cell = self.cell(page, row, column, _label(heading, f"{part.label}: {name}" if name else part.label))
            at = self.cell(page, row, LABEL + 1, part.label)
            inside = self._inside(block, part.keys, cell)
            if not name:
                self.fault(at, "a name is missing", "Write beside the figure what it is for")
            elif "." in name:
                self.fault(at, f"the name '{name}' holds a full stop", "Leave it out of names")
            elif name in inside:
                self.fault(cell, f"'{name}' stands here twice", "Keep one of the two")
            else:
                self.known(f"{inside.path}.{name}" if inside.path else name, cell, page)
                self._put(inside, name, cell, text, line, who)

    # --- sheets of rows

    def _rows(self, page: Page) -> None:
        sheet = self.book[page.sheet]
        columns = {
            str(sheet.cell(TOP + 3, column).value): column
            for column in range(1, sheet.max_column + 1)
            if _KEY.fullmatch(str(sheet.cell(TOP + 3, column).value))
        }
        self.known(".".join(page.bare_path), self.cell(page, TOP + 4, 1, ""), page)
        if not {f"name:{k}" for k in range(len(page.called))} <= set(columns) or not columns:
            if any(True for _ in self._filled(page)):
                cell = self.cell(page, TOP + 3, 1, "")
                self.fault(
                    cell,
                    "the hidden row of keys is gone, so nothing here can be read",
                    "Undo, or begin with a new form",
                )
            return
        met: dict[tuple[str, ...], str] = {}
        for row in range(TOP + 4, sheet.max_row + 1):
            if any(sheet.cell(row, column).value is not None for column in columns.values()):
                self._row(page, row, columns, met)
        for column in range(1, sheet.max_column + 1):
            stray = next((r for r in range(TOP + 4, sheet.max_row + 1) if sheet.cell(r, column).value is not None), 0)
            if stray and column not in columns.values():
                cell = self.cell(page, stray, column, "")
                self.fault(
                    cell, "this column belongs to no question", "Write it in a column of the form, and delete this one"
                )

    def _row(self, page: Page, row: int, columns: dict[str, int], met: dict[tuple[str, ...], str]) -> None:
        lines = page.parts[0].lines
        heads = [columns[f"name:{k}"] for k in range(len(page.called)) if f"name:{k}" in columns]
        names = tuple(self._text(page, row, column, Line((), "", "words")) for column in heads)
        at = self.cell(page, row, heads[-1] if heads else 1, page.called[-1] if page.called else "")
        texts: list[tuple[Line, Cell, str]] = []
        for line in lines:
            if (column := columns.get(f".{'.'.join(line.keys)}")) is not None:
                cell = self.cell(page, row, column, _label(", ".join(names), line.label))
                texts.append((line, cell, self._text(page, row, column, line)))
        said = any(text for *_, text in texts)
        if heads and not self._named_row(page, names, row, heads, met):
            return
        who = self._who(page, row, columns[WHO], ", ".join(names), NOBODY) if WHO in columns else NOBODY
        if page.path[-1] == ITEM and not said:
            if page.called and len(page.bare_path) == 1:  # the name alone: a list in which nothing stands
                self._items(page.path[:-1], names, at)
            return
        if page.path[-1] == ITEM and not lines[0].keys:  # plain texts
            for _line, cell, text in texts:
                items = self._items(page.path[:-1], names, at)
                path = f"{items.path}.{len(items)}"
                self.known(path, cell, page)
                items.append(Text.at(text, cell, path, who, self.currency))
            return
        if not lines[0].keys:  # plain amounts by name
            block = self._block(page.path[:-1], names, at)
            line, cell, text = texts[0]
            self.known(f"{block.path}.{names[-1]}", cell, page)
            if text:
                self._put(block, names[-1], cell, text, line, who)
            else:
                self.fault(cell, "nothing is filled in", "Write the chance, or empty the name")
            return
        block = self._block(page.path, names, at)
        self.known(block.path, at, page)
        for line, cell, text in texts:
            self.known(f"{block.path}.{line.keys[-1]}", cell, page)
            if text:
                self._put(block, line.keys[-1], cell, text, line, who)

    def _named_row(
        self, page: Page, names: tuple[str, ...], row: int, columns: list[int], met: dict[tuple[str, ...], str]
    ) -> bool:
        good = True
        for name, column, called in zip(names, columns, page.called, strict=True):
            cell = self.cell(page, row, column, called)
            if not name:
                self.fault(cell, "a name is missing", "Write a name, or empty the row")
                good = False
            elif "." in name:
                self.fault(cell, f"the name '{name}' holds a full stop", "Leave it out of names")
                good = False
            elif page.path[-1] == ITEM and len(page.bare_path) > 1:
                good = self._parent(page, name, cell) and good
        if good and page.path[-1] == NAME:
            if names in met:
                cell = self.cell(page, row, columns[-1], page.called[-1])
                self.fault(
                    cell, f"'{names[-1]}' stands here twice", f"Keep one of the two; the other is in {met[names]}"
                )
                return False
            met[names] = self.cell(page, row, columns[-1], "").name
        return good

    # --- the tree

    def _block(self, path: Keys, names: tuple[str, ...], place: Cell) -> Table:
        """Return the block of an entry, made where it is not there."""
        given = iter(names)
        node: Any = self.root
        for step, after in pairwise((*path, "")):
            if step == ITEM:
                below = Table(place, f"{node.path}.{len(node)}", NOBODY, self.currency)
                node.append(below)
                node = below
            else:
                node = self._below(node, next(given) if step == NAME else step, place, after == ITEM)
        assert isinstance(node, Table)
        return node

    def _items(self, path: Keys, names: tuple[str, ...], place: Cell) -> Items:
        given = iter(names)
        node: Any = self.root
        for k, step in enumerate(path):
            node = self._below(node, next(given) if step == NAME else step, place, k == len(path) - 1)
        assert isinstance(node, Items)
        return node

    def _below(self, node: Table, key: str, place: Cell, listed: bool = False) -> Any:
        if key not in node:
            path = f"{node.path}.{key}" if node.path else key
            node[key] = Items(place, path) if listed else Table(place, path, NOBODY, self.currency)
            node.keys_at[key] = place
        return node[key]

    def _inside(self, block: Table, keys: Keys, place: Cell) -> Table:
        for key in keys:
            block = self._below(block, key, place)
        return block

    def _put(self, block: Table, key: str, cell: Cell, text: str, line: Line, who: Provenance) -> None:
        """Set what a cell says into the tree, as the file's reader would."""
        path = f"{block.path}.{key}" if block.path else key
        block.keys_at[key] = cell
        if not line.several:
            block[key] = self._value(text, cell, path, line, who)
            return
        items = Items(cell, path)
        for item in read_list(text):
            items.append(self._value(item, cell, f"{path}.{len(items)}", line, who))
        block[key] = items

    def _value(self, text: str, cell: Cell, path: str, line: Line, who: Provenance) -> Text | Table:
        if line.quantity is None:
            return Text.at(text, cell, path, who, self.currency)
        note = ""
        if "[" in text:
            try:
                text, own, note = read_bracket(text)
                who = own if own is not None else who
            except AmountError as error:
                self.fault(cell, error.what, error.mend)
                text = text.partition("[")[0].strip()
        if note:
            try:
                amount = line.quantity.read(Text.at(text, cell, path, who, self.currency))
            except AmountError:
                return Text.at(text, cell, path, who, self.currency)  # said where all figures are read
            table = Table(cell, path, who, self.currency)
            likely = amount.likely if amount.chance is None else amount.chance
            for key, figure in (("likely", likely), ("low", amount.low), ("high", amount.high)):
                if figure is not None:
                    said = decimal_text(figure, line.quantity.percent)
                    table[key] = Text.at(said, cell, f"{path}.{key}", who, self.currency)
                    table.keys_at[key] = cell
            table["note"] = Text.at(note, cell, f"{path}.note", who, self.currency)
            table.keys_at["note"] = cell
            return table
        return Text.at(text, cell, path, who, self.currency)

    # --- cells

    def _who(self, page: Page, row: int, column: int, heading: str, above: Provenance) -> Provenance:
        text = self._text(page, row, column, Line((), WHO_LABEL, "words"))
        if not text:
            return above
        try:
            return read_who(text)
        except AmountError as error:
            self.fault(self.cell(page, row, column, _label(heading, WHO_LABEL)), error.what, error.mend)
            return above

    def _text(self, page: Page, row: int, column: int, line: Line) -> str:
        """Return what a cell holds, as it would be typed into a file."""
        cell = self.book[page.sheet].cell(row, column)
        value = cell.value
        if value is None:
            if self.written()[page.sheet].cell(row, column).value is not None:
                self.fault(self.cell(page, row, column, line.label), *EMPTY_FORMULA)
            return ""
        if isinstance(value, dt.datetime | dt.date):
            return (value.date() if isinstance(value, dt.datetime) else value).isoformat()
        if isinstance(value, bool):
            return "yes" if value else "no"
        if isinstance(value, int | float):
            if "%" in cell.number_format:
                return decimal_text(value, percent=True)
            return decimal_text(value) if line.kind == "amount" else f"{value:.15g}"
        return str(value).strip()


def _label(heading: str, label: str) -> str:
    return f"{heading}: {label}" if heading else label
