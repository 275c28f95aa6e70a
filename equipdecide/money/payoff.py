"""What it takes to pay a loan off on a day, whole or in part, by the contract's own rule.

Four rules are met in contracts: *simple interest* (the balance and interest to the day), *remaining payments* (every
payment left, nothing saved), *present value* (the payments left, brought back at a stated rate) and *sum of digits*
(the payments left less a refund by the rule of 78). To each come the charge for paying early and the lender's fees. A
lender's letter overrides the schedule while it is good.

Estimates from the contract as entered. Only the lender's written payoff letter binds the lender.
"""

from __future__ import annotations

import calendar as _calendar
from bisect import bisect_right

from equipdecide import calendar as cal
from equipdecide.calendar import ONE, Date
from equipdecide.ledger import Column, Draft, Origin, Working, sum_of
from equipdecide.money.loan import loan_schedule, schedule_after
from equipdecide.plan import Debt
from equipdecide.scenario.amounts import Amount
from equipdecide.scenario.models import EarlyCharge, Loan


def days_between(count: str, start: Date, end: Date) -> int:
    """Return the days of interest between two days by a day count.

    ``30/360`` is the bond basis (ISDA 2006, 4.16(f)): the 31st counts as the 30th at the start, and at the end where
    the start is the 30th or 31st; the ends of February stay as they are. All others count actual days.

    >>> days_between("30/360", Date(2006, 8, 31), Date(2007, 2, 28))
    178
    """
    if count != "30/360":
        return (end - start).days
    first = min(start.day, 30)
    last = 30 if end.day == 31 and first == 30 else end.day
    return (end.year - start.year) * 360 + (end.month - start.month) * 30 + last - first


def days_of_year(count: str) -> int:
    """Return the days in the year of a day count of a fixed year: 360 or 365."""
    return 360 if count.endswith("360") else 365


def year_fraction(count: str, start: Date, end: Date) -> float:
    """Return the time between two days in years by a day count [year].

    ``actual/actual`` is that of ISDA 2006, 4.16(b): the days in leap years over 366, the others over 365.

    >>> round(year_fraction("actual/actual", Date(2003, 11, 1), Date(2004, 5, 1)), 12)
    0.497724380567
    """
    if count != "actual/actual":
        return days_between(count, start, end) / days_of_year(count)
    total, day = 0.0, start
    while day < end:
        stop = min(end, Date(day.year + 1, 1, 1))
        total += (stop - day).days / (366 if _calendar.isleap(day.year) else 365)
        day = stop
    return total


def year_of_loan(loan: Loan, day: Date) -> int:
    """Return in which year of the loan `day` lies, the first being 1."""
    signed = loan.signed or loan.balance_on or cal.add_months(loan.first_payment, -1)
    months = (day.year - signed.year) * 12 + day.month - signed.month - (day.day < signed.day)
    return max(months, 0) // 12 + 1


