"""Offers of money for a purchase: loans of four kinds and leases of three, each as a schedule to the cent.

A level, stepped, deferred or balloon loan has its rate; a lease has its payments, and its rate is solved. A lease with
a nominal price at the end is a purchase on credit: the interest in its payments is deducted and the machine
depreciated. Otherwise its payments are rent, and the part the lessor pays for is not the shop's to depreciate or to
sell. Every schedule carries the yearly rate by Appendix J with its proof.

Whether a lease is one for tax turns on its wording: have it read by an accountant before it is signed.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence

from equipdecide import calendar as cal
from equipdecide.calendar import ONE, Axis, Date
from equipdecide.ledger import Column, Draft, Origin, Working, sum_of
from equipdecide.money.apr import months_of, per_year, post_rate
from equipdecide.money.loan import loan_schedule, post_payments, schedule, schedule_after
from equipdecide.plan import LEASES, Debt, Plan, is_lease_for_tax, last_day
from equipdecide.scenario.models import Financing


def offer_schedule(draft: Draft, name: str, offer: Financing, drawn_on: Date, amount: Column) -> Working:
    """Post the schedule of an offer whose money comes on `drawn_on`, as working ``loan <name>``.

    Columns over the payments [currency]: ``paid, interest, balance``; single: ``received`` (amount less fee),
    ``total_paid`` (an option price that is paid included), ``yearly_rate``. A lease has one row more, its end.
    """
    if offer.kind in LEASES:
        w = _lease(draft, name, offer, drawn_on, amount)
    elif offer.kind == "loan" and offer.every_months == 1 and not offer.in_advance:
        assert offer.rate is not None  # the checks of a scenario see to it
        payment = draft.input(offer.payment) if offer.payment else None
        w = schedule(
            draft, f"loan {name}", cal.add_months(drawn_on, 1), offer.payments, amount, draft.input(offer.rate), payment
        )
    else:
        w = _loan(draft, name, offer, drawn_on, amount)
    w.formula(
        "received",
        "amount - fee",
        "USD",
        "money received, less the fee",
        ONE,
        amount=amount,
        fee=draft.input(offer.fee) if offer.fee else 0.0,
    )
    w.formula("total_paid", "total(paid)", "USD", "all payments", ONE)
    times = months_of(w.axis, drawn_on, offer.every_months)
    post_rate(
        w, w["received"], w["counted"] if "counted" in w else w["paid"], times, per_year("month", offer.every_months)
    )
    return w


def _axis(offer: Financing, drawn_on: Date, end_row: bool) -> Axis:
    rows = offer.deferred + offer.payments
    shift = 0 if offer.in_advance else 1
    days = [cal.add_months(drawn_on, (k + shift) * offer.every_months) for k in range(rows)]
    labels = [str(k + 1) for k in range(rows)]
    if end_row:
        days.append(last_day(offer, drawn_on))
        labels.append("end")
    return cal.on_days("payment", labels, days)


def _loan(draft: Draft, name: str, offer: Financing, drawn_on: Date, amount: Column) -> Working:
    assert offer.rate is not None
    axis = _axis(offer, drawn_on, False)
    rows = len(axis)
    w = draft.working(f"loan {name}", axis, f"payments of {name}", "loan schedule")
    rate = draft.input(offer.rate)
    shift = 0 if offer.in_advance else 1
    choice = Origin("choice", f"terms of {name}")
    w.given(
        "ahead", [k + shift for k in range(rows)], "1", "payment periods from the money to the payment", choice, axis
    )
    w.given(
        "lasts", [min(k + shift, 1) for k in range(rows)], "1", "payment periods since the payment before", choice, axis
    )
    w.given("is_last", [0.0] * (rows - 1) + [1.0], "1", "the last payment takes what is left", choice, axis)
    w.formula("a_period", f"rate * {offer.every_months} / 12", "1", "rate of a payment period", ONE, rate=rate)
    w.formula("factor", "(1 + a_period) ** (0 - ahead)", "1", "worth, when the money comes, of one paid then")
    start, stepped = offer.deferred, []
    for k, step in enumerate(offer.steps):
        flags = [1.0 if start <= row < start + step.payments else 0.0 for row in range(rows)]
        w.given(f"step_{k + 1}", flags, "1", f"payments {start + 1} to {start + step.payments}", choice, axis)
        stepped.append(
            w.formula(
                f"stepped_{k + 1}",
                f"step_{k + 1} * each",
                "USD",
                f"payments of step {k + 1}",
                each=draft.input(step.payment),
            )
        )
        start += step.payments
    sum_of(w, "stepped", stepped, "USD", "payments of the steps")
    w.given("is_level", [1.0 if row >= start else 0.0 for row in range(rows)], "1", "a level payment", choice, axis)
    w.formula(
        "balloon",
        "is_last * due",
        "USD",
        "due with the last payment",
        due=draft.input(offer.balloon) if offer.balloon else 0.0,
    )
    if offer.payment is not None:
        w.formula("level_payment", "each", "USD", "payment as offered", ONE, each=draft.input(offer.payment))
    elif start >= rows:
        w.formula("level_payment", "0", "USD", "no level payment", ONE)
    else:
        w.formula(
            "level_payment",
            "cents((amount - weighted(stepped, factor) - weighted(balloon, factor)) / weighted(is_level, factor))",
            "USD",
            "level payment that ends the loan, to the cent",
            ONE,
            amount=amount,
        )
    w.formula("due", "stepped + is_level * level_payment + balloon", "USD", "payment due, but for the last cents")
    w.formula(
        "balance",
        "where(is_last, 0, max(prev(balance, amount) + cents(prev(balance, amount) * a_period * lasts) - due, 0))",
        "USD",
        "principal owed after the payment",
        amount=amount,
    )
    w.formula(
        "interest",
        "cents(prev(balance, amount) * a_period * lasts)",
        "USD",
        "interest on the balance before",
        amount=amount,
    )
    w.formula("paid", "prev(balance, amount) + interest - balance", "USD", "what is paid", amount=amount)
    return w


def _lease(draft: Draft, name: str, offer: Financing, drawn_on: Date, amount: Column) -> Working:
    assert offer.payment is not None  # the checks of a scenario see to it
    axis = _axis(offer, drawn_on, True)
    rows = len(axis)
    rent = is_lease_for_tax(offer)
    w = draft.working(f"loan {name}", axis, f"payments of {name}", "lease schedule")
    choice = Origin("choice", f"terms of {name}")
    w.given("is_last", [0.0] * (rows - 1) + [1.0], "1", "the end of the lease", choice, axis)
    w.given("is_payment", [1.0] * (rows - 1) + [0.0], "1", "a lease payment", choice, axis)
    if rent:
        price: Column | float = 0.0
    elif offer.option_price is not None:
        price = draft.input(offer.option_price)
    else:
        price = 1.0 if offer.kind == "one-dollar buyout" else 0.0
    w.formula(
        "option_price", "price", "USD", "price of the machine at the end, where it is sure to be paid", ONE, price=price
    )
    w.formula(
        "paid", "is_payment * each + is_last * option_price", "USD", "what is paid", each=draft.input(offer.payment)
    )
    end_value = offer.end_value or offer.option_price
    if rent and end_value is not None:
        w.formula(
            "counted",
            "paid + is_last * end_value",
            "USD",
            "payments, and the machine that goes back",
            end_value=draft.input(end_value),
        )
    shift = 0 if offer.in_advance else 1
    ahead = [float(k + shift) for k in range(rows - 1)] + [float(rows - 1)]
    if rent:
        w.formula("balance", "total(paid) - running(paid)", "USD", "payments left, added up")
        return w
    post_rate(w, amount, w["paid"], [(t, 0.0) for t in ahead], per_year("month", offer.every_months), "implied")
    w.given(
        "lasts",
        [min(ahead[0], 1.0)] + [b - a for a, b in zip(ahead, ahead[1:], strict=False)],
        "1",
        "payment periods since the payment before",
        choice,
        axis,
    )
    grown = "cents(prev(balance, amount) * implied_of_period * lasts)"
    w.formula(
        "balance",
        f"where(is_last, 0, prev(balance, amount) + {grown} - paid)",
        "USD",
        "principal owed after the payment",
        amount=amount,
    )
    w.formula(
        "interest",
        f"where(is_last, paid - prev(balance, amount), {grown})",
        "USD",
        "interest in the payment",
        amount=amount,
    )
    return w


def borrow(draft: Draft, plan: Plan, debt: Debt) -> None:
    """Post the money of an offer, its payments until it ends or is paid off, and what of them is deducted."""
    offer = plan.scenario.financing[debt.financing or ""]
    amount = amount_lent(draft, plan, debt)
    w = offer_schedule(draft, debt.name, offer, debt.drawn_on, amount)
    drawn = draft.working(f"drawn {debt.name}", cal.dated(debt.drawn_on), f"money of {debt.name}", "debt service")
    fee = draft.input(offer.fee) if offer.fee else 0.0
    early = _progress(draft, plan, debt, offer)
    before: Column | float = early["sum"] if early is not None else 0.0
    money = drawn.formula(
        "drawn",
        "amount - fee - before",
        "USD",
        f"{debt.name} paid out, less its fee",
        amount=amount,
        fee=fee,
        before=before,
    )
    draft.line(f"{debt.name} paid out", "shop", money, "borrowing", [debt.drawn_on])
    if offer.fee:
        says = "fee, deducted at once (a simplification: it is spread over the term)"
        draft.taxed(f"fee of {debt.name}", drawn.formula("fee", "charged", "USD", says, charged=fee), -1)
    rent = is_lease_for_tax(offer)
    after = cal.add_days(debt.drawn_on, -1) if offer.in_advance else debt.drawn_on
    post_payments(draft, plan, debt, w, after, debt.ends_on, rent)
    if w.axis.ends[-1] > debt.ends_on:
        _paid_off(draft, plan, debt, offer, w, amount)
    if offer.kind in LEASES:
        _lease_findings(draft, plan, debt, offer)
    if rent and debt.sale is not None and debt.sale.returned_to == debt.name and offer.return_costs:
        back = draft.working(
            f"return of {debt.name}",
            cal.dated(debt.ends_on),
            f"what sending the machine of {debt.name} back costs",
            "debt service",
        )
        parts = [
            back.formula(f"cost: {what}", "amount", "USD", what, amount=draft.input(cost))
            for what, cost in offer.return_costs.items()
        ]
        spent = sum_of(back, "costs", parts, "USD", "costs of the return")
        draft.line(
            f"return of {debt.name}",
            "shop",
            back.formula("paid", "0 - costs", "USD", "the same, as cash"),
            "debt service",
            [debt.ends_on],
        )
        draft.taxed(f"return of {debt.name}", spent, -1)


def amount_lent(draft: Draft, plan: Plan, debt: Debt) -> Column:
    """Return the amount lent: as offered, and what sales rolled into it did not cover, counted once [currency]."""
    offer = plan.scenario.financing[debt.financing or ""]
    if f"amount of {debt.name}" in draft:
        return draft[f"amount of {debt.name}"]["amount"]
    entered = draft.input(offer.amount)
    rolled = [
        sale for sale in plan.sales if sale.rolled_into == debt.financing and f"settlement {sale.machine}" in draft
    ]
    if not rolled:
        return entered
    w = draft.working(f"amount of {debt.name}", ONE, f"what {debt.name} must be", "debt service")
    w.formula("asked", "entered", "USD", "for the purchase", entered=entered)
    parts = [draft[f"settlement {sale.machine}"]["rolled"] for sale in rolled]
    sum_of(w, "rolled", parts, "USD", "what the old machine does not cover of its loan, rolled in")
    total = w.formula("amount", "asked + rolled", "USD", "amount borrowed")
    if w["rolled"].figure() > 0:
        draft.find(
            "shortfall_rolled",
            f"{debt.name}: {w['rolled'].figure():,.2f} that {', '.join(sale.machine for sale in rolled)} did not "
            f"bring is added: {total.figure():,.2f} in all. "
            "It is counted once: the price of the old machine has gone to its lender and lowers nothing else.",
            offer.amount.path,
            "warning",
        )
        if any(sale.sold_on < debt.drawn_on for sale in rolled):
            draft.find(
                "rolled_later",
                f"{debt.name} comes on {debt.drawn_on}, after the old lender is paid: until then the shortfall is brought in cash.",
                offer.amount.path,
            )
    return total


def _progress(draft: Draft, plan: Plan, debt: Debt, offer: Financing) -> Working | None:
    """Post what the lender pays of the builder's instalments before the loan begins, and the interest until then."""
    if offer.progress_payments is None or offer.rate is None:
        return None
    purchase = next(p for p in plan.purchases if debt.financing in p.step.pay)
    early = [(k, day) for k, (day, _, _) in enumerate(purchase.payments) if day < debt.drawn_on]
    if not early:
        return None
    days = tuple(day for _, day in early)
    axis = cal.on_days("payment", [purchase.payments[k][1] for k, _ in early], days)
    w = draft.working(
        f"progress payments of {debt.name}",
        axis,
        f"instalments that {offer.lender} pays before {debt.drawn_on}",
        "debt service",
    )
    w.given(
        "share_of_price",
        [purchase.payments[k][2] for k, _ in early],
        "1",
        "share of the price",
        Origin("choice", f"terms of {purchase.name}"),
        axis,
    )
    w.given(
        "days",
        [(debt.drawn_on - day).days for day in days],
        "day",
        f"days until {debt.drawn_on}",
        Origin("calendar", "terms"),
        axis,
    )
    w.formula(
        "lent",
        "share_of_price * price * share",
        "USD",
        "paid by the lender",
        price=draft[f"purchase {purchase.name}"]["price"],
        share=draft.input(offer.progress_payments),
    )
    w.formula(
        "interest_parts",
        "cents(lent * rate / 365 * days)",
        "USD",
        "interest until the loan begins",
        rate=draft.input(offer.rate),
    )
    w.formula("sum", "total(lent)", "USD", "paid by the lender before the loan begins", ONE)
    draft.line(f"{debt.name} paid to the builder", "shop", w["lent"], "borrowing", list(days))
    start = draft.working(
        f"interest before {debt.name}", cal.dated(debt.drawn_on), f"interest until {debt.name} begins", "debt service"
    )
    whole = start.formula(
        "interest", "total(parts)", "USD", "interest until the loan begins", parts=w["interest_parts"]
    )
    draft.line(
        f"interest before {debt.name}",
        "shop",
        start.formula("paid", "0 - interest", "USD", "the same, as cash"),
        "debt service",
        [debt.drawn_on],
    )
    draft.taxed(f"interest before {debt.name}", whole, -1)
    return w


