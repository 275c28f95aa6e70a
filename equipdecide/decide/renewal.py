"""In which year to replace, where new machines get cheaper or better every year.

The course that replaces is taken as the file has it and begun in any year of the study, again and again if that pays:
its price and change-over, what it earns and costs to run in its first, second, third year, what its machine brings at
each age. Solved by dynamic programming over years and vintages. Before tax, without loans: a question of timing beside
the comparison, not in place of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from equipdecide.calendar import Axis, Date, FloatArray
from equipdecide.decide.put_off import value_after
from equipdecide.evaluate import evaluate
from equipdecide.ledger import Ledger, Line
from equipdecide.measures import Renewal, replacement_by_vintage
from equipdecide.parameters import Law
from equipdecide.plan import Plan
from equipdecide.scenario.models import Buy, Scenario, Sell
from equipdecide.showing import Shown

if TYPE_CHECKING:
    import pandas as pd

LOOKED_TO = 0.5  # yearly changes looked through for the one at which waiting pays ...
STEP = 0.005  # ... in steps of so much


@dataclass(frozen=True, eq=False, repr=False)
class ReplaceWhen(Shown):
    """A machine and those that may follow it, year by year, before tax and loans. Money in the scenario's currency."""

    machine: str
    course: str
    new: str  # the machine that the course buys
    cheaper: float  # fall of the price from one year's new machine to the next [fraction]
    better: float  # growth of what it earns more, from one year's new machine to the next [fraction]
    decision: Date
    price: float  # of the new machine of today
    change_over: float  # all else that is spent to replace
    value: FloatArray  # (years + 1,) what the machine owned brings at the start of each year; last: at the end
    kept: FloatArray  # (years,) net running money of the shop if it is kept
    renewed: FloatArray  # (years,) the same in the first, second ... year of the course
    plan: Renewal  # worth of the best plan by year of the first replacement
    waits_if_cheaper: (
        float | None
    )  # least yearly fall of the price at which waiting is best; None: none up to LOOKED_TO
    waits_if_better: float | None  # least yearly growth of the advantage at which waiting is best; None likewise
    rate: float  # [1/year]

    @property
    def years(self) -> int:
        """Years of the study."""
        return len(self.kept)

    @property
    def over_never(self) -> FloatArray:
        """Worth of replacing first in year 0, 1, ... over never replacing (years,)."""
        table = np.asarray(self.plan.worth_if_first)
        over: FloatArray = table[:-1] - table[-1]
        return over

    @property
    def first(self) -> int | None:
        """Years from the decision to the first replacement of the best plan; None: never within the study."""
        return int(self.plan.first) if int(self.plan.first) < self.years else None

    def to_json(self) -> dict[str, object]:
        """Return plain data with fixed keys: keys are added, never renamed."""
        return {
            "machine": self.machine,
            "course": self.course,
            "new_machine": self.new,
            "cheaper_a_year": self.cheaper,
            "better_a_year": self.better,
            "price": self.price,
            "change_over": self.change_over,
            "first": self.first,
            "waits_if_cheaper": self.waits_if_cheaper,
            "waits_if_better": self.waits_if_better,
            "replaced": list(self.plan.replaced),
            "years": self._rows(),
        }

    def to_frame(self) -> pd.DataFrame:
        """Return a tidy pandas frame, one row a year of first replacement; money in columns that end in `_usd`."""
        import pandas as pd

        return pd.DataFrame(self._rows()).rename(columns=lambda name: name if name == "year" else f"{name}_usd")

    def _rows(self) -> list[dict[str, float]]:
        return [
            {
                "year": k,
                "price_then": self.price * (1 - self.cheaper) ** k,
                "value_then": float(self.value[k]),
                "kept_that_year": float(self.kept[k]),
                "course_in_that_year_of_its_own": float(self.renewed[k]),
                "worth_over_never": float(self.over_never[k]),
            }
            for k in range(self.years)
        ]


