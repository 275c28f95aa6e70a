"""Speed of many trials beside honest baselines: run by `make bench`, not by the tests.

Each pair does the same work and is checked to give the same figures. Candidates take turns, in rounds; medians of
processor time on this machine are printed, and how many times as fast the package is. Ratios hold better than times.
"""

import statistics
import time
from pathlib import Path

import numpy as np
import numpy_financial as npf

import equipdecide as ed
from equipdecide import measures
from equipdecide.decide import draws
from equipdecide.decide.breakeven import GRID
from equipdecide.decide.trials import Trials
from equipdecide.evaluate import evaluate
from equipdecide.scenario.reading import amounts

ROUNDS = 5
DEMO = Path(__file__).parents[2] / "scenarios" / "deck_fittings.yaml"
SMALL = """
title: A machine that pays for itself
decision_date: 2026-01-01
regime: flat
flat: {tax_rate: 30 %}
machine_in_question: [old]
study: {years: 10, rate: 6 % .. 10 % .. 14 %, periods: years}
shop: {name: Shop, taxed_as: sole proprietor}
machines:
  old: {what: old one, upkeep: {first_year: 9,000 .. 12,000 .. 18,000, growth: 3 % .. 8 % .. 12 %}}
  new:
    what: new one
    price: 70,000 .. 80,000 .. 95,000
    upkeep: {first_year: 3,000 .. 4,000 .. 6,000, growth: 5 %}
    earnings: {faster: 6,000 .. 10,000 .. 13,000}
    depreciation: {method: straight line, life: 10}
    worth_at_end: 8,000 .. 12,000 .. 20,000
offers:
  scrap: {machine: old, route: outright, price: 0}
alternatives:
  keep: []
  replace:
    - {do: buy, machine: new, on: 2026-01-01}
    - {do: sell, machine: old, by: scrap, on: 2026-01-01}
"""


def medians(candidates):
    """Median processor time of each candidate [s], taking turns; a candidate is (function, how often it is repeated)."""
    spent = {name: [] for name in candidates}
    for function, _ in candidates.values():
        function()  # once unmeasured: imports, caches
    for _ in range(ROUNDS):
        for name, (function, times) in candidates.items():
            start = time.process_time()
            for _ in range(times):
                function()
            spent[name].append((time.process_time() - start) / times)
    return {name: statistics.median(values) for name, values in spent.items()}


def row(work, baseline, each, package_each, unit="us"):
    print(
        f"{work:<44} {baseline:<38} {each * 1e6:>12,.2f} {package_each * 1e6:>12,.2f} {unit:<4} {each / package_each:>9,.1f} x"
    )


def small_flows(x):
    """After-tax yearly flows of `replace` less `keep`, shape (11, trials), written out by hand."""
    k = np.arange(1, 11)[:, None]
    old = x["machines.old.upkeep.first_year"] * (1 + x["machines.old.upkeep.growth"]) ** (k - 1)
    new = x["machines.new.upkeep.first_year"] * 1.05 ** (k - 1)
    price, end = x["machines.new.price"], x["machines.new.worth_at_end"]
    before = old - new + x["machines.new.earnings.faster"]
    written_off = np.round(price / 10, 2)  # depreciation is in whole cents
    after = 0.7 * before + 0.3 * written_off
    after[-1] += end - 0.3 * (end - (price - 10 * written_off))
    return np.concatenate([-price[None, :], after])


def draw(scenario, trials):
    entered = amounts(scenario)
    paths = [path for path, amount in entered.items() if amount.doubtful]
    return draws.draw(scenario, entered, paths, trials, 7, 8)


def flows_and_rates():
    rng = np.random.default_rng(1)
    series = rng.uniform(500, 1_500, (121, 2_000))
    series[0] = -60_000
    months = np.arange(121) / 12
    rate = 0.10
    monthly = 1.10 ** (1 / 12) - 1
    few = series[:, :20]
    batch, loop = measures.present_worth(series, months, rate), [npf.npv(monthly, column) for column in few.T]
    assert np.allclose(batch[:20], loop, atol=1e-6)
    one = measures.rates_of_return_batch(few, months)
    by_loop = [(1 + npf.irr(column)) ** 12 - 1 for column in few.T]
    assert np.allclose(one.rates, by_loop, atol=1e-8)
    found = medians(
        {
            "npv": (lambda: measures.present_worth(series, months, rate), 20),
            "npf npv": (lambda: [npf.npv(monthly, column) for column in few.T], 50),
            "irr": (lambda: measures.rates_of_return_batch(series, months), 1),
            "npf irr": (lambda: [npf.irr(column) for column in few.T], 1),
        }
    )
    row(
        "present worth of 2,000 series of 121 months",
        "numpy-financial, one by one",
        found["npf npv"] / 20,
        found["npv"] / 2_000,
    )
    row("rate of return of the same", "numpy-financial, one by one", found["npf irr"] / 20, found["irr"] / 2_000)


