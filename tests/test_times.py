"""Where the hours of a logged week went, from the files of a scenario: by hand, with its findings and its faults."""

import datetime as dt
import json
from math import exp, log
from pathlib import Path

import pytest

import equipdecide as ed
from equipdecide.cli import main
from equipdecide.evaluate import evaluate
from equipdecide.scenario.time_log import read_meter, read_shifts, read_stops
from equipdecide.shop.time_elements import KINDS, Stop, Stretch, elements

SCENARIOS = Path(__file__).parents[1] / "scenarios"
RECORDS = SCENARIOS / "shop_records.yaml"
FILES = ("week_shifts.csv", "week_stops.csv", "lathe_meter.csv", "lathe_bills.csv")


@pytest.fixture
def week():
    return ed.times(ed.load(RECORDS)).machines[0]


def test_the_week_by_hand(week):
    """2,400 min of shifts: service 120; castings 140 + 180; set-up 90 + 60 + 70 + 60 + 30; delays 40 + 80 + 90 + 20.

    Half an hour of the last set-up lies within a delay, and 20 min of the last delay after the shift.
    """
    minutes = {e.name: e.hours * 60 for e in week.elements}
    assert minutes == pytest.approx(
        {
            "planned operation": 2_400, "planned downtime": 120, "planned busy": 2_280, "no order": 320, "busy": 1_960,
            "delay": 230, "processing": 1_730, "set-up": 310, "production": 1_420,
        }
    )  # fmt: skip
    assert week["production"].of_shifts == pytest.approx(1_420 / 2_400)
    assert week["production"].of_calendar == pytest.approx(1_420 / (4 * 1_440 + 480))  # Monday 6:00 to Friday 14:00
    found = {name: one.value for name, one in week.indicators.items()}
    assert found["availability"] == pytest.approx(1_420 / 2_280)
    assert found["effectiveness"] == pytest.approx(12 * 118 / 1_420)
    assert found["OEE index"] == pytest.approx(12 * 113 / 2_280)
    assert found["mean time to repair"] == pytest.approx(230 / 4)
    assert all(one.over for one in week.indicators.values())
    assert [f.code for f in week.findings] == ["overlapping_stops", "outside_shifts", "meter_reset"]
    assert "30 min" in week.findings[0].text and "20 min" in week.findings[1].text
    assert week.meter_hours == (10_655 - 9_120) + (12_210 - 10_655) + 310 + (2_905 - 310)


def test_an_effectiveness_above_one_is_a_finding():
    text = RECORDS.read_text(encoding="utf-8").replace("produced: 118", "produced: 130")
    one = ed.times(ed.loads(text, folder=SCENARIOS)).machines[0]
    assert one.indicators["effectiveness"].value == pytest.approx(12 * 130 / 1_420)
    assert "effectiveness_over_1" in [f.code for f in one.findings]


