"""Where a figure comes from, one level at a time: formula in words with the figures put in, then its parts, down to
inputs (with place and giver), parameters of law (with date, status and source) and choices.

The words are written from the same text that computes the column (:mod:`equipdecide.formula`); there is no other
statement of it. A figure that the words name is read off the ledger, or computed by that same language.
"""

from __future__ import annotations

import ast
import difflib
import re
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from html import escape
from typing import Any, Protocol

import numpy as np

from equipdecide import calendar as cal
from equipdecide import parameters
from equipdecide.calendar import ONE, FloatArray
from equipdecide.formula import parse
from equipdecide.ledger import Column, Ledger, Line
from equipdecide.parameters.files import Parameter
from equipdecide.plan import Plan
from equipdecide.scenario.labels import labels
from equipdecide.scenario.models import Scenario
from equipdecide.scenario.reading import amounts
from equipdecide.words import day, listed, number, percent, quantity, wrap

WIDTH = 96
MANY_TERMS = 7  # a longer sum is not written out: its parts stand below
MANY_ROWS = 14
WIDE = 24  # a longer value (a list of brackets) stands behind its label

# Which module posts the workings of a rule, so that an explanation can give its first line.
RULES = {
    "capacity": "shop.hours",
    "hours": "shop.hours",
    "part economics": "shop.contribution",
    "contribution": "shop.contribution",
    "upkeep": "shop.upkeep",
    "spending": "shop.upkeep",
    "elsewhere": "shop.upkeep",
    "loan schedule": "money.loan",
    "lease schedule": "money.financing",
    "payoff": "money.payoff",
    "debt service": "money.service",
    "guarantees": "money.guarantees",
    "collateral": "money.collateral",
    "orders": "money.orders",
    "settlement": "money.settlement",
    "depreciation": "tax.depreciation",
    "disposal": "tax.disposal",
    "income": "tax.income",
    "reference": "tax.income",
    "returns": "tax.individual",
    "limits": "tax.limits",
    "business interest": "tax.interest_limit",
    "own books": "tax.own_books",
    "section 179": "tax.section_179",
    "qualified income": "tax.qualified_income",
    "state add-back": "tax.states",
    "property tax": "tax.property_tax",
    "payments": "tax.payments",
    "tax on the sale": "tax.payments",
    "worth": "evaluate",
    "cash test": "evaluate",
    "own money": "evaluate",
    "coverage": "evaluate",
}

RETURNS = {  # whose return it is tells which module
    "state return shop": "tax.corporation",
    "federal return shop": "tax.corporation",
    "entity return": "tax.corporation",
    "state return": "tax.states",
}

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


@dataclass(frozen=True)
class Part:
    """One part of a figure: what it is, its value in words, the full name to ask for, and on which rows."""

    label: str
    shown: str
    ask: str
    rows: tuple[str, ...] = ()

    @property
    def asked(self) -> str:
        """How to ask for it: the full name, with the row where there is one."""
        if not self.rows or self.rows == ("",):
            return self.ask
        first = self.rows[0]
        if len(self.rows) == 1:
            return f"{self.ask} [{first}]"
        return f"{self.ask} [{first} .. {self.rows[-1]}]"