def _paid_off(draft: Draft, plan: Plan, debt: Debt, offer: Financing, w: Working, amount: Column) -> None:
    """Post what ends an offer early: a loan's balance and interest to the day; every payment left of a lease."""
    made = bisect_right(w.axis.ends, debt.ends_on)
    end = draft.working(
        f"balance paid {debt.name}", cal.dated(debt.ends_on), f"what is left of {debt.name}", "debt service"
    )
    if offer.kind in LEASES:
        left = [1.0 if day > debt.ends_on else 0.0 for day in w.axis.ends]
        end.given("left", left, "1", f"payments after {debt.ends_on}", Origin("calendar", debt.name), w.axis)
        whole = end.formula(
            "payments_left", "weighted(paid_then, left)", "USD", "payments left, all due", paid_then=w["paid"]
        )
        interest = (
            whole
            if is_lease_for_tax(offer)
            else end.formula(
                "interest", "weighted(interest_then, left)", "USD", "interest in them", interest_then=w["interest"]
            )
        )
        out = end.formula("paid", "0 - payments_left", "USD", f"payments left of {debt.name}")
        draft.find(
            "lease_outlives_study",
            f"{debt.name} runs until {w.axis.ends[-1]}, past {debt.ends_on}: every payment left is counted there, without discount.",
            offer.amount.path,
        )
    else:
        balance, since = amount, debt.drawn_on
        if made:
            balance = w.formula(
                "balance_at_the_end", f"pick(balance, {made - 1})", "USD", f"balance after payment {made}", ONE
            )
            since = w.axis.ends[made - 1]
        days = (debt.ends_on - since).days if not plan.time.yearly else 0
        assert offer.rate is not None
        interest = end.formula(
            "interest",
            f"cents(balance * rate / 365 * {days})",
            "USD",
            "interest since the last payment",
            balance=balance,
            rate=draft.input(offer.rate),
        )
        out = end.formula(
            "paid",
            "0 - balance - interest",
            "USD",
            f"balance of {debt.name} paid off after {made} payments",
            balance=balance,
        )
    draft.line(f"{debt.name} paid off", "shop", out, "payoff", [debt.ends_on])
    draft.taxed(f"last interest on {debt.name}", interest, -1)


