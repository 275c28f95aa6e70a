"""When: how long the machine is worth keeping, which month to sell it in, and what waiting for a doubt is worth.

A course is moved in time by moving its steps and running the whole order again, so that the loan falls, upkeep grows
and tax years turn as they do. What the machine brings falls at an even yearly rate from the offer of today to what is
entered for the end of the study; prices of what is bought stay as quoted.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from equipdecide import calendar as cal
from equipdecide.calendar import Date, FloatArray
from equipdecide.decide.compare import measure, passes
from equipdecide.decide.news import questions
from equipdecide.decide.trials import tested
from equipdecide.evaluate import Evaluation, evaluate
from equipdecide.measures import EconomicLife, Keep, annual_worth, economic_life, years_to_keep
from equipdecide.parameters import Law
from equipdecide.scenario.models import Buy, Offer, Scenario, Sell, Step
from equipdecide.scenario.reading import amounts
from equipdecide.showing import Shown

if TYPE_CHECKING:
    import pandas as pd

AS_IT_STANDS = "at what it would bring today"
FLAT = 0.03  # costs this near the least are as good: customary, no source


# --- how long to keep it ---------------------------------------------------------------------------------------------


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
    machine = _machine(scenario, machine)
    scenario, offer = _with_offer(scenario, machine)
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


def value_after(scenario: Scenario, machine: str, now: float, years: float) -> float:
    """Return what a machine brings after `years` [currency]: from `now` to its value at the end of the study.

    It falls (or rises) by the same share every year; by the same amount where one of the two is nothing.
    """
    entered = scenario.machines[machine].worth_at_end
    last = entered.likely if entered is not None else 0.0
    passed = years / scenario.study.years
    if now <= 0 or last <= 0:
        return now + (last - now) * passed
    return float(now * (last / now) ** passed)


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


def _machine(scenario: Scenario, machine: str | None) -> str:
    machine = machine or scenario.machine_in_question[0]
    if machine not in scenario.machines:
        raise KeyError(f"no machine {machine!r}; there are {', '.join(scenario.machines)}")
    return machine


def _with_offer(scenario: Scenario, machine: str) -> tuple[Scenario, str]:
    """Return the scenario and the offer by which the machine is sold: the one a step takes, else any, else its worth."""
    taken = [
        s.by for steps in scenario.alternatives.values() for s in steps if isinstance(s, Sell) and s.machine == machine
    ]
    on_file = [
        name for name, offer in scenario.offers.items() if offer.machine == machine and offer.route == "outright"
    ]
    on_file += [
        name for name, offer in scenario.offers.items() if offer.machine == machine and offer.route != "trade-in"
    ]
    for name in (*taken, *on_file):
        if scenario.offers[name].route != "trade-in":
            return scenario, name
    worth = scenario.machines[machine].worth_now
    if worth is None:
        raise KeyError(
            f"nothing says what {machine!r} would bring today: add an offer for it, or `worth_now:` to the machine"
        )
    offer = Offer.model_validate({"machine": machine, "route": "outright", "price": worth})
    return scenario.model_copy(update={"offers": {**scenario.offers, AS_IT_STANDS: offer}}), AS_IT_STANDS


def _sold_on(scenario: Scenario, machine: str, offer: str, day: Date, price: float, law: Law | None) -> Evaluation:
    step = Sell.model_validate({"do": "sell", "machine": machine, "by": offer, "on": day})
    alone = scenario.model_copy(update={"alternatives": {"keep": [], "sold": [step]}})
    return evaluate(alone, {scenario.offers[offer].price.path: price}, ["sold"], law)


# --- now or later ----------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Month:
    """A course moved by a number of months. Money in the scenario's currency."""

    months: int
    sold_on: Date
    price: float
    payoff: float
    net_cash: float  # from the sale, after selling costs and the lender, before tax
    npv: float
    npv_less_keep: float
    affordable: bool | None  # cash above the floor and every gate passed; None where cash or floor is not given


@dataclass(frozen=True, repr=False)
class SellWhen(Shown):
    """One course now and in each of the months after."""

    machine: str
    alternative: str
    months: tuple[Month, ...]

    @property
    def best(self) -> Month:
        """The month of highest present worth."""
        return max(self.months, key=lambda month: month.npv)

    def to_json(self) -> dict[str, object]:
        """Return plain data with fixed keys: keys are added, never renamed."""
        return {
            "machine": self.machine,
            "alternative": self.alternative,
            "best_months": self.best.months,
            "months": self._rows(),
        }

    def to_frame(self) -> pd.DataFrame:
        """Return a tidy pandas frame, one row a month; money in columns that end in `_usd`."""
        import pandas as pd

        money = ("price", "payoff", "net_cash", "npv", "npv_less_keep")
        return pd.DataFrame(self._rows()).rename(columns={name: f"{name}_usd" for name in money})

    def _rows(self) -> list[dict[str, object]]:
        return [
            {
                "months": m.months,
                "sold_on": m.sold_on.isoformat(),
                "price": m.price,
                "payoff": m.payoff,
                "net_cash": m.net_cash,
                "npv": m.npv,
                "npv_less_keep": m.npv_less_keep,
                "affordable": m.affordable,
            }
            for m in self.months
        ]


