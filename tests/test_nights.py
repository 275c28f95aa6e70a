"""Nights: censored fits against scipy, the log of the demonstration by hand, causes ended, windows held, speed."""

from pathlib import Path

import numpy as np
import pytest
from scipy import stats
from scipy.integrate import quad

import equipdecide as ed
from equipdecide.calendar import Axis, spread_weights
from equipdecide.evaluate import evaluate
from equipdecide.shop import nights
from equipdecide.shop.nights import NightLog, read_log
from equipdecide.tape import Tape

SCENARIOS = Path(__file__).parents[1] / "scenarios"
LOG = read_log(SCENARIOS / "nightlog.csv")


def test_the_log_by_hand():
    """48 evenings of two months: 24 ran out, 24 stopped, 171.0 h; counted with pencil from the file."""
    assert (LOG.evenings, LOG.stops, LOG.hours) == (48, 24, pytest.approx(171.0))
    assert {cause.reason: cause.stops for cause in LOG.causes} == {
        "chips packed round a drill": 4, "part loose in fixture": 4, "air pressure alarm": 4, "coolant level low": 4,
        "tool-life counter reached, no sister tool": 3, "tool broken, probe caught it": 2, "door or chip-tray switch": 2,
        "tool broken, NOT caught, ran on": 1,
    }  # fmt: skip
    assert LOG.undetected == 1
    assert LOG.naive_mean() == pytest.approx(51 / 24)
    assert sum(cause.hazard for cause in LOG.causes) == pytest.approx(24 / 171)


def sample(law, window, count, seed):
    rng = np.random.default_rng(seed)
    times = law.rvs(count, random_state=rng)
    return np.minimum(times, window), times < window


def as_censored(run, stopped):
    return stats.CensoredData.right_censored(run, ~stopped)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_exponential_mean_is_scipys(seed):
    run, stopped = sample(stats.expon(scale=6.4), 5.0, 300, seed)
    _, scale = stats.expon.fit(as_censored(run, stopped), floc=0)
    assert nights.mean_between_stops(float(run.sum()), int(stopped.sum())).theta == pytest.approx(scale, rel=1e-4)


@pytest.mark.parametrize(("shape", "seed"), [(0.8, 4), (1.0, 5), (2.0, 6), (3.5, 7)])
def test_weibull_fit_is_scipys(shape, seed):
    run, stopped = sample(stats.weibull_min(shape, scale=7.0), 5.0, 400, seed)
    found = nights.weibull_fit(run, stopped)
    beta, _, eta = stats.weibull_min.fit(as_censored(run, stopped), floc=0)
    assert (found.beta, found.eta) == pytest.approx((beta, eta), rel=2e-3)
    law, mine = stats.weibull_min(beta, scale=eta), stats.weibull_min(found.beta, scale=found.eta)

    def likelihood(fitted):
        return fitted.logpdf(run[stopped]).sum() + fitted.logsf(run[~stopped]).sum()

    assert likelihood(mine) >= likelihood(law) - 1e-9  # at least as likely as scipy's search
    assert found.beta_low < found.beta < found.beta_high
    assert found.beta_low < shape < found.beta_high


def test_weibull_interval_by_likelihood():
    """At each end of the interval the likelihood, its scale fitted again, is down by half of chi-square(0.95; 1)."""
    run, stopped = sample(stats.weibull_min(1.6, scale=7.0), 5.0, 200, 11)
    found = nights.weibull_fit(run, stopped)

    def profile(beta):
        eta = (np.sum(run**beta) / stopped.sum()) ** (1 / beta)
        law = stats.weibull_min(beta, scale=eta)
        return law.logpdf(run[stopped]).sum() + law.logsf(run[~stopped]).sum()

    for end in (found.beta_low, found.beta_high):
        assert profile(found.beta) - profile(end) == pytest.approx(stats.chi2.ppf(0.95, 1) / 2, abs=1e-6)
    assert found.p_exponential == pytest.approx(stats.chi2.sf(2 * (profile(found.beta) - profile(1.0)), 1), rel=1e-6)


def test_weibull_says_what_it_does_with_stops_at_once():
    found = nights.weibull_fit(LOG.run, LOG.stopped)
    assert [finding.code for finding in found.findings] == ["stopped_at_once"]
    assert 0.5 < found.beta < 1.6
    with pytest.raises(ValueError, match="two stops"):
        nights.weibull_fit(np.array([5.0, 5.0, 2.0]), np.array([False, False, True]))


