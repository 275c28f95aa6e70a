"""The workbook says what the engine says, at the entered figures and at changed ones, by programs that know neither.

`make test` recalculates a small yearly scenario by the package `formulas`; `make e2e` the ready examples by
LibreOffice, with their amounts changed: loss years, a loan above the machine's worth, a rate of zero among them.
"""

from __future__ import annotations

import re
import zipfile
from pathlib import Path
from typing import Literal

import numpy as np
import openpyxl
import pytest
import xlsxwriter
from recalculate import recalculate

import equipdecide as ed
import equipdecide.views.workbook.layout as layout_module
from equipdecide import calendar as cal
from equipdecide.decide.compare import Comparison, measure
from equipdecide.evaluate import evaluate
from equipdecide.formula import _ARITY
from equipdecide.ledger import Column, Draft, Origin, Shared
from equipdecide.views.workbook import ANSWER, FIRST, INPUTS, Layout, cell_formulas, lay_out, workbook

EXAMPLES = Path(__file__).parents[1] / "scenarios"
WITHIN = 0.005  # dollars

SMALL = """
title: Two machines in whole years
decision_date: 2026-01-01
regime: flat
flat: {tax_rate: 34 %}
machine_in_question: old
study: {years: 4, rate: 11 %, periods: years}
shop: {name: Small, taxed_as: C corporation}
machines:
  old:
    what: machine owned
    assets: {item: {cost: 40,000.37, in_service: 2024-01-01, life: 5, method: by law}}
    costs: {operation: 9,000}
    upkeep: {first_year: 2,500, growth: 8 %}
    worth_at_end: 1,500
  new:
    what: machine to buy
    price: 61,000
    capital_costs: {freight: 1,250}
    expenses: {training: 900}
    costs: {operation: 4,000}
    earnings_by_year: [3,000, 6,000, 6,500, 7,000]
    worth_at_end: 20,000
    depreciation: {life: 7, method: declining balance, salvage: 8,000}
offers:
  buyer: {machine: old, route: outright, price: 11,000, commission: 6 %, costs: {cleaning: 300}}
alternatives:
  keep: []
  replace:
    - {do: sell, machine: old, by: buyer, on: 2026-01-01}
    - {do: buy, machine: new, on: 2026-01-01}
"""


def example(name: str) -> Comparison:
    return ed.compare(ed.load(EXAMPLES / f"{name}.yaml"))


def rests_on_computed(column: Column) -> bool:
    """A solved rate of a loan, its proof, and what reads them hold at the figures of the file only;
    the workbook says so.
    """
    return column.kind == "computed" or any(
        rests_on_computed(arg) for arg in column.args if column.working == arg.working
    )


def disagreements(
    made: Layout,
    comparison: Comparison,
    cells: dict[tuple[str, str], object],
    within: float = WITHIN,
    live_only: bool = False,
) -> list[str]:
    """Every figure of the two courses of `comparison` that its cell does not show; with `live_only` of live cells."""
    found: dict[tuple[str, str], Column] = {}
    for part, name in (("keep", "keep"), ("course", made.course.name)):
        found |= {(part, column.full_name): column for column in comparison[name].ledger.order}
    of_keep = {id(column) for column in made.keep.ledger.order}
    wrong = []
    for column, row, sheet, address in made.cells():
        if live_only and rests_on_computed(column):
            assert column.working.startswith("loan ") and "rate" in column.name, (
                f"{column.full_name} must follow its inputs"
            )
            continue
        figure = float(found["keep" if id(column) in of_keep else "course", column.full_name].per_row()[row])
        shown = cells.get((sheet, address))
        if not isinstance(shown, int | float) or not abs(shown - figure) <= within:
            wrong.append(f"{sheet}!{address} {column.full_name}[{row}]: shows {shown}, the engine says {figure}")
    return wrong


def changed(path: Path, made: Layout, values: dict[str, float], to: Path) -> Path:
    """A copy of the workbook with other amounts in its open cells, its formulas untouched."""
    book = openpyxl.load_workbook(path)
    sheet = book[INPUTS]
    rows = {
        column.origin.ref: made.place(column).row + 1
        for column in made.columns.values()
        if column.origin and id(column) in made.names
    }
    for input_path, value in values.items():
        if input_path in rows:
            sheet.cell(rows[input_path], 2).value = value
    book.save(to)
    return to


