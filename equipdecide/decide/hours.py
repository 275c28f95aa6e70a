"""Hours by alternative: what the nights' log says, what each course cuts, and what a spindle hour earns.

Figures are of the first full year of the study (anniversaries of the decision) after everything of the plan is in
place: purchases in service, machines sold handed over. Nothing is averaged over change-over or learning.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from equipdecide import calendar as cal
from equipdecide.calendar import Date
from equipdecide.decide.named import named
from equipdecide.decide.page_figures import Staircase, staircase_of
from equipdecide.evaluate import Evaluation, evaluate
from equipdecide.ledger import Ledger
from equipdecide.plan import Plan
from equipdecide.scenario.models import Scenario
from equipdecide.shop.nights import NightLog, SurvivalCurve, expected_hours, read_log, shape_in_words, survival_curve
from equipdecide.showing import Shown

THE_MACHINE = "the machine"
ORDERS = "orders"
WINDOWS = (2.0, 4.0, 6.0, 8.0, 10.0, 12.0)  # hours of a night for which the run to expect is shown

DEFINITION = (
    "First full year of the study after everything of the plan is in place. Hours cut are spindle "
    "hours in cut; good standard "
    "hours are those at the standard time of each part, scrap taken out. Profit a spindle hour is contribution less "
    "upkeep and other yearly costs of the machines, over the hours the spindle cuts; overhead, "
    "loans and tax are not in it."
)


@dataclass(frozen=True)
class HoursOfOne:
    """One alternative in its first full year in place. None where hours are not modelled, or no such year is left.

    `staffed_hours` and `night_hours` [h/year] are hours the spindle cuts with people present (mornings after a stop,
    `recovery_hours`, taken off) and alone, both before days down after a crash, `crash_hours`;
    `good_standard_hours` [h/year] what they make at standard time, `contribution` [currency/year],
    `profit_per_spindle_hour` [currency/h].
    """

    name: str
    year_from: Date | None
    staffed_hours: float | None
    night_hours: float | None
    good_standard_hours: float | None
    contribution: float | None
    profit_per_spindle_hour: float | None
    limits: Mapping[str, float] = field(default_factory=dict)  # hours a year at which each becomes the limit
    recovery_hours: float | None = None  # taken off the staffed hours: mornings after a stop [h/year]
    crash_hours: float | None = None  # taken off both: days down after a crash [h/year]
    waiting_hours: float | None = None  # taken off the staffed hours: the machine waits for somebody [h/year]

    @property
    def limit(self) -> str | None:
        """What is the limit: the machine, orders, or another station; None where hours are not modelled."""
        return min(self.limits, key=lambda name: self.limits[name]) if self.limits else None


@dataclass(frozen=True, eq=False, repr=False)
class HoursResult(Shown):
    """Hours of every alternative; `night` is the log of the machine in question, None without one."""

    scenario: Scenario
    night: NightLog | None
    alternatives: tuple[HoursOfOne, ...]
    stairs: Staircase | None = None
    definition: str = DEFINITION

    def __getitem__(self, name: str) -> HoursOfOne:
        return named(self.alternatives, name, "alternative")

    def over_keep(self, name: str) -> tuple[float, float] | None:
        """Good hours of a course over those of keeping [h/year], and what they can earn [currency/year].

        The area under the stairs between the two, with the orders of the first year; None where there are no stairs or
        hours of one are not modelled.
        """
        keep, other = (self[each].good_standard_hours for each in ("keep", name))
        if self.stairs is None or keep is None or other is None:
            return None
        return other - keep, self.stairs.worth(keep, other)

    @property
    def shape(self) -> str:
        """What the shape of the times between stops speaks for, in words; empty without a log or with too few stops."""
        fit = self.night.weibull if self.night is not None else None
        if fit is None:
            return ""
        return (
            f"Weibull shape {fit.beta:.2f} (95 % interval {fit.beta_low:.2f} to {fit.beta_high:.2f}): "
            f"{shape_in_words(fit)}. Under the machine's nights `shape: {fit.beta_low:.2f} .. {fit.beta:.2f} .. "
            f"{fit.beta_high:.2f}` figures with it."
        )

    @property
    def survival(self) -> SurvivalCurve | None:
        """The chance of still running by the log and by the fitted laws; None without a log."""
        return None if self.night is None else survival_curve(self.night)

    @property
    def windows(self) -> dict[float, tuple[float, float | None, float | None]]:
        """Hours to count on in a night of so many hours [h]: at the log's mean, and at the ends of its interval."""
        night = self.night
        if night is None:
            return {}

        def run(window: float, theta: float | None) -> float | None:
            return None if theta is None else float(expected_hours(window, theta))

        return {
            w: (float(expected_hours(w, night.theta or night.low)), run(w, night.low), run(w, night.high))
            for w in sorted({*WINDOWS, float(night.run.max())})
        }

    def to_json(self) -> dict[str, object]:
        """Return plain data with fixed keys: keys are added, never renamed."""
        night = self.night
        keys = (
            "staffed_hours",
            "night_hours",
            "recovery_hours",
            "crash_hours",
            "waiting_hours",
            "good_standard_hours",
            "contribution",
            "profit_per_spindle_hour",
        )
        return {
            "night": None if night is None else night.to_json(),
            "alternatives": [
                {"name": entry.name, "year_from": entry.year_from.isoformat() if entry.year_from else None}
                | {key: getattr(entry, key) for key in keys}
                | {"limits": dict(entry.limits), "limit": entry.limit}
                | dict(
                    zip(
                        ("hours_over_keep", "hours_over_keep_earn"),
                        self.over_keep(entry.name) or (None, None),
                        strict=True,
                    )
                )
                for entry in self.alternatives
            ],
            "windows": [
                {"window": w, "hours": mean, "low": low, "high": high} for w, (mean, low, high) in self.windows.items()
            ],
            "definition": self.definition,
        }