def test_interval_covers():
    """The 95 % interval holds the true mean in at least 93 of 100 samples of 40 nights."""
    held = 0
    for seed in range(200):
        run, stopped = sample(stats.expon(scale=6.4), 5.0, 40, 1000 + seed)
        found = nights.mean_between_stops(float(run.sum()), int(stopped.sum()))
        held += found.low <= 6.4 <= (found.high or np.inf)
    assert held >= 186


def test_no_stop_is_a_bound():
    """30 nights of 5 h without a stop: above 150 / -ln 0.05 = 50.07 h with 95 %, and nothing else."""
    found = nights.mean_between_stops(150.0, 0)
    assert found.low == pytest.approx(150 / -np.log(0.05))
    assert found.theta is None
    assert found.high is None


def test_weibull_window_is_the_integral():
    for beta, eta, window in ((0.7, 6.0, 5.0), (1.0, 6.4, 5.0), (2.5, 7.0, 9.0)):
        area, _ = quad(lambda t, b=beta, e=eta: np.exp(-((t / e) ** b)), 0, window)
        assert nights.weibull_expected_hours(window, eta, beta) == pytest.approx(area, rel=1e-9)
    assert nights.weibull_expected_hours(5.0, 6.4, 1.0) == pytest.approx(nights.expected_hours(5.0, 6.4), rel=1e-12)


def test_run_on_is_the_integral():
    theta, window, share = 6.4, 5.0, 0.05
    u, d = share / theta, (1 - share) / theta
    area, _ = quad(lambda t: u * np.exp(-t / theta) * (1 - np.exp(-d * (window - t))) / d, 0, window)
    assert nights.run_on(theta, window, share).hours_a_night == pytest.approx(area, rel=1e-9)
    assert nights.run_on(theta, window, 0.0).hours_a_night == pytest.approx(0.0, abs=1e-12)
    whole = nights.run_on(theta, window, 1.0)  # nothing ever stops it
    assert whole.hours_a_night + nights.expected_hours(window, theta) == pytest.approx(window)


def test_causes_compete():
    assert nights.combined({"chips": 10.0, "air": 10.0}) == pytest.approx(5.0)
    ended = {"air pressure alarm": 0.75, "coolant level": 0.75}
    assert nights.without_causes(LOG, 171 / 24, ended) == pytest.approx(171 / 18)  # six of 24 stops gone
    with pytest.raises(KeyError, match="no one reason of the log is 'tool'"):
        LOG.cause("tool")


def test_window_held():
    assert nights.window_held(5.0, parts_loaded=24, minutes_each=13).limit == "window"
    assert nights.window_held(9.0, parts_loaded=24, minutes_each=13) == nights.Window(
        pytest.approx(5.2), "parts loaded"
    )
    assert nights.window_held(9.0, bar_or_pallet=7.0, tool_life=4.0) == nights.Window(4.0, "tool life")


def test_survival_of_the_log():
    """Half the nights ran five hours: the product-limit curve ends at 24 of 48, and begins below 1
    for the stops at 0 h.
    """
    curve = nights.survival_curve(LOG)
    assert curve.logged[-2] == pytest.approx(0.5)
    assert curve.logged[0] == pytest.approx(46 / 48)
    assert curve.exponential[0] == 1.0
    assert (np.diff(curve.logged) <= 1e-12).all()


def test_a_log_of_200_000_events(tmp_path):
    rng = np.random.default_rng(5)
    run = np.minimum(rng.exponential(6.4, 200_000), 5.0)
    reasons = ["chips", "air pressure alarm", "coolant level low", "part loose"]
    rows = [f"2026-03-02,{t:.2f},{'ran out the window' if t >= 5 else reasons[k % 4]}" for k, t in enumerate(run)]
    path = tmp_path / "log.csv"
    path.write_text("date,hours_run,reason\n" + "\n".join(rows) + "\n", encoding="utf-8")
    log = read_log(path)
    fit = nights.weibull_fit(log.run, log.stopped, resolution=0.01)
    curve = nights.survival_curve(log)
    causes = log.causes
    assert log.theta == pytest.approx(6.4, rel=0.02)
    assert fit.beta == pytest.approx(1.0, abs=0.02)
    assert len(causes) == 4 and len(curve.hours) == 101


# --- in the engine


@pytest.fixture(scope="module")
def watch():
    return ed.load(SCENARIOS / "night_watch.yaml")


@pytest.fixture(scope="module")
def watched(watch):
    return ed.compare(watch)


