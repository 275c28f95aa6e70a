"""The ways to sell one machine, side by side: dated steps, what is left, expected and at worst, and when.

Net is what is paid out or credited once the selling costs and the lender are paid, before tax. Expected weighs the
chance that it does not sell; worst is the low price, or the low price of what happens then. Worth is the present worth
of the sale money, the payoff and the loan payments until then, before tax: routes that end on other days compare by it.
Dates of what has not happened are the adviser's; whoever sells should have each offer read before it is signed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from equipdecide import calendar as cal
from equipdecide.calendar import Date, FloatArray
from equipdecide.decide.named import named
from equipdecide.decide.sale import RouteResult, first_sale, sale
from equipdecide.evaluate import Evaluation, evaluate
from equipdecide.ledger import Breach, Finding
from equipdecide.plan import Plan, Sale
from equipdecide.scenario.amounts import read_day
from equipdecide.scenario.models import Offer, Scenario, Sell
from equipdecide.showing import Shown
from equipdecide.tape import Tape

HALVINGS = 60


@dataclass(frozen=True)
class RouteStep:
    """One dated step of a route. `amount` is money to the shop [currency], None where none moves;
    `risk` says whose it is.
    """

    on: Date
    what: str
    amount: float | None = None
    risk: str = ""


@dataclass(frozen=True, eq=False)
class RouteView:
    """One way to sell. Money in the scenario's currency, before tax unless it says otherwise.

    `net` as entered, `net_if_unsold` where it does not sell (None: no such chance), `expected_net` and `worst_net`;
    negative where the price does not cover the lender. `true_value` is a trade allowance less the discount it costs;
    `expected_net`, `worst_net`, `worth` and `expected_worth` have that discount off, so that routes compare. `credited`
    tells that what is left is a credit, not money; the chance that it is lost counts in what is expected and at worst.
    `paid_until_sold` is paid on the loan between handing over and the sale: a later sale owes the lender that much
    less, so `like_for_like` has it off. `saved_by_payoff` is what the loan payments left would have cost more than the
    payoff, not discounted.
    """

    name: str
    route: str
    steps: tuple[RouteStep, ...]
    gross: float
    selling_costs: float
    payoff: float
    release: float
    net: float
    net_if_unsold: float | None
    chance_unsold: float
    expected_net: float
    worst_net: float
    money_on: Date
    days_to_money: int
    true_value: float
    credited: bool
    saved_by_payoff: float
    worth: float
    expected_worth: float
    tax: float
    cash_less_tax: float
    paid_until_sold: float

    @property
    def like_for_like(self) -> float:
        """What is left in all, less what was paid on the loan between handing over and the sale [currency]."""
        return self.left_in_all - self.paid_until_sold

    @property
    def left_in_all(self) -> float:
        """What is left of the price after lender, costs and tax, a discount lost by trading off it [currency]."""
        return self.cash_less_tax - (self.gross - self.true_value)


@dataclass(frozen=True, eq=False, repr=False)
class RoutesResult(Shown):
    """All ways to sell one machine handed over on one day.

    `breakeven[a, b]` is the price at which route a is expected to be worth what route b is expected to be worth, before
    tax [currency]; None where no price does it.
    """

    scenario: Scenario
    machine: str
    date: Date
    routes: tuple[RouteView, ...]
    breakeven: Mapping[tuple[str, str], float | None]
    findings: tuple[Finding, ...]

    def __getitem__(self, name: str) -> RouteView:
        return named(self.routes, name, "route")

    def to_json(self) -> dict[str, object]:
        """Return plain data with fixed keys: keys are added, never renamed."""
        plain = ("name", "route", "gross", "selling_costs", "payoff", "release", "net", "net_if_unsold", "chance_unsold", "expected_net",
                 "worst_net", "days_to_money", "true_value", "credited", "saved_by_payoff", "worth", "expected_worth", "tax", "cash_less_tax", "left_in_all",
                 "paid_until_sold", "like_for_like")  # fmt: skip
        return {
            "machine": self.machine,
            "date": self.date.isoformat(),
            "routes": [
                {key: getattr(r, key) for key in plain}
                | {
                    "money_on": r.money_on.isoformat(),
                    "steps": [
                        {"on": s.on.isoformat(), "what": s.what, "amount": s.amount, "risk": s.risk} for s in r.steps
                    ],
                }
                for r in self.routes
            ],
            "breakeven": [{"route": a, "against": b, "price": price} for (a, b), price in self.breakeven.items()],
            "findings": [{"code": f.code, "text": f.text, "about": f.about, "weight": f.weight} for f in self.findings],
        }

    def to_frame(self):  # type: ignore[no-untyped-def]
        """Return a tidy pandas frame, one row a route, units in the column names."""
        import pandas as pd

        keys = (
            "gross",
            "selling_costs",
            "payoff",
            "release",
            "net",
            "expected_net",
            "worst_net",
            "expected_worth",
            "true_value",
            "tax",
            "cash_less_tax",
        )
        return pd.DataFrame(
            [
                {
                    "route": r.name,
                    **{f"{key}_usd": getattr(r, key) for key in keys},
                    "days_to_money": r.days_to_money,
                    "credited": r.credited,
                }
                for r in self.routes
            ]
        )


def routes(scenario: Scenario, on: Date | str | None = None, machine: str | None = None) -> RoutesResult:
    """Return every way on file to sell `machine`, handed over on `on`.

    `machine` defaults to the (first) machine in question, `on` to the day of its first sale step, else the day of
    decision. Raises KeyError where the machine has no offer, ValueError for a day outside the study, or of a sale done.
    """
    machine = machine or scenario.machine_in_question[0]
    day = read_day(on) if isinstance(on, str) else on or first_sale(scenario, machine)
    if day < scenario.decision_date:
        raise ValueError(f"the sale of {machine} on {day} is done; `sale` shows what it left and when its tax is due")
    alone = sale(scenario, day, machine)
    legs = {one.name: _Legs(scenario, machine, one.name, day) for one in alone.routes}
    views = tuple(_view(scenario, machine, one, legs[one.name], day) for one in alone.routes)
    even = {
        (a.name, b.name): price
        for a in views
        for b, price in zip(views, legs[a.name].prices_worth([b.expected_worth for b in views]), strict=True)
        if a is not b
    }
    said = [f for one in views for f in _expired(scenario, one.name, day)]
    said += [f for one in views for f in _list_findings(scenario.offers[one.name], one.name, legs[one.name])]
    findings = dict.fromkeys([*said, *alone.findings])
    return RoutesResult(scenario, machine, day, views, even, tuple(findings))


class _Legs:
    """One offer run at other prices, sold and unsold, by its tape."""

    def __init__(self, scenario: Scenario, machine: str, name: str, day: Date) -> None:
        self.offer = scenario.offers[name]
        self.machine = machine
        step = Sell(do="sell", machine=machine, by=name, on=day, when=None, done=False, rolled_into=None)
        alone = scenario.model_copy(update={"alternatives": {"keep": [], name: [step]}})
        evaluation: Evaluation = evaluate(alone, only=[name], sale_alone=True)
        self.plan: Plan = evaluation.plans[name]
        ledger = evaluation[name]
        loans = {f"payments on {debt.name}" for debt in self.plan.debts if debt.old is not None}
        self.lines = [
            line
            for line in ledger.lines
            if line.name.startswith((f"sale of {machine}: ", f"payoff of {machine}")) or line.name in loans
        ]
        fallback = (
            scenario.offers[self.offer.if_unsold] if self.offer.unsold is not None and self.offer.if_unsold else None
        )
        self.fallback = fallback
        self.chance = (self.offer.unsold.chance or 0.0) if self.offer.unsold is not None and fallback else 0.0
        self.lost = (self.offer.credit_lost.chance or 0.0) if self.offer.credit_lost is not None else 0.0
        self.doubted = [self.offer.credit_lost.path] if self.offer.credit_lost is not None else []
        paths = [
            self.offer.price.path,
            *self.doubted,
            *([self.offer.unsold.path, fallback.price.path] if self.offer.unsold and fallback else []),
        ]
        settled = ledger.workings[f"settlement {machine}"]
        self.net = settled["net_cash"]
        self.tape = Tape(evaluation.order, paths, [self.net, *(line.column for line in self.lines)])
        log_rate = float(np.log1p(scenario.study.rate.likely))
        self.lost_discount = settled["over_allowance"].figure()  # what trading adds to the price of the next machine
        sold = next(s for s in self.plan.sales if s.machine == machine)
        # a trade looked at by itself buys nothing, and its line has the discount off already
        outside = self.lost_discount if self.offer.paid_over is not None else 0.0
        self.lost_worth = outside * float(np.exp(-self.plan.time.years_to(sold.sold_on) * log_rate))
        self.factors = []
        for line in self.lines:
            times = np.array([self.plan.time.years_to(d) for d in line.dates or line.column.axis.ends])
            still = np.array([d >= self.plan.time.start for d in line.dates or line.column.axis.ends])
            honoured = 1 - self.lost if line.name == f"sale of {machine}: to the owner" else 1.0
            self.factors.append((np.exp(-times * log_rate) * still)[:, None] * honoured)

    def run(
        self, price: FloatArray, unsold: FloatArray, otherwise: FloatArray | None = None, lost: float | None = None
    ) -> tuple[FloatArray, FloatArray]:
        """Return net and worth [currency] at prices, sold (0) or unsold (1), and prices of what happens then.

        A discount lost by trading is off both, and of what is left the share `lost` (the chance that a credit is lost).
        """
        values = {self.offer.price.path: price}
        values |= {path: np.zeros(price.shape) for path in self.doubted}  # its chance is weighed here
        if self.fallback is not None and self.offer.unsold is not None:
            then = np.full(price.shape, self.fallback.price.likely) if otherwise is None else otherwise
            values |= {self.offer.unsold.path: unsold, self.fallback.price.path: then}
        settled, *flows = self.tape.run(values)
        worth = sum((flow * factor).sum(axis=0) for flow, factor in zip(flows, self.factors, strict=True))
        share = self.lost if lost is None else lost
        net = np.broadcast_to(settled[0], price.shape)
        net = np.where(net > 0, net * (1 - share), net)
        return net - self.lost_discount, np.broadcast_to(np.asarray(worth), price.shape) - self.lost_worth

    def expected(self, price: FloatArray) -> FloatArray:
        """Return the expected worth at prices [currency]."""
        sold = self.run(price, np.zeros(price.shape))[1]
        return (
            sold
            if not self.chance
            else (1 - self.chance) * sold + self.chance * self.run(price, np.ones(price.shape))[1]
        )

    def prices_worth(self, targets: Sequence[float]) -> list[float | None]:
        """Return, for each worth aimed at, the price whose expected worth it is; None where no price does it."""
        aim = np.array(targets, dtype=float)
        low, high = (
            np.zeros(aim.shape),
            np.full(aim.shape, 20.0 * max(self.offer.price.likely, 1.0) + 2 * np.abs(aim).max()),
        )
        reach = (self.expected(low) <= aim) & (aim <= self.expected(high))
        for _ in range(HALVINGS):
            middle = (low + high) / 2
            under = self.expected(middle) < aim
            low, high = np.where(under, middle, low), np.where(under, high, middle)
        price = np.round((low + high) / 2, 2)
        apart = np.abs(self.expected(price) - aim)
        if (apart[reach] > 0.02).any():  # a cent of price and the cents of its commission
            raise Breach(f"break-even prices of {self.offer.machine} are not solved: {apart[reach].max()} apart")
        return [float(p) if ok else None for p, ok in zip(price, reach, strict=True)]


def _view(scenario: Scenario, machine: str, one: RouteResult, legs: _Legs, day: Date) -> RouteView:
    offer, fallback = legs.offer, legs.fallback
    likely, low = offer.price.likely, offer.price.low if offer.price.low is not None else offer.price.likely
    then = (
        (fallback.price.likely, fallback.price.low if fallback.price.low is not None else fallback.price.likely)
        if fallback
        else (0.0, 0.0)
    )
    net, worth = legs.run(np.array([likely, likely]), np.array([0.0, 1.0]), np.array([then[0], then[0]]))
    unsold, _ = legs.run(np.array([likely]), np.array([1.0]), np.array([then[0]]), 0.0)
    doubtful = legs.chance > 0
    bad, _ = legs.run(
        np.array([low, likely]), np.array([0.0, 1.0]), np.array([then[0], then[1]]), 1.0 if legs.lost else 0.0
    )
    owed = [w for key, w in one.ledger.workings.items() if key.startswith(f"payoff {machine} ") and "saved" in w]
    sold = next(s for s in legs.plan.sales if s.machine == machine)
    true_value = one.gross - legs.lost_discount
    expected = (1 - legs.chance) * net[0] + legs.chance * net[1]
    money_on = sold.credited_on or sold.paid_on
    return RouteView(
        one.name,
        offer.route,
        _steps(scenario, offer, one, legs, sold, day),
        one.gross,
        one.selling_costs,
        one.payoff,
        one.other_costs,
        one.net_cash,
        float(unsold[0]) + legs.lost_discount if doubtful else None,
        legs.chance,
        float(expected),
        float(min(bad) if doubtful else bad[0]),
        money_on,
        (money_on - day).days,
        true_value,
        sold.credited_on is not None or offer.route == "trade-in" or offer.credited_to is not None,
        sum(w["saved"].figure() for w in owed),
        float(worth[0]),
        float(legs.expected(np.array([likely]))[0]),
        one.tax,
        one.cash_less_tax,
        one.paid_until_sold,
    )


KEEPS_RISK = {
    "outright": "the buyer's: from collection on; until then yours",
    "consignment": "yours until it is sold: title, insurance, upkeep; a dealer's creditors may reach it unless notice is filed "
    "(UCC 9-102(a)(20), 9-103(d))",
    "trade-in": "the dealer's from collection; the allowance is usually subject to inspection then",
    "auction": "yours until the hammer, and what it brings; the buyer's premium lowers the bids",
    "private sale": "yours: time, showing it under power, and that the money is good; let it go only against cleared money",
}


def _steps(
    scenario: Scenario, offer: Offer, one: RouteResult, legs: _Legs, sold: Sale, day: Date
) -> tuple[RouteStep, ...]:
    steps = [RouteStep(sold.handed_over, "machine handed over", None, KEEPS_RISK[offer.route])]
    if offer.written is not None and offer.valid_days is not None:
        ends = cal.add_days(offer.written, offer.valid_days)
        steps.append(RouteStep(ends, "offer ends", None, "after it the price is open again"))
    for debt in legs.plan.debts:
        if debt.old is not None and debt.old.letter is not None and debt.machine == offer.machine:
            steps.append(
                RouteStep(
                    debt.old.letter.good_through,
                    "payoff letter ends",
                    None,
                    "after it each day costs its per diem; ask for a new one",
                )
            )
    steps += _listed(offer, sold)
    if sold.sold_on != sold.handed_over:
        risk = f"it does not sell ({legs.chance:.0%}); then {offer.if_unsold}" if legs.chance else "the day is a guess"
        steps.append(RouteStep(sold.sold_on, "sold", None, risk))
    if one.payoff + one.other_costs > 0:
        steps.append(
            RouteStep(
                sold.sold_on,
                "what the machine brings, cost of selling off",
                one.net_cash + one.payoff + one.other_costs,
                "the lender is paid first out of it",
            )
        )
        who = "the buyer pays it" if offer.pays_lender else "you pay it"
        steps.append(
            RouteStep(
                sold.sold_on,
                f"lender paid and lien released ({who})",
                -(one.payoff + one.other_costs),
                "the lien follows the machine until the release is filed",
            )
        )
    if one.net_cash < 0:
        steps.append(
            RouteStep(sold.sold_on, "shortfall brought in cash", one.net_cash, "yours: the loan is owed in full")
        )
    elif sold.credited_on is not None:
        steps.append(
            RouteStep(
                sold.credited_on,
                "credit used against the order",
                one.net_cash,
                "unsecured and without interest until then",
            )
        )
    elif offer.route == "trade-in" or offer.credited_to is not None:
        steps.append(
            RouteStep(
                sold.paid_on,
                "credit with the dealer",
                one.net_cash,
                "unsecured and without interest until it is used; get in writing what happens if the order is late or cancelled",
            )
        )
    else:
        steps.append(
            RouteStep(
                sold.paid_on,
                "money to you",
                one.net_cash,
                "the payer's word until it clears" if sold.paid_on > sold.sold_on else "",
            )
        )
    return tuple(sorted(steps, key=lambda step: step.on))


def _list_prices(offer: Offer, sold: Sale) -> list[tuple[Date, float]]:
    """Return the list price and the days from which it holds: as listed, then after each agreed cut [currency]."""
    if offer.list_price is None:
        return []
    price, found = offer.list_price.likely, [(sold.handed_over, offer.list_price.likely)]
    for step in sorted(offer.price_steps, key=lambda step: step.after):
        price *= 1 - step.off.likely
        found.append((cal.add_days(sold.handed_over, step.after), price))
    return found


def _listed(offer: Offer, sold: Sale) -> list[RouteStep]:
    """Return the list price, its agreed cuts up to the sale or the end of the exclusive period, and that end."""
    ends = cal.add_days(sold.handed_over, offer.exclusive_days) if offer.exclusive_days is not None else None
    steps = [
        RouteStep(day, f"{'listed' if k == 0 else 'list price falls'} at {price:,.0f}".replace("falls at", "falls to"))
        for k, (day, price) in enumerate(_list_prices(offer, sold))
        if day <= max(sold.sold_on, ends or sold.sold_on)
    ]
    if ends is not None:
        steps.append(RouteStep(ends, "exclusive period ends", None, "until then nobody else may sell it"))
    return steps


def _list_findings(offer: Offer, name: str, legs: _Legs) -> list[Finding]:
    """Say where the price is above the list price of its day, and where the unsold leg cannot be that early."""
    sold = next(s for s in legs.plan.sales if s.machine == offer.machine)
    found = []
    held = [price for day, price in _list_prices(offer, sold) if day <= sold.sold_on]
    if held and offer.price.likely > held[-1] + 0.005:
        text = (
            f"{name}: {offer.price.likely:,.0f} is expected on {sold.sold_on}, when the list price is {held[-1]:,.0f}."
        )
        found.append(Finding("price_above_list", text, offer.price.path, "warning"))
    if legs.chance and offer.exclusive_days is not None:
        ends = cal.add_days(sold.handed_over, offer.exclusive_days)
        if ends > sold.sold_on:
            text = (
                f"{name}: where it does not sell, {offer.if_unsold} is counted on {sold.sold_on}; the exclusive "
                f"period runs until {ends}, {(ends - sold.sold_on).days} days later, with insurance and loan "
                f"payments until then."
            )
            found.append(Finding("unsold_leg_later", text, f"offers.{name}.exclusive_days", "warning"))
    return found


def _expired(scenario: Scenario, name: str, day: Date) -> list[Finding]:
    offer = scenario.offers[name]
    if offer.written is None or offer.valid_days is None or day <= cal.add_days(offer.written, offer.valid_days):
        return []
    ends = cal.add_days(offer.written, offer.valid_days)
    return [
        Finding(
            "offer_expired",
            f"{name}: the offer stands until {ends}; on {day} its price is open again.",
            f"offers.{name}",
            "warning",
        )
    ]
