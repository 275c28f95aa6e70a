"""The best mix of a scenario: with one limit it is the engine's, with two it says what ranking gives away."""

from pathlib import Path

import pytest

import equipdecide as ed

SCENARIOS = Path(__file__).parents[1] / "scenarios"

# The corner of test_product_mix.py as a shop: 100 h of mill and 160 h of inspection; A 60 a piece, 1 h and 1 h; B 50 a
# piece, half an hour and 2 h. Both bind at 80 A and 40 B, 6,800. By hours of the mill alone B comes first: 100 B in 50
# h
# and 50 A, 8,000, which would take 250 h of inspection where there are 160.
TWO_LIMITS = """
title: Two stations
decision_date: 2026-01-01
regime: flat
flat: {tax_rate: 0 %}
machine_in_question: mill
study: {years: 2, rate: 10 %, periods: years}
shop: {name: Two stations, taxed_as: sole proprietor, other_limits: {inspection: 160}}
machines:
  mill: {what: mill, running: {staffed_hours: 100, cutting_share: 100 %}}
parts:
  A: {price: 60, minutes: 60, demand: 150, elsewhere: {inspection: 60}}
  B: {price: 50, minutes: 30, demand: 100, elsewhere: {inspection: 120}}
alternatives: {keep: []}
"""


def test_two_limits_by_hand():
    s = ed.loads(TWO_LIMITS)
    evaluation = ed.evaluate(s)
    found = ed.mix(s, evaluation)["keep"]
    assert found.mix is not None
    assert found.mix.quantities == pytest.approx({"A": 80, "B": 40})
    assert found.mix.contribution == pytest.approx(6_800)
    assert [finding.code for finding in found.findings] == ["ranking_fails"]
    keep = evaluation["keep"]
    assert keep.column("contribution.contribution").figure() == pytest.approx(8_000)
    assert keep.column("contribution.needed at inspection").figure() == pytest.approx(250)
    (short,) = [finding for finding in keep.findings if finding.code == "station_short"]
    assert "about 90 h a year" in short.text
    assert "one more hour of inspection" in str(ed.mix(s))


def test_enough_of_the_other_station_and_nothing_is_said():
    s = ed.loads(TWO_LIMITS.replace("{inspection: 160}", "{inspection: 300}"))
    assert ed.mix(s)["keep"].findings == ()
    assert not any(finding.code == "station_short" for finding in ed.compare(s).findings)
    assert ed.mix(s)["keep"].mix.contribution == pytest.approx(8_000)


@pytest.mark.parametrize("name", ["deck_fittings", "quillhaven_grinder"])
def test_with_one_limit_the_programme_is_the_staircase(name):
    """The formulas fill by rank, the programme solves: two ways to one figure (a year of days, so
    within a thousandth).
    """
    s = ed.load(SCENARIOS / f"{name}.yaml")
    evaluation = ed.evaluate(s)
    filled, solved = ed.hours(s, evaluation), ed.mix(s, evaluation)
    looked = 0
    for one in solved.alternatives:
        if one.mix is not None:
            looked += 1
            assert one.mix.contribution == pytest.approx(filled[one.name].contribution, rel=2e-3)
            assert one.mix.findings == ()
    assert looked >= 3


def test_what_must_ship_and_does_not_fit():
    s = ed.loads(TWO_LIMITS.replace("demand: 150,", "demand: 150, must_ship: 120, falling_short: {penalty: 5},"))
    found = ed.mix(s)["keep"]
    assert found.mix is None
    assert found.findings[0].code == "must_ship_does_not_fit"


def test_faults():
    with pytest.raises(ed.ScenarioError, match="no other station is named 'inspecton'"):
        ed.loads(TWO_LIMITS.replace("elsewhere: {inspection: 60}", "elsewhere: {inspecton: 60}"))
    with pytest.raises(ValueError, match="no parts"):
        ed.mix(ed.load(SCENARIOS / "first_sale.yaml"))
