"""What a lender asks of one course: use and source of funds, collateral, debts, cash after closing, coverage,
guarantees.

Coverage is by a definition that is data: which cash counts as available and which payments it must cover. Gains on sold
machines are no cash from work and are left out; taxes and money drawn come off before the debt is served, so that a
year of sale looks worse than its work, which is said. Each year of the downside is the worst combination of named
adverse events (:mod:`equipdecide.decide.downside`). It is a projection of one machine, not of the borrower; the
lender's own test and papers decide.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from equipdecide import calendar as cal
from equipdecide.calendar import Date
from equipdecide.decide.cash_calendar import CashCalendar, cash_calendar
from equipdecide.decide.downside import AdverseEvent, adverse_events, combinations, combined, vectors
from equipdecide.evaluate import evaluate
from equipdecide.ledger import Finding, Ledger, Line, Working
from equipdecide.money.collateral import FALLS_FIRST_YEAR, FALLS_YEARLY
from equipdecide.plan import Debt, Plan
from equipdecide.scenario.models import Buy, Improve, Machine, Scenario
from equipdecide.showing import Shown

AS_GIVEN = "as given"  # the downside of a caller who sets inputs
CAPTION = "A projection of one machine, not of the borrower."


@dataclass(frozen=True)
class CoverageDefinition:
    """A lender's coverage as data: groups of the shop's cash that are available, over groups that must be paid.

    `leaves_out` are groups that are in neither, said so that the reader sees them.
    """

    name: str
    available: tuple[str, ...]
    service: tuple[str, ...]
    leaves_out: tuple[str, ...]


AFTER_DRAWINGS = CoverageDefinition(
    "cash from work after taxes and drawings, over loan and lease payments",
    ("operating", "tax", "between purses"),
    ("debt service",),
    ("investment", "payoff", "borrowing"),
)
BEFORE_DRAWINGS = CoverageDefinition(
    "cash from work before taxes and drawings, over loan and lease payments",
    ("operating",),
    ("debt service",),
    ("investment", "payoff", "borrowing", "tax", "between purses"),
)


@dataclass(frozen=True)
class Fund:
    """One use or source of funds [currency]. `soft`: a cost of the purchase that does not come back
    when the machine is sold.
    """

    what: str
    amount: float
    soft: bool = False


@dataclass(frozen=True)
class CollateralYear:
    """One year of a machine against what is owed on it [currency]; `year` counts from the day it is paid for."""

    machine: str
    year: int
    on: Date
    value: float
    owed: float

    @property
    def left(self) -> float:
        """What an orderly sale would leave once what is owed is paid [currency]."""
        return self.value - self.owed

    @property
    def covered(self) -> bool:
        """Whether a sale in orderly fashion would pay what is owed."""
        return self.value >= self.owed - 0.005


@dataclass(frozen=True)
class DebtView:
    """One debt of the course: balance on the day of decision (0 where not yet taken), rate, level
    payment, last payment, lien.
    """

    name: str
    lender: str
    machine: str
    balance: float
    amount: float
    rate: float
    payment: float
    last_payment: Date
    lien: str


@dataclass(frozen=True)
class CoverageYear:
    """Coverage of one full calendar year [currency, 1]: available over service; None where nothing is owed.

    `events` name what happens in it, in the downside; empty: nothing makes it worse than planned.
    """

    year: int
    available: float
    service: float
    coverage: float | None
    events: tuple[str, ...] = ()


@dataclass(frozen=True)
class CustomerShare:
    """Work under one contract: its share of what the machines' hours contribute in the first full year, and its end."""

    part: str
    share: float
    ends: Date | None
    renews: float | None  # chance that it is renewed


@dataclass(frozen=True)
class Guarantee:
    """What one owner guarantees: the limit (None: all of it), the largest exposure and the month it stands in."""

    owner: str
    share: float
    limit: float | None
    exposure: float
    month: str


