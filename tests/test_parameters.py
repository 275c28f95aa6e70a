"""Dated parameters: what loads, what is refused, and what a reading says of itself."""

import csv
import doctest
import re
import shutil
import subprocess
import sys
from datetime import date, timedelta
from fractions import Fraction
from pathlib import Path

import pytest

from equipdecide import parameters
from equipdecide.parameters import Law, MissingParameter, ParameterFileError, load, values
from equipdecide.parameters.files import Parameter, RowsFile
from equipdecide.parameters.law import SHIPPED

ROOT = Path(__file__).parents[1]
MID_2026 = date(2026, 6, 30)
STATUSES = ("single", "joint", "separate", "head_of_household")


@pytest.fixture(scope="module")
def law() -> Law:
    return load()


def toy(tmp_path: Path, text: str, name: str = "thing.yaml") -> Law:
    """A country of one file."""
    (tmp_path / "toy").mkdir(exist_ok=True)
    (tmp_path / "toy" / name).write_text(text, encoding="utf-8")
    return Law("toy", tmp_path)


# ---------------------------------------------------------------- what is shipped


def test_every_shipped_file_loads_and_every_value_has_a_source_and_a_status(law: Law) -> None:
    ids = law.ids()
    assert len(ids) > 200
    for id in ids:
        parameter = law.parameter(id)
        if isinstance(parameter, Parameter):
            assert parameter.values and parameter.description and parameter.verified_on > date(2026, 1, 1), id
            for row in parameter.values:
                assert row.source.title and row.status in ("read", "memory", "assumption"), id
                assert row.status != "read" or row.source.read_on, id
                assert row.from_date.year > 1900, id
        else:
            assert parameter.rows, id
            for line in parameter.rows:
                assert line["source"] and line["status"] in ("read", "memory", "assumption"), id


def test_every_csv_row_is_loaded(law: Law) -> None:
    for path in (SHIPPED / "us").rglob("*.csv"):
        with path.open(encoding="utf-8", newline="") as stream:
            lines = list(csv.DictReader(stream))
        rows = law.rows(path.relative_to(SHIPPED / "us").with_suffix("").as_posix())
        assert len(rows) == len(lines) > 0, path.name


def test_reading_the_parameters_imports_nothing_heavy() -> None:
    said = subprocess.run(
        [sys.executable, "-c", "import sys, equipdecide.parameters; print(sorted(sys.modules))"],
        capture_output=True,
        text=True,
        check=True,
        cwd=ROOT,
    ).stdout
    for heavy in ("'numpy'", "'pandas'", "'pydantic'"):
        assert heavy not in said


def test_a_file_is_read_only_when_it_is_asked_for(tmp_path: Path) -> None:
    shutil.copytree(SHIPPED / "us", tmp_path / "us")
    (tmp_path / "us" / "ca" / "income.yaml").write_text("broken: [}", encoding="utf-8")
    broken = Law("us", tmp_path)
    assert broken.get("federal/corporate_rate", MID_2026).value == 0.21
    with pytest.raises(ParameterFileError, match=r"us/ca/income\.yaml:1"):
        broken.get("ca/income.corporate_rate", MID_2026)


# ---------------------------------------------------------------- figures against the law


