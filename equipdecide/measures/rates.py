"""Rates named in other ways, and doubt in few figures."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from equipdecide.measures.series import FloatOrArray, plain, rate_of, rows_of
from equipdecide.measures.worth import discount_factors


def effective_rate(nominal: float, per_year: int) -> float:
    """Return the yearly rate that compounds to the same as `nominal` / `per_year` in each of `per_year` periods.

    >>> round(effective_rate(0.0975, 4), 4)
    0.1011
    """
    rate_of("effective_rate", nominal / per_year)
    return math.expm1(per_year * math.log1p(nominal / per_year))


def nominal_rate(effective: float, per_year: int) -> float:
    """Return the nominal yearly rate, compounded `per_year` times, of an effective one. Inverse of `effective_rate`.

    >>> round(nominal_rate(0.135, 12), 4)
    0.1273
    """
    rate_of("nominal_rate", effective)
    return per_year * math.expm1(math.log1p(effective) / per_year)


def real_rate(market: float, inflation: float) -> float:
    """Return the rate in constant dollars: ``(1 + market) / (1 + inflation) - 1`` [1/year].

    >>> round(real_rate(0.09, 0.05), 3)
    0.038
    """
    rate_of("real_rate", [market, inflation])
    return (market - inflation) / (1.0 + inflation)


def market_rate(real: float, inflation: float) -> float:
    """Return the rate in actual dollars: ``(1 + real) (1 + inflation) - 1`` [1/year].

    >>> round(market_rate(0.07, 0.04), 4)
    0.1128
    """
    rate_of("market_rate", [real, inflation])
    return real + inflation + real * inflation


def present_worth_deviation(deviations: ArrayLike, t: ArrayLike, rate: float, together: bool = False) -> float:
    """Return the standard deviation [USD] of present worth from those of the flows.

    deviations : (periods,) [USD]. together : False, flows vary independently; True, they move together fully.
    Formula: ``sqrt(sum((s v)**2))`` or ``sum(s v)``, v the discount factors. Source: Hillier 1963 (from memory).

    >>> round(present_worth_deviation([0, 3, 4], [0, 1, 2], 0.0), 9)
    5.0
    """
    s, times = rows_of("present_worth_deviation", deviations, t)
    if s.ndim != 1 or (s < 0).any():
        raise ValueError("present_worth_deviation: give one deviation, zero or above, for each period.")
    parts = s * discount_factors(times, rate)
    return float(parts.sum() if together else math.sqrt(float(parts @ parts)))


def three_point_mean(low: ArrayLike, likely: ArrayLike, high: ArrayLike, weight: float = 1.0) -> FloatOrArray:
    """Return the mean of a three-point estimate: ``(low + weight likely + high) / (weight + 2)``.

    weight 1 is the triangular distribution, 4 the one used in project planning (PERT).

    >>> round(three_point_mean(25, 35, 50), 1), round(three_point_mean(25, 35, 50, weight=4), 1)
    (36.7, 35.8)
    """
    a, m, b = (np.asarray(x, dtype=float) for x in (low, likely, high))
    if not ((a <= m) & (m <= b)).all():
        raise ValueError("three_point_mean: low, likely and high must be in that order.")
    return plain(np.asarray((a + weight * m + b) / (weight + 2.0)))
