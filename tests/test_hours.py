"""Hours by alternative, by hand from the demo's figures."""

from __future__ import annotations

from math import exp

import pytest

from equipdecide.decide.hours import HoursResult, hours
from equipdecide.decide.page_figures import Stair, Staircase
from equipdecide.scenario import load, loads
from equipdecide.scenario.examples import example
from equipdecide.views.hours_table import hours_text


@pytest.fixture(scope="module")
def demo() -> HoursResult:
    return hours(load(example("deck_fittings")))


def test_the_log_of_nights(demo: HoursResult) -> None:
    # 171.0 h over 24 stops; interval 2T / chi-square(0.975; 50) to 2T / chi-square(0.025; 48): 342 / 71.420 and
    # 342 / 30.755, percentage points of the chi-square distribution as any statistical table prints them
    assert demo.night is not None
    assert demo.night.hours == pytest.approx(171.0)
    assert demo.night.stops == 24
    assert demo.night.theta == pytest.approx(7.125)
    assert demo.night.low == pytest.approx(342 / 71.420, abs=0.005)
    assert demo.night.high == pytest.approx(342 / 30.755, abs=0.005)
    assert (round(demo.night.low, 2), round(demo.night.high or 0, 2)) == (4.79, 11.12)


@pytest.mark.parametrize(
    ("name", "staffed", "night", "cycle", "good", "about"),
    [
        ("keep", 2000 * 0.60, 190 * 6.4 * (1 - exp(-5 / 6.4)), 1.0, 0.972, 1807),
        ("upgrade", 2000 * 0.61, 190 * 12.5 * (1 - exp(-5 / 12.5)), 0.90, 0.98, 2181),
        ("replace by R1", 2000 * 0.68, 200 * 10.5 * (1 - exp(-9 / 10.5)), 0.92, 0.985, 2750),
        ("replace by R2", 2000 * 0.56, 190 * 9.0 * (1 - exp(-6 / 9)), 0.78, 0.978, 2448),
    ],
)
def test_hours_of_each_course(
    demo: HoursResult, name: str, staffed: float, night: float, cycle: float, good: float, about: int
) -> None:
    found = demo[name]
    assert found.staffed_hours == pytest.approx(staffed)
    assert found.night_hours == pytest.approx(night)
    assert found.good_standard_hours == pytest.approx((staffed + night) / cycle * good)
    assert found.good_standard_hours == pytest.approx(about, abs=1)


def test_contribution_and_profit_of_keeping(demo: HoursResult) -> None:
    good = (1200 + 190 * 6.4 * (1 - exp(-5 / 6.4))) * 0.972
    must_ship = 4000 * 11.5 / 60 + 260 * 44 / 60 + 2400 * 19.5 / 60 + 300 * 13 / 60
    # what must ship first, then the best rate: P1, 38.20 for 19.5 minutes
    contribution = 4000 * 10.90 + 260 * 74.50 + 2400 * 38.20 + 300 * 23.70 + (good - must_ship) * 38.20 / 19.5 * 60
    keep = demo["keep"]
    assert keep.contribution == pytest.approx(contribution, abs=0.01)
    spindle = 1200 + 190 * 6.4 * (1 - exp(-5 / 6.4))
    assert keep.profit_per_spindle_hour == pytest.approx((contribution - 11_800) / spindle, abs=0.001)


def test_the_first_full_year_after_everything_is_in_place(demo: HoursResult) -> None:
    years = {entry.name: entry.year_from.year if entry.year_from else None for entry in demo.alternatives}
    # kit on 30 October 2026, R1 accepted on 18 January 2027: their first full study year begins on 14 September 2027
    assert years["keep"] == 2026
    assert years["upgrade"] == years["replace by R1"] == years["replace by R2"] == years["sell and do without"] == 2027
    assert years["kit now, R1 if P5 renews"] == 2028
    gone = demo["sell and do without"]
    assert (gone.staffed_hours, gone.night_hours, gone.good_standard_hours) == (0, 0, 0)
    assert gone.profit_per_spindle_hour is None


def test_hours_over_keeping_are_the_area_under_the_stairs(demo: HoursResult) -> None:
    # by hand: 100 h at 50 that must ship, 60 over buying it outside, 200 h at 80, 100 h at 40
    steps = (Stair("a", 100, 50, True, 60), Stair("b", 200, 80, False, 80), Stair("c", 100, 40, False, 40))
    stairs = Staircase(steps, {})
    assert stairs.worth(0, 150) == 100 * 60 + 50 * 80
    assert stairs.worth(150, 350) == 150 * 80 + 50 * 40
    assert stairs.worth(350, 150) == -stairs.worth(150, 350)
    assert stairs.worth(380, 900) == 20 * 40
    # with the same orders and nothing short, the area is what the contribution of the year differs by
    keep, upgrade = demo["keep"], demo["upgrade"]
    more = demo.over_keep("upgrade")
    assert more is not None and keep.contribution is not None and upgrade.contribution is not None
    assert more[1] == pytest.approx(upgrade.contribution - keep.contribution, rel=0.01)
    assert demo.over_keep("keep") == (0, 0)
    # with mornings lost keeping falls short of what must ship; an hour then saves what falling short costs
    text = example("night_watch").read_text(encoding="utf-8").replace("log: nightlog.csv", "recovery: 1.5")
    text = text.replace("ends_causes: {air pressure alarm: 40 % .. 75 % .. 100 %, coolant level low: 40 % .. 75 % .. 100 %}",
                        "nights: {mean_between_stops: 8.7}")  # fmt: skip
    short = hours(loads(text))
    watcher, kept = short["watcher"].contribution, short["keep"].contribution
    fewer = short.over_keep("watcher")
    assert fewer is not None and watcher is not None and kept is not None
    assert fewer[1] == pytest.approx(watcher - kept, abs=kept / 365)  # the two years may differ by a leap day
    assert fewer[1] / fewer[0] < more[1] / more[0]
    assert "good hours over keeping" in hours_text(demo)


def test_keys_are_fixed(demo: HoursResult) -> None:
    data = demo.to_json()
    always = {"hours", "stops", "theta", "low", "high"}
    added = {"evenings", "mean_of_stopped_nights", "undetected", "causes", "weibull"}
    assert set(data["night"]) == always | added  # type: ignore[arg-type]
    for entry in data["alternatives"]:  # type: ignore[attr-defined]
        assert {
            "name",
            "staffed_hours",
            "night_hours",
            "good_standard_hours",
            "contribution",
            "profit_per_spindle_hour",
        } <= set(entry)
    assert "upkeep" in str(data["definition"])


def test_without_hours_there_is_nothing_to_say() -> None:
    data = hours(load(example("first_sale"))).to_json()
    assert data["night"] is None
    for entry in data["alternatives"]:  # type: ignore[attr-defined]
        assert (entry["staffed_hours"], entry["contribution"]) == (None, None)


def test_a_plan_that_is_never_in_place_for_a_year() -> None:
    text = example("first_sale").read_text(encoding="utf-8").replace("years: 5", "years: 1")
    assert hours(loads(text))["sell and replace"].year_from is None
