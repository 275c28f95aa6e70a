"""Which sheets a form has beside its questions, and which row or column of them holds which field: made from the
models.

A sheet of cards has a row for each field and a column for each entry, so that machines or offers stand side by side; a
sheet of rows has a row for each entry. Labels, units, hints and choices come from the models, nothing is said twice.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import Any, Literal, get_args

from pydantic import BaseModel

from equipdecide.scenario.amounts import Quantity
from equipdecide.scenario.models import Scenario
from equipdecide.scenario.reading import Shape, fields_of, shape_of

NAME, ITEM = "*", "#"
"""Steps of the path of a sheet's entries: a name given in the form, and the next of a list."""

Kind = Literal["amount", "day", "yes/no", "whole number", "number", "choice", "words"]
Keys = tuple[str, ...]


@dataclass(frozen=True)
class Line:
    """One field of an entry: where it stands below the entry, and what is asked for.

    `quantity` is set for amounts; `words` are the choices there are; `several` where a cell holds a list; `refers` is
    the sheet on which the names stand that are asked for.
    """

    keys: Keys
    label: str
    kind: Kind
    hint: str = ""
    must: bool = False
    quantity: Quantity | None = None
    words: tuple[str, ...] = ()
    several: bool = False
    refers: str = ""


@dataclass(frozen=True)
class Part:
    """Lines that belong together under one heading; `named` is the line of each row where the rows have names of their
    own.

    `must` where the part belongs to every entry; `bare` where it can be there with nothing said in it.
    """

    keys: Keys
    label: str
    lines: tuple[Line, ...] = ()
    named: Line | None = None
    must: bool = True
    bare: bool = False


@dataclass(frozen=True)
class Page:
    """A sheet: the path of its entries, what one of them is called, and its parts (one part for a sheet of rows)."""

    path: Keys
    sheet: str
    title: str
    called: tuple[str, ...]
    cards: bool
    parts: tuple[Part, ...]

    @property
    def lines(self) -> tuple[Line, ...]:
        """All lines of the page, the model of named rows among them."""
        return tuple(
            line for part in self.parts for line in (*part.lines, *([part.named] if part.named is not None else []))
        )

    @property
    def bare_path(self) -> Keys:
        """The path without the names and numbers in it."""
        return tuple(step for step in self.path if step not in (NAME, ITEM))


@dataclass(frozen=True)
class _About:
    sheet: str
    title: str
    called: str = ""


