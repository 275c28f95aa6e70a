"""Simulation: shapes against closed forms, published risk cases, replay of single trials, and the demo as a whole."""

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import yaml
from scipy import stats

import equipdecide as ed
from equipdecide.decide import draws, trials
from equipdecide.decide.compare import measure, passes
from equipdecide.decide.draws import DrawError
from equipdecide.decide.simulate import perfect_information
from equipdecide.evaluate import evaluate
from equipdecide.scenario.reading import quantity_at

ROOT = Path(__file__).parents[1]
PUBLISHED = {
    case["id"]: case for case in yaml.safe_load((ROOT / "tests" / "published" / "risk.yaml").read_text("utf-8"))
}

FLOWS = """
title: Flows
decision_date: 2026-01-01
regime: flat
flat: {tax_rate: 0 %}
machine_in_question: [old]
study: {years: YEARS, rate: RATE, periods: years}
shop: {name: Shop, taxed_as: sole proprietor}
machines:
  old: {what: idle}
  new: {what: bought, price: PRICE, EARNINGS worth_at_end: 0}
alternatives:
  keep: []
  buy:
    - {do: buy, machine: new, on: 2026-01-01}
"""


def flows(price, years, rate, earnings="", extra="", folder=None):
    text = FLOWS.replace("YEARS", str(years)).replace("RATE", f"{rate:.6%}").replace("PRICE", str(price))
    return ed.loads(text.replace("EARNINGS", earnings and earnings + ",") + extra, folder=folder)


@pytest.fixture(scope="module")
def demo():
    return ed.simulate(ed.load(ROOT / "scenarios" / "deck_fittings.yaml"), trials=1024)


def close(estimate, exact, share):
    """An estimate within four of its standard errors (and `share`) of the exact figure, the errors being small too."""
    assert abs(estimate.value - exact) < 4 * estimate.error + 1e-9, (estimate, exact)
    assert abs(estimate.value - exact) < share * abs(exact), (estimate, exact)


# --- shapes


GRID = (np.arange(200_000) + 0.5) / 200_000


def test_three_point_means():
    case = PUBLISHED["H11"]
    low, likely, high = case["inputs"].values()
    assert draws.pert(GRID, low, likely, high).mean() == pytest.approx(
        case["expected"]["pert"], abs=case["tolerance"]["pert"]
    )
    found = draws.triangular(GRID, low, likely, high).mean()
    assert found == pytest.approx(case["expected"]["triangular"], abs=case["tolerance"]["triangular"])


@pytest.mark.parametrize("u", [0.01, 0.2, 0.5, 0.77, 0.999])
def test_shapes_against_scipy(u):
    """Quantiles against scipy.stats; normal and lognormal have 5 % below low and above high."""
    at = np.array([u])
    a, m, b = 10.0, 14.0, 30.0
    weight = 4 / (b - a)
    assert draws.pert(at, a, m, b) == pytest.approx(
        stats.beta.ppf(u, 1 + weight * (m - a), 1 + weight * (b - m), a, b - a)
    )
    assert draws.triangular(at, a, m, b) == pytest.approx(stats.triang.ppf(u, (m - a) / (b - a), a, b - a))
    assert draws.uniform(at, a, m, b) == pytest.approx(stats.uniform.ppf(u, a, b - a))
    deviation = (b - a) / (2 * stats.norm.ppf(0.95))
    assert draws.normal(at, a, m, b) == pytest.approx(stats.norm.ppf(u, m, deviation))
    sigma = np.log(b / a) / (2 * stats.norm.ppf(0.95))
    assert draws.lognormal(at, a, m, b) == pytest.approx(stats.lognorm.ppf(u, sigma, scale=m))


def test_variance_of_the_pert_shape():
    # (m - low)(high - m) / 7 with m the mean: closed form of the beta variance
    low, likely, high = 25, 35, 50
    mean = (low + 4 * likely + high) / 6
    assert draws.pert(GRID, low, likely, high).var() == pytest.approx((mean - low) * (high - mean) / 7, rel=1e-4)


def test_yes_no_and_logged():
    assert draws.yes_no(GRID, 0.3).mean() == pytest.approx(0.3)
    assert draws.yes_no(GRID, 1.0).min() == 1
    assert draws.yes_no(GRID, 0.0).max() == 0
    assert draws.logged(GRID, [3, 1, 1, 7]).mean() == pytest.approx(3.0)


