"""Alternatives side by side: worth, rates of return, payback, cash against the floor, gates, and which is best.

The best course is the one of highest present worth among those that keep the shop's cash above the owner's floor and
pass every gate; the best without regard to cash is shown beside it. Without cash in the scenario the test is not run.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from equipdecide.calendar import FloatArray
from equipdecide.decide.named import named
from equipdecide.decide.news import on_average
from equipdecide.decide.remarks import remarks
from equipdecide.decide.told_once import told_once
from equipdecide.evaluate import GROUPS, Evaluation, evaluate
from equipdecide.ledger import Column, Finding, Ledger, Line
from equipdecide.measures import Payback, Rates, gives_up, payback, rates_of_return
from equipdecide.plan import Plan
from equipdecide.scenario.models import Scenario
from equipdecide.showing import Shown


@dataclass(frozen=True)
class CashLow:
    """The lowest cash of the shop within the study [currency] and the month in which it ends a period so low."""

    amount: float
    month: str


@dataclass(frozen=True, eq=False, repr=False)
class Outcome:
    """One alternative, measured. Money in the scenario's currency; `less_keep` figures are this course less Keep.

    Rates of return and payback are of the investment after tax, loans left out; present worth has them in.
    """

    name: str
    plan: Plan
    ledger: Ledger
    npv: float
    npv_less_keep: float
    annual_worth: float
    npv_financing: float
    investment_less_keep: FloatArray  # cash by period less Keep's, after tax, loans left out
    times: FloatArray  # of the periods [year]
    cash_low: CashLow | None
    own_money_needed: float
    worst_coverage: float | None
    affordable: bool | None
    failed_gates: tuple[str, ...]

    @cached_property
    def rates_less_keep(self) -> Rates:
        """All real rates of return of the investment over keeping [1/year], with the number of sign changes."""
        return _usable(rates_of_return(self.investment_less_keep, self.times))

    @cached_property
    def costs_of_giving_up(self) -> tuple[float, ...]:
        """Those of the rates over keeping that are no return [1/year]: money comes in first, and
        what keeping earns goes.
        """
        found = self.rates_less_keep.roots
        return tuple(rate for rate in found if gives_up(self.investment_less_keep, self.times, rate))

    @cached_property
    def payback_less_keep(self) -> Payback:
        """First and last crossing of the cumulative cash over keeping [year]; None where it never comes back."""
        if not self.investment_less_keep.any():
            return Payback(None, None)
        return payback(self.investment_less_keep, self.times)

    def __repr__(self) -> str:
        return f"<Outcome {self.name}: present worth {self.npv:,.0f}>"

    def column(self, full_name: str) -> Column:
        """Return a column of this alternative's ledger by ``working.name``."""
        return self.ledger.column(full_name)

    def line(self, name: str, purse: str | None = None) -> Line:
        """Return a dated cash flow by name (and purse)."""
        return self.ledger.line(name, purse)

    def cash(self, purse: str = "all purses") -> FloatArray:
        """Return cash by period of one purse, or of all together [currency], shape (periods,)."""
        return self.ledger.column(f"cash.{purse}").per_row()

    def cash_level(self) -> FloatArray:
        """Return the shop's cash at each period's end, or its money since the decision where no
        cash was given [currency].
        """
        if "cash test" in self.ledger.workings:
            return self.column("cash test.level").per_row()
        return np.cumsum(self.cash("shop"))

    def __sub__(self, other: Outcome) -> Difference:
        return Difference(self, other)


@dataclass(frozen=True, eq=False)
class Difference:
    """One alternative less another: lines paired by name and purse, present worth by group, cash by period."""

    minuend: Outcome
    subtrahend: Outcome

    @property
    def npv(self) -> float:
        """Present worth of the first less that of the second [currency]."""
        return self.minuend.npv - self.subtrahend.npv

    @cached_property
    def cash(self) -> FloatArray:
        """Cash of all purses by period, first less second [currency], shape (periods,)."""
        return self.minuend.cash() - self.subtrahend.cash()

    @cached_property
    def lines(self) -> Mapping[tuple[str, str], tuple[float, float]]:
        """Undiscounted sums of each line in both, by (name, purse) [currency]."""
        found: dict[tuple[str, str], list[float]] = {}
        for k, side in enumerate((self.minuend, self.subtrahend)):
            for line in side.ledger.lines:
                found.setdefault((line.name, line.purse), [0.0, 0.0])[k] += float(line.amounts().sum())
        return {key: (a, b) for key, (a, b) in found.items()}

    @cached_property
    def by_group(self) -> Mapping[str, float]:
        """Present worth by what the money is for, first less second [currency]."""
        return {
            g: self.minuend.column(f"worth.{g}").figure() - self.subtrahend.column(f"worth.{g}").figure()
            for g in GROUPS
        }