@pytest.mark.parametrize(
    ("id", "on", "keys", "expected"),
    [
        # P.L. 119-21 sec. 70306; Rev. Proc. 2025-32 sec. 4.24
        ("federal/section_179_limit", date(2025, 12, 31), {}, 2_500_000),
        ("federal/section_179_threshold", date(2025, 1, 1), {}, 4_000_000),
        ("federal/section_179_limit", date(2026, 1, 1), {}, 2_560_000),
        ("federal/section_179_threshold", date(2026, 1, 1), {}, 4_090_000),
        # IRC 179(b)(1)-(2) as amended by P.L. 115-97
        ("federal/section_179_limit", date(2018, 7, 1), {}, 1_000_000),
        # IRC 11(b)
        ("federal/corporate_rate", MID_2026, {}, 0.21),
        # Rev. Proc. 2025-32
        ("federal/income_tax.standard_deduction", MID_2026, {"status": "single"}, 16_100),
        ("federal/income_tax.standard_deduction", MID_2026, {"status": "joint"}, 32_200),
        # Schedule SE (2025) line 7; SSA fact sheet for 2027
        ("federal/self_employment.wage_base", date(2025, 6, 1), {}, 176_100),
        ("federal/self_employment.wage_base", date(2027, 6, 1), {}, 192_300),
        # IRC 1411(b)
        ("federal/net_investment_income.threshold", MID_2026, {"status": "separate"}, 125_000),
        # Form 8995-A (2025) lines 21, 23; P.L. 119-21 sec. 70105
        ("federal/qualified_business_income.threshold", date(2025, 6, 1), {"status": "joint"}, 394_600),
        ("federal/qualified_business_income.phase_in_length", date(2025, 6, 1), {"status": "joint"}, 100_000),
        ("federal/qualified_business_income.phase_in_length", MID_2026, {"status": "joint"}, 150_000),
        # Rev. Proc. 2025-32 sec. 4.31, Rev. Proc. 2024-40 sec. 2.32
        ("federal/business_losses.excess_threshold", MID_2026, {"status": "joint"}, 512_000),
        ("federal/business_losses.excess_threshold", date(2025, 6, 1), {"status": "single"}, 313_000),
        # Rev. Proc. 2025-32 sec. 4.30; IRS page on 2023
        ("federal/business_interest.gross_receipts_threshold", MID_2026, {}, 32_000_000),
        ("federal/business_interest.gross_receipts_threshold", date(2023, 6, 1), {}, 29_000_000),
        # IRC 6654(d)(1)
        ("federal/estimated_tax.prior_year_share_high_income", MID_2026, {}, 1.10),
        # IRC 168(d)(3)(A)
        ("federal/depreciation.mid_quarter_share", MID_2026, {}, 0.40),
        # FTB Form 3885 (2020) Part I
        ("ca/depreciation.section_179_limit", MID_2026, {}, 25_000),
        ("ca/depreciation.section_179_threshold", MID_2026, {}, 200_000),
        # Minnesota Department of Revenue; N.C.G.S. 105-153.6(a)
        ("mn/depreciation.add_back_share", MID_2026, {"entity": "individual"}, 0.80),
        ("nc/depreciation.add_back_years", MID_2026, {"entity": "corporation"}, 5),
    ],
)
def test_figures_stand_as_in_their_sources(law: Law, id: str, on: date, keys: dict[str, str], expected: float) -> None:
    reading = law.get(id, on, **keys)
    assert reading.number == expected
    assert reading.basis == "in force"


def test_brackets_of_2026(law: Law) -> None:
    # Rev. Proc. 2025-32, single: 12 % above 12,400, 22 % above 50,400, ... 37 % above 640,600
    reading = law.get("federal/income_tax.brackets", MID_2026, status="single")
    assert [over for over, _ in reading.brackets] == [0, 12_400, 50_400, 105_700, 201_775, 256_225, 640_600]
    assert [rate for _, rate in reading.brackets] == [0.10, 0.12, 0.22, 0.24, 0.32, 0.35, 0.37]
    gain = law.get("federal/income_tax.capital_gain_brackets", MID_2026, status="single")
    assert gain.brackets == ((0, 0.0), (49_450, 0.15), (545_500, 0.20))


@pytest.mark.parametrize("year", [2023, 2024, 2025, 2026])
def test_brackets_keep_the_proportions_of_the_statute(law: Law, year: int) -> None:
    # IRC 1(j)(2): separate brackets are half the joint ones, and below 37 % the joint ones are twice the single ones.
    # One public library prints 578,125 for the 37 % start of a separate return of 2023; half the joint one is 346,875.
    on = date(year, 6, 1)
    single, joint, separate, head = (
        [over for over, _ in law.get("federal/income_tax.brackets", on, status=status).brackets] for status in STATUSES
    )
    assert separate == [over / 2 for over in joint]
    assert single[:-1] == separate[:-1]
    assert single[-1] > separate[-1] and single[1] < head[1] < joint[1]
    # IRC 1(h), 1(j)(5): likewise for capital gain, each figure rounded down to 50 dollars
    joint, separate = (
        [over for over, _ in law.get("federal/income_tax.capital_gain_brackets", on, status=status).brackets]
        for status in ("joint", "separate")
    )
    assert all(0 <= whole / 2 - half < 50 for whole, half in zip(joint, separate, strict=True))


