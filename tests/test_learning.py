"""Learning curves: what the two forms share, and the floor of a ramp."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import equipdecide as ed
from equipdecide.shop import learning

SCENARIOS = Path(__file__).parents[1] / "scenarios"


def test_the_same_eighty_per_cent_twice():
    """Unit 2 takes 60 h by Wright's average (160 - 100) and 80 h by Crawford's unit."""
    assert learning.total_of(2, 100, 0.8) - learning.total_of(1, 100, 0.8) == pytest.approx(60)
    assert learning.unit_time(2, 100, 0.8) == pytest.approx(80)


@given(st.floats(0.5, 0.99), st.integers(1, 500))
def test_each_doubling(rate, units):
    for form in (learning.average_of, learning.unit_time):
        assert form(2 * units, 10.0, rate) == pytest.approx(rate * form(units, 10.0, rate))


def test_nothing_learned():
    assert learning.unit_time(50, 7.0, 1.0) == 7.0
    assert learning.ramp(1.0, 0.8) == learning.Ramp(1.0, 0.0)
    with pytest.raises(ValueError, match="never reached"):
        learning.ramp(1.5, 1.0)
    with pytest.raises(ValueError, match="80 % is 0.8"):
        learning.average_of(2, 1.0, 80)


def test_a_ramp_is_the_sum_over_its_floor():
    """Batch by batch, never under the standard time."""
    times = [max(1.6 * n ** (np.log(0.85) / np.log(2)), 1.0) for n in range(1, 60)]
    assert learning.ramp(1.6, 0.85).extra == pytest.approx(sum(times) - 59)


def with_ramp(block):
    text = (SCENARIOS / "night_watch.yaml").read_text(encoding="utf-8")
    return ed.loads(text.replace("    ramp_loss: 10 .. 20 .. 40\n", block), folder=SCENARIOS)


def test_in_the_engine():
    """Published case S18: 1.6 times and 85 % cost 1.51 batch-times; of 8 h that is 12.1 good hours,
    all in the study.
    """
    s = with_ramp("    ramp: {start: 1.6, rate: 85 %, batch: 8 h}\n")
    ledger = ed.evaluate(s, only=["keep", "conveyor"])["conveyor"]
    assert ledger.column("learning MC-1 with parts conveyor.hours").figure() == pytest.approx(8 * 1.51, abs=0.04)
    assert ledger.column("learning MC-1 with parts conveyor.hours").figure() == pytest.approx(
        8 * learning.ramp(1.6, 0.85).extra, rel=1e-12
    )
    down = 3 / 250 * ledger.column("hours of MC-1 with parts conveyor.good_hours").figure()
    assert ledger.column("capacity.lost").per_row().sum() == pytest.approx(down + 8 * learning.ramp(1.6, 0.85).extra)


def test_scrap_while_learning_by_hand():
    """Of the first batch 20 % more is scrap than later, falling with the time over the standard to nothing.

    Batch 1 takes 1.6, so 0.6 over; the second 1.6 x 0.85 = 1.36, 0.36 over: its scrap 20 % x 0.36 / 0.6 = 12 %.
    """
    plain = with_ramp("    ramp: {start: 1.6, rate: 85 %, batch: 8 h}\n")
    scrap = with_ramp("    ramp: {start: 1.6, rate: 85 %, batch: 8 h, scrap: 20 %, scrap_cost: 30 a hour}\n")
    before, after = (ed.evaluate(s, only=["keep", "conveyor"])["conveyor"] for s in (plain, scrap))
    name = "learning MC-1 with parts conveyor"
    shares = after.column(f"{name}.scrap").per_row()
    assert shares[:2] == pytest.approx([0.20, 0.12])
    over = [max(1.6 * n ** (np.log(0.85) / np.log(2)) - 1, 0.0) for n in range(1, 201)]
    scrapped = sum(0.20 * o / 0.6 for o in over)
    again = sum(0.20 * o / 0.6 * (1 + o) for o in over)
    assert after.column(f"{name}.scrapped").figure() == pytest.approx(8 * scrapped)
    more = after.column(f"{name}.hours").figure() - before.column(f"{name}.hours").figure()
    assert more == pytest.approx(8 * again)
    paid = [line.amounts().sum() for line in after.lines if line.name == "scrap while learning"]
    assert paid == [pytest.approx(-30 * 8 * scrapped)]
    assert after.column("worth.npv").figure() < before.column("worth.npv").figure()


def test_a_slow_ramp_is_said():
    s = with_ramp("    ramp: {start: 3, rate: 95 %, batch: 8 h}\n")
    assert any(
        finding.code == "ramp_too_slow" for finding in ed.evaluate(s, only=["keep", "conveyor"])["conveyor"].findings
    )


def test_faults_of_a_ramp():
    with pytest.raises(ed.ScenarioError) as caught:
        with_ramp("    ramp_loss: 20\n    ramp: {start: 0.8, rate: 15 %, batch: 8 h}\n")
    said = str(caught.value)
    assert "both `ramp_loss` and `ramp` are given" in said
    assert "a learning rate is 50 % to 99 %" in said
    assert "quicker than the standard time" in said
    with pytest.raises(ed.ScenarioError) as caught:
        with_ramp("    ramp: {start: 1, rate: 85 %, batch: 8 h, scrap: 10 %}\n")
    assert "falls as the time over the standard does" in str(caught.value)
    with pytest.raises(ed.ScenarioError, match="without `scrap`"):
        with_ramp("    ramp: {start: 2, rate: 85 %, batch: 8 h, scrap_cost: 30}\n")
