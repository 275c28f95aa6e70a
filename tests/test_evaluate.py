"""The whole order: one engine for the entered figures, for moved ones and for many trials."""

from __future__ import annotations

import numpy as np
import pytest

import equipdecide as ed
from equipdecide.evaluate import Evaluation, evaluate
from equipdecide.scenario.examples import example

PATHS = ("parts.P1 cleat base.price", "study.rate", "offers.collected in February.price", "machines.MC-1.upkeep.growth")


@pytest.fixture(scope="module")
def demo() -> Evaluation:
    return evaluate(ed.load(example("deck_fittings")))


@pytest.mark.parametrize(("path", "value"), [(PATHS[0], 58.0), (PATHS[1], 0.13), (PATHS[2], 41_000.0), (PATHS[3], 0.2)])
def test_moving_an_input_is_the_same_as_evaluating_with_it(demo: Evaluation, path: str, value: float) -> None:
    moved, afresh = demo.moved({path: value}), evaluate(demo.scenario, {path: value})
    for name in demo.ledgers:
        assert len(moved[name].order) == len(afresh[name].order)
        for one, other in zip(moved[name].order, afresh[name].order, strict=True):
            assert one.full_name == other.full_name
            assert one.values == pytest.approx(other.values, abs=1e-9), one.full_name
        for line, other_line in zip(moved[name].lines, afresh[name].lines, strict=True):
            assert line.amounts() == pytest.approx(other_line.amounts(), abs=1e-9)


def test_moving_back_gives_the_figures_back(demo: Evaluation) -> None:
    there = demo.moved({PATHS[0]: 58.0})
    back = there.moved({PATHS[0]: 64.0})
    for name in demo.ledgers:
        assert back[name].column("worth.npv").figure() == pytest.approx(demo[name].column("worth.npv").figure())
        assert there[name].column("worth.npv").figure() < demo[name].column("worth.npv").figure()


def test_a_doubt_that_decides_a_plan_resolves_it_anew(demo: Evaluation) -> None:
    course = "kit now, R1 if P5 renews"
    without = demo.moved({"parts.P5 bracket.renews": 0.0})
    assert [purchase.name for purchase in demo.plans[course].purchases] == ["kit", "R1"]
    assert [purchase.name for purchase in without.plans[course].purchases] == ["kit"]


def test_an_input_nothing_rests_on_is_refused(demo: Evaluation) -> None:
    with pytest.raises(KeyError, match="no figure here rests on"):
        demo.moved({"parts.P9.price": 1.0})


def test_a_vector_of_trials_gives_each_trial_its_own_run(demo: Evaluation) -> None:
    prices = np.array([52.0, 64.0, 71.0])
    many = evaluate(demo.scenario, {PATHS[0]: prices})
    for k, price in enumerate(prices):
        one = evaluate(demo.scenario, {PATHS[0]: float(price)})
        for name in demo.ledgers:
            assert many[name].column("worth.npv").figure(trial=k) == pytest.approx(
                one[name].column("worth.npv").figure(), abs=1e-6
            )


def test_keep_gives_back_the_income_that_was_entered(demo: Evaluation) -> None:
    assert demo["keep"].column("reference income.check").figure() == pytest.approx(0, abs=1e-9)
