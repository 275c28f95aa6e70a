"""Planned against actual: a small shop worked by hand, the demo's twelve months, and what is wrong with a file."""

import math
from pathlib import Path

import pytest

import equipdecide as ed
from equipdecide.after.actuals import WHATS, ActualsError, parse_actuals, read_actuals
from equipdecide.after.look_back import corrected, look_back
from equipdecide.scenario.reading import amounts
from equipdecide.views.look_back_page import look_back_page, look_back_text

ROOT = Path(__file__).parents[1]

# No tax, no interest, years of 365 days: every figure can be worked on paper.
REFIT = """
title: Refit or keep
decision_date: 2026-01-01
regime: flat
flat: {tax_rate: 0 %}
machine_in_question: [lathe]
study: {years: 4, rate: 0 %}
shop: {name: Shop, taxed_as: sole proprietor}
machines:
  lathe:
    what: lathe
    assets: {lathe: {cost: 50,000, in_service: 2020-01-10}}
    upkeep: {first_year: 6,000, growth: 0 %}
    worth_at_end: 0
improvements:
  refit:
    what: new ways and drives
    machine: lathe
    capital_costs: {parts: 9,000}
    changes:
      upkeep: {first_year: 1,500 .. 2,000 .. 2,600, growth: 0 %, from: guess, by: Ada}
alternatives:
  keep: []
  refit: [{do: improve, improvement: refit, on: 2026-01-01}]
"""
CAME = """
course: refit
actuals:
  - {what: upkeep, value: 700, since: 2026-01-01, on: 2026-03-14}
  - {what: upkeep, value: 800, since: 2026-03-15, on: 2026-05-26}
  - {what: improvements.refit.capital_costs.parts, value: 9,900, on: 2026-01-20}
"""


@pytest.fixture(scope="module")
def refit():
    return ed.compare(ed.loads(REFIT))


@pytest.fixture(scope="module")
def deck():
    return ed.compare(ed.load(ROOT / "scenarios" / "deck_fittings.yaml"))


@pytest.fixture(scope="module")
def demo(deck):
    return look_back(deck, read_actuals(deck, ROOT / "scenarios" / "deck_fittings_actuals.yaml"))


def test_the_small_shop_by_hand(refit):
    """Planned: 4 years of 4,000 saved, less 9,000: 7,000 ahead. Came: 1,500 in 146 days, two fifths of a year.

    If 3,750 a year goes on: 4 years of 2,250 saved, less 9,900: 900 short. With later years as planned: 146 of the
    study's 1,461 days at 3,750 and the rest at 2,000.
    """
    assert refit["refit"].npv_less_keep == pytest.approx(7000, abs=0.01)
    result = look_back(refit, parse_actuals(refit, CAME))
    upkeep, parts = (
        next(row for row in result.rows if row.what == "upkeep"),
        next(row for row in result.rows if row.what != "upkeep"),
    )
    assert (upkeep.planned, upkeep.actual, upkeep.ratio) == (2000, pytest.approx(3750), pytest.approx(1.875))
    assert upkeep.inside_range is False and (upkeep.by, upkeep.given_by, upkeep.of) == ("Ada", "guess", "lathe")
    assert upkeep.effect == pytest.approx(-4 * 1750, abs=0.01)
    assert (parts.actual, parts.effect) == (9900, pytest.approx(-900, abs=0.01))
    assert [(then.month, then.known) for then in result.then] == [(1, 1), (3, 2), (6, 3)]
    assert result.then[0].goes_on == result.then[0].as_planned == pytest.approx(7000 - 900, abs=0.01)
    last = result.then[-1]
    assert last.goes_on == pytest.approx(-900, abs=0.01) and last.best == "keep"
    later = 2000 + 1750 * 146 / 1461
    assert last.as_planned == pytest.approx(4 * (6000 - later) - 9900, abs=0.01)