def test_watcher_by_hand(watch, watched):
    """From 6.4 h: 24 stops become 18, so 6.4 x 24/18 = 8.533 h; five hours run 3.470 and 3.784 h;
    190 nights gain 59.7 h.
    """
    watcher = watched["watcher"]
    assert watcher.column("hours of MC-1 with watcher.theta_after").figure() == pytest.approx(6.4 * 24 / 18)
    before, after = (watcher.column(f"hours of {name}.night_hours").figure() for name in ("MC-1", "MC-1 with watcher"))
    run = [t * (1 - np.exp(-5 / t)) for t in (6.4, 6.4 * 24 / 18)]
    assert (before, after) == pytest.approx((190 * run[0], 190 * run[1]))
    # the log itself, without the autumn: 7.125 becomes 9.5, and 56 h a year more
    path = "machines.MC-1.running.nights.mean_between_stops"
    only = evaluate(watch, {path: 171 / 24}, only=["keep", "watcher"])["watcher"]
    gained = (
        only.column("hours of MC-1 with watcher.night_hours").figure()
        - only.column("hours of MC-1.night_hours").figure()
    )
    assert gained == pytest.approx(56.0, abs=0.05)


def test_watcher_pays_and_where_it_turns(watch, watched):
    assert watched["watcher"].npv_less_keep > 0
    assert watched.best == "watcher and conveyor"
    nights_a_year = "machines.MC-1.running.nights.nights"
    assert (
        ed.compare(watch, {nights_a_year: 0})["conveyor"]
        .column("hours of MC-1 with parts conveyor.night_hours")
        .figure()
        == 0
    )
    at = {n: ed.compare(watch, {nights_a_year: n})["watcher"].npv_less_keep for n in (47.5, 95)}
    assert at[47.5] < 0 < at[95]  # one night a week does not pay for it, two do


def test_improvements_that_add_up_have_one_name(watched):
    both = watched["watcher and conveyor"].ledger
    theta = both.column("hours of MC-1 with watcher and parts conveyor.theta_after").figure()
    assert theta == pytest.approx(6.4 * 24 / 18)  # the conveyor's own nights, the watcher's causes still ended
    assert both.column("hours of MC-1 with watcher and parts conveyor.window_held").figure() == pytest.approx(8.0)


def test_reasons_must_stand_in_the_log():
    text = (SCENARIOS / "night_watch.yaml").read_text(encoding="utf-8")
    wrong = text.replace("{air pressure alarm: 40", "{air presure alarm: 40").replace(
        "coolant level low: 40", "tool: 40"
    )
    with pytest.raises(ed.ScenarioError) as caught:
        ed.loads(wrong, folder=SCENARIOS)
    said = str(caught.value)
    assert "no reason in the log is 'air presure alarm'" in said
    assert "air pressure alarm" in said
    assert "3 reasons in the log begin with 'tool'" in said
    without = text.replace("        log: nightlog.csv\n", "")
    with pytest.raises(ed.ScenarioError, match="no log of evenings"):
        ed.loads(without, folder=SCENARIOS)


NIGHTS = "machines.MC-1.running.nights"


def night_scenario(nights_block):
    text = (SCENARIOS / "night_watch.yaml").read_text(encoding="utf-8")
    start, stop = text.index("      nights:\n"), text.index("    upkeep: {first_year: 9,000")
    return ed.loads(text[:start] + f"      nights: {nights_block}\n" + text[stop:], folder=SCENARIOS)


def test_costs_of_nights_in_the_engine():
    """Run-on as in the published case: 5.15 nights and 11.35 h a year; money by hand from those."""
    s = night_scenario(
        "{nights: 190, window: 5 h, mean_between_stops: 6.4, log: nightlog.csv, undetected: 5 %, scrap_hour: 40, "
        "fault_cost: 900, cost_a_night: 12}"
    )
    ledger = evaluate(s, only=["keep"])["keep"]
    assert ledger.column("hours of MC-1.unnoticed").figure() == pytest.approx(5.15, abs=0.005)
    assert ledger.column("hours of MC-1.run_on").figure() == pytest.approx(11.35, abs=0.005)
    assert ledger.column("hours of MC-1.night_costs").figure() == pytest.approx(
        190 * 12 + 11.35 * 40 + 5.15 * 900, abs=6
    )
    found = nights.run_on(6.4, 5.0, 0.05, 190)
    assert ledger.column("hours of MC-1.run_on").figure() == pytest.approx(found.hours_a_year, rel=1e-9)
    paid = ledger.column("upkeep.running_costs").per_row().sum()
    assert paid == pytest.approx(7 * ledger.column("hours of MC-1.night_costs").figure(), rel=1e-3)