def payoff(
    draft: Draft, debt: Debt, day: Date, key: str, by_schedule: bool = False, part: Amount | None = None
) -> Working:
    """Post what pays off an old loan on `day`, or lets one machine go for the principal `part`, as working ``payoff
    <key>``.

    Columns [currency]: ``balance`` owed before, ``principal`` paid, ``interest`` (to the day; by the other rules all
    that is asked above the principal), ``charge`` for paying early, ``document_fee, wire_fee``, ``payoff`` (their sum),
    ``release`` (fee apart), ``per_diem`` (what each later day adds), ``remaining_payments`` and ``saved`` (what the
    payments left would have cost more than the payoff; not discounted). `by_schedule` leaves the lender's letter aside.
    """
    loan = debt.old
    assert isinstance(loan, Loan)
    signed = loan_schedule(draft, debt)
    if by_schedule and loan.letter:
        signed = draft[f"loan {debt.name}"]
    schedule, opening = schedule_after(draft, debt, signed, day, letter=not by_schedule)
    out = draft.working(f"payoff {key}", ONE, f"payoff of {debt.name} on {day}", "payoff")
    balance, since = balance_after(schedule, day, opening)
    letter = None if by_schedule or debt.releases and debt.releases[0][0].sold_on < day else loan.letter
    over = schedule.axis.ends[-1] <= day
    if letter is not None:
        since = since or letter.balance_on
        if day > letter.good_through and not over:
            draft.find(
                "letter_expired",
                f"{debt.name}: the lender's letter is good through {letter.good_through}; for {day} the payoff is "
                f"computed. Ask for a new letter.",
                letter.balance.path,
            )
    since = since or loan.balance_on or cal.add_months(loan.first_payment, -1)
    out.formula("balance", "balance_left", "USD", "principal still owed", balance_left=balance)
    if part is None:
        out.formula("principal", "balance", "USD", "principal paid")
    else:
        out.formula(
            "principal",
            "min(part, balance)",
            "USD",
            "principal the lender asks for to let this machine go",
            part=draft.input(part),
        )
    days = max(days_between(loan.day_count, since, day), 0)
    out.given("days", days, "day", f"days from {since} to {day}, {loan.day_count}", Origin("calendar", loan.day_count))
    _asked(draft, debt, loan, out, schedule, day, since, letter is not None and since == letter.balance_on, part)
    early_charge(draft, loan, out, day, schedule.axis.ends[-1])
    owed = "where(principal > 0, fee, 0)"
    out.formula(
        "document_fee", owed, "USD", "document fee", fee=draft.input(loan.document_fee) if loan.document_fee else 0.0
    )
    out.formula("wire_fee", owed, "USD", "fee for the wire", fee=draft.input(loan.wire_fee) if loan.wire_fee else 0.0)
    out.formula("payoff", "principal + interest + charge + document_fee + wire_fee", "USD", f"payoff on {day}")
    out.formula(
        "release",
        owed,
        "USD",
        "fee for releasing the lien",
        fee=draft.input(loan.release_fee) if loan.release_fee else 0.0,
    )
    _savings(draft, debt, loan, out, schedule, day, part)
    if letter is not None and letter.total is not None and day == letter.good_through and part is None:
        gap = out["payoff"].figure() - letter.total.likely
        if abs(gap) >= 0.005:
            draft.find(
                "letter_total",
                f"{debt.name}: the letter asks for {letter.total.likely:,.2f}, its parts give "
                f"{out['payoff'].figure():,.2f}.",
                letter.total.path,
                "warning",
            )
    return out


def balance_after(schedule: Working, day: Date, opening: Column) -> tuple[Column, Date | None]:
    """Return the balance after the payments made on or before `day`, and the day of the last of
    them (None: none yet).
    """
    made = bisect_right(schedule.axis.ends, day)
    if made == 0:
        return opening, None
    name = f"balance_after_{made}"
    if name not in schedule:
        schedule.formula(
            name,
            f"pick(balance, {made - 1})",
            "USD",
            f"balance after payment {made} on {schedule.axis.ends[made - 1]}",
            ONE,
        )
    return schedule[name], schedule.axis.ends[made - 1]


