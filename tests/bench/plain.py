"""The same lines by hand in plain numpy: every figure an array (rows, trials), in chunks of trials.

What is fixed stands ready (:mod:`known`). Loans are to the cent, row by row, as the package has them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
from known import GROWTH, RANGES, UPKEEP, Course, Known

Trials = Mapping[str, np.ndarray]
Books = dict[str, dict[str, np.ndarray]]  # book -> business, recapture, section 1231: (tax years, trials)
Payments = list[tuple[np.ndarray, np.ndarray, bool]]  # days, amounts (rows, trials), whether the shop pays them
Tax = Callable[[Known, Course, Books, Trials], Payments]


def run(k: Known, x: Trials, tax: Tax, chunk: int) -> dict[str, np.ndarray]:
    """Return present worth, margin over the cash floor and worst coverage of every course: (3, trials)."""
    trials = len(next(iter(x.values())))
    out = {c.name: np.empty((3, trials)) for c in k.courses}
    for start in range(0, trials, chunk):
        part = slice(start, start + chunk)
        here = {path: vector[part] for path, vector in x.items()}
        discount = np.exp(-k.times[:, None] * np.log(1 + here["study.rate"]))
        for c in k.courses:
            out[c.name][:, part] = _course(k, c, here, discount, tax)
    return out


def _course(k: Known, c: Course, x: Trials, discount: np.ndarray, tax: Tax) -> tuple[np.ndarray, ...]:
    hours, upkeep = 0.0, 0.0
    for s in c.setups:
        good = s.staffed * s.pace * x[RANGES[s.name]]
        hours = hours + s.at_work[:, None] * good
        if s.lost.any():
            hours = hours - s.lost[:, None] * (s.down * good + s.ramp)
        if s.growth is None:
            upkeep = upkeep + x[UPKEEP[s.name]] * (1 + x[GROWTH]) ** s.age[:, None] * s.held[:, None]
        else:
            upkeep = upkeep + x[UPKEEP[s.name]] * ((1 + s.growth) ** s.age * s.held)[:, None]
    left, earned = np.maximum(hours, 0), 0.0
    for quantity, each, rate in c.demand:
        wanted = (x[quantity] if isinstance(quantity, str) else quantity) * (each * c.years)[:, None]
        sold = np.minimum(wanted, left)
        left = left - sold
        earned = earned + sold * rate
    net = earned - upkeep
    monthly = c.spread @ (net + c.operating[:, None])

    trials = discount.shape[1]
    cash = np.repeat(c.cash[:, None], trials, axis=1)  # by day
    shop = np.repeat(c.shop[:, None], trials, axis=1) if k.split else cash
    purses = (cash, shop) if k.split else (cash,)
    service = c.service[:, None]
    business = c.gather @ net
    books = {
        book: {
            "business": business + c.income[book][:, None],
            "recapture": np.zeros_like(business),
            "section 1231": np.zeros_like(business),
        }
        for book in k.books
    }

    def sell(day, amount, row, items):
        for purse in purses:
            purse[day] += amount
        for book, listed in items.items():
            for part, basis, taken in listed:
                gain = amount * part - basis
                recapture = np.maximum(np.minimum(gain, taken), 0.0)
                books[book]["recapture"][row] += recapture
                books[book]["section 1231"][row] += gain - recapture

    if c.centre is not None:
        price, loan = x["machines.centre.price"], c.centre
        paid, interest = _loan(loan.amount, x["financing.centre loan.rate"], loan.payments)
        for purse in purses:
            purse[loan.paid_on] -= price
            purse[loan.days] -= paid
        service = service + loan.by_year @ paid
        paid_interest = loan.by_year @ interest
        items = {}
        for book, table in loan.books.items():
            cost = price + loan.capital
            bonus = np.round(cost * table.bonus, 2)
            of_year = np.round((cost - bonus) * table.percent[:, None], 2)
            of_year[table.until] = cost - bonus - of_year[: table.until].sum(axis=0)
            of_year += table.first_year[:, None] * bonus
            books[book]["business"] -= paid_interest + of_year
            taken = of_year.sum(axis=0)
            items[book] = [(1.0, cost - taken, taken)]
        sell(k.last_day, x[c.worth_at_end], c.row_end, items)
    elif c.worth_at_end is not None:
        sell(k.last_day, x[c.worth_at_end], c.row_end, c.mill)
    if c.sold_early:
        price = x["offers.dealer.price"]
        received = price - np.round(price * c.commission, 2)
        sell(c.sold_on, received, c.row_sold, c.mill)
        late = np.maximum(received - c.payoff, 0.0)
        for purse in purses:
            purse[c.sold_on] -= late
            purse[c.paid_on] += late

    for days, amounts, of_shop in tax(k, c, books, x):
        cash[days] -= amounts
        if of_shop and k.split:
            shop[days] -= amounts
    for purse in purses:
        purse[k.month_ends] += monthly
    level = np.full(trials, k.opening)
    lowest = np.full(trials, np.inf)
    day = 0
    for end in k.month_ends[: k.inside]:  # row by row: quicker than a running sum down the rows of many trials
        for row in range(day, end + 1):
            level = level + shop[row]
        day = end + 1
        np.minimum(lowest, level, out=lowest)
    available = k.by_year @ monthly
    owed = k.full[:, None] & (service > 0.005)
    coverage = np.where(owed, available / np.maximum(service, 0.005), 99.0).min(axis=0)
    return np.einsum("ij,ij->j", cash, discount), lowest - k.floor, np.minimum(coverage, 99.0)


def _loan(amount: float, rate: np.ndarray, payments: int) -> tuple[np.ndarray, np.ndarray]:
    """Return what is paid and the interest in it, to the cent: (payments, trials)."""
    monthly = rate / 12
    payment = np.round(amount * monthly / (1 - (1 + monthly) ** -payments), 2)
    interest, paid = np.empty((payments, len(rate))), np.empty((payments, len(rate)))
    balance = np.full(len(rate), amount)
    for row in range(payments):
        interest[row] = np.round(balance * monthly, 2)
        paid[row] = payment if row < payments - 1 else balance + interest[row]
        balance = balance + interest[row] - paid[row]
    return paid, interest


def simple_tax(k: Known, c: Course, books: Books, x: Trials) -> Payments:
    """One rate, losses carried forward, paid at the year's end."""
    book = books["federal"]
    income = book["business"] + book["recapture"] + book["section 1231"]
    tax, carried = np.empty_like(income), 0.0
    for year, of_year in enumerate(income):
        net = of_year - carried
        tax[year] = k.law.rate * np.maximum(net, 0.0)
        carried = np.maximum(-net, 0.0)
    return [(k.law.days, tax, True)]
