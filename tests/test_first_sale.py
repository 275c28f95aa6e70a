"""The smallest example and the demo's outright sale by hand: settlement to the cent, gain, tax, what is left.

The hand calculations are written out below in decimal arithmetic; they use nothing of the engine. Loans: interest of a
month is a twelfth of the yearly rate on the balance, rounded to cents (common practice; the method of any amortization
table). Depreciation: IRS Pub. 946, Tables A-1 (7-year, half-year) and A-5 (7-year, mid-quarter, fourth quarter), and
the part year of disposal of its chapter 4.
"""

from __future__ import annotations

from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from pathlib import Path

import pytest

import equipdecide as ed
from equipdecide.decide.sale import RouteResult, SaleResult, sale
from equipdecide.scenario import load, loads
from equipdecide.scenario.examples import example, examples

CENT = Decimal("0.01")


def cents(value: Decimal) -> Decimal:
    return value.quantize(CENT, ROUND_HALF_UP)


def balance(principal: str, rate: str, payment: str, count: int) -> Decimal:
    """Principal owed after `count` payments."""
    owed = Decimal(principal)
    for _ in range(count):
        owed += cents(owed * Decimal(rate) / 12) - Decimal(payment)
    return owed


@pytest.fixture(scope="module")
def first() -> RouteResult:
    return sale(load(example("first_sale")))["reseller"]


@pytest.fixture(scope="module")
def demo() -> SaleResult:
    return sale(load(example("deck_fittings")), "2026-09-18")


def test_settlement_of_the_smallest_example(first: RouteResult) -> None:
    owed = balance("58000", "0.0725", "1155.32", 35)  # 15 November 2023 to 15 September 2026
    payoff = owed + cents(owed * Decimal("0.0725") / 365 * 24)  # to 9 October
    net = Decimal("38500") - Decimal("3850") - Decimal("1450") - payoff - Decimal("150")
    assert (payoff, net) == (Decimal("26860.42"), Decimal("6189.58"))
    assert first.gross == 38_500
    assert first.selling_costs == 3_850 + 1_450
    assert first.payoff == pytest.approx(float(payoff), abs=0.001)
    assert first.other_costs == 150
    assert first.net_cash == pytest.approx(6_189.58, abs=0.001)
    assert first.payoff_by_schedule is None  # nobody wrote a letter
    assert first.sold_on == date(2026, 10, 9)


def test_gain_and_tax_of_the_smallest_example(first: RouteResult) -> None:
    # all of the cost was deducted under section 179, so the whole amount realized is gain, and all of it ordinary
    assert first.amount_realized == 38_500 - 3_850 - 1_450 == 33_200
    assert first.adjusted_basis == 0
    assert first.gain == first.ordinary_recapture == 33_200
    assert first.section_1231 == 0
    assert first.tax_by_owner == {"Perrin": pytest.approx(33_200 * 0.226)}  # 7,503.20
    assert first.tax_due == ((date(2027, 4, 15), pytest.approx(7_503.20)),)  # a Thursday
    assert first.after_tax == pytest.approx(33_200 - 7_503.20)
    assert first.cash_less_tax == pytest.approx(6_189.58 - 7_503.20)  # short by 1,313.62
    assert "short by 1,314" in sale(load(example("first_sale"))).findings[0].text


def test_payoff_by_the_letter_and_by_the_schedule(demo: SaleResult) -> None:
    route = demo["outright"]
    letter = Decimal("53840.66") + cents(Decimal("9.3668") * 17) + cents(Decimal("53840.66") * CENT) + 295
    assert letter == Decimal("54833.31")
    owed = balance("183780", "0.0635", "2715.70", 63)  # 1 July 2021 to 1 September 2026
    assert owed == Decimal("53840.87")
    schedule = owed + cents(owed * Decimal("0.0635") / 365 * 17) + cents(owed * CENT) + 295
    assert schedule == Decimal("54833.52")
    assert route.payoff == pytest.approx(float(letter), abs=0.001)
    assert route.net_cash == pytest.approx(71_000 - 54_833.31 - 150, abs=0.001)  # 16,016.69
    assert route.payoff_by_schedule == pytest.approx(float(schedule), abs=0.001)
    assert route.net_cash_by_schedule == pytest.approx(71_000 - 54_833.52 - 150, abs=0.001)  # 16,016.48
    said = [finding.text for finding in demo.findings if finding.code == "payoff_by_schedule"]
    assert "54,833.31 by the lender's letter, 54,833.52 by the schedule: 0.21 apart" in said[0]
    assert "16,016.48" in said[0]