@dataclass(frozen=True, eq=False, repr=False)
class Comparison(Shown):
    """All alternatives of a scenario, measured. ``comparison["name"]`` is one of them."""

    scenario: Scenario
    evaluation: Evaluation
    outcomes: tuple[Outcome, ...]
    best: str | None  # None: no alternative keeps cash above the floor and passes every gate
    best_ignoring_cash: str
    findings: tuple[Finding, ...]

    def __getitem__(self, name: str) -> Outcome:
        return named(self.outcomes, name, "alternative")

    def __iter__(self):  # type: ignore[no-untyped-def]
        return iter(self.outcomes)

    @property
    def keep(self) -> Outcome:
        """The course that changes nothing."""
        return self["keep"]

    @property
    def leader(self) -> Outcome:
        """The best affordable course, or the best without regard to cash where none is affordable."""
        return self[self.best or self.best_ignoring_cash]

    @property
    def runner_up(self) -> Outcome | None:
        """The next best of those the leader was chosen from; None where there is no other."""
        pool = [o for o in self.outcomes if o.name != self.leader.name and (self.best is None or passes(o))]
        return max(pool, key=lambda o: o.npv, default=None)

    def to_json(self) -> dict[str, object]:
        """Return plain data with fixed keys (docs/json.md): keys are added, never renamed."""
        return {
            "decision_date": self.scenario.decision_date.isoformat(),
            "currency": self.scenario.currency,
            "alternatives": [
                {
                    "name": o.name,
                    "npv": o.npv,
                    "npv_less_keep": o.npv_less_keep,
                    "annual_worth": o.annual_worth,
                    "irr_less_keep": list(o.rates_less_keep.roots),
                    "payback_years": o.payback_less_keep.first,
                    "payback_last_years": o.payback_less_keep.last,
                    "cash_low": None
                    if o.cash_low is None
                    else {"amount": o.cash_low.amount, "month": o.cash_low.month},
                    "affordable": o.affordable,
                    "own_money_needed": o.own_money_needed,
                    "worst_coverage": o.worst_coverage,
                    "failed_gates": list(o.failed_gates),
                }
                for o in self.outcomes
            ],
            "best": self.best,
            "best_ignoring_cash": self.best_ignoring_cash,
            "findings": [{"code": f.code, "text": f.text, "about": f.about, "weight": f.weight} for f in self.findings],
        }

    def to_frame(self):  # type: ignore[no-untyped-def]
        """Return a tidy pandas frame, one row an alternative, units in the column names."""
        import pandas as pd

        return pd.DataFrame(
            [
                {
                    "alternative": o.name,
                    "npv_usd": o.npv,
                    "npv_less_keep_usd": o.npv_less_keep,
                    "annual_worth_usd_per_year": o.annual_worth,
                    "payback_years": o.payback_less_keep.first,
                    "cash_low_usd": o.cash_low.amount if o.cash_low else None,
                    "own_money_needed_usd": o.own_money_needed,
                    "affordable": o.affordable,
                }
                for o in self.outcomes
            ]
        )


def passes(outcome: Outcome) -> bool:
    """Tell whether a course keeps cash above the floor (where that was tested) and passes every gate."""
    return outcome.affordable is not False and not outcome.failed_gates


def compare(scenario: Scenario, values: Mapping[str, float] | None = None) -> Comparison:
    """Evaluate and measure every alternative of a scenario. `values` overrides inputs by path, one number each.

    Where the scenario has events, a finding says which course is best on average, if that is another one.
    """
    evaluation = evaluate(scenario, values)
    comparison = measure(evaluation)
    if not scenario.events or values:
        return comparison
    return replace(comparison, findings=(*on_average(evaluation), *comparison.findings))


def measure(evaluation: Evaluation) -> Comparison:
    """Measure an evaluation at its first trial."""
    scenario = evaluation.scenario
    keep = evaluation["keep"]
    outcomes = tuple(_outcome(evaluation, name, keep) for name in evaluation.ledgers)
    told = told_once({name: ledger.findings for name, ledger in evaluation.ledgers.items()})
    passing = [o for o in outcomes if passes(o)]
    best = max(passing, key=lambda o: o.npv).name if passing else None
    ignoring = max(outcomes, key=lambda o: o.npv).name
    return Comparison(scenario, evaluation, outcomes, best, ignoring, (*remarks(evaluation, outcomes, best), *told))


def _before_financing(ledger: Ledger) -> FloatArray:
    return ledger.column("cash.all purses").per_row() - ledger.column("cash.all financing").per_row()


def _usable(rates: Rates) -> Rates:
    """Keep the rates between -99 % and 1,000 % a year; say how many real ones lie beyond."""
    kept = tuple(root for root in rates.roots if -0.99 < root < 10.0)
    beyond = len(rates.roots) - len(kept)
    note = rates.note + (f" {beyond} more beyond -99 % to 1,000 % a year." if beyond else "")
    return Rates(kept, rates.sign_changes, note)


def _outcome(evaluation: Evaluation, name: str, keep: Ledger) -> Outcome:
    ledger, plan, shop = evaluation[name], evaluation.plans[name], evaluation.scenario.shop
    times = np.array(evaluation.time.cash_times)
    difference = _before_financing(ledger) - _before_financing(keep)
    difference[np.abs(difference) < 0.005] = 0.0
    cash_low = affordable = None
    failed = []
    if "cash test" in ledger.workings:
        level = ledger.column("cash test.level").per_row()
        k = int(level.argmin())
        cash_low = CashLow(float(level[k]), evaluation.time.cash.labels[k])
        if shop.cash_floor is not None:
            affordable = ledger.column("cash test.margin").figure() >= -0.005
    worst = ledger.column("coverage.worst").figure() if "coverage" in ledger.workings else None
    if worst is not None and shop.coverage_required is not None and worst < float(shop.coverage_required):
        failed.append("coverage")
    failed += [gate for gate, answers in evaluation.scenario.gates.items() if answers.get(name) is False]
    npv = ledger.column("worth.npv").figure()
    return Outcome(
        name,
        plan,
        ledger,
        npv,
        npv - keep.column("worth.npv").figure(),
        ledger.column("worth.annual_worth").figure(),
        ledger.column("worth.npv_financing").figure(),
        difference,
        times,
        cash_low,
        ledger.column("own money.needed").figure(),
        worst if worst is None or worst < 99 else None,
        affordable,
        tuple(failed),
    )
