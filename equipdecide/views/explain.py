"""Where a figure comes from, one level at a time: formula in words with the figures put in, then its parts, down to
inputs (with place and giver), parameters of law (with date, status and source) and choices.

The words are written from the same text that computes the column (:mod:`equipdecide.formula`); there is no other
statement of it. A figure that the words name is read off the ledger, or computed by that same language.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from html import escape
from typing import Any

import numpy as np

from equipdecide import parameters
from equipdecide.ledger import Column, Ledger, Line
from equipdecide.parameters.files import Parameter
from equipdecide.scenario.amounts import Amount
from equipdecide.scenario.labels import labels
from equipdecide.scenario.reading import amounts
from equipdecide.views.figure_names import MANY_ROWS, HasLedger, UnknownFigure, columns_of, figures, find
from equipdecide.views.in_words import Part, Sentence, as_part, label_of, shown
from equipdecide.words import day, percent, quantity, wrap

__all__ = ["RULES", "Explanation", "Part", "UnknownFigure", "explain", "figures", "find", "rule_says", "unwind"]

WIDTH = 96
WIDE = 24  # a longer value (a list of brackets) stands behind its label

# Which module posts the workings of a rule, so that an explanation can give its first line.
RULES = {
    "capacity": "shop.hours",
    "hours": "shop.hours",
    "part economics": "shop.contribution",
    "contribution": "shop.contribution",
    "upkeep": "shop.upkeep",
    "crashes": "shop.crashes",
    "bills": "shop.bills",
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
    "state tax deducted": "tax.corporation",
    "state return": "tax.states",
}


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
    writer = Writer(ledger, amounts(plan.scenario), labels(plan.scenario)) if plan else Writer(ledger)
    return writer.column(column, label, depth, line)


# --- finding what is asked for

# --- writing


class Writer:
    """Writes explanations of one ledger's columns. `given` are the inputs by path, `titles` their labels."""

    def __init__(
        self, ledger: Ledger, given: Mapping[str, Amount] | None = None, titles: Mapping[str, str] | None = None
    ) -> None:
        self.ledger, self.given, self.titles = ledger, given or {}, titles or {}

    def column(self, column: Column, row: str | None = None, depth: int = 1, line: Line | None = None) -> Explanation:
        """Return the explanation of a column at a row (left out: the first that is not zero)."""
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
            sentence, zeros, parts = Sentence(column, index).written()
        elif column.kind == "computed":
            sentence = "Found by computation, not by a formula; the figure that proves it must be zero."
            proof = [column.certificate] if column.certificate is not None else []
            parts = tuple(
                as_part(arg, index if len(arg.axis) == len(column.axis) else 0) for arg in [*column.args, *proof]
            )
        inner: tuple[Explanation, ...] = ()
        if depth > 1:
            known = columns_of(self.ledger)
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


# What the rules of the whole order say: their module is one for all of them.
IN_THE_ORDER = {
    "worth": "Present worth: every dated flow of money, brought to the day of decision at the study's rate and added up.",
    "cash test": "The shop's cash, period by period, against the floor it must not go under.",
    "own money": "What a course takes out of the shop's own money before the first good part, loans for it taken off.",
    "coverage": "Operating cash of a full year over the loan payments of that year.",
}


def rule_says(rule: str, working: str = "") -> str:
    """Return what a rule says in short: the first line of its module's docstring; empty for inputs and law."""
    if rule in IN_THE_ORDER:
        return IN_THE_ORDER[rule]
    module = RULES.get(rule)
    if rule == "returns":
        module = next((found for begins, found in RETURNS.items() if working.startswith(begins)), module)
    # a ledger exists, so the modules of its rules are loaded
    found = sys.modules.get(f"equipdecide.{module}") if module else None
    doc = (found.__doc__ or "").strip() if found else ""
    first = doc.split("\n\n")[0]
    return " ".join(first.split())


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
