"""How long a machine is worth keeping: economic service life, before and after tax."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from equipdecide import calendar as cal
from equipdecide.calendar import Date, FloatArray
from equipdecide.decide.put_off import machine_asked, value_after, with_offer
from equipdecide.evaluate import Evaluation, evaluate
from equipdecide.measures import EconomicLife, Keep, annual_worth, economic_life, years_to_keep
from equipdecide.parameters import Law
from equipdecide.scenario.models import Scenario, Sell
from equipdecide.showing import Shown

if TYPE_CHECKING:
    import pandas as pd


FLAT = 0.03  # costs this near the least are as good: customary, no source


@dataclass(frozen=True, eq=False, repr=False)
class ServiceLife(Shown):
    """What keeping a machine costs year by year. Row k is the year that ends k + 1 years from the decision.

    Before tax: upkeep and other yearly costs, loss in value and forgone interest (no earnings). After tax: the whole
    shop, its earnings, loan and taxes included, if the machine is sold at the end of that year instead of today.
    """

    machine: str
    value_now: float  # [currency]
    values: FloatArray  # (years,) what it brings at each year's end [currency]
    expenses: FloatArray  # (years,) [currency]
    before_tax: EconomicLife
    worth_if_sold: FloatArray  # (years + 1,) present worth if sold after 0, 1, 2 ... years, after tax [currency]
    annual_worth: FloatArray  # (years,) of keeping it that long rather than selling today, after tax [currency/year]
    marginal_worth: FloatArray  # (years,) of keeping it that one year more, at the year's end, after tax [currency]
    rate: float  # [1/year]

    @property
    def years_before_tax(self) -> int:
        """Economic service life before tax: years kept at which the annual cost is least."""
        return int(self.before_tax.years)

    @property
    def years_after_tax(self) -> int:
        """Years kept at which the annual worth after tax is greatest; 0 where every year of keeping loses."""
        best = int(self.annual_worth.argmax())
        return best + 1

    @property
    def next_year(self) -> float:
        """What one more year is worth after tax, at that year's end [currency]; negative is a cost."""
        return float(self.marginal_worth[0])

    @property
    def annual_expenses(self) -> FloatArray:
        """The level annual worth of expenses if it is kept through each year, before tax (years,) [currency/year]."""
        return np.array([annual_worth(pw, self.rate, k) for k, pw in enumerate(self._spent, start=1)], dtype=float)

    @property
    def capital_recovery(self) -> FloatArray:
        """The level annual cost of loss in value with interest, before tax (years,) [currency/year]."""
        cost: FloatArray = np.asarray(self.before_tax.annual_cost) - self.annual_expenses
        return cost

    @property
    def near_best(self) -> tuple[int, ...]:
        """Years kept at which the annual cost before tax is within 3 % of the least: all as good as one another."""
        cost = np.asarray(self.before_tax.annual_cost)
        return tuple(int(k) + 1 for k in np.flatnonzero(cost <= (1 + FLAT) * cost.min()))

    @property
    def _spent(self) -> FloatArray:
        factors = (1 + self.rate) ** -np.arange(1.0, len(self.expenses) + 1)
        spent: FloatArray = np.cumsum(self.expenses * factors)
        return spent

    def keep_against(self, challenger_annual_cost: float) -> Keep:
        """Return how many years to keep it against a challenger's least annual cost before tax [currency/year]."""
        return years_to_keep(np.asarray(self.before_tax.marginal_cost), challenger_annual_cost)

    def to_json(self) -> dict[str, object]:
        """Return plain data with fixed keys: keys are added, never renamed."""
        return {
            "machine": self.machine,
            "value_now": self.value_now,
            "years_before_tax": self.years_before_tax,
            "years_after_tax": self.years_after_tax,
            "near_best_years": list(self.near_best),
            "next_year": self.next_year,
            "worth_if_sold_now": float(self.worth_if_sold[0]),
            "years": self._rows(),
        }

    def to_frame(self) -> pd.DataFrame:
        """Return a tidy pandas frame, one row a year; money in columns that end in `_usd`."""
        import pandas as pd

        return pd.DataFrame(self._rows()).rename(columns=lambda name: name if name == "year" else f"{name}_usd")

    def _rows(self) -> list[dict[str, float]]:
        return [
            {
                "year": k + 1,
                "value": float(self.values[k]),
                "expenses": float(self.expenses[k]),
                "marginal_cost_before_tax": float(self.before_tax.marginal_cost[k]),
                "annual_cost_before_tax": float(self.before_tax.annual_cost[k]),
                "capital_recovery": float(self.capital_recovery[k]),
                "annual_expenses": float(self.annual_expenses[k]),
                "worth_if_sold": float(self.worth_if_sold[k + 1]),
                "annual_worth_after_tax": float(self.annual_worth[k]),
                "marginal_worth_after_tax": float(self.marginal_worth[k]),
            }
            for k in range(len(self.values))
        ]


