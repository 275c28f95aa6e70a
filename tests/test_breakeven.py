"""Break-even: flips worked by hand on a two-machine scenario, published rates of return, and the demo as a whole."""

from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import brentq

import equipdecide as ed
from equipdecide.decide.breakeven import crossings, search_range
from equipdecide.decide.compare import compare
from equipdecide.scenario.reading import amounts

SCENARIOS = Path(__file__).parents[1] / "scenarios"

# Two machines, no tax, flows at year ends: the new one costs 20,000 and saves 6,000 a year for five years.
TINY = """
title: Two machines
decision_date: 2026-01-01
regime: flat
flat: {tax_rate: 0 %}
machine_in_question: [old]
study: {years: 5, rate: 10 %, periods: years}
shop: {name: Shop, taxed_as: sole proprietor}
machines:
  old: {what: old one, costs: {running: 9,000 .. 10,000 .. 11,000}}
  new: {what: new one, price: 20,000, costs: {running: 3,500 .. 4,000 .. 4,900}, worth_at_end: 0}
alternatives:
  keep: []
  replace:
    - {do: buy, machine: new, on: 2026-01-01}
    - {do: sell, machine: old, by: scrap, on: 2026-01-01}
offers:
  scrap: {machine: old, route: outright, price: 0}
"""
FACTOR = (1 - 1.1**-5) / 0.1  # (P/A, 10 %, 5) = 3.7908 in the tables

FLOWS = """
title: Flows
decision_date: 2026-01-01
regime: flat
flat: {tax_rate: 0 %}
machine_in_question: [old]
study: {years: YEARS, rate: 15 %, periods: years}
shop: {name: Shop, taxed_as: sole proprietor}
machines:
  old: {what: idle}
  new: {what: bought, price: PRICE, earnings_by_year: [EARNED], costs_by_year: [COSTS], worth_at_end: 0}
alternatives:
  keep: []
  buy:
    - {do: buy, machine: new, on: 2026-01-01}
"""


def flows(price, *yearly):
    text = FLOWS.replace("YEARS", str(len(yearly))).replace("PRICE", f"{price}")
    text = text.replace("EARNED", ", ".join(str(max(v, 0)) for v in yearly))
    return ed.loads(text.replace("COSTS", ", ".join(str(max(-v, 0)) for v in yearly)))


@pytest.fixture(scope="module")
def tiny():
    return ed.breakeven(ed.loads(TINY))


@pytest.fixture(scope="module")
def demo():
    scenario = ed.load(SCENARIOS / "deck_fittings.yaml")
    return scenario, ed.breakeven(scenario)


@pytest.mark.parametrize(
    ("path", "flip"),
    [
        ("machines.new.price", 6_000 * FACTOR),
        ("machines.new.costs.running", 10_000 - 20_000 / FACTOR),
        ("machines.old.costs.running", 4_000 + 20_000 / FACTOR),
        ("study.rate", 0.152382),  # rate at which (P/A, i, 5) = 20/6: 15.24 % by interpolation in the tables
    ],
)
def test_flips_by_hand(tiny, path, flip):
    found = {f.path: f for f in tiny.flips}[path]
    assert found.flip == pytest.approx(flip, rel=3e-6)
    assert found.lead == pytest.approx(6_000 * FACTOR - 20_000, abs=1e-6)
    assert found.all == (found.flip,)
    assert (found.alternative, found.against) == ("replace", "keep")


def test_flips_inside_the_stated_range_come_first(tiny):
    # new running cost: 4,000 -> 4,724 inside 3,500 .. 4,900, 724 / 1,400 of the range; old: 724 / 2,000 of 9,000 ..
    # 11,000
    order = [(f.path, f.inside_range) for f in tiny.flips]
    assert order[:2] == [("machines.old.costs.running", True), ("machines.new.costs.running", True)]
    assert not any(inside for _, inside in order[2:])
    assert tiny.flips[0].share_of_range == pytest.approx((6_000 - 20_000 / FACTOR) / 2_000, rel=1e-5)
    assert tiny.nearest is tiny.flips[0]


def test_what_never_flips_and_what_nothing_rests_on_are_said(tiny):
    # the salvage value only helps, and zero was entered: no value in 0 and up turns the answer
    never = {n.path: n for n in tiny.never}
    assert never["machines.new.worth_at_end"].matters
    assert {"flips", "never", "excluded", "extra_hours"} <= tiny.to_json().keys()
    assert tiny.extra_hours == ()
    assert len(tiny.to_frame()) == len(tiny.flips)


