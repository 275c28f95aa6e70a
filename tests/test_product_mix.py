"""Two limits at once: a mix found by hand, when ranking fails, and what an hour is worth."""

import pytest

from equipdecide.shop.product_mix import Product, best_mix, machine_hour_rate

# By hand: A 60 a piece, 1 h mill, 1 h inspection; B 50, 0.5 h mill, 2 h inspection; 100 h mill, 160 h inspection.
# Both limits bind where a + 0.5 b = 100 and a + 2 b = 160: b = 40, a = 80, worth 6,800. Duals: u + v = 60 and 0.5 u + 2
# v
# = 50 give v = 40/3, u = 140/3. Ranking by inspection: A first (60 an hour of it): 100 h of mill make 100 A, 6,000.
PRODUCTS = {"A": Product(60, {"mill": 1, "inspection": 1}, 150), "B": Product(50, {"mill": 0.5, "inspection": 2}, 100)}
HOURS = {"mill": 100, "inspection": 160}


def test_the_corner_by_hand():
    mix = best_mix(PRODUCTS, HOURS)
    assert mix.quantities == pytest.approx({"A": 80, "B": 40})
    assert mix.contribution == pytest.approx(6_800)
    assert mix.hour_worth == pytest.approx({"mill": 140 / 3, "inspection": 40 / 3})
    assert mix.certificate == pytest.approx(0, abs=1e-6)
    assert mix.ranked_by == "inspection"
    assert mix.ranked == pytest.approx(6_000)
    assert [finding.code for finding in mix.findings] == ["ranking_fails"]


def test_one_more_hour_is_worth_its_dual():
    base = best_mix(PRODUCTS, HOURS)
    more = best_mix(PRODUCTS, HOURS | {"mill": 101})
    assert more.contribution - base.contribution == pytest.approx(140 / 3)


def test_one_limit_and_ranking_holds():
    mix = best_mix(PRODUCTS, HOURS | {"inspection": 10_000})
    assert mix.findings == ()
    assert mix.ranked == pytest.approx(mix.contribution)
    assert mix.binding == ("mill",)


def test_what_must_ship_comes_first():
    products = PRODUCTS | {"C": Product(1, {"mill": 2}, 10, must_ship=10)}
    mix = best_mix(products, HOURS)
    assert mix.quantities["C"] == pytest.approx(10)
    assert mix.contribution < 6_800
    assert mix.certificate == pytest.approx(0, abs=1e-6)
    with pytest.raises(ValueError, match=r"mill by 300\.0 h"):
        best_mix({"C": Product(1, {"mill": 2}, 200, must_ship=200)}, HOURS)
    with pytest.raises(ValueError, match="needs hours of lathe"):
        best_mix({"C": Product(1, {"lathe": 2}, 200)}, HOURS)


def test_a_machine_hour_rate_falls_with_hours():
    rates = [machine_hour_rate(100_000, 10_000, 30_000, {"standing": 9_000}, hours) for hours in (1_000, 2_000)]
    assert rates == pytest.approx([12.0, 7.5])
