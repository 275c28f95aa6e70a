"""Series of flows: what every measure asks of them, and how one series or many are given back."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
FloatOrArray = float | Array


def rows_of(what: str, flows: ArrayLike, t: ArrayLike, look: bool = True) -> tuple[Array, Array]:
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


def rate_of(what: str, rate: ArrayLike) -> Array:
    """Return the rate as an array, refusing -100 % and below."""
    r = np.asarray(rate, dtype=float)
    if r.ndim > 1:
        raise ValueError(f"{what}: the rate has {r.ndim} dimensions; give one rate, or one for each trial.")
    if not (np.isfinite(r) & (r > -1.0)).all():
        worst = float(r.ravel()[int(np.argmax(~(np.isfinite(r) & (r > -1.0)).ravel()))])
        raise ValueError(f"{what}: a rate of {worst:g} cannot be used; give a finite number above -1 (-100 %).")
    return r


def plain(value: Array) -> FloatOrArray:
    """Return a float for one series, the array itself for many."""
    return float(value) if value.ndim == 0 else value
