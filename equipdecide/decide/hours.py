"""Hours by alternative: what the nights' log says, what each course cuts, and what a spindle hour earns.

Figures are of the first full year of the study (anniversaries of the decision) after everything of the plan is in
place: purchases in service, machines sold handed over. Nothing is averaged over change-over or learning.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from equipdecide import calendar as cal
from equipdecide.calendar import Date
from equipdecide.decide.named import named
from equipdecide.evaluate import Evaluation, evaluate
from equipdecide.plan import Plan
from equipdecide.scenario.models import Scenario
from equipdecide.shop.nights import NightLog, read_log, shape_in_words
from equipdecide.showing import Shown

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

    `staffed_hours` and `night_hours` [h/year] are hours the spindle cuts with people present and alone,
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


@dataclass(frozen=True, eq=False, repr=False)
class HoursResult(Shown):
    """Hours of every alternative; `night` is the log of the machine in question, None without one."""

    scenario: Scenario
    night: NightLog | None
    alternatives: tuple[HoursOfOne, ...]
    definition: str = DEFINITION

    def __getitem__(self, name: str) -> HoursOfOne:
        return named(self.alternatives, name, "alternative")

    @property
    def shape(self) -> str:
        """What the shape of the times between stops speaks for, in words; empty without a log or with too few stops."""
        fit = self.night.weibull if self.night is not None else None
        if fit is None:
            return ""
        return f"Weibull shape {fit.beta:.2f} (95 % interval {fit.beta_low:.2f} to {fit.beta_high:.2f}): {shape_in_words(fit)}."

    def to_json(self) -> dict[str, object]:
        """Return plain data with fixed keys: keys are added, never renamed."""
        night = self.night
        keys = ("staffed_hours", "night_hours", "good_standard_hours", "contribution", "profit_per_spindle_hour")
        return {
            "night": None if night is None else night.to_json(),
            "alternatives": [
                {"name": entry.name, "year_from": entry.year_from.isoformat() if entry.year_from else None}
                | {key: getattr(entry, key) for key in keys}
                for entry in self.alternatives
            ],
            "definition": self.definition,
        }


def hours(scenario: Scenario, evaluation: Evaluation | None = None) -> HoursResult:
    """Return the nights' log and the hours of every alternative. `evaluation` saves evaluating again."""
    evaluation = evaluation or evaluate(scenario)
    return HoursResult(scenario, _log(scenario), tuple(_of_one(evaluation, name) for name in evaluation.ledgers))


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
            if setup is not None
        ]
        return sum(value * share for value, share in found) / length

    contributed = in_year("contribution.contribution") if "contribution" in ledger.workings else None
    spindle = a_year("spindle_hours")
    profit = None
    if contributed is not None and spindle > 0:
        earned = contributed + in_year("upkeep.earnings") - in_year("upkeep.upkeep") - in_year("upkeep.running_costs")
        profit = earned / (spindle * length)
    return HoursOfOne(
        name, begin, a_year("staffed_spindle_hours"), a_year("night_hours"), a_year("good_hours"), contributed, profit
    )