@dataclass(frozen=True)
class Explanation:
    """One figure explained. `value` is None for a list of figures (brackets), whose text is `shown`."""

    alternative: str
    name: str
    label: str
    says: str
    row: str
    value: float | None
    unit: str
    shown: str
    kind: str
    formula: str
    sentence: str
    zeros: tuple[str, ...]
    rule: str
    rule_says: str
    origin: tuple[str, ...]
    remarks: tuple[str, ...]
    rows: tuple[tuple[str, str], ...]
    parts: tuple[Part, ...]
    inner: tuple[Explanation, ...] = field(default=())

    def text(self, width: int = WIDTH) -> str:
        """Return the explanation as text; explanations of its parts are indented below it."""
        head = f"{self.name}{f' [{self.row}]' if self.row else ''} = {self.shown}"
        lines = [head, *wrap(self.says, width, "  ")]
        for remark in self.remarks:
            lines += wrap(remark, width, "  ")
        if self.sentence:
            lines += wrap(self.sentence, width, "  ", "      ")
        if self.zeros:
            lines += wrap(f"Nothing comes from: {'; '.join(self.zeros)}.", width, "  ", "      ")
        for said in self.origin:
            lines += wrap(said, width, "  ", "      ")
        if self.rule:
            lines += wrap(f"Rule: {self.rule}. {self.rule_says}", width, "  ", "      ")
        if self.rows:
            lines += wrap("Rows: " + "; ".join(f"{label} {shown}" for label, shown in self.rows), width, "  ", "      ")
        if self.parts:
            lines.append("  Parts, and how to ask for each:")
            wide = max([len(part.shown) for part in self.parts if len(part.shown) <= WIDE] or [0])
            for part in self.parts:
                if len(part.shown) > WIDE:
                    lines += wrap(f"{part.label}: {part.shown}", width, " " * (wide + 6))
                else:
                    lines.append(f"    {part.shown.rjust(wide)}  {part.label}")
                lines.append(f"    {' ' * wide}  {part.asked}")
        for one in self.inner:
            lines += ["", *("    " + line for line in one.text(width - 4).splitlines())]
        return "\n".join(line.rstrip() for line in lines)

    def __str__(self) -> str:
        return self.text()

    def __repr__(self) -> str:
        return f"<explanation of {self.name} of {self.alternative}: {self.shown}>"

    def _repr_html_(self) -> str:
        return f'<pre class="mathjax_ignore">{escape(self.text())}</pre>'

    def to_json(self) -> dict[str, object]:
        """Return plain data with fixed keys: keys are added, never renamed."""
        return {
            "alternative": self.alternative,
            "name": self.name,
            "label": self.label,
            "says": self.says,
            "row": self.row,
            "value": self.value,
            "unit": self.unit,
            "shown": self.shown,
            "kind": self.kind,
            "formula": self.formula,
            "sentence": self.sentence,
            "zeros": list(self.zeros),
            "rule": self.rule,
            "rule_says": self.rule_says,
            "origin": list(self.origin),
            "remarks": list(self.remarks),
            "rows": [{"row": label, "shown": shown} for label, shown in self.rows],
            "parts": [{"label": p.label, "shown": p.shown, "ask": p.ask, "rows": list(p.rows)} for p in self.parts],
            "inner": [one.to_json() for one in self.inner],
        }


def explain(of: HasLedger | Ledger, what: str = "npv", row: str | int | None = None, depth: int = 1) -> Explanation:
    """Explain one figure of an alternative.

    `of` is an outcome of a comparison, a route of a sale, or a ledger (without its scenario: places in the file are not
    known then). `what` is a column's full name, a line's name (with its purse in brackets), or a friendly name: "npv",
    "net cash", "tax of Ines 2026"; a part may be asked for as it is printed, with its row in brackets. `row` is the
    label of a period, such as 2026 or "2027-01". With `depth` above 1 the parts are explained too. Raises UnknownFigure
    naming the nearest figures.
    """
    ledger, plan = (of, None) if isinstance(of, Ledger) else (of.ledger, of.plan)
    column, line, label = find(ledger, plan, what, None if row is None else str(row))
    return _Writer(ledger, plan.scenario if plan else None).column(column, label, depth, line)


# --- finding what is asked for


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
    columns = _columns(ledger)
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


def _columns(ledger: Ledger) -> dict[str, Column]:
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
    known = {_squeezed(name): name for name in [*_columns(ledger), *(line.name for line in ledger.lines), *FRIENDLY]}
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


# --- writing


_ACROSS_WORDS = {
    "gather": "{x} within {row}",
    "spread": "the part of {x} that falls in {row}",
    "during": "{x} then",
    "closing": "{x} at the end of {row}",
}
_LOOSE = {ast.Add: 1, ast.Sub: 1, ast.Mult: 2, ast.Div: 2, ast.Pow: 4}
_SIGNS = {ast.Add: "+", ast.Sub: "\u2212", ast.Mult: "\u00d7", ast.Div: "/", ast.Pow: "to the power"}
_TESTS: dict[type[ast.AST], str] = {
    ast.Lt: "is less than",
    ast.LtE: "is at most",
    ast.Gt: "is more than",
    ast.GtE: "is at least",
    ast.Eq: "is",
    ast.NotEq: "is not",
}


