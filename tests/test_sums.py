"""Values kept as sums: random columns on three axes give what each formula gives on its own,
whatever is kept or written out.
"""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from equipdecide import calendar as cal
from equipdecide.calendar import ONE
from equipdecide.formula import WHOLE
from equipdecide.ledger import Column, Draft, Origin, Shared, seal
from equipdecide.program import Program
from equipdecide.program.kernels import products
from equipdecide.program.mixing import Mixed
from equipdecide.program.sums import Sum, kinds, least_rows
from equipdecide.tape import MANY, Tape

STRETCHES = cal.spans([date(2026, 1, 1), date(2026, 4, 1), date(2026, 9, 16), date(2027, 4, 1), date(2028, 1, 1)])
MONTHS = cal.months(date(2026, 1, 1), date(2027, 12, 31))
YEARS = cal.calendar_years(2026, 2027)
AXES = {"stretches": STRETCHES, "months": MONTHS, "years": YEARS, "one": ONE}
TRIALS = MANY + 3
INPUTS = ("a", "b", "c")


class Entered:
    def __init__(self, path: str, likely: float) -> None:
        self.path, self.likely, self.unit, self.given_by = path, likely, "1", "test"


def posted(columns: list[tuple[str, str]]) -> tuple[Any, list[Column]]:
    """Post formulas, each with its axis, over a, b, c, a profile on every axis and the columns before: c0, c1, ..."""
    draft = Draft("one", Shared({}))
    known: dict[str, tuple[Column, str]] = {
        name: (draft.input(Entered(name, 1.5)), "one")
        for name in INPUTS  # type: ignore[arg-type]
    }
    works = {name: draft.working(name, axis) for name, axis in AXES.items()}
    for name, axis in AXES.items():
        rows = np.random.default_rng(len(axis)).normal(0, 2, len(axis)).round(2)
        rows[: len(axis) // 2] = rows[0]  # rows of a kind
        works[name].given(f"p_{name}", rows.tolist(), "1", "profile", Origin("choice", "x"))
        known[f"p_{name}"] = (works[name][f"p_{name}"], name)
        works[name].given(f"t_{name}", np.arange(len(axis)).tolist(), "1", "time", Origin("choice", "x"))
        known[f"t_{name}"] = (works[name][f"t_{name}"], name)
    made = []
    for k, (axis, text) in enumerate(columns):
        uses = {n: column for n, (column, _) in known.items() if n in text.replace("(", " ").replace(")", " ").split()}
        made.append(works[axis].formula(f"c{k}", text, "1", "tried", **uses))
        known[f"c{k}"] = (made[-1], axis)
    return seal(draft), made


def drawn(trials: int, seed: int = 5) -> dict[str, np.ndarray]:
    draw = np.random.default_rng(seed)
    return {"a": draw.normal(1, 2, trials), "b": draw.uniform(0.1, 3, trials), "c": draw.uniform(-0.2, 0.4, trials)}


def both_ways(columns: list[tuple[str, str]]) -> Program:
    """Compare every column over many trials with its own evaluator; return the program."""
    ledger, made = posted(columns)
    x = drawn(TRIALS)
    tape = Tape(ledger.order, INPUTS, made)
    many = tape.run(x)
    alone = [tape.run({path: vector[t : t + 1] for path, vector in x.items()}) for t in range(TRIALS)]
    for k, (column, got) in enumerate(zip(made, many, strict=True)):
        wide = np.concatenate([np.broadcast_to(run[k], (len(column.axis), 1)) for run in alone], axis=1)
        assert np.broadcast_to(got, wide.shape) == pytest.approx(wide, rel=1e-9, abs=1e-9), columns[k]
    return tape.program(INPUTS)


@st.composite
def texts(draw: st.DrawFn) -> list[tuple[str, str]]:
    """Draw formulas of all that may stand in one, each over names that it may speak of."""
    columns: list[tuple[str, str]] = []
    on: dict[str, list[str]] = {name: [f"p_{name}", f"t_{name}"] for name in AXES}
    on["one"] += INPUTS

    def expression(axis: str, depth: int) -> str:
        names = on[axis] + (on["one"] if axis != "one" else [])
        if depth == 0:
            return draw(st.sampled_from([*names, "2", "0.5", "1"]))
        kind = draw(st.integers(0, 13))
        one, two = expression(axis, depth - 1), expression(axis, depth - 1)
        if kind < 5:
            return f"( {one} {draw(st.sampled_from('+-*'))} {two} )"
        name = draw(st.sampled_from(on[axis]))
        other = draw(st.sampled_from([k for k in ("stretches", "months", "years") if k != axis]))
        return [
            f"max( {one} , {two} )",
            f"min( {one} , 0.7 )",
            f"where( a > 0.9 , {one} , {two} )",
            f"( {one} / ( abs( {two} ) + 1 ) )",
            f"exp( 0 - abs( t_{axis} * c ) )",
            f"( ( 1 + c ) ** t_{axis} * {one} )",
            f"prev( {name} , {draw(st.sampled_from(['a', '0', '2']))} )" if axis != "one" else one,
            f"running( {name} )" if axis != "one" else f"total( {draw(st.sampled_from(on[other]))} )",
            f"{draw(st.sampled_from(['gather', 'spread', 'during', 'closing']))}( {draw(st.sampled_from(on[other]))} )"
            if axis != "one"
            else f"{draw(st.sampled_from(['smallest', 'total']))}( {draw(st.sampled_from(on[other]))} )",
        ][kind - 5]

    for k in range(draw(st.integers(2, 7))):
        axis = draw(st.sampled_from(list(AXES)))
        text = expression(axis, 2)
        if axis == "one" and draw(st.booleans()):
            other = draw(st.sampled_from(["stretches", "months", "years"]))
            text = f"weighted( {draw(st.sampled_from(on[other]))} , {draw(st.sampled_from(on[other]))} )"
        elif axis != "one" and draw(st.integers(0, 5)) == 0:
            less = expression(axis, 1)
            carried = not any(f"{function}(" in less for function in WHOLE)
            text = f"max( prev( c{k} , {draw(st.sampled_from(['a', '1']))} ) * 0.5 - {less} , 0 )" if carried else less
        columns.append((axis, text))
        on[axis].append(f"c{k}")
    return columns


@given(texts())
@settings(max_examples=60, deadline=None)
def test_random_columns_give_what_each_formula_gives_alone(columns: list[tuple[str, str]]) -> None:
    both_ways(columns)


def kernels(program: Program) -> list[str]:
    return [kernel.name for _, kernel, *_ in program.work]


def test_months_that_rest_on_few_values_are_written_out_for_a_reader_alone() -> None:
    """A sum over 24 months of what is spread from four stretches rests on the four; the months
    themselves are 24 rows.
    """
    columns = [
        ("stretches", "max( p_stretches * a , t_stretches )"),
        ("months", "spread( c0 ) * 2 + b"),
        ("one", "total( c1 )"),
    ]
    both_ways(columns)
    ledger, made = posted(columns)
    for wanted, rows in ((made[1], 24), (made[2], len(STRETCHES) + 1)):  # a row of ones stands beside the stretches
        program = Tape(ledger.order, INPUTS, [wanted]).program(INPUTS)
        assert max(shape[0] for shape, _ in program.places) == rows


def test_a_product_of_two_sums() -> None:
    program = both_ways([("months", "( p_months * a + b ) * ( t_months * c - a )"), ("one", "total( c0 )")])
    assert "*" in kernels(program)
    both_ways([("months", "( p_months * a + t_months ) * ( p_months * a + t_months )"), ("months", "max( c0 , b )")])


def test_an_input_in_a_profile_and_outside_it() -> None:
    both_ways([("months", "p_months * a"), ("months", "c0 + a * t_months - c0 * a"), ("one", "weighted( c1 , c0 )")])


def test_no_input_touches_anything() -> None:
    ledger, made = posted([("months", "p_months * 2"), ("one", "total( c0 )")])
    tape = Tape(ledger.order, INPUTS, made)
    months, whole = tape.run(drawn(TRIALS))
    assert months.shape == (24, 1) and whole.shape == (1, 1)
    assert whole[0, 0] == pytest.approx(2 * float(np.sum(made[0].args[0].per_row())))
    assert tape.program(INPUTS).work == []
    ledger, made = posted([("months", "p_months * a")])
    (held,) = Tape(ledger.order, INPUTS, made).program([]).run({}, TRIALS)
    assert held.shape == (24, 1), "an input that is not given stays as entered"


def test_more_values_under_a_sum_than_rows_in_it_are_not_kept() -> None:
    """Two years made of 24 months that bend are worked from the months, and written out."""
    program = both_ways(
        [("months", "max( p_months * a , t_months * b )"), ("years", "gather( c0 )"), ("years", "abs( c1 )")]
    )
    assert kernels(program).count("mixed") >= 1 and kernels(program).count("abs") == 1
    inside = [kernel for _, kernel, *_ in program.work if isinstance(kernel, Mixed) and kernel.rows == 2]
    assert inside and all(kernel.matrices[0].shape == (2, 24) for kernel in inside)


def test_equal_kinds_of_rows_are_worked_once() -> None:
    ledger, made = posted([("months", "max( p_months * a - b , 0 )"), ("one", "total( c0 )")])
    program = Tape(ledger.order, INPUTS, [made[1]]).program(INPUTS)
    different = len({float(p) for p in made[0].args[0].per_row()})
    assert different == 13, "half of the profile is of a kind"
    (largest,) = [k for k, kernel, *_ in program.work if kernel.name == "max"]
    assert program.places[program.place[largest]][0] == (different,)


def test_kinds_stand_in_one_order_however_they_come() -> None:
    rows = np.array([[3.0], [1.0], [3.0], [2.0]])
    found, matrix = kinds([Sum(np.zeros((4, 1)), {7: rows})])
    again, _ = kinds([Sum(np.zeros((4, 1)), {7: rows[::-1].copy()})])
    assert (matrix @ rows[found]).tolist() == rows.tolist()
    assert rows[found].tolist() == rows[::-1][again].tolist()


@given(st.integers(0, 10**6), st.integers(1, 3), st.booleans())
@settings(max_examples=60, deadline=None)
def test_the_least_row_is_among_the_least_rows(seed: int, height: int, payments: bool) -> None:
    """Levels that rise along lines, with constants that rise and fall: whatever the values, the least is kept."""
    draw = np.random.default_rng(seed)
    steps = np.repeat(draw.normal(0, 1, (4, height)), 6, axis=0) * draw.integers(28, 32, (24, 1))
    constant = np.cumsum(draw.normal(0, 30, (24, 1)) if payments else np.zeros((24, 1)), axis=0)
    summed = Sum(constant, {0: np.cumsum(steps, axis=0)})
    least = least_rows(summed)
    values = draw.normal(0, 5, (height, 400))
    level = summed.constant + summed.terms[0] @ values
    assert level[least].min(axis=0) == pytest.approx(level.min(axis=0), rel=1e-9, abs=1e-9)
    assert len(least) < 24
    if not payments:
        assert len(least) <= 5, "along a line only its ends can be the least"


def test_a_lowest_month_between_two_others_is_found() -> None:
    """By hand: steps of 30 a month in one value; the constant dips in the second of three months."""
    along = np.array([[30.0], [60.0], [90.0]])
    assert least_rows(Sum(np.array([[0.0], [-1.0], [0.0]]), {0: along})) == [0, 1, 2]
    assert least_rows(Sum(np.array([[0.0], [0.0], [0.0]]), {0: along})) == [0, 2]
    assert least_rows(Sum(np.array([[0.0], [1.0], [0.0]]), {0: along})) == [0, 2]
    assert least_rows(Sum(np.array([[5.0], [3.0], [4.0]]), {0: np.ones((3, 1))})) == [1]


@pytest.mark.parametrize("rows", [1, 2, 121])
def test_products_are_worked_in_pieces_too_small_for_threads(rows: int) -> None:
    draw = np.random.default_rng(rows)
    matrix, values, out = draw.normal(size=(rows, 60)), draw.normal(size=(60, 2048)), np.empty((rows, 2048))
    for function, (a, b, to) in products(matrix, values, out):
        assert a.shape[0] * b.size <= 2**18 if rows > 1 else b.size <= 9_000
        function(a, b, to)
    assert out == pytest.approx(matrix @ values, rel=1e-12, abs=1e-12)


def test_few_rows_added_twice_with_other_weights() -> None:
    program = both_ways(
        [
            ("months", "max( p_months * a , t_months * b )"),
            ("stretches", "max( p_stretches * b , t_stretches * a )"),
            ("months", "c0 + gather( c1 )"),
            ("months", "c0 + gather( c1 ) * 3"),
            ("months", "c0 - gather( c1 )"),
        ]
    )
    assert kernels(program).count("rows added") == 3


def test_nothing_less_a_difference() -> None:
    both_ways([("months", "max( p_months * a , t_months * b )"), ("months", "0 - ( c0 * c0 - c0 )")])


def test_discounting_from_month_to_month() -> None:
    program = both_ways([("months", "exp( 0 - ( t_months + 2.5 ) * c )"), ("months", "( 1 + c ) ** t_months * 2")])
    assert "compounded" in kernels(program) and "**" not in kernels(program)
