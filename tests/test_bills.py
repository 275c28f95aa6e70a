"""Upkeep from repair bills: level and growth by hand, what is said, and every fault of the file."""

from pathlib import Path

import pytest

import equipdecide as ed
from equipdecide.cli import main
from equipdecide.evaluate import evaluate

WATCH = (Path(__file__).parents[1] / "scenarios" / "night_watch.yaml").read_text(encoding="utf-8")
ENTERED = "{first_year: 9,000 .. 11,800 .. 17,000, growth: 9 %, from: guess, by: Ines}"
EARLY = ["2023-03-01,900", "2023-09-14,50"]  # before the first whole year, the second on its very eve: left out


def scenario(folder, rows, head="date,amount", upkeep="{bills: repairs.csv}"):
    text = (
        WATCH.replace(ENTERED, upkeep).replace("        log: nightlog.csv\n", "").replace("ends_causes: {", "costs: {")
    )
    text = text.replace(
        "air pressure alarm: 40 % .. 75 % .. 100 %, coolant level low: 40 % .. 75 % .. 100 %", "call: 90"
    )
    (folder / "repairs.csv").write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    (folder / "shop.yaml").write_text(text, encoding="utf-8")
    return folder / "shop.yaml"


def posted(folder, rows, head="date,amount"):
    ledger = evaluate(ed.load(scenario(folder, rows, head)))["keep"]
    first, growth = (ledger.column(f"bills of MC-1.{name}").figure() for name in ("first_year", "growth"))
    return first, growth, [f.text for f in ledger.findings if f.code.startswith(("upkeep_", "meter_"))], ledger


def test_years_that_grow_evenly(tmp_path):
    """4,000, 4,400, 4,840 up to 14 September 2024, 2025, 2026: growth 10 %, so 5,324 in the coming year."""
    rows = ["2024-01-10,1000", "2024-09-14,3000", "2024-09-15,4400", "2026-03-01,2840", "2026-09-14,2000"]
    first, growth, said, ledger = posted(tmp_path, EARLY + rows)
    assert (first, growth) == (pytest.approx(5_324), pytest.approx(0.10))
    assert "4,000; 4,400; 4,840" in said[0] and "growth 10.0 % a year".replace(" %", "%") in said[0]
    years, paid = ledger.column("capacity.years").per_row(), ledger.column("upkeep.upkeep_0").per_row()
    since = ledger.column("upkeep.year_0").per_row()
    assert paid == pytest.approx(5_324 * 1.10**since * years)


def test_years_that_scatter(tmp_path):
    """4,000, 6,000, 5,760: three points, slope half of log(1.44): 20 %; level the geometric mean x 1.2 squared."""
    rows = ["2024-01-10,4000", '2025-01-10,"6,000"', "2026-01-10,6000", "2026-02-01,-240"]
    first, growth, said, _ = posted(tmp_path, EARLY + rows)
    assert growth == pytest.approx(0.20)
    assert first == pytest.approx((4_000 * 6_000 * 5_760) ** (1 / 3) * 1.44)
    assert "least squares" in said[0] and "up to 16% off" in said[0]  # 6,000 over the geometric mean 5,171: 16 %


def test_the_range_that_bills_make_likely(tmp_path):
    """4,000, 6,000, 5,760 off their line by logs of 0.928, 1.160, 0.928: squares 0.03319 over one degree of freedom.

    The coming year lies two years from their middle: error root of 0.03319 x (1 + 1/3 + 4/2) = 0.3326; e to that: 1.39.
    """
    rows = ["2024-01-10,4000", '2025-01-10,"6,000"', "2026-01-10,6000", "2026-02-01,-240"]
    _, _, said, ledger = posted(tmp_path, EARLY + rows)
    assert ledger.column("bills of MC-1.error").figure() == pytest.approx(0.3326, abs=5e-4)
    assert "0.72 to 1.39 of that" in said[0] and "`of_bills: 0.72 .. 1 .. 1.39`" in said[0]
    # with it upkeep can be tried: the first year is moved by the factor, and the tornado finds the input
    text = scenario(tmp_path, EARLY + rows, upkeep="{bills: repairs.csv, of_bills: 0.72 .. 1 .. 1.39}")
    read = ed.load(text)
    path = "machines.MC-1.upkeep.of_bills"
    low, entered = (evaluate(read, values)["keep"].column("upkeep.upkeep_0").per_row() for values in ({path: 0.72}, {}))
    assert low == pytest.approx(0.72 * entered)
    assert path in {bar.path for bar in ed.tornado(read).bars}
    with pytest.raises(ed.ScenarioError, match="without `bills`"):
        ed.load(scenario(tmp_path, rows, upkeep="{first_year: 900, growth: 3 %, of_bills: 1.2}"))


