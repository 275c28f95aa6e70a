"""Payments on every debt of a plan: old loans until they are paid off, and the offers taken for purchases."""

from __future__ import annotations

from equipdecide.ledger import Draft
from equipdecide.money.financing import borrow
from equipdecide.money.loan import loan_schedule, post_payments, schedule_after
from equipdecide.plan import Plan


def service(draft: Draft, plan: Plan) -> None:
    """Post the payments on old loans until they are paid off, and on new ones; interest (or rent) is deductible."""
    for debt in plan.debts:
        if debt.old is not None:
            w, _ = schedule_after(draft, debt, loan_schedule(draft, debt), debt.ends_on)
            post_payments(draft, plan, debt, w, plan.time.start, debt.ends_on)
        else:
            borrow(draft, plan, debt)
