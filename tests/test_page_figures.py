"""The figures behind the page, against cases small enough to be worked by hand (the arithmetic stands beside each)."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

import equipdecide as ed
from equipdecide.decide import page_figures as figures

SCENARIOS = Path(__file__).parents[1] / "scenarios"

# A loan without interest, so that balances are whole thousands: 12,000 owed, 1,000 a month from 28 February 2025.
LOAN = """
title: A loan without interest
decision_date: 2025-01-31
machine_in_question: lathe
study: {years: 2, rate: 10 %}
shop: {name: Some Shop, taxed_as: partnership}
owners:
  Ada: {share: 50 %, tax_rate: 20 %, guarantees: 1,500}
  Ben: {share: 50 %, tax_rate: 20 %}
machines:
  lathe:
    what: lathe
    assets: {machine: {cost: 20,000, in_service: 2020-03-02, section_179: all}}
    loans: {bank: {principal: 12,000, balance_on: 2025-01-31, rate: 0 %, payments: 12, payment: 1,000, first_payment: 2025-02-28}}
    worth_now: 10,000
    worth_at_end: {END}
  mill:
    what: mill
    price: 5,000
    capital_costs: {freight: 400}
    terms: {order: 20 %, acceptance: 80 %}
    worth_at_end: 3,000
offers:
  buyer: {machine: lathe, route: outright, price: 10,000, paid_after: 5}
financing:
  new loan: {amount: 3,600, rate: 0 %, payments: 36}
alternatives:
  keep: []
  swap:
    - {do: buy, machine: mill, ordered: 2025-02-10, on: 2025-03-10, pay: new loan}
    - {do: sell, machine: lathe, by: buyer, on: 2025-03-20}
