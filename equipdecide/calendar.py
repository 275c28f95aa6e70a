"""Dates, business days and the fixed axes that every column of a ledger stands on.

An :class:`Axis` is a row of periods, each with a first and a last day. Columns never move between axes
on their own: a formula says ``gather`` (sum what falls in the period), ``spread`` (share out by days),
``during`` (the value of the period this one lies in) or ``closing`` (the last value on or before its end).
"""

from __future__ import annotations

import calendar as _calendar
import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

Date = dt.date
FloatArray = NDArray[np.float64]

DAYS_IN_YEAR = 365.0  # dated present worth counts actual days over 365, as spreadsheets' dated functions do


def month_end(day: Date) -> Date:
    """Return the last day of the month of `day`.

    >>> month_end(Date(2028, 2, 3))
    datetime.date(2028, 2, 29)
    """
    return day.replace(day=_calendar.monthrange(day.year, day.month)[1])


@lru_cache(maxsize=4096)
def add_months(day: Date, months: int) -> Date:
    """Return the same day of the month `months` later, or the month's last day where it has none.

    >>> add_months(Date(2026, 1, 31), 1)
    datetime.date(2026, 2, 28)
    """
    year, month0 = divmod(day.year * 12 + day.month - 1 + months, 12)
    return Date(year, month0 + 1, min(day.day, _calendar.monthrange(year, month0 + 1)[1]))


def add_years(day: Date, years: int) -> Date:
    """Return the same day `years` later (29 February becomes 28 where the year has none)."""
    return add_months(day, 12 * years)


def add_days(day: Date, days: int) -> Date:
    """Return `day` moved by a number of calendar days."""
    return day + dt.timedelta(days=days)


def _nth_weekday(year: int, month: int, weekday: int, nth: int) -> Date:
    first = Date(year, month, 1)
    return add_days(first, (weekday - first.weekday()) % 7 + 7 * (nth - 1))


def _observed(day: Date) -> Date:
    """Move a fixed holiday that falls on a weekend to the Friday before or the Monday after."""
    return add_days(day, {5: -1, 6: 1}.get(day.weekday(), 0))


@lru_cache(maxsize=64)
def legal_holidays(year: int) -> frozenset[Date]:
    """Return the legal holidays of the District of Columbia that move a federal tax date.

    Source: 26 U.S.C. 7503 (a legal holiday in the District of Columbia moves the date); D.C. Code 28-2701
    and 1-612.02. Juneteenth counts from 2021, Emancipation Day (16 April) from 2006. Good only for moving tax dates.
    """
    fixed = [Date(year, 1, 1), Date(year, 4, 16), Date(year, 7, 4), Date(year, 11, 11), Date(year, 12, 25)]
    if year >= 2021:
        fixed.append(Date(year, 6, 19))
    floating = [
        _nth_weekday(year, 1, 0, 3),
        _nth_weekday(year, 2, 0, 3),
        add_days(_nth_weekday(year, 6, 0, 1), -7),  # last Monday of May
        _nth_weekday(year, 9, 0, 1),
        _nth_weekday(year, 10, 0, 2),
        _nth_weekday(year, 11, 3, 4),
    ]
    new_year_after = _observed(Date(year + 1, 1, 1))  # 31 December where 1 January is a Saturday
    days = {_observed(day) for day in fixed} | set(floating)
    return frozenset(days | ({new_year_after} if new_year_after.year == year else set()))


def is_business_day(day: Date) -> bool:
    """Tell whether `day` is neither a Saturday, a Sunday nor a legal holiday for tax dates."""
    return day.weekday() < 5 and day not in legal_holidays(day.year)


def next_business_day(day: Date) -> Date:
    """Return `day`, or the first business day after it.

    >>> next_business_day(Date(2028, 4, 15))
    datetime.date(2028, 4, 18)
    """
    while not is_business_day(day):
        day = add_days(day, 1)
    return day


def years_between(start: Date, end: Date) -> float:
    """Return the time from `start` to `end` in years of 365 days [year]; negative before `start`."""
    return (end - start).days / DAYS_IN_YEAR