# --- correlation


def test_correlation_of_the_draws():
    """Rank correlation of a Gaussian copula is 6/pi asin(rho/2) (Pearson; Kruskal 1958), each input as before."""
    u = draws.points(2, 8192, 1, 8)
    joined = draws.correlated(u, np.array([[1, 0.6], [0.6, 1]]))
    assert stats.spearmanr(*joined)[0] == pytest.approx(6 / np.pi * np.arcsin(0.3), abs=0.01)
    assert joined.mean(axis=1) == pytest.approx([0.5, 0.5], abs=1e-3)
    assert joined.var(axis=1) == pytest.approx([1 / 12] * 2, rel=1e-2)


def test_correlations_that_cannot_hold_together():
    """0.9, 0.9 and -0.9 among three: scaled to half of the eigenvalue bound they can; -1/min
    eigenvalue = 1/1.8 by hand.
    """
    matrix = np.array([[1, 0.9, 0.9], [0.9, 1, -0.9], [0.9, -0.9, 1]])
    with pytest.raises(DrawError, match="56%"):
        draws.correlated(draws.points(3, 64, 1, 2), matrix)


def test_files_of_values_are_read_in_the_unit_of_the_input(tmp_path):
    price, rate = quantity_at("machines.m.price"), quantity_at("study.rate")
    file = tmp_path / "seen.csv"
    file.write_text('price\n"5,000"\n\n$ 7000\n')
    assert draws.read_values(file, price) == [5_000, 7_000]
    file.write_text("8 %\n0.09\n10 %\nten\n")
    with pytest.raises(DrawError, match=r"(?s)seen.csv:2: '0.09' has no unit.*seen.csv:4: cannot read 'ten'"):
        draws.read_values(file, rate)
    file.write_text("price\n")
    with pytest.raises(DrawError, match="no value stands in it"):
        draws.read_values(file, price)
    with pytest.raises(DrawError, match=r"none.csv cannot be read"):
        draws.read_values(tmp_path / "none.csv", price)


# --- linear cases with a closed form


def yearly(case, correlation):
    low = case["mean"] - stats.norm.ppf(0.95) * case["deviation"]
    one = f"{low:.6f} .. {case['mean']} .. {2 * case['mean'] - low:.6f}"
    paths = [f"machines.new.earnings_by_year.{k}" for k in range(case["years"])]
    extra = "doubts:\n" + "".join(f"  - {{of: {path}, shape: normal}}\n" for path in paths)
    if correlation:
        pairs = [(a, b) for a in paths for b in paths if a < b]
        extra += "".join(f"  - {{of: [{a}, {b}], correlation: {correlation}}}\n" for a, b in pairs)
    earnings = f"earnings_by_year: [{', '.join([one] * case['years'])}]"
    return ed.simulate(flows(case["outlay"], case["years"], case["rate"], earnings, extra))


@pytest.mark.parametrize(("correlation", "which"), [(0, "independent"), (1, "perfect")])
def test_closed_form_of_a_linear_case(correlation, which):
    case = PUBLISHED["H10"]
    runs = yearly(case["inputs"], correlation)
    close(runs.mean("buy", "keep"), case["expected"]["mean"], 0.005)
    close(runs.deviation("buy", "keep"), case["expected"][which], 0.01)


def test_published_value_of_perfect_information(tmp_path):
    case = PUBLISHED["H04"]
    given, expected, tolerance = case["inputs"], case["expected"], case["tolerance"]
    step = "    - {do: earn, what: sales, a_year: AMOUNT, growth: 5 %, on: 2026-01-02}\n"
    worth = []
    for first in given["first"]:
        c = ed.compare(flows(given["cost"], given["years"], given["rate"], extra=step.replace("AMOUNT", str(first))))
        worth.append(c["buy"].npv_less_keep)
    assert worth == pytest.approx(expected["worth"], abs=tolerance["worth"])
    table = np.array([np.zeros(3), worth])
    chances = np.array(given["chances"])
    assert table[1] @ chances == pytest.approx(expected["mean"], abs=tolerance["mean"])
    assert table.max(axis=0) @ chances == pytest.approx(expected["with_information"], abs=tolerance["with_information"])
    assert perfect_information(table, chances) == pytest.approx(expected["evpi"], abs=tolerance["evpi"])

    # the same through the draws: sixty, forty and eighteen thousand seen 6, 11 and 3 times of 20
    (tmp_path / "sales.csv").write_text("\n".join(["60000"] * 6 + ["40000"] * 11 + ["18000"] * 3))
    doubt = "doubts:\n  - {of: alternatives.buy.1.a_year, shape: logged, log: sales.csv}\n"
    extra = step.replace("AMOUNT", "40,000") + doubt
    runs = ed.simulate(flows(given["cost"], given["years"], given["rate"], extra=extra, folder=tmp_path))
    close(runs.evpi(), expected["evpi"], 0.01)
    assert runs.evppi("alternatives.buy.1.a_year").value == pytest.approx(runs.evpi().value)  # nothing else is in doubt
    assert runs.regret("buy").value == pytest.approx(runs.evpi().value)
    close(runs.regret("keep"), expected["with_information"], 0.01)


