"""Where the hours of each machine went: time elements and indicators of its shifts, from the files a scenario names."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from equipdecide.ledger import Finding
from equipdecide.scenario.models import Scenario, Times
from equipdecide.scenario.time_log import read_meter, read_shifts, read_stops
from equipdecide.shop.time_elements import Indicator, Output, TimeElements, elements, indicators, meter_hours
from equipdecide.showing import Shown


@dataclass(frozen=True)
class Element:
    """One time element: hours [h], their share of the shifts and of the calendar from the first shift to the last."""

    name: str
    hours: float
    of_shifts: float | None
    of_calendar: float
    says: str


@dataclass(frozen=True)
class TimesOfOne:
    """One machine: its elements, its indicators by name, hours that passed on its meter (None without), findings."""

    name: str
    begin: dt.datetime
    end: dt.datetime
    elements: tuple[Element, ...]
    indicators: Mapping[str, Indicator]
    meter_hours: float | None
    findings: tuple[Finding, ...]

    def __getitem__(self, name: str) -> Element:
        return next(one for one in self.elements if one.name == name)


@dataclass(frozen=True, eq=False, repr=False)
class TimesResult(Shown):
    """Every machine that names files of its shifts and stops."""

    scenario: Scenario
    machines: tuple[TimesOfOne, ...]

    def to_json(self) -> dict[str, object]:
        """Return plain data with fixed keys; shares are fractions. Keys are added, never renamed."""
        return {
            "machines": [
                {
                    "name": one.name,
                    "from": one.begin.isoformat(),
                    "to": one.end.isoformat(),
                    "elements": [
                        {
                            "name": e.name,
                            "hours": e.hours,
                            "of_shifts": e.of_shifts,
                            "of_calendar": e.of_calendar,
                            "says": e.says,
                        }
                        for e in one.elements
                    ],
                    "indicators": [{"name": i.name, "value": i.value, "over": i.over} for i in one.indicators.values()],
                    "meter_hours": one.meter_hours,
                    "findings": [{"code": f.code, "text": f.text} for f in one.findings],
                }
                for one in self.machines
            ]
        }


def times(scenario: Scenario, machine: str | None = None) -> TimesResult:
    """Return where the hours of every machine with files went, or of one. Raises KeyError for an unknown machine."""
    if machine is not None and machine not in scenario.machines:
        raise KeyError(f"no machine is named {machine}; there are {', '.join(scenario.machines)}")
    folder = scenario.source.folder
    found = [
        _of_one(name, owned.times, folder)
        for name, owned in scenario.machines.items()
        if owned.times is not None and folder is not None and machine in (None, name)
    ]
    return TimesResult(scenario, tuple(found))


def _of_one(name: str, entry: Times, folder: Path) -> TimesOfOne:
    def lines(file: str) -> list[str]:
        return (folder / file).read_text(encoding="utf-8-sig").splitlines()

    shifts, _ = read_shifts(lines(entry.shifts), entry.shifts)  # their faults are reported when a scenario is read
    stops, _ = read_stops(lines(entry.stops), entry.stops)
    time, findings = elements(shifts, stops)
    output = None
    if entry.minutes_each is not None and entry.produced is not None and entry.good is not None:
        output = Output(
            float(entry.minutes_each),
            float(entry.produced),
            float(entry.good),
            float(entry.scrap) if entry.scrap is not None else 0.0,
            float(entry.rework) if entry.rework is not None else 0.0,
        )
    shown, more = indicators(time, output)
    findings += more
    passed = None
    if entry.meter is not None:
        passed, more = meter_hours(read_meter(lines(entry.meter), entry.meter)[0])
        findings += more
    begin, end = min(shift.start for shift in shifts), max(shift.end for shift in shifts)
    return TimesOfOne(name, begin, end, _elements(time, begin, end), shown, passed, findings)


def _elements(time: TimeElements, begin: dt.datetime, end: dt.datetime) -> tuple[Element, ...]:
    calendar = max((end - begin).total_seconds() / 60, 1.0)
    rows = (
        ("planned operation", time.planned_operation, "the shifts"),
        ("planned downtime", time.planned_operation - time.planned_busy, "planned beforehand: service, breaks"),
        ("planned busy", time.planned_busy, "the shifts less planned downtime"),
        ("no order", time.no_order, "could have run, had nothing to do"),
        ("busy", time.busy, "planned busy less no order"),
        ("delay", time.delay, "stopped unplanned"),
        ("processing", time.processing, "busy less delay"),
        ("set-up", time.set_up, "set-up"),
        ("production", time.production, "processing less set-up"),
    )
    whole = time.planned_operation
    return tuple(Element(name, m / 60, m / whole if whole else None, m / calendar, says) for name, m, says in rows)
