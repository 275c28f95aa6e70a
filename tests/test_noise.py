"""Noise: thresholds, what is said, and what may not be compared."""

import pytest

from equipdecide.shop.noise import (
    CAUTIONS,
    NIOSH,
    OSHA_CONSERVATION,
    OSHA_PERMISSIBLE,
    Exposure,
    Level,
    add_levels,
    add_levels_by_table,
    noise_day,
    quieter,
)


def codes(day):
    return [finding.code for finding in day.findings]


def test_thresholds():
    """89.9 dBA counts for nothing in the permissible dose and for almost all in the other; 79.9 in neither."""
    assert OSHA_PERMISSIBLE.dose([89.9], [8]) == 0
    assert OSHA_CONSERVATION.dose([89.9], [8]) == pytest.approx(98.6, abs=0.05)
    assert OSHA_CONSERVATION.dose([79.9], [8]) == 0
    assert NIOSH.dose([79.9], [8]) == 0


def test_what_is_said():
    assert codes(noise_day([Exposure("mill", 84.9, 8)])) == []
    assert codes(noise_day([Exposure("mill", 85.0, 8)])) == ["action_level"]
    assert codes(noise_day([Exposure("saw", 92, 8)])) == ["over_permissible", "action_level", "over_recommended"]
    assert codes(noise_day([Exposure("hammer", 116, 0.002), Exposure("office", 60, 9)])) == ["over_ceiling", "long_shift"]


def test_shares_of_the_day():
    """An air gun of 96 dBA for 0.4 h: 100 x 0.4 / 3.482 = 11.49 of the 53.8 %."""
    day = noise_day([Exposure("mill", 83, 3.5), Exposure("finisher", 86, 2), Exposure("air gun", 96, 0.4), Exposure("deburring", 88, 1.2)])
    assert day.shares["air gun"] == pytest.approx(11.49 / 53.8, abs=5e-4)
    assert sum(day.shares.values()) == pytest.approx(1.0)


def test_a_silent_day_has_no_level():
    day = noise_day([Exposure("office", 60, 8)])
    assert set(day.doses.values()) == {0.0}
    assert all(level == float("-inf") for level in day.levels.values())


def test_idle_is_not_compared_with_cutting():
    apart, why = quieter(Level(83, "cutting"), Level(74, "idle", "brochure"))
    assert apart is None
    assert why is not None and why.code == "idle_against_cutting"
    assert quieter(Level(83, "cutting"), Level(80, "cutting")) == (3, None)


def test_faults():
    for call in (lambda: add_levels([]), lambda: add_levels_by_table([]), lambda: NIOSH.dose([90], [1, 2]), lambda: NIOSH.dose([90], [-1])):
        with pytest.raises(ValueError):
            call()


def test_cautions_defer():
    assert any("dosimeter" in caution for caution in CAUTIONS)