def sell_when(
    scenario: Scenario,
    alternative: str | None = None,
    machine: str | None = None,
    months: int = 24,
    law: Law | None = None,
) -> SellWhen:
    """Return selling `machine` now and in each of the next `months` months.

    With `alternative`, all steps of that course are moved together (sell and replace later); without, the machine is
    sold alone, from the day of decision. The price falls with the months; months that end after the study are left
    out. Raises KeyError for unknown names or where the course does not sell the machine.
    """
    machine = _machine(scenario, machine)
    if alternative is None:
        scenario, offer = _with_offer(scenario, machine)
        step = Sell.model_validate({"do": "sell", "machine": machine, "by": offer, "on": scenario.decision_date})
        steps: Sequence[Step] = [step]
    else:
        if alternative not in scenario.alternatives:
            raise KeyError(f"no alternative {alternative!r}; there are {', '.join(scenario.alternatives)}")
        steps = scenario.alternatives[alternative]
    selling = [step for step in steps if isinstance(step, Sell) and step.machine == machine]
    if not selling:
        raise KeyError(f"{alternative!r} does not sell {machine!r}")
    name = alternative or "sell"
    keep = evaluate(scenario, only=["keep"], law=law)["keep"].column("worth.npv").figure()
    rows = []
    for k in range(months + 1):
        moved = [move(step, k) for step in steps]
        if any(step.on >= keep_end(scenario) for step in moved):
            break
        prices = _fallen(scenario, steps, k)
        later = scenario.model_copy(update={"alternatives": {"keep": [], name: moved}})
        there = evaluate(later, prices, [name], law)
        worth, passing = _tested(there, name)
        settled = there[name].workings[f"settlement {machine}"]
        sold = next(sale for sale in there.plans[name].sales if sale.machine == machine)
        rows.append(
            Month(
                k,
                sold.sold_on,
                settled["gross"].figure(),
                settled["payoff"].figure() + settled["release"].figure(),
                settled["net_cash"].figure(),
                worth,
                worth - keep,
                passing,
            )
        )
    if not rows:
        raise ValueError(f"{name!r} ends after the study already: lengthen the study, or take another course.")
    return SellWhen(machine, name, tuple(rows))


def _tested(evaluation: Evaluation, name: str) -> tuple[float, bool | None]:
    """Return present worth [currency] and whether the course passes; None where cash or floor is not given."""
    found = tested(evaluation, name)
    return float(found.npv[0]), None if found.margin is None else bool(found.passes[0])


def keep_end(scenario: Scenario) -> Date:
    """Return the day the study ends."""
    return cal.add_years(scenario.decision_date, scenario.study.years)


def move(step: Step, months: int) -> Step:
    """Return a step with all its days `months` later."""
    days = {
        key: cal.add_months(day, months)
        for key in ("on", "ordered", "shipped", "until")
        if (day := getattr(step, key, None))
    }
    return step.model_copy(update=days)


def _fallen(scenario: Scenario, steps: Sequence[Step], months: int) -> dict[str, FloatArray | float]:
    """Return the prices of the offers that a course takes, as fallen after `months`."""
    prices: dict[str, FloatArray | float] = {}
    for step in steps:
        if isinstance(step, Sell):
            amount = scenario.offers[step.by].price
            prices[amount.path] = value_after(scenario, step.machine, amount.likely, months / 12)
    return prices


# --- waiting for a doubt ---------------------------------------------------------------------------------------------


@dataclass(frozen=True, repr=False)
class Waiting(Shown):
    """What waiting for a yes/no doubt is worth. Money is present worth on average over both outcomes [currency].

    `question` is what the doubt asks: "P5 renews". `now` is the best course taken today; `then_no` and `then_yes` are the best of keeping and of the same courses put
    off until `on`, once the outcome is known. `if_known` would be the worth if the outcome were known today.
    """

    doubt: str
    question: str
    chance: float
    on: Date
    now: str
    worth_now: float
    then_no: str
    then_yes: str
    worth_waiting: float
    if_known: float

    @property
    def value(self) -> float:
        """Worth of waiting less worth of the best course today [currency]; negative: do not wait."""
        return self.worth_waiting - self.worth_now

    @property
    def value_of_knowing(self) -> float:
        """The most that knowing the outcome today would be worth [currency]."""
        return self.if_known - self.worth_now

    def to_json(self) -> dict[str, object]:
        """Return plain data with fixed keys: keys are added, never renamed."""
        return {
            "doubt": self.doubt,
            "question": self.question,
            "chance": self.chance,
            "on": self.on.isoformat(),
            "now": self.now,
            "worth_now": self.worth_now,
            "then_no": self.then_no,
            "then_yes": self.then_yes,
            "worth_waiting": self.worth_waiting,
            "if_known": self.if_known,
            "value": self.value,
            "value_of_knowing": self.value_of_knowing,
        }