@dataclass(frozen=True)
class _Atom:
    """A figure that stands in a sentence: a column at a row, or a whole function of columns."""

    label: str
    value: float
    unit: str
    parts: tuple[Part, ...]

    @property
    def said(self) -> str:
        return f"{self.label} {quantity(self.value, self.unit)}"


class _Writer:
    """Writes explanations of one ledger's columns."""

    def __init__(self, ledger: Ledger, scenario: Scenario | None) -> None:
        self.ledger, self.scenario = ledger, scenario
        self.given = amounts(scenario) if scenario is not None else {}
        self.titles = labels(scenario) if scenario is not None else {}

    def column(self, column: Column, row: str | None, depth: int, line: Line | None = None) -> Explanation:
        rows = tuple(label for label in column.axis.labels)
        index = rows.index(row) if row is not None else _first_telling(column)
        many = len(rows) > 1
        sentence = formula = ""
        zeros: tuple[str, ...] = ()
        parts: tuple[Part, ...] = ()
        remarks = [] if line is None else [self._line_said(line)]
        if many and row is None:
            remarks.append(f"Shown for {rows[index]}, one of {len(rows)} rows.")
        if column.formula is not None:
            formula = column.formula.text
            sentence, zeros, parts = _Sentence(self, column, index).written()
        elif column.kind == "computed":
            sentence = "Found by computation, not by a formula; the figure that proves it must be zero."
            proof = [column.certificate] if column.certificate is not None else []
            parts = tuple(
                self.part(arg, index if len(arg.axis) == len(column.axis) else 0) for arg in [*column.args, *proof]
            )
        inner: tuple[Explanation, ...] = ()
        if depth > 1:
            known = _columns(self.ledger)
            inner = tuple(
                self.column(known[part.ask], part.rows[0] if part.rows else None, depth - 1) for part in parts
            )
        return Explanation(
            self.ledger.name,
            column.full_name,
            label_of(column),
            self.titles.get(column.says, column.says),
            rows[index] if many else "",
            None if column.wide else column.figure(index),
            column.unit,
            shown(column, index),
            column.kind,
            formula,
            sentence,
            zeros,
            column.rule,
            rule_says(column.rule, column.working),
            tuple(self._origin(column, index)),
            tuple(remarks),
            _telling_rows(column) if many and row is None else (),
            parts,
            inner,
        )

    def part(self, column: Column, index: int) -> Part:
        label = column.axis.labels[index] if len(column.axis) > 1 else ""
        return Part(label_of(column), shown(column, index), column.full_name, (label,) if label else ())

    def _line_said(self, line: Line) -> str:
        if line.dates is None:
            when = "spread over the days of each row"
        elif len(line.dates) == 1:
            when = f"on {day(line.dates[0])}"
        else:
            when = f"on {len(line.dates)} days from {day(line.dates[0])} to {day(line.dates[-1])}"
        return (
            f"A cash flow of {line.purse if line.purse != 'shop' else 'the shop'} ({line.group}), "
            f"{when}; positive is money in."
        )

    def _origin(self, column: Column, index: int) -> Iterator[str]:
        origin = column.origin
        if origin is None:
            return
        if origin.kind == "input":
            yield self._input_said(column, origin.ref, origin.source)
        elif origin.kind == "law":
            yield from _law_said(column, index, origin.ref, origin.source, origin.status)
        elif origin.kind == "calendar":
            yield f"From the calendar ({origin.ref})."
        else:
            yield f"A choice, or what follows from one: {origin.ref}."

    def _input_said(self, column: Column, path: str, source: str) -> str:
        amount = self.given.get(path)
        if amount is None:
            return f"An input: {path}{f', from: {source}' if source else ''}."
        place = amount.place if amount.place.line else None
        where = f"{place.file}, line {place.line}" if place else "not in a file"
        who = " ".join(
            word
            for word in (
                amount.given_by and f"from: {amount.given_by}",
                amount.by and f"by {amount.by}",
                amount.on and f"on {amount.on}",
            )
            if word
        )
        said = f"An input: {path} ({where}; {who or 'nobody is named as its giver'})."
        if amount.chance is not None:
            said += f" A chance of {percent(amount.chance)}, taken as {'yes' if amount.likely > 0.5 else 'no'}."
        elif amount.low is not None and amount.high is not None:
            said += (
                f" Low {quantity(amount.low, column.unit)}, likely "
                f"{quantity(amount.likely, column.unit)}, high {quantity(amount.high, column.unit)}."
            )
        if not column.wide and abs(column.figure() - amount.likely) > 1e-12:
            said += f" This run has it at {quantity(column.figure(), column.unit)} instead."
        return f"{said} {amount.note}".rstrip()


