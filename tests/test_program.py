"""Many trials in place: the same figures as each formula gives on its own, whatever is shared,
folded or written over.
"""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from equipdecide import calendar as cal
from equipdecide.calendar import ONE, Axis
from equipdecide.formula import parse
from equipdecide.ledger import Column, Draft, Ledger, Origin, Shared, seal
from equipdecide.tape import MANY, Tape

YEARS = cal.calendar_years(2026, 2029)
QUARTERS = cal.on_days("days", ("a", "b", "c"), (date(2026, 3, 31), date(2026, 9, 30), date(2028, 2, 29)))
TRIALS = 2 * MANY


class Entered:
    def __init__(self, path: str, likely: float) -> None:
        self.path, self.likely, self.unit, self.given_by = path, likely, "1", "test"


def ledger(text: str, own: str = "found", axis: Axis = YEARS) -> Ledger:
    """Post one formula over doubtful a, b and k, fixed rows and a table, and columns made of them on two axes."""
    draft = Draft("one", Shared({}))
    w = draft.working("w", YEARS)
    a, b, k = (draft.input(Entered(name, likely)) for name, likely in (("a", 3.0), ("b", -2.0), ("k", 1.0)))
    w.given("fixed", [1.0, -4.0, 2.5, 0.0], "1", "fixed rows", Origin("choice", "x"))
    w.given("none", [0.0, 0.0, 0.0, 0.0], "1", "zeros", Origin("choice", "x"))
    w.given("steps", [0.0, 1.0, 2.0, 5.0], "1", "steps", Origin("choice", "x"))
    w.formula("x", "a * fixed + none", "1", "moves with a", a=a)
    w.formula("y", "b - fixed * a", "1", "moves with a and b", a=a, b=b)
    on_days = draft.working("on days", QUARTERS)
    on_days.given("share", [0.5, 2.0, -1.0], "1", "shares", Origin("choice", "x"))
    d = on_days.formula("d", "share * a + b", "1", "on days of its own", a=a, b=b)
    over = w.given("over", np.array([[0.0], [2.0], [4.0]]).reshape(3, 1, 1), "1", "above", Origin("law", "x"))
    rate = w.given("rate", np.array([[0.1], [0.2], [0.4]]).reshape(3, 1, 1), "1", "share", Origin("law", "x"))
    uses = {"a": a, "b": b, "k": k, "d": d, "over": over, "rate": rate}
    names = parse(text, own).others
    w.formula(own, text, "1", "tried", axis, **{name: column for name, column in uses.items() if name in names})
    w.formula("twice", f"{own} + {own}" if axis is YEARS else f"total({own})", "1", "reads it once more", axis)
    return seal(draft)


def drawn(trials: int) -> dict[str, np.ndarray]:
    draw = np.random.default_rng(11)
    return {
        "a": draw.normal(1, 4, trials).round(3),
        "b": draw.uniform(-5, 5, trials).round(2),
        "k": draw.integers(-1, 5, trials).astype(float),
    }


def one_by_one(made: Ledger, wanted: list[Column], x: dict[str, np.ndarray]) -> list[np.ndarray]:
    tape = Tape(made.order, list(x), wanted)
    trials = len(x["a"])
    runs = [tape.run({path: values[t : t + 1] for path, values in x.items()}) for t in range(trials)]
    return [
        np.concatenate([np.broadcast_to(run[w], (len(wanted[w].axis), 1)) for run in runs], axis=1)
        for w in range(len(wanted))
    ]