def _lease_findings(draft: Draft, plan: Plan, debt: Debt, offer: Financing) -> None:
    ends = last_day(offer, debt.drawn_on)
    if is_lease_for_tax(offer):
        sale = debt.sale
        if sale is not None and not sale.at_end and sale.sold_on <= ends:
            draft.find(
                "leased_machine_sold",
                f"{sale.machine} is the lessor's until {ends} and is sold on {sale.sold_on}: every payment left is "
                f"counted then, the price of buying it from the lessor is not. "
                "Ask for it before you sell.",
                offer.amount.path,
                "warning",
            )
        draft.find(
            "lease_is_rent",
            f"{debt.name}: its payments are rent for tax; the machine is the lessor's, so there is nothing to "
            f"depreciate or to sell. Ask an accountant to read it.",
            offer.amount.path,
        )
        back = debt.sale is not None and debt.sale.returned_to == debt.name
        if back and debt.sale is not None and debt.sale.sold_on < plan.time.end:
            draft.find(
                "machine_goes_back",
                f"{debt.sale.machine} goes back on {debt.ends_on}, before the study ends: from then on its work is not done.",
                offer.amount.path,
                "warning",
            )
        if offer.notice:
            most, least = max(offer.notice), min(offer.notice)
            draft.find(
                "lease_notice",
                f"{debt.name} ends on {ends}: give notice in writing between {cal.add_days(ends, -most)} and "
                f"{cal.add_days(ends, -least)}. A lease that nobody ends in time goes on.",
                offer.amount.path,
                "warning",
            )
    else:
        what = (
            "a price of one dollar"
            if offer.kind == "one-dollar buyout" and offer.option_price is None
            else "a nominal price at its end"
        )
        draft.find(
            "lease_is_purchase",
            f"{debt.name}: {what} makes it a purchase on credit for tax (and a security interest, UCC 1-203(b)(4)): "
            f"the machine is depreciated, the interest in the payments deducted. "
            "Ask an accountant to read it.",
            offer.amount.path,
        )


