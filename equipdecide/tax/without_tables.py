"""Depreciation without the printed tables: the rate on what is left, for short tax years, other lives, after a
casualty.

A year's depreciation is what is left at its beginning, times the larger of the declining rate (200 or 150 % over the
recovery period) and one over the years left, times the part of the year that counts (IRC 168(b)(1), (2); IRS
Publication 946, Figuring the Deduction Without Tables). Less than a year left: all of it.

In a short tax year the printed tables may not be used. Half-year convention: the item counts from the middle of the
year's months, a month begun counted in full. Mid-quarter: from the middle of its quarter of the year, a fourth of its
days (whole months where the year has four or eight full ones), moved back to the first or the middle of a month. Later
years go on from what is left (the simplified method of Rev. Proc. 89-15; Publication 946, Figuring the Deduction for a
Short Tax Year; both from memory).

After a casualty the tables are left from that year on: the rate is on the adjusted basis, lower by the loss and what
the insurance paid, higher by what was spent to restore it (Publication 946, Effect of adjustments to basis; from
memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from equipdecide import calendar as cal
from equipdecide.calendar import ONE, Axis, Date
from equipdecide.ledger import Draft, Origin, Working
from equipdecide.scenario.models import Casualty

QUARTERS = (10.5, 7.5, 4.5, 1.5)  # months of a full year from the middle of each quarter
MIDDLE = 15  # day from which a month's middle is the nearest point before; from memory


@dataclass(frozen=True)
class Rates:
    """How an item is figured without a table."""

    factor: float  # 2 or 1.5 over the recovery period; 0: straight line
    life: float  # recovery period [year]
    months: float  # of its first tax year, from the day it counts as placed in service [month]
    why: str
    from_year: int | None = None  # the year of a casualty; before it the table holds

    def years_left(self, year: int) -> float:
        """Return the recovery period left at the beginning of a year of use (0 is the first)
        [year]; 0 when it is over.
        """
        left = self.life if year == 0 else self.life - self.months / 12 - (year - 1)
        return left if year >= 0 and left > 1e-9 else 0.0

    def share(self, year: int) -> float:
        """Return the part of a year of use that counts: of the first, from the day it counts as placed in service."""
        return self.months / 12 if year == 0 else 1.0

    def percents(self) -> tuple[float, ...]:
        """Return the percentages of the unadjusted basis by year of use that the rates come to."""
        found, left, year = [], 100.0, 0
        while self.years_left(year):
            amount = left * min(max(self.factor / self.life, 1 / self.years_left(year)) * self.share(year), 1.0)
            found.append(amount)
            left, year = left - amount, year + 1
        return tuple(found)


def is_short(began: Date | None, in_service: Date) -> bool:
    """Tell whether an item was placed in service in the short first tax year of a business."""
    if began is None or (began.month, began.day) == (1, 1):
        return False
    return began.year == in_service.year and began <= in_service


def quarter(began: Date | None, in_service: Date) -> int:
    """Return the quarter of its tax year in which an item is placed in service: 1 to 4."""
    if began is None or not is_short(began, in_service):
        return (in_service.month + 2) // 3
    whole = _whole_months(began)
    if whole:
        return (in_service.month - began.month) // (whole // 4) + 1
    return math.floor((in_service - began).days / (_days(began) / 4)) + 1


def first_months(began: Date | None, in_service: Date, convention: str) -> float:
    """Return the months of its first tax year from the day an item counts as placed in service [month]."""
    q = int(convention[-1]) if convention.startswith("mid-quarter") else 0
    if began is None or not is_short(began, in_service):
        return QUARTERS[q - 1] if q else 6.0
    if not q:
        return (13 - began.month) / 2
    whole = _whole_months(began)
    if whole:
        return whole - whole / 4 * (q - 0.5)
    middle = cal.add_days(began, math.ceil(_days(began) / 4 * (q - 0.5)) - 1)
    return 13 - middle.month - (0.5 if middle.day >= MIDDLE else 0.0)


def _days(began: Date) -> int:
    return (Date(began.year, 12, 31) - began).days + 1


def _whole_months(began: Date) -> int:
    """Return 4 or 8 where the short year has so many full months, else 0."""
    months = 13 - began.month
    return months if began.day == 1 and months in (4, 8) else 0


def by_rates(
    draft: Draft, w: Working, rates: Rates, casualty: Casualty | None, percents: Sequence[float], placed: int, name: str
) -> None:
    """Post ``by_table`` (before a casualty), ``basis_changed``, ``rate``, ``left`` and ``of_the_year`` [currency] by
    tax year.

    Reads ``table_basis`` and ``shares`` (part of the year allowed) of the working; `placed` is the year it is placed in
    service, `percents` the table's.
    """
    axis = w.axis
    years = [end.year - placed for end in axis.ends]
    origin = Origin("law", "federal/depreciation", rates.why, "read")
    w.given("years_left", [rates.years_left(k) for k in years], "year", "recovery period left", origin, axis)
    w.given("declining", rates.factor / rates.life, "1", _declining_says(rates), origin, ONE)
    w.formula(
        "rate",
        "where(years_left > 0, min(max(declining, 1 / max(years_left, 0.01)) * shares, 1), 0)",
        "1",
        "rate on what is left: declining, or over the years left where that is more",
    )
    opening = "prev(left, table_basis)"
    if casualty is not None:
        opening = _changed(draft, w, casualty, axis, name)
    if rates.from_year is None:
        w.formula("left", f"{opening} - cents({opening} * rate)", "USD", "not yet depreciated at the end of the year")
    else:
        ruled = [
            percents[k] if 0 <= k < len(percents) and end.year < rates.from_year else 0.0
            for k, end in zip(years, axis.ends, strict=True)
        ]
        w.given("percent", ruled, "%", "table percentage, up to the casualty", origin, axis)
        flags = [1.0 if end.year >= rates.from_year else 0.0 for end in axis.ends]
        w.given("tables_left", flags, "1", f"by the rate from {rates.from_year} on", origin, axis)
        w.formula("by_table", "cents(table_basis * percent / 100)", "USD", "percentage of the basis")
        w.formula(
            "left",
            f"{opening} - where(tables_left, cents({opening} * rate), by_table)",
            "USD",
            "not yet depreciated at the end of the year",
        )
    w.formula("of_the_year", f"{opening} - left", "USD", "what the rate takes of it in the year")


def _declining_says(rates: Rates) -> str:
    if not rates.factor:
        return "straight line: no declining rate"
    return f"{rates.factor:.0%} over {rates.life:g} years"


def _changed(draft: Draft, w: Working, casualty: Casualty, axis: Axis, name: str) -> str:
    """Post how a casualty changes the basis; returns the text of what a year begins with."""
    flags = [1.0 if end.year == casualty.on.year else 0.0 for end in axis.ends]
    w.given("casualty", flags, "1", f"year of the casualty, {casualty.on}", Origin("choice", name), axis)
    w.formula(
        "basis_changed",
        "casualty * (restored - lowered)",
        "USD",
        "basis higher by what restored it, lower by the loss and what insurance paid",
        restored=draft.input(casualty.restored) if casualty.restored else 0.0,
        lowered=draft.input(casualty.lowered),
    )
    return "max(prev(left, table_basis) + basis_changed, 0)"
