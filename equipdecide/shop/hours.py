"""Hours: staffed and night hours of each setup, and the capacity of the bottleneck over the study.

Night stops are taken as exponential: a night of window `w` runs `theta * (1 - exp(-w / theta))` hours on average,
never `w` (theory of reliability; `theta` is the mean running time between stops). A log is read with censoring: a
night that ran out its window counts its hours but no stop, so theta is total hours over stops.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from equipdecide.calendar import Date
from equipdecide.ledger import Column, Draft, Origin, sum_of
from equipdecide.plan import RAMP_DAYS, WORKING_DAYS, Plan, Setup
from equipdecide.scenario.amounts import decimal_text
from equipdecide.scenario.models import Running

RAN_OUT = "ran out"  # a log's reason that begins with these words is a night that was not stopped


@dataclass(frozen=True)
class NightLog:
    """What a log of evenings says: hours run [h], stops, and the mean time between stops with its 95 % interval [h].

    The interval is from the chi-square distribution, `2T / chi2(0.975; 2S + 2)` to `2T / chi2(0.025; 2S)`; with no
    stop there is only a lower bound, `2T / chi2(0.95; 2)`. Source: Epstein's interval for time-censored exponential
    life tests; standard reliability texts (from memory).
    """

    evenings: int
    hours: float
    stops: int
    low: float
    high: float | None

    @property
    def theta(self) -> float | None:
        """Mean running hours between stops [h]; None where nothing stopped."""
        return self.hours / self.stops if self.stops else None


def read_log(path: Path) -> NightLog:
    """Read a log of evenings (CSV with columns date, hours_run, reason). Checked for faults when the scenario is read."""
    from scipy.stats import chi2

    with path.open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    hours = float(sum(float(row["hours_run"]) for row in rows))
    stops = sum(not row["reason"].strip().lower().startswith(RAN_OUT) for row in rows)
    if not stops:
        return NightLog(len(rows), hours, 0, float(2 * hours / chi2.ppf(0.95, 2)), None)
    low = float(2 * hours / chi2.ppf(0.975, 2 * stops + 2))
    return NightLog(len(rows), hours, stops, low, float(2 * hours / chi2.ppf(0.025, 2 * stops)))


def setup_hours(draft: Draft, setup: Setup, folder: Path | None) -> Column:
    """Post the yearly hours of a setup once for all alternatives; returns its good standard hours a year [h/year]."""
    name = f"hours of {setup.name}"
    if name in draft:
        return draft[name]["good_hours"]
    running = setup.running
    assert isinstance(running, Running)
    w = draft.common.working(name, says=f"hours a year on {setup.name}", rule="hours")
    staffed, cutting = draft.input(running.staffed_hours), draft.input(running.cutting_share)
    w.formula("staffed_spindle_hours", "staffed * cutting", "h/year", "hours it cuts with people present", staffed=staffed, cutting=cutting)
    nights = running.nights
    if nights is not None:
        theta = _theta(draft, w_name=name, setup=setup, folder=folder)
        w.formula(
            "night_run",
            "theta * (1 - exp(-window / theta))",
            "h",
            "hours a night runs on average before something stops it",
            theta=theta,
            window=draft.input(nights.window),
        )
        w.formula("night_hours", "nights * night_run", "h/year", "hours it cuts alone", nights=draft.input(nights.nights))
    else:
        w.formula("night_hours", "0", "h/year", "hours it cuts alone")
    w.formula("spindle_hours", "staffed_spindle_hours + night_hours", "h/year", "hours the spindle cuts")
    factor = draft.input(running.cycle_factor) if running.cycle_factor else 1.0
    good = draft.input(running.good_share) if running.good_share else 1.0
    return w.formula(
        "good_hours",
        "spindle_hours / cycle_factor * good_share",
        "h/year",
        "good hours, counted at the standard time of each part",
        cycle_factor=factor,
        good_share=good,
    )


def _theta(draft: Draft, w_name: str, setup: Setup, folder: Path | None) -> Column:
    nights = setup.running.nights if setup.running else None
    assert nights is not None
    log = read_log(folder / nights.log) if nights.log and folder else None
    if nights.mean_between_stops is not None:
        if log is not None and log.theta is not None and abs(log.theta - nights.mean_between_stops.likely) > 0.05:
            draft.common.find(
                "log_differs",
                f"{setup.name}: the log gives {decimal_text(round(log.theta, 3))} h between stops ({log.hours:.1f} h, {log.stops} stops, "
                f"95 % interval {log.low:.2f} to {log.high:.2f}); the scenario uses {nights.mean_between_stops.likely:g} h.",
                nights.mean_between_stops.path,
            )
        return draft.input(nights.mean_between_stops)
    assert log is not None  # the checks of a scenario ask for one of the two
    value = log.theta if log.theta is not None else log.low
    if log.theta is None:
        draft.common.find(
            "no_stops", f"{setup.name}: no stop in {log.evenings} evenings; {log.low:.1f} h between stops is only a lower bound.", w_name
        )
    return draft[w_name].given("theta", value, "h", "mean running hours between stops", Origin("input", f"{w_name}.log", f"log, {log.evenings} evenings", "log"))


def length_in_years(plan: Plan) -> list[float]:
    """Return the length of each stretch [year]: days over the days of its calendar year, so that a full year is 1."""
    if plan.time.yearly:
        return [1.0] * len(plan.spans)
    return [
        float(days) / (366.0 if year % 4 == 0 and (year % 100 or year % 400 == 0) else 365.0)
        for days, year in zip(plan.spans.days, (day.year for day in plan.spans.starts), strict=True)
    ]


def capacity(draft: Draft, plan: Plan, folder: Path | None) -> None:
    """Post good hours available in each stretch: what is at work, less what change-over and learning cost."""
    spans = plan.spans
    w = draft.working("capacity", spans, "good standard hours of the bottleneck, stretch by stretch", "capacity")
    w.given("years", length_in_years(plan), "year", "length of the stretch", Origin("calendar", "days"))
    at_work = [plan.at_work(day) for day in spans.starts]
    offered, lost = [], []
    for k, setup in enumerate(plan.working):
        hours = setup_hours(draft, setup, folder)
        flags = [1.0 if found is setup else 0.0 for found in at_work]
        if not any(flags):
            continue
        w.given(f"at_work_{k}", flags, "1", f"{setup.name} does the work", Origin("choice", f"steps of {plan.name}"), spans)
        offered.append(
            w.formula(f"offered_{k}", "at_work * good_hours * years", "h", f"good hours of {setup.name}", at_work=w[f"at_work_{k}"], good_hours=hours)
        )
        if setup.installed and (setup.source.down_days or setup.source.ramp_loss):
            window = _window(plan, setup.first)
            w.given(f"learning_{k}", window, "1", f"share of the first quarter after {setup.name} is in", Origin("choice", f"steps of {plan.name}"), spans)
            down = draft.input(setup.source.down_days) if setup.source.down_days else 0.0
            ramp = draft.input(setup.source.ramp_loss) if setup.source.ramp_loss else 0.0
            lost.append(
                w.formula(
                    f"lost_{k}",
                    f"share * (down * good_hours / {WORKING_DAYS} + ramp)",
                    "h",
                    f"good hours lost to change-over and learning on {setup.name}",
                    share=w[f"learning_{k}"],
                    down=down,
                    good_hours=hours,
                    ramp=ramp,
                )
            )
    sum_of(w, "offered", offered, "h", "good hours before losses")
    sum_of(w, "lost", lost, "h", "good hours lost to change-over and learning")
    w.formula("hours", "max(offered - lost, 0)", "h", "good hours available")
    idle = [day for day, found in zip(spans.starts, at_work, strict=True) if found is None]
    if plan.working and idle and not _gone_for_good(plan):
        draft.find("gap", f"{plan.name}: from {idle[0]} there is no machine for this work until the next one is in.", plan.name, "warning")


def _gone_for_good(plan: Plan) -> bool:
    return plan.at_work(plan.spans.starts[-1]) is None


def _window(plan: Plan, first: Date) -> list[float]:
    if plan.time.yearly:
        begun = sum(day <= first for day in plan.spans.ends)
        return [1.0 if row == begun else 0.0 for row in range(len(plan.spans))]
    begin, last = first.toordinal(), first.toordinal() + RAMP_DAYS - 1
    overlap = np.minimum(plan.spans.last_days, last) - np.maximum(plan.spans.first_days, begin) + 1
    share = np.clip(overlap, 0, None) / RAMP_DAYS
    return [float(value) for value in share]