def replace_when(
    scenario: Scenario,
    course: str | None = None,
    machine: str | None = None,
    cheaper: float = 0.0,
    better: float = 0.0,
    law: Law | None = None,
) -> ReplaceWhen:
    """Return in which year of the study to replace a machine by what a course buys, and whether again.

    `course` must sell the machine and buy one (left out: the first that does); `machine` is the first in question if
    left out. Each year's new machine costs `cheaper` [fraction] less than that of the year before, change-over the
    same, and earns `better` [fraction] more over the one owned. What a machine brings falls at an even yearly rate to
    what is entered for the end of the study. Raises KeyError for unknown names or where no course fits, ValueError for
    shares that cannot be.
    """
    if not (np.isfinite(cheaper) and cheaper < 1 and np.isfinite(better) and better > -1):
        raise ValueError(
            "a price can fall by less than 100 % a year, and an advantage by no more than 100 % a year: "
            f"{100 * cheaper:g} % and {100 * better:g} % were given."
        )
    machine = machine or scenario.machine_in_question[0]
    if machine not in scenario.machines:
        raise KeyError(f"no machine {machine!r}; there are {', '.join(scenario.machines)}")
    if course is not None and course not in scenario.alternatives:
        raise KeyError(f"no alternative {course!r}; there are {', '.join(scenario.alternatives)}")
    fitting = [name for name in scenario.alternatives if _replaces(scenario, name, machine)]
    if not fitting or course not in (None, *fitting):
        said = f"{course!r} does not" if course else "no course of this file does"
        raise KeyError(f"to replace {machine!r} a course must sell it and buy another machine; {said}")
    course = course or fitting[0]
    steps = scenario.alternatives[course]
    sell = next(step for step in steps if isinstance(step, Sell) and step.machine == machine)
    new = next(step.machine for step in steps if isinstance(step, Buy))
    found = evaluate(scenario, only=["keep", course], law=law)
    kept, renewed = (_running(found.plans[name], found[name]) for name in ("keep", course))
    prices = scenario.machines[new].price
    price = prices.likely if prices is not None else 0.0
    spent = -sum(
        float(line.amounts().sum())
        for line in found[course].lines
        if line.group == "investment" and not line.name.startswith("sale of ")
    )
    n, rate = scenario.study.years, scenario.study.rate.likely
    value = np.array([value_after(scenario, machine, scenario.offers[sell.by].price.likely, k) for k in range(n + 1)])
    brings = np.array([value_after(scenario, new, price, k) for k in range(n + 1)])

    def planned(cheaper: FloatArray, better: FloatArray) -> Renewal:
        # yearly changes of shape () or (trials,); the years come first
        t = np.arange(n).reshape(-1, *[1] * cheaper.ndim)
        fallen, grown = (1 - cheaper) ** t, (1 + better) ** t
        more = np.maximum(renewed - kept, 0.0).reshape(1, -1, *[1] * cheaper.ndim)
        earned = renewed.reshape(more.shape) + (grown[:, None] - 1.0) * more
        resale = fallen[:, None] * brings.reshape(1, -1, *[1] * cheaper.ndim)
        return replacement_by_vintage(kept, value, price * fallen + (spent - price), earned, resale, rate)

    looked = np.arange(0.0, LOOKED_TO + STEP / 2, STEP)

    def least(plans: Renewal) -> float | None:
        waits = np.flatnonzero(np.asarray(plans.first) > 0)
        return float(looked[waits[0]]) if waits.size else None

    return ReplaceWhen(
        machine,
        course,
        new,
        cheaper,
        better,
        scenario.decision_date,
        price,
        spent - price,
        value,
        kept,
        renewed,
        planned(np.asarray(cheaper), np.asarray(better)),
        least(planned(looked, np.full_like(looked, better))),
        least(planned(np.full_like(looked, cheaper), looked)),
        rate,
    )


def _replaces(scenario: Scenario, course: str, machine: str) -> bool:
    steps = scenario.alternatives[course]
    return any(isinstance(step, Sell) and step.machine == machine for step in steps) and any(
        isinstance(step, Buy) for step in steps
    )


def _running(plan: Plan, ledger: Ledger) -> FloatArray:
    """Return the net operating money of the shop by year of the study (years,) [currency]."""
    totals = np.zeros(plan.scenario.study.years)
    for line in ledger.lines:
        if line.group == "operating":
            np.add.at(totals, _years_of(plan, _days(line), line.column.axis), line.amounts())
    return totals


def _days(line: Line) -> Sequence[Date]:
    return line.dates if line.dates is not None else line.column.axis.starts


def _years_of(plan: Plan, days: Sequence[Date], axis: Axis) -> NDArray[np.int64]:
    """Return the year of the study that each day is in; in a study by years the row is the year."""
    if plan.time.yearly:
        return np.arange(len(axis))
    start = plan.time.start
    passed = [(day.year - start.year) - ((day.month, day.day) < (start.month, start.day)) for day in days]
    return np.minimum(np.array(passed, dtype=np.int64), plan.scenario.study.years - 1)