def service_life(
    scenario: Scenario, machine: str | None = None, market_values: Sequence[float] | None = None, law: Law | None = None
) -> ServiceLife:
    """Return the economic service life of a machine (left out: the first in question), before and after tax.

    `market_values` are what it would bring at each year's end [currency], one for each year of the study; left out,
    they fall at an even rate. The study's rate is used for both. Raises KeyError for an unknown machine or one that
    nothing says the value of, ValueError for a wrong number of values.
    """
    machine = machine_asked(scenario, machine)
    scenario, offer = with_offer(scenario, machine)
    years = scenario.study.years
    start = scenario.decision_date
    rate = scenario.study.rate.likely
    price = scenario.offers[offer].price
    if market_values is None:
        values = np.array([value_after(scenario, machine, price.likely, k) for k in range(1, years + 1)])
    elif len(market_values) != years:
        raise ValueError(
            f"{len(market_values)} market values for a study of {years} years: give one for each year's end."
        )
    else:
        values = np.asarray(market_values, dtype=float)
    keep = evaluate(scenario, only=["keep"], law=law)
    expenses = _expenses(keep, machine)
    sold = []
    for k in range(years + 1):
        worth = price.likely if k == 0 else float(values[k - 1])
        there = _sold_on(scenario, machine, offer, cal.add_years(start, k), worth, law)
        sold.append(there["sold"].column("worth.npv").figure())
    worth_if_sold = np.array(sold)
    ends = np.arange(1, years + 1)
    gain = worth_if_sold[1:] - worth_if_sold[0]
    return ServiceLife(
        machine,
        price.likely,
        values,
        expenses,
        economic_life(price.likely, values, expenses, rate),
        worth_if_sold,
        np.array([annual_worth(pw, rate, int(k)) for pw, k in zip(gain, ends, strict=True)], dtype=float),
        np.diff(worth_if_sold) * (1 + rate) ** ends,
        rate,
    )


def _expenses(keep: Evaluation, machine: str) -> FloatArray:
    """Return upkeep and other yearly costs of one machine by year of the study, from Keep's ledger [currency]."""
    plan, ledger = keep.plans["keep"], keep["keep"]
    working = ledger.workings["upkeep"]
    totals = np.zeros(plan.scenario.study.years)
    spans = plan.spans
    if plan.time.yearly:
        year_of = np.arange(len(spans))
    else:
        start = plan.time.start
        passed = [(day.year - start.year) - ((day.month, day.day) < (start.month, start.day)) for day in spans.starts]
        year_of = np.array(passed)
    for k, setup in enumerate(plan.setups):
        if setup.machine != machine:
            continue
        for column in working:
            name = column.name
            if name == f"upkeep_{k}" or name.startswith(f"costs_{k}: ") or name == f"costs_by_year_{k}":
                np.add.at(totals, np.minimum(year_of, len(totals) - 1), column.per_row())
    return totals


def _sold_on(scenario: Scenario, machine: str, offer: str, day: Date, price: float, law: Law | None) -> Evaluation:
    step = Sell.model_validate({"do": "sell", "machine": machine, "by": offer, "on": day})
    alone = scenario.model_copy(update={"alternatives": {"keep": [], "sold": [step]}})
    return evaluate(alone, {scenario.offers[offer].price.path: price}, ["sold"], law)
