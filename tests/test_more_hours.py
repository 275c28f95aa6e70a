"""A second shift, Saturdays and a better-fed machine as steps; what the limit is; nights drawn: all by hand."""

from math import exp
from pathlib import Path

import pytest

import equipdecide as ed
from equipdecide.cli import main
from equipdecide.evaluate import evaluate
from equipdecide.views import charts, shop_charts
from equipdecide.views.flip_list import flip_in_words

SCENARIOS = Path(__file__).parents[1] / "scenarios"


@pytest.fixture(scope="module")
def lathe():
    return ed.load(SCENARIOS / "more_hours.yaml")


def test_hours_and_limits_by_hand(lathe):
    """3,000 sleeves and 1,666.67 seats of 18 min are 1,400 h at 70; 900 h of jobbing at 40: orders end at 2,300 h."""
    found = ed.hours(lathe)
    good = {one.name: one.good_standard_hours for one in found.alternatives}
    assert good == pytest.approx({"keep": 1_100, "second shift": 1_980, "Saturdays": 1_320, "feed it better": 1_300})
    for one in found.alternatives:
        assert one.limits["orders"] == pytest.approx(2_300, abs=0.01)
        assert one.limits["inspection"] == 1_750
    assert {one.name: one.limit for one in found.alternatives} == {
        "keep": "the machine", "second shift": "inspection", "Saturdays": "the machine", "feed it better": "the machine",
    }  # fmt: skip
    # 1,100 h at 70; the second shift stops at inspection's 1,750: 1,400 at 70 and 350 at 40 (a leap year is a day more)
    made = {one.name: one.contribution for one in found.alternatives}
    assert made["keep"] == pytest.approx(77_000, rel=0.004)
    assert made["second shift"] == pytest.approx(1_400 * 70 + 350 * 40, rel=0.004)
    assert made["Saturdays"] == pytest.approx(1_320 * 70, rel=0.004)


def test_which_of_them_pays(lathe):
    """Hours gained at what they earn, less wages: 35,000 - 48,000 - upkeep; 15,400 - 16,800; 14,000 for 9,500 once."""
    courses = ed.compare(lathe)
    worth = {o.name: o.npv_less_keep for o in courses}
    assert courses.best == "feed it better"
    # five years at 10 % are 3.791; a quarter goes in tax: 0.75 x 3.791 = 2.843, a little more since flows fall early
    assert worth["Saturdays"] == pytest.approx(-1_400 * 2.843, rel=0.1)
    assert worth["feed it better"] == pytest.approx((14_000 * 3.791 - 9_500) * 0.75, rel=0.1)
    assert worth["second shift"] < -13_000 * 2.843  # its higher upkeep comes on top


def test_a_station_by_the_piece_is_followed_along_the_stairs():
    """Inspection takes 6 min of a sleeve (18 min): 80 h of it last 240 h of the lathe, the contract
    parts being first.
    """
    text = (SCENARIOS / "more_hours.yaml").read_text(encoding="utf-8")
    text = text.replace("other_limits: {inspection: 1,750}", "other_limits: {inspection: 80}")
    text = text.replace("minutes: 18, demand: 3,000,", "minutes: 18, demand: 3,000, elsewhere: {inspection: 6},")
    keep = ed.hours(ed.loads(text, folder=SCENARIOS))["keep"]
    assert keep.limits["inspection"] == pytest.approx(240)
    assert keep.limit == "inspection"


def test_an_overrun_range_is_drawn(lathe):
    """The overrun of the retrofit is an input like any other: at 2,800 more it costs 2,800 x 0.75
    of present worth, about.
    """
    path = "improvements.presetter.capital_costs.overrun"
    dear, plain = (
        evaluate(lathe, {path: amount})["feed it better"].column("worth.npv").figure() for amount in (2_800, 0)
    )
    assert plain - dear == pytest.approx(2_800 * 0.75, rel=0.1)


def test_the_two_forms_of_a_learning_rate():
    """From 80 %, 1.6 x the standard: batch 2 takes 1.28 by Crawford; by Wright 1.6 x (2 x 0.8 - 1)
    = 0.96, the standard.
    """
    text = (SCENARIOS / "more_hours.yaml").read_text(encoding="utf-8")
    for form, second in (("each batch", 0.28), ("average of all", 0.0)):
        ramp = f"{{start: 1.6, rate: 80 %, batch: 4 h, form: {form}}}"
        scenario = ed.loads(
            text.replace("{start: 1.5, rate: 85 %, batch: 4 h, form: each batch}", ramp), folder=SCENARIOS
        )
        over = evaluate(scenario)["feed it better"].column("learning lathe with presetter.over").per_row()
        assert (over[0], over[1]) == (pytest.approx(0.6), pytest.approx(second, abs=1e-9))


def test_hours_to_count_on_by_hand():
    """At 7.125 h between stops five hours run 3.593, at 342/71.420 and 342/30.755 (chi-square table) 3.10 and 4.03."""
    found = ed.hours(ed.load(SCENARIOS / "deck_fittings.yaml")).windows[5.0]
    thetas = (7.125, 342 / 71.420, 342 / 30.755)
    assert found == pytest.approx([t * (1 - exp(-5 / t)) for t in thetas], abs=0.002)


