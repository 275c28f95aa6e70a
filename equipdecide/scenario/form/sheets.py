"""Writing the later sheets of a form: everything a scenario can hold, empty or filled from one; it reads back equal."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any

from xlsxwriter.utility import xl_rowcol_to_cell

from equipdecide.scenario.amounts import GIVEN_BY, Amount
from equipdecide.scenario.checks.names import doubt_path
from equipdecide.scenario.form.cells import amount_cell, figure_text, list_text, who_text
from equipdecide.scenario.form.entries import Entry, entries, figures, most, rows_of_names, stated, under
from equipdecide.scenario.form.layout import NAME, Line, Page, Part, pages, unit_words
from equipdecide.scenario.models import Scenario
from equipdecide.scenario.tree import NOBODY, Provenance

KEY, LABEL, UNIT, HINT, FIRST = range(5)  # columns of a sheet of cards; entries stand from FIRST on
TOP = 2  # the row after title and word of advice
LONGEST = 32_000  # signs a cell holds
HOW_HEAD = "How to fill it in"
WHO = "who"
WHO_LABEL = "Where the figures are from"
WHO_HINT = "guess, quote, letter ...; who and when may follow: guess by Ines on 2026-09-01"
PRESENT = "yes"
SPARE = {"cards": 3, "names": 3, "rows": 10}


class Sheets:
    """The later sheets of one form, as they are written into a workbook of XlsxWriter."""

    def __init__(self, book: Any, scenario: Scenario | None) -> None:
        self.book, self.scenario = book, scenario
        self.currency = scenario.currency if scenario is not None else "USD"
        self.formats: dict[tuple[tuple[str, Any], ...], Any] = {}
        self.listed = {page.bare_path: self.entries_of(page) for page in pages()}
        self.names_at = {page.sheet: self._where_names_stand(page) for page in pages()}

    def entries_of(self, page: Page) -> list[Entry]:
        """Return what the scenario has of the entries of a page."""
        return list(entries(self.scenario, page.path)) if self.scenario is not None else []

    def write(self) -> None:
        """Write every sheet."""
        for page in pages():
            (_Cards if page.cards else _Rows)(self, page).write()

    def format(self, **look: Any) -> Any:
        key = tuple(sorted(look.items()))
        if key not in self.formats:
            self.formats[key] = self.book.add_format({"valign": "top", **look})
        return self.formats[key]

    def answer(self, shape: str = "General", figure: bool = False, aside: bool = False) -> Any:
        """Return the look of a cell that is filled in; `figure`: its text is a figure; `aside`: it
        says who gave figures.
        """
        return self.format(
            locked=False,
            bg_color="#F7F4E4" if aside else "#FFF7D6",
            italic=aside,
            border=1,
            border_color="#B8A85C",
            num_format=shape,
            text_wrap=True,
            align="left" if shape == "@" and not figure else "right",
        )

    def columns(self, page: Page) -> int:
        """Return how many columns of entries a sheet of cards has, empty ones among them."""
        return max(4, len(self.listed[page.bare_path]) + SPARE["cards"]) if page.called else 1

    def _where_names_stand(self, page: Page) -> str:
        """Return the cells in which the names of a page stand, for the lists to choose from."""
        if not page.cards or len(page.called) != 1:
            return ""
        last = FIRST + self.columns(page) - 1
        ends = (xl_rowcol_to_cell(TOP, column, True, True) for column in (FIRST, last))
        return f"='{page.sheet}'!{':'.join(ends)}"


class _Sheet:
    """One sheet: what all sheets have in common."""

    def __init__(self, sheets: Sheets, page: Page) -> None:
        self.sheets, self.page = sheets, page
        self.entries = sheets.listed[page.bare_path]
        self.sheet = sheets.book.add_worksheet(page.sheet)
        self.title = sheets.format(bold=True, font_size=14)
        self.head = sheets.format(bold=True, bottom=1, text_wrap=True)
        self.section = sheets.format(bold=True, top=1, bg_color="#EAF1F3", text_wrap=True)
        self.aside = sheets.format(italic=True, font_color="#444444", top=1, bg_color="#EAF1F3", text_wrap=True)
        self.label = sheets.format(text_wrap=True, indent=1)
        self.grey = sheets.format(font_color="#444444", text_wrap=True)
        self.must = sheets.format(font_color="#8A3B00", bold=True, text_wrap=True)

    def finish(self, across: int) -> None:
        sheet = self.sheet
        allowed = ("select_locked_cells", "format_columns", "format_rows", "insert_rows", "insert_columns")
        sheet.protect("", dict.fromkeys(allowed, True))
        sheet.set_landscape()
        sheet.set_paper(9 if self.sheets.currency != "USD" else 1)
        sheet.fit_to_pages(2 if across > 12 and not self.page.cards else 1, 0)
        if across > 12:
            sheet.repeat_columns(0, FIRST - 1 if self.page.cards else 0)
        sheet.set_footer("&L&A&RPage &P of &N")

    def put(self, row: int, column: int, line: Line, value: Any, who: Provenance) -> None:
        """Write what a field holds; text is written as text, whatever it begins with."""
        if value is None:
            self.sheet.write_blank(row, column, None, self.sheets.answer(_shape(line)))
            return
        made = _cell_value(value, line, who, self.sheets.scenario)
        if isinstance(made, dt.date):
            self.sheet.write_datetime(row, column, made, self.sheets.answer(_shape(line)))
        elif isinstance(made, str):
            self.text(
                row, column, made, self.sheets.answer("@", figure=line.quantity is not None and made not in line.words)
            )
        else:
            shape = _shape(line)
            if shape == "General" and line.quantity is not None and line.quantity.money:
                shape = "#,##0" if made == int(made) else "#,##0.00##"
            self.sheet.write_number(row, column, made, self.sheets.answer(shape))

    def text(self, row: int, column: int, text: str, look: Any = None) -> None:
        """Write text into a cell that is filled in. Raises ValueError where it is longer than a cell can hold."""
        if len(text) > LONGEST:
            raise ValueError(f"a text of {len(text):,} signs does not go into a cell: {text[:60]} ...")
        self.sheet.write_string(row, column, text, look if look is not None else self.sheets.answer("@"))

    def asks(self, cells: tuple[int, int, int, int], line: Line) -> None:
        """Say what cells ask for where they are chosen, and offer the choices there are."""
        says = f"{line.label}. {line.hint} {_example(line)}".strip()
        check: dict[str, Any] = {"validate": "any"}
        source: Any = list(line.words) if line.kind in ("choice", "yes/no") else ""
        source = source or (self.sheets.names_at.get(line.refers, "") if line.refers else "")
        if source:
            check = {"validate": "list", "source": source, "error_type": "information" if line.several else "warning"}
            check["error_message"] = "This is not one of the list; it will be read as typed."
        self.sheet.data_validation(*cells, {**check, "input_title": line.label[:32], "input_message": says[:255]})

    def who(self, row: int, column: int, given: Provenance | None) -> None:
        """Write who gave figures; None leaves the cell empty."""
        look = self.sheets.answer("@", aside=True)
        if given is None:
            self.sheet.write_blank(row, column, None, look)
        else:
            self.text(row, column, who_text(given), look)

    def asks_who(self, cells: tuple[int, int, int, int], bare: bool = False) -> None:
        more = f" Write {PRESENT} where this part holds though nothing is filled in." if bare else ""
        check = {"validate": "list", "source": list(GIVEN_BY), "error_type": "information"}
        check["error_message"] = "A name and a day may follow one of these words: guess by Ines on 2026-09-01."
        check |= {"input_title": WHO_LABEL, "input_message": f"Such as {WHO_HINT}.{more}"}
        self.sheet.data_validation(*cells, check)


class _Cards(_Sheet):
    """A row for each field, a column for each entry."""

    def write(self) -> None:
        page, sheet = self.page, self.sheet
        self.count = self.sheets.columns(page)
        self.last = FIRST + self.count - 1
        sheet.set_column(KEY, KEY, 4, None, {"hidden": True})
        for column, width in ((LABEL, 42), (UNIT, 13), (HINT, 32)):
            sheet.set_column(column, column, width)
        sheet.set_column(FIRST, self.last, 24 if page.called else 60)
        sheet.write_string(0, LABEL, page.title, self.title)
        sheet.write_string(1, LABEL, _advice(page))
        row = self._heads()
        sheet.freeze_panes(row, UNIT)
        sheet.repeat_rows(TOP, row - 1)
        if any(line.quantity for line in page.lines):
            row = self._who_row(row)
        for part in page.parts:
            row = self._part(row, part)
        sheet.print_area(0, LABEL, row - 1, self.last)
        self.finish(self.last)

    def _heads(self) -> int:
        names = self.page.called or ("",)
        for level, called in enumerate(names):
            row = TOP + level
            deepest = level == len(names) - 1
            self.sheet.write_string(row, LABEL, f"{called}: name" if called else "What is asked", self.head)
            self.sheet.write_string(row, UNIT, "In" if deepest else "", self.head)
            self.sheet.write_string(row, HINT, HOW_HEAD if deepest else "", self.head)
            if not called:
                self.sheet.write_string(row, FIRST, "Answer", self.head)
                return row + 1
            self.sheet.write_string(row, KEY, f"name:{level}")
            look = self.sheets.format(
                bold=True,
                locked=False,
                bg_color="#FFEFAE",
                border=1,
                border_color="#B8A85C",
                num_format="@",
                text_wrap=True,
            )
            for k in range(self.count):
                if k < len(self.entries):
                    self.sheet.write_string(row, FIRST + k, self.entries[k][0][level], look)
                else:
                    self.sheet.write_blank(row, FIRST + k, None, look)
            refers = self.sheets.listed and level == 0 and len(names) > 1
            line = Line(
                (), called, "words", "A column for each; the name is yours.", refers="Machines" if refers else ""
            )
            self.asks((row, FIRST, row, self.last), line)
        return TOP + len(names)

    def _who_row(self, row: int) -> int:
        self.sheet.write_string(row, KEY, WHO)
        self.sheet.write_string(row, LABEL, WHO_LABEL, self.label)
        self.sheet.write_string(row, HINT, "Counts for the whole column, unless said otherwise below.", self.grey)
        self.given = [self._most(k, self.page.parts) for k in range(len(self.entries))]
        for k in range(self.count):
            given = self.given[k] if k < len(self.given) else NOBODY
            self.who(row, FIRST + k, given if given != NOBODY else None)
        self.asks_who((row, FIRST, row, self.last))
        self.sheet.set_row(row, 31)
        return row + 1

    def _most(self, k: int, parts: tuple[Part, ...]) -> Provenance:
        return most([amount for part in parts for amount in self._figures(k, part)])

    def _figures(self, k: int, part: Part) -> list[Amount]:
        entry = self.entries[k][1]
        if part.named is not None:
            return figures(under(entry, part.keys))
        return [amount for line in part.lines for amount in figures(stated(entry, line.keys))]

    def _part(self, row: int, part: Part) -> int:
        given = []
        for k in range(len(self.entries)):
            found = self._figures(k, part)
            above = self.given[k] if any(line.quantity for line in self.page.lines) else NOBODY
            given.append(most(found) if found and part.keys else above)
            if 2 * sum(amount.provenance == given[k] for amount in found) <= len(found):
                given[k] = above
        if part.label:
            self._heading(row, part, given)
            row += 1
        if part.named is not None:
            return self._named(row, part, part.named, given)
        for line in part.lines:
            self.sheet.write_string(row, KEY, f".{'.'.join(line.keys)}")
            self._said(row, line, part.must)
            for k in range(self.count):
                value = stated(self.entries[k][1], line.keys) if k < len(self.entries) else None
                self.put(row, FIRST + k, line, value, given[k] if k < len(given) else NOBODY)
            self.asks((row, FIRST, row, self.last), line)
            row += 1
        return row

    def _heading(self, row: int, part: Part, given: list[Provenance]) -> None:
        sheet = self.sheet
        lines = (part.named,) if part.named is not None else part.lines
        asked = any(line is not None and line.quantity for line in lines)
        sheet.write_string(row, KEY, f"#{'.'.join(part.keys)}")
        sheet.write_string(row, LABEL, part.label, self.section)
        sheet.write_blank(row, UNIT, None, self.section)
        hint = part.named.hint if part.named is not None and part.named.hint else ""
        hint = hint or (f"{WHO_LABEL}, if not as above" if asked and part.keys else "")
        sheet.write_string(row, HINT, hint, self.aside)
        sheet.set_row(row, _height((part.label, 40), (hint, 32)))
        if not asked and not part.bare:
            for k in range(self.count):
                sheet.write_blank(row, FIRST + k, None, self.section)
            return
        for k in range(self.count):
            if k < len(self.entries) and part.bare and self._silent(k, part):
                self.text(row, FIRST + k, PRESENT, self.sheets.answer("@", aside=True))
            elif k < len(self.entries) and given[k] != self.given[k] and self._figures(k, part):
                self.who(row, FIRST + k, given[k])
            else:
                self.who(row, FIRST + k, None)
        self.asks_who((row, FIRST, row, self.last), part.bare)

    def _silent(self, k: int, part: Part) -> bool:
        """Tell whether an entry has a part in which nothing is said."""
        entry = self.entries[k][1]
        if under(entry, part.keys) is None:
            return False
        inside = [one for one in self.page.parts if one.keys[: len(part.keys)] == part.keys]
        return not any(
            under(entry, one.keys) if one.named is not None else stated(entry, line.keys) is not None
            for one in inside
            for line in (*one.lines, *([one.named] if one.named is not None else []))
        )

    def _said(self, row: int, line: Line, always: bool) -> None:
        unit = unit_words(line, self.sheets.currency)
        hint = line.hint
        if line.must:
            hint = f"{'Must be filled in' if always else 'Needed, if this part is used'}. {hint}".strip()
        self.sheet.write_string(row, LABEL, line.label, self.label)
        self.sheet.write_string(row, UNIT, unit, self.grey)
        self.sheet.write_string(row, HINT, hint, self.must if line.must and always else self.grey)
        held = [str(stated(entry, line.keys) or "") for _, entry in self.entries] if line.kind == "words" else []
        longest = max(held, key=len, default="")
        self.sheet.set_row(
            row, _height((line.label, 42), (hint, 32), (unit, 13), (longest, 22 if self.page.called else 56))
        )

    def _named(self, row: int, part: Part, line: Line, given: list[Provenance]) -> int:
        """Write rows whose names are the owner's own, and some empty ones."""
        held = [under(entry, part.keys) for _, entry in self.entries]
        names = rows_of_names([list(one) if isinstance(one, Mapping) else [] for one in held])
        at = [0] * len(held)  # how many of its names each entry has written
        for name in [*names, *[None] * SPARE["names"]]:
            self.sheet.write_string(row, KEY, f":{'.'.join(part.keys)}")
            if name is None:
                self.sheet.write_blank(row, LABEL, None, self.sheets.answer("@"))
            else:
                self.text(row, LABEL, name)
            self.sheet.write_string(row, UNIT, unit_words(line, self.sheets.currency), self.grey)
            for k in range(self.count):
                own = list(held[k]) if k < len(held) and isinstance(held[k], Mapping) else []
                mine = name is not None and at[k] < len(own) and own[at[k]] == name if k < len(held) else False
                value = held[k][name] if mine else None
                if mine:
                    at[k] += 1
                self.put(row, FIRST + k, line, value, given[k] if k < len(given) else NOBODY)
            self.sheet.set_row(row, _height((name or "", 38)))
            row += 1
        spare = (row - len(names) - SPARE["names"], LABEL, row - 1, LABEL)
        says = f"{part.label}: the names are yours, a row for each."
        self.sheet.data_validation(*spare, {"validate": "any", "input_title": "Name", "input_message": says[:255]})
        self.asks((spare[0], FIRST, row - 1, self.last), line)
        return row


