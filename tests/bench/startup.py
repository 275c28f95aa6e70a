"""Start-up as fresh processes, and one comparison of the demo in a process that is warm."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from timing import Table, medians, processes

import equipdecide as ed
from equipdecide.decide.compare import measure
from equipdecide.evaluate import evaluate

DEMO = Path(__file__).parents[2] / "scenarios" / "deck_fittings.yaml"
MOVED = "machines.MC-1.upkeep.first_year"


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
        "see the seconds of each part: python -X importtime -m equipdecide compare scenarios/deck_fittings.yaml",
    )

    scenario = ed.load(DEMO)
    made = evaluate(scenario)
    likely = made[list(made.ledgers)[0]].column(f"inputs.{MOVED}").figure()
    moved, afresh = made.moved({MOVED: likely * 1.01}), evaluate(scenario, {MOVED: likely * 1.01})
    for name in made.ledgers:
        apart = moved[name].column("worth.npv").values - afresh[name].column("worth.npv").values
        assert np.abs(apart).max() < 1e-6
    spent = medians(
        {"compare": lambda: ed.compare(scenario), "moved": lambda: measure(made.moved({MOVED: likely * 1.01}))},
        rounds=11,
    )
    courses = len(scenario.alternatives)
    table.goal(f"one comparison of the demo ({courses} courses)", spent["compare"] * 1e3, 50, True, " ms")
    table.goal("a comparison after one moved input", spent["moved"] * 1e3, 50, True, " ms")
