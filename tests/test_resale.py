"""Resale: a band and never one number, curves kept apart, comparables of the owner with every fault of their file."""

import datetime as dt

import pytest

from equipdecide.resale.bands import curves, ladder, value_band
from equipdecide.resale.comparables import Comparable, ComparablesError, fit_comparables, read_comparables


def test_the_machine_of_the_demonstration():
    """168,500 paid, 5.3 years: BEA 84,300, appraiser's rule 87,800, and offers of 52,000 to 98,000 lie within the band.

    By hand: 168,500 x 0.8775 ** 5.3 = 84,400 (84,300 from rounded tables); x 0.82 x 0.9 ** 4.3 = 87,800.
    """
    band = value_band(5.3, 168_500)
    low, likely, high = band
    assert band.by_curve["national accounts, metalworking machines"] == pytest.approx(84_300, abs=250)
    (rule,) = [value for name, value in band.by_curve.items() if name.startswith("appraiser")]
    assert rule == pytest.approx(87_800, abs=250)
    assert low < 52_000 and high > 98_000
    assert 66_000 < likely < 80_000  # a dealer's letter says 71,000
    assert any(finding.code == "never_one_number" for finding in band.findings)


def test_curves_as_printed_name_their_source():
    assert len(curves()) == 9
    for curve in curves():
        assert curve.source and curve.mark in ("read", "memory", "assumption")
        assert list(curve.shares) == sorted(curve.shares, reverse=True)
        assert curve.at(0) == 1.0
        assert curve.at(99) == curve.shares[-1]


def test_market_and_list_price():
    plain = value_band(4, 100_000)
    weak = value_band(4, 100_000, market=0.8, as_of=dt.date(2026, 9, 14))
    assert tuple(weak) == pytest.approx([0.8 * value for value in plain])
    assert weak.as_of == dt.date(2026, 9, 14)
    dear = value_band(4, 100_000, new_price_now=130_000)
    assert tuple(dear) == pytest.approx([1.3 * value for value in plain])
    assert "cost_for_list" not in [finding.code for finding in dear.findings]


def test_hours_widen_the_band():
    plain, much = value_band(6, 100_000), value_band(6, 100_000, hours_a_year=5_000)
    assert much.low < plain.low and much.likely < plain.likely
    assert much.high == pytest.approx(plain.high)
    assert "hours_stretch_age" in [finding.code for finding in much.findings]


def test_what_cannot_be():
    for age, cost in ((-1, 100), (2, 0)):
        with pytest.raises(ValueError, match="age must be 0"):
            value_band(age, cost)


def test_ladder_goes_down():
    rungs = list(ladder(100_000).values())
    assert [low for low, _ in rungs] == sorted((low for low, _ in rungs), reverse=True)
    assert rungs[0] == (100_000, 100_000)


def made(age, hours, c=(0.95, 0.10, 0.004), price=200_000):
    share = (c[0] - c[1] * age**0.5 - c[2] * hours**0.5) ** 2
    return Comparable(dt.date(2026, 6, 1), price * share, "sold", price, age, hours)


def test_comparables_give_back_their_coefficients():
    sample = [made(age, hours) for age, hours in ((2, 1_500), (5, 2_500), (8, 900), (11, 4_000), (4, 3_000))]
    fit = fit_comparables(sample)
    assert (fit.c1, fit.c2, fit.c3) == pytest.approx((0.95, 0.10, 0.004), abs=1e-6)
    band = value_band(6, 180_000, hours_a_year=2_000, new_price_now=200_000, comparables=sample)
    assert band.likely == pytest.approx(made(6, 2_000).price, rel=1e-6)
    assert "fitted to 5 comparables" in band.basis
    with pytest.raises(ValueError, match="four or more"):
        fit_comparables(sample[:3])


def test_asking_prices_come_down():
    asked = Comparable(dt.date(2026, 6, 1), 100_000, "asking", 200_000, 5, None)
    assert asked.share == pytest.approx(0.45)
    band = value_band(5, 200_000, comparables=[asked])
    assert band.likely == pytest.approx(90_000)
    assert {"few_comparables", "asking_prices"} <= {finding.code for finding in band.findings}


def test_every_fault_of_a_file(tmp_path):
    path = tmp_path / "used.csv"
    path.write_text(
        "date,price,kind,new_price,age_years,hours_a_year,what\n"
        '2026-06-01,"71,000",sold,168500,5,1900,like ours\n'
        "June,52000,wanted,168500,5,,auction\n"
        "2026-06-01,cheap,asking,0,-3,1900,\n",
        encoding="utf-8",
    )
    with pytest.raises(ComparablesError) as caught:
        read_comparables(path)
    said = str(caught.value).splitlines()
    assert len(said) == 5
    assert said[0].startswith("used.csv:3: 'June' is no day")
    assert "kind is 'wanted'" in said[1]
    assert all(line.startswith("used.csv:4:") for line in said[2:])
    path.write_text("day,price\n", encoding="utf-8")
    with pytest.raises(ComparablesError, match="columns are missing: date, kind, new_price, age_years"):
        read_comparables(path)
    path.write_text("date,price,kind,new_price,age_years,hours_a_year,what\n", encoding="utf-8")
    with pytest.raises(ComparablesError, match="no machine is listed"):
        read_comparables(path)
    path.write_text(
        'date,price,kind,new_price,age_years,hours_a_year,what\n2026-06-01,"71,000",sold,168500,5,,like ours\n',
        encoding="utf-8",
    )
    (one,) = read_comparables(path)
    assert (one.price, one.hours_a_year, one.what) == (71_000, None, "like ours")
