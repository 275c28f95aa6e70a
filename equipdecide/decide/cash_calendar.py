"""Cash of one course by its dates: by week from the decision to the first good part, by month after it.

Dated flows keep their day; work and upkeep are shared over the days of their stretch. The lowest point is that of a
day, so it can lie under the month-ends of the cash test. What was paid before the day of decision is shown as done and
is not counted: the cash in the bank knows it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from equipdecide import calendar as cal
from equipdecide.calendar import Date, FloatArray
from equipdecide.decide.sale import STATE_WITH_RETURN
from equipdecide.evaluate import evaluate
from equipdecide.ledger import Finding, Ledger, Line
from equipdecide.plan import RAMP_DAYS, Plan, Purchase
from equipdecide.scenario.models import Buy, Scenario, Sell
from equipdecide.showing import Shown

EntryKind = Literal["order", "change-over", "sale", "payoff", "loan", "debt service", "tax", "draw", "event", "other"]


@dataclass(frozen=True)
class CashEntry:
    """One dated flow or event. `amount` is money to its purse [currency], None for an event;
    `done`: before the decision.
    """

    on: Date
    what: str
    kind: EntryKind
    purse: str
    amount: float | None
    done: bool


@dataclass(frozen=True)
class CashPeriod:
    """One week or month of the shop's cash [currency]: work (operating), other money in and out,
    level at its end, lowest.
    """

    label: str
    first: Date
    last: Date
    operating: float
    money_in: float
    money_out: float
    level: float
    lowest: float


@dataclass(frozen=True, eq=False, repr=False)
class CashCalendar(Shown):
    """The cash of one course. Money in the scenario's currency; without cash in the bank the level starts at 0.

    `gap_days` are days without any machine for the bottleneck work, `gap_hours` the good hours that Keep has on those
    days (None where no hours are modelled), `gap_cost` the operating cash of Keep less that of this course on those
    days; `lowest` is the least level of any day up to the end of the study.
    """

    scenario: Scenario
    alternative: str
    opening: float | None
    floor: float | None
    first_deposit: Date | None
    first_good_part: Date
    entries: tuple[CashEntry, ...]
    periods: tuple[CashPeriod, ...]
    lowest: float
    lowest_on: Date
    gap_days: int
    gap_hours: float | None
    gap_cost: float
    findings: tuple[Finding, ...]
    ledger: Ledger
    plan: Plan

    def to_json(self) -> dict[str, object]:
        """Return plain data with fixed keys: keys are added, never renamed."""
        return {
            "alternative": self.alternative,
            "opening": self.opening,
            "floor": self.floor,
            "first_deposit": self.first_deposit.isoformat() if self.first_deposit else None,
            "first_good_part": self.first_good_part.isoformat(),
            "lowest": {"amount": self.lowest, "on": self.lowest_on.isoformat()},
            "gap": {"days": self.gap_days, "hours": self.gap_hours, "cost": self.gap_cost},
            "entries": [
                {"on": e.on.isoformat(), "what": e.what, "kind": e.kind, "purse": e.purse, "amount": e.amount, "done": e.done} for e in self.entries
            ],
            "periods": [
                {"label": p.label, "first": p.first.isoformat(), "last": p.last.isoformat(), "operating": p.operating, "money_in": p.money_in,
                 "money_out": p.money_out, "level": p.level, "lowest": p.lowest} for p in self.periods
            ],
            "findings": [{"code": f.code, "text": f.text, "about": f.about, "weight": f.weight} for f in self.findings],
        }  # fmt: skip

    def to_frame(self):  # type: ignore[no-untyped-def]
        """Return a tidy pandas frame, one row a period, units in the column names."""
        import pandas as pd

        keys = ("operating", "money_in", "money_out", "level", "lowest")
        return pd.DataFrame(
            [
                {"period": p.label, "first": p.first, "last": p.last, **{f"{key}_usd": getattr(p, key) for key in keys}}
                for p in self.periods
            ]
        )

    def entries_frame(self):  # type: ignore[no-untyped-def]
        """Return a tidy pandas frame, one row a dated flow or event."""
        import pandas as pd

        return pd.DataFrame(
            [
                {"on": e.on, "what": e.what, "kind": e.kind, "purse": e.purse, "amount_usd": e.amount, "done": e.done}
                for e in self.entries
            ]
        )


def cash_calendar(scenario: Scenario, alternative: str | None = None) -> CashCalendar:
    """Return the cash of one course by its dates; of the first that buys a machine where none is named.

    Raises KeyError for an unknown course, ValueError for a study in whole years, which has no days.
    """
    if scenario.study.periods == "years":
        raise ValueError("a study in whole years has no days; write `periods: months`")
    name = alternative or _first_that_buys(scenario)
    if name not in scenario.alternatives:
        raise KeyError(f"no alternative {name!r}; there are {', '.join(scenario.alternatives)}")
    evaluation = evaluate(scenario, only=list(dict.fromkeys(["keep", name])))
    ledger, plan = evaluation[name], evaluation.plans[name]
    start, last = plan.time.start, plan.time.cash.ends[-1]
    days = (last - start).days + 1
    operating, other = _daily(ledger, start, days)
    keep_operating, _ = _daily(evaluation["keep"], start, days)
    opening = scenario.shop.cash.likely if scenario.shop.cash else None
    level = (opening or 0.0) + np.cumsum(operating + other.sum(axis=0))
    inside = (plan.time.end - start).days + 1
    low = int(level[:inside].argmin())
    idle = np.array([bool(plan.working) and plan.at_work(cal.add_days(start, k)) is None for k in range(inside - 1)])
    entries = tuple(
        sorted(
            [*_flows(ledger, start), *_events(plan)], key=lambda entry: (entry.on, entry.purse != "shop", entry.what)
        )
    )
    first_deposit = min((day for p in plan.purchases if p.buyout_of is None for day, _, _ in p.payments), default=None)
    shown = CashCalendar(
        scenario,
        name,
        opening,
        scenario.shop.cash_floor.likely if scenario.shop.cash_floor else None,
        first_deposit,
        plan.first_good_part,
        entries,
        _periods(plan, operating, other, level, start, last),
        float(level[low]),
        cal.add_days(start, low),
        int(idle.sum()),
        _good_hours(evaluation["keep"], start, idle),
        float((keep_operating - operating)[: inside - 1][idle].sum()),
        (),
        ledger,
        plan,
    )
    return CashCalendar(**{**shown.__dict__, "findings": tuple(_findings(shown))})


def _first_that_buys(scenario: Scenario) -> str:
    for name, steps in scenario.alternatives.items():
        if any(isinstance(step, Buy) for step in steps):
            return name
    return next((name for name, steps in scenario.alternatives.items() if steps), "keep")


def _good_hours(keep: Ledger, start: Date, idle: NDArray[np.bool_]) -> float | None:
    """Return the good hours that Keep has on the idle days, shared over the days of each stretch [h]."""
    if "capacity" not in keep.workings:
        return None
    w = keep.workings["capacity"]
    daily = np.zeros(len(idle))
    for first, last, hours in zip(w.axis.starts, w.axis.ends, w["hours"].per_row(), strict=True):
        begin, end = (first - start).days, (last - start).days
        daily[max(begin, 0) : max(end + 1, 0)] += float(hours) / (end - begin + 1)
    return float(daily[idle].sum())


def _daily(ledger: Ledger, start: Date, days: int) -> tuple[FloatArray, FloatArray]:
    """Return the shop's operating cash by day, and its other money in and out by day, shapes (days,) and (2, days).

    An amount on a stretch is shared over its days; a dated one falls on its day.
    """
    operating, other = np.zeros(days), np.zeros((2, days))
    for line in ledger.lines:
        if line.purse != "shop":
            continue
        for first, last, amount in _placed(line):
            begin, end = (first - start).days, (last - start).days
            if begin < 0 and line.dates is not None:
                continue  # done before the decision
            into = operating if line.group == "operating" else other[0 if amount > 0 else 1]
            into[max(begin, 0) : max(end + 1, 0)] += amount / (end - begin + 1)
    return operating, other


def _placed(line: Line) -> list[tuple[Date, Date, float]]:
    axis, amounts = line.column.axis, line.amounts()
    if line.dates is not None:
        return [(day, day, float(a)) for day, a in zip(line.dates, amounts, strict=True)]
    return [(first, last, float(a)) for first, last, a in zip(axis.starts, axis.ends, amounts, strict=True)]


def _flows(ledger: Ledger, start: Date) -> list[CashEntry]:
    found = []
    for line in ledger.lines:
        if line.dates is None:
            continue
        labels = line.column.axis.labels
        for row, (day, _, amount) in enumerate(_placed(line)):
            if abs(amount) >= 0.005:
                what = f"{line.name}, {labels[row]}" if line.name.startswith("price of ") else line.name
                found.append(CashEntry(day, what, _kind(line), line.purse, amount, day < start))
    return found


def _kind(line: Line) -> EntryKind:
    if line.name.startswith("price of "):
        return "order"
    if line.name.startswith("sale of "):
        return "sale"
    if line.group == "investment":
        return "change-over"
    kinds: dict[str, EntryKind] = {
        "payoff": "payoff",
        "borrowing": "loan",
        "debt service": "debt service",
        "tax": "tax",
        "between purses": "draw",
    }
    return kinds.get(line.group, "other")


def _events(plan: Plan) -> list[CashEntry]:
    start, found = plan.time.start, []

    def add(day: Date, what: str) -> None:
        found.append(CashEntry(day, what, "event", "shop", None, day < start))

    for purchase in plan.purchases:
        if isinstance(purchase.step, Buy) and purchase.buyout_of is None:
            if purchase.step.ordered:
                add(purchase.step.ordered, f"{purchase.name} ordered")
            if purchase.step.shipped:
                add(purchase.step.shipped, f"{purchase.name} shipped")
        if purchase.buyout_of is None:
            add(purchase.step.on, f"first good part of {purchase.name}")
            if purchase.source.ramp is not None:
                add(cal.add_days(purchase.step.on, RAMP_DAYS), f"learning {purchase.name} is taken to be over")
            if purchase.source.ramp_loss is not None:
                add(
                    cal.add_days(purchase.step.on, RAMP_DAYS),
                    f"{purchase.source.ramp_loss.likely:,.0f} hours lost to learning {purchase.name} are over",
                )
    for sale in plan.sales:
        if not sale.at_end:
            add(cal.add_days(sale.handed_over, -1), f"last day of {sale.machine}")
            if sale.offer is not None and sale.offer.written and sale.offer.valid_days:
                add(cal.add_days(sale.offer.written, sale.offer.valid_days), f"offer {sale.offer_name} ends")
    for debt in plan.debts:
        if debt.old is not None and debt.old.letter is not None:
            add(debt.old.letter.good_through, f"payoff letter on {debt.name} ends")
    return found


def _periods(
    plan: Plan, operating: FloatArray, other: FloatArray, level: FloatArray, start: Date, last: Date
) -> tuple[CashPeriod, ...]:
    stretches, day = [], start
    while day <= min(plan.first_good_part, last):
        stop = min(cal.add_days(day, 6), last)
        stretches.append((f"week of {day}", day, stop))
        day = cal.add_days(stop, 1)
    while day <= last:
        stop = min(cal.month_end(day), last)
        stretches.append((f"{day:%Y-%m}", day, stop))
        day = cal.add_days(stop, 1)
    found = []
    for label, first, stop in stretches:
        rows = slice((first - start).days, (stop - start).days + 1)
        money_in, money_out = other[0, rows].sum(), other[1, rows].sum()
        found.append(
            CashPeriod(
                label,
                first,
                stop,
                float(operating[rows].sum()),
                float(money_in),
                float(money_out),
                float(level[rows][-1]),
                float(level[rows].min()),
            )
        )
    return tuple(found)


def _findings(c: CashCalendar) -> list[Finding]:
    found: list[Finding] = []
    plan = c.plan
    early = [sale for sale in plan.sales if not sale.at_end and sale.machine in c.scenario.machine_in_question]
    bought = [p for p in plan.purchases if p.buyout_of is None and isinstance(p.step, Buy)]
    for sale in early:
        for purchase in bought:
            found += _deposit(c, purchase, sale.machine, sale.handed_over, sale.paid_on)
            if sale.sold_on.year != purchase.step.on.year and not plan.time.flat:
                found.append(
                    Finding(
                        "sale_and_write_off_apart",
                        f"The sale of {sale.machine} and the write-off of {purchase.name} fall in different tax "
                        f"years: the gain in {sale.sold_on.year}, the deduction in {purchase.step.on.year}.",
                        c.alternative,
                        "warning",
                    )
                )
        offer = sale.offer
        if (
            offer is not None
            and offer.written
            and offer.valid_days
            and sale.handed_over > cal.add_days(offer.written, offer.valid_days)
        ):
            ends = cal.add_days(offer.written, offer.valid_days)
            found.append(
                Finding(
                    "offer_expired",
                    f"{sale.offer_name}: the offer stands until {ends}; {sale.machine} leaves on {sale.handed_over}.",
                    f"offers.{sale.offer_name}",
                    "warning",
                )
            )
    if c.gap_days:
        hours = f"{c.gap_hours:,.0f} good hours are lost, " if c.gap_hours else ""
        found.append(
            Finding(
                "gap_in_capacity",
                f"For {c.gap_days} days no machine does the work of {', '.join(c.scenario.machine_in_question)}: "
                f"{hours}{c.gap_cost:,.0f} less than Keep on those days.",
                c.alternative,
                "warning",
            )
        )
    if any(f.code == STATE_WITH_RETURN for f in c.ledger.findings) and (early or bought):
        text = (
            "State tax stands with the return, because last year's state tax is not entered: the state may ask for "
            "part of it earlier, in estimates, and what is drawn for it moves with it."
        )
        found.append(Finding(STATE_WITH_RETURN, text, "shop.state", "warning" if early else "note"))
    if c.opening is None:
        found.append(
            Finding(
                "no_cash_given",
                "No cash in the bank was given: the level starts at 0 and shows changes only.",
                "shop.cash",
                "warning",
            )
        )
    elif c.floor is not None:
        apart = c.lowest - c.floor
        text = (
            f"Cash is lowest on {c.lowest_on}: {c.lowest:,.0f}, {abs(apart):,.0f} {'under' if apart < 0 else 'over'} "
            f"the floor of {c.floor:,.0f}."
        )
        found.append(Finding("lowest_cash", text, "shop.cash_floor", "warning" if apart < 0 else "note"))
    done = [step for step in c.scenario.alternatives[c.alternative] if step.done]
    if done:
        what = ", ".join(f"{step.do} {step.machine if isinstance(step, Buy | Sell) else ''}".strip() for step in done)
        found.append(
            Finding(
                "already_done",
                f"Already done, and what was paid before {plan.time.start} not counted: {what}.",
                c.alternative,
            )
        )
    return found


def _lent_on(ledger: Ledger, offer: str, day: Date) -> float:
    """Return what a lender pays the builder on `day`, before its loan begins [currency]."""
    return sum(
        float(amount)
        for line in ledger.lines
        if line.name == f"{offer} paid to the builder" and line.dates is not None
        for when, amount in zip(line.dates, line.amounts(), strict=True)
        if when == day
    )


def _deposit(c: CashCalendar, purchase: Purchase, machine: str, leaves: Date, paid: Date) -> list[Finding]:
    line = next((line for line in c.ledger.lines if line.name == f"price of {purchase.name}"), None)
    if line is None or line.dates is None:
        return []
    due, amount = line.dates[0], -float(line.amounts()[0])
    amount -= sum(_lent_on(c.ledger, name, due) for name in purchase.step.pay)  # builder's instalments a lender pays
    if due < c.plan.time.start or due >= paid or due >= purchase.step.on or amount < 0.5:
        return []
    when = (
        f"{(leaves - due).days} days before {machine} can leave"
        if due < leaves
        else f"the day {machine} leaves"
        if due == leaves
        else f"after {machine} leaves"
    )
    text = f"The sale cannot fund the deposit: {amount:,.0f} is due on {due}, {when} and {(paid - due).days} days before its money."
    return [Finding("sale_cannot_fund_deposit", text, c.alternative, "warning")]