def test_value_of_one_input_in_closed_form():
    """Lead = earned at the end - price, both even: worth of knowing one is E max(0, its mean lead) - max(0, mean lead).

    Price 80..120, earned 60..150 (rate 0): mean lead 5; knowing the price alone, the lead is even on -15..25, so
    25^2/80 - 5; knowing what is earned alone, even on -40..50, so 50^2/180 - 5.
    """
    doubts = "doubts:\n  - {of: machines.new.price, shape: uniform}\n  - {of: 'machines.new.earnings_by_year.0', shape: uniform}\n"
    runs = ed.simulate(flows("80 .. 100 .. 120", 1, 0.0, "earnings_by_year: [60 .. 100 .. 150]", doubts))
    close(runs.mean("buy", "keep"), 5, 0.01)
    assert runs.evppi("machines.new.price").value == pytest.approx(25**2 / 80 - 5, abs=0.1)
    assert runs.evppi("machines.new.earnings_by_year.0").value == pytest.approx(50**2 / 180 - 5, abs=0.2)
    first, second = runs.information()
    assert first.path == "machines.new.earnings_by_year.0"
    assert second.value.value < first.value.value < runs.evpi().value
    close(runs.chance("buy"), 0.5555, 0.02)  # area by hand: 1 - P(earned < price) = 1 - (20..60 of 90, mean 40) = 5/9
    assert runs.chance("keep", beats="buy").value == pytest.approx(1 - runs.chance("buy").value)


# --- trials of the demo


@pytest.mark.parametrize("outcome", [0.0, 1.0])
def test_a_trial_alone_is_the_trial_of_the_block(demo, outcome):
    """To 1e-6 dollars, whichever plan the yes/no doubt chose for the staged alternative."""
    drawn = np.flatnonzero(demo.draws["parts.P5 bracket.renews"] == outcome)
    for trial in (drawn[0], drawn[-1]):
        alone = demo.replay(int(trial))
        for name in demo.names:
            assert alone[name].column("worth.npv").figure() == pytest.approx(demo.npv(name)[trial], abs=1e-6)
            assert alone[name].column("cash test.margin").figure() == pytest.approx(
                demo.figures[name].margin[trial], abs=1e-6
            )
        assert [passes(outcome) for outcome in measure(alone)] == [
            demo.figures[name].passes[trial] for name in demo.names
        ]
        bought = {purchase.name for purchase in alone.plans["kit now, R1 if P5 renews"].purchases}
        assert bought == ({"kit", "R1"} if outcome else {"kit"})


def test_block_size_does_not_matter(demo, monkeypatch):
    monkeypatch.setattr(trials, "BLOCK", 300)
    again = ed.simulate(demo.scenario, trials=1024)
    for name in demo.names:
        assert again.npv(name) == pytest.approx(demo.npv(name), abs=1e-6)


def test_the_same_seed_gives_the_same_figures(demo):
    again, other = (ed.simulate(demo.scenario, trials=1024, seed=seed) for seed in (7, 8))
    assert again.to_json() == demo.to_json()
    assert other.to_json() != demo.to_json()


PRINTED = """
import sys, equipdecide as ed
runs = ed.simulate(ed.load(sys.argv[1]), trials=512)
print([f"{runs.mean(name).value:.2f} {runs.mean(name).error:.2f} {runs.chance_best(name).value:.4f}" for name in runs.names])
"""