@dataclass(frozen=True, eq=False, repr=False)
class LenderView(Shown):
    """The lender's figures of one course. ``caption`` belongs on every page that shows them.

    `downside` has each year at the worst combination of `events` (empty where nothing can turn out worse);
    `downside_inputs` are those of the worst year; `worst_alone` is the least coverage with one event alone.
    `largest_customer` is the share of sales as entered, None where it was not.
    """

    scenario: Scenario
    alternative: str
    caption: str
    uses: tuple[Fund, ...]
    sources: tuple[Fund, ...]
    collateral: tuple[CollateralYear, ...]
    debts: tuple[DebtView, ...]
    closing_on: Date
    cash_after_closing: float | None
    lowest_cash: float | None
    lowest_cash_on: Date
    definition: CoverageDefinition
    required: float | None
    coverage: tuple[CoverageYear, ...]
    downside: tuple[CoverageYear, ...]
    downside_inputs: Mapping[str, float]
    events: tuple[AdverseEvent, ...]
    worst_alone: Mapping[str, float | None]
    largest_customer: float | None
    contracts: tuple[CustomerShare, ...]
    guarantees: tuple[Guarantee, ...]
    findings: tuple[Finding, ...]
    ledger: Ledger
    plan: Plan

    @property
    def downside_chosen(self) -> bool:
        """Whether the downside is the worst of combinations, and not inputs given by the caller."""
        return bool(self.events) and self.events[0].name != AS_GIVEN

    @property
    def funds(self) -> float:
        """All uses, which equal all sources [currency]."""
        return sum(use.amount for use in self.uses)

    @property
    def soft_costs(self) -> float:
        """Costs of the purchase that do not come back when the machine is sold [currency]."""
        return sum(use.amount for use in self.uses if use.soft)

    @property
    def worst_coverage(self) -> float | None:
        """Least coverage of a full year; None where nothing is owed."""
        return min((year.coverage for year in self.coverage if year.coverage is not None), default=None)

    @property
    def worst_downside(self) -> float | None:
        """Least coverage of a full year in the downside; None where nothing is owed."""
        return min((year.coverage for year in self.downside if year.coverage is not None), default=None)

    def to_json(self) -> dict[str, object]:
        """Return plain data with fixed keys: keys are added, never renamed."""

        def years(rows: tuple[CoverageYear, ...]) -> list[dict[str, object]]:
            return [
                {
                    "year": r.year,
                    "available": r.available,
                    "service": r.service,
                    "coverage": r.coverage,
                    "events": list(r.events),
                }
                for r in rows
            ]

        return {
            "caption": self.caption,
            "alternative": self.alternative,
            "uses": [{"what": u.what, "amount": u.amount, "soft": u.soft} for u in self.uses],
            "sources": [{"what": s.what, "amount": s.amount} for s in self.sources],
            "soft_costs": self.soft_costs,
            "collateral": [
                {"machine": c.machine, "year": c.year, "on": c.on.isoformat(), "value": c.value, "owed": c.owed, "covered": c.covered} for c in self.collateral
            ],
            "debts": [
                {"name": d.name, "lender": d.lender, "machine": d.machine, "balance": d.balance, "amount": d.amount, "rate": d.rate, "payment": d.payment,
                 "last_payment": d.last_payment.isoformat(), "lien": d.lien} for d in self.debts
            ],
            "closing_on": self.closing_on.isoformat(),
            "cash_after_closing": self.cash_after_closing,
            "lowest_cash": self.lowest_cash,
            "lowest_cash_on": self.lowest_cash_on.isoformat(),
            "coverage": {
                "definition": {"name": self.definition.name, "available": list(self.definition.available), "service": list(self.definition.service),
                               "leaves_out": list(self.definition.leaves_out)},
                "required": self.required,
                "base": years(self.coverage),
                "worst": self.worst_coverage,
                "downside": years(self.downside),
                "worst_downside": self.worst_downside,
                "downside_inputs": dict(self.downside_inputs),
                "events": [
                    {"name": e.name, "inputs": dict(e.inputs), "worst_alone": self.worst_alone[e.name]} for e in self.events
                ],
            },
            "customers": {
                "largest": self.largest_customer,
                "contracts": [
                    {"part": c.part, "share": c.share, "ends": c.ends.isoformat() if c.ends else None, "renews": c.renews} for c in self.contracts
                ],
            },
            "guarantees": [{"owner": g.owner, "share": g.share, "limit": g.limit, "exposure": g.exposure, "month": g.month} for g in self.guarantees],
            "findings": [{"code": f.code, "text": f.text, "about": f.about, "weight": f.weight} for f in self.findings],
        }  # fmt: skip

    def to_frame(self):  # type: ignore[no-untyped-def]
        """Return a tidy pandas frame of coverage by year, base and downside, units in the column names."""
        import pandas as pd

        return pd.DataFrame(
            [
                {
                    "case": case,
                    "year": r.year,
                    "available_usd": r.available,
                    "service_usd": r.service,
                    "coverage": r.coverage,
                }
                for case, rows in (("base", self.coverage), ("downside", self.downside))
                for r in rows
            ]
        )


