"""The workbook says what the engine says, at the entered figures and at changed ones, by programs that know neither.

`make test` recalculates a small yearly scenario by the package `formulas`; `make e2e` the ready examples by LibreOffice,
with their amounts changed: loss years, a loan above the machine's worth, a rate of zero among them.
"""

from __future__ import annotations

import re
import zipfile
from pathlib import Path

import numpy as np
import openpyxl
import pytest
from recalculate import recalculate

import equipdecide as ed
from equipdecide.decide.compare import Comparison, measure
from equipdecide.evaluate import evaluate
from equipdecide.ledger import Column
from equipdecide.views.workbook import ANSWER, FIRST, INPUTS, Layout, lay_out, workbook

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


def disagreements(made: Layout, comparison: Comparison, cells: dict[tuple[str, str], object], within: float = WITHIN) -> list[str]:
    """Every figure of the two courses of `comparison` that its cell does not show."""
    found: dict[tuple[str, str], Column] = {}
    for part, name in (("keep", "keep"), ("course", made.course.name)):
        found |= {(part, column.full_name): column for column in comparison[name].ledger.order}
    of_keep = {id(column) for column in made.keep.ledger.order}
    wrong = []
    for column, row, sheet, address in made.cells():
        figure = float(found["keep" if id(column) in of_keep else "course", column.full_name].per_row()[row])
        shown = cells.get((sheet, address))
        if not isinstance(shown, int | float) or not abs(shown - figure) <= within:
            wrong.append(f"{sheet}!{address} {column.full_name}[{row}]: shows {shown}, the engine says {figure}")
    return wrong


def changed(path: Path, made: Layout, values: dict[str, float], to: Path) -> Path:
    """A copy of the workbook with other amounts in its open cells, its formulas untouched."""
    book = openpyxl.load_workbook(path)
    sheet = book[INPUTS]
    rows = {column.origin.ref: made.place(column).row + 1 for column in made.columns.values() if column.origin and id(column) in made.names}
    for input_path, value in values.items():
        if input_path in rows:
            sheet.cell(rows[input_path], 2).value = value
    book.save(to)
    return to


def test_a_small_scenario_recalculated_by_formulas(tmp_path: Path) -> None:
    comparison = ed.compare(ed.loads(SMALL, "small"))
    path, made = workbook(comparison, tmp_path / "small.xlsx", "replace"), lay_out(comparison, "replace")
    assert disagreements(made, comparison, recalculate(path, by="formulas")) == []
    values = {"machines.new.price": 48_000.0, "flat.tax_rate": 0.2, "machines.old.upkeep.first_year": 7_700.55, "study.rate": 0.0, "machines.new.depreciation.salvage": 15_000.0}
    other = measure(evaluate(comparison.scenario, values))
    again = changed(path, made, values, tmp_path / "changed.xlsx")
    cells = recalculate(again, by="formulas")
    assert disagreements(made, other, cells) == []
    assert disagreements(made, comparison, cells) != [], "the changed amounts must tell"


def test_every_cell_stores_the_figure_of_the_engine(tmp_path: Path) -> None:
    comparison = example("deck_fittings")
    path, made = workbook(comparison, tmp_path / "book.xlsx", "replace by R1"), lay_out(comparison, "replace by R1")
    stored = openpyxl.load_workbook(path, data_only=True)
    cells = {(sheet.title, cell.coordinate): cell.value for sheet in stored.worksheets for row in sheet.iter_rows() for cell in row if cell.value is not None}
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
    opened = {(sheet.title, cell.coordinate) for sheet in book.worksheets for row in sheet.iter_rows() for cell in row if not cell.protection.locked}
    assert opened == {(INPUTS, f"B{made.place(column).row + 1}") for column in made.columns.values() if id(column) in made.names}
    for sheet in book.worksheets:
        assert sheet.protection.sheet and "'" not in sheet.title and len(sheet.title) <= 31
        assert sheet.page_setup.orientation == "landscape" and sheet.page_setup.fitToHeight == 0
        for row in sheet.iter_rows():
            for cell in row:
                if isinstance(cell.value, str) and cell.value.startswith("="):
                    assert cell.data_type == "f" and not re.search(r"\d[eE][-+]?\d", cell.value), cell.value
    assert set(book.defined_names) == set(made.names.values())


