"""The figures a page for partners needs beyond a comparison, all read off the ledgers: ten numbers, one-off days,
stairs.

Views show these and compute no money of their own.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from equipdecide.calendar import Date, FloatArray, spread_weights
from equipdecide.decide.compare import CashLow, Comparison, Outcome
from equipdecide.decide.sale import RouteResult, SaleResult, sale
from equipdecide.evaluate import GROUPS, Evaluation
from equipdecide.ledger import Group, Ledger
from equipdecide.plan import Plan
from equipdecide.scenario.models import Buy, Improve, Sell

ONE_OFF: frozenset[Group] = frozenset({"investment", "payoff", "borrowing"})


@dataclass(frozen=True)
class Lead:
    """The best course that passes, over keeping and over the runner-up [currency, present worth after tax]."""

    course: str
    passes: bool  # False: nothing passes, the course of highest worth is shown instead
    over_keep: float
    runner_up: str | None
    over_runner_up: float | None


@dataclass(frozen=True)
class Payment:
    """One payment out of the shop: what for, day and amount [currency, positive]."""

    what: str
    day: Date
    amount: float


@dataclass(frozen=True)
class MonthlyPayments:
    """Loan payments of the shop in the first full month of keeping, and once every step of the course is done."""

    before: float
    after: float
    after_month: str


@dataclass(frozen=True)
class Coverage:
    """Operating cash before tax and drawings over loan payments, in the worst full calendar year."""

    worst: float
    year: str
    required: float | None


@dataclass(frozen=True)
class Behind:
    """What one owner guarantees (None: all debts) and the shortfall behind it, at its worst [currency]."""

    owner: str
    limit: float | None
    shortfall: float
    month: str | None
    value_known: bool  # False: what a machine would bring is not given, so all that is owed on it is counted


@dataclass(frozen=True, eq=False)
class TenNumbers:
    """The figures of the page's first table, in their order. None where the scenario does not say enough."""

    lead: Lead
    sold: SaleResult | None  # every offer on the day of the sale that is shown
    sale: RouteResult | None  # the one shown
    sale_is_part: bool  # the course itself sells; False: what selling would leave, by the route named
    credited_on: Date | None  # day on which what is left goes into the order of the next machine; None: to the owner
    first_good_part: Date
    own_money_needed: float
    largest_payment: Payment | None
    cash_low: CashLow | None
    cash_floor: float | None
    payments: MonthlyPayments | None
    coverage: Coverage | None
    extra_hours_sold: float | None  # good hours a year sold beyond keeping, as entered
    guarantees: tuple[Behind, ...]


def ten_numbers(comparison: Comparison) -> TenNumbers:
    """Return the figures of the page's first table for the best course that passes."""
    scenario, outcome = comparison.scenario, comparison.leader
    sold, route, is_part = sale_of(comparison, outcome)
    shop = scenario.shop
    return TenNumbers(
        lead=_lead(comparison, outcome),
        sold=sold,
        sale=route,
        sale_is_part=is_part,
        credited_on=next(
            (s.credited_on for s in outcome.plan.sales if is_part and route and s.offer_name == route.name), None
        ),
        first_good_part=outcome.plan.first_good_part,
        own_money_needed=outcome.own_money_needed,
        largest_payment=largest_payment(outcome),
        cash_low=outcome.cash_low,
        cash_floor=float(shop.cash_floor) if shop.cash_floor is not None else None,
        payments=monthly_payments(comparison, outcome),
        coverage=_coverage(outcome),
        extra_hours_sold=extra_hours_sold(outcome, comparison.keep),
        guarantees=_guarantees(outcome),
    )


def _lead(comparison: Comparison, outcome: Outcome) -> Lead:
    second = comparison.runner_up
    return Lead(
        outcome.name,
        comparison.best is not None,
        outcome.npv_less_keep,
        second.name if second else None,
        outcome.npv - second.npv if second else None,
    )


def sale_of(comparison: Comparison, outcome: Outcome) -> tuple[SaleResult | None, RouteResult | None, bool]:
    """Return the sale of a machine in question that `outcome` makes, settled alone, and whether the course makes it.

    A course that sells nothing is shown the scenario's first sale: what selling would leave. With it come all other
    offers on the same day.
    """
    scenario = comparison.scenario
    asked = set(scenario.machine_in_question)
    own = [s for s in outcome.plan.steps if isinstance(s, Sell) and s.machine in asked]
    listed = [
        s for steps in scenario.alternatives.values() for s in steps if isinstance(s, Sell) and s.machine in asked
    ]
    step = next(iter(own), None) or min(listed, key=lambda s: s.on, default=None)
    if step is None:
        return None, None, False
    sold = sale(scenario, on=step.on, machine=step.machine)
    return sold, sold[step.by], bool(own)