def _asked(
    draft: Draft,
    debt: Debt,
    loan: Loan,
    out: Working,
    schedule: Working,
    day: Date,
    since: Date,
    by_letter: bool,
    part: Amount | None,
) -> None:
    """Post ``interest``: what the contract asks above the principal, charge and fees apart; and ``per_diem``."""
    rate, year = draft.input(loan.rate), days_of_year(loan.day_count)
    if loan.day_count == "actual/actual":
        share = year_fraction(loan.day_count, since, day) if day > since else 0.0
        out.given("year_share", share, "year", f"time from {since} to {day}", Origin("calendar", loan.day_count))
    kind = "simple interest" if part is not None else loan.payoff
    if kind == "simple interest":
        if by_letter and loan.letter is not None and part is None:
            out.formula(
                "per_diem",
                "asked_a_day",
                "USD/day",
                "interest a day, by the letter",
                asked_a_day=draft.input(loan.letter.per_diem),
            )
            out.formula("interest", "cents(per_diem * days)", "USD", "interest to the day, at the letter's rate a day")
        else:
            out.formula("per_diem", f"principal * rate / {year}", "USD/day", "interest a day", rate=rate)
            lasts = "* year_share" if "year_share" in out else f"/ {year} * days"
            out.formula("interest", f"cents(principal * rate {lasts})", "USD", "interest to the day", rate=rate)
        return
    left = [1.0 if when > day else 0.0 for when in schedule.axis.ends]
    out.given("left", left, "1", f"payments after {day}", Origin("calendar", f"payments of {debt.name}"), schedule.axis)
    out.formula("payments_left", "weighted(paid, left)", "USD", "payments left, added up", paid=schedule["paid"])
    if kind == "remaining payments":
        out.formula("per_diem", "0", "USD/day", "nothing is added by the day")
        out.formula("interest", "payments_left - balance", "USD", "every payment left, above the principal")
    elif kind == "present value":
        back = draft.input(loan.payoff_rate) if loan.payoff_rate else rate
        made = bisect_right(schedule.axis.ends, day)
        ahead = [float(max(k + 1 - made, 0)) for k in range(len(schedule.axis))]
        out.given(
            "ahead",
            ahead,
            "month",
            "payments counted from the last one made",
            Origin("calendar", "payments"),
            schedule.axis,
        )
        out.formula(
            "factor",
            "left * (1 + back / 12) ** (0 - ahead)",
            "1",
            "brought back to the last payment",
            schedule.axis,
            back=back,
        )
        out.formula(
            "at_last_payment",
            "weighted(paid, factor)",
            "USD",
            "payments left, worth at the last payment made",
            paid=schedule["paid"],
        )
        out.formula("per_diem", f"at_last_payment * back / {year}", "USD/day", "interest a day at that rate", back=back)
        out.formula("asked", "cents(at_last_payment + per_diem * days)", "USD", "the same on the day")
        out.formula("interest", "asked - balance", "USD", "payments left at the contract's rate, less the principal")
    else:
        _sum_of_digits(draft, debt, loan, out, day)


def _sum_of_digits(draft: Draft, debt: Debt, loan: Loan, out: Working, day: Date) -> None:
    """Rule of 78: with u months left of n, u (u + 1) / (n (n + 1)) of the finance charge is given back.

    15 USC 1615 bars it for consumer credit over 61 months; business credit goes by its contract. A month begun counts
    as earned: common practice, no source.
    """
    whole = draft[f"loan {debt.name}"]
    n, made = loan.payments, bisect_right(whole.axis.ends, day)
    last = whole.axis.ends[made - 1] if made else (loan.balance_on or cal.add_months(loan.first_payment, -1))
    months = n - made - (1 if made < n and day > last else 0)
    out.given(
        "months_left", months, "month", f"whole months left after {day}", Origin("calendar", f"payments of {debt.name}")
    )
    out.formula(
        "finance_charge",
        "total(interest_part)",
        "USD",
        "all interest of the loan, as signed",
        interest_part=whole["interest"],
    )
    out.formula(
        "refund",
        f"cents(finance_charge * months_left * (months_left + 1) / {n * (n + 1)})",
        "USD",
        "given back by the rule of 78",
    )
    out.formula("per_diem", "0", "USD/day", "nothing is added by the day")
    out.formula(
        "interest", "payments_left - refund - balance", "USD", "payments left less the refund, above the principal"
    )
    if n > 61:
        draft.find(
            "sum_of_digits_barred_for_consumers",
            f"{debt.name}: 15 USC 1615(b) bars the rule of 78 for consumer credit over 61 months; a business loan "
            f"goes by its contract. Read it.",
            loan.principal.path,
        )
    if loan.balance_on is not None:
        draft.find(
            "sum_of_digits_from_balance",
            f"{debt.name}: the rule of 78 needs the loan from its first payment; counted from the balance on "
            f"{loan.balance_on}, the refund is too large.",
            loan.principal.path,
            "warning",
        )