@dataclass(frozen=True, eq=False)
class Axis:
    """A fixed row of periods. Two axes are the same only if they are the same object.

    `times` are years from the date of decision at which a flow of the period falls [year].
    """

    name: str
    labels: tuple[str, ...]
    starts: tuple[Date, ...]
    ends: tuple[Date, ...]
    times: tuple[float, ...] | None = None

    def __post_init__(self) -> None:
        if not len(self.labels) == len(self.starts) == len(self.ends):
            raise ValueError(f"axis {self.name}: labels, starts and ends differ in length")

    def __len__(self) -> int:
        return len(self.labels)

    @cached_property
    def first_days(self) -> NDArray[np.int64]:
        """First days as ordinals, shape (periods,)."""
        return np.array([day.toordinal() for day in self.starts], dtype=np.int64)

    @cached_property
    def last_days(self) -> NDArray[np.int64]:
        """Last days as ordinals, shape (periods,)."""
        return np.array([day.toordinal() for day in self.ends], dtype=np.int64)

    @cached_property
    def days(self) -> FloatArray:
        """Length of each period [day], shape (periods,)."""
        return (self.last_days - self.first_days + 1).astype(float)

    def row_of(self, day: Date) -> int | None:
        """Return the row of the period that holds `day`, or None."""
        hits = np.flatnonzero((self.first_days <= day.toordinal()) & (day.toordinal() <= self.last_days))
        return int(hits[0]) if len(hits) else None

    def rows_of(self, days: Sequence[Date]) -> NDArray[np.int64]:
        """Return the row of the period that holds each day, -1 where none does, shape (days,);
        periods in rising order.
        """
        ordinals = np.array([day.toordinal() for day in days], dtype=np.int64)
        rows = np.searchsorted(self.last_days, ordinals)
        inside = ordinals <= self.last_days[-1]
        rows[~inside] = 0
        return np.where(inside & (self.first_days[rows] <= ordinals), rows, -1)


_FAR = Date(1, 1, 1)
ONE = Axis("once", ("",), (_FAR,), (_FAR,))  # a single figure, in force everywhere


# The makers below return the same object for the same periods: two axes are the same only if they are one object,
# and the weights between two axes and the formulas bound to them are kept for as long as the axes are.


@lru_cache(maxsize=4096)
def periods(name: str, labels: tuple[str, ...], starts: tuple[Date, ...], ends: tuple[Date, ...]) -> Axis:
    """Return the axis of any periods."""
    return Axis(name, labels, starts, ends)


def on_days(name: str, labels: Sequence[str], days: Sequence[Date]) -> Axis:
    """Return an axis of single days, such as the days of a loan's payments."""
    return periods(name, tuple(labels), tuple(days), tuple(days))


@lru_cache(maxsize=1024)
def dated(day: Date, label: str = "") -> Axis:
    """Return an axis of one row that stands on `day`."""
    return periods("date", (label or day.isoformat(),), (day,), (day,))


def listed(name: str, labels: Sequence[str]) -> Axis:
    """Return an axis of things that are not periods of time (parts, assets, brackets)."""
    return periods(name, tuple(labels), (_FAR,) * len(labels), (_FAR,) * len(labels))


@lru_cache(maxsize=1024)
def months(start: Date, last: Date) -> Axis:
    """Return the months from the one that holds `start` to the one that holds `last`; flows fall on
    a month's last day.
    """
    starts, day = [], start.replace(day=1)
    while day <= last:
        starts.append(day)
        day = add_months(day, 1)
    ends = [month_end(day) for day in starts]
    return periods("month", tuple(f"{day:%Y-%m}" for day in starts), tuple(starts), tuple(ends))


@lru_cache(maxsize=1024)
def calendar_years(first: int, last: int) -> Axis:
    """Return the calendar (tax) years `first` .. `last`."""
    years = range(first, last + 1)
    return periods(
        "year",
        tuple(str(year) for year in years),
        tuple(Date(year, 1, 1) for year in years),
        tuple(Date(year, 12, 31) for year in years),
    )


def spans(breaks: Sequence[Date]) -> Axis:
    """Return the stretches between consecutive `breaks` (each begins a stretch; the last one ends the axis)."""
    days = sorted(set(breaks))
    starts, ends = days[:-1], [add_days(day, -1) for day in days[1:]]
    return periods("stretch", tuple(day.isoformat() for day in starts), tuple(starts), tuple(ends))


@lru_cache(maxsize=4096)
def gather_weights(fine: Axis, coarse: Axis) -> FloatArray:
    """Return weights (coarse, fine): 1 where the fine period's last day lies in the coarse period."""
    return (
        (coarse.first_days[:, None] <= fine.last_days[None, :]) & (fine.last_days[None, :] <= coarse.last_days[:, None])
    ).astype(float)


@lru_cache(maxsize=4096)
def spread_weights(coarse: Axis, fine: Axis) -> FloatArray:
    """Return weights (fine, coarse): the share of each coarse period's days that lie in the fine period."""
    overlap = (
        np.minimum(coarse.last_days[None, :], fine.last_days[:, None])
        - np.maximum(coarse.first_days[None, :], fine.first_days[:, None])
        + 1
    )
    weights: FloatArray = np.clip(overlap, 0, None) / coarse.days[None, :]
    return weights


@lru_cache(maxsize=4096)
def during_rows(coarse: Axis, fine: Axis) -> NDArray[np.int64]:
    """Return, per fine period, the row of the coarse period that holds its last day; -1 where there is none."""
    inside = gather_weights(fine, coarse)
    return np.where(inside.any(axis=0), inside.argmax(axis=0), -1)


@lru_cache(maxsize=4096)
def closing_rows(fine: Axis, coarse: Axis) -> NDArray[np.int64]:
    """Return, per coarse period, the last fine row that ends on or before the period's end; -1 where there is none."""
    return np.searchsorted(fine.last_days, coarse.last_days, side="right") - 1