WHOLE_AXIS = [
    "x",
    "x + y - x * y",
    "x / (abs(y) + 1) ** 2",
    "-x + none",
    "x * 1 + y * none",
    "0 - x",
    "min(x, y, a) + max(x, 0, fixed)",
    "where(x > y, x, y)",
    "where(x <= y, where(y >= 0, y, x), x * 2)",
    "where(x, fixed, y)",
    "(x < y) * x + (x == y) * 5 + (x != y)",
    "exp(0 - abs(x)) + log(abs(y) + 1)",
    "cents(x / 3) + cents(y / 7)",
    "dollars(x / 3) - ceiling(y / 7)",
    "prev(x) + prev(y, a)",
    "running(x) - running(y)",
    "x - total(y)",
    "pick(x, k) + pick(y, 1) + pick(x, 7)",
    "pick(x, fixed)",
    "lookup(k, steps, x) + lookup(2, steps, y)",
    "brackets(x, over, rate) - brackets(y * 2, over, rate)",
    "gather(d) + x",
    "x + gather(d) + gather(d) * 2",
    "during(d) - closing(d)",
    "spread(d) + gather(d)",
]
ONE_FIGURE = [
    "total(x)",
    "smallest(y)",
    "weighted(x, y)",
    "weighted(x, fixed)",
    "weighted(fixed, y)",
    "a * b - total(x)",
]
CARRIED = [
    "prev(found) * 2 + x",
    "max(prev(found, a) - y, 0)",
    "cents(prev(found) / 3) + where(x > 0, prev(y), b)",
    "where(fixed, max(prev(found) - x, 0), y)",
    "max(where(fixed, prev(found) * 2, x) - y, 0) * (prev(found) + 1) / 9",
    "where(prev(found) > y, prev(found) * 0.5, x) + where(fixed > 0, prev(found), 0)",
]


@pytest.mark.parametrize("text", [*WHOLE_AXIS, *CARRIED])
def test_many_trials_are_the_trials_one_by_one(text: str) -> None:
    made, x = ledger(text), drawn(TRIALS)
    wanted = [made.column(f"w.{name}") for name in ("found", "twice", "x")]  # what is wanted is not written over
    many = Tape(made.order, list(x), wanted).run(x)
    for got, alone in zip(many, one_by_one(made, wanted, x), strict=True):
        assert np.broadcast_to(got, alone.shape) == pytest.approx(alone, rel=1e-13, abs=1e-13)


@pytest.mark.parametrize("text", ONE_FIGURE)
def test_figures_over_all_rows_are_the_trials_one_by_one(text: str) -> None:
    made, x = ledger(text, axis=ONE), drawn(TRIALS)
    wanted = [made.column("w.found"), made.column("w.twice")]
    many = Tape(made.order, list(x), wanted).run(x)
    for got, alone in zip(many, one_by_one(made, wanted, x), strict=True):
        assert got == pytest.approx(alone, rel=1e-12, abs=1e-12)


def test_blocks_of_another_size_and_other_inputs_do_not_disturb_each_other() -> None:
    made = ledger("cents(prev(found) / 3) + where(x > 0, prev(y), b)")
    wanted = [made.column("w.twice")]
    tape, x = Tape(made.order, ["a", "b", "k"], wanted), drawn(3 * MANY)
    (whole,) = tape.run(x)
    first = whole.copy()
    (tail,) = tape.run({path: values[: MANY + 1] for path, values in x.items()})
    assert tail == pytest.approx(first[:, : MANY + 1], abs=0)
    (only_a,) = tape.run({"a": x["a"]})  # b stays as entered
    (same,) = tape.run({"a": x["a"], "b": np.full(3 * MANY, -2.0)})
    assert only_a == pytest.approx(same, abs=0)
    assert whole == pytest.approx(first, abs=0), "what was returned stays as it was returned"


def test_one_vector_and_one_figure_may_be_set_together() -> None:
    made = ledger("x + y")
    tape, x = Tape(made.order, ["a", "b"], [made.column("w.found")]), drawn(TRIALS)
    (mixed,) = tape.run({"a": x["a"], "b": np.array([4.0])})
    (full,) = tape.run({"a": x["a"], "b": np.full(TRIALS, 4.0)})
    assert mixed == pytest.approx(full, abs=0)


def test_equal_operations_are_worked_out_once() -> None:
    made = ledger("x * y + max(x * y, 0)")
    program = Tape(made.order, ["a", "b"], [made.column("w.found")]).program(["a", "b"])
    # a * fixed (nothing added), b - a * fixed, their product, its larger than 0, the sum
    assert len(program.work) == 5


def test_what_rests_on_no_doubt_is_a_figure() -> None:
    made = ledger("fixed * 2 + steps")
    (found,) = Tape(made.order, ["a"], [made.column("w.found")]).run({"a": drawn(TRIALS)["a"]})
    assert found.ravel().tolist() == [2.0, -7.0, 7.0, 5.0]