def early_charge(draft: Draft, loan: Loan, out: Working, day: Date, ends: Date) -> Column:
    """Post ``charge``: what the contract asks for paying ``principal`` of ``balance`` on `day`, to the cent [currency].

    `ends` is the day of the loan's last payment. Columns ``principal`` and ``balance`` must stand in `out`.
    """
    early = draft.input(loan.early_payoff) if loan.early_payoff else 0.0
    parts = [
        out.formula(
            "charge_share", "cents(principal * early)", "USD", "charge for paying early, of the principal", early=early
        )
    ]
    terms = loan.early_charge
    if terms is not None and terms.only_from_years is not None and loan.payments < 12 * terms.only_from_years:
        terms = None
    if terms is not None:
        parts += _by_terms(draft, loan, terms, out, day, ends)
    if terms is not None and terms.free_share is not None:
        whole = sum_of(out, "charge_if_any", parts, "USD", "charge above what may be paid free")
        free = draft.input(terms.free_share)
        return out.formula(
            "charge",
            "where(principal > free * balance, charged, 0)",
            "USD",
            "charge for paying early",
            free=free,
            charged=whole,
        )
    return sum_of(out, "charge", parts, "USD", "charge for paying early")


def _by_terms(draft: Draft, loan: Loan, terms: EarlyCharge, out: Working, day: Date, ends: Date) -> list[Column]:
    year, parts = year_of_loan(loan, day), []
    if year <= len(terms.by_year):
        share = draft.input(terms.by_year[year - 1])
        parts.append(
            out.formula(
                "charge_by_year", "cents(principal * share)", "USD", f"charge of year {year} of the loan", share=share
            )
        )
    if terms.first_year is not None:
        over = terms.falls_over or loan.payments // 12
        out.given("year_of_loan", year, "year", f"year of the loan on {day}", Origin("calendar", "signed"))
        parts.append(
            out.formula(
                "charge_falling",
                f"cents(principal * max(first * (1 - (year_of_loan - 1) / {over}), 0))",
                "USD",
                f"charge that falls over {over} years",
                first=draft.input(terms.first_year),
            )
        )
    if terms.a_year_left is not None:
        months = max((ends.year - day.year) * 12 + ends.month - day.month + (ends.day > day.day), 0)
        out.given(
            "years_left",
            -(-months // 12),
            "year",
            "years left, a year begun counted in full",
            Origin("calendar", f"{day} to {ends}"),
        )
        share = draft.input(terms.a_year_left)
        parts.append(
            out.formula(
                "charge_a_year_left",
                "cents(principal * share * years_left)",
                "USD",
                "charge for each year left",
                share=share,
            )
        )
    if terms.months_of_interest is not None:
        parts.append(
            out.formula(
                "charge_in_interest",
                "cents(principal * share * rate / 12 * months)",
                "USD",
                "months of interest charged",
                share=draft.input(terms.of_share) if terms.of_share else 1.0,
                rate=draft.input(loan.rate),
                months=draft.input(terms.months_of_interest),
            )
        )
    return parts


def _savings(
    draft: Draft, debt: Debt, loan: Loan, out: Working, schedule: Working, day: Date, part: Amount | None
) -> None:
    if "left" not in out:
        left = [1.0 if when > day else 0.0 for when in schedule.axis.ends]
        out.given(
            "left", left, "1", f"payments after {day}", Origin("calendar", f"payments of {debt.name}"), schedule.axis
        )
    out.formula("remaining_payments", "weighted(paid, left)", "USD", "payments left, added up", paid=schedule["paid"])
    if part is not None:
        return
    out.formula(
        "saved", "remaining_payments - payoff", "USD", "what paying early saves, not discounted; the release fee apart"
    )
    if loan.payoff != "simple interest" and out["balance"].figure() > 0:
        saved, open_interest = out["saved"].figure(), out["remaining_payments"].figure() - out["balance"].figure()
        draft.find(
            "paying_early_saves",
            f"{debt.name}: paying off on {day} saves {saved:,.2f} of the {open_interest:,.2f} of interest still to "
            f"come: the contract asks for {ASKS[loan.payoff]}.",
            loan.principal.path,
            "warning" if saved < 0.5 * open_interest else "note",
        )


ASKS = {
    "remaining payments": "every payment that is left",
    "present value": "the payments left, brought back at the rate it states",
    "sum of digits": "the payments left less a refund by the rule of 78",
}
