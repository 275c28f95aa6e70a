"""Economic life, and when to replace."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from equipdecide.measures.series import Array, FloatOrArray, rate_of
from equipdecide.measures.worth import discount_factors, recovery


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
    r = rate_of("economic_life", rate)
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
    annual = np.cumsum(marginal * factors, axis=0) * recovery(np.broadcast_to(r, trials)[None, :], ends[:, None])
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


@dataclass(frozen=True)
class Renewal:
    """When to replace where each year offers a new vintage. Present worths are at the start of year 0."""

    worth_if_first: (
        Array  # (years + 1,) or (years + 1, trials) [USD]: first replaced in year 0, 1, ...; last row: never
    )
    worth: FloatOrArray  # [USD] of the best plan
    first: int | NDArray[np.int64]  # year of the first replacement of the best plan; `years` where there is none
    replaced: tuple[int, ...]  # years replaced in, of the best plan; one series only, () for many


def replacement_by_vintage(
    kept: ArrayLike,
    value: ArrayLike,
    price: ArrayLike,
    earned: ArrayLike,
    resale: ArrayLike,
    rate: float,
) -> Renewal:
    """Return when to replace a machine, and its successors, when every year's new machine is another one.

    Year t runs from t to t + 1. kept : (years,) or (years, trials) [USD], net money of the machine owned now in year t,
    at the year's end. value : (years + 1,) [USD], what it brings at the start of year t, last: at the end. price :
    (years,) [USD], of the new machine of year t. earned : (years, years) [USD], net money of the machine bought in year
    v (rows) in its year of age a (columns). resale : (years, years + 1) [USD], what that machine brings at age a. Each
    may have trials last. rate : [1/year]. At the end what is owned is sold. Ties go to keeping.

    Formula: with f(t, v) the worth at the start of year t of owning vintage v,
    ``f(t, v) = max(earned[v, t - v] d + d f(t + 1, v), resale[v, t - v] - price[t] + earned[t, 0] d + d f(t + 1, t))``,
    d = 1 / (1 + rate), solved backwards. Source: the usual recursion of replacement under technological change,
    textbook practice; case D04 of the published tests is its special case of equal vintages.

    >>> plan = replacement_by_vintage([0.0, -60.0], [10.0, 5.0, 0.0], [50.0, 30.0], [[20.0, 20.0], [40.0, 40.0]],
    ...                               [[50.0, 40.0, 30.0], [30.0, 25.0, 20.0]], 0.0)
    >>> plan.worth_if_first.tolist(), plan.replaced
    ([55.0, 40.0, -60.0], (0, 1))
    """
    arrays = [np.asarray(x, dtype=float) for x in (kept, value, price, earned, resale)]
    n = arrays[0].shape[0] if arrays[0].ndim else 0
    shapes = ((n,), (n + 1,), (n,), (n, n), (n, n + 1))
    names = ("kept", "value", "price", "earned", "resale")
    faults = [
        f"{name} has the shape {x.shape}; give {shape}, or with trials last"
        for name, x, shape in zip(names, arrays, shapes, strict=True)
        if x.shape[: len(shape)] != shape or x.ndim > len(shape) + 1
    ]
    faults += [f"{name} holds values that are not finite numbers" for name, x in zip(names, arrays, strict=True)
               if not np.isfinite(x).all()]  # fmt: skip
    if n == 0:
        faults.append("there are no years")
    if faults:
        raise ValueError("replacement_by_vintage: " + "; ".join(faults) + ".")
    d = 1.0 / (1.0 + float(rate_of("replacement_by_vintage", rate)))
    single = all(x.ndim == len(shape) for x, shape in zip(arrays, shapes, strict=True))
    own, worth_then, cost, gain, brings = (
        x[..., None] if x.ndim == len(shape) else x for x, shape in zip(arrays, shapes, strict=True)
    )
    # f[v]: worth at the start of the year looked at, of owning vintage v of an earlier year
    f = {v: brings[v, n - v] for v in range(n)}
    swaps: dict[tuple[int, int], NDArray[np.bool_]] = {}
    bought: list[Array] = [worth_then[n]] * n  # worth at the start of year t of buying then, without what is sold
    for t in reversed(range(n)):
        bought[t] = d * (gain[t, 0] + f[t]) - cost[t]
        older = {}
        for v in range(t):
            stay, swap = d * (gain[v, t - v] + f[v]), brings[v, t - v] + bought[t]
            swaps[t, v] = swap > stay
            older[v] = np.maximum(stay, swap)
        f = older
    before, rows = 0.0 * worth_then[0], []
    for t in range(n):
        rows.append(before + d**t * (worth_then[t] + bought[t]))
        before = before + d ** (t + 1) * own[t]
    rows.append(before + d**n * worth_then[n])
    table = np.array(np.broadcast_arrays(*rows))
    first = n - table[::-1].argmax(axis=0)  # of equals the latest: ties go to keeping
    best = np.take_along_axis(table, first[None, :], axis=0)[0]
    if not single:
        return Renewal(table, best, first.astype(np.int64), ())
    replaced, t = [], int(first[0])
    while t < n:
        replaced.append(t)
        t = next((later for later in range(t + 1, n) if swaps[later, replaced[-1]][0]), n)
    return Renewal(table[:, 0], float(best[0]), int(first[0]), tuple(replaced))