def lender(
    scenario: Scenario,
    alternative: str | None = None,
    definition: CoverageDefinition = AFTER_DRAWINGS,
    downside: Mapping[str, float] | None = None,
) -> LenderView:
    """Return the lender's figures of one course; of the first that buys a machine where none is named.

    `definition` says what coverage is. `downside` sets inputs by path, and is then shown as it comes out; left out:
    each year at the worst combination of the adverse events of :func:`equipdecide.decide.downside.adverse_events`.
    Raises KeyError for an unknown course or path, ValueError for a study in whole years.
    """
    calendar = cash_calendar(scenario, alternative)
    name, ledger, plan = calendar.alternative, calendar.ledger, calendar.plan
    events: tuple[AdverseEvent, ...]
    if downside is not None:
        events = (AdverseEvent(AS_GIVEN, dict(downside)),)
        cases: list[tuple[AdverseEvent, ...]] = [events]
    else:
        events = adverse_events(scenario, plan, ledger)
        cases = combinations(events)
    base = _coverage(ledger, plan, definition)
    bad = evaluate(scenario, vectors(scenario, cases), only=[name])[name] if events else ledger
    ran = [_coverage(bad, plan, definition, k, tuple(e.name for e in case)) for k, case in enumerate(cases)]
    worst = tuple(min((row[year] for row in ran), key=_badness) for year in range(len(base))) if events else ()
    alone = {e.name: _least(ran[k]) for k, case in enumerate(cases) if len(case) == 1 for e in case}
    closing = plan.first_good_part
    cash = scenario.shop.cash is not None
    uses, sources = _funds(ledger, plan)
    shown = LenderView(
        scenario,
        name,
        CAPTION,
        uses,
        sources,
        tuple(
            row
            for key, w in ledger.workings.items()
            if key.startswith("collateral ")
            for row in _collateral(key.removeprefix("collateral "), w)
        ),
        tuple(_debt(ledger, plan, debt) for debt in plan.debts if debt.ends_on > plan.time.start),
        closing,
        _level_on(calendar, closing) if cash else None,
        calendar.lowest if cash else None,
        calendar.lowest_on,
        definition,
        scenario.shop.coverage_required.likely if scenario.shop.coverage_required else None,
        base,
        worst,
        combined([e for e in events if worst and e.name in min(worst, key=_badness).events]),
        events,
        alone,
        scenario.shop.largest_customer.likely if scenario.shop.largest_customer else None,
        _contracts(scenario, ledger, plan),
        _guarantees(ledger, plan),
        (),
        ledger,
        plan,
    )
    return LenderView(**{**shown.__dict__, "findings": (*_findings(shown), *_sale_years(shown))})


def _badness(year: CoverageYear) -> tuple[float, float]:
    """Order years from worst: by coverage where anything is owed, else by what is available."""
    return (year.coverage if year.coverage is not None else float("inf"), year.available)