# The sheets in their order. What is not named here gets a sheet of its own at the end, called by its key.
_ABOUT: dict[Keys, _About] = {
    (): _About("Decision", "The decision: what is asked, how far to look ahead, what money is worth"),
    ("shop",): _About("Business", "The business that owns the machines"),
    ("owners",): _About("Owners", "Who owns it: a column for each owner", "Owner"),
    ("machines",): _About("Machines", "Machines owned, and machines that could be bought, side by side", "Machine"),
    ("machines", "assets"): _About("Paid for", "What was paid for the machines you own, item by item", "Item"),
    ("machines", "loans"): _About("Owed", "What is owed on the machines you own, loan by loan", "Loan"),
    ("improvements",): _About("Upgrades", "Upgrades, retrofits, rebuilds and add-ons that could be fitted", "Upgrade"),
    ("parts",): _About("Work", "What is made and sold: parts by the piece, or hours", "Part or work"),
    ("offers",): _About("Offers", "Ways to sell a machine, side by side", "Offer"),
    ("financing",): _About("Financing", "Offers of money for a machine or an upgrade, side by side", "Financing"),
    ("financing", "steps"): _About(
        "Stepped payments", "Payments before the level ones, of a stepped loan", "Financing"
    ),
    ("events",): _About("Yes or no", "What may come true or not, and on which steps may hang", "What may come true"),
    ("alternatives",): _About(
        "Courses",
        "The courses open to you, step by step: a row for each step, and one with the name alone for keep",
        "Course",
    ),
    ("gates",): _About("Must pass", "What a course must pass: yes or no for each course", "What it must pass"),
    ("criteria",): _About("Not money", "What is not money and may be weighed", "What is weighed"),
    ("working_day",): _About(
        "Working day", "One person's working day, piece by piece, for its noise", "Piece of the day"
    ),
    ("quieter",): _About(
        "Quieter", "What would quieten a piece of the working day, with its price", "What quietens it"
    ),
    ("doubts",): _About("Doubts", "How doubtful figures are drawn, and which of them go together"),
    ("guesses",): _About("Guesses", "Partners who see some figures differently: a row for each", "Partner"),
    ("notes",): _About("Notes", "Remarks for the reader, a row for each"),
}
_ORDER = list(_ABOUT)
# The columns that are filled in most stand first.
_FIRST: dict[Keys, tuple[str, ...]] = {
    ("alternatives",): ("do", "on", "machine", "by", "improvement", "pay", "ordered", "shipped")
}
# Fields that ask for a name which stands on another sheet.
_REFERS: dict[tuple[str, str], Keys] = {
    ("Scenario", "machine_in_question"): ("machines",),
    ("Quieter", "piece"): ("working_day",),
    ("Loan", "collateral"): ("machines",),
    ("Improvement", "machine"): ("machines",),
    ("Offer", "machine"): ("machines",),
    ("Offer", "against"): ("machines",),
    ("Offer", "credited_to"): ("machines",),
    ("Offer", "if_unsold"): ("offers",),
    ("Financing", "machine"): ("machines",),
    ("Exposure", "machine"): ("machines",),
    ("Sell", "machine"): ("machines",),
    ("Sell", "by"): ("offers",),
    ("Sell", "rolled_into"): ("financing",),
    ("Buy", "pay"): ("financing",),
    ("Improve", "improvement"): ("improvements",),
}
_UNITS = {
    "{currency}": "{currency}",
    "{currency}/year": "{currency} a year",
    "{currency}/month": "{currency} a month",
    "{currency}/h": "{currency} an hour",
    "1/year": "%",
    "share": "%",
    "chance": "%",
    "h": "hours",
    "h/year": "hours a year",
    "min": "minutes",
    "day": "days",
    "week": "weeks",
    "year": "years",
    "count": "number",
    "factor": "number",
    "dBA": "dBA",
}
_MANY = "Several: put a semicolon between them."


def unit_words(line: Line, currency: str) -> str:
    """Return in what a line is filled in, in a word or two."""
    if line.quantity is not None:
        words = _UNITS[line.quantity.unit].replace("{currency}", currency)
        return f"{words}, or {' or '.join(line.words)}" if line.words else words
    if line.refers:
        return "names" if line.several else "name"
    return {"day": "day", "yes/no": "yes or no", "choice": "choose"}.get(line.kind, line.kind)


def about(bare: Keys) -> _About:
    """Return what the sheet of the entries at a path is called."""
    words = bare[-1].replace("_", " ").capitalize() if bare else ""
    return _ABOUT.get(bare, _About(words, words, "Name"))


# --- lines -----------------------------------------------------------------------------------------------------------


def _line(keys: Keys, annotation: Any, field: Any, owner: str = "") -> Line:
    shape, several = shape_of(annotation), False
    if shape.kind == "list":
        shape, several = shape_of(shape.of), True
    label = (field.title if field is not None else None) or keys[-1].replace("_", " ")
    label = label[:1].upper() + label[1:]
    must = field is not None and field.is_required()
    said = [field.description[:1].upper() + field.description[1:]] if field is not None and field.description else []
    if several:
        said.append(_MANY)
    if field is not None and not must and isinstance(default := field.default, str | int | float):
        said.append(f"Left empty: {('yes' if default else 'no') if isinstance(default, bool) else default}.")
    kind: Kind = "words"
    if shape.kind == "amount":
        kind = "amount"
    elif shape.words:
        kind = "choice"
    elif shape.of is bool:
        kind = "yes/no"
    elif shape.of is int:
        kind = "whole number"
    elif shape.of is float:
        kind = "number"
    elif isinstance(shape.of, type) and shape.of.__name__ == "date":
        kind = "day"
    words = ("yes", "no") if kind == "yes/no" else shape.words
    refers = about(_REFERS[owner, keys[-1]]).sheet if (owner, keys[-1]) in _REFERS else ""
    hint = " ".join(text if text.endswith((".", "?")) else f"{text}." for text in said)
    quantity = shape.of if kind == "amount" else None
    return Line(keys, label, kind, hint, must, quantity, words, several, refers)