FIRST_YEAR = {
    # IRC 168(d)(4): middle of the year, or of the quarter
    "half-year": Fraction(1, 2),
    "mid-quarter-1": Fraction(7, 8),
    "mid-quarter-2": Fraction(5, 8),
    "mid-quarter-3": Fraction(3, 8),
    "mid-quarter-4": Fraction(1, 8),
}


def by_the_statute(convention: str, method: str, period: int) -> list[Fraction]:
    """IRC 168(b)(1)-(2), (d)(4): declining balance, straight line once it gives more, in exact fractions.

    Rev. Proc. 87-57 tables: each percentage rounded half up to 2 decimals (3 for 20-year property) and the rounded
    figure carried to the next year's balance.
    """
    factor = {"200DB": Fraction(2), "150DB": Fraction(3, 2)}[method]
    digit = Fraction(1, 1000 if period == 20 else 100)
    balance, life, years = Fraction(100), Fraction(period), list[Fraction]()
    while life > 0:
        share = min(life, FIRST_YEAR[convention] if not years else Fraction(1))
        exact = balance if years and life <= 1 else max(balance * factor / period, balance / life) * share
        printed = (exact / digit + Fraction(1, 2)) // 1 * digit
        years.append(printed)
        balance, life = balance - printed, life - share
    return years


def test_all_475_printed_macrs_cells_against_the_statute(law: Law) -> None:
    keys = {(str(row["convention"]), str(row["method"]), str(row["period"])) for row in law.rows("federal/macrs")}
    assert len(keys) == 50
    cells, departures = 0, {}
    for convention, method, period in sorted(keys):
        table = law.table("federal/macrs", convention=convention, method=method, period=period)
        rule = by_the_statute(convention, method, int(period))
        assert len(table.values) == len(rule) == int(period) + 1
        for year, (printed, computed) in enumerate(zip(table.values, rule, strict=True), start=1):
            cells += 1
            if Fraction(str(printed)) != computed:
                departures[convention, method, period, year] = (printed, float(computed))
    assert cells == 475
    # Publication 946 (2025): Table A-2, 20-year, years 2 and 21; Table A-3, 7-year, years 1 and 8. (printed, by rule)
    assert departures == {
        ("mid-quarter-1", "150DB", "20", 2): (7.000, 7.008),
        ("mid-quarter-1", "150DB", "20", 21): (0.565, 0.557),
        ("mid-quarter-2", "200DB", "7", 1): (17.85, 17.86),
        ("mid-quarter-2", "200DB", "7", 8): (3.34, 3.33),
    }


def test_every_printed_table_adds_up_to_100_percent(law: Law) -> None:
    totals: dict[tuple[object, ...], Fraction] = {}
    for row in law.rows("federal/macrs"):
        key = (row["convention"], row["method"], row["period"])
        totals[key] = totals.get(key, Fraction(0)) + Fraction(str(row["percent"]))
    assert set(totals.values()) == {Fraction(100)}


def test_a_table_says_where_it_comes_from(law: Law) -> None:
    # Publication 946 Table A-1, 7-year
    table = law.table("federal/macrs", convention="half-year", method="200DB", period="7")
    assert table.values == (14.29, 24.49, 17.49, 12.49, 8.93, 8.92, 8.93, 4.46)
    assert (table.unit, table.source.place, table.mark) == ("percent", "Table A-1", "secondary")
    straight = law.table("federal/straight_line", convention="half-year", method="SL", period="10")
    assert straight.values == (5.0, *(10.0,) * 9, 5.0)  # IRC 168(g)(2): half a year, nine whole ones, half a year
    assert straight.mark == "computed"
    assert table.finding() is None
    assert straight.finding() == (
        "Straight-line depreciation, percent of unadjusted basis (half-year, SL, 10): the figures are worked out from "
        "the rule of the law; the printed table was not seen."
    )
    with pytest.raises(MissingParameter, match="no table for"):
        law.table("federal/macrs", convention="half-year", method="200DB", period="8")
    with pytest.raises(MissingParameter, match="chosen by convention, method, period"):
        law.table("federal/macrs", period="7")


