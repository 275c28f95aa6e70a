"""The rough answer: one screen, the answer first; a far flip is said to be far; figures as the other reports have them.

The figures of the sale are worked by hand beside the check.
"""

from __future__ import annotations

import datetime as dt

from equipdecide.decide.breakeven import breakeven, nothing_extra_sold
from equipdecide.decide.compare import compare
from equipdecide.decide.sale import sale
from equipdecide.scenario.asking.questions import scenario_from_answers
from equipdecide.views.rough import one_line, rough_text

TODAY = dt.date(2026, 9, 14)
MILL = {
    "machine": "mill",
    "cost": "100,000",
    "in_service": "2021-09-15",
    "hour_worth": "70",
    "owed": "30,000",
    "loan_rate": "6 %",
    "payments_left": "24",
    "worth": "40,000",
    "commission": "10 %",
    "route": "outright",
    "tax_rate": "25 %",
}
REPLACE = {"new_price": "200,000", "cash": "60,000", "floor": "20,000"}


def text(answers: dict[str, str], width: int = 96) -> str:
    scenario = scenario_from_answers(answers, TODAY)
    comparison = compare(scenario)
    none_sold = nothing_extra_sold(scenario, comparison)
    return rough_text(comparison, breakeven(scenario), none_sold, width, sold=sale(scenario))


def plain(answers: dict[str, str]) -> str:
    return " ".join(text(answers).split())


def test_what_the_sale_leaves() -> None:
    # 40,000 less 10 % = 36,000; less 30,000 owed = 6,000; all written off: gain 36,000 at 25 % = 9,000; short by 3,000
    said = plain(MILL)
    assert "40,000, less 4,000 for selling, less 30,000 to the lender gives 6,000 in cash" in said
    assert "tax on the gain of 36,000 is 9,000" in said
    assert "you are short by 3,000" in said


def test_a_sale_that_does_not_cover_the_lender() -> None:
    # 36,000 less 50,000 owed: 14,000 to pay in, and 9,000 of tax on top: 23,000
    said = plain(MILL | {"owed": "50,000"})
    assert "to the lender does not cover it: 14,000 to pay in" in said
    assert "you are short by 23,000" in said


def test_what_is_left_where_nothing_is_owed() -> None:
    # 36,000 less 9,000 of tax
    assert ": 27,000 is left." in plain(MILL | {"owed": "none"})


def test_it_is_one_screen_and_begins_with_the_answer() -> None:
    for width in (80, 96):
        lines = text(MILL | REPLACE, width).splitlines()
        assert lines[0] == "ROUGH ANSWER" and lines[2] == "The answer"
        assert len(lines) < 45 and max(map(len, lines)) <= width


def test_a_flip_far_off_is_said_to_be_far() -> None:
    # nothing owed, much work, nothing to replace it by: only figures more than half wrong would turn keep
    said = plain(MILL | {"owed": "none"})
    assert "Nothing near. The nearest:" in said
    assert "None: no default turns the answer by itself" in said
    assert "No single figure left open turns the answer." in said


def test_without_cash_it_is_said_that_paying_is_not_tested() -> None:
    assert "was not tested: cash or floor is not given" in plain(MILL)
    assert "was not tested" not in plain(MILL | REPLACE)


def test_without_extra_hours_nothing_is_said_of_them() -> None:
    assert "If no extra hour is sold" not in plain(MILL | REPLACE)
    assert "If no extra hour is sold" in plain(MILL | REPLACE | {"extra_hours": "400", "new_hours": "30"})


def test_one_line_names_every_course_behind_the_leader() -> None:
    comparison = compare(scenario_from_answers(MILL | REPLACE, TODAY))
    said = one_line(comparison)
    assert said.startswith(f"{comparison.leader.name} leads; ")
    assert all(outcome.name in said for outcome in comparison.outcomes)


def test_one_payment_of_tax_is_said_once() -> None:
    assert "is 9,000, due on " in plain(MILL)  # all of it on one day


def test_a_dealer_who_buys_outright_takes_no_commission() -> None:
    # 40,000, nothing for selling, less 30,000 owed = 10,000
    said = plain({key: text for key, text in MILL.items() if key != "commission"} | {"route": "outright"})
    assert "40,000, less 30,000 to the lender gives 10,000 in cash" in said
