"""Every offer of money on file, side by side: payment, all that is paid, the yearly rate, what it is worth after tax.

Each offer is run through the whole engine in the first course that buys what it is for, and so is the same course paid
in cash. Worth against cash is the difference of the two, after tax, at the study's rate: a lease and a loan compare by
it, the machine that goes back, the relief of depreciation and the price at the end included.

The yearly rate is before tax, by Regulation Z, Appendix J. What an offer binds you to is in its wording, not here.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from equipdecide.calendar import Date
from equipdecide.decide.named import named
from equipdecide.evaluate import Evaluation, evaluate
from equipdecide.ledger import Finding, Ledger
from equipdecide.plan import LEASES, Plan, is_lease_for_tax
from equipdecide.scenario.models import Buy, Financing, Improve, Scenario, Step
from equipdecide.showing import Shown

TaxedAs = Literal["loan", "purchase", "lease"]


@dataclass(frozen=True, eq=False)
class OfferOfMoney:
    """One offer of money, run in one course. Money in the scenario's currency, rates a year.

    `payment` is the level one (a lease's each), `total_paid` all payments and an option price sure to be paid,
    `cost_of_money` total paid less what is received; of a lease the machine that goes back, or its price at the end,
    counts. `yearly_rate_low` and `_high` span a doubtful value at the end. `worth_against_cash` is after tax: positive
    where the offer beats paying cash at the study's rate. `cost_after_tax` is the present worth of the money it brings
    less that.
    """

    name: str
    kind: str
    machine: str
    course: str
    taxed_as: TaxedAs
    amount: float
    received: float
    drawn_on: Date
    payments: int
    payment: float
    first_payment: Date
    last_payment: Date
    total_paid: float
    cost_of_money: float
    yearly_rate: float
    yearly_rate_low: float
    yearly_rate_high: float
    worth_against_cash: float
    cost_after_tax: float
    own_money_needed: float
    ledger: Ledger
    plan: Plan


@dataclass(frozen=True, eq=False, repr=False)
class MoneyResult(Shown):
    """Every offer of money of a scenario. ``result["name"]`` is one of them."""

    scenario: Scenario
    offers: tuple[OfferOfMoney, ...]
    findings: tuple[Finding, ...]

    def __getitem__(self, name: str) -> OfferOfMoney:
        return named(self.offers, name, "offer of money")

    def advantage(self, name: str, other: str) -> float:
        """Return what offer `name` is worth more than `other` after tax [currency]: for a lease, its net advantage.

        Raises ValueError where the two are not for the same machine.
        """
        one, two = self[name], self[other]
        if one.machine != two.machine:
            raise ValueError(f"{name} is for {one.machine}, {other} for {two.machine}: they do not compare")
        return one.worth_against_cash - two.worth_against_cash

    def best(self, machine: str) -> OfferOfMoney:
        """Return the offer for `machine` that is worth most after tax. Raises KeyError where there is none."""
        found = [offer for offer in self.offers if offer.machine == machine]
        if not found:
            raise KeyError(f"no offer of money for {machine!r}")
        return max(found, key=lambda offer: offer.worth_against_cash)

    def to_json(self) -> dict[str, object]:
        """Return plain data with fixed keys: keys are added, never renamed."""
        plain = ("name", "kind", "machine", "course", "taxed_as", "amount", "received", "payments", "payment", "total_paid", "cost_of_money",
                 "yearly_rate", "yearly_rate_low", "yearly_rate_high", "worth_against_cash", "cost_after_tax", "own_money_needed")  # fmt: skip
        days = ("drawn_on", "first_payment", "last_payment")
        return {
            "currency": self.scenario.currency,
            "study_rate": self.scenario.study.rate.likely,
            "offers": [
                {key: getattr(o, key) for key in plain} | {key: getattr(o, key).isoformat() for key in days}
                for o in self.offers
            ],
            "findings": [{"code": f.code, "text": f.text, "about": f.about, "weight": f.weight} for f in self.findings],
        }

    def to_frame(self):  # type: ignore[no-untyped-def]
        """Return a tidy pandas frame, one row an offer, units in the column names."""
        import pandas as pd

        money = (
            "amount",
            "received",
            "payment",
            "total_paid",
            "cost_of_money",
            "worth_against_cash",
            "cost_after_tax",
            "own_money_needed",
        )
        return pd.DataFrame(
            [
                {
                    "offer": o.name,
                    "machine": o.machine,
                    "kind": o.kind,
                    "taxed_as": o.taxed_as,
                    "yearly_rate": o.yearly_rate,
                }
                | {f"{key}_usd": getattr(o, key) for key in money}
                for o in self.offers
            ]
        )


def money(scenario: Scenario) -> MoneyResult:
    """Return every offer of money under ``financing:``, each in the first course that buys what it is for.

    An offer for something no course buys is left out, with a finding.
    """
    courses: dict[str, tuple[str, str]] = {}  # offer -> (what it is for, course)
    findings: list[Finding] = []
    for name, offer in scenario.financing.items():
        found = _course(scenario, name, offer)
        if found is None:
            what = (
                f"no course of this file buys {offer.machine}"
                if offer.machine
                else "it names no machine, and no course pays with it"
            )
            findings.append(
                Finding("offer_without_course", f"{name}: {what}; the offer is left out.", f"financing.{name}")
            )
        else:
            courses[name] = found
    if not courses:
        return MoneyResult(scenario, (), tuple(findings))
    runs: dict[str, list[Step]] = {"keep": []}
    for name, (what, course) in courses.items():
        runs[name] = _paying(scenario.alternatives[course], what, [name])
        runs[f"cash for {what}"] = _paying(scenario.alternatives[course], what, [])
    ends = {
        offer.end_value.path: offer.end_value
        for offer in scenario.financing.values()
        if offer.end_value and offer.end_value.doubtful
    }
    values = {path: np.array([a.likely, a.low or 0.0, a.high or 0.0]) for path, a in ends.items()}
    only = [name for name in runs if name != "keep"]
    evaluation = evaluate(scenario.model_copy(update={"alternatives": runs}), values, only=only)
    offers = tuple(_offer(evaluation, scenario.financing[name], name, *courses[name]) for name in courses)
    for one in offers:
        findings += [f for f in one.ledger.findings if f.code in SAID]
        findings += _deferral(scenario.financing[one.name], one)
    return MoneyResult(scenario, offers, tuple(dict.fromkeys(findings)))


SAID = (
    "lease_is_rent",
    "lease_is_purchase",
    "lease_notice",
    "lease_outlives_study",
    "shortfall_rolled",
    "machine_goes_back",
)


def _course(scenario: Scenario, name: str, offer: Financing) -> tuple[str, str] | None:
    fits: tuple[str, str] | None = None
    for course, steps in scenario.alternatives.items():
        for step in steps:
            if not isinstance(step, Buy | Improve):
                continue
            what = step.machine if isinstance(step, Buy) else step.improvement
            if name in step.pay:
                return what, course
            if offer.machine == what and fits is None:
                fits = what, course
    return fits


def _paying(steps: list[Step], what: str, pay: list[str]) -> list[Step]:
    """Return the steps with the purchase of `what` paid by `pay`, all others as they are; doubts
    taken as they stand.
    """
    changed: list[Step] = []
    for step in steps:
        bought = step.machine if isinstance(step, Buy) else step.improvement if isinstance(step, Improve) else None
        changed.append(step.model_copy(update={"pay": pay}) if bought == what else step)
    return changed


def _offer(evaluation: Evaluation, offer: Financing, name: str, what: str, course: str) -> OfferOfMoney:
    ledger, plan, cash = evaluation[name], evaluation.plans[name], evaluation[f"cash for {what}"]
    schedule = ledger.workings[f"loan {name}"]
    debt = next(debt for debt in plan.debts if debt.financing == name)
    rates = [schedule["yearly_rate"].figure(trial=k) for k in range(schedule["yearly_rate"].values.shape[1])]
    paid = schedule["paid"].per_row()
    payment = (
        schedule["level_payment"].figure()
        if "level_payment" in schedule
        else float(offer.payment.likely if offer.payment else paid[0])
    )
    worth = ledger.column("worth.npv").figure() - cash.column("worth.npv").figure()
    years = plan.time.years_to(debt.drawn_on)
    amount = (
        ledger.workings[f"amount of {name}"]["amount"].figure()
        if f"amount of {name}" in ledger.workings
        else offer.amount.likely
    )
    brought = amount * float((1 + evaluation.scenario.study.rate.likely) ** -years)
    received, total = schedule["received"].figure(), schedule["total_paid"].figure()
    taxed: TaxedAs = "loan" if offer.kind not in LEASES else "lease" if is_lease_for_tax(offer) else "purchase"
    days = [day for day, each in zip(schedule.axis.ends, paid, strict=True) if each > 0.005]
    return OfferOfMoney(
        name,
        offer.kind,
        what,
        course,
        taxed,
        amount,
        received,
        debt.drawn_on,
        offer.payments,
        payment,
        days[0],
        days[-1],
        total,
        total - received + (end.likely if taxed == "lease" and (end := offer.end_value or offer.option_price) else 0.0),
        rates[0],
        min(rates),
        max(rates),
        worth,
        brought - worth,
        ledger.column("own money.needed").figure(),
        ledger,
        plan,
    )


def _deferral(offer: Financing, one: OfferOfMoney) -> list[Finding]:
    if not offer.deferred:
        return []
    schedule = one.ledger.workings[f"loan {one.name}"]
    added = schedule["balance"].figure(offer.deferred - 1) - one.amount
    text = (
        f"{one.name}: {offer.deferred} periods without payment are not free: {added:,.2f} of interest is added to "
        f"the debt, and every payment after is larger."
    )
    return [Finding("deferral_accrues", text, f"financing.{one.name}", "warning")]