def _law_said(column: Column, index: int, id: str, source: str, status: str) -> Iterator[str]:
    try:
        parameter = parameters.load().parameter(id)
    except parameters.MissingParameter:
        parameter = None
    if not isinstance(parameter, Parameter):
        about = f": {parameter.description}" if parameter is not None else ""
        yield f"A figure of law, {id}{about}. Status: {status or 'read'}. Source: {source}."
        return
    yield f"A figure of law, {id}: {parameter.description}."
    end = column.axis.ends[index]
    dated = [one for one in parameter.values if one.from_date <= end] if end > date(1000, 1, 1) else []
    if not dated:
        yield f"Status: {status}. Source: {source}."
        return
    last = dated[-1]
    beyond = last is parameter.values[-1] and not parameter.open_ended and end.year > last.from_date.year
    later = ""
    if beyond and parameter.after_last in ("hold", "index"):
        later = (
            f"; {column.axis.labels[index]} is later than the last value on file, which is "
            f"{'held' if parameter.after_last == 'hold' else 'raised year by year'}"
        )
    yield f"In force from {day(last.from_date)}; status: {last.status}{later}."
    yield f"Source: {last.source}."


def rule_says(rule: str, working: str = "") -> str:
    """Return the first line of the docstring of the module whose rule this is; empty for inputs and law."""
    module = RULES.get(rule)
    if rule == "returns":
        module = next((found for begins, found in RETURNS.items() if working.startswith(begins)), module)
    # a ledger exists, so the modules of its rules are loaded
    found = sys.modules.get(f"equipdecide.{module}") if module else None
    doc = (found.__doc__ or "").strip() if found else ""
    first = doc.split("\n\n")[0]
    return " ".join(first.split())


def shown(column: Column, index: int) -> str:
    """Return the value of a column at a row in words; the list of figures of a wide column."""
    if not column.wide:
        return quantity(column.figure(index), column.unit)
    figures = column.values[:, index if column.values.shape[1] > 1 else 0, 0]
    # brackets that a year does not have are padded with what changes nothing
    kept = [float(figure) for figure in figures if np.isfinite(figure)]
    if column.says.endswith("rates"):
        return ", ".join(percent(figure) for figure in kept)
    return "; ".join(number(figure, 0) for figure in kept)


def label_of(column: Column) -> str:
    """Return a short label of a column: what it says up to the first stop, or its name."""
    origin = column.origin
    if origin is not None and origin.kind == "input" and column.working == "inputs":
        steps = origin.ref.split(".")
        named = steps[-1].replace("_", " ")
        return f"{named} of {steps[-2].replace('_', ' ')}" if len(steps) > 1 else named
    if origin is not None and origin.kind == "law" and len(column.says) <= 60:
        return column.says
    cut = column.says
    for stop in (", ", ": ", "; ", " ("):
        cut = cut.partition(stop)[0]
    name = column.name.partition("#")[0].replace("_", " ")
    vague = cut.startswith(("of ", "the ", "as cash", "must be")) or len(cut) > 60 or not cut
    vague = vague or (" " not in cut and len(cut) < len(name))
    if not vague:
        return cut
    return name.partition(": ")[2] if name.partition(": ")[0].isdigit() else name


