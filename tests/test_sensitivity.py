"""Sensitivity: bars and maps worked by hand, Sobol indices against published functions."""

from pathlib import Path

import numpy as np
import pytest
import yaml

import equipdecide as ed
from equipdecide.decide.sensitivity import flip_line, variance_shares

ROOT = Path(__file__).parents[1]
PUBLISHED = {
    case["id"]: case for case in yaml.safe_load((ROOT / "tests" / "published" / "risk.yaml").read_text("utf-8"))
}

# The new machine costs 20,000 (18,000 .. 23,000) and saves 10,000 less 4,000 a year for five years at 10 %.
TINY = """
title: Two machines
decision_date: 2026-01-01
regime: flat
flat: {tax_rate: 0 %}
machine_in_question: [old]
study: {years: 5, rate: 10 %, periods: years}
shop: {name: Shop, taxed_as: sole proprietor}
machines:
  old: {what: old one, costs: {running: 9,000 .. 10,000 .. 12,000}}
  new: {what: new one, price: 18,000 .. 20,000 .. 23,000, costs: {running: 4,000}, worth_at_end: 0}
offers:
  scrap: {machine: old, route: outright, price: 0}
alternatives:
  keep: []
  replace:
    - {do: buy, machine: new, on: 2026-01-01}
    - {do: sell, machine: old, by: scrap, on: 2026-01-01}
"""
FACTOR = (1 - 1.1**-5) / 0.1  # (P/A, 10 %, 5)
OLD, PRICE = "machines.old.costs.running", "machines.new.price"


@pytest.fixture(scope="module")
def tiny():
    return ed.loads(TINY)


def test_bars_by_hand(tiny):
    found = ed.tornado(tiny, "replace")
    assert found.lead == pytest.approx(6_000 * FACTOR - 20_000)
    first, second = found.bars
    assert (first.path, second.path) == (OLD, PRICE)
    assert (first.at_low, first.at_high) == pytest.approx((5_000 * FACTOR - 20_000, 8_000 * FACTOR - 20_000))
    assert (second.at_low, second.at_high) == pytest.approx((6_000 * FACTOR - 18_000, 6_000 * FACTOR - 23_000))
    assert (first.swing, second.swing) == pytest.approx((3_000 * FACTOR, 5_000))
    assert first.turns and second.turns
    assert len(found.to_frame()) == len(found.to_json()["bars"]) == 2


def test_the_leader_is_set_against_keep(tiny):
    assert (ed.tornado(tiny).a, ed.tornado(tiny).b) == ("replace", "keep")
    with pytest.raises(KeyError, match="no alternative 'nothing'"):
        ed.tornado(tiny, "nothing")


def test_map_by_hand(tiny):
    """The lead is (old - 4,000) x 3.7908 - price: the flip line is straight."""
    found = ed.two_way(tiny, PRICE, OLD, "replace", steps=10)
    want = (found.y[None, :] - 4_000) * FACTOR - found.x[:, None]
    assert found.lead == pytest.approx(want, abs=1e-6)
    assert len(found.line) >= 10
    for price, old in found.line:
        assert (old - 4_000) * FACTOR == pytest.approx(price, abs=1e-6)
    assert found.entered == (20_000, 10_000)
    assert found.to_json()["x"]["path"] == PRICE


def test_the_flip_line_takes_points_that_are_just_even():
    x = y = np.array([0.0, 1.0, 2.0])
    assert flip_line(x, y, x[:, None] - y[None, :]) == ((0.0, 0.0), (1.0, 1.0), (2.0, 2.0))


def test_curve_by_hand(tiny):
    found = ed.curve(tiny, PRICE, 0, 30_000, steps=3)
    assert found.values.tolist() == [0, 10_000, 20_000, 30_000]
    assert found.npv["replace"] == pytest.approx(-4_000 * FACTOR - found.values)
    assert found.npv["keep"] == pytest.approx([-10_000 * FACTOR] * 4)
    with pytest.raises(KeyError, match="no input"):
        ed.curve(tiny, "nothing")


def test_ishigami():
    case = PUBLISHED["H12"]
    a, b = case["inputs"]["a"], case["inputs"]["b"]

    def ishigami(u):
        x = (2 * u - 1) * np.pi
        return np.sin(x[0]) + a * np.sin(x[1]) ** 2 + b * x[2] ** 4 * np.sin(x[0])

    found = variance_shares(ishigami, ["x1", "x2", "x3"], 2**14)
    # sampled: within a hundredth of the closed form, which the published tolerance asks of the figures themselves
    assert found.variance == pytest.approx(case["expected"]["variance"], rel=0.01)
    assert found.first == pytest.approx(case["expected"]["first"], abs=0.01)
    assert found.total == pytest.approx(case["expected"]["total"], abs=0.01)


def test_g_function():
    case = PUBLISHED["H13"]
    a = np.array(case["inputs"]["a"])[:, None]
    found = variance_shares(
        lambda u: np.prod((np.abs(4 * u - 2) + a) / (1 + a), axis=0), [f"x{k}" for k in range(8)], 2**14
    )
    assert found.first == pytest.approx(case["expected"]["first"], abs=0.01)
    # closed form: V_i = 1 / (3 (1 + a_i)^2); total of the first = V_1 prod(1 + V_j) / (prod(1 + V) - 1)
    parts = 1 / (3 * (1 + a.ravel()) ** 2)
    total = parts * np.prod(1 + parts) / (1 + parts) / (np.prod(1 + parts) - 1)
    assert found.total == pytest.approx(total, abs=0.01)


def test_shares_of_a_linear_lead(tiny):
    """The lead is linear, so first and total shares agree and are the ratio of variances of the PERT shapes."""
    found = ed.indices(tiny, "replace", points_each=2**11)

    def variance(low, likely, high):  # closed form of the PERT shape
        mean = (low + 4 * likely + high) / 6
        return (mean - low) * (high - mean) / 7

    parts = np.array([variance(9_000, 10_000, 12_000) * FACTOR**2, variance(18_000, 20_000, 23_000)])
    shares = dict(zip(found.names, found.first, strict=True))
    assert [shares[OLD], shares[PRICE]] == pytest.approx(parts / parts.sum(), abs=0.01)
    assert found.total == pytest.approx(found.first, abs=0.01)
    assert found.variance == pytest.approx(parts.sum(), rel=0.01)


def test_tornado_of_the_demo():
    """The ends of the widest and the narrowest bar are what the whole evaluation gives there."""
    scenario = ed.load(ROOT / "scenarios" / "deck_fittings.yaml")
    found = ed.tornado(scenario)
    assert (found.a, found.b) == ("upgrade", "keep")
    assert [bar.swing for bar in found.bars] == sorted((bar.swing for bar in found.bars), reverse=True)
    for bar in (found.bars[0], found.bars[-1]):
        for value, lead in ((bar.low, bar.at_low), (bar.high, bar.at_high)):
            there = ed.compare(scenario, {bar.path: value})
            assert there["upgrade"].npv_less_keep == pytest.approx(lead, abs=1e-6)
