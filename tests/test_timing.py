"""Timing and whose guesses: published economic lives, sales and waiting worked by hand, the demo as a whole."""

import datetime as dt
from pathlib import Path

import numpy as np
import pytest
import yaml

import equipdecide as ed
from equipdecide.decide.put_off import move
from equipdecide.evaluate import evaluate

ROOT = Path(__file__).parents[1]
PUBLISHED = {
    case["id"]: case
    for case in yaml.safe_load((ROOT / "tests" / "published" / "economics.yaml").read_text("utf-8"))
    if case["id"] in ("C01", "C02", "C03", "C05", "C08")
}

TRUCK = """
title: Truck
decision_date: 2026-01-01
regime: flat
flat: {tax_rate: 0 %}
machine_in_question: [truck]
study: {years: YEARS, rate: RATE, periods: years}
shop: {name: Shop, taxed_as: sole proprietor}
machines:
  truck: {what: lift truck, costs_by_year: [COSTS], worth_now: NOW, worth_at_end: END}
alternatives:
  keep: []
"""


def truck(rate, now, values, costs):
    text = TRUCK.replace("YEARS", str(len(values))).replace("RATE", f"{rate:.4%}").replace("NOW", str(now))
    return ed.loads(text.replace("END", str(values[-1])).replace("COSTS", ", ".join(str(c) for c in costs)))


@pytest.mark.parametrize("name", ["C01", "C03", "C05", "C08"])
def test_published_economic_lives(name):
    """A new machine: marginal cost, annual cost and life of the print, before tax; the same by
    selling later, no tax.
    """
    case = PUBLISHED[name]
    given, expected, tolerance = case["inputs"], case["expected"], case["tolerance"]
    rate, price, values, costs = (given[key] for key in ("i", "P", "mv", "om"))
    found = ed.service_life(truck(rate, price, values, costs), market_values=values)
    assert found.expenses == pytest.approx(costs)
    assert found.years_before_tax == found.years_after_tax == expected["life"]
    for key in ("tc", "mc"):
        if key in expected:
            assert found.before_tax.marginal_cost == pytest.approx(expected[key], abs=tolerance[key])
            assert -found.marginal_worth == pytest.approx(expected[key], abs=tolerance[key])
    for key in ("euac", "eac"):
        if key in expected:
            assert found.before_tax.annual_cost == pytest.approx(expected[key], abs=tolerance[key])
            assert -found.annual_worth == pytest.approx(expected[key], abs=tolerance[key])
    assert found.next_year == found.marginal_worth[0]
    assert len(found.to_frame()) == len(values)


def test_published_defender():
    case = PUBLISHED["C02"]
    given, expected = case["inputs"], case["expected"]
    values = given["mv"]
    found = ed.service_life(truck(given["i"], given["market"], values, given["om"]), market_values=values)
    assert found.before_tax.marginal_cost == pytest.approx(expected["tc"], abs=case["tolerance"]["tc"])
    assert found.keep_against(given["challenger_euac"]).years == expected["keep_years"]


def test_the_value_falls_at_an_even_rate():
    # 10,000 to 5,000 in two years: by a factor of the root of one half each year
    found = ed.service_life(truck(0.10, 10_000, [0, 5_000], [100, 100]))
    assert found.values == pytest.approx([10_000 * 0.5**0.5, 5_000])
    with pytest.raises(ValueError, match="one for each year"):
        ed.service_life(truck(0.10, 10_000, [0, 5_000], [100, 100]), market_values=[1])


SELLING = """
title: Sell it when?
decision_date: 2026-01-01
regime: flat
flat: {tax_rate: 0 %}
machine_in_question: [old]
study: {years: 2, rate: 0 %}
shop: {name: Shop, taxed_as: sole proprietor}
machines:
  old: {what: old one, costs: {rent: 1,200}, worth_at_end: 2,500}
  new: {what: new one, price: 6,000, worth_at_end: 3,000}
offers:
  dealer: {machine: old, route: outright, price: 10,000}
alternatives:
  keep: []
  swap:
    - {do: buy, machine: new, on: 2026-02-01}
    - {do: sell, machine: old, by: dealer, on: 2026-02-01}
"""


def test_selling_month_by_month_by_hand():
    """At no interest: the price of the month less the rent up to it; the price halves every year, 10,000 to 2,500."""
    found = ed.sell_when(ed.loads(SELLING), months=30)
    assert [m.months for m in found.months] == list(range(24))  # the study ends with month 24
    for month in (0, 1, 12, 23):
        days = (found.months[month].sold_on - dt.date(2026, 1, 1)).days
        price = 10_000 * 0.5 ** (month / 12)
        assert found.months[month].price == pytest.approx(price)
        assert found.months[month].npv == pytest.approx(price - 1_200 * days / 365, abs=0.01)
    assert found.best.months == 0
    assert found.months[0].npv_less_keep == pytest.approx(10_000 - (2_500 - 2_400))
    assert found.to_frame()["price_usd"].is_monotonic_decreasing
    assert found.months[0].affordable is None


def test_a_course_moved_as_a_whole():
    scenario = ed.loads(SELLING)
    found = ed.sell_when(scenario, "swap", months=3)
    assert [m.sold_on for m in found.months] == [dt.date(2026, k, 1) for k in (2, 3, 4, 5)]
    assert found.months[0].npv == pytest.approx(ed.compare(scenario)["swap"].npv)
    step = move(scenario.alternatives["swap"][0], 12)
    assert step.on == dt.date(2027, 2, 1)
    with pytest.raises(KeyError, match="does not sell"):
        ed.sell_when(scenario, "keep")
    with pytest.raises(KeyError, match="no alternative"):
        ed.sell_when(scenario, "nothing")


