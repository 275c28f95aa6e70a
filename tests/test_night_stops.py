"""Nights with a Weibull shape in the engine: against the closed forms, at random as its special case, over trials."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad

import equipdecide as ed
from equipdecide.evaluate import Evaluation, evaluate
from equipdecide.scenario.examples import example
from equipdecide.shop.nights import expected_hours, read_log, weibull_expected_hours, weibull_fit

NIGHTS = example("night_watch").parent / "nightlog.csv"
WINDOW = 5.0
OWN = "mean_between_stops: 4.8 .. 6.4 .. 8.5"


def figured(shape: str, between: str = "", more: str = "", only: str = "keep") -> Evaluation:
    """night_watch with a shape; `between` replaces the entered mean, by default the log's own is taken."""
    text = example("night_watch").read_text(encoding="utf-8").replace(OWN, f"{between}\n        shape: {shape}{more}")
    return evaluate(ed.loads(text, folder=example("night_watch").parent), only=["keep", only])


def run(shape: str, between: str = "") -> float:
    return figured(shape, between)["keep"].column("hours of MC-1.night_run").figure()


def test_a_shape_of_one_is_stops_at_random() -> None:
    """171 h and 24 stops: 7.125 h between stops; 5 h of a night run 7.125 (1 - exp(-5 / 7.125)) on average."""
    assert run("1") == pytest.approx(7.125 * (1 - np.exp(-WINDOW / 7.125)), abs=1e-9)
    assert run("1", "mean_between_stops: 6.4") == pytest.approx(float(expected_hours(WINDOW, 6.4)), abs=1e-9)


@pytest.mark.parametrize("shape", [0.5, 0.7, 1.4, 2.5, 4.0])
def test_against_the_closed_form(shape: float) -> None:
    """The scale of the log at this shape by hand; hours on average by the incomplete gamma function of scipy."""
    log = read_log(NIGHTS)
    eta = ((log.run**shape).sum() / log.stops) ** (1 / shape)
    assert run(f"{shape}") == pytest.approx(float(weibull_expected_hours(WINDOW, eta, shape)), rel=1e-6)
    # stops twice as frequent as logged: the hazard doubles
    twice = (0.5 ** (1 / shape)) * eta
    found = run(f"{shape}", f"mean_between_stops: {7.125 / 2}")
    assert found == pytest.approx(float(weibull_expected_hours(WINDOW, twice, shape)), rel=1e-6)


def test_at_the_fitted_shape_the_scale_is_the_fitted_one() -> None:
    log = read_log(NIGHTS)
    fit = weibull_fit(log.run, log.stopped)
    assert run(f"{fit.beta}") == pytest.approx(float(weibull_expected_hours(WINDOW, fit.eta, fit.beta)), rel=1e-3)


@pytest.mark.parametrize("shape", [1.0, 1.8])
def test_hours_run_on_and_mornings(shape: float) -> None:
    """A twentieth of the stops goes unnoticed: by numerical integration of both chances."""
    more = "\n        undetected: 5 %\n        scrap_hour: 40\n        recovery: 0.5"
    ledger = figured(f"{shape}", more=more)["keep"]
    log = read_log(NIGHTS)
    power = (log.run**shape).sum() / log.stops

    def unnoticed(t: float) -> float:
        return float(np.exp(-0.95 * t**shape / power) - np.exp(-(t**shape) / power))

    stopped = 1 - np.exp(-(WINDOW**shape) / power)
    assert ledger.column("hours of MC-1.run_on").figure() == pytest.approx(
        190 * quad(unnoticed, 0, WINDOW)[0], rel=1e-6
    )
    assert ledger.column("hours of MC-1.unnoticed").figure() == pytest.approx(190 * 0.05 * stopped)
    assert ledger.column("hours of MC-1.recovery_hours").figure() == pytest.approx(190 * 0.5 * stopped)


def test_at_random_both_ways_agree_on_hours_run_on() -> None:
    more = "\n        undetected: 5 %\n        scrap_hour: 40"
    shaped = figured("1", more=more)["keep"].column("hours of MC-1.run_on").figure()
    text = example("night_watch").read_text(encoding="utf-8").replace(OWN, more.strip())
    plain = evaluate(ed.loads(text, folder=example("night_watch").parent), only=["keep"])["keep"]
    assert shaped == pytest.approx(plain.column("hours of MC-1.run_on").figure(), rel=1e-9)


def test_a_doubtful_shape_is_drawn_and_followed() -> None:
    """A trial at a drawn shape is the run of that shape; ended causes and the shape stand together."""
    scenario = figured("0.66 .. 0.99 .. 1.40", only="watcher").scenario
    path, courses = "machines.MC-1.running.nights.shape", ["keep", "watcher"]
    drawn = np.array([0.66, 0.99, 1.4])
    many = evaluate(scenario, {path: drawn}, courses)
    for trial, shape in enumerate(drawn):
        one = evaluate(scenario, {path: float(shape)}, courses)
        for name, setup in (("keep", "MC-1"), ("watcher", "MC-1 with watcher")):
            for column in (f"hours of {setup}.night_run", "worth.npv"):
                together = many[name].column(column).figure(0, trial)
                assert together == pytest.approx(one[name].column(column).figure(), rel=1e-12)
    assert path in {bar.path for bar in ed.tornado(scenario).bars}


def test_a_shape_without_a_log_is_refused() -> None:
    text = example("night_watch").read_text(encoding="utf-8").replace("log: nightlog.csv", "shape: 1.2")
    with pytest.raises(ed.ScenarioError, match="a shape is given without a log of nights"):
        ed.loads(text, folder=example("night_watch").parent)


def test_the_shape_to_enter_is_said() -> None:
    assert "shape: 0.66 .. 0.99 .. 1.40" in ed.hours(ed.load(example("deck_fittings"))).shape
