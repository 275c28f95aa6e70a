"""Many trials: the package beside a notebook's loop and hand-written numpy, on both loads; memory,
size, spread points.
"""

from __future__ import annotations

import time
import tracemalloc
from collections import defaultdict

import loads
import numpy as np
from timing import Table, medians

from equipdecide.decide import draws
from equipdecide.decide.trials import BLOCK, Trials

TRIALS, LOOP = 100_000, 200  # the loop is timed on a slice
TO_THE_CENT = 0.01  # half a cent may be rounded the other way, once in a while
NOT_TO_THE_CENT = 0.50  # numpy-financial does not round a loan's payments: up to half a cent on each of 84


def simulations(table: Table) -> None:
    """Print the rows of both loads and what is measured on simple tax alone."""
    simple = loads.simple()
    _speed(table, simple, 1.5)
    _memory(table, simple)
    _size(table, simple)
    _spread(table, simple)
    full = loads.full()
    _speed(table, full, None)
    _memory(table, full)


def _speed(table: Table, load: loads.Load, by_hand_goal: float | None) -> None:
    x = load.draw(TRIALS)
    columns = [len(load.tape.base[target]) for target, _, _ in load.tape.steps]
    table.heading(
        f"Load: {load.name}: {len(load.known.courses)} courses x 120 months, {len(load.paths)} doubtful inputs, {TRIALS:,} trials",
        f"({len(columns)} columns, {sum(columns):,} rows a trial; present worth, lowest cash and worst coverage of "
        f"every course are made)",
    )
    figures, hand, loop = load.program.run(x), load.by_numpy(x), load.by_notebook(x, LOOP)
    most_hand = most_loop = 0.0
    for name, made in figures.items():
        for row, key in enumerate(loads.FIGURES):
            values = getattr(made, key)
            most_hand = max(most_hand, float(np.abs(hand[name][row] - values).max()))
            most_loop = max(most_loop, float(np.abs([one[name][row] for one in loop] - values[:LOOP]).max()))
    assert most_hand < TO_THE_CENT and most_loop < NOT_TO_THE_CENT, (most_hand, most_loop)
    spent = medians(
        {
            "engine": lambda: load.program.run(x),
            "hand": lambda: load.by_numpy(x),
            "loop": lambda: load.by_notebook(x, LOOP),
        },
        rounds=3,
    )
    engine, by_hand, by_loop = spent["engine"] / TRIALS, spent["hand"] / TRIALS, spent["loop"] / LOOP
    table.figure(
        f"notebook's loop, timed on {LOOP} trials, {most_loop:.2f} apart at most", f"{by_loop * 1e6:,.0f} us a trial"
    )
    table.figure(
        f"hand-written numpy, chunks of {load.chunk}, {most_hand:.4f} apart at most", f"{by_hand * 1e6:.1f} us a trial"
    )
    table.figure(f"package, blocks of {BLOCK}", f"{engine * 1e6:.1f} us a trial")
    where = _where(load, x)
    table.goal(
        f"{load.name}: times as quick as the notebook's loop",
        by_loop / engine,
        100,
        False,
        " x",
        f"{by_loop / 100 * 1e6:.1f} us a trial in place of {engine * 1e6:.1f}; hand-written numpy itself is "
        f"{by_loop / by_hand:.0f} x the loop. {where}",
    )
    if by_hand_goal is not None:
        table.goal(
            f"{load.name}: times the time of hand-written numpy", engine / by_hand, by_hand_goal, True, " x", where
        )
    else:
        table.figure("times the time of hand-written numpy (no goal)", f"{engine / by_hand:.2f} x")


