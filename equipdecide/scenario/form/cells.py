"""What one cell of a form holds: a figure, a range with who gave it, a list of names; written so
that it reads back equal.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable
from dataclasses import dataclass

from equipdecide.scenario.amounts import GIVEN_BY, Amount, AmountError, decimal_text, read_day
from equipdecide.scenario.faults import did_you_mean
from equipdecide.scenario.tree import NOBODY, Place, Provenance

FIRST_SHEET = "Questions"
"""The first sheet, with the fifteen questions."""

FAULTS = "Faults"
"""The sheet of a marked copy that lists what is wrong; it is not read."""

NOT_SAID = "not said"
EMPTY_LIST = "[]"
REMARK = "remark:"

_DAY = r"\d{4}-\d{1,2}-\d{1,2}|\d{1,2}\.?\s+[A-Za-z]+\.?,?\s+\d{4}"
_WHO = re.compile(
    rf"(?P<word>{'|'.join([NOT_SAID, *GIVEN_BY])})?(?:\s*\bby\s+(?P<by>\"(?:[^\"\\]|\\.)*\"|.+?))?"
    rf"(?:\s*\bon\s+(?P<on>{_DAY}))?",
    re.IGNORECASE | re.DOTALL,
)
_BRACKET = re.compile(r"(?P<figure>[^\[]*)\[(?P<inside>.*)\]", re.DOTALL)
_INSIDE = re.compile(
    rf"(?P<who>(?:\"(?:[^\"\\]|\\.)*\"|[^\";])*?)(?:(?:^|;)\s*{REMARK}\s*(?P<note>.*))?", re.DOTALL | re.IGNORECASE
)
_ITEM = re.compile(r"\s*(\"(?:[^\"\\]|\\.)*\"(?=\s*(?:;|$))|[^;]*)(?:;|$)", re.DOTALL)
HOW_WHO = f"Write one of {', '.join(GIVEN_BY)}; who and when may follow: guess by Ines on 2026-09-01"


@dataclass(frozen=True, slots=True)
class Cell(Place):
    """A cell of a form, and what it asks for. `number` is the place of its sheet among the sheets."""

    name: str = ""
    label: str = ""
    sheet: str = FIRST_SHEET
    number: int = 0

    def __str__(self) -> str:
        sheet = self.sheet if self.sheet.isalnum() else f"'{self.sheet}'"
        return f"{self.file}, {sheet}!{self.name}" + (f" ({self.label})" if self.label else "")


# --- who gave a figure


def who_text(who: Provenance) -> str:
    """Return who gave figures in words that :func:`read_who` reads back: ``guess by Ines on 2026-09-01``.

    >>> who_text(Provenance("guess", "Ines", "2026-09-01"))
    'guess by Ines on 2026-09-01'
    """
    if who == NOBODY:
        return NOT_SAID
    plain = not set(who.by) & set(';"')
    for by in ([who.by] if plain else []) + [json.dumps(who.by, ensure_ascii=False)]:
        words = (who.given_by, who.by and f"by {by}", who.on and f"on {who.on}")
        text = " ".join(word for word in words if word)
        if _found(text) == who:
            return text
    raise AssertionError(who)


def _found(text: str) -> Provenance | None:
    match = _WHO.fullmatch(text)
    if match is None:
        return None
    word, by, on = ((match[name] or "").strip() for name in ("word", "by", "on"))
    return Provenance(
        "" if word.lower() == NOT_SAID else word.lower(), _unquoted(by), read_day(on).isoformat() if on else ""
    )


def read_who(text: str) -> Provenance:
    """Return who gave figures, as a form says it. Raises :class:`AmountError`.

    >>> read_who("quote on 3 Sep 2026")
    Provenance(given_by='quote', by='', on='2026-09-03')
    """
    found = _found(text.strip())
    if found is None:
        first = text.split()[0] if text.split() else text
        raise AmountError(f"'{text}' does not say where figures come from", did_you_mean(first, GIVEN_BY, HOW_WHO))
    return found


# --- figures


def lasts(value: float) -> bool:
    """Tell whether a number comes back the same from a spreadsheet program, which keeps fifteen digits."""
    return float(f"{value:.15g}") == value


def figure_text(amount: Amount) -> str:
    """Return the figure of an amount, or its range, as it is written in files: ``57 % .. 60 % .. 62 %``."""
    percent = amount.unit in ("share", "1/year", "chance")
    if amount.low is None or amount.high is None:
        return decimal_text(amount.likely if amount.chance is None else amount.chance, percent)
    return " .. ".join(decimal_text(end, percent) for end in (amount.low, amount.likely, amount.high))


def amount_cell(amount: Amount, who: Provenance) -> float | str:
    """Return what a cell holds for an amount: a number where that says all, else text with what else there is to say.

    `who` gave the figures round about: ``72,000 [quote by Walt; remark: without freight]`` says where this one differs.
    """
    said = [] if amount.provenance == who else [who_text(amount.provenance)]
    said += [f"{REMARK} {json.dumps(amount.note, ensure_ascii=False)}"] if amount.note else []
    value = amount.likely if amount.chance is None else amount.chance
    if not said and amount.low is None and lasts(value):
        return float(value)
    return figure_text(amount) + (f" [{'; '.join(said)}]" if said else "")


def read_bracket(text: str) -> tuple[str, Provenance | None, str]:
    """Return the figure of a cell, who gave it (None where the cell does not say), and the remark.
    Raises :class:`AmountError`.
    """
    match = _BRACKET.fullmatch(text.strip())
    if match is None:
        return text.strip(), None, ""
    inside = _INSIDE.fullmatch(match["inside"].strip())
    if inside is None:
        raise AmountError(f"'[{match['inside']}]' cannot be read", HOW_WHO)
    who, note = inside["who"].strip(), _unquoted((inside["note"] or "").strip())
    return match["figure"].strip(), read_who(who) if who else None, note


def _unquoted(text: str) -> str:
    try:
        read = json.loads(text) if text[:1] == '"' else text
    except ValueError:
        return text
    return read if isinstance(read, str) else text


# --- lists


def list_text(items: Iterable[str]) -> str:
    """Return several names or figures in one cell, parted by semicolons; an empty list has a sign of its own."""
    texts = [
        json.dumps(item, ensure_ascii=False)
        if ";" in item or item[:1] == '"' or item == EMPTY_LIST or item != item.strip() or not item
        else item
        for item in items
    ]
    return "; ".join(texts) or EMPTY_LIST


def read_list(text: str) -> list[str]:
    """Return the items of a cell that holds several.

    >>> read_list(list_text(["kit loan", "a; b"]))
    ['kit loan', 'a; b']
    """
    if text.strip() == EMPTY_LIST:
        return []
    items, at = [], 0
    while at < len(text):
        match = _ITEM.match(text, at)
        assert match is not None
        if word := match[1].strip():
            items.append(_unquoted(word))
        at = match.end()
    return items
