"""What the next hour of the machine earns, and its nights alone, as a part of a page."""

from __future__ import annotations

from equipdecide.decide.hours import HoursResult
from equipdecide.decide.hours import hours as hours_of
from equipdecide.decide.page_figures import staircase as stairs_of
from equipdecide.views import charts, shop_charts
from equipdecide.views.explained import marked
from equipdecide.views.parts import Block, Page, Part, Text, chart
from equipdecide.words import money, number, whole


def hours(page: Page) -> Part | None:
    """What an hour of the machine earns; None without parts."""
    stairs = stairs_of(page.comparison)
    if stairs is None:
        return None
    found = hours_of(page.comparison.scenario, page.comparison.evaluation)
    nights = () if found.night is None else (_nights(page, found),)
    keep, seen = page.comparison.keep, dict.fromkeys((stair.part, stair.per_hour) for stair in stairs.stairs)
    each = {name: page.explained.column(keep, f"part {name}.per_hour", whole(per_hour)) for name, per_hour in seen}
    can = {
        name: page.explained.column(
            page.comparison[name],
            "capacity.hours",
            whole(hours),
            page.comparison[name].column("capacity.hours").axis.labels[-1],
        )
        for name, hours in stairs.capacities.items()
    }
    said = "Dollars an hour: " + "; ".join(f"{name} {figure}" for name, figure in each.items())
    said += ". Hours a year: " + "; ".join(f"{name} {figure}" for name, figure in can.items()) + "."
    figures = marked(said, *each.values(), *can.values())
    drawn = chart(charts.staircase(stairs, charts.blank(7.6, 4.2)), figures)
    return Part(
        "hours",
        "What the next hour earns",
        (
            drawn,
            Text(
                "An extra hour is worth what the best part not yet made in full brings; each further one brings less."
                + _over_keep(found)
            ),
            *nights,
        ),
    )


def _over_keep(found: HoursResult) -> str:
    """Say what the hours of each course over keeping can earn a year; nothing where no course has more."""
    more = [
        f"“{entry.name}” {whole(over[0])} h, {money(over[1])} ({whole(over[1] / over[0])} an hour)"
        for entry in found.alternatives
        if (over := found.over_keep(entry.name)) is not None and over[0] > 0.5
    ]
    return (
        f" Good hours a year over keeping, and the area under the stairs they span: {'; '.join(more)}." if more else ""
    )


def _nights(page: Page, found: HoursResult) -> Block:
    """The nights of the log as a chart, with a link to how they were counted."""
    night = found.night
    assert night is not None  # asked by the caller
    low, high = number(night.low), "" if night.high is None else number(night.high)
    between = number(night.theta) if night.theta is not None else f"at least {low}"
    counted = page.explained.told(
        ("night log",),
        f"hours alone between stops = {between}",
        between,
        f"{number(night.hours)} hours run alone in {night.evenings} evenings of the log, over the {night.stops} of them that "
        "a stop ended; an evening that ran out counts its hours and no stop.",
        f"95 % interval, stops at random: {low} to {high} hours."
        if high
        else "No stop was logged: a bound, no estimate.",
    )
    drawn = shop_charts.night_survival(found, charts.blank(7.6, 3.6))
    return chart(drawn, marked(f"Hours alone between stops, from the log: {counted}.", counted))