"""


def comparison(end: str = "10,000"):
    return ed.compare(ed.loads(LOAN.replace("{END}", end)))


def test_shortfall_behind_a_guarantee_by_hand() -> None:
    keep = comparison()["keep"].ledger.workings["guarantees"]
    # value stays 10,000; owed 12,000 in January, 11,000 in February, 10,000 in March
    assert keep["owed"].per_row()[:4] == pytest.approx([12000, 11000, 10000, 9000])
    assert keep["would_bring"].per_row()[:3] == pytest.approx([10000, 10000, 10000])
    assert keep["shortfall"].per_row()[:4] == pytest.approx([2000, 1000, 0, 0])
    assert keep["worst"].figure() == pytest.approx(2000)
    assert keep["behind Ada"].figure() == pytest.approx(1500)  # signed for 1,500 at most
    assert keep["behind Ben"].figure() == pytest.approx(2000)  # signed for all of it: the whole, not half


def test_value_falls_by_the_same_share_each_year() -> None:
    # 10,000 to 2,500 over 730 days is a quarter: half is left after half the time, 365 days, on 31 January 2026
    keep = comparison("2,500")["keep"].ledger.workings["guarantees"]
    row = keep["would_bring"].axis.labels.index("2026-01")
    assert keep["would_bring"].per_row()[row] == pytest.approx(5000)


def test_debt_and_machine_leave_with_the_sale() -> None:
    swap = comparison()["swap"].ledger.workings["guarantees"]
    labels = swap["owed"].axis.labels
    march, april = labels.index("2025-03"), labels.index("2025-04")
    assert swap["owed"].per_row()[march] == pytest.approx(3600)  # the old loan is paid off with the sale on 20 March
    assert swap["owed"].per_row()[april] == pytest.approx(3500)
    assert swap["shortfall"].per_row()[march] == pytest.approx(0)


def test_payments_a_month_before_and_after() -> None:
    c = comparison()
    found = figures.monthly_payments(c, c["swap"])
    assert found is not None
    # kept: 1,000 in February; swapped, the first month after the sale money of 25 March: 3,600 / 36 = 100 in April
    assert (found.before, found.after, found.after_month) == (pytest.approx(1000), pytest.approx(100), "2025-04")


def test_largest_payment_and_dated_cash() -> None:
    c = comparison()
    largest = figures.largest_payment(c["swap"])
    assert largest is not None
    assert (largest.day, largest.amount) == (dt.date(2025, 3, 10), pytest.approx(4000))  # 80 % of 5,000
    days = {one.day: one.net for one in figures.one_offs(c["swap"])}
    assert days[dt.date(2025, 2, 10)] == pytest.approx(-1000)  # 20 % with the order
    assert days[dt.date(2025, 3, 10)] == pytest.approx(3600 - 4000 - 400)  # loan, the rest of the price, freight
    assert days[dt.date(2025, 3, 20)] == pytest.approx(10000 - 11000)  # the price does not cover what is owed
    assert dt.date(2025, 3, 25) not in days  # so nothing comes on the day the rest would be paid


def test_ten_numbers_agree_with_the_comparison() -> None:
    c = ed.compare(ed.load(SCENARIOS / "deck_fittings.yaml"))
    t = figures.ten_numbers(c)
    assert t.lead.course == c.best
    assert t.lead.over_keep == c[c.best].npv_less_keep
    assert t.cash_low == c[c.best].cash_low
    assert t.sale is not None and t.sold is not None and t.sale in t.sold.routes


@pytest.mark.parametrize("name", ["first_sale", "deck_fittings"])
def test_worth_so_far_ends_at_present_worth(name: str) -> None:
    for outcome in ed.compare(ed.load(SCENARIOS / f"{name}.yaml")):
        assert figures.worth_so_far(outcome)[-1] == pytest.approx(outcome.npv, abs=0.01)


def test_worth_so_far_counts_the_tax_paid_after_the_last_month() -> None:
    """A flat rate studied by months: the tax of the last year falls due when its months are over."""
    scenario = ed.load(Path(__file__).parent / "bench" / "simple_tax.yaml")
    for outcome in ed.compare(scenario).outcomes:
        late = [one for one in outcome.ledger.lines if one.dates and max(one.dates) > outcome.plan.time.cash.ends[-1]]
        assert late
        assert figures.worth_so_far(outcome)[-1] == pytest.approx(outcome.npv, abs=0.01)


def test_cash_by_year_adds_up_to_cash() -> None:
    c = ed.compare(ed.load(SCENARIOS / "deck_fittings.yaml"))
    by_group = figures.cash_by_year(c["upgrade"], c.keep)
    assert sum(values.sum() for values in by_group.values()) == pytest.approx(
        c["upgrade"].cash().sum() - c.keep.cash().sum()
    )


def test_staircase_by_hand() -> None:
    """Hours a year are pieces times minutes over 60; what must ship comes first; capacities are the good hours."""
    stairs = figures.staircase(ed.compare(ed.load(SCENARIOS / "deck_fittings.yaml")))
    assert stairs is not None
    must = {stair.part.split()[0]: stair.hours for stair in stairs.stairs if stair.must_ship}
    # 2,400 x 19.5, 300 x 13, 260 x 44, 4,000 x 11.5 minutes
    assert must == pytest.approx({"P1": 780, "P2": 65, "P3": 190.6667, "P5": 766.6667}, abs=1e-3)
    free = [
        (stair.part.split()[0], round(stair.hours, 2), round(stair.per_hour, 1))
        for stair in stairs.stairs
        if not stair.must_ship
    ]
    # 1,000 x 19.5 at 38.20 a piece; 3,900 x 13 at 23.70; 2,600 x 9.6 at 12.90; 900 h at 34
    assert free == [("P1", 325.0, 117.5), ("P2", 845.0, 109.4), ("P4", 416.0, 80.6), ("P6", 900.0, 34.0)]
    # keep: (2,000 x 60 % + 190 nights x 6.4 (1 - exp(-5/6.4))) x 97.2 %, by hand 1,807
    assert stairs.capacities["keep"] == pytest.approx(1807, abs=0.5)
    assert stairs.capacities["sell and do without"] == 0


def test_coverage_is_left_out_where_no_earnings_are_in_the_scenario() -> None:
    t = figures.ten_numbers(ed.compare(ed.load(SCENARIOS / "first_sale.yaml")))
    assert t.coverage is None and t.cash_low is None and t.extra_hours_sold is None


def test_law_was_read() -> None:
    read = figures.law_read(ed.compare(ed.load(SCENARIOS / "deck_fittings.yaml")))
    assert read is not None and read[0] <= read[1]