def test_adjusted_basis_of_everything_bolted_on(demo: SaleResult) -> None:
    # machine, rotary axis (100 % bonus), conveyor (section 179) and fixture columns (expensed) are at nothing
    left = Decimal("9850") * Decimal("0.20")  # the probe after 80 % bonus
    probe = (
        left
        - sum(cents(left * Decimal(p) / 100) for p in ("14.29", "24.49", "17.49"))
        - cents(left * Decimal("12.49") / 200)
    )
    cost = Decimal("14200")  # coolant, elected out of bonus; sold in the third quarter: 62.5 % of the year
    coolant = (
        cost
        - cents(cost * Decimal("3.57") / 100)
        - cents(cost * Decimal("27.55") / 100)
        - cents(cost * Decimal("19.68") / 100 * Decimal("0.625"))
    )
    assert float(probe) == pytest.approx(738.45, abs=0.02)
    assert float(coolant) == pytest.approx(8_034.36, abs=0.02)
    route = demo["outright"]
    assert route.adjusted_basis == pytest.approx(8_773, abs=1)
    assert route.adjusted_basis == pytest.approx(float(probe + coolant), abs=0.02)
    assert route.gain == pytest.approx(71_000 - float(probe + coolant), abs=0.02)
    # item by item (Form 4797, part III), the price divided by cost: the coolant is sold at a section 1231 loss of
    # 71,000 x 14,200 / 240,950 less its basis, all other items at an ordinary gain
    assert 177_800 + 26_400 + 7_100 + 9_850 + 14_200 + 5_600 == 240_950
    loss = 71_000 * 14_200 / 240_950 - float(coolant)
    assert route.section_1231 == pytest.approx(loss, abs=0.02)
    assert route.ordinary_recapture == pytest.approx(71_000 - float(probe + coolant) - loss, abs=0.03)


def test_routes_of_the_demo(demo: SaleResult) -> None:
    consigned = demo["consignment"]  # 88,000 less 10 %, 1,800, 650, 2,400 and three months begun at 95
    assert consigned.selling_costs == pytest.approx(8_800 + 1_800 + 650 + 2_400 + 3 * 95)
    assert consigned.sold_on == date(2026, 12, 2)  # 75 days after 18 September
    # 86,000 in trade, 15,000 of it lost in the price of the next machine: realized as by the outright sale
    assert demo["trade-in"].amount_realized == demo["outright"].amount_realized == 71_000
    assert demo["trade-in"].over_allowance == 303_500 - 288_500
    assert demo["trade-in"].left_in_all == pytest.approx(demo["outright"].left_in_all)  # the same offer, dressed up
    assert demo["auction"].selling_costs == pytest.approx(0.08 * 59_000)


def test_a_day_outside_the_study_is_refused() -> None:
    with pytest.raises(ValueError, match="not within the study"):
        sale(load(example("first_sale")), "2026-09-01")
    with pytest.raises(KeyError, match="no machine 'lathe'"):
        sale(load(example("first_sale")), machine="lathe")


def test_examples_are_found_in_the_folder_of_the_checkout() -> None:
    assert {"first_sale", "deck_fittings"} <= set(examples())
    assert example("first_sale") == Path(__file__).parents[1] / "scenarios" / "first_sale.yaml"
    with pytest.raises(KeyError, match="deck_fittings"):
        example("nothing")


def test_a_sale_under_one_flat_rate_is_taxed_in_its_period() -> None:
    # by hand: cost 4,400 with 52 % taken (20 + 32 of the five-year table), so a basis of 2,112; 2,500 less that is 388,
    # at 40 %
    scenario = loads("""
title: A textbook sale
decision_date: 2026-12-31
machine_in_question: press
regime: flat
flat: {tax_rate: 40 %}
study: {years: 3, rate: 12 %, periods: years}
shop: {name: a shop, taxed_as: C corporation}
machines:
  press:
    what: press
    assets:
      machine:
        cost: 4,400
        in_service: 2024-12-31
        life: 5
offers:
  dealer: {machine: press, route: outright, price: 2,500}
alternatives:
  keep: []
  sell: [{do: sell, machine: press, by: dealer, on: 2026-12-31}]
""")
    route = sale(scenario)["dealer"]
    assert route.gain == pytest.approx(388)
    assert route.tax == pytest.approx(155.20)
    assert route.tax_due == ((date(2026, 12, 31), pytest.approx(155.20)),)


def test_a_loss_under_one_flat_rate_lowers_other_tax_or_is_carried_forward() -> None:
    # by hand: 1,000 written off in the first year against earnings of 600 a year: incomes of -400, 600 and 600, at 40 %
    text = """
title: A textbook loss
decision_date: 2026-12-31
machine_in_question: press
regime: flat
flat: {tax_rate: 40 %, losses: LOSSES}
study: {years: 3, rate: 12 %, periods: years}
shop: {name: a shop, taxed_as: C corporation}
machines:
  press: {what: press}
  new:
    what: new press
    price: 1,000
    earnings: {work: 600}
    depreciation: {method: table, table: [100 %]}
    worth_at_end: 0
alternatives:
  keep: []
  buy: [{do: buy, machine: new, on: 2026-12-31}]
"""
    for losses, by_hand in (("lower other tax", [-160, 240, 240]), ("carried forward", [0, 80, 240])):
        ledger = ed.evaluate(loads(text.replace("LOSSES", losses)))["buy"]
        assert ledger.column("federal return shop as filed.tax").per_row()[1:] == pytest.approx(by_hand)
        assert not any(found.code == "left_at_end" for found in ledger.findings)
    shorter = loads(text.replace("LOSSES", "carried forward").replace("years: 3", "years: 1"))
    left = [found for found in ed.evaluate(shorter)["buy"].findings if found.code == "left_at_end"]
    assert "400 of net operating loss" in left[0].text
