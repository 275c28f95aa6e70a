"""Depreciation in the shop's own books, reached from a scenario: against textbook examples and by hand."""

from __future__ import annotations

import pytest

from equipdecide import book_methods
from equipdecide.evaluate import evaluate
from equipdecide.ledger import Ledger
from equipdecide.scenario import ScenarioError, loads

TEXT = """
title: The shop's own books
decision_date: 2026-01-01
machine_in_question: M
study: {{years: 6, rate: 10 %}}
shop: {{name: Case, taxed_as: sole proprietor}}
owners: {{One: {{share: 100 %, tax_rate: 25 %}}}}
machines:
  M:
    what: machine
    worth_at_end: 0
    assets: {{machine: {{cost: 12,000, in_service: {placed}, section_179: all}}}}
    own_books: {{{books}}}
    running: {{staffed_hours: 2,000, cutting_share: 50 %}}
  N: {{what: next, price: 20,000, worth_at_end: 0, running: {{staffed_hours: 2,000, cutting_share: 50 %}}}}
offers: {{buyer: {{machine: M, route: outright, price: 5,000}}}}
alternatives:
  keep: []
  sell: [{{do: sell, machine: M, by: buyer, on: 2027-07-02}}]
  idle: [{{do: buy, machine: N, on: 2028-01-01}}]
"""


def made(books: str, course: str = "keep", placed: str = "2026-01-01") -> Ledger:
    return evaluate(loads(TEXT.format(books=books, placed=placed)), only=[course])[course]


def by_year(ledger: Ledger, column: str = "depreciation") -> list[float]:
    return [round(float(x), 2) for x in ledger.column(f"own book of M.{column}").per_row()]


@pytest.mark.parametrize(
    ("books", "expected"),
    [
        # cost 12,000, salvage 600, four years: the figures of textbooks, as in equipdecide.book_methods
        ("method: straight line, life: 4, salvage: 600", [2850, 2850, 2850, 2850]),
        ("method: sum of years digits, life: 4, salvage: 600", [4560, 3420, 2280, 1140]),
        ("method: declining balance, life: 4, salvage: 600", [6000, 3000, 1500, 900]),  # the last to salvage
    ],
)
def test_methods_by_years_of_use(books: str, expected: list[float]) -> None:
    found = by_year(made(books))
    assert found == [*expected, *[0.0] * (len(found) - 4)]


def test_the_methods_agree_with_the_plain_functions() -> None:
    plain = {
        "straight line": book_methods.straight_line(12_000, 600, 5),
        "sum of years digits": book_methods.sum_of_years_digits(12_000, 600, 5),
        "declining balance": book_methods.declining_balance(12_000, 600, 5, switch=True),
    }
    for name, amounts in plain.items():
        found = by_year(made(f"method: {name}, life: 5, salvage: 600"))
        assert found[:5] == pytest.approx(list(amounts), abs=0.0051)


def test_part_years_share_a_year_of_use() -> None:
    """In service on 2 July 2024: 183 of the 365 days of the first year of use lie in 2024, and so on."""
    found = by_year(made("method: sum of years digits, life: 4", placed="2024-07-02"))
    digits = [4_800.0, 3_600.0, 2_400.0, 1_200.0]
    at = [183 / 365, 183 / 365, 183 / 365, 183 / 366]  # part of the year of use over at the end of 2024 to 2027
    whole = [sum(digits[:k]) + at[k] * digits[k] for k in range(4)] + [12_000.0]
    assert found[:3] == pytest.approx([whole[2] - whole[1], whole[3] - whole[2], whole[4] - whole[3]], abs=0.0051)


def test_units_of_production_by_spindle_hour() -> None:
    """2,000 staffed hours, half of them cutting: 1,000 spindle hours a year at 1.50 (12,000 less
    3,000 over 6,000), 3,500 on it.
    """
    books = "method: units of production, salvage: 3,000, spindle_hours: 6,000, spindle_hours_so_far: 3,500"
    ledger = made(books)
    assert by_year(ledger, "hours")[:6] == [1_000.0] * 6
    assert by_year(ledger)[:4] == [1_500.0, 1_500.0, 750.0, 0.0]  # used up in the third year
    assert by_year(ledger, "book_value")[:3] == [5_250.0, 3_750.0, 3_000.0]
    assert by_year(made(books, "idle"))[:3] == [1_500.0, 1_500.0, 0.0]  # the next machine does the work from 2028


def test_gain_in_the_own_books_is_not_the_gain_of_tax() -> None:
    ledger = made("method: straight line, life: 10, salvage: 2,000", "sell")
    # 1,000 a year; 182 of the 365 days of the second year of use are over on 2 July 2027
    assert ledger.column("own book of M.gain").figure() == pytest.approx(5_000 - (12_000 - 1_000 * (1 + 182 / 365)))
    assert ledger.column("gain federal M.gain").figure() == pytest.approx(5_000)


def test_what_is_missing_is_said() -> None:
    for books, words in (
        ("method: straight line", "years of life"),
        ("method: units of production", "spindle hours"),
    ):
        with pytest.raises(ScenarioError, match=words):
            made(books)
