"""Upkeep from the shop's repair bills: its level in the first year of the study, and its growth a year with age.

Bills are summed over whole years counted back from the day of decision; what lies before the first whole year is left
out. From three such years on a straight line is laid through the logarithms of the sums by least squares (log-linear
regression, any text of statistics): its slope is the growth, its value in the coming year the level. With fewer years,
or a year without a bill, level is the mean of the sums and no growth is claimed.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence

from equipdecide.calendar import ONE, add_years, listed
from equipdecide.ledger import Draft, Finding, Origin, Working
from equipdecide.plan import Plan, Setup
from equipdecide.scenario.bills import Bill, read_bills
from equipdecide.shop.time_elements import meter_hours

FOR_GROWTH = 3  # whole years of bills from which a growth is fitted
STEEP = 0.25  # a growth a year above which a reader is warned; a judgement, no source


def yearly_sums(bills: Sequence[Bill], decision: dt.date) -> list[float]:
    """Return what was billed in each whole year back from the day of decision, the earliest first [currency].

    A year is whole where the first bill was there before it began; its last day is the anniversary itself.
    """
    sums: list[float] = []
    while add_years(decision, -len(sums) - 1) >= bills[0].day:
        begin, end = (add_years(decision, -len(sums) - k) for k in (1, 0))
        sums.append(sum(bill.amount for bill in bills if begin < bill.day <= end))
    return sums[::-1]


def upkeep_of_bills(draft: Draft, plan: Plan, setup: Setup) -> Working:
    """Post once for all alternatives ``first_year`` [currency/year] and ``growth`` [1/year] of the machine's bills."""
    entry, scenario = setup.upkeep, plan.scenario
    assert entry is not None and entry.bills is not None and scenario.source.folder is not None  # checked when read
    name = f"bills of {setup.machine}"
    if name in draft:
        return draft[name]
    decision = scenario.decision_date
    lines = (scenario.source.folder / entry.bills).read_text(encoding="utf-8-sig").splitlines()
    bills, _ = read_bills(lines, entry.bills, decision)
    sums = yearly_sums(bills, decision)
    count = len(sums)
    axis = listed("year of bills", [f"to {add_years(decision, k - count + 1)}" for k in range(count)])
    w = draft.common.working(name, axis, f"repair bills of {setup.machine}, by whole years", "bills")
    w.given(
        "year",
        [float(k - count) for k in range(count)],
        "year",
        "years from the decision",
        Origin("calendar", "counted"),
    )
    w.given(
        "bills", sums, "USD/year", "billed in the year", Origin("choice", entry.bills, f"{len(bills)} bills", "invoice")
    )
    grown = count >= FOR_GROWTH and min(sums) > 0
    if grown:
        w.formula("logs", "log(bills)", "1", "logarithm of the sum")
        w.formula("middle", f"total(year) / {count}", "year", "middle of the years", ONE)
        w.formula("mean_log", f"total(logs) / {count}", "1", "mean of the logarithms", ONE)
        w.formula("across", "(year - middle) * (logs - mean_log)", "year", "distance from both means, multiplied")
        w.formula("squared", "(year - middle) * (year - middle)", "year2", "distance from the middle year, squared")
        w.formula(
            "growth",
            "exp(total(across) / total(squared)) - 1",
            "1/year",
            "growth of upkeep a year: log-linear least squares on the yearly sums",
            ONE,
        )
        w.formula(
            "first_year",
            "exp(mean_log - log(1 + growth) * middle)",
            "USD/year",
            "upkeep in the first year of the study, on the fitted line",
            ONE,
        )
        w.formula("line", "first_year * (1 + growth) ** year", "USD/year", "the fitted line")
        w.formula("missed", "(logs - log(line)) * (logs - log(line))", "1", "distance of a year from the line, squared")
        w.formula(
            "error",
            f"(total(missed) / {count - 2} * (1 + 1 / {count} + middle * middle / total(squared))) ** 0.5",
            "1",
            "standard error of the coming year's logarithm about the line (simple regression, any text of statistics)",
            ONE,
        )
    else:
        w.formula("growth", "0", "1/year", "growth of upkeep a year: none is claimed", ONE)
        w.formula("first_year", f"total(bills) / {count}", "USD/year", "upkeep in a year: mean of the yearly sums", ONE)
    draft.common.find(
        "upkeep_of_bills", _in_words(setup.machine, w, bills, sums, grown), f"machines.{setup.machine}.upkeep"
    )
    for finding in _by_meter(setup.machine, bills):
        draft.common.find(finding.code, finding.text, f"machines.{setup.machine}.upkeep", finding.weight)
    return w


def _in_words(machine: str, w: Working, bills: Sequence[Bill], sums: Sequence[float], grown: bool) -> str:
    each = "; ".join(f"{one:,.0f}" for one in sums)
    begun = f"{machine}: {len(bills)} repair bills, by whole years back from the decision, the earliest first: {each}."
    level = w["first_year"].figure()
    if not grown:
        why = f"fewer than {FOR_GROWTH} whole years" if len(sums) < FOR_GROWTH else "a year without a bill"
        said = f"{begun} There is {why}, so upkeep is their mean, {level:,.0f} a year, and no growth is claimed."
        if level > 0 and max(sums) > min(sums):
            said += _range(min(sums) / level, max(sums) / level, "the least and the dearest of those years")
        return said
    growth, error = w["growth"].figure(), w["error"].figure()
    steep = " So steep a growth does not go on for years: look for the dear bill." if growth > STEEP else ""
    missed = max(abs(one / line - 1) for one, line in zip(sums, w["line"].per_row(), strict=True))
    return (
        f"{begun} Log-linear least squares on them: {level:,.0f} in the first year of the study, growth "
        f"{growth:.1%} a year; a single year lies up to {missed:.0%} off that line.{steep}"
        + (_range(math.exp(-error), math.exp(error), "one standard error of a coming year") if error > 0.005 else "")
    )


def _range(low: float, high: float, what: str) -> str:
    """Say what range the bills make likely, as it is entered."""
    return (
        f" By {what} upkeep may be {low:.2f} to {high:.2f} of that: `of_bills: {low:.2f} .. 1 .. {high:.2f}` tries it."
    )


def _by_meter(machine: str, bills: Sequence[Bill]) -> list[Finding]:
    """Say what an hour of the meter cost between its first reading and its last; a reading that fell is said too."""
    read = [(bill.day, bill.meter) for bill in bills if bill.meter is not None]
    if len(read) < 2:
        return []
    hours, findings = meter_hours(read)
    billed = sum(bill.amount for bill in bills if read[0][0] < bill.day <= read[-1][0])
    found = [Finding(one.code, f"{machine}: {one.text}", "", one.weight) for one in findings]
    if hours > 0:
        text = f"{machine}: {billed:,.0f} was billed over {hours:,.0f} h of the meter, {billed / hours:,.2f} an hour."
        found.append(Finding("upkeep_by_meter", text))
    return found
