"""Limits on losses at the owner, in the order of the law: basis, passive activity, excess business loss, carried
losses.

Each posts into the owner's return. Basis: IRC 704(d), 1366(d), Reg. 1.704-1(d); a loss beyond the owner's basis is held
back and comes free as later income builds basis. Passive: IRC 469, Form 8582, all of the owner's share taken as one
activity. Excess business loss: IRC 461(l), Form 461, carried forward as a net operating loss, which may take 80 % of
later income (IRC 172(a)(2)). The amount at risk: :mod:`equipdecide.tax.at_risk`.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable

from equipdecide.calendar import ONE
from equipdecide.ledger import Column, Draft, Origin, Working, sum_of
from equipdecide.plan import Plan
from equipdecide.scenario.models import Owner

Year = Callable[..., Column]  # reads a federal parameter by id without its folder, for each tax year


def debts_of_the_business(draft: Draft, plan: Plan) -> Column:
    """Post what the plan's loans still owe at each year's end: working ``debts`` [currency]."""
    w = draft.working("debts", plan.time.tax, "owed on the plan's loans at the end of the year", "limits")
    owed = []
    for debt in plan.debts:
        names = (f"loan {debt.name} by the letter", f"loan {debt.name}")
        schedule = next((draft[name] for name in names if name in draft and "balance" in draft[name]), None)
        if schedule is None:
            continue
        flags = [1.0 if debt.drawn_on <= end < debt.ends_on else 0.0 for end in plan.time.tax.ends]
        first = [bisect_right(schedule["balance"].axis.ends, end) for end in plan.time.tax.ends]
        if not any(flag and made for flag, made in zip(flags, first, strict=True)):
            continue
        w.given(f"{debt.name}: open", flags, "1", f"until {debt.ends_on}", Origin("choice", f"steps of {plan.name}"))
        owed.append(
            w.formula(
                f"{debt.name}: owed",
                "open_ * closing(balance)",
                "USD",
                f"owed on {debt.name}",
                open_=w[f"{debt.name}: open"],
                balance=schedule["balance"],
            )
        )
    sum_of(w, "owed", owed, "USD", "owed at the end of the year")
    return w["owed"]


def paid_out(draft: Draft, plan: Plan, w: Working, share: Column, taxable: Column) -> None:
    """Post ``paid_out``: an owner's share of what the business pays out [currency a year]."""
    shop = plan.scenario.shop
    w.formula(
        "paid_out",
        "share * (drawn + rate * max(taxable, 0))",
        "USD",
        "share of what the business pays out",
        share=share,
        drawn=draft.input(shop.distributions) if shop.distributions else 0.0,
        rate=draft.input(shop.tax_distributions) if shop.tax_distributions else 0.0,
        taxable=taxable,
    )


def by_basis(
    draft: Draft, plan: Plan, w: Working, owner: Owner, case: str, share: Column, activity: Column, taxable: Column
) -> Column:
    """Post the owner's basis and the loss it holds back; returns the activity's income that counts [currency a year].

    `activity` is the owner's share of all income and deductions, `taxable` the business's whole taxable income (for
    what it pays out). Where no basis was entered nothing is held back.
    """
    if owner.outside_basis is None or plan.scenario.shop.taxed_as not in ("partnership", "S corporation"):
        return activity
    shop = plan.scenario.shop
    start = draft.input(owner.outside_basis)
    held = draft.input(owner.loss_suspended) if owner.loss_suspended else 0.0
    paid_out(draft, plan, w, share, taxable)
    if shop.taxed_as == "partnership" and case != "reference":  # debts of an S corporation give no basis
        owed = draft["debts"]["owed"] if "debts" in draft else debts_of_the_business(draft, plan)
        opening = sum_of_old_debts(draft, plan)
        w.formula(
            "debts_added",
            "share * (owed - prev(owed, opening))",
            "USD",
            "share of what the business's debts grew",
            share=share,
            owed=owed,
            opening=opening,
        )
    else:
        w.formula("debts_added", "0", "USD", "debts unchanged")
    # above zero: basis at the end of the year; below: loss held back
    w.formula(
        "basis_or_held",
        # income and debts first, then what is paid out, then losses: Reg. 1.704-1(d)(2), 1.731-1(a)(1)(ii)
        "max(max(prev(basis_or_held, start - held), 0) + max(activity, 0) + debts_added - paid_out, 0)"
        " + min(prev(basis_or_held, start - held), 0) + min(activity, 0)",
        "USD",
        "basis at the end of the year; below zero: loss held back",
        start=start,
        held=held,
        activity=activity,
    )
    if case == "without the sale":
        # tax on the sale alone is of the sale and nothing else: that its gain lets more be paid out is tax of the plan
        filed = draft[w.name.removesuffix(case) + "as filed"]["over_basis"]
        w.formula("over_basis", "filed", "USD", "paid out beyond basis, as filed", filed=filed)
    else:
        w.formula(
            "over_basis",
            "max(paid_out - debts_added - max(prev(basis_or_held, start - held), 0) - max(activity, 0), 0)",
            "USD",
            "paid out beyond basis: long-term capital gain",
            start=start,
            held=held,
            activity=activity,
        )
    w.formula("held_back", "max(0 - basis_or_held, 0)", "USD", "loss held back for want of basis")
    counted = w.formula(
        "after_basis",
        "activity - max(0 - prev(basis_or_held, start - held), 0) + held_back",
        "USD",
        "income of the business that basis lets count",
        activity=activity,
        start=start,
        held=held,
    )
    name = w.name.removeprefix("federal return ").removesuffix(" as filed")
    beyond = float(w["over_basis"].per_row().sum())
    if beyond >= 0.5 and case == "as filed":
        draft.find(
            "paid_out_over_basis",
            f"{name}: {beyond:,.0f} is paid out beyond the owner's basis and taxed as long-term capital gain (IRC "
            f"731(a)(1), 1368(b)(2)); the part that IRC 751 makes ordinary is not looked at.",
            f"owners.{name}",
            "warning",
        )
    most = float(w["held_back"].per_row().max())
    if most >= 0.5 and case == "as filed":
        last = float(w["held_back"].per_row()[-1])
        draft.find(
            "loss_held_back",
            f"{name}: up to {most:,.0f} of loss is more than the owner's basis and waits for later income; "
            f"{last:,.0f} is still held back at the end.",
            f"owners.{name}",
            "warning",
        )
    return counted