def test_any_pair_of_dates_meets_one_bonus_rate(law: Law) -> None:
    rows = law.rows("federal/bonus_rates")

    def hits(acquired: date, placed: date) -> list[float]:
        found = []
        for row in rows:
            starts, ends = row["acquired_from"] or date.min, row["acquired_to"] or date.max
            first, last = row["placed_from"], row["placed_to"] or date.max
            if starts <= acquired <= ends and first <= placed <= last:  # type: ignore[operator]
                found.append(float(str(row["rate"])))
        return found

    # Every day on which a row starts or ends, with its neighbours, and a day in each month between.
    one, first, last = timedelta(days=1), date(2010, 5, 1), date(2028, 6, 30)
    turns = {day for row in rows for day in row.values() if isinstance(day, date)}
    days = {day + shift for day in turns for shift in (-one, 0 * one, one)}
    days |= {date(year, month, 11) for year in range(2010, 2029) for month in range(1, 13)}
    for acquired in (day for day in days if first <= day <= last):
        for placed in (day for day in days if acquired <= day <= last):
            assert len(hits(acquired, placed)) == 1, (acquired, placed)
    # IRC 168(k)(6) before the Act of 2025; P.L. 119-21 sec. 70301(c)
    assert hits(date(2024, 11, 1), date(2026, 3, 1)) == [0.20]
    assert hits(date(2025, 1, 19), date(2025, 6, 1)) == [0.40]
    assert hits(date(2025, 1, 20), date(2026, 6, 1)) == [1.00]


def test_estimated_tax_dates_fall_on_business_days_by_section_7503(law: Law) -> None:
    rows = law.rows("federal/estimated_tax_dates")
    for row in rows:
        statutory, due = row["statutory_date"], row["due_date"]
        assert isinstance(statutory, date) and isinstance(due, date)
        assert due.weekday() < 5 and timedelta(0) <= due - statutory <= timedelta(days=4), row
        assert bool(row["moved_because"]) == (due != statutory), row
    # 15 April 2028 is a Saturday and Emancipation Day is observed on the Monday: IRC 7503, D.C. Code 28-2701
    asked = (2027, "individual", "return")
    assert [row["due_date"] for row in rows if (row["tax_year"], row["payer"], row["event"]) == asked] == [
        date(2028, 4, 18)
    ]


def test_the_days_named_by_law_give_the_statutory_dates(law: Law) -> None:
    days = {(row["payer"], row["event"]): row for row in law.rows("federal/estimated_tax_days")}
    for row in law.rows("federal/estimated_tax_dates"):
        named = days[row["payer"], row["event"]]
        year = int(str(row["tax_year"])) + int(str(named["years_after"]))
        assert row["statutory_date"] == date(year, int(str(named["month"])), int(str(named["day"])))
    assert len(days) == 12


def test_rows_are_typed_and_cannot_be_changed(law: Law) -> None:
    classes = {row["asset_class"]: row for row in law.rows("federal/asset_classes")}
    # Rev. Proc. 87-56 class 34.0: class life 12, GDS 7, ADS 12
    machine = classes["34.0"]
    assert (machine["class_life"], machine["gds_period"], machine["ads_period"]) == (12.0, 7.0, 12.0)
    assert classes["none"]["class_life"] is None
    lines = {(row["form"], row["line"]): row for row in law.rows("federal/form_lines")}
    assert law.row_finding("federal/form_lines", lines["1120", "9"]) is None
    assert law.row_finding("federal/form_lines", lines["1120", "20"]) == (
        "Lines of the returns on which the figures land (1120, 20, depreciation): the row is recalled from memory and "
        "not confirmed in a source."
    )
    with pytest.raises(TypeError):
        machine["gds_period"] = 5.0  # type: ignore[index]
    # Publication 946, mid-quarter: 87.5 % of a full year for the first quarter, and for a disposal in the fourth
    first = {row["quarter_placed"]: row["fraction"] for row in law.rows("federal/first_year_fractions")}
    last = {row["quarter_of_disposal"]: row["fraction"] for row in law.rows("federal/disposal_year_fractions")}
    assert (first["1"], first["4"], last["1"], last["4"]) == (0.875, 0.125, 0.125, 0.875)


# ---------------------------------------------------------------- states


