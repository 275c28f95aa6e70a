"""In which year to replace as new machines change: by hand, in words, and what is refused."""

from __future__ import annotations

import pytest

import equipdecide as ed
from equipdecide.scenario.examples import example
from equipdecide.views.renewal import replace_when_headline

SWAP = """
title: Replace it when?
decision_date: 2026-01-01
regime: flat
flat: {tax_rate: 0 %}
machine_in_question: [old]
study: {years: 2, rate: 0 %}
shop: {name: Shop, taxed_as: sole proprietor}
machines:
  old: {what: old one, costs: {rent: 1,200}, worth_at_end: 2,500}
  new: {what: new one, price: 6,000, worth_at_end: 1,500}
offers:
  dealer: {machine: old, route: outright, price: 10,000}
alternatives:
  keep: []
  swap:
    - {do: buy, machine: new, on: 2026-01-01}
    - {do: sell, machine: old, by: dealer, on: 2026-01-01}
"""


def test_by_hand():
    """At no interest. Old: 10,000, 5,000, 2,500 by years, 1,200 of rent a year. New: 6,000, 3,000, 1,500, no costs."""
    found = ed.replace_when(ed.loads(SWAP))
    assert found.value == pytest.approx([10_000, 5_000, 2_500])
    assert found.kept == pytest.approx([-1_200, -1_200]) and found.renewed == pytest.approx([0, 0])
    never = -1_200 - 1_200 + 2_500
    now = 10_000 - 6_000 + 1_500
    next_year = -1_200 + 5_000 - 6_000 + 3_000
    assert found.over_never == pytest.approx([now - never, next_year - never])
    assert found.first == 0 and found.plan.replaced == (0,)
    # each year's new machine costs half of the last: waiting saves 3,000 and loses 1,200 and 5,000 of value
    half = ed.replace_when(ed.loads(SWAP), cheaper=0.5)
    assert half.over_never[1] == pytest.approx(-1_200 + 5_000 - 3_000 + 1_500 - never)
    # now, and again after a year: 3,000 for the first, 3,000 for the second, which brings 1,500
    assert half.over_never[0] == pytest.approx(max(now, 10_000 - 6_000 + 3_000 - 3_000 + 1_500) - never)
    assert half.waits_if_cheaper is None and half.waits_if_better is None


def test_waiting_pays_where_the_machine_loses_little_and_the_new_one_gets_cheap():
    text = SWAP.replace("price: 10,000", "price: 3,000").replace("rent: 1,200", "rent: 600")
    # old: 3,000, 2,738.61, 2,500; at a fall g the year's wait gains 6,000 g of price and loses on resale and rent:
    # now: 3,000 - 6,000 + 1,500 = -1,500; in a year: -600 + 2,738.61 - 6,000 (1 - g) + 3,000 (1 - g); equal at g* below
    equal = 1 - (-600 + 2_738.6128 + 1_500) / 3_000
    assert equal == pytest.approx(-0.2129, abs=1e-4)  # even with later machines dearer, so waiting is right at once
    found = ed.replace_when(ed.loads(text))
    assert found.over_never[1] > found.over_never[0]
    # never: -1,200 + 2,500 = 1,300 beats both (-1,500; -861)
    assert found.first is None
    assert "in no year of the study worth more than keeping old" in replace_when_headline(found)
    assert found.waits_if_cheaper == 0.0


def test_words_follow_the_figures():
    demo = ed.load(example("deck_fittings"))
    now = replace_when_headline(ed.replace_when(demo))
    assert "if begun now" in now and "Waiting would be right if new machines got at least" in now
    later = ed.replace_when(demo, cheaper=0.4)
    assert later.first is not None and later.first > 0
    words = replace_when_headline(later)
    assert f"in {2026 + later.first}" in words and "more than now" in words
    assert list(later.to_frame()["price_then_usd"][:2]) == pytest.approx([288_500, 0.6 * 288_500])


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"course": "keep"}, "'keep' does not"),
        ({"course": "nothing"}, "no alternative 'nothing'"),
        ({"machine": "MC-9"}, "no machine 'MC-9'"),
        ({"machine": "new"}, "no course of this file does"),
    ],
)
def test_what_cannot_be_asked(asked, said):
    with pytest.raises(KeyError, match=said):
        ed.replace_when(ed.loads(SWAP), **asked)


@pytest.mark.parametrize("asked", [{"cheaper": 1.0}, {"better": -1.0}, {"cheaper": float("nan")}])
def test_changes_that_cannot_be(asked):
    with pytest.raises(ValueError, match="100 %"):
        ed.replace_when(ed.loads(SWAP), **asked)