def _parts(model: type[BaseModel], keys: Keys, label: str, must: bool) -> Iterator[Part]:
    """Yield the part of a model's own fields, then those of what stands in it."""
    lines: list[Line] = []
    below: list[Part] = []
    inherited = {name for base in model.__bases__ for name in getattr(base, "model_fields", ())}
    for name, annotation in sorted(fields_of(model).items(), key=lambda item: item[0] in inherited):
        field, shape, at = model.model_fields[name], shape_of(annotation), (*keys, name)
        own = field.title or name.replace("_", " ").capitalize()
        if _own_sheet(model, name, shape):
            continue
        if shape.kind == "model":
            below += _parts(shape.of, at, own, field.is_required())
        elif shape.kind == "names":
            below.append(_named(at, annotation, own, field.description or ""))
        else:
            lines.append(_line(at, annotation, field, model.__name__))
    bare = not must and not any(field.is_required() for field in model.model_fields.values())
    lines.sort(key=lambda line: not line.must)
    yield Part(keys, label, tuple(lines), None, must, bare)
    yield from below


def _named(keys: Keys, annotation: Any, label: str, hint: str) -> Part:
    """Return the part of a mapping from names to figures; names that are known beforehand have rows of their own."""
    key, value = get_args(annotation)
    known = shape_of(key).words
    if known:
        lines = tuple(replace(_line((*keys, word), value, None), label=word.capitalize()) for word in known)
        return Part(keys, label, lines, must=False)
    said = f"{hint[:1].upper()}{hint[1:]}." if hint else ""
    return Part(keys, label, (), replace(_line((*keys, NAME), value, None), label=label, hint=said), must=False)


def _own_sheet(model: type[BaseModel], name: str, shape: Shape) -> bool:
    """Tell whether what stands in a field is a collection of entries, which has a sheet of its own."""
    if model is Scenario and (shape.kind == "names" or name in ("shop", "notes")):
        return True
    return shape.kind in ("names", "list") and shape_of(shape.of).kind in ("names", "list", "model", "choice")


# --- pages -----------------------------------------------------------------------------------------------------------


@cache
def pages() -> tuple[Page, ...]:
    """Return the sheets of a form in their order, after the questions."""
    top = Page((), about(()).sheet, about(()).title, (), True, tuple(_parts(Scenario, (), "", True)))
    found = [top, *_pages(Scenario, ())]
    found.sort(key=lambda page: _ORDER.index(page.bare_path) if page.bare_path in _ORDER else len(_ORDER))
    return tuple(_worded(page, found) for page in found)


def _pages(model: type[BaseModel], path: Keys) -> Iterator[Page]:
    for name, annotation in fields_of(model).items():
        shape, at = shape_of(annotation), (*path, name)
        bare = tuple(step for step in at if step != NAME)
        if not _own_sheet(model, name, shape):
            continue
        field = model.model_fields[name]
        while shape.kind in ("names", "list"):
            at = (*at, NAME if shape.kind == "names" else ITEM)
            if (inner := shape_of(shape.of)).kind not in ("names", "list", "model", "choice") or (
                shape.kind == "names" and inner.kind == "names"
            ):
                break
            shape = inner
        yield _page(at, bare, shape, field)
        if shape.kind == "model" and at[-1] == NAME:
            yield from _pages(shape.of, at)


