"""Frames of results are tidy: one row a thing, and every column of money says so in its name."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import equipdecide as ed

SCENARIO = Path(__file__).parents[1] / "scenarios" / "deck_fittings.yaml"
UNIT = re.compile(r"_(usd|usd_per_year|years|days|hours|h|share)(_error)?$")
# figures without a unit: ratios, shares, chances, counts, and inputs whose unit stands in a column of its own
BARE = re.compile(
    r"rate|share|chance|coverage|distance|year|month|period|low|high|entered|flip|swing$|credited|^days_to_"
)


@pytest.fixture(scope="module")
def scenario():
    return ed.load(SCENARIO)


VERBS = ("compare", "sale", "breakeven", "routes", "money", "lender", "tornado", "service_life", "sell_when", "whose",
         "papers", "cash_calendar", "simulate")  # fmt: skip


@pytest.mark.parametrize("verb", VERBS)
def test_money_in_a_frame_says_its_unit(scenario, verb: str) -> None:
    frame = getattr(ed, verb)(scenario, **({"trials": 64} if verb == "simulate" else {})).to_frame()
    assert len(frame) and frame.columns.is_unique
    figures = [name for name in frame.select_dtypes("number").columns if name not in ("entered", "low", "high", "flip")]
    assert figures
    unsaid = [name for name in figures if not UNIT.search(name) and not BARE.search(name)]
    assert unsaid == [], unsaid
    texts = frame.select_dtypes(exclude="number").astype(str).to_numpy().ravel()
    assert not any("$" in text for text in texts)


def test_chances_bear_no_dollars_and_all_else_of_a_simulation_does(scenario) -> None:
    """Eleven figures of a course, each with its error: worth, lead and regret in dollars, four chances."""
    runs = ed.simulate(scenario, trials=64)
    frame = runs.to_frame().set_index("alternative")
    figures = [name for name in frame.columns if not name.endswith("_error")]
    dollars = {name for name in figures if name.endswith("_usd")}
    assert {name for name in figures if name.startswith("chance_")} == set(figures) - dollars
    assert {"npv_mean_usd", "npv_deviation_usd", "less_keep_p5_usd", "regret_usd", "regret_affordable_usd"} <= dollars
    assert frame.loc["keep", "npv_mean_usd"] == runs.npv("keep").mean()