def test_states_answer_the_same_questions(law: Law) -> None:
    assert len(law.states()) >= 8 and "ca" in law.states()
    patterns = set()
    for state in law.states():
        for status in STATUSES:
            assert law.get(f"{state}/income.individual_brackets", MID_2026, status=status).brackets[0][0] == 0
        assert 0 <= law.get(f"{state}/income.corporate_rate", MID_2026).number < 0.13
        for id in ("income.pass_through_election", "property_tax.method", "sales_tax.machine_exemption"):
            assert law.get(f"{state}/{id}", MID_2026).choice
        for entity in ("individual", "corporation"):

            def ask(name: str, state: str = state, entity: str = entity) -> parameters.Reading:
                return law.get(f"{state}/depreciation.{name}", MID_2026, entity=entity)

            pattern = ask("pattern").choice
            patterns.add(pattern)
            assert (pattern == "no-income-tax") == (ask("bonus").choice == "no-income-tax")
            assert (ask("book").choice == "none") == (pattern == "no-income-tax")
            if ask("section_179").choice == "own":
                assert law.get(f"{state}/depreciation.section_179_limit", MID_2026).number > 0
            if pattern == "add-back":
                assert 0 < ask("add_back_share").number <= 1 and ask("add_back_years").number >= 5
                assert ask("add_back_on_sale").choice == "continue"
    assert patterns == {"full-conformity", "fixed-date", "own-schedule", "add-back", "no-income-tax"}


def test_lists_by_age_and_other_shapes(law: Law) -> None:
    # 50 IAC 4.2-4-7(b), pool 2
    assert law.get("in/property_tax.pool_percent", MID_2026, pool="2").series == (40, 56, 42, 32, 24, 18, 15)
    # MCL 211.1055(2): 2.4 mills for ages 1 to 5
    assert law.get("mi/property_tax.mills", MID_2026, age="1-5").number == 0.0024
    # SB 711, ch. 231, Stats. 2025; CDTFA manufacturing exemption
    assert law.get("ny/property_tax.method", MID_2026).meaning == "no general tax on business machines"
    assert law.get("ca/depreciation.conformity_date", MID_2026).value == date(2025, 1, 1)
    assert law.get("ca/sales_tax.exempt_rate", date(2030, 6, 30)).value == 0.039375
    assert law.get("ca/sales_tax.exempt_rate", date(2030, 7, 1)).value == 0.0
    brackets = law.get("ca/income.individual_brackets", MID_2026, status="joint")
    for shape in ("number", "series", "choice"):
        with pytest.raises(TypeError, match="brackets"):
            getattr(brackets, shape)
    with pytest.raises(TypeError, match="USD"):
        _ = law.get("federal/section_179_limit", MID_2026).brackets


# ---------------------------------------------------------------- past the last value, and law made afterwards

LIMIT = """
description: Limit of a toy deduction
unit: USD
after_last: {after}
verified_on: 2026-11-25
{more}
values:
  - {{from: 2024-01-01, value: 1000, status: {status}, source: {{title: Toy act, read_on: 2026-11-25}}}}
  - {{from: 2026-01-01, enacted: 2026-03-01, value: 1100, status: read, source: {{title: Toy act, read_on: 2026-11-25}}}}
"""


def limit(after: str, more: str = "note: of a toy", status: str = "read") -> str:
    return LIMIT.format(after=after, more=more, status=status)


def test_a_figure_past_its_last_year_is_held_indexed_or_refused(tmp_path: Path) -> None:
    held = toy(tmp_path, limit("hold")).get("thing", date(2029, 5, 1))
    assert (held.value, held.basis) == (1100, "held")
    assert held.finding() == (
        "Limit of a toy deduction, 2029: $1,100 is the figure of 2026, held because no later one is on file, last "
        "checked 2026-11-25."
    )
    indexed = toy(tmp_path, limit("index")).get("thing", date(2028, 5, 1), index_rate=0.03)
    # by hand: 1,100 x 1.03 x 1.03 = 1,166.99, to whole dollars 1,167
    assert (indexed.value, indexed.basis) == (1167, "indexed")
    assert "raised by 3 % a year for 2 years" in str(indexed.finding())
    stepped = toy(tmp_path, limit("index", "index_rounding: {step: 50, way: down}"))
    # by hand: 1,166.99 down to a multiple of 50
    assert stepped.get("thing", date(2028, 5, 1), index_rate=0.03).value == 1150
    with pytest.raises(MissingParameter, match="a guess would mislead"):
        toy(tmp_path, limit("error")).get("thing", date(2027, 1, 1))
    standing = toy(tmp_path, limit("hold", "open_ended: true")).get("thing", date(2040, 1, 1))
    assert (standing.basis, standing.finding()) == ("in force", None)