def test_the_watcher_turns_where_the_arithmetic_does():
    """Each night gains 0.3143 h x 0.972, at few nights of the bracket that must ship: (10.90 + 4.00) / 11.5 min = 77.7.

    7,300 over seven years at 10 % (4.868), tax alike on both sides, plus a day of fitting: about 66 nights a year, 1.3
    a week.
    """
    gain = (6.4 * 24 / 18 * (1 - exp(-5 * 18 / 24 / 6.4)) - 6.4 * (1 - exp(-5 / 6.4))) * 0.972 * (10.90 + 4) / 11.5 * 60
    a_day = (2_000 * 0.60 + 66 * 6.4 * (1 - exp(-5 / 6.4))) * 0.972 / 250 * (10.90 + 4) / 11.5 * 60
    by_hand = (7_300 + a_day) / (4.868 * gain)
    scenario = ed.load(SCENARIOS / "night_watch.yaml")
    found = ed.breakeven(scenario, "machines.MC-1.running.nights.nights", "watcher")
    (flip,) = found.between("watcher")
    assert flip.flip == pytest.approx(by_hand, abs=3)
    assert flip.a_week == (pytest.approx(190 / 50), pytest.approx(by_hand / 50, abs=0.06))  # 50 weeks are worked


def test_nights_a_week_stand_beside_nights_a_year(capsys):
    file, path = str(SCENARIOS / "night_watch.yaml"), "machines.MC-1.running.nights.nights"
    assert main(["breakeven", file, "--input", path, "--course", "watcher"]) == 0
    text = capsys.readouterr().out
    assert "3.8 a week" in text and "1.3 a week" in text
    (flip,) = ed.breakeven(ed.load(file), path, "watcher").between("watcher")
    assert "190 (3.8 a week) now; at " in flip_in_words(flip) and "(1.3 a week)" in flip_in_words(flip)
    assert main(["breakeven", file, "--input", "study.rate", "--course", "conveyor"]) == 0
    assert "a week" not in capsys.readouterr().out


def test_the_conveyor_by_hand():
    """A second tray: 40 parts of 13 min last 8.67 h, so the night is 8 h, not 5. Prices are common practice, no source.

    Hours alone: 190 x 6.4 x (exp(-5/6.4) - exp(-8/6.4)) = 208.3 a year more, the last three of a night far from
    certain. All go into cleat bases, 38.20 for 19.5 min: 202.5 good hours at 117.54, 23,800 a year. With few nights
    they are of the bracket that must ship, 77.74 an hour: 17,100, three days down and 20 h of learning, over 4.868, and
    900 a year of its upkeep, are met at about 60 nights a year, 1.2 a week.
    """
    scenario = ed.load(SCENARIOS / "night_watch.yaml")
    found = ed.hours(scenario)
    keep, conveyor = found["keep"], found["conveyor"]
    a_night = 6.4 * (exp(-5 / 6.4) - exp(-8 / 6.4))
    assert 190 * a_night == pytest.approx(208.3, abs=0.1)
    assert conveyor.night_hours - keep.night_hours == pytest.approx(190 * a_night)
    assert conveyor.good_standard_hours - keep.good_standard_hours == pytest.approx(190 * a_night * 0.972)
    earned = conveyor.contribution - keep.contribution  # a leap year is a day more
    assert earned == pytest.approx(190 * a_night * 0.972 * 38.20 / 19.5 * 60, rel=0.01)
    hour = (10.90 + 4) / 11.5 * 60
    a_day = (2_000 * 0.60 + 60 * 6.4 * (1 - exp(-5 / 6.4))) * 0.972 / 250 * hour
    by_hand = ((17_100 + 3 * a_day + 20 * hour) / 4.868 + 900) / (a_night * 0.972 * hour)
    (flip,) = ed.breakeven(scenario, "machines.MC-1.running.nights.nights", "conveyor").between("conveyor")
    assert flip.flip == pytest.approx(by_hand, abs=3)
    assert flip.a_week is not None and flip.a_week[1] == pytest.approx(by_hand / 50, abs=0.06)


def test_night_survival_is_drawn(tmp_path):
    found = ed.hours(ed.load(SCENARIOS / "deck_fittings.yaml"))
    ax = shop_charts.night_survival(found)
    assert charts.title(ax) == "50 % of the 48 logged nights ran through; count on 3.6 of 5 hours (3.1 to 4)"
    assert "5 h: log 50 %" in charts.alt_text(ax)
    assert charts.svg(ax) == charts.svg(shop_charts.night_survival(found))
    assert len(shop_charts.hours_chart(found).figure.axes) == 2
    with pytest.raises(ValueError, match="no log of evenings"):
        shop_charts.night_survival(ed.hours(ed.load(SCENARIOS / "more_hours.yaml")))
    for name in ("deck_fittings", "more_hours"):
        out = tmp_path / f"{name}.svg"
        assert main(["hours", str(SCENARIOS / f"{name}.yaml"), "--chart", str(out), "-o", str(tmp_path / "h.txt")]) == 0
        assert out.read_text(encoding="utf-8").startswith("<svg")