def test_a_small_scenario_recalculated_by_formulas(tmp_path: Path) -> None:
    comparison = ed.compare(ed.loads(SMALL, "small"))
    path, made = workbook(comparison, tmp_path / "small.xlsx", "replace"), lay_out(comparison, "replace")
    assert disagreements(made, comparison, recalculate(path, by="formulas")) == []
    values = {
        "machines.new.price": 48_000.0,
        "flat.tax_rate": 0.2,
        "machines.old.upkeep.first_year": 7_700.55,
        "study.rate": 0.0,
        "machines.new.depreciation.salvage": 15_000.0,
    }
    other = measure(evaluate(comparison.scenario, values))
    again = changed(path, made, values, tmp_path / "changed.xlsx")
    cells = recalculate(again, by="formulas")
    assert disagreements(made, other, cells) == []
    assert disagreements(made, comparison, cells) != [], "the changed amounts must tell"


def test_every_cell_stores_the_figure_of_the_engine(tmp_path: Path) -> None:
    comparison = example("deck_fittings")
    path, made = workbook(comparison, tmp_path / "book.xlsx", "replace by R1"), lay_out(comparison, "replace by R1")
    stored = openpyxl.load_workbook(path, data_only=True)
    cells = {
        (sheet.title, cell.coordinate): cell.value
        for sheet in stored.worksheets
        for row in sheet.iter_rows()
        for cell in row
        if cell.value is not None
    }
    assert disagreements(made, comparison, cells, 1e-6) == []
    live = openpyxl.load_workbook(path)
    for column, row, sheet, address in made.cells():
        written = live[sheet][address].value
        if column.kind == "formula":
            assert isinstance(written, str) and written.startswith("="), f"{column.full_name}[{row}] is no formula"
    answers = {cells.get((ANSWER, f"A{row}")): row for row in range(1, 60)}
    row = answers["Present worth of all purses together"]
    assert cells[ANSWER, f"B{row}"] == pytest.approx(comparison["replace by R1"].npv, abs=1e-6)
    assert cells[ANSWER, f"C{row}"] == pytest.approx(comparison.keep.npv, abs=1e-6)
    assert cells[ANSWER, f"D{row}"] == pytest.approx(comparison["replace by R1"].npv_less_keep, abs=1e-6)


def test_only_amounts_are_open_and_names_are_plain(tmp_path: Path) -> None:
    comparison = example("first_sale")
    path, made = workbook(comparison, tmp_path / "book.xlsx"), lay_out(comparison)
    book = openpyxl.load_workbook(path)
    assert book.sheetnames[0] == FIRST and book.active.title == FIRST
    opened = {
        (sheet.title, cell.coordinate)
        for sheet in book.worksheets
        for row in sheet.iter_rows()
        for cell in row
        if not cell.protection.locked
    }
    assert opened == {
        (INPUTS, f"B{made.place(column).row + 1}") for column in made.columns.values() if id(column) in made.names
    }
    for sheet in book.worksheets:
        assert sheet.protection.sheet and "'" not in sheet.title and len(sheet.title) <= 31
        workings = sheet.title in made.blocks and sheet.title != INPUTS  # long tables of few columns print upright
        assert sheet.page_setup.orientation == ("portrait" if workings else "landscape")
        assert sheet.page_setup.fitToHeight == 0
        for row in sheet.iter_rows():
            for cell in row:
                if isinstance(cell.value, str) and cell.value.startswith("="):
                    assert cell.data_type == "f" and not re.search(r"\d[eE][-+]?\d", cell.value), cell.value
    assert set(book.defined_names) == set(made.names.values())


def test_text_of_the_scenario_is_never_a_formula(tmp_path: Path) -> None:
    text = (
        SMALL.replace("what: machine owned", "what: '=1+1'")
        .replace("title: Two machines in whole years", "title: '=HYPERLINK(1)'")
        .replace("name: Small", "name: '@SUM(1)'")
    )
    path = workbook(ed.compare(ed.loads(text, "small")), tmp_path / "book.xlsx")
    sheet = openpyxl.load_workbook(path)[FIRST]
    assert sheet["A1"].value == "=HYPERLINK(1)" and sheet["A1"].data_type == "s"
    with zipfile.ZipFile(path) as parts:
        assert b"HYPERLINK(1)" not in b"".join(
            parts.read(name) for name in parts.namelist() if "worksheets/sheet" in name
        )


def test_the_same_comparison_gives_the_same_bytes(tmp_path: Path) -> None:
    first = workbook(example("first_sale"), tmp_path / "one.xlsx").read_bytes()
    assert workbook(example("first_sale"), tmp_path / "two.xlsx").read_bytes() == first


def test_the_sheet_of_law_is_named_where_it_is_there(tmp_path: Path) -> None:
    seen = set()
    for name in ("first_sale", "deck_fittings"):  # one combined rate; returns by the brackets
        path = workbook(ed.compare(ed.load(EXAMPLES / f"{name}.yaml")), tmp_path / f"{name}.xlsx")
        book = openpyxl.load_workbook(path)
        said = " ".join(str(cell.value) for row in book[FIRST].iter_rows() for cell in row if cell.value)
        assert ("stand on the sheet Law" in said) == ("Law" in book.sheetnames)
        seen.add("Law" in book.sheetnames)
    assert seen == {True, False}