def _page(at: Keys, bare: Keys, shape: Shape, field: Any) -> Page:
    said = about(bare)
    called = tuple(
        about(tuple(step for step in at[:k] if step not in (NAME, ITEM))).called
        for k, step in enumerate(at)
        if step == NAME
    )
    cards = at[-1] != ITEM
    if shape.kind == "model":
        parts = tuple(_parts(shape.of, (), "", True))
        cards = cards and (len(parts) > 1 or len(parts[0].lines) > 5)
    elif shape.kind == "choice":
        parts = (Part((), "", _choice_lines(shape.of, _FIRST.get(bare, ()))),)
    elif shape_of(shape.of).kind == "names":  # a mapping of mappings: the inner names are rows
        value = shape_of(shape.of).of
        parts = (Part((), field.title, (), replace(_line((NAME,), value, None), label=field.title)),)
    else:  # a mapping or a list of plain values
        label = "Remark" if bare == ("notes",) else "Chance"
        parts, cards = (
            (Part((), "", (replace(_line(("value",), shape.of, None), keys=(), label=label, must=True),)),),
            False,
        )
    return Page(at, said.sheet, said.title, called, cards, parts)


def _choice_lines(models: Mapping[str, type[BaseModel]], first: tuple[str, ...]) -> tuple[Line, ...]:
    """Return the lines of several kinds of entry in one: every field once, needed where all of them need it."""
    kinds = list(dict.fromkeys(models.values()))
    found: dict[str, Line] = {}
    for model in kinds:
        for name, annotation in fields_of(model).items():
            found.setdefault(name, _line((name,), annotation, model.model_fields[name], model.__name__))
    found["do"] = replace(found["do"], words=tuple(models))
    everywhere = {name for name in found if all(name in model.model_fields for model in kinds)}
    listed = [found.pop(name) for name in first] + list(found.values())
    return tuple(replace(line, must=line.must and line.keys[0] in everywhere) for line in listed)


# --- words -----------------------------------------------------------------------------------------------------------

_TICKED = re.compile(r"`(?:(?P<path>\w+(?:\.\w+)*):?|(?P<key>\w+): (?P<value>[^`]+))`")


def label_of(key: str, page: Page | None, all_pages: Sequence[Page], beside: Keys = ()) -> str:
    """Return what a form calls a key of a scenario file: a field of the page, of another page, or a sheet; else
    nothing.

    `beside` are the keys of a field of the page: one that stands in the same part as it comes first.
    """
    keys = tuple(key.split("."))
    for line in page.lines if page is not None and beside else ():
        if line.keys == (*beside[:-1], key):
            return f"'{line.label}'"
    for candidate in [*([page] if page is not None else []), *all_pages]:
        for line in candidate.lines:
            if line.keys[-1:] == keys or (len(keys) > 1 and (*candidate.bare_path, *line.keys) == keys):
                return f"'{line.label}'"
        for part in candidate.parts:
            if part.keys[-1:] == keys and part.label:
                return f"'{part.label}'"
        if candidate.bare_path[-1:] == keys:
            return f"the sheet {candidate.sheet}"
    return ""


def in_form_words(text: str, page: Page | None = None, all_pages: Sequence[Page] = (), beside: Keys = ()) -> str:
    """Return a text in which keys of scenario files between backquotes are called as the form calls them."""

    def called(found: re.Match[str]) -> str:
        key = found["path"] or found["key"]
        label = label_of(key, page, all_pages or pages(), beside)
        if found["value"]:
            return f"{found['value']} at {label}" if label else f"{key} {found['value']}"
        return label or key

    return _TICKED.sub(called, text)


def _worded(page: Page, among: Sequence[Page]) -> Page:
    """Return a page whose labels and hints call other fields as the form does."""

    def worded(line: Line) -> Line:
        said = in_form_words(line.hint, page, among)
        return replace(line, label=in_form_words(line.label, page, among), hint=said)

    parts = (
        replace(
            part,
            label=in_form_words(part.label, page, among),
            lines=tuple(worded(line) for line in part.lines),
            named=part.named and worded(part.named),
        )
        for part in page.parts
    )
    return replace(page, parts=tuple(parts))
