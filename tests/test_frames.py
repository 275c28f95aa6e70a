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
         "papers", "cash_calendar")  # fmt: skip


@pytest.mark.parametrize("verb", VERBS)
def test_money_in_a_frame_says_its_unit(scenario, verb: str) -> None:
    frame = getattr(ed, verb)(scenario).to_frame()
    assert len(frame) and frame.columns.is_unique
    figures = [name for name in frame.select_dtypes("number").columns if name not in ("entered", "low", "high", "flip")]
    assert figures
    unsaid = [name for name in figures if not UNIT.search(name) and not BARE.search(name)]
    assert unsaid == [], unsaid
    texts = frame.select_dtypes(exclude="number").astype(str).to_numpy().ravel()
    assert not any("$" in text for text in texts)