def largest_payment(outcome: Outcome) -> Payment | None:
    """Return the largest single payment for what the course buys, from the decision on; None where it buys nothing."""
    start = outcome.plan.time.start
    found = [
        Payment(line.name, day, -float(amount))
        for line in outcome.ledger.lines
        if line.purse == "shop" and line.group == "investment" and line.dates is not None
        for day, amount in zip(line.dates, line.amounts(), strict=True)
        if day >= start and amount < -0.005
    ]
    return max(found, key=lambda payment: payment.amount, default=None)


def monthly_payments(comparison: Comparison, outcome: Outcome) -> MonthlyPayments | None:
    """Return the shop's loan payments in the first full month, kept, and in the first month after the last step."""
    time = comparison.evaluation.time
    if time.yearly:
        return None
    row = time.cash.row_of(_all_done(outcome.plan))
    if row is None or row + 1 >= len(time.cash):
        return None
    before = comparison.keep.column("cash.all debt service").per_row()[1]
    after = outcome.column("cash.all debt service").per_row()[row + 1]
    return MonthlyPayments(-float(before), -float(after), time.cash.labels[row + 1])


def _all_done(plan: Plan) -> Date:
    moved = (step.on for step in plan.steps if isinstance(step, Sell | Buy | Improve))
    return max([plan.time.start, *moved, *(s.paid_on for s in plan.sales if not s.at_end)])


def _coverage(outcome: Outcome) -> Coverage | None:
    earns = any(line.group == "operating" and line.amounts().max() > 0 for line in outcome.ledger.lines)
    if outcome.worst_coverage is None or not earns:  # costs alone cover nothing: the earnings are not in the scenario
        return None
    by_year = outcome.column("coverage.coverage")
    k = int(by_year.per_row().argmin())
    required = outcome.plan.scenario.shop.coverage_required
    return Coverage(outcome.worst_coverage, by_year.axis.labels[k], float(required) if required is not None else None)


def extra_hours_sold(outcome: Outcome, keep: Outcome) -> float | None:
    """Return the good hours a year sold beyond keeping [h/year], the mean over the study; None without parts."""
    if "contribution" not in outcome.ledger.workings or "contribution" not in keep.ledger.workings:
        return None
    sold, kept = (o.column("contribution.hours_sold").per_row().sum() for o in (outcome, keep))
    return float(sold - kept) / outcome.plan.scenario.study.years


def _guarantees(outcome: Outcome) -> tuple[Behind, ...]:
    if "guarantees" not in outcome.ledger.workings:
        return ()
    short = outcome.column("guarantees.shortfall").per_row()
    k = int(short.argmax())
    month = outcome.column("guarantees.shortfall").axis.labels[k] if short[k] > 0.005 else None
    known = not any(finding.code == "no_value_now" for finding in outcome.ledger.findings)
    return tuple(
        Behind(
            name,
            float(owner.guarantees) if owner.guarantees is not None else None,
            outcome.column(f"guarantees.behind {name}").figure(),
            month,
            known,
        )
        for name, owner in outcome.plan.scenario.owners.items()
    )


def law_read(comparison: Comparison) -> tuple[Date, Date] | None:
    """Return the earliest and the latest day on which the parameters used were last checked; None
    where none is used.
    """
    law = comparison.evaluation.law
    found = set()
    for working in comparison.keep.ledger.workings.values():
        for column in working:
            if column.origin is not None and column.origin.kind == "law":
                found.add(law.parameter(column.origin.ref).verified_on)
    return (min(found), max(found)) if found else None


@dataclass(frozen=True)
class DatedCash:
    """What the steps of a course move on one day: each line's name and amount, positive to the shop [currency]."""

    day: Date
    parts: tuple[tuple[str, float], ...]

    @property
    def net(self) -> float:
        """The day's sum [currency]."""
        return sum(amount for _, amount in self.parts)


def one_offs(outcome: Outcome) -> tuple[DatedCash, ...]:
    """Return the shop's purchases, sales, payoffs and loans taken, by day from the decision on."""
    days: dict[Date, list[tuple[str, float]]] = {}
    for line in outcome.ledger.lines:
        once = line.group in ONE_OFF or (line.group == "operating" and line.dates is not None)
        if line.purse != "shop" or line.dates is None or not once:
            continue
        for day, amount in zip(line.dates, line.amounts(), strict=True):
            if day >= outcome.plan.time.start and abs(amount) >= 0.005:
                days.setdefault(day, []).append((line.name, float(amount)))
    return tuple(DatedCash(day, tuple(parts)) for day, parts in sorted(days.items()))