def test_upkeep_of_a_later_year_is_taken_back_to_the_first(refit):
    """Growth 10 %: 2,420 in the third year is 2,000 in the first."""
    comparison = ed.compare(ed.loads(REFIT.replace("growth: 0 %, from: guess", "growth: 10 %, from: guess")))
    came = "course: refit\nactuals: [{what: upkeep, value: 2,420, since: 2028-01-01, on: 2028-12-30}]\n"
    (row,) = look_back(comparison, parse_actuals(comparison, came)).rows
    assert row.actual == pytest.approx(2000, abs=0.01)
    assert row.month == 24  # the last look back: nothing later is planned


def test_how_guesses_have_run(refit):
    """Two of one kind, half as much again each: 1.5 is offered; Ada has one figure, which is too few."""
    text = REFIT.replace(
        "capital_costs: {parts: 9,000}",
        "capital_costs: {parts: {likely: 6,000, from: quote}, labour: {likely: 3,000, from: quote}}",
    )
    comparison = ed.compare(ed.loads(text))
    came = (
        CAME.replace("parts, value: 9,900", "parts, value: 9,000")
        + "  - {what: improvements.refit.capital_costs.labour, value: 4,500, on: 2026-01-20}\n"
    )
    result = look_back(comparison, parse_actuals(comparison, came))
    runs = {(run.of, run.name): run for run in result.runs}
    quote, ada = runs["guesser", "quote"], runs["guesser", "Ada"]
    assert (quote.count, quote.guessed_low, quote.runs) == (2, 2, "low")
    assert quote.correction == pytest.approx(1.5)
    assert (ada.count, ada.runs, ada.correction) == (1, "low", None)
    assert [run.name for run in result.corrections] == ["quote"]
    guess = amounts(comparison.scenario)["improvements.refit.changes.upkeep.first_year"]
    offered = corrected(guess, quote)
    assert (offered.low, offered.likely, offered.high) == (2250, 3000, 3900)
    with pytest.raises(ValueError, match="no correction"):
        corrected(guess, ada)
    assert (
        amounts(comparison.scenario)["improvements.refit.changes.upkeep.first_year"] is not offered
    )  # nothing was applied


def test_guesses_that_lean_both_ways_are_not_corrected():
    text = REFIT.replace(
        "capital_costs: {parts: 9,000}",
        "capital_costs: {parts: {likely: 6,000, from: quote}, labour: {likely: 3,000, from: quote}}",
    )
    comparison = ed.compare(ed.loads(text))
    costs = "improvements.refit.capital_costs"
    came = "course: refit\nactuals:\n" + "".join(
        f"  - {{what: {costs}.{name}, value: {value}, on: 2026-02-01}}\n"
        for name, value in (("parts", 12000), ("labour", 2000))
    )
    run = next(run for run in look_back(comparison, parse_actuals(comparison, came)).runs if run.name == "quote")
    assert run.mean_ratio == pytest.approx(math.sqrt(2.0 * 2 / 3)) and run.correction is None


def test_the_demo_twelve_months(deck, demo):
    """Shares and rates worked by hand from the file's own figures."""
    rows = {row.what: row for row in demo.rows}
    assert rows["first good part"].actual == 10  # 30 October to 9 November
    assert rows["hours cut"].actual == pytest.approx(1168 / (2000 * 356 / 365))  # 9 November to 30 October, 356 days
    assert rows["nights run"].actual == pytest.approx(171 * 365 / 356)
    assert rows["upkeep"].actual == pytest.approx((2240 + 2905 + 5310) * 365 / 356)
    assert rows["hours between stops"].actual == 11.1  # the last that was seen
    assert (rows["contract renewed"].planned, rows["contract renewed"].actual) == (0.75, 0)
    assert rows["tax of the year"].planned == pytest.approx(
        float(deck["upgrade"].column("federal return Ines as filed.tax").per_row()[0])
    )
    assert rows["tax of the year"].effect is None
    assert [then.month for then in demo.then] == [1, 3, 6, 12]
    assert demo.planned == deck["upgrade"].npv_less_keep
    assert demo.then[-1].goes_on < demo.then[-1].as_planned < demo.planned
    assert "Walt" in {run.name for run in demo.corrections}


