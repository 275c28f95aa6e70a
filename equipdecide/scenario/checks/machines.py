"""Crashes, upkeep and times of a machine."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

from equipdecide.scenario.bills import read_bills
from equipdecide.scenario.checks.checker import Checker
from equipdecide.scenario.checks.looking import blocks_of
from equipdecide.scenario.models import Upkeep
from equipdecide.scenario.time_log import read_meter, read_shifts, read_stops
from equipdecide.scenario.tree import Table, Text


def _changes(c: Checker) -> Iterator[Table]:
    for _, improvement in blocks_of(c.tree, "improvements"):
        if isinstance(change := improvement.get("changes"), Table):
            yield change


def _running(c: Checker) -> Iterator[Table]:
    for _, machine in blocks_of(c.tree, "machines"):
        if isinstance(running := machine.get("running"), Table):
            yield running
    yield from _changes(c)


def crashes_are_a_rate(c: Checker) -> None:
    """Crashes are entered as a rate, or as a count with the years it was counted over; one of the two."""
    for block in _running(c):
        crashes = block.get("crashes")
        if not isinstance(crashes, Table):
            continue
        counted = {"count", "over_years"} & set(crashes)
        if "a_year" in crashes and counted:
            c.report(crashes, "a rate and a count of crashes are both given", "Keep one of the two", "a_year")
        elif not counted and "a_year" not in crashes:
            mend = "Add `a_year:`, or `count:` and `over_years:`"
            c.report(crashes, "nothing says how often it crashes", mend, "a_year")
        elif len(counted) == 1:
            key = "over_years" if "count" in counted else "count"
            c.report(crashes, "a count of crashes needs the years it was counted over", f"Add `{key}:`", key)
        if str(crashes.get("over_years", "")).split(" ")[0] in ("0", "0.0"):
            c.report(crashes, "crashes cannot be counted over 0 years", "Write the years, such as 5", "over_years")


def upkeep_is_said(c: Checker) -> None:
    """Upkeep has its first year and growth, or a machine's bills, which can be read and cover a year."""
    blocks = [block for _, block in blocks_of(c.tree, "machines")]
    for block in [*blocks, *_changes(c)]:
        upkeep = block.get("upkeep")
        if not isinstance(upkeep, Table):
            continue
        if "of_bills" in upkeep and "bills" not in upkeep:
            c.report(
                upkeep, "`of_bills` is given without `bills`", "Add `bills:`, or leave `of_bills:` out", "of_bills"
            )
        if "bills" not in upkeep:
            for key, field in Upkeep.model_fields.items():
                if key in ("first_year", "growth") and key not in upkeep:
                    c.report(upkeep, f"`{key}` is missing", f"Add `{key}:` ({field.title})", key)
            continue
        name, given = upkeep["bills"], [key for key in ("first_year", "growth") if key in upkeep]
        if given:
            c.report(upkeep, f"`bills` and `{given[0]}` are both given", "Keep one of the two", given[0])
        if not any(block is machine for machine in blocks):
            what = "bills of the time before say nothing of the machine as improved"
            c.report(upkeep, what, "Give `first_year:` and `growth:`", "bills")
            continue
        lines = file_lines(c, upkeep, "bills")
        if lines is None:
            continue
        bills, faults = read_bills(lines, str(name), c.decision)
        c.faults.extend(faults)
        if bills and not faults and c.decision is not None and not _a_year_before(bills[0].day, c.decision):
            what = f"the first bill is of {bills[0].day}: there is no whole year of them before the day of decision"
            c.report(upkeep, what, "Give `first_year:` and `growth:`", "bills")


def _a_year_before(day: dt.date, decision: dt.date) -> bool:
    return (day.year + 1, day.month, day.day) <= (decision.year, decision.month, decision.day)


def file_lines(c: Checker, block: Table, key: str) -> list[str] | None:
    """Return the lines of the file that `block[key]` names; None where there is none to read, which is reported."""
    name = block.get(key)
    if not isinstance(name, Text) or not name:
        return None
    mend = f"Put it there, or leave `{key}:` out"
    if c.folder is None:
        c.report(block, f"the file '{name}' is looked for beside a scenario file, and this is none", mend, key)
        return None
    try:
        return (c.folder / name).read_text(encoding="utf-8-sig").splitlines()
    except OSError:
        c.report(block, f"the file '{name}' is not in the folder of this file", mend, key)
    except UnicodeDecodeError:
        c.report(block, f"the file '{name}' is not text in UTF-8", "Save it as CSV in UTF-8", key)
    return None


def times_can_be_read(c: Checker) -> None:
    """Files of shifts, stops and meter can be read; pieces made come with those good and the minutes of one."""
    for _, machine in blocks_of(c.tree, "machines"):
        if not isinstance(times := machine.get("times"), Table):
            continue
        for key, read in (("shifts", read_shifts), ("stops", read_stops), ("meter", read_meter)):
            if (lines := file_lines(c, times, key)) is not None:
                c.faults.extend(read(lines, str(times[key]))[1])
        output = ("produced", "good", "minutes_each")
        if {*output, "scrap", "rework"} & set(times):
            for key in output:
                if key not in times:
                    mend = f"Add `{key}:`, or leave the pieces out"
                    c.report(times, f"`{key}` is missing to judge what was made", mend, key)


MACHINE_CHECKS = (crashes_are_a_rate, upkeep_is_said, times_can_be_read)