def _least(rows: tuple[CoverageYear, ...]) -> float | None:
    return min((row.coverage for row in rows if row.coverage is not None), default=None)


def _contracts(scenario: Scenario, ledger: Ledger, plan: Plan) -> tuple[CustomerShare, ...]:
    """Share of the first full year's contribution that hangs on each contract with an end."""
    under = {name: part for name, part in scenario.parts.items() if part.ends is not None or part.renews is not None}
    if not under or "contribution" not in ledger.workings:
        return ()
    w = ledger.workings["contribution"]
    weights = cal.spread_weights(w.axis, cal.calendar_years(plan.time.start.year + 1, plan.time.start.year + 1))[0]
    whole = float(np.dot(weights, w["contribution"].per_row()))
    return tuple(
        CustomerShare(
            name,
            float(np.dot(weights, w[f"{name}: contribution"].per_row())) / whole,
            part.ends,
            part.renews.chance if part.renews is not None else None,
        )
        for name, part in under.items()
        if f"{name}: contribution" in w and whole > 0
    )


def _funds(ledger: Ledger, plan: Plan) -> tuple[tuple[Fund, ...], tuple[Fund, ...]]:
    """Uses and sources of the change: what is bought, what the sale before the end brings, money
    lent, own money last.
    """
    uses: list[Fund] = []
    sources: list[Fund] = []
    for purchase in plan.purchases:
        if purchase.buyout_of is not None or f"purchase {purchase.name}" not in ledger.workings:
            continue
        w = ledger.workings[f"purchase {purchase.name}"]
        if isinstance(purchase.source, Machine):
            uses.append(Fund(f"price of {purchase.name}", w["price"].figure()))
        for column in w:
            if column.name.startswith(("cost: ", "expense: ")):
                uses.append(Fund(f"{column.name.split(': ', 1)[1]} of {purchase.name}", column.figure(), True))
        for offer in purchase.step.pay:
            drawn = ledger.workings[f"loan {offer}"]
            fee = (
                ledger.workings[f"drawn {offer}"]["fee"].figure() if "fee" in ledger.workings[f"drawn {offer}"] else 0.0
            )
            sources.append(Fund(offer, drawn["received"].figure() + fee))
            if fee:
                uses.append(Fund(f"fee of {offer}", fee, True))
    for sale in plan.sales:
        if sale.at_end or f"settlement {sale.machine}" not in ledger.workings:
            continue
        w = ledger.workings[f"settlement {sale.machine}"]
        sources.append(Fund(f"sale of {sale.machine}", w["gross"].figure()))
        for what, key in (
            ("commission on", "commission"),
            ("selling costs of", "costs"),
            ("payoff of", "payoff"),
            ("release of the lien on", "release"),
        ):
            if abs(w[key].figure()) >= 0.005:
                uses.append(Fund(f"{what} {sale.machine}", w[key].figure()))
    short = round(sum(use.amount for use in uses) - sum(source.amount for source in sources), 2)
    if short > 0:
        sources.append(Fund("own money", short))
    elif short < 0:
        uses.append(Fund("left in cash", -short))
    return tuple(uses), tuple(sources)


def _collateral(machine: str, w: Working) -> list[CollateralYear]:
    rows = zip(w.axis.ends, w["value"].per_row(), w["owed"].per_row(), strict=True)
    found = [
        CollateralYear(machine, k, on, float(value), float(owed)) for k, (on, value, owed) in enumerate(rows, start=1)
    ]
    owing = [row.year for row in found if row.owed > 0.005]
    return found[: max(owing, default=0)]


