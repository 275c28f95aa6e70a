"""One operator on several machines: how many run, how many wait, when attention is needed at random times.

Each of N machines runs for a time of mean U and then calls for attention of mean T; M attendants answer. With attention
of exponential length the number of machines that stand is a birth and death process (finite source). With attention of
constant length and one attendant, Takacs's form holds for any law of attention: only its transform enters.

Sources: Peck and Hazelwood, Finite Queuing Tables (1958; notation and table read in a course sheet); Ashcroft, J. Roy.
Stat. Soc. B 12 (1950) 145 (reference read); Takacs, Introduction to the Theory of Queues (1962; from memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from equipdecide.calendar import FloatArray


@dataclass(frozen=True)
class Attendance:
    """Machines `running`, `waiting` and `in_service` on average; `wait_chance` that a call finds no one free.

    `efficiency` is (N - waiting) / N: what is left of each machine's time once waiting is taken out.
    """

    machines: int
    attendants: int
    running: float
    waiting: float
    in_service: float
    wait_chance: float

    @property
    def efficiency(self) -> float:
        """Share of the time in which a machine is not waiting."""
        return (self.machines - self.waiting) / self.machines


def standing(machines: int, attendants: int, load: float) -> FloatArray:
    """Return the chance that 0 .. `machines` machines stand, shape (machines + 1,).

    `load` is T / U, attention over run. ``p[k] = p[k-1] (N - k + 1) load / min(k, M)``.
    """
    ratio = [(machines - k + 1) * load / min(k, attendants) for k in range(1, machines + 1)]
    weights = np.cumprod(np.concatenate([[1.0], ratio]))
    return np.asarray(weights / weights.sum(), dtype=float)


def finite_source(machines: int, run: float, attention: float, attendants: int = 1) -> Attendance:
    """Return the averages of `machines` with exponential `run` and `attention` times (one unit of time, both means).

    A call finds the state that the other machines alone would have: ``wait_chance`` is that of N - 1 machines. Raises
    ValueError for figures that are not above 0.
    """
    if machines < 1 or attendants < 1 or not run > 0 or not attention > 0:
        raise ValueError("machines, attendants, run and attention must all be above 0")
    load = attention / run
    chance = standing(machines, attendants, load)
    count = np.arange(machines + 1)
    waiting = float((np.maximum(count - attendants, 0) * chance).sum())
    in_service = float((np.minimum(count, attendants) * chance).sum())
    others = standing(machines - 1, attendants, load) if machines > 1 else np.array([1.0])
    return Attendance(
        machines, attendants, machines - waiting - in_service, waiting, in_service, float(others[attendants:].sum())
    )


def service_factor(run: float, attention: float) -> float:
    """Return X of the tables: attention over attention and run together."""
    return attention / (attention + run)


def from_service_factor(machines: int, factor: float, attendants: int = 1) -> Attendance:
    """Return the averages for a service factor X, as the tables are entered."""
    return finite_source(machines, 1 - factor, factor, attendants)


def running_of_one_attendant(machines: int, load: float, law: str | Callable[[float], float] = "constant") -> float:
    """Return how many of `machines` run on average with one attendant and any law of attention.

    `load` is attention over run, T / U. `law` is "constant", "exponential", or a function that gives the transform of
    the attention time at j times the call rate, ``phi(j)`` = E exp(-j attention / U). Takacs: ``P0 = 1 / (1 + N load
    sum_j C(N-1, j) prod_{i<=j} (1/phi(i) - 1))`` is the chance that all run, and ``(1 - P0) / load`` run on average.
    """
    if machines < 1 or not load > 0:
        raise ValueError("machines and load must be above 0")
    if law == "constant":
        transform: Callable[[float], float] = lambda j: math.exp(-j * load)  # noqa: E731
    elif law == "exponential":
        transform = lambda j: 1 / (1 + j * load)  # noqa: E731
    elif callable(law):
        transform = law
    else:
        raise ValueError(f"no law of attention {law!r}; there are constant and exponential")
    total, product = 0.0, 1.0
    for j in range(machines):
        if j:
            product *= 1 / transform(j) - 1
        total += math.comb(machines - 1, j) * product
    idle = 1 / (1 + machines * load * total)
    return (1 - idle) / load
