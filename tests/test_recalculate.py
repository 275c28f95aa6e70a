"""The recalculation must be one: figures stored in the file, right or wrong, must not come through."""

from pathlib import Path

import pytest
import xlsxwriter
from recalculate import recalculate, which_soffice

# formula -> value, by hand or from the definition of the function; the payment is the annuity formula
# 85,000 x 0.01 / (1 - 1.01^-60) = 1,890.78 (the factor 0.0222444 stands in compound interest tables, 1 %, 60 periods)
BY_HAND: dict[str, float | str] = {
    "=B1*10": 70,
    "=-B1^2": 49,  # spreadsheets bind the sign tighter than the power
    "=IF(B1>5,MIN(B1,6),MAX(B1,9))": 6,
    "=ROUND(B1/3,2)": 2.33,
    "=SUM(B1:B3)": 24,
    "=INDEX(B1:B3,MATCH(8.5,B1:B3,1))": 8,
    "=SUMPRODUCT((B1:B3>7)*B1:B3)": 17,
    "=LN(EXP(B1))": 7,
    "=ROUND(PMT(0.01,60,-85000),2)": 1890.78,
    "=B1/(B2-8)": "#DIV/0!",
    "=year_price*2": 18,
    "='Other sheet'!A1+1": 13,
}
WRONG = 777


@pytest.fixture
def stale(tmp_path: Path) -> Path:
    """A workbook whose every formula cell, A1 downward, stores the wrong value 777."""
    path = tmp_path / "stale figures.xlsx"
    book = xlsxwriter.Workbook(str(path))
    sheet = book.add_worksheet("Plan")
    book.add_worksheet("Other sheet").write_number("A1", 12)
    book.define_name("year_price", "=Plan!$B$3")
    for row, value in enumerate((7, 8, 9)):
        sheet.write_number(row, 1, value)
    for row, formula in enumerate(BY_HAND):
        sheet.write_formula(row, 0, formula, None, WRONG)
    sheet.write_string("C1", "text")
    book.close()
    return path


def agrees(values: dict[tuple[str, str], object]) -> None:
    for row, (formula, expected) in enumerate(BY_HAND.items(), start=1):
        found = values["Plan", f"A{row}"]
        assert found == (pytest.approx(expected, abs=1e-9) if isinstance(expected, float | int) else expected), formula
    assert values["Plan", "B2"] == 8
    assert values["Plan", "C1"] == "text"
    assert ("Plan", "D1") not in values


def test_formulas_recalculates_stale_figures(stale: Path) -> None:
    agrees(recalculate(stale, by="formulas"))


@pytest.mark.e2e
def test_libreoffice_recalculates_stale_figures(stale: Path) -> None:
    agrees(recalculate(stale))


@pytest.mark.e2e
def test_without_the_profile_libreoffice_hands_back_stale_figures(stale: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Shows that the test above can fail, and why the profile is there. A LibreOffice that recalculates anyway is
    welcome to break this test: then the profile may go."""
    empty = '<?xml version="1.0"?><oor:items xmlns:oor="http://openoffice.org/2001/registry"/>'
    monkeypatch.setattr("recalculate._PROFILE", empty)
    assert recalculate(stale)["Plan", "A1"] == WRONG


def test_a_missing_libreoffice_is_said(stale: Path, monkeypatch: pytest.MonkeyPatch) -> None:

    monkeypatch.setattr("recalculate.which_soffice", lambda: None)
    with pytest.raises(RuntimeError, match="not installed"):
        recalculate(stale)


@pytest.mark.e2e
def test_a_workbook_that_cannot_be_read_is_said(tmp_path: Path) -> None:
    assert which_soffice()
    with pytest.raises(RuntimeError, match="failed on absent"):
        recalculate(tmp_path / "absent.xlsx")