def _first_telling(column: Column) -> int:
    if column.wide or len(column.axis) == 1:
        return 0
    values = column.per_row()
    hits = np.flatnonzero(np.abs(values) > 5e-7)
    return int(hits[0]) if len(hits) else 0


def _telling_rows(column: Column) -> tuple[tuple[str, str], ...]:
    if column.wide:
        return ()
    values = column.per_row()
    hits = [k for k in range(len(values)) if abs(values[k]) > 5e-7]
    found = [(column.axis.labels[k], quantity(float(values[k]), column.unit)) for k in hits[:MANY_ROWS]]
    if len(hits) > MANY_ROWS:
        found.append(("and", f"{len(hits) - MANY_ROWS} more"))
    if len(hits) < len(values):
        found.append(("others", "0"))
    return tuple(found)


class _Sentence:
    """Writes one formula column at one row as a sentence with the figures put in."""

    def __init__(self, writer: _Writer, column: Column, index: int) -> None:
        assert column.formula is not None
        self.writer, self.target, self.index, self.formula = writer, column, index, column.formula
        others = [name for name in self.formula.names if not (self.formula.recurs and name == self.formula.own)]
        self.args: dict[str, Column] = dict(zip(others, column.args, strict=True))
        self.row = column.axis.labels[index]
        self.atoms: dict[str, _Atom] = {}
        self.labels = self._labels()
        self.tree = self._with_atoms(self.formula.tree)

    def _labels(self) -> dict[str, str]:
        found = {name: label_of(arg) for name, arg in self.args.items()}
        for name, label in list(found.items()):
            same = [other for other, said in found.items() if said == label and self.args[other] is not self.args[name]]
            if same:
                for other in [name, *same]:
                    found[other] = (
                        f"{label} ({self.args[other].full_name})"
                        if self.args[other].working != self.target.working
                        else self.args[other].name.replace("_", " ")
                    )
        if self.formula.own is not None:
            found[self.formula.own] = label_of(self.target)
        return found

    # the sentence

    def written(self) -> tuple[str, tuple[str, ...], tuple[Part, ...]]:
        """Return the sentence, the terms that are zero, and the parts."""
        head = label_of(self.target)
        terms = self._terms(self.tree)
        zeros: tuple[str, ...] = ()
        if isinstance(self.tree, ast.Constant):
            return f"{head} = {number(self.tree.value)}, whatever the rest.", (), ()  # type: ignore[arg-type]
        parts = self._parts()
        if len(terms) > 1:
            telling = [(sign, node) for sign, node in terms if abs(self.value(node)) > 5e-7]
            nothing = [node for _, node in terms if abs(self.value(node)) <= 5e-7]
            zeros = tuple(dict.fromkeys(self._plain(node) for node in nothing))
            named = {name for _, node in telling for name in _names(node)}
            kept = list(
                dict.fromkeys(
                    part
                    for name in self.atoms
                    if name in named
                    for part in self.atoms[name].parts
                    if not _is_nothing(part.shown)
                )
            )
            if not telling:
                kept = [part for part in parts if not _is_nothing(part.shown)]
                return f"{head} = 0: every term is zero.", zeros, tuple(kept)
            if len(telling) > MANY_TERMS and all(isinstance(node, ast.Name) for _, node in telling):
                signs = {sign for sign, _ in telling}
                return (
                    f"{head} = the sum of the {len(telling)} parts "
                    f"below{'' if signs == {1} else ', some of them taken off'}.",
                    zeros,
                    tuple(kept),
                )
            said = ""
            for k, (sign, node) in enumerate(telling):
                mark = (
                    ""
                    if k == 0 and sign > 0
                    else f" {_SIGNS[ast.Add] if sign > 0 else _SIGNS[ast.Sub]} "
                    if k
                    else "minus "
                )
                said += mark + self.words(node, 1 if sign > 0 else 2)
            return f"{head} = {said}.", zeros, tuple(kept)
        return f"{head} = {self.words(self.tree)}.", zeros, parts

    def _terms(self, node: ast.expr, sign: int = 1) -> list[tuple[int, ast.expr]]:
        if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Add | ast.Sub):
            below = self._terms(node.left, sign)
            if isinstance(node.left, ast.Constant) and node.left.value == 0:
                below = []
            return [*below, *self._terms(node.right, sign if isinstance(node.op, ast.Add) else -sign)]
        return [(sign, node)]

    def _plain(self, node: ast.expr) -> str:
        if isinstance(node, ast.Name):
            return self.atoms[node.id].label
        return self.words(node)

    def words(self, node: ast.expr, tightness: int = 0) -> str:
        """Write an expression in words; in brackets where it would not read rightly within a tighter one."""
        if isinstance(node, ast.Constant):
            return number(float(node.value), 6)  # type: ignore[arg-type]
        if isinstance(node, ast.Name):
            return self.atoms[node.id].said
        if isinstance(node, ast.UnaryOp):
            return f"minus {self.words(node.operand, 3)}"
        if isinstance(node, ast.BinOp):
            if isinstance(node.op, ast.Sub) and isinstance(node.left, ast.Constant) and node.left.value == 0:
                return _bracketed(f"minus {self.words(node.right, 2)}", tightness > 0)
            own = _LOOSE[type(node.op)]
            right = own + (1 if isinstance(node.op, ast.Sub | ast.Div | ast.Pow) else 0)
            text = f"{self.words(node.left, own)} {_SIGNS[type(node.op)]} {self.words(node.right, right)}"
            return _bracketed(text, own < tightness)
        if isinstance(node, ast.Compare):
            text = f"{self.words(node.left, 1)} {_TESTS[type(node.ops[0])]} {self.words(node.comparators[0], 1)}"
            return _bracketed(text, tightness > 0)
        assert isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
        return _bracketed(self._call(node.func.id, node.args), tightness > 0)

    def _test(self, node: ast.expr, holds: bool) -> str:
        if isinstance(node, ast.Compare):
            said = _TESTS[type(node.ops[0])]
            said = said if holds else "is" if said == "is not" else said.replace("is", "is not", 1)
            return f"{self.words(node.left, 1)} {said} {self.words(node.comparators[0], 1)}"
        return (
            f"{self.words(node, 1)} is {'not 0' if holds else '0'}"
            if not isinstance(node, ast.Name)
            else f"'{self.atoms[node.id].label}' is {'true' if holds else 'not true'}"
        )

    def _call(self, function: str, args: Sequence[ast.expr]) -> str:
        if function == "where":
            yes = abs(self.value(args[0])) > 0
            test = self._test(args[0], yes)
            return f"{self.words(args[1 if yes else 2])}, since {test}"
        if function in ("min", "max"):
            if len(args) == 2 and isinstance(args[1], ast.Constant):
                end = f"at {'least' if function == 'max' else 'most'} {self.words(args[1])}"
                return f"{self.words(args[0], 0 if isinstance(args[0], ast.BinOp) else 1)}, {end}"
            return f"the {'smaller' if function == 'min' else 'larger'} of {listed(self.words(arg, 1) for arg in args)}"
        simple = {
            "cents": "{x}, to the cent",
            "dollars": "{x}, to the dollar",
            "ceiling": "{x}, up to the next whole number",
            "abs": "the size of {x}",
            "exp": "e to the power of {x}",
            "log": "the natural logarithm of {x}",
        }
        return simple[function].format(x=self.words(args[0], 0 if function in ("cents", "dollars", "ceiling") else 1))

    # figures

    def value(self, node: ast.expr) -> float:
        """Return the figure of an expression over the atoms, by the language itself."""
        if isinstance(node, ast.Constant):
            return float(node.value)  # type: ignore[arg-type]
        if isinstance(node, ast.Name):
            return self.atoms[node.id].value
        formula = parse(ast.unparse(node))
        run = formula.bind(ONE, dict.fromkeys(formula.names, ONE))
        return float(run(*(np.array([[self.atoms[name].value]]) for name in formula.names))[0, 0])

    def _with_atoms(self, node: ast.expr) -> ast.expr:
        """Return the tree with every figure that is read off the ledger replaced by the name of an atom."""
        if isinstance(node, ast.Name):
            return self._atom(node.id, self._read(node.id))
        if isinstance(node, ast.BinOp):
            return ast.BinOp(self._with_atoms(node.left), node.op, self._with_atoms(node.right))
        if isinstance(node, ast.UnaryOp):
            return ast.UnaryOp(node.op, self._with_atoms(node.operand))
        if isinstance(node, ast.Compare):
            return ast.Compare(
                self._with_atoms(node.left), node.ops, [self._with_atoms(other) for other in node.comparators]
            )
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            function = node.func.id
            if function == "prev":
                return self._previous(node.args)
            if function in _ACROSS_WORDS or function in (
                "running",
                "total",
                "weighted",
                "smallest",
                "pick",
                "lookup",
                "brackets",
            ):
                return self._atom(f"{function}_{len(self.atoms)}", self._whole(function, node))
            return ast.Call(node.func, [self._with_atoms(arg) for arg in node.args], [])
        return node

    def _atom(self, name: str, atom: _Atom) -> ast.Name:
        name = name if name not in self.atoms or self.atoms[name] == atom else f"{name}_{len(self.atoms)}"
        self.atoms[name] = atom
        return ast.Name(name, ast.Load())

    def _read(self, name: str) -> _Atom:
        arg = self.args[name]
        index = self.index if len(arg.axis) > 1 else 0
        part = replace(self.writer.part(arg, index), label=self.labels[name])
        return _Atom(self.labels[name], arg.figure(index), arg.unit, (part,))

    def _previous(self, args: Sequence[ast.expr]) -> ast.expr:
        name = args[0].id  # type: ignore[attr-defined]
        source = self.target if name == self.formula.own else self.args[name]
        if self.index == 0:
            return self._with_atoms(args[1]) if len(args) == 2 else ast.Constant(0.0)
        index = self.index - 1 if len(source.axis) > 1 else 0
        before = source.axis.labels[index]
        part = self.writer.part(source, index)
        return self._atom(
            f"previous_{name}", _Atom(f"{self.labels[name]} of {before}", source.figure(index), source.unit, (part,))
        )

    def _whole(self, function: str, node: ast.Call) -> _Atom:
        formula = parse(ast.unparse(node))
        axes = {name: self.args[name].axis for name in formula.names}
        values: FloatArray = formula.bind(self.target.axis, axes)(*(self.args[name].values for name in formula.names))
        figure = float(values[self.index, 0])
        names = [arg.id for arg in node.args if isinstance(arg, ast.Name)]
        first = self.args[names[0]] if names else self.target
        label = self.labels[names[0]] if names else ""
        if function in _ACROSS_WORDS:
            rows = self._rows_across(function, first)
            said = _ACROSS_WORDS[function].format(x=label, row=self.row or "it")
            return _Atom(said, figure, first.unit, (self._range(first, rows),))
        every = list(range(len(first.axis)))
        if function == "running":
            return _Atom(
                f"{label} added up to {self.row}", figure, first.unit, (self._range(first, every[: self.index + 1]),)
            )
        if function == "total":
            return _Atom(f"all {label} added up", figure, first.unit, (self._range(first, every),))
        if function == "smallest":
            k = int(first.per_row().argmin())
            return _Atom(
                f"the least {label} (in {first.axis.labels[k]})", figure, first.unit, (self._range(first, [k]),)
            )
        if function == "weighted":
            second = self.args[names[1]]
            return _Atom(
                f"{label} \u00d7 {self.labels[names[1]]}, row by row, added up",
                figure,
                first.unit,
                (self._range(first, every), self._range(second, every)),
            )
        if function == "pick":
            k = int(self._inside(node.args[1]))
            within = 0 <= k < len(first.axis)
            said = f"{label} in row {first.axis.labels[k] or k}" if within else f"{label} outside its rows"
            return _Atom(said, figure, first.unit, (self._range(first, [k] if within else every),))
        keys = tuple(
            self.writer.part(self.args[name], self.index if len(self.args[name].axis) > 1 else 0)
            for name in _names(node.args[0])
        )
        tables = [self.args[arg.id] for arg in node.args[1:]]  # type: ignore[attr-defined]
        shown_keys = " and ".join(part.label + " " + part.shown for part in keys)
        if function == "brackets":
            said = f"progressive sum on {shown_keys}:"
            return _Atom(
                said,
                figure,
                self.target.unit,
                (*keys, *(self.writer.part(t, self.index if len(t.axis) > 1 else 0) for t in tables)),
            )
        return _Atom(
            f"{label_of(tables[1])} at {shown_keys}",
            figure,
            tables[1].unit,
            (*keys, *(self._range(t, list(range(len(t.axis)))) for t in tables)),
        )

    def _inside(self, node: ast.expr) -> float:
        formula = parse(ast.unparse(node))
        axes = {name: self.args[name].axis for name in formula.names}
        values = formula.bind(self.target.axis, axes)(*(self.args[name].values for name in formula.names))
        return float(values[self.index, 0])

    def _rows_across(self, function: str, source: Column) -> list[int]:
        own, target = source.axis, self.target.axis
        if function in ("gather", "spread"):
            weights = (cal.gather_weights if function == "gather" else cal.spread_weights)(own, target)[self.index]
            return [int(k) for k in np.flatnonzero(weights)]
        k = int((cal.during_rows if function == "during" else cal.closing_rows)(own, target)[self.index])
        return [k] if k >= 0 else []

    def _range(self, column: Column, rows: Sequence[int]) -> Part:
        """Return a part that stands for some rows of a column; those that are zero are left out."""
        telling = [k for k in rows if column.wide or abs(column.figure(k)) > 5e-7]
        if len(column.axis) == 1:
            return self.writer.part(column, 0)
        if not telling:
            return Part(
                label_of(column),
                quantity(0.0, column.unit),
                column.full_name,
                tuple(column.axis.labels[k] for k in rows[:1]),
            )
        labels = tuple(column.axis.labels[k] for k in telling)
        text = shown(column, telling[0]) if len(telling) == 1 else f"{len(telling)} rows"
        return Part(label_of(column), text, column.full_name, labels)

    def _parts(self) -> tuple[Part, ...]:
        return tuple(dict.fromkeys(part for atom in self.atoms.values() for part in atom.parts))


