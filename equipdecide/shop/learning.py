"""Learning after installation: two forms of the same "80 %", and a ramp that ends at the standard time.

Wright's form takes the *average* of all units down by the rate at each doubling, Crawford's the time of the *unit*
itself: from "80 %" and 100 hours for the first, unit 2 takes 60 h by Wright and 80 h by Crawford. Ask which is meant.
Neither ever stops improving, so a ramp-up has a floor: the standard time.

Sources: Wright, Journal of the Aeronautical Sciences 3 (1936) 122 and Crawford (1944), as in texts of industrial
engineering (from memory); the tables in the tests were read.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from equipdecide.calendar import FloatArray


def exponent(rate: float) -> float:
    """Return b of ``x ** b`` for a learning rate (0.80 for "80 %"); 0 where nothing is learned.

    Raises ValueError for a rate that is not above 0 and at most 1.
    """
    if not 0 < rate <= 1:
        raise ValueError(f"the learning rate is {rate}; it is above 0 and at most 1 (80 % is 0.8)")
    return math.log(rate) / math.log(2)


def average_of(units: FloatArray | float, first: float, rate: float) -> FloatArray:
    """Return Wright's average time of the first `units` units, the first taking `first` (any unit of time)."""
    return np.asarray(first * np.asarray(units, dtype=float) ** exponent(rate))


def total_of(units: FloatArray | float, first: float, rate: float) -> FloatArray:
    """Return Wright's total time of the first `units` units."""
    return np.asarray(np.asarray(units, dtype=float) * average_of(units, first, rate))


def unit_time(unit: FloatArray | float, first: float, rate: float) -> FloatArray:
    """Return Crawford's time of the unit of that number."""
    return np.asarray(first * np.asarray(unit, dtype=float) ** exponent(rate))


@dataclass(frozen=True)
class Ramp:
    """A ramp-up: at which batch the standard is reached (a plain number), and the time it costs, in batch-times."""

    standard_at: float
    extra: float


def ramp(start: float, rate: float) -> Ramp:
    """Return the ramp from `start` times the standard time, falling by `rate` at each doubling of batches, to 1.0.

    Crawford's form with a floor: batch n takes ``max(start * n ** b, 1)``. `extra` times the hours of a batch is what
    `ramp_loss` of a scenario asks for. Raises ValueError where nothing is learned and the standard is never reached.
    """
    if start <= 1:
        return Ramp(1.0, 0.0)
    b = exponent(rate)
    if b == 0:
        raise ValueError("at a learning rate of 100 % the standard time is never reached")
    at = start ** (-1 / b)
    if at > 1e7:
        raise ValueError(f"the standard time would be reached after {at:.0f} batches; check start and rate")
    n = np.arange(1, math.floor(at) + 1, dtype=float)
    return Ramp(at, float((start * n**b - 1).sum()))