def test_the_same_figures_are_printed_on_any_number_of_threads():
    file = str(ROOT / "scenarios" / "deck_fittings.yaml")
    printed = set()
    for threads in ("1", "2"):
        limits = {"OPENBLAS_NUM_THREADS": threads, "OMP_NUM_THREADS": threads, "MKL_NUM_THREADS": threads}
        run = subprocess.run(
            [sys.executable, "-c", PRINTED, file],
            cwd=ROOT,
            env={**os.environ, **limits},
            capture_output=True,
            text=True,
            check=True,
        )
        printed.add(run.stdout)
    assert len(printed) == 1 and "." in printed.pop()


def test_chances_of_the_demo(demo):
    best = [demo.chance_best(name).value for name in demo.names]
    assert sum(best) == pytest.approx(1)
    affordable = [demo.chance_best(name, affordable=True).value for name in demo.names]
    assert sum(affordable) + demo.chance_none_affordable.value == pytest.approx(1)
    lost = {name: demo.regret(name).value for name in demo.names}
    assert min(lost.values()) == pytest.approx(demo.evpi().value)  # the smallest expected regret is the EVPI
    by_hand = np.mean([max(npvs) - npvs[0] for npvs in zip(*(demo.npv(name) for name in demo.names), strict=True)])
    assert lost["keep"] == pytest.approx(by_hand)
    assert "own ranges" in demo.findings[0].text
    assert len(demo.to_frame()) == 6


def test_fixed_values_are_not_drawn(demo):
    runs = ed.simulate(demo.scenario, trials=64, values={"study.rate": 0.05})
    assert "study.rate" not in runs.draws
    want = evaluate(demo.scenario, runs.values(3))["upgrade"].column("worth.npv").figure()
    assert runs.npv("upgrade")[3] == pytest.approx(want, abs=1e-6)
    with pytest.raises(KeyError, match="no input 'nothing'"):
        ed.simulate(demo.scenario, trials=64, values={"nothing": 1})
    with pytest.raises(ValueError, match="at least 2 replicates"):
        ed.simulate(demo.scenario, trials=8)


def test_a_scenario_without_doubts_has_one_answer():
    runs = ed.simulate(flows(100, 1, 0.0, "earnings_by_year: [150]"), trials=64)
    assert set(runs.npv("buy", "keep")) == {50.0}
    assert runs.evpi() == ed.simulate(runs.scenario, trials=64).evpi()
    assert runs.evpi().value == 0
    assert runs.findings[-1].code == "no_doubts"


def test_ten_thousand_trials_fit_in_300_mb():
    """10,000 trials of the demo in a process of their own; `make bench` measures how long they take."""
    code = """
import pathlib, resource, sys
import equipdecide as ed
from equipdecide.scenario.examples import example

ed.simulate(ed.load(example("deck_fittings")), trials=10_000)
status = pathlib.Path("/proc/self/status")
if status.exists():  # what getrusage tells here begins with the size of the process that started this one
    peak = next(int(line.split()[1]) for line in status.read_text().splitlines() if line.startswith("VmHWM"))
else:
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (1024 if sys.platform == "darwin" else 1)
print(peak / 1024)
"""
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert float(done.stdout) < 300


def test_one_figure_stands_beside_more_trials_than_a_block():
    scenario = ed.load(ROOT / "scenarios" / "deck_fittings.yaml")
    likely = {path: amount.likely for path, amount in trials.doubtful(scenario).items() if amount.chance is None}
    (varied, middle), (held, figure) = list(likely.items())[:2]
    drawn = np.linspace(0.95, 1.05, trials.BLOCK + 100) * middle
    program = trials.Trials(scenario, [varied, held])
    beside = program.run({varied: drawn, held: np.array([figure])})
    filled = program.run({varied: drawn, held: np.full(len(drawn), figure)})
    for name, found in beside.items():
        assert found.npv.tolist() == filled[name].npv.tolist()


def test_only_what_is_marked_is_called_a_guess():
    scenario = ed.load(ROOT / "scenarios" / "first_sale.yaml")
    runs = ed.simulate(scenario, trials=64)
    # of the drawn ranges of the file two, both of upkeep, say `from: guess`; three prices do not say where from
    said = runs.findings[0].text
    assert f"{len(runs.draws)} inputs were drawn, 2 of them marked as guesses, {len(runs.draws) - 2} without" in said
