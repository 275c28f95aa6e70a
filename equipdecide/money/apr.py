"""The yearly rate of an offer of money, by the actuarial method of Regulation Z, Appendix J.

Time is counted in unit-periods back from each payment to the first advance: full months (weeks, years) first, the days
left over as a fraction of a unit-period of 30 days to the month. A fraction f earns simple interest, so one unit paid
after t unit-periods and a fraction f is worth ``1 / ((1 + f i) (1 + i) ** t)``. The yearly rate is the rate i of one
unit-period times the unit-periods in a year. Source: 12 CFR 1026, Appendix J, (b)(5) and (b)(8).

The law asks it of consumer credit only; here it is the one yardstick for business offers of every kind.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Literal

import numpy as np

from equipdecide import calendar as cal
from equipdecide.calendar import ONE, Axis, Date, FloatArray
from equipdecide.ledger import Column, Draft, Origin, Shared, Working

Unit = Literal["month", "semimonth", "week", "year"]
PER_YEAR = {"month": 12, "semimonth": 24, "week": 52, "year": 1}
LOWEST, HIGHEST = -0.5, 10.0  # rates of one unit-period that are looked for
STEPS = 200  # far more than are taken: worth falls and is convex in the rate, so Newton's steps come in from one side


@lru_cache(maxsize=4096)
def unit_periods(start: Date, day: Date, unit: Unit = "month", length: int = 1) -> tuple[int, float]:
    """Return the full unit-periods and the fraction from `start` to `day`; a unit-period is `length` units.

    Full months are counted back from the later day (Appendix J (b)(5)(i)-(v)); in a unit-period of several months a
    month left over counts 30 days. Where a month has no such day its last day stands for it (from memory).

    >>> unit_periods(Date(1978, 2, 10), Date(1978, 4, 1))
    (1, 0.6333333333333333)
    """
    if unit == "week":
        full, days = divmod((day - start).days, 7 * length)
        return full, days / (7 * length)
    months = (day.year - start.year) * 12 + day.month - start.month
    if cal.add_months(start, months) == day:
        days = 0
    else:
        while cal.add_months(day, -months) < start:
            months -= 1
        days = (cal.add_months(day, -months) - start).days
    if unit == "semimonth":
        half, days = divmod(days, 15)
        return 2 * months + half, days / 15
    if unit == "year":
        full, months = divmod(months, 12)
        return full, (months / 12 if not days else (cal.add_months(day, -12 * full) - start).days / 365)
    full, months = divmod(months, length)
    return full, (30 * months + days) / (30 * length)


def per_year(unit: Unit = "month", length: int = 1) -> float:
    """Return the unit-periods in a year."""
    return PER_YEAR[unit] / length


def _solve(received: FloatArray, paid: FloatArray, whole: FloatArray, odd: FloatArray) -> FloatArray:
    """Return the rate of a unit-period at which `paid` (rows, trials) is worth `received` (1, trials).

    Newton's steps from rate 0, halving the bracket where a step would leave it. 0 where no rate of the bracket does it.
    """
    width = max(received.shape[-1], paid.shape[-1])
    low, high = np.full((1, width), LOWEST), np.full((1, width), HIGHEST)
    rate = np.zeros((1, width))
    with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
        for _ in range(STEPS):
            each = paid / ((1 + odd * rate) * (1 + rate) ** whole)
            apart = each.sum(axis=0, keepdims=True) - received
            if (np.abs(apart) <= 1e-12 * np.abs(received)).all():
                break
            low, high = np.where(apart > 0, rate, low), np.where(apart > 0, high, rate)
            slope = (each * (whole / (1 + rate) + odd / (1 + odd * rate))).sum(axis=0, keepdims=True)
            step = rate + apart / slope
            rate = np.where((step > low) & (step < high), step, (low + high) / 2)
    beyond = (rate < LOWEST * (1 - 1e-9)) | (rate > HIGHEST * (1 - 1e-9)) | ~np.isfinite(rate)
    return np.where(beyond, 0.0, rate)


def post_rate(
    w: Working,
    received: Column,
    paid: Column,
    times: Sequence[tuple[float, float]],
    a_year: float,
    name: str = "yearly_rate",
) -> Column:
    """Post the yearly rate of `paid` (on the working's axis) for `received`, with its proof [1/year].

    `times` are full unit-periods and fraction of each payment, `a_year` the unit-periods in a year. The proof: at the
    solved rate the payments are worth exactly what is received. Where an input has moved so far that no rate between
    -50 % and 1,000 % a unit-period does it, ``<name>_exists`` is 0, the rate is 0, and the proof asks for none.
    """
    axis = w.axis
    whole = w.given(
        f"{name}_periods",
        [t for t, _ in times],
        "1",
        "full unit-periods from the money to the payment",
        Origin("calendar", "Appendix J"),
        axis,
    )
    odd = w.given(
        f"{name}_fraction",
        [f for _, f in times],
        "1",
        "fraction of a unit-period left over",
        Origin("calendar", "Appendix J"),
        axis,
    )
    for end, at in (("lowest", LOWEST), ("highest", HIGHEST)):
        text = f"exp(0 - {name}_periods * log({1 + at})) / (1 {'+' if at > 0 else '-'} {abs(at)} * {name}_fraction)"
        w.formula(f"{name}_{end}", text, "1", f"worth of one paid then, at {at:.0%} a unit-period", axis)
    w.formula(
        f"{name}_exists",
        f"where(weighted(rate_paid, {name}_highest) < received, where(received < weighted(rate_paid, {name}_lowest), 1, 0), 0)",
        "1",
        f"there is a rate between {LOWEST:.0%} and {HIGHEST:.0%} a unit-period; where there is none, 0 stands for it",
        ONE,
        received=received,
        rate_paid=paid,
    )
    w.computed(
        f"{name}_of_period",
        _solve,
        [received, paid, whole, odd],
        "1",
        "rate of one unit-period at which the payments are worth what is received",
        f"{name}_exists * (weighted(rate_paid, {name}_worth) - received)",
        ONE,
        through=(
            (
                f"{name}_worth",
                f"1 / ((1 + {name}_fraction * {name}_of_period) * (1 + {name}_of_period) ** {name}_periods)",
                "1",
                "worth of one paid then",
                axis,
            ),
        ),
        rate_paid=paid,
        received=received,
    )
    return w.formula(name, f"{name}_of_period * {a_year!r}", "1/year", "yearly rate by the actuarial method", ONE)


def yearly_rate(received: float, payments: Sequence[tuple[float, int, float]], a_year: float = 12.0) -> float:
    """Return the yearly rate of payments (amount [currency], full unit-periods, fraction) for an amount received.

    >>> round(yearly_rate(5000.0, [(230.0, k, 0.0) for k in range(1, 25)]), 4)
    0.0969
    """
    draft = Draft("rate", Shared({}))
    axis = cal.listed("payment", [str(k + 1) for k in range(len(payments))])
    w = draft.working("offer", axis, "an offer of money", "financing")
    got = w.given("received", received, "USD", "received", Origin("choice", "offer"), ONE)
    paid = w.given("paid", [amount for amount, _, _ in payments], "USD", "paid", Origin("choice", "offer"), axis)
    return post_rate(w, got, paid, [(t, f) for _, t, f in payments], a_year).figure()


def months_of(axis: Axis, start: Date, every: int) -> list[tuple[int, float]]:
    """Return unit-periods and fraction of every day of an axis of payments, `every` months the unit-period."""
    return [unit_periods(start, day, "month", every) for day in axis.ends]
