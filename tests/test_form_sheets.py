"""The later sheets of a form: a scenario goes through them and back without loss, and every fault
is said by its cell.
"""

from __future__ import annotations

import datetime as dt
import json
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import openpyxl
import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import BaseModel

import equipdecide as ed
from equipdecide.cli import main
from equipdecide.scenario import Amount, Scenario, ScenarioError, dump, load, loads
from equipdecide.scenario.form.book import NOT_USED, SHEET, form, form_to_yaml, read_form, remarks_in
from equipdecide.scenario.form.cells import (
    FAULTS,
    Cell,
    amount_cell,
    list_text,
    read_bracket,
    read_list,
    read_who,
    who_text,
)
from equipdecide.scenario.form.entries import rows_of_names
from equipdecide.scenario.form.layout import NAME, pages
from equipdecide.scenario.form.marks import mark
from equipdecide.scenario.reading import fields_of, shape_of
from equipdecide.scenario.tree import Provenance

SCENARIOS = Path(__file__).parents[1] / "scenarios"
FILES = sorted(path.stem for path in SCENARIOS.glob("*.yaml") if not path.stem.endswith("_actuals"))
DECK = SCENARIOS / "deck_fittings.yaml"


@pytest.fixture(scope="module")
def deck(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A form of the larger example, with the log it names beside it."""
    folder = tmp_path_factory.mktemp("deck")
    shutil.copy(SCENARIOS / "nightlog.csv", folder)
    return form(folder / "deck.xlsx", load(DECK))


def at(book: Any, sheet: str, label: str, entry: str = "") -> Any:
    """The cell of a sheet of cards in the row with a label (or a name) and the column of an entry."""
    found = book[sheet]
    rows = [row for row in range(3, found.max_row + 1) if found.cell(row, 2).value == label]
    columns = [c for c in range(5, found.max_column + 1) for r in (3, 4) if found.cell(r, c).value == entry]
    return found.cell(rows[-1], columns[-1] if entry else 5)


def said(path: Path) -> dict[str, str]:
    """What is wrong with a form, by cell."""
    with pytest.raises(ScenarioError) as caught:
        read_form(path)
    found: dict[str, str] = {}
    for fault in caught.value.faults:
        assert isinstance(fault.place, Cell), fault
        key = f"{fault.place.sheet}!{fault.place.name}"
        found[key] = " & ".join([*([found[key]] if key in found else []), f"{fault.what}. {fault.mend}"])
    return found


# --- without loss


@pytest.mark.parametrize("name", FILES)
def test_an_example_goes_through_a_form_and_back(name: str, tmp_path: Path) -> None:
    for file in SCENARIOS.glob("*.csv"):  # what a scenario names stands beside its form
        shutil.copy(file, tmp_path)
    given = load(SCENARIOS / f"{name}.yaml")
    first = form(tmp_path / "first.xlsx", given)
    back = load(first)
    assert back == given
    assert dump(back) == dump(given)  # the order of entries, costs and courses too
    text = form_to_yaml(first)
    assert text == dump(given)
    second = form(tmp_path / "second.xlsx", loads(text, "again", tmp_path))
    assert second.read_bytes() == first.read_bytes()


def broad() -> str:
    """The text of a scenario with what the examples leave out: parts that are empty, remarks on figures, odd names."""
    tree = yaml.load(dump(load(DECK)), Loader=yaml.BaseLoader)
    machines, mc1 = tree["machines"], tree["machines"]["MC-1"]
    tree["shop"] |= {"other_limits": {"inspection": "1,500 .. 1,700 .. 1,800"}, "state": {"code": "OH", "rate": "5 %"}}
    tree["owners"]["Walt"] |= {"losses_1231": {"2023": "4,000", "2024": "1,500"}, "active": "no"}
    machines["R1"] |= {"depreciation": {}, "sales_tax": "5.75 %", "seller_related": "yes"}
    machines["R1"] |= {
        "ramp": {"start": "1.6", "rate": "85 %", "batch": "20"},
        "earnings_by_year": ["0", "-500", "1,200"],
    }
    del machines["R1"]["ramp_loss"]
    machines["R1"]["price"] = {"likely": "288,500", "note": '=1+1; remark: "without" [holders]', "from": "quote"}
    machines["R2"]["running"]["attended"] = {"machines": "3", "run": "20", "attention": "2 .. 4 .. 5"}
    machines["R2"]["upkeep"]["growth"] = {"likely": "8 %", "low": "5 %", "high": "12 %", "from": "log"}
    mc1["loans"]["bank"] |= {"collateral": ["R2"], "release_amounts": {"R2": "10,000"}, "day_count": "30/360"}
    mc1["loans"]["bank"] |= {"early_charge": {"by_year": ["3 %", "2 % .. 2.5 % .. 3 %", "1 %"]}}
    mc1["assets"]["probe"] |= {"method": "table", "table": ["20 %", "32 %", "19.2 %"]}
    mc1["assets"]["rotary axis"] |= {
        "section_179": "1,000",
        "bonus": "40 %",
        "deductions_taken_by": {"Ines": "50 %", "Walt": "50 %"},
    }
    mc1["assets"]['=HYPERLINK("x")'] = {"cost": "+7", "in_service": "2024-01-02"}
    mc1["costs"] = {"@space": "3,000", "-insurance": "1,200.50"}
    tree["improvements"]["kit"]["changes"] = {"nights": {}, "earnings": {"a": "1", "b": "2"}}
    tree["improvements"]["second kit"] = {
        "what": "+another: # kit",
        "machine": "MC-1",
        "changes": {"earnings": {"b": "2", "a": "1"}},
        "from": "guess",
    }
    tree["parts"]["P4 clevis end"]["elsewhere"] = {"inspection": "2"}
    tree["offers"]["outright"] |= {"paid_over": {"deferred": "30 %", "payments": "3", "rate": "6 %"}, "by": "x; on y"}
    tree["offers"]["auction"] |= {"divided": {"machine": "50,000", "probe": "9,000"}, "buyer_related": "yes"}
    tree["financing"]["stepped"] = {"kind": "stepped loan", "amount": "90,000", "rate": "7 %", "payments": "60"}
    tree["financing"]["stepped"]["steps"] = [
        {"payments": "12", "payment": "500"},
        {"payments": "6", "payment": "900.25", "from": "quote", "by": "the bank"},
    ]
    tree["events"] = {
        "permit; granted": {"likely": "60 %", "from": "guess", "by": "Walt", "on": "2026-09-01"},
        "no": "0 %",
    }
    tree["alternatives"]["upgrade"] += [
        {
            "do": "spend",
            "what": "=cmd()",
            "a_year": "1,200",
            "growth": "3 %",
            "on": "2027-01-04",
            "until": "2030-01-04",
            "when": "permit; granted",
            "quantity": "2",
        },
        {"do": "earn", "what": "scrap", "once": "900", "on": "2027-01-04", "taxed": "no"},
    ]
    tree["doubts"] = [
        {"of": ["study.rate", "machines.MC-1.upkeep.first_year"], "correlation": "-0.25"},
        {"of": "machines.R1.running.cutting_share", "shape": "triangular"},
    ]
    tree["guesses"] = {"Walt": [{"of": "study.rate", "value": "12 %"}], "Ines": []}
    tree["notes"] = ["=SUM(A1:A9)", "two\nlines", "-", "[]", "remark: x", "a; b", "_x0041_ stays", "'quoted"]
    return yaml.dump(tree, sort_keys=False, allow_unicode=True)


def test_what_the_examples_leave_out_goes_through_too(tmp_path: Path) -> None:
    shutil.copy(SCENARIOS / "nightlog.csv", tmp_path)
    given = loads(broad(), "broad", tmp_path)
    first = form(tmp_path / "first.xlsx", given)
    back = load(first)
    assert back == given and dump(back) == dump(given)
    assert form(tmp_path / "second.xlsx", back).read_bytes() == first.read_bytes()
    # saved once more by another program: still the same
    openpyxl.load_workbook(first).save(tmp_path / "saved.xlsx")
    assert load(tmp_path / "saved.xlsx") == given


def test_a_form_reckons_as_its_file(deck: Path) -> None:
    from_file, from_form = ed.compare(load(DECK)), ed.compare(load(deck))
    assert from_form.best == from_file.best
    for name in from_file.scenario.alternatives:
        assert float(from_form[name].npv) == float(from_file[name].npv)


def leaves(model: type[BaseModel], path: tuple[str, ...]) -> Iterator[tuple[str, ...]]:
    """Every field of a model down to what is written into one place, by its path without names and numbers."""
    for name, annotation in fields_of(model).items():
        shape, bare = shape_of(annotation), (*path, name)
        while shape.kind in ("names", "list") and shape_of(shape.of).kind in ("model", "choice", "names", "list"):
            shape = shape_of(shape.of)
        if shape.kind == "model":
            yield from leaves(shape.of, bare)
        elif shape.kind == "choice":
            for one in shape.of.values():
                yield from leaves(one, bare)
        else:
            yield bare


def test_a_form_asks_for_every_field_once() -> None:
    asked = [(*page.bare_path, *(k for k in line.keys if k != NAME)) for page in pages() for line in page.lines]
    asked = [path[:-1] if path[-2:-1] == ("terms",) else path for path in asked]  # its three names are known
    assert set(asked) == set(leaves(Scenario, ()))
    assert len([path for path in asked if path[-1] != "terms"]) == len(set(asked)) - 1
    labels = [(page.sheet, line.label) for page in pages() for line in page.lines]
    assert all(label and "`" not in label for _, label in labels)
    assert len({page.sheet for page in pages()}) == len(pages()) and all(len(page.sheet) <= 31 for page in pages())


words = st.text(st.characters(exclude_categories=("Cs", "Cc")), min_size=1).map(str.strip).filter(bool)
givers = st.builds(
    Provenance, st.sampled_from(("", "guess", "last return")), st.just("") | words, st.sampled_from(("", "2026-09-01"))
)


@given(givers, st.just("") | words)
@settings(max_examples=200)
def test_who_gave_a_figure_and_a_remark_read_back(who: Provenance, note: str) -> None:
    assert read_who(who_text(who)) == who
    amount = Amount(0.15, 0.1, 0.2, "share", "", given_by=who.given_by, by=who.by, on=who.on, note=note)
    assert read_bracket(str(amount_cell(amount, Provenance("quote")))) == ("10 % .. 15 % .. 20 %", who, note)


@given(st.lists(st.text(min_size=1)))
def test_several_names_in_one_cell_read_back(names: list[str]) -> None:
    assert read_list(list_text(names)) == names


@given(st.lists(st.lists(st.sampled_from("abcd"), unique=True), max_size=4))
def test_named_rows_keep_every_order(listed: list[list[str]]) -> None:
    rows = rows_of_names(listed)
    for names in listed:
        left = iter(rows)
        assert all(name in left for name in names)  # each is met after the one before it


def test_a_number_that_fifteen_digits_do_not_hold_is_written_as_text() -> None:
    assert amount_cell(Amount(0.1 + 0.2, unit="USD"), Provenance()) == "0.30000000000000004"
    assert amount_cell(Amount(71000.0, unit="USD"), Provenance()) == 71000.0


# --- text stays text


def test_no_text_becomes_a_formula(tmp_path: Path) -> None:
    shutil.copy(SCENARIOS / "nightlog.csv", tmp_path)
    first = form(tmp_path / "first.xlsx", loads(broad(), "broad", tmp_path))
    copy = mark(first, [], tmp_path / "marked.xlsx")
    for file in (first, copy):
        cells = [cell for sheet in openpyxl.load_workbook(file) for row in sheet.iter_rows() for cell in row]
        odd = [cell for cell in cells if str(cell.value or "")[:1] in ("=", "+", "@")]
        assert {'=HYPERLINK("x")', "=cmd()", "=SUM(A1:A9)", "@space"} <= {cell.value for cell in odd}
        assert all(cell.data_type == "s" and cell.number_format == "@" for cell in odd)
        assert not [cell for cell in cells if cell.data_type == "f"]


# --- faults

# sheet, row, column: what is written there, what is said of it, and in which row, where that is another
BROKEN: list[tuple[Any, ...]] = [
    ("Decision", "Years to look ahead", "", 6.5, "'6.5' is not a whole number"),
    ("Decision", "What the money would earn elsewhere, after tax", "", "nine per cent", "cannot read"),
    ("Business", "How the business is taxed", "", "club", "Write one of: sole proprietor"),
    ("Business", "Cash in the bank", "", "=1/0", "this formula holds no result"),
    ("Owners", "Share of the business", "Ines", 24.0, "is out of range"),
    (
        "Owners",
        "Filing status of the owner's return",
        "Walt",
        None,
        "nothing says how this owner is taxed",
        "One combined tax rate on business income",
    ),
    ("Machines", "What it is, in a few words", "R2", None, "nothing is filled in, and it is needed. Fill in this cell"),
    ("Machines", "Quoted cash price", "R1", None, "has no price. Fill in 'Quoted cash price'"),
    ("Machines", "Share of the staffed hours it cuts", "MC-1", "62 % .. 60 % .. 57 %", "is not in order"),
    ("Machines", "Growth of upkeep a year", "MC-1", "9 % [gues]", "Did you mean 'guess'?"),
    ("Machines", "holders", "R2", -16_000, "is below zero"),
    ("Paid for", "Day it was ready and first used", "probe", "2023-02-30", "there is no such day"),
    ("Owed", "Monthly payment; left out: level to the cent", "bank", 100, "does not cover a month's interest"),
    ("Owed", "Last day the letter holds", "bank", dt.date(2026, 8, 1), "Check both days"),
    ("Upgrades", "Name of the machine it is fitted to", "kit", "MC-2", "Did you mean 'MC-1'?"),
    (
        "Work",
        "Hours a year that can be sold",
        "P5 bracket",
        100,
        "sold both by the piece and by the hour",
        "Part or work: name",
    ),
    ("Offers", "Commission, as a share of the price", "auction", "8", "Say per cent, for example 8 %"),
    ("Offers", "The machine bought in trade", "trade-in", None, "Fill in 'The machine bought in trade'"),
    ("Financing", "Amount due with the last payment (balloon loan)", "kit loan", 5_000, "does not belong to a loan"),
    ("Not money", "Best value that could be had", "weeks of upheaval", 20, "worst and best"),
]
MORE = {"Courses": "no offer is named 'nobody'", "Guesses": "no input stands at 'study.rat'"}


def test_all_faults_are_said_at_once_by_their_cells_and_marked_in_a_copy(deck: Path, tmp_path: Path) -> None:
    shutil.copy(SCENARIOS / "nightlog.csv", tmp_path)
    book, expected = openpyxl.load_workbook(deck), {}
    for sheet, label, entry, value, words, *where in BROKEN:
        cell = at(book, sheet, label, entry)
        cell.value = value
        expected[f"{sheet}!{at(book, sheet, *(where or [label]), entry).coordinate}"] = words
    row = next(row for row in range(6, 30) if book["Courses"].cell(row, 1).value == "sell and do without")
    book["Courses"].cell(row, 5).value = "nobody"
    book["Guesses"]["A6"], book["Guesses"]["B6"], book["Guesses"]["C6"] = "Ines", "study.rat", "12 %"
    expected |= {f"Courses!E{row}": MORE["Courses"], "Guesses!B6": MORE["Guesses"]}
    file = tmp_path / "broken.xlsx"
    book.save(file)
    before, found = file.read_bytes(), said(file)
    for cell_name, words in expected.items():
        assert words in found[cell_name], (cell_name, words, found.get(cell_name))
    for words in found.values():
        assert "`" not in words and "colon" not in words and " key" not in words and "None" not in words
    with pytest.raises(ScenarioError) as caught:
        read_form(file)
    copy = openpyxl.load_workbook(mark(file, caught.value.faults, tmp_path / "marked.xlsx"))
    red = {
        f"{sheet.title}!{cell.coordinate}": cell.comment.text
        for sheet in copy.worksheets
        for row in sheet.iter_rows()
        for cell in row
        if cell.fill.start_color.rgb == "FFFF9B8F"
    }
    assert red.keys() == found.keys()
    assert all(words.lower()[:20] in red[name].lower() for name, words in found.items())
    listed = [[cell.value for cell in row] for row in copy[FAULTS].iter_rows(min_row=5)]
    assert [f"{sheet}!{cell}" for sheet, cell, *_ in listed] == [
        f"{f.place.sheet}!{f.place.name}"
        for f in caught.value.faults  # type: ignore[attr-defined]
    ]
    assert copy["Machines"].protection.sheet and copy["Machines"].data_validations.dataValidation
    assert file.read_bytes() == before
    # the copy, corrected, is read; the old marks go with the next copy
    with pytest.raises(ValueError, match="is the form itself"):
        mark(file, [], file)
    again = openpyxl.load_workbook(mark(tmp_path / "marked.xlsx", caught.value.faults[:1], tmp_path / "again.xlsx"))
    fills = [c for s in again.worksheets for r in s.iter_rows() for c in r if c.fill.start_color.rgb == "FFFF9B8F"]
    assert len(fills) == 1


def change(deck: Path, file: Path, edit: Any) -> Path:
    book = openpyxl.load_workbook(deck)
    edit(book)
    book.save(file)
    if not (file.parent / "nightlog.csv").exists():
        shutil.copy(SCENARIOS / "nightlog.csv", file.parent)
    return file


def _put(sheet: str, **cells: Any) -> Any:
    def edit(book: Any) -> None:
        for name, value in cells.items():
            book[sheet][name] = value

    return edit


# what is done to a form whose single cells are all good, the one cell that is named, and what is said
LAYOUT: list[tuple[str, Any, str, str]] = [
    ("a machine without a name", _put("Machines", H5="a saw"), "Machines!H3", "a name is missing"),
    ("a name twice", _put("Offers", K3="auction", K5="MC-1", K6="outright", K7=5), "Offers!K3", "stands here twice"),
    ("a full stop", _put("Yes or no", A6="No. 5", B6=0.5), "Yes or no!A6", "holds a full stop"),
    ("no chance", _put("Yes or no", A6="permit"), "Yes or no!B6", "nothing is filled in"),
    ("a loan on nothing", _put("Owed", F3="MC-9", F4="bank"), "Owed!F3", "no 'MC-9' stands on the sheet Machines"),
    ("a step of nobody", _put("Courses", B17="sell"), "Courses!A17", "a name is missing"),
    ("what is not for such a step", _put("Courses", Q7=5), "Courses!Q7", "does not belong to a row of this kind"),
    ("keep with steps", _put("Courses", B6="sell", C6="2026-09-18", D6="MC-1", E6="outright"), "Courses!A6", "keep"),
    ("no course keep", _put("Courses", A6="stay"), "Courses!A6", "the course keep is missing"),
    ("a column put in", _put("Courses", Z8="x"), "Courses!Z8", "this column belongs to no question"),
    ("a row put in", _put("Decision", E30="x"), "Decision!E30", "this row belongs to no question"),
]


@pytest.mark.parametrize(("what", "edit", "cell", "words"), LAYOUT, ids=[one[0] for one in LAYOUT])
def test_a_fault_of_the_layout_is_said_by_its_cell(
    what: str, edit: Any, cell: str, words: str, deck: Path, tmp_path: Path
) -> None:
    found = said(change(deck, tmp_path / "form.xlsx", edit))
    assert words in found[cell], (what, found)


def test_rows_added_by_the_owner_are_read(deck: Path, tmp_path: Path) -> None:
    def edit(book: Any) -> None:
        sheet = book["Machines"]
        row = next(r for r in range(3, sheet.max_row) if sheet.cell(r, 2).value == "air")
        sheet.insert_rows(row + 1)
        sheet.cell(row + 1, 2).value, sheet.cell(row + 1, 6).value = "crane", "900 [quote]"
        book["Yes or no"]["A6"], book["Yes or no"]["B6"] = "permit", "60%"
        del book["Working day"], book["Quieter"]
        book["Offers"]["K3"], book["Offers"]["K5"], book["Offers"]["K6"], book["Offers"]["K7"] = (
            "a friend",
            "MC-1",
            "private sale",
            50000,
        )

    read = read_form(change(deck, tmp_path / "form.xlsx", edit))
    assert list(read.machines["R1"].capital_costs) == [
        "freight",
        "rigging",
        "power",
        "air",
        "crane",
        "holders",
        "fixtures",
    ]
    crane = read.machines["R1"].capital_costs["crane"]
    assert (crane.likely, crane.given_by, crane.path) == (900, "quote", "machines.R1.capital_costs.crane")
    assert read.events["permit"].chance == 0.6 and not read.working_day
    assert read.offers["a friend"].price.likely == 50000
    assert str(read.source.where("offers.a friend.price")).endswith(
        "Offers!K7 (a friend: Price, allowance or hammer price)"
    )


def test_a_sheet_without_its_keys_is_not_passed_over(deck: Path, tmp_path: Path) -> None:
    def edit(book: Any) -> None:
        book["Machines"].delete_cols(1)
        book["Offers"].delete_cols(4)
        book["Courses"].delete_rows(5)

    found = said(change(deck, tmp_path / "form.xlsx", edit))
    assert "columns or rows before the answers were moved" in found["Offers!D3"]
    assert "hidden first column is gone" in found["Machines!A1"] and "hidden row of keys is gone" in found["Courses!A5"]


# --- which of the two counts


def test_the_later_sheets_count_and_say_so(deck: Path, tmp_path: Path) -> None:
    def answer(book: Any) -> None:
        sheet = book[SHEET]
        row = next(r for r in range(5, 40) if sheet.cell(r, 8).value == "machine")
        sheet[f"D{row}"] = "lathe"
        book.create_sheet("My sums")

    file = change(deck, tmp_path / "form.xlsx", answer)
    read = load(file)
    assert read == load(DECK)
    assert read.source.remarks == (NOT_USED, "The sheet My sums is no sheet of a form and is not read.")
    told = {finding.text for finding in ed.compare(read)["keep"].ledger.findings}
    assert NOT_USED in told

    def one_cell(book: Any) -> None:
        answer(book)
        book["Decision"]["E5"] = "A lathe"

    empty = form(tmp_path / "empty.xlsx")
    with pytest.raises(ScenarioError) as caught:
        read_form(change(empty, tmp_path / "half.xlsx", one_cell))
    assert "answers on the sheet Questions are not used" in str(caught.value.faults[0])


def test_an_empty_form_holds_nothing_on_its_later_sheets(tmp_path: Path) -> None:
    first, second = form(tmp_path / "a.xlsx"), form(tmp_path / "b.xlsx")
    assert first.read_bytes() == second.read_bytes()
    book = openpyxl.load_workbook(first)
    assert book.sheetnames == [SHEET, *(page.sheet for page in pages())]
    for sheet in book.worksheets:
        open_cells = [cell for row in sheet.iter_rows() for cell in row if not cell.protection.locked]
        assert open_cells and all(cell.value is None for cell in open_cells) and sheet.protection.sheet
    lists = {
        str(one.sqref): one.formula1 for one in book["Offers"].data_validations.dataValidation if one.type == "list"
    }
    assert "='Machines'!$E$3:$H$3".removeprefix("=") in [formula.removeprefix("=") for formula in lists.values()]
    assert '"outright,consignment,trade-in,auction,private sale"' in lists.values()


# --- on the command line


def test_the_command_converts_both_ways(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    (tmp_path / "files").mkdir()
    source = tmp_path / "files" / "deck.yaml"
    shutil.copy(DECK, source)
    shutil.copy(SCENARIOS / "nightlog.csv", source.parent)
    assert main(["form", str(source), str(tmp_path / "deck.xlsx")]) == 0
    out = capsys.readouterr().out
    count = remarks_in(DECK.read_text(encoding="utf-8"))
    assert f"{count} lines have remarks after # in" in out and "Put nightlog.csv beside it" in out
    shutil.copy(SCENARIOS / "nightlog.csv", tmp_path)
    assert main(["form", str(source)]) == 0  # beside the file, by its name
    assert "nightlog" not in capsys.readouterr().out
    assert source.with_suffix(".xlsx").read_bytes() == (tmp_path / "deck.xlsx").read_bytes()
    assert main(["check", str(tmp_path / "deck.xlsx")]) == 0
    assert main(["form", str(tmp_path / "deck.xlsx"), str(tmp_path / "back.yaml")]) == 0
    assert load(tmp_path / "back.yaml") == load(DECK)
    assert main(["form", str(tmp_path / "back.yaml"), str(tmp_path / "again.xlsx"), "--json"]) == 0
    capsys_out = capsys.readouterr().out
    assert json.loads(capsys_out[capsys_out.index("{") :])["file"].endswith("again.xlsx")
    assert (tmp_path / "again.xlsx").read_bytes() == (tmp_path / "deck.xlsx").read_bytes()
    assert main(["form", str(source)]) == 1  # it is there already
    assert main(["form", str(source), str(tmp_path / "x.csv")]) == 1
    assert "ends in .xlsx" in capsys.readouterr().err


def test_the_command_says_faults_by_cell_and_writes_a_marked_copy(
    capsys: pytest.CaptureFixture[str], deck: Path, tmp_path: Path
) -> None:
    file = change(deck, tmp_path / "deck.xlsx", _put("Decision", E11="soon"))
    assert main(["compare", str(file)]) == 2
    err = capsys.readouterr().err
    assert "deck.xlsx, Decision!E11 (Years to look ahead): 'soon' is not a whole number" in err
    assert "equipdecide check deck.xlsx" in err and not (tmp_path / "deck_marked.xlsx").exists()
    assert main(["check", str(file), "--json"]) == 2
    assert json.loads(capsys.readouterr().out)["faults"][0]["cell"] == "Decision!E11"
    assert main(["check", str(file)]) == 2
    assert "deck_marked.xlsx is a copy" in capsys.readouterr().out
    assert openpyxl.load_workbook(tmp_path / "deck_marked.xlsx")["Decision"]["E11"].comment is not None


def test_without_the_libraries_it_says_what_to_install(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], deck: Path, tmp_path: Path
) -> None:
    import sys

    for name in ("openpyxl", "xlsxwriter"):
        monkeypatch.setitem(sys.modules, name, None)
    assert main(["compare", str(deck)]) == 1
    assert "equipdecide[workbook]" in capsys.readouterr().err
    assert main(["form", str(tmp_path / "new.xlsx")]) == 1
    assert "equipdecide[workbook]" in capsys.readouterr().err


def test_fifteen_answers_become_a_full_form(tmp_path: Path) -> None:
    def answer(book: Any) -> None:
        sheet = book[SHEET]
        rows = {sheet.cell(row, 8).value: row for row in range(5, sheet.max_row + 1)}
        answers = {
            "decided": dt.date(2026, 9, 14),
            "machine": "mill",
            "cost": 100_000,
            "in_service": dt.date(2021, 9, 15),
        }
        for key, value in {**answers, "owed": "none", "hour_worth": 60, "new_price": 148_500}.items():
            sheet[f"D{rows[key]}"] = value

    answered = change(form(tmp_path / "empty.xlsx"), tmp_path / "answered.xlsx", answer)
    assert main(["form", str(answered), str(tmp_path / "full.xlsx")]) == 0
    full = load(tmp_path / "full.xlsx")
    assert full == load(answered) and list(full.machine_in_question) == ["mill"]
    assert full.machines["mill"].assets and not full.source.remarks


@pytest.mark.e2e
@pytest.mark.parametrize("name", FILES)
def test_a_form_saved_by_a_spreadsheet_program_says_the_same(name: str, tmp_path: Path) -> None:
    import subprocess

    from recalculate import which_soffice

    soffice = which_soffice()
    if soffice is None:
        pytest.skip("LibreOffice is not installed")
    (tmp_path / "saved").mkdir()
    for file in SCENARIOS.glob("*.csv"):
        shutil.copy(file, tmp_path / "saved")
    given = load(SCENARIOS / f"{name}.yaml")
    command = [soffice, "--headless", "--norestore", f"-env:UserInstallation={(tmp_path / 'profile').as_uri()}"]
    command += ["--convert-to", "xlsx:Calc MS Excel 2007 XML", "--outdir", str(tmp_path / "saved")]
    subprocess.run([*command, str(form(tmp_path / "form.xlsx", given))], check=True, capture_output=True, timeout=120)
    assert load(tmp_path / "saved" / "form.xlsx") == given
