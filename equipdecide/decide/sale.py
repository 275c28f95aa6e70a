"""What a sale really leaves, by every route: settlement to the cent, gain, tax on the sale alone and when it is due."""

from __future__ import annotations

from dataclasses import dataclass

from equipdecide import calendar as cal
from equipdecide.calendar import Date
from equipdecide.decide.told_once import told_once
from equipdecide.evaluate import Evaluation, evaluate
from equipdecide.ledger import Draft, Finding, Ledger, Shared
from equipdecide.money.payoff import payoff
from equipdecide.plan import Plan, Sale
from equipdecide.scenario.amounts import read_day
from equipdecide.scenario.models import Scenario, Sell
from equipdecide.showing import Shown
from equipdecide.tax.payments import due_dates
from equipdecide.words import cents, whole

SAID_OTHERWISE = ("state_paid_with_return", "credit_without_order")  # a sale looked at by itself buys nothing
STATE_WITH_RETURN = "state_paid_with_return"  # the engine's finding that state estimates are not figured


@dataclass(frozen=True, eq=False, repr=False)
class RouteResult:
    """One route of sale. All money in the scenario's currency, positive as named.

    `net_cash` = gross - selling_costs - payoff - other_costs: what is paid out or credited, before tax.
    `after_tax` = gross - selling_costs - tax: what the sale brings after tax, the lender still to be paid.
    `cash_less_tax` = net_cash - tax: negative where the tax is more than the cash.
    `left_in_all` = cash_less_tax - over_allowance: what is left, a trade-in at its true value.
    `like_for_like` = left_in_all - paid_until_sold: by which routes that settle on other days compare; a later sale
    owes the lender less only because `paid_until_sold` was paid on the loan meanwhile. What waiting costs is in
    `routes`.
    """

    route: str
    name: str
    sold_on: Date
    paid_on: Date
    gross: float
    selling_costs: float
    payoff: float
    other_costs: float
    net_cash: float
    amount_realized: float
    adjusted_basis: float
    gain: float
    ordinary_recapture: float
    section_1231: float
    tax_by_owner: dict[str, float]
    state_tax: float  # of it, the state's
    tax_due: tuple[tuple[Date, float], ...]
    over_allowance: float  # part of a trade allowance that comes back in the price of the next machine
    paid_until_sold: float  # payments on the loan after handing over, up to the sale that pays it off
    payoff_by_schedule: float | None  # where a lender's letter overrides the schedule; None without a letter
    plan: Plan
    ledger: Ledger

    def __repr__(self) -> str:
        return f"<RouteResult {self.name}: net cash {self.net_cash:,.2f}>"

    @property
    def tax(self) -> float:
        """Tax on the sale alone, of all owners [currency]."""
        return sum(self.tax_by_owner.values())

    @property
    def net_cash_by_schedule(self) -> float | None:
        """What would be left if the lender went by the schedule instead of the letter [currency];
        None without a letter.
        """
        return None if self.payoff_by_schedule is None else self.net_cash + self.payoff - self.payoff_by_schedule

    @property
    def after_tax(self) -> float:
        """Price less selling costs and tax [currency]."""
        return self.gross - self.selling_costs - self.tax

    @property
    def cash_less_tax(self) -> float:
        """Cash left after the lender, less tax [currency]."""
        return self.net_cash - self.tax

    @property
    def left_in_all(self) -> float:
        """Cash left after lender and tax, less what a trade-in adds to the price of the next machine [currency]."""
        return self.cash_less_tax - self.over_allowance

    @property
    def like_for_like(self) -> float:
        """What is left in all, less what was paid on the loan between handing over and the sale [currency]."""
        return self.left_in_all - self.paid_until_sold