def test_bracket_thresholds_are_indexed_and_rates_are_not(law: Law) -> None:
    reading = law.get("federal/income_tax.brackets", date(2027, 6, 1), index_rate=0.02, status="single")
    # by hand: 12,400 x 1.02 = 12,648; 201,775 x 1.02 = 205,810.5, half up 205,811
    assert reading.brackets[:2] == ((0, 0.10), (12_648, 0.12)) and reading.brackets[4] == (205_811, 0.32)
    assert reading.basis == "indexed"
    # IRC 179(b)(6): to the nearest 10,000. By hand: 2,560,000 x 1.02 = 2,611,200
    assert law.get("federal/section_179_limit", date(2027, 6, 1), index_rate=0.02).value == 2_610_000
    assert law.get("federal/section_179_limit", date(2031, 6, 1)).value == 2_560_000


def test_memory_and_assumption_are_said(tmp_path: Path, law: Law) -> None:
    loss = law.get("federal/business_losses.net_operating_loss_share", MID_2026)
    assert loss.finding() == (
        "Share of taxable income a carried net operating loss may take, 2026: 80 % is recalled from memory and not "
        "confirmed in a source."
    )
    guessed = toy(tmp_path, limit("hold", status="assumption")).get("thing", date(2025, 1, 1))
    assert "an assumption (of a toy)" in str(guessed.finding())
    assert law.get("federal/corporate_rate", MID_2026).finding() is None


def test_law_made_afterwards_can_be_left_out_and_is_told(law: Law) -> None:
    on, decided = date(2025, 6, 30), date(2025, 3, 1)
    now = law.get("federal/section_179_limit", on)
    then = law.get("federal/section_179_limit", on, as_known_on=decided)
    # Rev. Proc. 2024-40 figure, and P.L. 119-21 of 4 July 2025, back to the start of the year
    assert (now.value, now.enacted) == (2_500_000, date(2025, 7, 4))
    assert then.value == 1_250_000
    rate = law.get("federal/corporate_rate", on)
    assert law.later_law([now, rate, then], decided) == (now,)
    assert now.enacted_after(decided) and not rate.enacted_after(decided)


def test_what_was_not_yet_law_is_missing(tmp_path: Path) -> None:
    found = toy(tmp_path, limit("hold"))
    assert found.get("thing", date(2026, 6, 1), as_known_on=date(2026, 2, 1)).value == 1000
    with pytest.raises(MissingParameter, match="not yet law on 2023"):
        found.get("thing", date(2026, 6, 1), as_known_on=date(2023, 2, 1))
    with pytest.raises(MissingParameter, match="starts on 2024-01-01"):
        found.get("thing", date(2023, 6, 1))


@pytest.mark.parametrize(
    ("id", "keys", "said"),
    [
        ("federal/nothing", {}, "no file federal/nothing.yaml"),
        ("federal/income_tax.nothing", {}, "federal/income_tax has federal/income_tax.brackets"),
        ("federal/income_tax.brackets", {}, "chosen by status"),
        ("federal/income_tax.brackets", {"status": "widow"}, "no status `widow`"),
        ("federal/corporate_rate", {"status": "single"}, "chosen by no key"),
        ("federal/macrs", {}, "ask for its rows"),
        ("../us/federal/corporate_rate", {}, "no parameter"),
    ],
)
def test_questions_that_have_no_answer(law: Law, id: str, keys: dict[str, str], said: str) -> None:
    with pytest.raises(MissingParameter) as caught:
        law.get(id, MID_2026, **keys)
    assert said in str(caught.value)


def test_an_unknown_country_and_a_value_asked_for_as_a_table(law: Law) -> None:
    with pytest.raises(MissingParameter, match="atlantis"):
        load("atlantis")
    with pytest.raises(MissingParameter, match="not a table"):
        law.rows("federal/corporate_rate")
    with pytest.raises(MissingParameter, match="it holds rows"):
        law.table("federal/bonus_rates", kind="rate")


# ---------------------------------------------------------------- broken files

