"""Time elements: records that overlap or lie outside, what an indicator is over, and the identities of ISO 22400-2."""

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipdecide.shop.time_elements import KINDS, Output, Stop, Stretch, elements, indicators, meter_hours

DAY = dt.datetime(2026, 9, 14, 6)


def at(minute):
    return DAY + dt.timedelta(minutes=minute)


SHIFT = [Stretch(at(0), at(480))]


def codes(findings):
    return [finding.code for finding in findings]


def test_overlapping_records_count_once_and_are_said():
    """100 to 160 a delay, 140 to 200 a set-up: 20 min stand twice; the delay keeps them."""
    time, findings = elements(SHIFT, [Stop(at(140), at(200), "set-up"), Stop(at(100), at(160), "delay")])
    assert (time.delay, time.set_up, time.production) == (60, 40, 380)
    assert codes(findings) == ["overlapping_stops"]
    assert "20 min" in findings[0].text


def test_a_record_inside_another_adds_nothing():
    time, findings = elements(
        SHIFT, [Stop(at(0), at(100), "delay"), Stop(at(20), at(60), "set-up"), Stop(at(90), at(110), "set-up")]
    )
    assert (time.delay, time.set_up) == (100, 10)
    assert "50 min" in findings[0].text


def test_stops_outside_the_shift_are_said():
    time, findings = elements(SHIFT, [Stop(at(470), at(500), "delay")])
    assert time.delay == 10
    assert codes(findings) == ["outside_shifts"]


def test_shifts_that_overlap_count_once():
    time, findings = elements([Stretch(at(0), at(480)), Stretch(at(450), at(960))], [])
    assert time.planned_operation == 960
    assert codes(findings) == ["overlapping_shifts"]


def test_effectiveness_above_one_is_shown_and_said():
    time, _ = elements(SHIFT, [Stop(at(0), at(80), "set-up")])
    found, findings = indicators(time, Output(5.0, 100, 100))
    assert found["effectiveness"].value == pytest.approx(500 / 400)
    assert codes(findings) == ["effectiveness_over_1"]


def test_nothing_is_divided_by_nothing():
    time, _ = elements(SHIFT, [Stop(at(0), at(480), "planned downtime")])
    found, _ = indicators(time)
    assert "availability" not in found


def test_more_good_than_made_is_said():
    time, _ = elements(SHIFT, [])
    assert "more_good_than_made" in codes(indicators(time, Output(4.0, 100, 99, scrap=3))[1])


def test_a_stretch_that_ends_before_it_starts():
    with pytest.raises(ValueError, match="before it starts"):
        elements(SHIFT, [Stop(at(20), at(10))])


@given(st.lists(st.tuples(st.integers(0, 470), st.integers(1, 60), st.sampled_from(KINDS)), max_size=12))
def test_identities(rows):
    """Allocation x utilization = availability; OEE = planned minutes of the good over planned busy;
    NEE/OEE = AUPT/APT.
    """
    time, _ = elements(SHIFT, [Stop(at(start), at(start + length), kind) for start, length, kind in rows])
    assert time.no_order + time.delay + time.set_up + time.production == pytest.approx(time.planned_busy)
    if time.production <= 0:
        return
    found, _ = indicators(time, Output(4.0, 90, 85))
    value = {name: one.value for name, one in found.items()}
    assert value["allocation efficiency"] * value["utilization efficiency"] == pytest.approx(value["availability"])
    assert value["availability"] * value["effectiveness"] * value["quality ratio"] == pytest.approx(value["OEE index"])
    assert value["NEE index"] / value["OEE index"] == pytest.approx(time.processing / time.production)


def test_every_indicator_says_what_it_is_over():
    time, _ = elements(SHIFT, [Stop(at(0), at(30), "delay")])
    assert all(one.over for one in indicators(time, Output(4.0, 90, 85))[0].values())


def test_a_meter_that_was_reset():
    """6,000 to 6,400, zeroed, then 150 and 480: 400 + 150 + 330 hours at least."""
    days = [dt.date(2022, 1, 1), dt.date(2023, 1, 1), dt.date(2023, 6, 1), dt.date(2024, 1, 1)]
    hours, findings = meter_hours(list(zip(days, [6_000, 6_400, 150, 480], strict=True)))
    assert hours == 880
    assert codes(findings) == ["meter_reset"]
    assert meter_hours(list(zip(days, [1, 2, 3, 5], strict=True))) == (4, ())
    with pytest.raises(ValueError, match="two readings"):
        meter_hours([(days[0], 5)])