@dataclass(frozen=True, eq=False, repr=False)
class SaleResult(Shown):
    """The sale of one machine by every offer on file, on one day."""

    scenario: Scenario
    machine: str
    date: Date
    routes: tuple[RouteResult, ...]
    findings: tuple[Finding, ...]

    def __getitem__(self, name: str) -> RouteResult:
        for route in self.routes:
            if name in (route.name, route.route):
                return route
        raise KeyError(f"no route {name!r}; there are {', '.join(r.name for r in self.routes)}")

    def to_json(self) -> dict[str, object]:
        """Return plain data with fixed keys: keys are added, never renamed."""
        return {
            "machine": self.machine,
            "date": self.date.isoformat(),
            "routes": [
                {
                    "route": r.route,
                    "name": r.name,
                    "sold_on": r.sold_on.isoformat(),
                    "gross": r.gross,
                    "selling_costs": r.selling_costs,
                    "payoff": r.payoff,
                    "payoff_by_schedule": r.payoff_by_schedule,
                    "other_costs": r.other_costs,
                    "net_cash": r.net_cash,
                    "amount_realized": r.amount_realized,
                    "adjusted_basis": r.adjusted_basis,
                    "gain": r.gain,
                    "ordinary_recapture": r.ordinary_recapture,
                    "section_1231": r.section_1231,
                    "tax_by_owner": r.tax_by_owner,
                    "tax": r.tax,
                    "state_tax": r.state_tax,
                    "tax_due": [{"date": day.isoformat(), "amount": amount} for day, amount in r.tax_due],
                    "after_tax": r.after_tax,
                    "cash_less_tax": r.cash_less_tax,
                    "over_allowance": r.over_allowance,
                    "left_in_all": r.left_in_all,
                    "paid_until_sold": r.paid_until_sold,
                    "like_for_like": r.like_for_like,
                }
                for r in self.routes
            ],
            "findings": [{"code": f.code, "text": f.text, "about": f.about, "weight": f.weight} for f in self.findings],
        }

    def to_frame(self):  # type: ignore[no-untyped-def]
        """Return a tidy pandas frame, one row a route, units in the column names."""
        import pandas as pd

        keys = (
            "gross",
            "selling_costs",
            "payoff",
            "other_costs",
            "net_cash",
            "adjusted_basis",
            "gain",
            "tax",
            "after_tax",
            "cash_less_tax",
            "like_for_like",
        )
        return pd.DataFrame([{"route": r.name, **{f"{key}_usd": getattr(r, key) for key in keys}} for r in self.routes])


def sale(scenario: Scenario, on: Date | str | None = None, machine: str | None = None) -> SaleResult:
    """Return what selling `machine` on `on` leaves by every offer on file.

    `machine` defaults to the (first) machine in question, `on` to the day of its first sale step, else the day of
    decision. The day of a sale that is already done may lie before the decision, in its year. Raises KeyError where the
    machine has no offer, ValueError for a day outside the study.
    """
    machine = machine or scenario.machine_in_question[0]
    day = read_day(on) if isinstance(on, str) else on or first_sale(scenario, machine)
    done = day in _sales_done(scenario, machine)
    if not done and not scenario.decision_date <= day <= cal.add_years(scenario.decision_date, scenario.study.years):
        raise ValueError(
            f"{day} is not within the study: it runs {scenario.study.years} years from the day of decision, "
            f"{scenario.decision_date}"
        )
    if machine not in scenario.machines:
        raise KeyError(f"no machine {machine!r}; there are {', '.join(scenario.machines)}")
    offers = [name for name, offer in scenario.offers.items() if offer.machine == machine]
    if not offers:
        others = dict.fromkeys(offer.machine for offer in scenario.offers.values())
        raise KeyError(
            f"no offer for {machine!r} in the scenario"
            + (f"; there are offers for {', '.join(others)}" if others else "; `offers` names none")
        )
    alone = scenario.model_copy(
        update={
            "alternatives": {"keep": []}
            | {
                name: [Sell(do="sell", machine=machine, by=name, on=day, when=None, done=done, rolled_into=None)]
                for name in offers
            }
        }
    )
    evaluation = evaluate(alone, only=offers, sale_alone=True)
    routes = tuple(_route(evaluation, machine, name) for name in offers)
    findings = told_once(
        {name: [f for f in evaluation[name].findings if f.code not in SAID_OTHERWISE] for name in offers}
    )
    said = (*_tax_against_cash(routes), *_letter_against_schedule(routes), *_state_with_return(routes))
    return SaleResult(scenario, machine, day, routes, (*said, *findings))


def first_sale(scenario: Scenario, machine: str) -> Date:
    """Return the day of the first step that sells `machine`; the day of decision where none does."""
    days = [
        s.on for steps in scenario.alternatives.values() for s in steps if isinstance(s, Sell) and s.machine == machine
    ]
    return min(days, default=scenario.decision_date)


def _sales_done(scenario: Scenario, machine: str) -> set[Date]:
    """Return the days, of the year of the decision, of steps already done that sold `machine`."""
    steps = [s for steps in scenario.alternatives.values() for s in steps if isinstance(s, Sell) and s.done]
    return {s.on for s in steps if s.machine == machine and s.on.year == scenario.decision_date.year}


