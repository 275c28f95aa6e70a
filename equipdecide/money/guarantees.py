"""What stands behind the owners' signatures: debt on the machines against what the machines would bring, month by
month.

A guarantee that is joint and several means the whole shortfall, for every owner who signed. What a machine would bring
is taken to fall by the same share each year, from what it would bring now (the price it is bought at; for a machine
owned, its value today or the first offer on file) to its entered value at the end of the study. That is a rule of this
library, no source; a forced sale brings less.
"""

from __future__ import annotations

import numpy as np

from equipdecide import calendar as cal
from equipdecide.calendar import ONE, Date
from equipdecide.ledger import Column, Draft, Origin, Working, sum_of
from equipdecide.money.financing import lent_before, owed_on
from equipdecide.plan import Plan
from equipdecide.scenario.amounts import Amount


def guarantees(draft: Draft, plan: Plan) -> None:
    """Post working ``guarantees``: ``owed, would_bring, shortfall`` by month, ``worst``, and
    ``behind <owner>`` [currency].
    """
    if plan.time.yearly or not plan.debts or not plan.scenario.owners:
        return
    w = draft.working("guarantees", plan.time.cash, "debt on the machines against what they would bring", "guarantees")
    owed = [owed_on(draft, plan, w, debt, k, plan.time.cash.ends) for k, debt in enumerate(plan.debts)]
    owed += [
        column
        for k, debt in enumerate(plan.debts)
        if (column := lent_before(draft, w, debt, k, plan.time.cash.ends)) is not None
    ]
    machines = list(dict.fromkeys(debt.machine for debt in plan.debts))
    sum_of(w, "owed", owed, "USD", "owed on the machines at the month's end")
    sum_of(
        w,
        "would_bring",
        [_would_bring(draft, plan, w, machine, k) for k, machine in enumerate(machines)],
        "USD",
        "what these machines would bring",
    )
    w.formula("shortfall", "max(owed - would_bring, 0)", "USD", "debt that a sale of the machines would leave")
    w.formula(
        "worst",
        "0 - smallest(negative)",
        "USD",
        "the largest shortfall of the study",
        ONE,
        negative=w.formula("negative", "0 - shortfall", "USD", "the same, below zero"),
    )
    for name, owner in plan.scenario.owners.items():
        if owner.guarantees is None:
            w.formula(f"behind {name}", "worst", "USD", f"what {name} may have to pay: the whole of it", ONE)
        else:
            w.formula(
                f"behind {name}",
                "min(worst, limit)",
                "USD",
                f"what {name} may have to pay",
                ONE,
                limit=draft.input(owner.guarantees),
            )


def _would_bring(draft: Draft, plan: Plan, w: Working, machine: str, k: int) -> Column:
    says = f"what {machine} would bring"
    now, since = _now(plan, machine)
    sale = next(sale for sale in plan.sales if sale.machine == machine)
    end = plan.end_value(machine)
    ends = plan.time.cash.last_days
    if now is None:
        draft.find(
            "no_value_now",
            f"{machine}: no price and no value today is given, so behind a guarantee all that is owed on it is counted.",
            f"machines.{machine}.worth_now",
        )
        return w.formula(f"{machine} would bring", "0", "USD", f"{says}: no value is given")
    w.given(
        f"held_{k}",
        ((since.toordinal() <= ends) & (ends < sale.sold_on.toordinal())).astype(float),
        "1",
        f"{machine} is there",
        Origin("choice", f"steps of {plan.name}"),
    )
    length = max(cal.years_between(since, plan.time.end), 1 / cal.DAYS_IN_YEAR)
    share = np.clip((ends - since.toordinal()) / cal.DAYS_IN_YEAR / length, 0.0, 1.0)
    w.given(
        f"gone_{k}", share, "1", "share of the time to the end of the study that is over", Origin("calendar", "days")
    )
    return w.formula(
        f"{machine} would bring",
        "held * now * (max(end, 1) / max(now, 1)) ** gone",
        "USD",
        says,
        held=w[f"held_{k}"],
        now=draft.input(now),
        end=draft.input(end) if end else 0.0,
        gone=w[f"gone_{k}"],
    )


def _now(plan: Plan, machine: str) -> tuple[Amount | None, Date]:
    bought = next((p for p in plan.purchases if p.name == machine == p.machine), None)
    entry = plan.scenario.machines[machine]
    if bought is not None:
        return entry.price, bought.drawn_on
    offers = [offer.price for offer in plan.scenario.offers.values() if offer.machine == machine]
    return entry.worth_now or next(iter(offers), None), plan.time.start