WAITING = """
title: Wait for the contract?
decision_date: 2026-01-01
regime: flat
flat: {tax_rate: 0 %}
machine_in_question: [old]
study: {years: 4, rate: 0 %}
shop: {name: Shop, taxed_as: sole proprietor}
machines:
  old: {what: old one, running: {staffed_hours: 1,000, cutting_share: 100 %}}
  new: {what: new one, price: 60,000, running: {staffed_hours: 2,000, cutting_share: 100 %}, worth_at_end: 0}
offers:
  scrap: {machine: old, route: outright, price: 0}
parts:
  base: {hours: 1,000, contribution_per_hour: 30}
  contract: {hours: 1,000, contribution_per_hour: 25, ends: 2026-12-31, renews: 40 %}
alternatives:
  keep: []
  buy:
    - {do: buy, machine: new, on: 2026-01-01}
    - {do: sell, machine: old, by: scrap, on: 2026-01-01}
"""


def test_waiting_for_a_renewal_by_hand():
    """The new machine earns 25,000 a year more while there is a contract: 4 years if renewed, else 1; it costs 60,000.

    Now: +40,000 or -35,000 over Keep's 120,000: -5,000 on average at 40 %, so keep. Bought on 1 January 2027 once it
    is renewed: 75,000 - 60,000 = +15,000, times 40 %. Known today: 40 % of 40,000.
    """
    found = ed.wait(ed.loads(WAITING))
    assert (found.doubt, found.chance, found.on) == ("parts.contract.renews", 0.4, dt.date(2027, 1, 1))
    assert (found.now, found.then_no, found.then_yes) == ("keep", "keep", "buy")
    assert found.worth_now == pytest.approx(120_000, abs=0.01)
    assert found.value == pytest.approx(0.4 * 15_000, abs=0.01)
    assert found.value_of_knowing == pytest.approx(0.4 * 40_000, abs=0.01)
    assert found.to_json()["value"] == found.value


def test_waiting_needs_a_doubt_and_a_day():
    scenario = ed.loads(WAITING)
    with pytest.raises(KeyError, match="no yes/no doubt"):
        ed.wait(scenario, "parts.base.hours")
    with pytest.raises(KeyError, match="no yes/no doubt"):
        ed.wait(ed.loads(SELLING))


GUESSES = """
guesses:
  Ann:
    - {of: machines.new.price, value: 80,000}
    - {of: parts.base.hours, value: 1,000}
  Bob:
    - {of: parts.contract.renews, value: 0 %}
    - {of: machines.new.price, value: 59,000}
"""


def test_whose_guess_decides_by_hand():
    """As entered (not renewed) Keep leads; with renewal taken as likely the purchase earns 40,000."""
    scenario = ed.loads(WAITING.replace("renews: 40 %", "renews: 60 %") + GUESSES)
    found = ed.whose(scenario)
    assert found["as entered"].choice == "buy"
    assert found["as entered"].less_keep("buy") == pytest.approx(40_000, abs=0.01)
    assert found["Ann"].less_keep("buy") == pytest.approx(20_000, abs=0.01)
    assert found["Bob"].less_keep("buy") == pytest.approx(-34_000, abs=0.01)
    assert (found["Ann"].choice, found["Bob"].choice) == ("buy", "keep")
    assert not found.agree
    (decides,) = found.deciding
    assert (decides.partner, decides.path) == ("Bob", "parts.contract.renews")
    assert (decides.choice, decides.choice_without) == ("keep", "buy")
    assert len(found.to_frame()) == 6


def test_guesses_that_cannot_be_used_are_all_said():
    guesses = {"Ann": {"machines.new.price": "12 %", "nothing": 3.0}, "Bob": {"parts.contract.renews": 2.0}}
    with pytest.raises(ValueError, match=r"(?s)Ann: machines.new.price.*Ann: nothing.*Bob: parts.contract.renews"):
        ed.whose(ed.loads(WAITING), guesses)


def test_no_guesses_leave_one_view():
    found = ed.whose(ed.loads(WAITING))
    assert [view.name for view in found.views] == ["as entered"]
    assert found.agree


def test_the_demo_by_months_and_partners():
    scenario = ed.load(ROOT / "scenarios" / "deck_fittings.yaml")
    found = ed.sell_when(scenario, "replace by R2", months=1)
    assert found.months[0].npv == pytest.approx(ed.compare(scenario)["replace by R2"].npv)
    assert found.months[1].payoff < found.months[0].payoff  # the loan falls
    values = {"machines.MC-1.upkeep.first_year": 15_000.0, "parts.P5 bracket.renews": 0.0}
    view = ed.whose(scenario, {"Ines": values})["Ines"]
    alone = evaluate(scenario, values)
    for name, worth in view.npv.items():
        assert worth == pytest.approx(alone[name].column("worth.npv").figure(), abs=1e-6)
    life = ed.service_life(scenario)
    # sold at the end is Keep, but for the ten days until the dealer pays: 26,000 at 10 % a year, seven years away
    late = 26_000 * (1 - 1.1 ** (-10 / 365)) * 1.1 ** (-(dt.date(2033, 9, 14) - dt.date(2026, 9, 14)).days / 365)
    assert life.worth_if_sold[-1] == pytest.approx(ed.compare(scenario).keep.npv - late, abs=0.01)
    assert np.isfinite(life.annual_worth).all()