BROKEN = """\
description: A broken parameter
unit: euro
after_last: forever
verified_on: 2026-13-01
colour: red
values:
  - {from: 2026-01-01, value: 12, status: read, source: {title: T, read_on: 2026-11-25}}
  - {from: 2026-01-01, value: "1,000", status: guess, source: {title: T, read_on: 2026-11-25}}
  - {from: 2027-01-01, value: 12, value: 13, status: read}
  - {from: 2028-01-01, value: 12, source: {place: p. 3}}
  - {from: 2029-01-01, value: 12, status: read, source: {title: T}}
"""


def faults(law: Law) -> list[str]:
    with pytest.raises(ParameterFileError) as caught:
        law.check()
    assert str(caught.value) == "\n".join(map(str, caught.value.faults))
    return [str(fault) for fault in caught.value.faults]


def test_every_fault_of_a_file_is_told_at_once_with_its_line(tmp_path: Path) -> None:
    found = faults(toy(tmp_path, BROKEN))
    expected = [
        r"toy/thing\.yaml:2: thing\.unit is `euro`\. It must be one of: USD,",
        r"toy/thing\.yaml:3: thing\.after_last is `forever`",
        r"toy/thing\.yaml:4: thing\.verified_on is `2026-13-01`\. Write a day as 2026-01-31",
        r"toy/thing\.yaml:5: thing has an unknown key `colour`",
        r"toy/thing\.yaml:8: status is `guess`",
        r"toy/thing\.yaml:8: thing has two values from 2026-01-01",
        r"toy/thing\.yaml:8: value is `1,000`\. Write a plain number",
        r"toy/thing\.yaml:9: value gives `value` twice",
        r"toy/thing\.yaml:9: value has no `source`",
        r"toy/thing\.yaml:10: source has no `title`",
        r"toy/thing\.yaml:10: value has no `status`",
        r"toy/thing\.yaml:11: source has status read and no `read_on`",
    ]
    assert len(found) == len(expected), found
    for said, pattern in zip(found, expected, strict=True):
        assert re.match(pattern, said), said


BRACKETS = limit("hold").replace("unit: USD", "unit: brackets")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "the file is empty"),
        ("- 1\n", "must hold a parameter"),
        ("a: [1\n", "not readable as YAML"),
        ("a: {description: x}\na: {description: x}\n", "gives `a` twice"),
        (limit("hold").replace("unit: USD", "unit: rate"), "written as a fraction: 0.21, not 21"),
        (limit("index").replace("unit: USD", "unit: years"), "Only dollars and brackets can be indexed"),
        (limit("index", "open_ended: true"), "after_last must be hold"),
        (limit("hold", "by: [status]"), "must name its figure for each status"),
        (limit("hold", "by: [status]").replace("1100", "{}"), "names no status"),
        (limit("hold", "choices: {a: b}"), "`choices` goes with unit choice"),
        (limit("hold").replace("1100", "-5"), "not negative"),
        (BRACKETS, "must be a list of brackets"),
        (BRACKETS.replace("1100", "[{over: 5, rate: 0.1}]"), "It must start over 0"),
        (BRACKETS.replace("1100", "[{over: 0, rate: 0.1}, {over: 0, rate: 0.2}]"), "must start above the one before"),
        (limit("index", "index_rounding: {step: 0, way: up}"), "step must be a number of dollars above 0"),
        ("description: x\nunit: USD\nafter_last: hold\nverified_on: 2026-01-01\nvalues: []\n", "at least one dated"),
        ("description: x\nverified_on: 2026-01-01\nstatus: read\ncolumns: {a: text}\n", "rows should stand beside it"),
        (
            "description: x\nverified_on: 2026-01-01\nstatus: memory\nsource: {title: T}\ncolumns: {a: text, b: text}\n"
            "table: {keys: [c], order: a, figure: b, unit: percent}\n",
            "table takes `a`, which is text. It must be integer",
        ),
    ],
)
def test_other_faults_are_told_in_plain_words(tmp_path: Path, text: str, said: str) -> None:
    found = faults(toy(tmp_path, text))
    assert any(said in fault for fault in found), found
    assert all(re.match(r"toy/thing\.(yaml|csv):\d+: ", fault) for fault in found)