def _route(evaluation: Evaluation, machine: str, name: str) -> RouteResult:
    ledger, plan, scenario = evaluation[name], evaluation.plans[name], evaluation.scenario
    offer = scenario.offers[name]
    settled, gain = ledger.workings[f"settlement {machine}"], ledger.workings[f"gain federal {machine}"]
    step = next(s for s in plan.sales if s.machine == machine)

    def money(column: str) -> float:
        return settled[column].figure()

    taxes: dict[str, float] = {}
    state = 0.0
    due: dict[Date, float] = {}
    for key, working in ledger.workings.items():
        if not key.startswith("tax on the sale "):
            continue
        owner = key.removeprefix("tax on the sale ")
        taxes[owner] = float(working["tax"].per_row().sum())
        state += float(working["state"].per_row().sum()) if "state" in working else 0.0
        payer = "corporation" if scenario.shop.taxed_as == "C corporation" else "individual"
        for k in range(1, 6):
            if f"due_{k}" in working:
                days = plan.time.tax.ends  # of the textbook regime: tax in the period of the flow
                if not plan.time.flat:
                    days = due_dates(evaluation.law, plan.time.tax, payer, f"estimate-{k}" if k < 5 else "return")
                for day, amount in zip(days, working[f"due_{k}"].per_row(), strict=True):
                    if abs(amount) >= 0.005:
                        due[day] = due.get(day, 0.0) + float(amount)
    return RouteResult(
        offer.route,
        name,
        step.sold_on,
        step.paid_on,
        money("gross"),
        money("commission") + money("costs"),
        money("payoff"),
        money("release"),
        money("net_cash"),
        money("amount_realized"),
        gain["adjusted_basis"].figure(),
        gain["gain"].figure(),
        gain["ordinary_recapture"].figure(),
        gain["section_1231"].figure(),
        taxes,
        state,
        tuple(sorted(due.items())),
        money("over_allowance"),
        _paid_until_sold(ledger, plan, step),
        _by_schedule(plan, machine),
        plan,
        ledger,
    )


def _paid_until_sold(ledger: Ledger, plan: Plan, sold: Sale) -> float:
    """Return what is paid on the loans that the sale pays off, after handing over and up to the day
    of sale [currency].
    """
    paid = 0.0
    for debt in plan.debts:
        key = f"loan {debt.name}"
        if debt.machine == sold.machine and debt.old is not None and key in ledger.workings:
            schedule = ledger.workings.get(f"{key} by the letter", ledger.workings[key])
            for day, amount in zip(schedule.axis.ends, schedule["paid"].per_row(), strict=True):
                paid += float(amount) if sold.handed_over < day <= sold.sold_on else 0.0
    return paid


def _by_schedule(plan: Plan, machine: str) -> float | None:
    """Return the payoff of the machine's loans as the signed schedules have it; None where no lender wrote a letter."""
    owed = [debt for debt in plan.debts if debt.machine == machine and debt.old is not None and not debt.releases]
    if not any(debt.old is not None and debt.old.letter for debt in owed):
        return None
    draft = Draft("by the schedule", Shared({}))
    day = next(s.sold_on for s in plan.sales if s.machine == machine)
    return sum(
        payoff(draft, debt, day, f"{debt.name} by the schedule", by_schedule=True)["payoff"].figure() for debt in owed
    )


def _letter_against_schedule(routes: tuple[RouteResult, ...]) -> list[Finding]:
    """Say, once for each day of payoff, how far the letter and the schedule are apart."""
    found: dict[Date, Finding] = {}
    for r in routes:
        if r.payoff_by_schedule is None or r.net_cash_by_schedule is None or r.sold_on in found:
            continue
        gap = abs(r.payoff - r.payoff_by_schedule)
        if gap >= 0.005:
            text = (
                f"Payoff on {r.sold_on}: {r.payoff:,.2f} by the lender's letter, {r.payoff_by_schedule:,.2f} by the "
                f"schedule: {gap:,.2f} apart. The letter is used; by the schedule {r.name} would leave "
                f"{r.net_cash_by_schedule:,.2f}."
            )
            found[r.sold_on] = Finding("payoff_by_schedule", text, f"offers.{r.name}")
    return list(found.values())


def _state_with_return(routes: tuple[RouteResult, ...]) -> list[Finding]:
    """Say how much of the tax is the state's and shown with the return only because last year's
    state tax is not entered.
    """
    for r in routes:
        if r.state_tax < 0.5 or not any(f.code == STATE_WITH_RETURN for f in r.ledger.findings):
            continue
        text = (
            f"{r.name}: {whole(r.state_tax)} of the {whole(r.tax)} of tax is the state's, and all of it is shown "
            f"with the return. Last year's "
            "state tax is not entered, so the state's own estimates are not known: part of it may be due earlier, as "
            "the federal part is. Enter `last_state_tax:` of each owner, or ask the preparer."
        )
        return [Finding("state_tax_may_be_earlier", text, "owners", "warning")]
    return []


def _tax_against_cash(routes: tuple[RouteResult, ...]) -> list[Finding]:
    """Set the tax of each route against the cash it leaves, the sign computed."""
    found = []
    for r in routes:
        if not r.tax_by_owner:
            continue
        gap = r.cash_less_tax
        if gap < 0:
            text = (
                f"{r.name}: the sale leaves {cents(r.net_cash)} in cash and {whole(r.tax)} of tax: short by "
                f"{whole(-gap)}. The tax follows the gain, not the cash."
            )
        else:
            text = (
                f"{r.name}: the sale leaves {cents(r.net_cash)} in cash and {whole(r.tax)} of tax: {whole(gap)} over."
            )
        found.append(Finding("tax_against_cash", text, f"offers.{r.name}", "warning" if gap < 0 else "note"))
    return found
