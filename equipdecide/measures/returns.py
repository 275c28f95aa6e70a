"""Rates of return: all of one series, each proven by a change of sign; and the single one of many series."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from equipdecide.measures.series import Array, rows_of

ROUNDING = float(np.finfo(float).eps)


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
    f, times = rows_of("rates_of_return", flows, t)
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
    """Tell whether a rate at which present worth is zero is the cost of money taken in, not the return on money laid
    out.

    flows : (periods,) [USD]. t : (periods,) [years]. rate : one of the rates of return of these flows [1/year].
    It is where present worth rises with the rate: below it the flows are worth less than nothing, as of a loan, or of a
    sale that gives up what the machine earns. Source: Newnan, Eschenbach and Lavelle, Engineering Economic Analysis,
    appendix on multiple rates of return: investing and borrowing (from memory).

    >>> gives_up([100, -60, -60], [0, 1, 2], 0.1307), gives_up([-100, 60, 60], [0, 1, 2], 0.1307)
    (True, False)
    """
    f, times = rows_of("gives_up", flows, t)
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

    The steps are taken on log(receipts / outlays), both at present worth, which is zero where f is and, unlike f,
    nearly a straight line far from there.
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
    f, times = rows_of("rates_of_return_batch", flows, t)
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
