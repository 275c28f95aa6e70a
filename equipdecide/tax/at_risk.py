"""The limit of a loss to what an owner has at risk (IRC 465; Form 6198), after basis and before the passive limit.

At risk are the owner's own money and debts the owner answers for: all of a sole proprietor's, none of an S
corporation's, of a partnership's the owner's share up to what is guaranteed. A loss beyond it waits for later income or
money (IRC 465(a)(2)). Money drawn that leaves less than nothing at risk would be income (IRC 465(e)): not computed.
"""

from __future__ import annotations

from equipdecide.ledger import Column, Draft, Working
from equipdecide.plan import Plan
from equipdecide.scenario.models import Owner
from equipdecide.tax.limits import debts_of_the_business, paid_out, sum_of_old_debts


def by_risk(
    draft: Draft,
    plan: Plan,
    w: Working,
    name: str,
    owner: Owner,
    case: str,
    share: Column,
    activity: Column,
    taxable: Column,
) -> Column:
    """Post the amount at risk and the loss it holds back; returns the activity's income that counts [currency a year].

    `activity` is what basis lets count. Where no amount at risk was entered nothing is held back.
    """
    kind = plan.scenario.shop.taxed_as
    if owner.at_risk is None:
        lost = -float(activity.per_row().min())
        if case == "as filed" and kind == "partnership" and owner.guarantees is not None and lost >= 0.5:
            draft.find(
                "at_risk_may_bind",
                f"{name}: a year's loss of {lost:,.0f} is counted. It counts only as far as this owner has money at "
                f"risk or answers for debts, by the file {float(owner.guarantees):,.0f} at most (IRC 465): enter "
                f"`at_risk` of Form 6198 to have it limited.",
                f"owners.{name}",
                "warning",
            )
        return activity
    start = draft.input(owner.at_risk)
    if "paid_out" not in w:
        paid_out(draft, plan, w, share, taxable)
    if kind == "S corporation" or case == "reference":
        w.formula("risk_added", "0", "USD", "debts answered for unchanged")
    else:
        owed = draft["debts"]["owed"] if "debts" in draft else debts_of_the_business(draft, plan)
        most = draft.input(owner.guarantees) if kind == "partnership" and owner.guarantees is not None else None
        text = "min(share * owed, most) - min(share * prev(owed, opening), most)"
        w.formula(
            "risk_added",
            text if most is not None else "share * (owed - prev(owed, opening))",
            "USD",
            "what the debts answered for grew",
            None,
            share=share,
            owed=owed,
            opening=sum_of_old_debts(draft, plan),
            **({"most": most} if most is not None else {}),
        )
    w.formula(
        "risk_or_held",
        "max(max(prev(risk_or_held, start), 0) + max(activity, 0) + risk_added - paid_out, 0)"
        " + min(prev(risk_or_held, start), 0) + min(activity, 0)",
        "USD",
        "at risk at the end of the year; below zero: loss held back",
        start=start,
        activity=activity,
    )
    w.formula("held_at_risk", "max(0 - risk_or_held, 0)", "USD", "loss held back for want of an amount at risk")
    counted = w.formula(
        "after_risk",
        "activity - max(0 - prev(risk_or_held, start), 0) + held_at_risk",
        "USD",
        "income of the business that the amount at risk lets count",
        activity=activity,
        start=start,
    )
    most_held = float(w["held_at_risk"].per_row().max())
    if most_held >= 0.5 and case == "as filed":
        draft.find(
            "loss_at_risk",
            f"{name}: up to {most_held:,.0f} of loss is more than the owner has at risk (Form 6198) and waits; "
            f"{float(w['held_at_risk'].per_row()[-1]):,.0f} is still held back at the end.",
            f"owners.{name}",
            "warning",
        )
    return counted
