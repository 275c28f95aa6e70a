"""The formula language: what parses, what numpy makes of it, what a spreadsheet cell says."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipdecide import calendar as cal
from equipdecide.calendar import ONE
from equipdecide.formula import FormulaError, parse

YEARS = cal.calendar_years(2026, 2029)


def run(text: str, own: str | None = None, axis: cal.Axis = YEARS, **columns: object) -> list[list[float]]:
    """Evaluate `text` over columns given as lists (over the years) or numbers (single figures)."""
    formula = parse(text, own)
    names = [name for name in formula.names if not (name == own and formula.recurs)]
    arrays = [np.array(columns[name], dtype=float) for name in names]
    arrays = [a.reshape(-1, 1) if a.ndim == 1 else a.reshape(1, 1) if a.ndim == 0 else a for a in arrays]
    axes = {name: (ONE if array.shape[0] == 1 else YEARS) for name, array in zip(names, arrays, strict=True)}
    return formula.bind(axis, axes)(*arrays).tolist()


@pytest.mark.parametrize(
    "text",
    [
        "__import__('os')",
        "a.b",
        "a if b else c",
        "lambda: 1",
        "[1, 2]",
        "a and b",
        "a < b < c",
        "'text'",
        "min(a)",
        "running(a + b)",
        "unknown(a)",
        "max(a, b=1)",
        "True",
        "a(1)",
        "prev(x + 1)",
        "a +",
    ],
)
def test_nothing_else_parses(text: str) -> None:
    with pytest.raises(FormulaError):
        parse(text)


def test_a_column_may_name_itself_only_as_a_carry_forward() -> None:
    with pytest.raises(FormulaError, match="names itself"):
        parse("x + 1", "x")
    with pytest.raises(FormulaError, match="carry-forward"):
        parse("prev(x) + total(y)", "x")
    assert parse("prev(x) + y", "x").recurs


def test_operators_by_hand() -> None:
    assert run("(a + 2) * b / 4 - b ** 2", a=[0, 2, 4, 6], b=[2, 2, 2, 2]) == [[-3.0], [-2.0], [-1.0], [0.0]]
    assert run("where(a > 1, a, 0 - a)", a=[0, 1, 2, 3]) == [[0.0], [-1.0], [2.0], [3.0]]
    assert run("min(a, 2) + max(a, 2, b)", a=[0, 1, 2, 3], b=1) == [[2.0], [3.0], [4.0], [5.0]]


def test_rows_by_hand() -> None:
    x = [1, 2, 3, 4]
    assert run("prev(x)", x=x) == [[0.0], [1.0], [2.0], [3.0]]
    assert run("prev(x, s)", x=x, s=9) == [[9.0], [1.0], [2.0], [3.0]]
    assert run("running(x)", x=x) == [[1.0], [3.0], [6.0], [10.0]]
    assert run("total(x)", axis=ONE, x=x) == [[10.0]]
    assert run("smallest(x)", axis=ONE, x=x) == [[1.0]]
    assert run("weighted(x, y)", axis=ONE, x=x, y=[1, 0, 0, 2]) == [[9.0]]
    assert run("pick(x, 2)", axis=ONE, x=x) == [[3.0]]
    assert run("pick(x, 7)", axis=ONE, x=x) == [[0.0]]
    assert run("lookup(k, x, y)", axis=ONE, k=2.5, x=x, y=[10, 20, 30, 40]) == [[20.0]]
    assert run("lookup(k, x, y)", axis=ONE, k=0.5, x=x, y=[10, 20, 30, 40]) == [[0.0]]


def test_a_carry_forward_goes_row_by_row_with_trials_side_by_side() -> None:
    # a loss of 100, then income of 60, 30, 50: what is left of the loss after each year
    income = np.array([[-100.0, -100.0], [60, 0], [30, 0], [50, 0]])
    assert run("max(prev(left) - income, 0)", own="left", income=income) == [[100, 100], [40, 100], [10, 100], [0, 100]]


@pytest.mark.parametrize(
    ("text", "own"),
    [
        ("max(prev(left) - income, 0)", "left"),
        ("cents(prev(owed, start) * (1 + rate / 12)) - min(paid, prev(owed, start))", "owed"),
        ("where(income > prev(kept), prev(kept) / 2 + abs(income), min(prev(kept), income) ** 2)", "kept"),
        ("prev(income) - prev(sum) + dollars(income) + ceiling(rate) + exp(0 - rate) + log(start)", "sum"),
    ],
)
def test_a_carry_forward_of_one_trial_equals_that_trial_among_many(text: str, own: str) -> None:
    # one trial goes by plain numbers, many go by arrays: two ways through the same text
    draw = np.random.default_rng(7)
    given = {
        "income": draw.normal(0, 900, (4, 5)).round(3),
        "paid": draw.uniform(100, 400, (4, 5)).round(2),
        "rate": draw.uniform(0.02, 0.09, (1, 5)),
        "start": draw.uniform(500, 900, (1, 5)).round(2),
    }
    used = {name: given[name] for name in parse(text, own).others}
    many = np.array(run(text, own=own, **used))
    for k in range(5):
        alone = run(text, own=own, **{name: x[:, k : k + 1] for name, x in used.items()})
        assert many[:, k] == pytest.approx(np.array(alone)[:, 0], rel=1e-14)


def test_brackets_by_hand() -> None:
    # 10 % up to 100, 20 % to 300, 30 % above: on 400 that is 10 + 40 + 30
    formula = parse("brackets(i, over, rate)")
    over = np.array([0.0, 100.0, 300.0]).reshape(3, 1, 1)
    rate = np.array([0.1, 0.2, 0.3]).reshape(3, 1, 1)
    due = formula.bind(YEARS, {"i": YEARS, "over": ONE, "rate": ONE})(
        np.array([[-5.0], [50.0], [100.0], [400.0]]), over, rate
    )
    assert due.ravel() == pytest.approx([0, 5, 10, 80])


@pytest.mark.parametrize(
    ("value", "cents"),
    [(1.005, 1.01), (2.675, 2.68), (-1.005, -1.01), (0.125, 0.13), (8369.2449999, 8369.24), (1e9 + 0.005, 1e9 + 0.01)],
)
def test_cents_round_halves_away_from_zero(value: float, cents: float) -> None:
    assert run("cents(x)", axis=ONE, x=value) == [[cents]]


@given(st.lists(st.floats(-1e6, 1e6), min_size=4, max_size=4))
def test_running_ends_at_the_total(x: list[float]) -> None:
    assert run("running(x)", x=x)[-1] == pytest.approx(run("total(x)", axis=ONE, x=x)[0], abs=1e-6)


def test_axes_do_not_mix_unsaid() -> None:
    months = cal.months(cal.Date(2026, 1, 1), cal.Date(2026, 12, 31))
    with pytest.raises(FormulaError, match="say gather, spread"):
        parse("x + 1").bind(YEARS, {"x": months})
    gathered = parse("gather(x)").bind(YEARS, {"x": months})(np.ones((12, 1)))
    assert gathered.ravel().tolist() == [12.0, 0.0, 0.0, 0.0]


class Sheet:
    """Addresses of a tiny sheet: each name in its own column letter, rows from 2."""

    def at(self, name: str, row: int) -> str:
        return f"{name.upper()}{row + 2}"

    def whole(self, name: str) -> str:
        return f"${name.upper()}$2:${name.upper()}$5"

    def across(self, name: str, row: int) -> tuple[str, str]:
        return f"{name.upper()}{row + 2}:Z{row + 2}", f"Y{row + 2}:X{row + 2}"


@pytest.mark.parametrize(
    ("text", "own", "row", "cell"),
    [
        ("a + b * 2", None, 1, "(A3+(B3*2))"),
        ("a ** 2 - b", None, 0, "((A2^2)-B2)"),
        ("where(a >= b, cents(a), 0)", None, 2, "IF(IF(A4>=B4,1,0)<>0,ROUND(A4,2),0)"),
        ("prev(x, 5) - a", "x", 0, "(5-A2)"),
        ("prev(x, 5) - a", "x", 3, "(X4-A5)"),
        ("running(a)", None, 2, "SUM(A2:A4)"),
        ("total(a)", None, 0, "SUM($A$2:$A$5)"),
        ("exp(0 - a) + log(b)", None, 0, "(EXP((0-A2))+LN(B2))"),
        ("weighted(a, b)", None, 0, "SUMPRODUCT($A$2:$A$5,$B$2:$B$5)"),
    ],
)
def test_a_cell_says_the_same(text: str, own: str | None, row: int, cell: str) -> None:
    formula = parse(text, own)
    assert formula.cell(row, YEARS, dict.fromkeys(formula.names, YEARS), Sheet()) == cell
