"""What a stop at night costs the next morning, and crashes as a rate: hours and money by hand."""

from math import exp, log
from pathlib import Path

import pytest

import equipdecide as ed
from equipdecide.cli import main
from equipdecide.evaluate import evaluate

SCENARIOS = Path(__file__).parents[1] / "scenarios"
WATCH = (SCENARIOS / "night_watch.yaml").read_text(encoding="utf-8")
CRASHES = "      crashes: {{{}cost: 18,000, days: 6}}\n      nights:\n"


def read(text):
    return ed.loads(text, folder=SCENARIOS)


def with_mornings():
    return WATCH.replace("        nights: 100 .. 190 .. 220\n", "        nights: 190\n        recovery: 0.8 h\n")


def with_crashes(rate):
    return WATCH.replace("      nights:\n        nights:", CRASHES.format(rate) + "        nights:", 1)


def test_a_stopped_night_costs_the_next_morning():
    """190 nights of 5 h at 6.4 h between stops: 103.0 stop, at 0.8 h each 82.4 h; the watcher's
    8.533 h: 84.3, 67.4 h.
    """
    found = ed.hours(read(with_mornings()))
    plain = ed.hours(read(WATCH))
    for name, theta in (("keep", 6.4), ("watcher", 6.4 / (1 - 6 / 24))):
        stopped = 190 * (1 - exp(-5 / theta))
        assert found[name].recovery_hours == pytest.approx(0.8 * stopped)
        assert found[name].staffed_hours == pytest.approx(2_000 * 0.60 - 0.8 * stopped)
        assert found[name].night_hours == plain[name].night_hours
        good = (2_000 * 0.60 - 0.8 * stopped + theta * stopped) * 0.972
        assert found[name].good_standard_hours == pytest.approx(good)
    assert found["keep"].recovery_hours == pytest.approx(82.4, abs=0.1)
    assert found["watcher"].recovery_hours == pytest.approx(67.4, abs=0.1)
    # a longer night is stopped more often: eight hours on the conveyor's tray
    assert found["conveyor"].recovery_hours == pytest.approx(0.8 * 190 * (1 - exp(-8 / 6.4)))
    # all these hours lie among the brackets that must ship: (10.90 + 4.00) / 11.5 min an hour, nights and mornings
    # gained
    gain = found["watcher"].good_standard_hours - found["keep"].good_standard_hours
    earned = found["watcher"].contribution - found["keep"].contribution
    assert earned == pytest.approx(gain * (10.90 + 4.00) / 11.5 * 60, rel=0.05)


def test_none_entered_leaves_the_figures_alone():
    one = ed.hours(read(WATCH))["keep"]
    assert (one.recovery_hours, one.crash_hours) == (0, 0)
    assert one.staffed_hours == pytest.approx(1_200)


@pytest.mark.parametrize("rate", ["a_year: 0.2, ", "count: 1, over_years: 5, "])
def test_crashes_cost_money_and_days(rate):
    """0.2 a year: 0.2 x 18,000 = 3,600 a year; 0.2 x 6 = 1.2 of 250 working days, 0.48 % of the hours."""
    scenario, plain = read(with_crashes(rate)), read(WATCH)
    keep, before = ed.hours(scenario)["keep"], ed.hours(plain)["keep"]
    spindle = 1_200 + 190 * 6.4 * (1 - exp(-5 / 6.4))
    assert keep.crash_hours == pytest.approx(spindle * 1.2 / 250)
    assert keep.good_standard_hours == pytest.approx(spindle * (1 - 1.2 / 250) * 0.972)
    assert keep.staffed_hours == before.staffed_hours
    ledger, without = evaluate(scenario)["keep"], evaluate(plain)["keep"]
    assert ledger.column("crashes of MC-1.cost_a_year").figure() == pytest.approx(3_600)
    years = ledger.column("capacity.years").per_row()
    more = ledger.column("upkeep.upkeep").per_row() - without.column("upkeep.upkeep").per_row()
    assert more == pytest.approx(3_600 * years)
    said = [f.text for f in ledger.findings if f.code == "crash_rate"]
    if "count" in rate:
        # one in 5 years: 2T / chi-square(0.025; 2) and (0.975; 4), 10 / 0.0506 and 10 / 11.143 (any table): 0.005 to
        # 1.11
        assert said == ["MC-1: 1 crash in 5 years, 0.20 a year on average (95 % interval 0.01 to 1.11)."]
    else:
        assert said == []


def test_no_crash_so_far_is_not_none_ever():
    """With none in 5 years the bound is -ln(0.05) / 5 = 0.60 a year."""
    ledger = evaluate(read(with_crashes("count: 0, over_years: 5, ")))["keep"]
    (text,) = [f.text for f in ledger.findings if f.code == "crash_rate"]
    assert f"up to {-log(0.05) / 5:.2f} a year" in text
    assert ledger.column("crashes of MC-1.cost_a_year").figure() == 0


def test_an_improvement_may_end_crashes():
    text = with_crashes("a_year: 0.2, ").replace(
        "    changes:\n      ends_causes",
        "    changes:\n      crashes: {a_year: 0.1, cost: 18,000, days: 6}\n      ends_causes",
    )
    found = ed.hours(read(text))
    share = found["watcher"].crash_hours / (found["watcher"].staffed_hours + found["watcher"].night_hours)
    assert share == pytest.approx(0.1 * 6 / 250)


def test_hours_shows_both(tmp_path, capsys):
    both = with_crashes("a_year: 0.2, ").replace(
        "        window: 5 h\n", "        window: 5 h\n        recovery: 0.8 h\n", 1
    )
    file = tmp_path / "both.yaml"
    file.write_text(both, encoding="utf-8")
    (tmp_path / "nightlog.csv").write_bytes((SCENARIOS / "nightlog.csv").read_bytes())
    assert main(["hours", str(file)]) == 0
    text = capsys.readouterr().out
    assert "mornings after a stop" in text and "days down after a crash" in text
    assert main(["explain", str(file), "keep", "hours of MC-1.crash_hours"]) == 0
    assert main(["explain", str(file), "keep", "crashes of MC-1.cost_a_year"]) == 0
    assert main(["hours", str(SCENARIOS / "night_watch.yaml")]) == 0
    assert "after a" not in capsys.readouterr().out.split("hours cut alone")[-1].split("good standard")[0]


@pytest.mark.parametrize(
    ("rate", "what"),
    [
        ("", "nothing says how often it crashes"),
        ("count: 1, ", "needs the years"),
        ("over_years: 5, ", "needs the years"),
        ("a_year: 0.2, count: 1, ", "both given"),
        ("count: 1, over_years: 0, ", "over 0 years"),
    ],
)
def test_faults_of_crashes(rate, what):
    with pytest.raises(ed.ScenarioError) as error:
        read(with_crashes(rate))
    assert [what in fault.what for fault in error.value.faults] == [True]
