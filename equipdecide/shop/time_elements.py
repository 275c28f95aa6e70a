"""Where the hours of a week went: time elements and indicators of ISO 22400-2 from a shift calendar and a log of stops.

Elements [min]: planned operation (the shifts), planned busy (less planned downtime), busy (less time without an
order), processing (less delay), production (less set-up). Indicators say what they are over: a share of scheduled
hours and a share of staffed hours are different numbers. Overlapping records, stops outside the shifts, a meter that
went backwards and an effectiveness above 100 % are findings; nothing is clipped.

Source: ISO 22400-2 in a transcription of its draft (hsu-aut, IndustrialStandard-ODP-ISO22400-2, v2.0.0; read). The
draft's "quality rate" and "setup rate" are called quality ratio and set-up ratio in the edition of 2014 (from memory).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from equipdecide.calendar import FloatArray
from equipdecide.ledger import Finding
from equipdecide.scenario.time_log import KINDS, Stop, Stretch

__all__ = [
    "KINDS",
    "Indicator",
    "Output",
    "Stop",
    "Stretch",
    "TimeElements",
    "elements",
    "indicators",
    "meter_hours",
]

_CODE = {kind: k for k, kind in enumerate(KINDS)}


@dataclass(frozen=True)
class Indicator:
    """One indicator: its value (a plain ratio) and what it is over."""

    name: str
    value: float
    over: str


@dataclass(frozen=True)
class TimeElements:
    """Time elements of a stretch of work [min]."""

    planned_operation: float  # POT: the shifts
    planned_busy: float  # PBT: less planned downtime
    busy: float  # AUBT: less time without an order
    set_up: float  # AUST
    delay: float  # ADET
    failures: int = 0  # stops of kind delay

    @property
    def processing(self) -> float:
        """Set-up and production (AUPT) [min]."""
        return self.busy - self.delay

    @property
    def production(self) -> float:
        """Time in which value is added (APT) [min]."""
        return self.busy - self.delay - self.set_up

    @property
    def no_order(self) -> float:
        """Available without an order (ADOT) [min]."""
        return self.planned_busy - self.busy


@dataclass(frozen=True)
class Output:
    """What was made: planned minutes a piece, pieces produced, good, scrapped and reworked."""

    planned_minutes_each: float
    produced: float
    good: float
    scrap: float = 0.0
    rework: float = 0.0


def elements(shifts: Sequence[Stretch], stops: Sequence[Stop]) -> tuple[TimeElements, tuple[Finding, ...]]:
    """Return the time elements of the shifts and what is wrong with the records.

    A minute that stands in two records counts once, for the one that began first; how many there are is said. A stop
    outside the shifts counts for nothing and is said. Raises ValueError for a stretch that ends before it starts.
    """
    for stretch in (*shifts, *stops):
        if stretch.end < stretch.start:
            raise ValueError(f"a stretch ends at {stretch.end}, before it starts at {stretch.start}")
    findings = []
    spans = sorted(shifts, key=lambda shift: shift.start)
    twice = sum(max((a.end - b.start).total_seconds() / 60, 0.0) for a, b in zip(spans[:-1], spans[1:], strict=True))
    if twice:
        findings.append(
            Finding(
                "overlapping_shifts", f"Shifts overlap by {twice:,.0f} min: those minutes count once.", "", "warning"
            )
        )
    shift_list = _joined(spans)
    base = shift_list[0][0] if shift_list else dt.datetime(2000, 1, 1)
    edges = _minutes([edge for pair in shift_list for edge in pair], base)
    length = np.concatenate(([0.0], np.cumsum(np.where(np.arange(1, len(edges)) % 2, np.diff(edges), 0.0))))
    starts, ends = _minutes((stop.start for stop in stops), base), _minutes((stop.end for stop in stops), base)
    kinds = np.array([_CODE[stop.kind] for stop in stops], dtype=np.int64)
    order = np.lexsort((ends, starts))
    starts, ends, kinds = starts[order], ends[order], kinds[order]
    reached = np.concatenate(([-np.inf], np.maximum.accumulate(ends)[:-1])) if len(ends) else ends
    begun = np.minimum(np.maximum(starts, reached), ends)  # what stands in an earlier record counts there
    double = float((begun - starts).sum())
    inside = np.interp(ends, edges, length) - np.interp(begun, edges, length) if len(edges) else np.zeros(len(ends))
    outside = float((ends - begun).sum() - inside.sum())
    lost = dict(zip(KINDS, np.bincount(kinds, inside, len(KINDS)).tolist(), strict=True))
    if double:
        findings.append(
            Finding(
                "overlapping_stops",
                f"{double:,.0f} min stand in two records of stops; each counts once, for the record that began first.",
                "",
                "warning",
            )
        )
    if outside > 1e-6:
        findings.append(
            Finding(
                "outside_shifts",
                f"{outside:,.0f} min of stops lie outside every shift and count for nothing.",
                "",
                "warning",
            )
        )
    operation = float(length[-1])
    planned = operation - lost["planned downtime"]
    busy = planned - lost["no order"]
    failures = sum(stop.kind == "delay" for stop in stops)
    return TimeElements(operation, planned, busy, lost["set-up"], lost["delay"], failures), tuple(findings)


def _minutes(days: Iterable[dt.datetime], base: dt.datetime) -> FloatArray:
    return np.array([(day - base).total_seconds() for day in days], dtype=float) / 60


def _joined(spans: Sequence[Stretch]) -> list[tuple[dt.datetime, dt.datetime]]:
    found: list[tuple[dt.datetime, dt.datetime]] = []
    for span in spans:
        if found and span.start <= found[-1][1]:
            found[-1] = (found[-1][0], max(found[-1][1], span.end))
        else:
            found.append((span.start, span.end))
    return found


def indicators(time: TimeElements, output: Output | None = None) -> tuple[dict[str, Indicator], tuple[Finding, ...]]:
    """Return the indicators by name, and findings where a figure cannot be what it claims.

    OEE index = availability x effectiveness x quality ratio = planned minutes of the good pieces over planned busy
    time; NEE index counts set-up as working time. An indicator over nothing is left out. Mean times divide by the
    number of failures (the edition of 2014 divides by failures + 1: from memory, not confirmed).
    """
    rows = [
        ("allocation efficiency", time.busy, time.planned_busy, "planned busy time"),
        ("utilization efficiency", time.production, time.busy, "busy time"),
        ("availability", time.production, time.planned_busy, "planned busy time; set-up counts as a loss"),
        ("set-up ratio", time.set_up, time.processing, "processing time"),
        ("technical efficiency", time.production, time.production + time.delay, "production and delay"),
        ("mean time between failures", time.processing, float(time.failures), "failures [min]"),
        ("mean time to repair", time.delay, float(time.failures), "failures [min]"),
    ]
    findings = []
    if output is not None:
        planned_good = output.planned_minutes_each * output.good
        rows += [
            ("effectiveness", output.planned_minutes_each * output.produced, time.production, "production time"),
            ("quality ratio", output.good, output.produced, "pieces produced"),
            ("scrap ratio", output.scrap, output.produced, "pieces produced"),
            ("rework ratio", output.rework, output.produced, "pieces produced"),
            ("OEE index", planned_good, time.planned_busy, "planned busy time"),
            (
                "NEE index",
                planned_good * time.processing,
                time.planned_busy * time.production,
                "planned busy time; set-up counts as work",
            ),
            ("throughput rate", output.produced, time.busy / 60, "busy hours [1/h]"),
        ]
        if output.good + output.scrap > output.produced:
            findings.append(
                Finding(
                    "more_good_than_made",
                    f"{output.good:g} good and {output.scrap:g} scrapped pieces are more than the "
                    f"{output.produced:g} made.",
                    "",
                    "warning",
                )
            )
    found = {name: Indicator(name, part / whole, over) for name, part, whole, over in rows if whole > 0}
    fast = found.get("effectiveness")
    if fast is not None and fast.value > 1:
        findings.append(
            Finding(
                "effectiveness_over_1",
                f"Effectiveness is {fast.value:.1%}: pieces came faster than planned, so the planned minutes are "
                f"slack or pieces were counted twice. It is shown as it is.",
                "",
                "warning",
            )
        )
    if time.production < 0:
        findings.append(
            Finding(
                "more_stops_than_time",
                f"Stops take {-time.production:,.0f} min more than the shifts have.",
                "",
                "warning",
            )
        )
    return found, tuple(findings)


def meter_hours(readings: Sequence[tuple[dt.date, float]]) -> tuple[float, tuple[Finding, ...]]:
    """Return the hours that passed over a row of dated meter readings [h], counting on over every reset, and each
    reset.

    After a reading lower than the one before, only the new reading is certain: hours between the reset and the last
    reading before it are lost, so the sum is a lower bound. Raises ValueError with fewer than two readings.
    """
    if len(readings) < 2:
        raise ValueError("two readings of the meter are needed")
    rows = sorted(readings)
    values = np.array([value for _, value in rows])
    steps = np.diff(values)
    findings = [
        Finding(
            "meter_reset",
            f"The meter stands at {value:,.0f} h on {day}, below the {before:,.0f} h of {since}: it was reset or "
            f"changed, and the hours counted are a lower bound.",
            "",
            "warning",
        )
        for (since, before), (day, value) in zip(rows[:-1], rows[1:], strict=True)
        if value < before
    ]
    return float(np.where(steps >= 0, steps, values[1:]).sum()), tuple(findings)
