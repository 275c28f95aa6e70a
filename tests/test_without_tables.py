"""Depreciation by the rate on what is left: the whole is deducted, and where there is a table it says the same."""

from __future__ import annotations

from datetime import date

import pytest

from equipdecide import parameters
from equipdecide.tax.elections import FASTER, SLOWER, STRAIGHT_LINE, printed_table
from equipdecide.tax.without_tables import Rates, first_months, quarter

CONVENTIONS = ("half-year", *(f"mid-quarter-{k}" for k in (1, 2, 3, 4)))


@pytest.mark.parametrize("convention", CONVENTIONS)
@pytest.mark.parametrize(("factor", "lives"), [(FASTER, (3, 5, 7, 10)), (SLOWER, (3, 5, 7, 10, 15, 20))])
def test_the_rates_give_the_printed_tables_but_for_their_rounding(
    convention: str, factor: float, lives: tuple[int, ...]
) -> None:
    """Tables A-1 to A-5 and A-14 to A-18 are rounded year by year and carry it: no cell is off by more than 0.02."""
    for life in lives:
        table = printed_table(parameters.load(), convention, life, factor)
        assert table is not None
        found = Rates(factor, life, first_months(None, date(2025, 6, 1), convention), "").percents()
        assert len(found) == len(table.values)
        assert sum(found) == pytest.approx(100, abs=1e-9)
        assert max(abs(a - b) for a, b in zip(found, table.values, strict=True)) <= 0.02


@pytest.mark.parametrize("life", [3, 3.5, 5, 9.5, 12, 20])
@pytest.mark.parametrize("factor", [STRAIGHT_LINE, SLOWER, FASTER])
@pytest.mark.parametrize("months", [0.5, 1.5, 5, 6, 7.5, 11.5])
def test_all_of_the_basis_is_deducted_within_the_recovery_period(life: float, factor: float, months: float) -> None:
    rates = Rates(factor, life, months, "")
    percents = rates.percents()
    assert sum(percents) == pytest.approx(100, abs=1e-9)
    assert min(percents) > 0
    assert len(percents) - 1 < life - months / 12 + 1 <= len(percents) + 1e-9


# by hand from the example of Publication 946 (from memory): 292 days from 15 March, quarters of 73, the 37th day
TARA = [("2025-03-16", 1, 8.5), ("2025-05-26", 1, 8.5), ("2025-05-27", 2, 6.0), ("2025-08-07", 2, 6.0)]
TARA += [("2025-08-08", 3, 4.0), ("2025-10-19", 3, 4.0), ("2025-10-20", 4, 1.5), ("2025-12-31", 4, 1.5)]


@pytest.mark.parametrize(("day", "q", "months"), TARA)
def test_quarters_of_a_short_year(day: str, q: int, months: float) -> None:
    began, placed = date(2025, 3, 15), date.fromisoformat(day)
    assert quarter(began, placed) == q
    assert first_months(began, placed, f"mid-quarter-{q}") == months
    assert first_months(began, placed, "half-year") == 5.0  # ten months, from 1 August


def test_a_full_first_year_and_later_years_have_the_quarters_of_the_calendar() -> None:
    for began in (None, date(2025, 1, 1), date(2024, 5, 5), date(2025, 9, 1)):
        assert quarter(began, date(2025, 8, 31)) == 3
    assert quarter(date(2025, 9, 1), date(2025, 10, 31)) == 2  # four full months: a month each
    assert first_months(date(2025, 9, 1), date(2025, 10, 31), "mid-quarter-2") == 2.5
