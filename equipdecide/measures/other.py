"""Payback, and the measures that other readers ask for."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from equipdecide.measures.series import FloatOrArray, plain, rate_of, rows_of
from equipdecide.measures.worth import discount_factors, present_worth


@dataclass(frozen=True)
class Payback:
    """Years until the outlay is recovered; None (nan in arrays) where it is not."""

    first: FloatOrArray | None  # [years] first time the balance reaches zero from below
    last: FloatOrArray | None  # [years] time from which the balance never falls below zero again


def payback(flows: ArrayLike, t: ArrayLike, rate: ArrayLike = 0.0) -> Payback:
    """Return the first and the last time at which the running balance of flows comes up to zero.

    flows : (periods,) or (periods, trials) [USD]. t : (periods,) [years], rising. rate : scalar or (trials,) [1/year];
    zero is simple payback, any other is discounted payback (each flow at its present worth).

    Between two times the balance is taken to move in a straight line, as if the flow of a period arrived evenly over
    it. `first` is the figure usually printed; a later outlay can put the balance under water again, and `last` is when
    it comes up for good (None when it ends below zero). A series whose balance is never below zero has both at its
    first time. Source: ASTM E1121 (scope); case of two crossings in the published tests.

    >>> payback([-180, -90, 0, 100, 100, 100, -90, 100, 100], range(9))
    Payback(first=4.7, last=6.6)
    >>> payback([-100, 30, 30], [0, 1, 2])
    Payback(first=None, last=None)
    """
    f, times = rows_of("payback", flows, t)
    if (np.diff(times) <= 0).any():
        raise ValueError("payback: t must rise from flow to flow; add flows of one time together first.")
    factors = discount_factors(times, rate_of("payback", rate))
    worth = (f[:, None] if f.ndim == 1 else f) * (factors[:, None] if factors.ndim == 1 else factors)
    balance = np.cumsum(worth, axis=0)
    # a balance that differs from zero by rounding only is zero: 3 x 0.1 paid back by 0.3 is paid back
    balance[np.abs(balance) <= 1e-12 * np.cumsum(np.abs(worth), axis=0)] = 0.0
    first, last = np.full(balance.shape[1], np.nan), np.full(balance.shape[1], np.nan)
    never_below = (balance >= 0).all(axis=0)
    first[never_below] = last[never_below] = times[0]
    for k in range(1, times.size):
        rises = (balance[k - 1] < 0) & (balance[k] >= 0)
        if rises.any():
            share = -balance[k - 1, rises] / (balance[k, rises] - balance[k - 1, rises])
            when = times[k - 1] + share * (times[k] - times[k - 1])
            last[rises] = when
            first[rises] = np.where(np.isnan(first[rises]), when, first[rises])
    last[balance[-1] < 0] = np.nan
    if f.ndim == 1 and factors.ndim == 1:
        return Payback(*(None if math.isnan(v) else v for v in (float(first[0]), float(last[0]))))
    return Payback(first, last)


def modified_rate(
    flows: ArrayLike, finance_rate: ArrayLike, reinvest_rate: ArrayLike, t: ArrayLike | None = None
) -> FloatOrArray:
    """Return the modified internal rate of return [1/year; per period when `t` is left out].

    flows : (periods,) or (periods, trials) [USD]. Rates : scalar or (trials,). t : (periods,) [years], rising; without
    it periods are equal and rates are per period. Outlays are carried back to the first time at `finance_rate`,
    receipts forward to the last at `reinvest_rate`. One number always, unlike the internal rate; nan (for one series a
    ValueError) where there is no outlay or no receipt.
    Formula: ``(FW(receipts) / PW(outlays)) ** (1 / span) - 1``. Source: OpenFormula, MIRR (from memory).

    >>> round(modified_rate([-100_000, 20_000, -10_000, 30_000, 38_000, 50_000], 0.09, 0.12), 4)
    0.0832
    """
    times = np.arange(np.shape(flows)[0], dtype=float) if t is None else np.asarray(t, dtype=float)
    f, times = rows_of("modified_rate", flows, times)
    back, forward = rate_of("modified_rate", finance_rate), rate_of("modified_rate", reinvest_rate)
    span = float(times[-1] - times[0])
    if span <= 0:
        raise ValueError("modified_rate: the last flow must fall after the first.")
    outlays = np.asarray(present_worth(np.maximum(-f, 0.0), times - times[0], back))
    receipts = np.asarray(present_worth(np.maximum(f, 0.0), times - times[-1], forward))
    if f.ndim == 1 and not (f.max() > 0 > f.min()):
        raise ValueError("modified_rate: it needs at least one outlay and one receipt.")
    with np.errstate(divide="ignore", invalid="ignore"):
        found = np.where((outlays > 0) & (receipts > 0), (receipts / outlays) ** (1.0 / span) - 1.0, np.nan)
    return plain(np.asarray(found))


def external_rate(flows: ArrayLike, t: ArrayLike, rate: ArrayLike) -> FloatOrArray:
    """Return the external (adjusted internal) rate of return [1/year]: the modified rate with one rate for both.

    flows : (periods,) or (periods, trials) [USD]. t : (periods,) [years]. rate : scalar or (trials,) [1/year].
    Source: ASTM E1057, adjusted internal rate (formula from memory).

    >>> round(external_rate([-10_000, -5_000, 5_000, 5_000, 5_000, 5_000, 5_000], range(7), 0.15), 4)
    0.153
    """
    return modified_rate(flows, rate, rate, t)


def savings_to_investment(savings: ArrayLike, investment: ArrayLike, t: ArrayLike, rate: ArrayLike) -> FloatOrArray:
    """Return the savings-to-investment ratio: present worth of savings over present worth of added investment.

    savings, investment : (periods,) or (periods, trials) [USD], investment positive for money laid out and negative for
    residual value. A ratio above 1 earns more than `rate`. Source: 10 CFR 436.18; ASTM E964 (scope).

    >>> round(savings_to_investment([0, 110, 121], [100, 0, 0], [0, 1, 2], 0.10), 12)
    2.0
    """
    saved = np.asarray(present_worth(savings, t, rate))
    invested = np.asarray(present_worth(investment, t, rate))
    if (invested <= 0).any():
        raise ValueError(
            "savings_to_investment: the present worth of the investment is not above zero, so there is no "
            "ratio; enter money laid out as positive."
        )
    return plain(np.asarray(saved / invested))


def profitability_index(flows: ArrayLike, t: ArrayLike, rate: ArrayLike) -> FloatOrArray:
    """Return the profitability index: 1 + present worth over the outlay, the outlay being the first flow.

    flows : (periods,) or (periods, trials) [USD], the first row negative at its own time. Above 1 when present worth is
    above zero.

    >>> round(profitability_index([-100, 60, 60], [0, 1, 2], 0.0), 12)
    1.2
    """
    f, times = rows_of("profitability_index", flows, t)
    outlay = np.asarray(present_worth(-f[:1], times[:1], rate))
    if (outlay <= 0).any():
        raise ValueError("profitability_index: the first flow must be an outlay (negative).")
    return plain(np.asarray(1.0 + np.asarray(present_worth(f, times, rate)) / outlay))