def owed_on(draft: Draft, plan: Plan, w: Working, debt: Debt, k: int, days: Sequence[Date]) -> Column:
    """Post what is owed on a debt at the end of each of `days`, the rows of `w`; `k` tells debts of
    one working apart.
    """
    if debt.old is not None:
        loan, amount = schedule_after(draft, debt, loan_schedule(draft, debt), debt.ends_on)
    else:
        loan, amount = draft[f"loan {debt.name}"], amount_lent(draft, plan, debt)
    is_open = [1.0 if debt.drawn_on <= day < debt.ends_on else 0.0 for day in days]
    begun = [1.0 if loan.axis.ends[0] <= day else 0.0 for day in days]
    w.given(f"open_{k}", is_open, "1", f"{debt.name} is owed", Origin("choice", f"steps of {plan.name}"), w.axis)
    w.given(f"begun_{k}", begun, "1", "a payment was made", Origin("calendar", debt.name), w.axis)
    return w.formula(
        f"owed on {debt.name}",
        "is_open * where(begun, closing(balance), amount)",
        "USD",
        f"owed on {debt.name}",
        is_open=w[f"open_{k}"],
        begun=w[f"begun_{k}"],
        balance=loan["balance"],
        amount=amount,
    )


def lent_before(draft: Draft, w: Working, debt: Debt, k: int, days: Sequence[Date]) -> Column | None:
    """Post what a lender has paid to the builder before its loan begins, at the end of each of
    `days`; None: nothing.
    """
    name = f"progress payments of {debt.name}"
    if name not in draft:
        return None
    lent = draft[name]
    parts = []
    for row, paid_on in enumerate(lent.axis.ends):
        w.given(
            f"lent_{k}_{row}",
            [1.0 if paid_on <= day < debt.drawn_on else 0.0 for day in days],
            "1",
            f"lent to the builder from {paid_on} until the loan begins",
            Origin("calendar", debt.name),
            w.axis,
        )
        parts.append(
            w.formula(
                f"lent {row + 1} before {debt.name}",
                f"is_lent * pick(lent, {row})",
                "USD",
                f"paid to the builder on {paid_on}",
                is_lent=w[f"lent_{k}_{row}"],
                lent=lent["lent"],
            )
        )
    return sum_of(
        w, f"lent before {debt.name}", parts, "USD", f"lent before {debt.name} begins, with nothing on the floor"
    )
