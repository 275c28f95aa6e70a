"""Hours and profit of the courses as a table, with the nights of the log and what the limit is."""

from __future__ import annotations

from collections.abc import Callable
from html import escape

from equipdecide.cautions import caution
from equipdecide.decide.hours import HoursResult
from equipdecide.showing import shows
from equipdecide.views.grid import WIDTH, Grid, Row
from equipdecide.words import cents, money, number, whole, wrap


def hours_grid(result: HoursResult) -> Grid:
    """Return hours and profit by alternative as a grid."""

    def row(label: str, key: str, write: Callable[[float], str]) -> Row:
        values = [getattr(entry, key) for entry in result.alternatives]
        return Row(label, tuple("" if value is None else write(value) for value in values))

    rows = (
        row("hours cut, staffed", "staffed_hours", whole),
        row("hours cut alone", "night_hours", whole),
        *(
            row(label, key, whole)
            for label, key in (
                ("waiting for somebody, taken off", "waiting_hours"),
                ("mornings after a stop, taken off", "recovery_hours"),
                ("days down after a crash", "crash_hours"),
            )
            if any(getattr(entry, key) for entry in result.alternatives)
        ),
        row("good standard hours", "good_standard_hours", whole),
        *_over_keep_rows(result),
        row("contribution", "contribution", money),
        row("profit a spindle hour", "profit_per_spindle_hour", cents),
        *_limit_rows(result),
    )
    return Grid(tuple(entry.name for entry in result.alternatives), rows)


def _over_keep_rows(result: HoursResult) -> tuple[Row, ...]:
    """Return the good hours of each course over keeping, and the area under the stairs that they span."""
    found = [result.over_keep(entry.name) if entry.name != "keep" else None for entry in result.alternatives]
    if not any(found):
        return ()
    return (
        Row("good hours over keeping", tuple("" if one is None else whole(one[0], plus=True) for one in found)),
        Row("  what these can earn", tuple("" if one is None else money(one[1], plus=True) for one in found)),
        Row("  an hour of them", tuple("" if one is None or not one[0] else cents(one[1] / one[0]) for one in found)),
    )


def _limit_rows(result: HoursResult) -> tuple[Row, ...]:
    """Return what the limit is in each course, and the hour of the machine at which each of the others becomes it."""
    others = list(dict.fromkeys(name for entry in result.alternatives for name in entry.limits))[1:]
    if not others:
        return ()
    rows = [Row("the limit is", tuple(entry.limit or "" for entry in result.alternatives), line_above=True)]
    for name in others:
        cells = tuple(f"{whole(e.limits[name])} h" if name in e.limits else "" for e in result.alternatives)
        rows.append(Row(f"{name} would be from", cells))
    return tuple(rows)


def _windows_words(result: HoursResult) -> str:
    """Say how many hours of a night may be counted on, by the length of the night."""
    found = "; ".join(
        f"{number(window, 1)} h run {number(mean, 1)}"
        + (f" ({number(low, 1)} to {number(high, 1)})" if low is not None and high is not None else "")
        for window, (mean, low, high) in result.windows.items()
    )
    return f"Hours to count on by the log, on average, with its interval: a night of {found}. A longer night brings ever less."


def hours_foot(result: HoursResult) -> str:
    """Return what the rows count."""
    said = result.definition
    if _over_keep_rows(result):
        said += (
            " What hours over keeping can earn: what must ship first, then the best contribution an hour up to what "
            "can be sold, each further hour bringing less (the area under the staircase)."
        )
    return said


def hours_text(result: HoursResult, width: int = WIDTH) -> str:
    """Return the log of nights, the hours of each alternative and the definitions as text."""
    lines = []
    if result.night is not None:
        night = result.night
        between = f"{number(night.theta, 3)} h between stops" if night.theta is not None else "no stop"
        reach = (
            f"{number(night.low)} to {number(night.high)} h"
            if night.high is not None
            else f"at least {number(night.low)} h"
        )
        lines += wrap(
            f"Nights alone, from the log: {number(night.hours, 1)} h run, {night.stops} stops: {between} (95 % "
            f"interval {reach}).",
            width,
        )
        if night.stops:
            reasons = "; ".join(f"{cause.reason} {cause.stops}" for cause in night.causes)
            lines += wrap(
                f"By reason: {reasons}. The nights that stopped ran {number(night.naive_mean(), 1)} h on average, "
                f"which is no mean time between stops: it leaves out the good nights.",
                width,
            )
        if result.shape:
            lines += wrap(result.shape, width)
        lines += [*wrap(_windows_words(result), width), ""]
    if all(entry.staffed_hours is None for entry in result.alternatives):
        return "\n".join(
            [
                *lines,
                *wrap(
                    "No hours of the machines are given, so there are none to compare: `running` "
                    "of a machine, and `parts`, say them.",
                    width,
                ),
            ]
        )
    lines += [hours_grid(result).text(width), ""]
    lines += wrap(hours_foot(result), width)
    if any(entry.night_hours for entry in result.alternatives):
        lines += ["", *wrap(caution("unattended").text, width)]
    return "\n".join(lines)


def hours_html(result: HoursResult) -> str:
    """Return the hours as an HTML fragment."""
    return f'<div class="mathjax_ignore">{hours_grid(result).html()}<p>{escape(hours_foot(result))}</p></div>'


shows(HoursResult, hours_text, hours_html)