def test_the_command_says_what_each_share_is_over(capsys):
    assert main(["times", str(RECORDS)]) == 0
    text = capsys.readouterr().out
    for words in ("of the shifts", "of the calendar", "planned busy time; set-up counts as a loss", "was reset"):
        assert words in text
    assert main(["times", str(RECORDS), "--machine", "lathe", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["machines"][0]["elements"][0]["hours"] == 40
    assert main(["times", str(SCENARIOS / "first_sale.yaml")]) == 0
    assert "No machine names files" in capsys.readouterr().out
    assert "mathjax_ignore" in ed.times(ed.load(RECORDS))._repr_html_()


def test_every_fault_of_every_file_at_once(tmp_path):
    for name in FILES:
        (tmp_path / name).write_bytes((SCENARIOS / name).read_bytes())
    (tmp_path / "week_shifts.csv").write_text("start,end\nMonday,2026-09-07 14:00\n2026-09-08 14:00,2026-09-08 06:00\n")
    stops = ["start,end,kind,reason", "2026-09-07 06:00,2026-09-07 07:00,setup,x", "2026-09-07 06:00,2026-09-07 07:00"]
    (tmp_path / "week_stops.csv").write_text("\n".join([*stops, "2026-09-07T06:00Z,2026-09-07T07:00Z,delay,a, b"]))
    (tmp_path / "lathe_meter.csv").write_text("date,hours\nthen,5\n")
    text = RECORDS.read_text(encoding="utf-8").replace("      good: 113\n", "")
    with pytest.raises(ed.ScenarioError) as error:
        ed.loads(text, folder=tmp_path)
    said = [(f.place.file, f.place.line) for f in error.value.faults if f.place.file.endswith(".csv")]
    assert sorted(said) == [
        ("lathe_meter.csv", 2), ("week_shifts.csv", 2), ("week_shifts.csv", 3),
        ("week_stops.csv", 2), ("week_stops.csv", 3), ("week_stops.csv", 4),
    ]  # fmt: skip
    words = " ".join(f"{f.what} {f.mend}" for f in error.value.faults)
    for piece in ("'set-up'", "before it starts", "names a time zone", "3 cells"[2:], "`good` is missing"):
        assert piece in words


def test_columns_and_empty_files():
    assert "columns are not start, end" in read_shifts(["from,to"], "s.csv")[1][0].what
    assert read_shifts(["start,end"], "s.csv")[1][0].what == "too little is in the file"
    assert read_stops(["start,end,kind,reason"], "s.csv") == ([], [])
    assert len(read_meter(["date,hours", "2026-01-01,5"], "m.csv")[1]) == 1
    stops, _ = read_stops(["start,end,kind,reason", "2026-09-07,2026-09-08,Delay ,a, b"], "s.csv")
    assert (stops[0].kind, stops[0].reason, stops[0].start) == ("delay", "a, b", dt.datetime(2026, 9, 7))


def test_many_stops_over_many_shifts():
    """1,000 days of 480 min with a 30 min delay each, half of it after the shift, and a set-up of 60 within."""
    day = [dt.datetime(2024, 1, 1) + dt.timedelta(days=k) for k in range(1_000)]
    hours = dt.timedelta(hours=1)
    shifts = [Stretch(d + 6 * hours, d + 14 * hours) for d in day]
    stops = [Stop(d + 13.75 * hours, d + 14.25 * hours, "delay") for d in day]
    stops += [Stop(d + 8 * hours, d + 9 * hours, "set-up") for d in reversed(day)]
    time, findings = elements(shifts, stops)
    assert (time.planned_operation, time.delay, time.set_up) == (480_000, 15_000, 60_000)
    assert ["15,000 min" in f.text for f in findings] == [True]
    assert elements([], stops)[0].planned_operation == 0
    assert set(KINDS) == {"planned downtime", "no order", "set-up", "delay"}


def test_a_record_keeps_the_files():
    made = ed.record(ed.compare(ed.load(RECORDS)), "keep")
    assert set(FILES) <= set(made.files)


def test_the_records_by_hand():
    """120 nights of 6 h at 8 h between stops; one crash in 8 years; bills of 4,400, 4,600, 5,400, 6,100."""
    scenario = ed.load(RECORDS)
    keep, ledger = ed.hours(scenario)["keep"], evaluate(scenario)["keep"]
    stopped = 120 * (1 - exp(-6 / 8))
    staffed, night = 1_000 - 0.75 * stopped, 8 * stopped
    assert (keep.staffed_hours, keep.night_hours) == pytest.approx((staffed, night))
    assert keep.good_standard_hours == pytest.approx((staffed + night) * (1 - 5 / 8 / 250))
    # distances from the middle year -1.5, -0.5, 0.5, 1.5: their squares are 5 together
    slope = (1.5 * log(6_100 / 4_400) + 0.5 * log(5_400 / 4_600)) / 5
    first = (4_400 * 4_600 * 5_400 * 6_100) ** 0.25 * exp(2.5 * slope)
    assert ledger.column("bills of lathe.growth").figure() == pytest.approx(exp(slope) - 1)
    assert ledger.column("bills of lathe.first_year").figure() == pytest.approx(first)
    year = ledger.column("upkeep.upkeep").per_row() / ledger.column("capacity.years").per_row()
    assert year[0] == pytest.approx(first + 14_000 / 8)