def test_keep_alone(tmp_path: Path) -> None:
    comparison = ed.compare(ed.loads(SMALL, "small"))
    path, made = workbook(comparison, tmp_path / "keep.xlsx", "keep"), lay_out(comparison, "keep")
    assert made.alone and not any(name.endswith("course") for name in openpyxl.load_workbook(path).sheetnames)
    with pytest.raises(KeyError, match="no alternative"):
        workbook(comparison, tmp_path / "none.xlsx", "no such course")


# --- every function of the formula language in one hand-made working


def hand_made(path: Path) -> tuple[Layout, Path]:
    draft = Draft("by hand", Shared({}))
    years, months = cal.calendar_years(2026, 2028), cal.months(cal.Date(2026, 1, 1), cal.Date(2028, 12, 31))
    given = Origin("choice", "by hand")
    w = draft.working("hand", years, "every function")
    w.given("x", [-1234.5, 0.0, 2500.55], "USD", "x", given)
    w.given("y", [0.000001, 2.0, -3.5], "1", "y", given)
    w.given("step", [0.0, 1000.0, 2000.0], "USD", "steps of a table", given)
    w.given("paid", [10.0, 20.0, 35.0], "USD", "what the table says", given)
    w.given("m", [float(k) for k in range(36)], "USD", "by month", given, months)
    over = draft.working("wide", years, "brackets")
    thresholds = over.given(
        "over", np.array([[0.0] * 3, [1000.0, 1100.0, 1200.0]])[:, :, None], "USD", "thresholds", given
    )
    rates = over.given("rate", np.array([[0.1] * 3, [0.25, 0.25, 0.3]])[:, :, None], "1", "rates", given)
    for name, text in {
        "arithmetic": "(x + 2) * 3 - x / 7 + 1.5 ** 2 - (0 - y)",
        "compared": "(x >= 0) + 10 * (x < 0) + 100 * (x == 0) + 1000 * (x != 0) + 10000 * (y > 1) + 100000 * (y <= 2)",
        "chosen": "where(y, max(x, y, 3), min(x, y))",
        "curves": "abs(x) + exp(y) + log(abs(x) + 1)",
        "rounded": "cents(x / 7) + dollars(x) + ceiling(y)",
        "before": "prev(x, 5)",
        "so_far": "running(x) + total(y) + smallest(x) + weighted(x, y)",
        "picked": "pick(x, y)",
        "looked_up": "lookup(x, step, paid)",
        "carried": "max(prev(carried, 100) - x / 10, 0)",
    }.items():
        w.formula(name, text, "USD", name)
    w.formula("due", "brackets(x, over, rate)", "USD", "progressive", over=thresholds, rate=rates)
    w.formula("gathered", "gather(m)", "USD", "sum of the months")
    w.formula("closed", "closing(m)", "USD", "the last month")
    w.formula("spread", "spread(x)", "USD", "by days", months)
    w.formula("lying_in", "during(x)", "USD", "of its year", months)
    w.on_days("on_days", w["x"], cal.Axis("day", ("a", "b", "c"), years.ends, years.ends))
    made = Layout(None, None, None)  # type: ignore[arg-type]
    blocks = [layout_module._block(working, list(working)) for working in (over, w)]
    layout_module._place(made, "Hand", blocks)
    book = xlsxwriter.Workbook(str(path))
    sheet = book.add_worksheet("Hand")
    for key, place in made.places.items():
        column = made.columns[key]
        if column.wide:
            for row in range(3):
                sheet.write_row(place.row + row, place.column - 1, [0, *column.values[:, row, 0]])
        elif column.kind == "given":
            sheet.write_column(place.row, place.column, column.per_row())
        else:
            for row, text in enumerate(cell_formulas(made, column)):
                sheet.write_formula(place.row + row, place.column, text, None, 777)
    book.close()
    return made, path


@pytest.mark.parametrize("by", ["formulas", pytest.param("libreoffice", marks=pytest.mark.e2e)])
def test_every_function_says_the_same_in_a_cell(by: Literal["formulas", "libreoffice"], tmp_path: Path) -> None:
    made, path = hand_made(tmp_path / "hand.xlsx")
    used = {
        function
        for column in made.columns.values()
        if column.formula
        for function in re.findall(r"(\w+)\(", column.formula.text)
    }
    assert used == set(_ARITY)
    cells = recalculate(path, by=by)
    for column, row, sheet, address in made.cells():
        assert cells[sheet, address] == pytest.approx(float(column.per_row()[row]), rel=0, abs=1e-9), (
            f"{column.name}[{row}] = {column.formula}"
        )