def sum_of_old_debts(draft: Draft, plan: Plan) -> Column | float:
    """Return what the old loans owed at the end of the year before the first tax year [currency], once a scenario."""
    if "old debts" not in draft:
        w = draft.common.working("old debts", ONE, "owed on the old loans at the last year's end", "limits")
        owed = []
        for machine, entry in plan.scenario.machines.items():
            for name, loan in entry.loans.items():
                label = f"loan {machine} {name}"
                if label not in draft or "balance" not in draft[label]:
                    continue
                made = sum(day.year < plan.time.first_tax_year for day in draft[label]["balance"].axis.ends)
                balance = draft[label]["balance"]
                if made:
                    owed.append(
                        w.formula(
                            f"{machine} {name}",
                            f"pick(balance, {made - 1})",
                            "USD",
                            f"owed on {machine} {name}",
                            balance=balance,
                        )
                    )
                else:
                    owed.append(
                        w.formula(
                            f"{machine} {name}",
                            "principal",
                            "USD",
                            f"owed on {machine} {name}",
                            principal=draft.input(loan.principal),
                        )
                    )
        sum_of(w, "owed", owed, "USD", "owed at the last year's end")
    return draft["old debts"]["owed"]


def by_passivity(draft: Draft, w: Working, owner: Owner, activity: Column) -> Column:
    """Post the loss an owner who does not work in the business may not use; returns what counts [currency a year]."""
    if owner.active:
        return activity
    start = draft.input(owner.passive_loss_carried) if owner.passive_loss_carried else 0.0
    w.formula(
        "passive_carried",
        "max(prev(passive_carried, start) - activity, 0)",
        "USD",
        "passive loss carried to the next year",
        start=start,
        activity=activity,
    )
    return w.formula(
        "after_passive",
        "activity - prev(passive_carried, start) + passive_carried",
        "USD",
        "income of the business that is not a passive loss",
        activity=activity,
        start=start,
    )


def excess_loss(w: Working, year: Year, status: str, counted: Column) -> None:
    """Post the part of the year's business loss above the threshold: it is carried as a net operating loss."""
    w.formula(
        "excess_loss",
        "max(0 - counted - threshold, 0)",
        "USD",
        "business loss above the threshold: carried, not deducted",
        counted=counted,
        threshold=year("business_losses.excess_threshold", "excess business loss threshold", status=status),
    )


def carried_loss(draft: Draft, w: Working, year: Year, owner: Owner) -> None:
    """Post the net operating loss carried and ``after_carryover``; reads ``income, excess_loss, before_carryover``."""
    start = draft.input(owner.loss_carried) if owner.loss_carried else 0.0
    w.formula("loss", "max(0 - income, 0) + excess_loss", "USD", "loss of the year, carried forward")
    w.formula(
        "loss_carried",
        "prev(loss_carried, start) - min(prev(loss_carried, start), limit * before_carryover) + loss",
        "USD",
        "net operating loss carried to the next year",
        start=start,
        limit=year("business_losses.net_operating_loss_share", "share of income a carried loss may offset"),
    )
    w.formula(
        "after_carryover",
        "before_carryover - (prev(loss_carried, start) + loss - loss_carried)",
        "USD",
        "income after carried losses",
        start=start,
    )
