"""Depreciation methods for the shop's own books: how a machine's cost is spread over its life.

None of these is a tax method; tax depreciation follows its own tables and ignores salvage. Amounts are in dollars;
every function returns one amount for each period, shape (periods,). The depreciable amount is cost less salvage value.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

__all__ = ["book_values", "declining_balance", "straight_line", "sum_of_years_digits", "units_of_production"]


def _check(method: str, cost: float, salvage: float, life: int | None = None) -> None:
    faults = []
    if not math.isfinite(cost) or cost <= 0:
        faults.append(f"cost is {cost:g}; it must be above zero")
    if not math.isfinite(salvage) or not 0 <= salvage <= max(cost, 0.0):
        faults.append(f"salvage is {salvage:g}; it must lie between zero and the cost")
    if life is not None and (life != int(life) or life < 1):
        faults.append(f"life is {life:g}; it must be a whole number of periods, at least one")
    if faults:
        raise ValueError(f"{method}: " + "; ".join(faults) + ".")


def straight_line(cost: float, salvage: float, life: int) -> Array:
    """Return equal depreciation [USD] for each of `life` periods: (cost - salvage) / life.

    >>> straight_line(12_000, 600, 4).tolist()
    [2850.0, 2850.0, 2850.0, 2850.0]
    """
    _check("straight_line", cost, salvage, life)
    return np.full(int(life), (cost - salvage) / life)


def sum_of_years_digits(cost: float, salvage: float, life: int) -> Array:
    """Return depreciation [USD] in proportion to the years left.

    Formula: (cost - salvage) (life - k + 1) / (1 + 2 + ... + life) in year k.

    >>> sum_of_years_digits(12_000, 600, 4).round(9).tolist()
    [4560.0, 3420.0, 2280.0, 1140.0]
    """
    _check("sum_of_years_digits", cost, salvage, life)
    left = np.arange(int(life), 0, -1, dtype=float)
    return np.asarray((cost - salvage) * left / left.sum(), dtype=float)


def declining_balance(
    cost: float, salvage: float, life: int, factor: float = 2.0, *, stop_at_salvage: bool = True, switch: bool = False
) -> Array:
    """Return depreciation [USD] at the rate factor / life of the book value left; salvage is not deducted first.

    factor : 2 is double declining balance. stop_at_salvage : the book value never falls below salvage; False leaves the
    plain method, which texts also print and which can end above or below salvage. switch : go over to straight line
    over the periods left as soon as that is the larger, which always ends at salvage.

    >>> declining_balance(10_000, 1_600, 6).round().tolist()
    [3333.0, 2222.0, 1481.0, 988.0, 375.0, 0.0]
    >>> declining_balance(12_000, 600, 4).tolist()
    [6000.0, 3000.0, 1500.0, 750.0]
    """
    _check("declining_balance", cost, salvage, life)
    if not 0 < factor:
        raise ValueError(f"declining_balance: factor is {factor:g}; it must be above zero (2 is double declining).")
    if switch and not stop_at_salvage:
        raise ValueError("declining_balance: a switch to straight line ends at salvage, so leave stop_at_salvage on.")
    share, book, out = min(factor / life, 1.0), float(cost), []
    for k in range(int(life)):
        amount = book * share
        if switch:
            amount = max(amount, (book - salvage) / (life - k))
        if stop_at_salvage:
            amount = min(amount, book - salvage)
        out.append(amount)
        book -= amount
    return np.array(out)


def units_of_production(cost: float, salvage: float, total_units: float, used: Sequence[float]) -> Array:
    """Return depreciation [USD] by use: (cost - salvage) / total_units for each unit (hours, pieces), until used up.

    used : (periods,) units of each period. Use beyond `total_units` is no longer depreciated.

    >>> units_of_production(200_000, 40_000, 20_000, [2_500, 3_000, 4_000, 5_000]).tolist()
    [20000.0, 24000.0, 32000.0, 40000.0]
    """
    _check("units_of_production", cost, salvage)
    units = np.asarray(used, dtype=float)
    if not total_units > 0 or units.ndim != 1 or not (units >= 0).all():
        raise ValueError("units_of_production: total units must be above zero, and the use of each period at least 0.")
    reached = np.minimum(np.cumsum(units), total_units)
    return np.asarray(np.diff(reached, prepend=0.0) * ((cost - salvage) / total_units), dtype=float)


def book_values(cost: float, depreciation: Sequence[float] | Array) -> Array:
    """Return the book value [USD] at the end of each period: cost less depreciation so far.

    >>> book_values(50_000, [20_000, 5_000]).tolist()
    [30000.0, 25000.0]
    """
    return np.asarray(cost - np.cumsum(np.asarray(depreciation, dtype=float)), dtype=float)