def test_text_of_the_scenario_is_never_a_formula(tmp_path: Path) -> None:
    text = SMALL.replace("what: machine owned", "what: '=1+1'").replace("title: Two machines in whole years", "title: '=HYPERLINK(1)'").replace("name: Small", "name: '@SUM(1)'")
    path = workbook(ed.compare(ed.loads(text, "small")), tmp_path / "book.xlsx")
    sheet = openpyxl.load_workbook(path)[FIRST]
    assert sheet["A1"].value == "=HYPERLINK(1)" and sheet["A1"].data_type == "s"
    with zipfile.ZipFile(path) as parts:
        assert b"HYPERLINK(1)" not in b"".join(parts.read(name) for name in parts.namelist() if "worksheets/sheet" in name)


def test_the_same_comparison_gives_the_same_bytes(tmp_path: Path) -> None:
    first = workbook(example("first_sale"), tmp_path / "one.xlsx").read_bytes()
    assert workbook(example("first_sale"), tmp_path / "two.xlsx").read_bytes() == first


def test_keep_alone(tmp_path: Path) -> None:
    comparison = ed.compare(ed.loads(SMALL, "small"))
    path, made = workbook(comparison, tmp_path / "keep.xlsx", "keep"), lay_out(comparison, "keep")
    assert made.alone and not any(name.endswith("course") for name in openpyxl.load_workbook(path).sheetnames)
    with pytest.raises(KeyError, match="no alternative"):
        workbook(comparison, tmp_path / "none.xlsx", "no such course")


# --- by LibreOffice


def amounts_of(made: Layout) -> dict[str, float]:
    skip = ("chance",)
    return {c.origin.ref: c.figure() for c in made.columns.values() if c.origin and c.origin.kind == "input" and id(c) in made.names and c.unit not in skip}


def scaled(made: Layout, wanted: str, factor: float) -> dict[str, float]:
    found = {path: value * factor for path, value in amounts_of(made).items() if re.search(wanted, path)}
    assert found, f"no input of the workbook is like {wanted}"
    return found


def at_random(made: Layout, seed: int) -> dict[str, float]:
    rng = np.random.default_rng(seed)
    return {path: value * rng.uniform(0.75, 1.25) for path, value in amounts_of(made).items() if not path.endswith(".share")}


SETS = {
    "first_sale": {
        "a loan above the worth of the machine": lambda made: scaled(made, r"loans\.bank\.(principal|payment)$", 2.5),
        "a price that does not cover the lender": lambda made: scaled(made, r"offers\.reseller\.price", 0.2),
        "a rate of zero": lambda made: scaled(made, r"study\.rate|financing.*\.rate", 0.0),
        "everything else": lambda made: at_random(made, 1),
        "everything else again": lambda made: at_random(made, 2),
    },
    "deck_fittings": {
        "loss years": lambda made: scaled(made, r"^parts\..*\.price$", 0.55),
        "a loan above the worth of the machine": lambda made: scaled(made, r"letter\.balance$", 3.0) | scaled(made, r"offers.*\.price$", 0.4),
        "owners of other means": lambda made: scaled(made, r"owners.*\.other_income", 4.0) | scaled(made, r"as_things_are", 2.0),
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
    wrong = disagreements(made, other, recalculate(changed(path, made, values, tmp_path / "changed.xlsx")))
    assert wrong == [], f"{len(wrong)} cells: " + "; ".join(wrong[:8])


@pytest.mark.e2e
@pytest.mark.parametrize("course", ["upgrade", "replace by R2", "sell and do without", "kit now, R1 if P5 renews"])
def test_other_courses_recalculated_by_libreoffice(course: str, tmp_path: Path) -> None:
    comparison = example("deck_fittings")
    path, made = workbook(comparison, tmp_path / "book.xlsx", course), lay_out(comparison, course)
    values = at_random(made, 5)
    other = measure(evaluate(comparison.scenario, values))
    wrong = disagreements(made, other, recalculate(changed(path, made, values, tmp_path / "changed.xlsx")))
    assert wrong == [], f"{len(wrong)} cells: " + "; ".join(wrong[:8])