def _debt(ledger: Ledger, plan: Plan, debt: Debt) -> DebtView:
    start = plan.time.start
    key = f"loan {debt.name}"
    if debt.old is not None:
        schedule = ledger.workings.get(f"{key} by the letter", ledger.workings[key])
        loan = debt.old
        first = loan.letter.balance.likely if loan.letter else loan.principal.likely
        made = [k for k, day in enumerate(schedule.axis.ends) if day <= start]
        balance = schedule["balance"].figure(made[-1]) if made else first
        covered = [debt.machine, *loan.collateral]
        lien = f"filing on {', '.join(covered)}" + (
            f"; released for {loan.release_fee.likely:,.0f} when paid off" if loan.release_fee else ""
        )
        payment = loan.payment.likely if loan.payment else ledger.workings[key]["level_payment"].figure()
        return DebtView(
            debt.name,
            loan.lender,
            debt.machine,
            balance,
            loan.principal.likely,
            loan.rate.likely,
            payment,
            schedule.axis.ends[-1],
            lien,
        )
    offer, schedule = plan.scenario.financing[debt.financing or ""], ledger.workings[key]
    payment = (
        schedule["level_payment"].figure()
        if "level_payment" in schedule
        else float(offer.payment.likely if offer.payment else 0.0)
    )
    amount = (
        ledger.workings[f"amount of {debt.name}"]["amount"].figure()
        if f"amount of {debt.name}" in ledger.workings
        else offer.amount.likely
    )
    owner = (
        "the lessor owns it"
        if any(p.lease == debt.financing for p in plan.purchases)
        else f"first lien on {debt.machine} asked"
    )
    return DebtView(
        debt.name,
        offer.lender,
        debt.machine,
        0.0,
        amount,
        schedule["yearly_rate"].figure(),
        payment,
        schedule.axis.ends[-1],
        owner,
    )


def _level_on(calendar: CashCalendar, day: Date) -> float:
    """Cash at the end of the week or month in which `day` lies [currency]."""
    return next(period.level for period in calendar.periods if period.first <= day <= period.last)


def _coverage(
    ledger: Ledger, plan: Plan, definition: CoverageDefinition, trial: int = 0, events: tuple[str, ...] = ()
) -> tuple[CoverageYear, ...]:
    found = []
    own = [line for line in ledger.lines if line.purse == "shop"]
    for year in range(plan.time.start.year + 1, plan.time.end.year):
        available = sum(_in_year(line, year, trial) for line in own if line.group in definition.available)
        service = 0.0 - sum(_in_year(line, year, trial) for line in own if line.group in definition.service)
        found.append(CoverageYear(year, available, service, available / service if service > 0.005 else None, events))
    return tuple(found)


def _in_year(line: Line, year: int, trial: int) -> float:
    axis, amounts = line.column.axis, line.amounts(trial)
    if line.dates is not None:
        return float(sum(a for a, day in zip(amounts, line.dates, strict=True) if day.year == year))
    weights = cal.spread_weights(axis, cal.calendar_years(year, year))[0]
    return float(np.dot(weights, amounts))


def _guarantees(ledger: Ledger, plan: Plan) -> tuple[Guarantee, ...]:
    if "guarantees" not in ledger.workings:
        return ()
    w = ledger.workings["guarantees"]
    month = w.axis.labels[int(w["shortfall"].per_row().argmax())]
    return tuple(
        Guarantee(
            name,
            owner.share.likely,
            owner.guarantees.likely if owner.guarantees else None,
            w[f"behind {name}"].figure(),
            month,
        )
        for name, owner in plan.scenario.owners.items()
        if f"behind {name}" in w
    )


