"""Where the hours went, as text and as an HTML fragment: every share with what it is a share of."""

from __future__ import annotations

from html import escape

from equipdecide.decide.times import TimesOfOne, TimesResult
from equipdecide.showing import shows
from equipdecide.views.grid import WIDTH, Grid, Row
from equipdecide.words import number, percent, wrap

NONE = (
    "No machine names files of its shifts and stops: add `times: {shifts: shifts.csv, stops: stops.csv}` to one. "
    "`scenarios/shop_records.yaml` is an example."
)
IN_MINUTES = ("mean time between failures", "mean time to repair")
A_RATE = "throughput rate"


def times_grids(one: TimesOfOne) -> tuple[Grid, Grid]:
    """Return the time elements and the indicators of a machine, each as a grid."""
    rows = tuple(
        Row(
            e.name,
            (
                number(e.hours, 1),
                "" if e.of_shifts is None else percent(e.of_shifts, 1),
                percent(e.of_calendar, 1),
                e.says,
            ),
        )
        for e in one.elements
    )
    shares = tuple(
        Row(
            i.name,
            (
                f"{number(i.value, 1)} min"
                if i.name in IN_MINUTES
                else number(i.value, 2)
                if i.name == A_RATE
                else percent(i.value, 1),
                i.over,
            ),
        )
        for i in one.indicators.values()
    )
    return Grid(("hours", "of the shifts", "of the calendar", "what it is"), rows), Grid(("value", "over"), shares)


def _head(one: TimesOfOne) -> str:
    said = f"{one.name}, {one.begin:%Y-%m-%d %H:%M} to {one.end:%Y-%m-%d %H:%M}."
    if one.meter_hours is not None:
        said += f" Its meter ran {number(one.meter_hours, 1)} h between its first reading and its last."
    return said


def times_text(result: TimesResult, width: int = WIDTH) -> str:
    """Return elements, indicators and findings of each machine as text."""
    if not result.machines:
        return "\n".join(wrap(NONE, width))
    lines: list[str] = []
    for one in result.machines:
        spent, shares = times_grids(one)
        lines += [*([""] if lines else []), *wrap(_head(one), width), "", spent.text(width), ""]
        lines += ["Each indicator over what it says, no other:", shares.text(width)]
        for finding in one.findings:
            lines += wrap(finding.text, width, "  - ")
    lines += [
        "",
        *wrap(
            "Elements and indicators of ISO 22400-2. A share of shift hours and one of the calendar's are different "
            "numbers: compare only like with like.",
            width,
        ),
    ]
    return "\n".join(lines)


def times_html(result: TimesResult) -> str:
    """Return the same as an HTML fragment."""
    if not result.machines:
        return f'<p class="mathjax_ignore">{escape(NONE)}</p>'
    made = []
    for one in result.machines:
        items = "".join(f"<li>{escape(f.text)}</li>" for f in one.findings)
        grids = "".join(grid.html() for grid in times_grids(one))
        made.append(f"<p>{escape(_head(one))}</p>{grids}<ul>{items}</ul>")
    return f'<div class="mathjax_ignore">{"".join(made)}</div>'


shows(TimesResult, times_text, times_html)