class _Rows(_Sheet):
    """A row for each entry, a column for each field."""

    def write(self) -> None:
        page, sheet = self.page, self.sheet
        lines = page.parts[0].lines
        columns = [f"name:{k}" for k in range(len(page.called))] + [f".{'.'.join(line.keys)}" for line in lines]
        asked = any(line.quantity for line in lines)
        columns += [WHO] if asked else []
        last_row = TOP + 3 + len(self.entries) + SPARE["rows"] - 1
        sheet.write_string(0, 0, page.title, self.title)
        sheet.write_string(1, 0, _advice(page))
        for column, key in enumerate(columns):
            sheet.write_string(TOP + 2, column, key)
        for level, called in enumerate(page.called):
            self._column(
                level, Line((), called, "words", "The name is yours." if page.path[-1] == NAME else ""), 26, last_row
            )
        for column, line in enumerate(lines, len(page.called)):
            self._column(column, line, 110 if page.bare_path == ("notes",) else _width(line), last_row)
        if asked:
            column = len(columns) - 1
            line = Line((), WHO_LABEL, "words", WHO_HINT)
            self._column(column, line, 26, last_row, unit="")
            self.asks_who((TOP + 3, column, last_row, column))
        labels = [(line.label, _width(line) - 2) for line in lines]
        hints = [(f"{unit_words(line, '')} {line.hint}", _width(line) - 2) for line in lines]
        sheet.set_row(TOP, _height(*labels))
        sheet.set_row(TOP + 1, _height(*hints, (WHO_HINT if asked else "", 24)))
        sheet.set_row(TOP + 2, None, None, {"hidden": True})
        for k in range(len(self.entries) + SPARE["rows"]):
            self._row(TOP + 3 + k, self.entries[k] if k < len(self.entries) else ((), None), lines, asked)
        sheet.freeze_panes(TOP + 3, len(page.called))
        sheet.repeat_rows(TOP, TOP + 1)
        sheet.print_area(0, 0, last_row, len(columns) - 1)
        self.finish(len(columns) - 1)

    def _column(self, column: int, line: Line, width: int, last_row: int, unit: str | None = None) -> None:
        said = unit_words(line, self.sheets.currency) if unit is None and line.keys else unit or ""
        texts = [said, "Must be filled in" if line.must and line.keys else "", line.hint]
        hint = ". ".join(text.rstrip(".") for text in texts if text)
        self.sheet.set_column(column, column, width)
        self.sheet.write_string(TOP, column, line.label, self.head)
        self.sheet.write_string(TOP + 1, column, hint if said == "dBA" else hint[:1].upper() + hint[1:], self.grey)
        if unit is None:
            self.asks((TOP + 3, column, last_row, column), line)

    def _row(self, row: int, entry: Entry, lines: tuple[Line, ...], asked: bool) -> None:
        names, value = entry
        levels = len(self.page.called)
        for level in range(levels):
            if level < len(names):
                self.text(row, level, names[level])
            else:
                self.sheet.write_blank(row, level, None, self.sheets.answer("@"))
        amounts = [a for line in lines for a in figures(_held(value, line))] if value is not None else []
        given = most(amounts)
        for column, line in enumerate(lines, levels):
            self.put(row, column, line, _held(value, line) if value is not None else None, given)
        if asked:
            self.who(row, levels + len(lines), given if given != NOBODY else None)


