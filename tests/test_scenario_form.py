"""The form: what is filled in comes back as the same answers, and every fault is said by its cell
and marked in a copy.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import openpyxl
import pytest

import equipdecide as ed
from equipdecide.scenario import ScenarioError
from equipdecide.scenario.asking.questions import BLANKS, QUESTIONS, scenario_from_answers
from equipdecide.scenario.form.book import SHEET, answers, doubtful, form, form_to_yaml, read_form, rows
from equipdecide.scenario.form.marks import mark
from equipdecide.scenario.reading import amounts

TODAY = dt.date(2026, 9, 14)

# what is written into the cells (column: value), and what the same would be when typed
FILLED: dict[str, tuple[dict[str, Any], str]] = {
    "machine": ({"D": "mill"}, "mill"),
    "cost": ({"D": 100_000}, "100,000"),
    "in_service": ({"D": dt.date(2021, 9, 15)}, "2021-09-15"),
    "deducted": ({"D": 80_000}, "80,000"),
    "taxed_as": ({"D": "partnership"}, "partnership"),
    "owners": ({"D": "Ines 60 %, Walt 40 %"}, "Ines 60 %, Walt 40 %"),
    "tax_rate": ({"C": 0.12, "D": 0.24, "E": 0.37}, "12 % .. 24 % .. 37 %"),
    "state": ({"D": "OH"}, "OH"),
    "worth": ({"C": 28_000, "D": 34_000, "E": 38_000}, "28,000 .. 34,000 .. 38,000"),
    "route": ({"D": "outright"}, "outright"),
    "commission": ({"D": "none"}, "none"),
    "owed": ({"D": 20_000}, "20,000"),
    "loan_rate": ({"D": 0.0625}, "6.25 %"),
    "payments_left": ({"D": 24}, "24"),
    "hours_week": ({"C": 22, "D": 26, "E": 30.5}, "22 .. 26 .. 30.5"),
    "hour_worth": ({"C": "52", "D": "", "E": "80"}, "52 to 80"),
    "extra_hours": ({"D": "about 300"}, "about 300"),
    "new_price": ({"D": 148_500}, "148,500"),
    "new_weeks": ({"C": 10, "D": 12, "E": 20}, "10 .. 12 .. 20"),
    "new_cycle": ({"D": 0.92}, "0.92"),
    "finance_months": ({"D": 72}, "72"),
    "deposit": ({"D": "10 %"}, "10 %"),
    "cash": ({"D": 61_000}, "61,000"),
    "floor": ({"D": 30_000}, "30,000"),
    "years": ({"D": 6}, "6"),
}


def fill(path: Path, cells: dict[str, dict[str, Any]], day: dt.date | None = TODAY) -> Path:
    """Fill a form as a spreadsheet program would: values into cells that keep their formats."""
    form(path)
    book = openpyxl.load_workbook(path)
    place = rows()
    for key, values in {"decided": {"D": day}, **cells}.items():
        for column, value in values.items():
            if value not in ("", None):
                shape = book[SHEET][f"{column}{place[key]}"].number_format
                book[SHEET][f"{column}{place[key]}"].value = value
                book[SHEET][f"{column}{place[key]}"].number_format = shape
    book.save(path)
    return path


def test_what_is_filled_in_comes_back_as_it_would_be_typed(tmp_path: Path) -> None:
    file = fill(tmp_path / "mill.xlsx", {key: cells for key, (cells, _) in FILLED.items()})
    typed = {key: text for key, (_, text) in FILLED.items()}
    assert answers(file) == (typed, TODAY)
    from_form, from_words = read_form(file), scenario_from_answers(typed, TODAY)
    assert {p: (a.likely, a.low, a.high, a.given_by) for p, a in amounts(from_form).items()} == {
        p: (a.likely, a.low, a.high, a.given_by) for p, a in amounts(from_words).items()
    }
    assert ed.load(file).decision_date == TODAY
    assert ed.compare(ed.load(file)).best == ed.compare(from_words).best
    assert list(ed.loads(form_to_yaml(file)).machine_in_question) == ["mill"]


def test_the_form_asks_all_fifteen_with_label_hint_and_place_to_look(tmp_path: Path) -> None:
    sheet = openpyxl.load_workbook(form(tmp_path / "form.xlsx"))[SHEET]
    words = {str(cell.value) for row in sheet.iter_rows() for cell in row if cell.value is not None}
    for question in QUESTIONS:
        assert question.ask in words and question.where in words
    told = {str(check.sqref): check.prompt for check in sheet.data_validations.dataValidation}
    for key, row in rows().items():
        if key == "decided":
            continue
        blank = BLANKS[key]
        assert sheet[f"B{row}"].value == blank.label
        assert sheet[f"F{row}"].value == ("must be answered" if blank.must else blank.default)
        open_cells = [column for column in "ABCDEFG" if not sheet[f"{column}{row}"].protection.locked]
        assert open_cells == (["C", "D", "E"] if doubtful(blank) else ["D"])
        assert all(blank.label[:40] in told[f"{column}{row}"] for column in open_cells)
    assert sheet.protection.sheet and sheet.column_dimensions["H"].hidden


def test_every_fault_is_said_by_its_cell_and_marked_in_a_copy(tmp_path: Path) -> None:
    wrong = {key: cells for key, (cells, _) in FILLED.items()} | {
        "cost": {"D": "a lot"},
        "tax_rate": {"C": 0.12, "D": 24.0, "E": 0.37},  # 2,400 % in a cell of per cents
        "worth": {"C": 28_000, "D": 34_000},
        "route": {"D": "to a friend"},
        "hours_week": {"C": 30, "D": 26, "E": 22},
        "years": {"D": 6.5},
        "hour_worth": {},
        "floor": {"D": "=1/0"},
    }
    file = fill(tmp_path / "mill.xlsx", wrong)
    with pytest.raises(ScenarioError) as caught:
        ed.load(file)
    place, said = rows(), str(caught.value)
    cells = {fault.place.name for fault in caught.value.faults}  # type: ignore[attr-defined]
    expected = {
        f"{column}{place[key]}"
        for key, column in (
            ("cost", "D"),
            ("tax_rate", "D"),
            ("worth", "E"),
            ("route", "D"),
            ("hours_week", "D"),
            ("years", "D"),
            ("hour_worth", "D"),
            ("floor", "D"),
        )
    }
    assert cells == expected
    assert f"Questions!D{place['cost']} (What it cost with everything)" in said
    assert "8 faults." in said and "Traceback" not in said
    before = file.read_bytes()
    copy = openpyxl.load_workbook(mark(file, caught.value.faults, tmp_path / "marked.xlsx"))[SHEET]
    red = {cell.coordinate for row in copy.iter_rows() for cell in row if cell.fill.start_color.rgb == "FFFF9B8F"}
    assert red == expected and all(copy[name].comment.text for name in red)
    assert copy.protection.sheet and copy.data_validations.dataValidation
    assert file.read_bytes() == before


def test_an_empty_form_says_what_must_be_answered_and_nothing_else(tmp_path: Path) -> None:
    with pytest.raises(ScenarioError) as caught:
        ed.load(form(tmp_path / "form.xlsx"))
    labels = {fault.place.label for fault in caught.value.faults}  # type: ignore[attr-defined]
    assert labels == {blank.label for blank in BLANKS.values() if blank.must} | {BLANKS["owed"].label}


def test_rows_put_in_above_do_no_harm_and_rows_gone_are_said(tmp_path: Path) -> None:
    file = fill(tmp_path / "mill.xlsx", {key: cells for key, (cells, _) in FILLED.items()})
    typed = answers(file)
    book = openpyxl.load_workbook(file)
    book[SHEET].insert_rows(2, 3)
    book.save(tmp_path / "more.xlsx")
    assert answers(tmp_path / "more.xlsx") == typed
    book[SHEET].delete_rows(rows()["owed"] + 3)
    book.save(tmp_path / "less.xlsx")
    with pytest.raises(ScenarioError, match="rows are gone: Balance owed"):
        answers(tmp_path / "less.xlsx")


def test_a_file_that_is_no_form_is_refused_in_words(tmp_path: Path) -> None:
    (tmp_path / "words.xlsx").write_text("not a workbook")
    with pytest.raises(ScenarioError, match="this is no workbook"):
        ed.load(tmp_path / "words.xlsx")
    openpyxl.Workbook().save(tmp_path / "other.xlsx")
    with pytest.raises(ScenarioError, match="there is no sheet Questions"):
        ed.load(tmp_path / "other.xlsx")
