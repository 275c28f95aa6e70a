"""The loop that a notebook user would write: one trial after the other, vectors over months, numpy-financial for the
loan.

What is fixed stands ready (:mod:`known`). The loan is not rounded to cents here, as numpy-financial does not round; the
yearly returns are plain Python numbers, which is quicker than numpy for eleven years.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
import numpy_financial as npf
from known import GROWTH, RANGES, UPKEEP, Course, Known

Books = dict[str, dict[str, np.ndarray]]  # book -> business, recapture, section 1231: (tax years,)
Payments = list[tuple[np.ndarray, np.ndarray, bool]]  # days, amounts, whether the shop pays them
Tax = Callable[[Known, Course, Books, Mapping[str, float]], Payments]


def trial(k: Known, x: Mapping[str, float], tax: Tax) -> dict[str, tuple[float, float, float]]:
    """Return present worth, margin over the cash floor and worst coverage of every course at one set of inputs."""
    discount = (1 + x["study.rate"]) ** -k.times
    return {course.name: _course(k, course, x, discount, tax) for course in k.courses}


def _course(k: Known, c: Course, x: Mapping[str, float], discount: np.ndarray, tax: Tax) -> tuple[float, float, float]:
    hours, upkeep = 0.0, 0.0
    for s in c.setups:
        good = s.staffed * x[RANGES[s.name]] * s.pace
        hours = hours + good * s.at_work - s.lost * (s.down * good + s.ramp)
        growth = x[GROWTH] if s.growth is None else s.growth
        upkeep = upkeep + x[UPKEEP[s.name]] * (1 + growth) ** s.age * s.held
    left, earned = np.maximum(hours, 0), 0.0
    for quantity, each, rate in c.demand:  # the staircase: best work first, up to what can be sold
        sold = np.minimum((x[quantity] if isinstance(quantity, str) else quantity) * each * c.years, left)
        left = left - sold
        earned = earned + sold * rate
    operating = earned - upkeep + c.operating
    monthly = c.spread @ operating

    cash, shop, service = c.cash.copy(), c.shop.copy(), c.service
    business = c.gather @ (earned - upkeep)
    years = len(business)
    books = {
        book: {"business": business + c.income[book], "recapture": np.zeros(years), "section 1231": np.zeros(years)}
        for book in k.books
    }

    def sell(day: int, amount: float, row: int, items: Mapping[str, list[tuple[float, float, float]]]) -> None:
        cash[day] += amount
        shop[day] += amount
        for book, listed in items.items():
            for part, basis, taken in listed:
                gain = amount * part - basis
                recapture = max(min(gain, taken), 0.0)
                books[book]["recapture"][row] += recapture
                books[book]["section 1231"][row] += gain - recapture

    if c.centre is not None:
        price, rate, loan = x["machines.centre.price"], x["financing.centre loan.rate"], c.centre
        cash[loan.paid_on] -= price
        shop[loan.paid_on] -= price
        payment = round(-float(npf.pmt(rate / 12, loan.payments, loan.amount)), 2)
        interest = -npf.ipmt(rate / 12, np.arange(1, loan.payments + 1), loan.payments, loan.amount)
        cash[loan.days] -= payment
        shop[loan.days] -= payment
        service = service + payment * loan.by_year.sum(axis=1)
        paid_interest = loan.by_year @ interest
        items = {}
        for book, table in loan.books.items():
            cost = price + loan.capital
            bonus = cost * table.bonus
            of_year = np.round((cost - bonus) * table.percent, 2)
            of_year[table.until] = cost - bonus - of_year[: table.until].sum()
            of_year = of_year + table.first_year * bonus
            books[book]["business"] -= paid_interest + of_year
            taken = of_year.sum()
            items[book] = [(1.0, cost - taken, taken)]
        sell(k.last_day, x[c.worth_at_end], c.row_end, items)
    elif c.worth_at_end is not None:
        sell(k.last_day, x[c.worth_at_end], c.row_end, c.mill)
    if c.sold_early:
        price = x["offers.dealer.price"]
        received = price - round(price * c.commission, 2)
        sell(c.sold_on, received, c.row_sold, c.mill)
        late = max(received - c.payoff, 0.0)  # the lender is paid on the day, the owner later
        for purse in (cash, shop):
            purse[c.sold_on] -= late
            purse[c.paid_on] += late

    for days, amounts, of_shop in tax(k, c, books, x):
        cash[days] -= amounts
        if of_shop:
            shop[days] -= amounts
    cash[k.month_ends] += monthly
    shop[k.month_ends] += monthly
    level = k.opening + np.cumsum(shop)[k.month_ends]
    available = k.by_year @ monthly
    owed = k.full & (service > 0.005)
    worst = float((available[owed] / service[owed]).min()) if owed.any() else 99.0
    return float(cash @ discount), float(level[: k.inside].min()) - k.floor, min(worst, 99.0)


def simple_tax(k: Known, c: Course, books: Books, x: Mapping[str, float]) -> Payments:
    """One rate, losses carried forward, paid at the year's end."""
    book, carried, tax = books["federal"], 0.0, []
    for income in (book["business"] + book["recapture"] + book["section 1231"]).tolist():
        tax.append(k.law.rate * max(income - carried, 0.0))
        carried = max(carried - income, 0.0)
    return [(k.law.days, np.array(tax), True)]