def _held(value: Any, line: Line) -> Any:
    return stated(value, line.keys) if line.keys else value


def _cell_value(value: Any, line: Line, who: Provenance, scenario: Scenario | None) -> float | str | dt.date:
    if isinstance(value, Amount):
        return amount_cell(value, who)
    if isinstance(value, list):
        return list_text(_item_text(item, who) for item in value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return float(value)
    if isinstance(value, dt.date):
        return value
    return doubt_named(str(value), scenario) if line.keys == ("when",) and scenario is not None else str(value)


def doubt_named(path: str, scenario: Scenario) -> str:
    """Return the words for a doubt on which a step hangs ("P5 bracket renews"), or its path where
    words would not do.
    """
    section, _, rest = path.partition(".")
    words = rest if section == "events" else f"{rest.removesuffix('.renews')} renews"
    return words if doubt_path(words, list(scenario.parts), list(scenario.events)) == path else path


def _item_text(item: Any, who: Provenance) -> str:
    if isinstance(item, Amount):
        made = amount_cell(item, who)
        return made if isinstance(made, str) else figure_text(item)
    return str(item)


def _shape(line: Line) -> str:
    if line.several:
        return "@"
    if line.quantity is not None:
        return "0.0##%" if line.quantity.percent else "General"
    return {"day": "yyyy-mm-dd", "whole number": "General", "number": "General"}.get(line.kind, "@")


def _example(line: Line) -> str:
    if line.quantity is not None:
        such = line.quantity.example
        return (
            f"For example {such}, or a range: low .. likely .. high."
            if not line.quantity.chance
            else f"For example {such}."
        )
    return {"day": "For example 2026-09-18."}.get(line.kind, "")


def _width(line: Line) -> int:
    if line.kind in ("day", "yes/no"):
        return 14
    return 34 if line.keys in (("of",), ("value",)) else 20


def _advice(page: Page) -> str:
    if not page.cards:
        return "Fill in the yellow cells, a row for each. A range is written low .. likely .. high, a single figure as a number."
    if not page.called:
        return "Fill in the yellow cells; what is left empty is not said. A range is written low .. likely .. high."
    return (
        "A column for each; the empty columns are for more. Give a name first. A range is written low .. likely .. "
        "high; who gave one single figure follows it in brackets: 72,000 [quote by Walt]."
    )


def _height(*texts: tuple[str, int]) -> float:
    """Return the height of a row that holds texts in columns of so many signs; not every program finds it itself."""
    return 15.0 * max(1, *(-(-len(text) // max(1, signs)) for text, signs in texts)) + 1
