"""The election of a partnership or S corporation to pay its owners' state income tax itself.

The tax is a rate on the business's income in the state's book; it is deducted from federal business income in the year
it is for (Notice 2020-75, from memory: when it is paid within the year, here on 15 December) and credited to the
owners' state returns, taken as refundable (the states differ: look it up). The state's own income is not lowered by it.
"""

from __future__ import annotations

from dataclasses import replace

from equipdecide import calendar as cal
from equipdecide.calendar import Date
from equipdecide.ledger import Column, Draft
from equipdecide.plan import Plan
from equipdecide.tax.income import Flows

RETURN = "pass-through return shop"


def elected(draft: Draft, plan: Plan) -> bool:
    """Tell whether the business pays its owners' state tax; says so where an owner's one rate
    leaves no return to credit it to.
    """
    shop, owners = plan.scenario.shop, plan.scenario.owners.values()
    if (
        shop.state is None
        or shop.state.pass_through_rate is None
        or shop.taxed_as not in ("partnership", "S corporation")
    ):
        return False
    if any(owner.tax_rate is not None for owner in owners):
        draft.common.find(
            "pass_through_not_used",
            "The business's payment of its owners' state tax is not computed where an owner has one combined rate.",
            "shop.state.pass_through_rate",
            "warning",
        )
        return False
    return True


def pay_for_owners(draft: Draft, plan: Plan, case: str, federal: Flows, state: Flows) -> Flows:
    """Post the tax in one case as ``pass-through return shop <case>``; returns what the business
    hands on federally after it.
    """
    entry = plan.scenario.shop.state
    assert entry is not None and entry.pass_through_rate is not None
    name, home = f"{RETURN} {case}", draft.common if case == "reference" else draft
    if name not in draft:
        w = home.working(name, plan.time.tax, f"state tax the business pays for its owners, {case}", "returns")
        w.formula(
            "income",
            "business - section_179 + recapture + gain",
            "USD",
            "income in the state's book",
            business=state.business,
            section_179=state.section_179,
            recapture=state.recapture,
            gain=state.gain,
        )
        w.formula(
            "tax", "rate * max(income, 0)", "USD", "paid for the owners", rate=draft.input(entry.pass_through_rate)
        )
        w.formula(
            "federal_business", "business - tax", "USD", "federal business income after it", business=federal.business
        )
    return replace(federal, business=draft[name]["federal_business"])


def credit(draft: Draft, case: str) -> Column | None:
    """Return what is credited to all owners together [currency a year]; None where nothing is elected."""
    name = f"{RETURN} {case}"
    return draft[name]["tax"] if name in draft else None


def post_payment(draft: Draft, plan: Plan) -> None:
    """Post the payment of what this course adds, on 15 December of each year: working ``payments for owners shop``."""
    if f"{RETURN} as filed" not in draft:
        return
    w = draft.working(
        "payments for owners shop", plan.time.tax, "state tax the business pays for its owners", "payments"
    )
    w.formula(
        "added",
        "owed - reference",
        "USD",
        "what this course adds",
        owed=draft[f"{RETURN} as filed"]["tax"],
        reference=draft[f"{RETURN} reference"]["tax"],
    )
    out = w.formula("paid", "0 - added", "USD", "as cash")
    days = [max(cal.next_business_day(Date(end.year, 12, 15)), plan.time.start) for end in plan.time.tax.ends]
    draft.line("state tax paid for the owners", "shop", out, "tax", days)
