"""A lender's downside: adverse events by name, a lost contract whose hours stay empty, never better than planned."""

from pathlib import Path

import pytest

import equipdecide as ed
from equipdecide.decide.lender import lender

SCENARIOS = Path(__file__).parents[1] / "scenarios"
DEMO = ed.load(SCENARIOS / "deck_fittings.yaml")

# 1,000 hours. A must ship and takes 600 of them at 50 an hour; B is believed to sell 1,000 at 80 and gets the 400 left.
# A full year as planned: 600 x 50 + 400 x 80 - 5,000 of upkeep = 57,000 over twelve payments of 1,000: 4.75.
SHOP = """
title: One contract
decision_date: 2026-01-05
machine_in_question: mill
study: {years: 4, rate: 10 %}
shop: {name: Invented Works, taxed_as: sole proprietor, coverage_required: 1.25}
owners: {Ann: {share: 100 %, tax_rate: 0 %}}
machines:
  mill:
    what: mill
    loans: {bank: {principal: 48,000, rate: 8 %, payments: 60, payment: 1,000, first_payment: 2026-02-01}}
    running: {staffed_hours: 1,000, cutting_share: 100 %}
    upkeep: {first_year: 5,000 .. 5,000 .. 8,000, growth: 0 %}
    worth_at_end: 4,000
parts:
  A: {price: 50, minutes: 60, demand: 600, must_ship: 600, ends: 2026-06-30, renews: 60 %}
  B: {hours: 250 .. 1,000 .. 1,000, contribution_per_hour: 80}
alternatives:
  keep: []
"""


@pytest.fixture(scope="module")
def shop():
    return lender(ed.loads(SHOP), "keep")


def test_each_event_alone_and_the_worst_of_all_by_hand(shop):
    year = shop.coverage[0]
    assert (year.year, year.available, year.service) == (2027, pytest.approx(57_000), pytest.approx(12_000))
    alone = {name: round(worst, 2) for name, worst in shop.worst_alone.items()}
    assert (
        alone
        == {
            "less is ordered": 3.75,  # B 250: 30,000 + 20,000 - 5,000
            "the contract for A is lost and its hours stay empty": 2.25,  # B stays at 400: 32,000 - 5,000; refilled it were 6.25
            "upkeep is dearer": 4.5,  # 62,000 - 8,000
        }
    )
    bad = shop.downside[0]  # all three: 20,000 - 8,000
    assert bad.coverage == pytest.approx(1.0, abs=0.003) and len(bad.events) == 3
    assert shop.downside_inputs["parts.B.hours"] == 250 and shop.downside_inputs["parts.A.renews"] == 0
    assert any(
        f.code == "coverage" and "in the downside is least" in f.text and "under" in f.text for f in shop.findings
    )


def test_what_was_shipped_last_year_is_evidence():
    """B by the piece of an hour: 700 shipped last year, so a lost contract lets 700 be made: 56,000 - 5,000."""
    text = SHOP.replace(
        "B: {hours: 250 .. 1,000 .. 1,000, contribution_per_hour: 80}",
        "B: {price: 80, minutes: 60, demand: 250 .. 1,000 .. 1,000, last_year: 700}",
    )
    view = lender(ed.loads(text), "keep")
    lost = "the contract for A is lost and its hours stay empty"
    assert view.worst_alone[lost] == pytest.approx(51_000 / 12_000, abs=0.01)


@pytest.mark.parametrize("course", list(DEMO.alternatives))
def test_no_year_of_the_downside_is_better_than_planned(course):
    view = lender(DEMO, course)
    for planned, bad in zip(view.coverage, view.downside, strict=True):
        assert bad.available <= planned.available + 0.005
        assert bad.coverage is None or bad.coverage <= planned.coverage + 1e-9
    if view.worst_coverage is not None:
        assert view.worst_downside < view.worst_coverage


def test_a_contract_that_decides_the_course_is_not_lost_in_it():
    named = [event.name for event in lender(DEMO, "kit now, R1 if P5 renews").events]
    assert not any("contract" in name for name in named) and "less is ordered" in named


def test_no_ranges_no_downside():
    text = SHOP.replace(", ends: 2026-06-30, renews: 60 %", "").replace("5,000 .. 5,000 .. 8,000", "5,000")
    text = text.replace("B: {hours: 250 .. 1,000 .. 1,000, contribution_per_hour: 80}", "").replace(
        "demand: 600, must_ship: 600", "demand: 600, must_ship: 600"
    )
    view = lender(ed.loads(text), "keep")
    assert not view.events and not view.downside and view.worst_downside is None
    assert any(f.code == "no_downside" and f.weight == "warning" for f in view.findings)


def test_a_year_of_sale_looks_worse_and_it_is_said():
    """Gain 38,500 less a tenth and 1,450, all of it recapture, at 22.6 %: 7,503 of tax due in April 2027."""
    view = lender(ed.load(SCENARIOS / "first_sale.yaml"), "sell and replace")
    gain = 38_500 * 0.9 - 1_450
    year = view.coverage[0]
    assert year.year == 2027 and year.service == pytest.approx(
        12 * 45_000 * (0.081 / 12) / (1 - (1 + 0.081 / 12) ** -60), abs=0.2
    )
    without = year.coverage + 0.226 * gain / year.service
    (said,) = [f for f in view.findings if f.code == "sale_year_looks_worse"]
    assert f"2027: {year.coverage:.2f}, {without:.2f} without" in said.text and f"{gain:,.0f}" in said.text


def test_customers_are_shown():
    view = lender(DEMO, "upgrade")
    assert view.largest_customer == 0.19
    (one,) = view.contracts
    w = view.ledger.workings["contribution"]
    in_2027 = [k for k, end in enumerate(w.axis.ends) if end.year == 2027]
    parts, whole = (
        sum(float(w[name].per_row()[k]) for k in in_2027) for name in ("P5 bracket: contribution", "contribution")
    )
    assert (one.part, one.renews) == ("P5 bracket", 0.75) and one.share == pytest.approx(parts / whole)
    bare = DEMO.model_copy(update={"shop": DEMO.shop.model_copy(update={"largest_customer": None})})
    assert any(f.code == "largest_customer_not_given" for f in lender(bare, "upgrade").findings)
