"""Payment schedules of loans, to the cent.

Interest of a payment is a month's share of the yearly rate on the balance, rounded to cents; the last payment takes
what is left. A lender's letter overrides the schedule, and the difference is said.
"""

from __future__ import annotations

from bisect import bisect_right
from functools import lru_cache

from equipdecide import calendar as cal
from equipdecide.calendar import ONE, Axis, Date
from equipdecide.ledger import Column, Draft, Origin, Working
from equipdecide.plan import Debt, Plan
from equipdecide.scenario.models import Loan


@lru_cache(maxsize=256)
def payment_axis(first: Date, count: int) -> Axis:
    """Return the axis of monthly payments: the same day each month, or the month's last where it has none."""
    days = [cal.add_months(first, k) for k in range(count)]
    return cal.on_days("payment", [f"{k + 1}" for k in range(count)], days)


def schedule(
    draft: Draft, name: str, first: Date, count: int, principal: Column, rate: Column, payment: Column | None
) -> Working:
    """Post a monthly payment schedule: columns ``interest``, ``paid``, ``balance`` [currency] over
    the payment dates.
    """
    axis = payment_axis(first, count)
    w = draft.working(name, axis, f"payments of {name}", "loan schedule")
    if payment is None:
        payment = w.formula(
            "level_payment",
            f"cents(where(rate > 0.000001, principal * (rate / 12) / (1 - (1 + rate / 12) ** (0 - {count})), "
            f"principal / {count}))",
            "USD",
            "level payment that ends the loan, to the cent",
            ONE,
            principal=principal,
            rate=rate,
        )
    last = w.given(
        "is_last",
        [0.0] * (count - 1) + [1.0],
        "1",
        "the last payment takes what is left",
        Origin("choice", "schedule"),
        axis,
    )
    w.formula(
        "balance",
        "where(is_last, 0, max(prev(balance, principal) + cents(prev(balance, principal) * rate / 12) - payment, 0))",
        "USD",
        "principal owed after the payment",
        is_last=last,
        principal=principal,
        rate=rate,
        payment=payment,
    )
    w.formula(
        "interest",
        "cents(prev(balance, principal) * rate / 12)",
        "USD",
        "a month's interest on the balance before",
        principal=principal,
        rate=rate,
    )
    w.formula("paid", "prev(balance, principal) + interest - balance", "USD", "what is paid", principal=principal)
    return w


def loan_schedule(draft: Draft, debt: Debt) -> Working:
    """Post, once for all alternatives, the schedule of an old loan as signed; and as the lender's letter has it."""
    loan = debt.old
    assert isinstance(loan, Loan)
    name = f"loan {debt.name}"
    common = draft.common
    if name in draft:
        return draft[f"{name} by the letter"] if loan.letter else draft[name]
    principal, rate = draft.input(loan.principal), draft.input(loan.rate)
    payment = draft.input(loan.payment) if loan.payment else None
    w = schedule(common, name, loan.first_payment, loan.payments, principal, rate, payment)
    if loan.letter is None:
        return w
    letter = loan.letter
    made = bisect_right(w.axis.ends, letter.balance_on)
    scheduled = (
        principal
        if made == 0
        else w.formula(
            "balance_at_letter",
            f"pick(balance, {made - 1})",
            "USD",
            f"balance on {letter.balance_on} by the schedule",
            ONE,
        )
    )
    apart = w.formula(
        "letter_apart",
        "scheduled - letter",
        "USD",
        "schedule less letter",
        ONE,
        scheduled=scheduled,
        letter=draft.input(letter.balance),
    )
    gap = abs(apart.figure())
    if gap >= 0.005:
        common.find(
            "letter_overrides",
            f"{debt.name}: the lender's letter says {letter.balance.likely:,.2f} on {letter.balance_on}, the "
            f"schedule {scheduled.figure():,.2f}: {gap:,.2f} apart. The letter is used.",
            letter.balance.path,
        )
    left = loan.payments - made
    if left <= 0:
        return w
    level = payment if payment is not None else w["level_payment"]
    return schedule(common, f"{name} by the letter", w.axis.ends[made], left, draft.input(letter.balance), rate, level)


