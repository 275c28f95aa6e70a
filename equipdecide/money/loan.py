"""Loans to the cent, and what it takes to pay one off on a day.

Interest of a payment is a month's share of the yearly rate on the balance, rounded to cents; the last payment takes
what is left. Payoff on a day = balance after the last payment + interest to that day by the contract's day count + the
charge for paying early + fees. A lender's letter overrides the schedule, and the difference is said.
"""

from __future__ import annotations

from bisect import bisect_right

from equipdecide import calendar as cal
from equipdecide.calendar import ONE, Axis, Date
from equipdecide.ledger import Column, Draft, Origin, Working
from equipdecide.plan import Debt, Plan
from equipdecide.scenario.models import Loan


def payment_dates(first: Date, count: int) -> list[Date]:
    """Return the days of monthly payments: the same day each month, or the month's last where it has none."""
    return [cal.add_months(first, k) for k in range(count)]


def schedule(draft: Draft, name: str, first: Date, count: int, principal: Column, rate: Column, payment: Column | None) -> Working:
    """Post a monthly payment schedule: columns ``interest``, ``paid``, ``balance`` [currency] over the payment dates."""
    days = payment_dates(first, count)
    axis = cal.on_days("payment", [f"{k + 1}" for k in range(count)], days)
    w = draft.working(name, axis, f"payments of {name}", "loan schedule")
    if payment is None:
        payment = w.formula(
            "level_payment",
            f"cents(where(rate > 0.000001, principal * (rate / 12) / (1 - (1 + rate / 12) ** (0 - {count})), principal / {count}))",
            "USD",
            "level payment that ends the loan, to the cent",
            ONE,
            principal=principal,
            rate=rate,
        )
    last = w.given("is_last", [0.0] * (count - 1) + [1.0], "1", "the last payment takes what is left", Origin("choice", "schedule"), axis)
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
    w.formula("interest", "cents(prev(balance, principal) * rate / 12)", "USD", "a month's interest on the balance before", principal=principal, rate=rate)
    w.formula("paid", "prev(balance, principal) + interest - balance", "USD", "what is paid", principal=principal)
    return w


def _balance_after(w: Working, axis: Axis, day: Date, principal: Column, label: str) -> tuple[Column, Date | None]:
    """Return the balance after the payments made on or before `day`, and the day of the last of them."""
    made = bisect_right(axis.ends, day)
    if made == 0:
        return principal, None
    name = f"balance_{label}"
    if name not in w:
        w.formula(name, f"pick(balance, {made - 1})", "USD", f"balance after payment {made} on {axis.ends[made - 1]}", ONE)
    return w[name], axis.ends[made - 1]


def days_between(count: str, start: Date, end: Date) -> tuple[int, float]:
    """Return the days from `start` to `end` [day] and the days of a year, by a contract's day count.

    `count` is ``actual/365``, ``actual/360`` or ``30/360``, the last by bond basis: day 31 counts as 30 at the start,
    and at the end only where the start is day 30 or 31 (ISDA 2006 definitions, section 4.16(f), from memory).
    """
    if count == "30/360":
        d1, d2 = min(start.day, 30), end.day
        d2 = 30 if d2 == 31 and d1 == 30 else d2
        return (end.year - start.year) * 360 + (end.month - start.month) * 30 + d2 - d1, 360.0
    return (end - start).days, 360.0 if count == "actual/360" else 365.0


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
    scheduled = principal if made == 0 else w.formula("balance_at_letter", f"pick(balance, {made - 1})", "USD", f"balance on {letter.balance_on} by the schedule", ONE)
    apart = w.formula("letter_apart", "scheduled - letter", "USD", "schedule less letter", ONE, scheduled=scheduled, letter=draft.input(letter.balance))
    gap = abs(apart.figure())
    if gap >= 0.005:
        common.find(
            "letter_overrides",
            f"{debt.name}: the lender's letter says {letter.balance.likely:,.2f} on {letter.balance_on}, the schedule {scheduled.figure():,.2f}: "
            f"{gap:,.2f} apart. The letter is used.",
            letter.balance.path,
        )
    left = loan.payments - made
    if left <= 0:
        return w
    level = payment if payment is not None else w["level_payment"]
    return schedule(common, f"{name} by the letter", w.axis.ends[made], left, draft.input(letter.balance), rate, level)