# --- by LibreOffice


def amounts_of(made: Layout) -> dict[str, float]:
    skip = ("chance",)
    return {
        c.origin.ref: c.figure()
        for c in made.columns.values()
        if c.origin and c.origin.kind == "input" and id(c) in made.names and c.unit not in skip
    }


def scaled(made: Layout, wanted: str, factor: float) -> dict[str, float]:
    found = {path: value * factor for path, value in amounts_of(made).items() if re.search(wanted, path)}
    assert found, f"no input of the workbook is like {wanted}"
    return found


def at_random(made: Layout, seed: int) -> dict[str, float]:
    rng = np.random.default_rng(seed)
    return {
        path: value * rng.uniform(0.75, 1.25) for path, value in amounts_of(made).items() if not path.endswith(".share")
    }


SETS = {
    "first_sale": {
        "a loan above the worth of the machine": lambda made: scaled(made, r"loans\.bank\.(principal|payment)$", 2.5),
        "a price that does not cover the lender": lambda made: scaled(made, r"offers\.reseller\.price", 0.2),
        "a rate of zero": lambda made: scaled(made, r"study\.rate|financing.*\.rate", 0.0),
        "everything else": lambda made: at_random(made, 1),
        "everything else again": lambda made: at_random(made, 2),
    },
    "deck_fittings": {
        "loss years": lambda made: (
            scaled(made, r"^parts\..*\.price$", 0.35) | scaled(made, r"as_things_are\.ordinary_income", 0.02)
        ),
        "a larger loan by the letter": lambda made: scaled(made, r"letter\.balance$", 3.0),
        "owners of other means": lambda made: (
            scaled(made, r"owners.*\.other_income", 4.0) | scaled(made, r"as_things_are", 2.0)
        ),
        "upkeep that doubles": lambda made: scaled(made, r"upkeep\.(first_year|growth)", 2.0),
        "everything else": lambda made: at_random(made, 3),
        "everything else again": lambda made: at_random(made, 4),
    },
    "night_watch": {"everything else": lambda made: at_random(made, 5)},
    "pellwick_laser": {"everything else": lambda made: at_random(made, 6)},
    "quillhaven_grinder": {"everything else": lambda made: at_random(made, 7)},
    "marrowdene_printers": {"everything else": lambda made: at_random(made, 8)},
    "hollinmere_router": {"everything else": lambda made: at_random(made, 9)},
}


# what a set is there for must come about
COMES_ABOUT = {
    "a loan above the worth of the machine": lambda ledger: ledger.column("settlement sander.shortfall").figure() > 0,
    "a price that does not cover the lender": lambda ledger: ledger.column("settlement sander.shortfall").figure() > 0,
    "loss years": lambda ledger: ledger.column("income federal.business").per_row().min() < 0,
}


@pytest.mark.e2e
@pytest.mark.parametrize("name", SETS)
def test_recalculated_by_libreoffice_at_the_entered_figures(name: str, tmp_path: Path) -> None:
    comparison = example(name)
    path, made = workbook(comparison, tmp_path / "book.xlsx"), lay_out(comparison)
    assert disagreements(made, comparison, recalculate(path)) == []


@pytest.mark.e2e
@pytest.mark.parametrize(("name", "case"), [(name, case) for name, cases in SETS.items() for case in cases])
def test_recalculated_by_libreoffice_at_changed_figures(name: str, case: str, tmp_path: Path) -> None:
    comparison = example(name)
    path, made = workbook(comparison, tmp_path / "book.xlsx"), lay_out(comparison)
    values = SETS[name][case](made)
    other = measure(evaluate(comparison.scenario, values))
    assert COMES_ABOUT.get(case, lambda ledger: True)(other[made.course.name].ledger)
    wrong = disagreements(
        made, other, recalculate(changed(path, made, values, tmp_path / "changed.xlsx")), live_only=True
    )
    assert wrong == [], f"{len(wrong)} cells: " + "; ".join(wrong[:8])


@pytest.mark.e2e
@pytest.mark.parametrize("course", ["upgrade", "replace by R2", "sell and do without", "kit now, R1 if P5 renews"])
def test_other_courses_recalculated_by_libreoffice(course: str, tmp_path: Path) -> None:
    comparison = example("deck_fittings")
    path, made = workbook(comparison, tmp_path / "book.xlsx", course), lay_out(comparison, course)
    values = at_random(made, 5)
    other = measure(evaluate(comparison.scenario, values))
    wrong = disagreements(
        made, other, recalculate(changed(path, made, values, tmp_path / "changed.xlsx")), live_only=True
    )
    assert wrong == [], f"{len(wrong)} cells: " + "; ".join(wrong[:8])
