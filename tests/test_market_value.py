"""The band of a used machine, by hand from the tables and the comparables; and its command."""

from pathlib import Path

import pytest

import equipdecide as ed
from equipdecide.cli import main

SCENARIOS = Path(__file__).parents[1] / "scenarios"


def demo(market=""):
    text = (SCENARIOS / "deck_fittings.yaml").read_text(encoding="utf-8")
    return ed.loads(text.replace("    noise: 84\n", f"    noise: 84\n{market}", 1), folder=SCENARIOS)


def test_each_curve_by_hand():
    """MC-1 at 5.33 years (2021-05-17 to 2026-09-14), 168,500 without freight: shares straight between whole years."""
    found = ed.market_value(demo("    market: {bare_price: 168,500}\n"))
    assert found.age == pytest.approx(5.33, abs=0.005)
    part = found.age - 5
    for curve, fifth, sixth in (
        ("percent good, mississippi 10 years", 0.58, 0.49),
        ("percent good, galveston 12 years", 0.65, 0.58),
        ("national accounts, metalworking machines", 0.8775**5, 0.8775**6),
    ):
        assert found.now.by_curve[curve] == pytest.approx(168_500 * (fifth + part * (sixth - fifth)), abs=1), curve
    # at the end of the study the same machine is seven years older: 12.33, past Mississippi's last age of 10
    assert found.at_end.by_curve["percent good, mississippi 10 years"] == pytest.approx(0.20 * 168_500)
    assert found.as_entered == 26_000
    assert not any(f.code == "freight_in_cost" for f in found.findings)
    assert all(found.evidence.values())


def test_offers_stand_beside_the_band():
    """The dealer's 71,000 lies under what the middle curve leaves a dealer; every offer for MC-1 is named."""
    found = ed.market_value(demo())
    lies = {one.name: one.lies for one in found.offers}
    assert set(lies) == set(found.scenario.offers)
    assert lies["outright"] == "in the lower part"
    assert any(f.code == "freight_in_cost" for f in found.findings)


def test_the_market_factor_widens_the_band():
    plain, judged = (
        ed.market_value(demo(f"    market: {{bare_price: 168,500{more}}}\n")).now
        for more in ("", ", factor: 0.8 .. 0.9 .. 1.1")
    )
    assert (judged.low, judged.likely, judged.high) == pytest.approx(
        (0.8 * plain.low, 0.9 * plain.likely, 1.1 * plain.high)
    )


def test_two_comparables_by_hand(tmp_path):
    """Two sold at this very age bring 50 % and 40 % of a new price of 200,000: 90,000 between them,
    and sold as they are.
    """
    (tmp_path / "nightlog.csv").write_bytes((SCENARIOS / "nightlog.csv").read_bytes())
    age = ed.market_value(demo()).age
    (tmp_path / "used.csv").write_text(
        "date,price,kind,new_price,age_years,hours_a_year,what\n"
        f"2026-06-01,100000,sold,200000,{age},,one\n2026-06-09,80000,sold,200000,{age},,two\n",
        encoding="utf-8",
    )
    text = (SCENARIOS / "deck_fittings.yaml").read_text(encoding="utf-8")
    block = "    noise: 84\n    market: {bare_price: 168,500, new_price: 200,000, comparables: used.csv}\n"
    found = ed.market_value(ed.loads(text.replace("    noise: 84\n", block, 1), folder=tmp_path))
    assert found.now.likely == pytest.approx(90_000)
    assert found.rungs["sold by a dealer"] == pytest.approx((90_000, 90_000))
    (tmp_path / "used.csv").write_text(
        "date,price,kind,new_price,age_years,hours_a_year,what\nMay,1,sold,200000,5,,\n2026-06-01,1,lent,2,5,,\n",
        encoding="utf-8",
    )
    with pytest.raises(ValueError, match=r"used.csv:2: 'May' is no day[\s\S]*used.csv:3: kind is 'lent'"):
        ed.market_value(found.scenario)


def test_the_command(capsys):
    assert main(["value", str(SCENARIOS / "more_hours.yaml")]) == 0
    said = capsys.readouterr().out
    for words in ("that spread is the answer", "What each curve is evidence of", "one size larger", "auction"):
        assert words in said
    assert main(["value", str(SCENARIOS / "more_hours.yaml"), "--machine", "mill"]) == 1
    assert "no machine 'mill'" in capsys.readouterr().err