def _names(node: ast.expr) -> list[str]:
    """Return the columns a part of a formula speaks of; the names of functions are none."""
    called = {id(call.func) for call in ast.walk(node) if isinstance(call, ast.Call)}
    return [found.id for found in ast.walk(node) if isinstance(found, ast.Name) and id(found) not in called]


def _bracketed(text: str, needed: bool) -> str:
    return f"({text})" if needed else text


def _is_nothing(shown_text: str) -> bool:
    digits = [sign for sign in shown_text.split(" ")[0] if sign.isdigit()]
    return bool(digits) and set(digits) == {"0"}


def unwind(of: HasLedger | Ledger, what: str = "worth.npv") -> Iterator[Column]:
    """Yield every column that a figure rests on, itself first, each once."""
    ledger, plan = (of, None) if isinstance(of, Ledger) else (of.ledger, of.plan)
    waiting: list[Any] = [find(ledger, plan, what)[0]]
    seen: set[int] = set()
    while waiting:
        column = waiting.pop()
        if id(column) in seen:
            continue
        seen.add(id(column))
        yield column
        waiting += [*column.args, *([column.certificate] if column.certificate is not None else [])]


def figures(of: HasLedger | Ledger, word: str = "") -> list[str]:
    """Return the names that can be asked for: friendly ones, lines, columns; only those with `word` in them."""
    ledger, plan = (of, None) if isinstance(of, Ledger) else (of.ledger, of.plan)
    columns = _columns(ledger)
    short = [name for name in FRIENDLY if any(found in columns for found in _friendly(ledger, plan, name))]
    of_owners = [f"{words} of {owner}" for words in OF_OWNER for owner in _owners(ledger, plan)]
    short += [name for name in of_owners if any(found in columns for found in _friendly(ledger, plan, _squeezed(name)))]
    lines = [f"{line.name} ({line.purse})" for line in ledger.lines]
    return [name for name in dict.fromkeys([*short, *lines, *columns]) if _squeezed(word) in _squeezed(name)]