def small_scenario():
    scenario = ed.loads(SMALL)
    trials = 20_000
    x = draw(scenario, trials)
    program = Trials(scenario, list(x))
    years = np.arange(11)[:, None]

    def by_hand():
        return (small_flows(x) * (1 + x["study.rate"]) ** -years).sum(axis=0)

    def by_loop():
        return [npf.npv(r, flow) for r, flow in zip(x["study.rate"][:500], small_flows(x)[:, :500].T, strict=True)]

    figures = program.run(x)
    lead = figures["replace"].npv - figures["keep"].npv
    assert np.allclose(lead, by_hand(), atol=1e-5), np.abs(lead - by_hand()).max()
    assert np.allclose(lead[:500], by_loop(), atol=1e-5)
    found = medians({"engine": (lambda: program.run(x), 1), "hand": (by_hand, 3), "npf": (by_loop, 1)})
    row(
        "two courses, ten years, 20,000 trials",
        "the flows by hand, npf.npv each",
        found["npf"] / 500,
        found["engine"] / trials,
    )
    row("", "the flows by hand, all numpy", found["hand"] / trials, found["engine"] / trials)


def demo():
    scenario = ed.load(DEMO)
    trials = 4_096
    x = draw(scenario, trials)
    program = Trials(scenario, list(x))
    figures = program.run(x)
    alone = evaluate(scenario, {path: float(values[5]) for path, values in x.items()})
    assert abs(alone["upgrade"].column("worth.npv").figure() - figures["upgrade"].npv[5]) < 1e-6
    found = medians(
        {
            "block": (lambda: program.run(x), 1),
            "each": (lambda: evaluate(scenario, {path: float(values[5]) for path, values in x.items()}), 2),
            "simulate": (lambda: ed.simulate(scenario, trials), 1),
            "breakeven": (lambda: ed.breakeven(scenario), 1),
        }
    )
    row("six courses of the demo, 4,096 trials", "one evaluation a trial", found["each"], found["block"] / trials)
    row("the same with draws and set-up", "one evaluation a trial", found["each"], found["simulate"] / trials)
    inputs = len(program.amounts)
    row(
        f"break-even of {inputs} inputs of the demo",
        f"{GRID + 1} evaluations an input (reckoned)",
        found["each"] * (GRID + 1) * inputs,
        found["breakeven"],
    )


def spread():
    """How far the mean lead is off at 1,024 trials: plain random points beside scrambled Sobol, over 12 seeds."""
    scenario = ed.load(DEMO)
    entered = amounts(scenario)
    paths = [path for path, amount in entered.items() if amount.doubtful]
    program = Trials(scenario, paths)

    def mean(u):
        figures = program.run(draws.draw(scenario, entered, paths, u.shape[1], 0, 1, u))
        return float((figures["upgrade"].npv - figures["keep"].npv).mean())

    exact = mean(draws.points(len(paths), 2**14, 99, 1))
    plain = [mean(np.random.default_rng(k).uniform(1e-12, 1, (len(paths), 1_024))) - exact for k in range(12)]
    even = [mean(draws.points(len(paths), 1_024, k, 8)) - exact for k in range(12)]
    off = [float(np.sqrt(np.mean(np.square(errors)))) for errors in (plain, even)]
    print(
        f"\nMean lead of the upgrade at 1,024 trials is off by {off[0]:,.0f} with plain random points, {off[1]:,.0f} with"
    )
    print(f"scrambled Sobol points in 8 replicates: {off[0] / off[1]:.1f} times nearer (root mean square of 12 seeds).")


if __name__ == "__main__":
    print(f"{'work':<44} {'baseline':<38} {'baseline':>12} {'package':>12}      {'ratio':>9}")
    flows_and_rates()
    small_scenario()
    demo()
    spread()
