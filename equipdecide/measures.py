"""Measures of worth on cash flows: present and annual worth, rates of return, payback, economic life.

Flows are arrays with time first: shape (periods,) for one series or (periods, trials) for many; ``t`` of shape
(periods,) says when each flow falls, in years from the date of the study. Positive is money in. Rates are per year,
compounded once a year, so the factor that brings a dollar at time t to time zero is ``(1 + rate) ** -t``. Flows and
rates must both be in actual dollars, or both in constant dollars.

One series gives plain floats; many give arrays of shape (trials,), and trial i equals the series of trial i alone.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
ROUNDING = float(np.finfo(float).eps)
FloatOrArray = float | Array

__all__ = [
    "BatchRates",
    "EconomicLife",
    "Keep",
    "Payback",
    "Rates",
    "Replacement",
    "annual_worth",
    "capital_recovery_factor",
    "discount_factors",
    "economic_life",
    "effective_rate",
    "external_rate",
    "market_rate",
    "modified_rate",
    "nominal_rate",
    "payback",
    "present_worth",
    "present_worth_deviation",
    "profitability_index",
    "rates_of_return",
    "rates_of_return_batch",
    "real_rate",
    "replacement_by_age",
    "savings_to_investment",
    "three_point_mean",
    "years_to_keep",
]


# ---------------------------------------------------------------------------------------------- checks


def _rows(what: str, flows: ArrayLike, t: ArrayLike, look: bool = True) -> tuple[Array, Array]:
    """Return flows and times as float arrays, or refuse them with every fault at once.

    Without `look` sound flows are not read through: what is made of them shows whether all of them are finite.
    """
    f, times = np.asarray(flows, dtype=float), np.asarray(t, dtype=float)
    faults = []
    if f.ndim not in (1, 2):
        faults.append(f"flows have {f.ndim} dimensions; give (periods,) or (periods, trials)")
    if times.ndim != 1:
        faults.append(f"t has {times.ndim} dimensions; give one time in years for each period")
    elif f.ndim in (1, 2) and f.shape[0] != times.shape[0]:
        faults.append(f"{f.shape[0]} flows in time but {times.shape[0]} times; time comes first, one t for each row")
    if times.size == 0:
        faults.append("there are no flows")
    if (look or faults) and not np.isfinite(f).all():
        faults.append(f"{np.size(f) - int(np.isfinite(f).sum())} flows are not finite numbers")
    if not np.isfinite(times).all():
        faults.append("t holds values that are not finite numbers")
    if faults:
        raise ValueError(f"{what}: " + "; ".join(faults) + ".")
    return f, times


def _rate(what: str, rate: ArrayLike) -> Array:
    """Return the rate as an array, refusing -100 % and below."""
    r = np.asarray(rate, dtype=float)
    if r.ndim > 1:
        raise ValueError(f"{what}: the rate has {r.ndim} dimensions; give one rate, or one for each trial.")
    if not (np.isfinite(r) & (r > -1.0)).all():
        worst = float(r.ravel()[int(np.argmax(~(np.isfinite(r) & (r > -1.0)).ravel()))])
        raise ValueError(f"{what}: a rate of {worst:g} cannot be used; give a finite number above -1 (-100 %).")
    return r


def _plain(value: Array) -> FloatOrArray:
    return float(value) if value.ndim == 0 else value


# ---------------------------------------------------------------------------------------------- worth


def discount_factors(t: ArrayLike, rate: ArrayLike) -> Array:
    """Return the present worth of one dollar at each time.

    t : (periods,) [years]. rate : scalar or (trials,) [1/year]. Returns (periods,) or (periods, trials).
    Formula: ``(1 + rate) ** -t``.

    >>> discount_factors([0, 1, 2], 0.25).round(12).tolist()
    [1.0, 0.8, 0.64]
    """
    r = _rate("discount_factors", rate)
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
    f, times = _rows("present_worth", flows, t, look=False)
    factors = discount_factors(times, _rate("present_worth", rate))
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
        _rows("present_worth", f, times)
    return _plain(np.asarray(worth, dtype=float))


def capital_recovery_factor(rate: ArrayLike, years: ArrayLike) -> FloatOrArray:
    """Return the level end-of-year amount that repays one dollar in `years`, (A/P, rate, years) [1/year].

    Formula: ``rate / (1 - (1 + rate) ** -years)``; ``1 / years`` at rate zero.

    >>> capital_recovery_factor(0.0, 4)
    0.25
    """
    r = _rate("annual worth", rate)
    n = np.asarray(years, dtype=float)
    if n.ndim > 1 or not (np.isfinite(n) & (n > 0)).all():
        raise ValueError("annual worth: the years must be above zero; give one number, or one for each trial.")
    return _plain(_recovery(r, n))


def _recovery(r: Array, n: Array) -> Array:
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
    return _plain(np.asarray(np.asarray(pw, dtype=float) * capital_recovery_factor(rate, years), dtype=float))


# ---------------------------------------------------------------------------------------------- rates of return


@dataclass(frozen=True)
class Rates:
    """Every real internal rate of return of one series, in rising order, and what to make of their number."""

    roots: tuple[float, ...]  # [1/year]
    sign_changes: int
    note: str

    @property
    def only(self) -> float | None:
        """The rate when there is exactly one, else None: of several rates none may be picked in silence."""
        return self.roots[0] if len(self.roots) == 1 else None


@dataclass(frozen=True)
class BatchRates:
    """Rates of return of many series: the rate where there is exactly one, else nan, and how many there are."""

    rates: Array  # (trials,) [1/year]
    counts: NDArray[np.int64]  # (trials,) number of rates above -100 %
    sign_changes: NDArray[np.int64]  # (trials,)


def rates_of_return(flows: ArrayLike, t: ArrayLike) -> Rates:
    """Return all internal rates of return above -100 % of one series, at equal periods or on any dates.

    flows : (periods,) [USD]. t : (periods,) [years], in any order; flows at one time are added.
    Returns `Rates`; its roots are the zeros of present worth as a function of the rate, its note says in words when
    there is none or more than one.

    Method: with s = log(1 + rate) present worth is f(s) = sum(c_k exp(-s t_k)). Multiply by exp(s a), with a between
    two flows of unlike sign, and differentiate: the coefficients become c_k (a - t_k), which change sign once less. The
    zeros of that derivative part the line into stretches on which exp(s a) f(s) rises or falls throughout, so on each
    there is one zero or none, and bisection with Newton steps finds it. Repeated until no sign changes are left, this
    cannot miss a root, needs no scan, and serves equal periods and dates alike. A rate at which present worth touches
    zero without crossing counts once. Source: Laguerre's form of Descartes' rule for exponents that need not be whole
    numbers (from memory).

    >>> rates_of_return([-100, 230, -132], [0, 1, 2]).note
    '2 rates of return (10.00 %, 20.00 %): none of them ranks the choice; decide by present worth at the required rate.'
    >>> rates_of_return([1000, -3000, 2500], [0, 1, 2]).note
    'No rate of return: present worth is above zero at every rate.'
    """
    f, times = _rows("rates_of_return", flows, t)
    if f.ndim != 1:
        raise ValueError("rates_of_return: one series at a time; for many use rates_of_return_batch.")
    coefficients, exponents = _merged(f, times)
    if coefficients.size == 0:
        return Rates((), 0, "No rate of return: every flow is zero.")
    changes = _sign_changes(coefficients)
    # s below -37 is -100 % to the last bit, s above 709 no longer a number: neither is a rate anyone can use
    with np.errstate(under="ignore"):
        zeros = _zeros(coefficients, exponents)
    found = [math.expm1(s) for s in zeros if s < 709.0]
    roots = tuple(r if abs(r) > 1e-15 else 0.0 for r in found if r > -1.0)
    return Rates(roots, changes, _note(roots, changes, float(coefficients.sum())))


def gives_up(flows: ArrayLike, t: ArrayLike, rate: float) -> bool:
    """Tell whether a rate at which present worth is zero is the cost of money taken in, not the return on money laid out.

    flows : (periods,) [USD]. t : (periods,) [years]. rate : one of the rates of return of these flows [1/year].
    It is where present worth rises with the rate: below it the flows are worth less than nothing, as of a loan, or of a
    sale that gives up what the machine earns. Source: Newnan, Eschenbach and Lavelle, Engineering Economic Analysis,
    appendix on multiple rates of return: investing and borrowing (from memory).

    >>> gives_up([100, -60, -60], [0, 1, 2], 0.1307), gives_up([-100, 60, 60], [0, 1, 2], 0.1307)
    (True, False)
    """
    f, times = _rows("gives_up", flows, t)
    return bool((times * f * (1.0 + rate) ** -times).sum() < 0.0)


def _note(roots: tuple[float, ...], changes: int, total: float) -> str:
    if changes == 0:
        return "No rate of return: all flows have the same sign."
    if not roots:
        return f"No rate of return: present worth is {'above' if total > 0 else 'below'} zero at every rate."
    if len(roots) > 1:
        listed = ", ".join(f"{root * 100:.2f} %" for root in roots)
        return (
            f"{len(roots)} rates of return ({listed}): none of them ranks the choice; decide by present worth at "
            "the required rate."
        )
    if changes > 1:
        return f"One rate of return, although the flows change sign {changes} times."
    return "One rate of return."


def _merged(f: Array, times: Array) -> tuple[Array, Array]:
    """Sort by time, add flows of one time, drop zeros: the rule of signs needs unlike exponents."""
    exponents, place = np.unique(times, return_inverse=True)
    sums = np.bincount(place.ravel(), weights=f, minlength=exponents.size)
    kept = sums != 0.0
    return sums[kept], exponents[kept]


def _sign_changes(c: Array) -> int:
    return int(np.count_nonzero(np.signbit(c[1:]) != np.signbit(c[:-1])))


def _zeros(c: Array, t: Array) -> list[float]:
    """Return all real zeros s of sum(c exp(-s t)), t rising and no c zero, in rising order (see `rates_of_return`)."""
    turns = np.flatnonzero(np.signbit(c[1:]) != np.signbit(c[:-1]))
    if turns.size == 0:
        return []
    middle = int(turns[turns.size // 2])
    a = 0.5 * float(t[middle] + t[middle + 1])
    slopes = c * (a - t)
    slopes /= np.abs(slopes).max()
    kept = slopes != 0.0  # after a hundred derivatives a term can underflow
    parts = _zeros(slopes[kept], t[kept]) if turns.size > 1 else []
    # beyond these ends the last (first) flow outweighs all others together: no zero lies there, and the sign is its own
    sizes = np.log(np.abs(c))
    low = min([-_end(sizes[::-1], t[-1] - t[::-1]), *parts[:1]])
    high = max([_end(sizes, t - t[0]), *parts[-1:]])
    points = [low, *parts, high]
    signs = [_sign(float(c[-1])), *(_sign_at(c, sizes, t, s) for s in parts), _sign(float(c[0]))]
    zeros = []
    for k in range(len(points) - 1):
        if signs[k] * signs[k + 1] < 0:
            zeros.append(_bracketed(c, sizes, t, points[k], points[k + 1], signs[k]))
        if signs[k + 1] == 0 and 0 < k + 1 < len(points) - 1:
            zeros.append(points[k + 1])
    return zeros


def _end(sizes: Array, lag: Array) -> float:
    """Return the s from which on the flow without lag outweighs all others together, whatever their signs.

    `sizes` are logarithms of the flows' sizes; each of the others is then less than its share, one part in 2 n, of it.
    """
    return float(((sizes[1:] - sizes[0] + math.log(2.0 * sizes.size)) / lag[1:]).max())


def _sign(value: float) -> int:
    return 1 if value > 0 else -1


def _terms(c: Array, sizes: Array, t: Array, s: float) -> Array:
    """Return the terms of f(s) up to a common positive factor, so that none overflows; `sizes` is log of abs of `c`."""
    powers = -s * t
    powers -= (powers + sizes).max()
    return np.asarray(c * np.exp(powers), dtype=float)


def _sign_at(c: Array, sizes: Array, t: Array, s: float) -> int:
    """Sign of f(s); 0 when the sum is no larger than the rounding of its terms, which is a zero touched not crossed."""
    terms = _terms(c, sizes, t, s)
    total, size = math.fsum(terms.tolist()), float(np.abs(terms).sum())
    # exp(-s t) carries |s t| roundings, each term one more
    if abs(total) <= 4.0 * ROUNDING * (1.0 + abs(s) * float(t[-1] - t[0])) * size:
        return 0
    return 1 if total > 0 else -1


def _bracketed(c: Array, sizes: Array, t: Array, low: float, high: float, sign_low: int) -> float:
    """Return the zero in the closed bracket [low, high] by Newton steps, halving when one strays.

    The steps are taken on log(receipts / outlays), both at present worth, which is zero where f is and, unlike f, nearly
    a straight line far from there.
    """
    receipts, outlays = np.maximum(c, 0.0), np.maximum(-c, 0.0)
    rows, powers = np.array([receipts, outlays, receipts * t, outlays * t]), np.empty_like(t)
    x, before = 0.5 * (low + high), high - low
    for _ in range(400):
        np.multiply(t, -x, out=powers)
        powers -= np.maximum.reduce(powers + sizes)  # so that none overflows
        received, paid, received_late, paid_late = (rows @ np.exp(powers, out=powers)).tolist()
        value = received - paid
        if abs(value) <= ROUNDING * (received + paid):
            return x
        if (value > 0) == (sign_low > 0):
            low = x
        else:
            high = x
        move = math.inf
        if min(received, paid) > 1e-300 and (slope := paid_late / paid - received_late / received):
            move = -math.log(received / paid) / slope
        # a Newton step must stay in the closed bracket and must halve the step before, else the bracket is halved
        strays = not (low <= x + move <= high) or abs(move) > 0.5 * before
        if strays:
            move = 0.5 * (low + high) - x
        before = abs(move)
        x += move
        # Newton squares the error: after a step of 1e-10 what is left is below rounding
        if not strays and before <= 1e-10 * max(1e-3, abs(x)):
            return x
        if high - low <= 2.0 * math.ulp(max(abs(low), abs(high))):
            return x
    return x
    return x


def rates_of_return_batch(flows: ArrayLike, t: ArrayLike) -> BatchRates:
    """Return the internal rate of return of many series at once.

    flows : (periods, trials) [USD]. t : (periods,) [years], rising. Returns `BatchRates`: nan where there is no rate or
    more than one, and the number of rates for each trial.

    A series that changes sign once has exactly one rate. Those are solved together by Newton steps in a closed bracket
    (at equal periods on the polynomial in the discount factor of one period, else on powers of it). Series with more
    changes of sign go one by one through `rates_of_return`, which is slower and counts them exactly.

    >>> b = rates_of_return_batch([[-100, -100, 5], [110, 230, 5], [0, -132, 5]], [0, 1, 2])
    >>> b.rates.round(12).tolist(), b.counts.tolist()
    ([0.1, nan, nan], [1, 2, 0])
    """
    f, times = _rows("rates_of_return_batch", flows, t)
    if f.ndim != 2:
        raise ValueError("rates_of_return_batch: give (periods, trials); for one series use rates_of_return.")
    steps = np.diff(times)
    if (steps <= 0).any():
        raise ValueError("rates_of_return_batch: t must rise from row to row; add flows of one time together first.")
    changes = _sign_changes_by_trial(f)
    rates = np.full(f.shape[1], np.nan)
    counts = np.minimum(changes, 1)
    one = np.flatnonzero(changes == 1)
    if one.size:
        rates[one] = _single_rates(f if one.size == f.shape[1] else f[:, one], times, steps)
    for trial in np.flatnonzero(changes > 1):
        found = rates_of_return(f[:, trial], times).roots
        counts[trial] = len(found)
        rates[trial] = found[0] if len(found) == 1 else np.nan
    return BatchRates(rates, counts, changes)


def _sign_changes_by_trial(f: Array) -> NDArray[np.int64]:
    """Count changes of sign down the rows, zeros skipped."""
    changes = np.zeros(f.shape[1], dtype=np.int64)
    if f.all():
        negative = f < 0
        changes += np.count_nonzero(negative[1:] != negative[:-1], axis=0)
        return changes
    last = np.sign(f[0])
    for row in f[1:]:
        sign = np.sign(row)
        changes += sign * last < 0
        last = np.where(sign == 0, last, sign)
    return changes


def _single_rates(f: Array, times: Array, steps: Array) -> Array:
    """Rates of series that change sign once; z, the discount factor of one step or of the whole span, is the unknown.

    Where the rate is negative the factor would pass 1 and its powers grow; those series are read from the end back,
    with 1 / z as the unknown, so that every bracket is [0, 1] and nothing can overflow.
    """
    equal = bool(np.allclose(steps, steps.mean(), rtol=1e-9, atol=0.0))
    span = float(steps.mean()) if equal else float(times[-1] - times[0])
    total = f.sum(axis=0)
    last = f[-1].copy()
    for row in f[-2::-1]:
        if last.all():
            break
        last = np.where(last == 0.0, row, last)
    backwards = np.sign(total) != np.sign(last)  # sign at z = 1 is still that of z = 0, so the zero lies beyond 1
    rates = np.empty(f.shape[1])
    for flag in (False, True):
        picked = np.flatnonzero(backwards == flag)
        if picked.size == 0:
            continue
        own = f if picked.size == f.shape[1] else f[:, picked]
        if flag:
            own = own[::-1]
        lags = (times[-1] - times[::-1] if flag else times - times[0]) / span
        z = _unit_zeros(own, _horner if equal else _powers, lags)
        with np.errstate(divide="ignore"):
            rates[picked] = np.expm1((np.log(z) if flag else -np.log(z)) / span)
    return rates


def _horner(c: Array, z: Array, lags: Array) -> tuple[Array, Array]:
    """Polynomial with coefficients c (periods, trials) and its derivative at z (trials,); lags are 0, 1, 2, ..."""
    value, slope = c[-1].copy(), np.zeros_like(z)
    for row in c[-2::-1]:
        slope *= z
        slope += value
        value *= z
        value += row
    return value, slope


def _powers(c: Array, z: Array, lags: Array) -> tuple[Array, Array]:
    """Sum of c z**lags and its derivative at z (trials,), for lags that are not whole numbers."""
    with np.errstate(divide="ignore", invalid="ignore", under="ignore"):
        terms = np.multiply.outer(lags, np.log(z))
        np.exp(terms, out=terms)
        terms *= c
        slope = (lags @ terms) / z
    return np.asarray(terms.sum(axis=0)), np.asarray(slope)


def _unit_zeros(c: Array, evaluate: Callable[[Array, Array, Array], tuple[Array, Array]], lags: Array) -> Array:
    """Return the one zero in [0, 1] of each column. The bracket is closed: a step onto its end is a good step."""
    answer = np.empty(c.shape[1])
    at = np.arange(c.shape[1])
    total = c.sum(axis=0)
    at_one = np.sign(total)
    low, high, before = np.zeros(c.shape[1]), np.ones(c.shape[1]), np.full(c.shape[1], 2.0)
    # start where all receipts at their mean time would pay all outlays at theirs: mostly three or four steps remain
    gains = np.maximum(c, 0.0)
    received, received_at = gains.sum(axis=0), lags @ gains
    paid, paid_at = received - total, received_at - lags @ c
    with np.errstate(all="ignore"):
        z = np.exp(-np.log(received / paid) / (received_at / received - paid_at / paid))
    z = np.where((z > 0.0) & (z <= 1.0), z, 1.0)
    for turn in range(200):
        value, slope = evaluate(c, z, lags)
        above = np.sign(value) == at_one
        high = np.where(above, z, high)
        low = np.where(above, low, z)
        with np.errstate(divide="ignore", invalid="ignore"):
            step = z - value / slope
        stray = ~((step >= low) & (step <= high) & (step > 0.0))
        if turn > 12:
            # most are long settled; for the few left a step that does not halve gives way to halving the bracket
            stray |= np.abs(step - z) > 0.5 * before
        step = np.where(stray, 0.5 * (low + high), step)
        before = np.abs(step - z)
        # Newton squares the error: after a step of 1e-10 what is left is below rounding
        done = (value == 0.0) | (before <= np.where(stray, 2e-16, 1e-10) * z)
        z = np.where(value == 0.0, z, step)
        if done.any():
            answer[at[done]] = z[done]
            if done.all():
                return answer
            # drop the settled columns once half are settled: copying costs about one evaluation
            if done.sum() * 2 >= done.size:
                left = ~done
                c, at, at_one = c[:, left], at[left], at_one[left]
                low, high, z, before = low[left], high[left], z[left], before[left]
    answer[at] = z
    return answer


# ---------------------------------------------------------------------------------------------- other measures


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
    f, times = _rows("payback", flows, t)
    if (np.diff(times) <= 0).any():
        raise ValueError("payback: t must rise from flow to flow; add flows of one time together first.")
    factors = discount_factors(times, _rate("payback", rate))
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
    f, times = _rows("modified_rate", flows, times)
    back, forward = _rate("modified_rate", finance_rate), _rate("modified_rate", reinvest_rate)
    span = float(times[-1] - times[0])
    if span <= 0:
        raise ValueError("modified_rate: the last flow must fall after the first.")
    outlays = np.asarray(present_worth(np.maximum(-f, 0.0), times - times[0], back))
    receipts = np.asarray(present_worth(np.maximum(f, 0.0), times - times[-1], forward))
    if f.ndim == 1 and not (f.max() > 0 > f.min()):
        raise ValueError("modified_rate: it needs at least one outlay and one receipt.")
    with np.errstate(divide="ignore", invalid="ignore"):
        found = np.where((outlays > 0) & (receipts > 0), (receipts / outlays) ** (1.0 / span) - 1.0, np.nan)
    return _plain(np.asarray(found))


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
    return _plain(np.asarray(saved / invested))


def profitability_index(flows: ArrayLike, t: ArrayLike, rate: ArrayLike) -> FloatOrArray:
    """Return the profitability index: 1 + present worth over the outlay, the outlay being the first flow.

    flows : (periods,) or (periods, trials) [USD], the first row negative at its own time. Above 1 when present worth is
    above zero.

    >>> round(profitability_index([-100, 60, 60], [0, 1, 2], 0.0), 12)
    1.2
    """
    f, times = _rows("profitability_index", flows, t)
    outlay = np.asarray(present_worth(-f[:1], times[:1], rate))
    if (outlay <= 0).any():
        raise ValueError("profitability_index: the first flow must be an outlay (negative).")
    return _plain(np.asarray(1.0 + np.asarray(present_worth(f, times, rate)) / outlay))


# ---------------------------------------------------------------------------------------------- economic life


@dataclass(frozen=True)
class EconomicLife:
    """Cost of keeping a machine year by year. Row k is the year that ends k + 1 years from now."""

    loss_in_value: Array  # (years,) or (years, trials) [USD]
    forgone_interest: Array  # same shape [USD]
    expenses: Array  # same shape [USD]
    marginal_cost: Array  # same shape [USD], the sum of the three
    annual_cost: Array  # same shape [USD/year], equivalent uniform annual cost if kept through that year
    years: int | NDArray[np.int64]  # economic life: years kept at which annual cost is least (the shortest of equals)
    least_annual_cost: FloatOrArray  # [USD/year]


def economic_life(
    first_cost: ArrayLike, market_values: ArrayLike, expenses: ArrayLike, rate: ArrayLike
) -> EconomicLife:
    """Return marginal cost, annual cost by years kept, and the economic life of a machine.

    first_cost : scalar or (trials,) [USD]; for a challenger its installed cost, for a defender what it would sell for
    today (what was once paid for it is sunk). market_values : (years,) or (years, trials) [USD], at each year's end.
    expenses : same shapes [USD], operation, upkeep and breakdowns of each year. rate : scalar or (trials,) [1/year].

    Formula: marginal cost of year k = loss in market value + rate x opening value + expenses; annual cost of keeping k
    years = (A/P, rate, k) x sum of the discounted marginal costs, equal to capital recovery plus annual worth of
    expenses. Source: engineering-economy texts, cases C01 to C13 of the published tests.

    >>> values, expenses = [22_500, 16_875, 12_750, 9_750, 7_125], [3_000, 4_500, 7_000, 10_000, 13_000]
    >>> truck = economic_life(30_000, values, expenses, 0.10)
    >>> truck.years, round(truck.least_annual_cost)
    (3, 12918)
    >>> truck.marginal_cost.tolist()
    [13500.0, 12375.0, 12812.5, 14275.0, 16600.0]
    """
    start, values, costs = (np.asarray(x, dtype=float) for x in (first_cost, market_values, expenses))
    r = _rate("economic_life", rate)
    faults = []
    if start.ndim > 1:
        faults.append("first_cost must be one amount, or one for each trial")
    if values.ndim not in (1, 2) or costs.ndim not in (1, 2):
        faults.append("market_values and expenses must be (years,) or (years, trials)")
    elif values.shape[0] != costs.shape[0] or values.shape[0] == 0:
        faults.append(f"{values.shape[0]} years of market values but {costs.shape[0]} years of expenses")
    if not all(np.isfinite(x).all() for x in (start, values, costs)):
        faults.append("some figures are not finite numbers")
    if faults:
        raise ValueError("economic_life: " + "; ".join(faults) + ".")
    single = start.ndim == 0 and values.ndim == 1 and costs.ndim == 1 and r.ndim == 0
    values = values[:, None] if values.ndim == 1 else values
    costs = costs[:, None] if costs.ndim == 1 else costs
    n = values.shape[0]
    trials = np.broadcast_shapes(start.shape or (1,), r.shape or (1,), values.shape[1:], costs.shape[1:])
    values, costs = np.broadcast_to(values, (n, *trials)), np.broadcast_to(costs, (n, *trials))
    opening = np.vstack([np.broadcast_to(start, trials)[None, :], values[:-1]])
    loss, interest = opening - values, r * opening
    marginal = loss + interest + costs
    ends = np.arange(1.0, n + 1.0)
    factors = discount_factors(ends, np.broadcast_to(r, trials))
    annual = np.cumsum(marginal * factors, axis=0) * _recovery(np.broadcast_to(r, trials)[None, :], ends[:, None])
    best = annual.argmin(axis=0)
    least = annual[best, np.arange(annual.shape[1])]
    if single:
        return EconomicLife(
            loss[:, 0],
            interest[:, 0],
            costs[:, 0].copy(),
            marginal[:, 0],
            annual[:, 0],
            int(best[0]) + 1,
            float(least[0]),
        )
    return EconomicLife(loss, interest, costs.copy(), marginal, annual, best.astype(np.int64) + 1, least)


@dataclass(frozen=True)
class Keep:
    """How long to keep a defender by the marginal-cost rule."""

    years: int  # whole years to keep it; 0 is replace now, the full length is keep throughout the years given
    rising: bool  # False: marginal cost falls somewhere, the rule may stop too early, compare whole lives instead


def years_to_keep(marginal_cost: ArrayLike, challenger_annual_cost: float) -> Keep:
    """Return the years to keep the defender: as long as next year's marginal cost is at most the challenger's least
    annual cost.

    marginal_cost : (years,) [USD]. challenger_annual_cost : [USD/year]. Valid when marginal cost rises and the
    challenger stays available; `Keep.rising` says whether it does.

    >>> years_to_keep([13_250, 14_600, 15_950], 15_430)
    Keep(years=2, rising=True)
    """
    cost = np.asarray(marginal_cost, dtype=float)
    if cost.ndim != 1 or cost.size == 0 or not np.isfinite(cost).all() or not math.isfinite(challenger_annual_cost):
        raise ValueError("years_to_keep: give one finite marginal cost for each year, and one annual cost.")
    dearer = np.flatnonzero(cost > challenger_annual_cost)
    return Keep(int(dearer[0]) if dearer.size else int(cost.size), bool((np.diff(cost) >= 0).all()))


@dataclass(frozen=True)
class Replacement:
    """Best value and best act by age. Without an end, shape (ages,); with one, (years, ages), first year first."""

    value: Array  # [USD] present worth of going on from that age under the best acts
    replace: NDArray[np.bool_]  # True where replacing is strictly better, or forced at the last age


def replacement_by_age(
    keep: ArrayLike, replace: ArrayLike, discount: float, years: int | None = None, final: ArrayLike | None = None
) -> Replacement:
    """Return when to replace a machine by its like, by dynamic programming over its age.

    keep, replace : (ages,) [USD], gain of one more year when a machine of age 1, 2, ... is kept, or replaced by a new
    one (its first year included). discount : factor of one year, (0, 1), or up to 1 with `years`. years : length of the
    study, or None for no end. final : (ages,) [USD], what a machine of each age is worth at the end (zero if left out).
    At the last age replacing is forced. Ties go to keeping.

    Formula: ``v[a] = max(keep[a] + discount v[a+1], replace[a] + discount v[first])``; without an end the values are
    solved exactly by policy iteration. Source: cases D03 and D04 of the published tests.

    >>> replacement_by_age([10.0, -90.0], [-5.0, -5.0], 0.5).replace.tolist()
    [False, True]
    """
    stay, swap = np.asarray(keep, dtype=float), np.asarray(replace, dtype=float)
    end = np.zeros(stay.shape) if final is None else np.asarray(final, dtype=float)
    if stay.ndim != 1 or stay.size == 0 or swap.shape != stay.shape or end.shape != stay.shape:
        raise ValueError("replacement_by_age: keep, replace and final need one amount for each age.")
    if not (0 < discount < 1 or (years is not None and discount == 1)):
        raise ValueError(f"replacement_by_age: a discount factor of {discount:g} cannot be used; give one from 0 to 1.")
    n = stay.size
    older = np.minimum(np.arange(n) + 1, n - 1)
    forced = np.arange(n) == n - 1

    def step(value: Array) -> tuple[Array, NDArray[np.bool_]]:
        kept = np.where(forced, -np.inf, stay + discount * value[older])
        swapped = swap + discount * value[0]
        return np.maximum(kept, swapped), swapped > kept

    if years is not None:
        values, acts, value = [], [], end
        for _ in range(years):
            value, act = step(value)
            values.append(value)
            acts.append(act)
        return Replacement(np.array(values[::-1]), np.array(acts[::-1]))
    act = np.ones(n, dtype=bool)
    value = np.zeros(n)
    for _ in range(2 * n + 2):
        # value of this policy: (I - discount P) value = gain, P the move to the next age or to the first
        moves = np.eye(n)[np.where(act, 0, older)]
        value = np.asarray(np.linalg.solve(np.eye(n) - discount * moves, np.where(act, swap, stay)), dtype=np.float64)
        _, better = step(value)
        if (better == act).all():
            break
        act = better
    return Replacement(value, act)


# ---------------------------------------------------------------------------------------------- rates and doubts


def effective_rate(nominal: float, per_year: int) -> float:
    """Return the yearly rate that compounds to the same as `nominal` / `per_year` in each of `per_year` periods.

    >>> round(effective_rate(0.0975, 4), 4)
    0.1011
    """
    _rate("effective_rate", nominal / per_year)
    return math.expm1(per_year * math.log1p(nominal / per_year))


def nominal_rate(effective: float, per_year: int) -> float:
    """Return the nominal yearly rate, compounded `per_year` times, of an effective one. Inverse of `effective_rate`.

    >>> round(nominal_rate(0.135, 12), 4)
    0.1273
    """
    _rate("nominal_rate", effective)
    return per_year * math.expm1(math.log1p(effective) / per_year)


def real_rate(market: float, inflation: float) -> float:
    """Return the rate in constant dollars: ``(1 + market) / (1 + inflation) - 1`` [1/year].

    >>> round(real_rate(0.09, 0.05), 3)
    0.038
    """
    _rate("real_rate", [market, inflation])
    return (market - inflation) / (1.0 + inflation)


def market_rate(real: float, inflation: float) -> float:
    """Return the rate in actual dollars: ``(1 + real) (1 + inflation) - 1`` [1/year].

    >>> round(market_rate(0.07, 0.04), 4)
    0.1128
    """
    _rate("market_rate", [real, inflation])
    return real + inflation + real * inflation


def present_worth_deviation(deviations: ArrayLike, t: ArrayLike, rate: float, together: bool = False) -> float:
    """Return the standard deviation [USD] of present worth from those of the flows.

    deviations : (periods,) [USD]. together : False, flows vary independently; True, they move together fully.
    Formula: ``sqrt(sum((s v)**2))`` or ``sum(s v)``, v the discount factors. Source: Hillier 1963 (from memory).

    >>> round(present_worth_deviation([0, 3, 4], [0, 1, 2], 0.0), 9)
    5.0
    """
    s, times = _rows("present_worth_deviation", deviations, t)
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
    return _plain(np.asarray((a + weight * m + b) / (weight + 2.0)))
