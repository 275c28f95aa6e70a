"""Dates, business days and axes. Due dates are checked against the official ones in tests/published
and the parameters.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipdecide import calendar as cal
from equipdecide.calendar import Date

DAYS = st.dates(min_value=Date(2000, 1, 1), max_value=Date(2060, 12, 31))


@pytest.mark.parametrize(
    ("day", "moved"),
    [
        # IRC 7503 with the legal holidays of the District of Columbia (D.C. Code 28-2701)
        (Date(2027, 4, 15), Date(2027, 4, 15)),
        (Date(2028, 4, 15), Date(2028, 4, 18)),  # a Saturday, then Emancipation Day observed on Monday the 17th
        (Date(2023, 1, 15), Date(2023, 1, 17)),  # a Sunday, then the birthday of Martin Luther King
        (Date(2022, 4, 15), Date(2022, 4, 18)),  # Emancipation Day, the 16th, a Saturday, observed on Friday the 15th
        (Date(2024, 6, 15), Date(2024, 6, 17)),
    ],
)
def test_tax_dates_move_to_the_next_business_day(day: Date, moved: Date) -> None:
    assert cal.next_business_day(day) == moved


@given(DAYS, st.integers(0, 240))
def test_months_added_one_by_one_or_at_once_fall_in_the_same_month(day: Date, months: int) -> None:
    later = cal.add_months(day, months)
    assert (later.year * 12 + later.month) - (day.year * 12 + day.month) == months
    assert later.day <= day.day


def test_a_month_has_its_own_last_day() -> None:
    assert cal.add_months(Date(2024, 1, 31), 1) == Date(2024, 2, 29)
    assert cal.month_end(Date(2023, 2, 5)) == Date(2023, 2, 28)


def test_stretches_cover_the_study_once() -> None:
    axis = cal.spans([Date(2026, 9, 14), Date(2027, 1, 1), Date(2026, 10, 30), Date(2027, 9, 14)])
    assert axis.starts[0] == Date(2026, 9, 14) and axis.ends[-1] == Date(2027, 9, 13)
    assert axis.days.sum() == 365
    for before, after in zip(axis.ends, axis.starts[1:], strict=False):
        assert cal.add_days(before, 1) == after


def test_spreading_keeps_the_sum_and_gathering_gives_it_back() -> None:
    stretches = cal.spans([Date(2026, 9, 14), Date(2026, 10, 30), Date(2027, 3, 3), Date(2028, 1, 1)])
    months = cal.months(Date(2026, 9, 14), Date(2027, 12, 31))
    weights = cal.spread_weights(stretches, months)
    assert weights.sum(axis=0) == pytest.approx(np.ones(3))
    years = cal.calendar_years(2026, 2027)
    assert (cal.gather_weights(months, years) @ weights).sum() == pytest.approx(3)


def test_the_same_periods_are_the_same_axis() -> None:
    assert cal.calendar_years(2026, 2030) is cal.calendar_years(2026, 2030)
    assert cal.dated(Date(2026, 1, 1)) is cal.dated(Date(2026, 1, 1))


def test_closing_and_during_find_their_rows() -> None:
    payments = cal.on_days("payment", ["1", "2", "3"], [Date(2026, 12, 1), Date(2027, 1, 1), Date(2027, 2, 1)])
    years = cal.calendar_years(2025, 2027)
    assert cal.closing_rows(payments, years).tolist() == [-1, 0, 2]
    assert cal.during_rows(years, payments).tolist() == [1, 2, 2]