@pytest.mark.parametrize(
    ("outlay", "yearly", "roots"),
    [
        # MathWorks Financial Toolbox help page (irr), citing Hazen 2003: -4.88 %, 100 %, 204.88 %
        (1000, (6000, -10900, 5800), (-0.0488,)),
        # by hand: -1000 x^2 + 2300 x - 1320 = -1000 (x - 1.1)(x - 1.2)
        (1000, (2300, -1320), (0.10, 0.20)),
    ],
)
def test_every_crossing_of_the_rate(outlay, yearly, roots):
    (found,) = ed.breakeven(flows(outlay, *yearly), path="study.rate").flips
    assert found.all == pytest.approx(roots, abs=5e-5)
    assert found.flip == min(found.all, key=lambda root: abs(root - 0.15))


def test_ranges_by_unit():
    entered = amounts(ed.loads(TINY))
    assert search_range(entered["study.rate"], "study.rate") == (-0.10, 0.50)
    assert search_range(entered["machines.new.price"], "machines.new.price") == (0, 60_000)
    assert search_range(entered["machines.new.worth_at_end"], "machines.new.worth_at_end", 500) == (0, 1_500)


def test_unknown_names_are_refused():
    scenario = ed.loads(TINY)
    with pytest.raises(KeyError, match="no input 'nothing'"):
        ed.breakeven(scenario, path="nothing")
    with pytest.raises(KeyError, match="no alternative 'nothing'"):
        ed.breakeven(scenario, a="nothing")


def test_crossings_against_brentq():
    # a cubic, an exponential and a step, all at once
    functions = [lambda x: x**3 - 2, lambda x: np.exp(x) - 5, lambda x: np.where(x > 0.3, 1.0, -1.0)]
    low, high = np.array([0.0, 0.0, 0.0]), np.array([3.0, 4.0, 1.0])
    at = [np.array([f(x) for f, x in zip(functions, ends, strict=True)], dtype=float) for ends in (low, high)]
    found = crossings(
        lambda x, k: np.array([functions[i](v) for i, v in zip(k, x, strict=True)]), low, high, *at, close=1e-12
    )
    want = [brentq(f, a, b, xtol=1e-13) for f, a, b in zip(functions[:2], low, high, strict=False)]
    assert found == pytest.approx([*want, 0.3], rel=1e-6)


def test_each_flip_of_the_demo_makes_both_courses_equal(demo):
    """A flip put back into the whole evaluation leaves a lead that is small beside the lead as entered."""
    scenario, found = demo
    for flip in (*found.flips[:6], *found.flips[-3:]):
        if flip.two_points is None:
            there = compare(scenario, {flip.path: flip.flip})
            assert abs(there[flip.alternative].npv - there[flip.against].npv) < 1e-4 * abs(flip.lead) + 1, flip


def test_flips_are_in_order_and_dates_are_left_out(demo):
    _, found = demo
    inside = [f.inside_range for f in found.flips]
    assert inside == sorted(inside, reverse=True)
    reasons = {e.path: e.reason for e in found.excluded}
    assert "dates" in reasons["offers.consignment.days_to_sale"]
    assert "gate" in reasons["shop.coverage_required"]


def test_nothing_extra_sold_turns_the_lead(demo):
    """With no extra hour sold Keep leads; from the hours needed on, an alternative is ahead (common
    sense, no source).
    """
    scenario, found = demo
    capped = ed.nothing_extra_sold(scenario)
    assert capped.best == capped.best_ignoring_cash == "keep"
    assert capped.keep.npv == pytest.approx(compare(scenario).keep.npv, rel=1e-3)  # Keep sells what it sold
    hours = {h.alternative: h for h in found.extra_hours}
    assert 0 < hours["upgrade"].needed < hours["upgrade"].believed
    assert hours["sell and do without"].needed is None


def test_inputs_not_moved_are_said_in_the_plural():
    from equipdecide.views.flip_list import _of

    assert _of(2, "it decides dates, so moving it makes another plan") == (
        "they decide dates, so moving them makes another plan"
    )
    assert _of(1, "it decides dates, so moving it makes another plan").startswith("it decides")


def test_with_no_other_course_a_yes_no_doubt_flips_nothing():
    shop = ed.load(SCENARIOS / "more_hours.yaml").model_copy(update={"alternatives": {"keep": ()}})
    doubts = {path for path, amount in amounts(shop).items() if amount.chance is not None}
    found = ed.breakeven(shop)
    assert doubts and not found.flips and found.leader == "keep"
    assert doubts <= {item.path for item in found.excluded}
