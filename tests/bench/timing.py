"""The clock of the bench: candidates take turns, medians of processor time, one thread; and the table of goals."""

from __future__ import annotations

import os
import random
import resource
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

ROUNDS = 5
THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMEXPR_NUM_THREADS", "RAYON_NUM_THREADS")
LINE = 118


def one_thread() -> None:
    """Keep every library to one thread: to be called before numpy is imported."""
    assert "numpy" not in sys.modules, "numpy has already counted its threads"
    os.environ.update(dict.fromkeys(THREADS, "1"))


def medians(candidates: Mapping[str, Callable[[], object]], rounds: int = ROUNDS) -> dict[str, float]:
    """Return the median processor time of each candidate [s]; in every round each runs once, in shuffled order.

    Each is run once unmeasured first: imports, caches, pages of memory.
    """
    spent: dict[str, list[float]] = {name: [] for name in candidates}
    names, order = list(candidates), random.Random(1)
    for name in names:
        candidates[name]()
    for _ in range(rounds):
        order.shuffle(names)
        for name in names:
            start = time.process_time()
            candidates[name]()
            spent[name].append(time.process_time() - start)
    return {name: statistics.median(values) for name, values in spent.items()}


def processes(commands: Mapping[str, Sequence[str]], rounds: int = ROUNDS + 2) -> dict[str, float]:
    """Return the median processor time of each command as a fresh process [s], taking turns; output is thrown away."""
    as_installed = {key: value for key, value in os.environ.items() if key != "PYTHONDONTWRITEBYTECODE"}
    spent: dict[str, list[float]] = {name: [] for name in commands}
    names, order = list(commands), random.Random(1)
    for turn in range(rounds + 1):  # the first warms the file cache
        order.shuffle(names)
        for name in names:
            start = _of_children()
            subprocess.run(commands[name], check=True, stdout=subprocess.DEVNULL, env=as_installed)
            if turn:
                spent[name].append(_of_children() - start)
    return {name: statistics.median(values) for name, values in spent.items()}


def _of_children() -> float:
    """Return the processor time of the processes that have ended [s], of the system on their behalf too."""
    spent = resource.getrusage(resource.RUSAGE_CHILDREN)
    return spent.ru_utime + spent.ru_stime


@dataclass
class Table:
    """The rows of the bench as they are printed, and the goals that were missed."""

    missed: list[tuple[str, str]] = field(default_factory=list)
    met: int = 0

    def heading(self, text: str, note: str = "") -> None:
        print(f"\n{text}" + (f"\n{note}" if note else ""))
        print("-" * LINE)

    def figure(self, what: str, measured: str) -> None:
        """Print a figure that has no goal."""
        print(f"  {what:<70} {measured:>20}")

    def goal(self, what: str, value: float, limit: float, at_most: bool, unit: str, closes: str = "") -> None:
        """Print a row with its goal; `closes` says what would close it where it is missed."""
        met = value <= limit if at_most else value >= limit
        goal = f"{'at most' if at_most else 'at least'} {limit:g}{unit}"
        shown = f"{value:,.0f}" if abs(value) >= 100 else f"{value:,.3g}"
        print(f"  {what:<70} {shown + unit:>20} {goal:>15}  {'met' if met else 'NOT MET'}", flush=True)
        self.met += met
        if not met:
            self.missed.append((f"{what}: {shown}{unit}, goal {goal}", closes))

    def summary(self) -> None:
        print(f"\nGoals met: {self.met}. Goals missed: {len(self.missed)}.")
        for what, closes in self.missed:
            print(f"- {what}.")
            if closes:
                print(f"  What would close it: {closes}")