def test_a_short_load_holds_the_night():
    s = night_scenario(
        "{nights: 190, window: 9 h, mean_between_stops: 6.4, log: nightlog.csv, parts_loaded: 24, minutes_each: 13, tool_life: 8 h}"
    )
    ledger = evaluate(s, only=["keep"])["keep"]
    assert ledger.column("hours of MC-1.window_held").figure() == pytest.approx(5.2)
    assert any(finding.code == "window_held" for finding in ledger.findings)


def test_a_trial_is_the_run_of_that_trial_alone(watch):
    paths = [
        f"{NIGHTS}.mean_between_stops",
        "improvements.watcher.changes.ends_causes.air pressure alarm",
        f"{NIGHTS}.nights",
    ]
    rng = np.random.default_rng(3)
    drawn = {paths[0]: rng.uniform(4.8, 8.5, 5), paths[1]: rng.uniform(0.4, 1.0, 5), paths[2]: rng.uniform(100, 220, 5)}
    together = evaluate(watch, drawn)
    for trial in range(5):
        alone = evaluate(watch, {path: float(values[trial]) for path, values in drawn.items()})
        for name, ledger in together.ledgers.items():
            worth = ledger.column("worth.npv")
            assert worth.figure(trial=trial if worth.values.shape[1] > 1 else 0) == pytest.approx(
                alone[name].column("worth.npv").figure(), abs=1e-6
            )


def test_hours_of_ten_thousand_trials_in_a_second():
    """10,000 trials, ten years of months, four alternatives: the hours of every course by the tape."""
    text = (SCENARIOS / "night_watch.yaml").read_text(encoding="utf-8").replace("{years: 7,", "{years: 10,")
    whole = evaluate(ed.loads(text, folder=SCENARIOS))
    paths = [f"{NIGHTS}.mean_between_stops", f"{NIGHTS}.nights", "machines.MC-1.running.cutting_share"]
    paths += [
        f"improvements.watcher.changes.ends_causes.{reason}" for reason in ("air pressure alarm", "coolant level low")
    ]
    rng = np.random.default_rng(9)
    trials = 10_000
    drawn = dict(
        zip(
            paths,
            [
                rng.uniform(low, high, trials)
                for low, high in ((4.8, 8.5), (100, 220), (0.57, 0.62), (0.4, 1), (0.4, 1))
            ],
            strict=True,
        )
    )
    assert len(whole.ledgers) == 4
    tape = Tape(whole.order, paths, [ledger.column("capacity.hours") for ledger in whole.ledgers.values()])
    stretches = whole.plans["keep"].spans
    cash = whole.time.cash
    axis = Axis("month", cash.labels[:120], cash.starts[:120], cash.ends[:120])
    weights = [spread_weights(whole.plans[name].spans, axis) for name in whole.ledgers]
    by_month = [np.empty((120, trials)) for _ in whole.ledgers]
    for first in range(0, trials, 2000):  # in blocks, as a simulation runs
        block = slice(first, first + 2000)
        found = tape.run({path: values[block] for path, values in drawn.items()})
        for months, share, hours in zip(by_month, weights, found, strict=True):
            months[:, block] = share @ hours
    assert all(hours.shape == (120, trials) for hours in by_month)
    assert len(stretches) > 10
    assert (
        by_month[1][60:].sum(axis=0) >= by_month[0][60:].sum(axis=0) - 1e-9
    ).all()  # the watcher never costs hours later


def test_log_object_without_stops():
    log = NightLog(np.full(30, 5.0), np.full(30, -1), ())
    assert (log.stops, log.theta, log.high) == (0, None, None)
    assert np.isnan(log.naive_mean())


def test_hours_say_reasons_and_shape():
    """The hours verb carries the log's reasons and its Weibull shape, in words and as data."""
    found = ed.hours(ed.load(SCENARIOS / "deck_fittings.yaml"))
    night = found.to_json()["night"]
    assert (night["evenings"], night["stops"], night["undetected"]) == (48, 24, 1)
    assert sum(cause["stops"] for cause in night["causes"]) == 24
    assert night["mean_of_stopped_nights"] == pytest.approx(2.125)
    assert night["weibull"]["beta_low"] < 1 < night["weibull"]["beta_high"]
    assert "at random" in found.shape
    wear = nights.WeibullFit(7.0, 2.5, 1.9, 3.2, 0.001)
    assert "wear" in nights.shape_in_words(wear)
    assert "bad starts" in nights.shape_in_words(nights.WeibullFit(7.0, 0.6, 0.4, 0.8, 0.001))
