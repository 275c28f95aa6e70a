"""An alternative with its dates resolved, before any money is computed: what is owned, owed and run, and when.

All structure is decided here from the entered figures: dates, stretches of time between events, which machine does the
work, which asset falls in which tax year. Rules read a plan and post columns; no rule decides a date.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from equipdecide import calendar as cal
from equipdecide.calendar import Axis, Date
from equipdecide.scenario.amounts import Amount
from equipdecide.scenario.models import (
    Asset,
    Buy,
    Financing,
    Improve,
    Improvement,
    Loan,
    Machine,
    NightChanges,
    Nights,
    Offer,
    Running,
    Scenario,
    Sell,
    Spend,
    Step,
    Upkeep,
)

WORKING_DAYS = 250  # a year; common practice, no source: 50 weeks of five days
LEASES = ("one-dollar buyout", "fixed-option lease", "fair-value lease")
NOMINAL_OPTION = 0.10  # of the amount; a fixed price at the end up to this is taken as nominal
RAMP_DAYS = 91  # hours lost to change-over and learning are taken from the first quarter after it


@dataclass(frozen=True)
class Sale:
    """The sale of one machine: by an offer, or at the end of the study at the value entered for that day."""

    machine: str
    handed_over: Date
    sold_on: Date
    paid_on: Date
    offer: Offer | None
    offer_name: str
    at_end: bool
    credited_on: Date | None = None  # day a credit with the seller of the next machine is used
    rolled_into: str | None = None  # financing that takes in what the price does not cover
    returned_to: str | None = None  # lease that ends with this: the machine belongs to the lessor


@dataclass(frozen=True)
class Setup:
    """A machine as it runs between two dates: as it is, as bought, or as improved."""

    name: str
    machine: str
    first: Date
    last: Date  # last day in place
    running: Running | None
    upkeep: Upkeep | None
    source: Machine | Improvement
    base: Machine
    installed: bool  # it was put in during the study: change-over and learning cost hours
    growth_from: Date  # first year of upkeep starts here
    ended: tuple[tuple[str, Amount], ...] = ()  # reasons for night stops that are ended in part, with the share


@dataclass(frozen=True)
class Purchase:
    """A machine bought or an improvement fitted."""

    name: str
    machine: str
    source: Machine | Improvement
    step: Buy | Improve
    payments: tuple[tuple[Date, str, float], ...]  # day, what, share of the price
    drawn_on: Date  # day the money of a loan comes
    traded: Offer | None = None
    lease: str | None = None  # financing that is a lease for tax: that part is not owned
    buyout_of: str | None = None  # lease at whose end this buys the machine


@dataclass(frozen=True)
class Possession:
    """One cost item in the books: when placed in service, when disposed of, under which elections."""

    name: str
    machine: str
    asset: Asset | None  # None: bought in this plan
    purchase: Purchase | None
    in_service: Date
    disposed: Date
    sale: Sale

    @property
    def entry(self) -> Asset | Machine | Improvement:
        """What the scenario says of the item."""
        return self.asset if self.asset is not None else self._bought.source

    @property
    def elected(self) -> Asset | Buy | Improve:
        """Where its section 179 and bonus stand: with an item owned, or in the step that buys it."""
        return self.asset if self.asset is not None else self._bought.step

    @property
    def _bought(self) -> Purchase:
        assert self.purchase is not None  # an item is owned at the decision or bought by a step
        return self.purchase


@dataclass(frozen=True)
class Debt:
    """A loan in this plan: an old one until it is paid off, or one taken for a purchase."""

    name: str
    machine: str
    old: Loan | None
    financing: str | None
    drawn_on: Date
    ends_on: Date  # payoff with the sale, or the end of the study
    sale: Sale | None
    releases: tuple[tuple[Sale, Amount], ...] = ()  # sales that let one machine go for a part of the principal


@dataclass(frozen=True, eq=False, repr=False)
class Timeline:
    """What all alternatives of a scenario share: the dates of the study and its axes."""

    start: Date
    end: Date
    yearly: bool
    flat: bool
    first_tax_year: int
    last_tax_year: int
    cash: Axis
    tax: Axis

    def __repr__(self) -> str:
        return f"<Timeline {self.start} to {self.end}>"

    def years_to(self, day: Date) -> float:
        """Return the time from the decision to `day` [year]: whole years where flows are yearly, else days over 365."""
        if not self.yearly:
            return cal.years_between(self.start, day)
        months = (day.year - self.start.year) * 12 + day.month - self.start.month
        return (months + (day.day - self.start.day) / 31.0) / 12.0

    @cached_property
    def cash_times(self) -> tuple[float, ...]:
        """Times at which the flows of the cash periods fall [year]."""
        return tuple(self.years_to(day) for day in self.cash.ends)


def timeline(scenario: Scenario) -> Timeline:
    """Return the dates and axes of a scenario. Yearly studies have a period 0, the day of decision."""
    start = scenario.decision_date
    end = cal.add_years(start, scenario.study.years)
    yearly, flat = scenario.study.periods == "years", scenario.regime == "flat"
    if yearly:
        ends = [start] + [cal.add_years(start, k) for k in range(1, scenario.study.years + 1)]
        starts = [start] + [cal.add_days(day, 1) for day in ends[:-1]]
        labels = [str(k) for k in range(scenario.study.years + 1)]
        cash = cal.periods("period", tuple(labels), tuple(starts), tuple(ends))
        if flat:
            return Timeline(start, end, True, True, start.year, end.year, cash, cash)
    elif flat:
        cash = cal.months(start, end)
        return Timeline(start, end, False, True, start.year, end.year, cash, cal.calendar_years(start.year, end.year))
    else:
        cash = cal.months(start, Date(end.year + 1, 6, 30))  # tax only falls in the tail
    return Timeline(start, end, yearly, flat, start.year, end.year, cash, cal.calendar_years(start.year, end.year))


@dataclass(frozen=True, eq=False, repr=False)
class Plan:
    """One alternative with its dates resolved."""

    name: str
    scenario: Scenario
    time: Timeline
    steps: tuple[Step, ...]
    setups: tuple[Setup, ...]
    working: tuple[Setup, ...]  # setups that do the bottleneck work, in the order they take it over
    sales: tuple[Sale, ...]
    purchases: tuple[Purchase, ...]
    possessions: tuple[Possession, ...]
    debts: tuple[Debt, ...]
    spending: tuple[tuple[int, Spend], ...]
    spans: Axis

    def __repr__(self) -> str:
        return f"<Plan {self.name}: {', '.join(f'{step.do} {step.on}' for step in self.steps) or 'nothing changes'}>"

    @property
    def first_good_part(self) -> Date:
        """Day the last purchase of the plan is in service; the day of decision where nothing is bought."""
        return max([self.time.start, *(purchase.step.on for purchase in self.purchases if purchase.buyout_of is None)])

    def estimate_is_open(self, day: Date) -> bool:
        """Tell whether an estimate due on `day` can still answer to this plan: after the decision
        and the year's sales.
        """
        return day >= self.time.start and not any(s.sold_on.year == day.year and s.sold_on > day for s in self.sales)

    def end_value(self, machine: str) -> Amount | None:
        """Return what the machine is entered to bring at the end of the study, as it then stands."""
        last = [setup for setup in self.setups if setup.machine == machine][-1]
        changed = last.source.changes.worth_at_end if isinstance(last.source, Improvement) else None
        return changed or last.base.worth_at_end

    def at_work(self, day: Date) -> Setup | None:
        """Return the setup that does the bottleneck work on `day`: the one put in last of those in place."""
        found = [setup for setup in self.working if setup.first <= day <= setup.last]
        return max(found, key=lambda setup: setup.first) if found else None


def resolve(scenario: Scenario, name: str, time: Timeline, doubts: dict[str, float] | None = None) -> Plan:
    """Resolve the dates of alternative `name`. `doubts` overrides what yes/no doubts are taken as (path -> 0 or 1).

    Raises KeyError for an unknown name.
    """

    def comes_true(step: Step) -> bool:
        if step.when is None:
            return True
        if doubts and step.when in doubts:
            return doubts[step.when] > 0.5
        return scenario.doubt(step.when).likely > 0.5

    steps = tuple(
        sorted((s for s in scenario.alternatives[name] if comes_true(s)), key=lambda s: (s.on, s.do != "buy"))
    )
    start, end = time.start, time.end
    bought = {step.machine: step for step in steps if isinstance(step, Buy)}
    selling = {step.machine: step for step in steps if isinstance(step, Sell)}
    held = [
        m
        for m, machine in scenario.machines.items()
        if machine.assets or machine.loans or m in scenario.machine_in_question
    ]
    held += [m for m in bought if m not in held]

    sales: dict[str, Sale] = {}
    for machine in held:
        step = selling.get(machine)
        if step is None:
            sales[machine] = Sale(machine, end, end, end, None, "sale at the end of the study", True)
            continue
        offer = scenario.offers[step.by]
        sold = cal.add_days(step.on, round(offer.days_to_sale.likely)) if offer.days_to_sale else step.on
        paid = cal.add_days(sold, round(offer.paid_after.likely)) if offer.paid_after else sold
        credit = offer.credited_to or offer.against
        credited = max(paid, bought[credit].on) if credit in bought else None
        sales[machine] = Sale(machine, step.on, sold, paid, offer, step.by, False, credited, step.rolled_into)

    setups: list[Setup] = []
    purchases: list[Purchase] = []
    for machine, buy in bought.items():
        purchases += _end_of_lease(scenario, machine, buy, sales, time)
    for machine in held:
        base = scenario.machines[machine]
        first = bought[machine].on if machine in bought else start
        changes = [(s.on, s, scenario.improvements[s.improvement]) for s in steps if isinstance(s, Improve)]
        changes = [change for change in changes if change[2].machine == machine]
        last = cal.add_days(sales[machine].handed_over, 0 if sales[machine].at_end else -1)
        running, upkeep = base.running, base.upkeep
        source: Machine | Improvement = base
        name_now, growth_from = machine, first
        ended: tuple[tuple[str, Amount], ...] = ()
        installed = machine in bought
        for on, improve, improvement in changes:
            setups.append(
                Setup(
                    name_now,
                    machine,
                    first,
                    cal.add_days(on, -1),
                    running,
                    upkeep,
                    source,
                    base,
                    installed,
                    growth_from,
                    ended,
                )
            )
            change = improvement.changes
            if running is not None:
                update = {
                    k: getattr(change, k)
                    for k in ("staffed_hours", "cutting_share", "cycle_factor", "good_share", "crashes")
                    if getattr(change, k)
                }
                if change.nights is not None:
                    update["nights"] = _nights(running.nights, change.nights)
                running = running.model_copy(update=update)
            if change.upkeep is not None:
                upkeep, growth_from = change.upkeep, on
            ended += tuple(change.ends_causes.items())
            name_now = f"{name_now} {'with' if source is base else 'and'} {improve.improvement}"
            source, first, installed = improvement, on, True
            purchases.append(
                Purchase(
                    improve.improvement,
                    machine,
                    improvement,
                    improve,
                    ((improve.on, "on completion", 1.0),),
                    improve.on,
                )
            )
        setups.append(
            Setup(name_now, machine, first, last, running, upkeep, source, base, installed, growth_from, ended)
        )
        if machine in bought:
            purchases.append(_purchase(scenario, machine, bought[machine], sales))

    working = [s for s in setups if s.running and (s.machine in scenario.machine_in_question or s.machine in bought)]
    possessions = _possessions(scenario, held, purchases, sales)
    debts = _debts(scenario, held, purchases, sales, time)
    spending = tuple(
        (k, step) for k, step in enumerate(scenario.alternatives[name]) if isinstance(step, Spend) and step in steps
    )
    return Plan(
        name,
        scenario,
        time,
        steps,
        tuple(setups),
        tuple(sorted(working, key=lambda s: s.first)),
        tuple(sales.values()),
        tuple(sorted(purchases, key=lambda p: p.step.on)),
        tuple(possessions),
        tuple(debts),
        spending,
        _spans(scenario, time, setups, spending),
    )


def _nights(before: Nights | None, change: NightChanges) -> Nights:
    """Return the nights after a change: what it leaves out stays as it was."""
    stated = {key: value for key in NightChanges.model_fields if (value := getattr(change, key)) is not None}
    return before.model_copy(update=stated) if before is not None else Nights(**stated)


def is_lease_for_tax(offer: Financing) -> bool:
    """Tell whether an offer is a lease for tax: rent is deducted, the machine is the lessor's.

    A nominal price at the end makes it a purchase (Rev. Rul. 55-540, sec. 4.01; UCC 1-203(b)(4) draws the same line for
    security interests). By rule: one dollar is nominal, fair value is not; a fixed price counts as nominal up to a
    tenth of the amount (common practice, no source: the law looks at the value expected at the end).
    """
    if offer.kind not in LEASES or offer.taxed_as != "by rule":
        return offer.kind in LEASES and offer.taxed_as == "lease"
    if offer.kind == "fixed-option lease" and offer.option_price is not None:
        return offer.option_price.likely > NOMINAL_OPTION * offer.amount.likely + 0.005
    return offer.kind == "fair-value lease"


def last_day(offer: Financing, drawn_on: Date) -> Date:
    """Return the day an offer of money has run its term: after its last period, whether paid in advance or not."""
    return cal.add_months(drawn_on, (offer.deferred + offer.payments) * offer.every_months)


def _end_of_lease(
    scenario: Scenario, machine: str, step: Buy, sales: dict[str, Sale], time: Timeline
) -> list[Purchase]:
    """Return the purchase at the end of a lease; or mark the sale of the machine as its return to the lessor."""
    leases = [name for name in step.pay if is_lease_for_tax(scenario.financing[name])]
    if not leases:
        return []
    offer, drawn_on, sale = scenario.financing[leases[0]], step.shipped or step.on, sales[machine]
    ends = last_day(offer, drawn_on)
    if not sale.at_end and sale.sold_on <= ends:
        return []
    if offer.at_end == "return" or ends >= time.end:
        day = min(ends, time.end)
        sales[machine] = Sale(machine, day, day, day, None, f"return to {offer.lender}", True, returned_to=leases[0])
        return []
    bought = step.model_copy(update={"on": ends, "ordered": None, "shipped": None, "pay": [], "section_179": "none"})
    source = scenario.machines[machine]
    return [
        Purchase(
            f"{machine} from its lessor",
            machine,
            source,
            bought,
            ((ends, "at the end of the lease", 1.0),),
            ends,
            None,
            None,
            leases[0],
        )
    ]


def _purchase(scenario: Scenario, machine: str, step: Buy, sales: dict[str, Sale]) -> Purchase:
    terms = scenario.machines[machine].terms
    days = {"order": step.ordered or step.on, "shipment": step.shipped or step.on, "acceptance": step.on}
    payments = tuple(
        (days[when], f"with {when}" if when == "order" else f"on {when}", share.likely) for when, share in terms.items()
    )
    traded = [
        sale.offer
        for sale in sales.values()
        if sale.offer and sale.offer.route == "trade-in" and sale.offer.against == machine
    ]
    return Purchase(
        machine,
        machine,
        scenario.machines[machine],
        step,
        payments or ((step.on, "on acceptance", 1.0),),
        step.shipped or step.on,
        traded[0] if traded else None,
        next((name for name in step.pay if is_lease_for_tax(scenario.financing[name])), None),
    )


def _possessions(
    scenario: Scenario, held: Sequence[str], purchases: Sequence[Purchase], sales: dict[str, Sale]
) -> list[Possession]:
    found = []
    for machine in held:
        for name, asset in scenario.machines[machine].assets.items():
            sale = sales[machine]
            found.append(Possession(f"{machine} {name}", machine, asset, None, asset.in_service, sale.sold_on, sale))
    for purchase in purchases:
        sale = sales[purchase.machine]
        label = purchase.name if purchase.name != purchase.machine else f"{purchase.machine} as bought"
        found.append(Possession(label, purchase.machine, None, purchase, purchase.step.on, sale.sold_on, sale))
    return found


def _debts(
    scenario: Scenario, held: Sequence[str], purchases: Sequence[Purchase], sales: dict[str, Sale], time: Timeline
) -> list[Debt]:
    found = []
    for machine in held:
        for name, loan in scenario.machines[machine].loans.items():
            sale, releases = _paid_off_with(machine, loan, sales)
            drawn = loan.balance_on or loan.first_payment
            found.append(Debt(f"{machine} {name}", sale.machine, loan, None, drawn, sale.sold_on, sale, releases))
    for purchase in purchases:
        for offer in purchase.step.pay:
            sale = sales[purchase.machine]
            found.append(
                Debt(offer, purchase.machine, None, offer, purchase.drawn_on, min(sale.sold_on, time.end), sale)
            )
    return found


def _paid_off_with(machine: str, loan: Loan, sales: dict[str, Sale]) -> tuple[Sale, tuple[tuple[Sale, Amount], ...]]:
    """Return the sale that pays a loan off, and the earlier sales that each let one machine go for a part of it.

    The loan is paid off with the machine it stands under, unless the lender names an amount that lets that machine go;
    then with the last of the machines it covers.
    """
    covered = [name for name in (machine, *loan.collateral) if name in sales]
    last = max((sales[name] for name in covered), key=lambda sale: sale.sold_on)
    whole = sales[machine] if machine not in loan.release_amounts else last
    let_go = [(sales[name], loan.release_amounts[name]) for name in covered if name in loan.release_amounts]
    before = sorted((pair for pair in let_go if pair[0].sold_on < whole.sold_on), key=lambda pair: pair[0].sold_on)
    return whole, tuple(before)


def _spans(scenario: Scenario, time: Timeline, setups: Sequence[Setup], spending: Sequence[tuple[int, Spend]]) -> Axis:
    """Return the stretches of the study between all days on which anything changes, calendar years included."""
    if time.yearly:
        rows = slice(1, None)
        return cal.periods("stretch", time.cash.labels[rows], time.cash.starts[rows], time.cash.ends[rows])
    start, stop = time.start, time.end
    breaks = {start, stop}
    breaks |= {Date(year, 1, 1) for year in range(start.year + 1, stop.year + 1)}
    for setup in setups:
        breaks |= {setup.first, cal.add_days(setup.last, 1)}
        for k in range(1, scenario.study.years + 1):
            breaks.add(cal.add_years(setup.growth_from, k))
        if setup.installed:
            breaks.add(cal.add_days(setup.first, RAMP_DAYS))
    for part in scenario.parts.values():
        if part.ends:
            breaks.add(cal.add_days(part.ends, 1))
    for _, step in spending:
        if step.a_year is not None:
            breaks |= {step.on, *({cal.add_days(step.until, 1)} if step.until else set())}
            breaks |= {cal.add_years(step.on, k) for k in range(1, scenario.study.years + 1)}
    return cal.spans([day for day in breaks if start <= day <= stop])
