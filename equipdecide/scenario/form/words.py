"""Faults of a form in the form's own words: the reader of files speaks of keys and lines, a form
has cells and labels.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from equipdecide.scenario.faults import Fault
from equipdecide.scenario.form.cells import Cell
from equipdecide.scenario.form.layout import Keys, Page, in_form_words, label_of, pages

# What is said of files and fits no form, and what to say instead. The first that fits counts.
_INSTEAD: tuple[tuple[str, str], ...] = (
    (
        r"Add `keep: \[\]`: everything",
        "Write a row with the name keep and nothing beside it on the sheet Courses: everything",
    ),
    (
        r"Write keep: \[\], and move the steps to another name",
        "Leave one row keep with nothing beside it, and give the steps another name",
    ),
    (r"the alternative `keep` is missing", "the course keep is missing"),
    (r"Add `flat: \{(\w+): 30 %\}`", r"Fill in `\1`, for example 30 %"),
    (r"a step needs `do:`", "this row does not say what is done"),
    (r"Write do: sell", "Write sell"),
    (r"a step `do: buy` or `do: improve`", "a row of the sheet Courses that buys or improves"),
    (r"Write \[180, 120\]", "Write 180; 120"),
    (r"Add `table: \[20 %, 32 %, \.\.\.\]`", "Fill in `table`, for example 20 %; 32 %; 19.2 %"),
    (r"Name two: of: \[one path, other path\]", "Name two, with a semicolon between them"),
    (r"Write for example 2023: 4,000", "Write a year as the name of the row, for example 2023"),
    (r"Write each item on a line of its own after `- `", "Put a semicolon between them"),
    (r"Write `key: value` lines below, further in", "Fill in the cells below"),
    (
        r"price, minutes and demand, or hours and contribution_per_hour",
        "`price`, `minutes` and `demand`, or `hours` and `contribution_per_hour`",
    ),
    (r"\bno improvement is named", "no upgrade is named"),
    (r"\bno machine or improvement is", "no machine or upgrade is"),
    (r"See the starter file", "Compare with a form made from an example"),
    (r"Leave '(.)' out, or change `currency:`", r"Leave '\1' out, or change `currency`"),
    (r"Add it under `(\w+):`", r"Add it on `\1`"),
    (r"\bAdd (`)", r"Fill in \1"),
    (r"[Ll]eave out its (`\w+:`)", r"empty \1"),
    (r"\b([Ll])eave (`\w+:`) out", r"\1eave \2 empty"),
    (r"or leave the key out", "or leave the cell empty"),
    (r"or leave it out", "or leave it empty"),
    (r"\bLeave it out$", "Leave this empty"),
    (r"in the folder of this file", "in the folder of this form"),
    (r"\b(?:of|in) this file\b", "of this form"),
)
_WRITE_KEY = re.compile(r"\b(Write|or) (route|kind|regime|method|shape|done|currency): ([^,`]+?)(?=,|$)")
_UNKNOWN_KEY = re.compile(r"unknown key '(\w+)'")
_MISSING = re.compile(r"`\w+` is missing")


def faults_in_form_words(faults: Iterable[Fault], cells: Mapping[str, tuple[Cell, Page]]) -> list[Fault]:
    """Return faults at the cell that asks for what they are about, in the form's words, in the order of the sheets.

    `cells` leads from the paths of a scenario to cells. Faults of other files (a log of evenings) stay as they are.
    """
    found: dict[tuple[object, ...], Fault] = {}
    for fault in faults:
        said = _said(fault, cells)
        found.setdefault((str(said.place), said.what), said)
    return sorted(found.values(), key=_in_order)


def _in_order(fault: Fault) -> tuple[int, int, int]:
    place = fault.place
    return (place.number if isinstance(place, Cell) else len(pages()) + 2, place.line, place.column)


def _said(fault: Fault, cells: Mapping[str, tuple[Cell, Page]]) -> Fault:
    if not isinstance(fault.place, Cell):
        return fault
    path, found = fault.path, cells.get(fault.path)
    while found is None and path:
        path = path.rpartition(".")[0]
        found = cells.get(path)
    cell = fault.place
    page: Page | None = next((page for page in pages() if page.sheet == cell.sheet), None)
    if fault.path and found is not None:
        cell, page = found
    if unknown := _UNKNOWN_KEY.search(fault.what):
        label = label_of(unknown[1], page, pages()) or f"'{unknown[1]}'"
        return Fault(cell, "", f"{label} does not belong to a row of this kind", "Leave this cell empty")
    if _MISSING.fullmatch(fault.what) and fault.path in cells:
        return Fault(cell, "", "nothing is filled in, and it is needed", "Fill in this cell")
    beside = _beside(fault.path, page)
    return Fault(cell, "", _words(fault.what, page, beside), _words(fault.mend, page, beside))


def _beside(path: str, page: Page | None) -> Keys:
    """Return the keys of the field of a page that a path leads to, or nothing."""
    steps = tuple(path.split("."))
    ends = [line.keys for line in page.lines if line.keys and steps[-len(line.keys) :] == line.keys] if page else []
    return max(ends, key=len, default=())


def _words(text: str, page: Page | None, beside: Keys) -> str:
    for pattern, instead in _INSTEAD:
        text = re.sub(pattern, instead, text)

    def at(match: re.Match[str]) -> str:
        label = label_of(match[2], page, pages(), beside)
        return f"{match[1]} {match[3].strip()} at {label}"

    return in_form_words(_WRITE_KEY.sub(at, text), page, (), beside)
