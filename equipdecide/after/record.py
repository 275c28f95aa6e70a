"""The record of a decision: one readable file, signed on the day, that gives the same figures again years later.

It holds the scenario's text and its hash, every parameter of law that was read with its value, the answer, what would
flip it, who gave which guess, who agreed and who did not, and when to look again. A seal over the whole shows whether
anything was changed afterwards.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import yaml

from equipdecide.after.law_used import LawUsed, NotingLaw
from equipdecide.calendar import Date
from equipdecide.decide.breakeven import Breakevens, breakeven
from equipdecide.decide.compare import Comparison, Outcome
from equipdecide.decide.named import named
from equipdecide.evaluate import evaluate
from equipdecide.scenario import Scenario, dump
from equipdecide.scenario.amounts import Amount
from equipdecide.scenario.labels import labels
from equipdecide.scenario.reading import amounts, quantity_at
from equipdecide.showing import Shown
from equipdecide.version import VERSION

if TYPE_CHECKING:
    import pandas as pd


FORMAT = 1
FLIPS_KEPT = 8
FLIP_STANDS = (
    1e-5  # a flip that moves by less than this share of itself stands where it was: it is solved to a tenth of it
)
NAMED_IN_STEPS = ("machines", "improvements", "offers", "financing")  # what a course uses only where a step names it
GUESSED = ("guess", "default")  # what `from` says of a figure that nobody has seen on paper


@dataclass(frozen=True)
class Figures:
    """One course as it was answered [currency, to the cent; coverage in times]."""

    name: str
    npv: float
    npv_less_keep: float
    annual_worth: float
    own_money_needed: float
    lowest_cash: float | None
    lowest_cash_month: str
    worst_coverage: float | None
    affordable: bool | None
    failed_gates: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """Return plain data with fixed keys."""
        return {
            name: list(value) if isinstance(value := getattr(self, name), tuple) else value
            for name in self.__dataclass_fields__
        }


@dataclass(frozen=True)
class FlipKept:
    """An input at which two courses were worth the same: entered and flip [unit of the input]."""

    path: str
    label: str
    alternative: str
    against: str
    entered: float
    flip: float
    unit: str
    inside_range: bool


@dataclass(frozen=True)
class GuessKept:
    """A figure that was guessed or doubtful: its range, and who gave it."""

    path: str
    label: str
    likely: float
    low: float | None
    high: float | None
    unit: str
    given_by: str
    by: str
    on: str


@dataclass(frozen=True, repr=False)
class Record(Shown):
    """A decision as it was taken. Money in the scenario's currency, to the cent."""

    title: str
    shop: str
    decided_on: Date
    chosen: str
    best: str | None
    best_ignoring_cash: str
    currency: str
    answer: tuple[Figures, ...]
    flips: tuple[FlipKept, ...]
    guesses: tuple[GuessKept, ...]
    agreed: tuple[str, ...]
    dissent: str
    change_our_mind: str
    revisit_on: Date | None
    library: str
    scenario_sha256: str
    scenario_text: str
    files: Mapping[str, str]  # texts that the scenario names, such as a log of nights
    law: LawUsed

    def __getitem__(self, name: str) -> Figures:
        return named(self.answer, name, "course of the record")

    @property
    def owners(self) -> tuple[str, ...]:
        """The owners that the recorded scenario names."""
        named_there = yaml.safe_load(self.scenario_text).get("owners") or {}
        return tuple(name for name, entry in named_there.items() if isinstance(entry, dict))

    def to_json(self) -> dict[str, Any]:
        """Return the record as plain data with fixed keys, as its file holds it; days as texts."""
        made: dict[str, Any] = json.loads(json.dumps(data_of(self), default=day_text))
        return made

    def to_frame(self) -> pd.DataFrame:
        """Return a tidy pandas frame of the answer, one row a course, money in the scenario's currency."""
        import pandas as pd

        return pd.DataFrame([figures.to_json() for figures in self.answer])


def record(
    comparison: Comparison,
    chosen: str,
    agreed: Sequence[str] = (),
    dissent: str = "",
    revisit_on: Date | None = None,
    change_our_mind: str = "",
) -> Record:
    """Return the record of choosing course `chosen`.

    `agreed` names who agreed; `dissent` is who did not and why, in their words; `change_our_mind` says what would. The
    evaluation and what flips it run once more, to note the law they read. Raises KeyError for an unknown course,
    ValueError where the comparison was made with figures other than those of its scenario.
    """
    outcome = comparison[chosen]
    scenario = comparison.scenario
    noting = NotingLaw(comparison.evaluation.law)
    again = evaluate(
        scenario, only=["keep", *(name for name in comparison.evaluation.ledgers if name != "keep")], law=noting
    )
    if any(round(again[o.name].column("worth.npv").figure() - o.npv, 2) for o in comparison):
        raise ValueError(
            "this comparison was made with figures other than those of its scenario; write them into the file, "
            "compare again, then record"
        )
    flips = breakeven(scenario, law=noting)
    text = dump(scenario)
    return Record(
        scenario.title,
        scenario.shop.name,
        scenario.decision_date,
        outcome.name,
        comparison.best,
        comparison.best_ignoring_cash,
        scenario.currency,
        answer_kept(comparison.outcomes),
        flips_kept(flips, chosen),
        _guesses(scenario, chosen),
        tuple(agreed),
        dissent,
        change_our_mind,
        revisit_on,
        VERSION,
        hashlib.sha256(text.encode()).hexdigest(),
        text,
        _files(scenario),
        noting.used(),
    )


