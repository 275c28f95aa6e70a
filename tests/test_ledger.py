"""Columns, workings and the tape: one definition a column, and the same columns for one trial and for many."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from equipdecide import calendar as cal
from equipdecide.calendar import ONE, Date
from equipdecide.formula import FormulaError
from equipdecide.ledger import Breach, Draft, Origin, Shared, seal, sum_of
from equipdecide.tape import Tape

YEARS = cal.calendar_years(2026, 2028)


@dataclass(frozen=True)
class Entered:
    """A stand-in for a scenario's amount."""

    path: str
    likely: float
    unit: str = "USD"
    given_by: str = "guess"


def draft(values: dict[str, float] | None = None) -> Draft:
    return Draft("one", Shared({path: np.atleast_2d(value) for path, value in (values or {}).items()}))


def simple(d: Draft) -> Draft:
    w = d.working("sums", YEARS, "a working", "a rule")
    w.given("flag", [1, 0, 1], "1", "a flag", Origin("choice", "dates"))
    w.formula(
        "pay",
        "flag * amount * (1 + rate)",
        "USD",
        "what is paid",
        amount=d.input(Entered("a", 100.0)),
        rate=d.input(Entered("r", 0.1)),
    )
    w.formula("whole", "total(pay)", "USD", "all of it", ONE)
    d.line("pay", "shop", w["pay"], "operating", list(YEARS.ends))
    return d


def test_a_column_has_one_definition() -> None:
    d = simple(draft())
    assert d["sums"]["pay"].per_row().tolist() == pytest.approx([110, 0, 110])
    with pytest.raises(Breach, match="defined twice"):
        d["sums"].formula("pay", "flag", "1", "again")
    with pytest.raises(Breach, match="defined twice"):
        d.working("sums")


def test_unknown_and_unused_names_are_refused() -> None:
    d = simple(draft())
    with pytest.raises(FormulaError, match="no column 'absent'"):
        d["sums"].formula("bad", "absent + 1", "1", "no")
    with pytest.raises(FormulaError, match="does not use"):
        d["sums"].formula("bad", "flag", "1", "no", extra=1.0)


def test_a_figure_that_is_no_number_is_a_breach() -> None:
    w = draft().working("w")
    w.given("zero", 0.0, "1", "nothing", Origin("choice", "x"))
    with pytest.raises(Breach, match="not a finite number"):
        w.formula("bad", "1 / zero", "1", "no")


def test_a_computed_column_needs_its_certificate() -> None:
    w = draft().working("w")
    a = w.given("a", 9.0, "1", "a square", Origin("choice", "x"))
    root = w.computed("root", lambda x: np.sqrt(x), [a], "1", "its root", "root * root - a")
    assert root.figure() == pytest.approx(3) and root.certificate is not None
    with pytest.raises(Breach, match="certificate"):
        w.computed("wrong", lambda x: x / 2, [a], "1", "not its root", "wrong * wrong - a")


def test_the_tape_runs_what_an_input_touches_and_no_more() -> None:
    d = simple(draft())
    ledger = seal(d)
    wanted = [ledger.column("sums.whole")]
    tape = Tape(ledger.order, ["a"], wanted)
    assert len(tape.steps) == 2
    (whole,) = tape.run({"a": np.array([100.0, 200.0, 0.0])})
    assert whole == pytest.approx(np.array([[220.0, 440.0, 0.0]]))
    for value in (100.0, 200.0, 0.0):
        alone = simple(draft({"a": value}))["sums"]["whole"].figure()
        assert alone == pytest.approx(float(whole[0, [100.0, 200.0, 0.0].index(value)]))


def test_an_input_is_one_column_for_all_alternatives() -> None:
    shared = Shared({})
    one, two = Draft("one", shared), Draft("two", shared)
    assert one.input(Entered("a", 1.0)) is two.input(Entered("a", 1.0))


def test_lines_and_columns_are_found_by_name_or_the_names_are_told() -> None:
    ledger = seal(simple(draft()))
    assert ledger.line("pay").purse == "shop"
    assert ledger.column("sums.pay").unit == "USD"
    with pytest.raises(KeyError, match=r"pay \(shop\)"):
        ledger.line("rent")
    with pytest.raises(KeyError, match="no column"):
        ledger.column("sums.rent")


def test_a_line_needs_a_day_for_every_row() -> None:
    d = simple(draft())
    with pytest.raises(Breach, match="1 dates for 3 rows"):
        d.line("late", "shop", d["sums"]["pay"], "tax", [Date(2027, 4, 15)])


def test_a_sum_of_nothing_is_zero() -> None:
    w = draft().working("w", YEARS)
    assert sum_of(w, "none", [], "USD", "nothing").per_row().tolist() == [0, 0, 0]


def test_a_finding_is_said_once() -> None:
    d = draft()
    d.find("x", "the same")
    d.find("x", "the same")
    assert len(seal(d).findings) == 1