def test_a_steep_growth_is_warned_of(tmp_path):
    """2,000, 3,000, 4,500: 50 % a year, 6,750 to come."""
    first, growth, said, _ = posted(tmp_path, [*EARLY, "2024-01-10,2000", "2025-01-10,3000", "2026-01-10,4500"])
    assert (first, growth) == (pytest.approx(6_750), pytest.approx(0.50))
    assert "does not go on for years" in said[0]


def test_too_few_years_claim_no_growth(tmp_path):
    rows = ["2024-01-10,4000", "2025-01-10,6000", "2026-01-10,7000"]
    first, growth, said, _ = posted(tmp_path, rows)
    assert (first, growth) == (6_500, 0)
    assert "fewer than 3 whole years" in said[0] and "no growth is claimed" in said[0]


def test_a_year_without_a_bill_claims_no_growth(tmp_path):
    first, growth, said, _ = posted(tmp_path, [*EARLY, "2024-01-10,4000", "2026-01-10,7000"])
    assert (first, growth) == (pytest.approx(11_000 / 3), 0)
    assert "a year without a bill" in said[0]


def test_by_the_meter_and_a_reset(tmp_path):
    """900 h to 1,900, then a new meter with 500: 1,500 h at least; 3,000 billed after the first
    reading: 2.00 an hour.
    """
    rows = ["2024-01-10,400,900", "2024-06-10,1000,1900", "2025-01-10,1200,", "2026-01-10,800,500"]
    _, _, said, _ = posted(tmp_path, rows, "date,amount,hours")
    assert any("3,000 was billed over 1,500 h of the meter, 2.00 an hour" in text for text in said)
    assert any("was reset or changed" in text for text in said)


def test_every_fault_at_once(tmp_path, capsys):
    rows = ["soon,4000", "2025-01-10,4000,3", "2025-01-10,much", "2027-01-10,100", "2024-01-01,100"]
    file = scenario(tmp_path, rows)
    assert main(["check", str(file)]) == 2
    text = capsys.readouterr().out
    for number in (2, 3, 4, 5):
        assert f"repairs.csv:{number}:1" in text
    assert "repairs.csv:6" not in text


@pytest.mark.parametrize(
    ("rows", "head", "upkeep", "what"),
    [
        (["2024-01-01,100"], "day,amount", "{bills: repairs.csv}", "columns missing: date"),
        (["2024-01-01,100,9"], "date,amount,euro", "{bills: repairs.csv}", "not known or twice: euro"),
        ([], "date,amount", "{bills: repairs.csv}", "holds no bill"),
        (["2026-01-01,100"], "date,amount", "{bills: repairs.csv}", "no whole year"),
        (["2024-01-01,100"], "date,amount", "{bills: repairs.csv, growth: 5 %}", "both given"),
        (["2024-01-01,100"], "date,amount", "{bills: none.csv}", "not in the folder"),
        (["2024-01-01,100"], "date,amount", "{first_year: 900}", "`growth` is missing"),
        (["2024-01-01,100"], "date,amount", "{growth: 9 %}", "`first_year` is missing"),
    ],
)
def test_faults_one_by_one(tmp_path, rows, head, upkeep, what):
    with pytest.raises(ed.ScenarioError) as error:
        ed.load(scenario(tmp_path, rows, head, upkeep))
    assert [what in fault.what for fault in error.value.faults] == [True]


def test_bills_say_nothing_of_an_improved_machine(tmp_path):
    file = scenario(tmp_path, [*EARLY, "2025-01-10,4000"])
    text = file.read_text(encoding="utf-8").replace(
        "    changes:\n      nights", "    changes:\n      upkeep: {bills: repairs.csv}\n      nights"
    )
    with pytest.raises(ed.ScenarioError, match="as improved"):
        ed.loads(text, folder=tmp_path)


def test_the_whole_way_from_file_to_explanation(tmp_path, capsys):
    file = scenario(tmp_path, [*EARLY, "2024-01-10,4000", "2025-01-10,4400", "2026-01-10,4840"])
    assert main(["explain", str(file), "keep", "bills of MC-1.growth"]) == 0
    assert "least squares" in capsys.readouterr().out
    assert main(["compare", str(file), "--full"]) == 0
    assert "repair bills" in capsys.readouterr().out
    assert main(["workbook", str(file), "-o", str(tmp_path / "book.xlsx")]) == 0
