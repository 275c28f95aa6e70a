"""How a figure is asked for: by a column's full name, by a line's name, or by a short name such as
"npv" or "tax of Ines".
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterator
from typing import Protocol

from equipdecide.ledger import Column, Ledger, Line
from equipdecide.plan import Plan

MANY_ROWS = 14  # rows named in a message or listed

# Short names for the figures that are asked for most; {machine} is the machine in question.
FRIENDLY = {
    "npv": "worth.npv",
    "present worth": "worth.npv",
    "annual worth": "worth.annual_worth",
    "lowest cash": "cash test.lowest",
    "own money": "own money.needed",
    "own money needed": "own money.needed",
    "coverage": "coverage.worst",
    "good hours": "capacity.hours",
    "price": "settlement {machine}.gross",
    "net cash": "settlement {machine}.net_cash",
    "payoff": "settlement {machine}.payoff",
    "amount realized": "settlement {machine}.amount_realized",
    "gain": "gain federal {machine}.gain",
    "recapture": "gain federal {machine}.ordinary_recapture",
    "ordinary recapture": "gain federal {machine}.ordinary_recapture",
    "section 1231": "gain federal {machine}.section_1231",
    "adjusted basis": "gain federal {machine}.adjusted_basis",
}
# ... and of an owner: "tax of Ines", "tax on the sale of Ines"
OF_OWNER = {
    "tax on the sale": ("tax on the sale {owner}.tax",),
    "state tax": ("state return {owner} as filed.tax",),
    "tax": ("federal return {owner} as filed.tax", "federal return shop as filed.tax"),
    "federal tax": ("federal return {owner} as filed.tax", "federal return shop as filed.tax"),
}


_PASTED = re.compile(r"(.+?) \[(.+?)(?: \.\. .+)?\]")


class UnknownFigure(LookupError):
    """No figure of that name; the message gives the nearest."""


class HasLedger(Protocol):
    """What can be explained: an outcome of a comparison, a route of a sale, anything with a ledger and a plan."""

    @property
    def ledger(self) -> Ledger: ...
    @property
    def plan(self) -> Plan: ...


def _squeezed(text: str) -> str:
    return " ".join(text.lower().replace("_", " ").split())


def find(
    ledger: Ledger, plan: Plan | None, what: str, row: str | None = None
) -> tuple[Column, Line | None, str | None]:
    """Return the column that `what` names, the line it is if it is one, and the row. Raises UnknownFigure."""
    if row is None and (pasted := _PASTED.fullmatch(what.strip())):  # as the parts of an explanation are printed
        what, row = pasted[1], pasted[2]
    found = _find(ledger, plan, what)
    if found is None and row is None and " " in what.strip():
        before, _, last = what.strip().rpartition(" ")
        found = _find(ledger, plan, before)
        if found is not None and last in found[0].axis.labels:
            row = last
        else:
            found = None
    if found is None:
        raise UnknownFigure(f"{ledger.name}: there is no figure '{what}'. {_nearest(ledger, plan, what)}")
    column, line = found
    if row is not None and row not in column.axis.labels:
        labels = [label for label in column.axis.labels if label]
        known = (
            f"its rows are {', '.join(labels[:MANY_ROWS])}{' and so on' if len(labels) > MANY_ROWS else ''}"
            if labels
            else "it has no rows"
        )
        raise UnknownFigure(f"{column.full_name} has no row '{row}': {known}.")
    return column, line, row


def _find(ledger: Ledger, plan: Plan | None, what: str) -> tuple[Column, Line | None] | None:
    what = what.strip()
    columns = columns_of(ledger)
    if what in columns:
        return columns[what], None
    wanted = _squeezed(what)
    for candidate in _friendly(ledger, plan, wanted):
        if candidate in columns:
            return columns[candidate], None
    for line in ledger.lines:
        if wanted in (
            _squeezed(line.name),
            _squeezed(f"{line.name} ({line.purse})"),
            _squeezed(f"{line.name} of {line.purse}"),
        ):
            return line.column, line
    named = [column for name, column in columns.items() if wanted in (_squeezed(name), _squeezed(column.name))]
    if len(named) == 1:
        return named[0], None
    if named:
        raise UnknownFigure(
            f"{ledger.name}: '{what}' is the name of several figures: {', '.join(c.full_name for c in named[:8])}."
        )
    return None


def columns_of(ledger: Ledger) -> dict[str, Column]:
    """Return all columns of a ledger by their full names."""
    return {column.full_name: column for working in ledger.workings.values() for column in working}


def _friendly(ledger: Ledger, plan: Plan | None, wanted: str) -> Iterator[str]:
    machines = list(plan.scenario.machine_in_question) if plan else []
    machines += [name.removeprefix("settlement ") for name in ledger.workings if name.startswith("settlement ")]
    if wanted in FRIENDLY:
        yield from (FRIENDLY[wanted].format(machine=machine) for machine in machines or [""])
    for words, patterns in OF_OWNER.items():
        if wanted.startswith(f"{words} of "):
            owner = wanted.removeprefix(f"{words} of ")
            for purse in _owners(ledger, plan):
                if _squeezed(purse) == owner:
                    yield from (pattern.format(owner=purse) for pattern in patterns)


def _owners(ledger: Ledger, plan: Plan | None) -> list[str]:
    return list(dict.fromkeys([*(plan.scenario.owners if plan else ()), *ledger.purses]))


def _nearest(ledger: Ledger, plan: Plan | None, what: str) -> str:
    known = {_squeezed(name): name for name in [*columns_of(ledger), *(line.name for line in ledger.lines), *FRIENDLY]}
    known |= {
        _squeezed(f"{words} of {owner}"): f"{words} of {owner}" for words in OF_OWNER for owner in _owners(ledger, plan)
    }
    by_end = {name.rpartition(".")[2]: name for name in known}
    near = difflib.get_close_matches(_squeezed(what), known, 4, 0.6) or [
        by_end[name] for name in difflib.get_close_matches(_squeezed(what).rpartition(".")[2], by_end, 3, 0.6)
    ]
    if not near:
        near = [name for name in known if _squeezed(what) in name][:4]
    return (
        f"Nearest: {', '.join(known[name] for name in near)}."
        if near
        else f"Ask for example for {', '.join(list(FRIENDLY)[:6])}."
    )


def figures(of: HasLedger | Ledger, word: str = "") -> list[str]:
    """Return the names that can be asked for: friendly ones, lines, columns; only those with `word` in them."""
    ledger, plan = (of, None) if isinstance(of, Ledger) else (of.ledger, of.plan)
    columns = columns_of(ledger)
    short = [name for name in FRIENDLY if any(found in columns for found in _friendly(ledger, plan, name))]
    of_owners = [f"{words} of {owner}" for words in OF_OWNER for owner in _owners(ledger, plan)]
    short += [name for name in of_owners if any(found in columns for found in _friendly(ledger, plan, _squeezed(name)))]
    lines = [f"{line.name} ({line.purse})" for line in ledger.lines]
    return [name for name in dict.fromkeys([*short, *lines, *columns]) if _squeezed(word) in _squeezed(name)]
