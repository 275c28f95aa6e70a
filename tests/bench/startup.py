"""Start-up as fresh processes; a comparison of the demo, its page and a move of its knobs in a process that is warm."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from timing import Table, medians, processes

import equipdecide as ed
from equipdecide.decide import draws
from equipdecide.decide.compare import Comparison, measure
from equipdecide.decide.trials import doubtful
from equipdecide.evaluate import evaluate
from equipdecide.views.table import comparison_text

DEMO = Path(__file__).parents[2] / "scenarios" / "deck_fittings.yaml"
MOVED = "machines.MC-1.upkeep.first_year"
PARTS = """
import gc, os, sys, time
os.environ["PYDANTIC_DISABLE_PLUGINS"] = "__all__"  # as the command does
gc.disable()
began = [time.process_time()]
import numpy, pydantic
began.append(time.process_time())
import equipdecide.cli, equipdecide.scenario
began.append(time.process_time())
scenario = equipdecide.scenario.load(sys.argv[1])
began.append(time.process_time())
import equipdecide.decide.compare as decide, equipdecide.views.table as views
began.append(time.process_time())
made = decide.compare(scenario)
began.append(time.process_time())
views.comparison_text(made, 100, False)
began.append(time.process_time())
print(*(b - a for a, b in zip(began, began[1:])))
"""
NAMES = (
    "numpy and pydantic",
    "modules of the scenario",
    "the file",
    "modules of the comparison",
    "comparing",
    "its text",
)


def startup(table: Table) -> None:
    """Print the rows of start-up and of one comparison."""
    python = sys.executable
    spent = processes(
        {
            "bare": [python, "-c", "pass"],
            "help": [python, "-m", "equipdecide", "--help"],
            "imports": [python, "-c", "import numpy, pydantic"],
            "compare": [python, "-m", "equipdecide", "compare", str(DEMO)],
        }
    )
    for name, what in (
        ("bare", "bare Python"),
        ("help", "equipdecide --help"),
        ("imports", "a process that imports numpy and pydantic"),
        ("compare", "equipdecide compare of the demo"),
    ):
        table.figure(f"{what}, whole process", f"{spent[name] * 1e3:,.0f} ms")
    table.goal("--help against bare Python", spent["help"] / spent["bare"], 6, True, " x")
    table.goal(
        "a comparison of the demo against importing numpy and pydantic",
        spent["compare"] / spent["imports"],
        3,
        True,
        " x",
        _where(python),
    )

    scenario = ed.load(DEMO)
    entered = doubtful(scenario)
    draws.draw(scenario, entered, list(entered), 64, 7, 8)  # scipy is loaded here, not below
    made = evaluate(scenario)
    likely = made[list(made.ledgers)[0]].column(f"inputs.{MOVED}").figure()
    moved, afresh = made.moved({MOVED: likely * 1.01}), evaluate(scenario, {MOVED: likely * 1.01})
    for name in made.ledgers:
        apart = moved[name].column("worth.npv").values - afresh[name].column("worth.npv").values
        assert np.abs(apart).max() < 1e-6

    def shown(comparison: Comparison) -> str:  # its table with it: rates of return are found when they are asked for
        return comparison_text(comparison, 100, False)

    spent = medians(
        {
            "compare": lambda: shown(ed.compare(scenario)),
            "moved": lambda: shown(measure(made.moved({MOVED: likely * 1.01}))),
            "table": lambda: shown(measure(made)),
        },
        rounds=11,
    )
    courses, columns = len(scenario.alternatives), sum(column.run is not None for column in made.order)
    of_it = (
        f"the table and its rates of return are {spent['table'] * 1e3:.0f} ms of it; the rest is {columns:,} columns, half "
        "of their time numpy on a handful of figures, half the rules that post them: fewer columns a course, or "
        "courses that differ in one step worked out side by side, would close it"
    )
    table.goal(
        f"one comparison of the demo, {courses} courses and its table", spent["compare"] * 1e3, 50, True, " ms", of_it
    )
    table.goal("the same after one moved input", spent["moved"] * 1e3, 50, True, " ms", of_it)
    spent = medians({"simulate": lambda: ed.simulate(scenario), "breakeven": lambda: ed.breakeven(scenario)}, rounds=2)
    table.figure("simulate of the demo, 4,096 trials with draws and set-up", f"{spent['simulate'] * 1e3:,.0f} ms")
    table.figure("break-even of every input of the demo", f"{spent['breakeven'] * 1e3:,.0f} ms")


def _where(python: str) -> str:
    """Return in words where the time of a comparison's process goes."""
    environment = {key: value for key, value in os.environ.items() if key != "PYTHONDONTWRITEBYTECODE"}
    runs = [
        subprocess.run([python, "-c", PARTS, str(DEMO)], check=True, capture_output=True, text=True, env=environment)
        for _ in range(5)
    ]
    each = np.median([[float(word) for word in run.stdout.split()] for run in runs], axis=0)
    told = ", ".join(f"{name} {seconds * 1e3:.0f} ms" for name, seconds in zip(NAMES, each, strict=True))
    return (
        f"of its time: {told}. A third of a millisecond goes to the making of each of 75 dataclasses, 40 ms to pydantic "
        "before the first model, 40 ms to read law and formulas the first time: fewer dataclasses, models that are no "
        "pydantic's, or formulas and law read ahead would close it"
    )


def pages(table: Table) -> None:
    """Print the rows of what is made of a comparison: page, workbook, the knobs of a notebook."""
    with tempfile.TemporaryDirectory() as folder:
        page, book = f"{folder}/brief.html", f"{folder}/book.xlsx"
        python = [sys.executable, "-m", "equipdecide"]
        spent = processes(
            {
                "brief": [*python, "brief", str(DEMO), "-o", page],
                "workbook": [*python, "workbook", str(DEMO), "-o", book],
            },
            rounds=2,
        )
        imports = "0.7 s are the import of matplotlib and of scipy.stats, of which only Sobol's points are used"
        table.goal("equipdecide brief of the demo, whole process", spent["brief"], 3, True, " s", imports)
        table.goal("equipdecide workbook of the demo, whole process", spent["workbook"], 3, True, " s")
        comparison = ed.compare(ed.load(DEMO))
        spent = medians({"brief": lambda: ed.brief(comparison, page)}, rounds=3)
        table.goal("the page of the demo in a process that is warm", spent["brief"], 2, True, " s")
    knobs = ed.knobs(comparison)
    seen, moves = [0.0], []
    knobs._chances.observe(lambda _: seen.__setitem__(0, time.process_time()), "value")
    for knob in knobs.knobs * 3:
        for part in (0.3, 0.6):
            began = time.process_time()
            knobs.sliders[knob.path].value = (knob.low + part * (knob.high - knob.low)) * knob.scale
            moves.append((seen[0] - began, time.process_time() - began))
    sent, whole = (1e3 * np.array(each) for each in zip(*moves, strict=True))
    closes = (
        "in the browser, which adds some 50 ms, 150 ms is the goal. Two of matplotlib's drawings are 70 ms of it, "
        "half of that ticks and the measuring of words: charts that are moved, not made anew, would close it"
    )
    told = f"the slowest of {len(moves)} moves of a knob, to the chances, without a browser"
    table.goal(told, sent.max(), 100, True, " ms", closes)
    table.figure("the slowest to the last chart", f"{whole.max():,.0f} ms")