def schedule_after(draft: Draft, debt: Debt, w: Working, day: Date, letter: bool = True) -> tuple[Working, Column]:
    """Return the schedule of an old loan once the machines sold before `day` have been let go, and its opening balance.

    Principal paid on a sale lowers the balance from that day: its interest to the day is in what the lender is paid
    then, and the next payment carries a month's interest on the rest only.
    """
    loan = debt.old
    assert isinstance(loan, Loan)
    opening = draft.input(
        loan.letter.balance if w.name.endswith("by the letter") and loan.letter is not None else loan.principal
    )
    rate = draft.input(loan.rate)
    for k, (sale, _) in enumerate(debt.releases, start=1):
        if sale.sold_on >= day:
            break
        name = f"loan {debt.name} after {k} let go" + ("" if letter else " by the schedule")
        if name in draft:
            w = draft[name]
            continue
        row = bisect_right(w.axis.ends, sale.sold_on)
        level = draft.input(loan.payment) if loan.payment else draft[f"loan {debt.name}"]["level_payment"]
        after = draft.working(name, w.axis, f"payments of {debt.name} after {sale.machine} is sold", "loan schedule")
        rows = range(len(w.axis))
        after.given(
            "is_last",
            [1.0 if i == rows[-1] else 0.0 for i in rows],
            "1",
            "the last payment takes what is left",
            Origin("choice", "schedule"),
            w.axis,
        )
        after.given(
            "falls_here",
            [1.0 if i == row else 0.0 for i in rows],
            "1",
            f"first payment after {sale.sold_on}",
            Origin("calendar", sale.machine),
            w.axis,
        )
        paid_down = draft[f"payoff {sale.machine} {debt.name}"]["principal"]
        before: Column | float = w["extra"] if k > 1 else 0.0
        after.formula(
            "extra",
            "falls_here * paid_down + before",
            "USD",
            "principal paid with sales",
            paid_down=paid_down,
            before=before,
        )
        owed = "prev(balance, opening) - extra"
        after.formula(
            "balance",
            f"where(is_last, 0, max({owed} + cents(({owed}) * rate / 12) - payment, 0))",
            "USD",
            "principal owed after the payment",
            opening=opening,
            rate=rate,
            payment=level,
        )
        after.formula(
            "interest",
            f"cents(({owed}) * rate / 12)",
            "USD",
            "a month's interest on the balance before",
            opening=opening,
            rate=rate,
        )
        after.formula("paid", f"{owed} + interest - balance", "USD", "what is paid", opening=opening)
        w = after
    return w, opening


def post_payments(
    draft: Draft, plan: Plan, debt: Debt, w: Working, after: Date, until: Date, rent: bool = False
) -> None:
    """Post the payments of a schedule that fall after `after` and until `until`; their interest, or
    all of a rent, is deducted.
    """
    flags = [1.0 if after < day <= until else 0.0 for day in w.axis.ends]
    if not any(flags):
        return
    own = draft.working(f"service {debt.name}", w.axis, f"payments on {debt.name} in this plan", "debt service")
    own.given("due", flags, "1", f"after {after}, until {until}", Origin("choice", f"steps of {plan.name}"))
    paid = own.formula("payments", "0 - due * paid", "USD", f"payments on {debt.name}", paid=w["paid"])
    draft.line(f"payments on {debt.name}", "shop", paid, "debt service", list(w.axis.ends))
    if rent:
        draft.taxed(
            f"rent of {debt.name}", own.formula("rent", "due * paid", "USD", f"rent of {debt.name}", paid=w["paid"]), -1
        )
    else:
        interest = own.formula(
            "interest",
            "due * interest_part",
            "USD",
            f"interest in the payments on {debt.name}",
            interest_part=w["interest"],
        )
        draft.taxed(f"interest on {debt.name}", interest, -1)