def to_cents(value: float) -> float:
    """Return money to the cent, and no minus zero."""
    return round(value, 2) + 0.0  # no negative zero


def answer_kept(outcomes: Iterable[Outcome]) -> tuple[Figures, ...]:
    """Return the figures of every course that a record keeps, to cents."""
    return tuple(
        Figures(
            o.name,
            to_cents(o.npv),
            to_cents(o.npv_less_keep),
            to_cents(o.annual_worth),
            to_cents(o.own_money_needed),
            to_cents(o.cash_low.amount) if o.cash_low else None,
            o.cash_low.month if o.cash_low else "",
            None if o.worst_coverage is None else round(o.worst_coverage, 4),
            o.affordable,
            o.failed_gates,
        )
        for o in outcomes
    )


def flips_kept(flips: Breakevens, chosen: str) -> tuple[FlipKept, ...]:
    """Return the nearest flips, those of the chosen course first."""
    nearest = sorted(
        flips.flips, key=lambda flip: chosen not in (flip.alternative, flip.against)
    )  # stable: nearest first
    return tuple(
        FlipKept(f.path, f.label, f.alternative, f.against, f.entered, f.flip, f.unit, f.inside_range)
        for f in nearest[:FLIPS_KEPT]
    )


def _guesses(scenario: Scenario, chosen: str) -> tuple[GuessKept, ...]:
    """Return the guessed and doubtful figures with who gave them, those that the chosen course rests on first."""
    names, entered = labels(scenario), amounts(scenario)
    found = [
        GuessKept(path, names.get(path, path), _said(a), a.low, a.high, a.unit, a.given_by, a.by, a.on)
        for path, a in entered.items()
        if a.doubtful or a.given_by in GUESSED or a.by
    ]
    for who, listed in scenario.guesses.items():  # partners who see some inputs differently
        for guess in listed:
            quantity = quantity_at(guess.of)
            assert quantity is not None  # the checks of a scenario see to it
            a = quantity.read(guess.value)
            found.append(
                GuessKept(
                    guess.of,
                    names.get(guess.of, guess.of),
                    _said(a),
                    a.low,
                    a.high,
                    entered[guess.of].unit,
                    "guess",
                    who,
                    "",
                )
            )
    used = {
        name
        for step in scenario.alternatives[chosen]
        for field in ("machine", "improvement", "by")
        if (name := getattr(step, field, None))
    }
    used |= {name for step in scenario.alternatives[chosen] for name in getattr(step, "pay", ())} | set(
        scenario.machine_in_question
    )
    found.sort(key=lambda guess: guess.path.split(".")[0] in NAMED_IN_STEPS and guess.path.split(".")[1] not in used)
    return tuple(found)


def _said(amount: Amount) -> float:
    return amount.likely if amount.chance is None else amount.chance


def _files(scenario: Scenario) -> dict[str, str]:
    """Return the texts of the files that the scenario names, by name."""
    folder = scenario.source.folder or Path()
    nights = [m.running.nights for m in scenario.machines.values() if m.running] + [
        i.changes.nights for i in scenario.improvements.values()
    ]
    named = [n.log for n in nights if n and n.log] + [doubt.log for doubt in scenario.doubts if doubt.log]
    times = [m.times for m in scenario.machines.values() if m.times]
    named += [name for one in times for name in (one.shifts, one.stops, one.meter) if name]
    named += [m.upkeep.bills for m in scenario.machines.values() if m.upkeep and m.upkeep.bills]
    named += [m.market.comparables for m in scenario.machines.values() if m.market and m.market.comparables]
    return {
        name: (folder / name).read_text(encoding="utf-8-sig")
        for name in sorted(set(named))
        if (folder / name).is_file()
    }


class OneLine(dict[str, Any]):
    """A mapping written between braces."""


def data_of(record: Record) -> dict[str, Any]:
    """Return a record as plain data with fixed keys, in the order of the file."""
    flow = OneLine
    return {
        "format": FORMAT,
        "title": record.title,
        "shop": record.shop,
        "decided_on": record.decided_on,
        "chosen": record.chosen,
        "best": record.best,
        "best_ignoring_cash": record.best_ignoring_cash,
        "currency": record.currency,
        "agreed": list(record.agreed),
        "dissent": record.dissent,
        "change_our_mind": record.change_our_mind,
        "revisit_on": record.revisit_on,
        "answer": [figures.to_json() for figures in record.answer],
        "flips": [flow(vars(flip)) for flip in record.flips],
        "guesses": [
            flow({key: value for key, value in vars(guess).items() if value not in ("", None)})
            for guess in record.guesses
        ],
        "library": record.library,
        "scenario_sha256": record.scenario_sha256,
        "scenario": record.scenario_text,
        "files": dict(record.files),
        "law": _law_lines(record.law.to_json()),
    }


def _law_lines(law: dict[str, Any]) -> dict[str, Any]:
    """Write each value, table row and source on a line of its own where it fits."""
    for group in law["readings"]:
        group["values"] = [OneLine(entry) for entry in group["values"]]
    law["tables"] = [OneLine(entry) for entry in law["tables"]]
    for entry in law["rows"]:
        entry["rows"] = [OneLine(row) for row in entry["rows"]]
    return law


def day_text(value: object) -> str:
    """Return a day as the file has it. Raises TypeError for anything else that is no plain data."""
    if isinstance(value, Date):
        return value.isoformat()
    raise TypeError(f"{type(value).__name__} has no place in a record")