def _where(load: loads.Load, x: dict[str, np.ndarray]) -> str:
    """Return in words where the time of one block goes, by the kernel that is called."""
    program = load.tape.program({path: vector[:BLOCK] for path, vector in x.items()})
    program.run({path: vector[:BLOCK] for path, vector in x.items()}, BLOCK)
    spent: dict[str, float] = defaultdict(float)
    for _ in range(4):
        for name, calls in program.calls(BLOCK):
            start = time.process_time()
            for function, arguments in calls:
                function(*arguments)
            spent[name] += time.process_time() - start
    whole = sum(spent.values())
    most = sorted(spent.items(), key=lambda item: -item[1])[:6]
    parts = ", ".join(f"{name} {share / whole:.0%}" for name, share in most)
    return f"Of a block's time, by operation: {parts}; {len(program.work):,} operations."


def _memory(table: Table, load: loads.Load) -> None:
    x = load.draw(TRIALS)
    tracemalloc.start()
    program = Trials(load.scenario, load.paths)  # anew: the arrays of a block are kept by whoever has run one
    before = tracemalloc.get_traced_memory()[0]
    figures = program.run(x)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    results = [
        array
        for one in figures.values()
        for array in (one.npv, one.margin, one.coverage, one.passes, *one.columns.values())
        if array is not None
    ]
    assert all(array.shape[-1] == TRIALS for array in results)
    kept = sum(array.nbytes for array in results)
    table.goal(
        f"{load.name}: memory at its peak over inputs and results, the block's arrays included",
        (peak - before - kept) / 2**20,
        64,
        True,
        " MB",
        "smaller blocks, or columns written into arrays that are kept from block to block",
    )
    table.figure("  inputs; results kept", f"{sum(v.nbytes for v in x.values()) / 2**20:.0f}; {kept / 2**20:.0f} MB")


def _size(table: Table, load: loads.Load) -> None:
    small, times = load.draw(10_000), 100
    large = {path: np.tile(vector, times) for path, vector in small.items()}
    spent = medians({"small": lambda: [load.program.run(small) for _ in range(10)]}, rounds=3)
    start = time.process_time()
    figures = load.program.run(large)
    whole = time.process_time() - start
    assert np.array_equal(figures["keep"].npv[:10_000], load.program.run(small)["keep"].npv)
    table.goal(
        f"{load.name}: time a trial at 1,000,000 trials, times that at 10,000",
        whole / 1e6 / (spent["small"] / 1e5),
        1.2,
        True,
        " x",
    )


def _spread(table: Table, load: loads.Load, trials: int = 4096, seeds: int = 12) -> None:
    """How far a mean is off: spread points as the package draws them (8 replicates) beside plain random points."""
    size = len(load.paths)

    def mean(u: np.ndarray) -> np.ndarray:
        figures = load.program.run(draws.draw(load.scenario, load.entered, load.paths, u.shape[1], 0, 1, u))
        worth = np.array([one.npv.mean() for one in figures.values()])
        return np.append(worth, worth[-1] - worth[0])  # each course, and the lead of the last over the first

    exact = mean(draws.points(size, 2**16, 99, 1))
    kinds = {
        "plain": [mean(np.random.default_rng(k).uniform(1e-12, 1, (size, trials))) for k in range(seeds)],
        "spread": [mean(draws.points(size, trials, k, 8)) for k in range(seeds)],
        "one": [mean(draws.points(size, trials, k, 1)) for k in range(seeds)],
    }
    off = {name: np.sqrt(np.mean(np.square(np.array(found) - exact), axis=0)) for name, found in kinds.items()}
    ratio = off["spread"] / off["plain"]
    table.figure(
        f"error of the mean lead of replace, {trials} plain; spread points ({seeds} seeds)",
        f"{off['plain'][-1]:,.0f}; {off['spread'][-1]:,.1f} $",
    )
    one = off["one"] / off["plain"]
    table.figure(
        "part of the plain error that is left, 8 replicates; in one replicate",
        f"1/{1 / ratio[-1]:.0f}; 1/{1 / one[-1]:.0f}",
    )
    table.goal(
        f"{load.name}: error of the mean of spread points, times nearer than plain (worst of 5)",
        float(1 / ratio.max()),
        8,
        False,
        " x",
        f"one replicate of 4096 points is 1/{1 / one.max():.0f}, but then the spread over replicates gives no standard error",
    )
