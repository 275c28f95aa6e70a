"""How a machine runs: by day, alone at night, its upkeep, its crashes, its first months."""

from typing import Literal

from pydantic import Field

from equipdecide.scenario.amounts import (
    Count,
    Days,
    HourRate,
    Hours,
    Minutes,
    Money,
    MoneyPerHour,
    MoneyPerYear,
    Multiple,
    Rate,
    Share,
    Years,
)
from equipdecide.scenario.models.base import Frozen


class NightChanges(Frozen):
    """Hours the machine runs alone, as an improvement changes them; left out: as before."""

    nights: Count | None = Field(None, title="Nights a year it is left running alone")
    window: Hours | None = Field(None, title="Hours of a night when all goes well")
    mean_between_stops: Hours | None = Field(None, title="Mean running hours between stops")
    log: str | None = Field(None, title="File of logged evenings (date, hours_run, reason)")
    shape: Multiple | None = Field(
        None,
        title="Weibull shape of the times between stops, with a log",
        description="left out, or 1: stops at random; below 1 more of them early in the night, above 1 late",
    )
    parts_loaded: Count | None = Field(None, title="Parts that can be loaded for one night")
    minutes_each: Minutes | None = Field(None, title="Minutes the machine takes for one of them")
    bar_or_pallets: Hours | None = Field(None, title="Hours of work on the bar or the pallets")
    tool_life: Hours | None = Field(None, title="Hours until a tool-life counter stops it")
    undetected: Share | None = Field(None, title="Share of the stops the machine does not notice: it runs on")
    scrap_hour: MoneyPerHour | None = Field(None, title="What an hour run on spoils, in material and tools")
    fault_cost: Money | None = Field(None, title="What one such night costs beside: a crash, a repair, a lost morning")
    cost_a_night: Money | None = Field(None, title="What loading and proving for one night costs")
    recovery: Hours | None = Field(
        None,
        title="Staffed spindle hours that a stopped night costs the next morning",
        description="to clear, prove and restart; hours, where `fault_cost` is money",
    )


class Nights(NightChanges):
    """Hours the machine runs alone."""

    nights: Count = Field(title="Nights a year it is left running alone")
    window: Hours = Field(title="Hours of a night when all goes well")


class Attended(Frozen):
    """One or more people look after several machines in staffed hours; a machine that calls while
    they are busy waits.
    """

    machines: int = Field(ge=2, le=12, title="Machines looked after, this one included")
    attendants: int = Field(1, ge=1, le=12, title="People who look after them")
    run: Minutes = Field(title="Minutes a machine runs between calls, on average")
    attention: Minutes = Field(title="Minutes a call takes, on average")
    calls: Literal["vary", "alike"] = Field(
        "vary",
        title="Do calls vary in length, as at random, or are they all alike?",
        description="alike only with one person; machines then wait a little less",
    )


class Crashes(Frozen):
    """Crashes as a rate: entered, or counted over years; what one costs and how long the machine then stands."""

    a_year: Count | None = Field(None, title="Crashes a year, on average")
    count: Count | None = Field(None, title="Crashes there have been")
    over_years: Years | None = Field(None, title="Years over which crashes were counted")
    cost: Money = Field(title="What one crash costs in repairs")
    days: Days | None = Field(None, title="Working days the machine stands after one")


class Upkeep(Frozen):
    """Repairs and service."""

    first_year: MoneyPerYear | None = Field(
        None,
        title="Repairs and service in the first year",
        description="from the day of decision, or from service for a new machine",
    )
    growth: Rate | None = Field(None, title="Growth of upkeep a year")
    bills: str | None = Field(
        None,
        title="... or a CSV file of the shop's repair bills, from which both follow",
        description="columns date, amount; hours (the meter) and what may stand too",
    )
    of_bills: Multiple | None = Field(
        None,
        title="What is expected over what the bills say",
        description="such as 0.8 .. 1 .. 1.3: a range lets the answer be tried; the program says the one that the bills "
        "themselves make likely",
    )
    warranty_years: int = Field(0, ge=0, le=10, title="Years of warranty")
    warranty_share: Share | None = Field(None, title="Share of upkeep you still pay in the warranty years")


class Running(Frozen):
    """What a machine can do in a year: hours with people, nights alone, pace and yield."""

    staffed_hours: HourRate = Field(title="Hours a year with people present")
    cutting_share: Share = Field(title="Share of the staffed hours it cuts")
    cycle_factor: Multiple | None = Field(None, title="Time a part takes, as a multiple of the standard time")
    good_share: Share | None = Field(None, title="Good parts, as a share of parts made")
    nights: Nights | None = Field(None, title="Hours it runs alone at night")
    attended: Attended | None = Field(
        None,
        title="Several machines looked after by the same people",
        description="the cutting share is then that of a machine which never waits for them",
    )
    crashes: Crashes | None = Field(
        None, title="Crashes a year, what one costs, how long it stands", description="not in the upkeep as well"
    )


class Ramp(Frozen):
    """Learning after a change: batches take longer at first, fall with each doubling, and stop at the standard time."""

    start: Multiple = Field(title="Time of the first batch, as a multiple of the standard time")
    rate: Share = Field(title="Learning rate: what is left of a batch's time at each doubling of batches")
    batch: Hours = Field(title="Standard hours of one batch")
    form: Literal["each batch", "average of all"] = Field(
        "each batch",
        title="What falls by the learning rate at each doubling",
        description="the time of each batch (Crawford), or the average of all so far (Wright)",
    )
    scrap: Share | None = Field(
        None,
        title="Scrap of the first batch over the usual",
        description="a share of its pieces; taken to fall with the batches as their time over the standard does (no source)",
    )
    scrap_cost: MoneyPerHour | None = Field(
        None, title="Material and outside work in a standard hour of scrapped pieces"
    )


class Times(Frozen):
    """Where the hours of a machine went, for `equipdecide times`: files of its shifts, its stops, its meter."""

    shifts: str = Field(title="CSV file of the shifts", description="columns start, end, as 2026-09-14 06:00")
    stops: str = Field(
        title="CSV file of the stops",
        description="columns start, end, kind, reason; kind: planned downtime, no order, set-up or delay",
    )
    meter: str | None = Field(None, title="CSV file of the meter's readings", description="columns date, hours")
    minutes_each: Minutes | None = Field(None, title="Planned minutes of one piece made in these shifts")
    produced: Count | None = Field(None, title="Pieces made in these shifts")
    good: Count | None = Field(None, title="Of them good at once or after rework")
    scrap: Count | None = Field(None, title="Of them scrapped")
    rework: Count | None = Field(None, title="Of them reworked")