def payoff(draft: Draft, debt: Debt, day: Date, key: str, by_schedule: bool = False) -> Working:
    """Post what pays off an old loan on `day`: balance, interest to the day, charge for paying early, fees.

    Columns of the working ``payoff <key>``: ``balance, days, interest, charge, document_fee, payoff, release`` [currency].
    """
    loan = debt.old
    assert isinstance(loan, Loan)
    w = loan_schedule(draft, debt)
    out = draft.working(f"payoff {key}", ONE, f"payoff of {debt.name} on {day}", "payoff")
    rate = draft.input(loan.rate)
    letter = None if by_schedule else loan.letter
    if by_schedule and loan.letter:
        w = draft[f"loan {debt.name}"]
        balance, since = _balance_after(w, w.axis, day, draft.input(loan.principal), f"on {day}")
    elif letter is not None:
        balance, since = _balance_after(w, w.axis, day, draft.input(letter.balance), f"on {day}")
        since = since or letter.balance_on
        if day > letter.good_through and not debt_is_over(w, day):
            draft.find(
                "letter_expired",
                f"{debt.name}: the lender's letter is good through {letter.good_through}; for {day} the payoff is computed. Ask for a new letter.",
                letter.balance.path,
            )
    else:
        balance, since = _balance_after(w, w.axis, day, draft.input(loan.principal), f"on {day}")
    since = since or loan.balance_on or cal.add_months(loan.first_payment, -1)
    out.formula("balance", "balance_left", "USD", "principal still owed", balance_left=balance)
    days, year = days_between(loan.day_count, since, day)
    out.given("days", max(days, 0), "day", f"days from {since} to {day}, {loan.day_count}", Origin("calendar", loan.day_count))
    if letter is not None and since == letter.balance_on:
        out.formula("interest", "cents(per_diem * days)", "USD", "interest to the day, at the letter's rate a day", per_diem=draft.input(letter.per_diem))
    else:
        out.formula("interest", f"cents(balance * rate / {year:.0f} * days)", "USD", "interest to the day", rate=rate)
    early = draft.input(loan.early_payoff) if loan.early_payoff else 0.0
    out.formula("charge", "cents(balance * early)", "USD", "charge for paying early", early=early)
    owed = "where(balance > 0, fee, 0)"
    out.formula("document_fee", owed, "USD", "document fee", fee=draft.input(loan.document_fee) if loan.document_fee else 0.0)
    out.formula("payoff", "balance + interest + charge + document_fee", "USD", f"payoff on {day}")
    out.formula("release", owed, "USD", "fee for releasing the lien", fee=draft.input(loan.release_fee) if loan.release_fee else 0.0)
    if letter is not None and letter.total is not None and day == letter.good_through:
        gap = out["payoff"].figure() - letter.total.likely
        if abs(gap) >= 0.005:
            draft.find("letter_total", f"{debt.name}: the letter asks for {letter.total.likely:,.2f}, its parts give {out['payoff'].figure():,.2f}.", letter.total.path, "warning")
    return out


def debt_is_over(w: Working, day: Date) -> bool:
    """Tell whether the schedule's last payment is on or before `day`."""
    return w.axis.ends[-1] <= day


def service(draft: Draft, plan: Plan) -> None:
    """Post the payments on old loans until they are paid off, and on new ones; interest is deductible."""
    for debt in plan.debts:
        if debt.old is not None:
            w, stops = loan_schedule(draft, debt), debt.ends_on
            if debt.old.lender:
                _post(draft, plan, debt, w, plan.time.start, stops)
        else:
            _new_loan(draft, plan, debt)


def _post(draft: Draft, plan: Plan, debt: Debt, w: Working, after: Date, until: Date) -> None:
    flags = [1.0 if after < day <= until else 0.0 for day in w.axis.ends]
    if not any(flags):
        return
    own = draft.working(f"service {debt.name}", w.axis, f"payments on {debt.name} in this plan", "debt service")
    own.given("due", flags, "1", f"after {after}, until {until}", Origin("choice", f"steps of {plan.name}"))
    paid = own.formula("payments", "0 - due * paid", "USD", f"payments on {debt.name}", paid=w["paid"])
    interest = own.formula("interest", "due * interest_part", "USD", f"interest in the payments on {debt.name}", interest_part=w["interest"])
    draft.line(f"payments on {debt.name}", "shop", paid, "debt service", list(w.axis.ends))
    draft.taxed(f"interest on {debt.name}", interest, -1)


def _new_loan(draft: Draft, plan: Plan, debt: Debt) -> None:
    offer = plan.scenario.financing[debt.financing or ""]
    amount, rate = draft.input(offer.amount), draft.input(offer.rate)
    payment = draft.input(offer.payment) if offer.payment else None
    w = schedule(draft, f"loan {debt.name}", cal.add_months(debt.drawn_on, 1), offer.payments, amount, rate, payment)
    drawn = draft.working(f"drawn {debt.name}", cal.dated(debt.drawn_on), f"money of {debt.name}", "debt service")
    fee = draft.input(offer.fee) if offer.fee else 0.0
    money = drawn.formula("drawn", "amount - fee", "USD", f"{debt.name} paid out, less its fee", amount=amount, fee=fee)
    draft.line(f"{debt.name} paid out", "shop", money, "borrowing", [debt.drawn_on])
    if offer.fee:
        draft.taxed(f"fee of {debt.name}", drawn.formula("fee", "charged", "USD", "loan fee, deducted at once (a simplification: it is spread over the loan)", charged=fee), -1)
    _post(draft, plan, debt, w, debt.drawn_on, debt.ends_on)
    if w.axis.ends[-1] > debt.ends_on:  # sold, or the study ends, before the last payment
        made = bisect_right(w.axis.ends, debt.ends_on)
        balance, since = _balance_after(w, w.axis, debt.ends_on, amount, "at the end")
        end = draft.working(f"balance paid {debt.name}", cal.dated(debt.ends_on), f"what is left of {debt.name}", "debt service")
        days = (debt.ends_on - (since or debt.drawn_on)).days if not plan.time.yearly else 0
        end.formula("interest", f"cents(balance * rate / 365 * {days})", "USD", "interest since the last payment", balance=balance, rate=rate)
        out = end.formula("paid", "0 - balance - interest", "USD", f"balance of {debt.name} paid off after {made} payments", balance=balance)
        draft.line(f"{debt.name} paid off", "shop", out, "payoff", [debt.ends_on])
        draft.taxed(f"last interest on {debt.name}", end["interest"], -1)