def _findings(view: LenderView) -> list[Finding]:
    found = [Finding("one_machine_only", CAPTION, view.alternative)]
    required = view.required
    for case, worst, rows in (
        ("", view.worst_coverage, view.coverage),
        (" in the downside", view.worst_downside, view.downside),
    ):
        if worst is None or required is None:
            continue
        year = next(r.year for r in rows if r.coverage == worst)
        word = "under" if worst < required else "over"
        text = (
            f"Coverage{case} is least in {year}: {worst:.2f}, {word} the {required:.2f} asked ({view.definition.name})."
        )
        found.append(Finding("coverage", text, "shop.coverage_required", "warning" if worst < required else "note"))
    if not view.events:
        text = (
            "No downside is shown: nothing is entered that could turn out worse. Enter ranges (low .. likely .. high)."
        )
        found.append(Finding("no_downside", text, view.alternative, "warning"))
    elif (
        view.worst_downside is not None
        and view.worst_coverage is not None
        and view.worst_downside >= view.worst_coverage - 0.005
    ):
        text = (
            "The downside comes out no worse than planned: nothing of it takes more from the worst year than it saves."
        )
        found.append(Finding("downside_no_worse", text, view.alternative, "warning"))
    if view.largest_customer is None:
        text = "The largest customer's share of sales is not entered (`largest_customer:` of the shop); a lender asks for it."
        found.append(Finding("largest_customer_not_given", text, "shop.largest_customer"))
    for machine in dict.fromkeys(row.machine for row in view.collateral):
        open_years = [row for row in view.collateral if row.machine == machine and not row.covered]
        if open_years:
            worst_row = max(open_years, key=lambda row: row.owed - row.value)
            text = (
                f"{machine}: more is owed than it would bring until year {open_years[-1].year}; most in year "
                f"{worst_row.year}, {worst_row.owed - worst_row.value:,.0f}. Freight, wiring, holders and fixtures "
                f"do not come back."
            )
            found.append(Finding("under_water", text, f"machines.{machine}", "warning"))
    others = view.scenario.shop.other_debt_payments
    if others is not None and others.likely:
        text = f"Debts on nothing here take {others.likely:,.0f} a year: they are in the coverage, not in the list of debts."
        found.append(Finding("other_debts", text, others.path))
    bought = [p for p in view.plan.purchases if isinstance(p.step, Buy | Improve) and isinstance(p.source, Machine)]
    if any(view.scenario.machines[p.machine].falls_yearly is None for p in bought):
        text = (
            f"Liquidation values fall by {FALLS_FIRST_YEAR:.0%} of the price in the first year and "
            f"{FALLS_YEARLY:.0%} a year after: opinions of appraisers, no data."
        )
        found.append(Finding("falls_are_opinions", text, "machines"))
    return found


def _sale_years(view: LenderView) -> list[Finding]:
    """Say in which years coverage suffers from the tax on a sale whose price it leaves out: a sale year looks worse.

    Found by running the course once more with a price that leaves no federal gain; the price itself is in no coverage.
    """
    d, plan, found = view.definition, view.plan, []
    if "investment" in d.available or not {"tax", "between purses"} & set(d.available):
        return []
    for sale in plan.sales:
        if (
            sale.at_end
            or sale.offer is None
            or sale.rolled_into
            or f"gain federal {sale.machine}" not in view.ledger.workings
        ):
            continue
        settled, gain = (
            view.ledger.workings[f"settlement {sale.machine}"],
            view.ledger.workings[f"gain federal {sale.machine}"],
        )
        gained, price = gain["gain"].figure(), sale.offer.price
        kept = 1.0 - (sale.offer.commission.likely if sale.offer.commission else 0.0)
        if gained < 0.5 or kept <= 0 or price.likely - gained / kept < 0:
            continue
        other = evaluate(view.scenario, {price.path: price.likely - gained / kept}, only=[plan.name])[plan.name]
        pairs = zip(view.coverage, _coverage(other, plan, d), strict=True)
        worse = [
            (a, b)
            for a, b in pairs
            if a.coverage is not None and b.coverage is not None and b.coverage - a.coverage >= 0.005
        ]
        if worse:
            years = ", ".join(f"{a.year}: {a.coverage:.2f}, {b.coverage:.2f} without" for a, b in worse)
            text = (
                f"What is paid for tax on the gain of {gained:,.0f} from the sale of {sale.machine} comes off the "
                f"coverage, the {settled['gross'].figure():,.0f} it brings is not in it: a year of sale looks worse "
                f"by this form than its work is ({years})."
            )
            found.append(Finding("sale_year_looks_worse", text, f"offers.{sale.offer_name}", "warning"))
    return found
