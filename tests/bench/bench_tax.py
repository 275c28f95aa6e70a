"""How long the tax rules take: 10,000 trials, 10 years, 2 owners, 2 books, one course with a purchase and a sale.

Two figures are printed: every step from the inputs to the tax of both owners (hours, loans and books with it), and the steps of
the tax rules alone. The aim is 1.5 seconds for the tax rules on one core.
"""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np

from equipdecide.evaluate import evaluate
from equipdecide.ledger import Tape
from equipdecide.scenario import load

TRIALS, BLOCK = 10_000, 1_000
COURSE = "replace by R1"
TAX = (
    "depreciation",
    "section 179",
    "disposal",
    "income",
    "returns",
    "payments",
    "qualified income",
    "limits",
    "business interest",
    "state add-back",
)


def main() -> None:
    """Run the course in blocks and print seconds."""
    scenario = load(Path(__file__).parents[2] / "scenarios" / "deck_fittings.yaml")
    longer = scenario.study.model_copy(update={"years": 10})
    made = evaluate(scenario.model_copy(update={"study": longer}), only=["keep", COURSE])
    ledger = made[COURSE]
    wanted = [
        ledger.column(f"{book} return {owner} as filed.tax")
        for owner in ("Ines", "Walt")
        for book in ("federal", "state")
    ]
    inputs = {c.origin.ref: c.figure() for c in made.order if c.origin is not None and c.origin.kind == "input"}
    doubtful = {
        path: figure for path, figure in inputs.items() if figure > 1.5 and not path.endswith((".renews", ".payments"))
    }
    tape = Tape(made.order, list(doubtful), wanted)
    tax_steps = sum(made.order[step[0]].rule in TAX for step in tape.steps)
    draws = np.random.default_rng(7)
    whole = tax = 0.0
    for _ in range(TRIALS // BLOCK):
        values = {
            path: figure * draws.uniform(0.98, 1.02, BLOCK) for path, figure in doubtful.items() if path in tape.inputs
        }
        start = time.perf_counter()
        tape.run(values)
        whole += time.perf_counter() - start
        arrays = list(tape.base)
        for path, vector in values.items():
            arrays[tape.inputs[path]] = np.atleast_2d(vector)
        for target, run, sources in tape.steps:
            start = time.perf_counter()
            arrays[target] = run(*[arrays[k] for k in sources])
            tax += (time.perf_counter() - start) if made.order[target].rule in TAX else 0.0
    print(
        f"{TRIALS:,} trials of {COURSE}, {longer.years} years, 2 owners, 2 books: {len(tape.steps)} columns, {tax_steps} of them tax"
    )
    print(f"  all steps {whole:.2f} s, the tax rules {tax:.2f} s")


if __name__ == "__main__":
    main()