def test_faults_of_rows_are_told_with_their_line(tmp_path: Path) -> None:
    lines = ["day,count,note,status,mark,source", "2026-02-30,1.5,,read,,T", "2026-01-01,2,,guess,loud,T"]
    toy(tmp_path, "\n".join([*lines, "2026-01-01,2", "2026-01-01,,,read,,", ""]), "rows.csv")
    columns = "{day: date, count: integer, note: text?, status: text, mark: text?, source: text}"
    law = toy(tmp_path, f"description: Rows\nverified_on: 2026-01-01\ncolumns: {columns}\n", "rows.yaml")
    assert faults(law) == [
        "toy/rows.csv:2: `count` is `1.5`. Its column holds an integer.",
        "toy/rows.csv:2: `day` is `2026-02-30`. Its column holds a date, written as 2026-01-31.",
        "toy/rows.csv:3: mark is `loud`. It must be one of: secondary, computed, disagree.",
        "toy/rows.csv:3: status is `guess`. It must be one of: read, memory, assumption.",
        "toy/rows.csv:4: this row has 2 cells; the header has 6.",
        "toy/rows.csv:5: `count` is empty. Fill it in.",
        "toy/rows.csv:5: `source` is empty. Fill it in.",
    ]
    (tmp_path / "toy" / "stray.csv").write_text("a\n1\n", encoding="utf-8")
    assert any("stray.csv:1: these rows have no .yaml file" in fault for fault in faults(Law("toy", tmp_path)))


# ---------------------------------------------------------------- other countries, a new year


def test_a_country_that_depreciates_by_pools_can_be_written_down(tmp_path: Path) -> None:
    # A toy pool: one declining balance for a whole class of machines, its rate changing by date.
    pools = """
rate:
  description: Writing-down rate of a pool
  unit: rate
  after_last: hold
  verified_on: 2026-11-25
  by: [pool]
  values:
    - {from: 2020-01-01, value: {main: 0.18, long: 0.06}, status: assumption, source: {title: A toy}}
    - {from: 2026-04-01, value: {main: 0.14, any: 0.06}, status: assumption, source: {title: A toy}}
"""
    law = toy(tmp_path, pools, "pools.yaml")
    assert law.get("pools.rate", date(2026, 3, 31), pool="main").value == 0.18
    assert law.get("pools.rate", date(2026, 4, 1), pool="main").value == 0.14
    assert law.get("pools.rate", date(2026, 4, 1), pool="long").value == 0.06
    assert law.states() == ()


def run_page(page: str, folder: Path) -> int:
    """Run the Python of a page as its reader would, and return how many lines it has; a wrong answer raises."""
    load.cache_clear()
    code = "\n".join(re.findall(r"```python\n(.*?)```", page, re.DOTALL))
    test = doctest.DocTestParser().get_doctest(code, {"folder": folder}, "adding_a_tax_year.md", None, 0)
    result = doctest.DebugRunner(verbose=False).run(test)
    load.cache_clear()
    return result.attempted


def test_the_page_on_adding_a_tax_year_does_what_it_says(tmp_path: Path) -> None:
    page = (ROOT / "docs" / "adding_a_tax_year.md").read_text(encoding="utf-8")
    shutil.copytree(SHIPPED / "us", tmp_path / "us")
    with pytest.raises(doctest.DocTestFailure):  # nothing of it may be true before the rows are added
        run_page(page, tmp_path)
    added = 0
    for kind, block in re.findall(r"```(yaml|csv)\n(.*?)```", page, re.DOTALL):
        named = re.match(r"# (us/\S+)\n", block)
        if not named:
            continue
        path = tmp_path / named[1]
        assert path.suffix == f".{kind}"
        path.write_text(path.read_text(encoding="utf-8") + block[named.end() :], encoding="utf-8")
        added += 1
    assert added == 2
    assert run_page(page, tmp_path) >= 8


def test_examples_in_the_docstrings_hold() -> None:
    for module in (parameters, values):
        result = doctest.testmod(module)
        assert result.attempted and not result.failed


def test_parameters_stand_on_the_ground_floor() -> None:
    for path in Path(parameters.__file__).parent.glob("*.py"):
        for line in re.findall(r"^\s*(?:from|import) (equipdecide\S*)", path.read_text(encoding="utf-8"), re.MULTILINE):
            assert line.startswith("equipdecide.parameters"), path


def test_the_same_law_is_given_each_time_and_tables_are_not_dated_values(law: Law) -> None:
    assert load() is load()
    assert isinstance(law.parameter("federal/bonus_rates"), RowsFile)
    assert law.columns("federal/bonus_rates")["placed_from"] == "date"
