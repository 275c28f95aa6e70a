"""Present worth and annual worth."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from equipdecide.measures.series import Array, FloatOrArray, plain, rate_of, rows_of


def discount_factors(t: ArrayLike, rate: ArrayLike) -> Array:
    """Return the present worth of one dollar at each time.

    t : (periods,) [years]. rate : scalar or (trials,) [1/year]. Returns (periods,) or (periods, trials).
    Formula: ``(1 + rate) ** -t``.

    >>> discount_factors([0, 1, 2], 0.25).round(12).tolist()
    [1.0, 0.8, 0.64]
    """
    r = rate_of("discount_factors", rate)
    times = np.asarray(t, dtype=float)
    return np.asarray(np.power(1.0 + r, -(times if r.ndim == 0 else times[:, None])), dtype=float)


def present_worth(flows: ArrayLike, t: ArrayLike, rate: ArrayLike) -> FloatOrArray:
    """Return the present worth [USD] of flows: each brought to time zero at `rate`, and added.

    flows : (periods,) or (periods, trials) [USD]. t : (periods,) [years]. rate : scalar or (trials,) [1/year].
    Returns a float for one series at one rate, else (trials,). Formula: ``sum(flows * (1 + rate) ** -t)``.
    Source: ASTM E917, present-value form (content from memory).

    >>> round(present_worth([-40, 10, 20, 30], [0, 1, 2, 3], 0.0875), 2)
    9.43
    """
    f, times = rows_of("present_worth", flows, t, look=False)
    factors = discount_factors(times, rate_of("present_worth", rate))
    if 1 not in (f.ndim, factors.ndim) and 1 not in (f.shape[1], factors.shape[1]) and f.shape[1] != factors.shape[1]:
        raise ValueError(
            f"present_worth: {f.shape[1]} trials of flows but {factors.shape[1]} rates; give one rate, or "
            "one for each trial."
        )
    with np.errstate(invalid="ignore"):
        if factors.ndim == 1:
            worth = factors @ f
        elif f.ndim == 1:
            worth = f @ factors
        else:
            worth = (f * factors).sum(axis=0)
    if not np.isfinite(worth).all():  # a flow that is not finite always shows here; many flows are read but once
        rows_of("present_worth", f, times)
    return plain(np.asarray(worth, dtype=float))


def capital_recovery_factor(rate: ArrayLike, years: ArrayLike) -> FloatOrArray:
    """Return the level end-of-year amount that repays one dollar in `years`, (A/P, rate, years) [1/year].

    Formula: ``rate / (1 - (1 + rate) ** -years)``; ``1 / years`` at rate zero.

    >>> capital_recovery_factor(0.0, 4)
    0.25
    """
    r = rate_of("annual worth", rate)
    n = np.asarray(years, dtype=float)
    if n.ndim > 1 or not (np.isfinite(n) & (n > 0)).all():
        raise ValueError("annual worth: the years must be above zero; give one number, or one for each trial.")
    return plain(recovery(r, n))


def recovery(r: Array, n: Array) -> Array:
    """Return the capital recovery factor of rates and years already checked; at a rate of zero 1 / years."""
    r, n = np.broadcast_arrays(r, n)
    # expm1 and log1p keep every digit when the rate is near zero
    spread = -np.expm1(-n * np.log1p(r))
    zero = r == 0.0
    return np.asarray(np.where(zero, 1.0 / n, r / np.where(zero, 1.0, spread)), dtype=float)


def annual_worth(pw: ArrayLike, rate: ArrayLike, years: ArrayLike) -> FloatOrArray:
    """Return the level end-of-year amount [USD/year] over `years` that has the present worth `pw`.

    pw : scalar or (trials,) [USD]. rate : scalar or (trials,) [1/year]. years : scalar [years].
    Formula: ``pw * rate / (1 - (1 + rate) ** -years)``; ``pw / years`` at rate zero. With costs as negative flows the
    equivalent uniform annual cost is minus the annual worth.

    >>> round(annual_worth(-140963.63, 0.10, 10), 2)
    -22941.18
    """
    return plain(np.asarray(np.asarray(pw, dtype=float) * capital_recovery_factor(rate, years), dtype=float))