def worth_so_far(outcome: Outcome) -> FloatArray:
    """Return present worth added up to the end of each cash period [currency], shape (periods,); it ends at `npv`.

    What falls after the last period, such as the tax of the last year, is added in the last.
    """
    time, ledger = outcome.plan.time, outcome.ledger
    log_rate = ledger.column("discounting.log_rate").figure()
    month_factor = ledger.column("discounting.factor").per_row()
    found = np.zeros(len(time.cash))
    for line in ledger.lines:
        amounts = line.amounts()
        if line.dates is None:
            found += spread_weights(line.column.axis, time.cash) @ amounts * month_factor
            continue
        rows = time.cash.rows_of(line.dates)
        factors = np.exp(-np.array([time.years_to(day) for day in line.dates]) * log_rate)
        rows = np.where([day > time.cash.ends[-1] for day in line.dates], len(found) - 1, rows)
        counted = (rows >= 0) & np.array([day >= time.start for day in line.dates])
        np.add.at(found, rows[counted], (amounts * factors)[counted])
    return np.cumsum(found)


def cash_by_year(outcome: Outcome, less: Outcome | None = None) -> Mapping[str, FloatArray]:
    """Return cash of all purses by group and calendar year [currency], `less` subtracted; keys are the groups.

    The rows are the years of ``outcome.plan.time.tax``, and one more for what falls after the last.
    """
    years = [end.year for end in outcome.plan.time.cash.ends]
    first = years[0]
    rows = np.array([year - first for year in years])
    found: dict[str, FloatArray] = {}
    for group in GROUPS:
        amounts = outcome.column(f"cash.all {group}").per_row()
        if less is not None:
            amounts = amounts - less.column(f"cash.all {group}").per_row()
        found[group] = np.bincount(rows, weights=amounts, minlength=years[-1] - first + 1).astype(float)
    return found


@dataclass(frozen=True)
class Stair:
    """One step of the staircase: a part, the hours a year it takes and what an hour of it contributes.

    `gains` is what an hour brings over not having it: of what must ship, over what falling short of it comes to.
    """

    part: str
    hours: float
    per_hour: float
    must_ship: bool
    gains: float


@dataclass(frozen=True)
class Staircase:
    """The worth of bottleneck hours: what must ship first, then the best contribution an hour, up to demand.

    `capacities` are good hours a year of each alternative, once its last machine is in and learnt [h/year].
    """

    stairs: tuple[Stair, ...]
    capacities: Mapping[str, float]

    @property
    def must_ship_hours(self) -> float:
        """Hours a year that are spoken for [h/year]."""
        return sum(stair.hours for stair in self.stairs if stair.must_ship)

    def worth(self, first: float, last: float) -> float:
        """Return what the hours from `first` to `last` [h/year] bring: the area under the stairs [currency/year].

        Hours beyond the last stair bring nothing; negative where `last` is less than `first`.
        """
        if last < first:
            return -self.worth(last, first)
        at, area = 0.0, 0.0
        for stair in self.stairs:
            area += stair.gains * max(min(last, at + stair.hours) - max(first, at), 0.0)
            at += stair.hours
        return area


def staircase(comparison: Comparison) -> Staircase | None:
    """Return the staircase of contribution per hour; None where the scenario has no parts or no hours."""
    return staircase_of(comparison.evaluation)


def staircase_of(evaluation: Evaluation) -> Staircase | None:
    """Return the same of an evaluation, before anything is measured."""
    ledger = evaluation["keep"]
    if "contribution" not in ledger.workings:
        return None
    found = []
    for must, suffix, rank in ((True, "must ship", "advantage"), (False, "could sell", "per_hour")):
        stairs = []
        for name in evaluation.scenario.parts:
            hours = (
                _a_year(ledger, f"contribution.{name}: {suffix}")
                if f"{name}: {suffix}" in ledger.workings["contribution"]
                else 0.0
            )
            part = ledger.workings[f"part {name}"]
            if hours > 0.005:
                stairs.append(Stair(name, hours, part["per_hour"].figure(), must, part[rank].figure()))
        found += sorted(stairs, key=lambda stair: -stair.gains)
    return Staircase(
        tuple(found), {name: _a_year(one, "capacity.hours", last=True) for name, one in evaluation.ledgers.items()}
    )


def _a_year(ledger: Ledger, column: str, last: bool = False) -> float:
    row = -1 if last else 0
    return float(ledger.column(column).per_row()[row] / ledger.column("capacity.years").per_row()[row])