def wait(
    scenario: Scenario,
    doubt: str | None = None,
    on: Date | None = None,
    affordable: bool = False,
    law: Law | None = None,
) -> Waiting:
    """Return what it is worth to wait until a yes/no doubt is settled, then to choose.

    `doubt` is the path of the doubt (left out: the first whose day is known), `on` the day it is settled (left out:
    the day after the part's contract ends). With `affordable` only courses that keep cash above the floor and pass
    every gate are chosen from. Raises KeyError where there is no such doubt or no day, or nothing affordable.
    """
    entered = amounts(scenario)
    doubts = [path for path, amount in entered.items() if amount.chance is not None and amount.doubtful]
    doubt = doubt or next((path for path in doubts if _settled(scenario, path)), None)
    if not doubts:
        raise KeyError(
            "there is no yes/no doubt in this file to wait for: nothing under `events:`, no contract that may be renewed"
        )
    if doubt is None:
        raise KeyError(f"nothing says on which day a doubt is settled: name one of {', '.join(doubts)} and its day")
    if doubt not in doubts:
        raise KeyError(f"no yes/no doubt {doubt!r}; there are {', '.join(doubts)}")
    day = on or _settled(scenario, doubt)
    if day is None:
        raise KeyError(f"nothing says when {doubt} is settled: give the day as `on`")
    chance = entered[doubt].chance or 0.0
    shares = (1 - chance, chance)

    today: dict[str, list[float]] = {name: [] for name in scenario.alternatives}
    best_known = []
    for outcome in (0.0, 1.0):
        measured = measure(evaluate(scenario, {doubt: outcome}, law=law))
        allowed = {o.name: o.npv for o in measured if not affordable or passes(o)}
        for name in today:
            today[name].append(allowed.get(name, -np.inf))
        best_known.append(max(allowed.values(), default=-np.inf))
    averages = {name: _average(worth, shares) for name, worth in today.items()}
    now = max(averages, key=lambda name: averages[name])
    if not np.isfinite(averages[now]):
        raise KeyError("no course keeps cash above the floor and passes every gate whichever way the doubt falls")

    then: list[dict[str, float]] = [{"keep": today["keep"][k]} for k in (0, 1)]
    for name, steps in scenario.alternatives.items():
        if not steps or any(step.when for step in steps):
            continue
        months = _months_until(_first_day(steps), day)
        moved = [move(step, months) for step in steps]
        if any(step.on >= keep_end(scenario) for step in moved):
            continue
        later = scenario.model_copy(update={"alternatives": {"keep": [], name: moved}})
        prices = _fallen(scenario, steps, months)
        for k, outcome in enumerate((0.0, 1.0)):
            values: Mapping[str, FloatArray | float] = {**prices, doubt: outcome}
            worth, passing = _tested(evaluate(later, values, [name], law), name)
            if not affordable or passing is not False:
                then[k][name] = worth
    chosen = [max(options, key=lambda name: options[name]) for options in then]  # noqa: B023
    waiting = _average([then[k][chosen[k]] for k in (0, 1)], shares)
    asks = questions(scenario).get(doubt, doubt)
    return Waiting(
        doubt, asks, chance, day, now, averages[now], chosen[0], chosen[1], waiting, _average(best_known, shares)
    )


def _average(worth: Sequence[float], shares: Sequence[float]) -> float:
    return float(sum(w * s for w, s in zip(worth, shares, strict=True) if s))


def _settled(scenario: Scenario, path: str) -> Date | None:
    section, name, *_ = path.split(".")
    part = scenario.parts.get(name) if section == "parts" else None
    return cal.add_days(part.ends, 1) if part is not None and part.ends is not None else None


def _first_day(steps: Sequence[Step]) -> Date:
    """Return the first day on which a course binds: an order counts before delivery."""
    return min(step.ordered if isinstance(step, Buy) and step.ordered else step.on for step in steps)


def _months_until(first: Date, day: Date) -> int:
    months = 0
    while cal.add_months(first, months) < day:
        months += 1
    return months