def hours(scenario: Scenario, evaluation: Evaluation | None = None) -> HoursResult:
    """Return the nights' log and the hours of every alternative. `evaluation` saves evaluating again."""
    evaluation = evaluation or evaluate(scenario)
    courses = tuple(_of_one(evaluation, name) for name in evaluation.ledgers)
    return HoursResult(
        scenario, _log(scenario), courses, staircase_of(evaluation) if "keep" in evaluation.ledgers else None
    )


def _log(scenario: Scenario) -> NightLog | None:
    folder = scenario.source.folder
    for machine in scenario.machine_in_question:
        running = scenario.machines[machine].running
        if folder is not None and running is not None and running.nights is not None and running.nights.log:
            return read_log(folder / running.nights.log)
    return None


def _first_full_year(plan: Plan) -> Date | None:
    """Return the first anniversary of the decision from which all steps are done, with a whole year still to run."""
    done = max([plan.time.start, plan.first_good_part, *(s.handed_over for s in plan.sales if not s.at_end)])
    years = (cal.add_years(plan.time.start, k) for k in range(plan.scenario.study.years))
    return next((begin for begin in years if begin >= done and cal.add_years(begin, 1) <= plan.time.end), None)


def _of_one(evaluation: Evaluation, name: str) -> HoursOfOne:
    plan, ledger = evaluation.plans[name], evaluation[name]
    begin = _first_full_year(plan)
    if begin is None or not any(other.working for other in evaluation.plans.values()):
        return HoursOfOne(name, begin, None, None, None, None, None)
    end = cal.add_years(begin, 1)
    starts, ends = np.array(plan.spans.starts), np.array(plan.spans.ends)
    rows = np.flatnonzero((starts >= begin) & (starts < end) & (ends <= end))

    def in_year(full_name: str) -> float:
        working, _, column = full_name.partition(".")
        if working not in ledger.workings or column not in ledger.workings[working]:
            return 0.0
        return float(ledger.column(full_name).per_row()[rows].sum())

    at_work = [(plan.at_work(plan.spans.starts[k]), float(ledger.column("capacity.years").per_row()[k])) for k in rows]
    length = sum(share for _, share in at_work)

    def a_year(column: str) -> float:
        found = [
            (ledger.column(f"hours of {setup.name}.{column}").figure(), share)
            for setup, share in at_work
            if setup is not None and column in ledger.workings[f"hours of {setup.name}"]
        ]
        return sum(value * share for value, share in found) / length

    contributed = in_year("contribution.contribution") if "contribution" in ledger.workings else None
    spindle = a_year("spindle_hours")
    profit = None
    if contributed is not None and spindle > 0:
        earned = contributed + in_year("upkeep.earnings") - in_year("upkeep.upkeep") - in_year("upkeep.running_costs")
        profit = earned / (spindle * length)
    good = a_year("good_hours")
    limits = {THE_MACHINE: good}
    if contributed is not None and good > 0:
        limits |= _other_limits(plan, ledger, rows)
    return HoursOfOne(
        name,
        begin,
        a_year("staffed_spindle_hours"),
        a_year("night_hours"),
        good,
        contributed,
        profit,
        limits if good > 0 else {},
        a_year("recovery_hours"),
        a_year("crash_hours"),
        a_year("waiting_hours"),
    )


def _other_limits(plan: Plan, ledger: Ledger, rows: NDArray[np.int64]) -> dict[str, float]:
    """Return the good hours a year of the machine at which orders, and each other station, become the limit [h/year].

    A station whose minutes are given by the piece is followed along the order of making: what must ship first, then
    the best contribution an hour; it is named only where it runs out before the orders do.
    """
    length = float(ledger.column("capacity.years").per_row()[rows].sum())
    order: list[tuple[str, float]] = []  # part, hours a year, in the order they are made
    for suffix, rank in (("must ship", "advantage"), ("could sell", "per_hour")):
        found = []
        for name in plan.scenario.parts:
            column = f"{name}: {suffix}"
            if column in ledger.workings["contribution"]:
                wanted = float(ledger.column(f"contribution.{column}").per_row()[rows].sum()) / length
                found.append((ledger.column(f"part {name}.{rank}").figure(), name, wanted))
        order += [(name, wanted) for _, name, wanted in sorted(found, key=lambda one: -one[0])]
    limits = {ORDERS: sum(wanted for _, wanted in order)}
    for station, amount in plan.scenario.shop.other_limits.items():
        by_piece = {
            name: part.elsewhere[station] for name, part in plan.scenario.parts.items() if station in part.elsewhere
        }
        if not by_piece:
            limits[station] = float(amount)
            continue
        left, at = float(amount), 0.0
        for name, wanted in order:
            each = ledger.column(f"part {name}.hours_each").figure()
            share = float(by_piece[name]) / 60 / each if name in by_piece else 0.0  # its hours an hour of the machine
            if share * wanted > left:
                limits[station] = at + left / share
                break
            left, at = left - share * wanted, at + wanted
    return limits