def test_what_a_reader_sees(demo, tmp_path):
    text = look_back_text(demo)
    assert (
        "P5 bracket: Chance that it is renewed" in text
        and "Offered for next" in text
        and "nothing here changes a guess" in text
    )
    assert max(map(len, text.splitlines())) <= 96
    page = look_back_page(demo, tmp_path / "look.html")
    assert page.count("<tr") == len(demo.rows) + len(demo.then) + 1 + 2
    assert "http" not in page and len(demo.to_frame()) == len(demo.rows)


def test_a_payoff_and_a_price_are_held_against_the_plan(deck):
    """The letter asks for 54,833.31 on 18 September; the buyer pays 70,250 where 71,000 was offered."""
    came = "course: sell and do without\nactuals:\n  - {what: payoff, value: 54,861.41, on: 2026-09-21}\n"
    came += "  - {what: price got, value: 70,250, on: 2026-09-18}\n"
    result = look_back(deck, parse_actuals(deck, came))
    rows = {row.what: row for row in result.rows}
    assert rows["payoff"].planned == pytest.approx(54833.31, abs=0.005) and rows["payoff"].effect is None
    assert (rows["price got"].planned, rows["price got"].of) == (71000, "MC-1")
    assert -750 < rows["price got"].effect < -400  # 750 less, and less tax on it


BAD = """course: upgrade
actuals:
  - {what: days lost, of: kit, value: 12, on: 2026-11-09}
  - {what: upkeep, of: MC-1, value: 2,240, on: 2027-01-29}
  - {what: days down, of: R1, value: 12, on: 2026-11-09}
  - {what: share of good parts, of: MC-1, value: 98.3, on: 2027-10-30}
  - {what: pieces ordered, value: 90, since: 2026-11-09, on: 2027-10-30}
  - {what: first good part, of: kit, on: 2026-01-09}
  - {what: nights run, of: MC-1, value: 50, since: 2026-11-09, on: 2027-01-30}
  - {what: nights run, of: MC-1, value: 50, since: 2027-01-30, on: 2027-04-30}
  - {what: hours lost learning, of: kit, on: 2027-01-29}
"""


def test_every_fault_of_the_file_at_once(deck):
    with pytest.raises(ActualsError) as caught:
        parse_actuals(deck, BAD, "came.yaml")
    faults = [(fault.place.line, fault.path.rpartition(".")[2]) for fault in caught.value.faults]
    assert faults == [
        (3, "what"),
        (4, "since"),
        (5, "of"),
        (6, "value"),
        (7, "of"),
        (8, "on"),
        (10, "since"),
        (11, "value"),
    ]
    said = str(caught.value)
    assert "98.3 %" in said and "counted twice" in said and "Add `since:`" not in said and "There is: kit" in said


@pytest.mark.parametrize(
    ("text", "path"),
    [
        ("course: upgrad\nactuals: [{what: payoff, on: 2026-10-10}]", "course"),
        ("course: upgrade\nactuals: []", "actuals"),
        ("course: upgrade", "actuals"),
        ("course: upgrade\nactuals: [{wat: payoff, on: 2026-10-10}]", "actuals.0.wat"),
        ("course: upgrade\nactuals: [{what: upkeep, on: soon}]", "actuals.0.on"),
        ("", ""),
    ],
)
def test_files_that_cannot_be_read(deck, text, path):
    with pytest.raises(ActualsError) as caught:
        parse_actuals(deck, text, "came.yaml")
    assert path in [fault.path for fault in caught.value.faults]


def test_every_word_is_tried():
    """Each word of WHATS stands in a test's file or in the demo's: none is there unused."""
    tried = (ROOT / "scenarios" / "deck_fittings_actuals.yaml").read_text(encoding="utf-8") + Path(__file__).read_text(
        encoding="utf-8"
    )
    assert [word for word in WHATS if f"what: {word}," not in tried] == []


def test_a_month_that_is_none(refit):
    with pytest.raises(ValueError, match="a month or more"):
        look_back(refit, parse_actuals(refit, CAME), [0, 3])
