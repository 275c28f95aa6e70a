"""One operator on several machines: limits of the queue, a simulation, and the same figures in the engine."""

from pathlib import Path

import numpy as np
import pytest

import equipdecide as ed
from equipdecide.evaluate import evaluate
from equipdecide.shop.attendance import finite_source, running_of_one_attendant, service_factor

SCENARIOS = Path(__file__).parents[1] / "scenarios"


def test_identities_of_the_tables():
    """J = NF(1 - X), H = FNX, N = J + L + H; calls made = calls served (notation sheet of the tables)."""
    for machines, attendants, run, attention in ((5, 1, 20, 3), (8, 2, 15, 4), (3, 3, 10, 5)):
        found, x = finite_source(machines, run, attention, attendants), service_factor(run, attention)
        assert found.running == pytest.approx(machines * found.efficiency * (1 - x))
        assert found.in_service == pytest.approx(found.efficiency * machines * x)
        assert found.running / run == pytest.approx(found.in_service / attention)


def test_limits():
    assert finite_source(1, 20, 5).running == pytest.approx(20 / 25)  # alone it never waits
    assert finite_source(4, 20, 5, 4).waiting == pytest.approx(0.0)
    assert running_of_one_attendant(1, 0.25) == pytest.approx(0.8)  # whatever the law
    assert running_of_one_attendant(30, 0.5) == pytest.approx(2.0, abs=1e-6)  # never more than 1 / load
    with pytest.raises(ValueError, match="above 0"):
        finite_source(3, 0, 5)
    with pytest.raises(ValueError, match="no law"):
        running_of_one_attendant(3, 0.1, "normal")


def test_a_law_of_ones_own():
    """A transform handed in: constant attention again."""
    own = running_of_one_attendant(5, 0.2, lambda j: np.exp(-0.2 * j))
    assert own == pytest.approx(running_of_one_attendant(5, 0.2, "constant"))


def simulated(machines, run, attention, constant, events=60_000):
    """Machines on average running, from an event-by-event run: an answer from outside the formulas."""
    rng = np.random.default_rng(17)
    up, queue, busy_until, now, area = machines, 0, np.inf, 0.0, 0.0
    for _ in range(events):
        call = now + rng.exponential(run / up) if up else np.inf
        then = min(call, busy_until)
        area += up * (then - now)
        now = then
        if call <= busy_until:
            up -= 1
            queue += 1
            if busy_until == np.inf:
                busy_until = now + (attention if constant else rng.exponential(attention))
        else:
            up, queue = up + 1, queue - 1
            busy_until = now + (attention if constant else rng.exponential(attention)) if queue else np.inf
    return area / now


@pytest.mark.parametrize("constant", [True, False])
def test_against_a_simulation(constant):
    formula = running_of_one_attendant(4, 6 / 30, "constant" if constant else "exponential")
    assert simulated(4, 30.0, 6.0, constant) == pytest.approx(formula, rel=0.01)


def test_in_the_engine():
    """Four machines, 5 min in 35: F = 0.9283 (published case S07); two attendants wait less."""
    text = (SCENARIOS / "night_watch.yaml").read_text(encoding="utf-8")

    def hours(attendants):
        attended = f"attended: {{machines: 4, attendants: {attendants}, run: 30, attention: 5}}\n      "
        s = ed.loads(text.replace("good_share: 97.2 %", attended + "good_share: 97.2 %"), folder=SCENARIOS)
        return evaluate(s, only=["keep"])["keep"]

    one = hours(1)
    assert one.column("hours of MC-1.not_waiting").figure() == pytest.approx(0.9283, abs=5e-5)
    assert one.column("hours of MC-1.staffed_spindle_hours").figure() == pytest.approx(2000 * 0.60 * 0.9283, abs=0.1)
    lost = one.column("hours of MC-1.waiting_hours").figure()
    assert lost == pytest.approx(2000 * 0.60 * (1 - 0.9283), abs=0.1)
    for people in (1, 2, 4):
        expected = finite_source(4, 30, 5, people).efficiency
        assert hours(people).column("hours of MC-1.not_waiting").figure() == pytest.approx(expected, rel=1e-12)


def test_calls_all_alike_in_the_engine():
    """Four machines, one person, 5 min every time in 35: by the function that the tables and a simulation check."""
    text = (SCENARIOS / "night_watch.yaml").read_text(encoding="utf-8")

    def alike(more=""):
        attended = f"attended: {{machines: 4, run: 30, attention: 5, calls: alike{more}}}\n      "
        return ed.loads(text.replace("good_share: 97.2 %", attended + "good_share: 97.2 %"), folder=SCENARIOS)

    ledger = evaluate(alike(), only=["keep"])["keep"]
    running = running_of_one_attendant(4, 5 / 30, "constant")
    assert ledger.column("hours of MC-1.running").figure() == pytest.approx(running, rel=1e-12)
    # those that run, and the one that is looked after for running x load of the time, do not wait
    share = running * (1 + 5 / 30) / 4
    assert ledger.column("hours of MC-1.not_waiting").figure() == pytest.approx(share, rel=1e-12)
    assert share > finite_source(4, 30, 5).efficiency
    told = {entry.name: entry.waiting_hours for entry in ed.hours(alike()).alternatives}
    assert told["keep"] == pytest.approx(1200 * (1 - share), rel=1e-9)
    assert "waiting for somebody, taken off" in str(ed.hours(alike()))
    with pytest.raises(ed.ScenarioError, match="figured for one person, not for 2"):
        alike(", attendants: 2")
