"""Every number can be explained: each column behind the present worth, down to inputs, law and choices."""

from __future__ import annotations

import json
import sys

import pytest

from equipdecide.decide.compare import Comparison, compare
from equipdecide.decide.sale import sale
from equipdecide.ledger import Column
from equipdecide.scenario import load
from equipdecide.scenario.examples import example
from equipdecide.views.explain import (
    RULES,
    Explanation,
    UnknownFigure,
    explain,
    figures,
    find,
    rule_says,
    unwind,
)
from equipdecide.views.in_words import Sentence
from equipdecide.words import plain

DEMO = example("deck_fittings")


@pytest.fixture(scope="module")
def demo() -> Comparison:
    return compare(load(DEMO))


def telling_rows(column: Column) -> set[int]:
    """First, last and largest row."""
    if column.wide or len(column.axis) == 1:
        return {0}
    return {0, len(column.axis) - 1, int(abs(column.per_row()).argmax())}


@pytest.mark.parametrize("name", list(load(DEMO).alternatives))
def test_every_number_can_be_explained(demo: Comparison, name: str) -> None:
    outcome = demo[name]
    known = {column.full_name for working in outcome.ledger.workings.values() for column in working}
    seen: set[str] = set()
    count = 0
    for column in unwind(outcome):
        assert column.full_name in known
        for row in telling_rows(column):
            made = explain(outcome, column.full_name, column.axis.labels[row])
            count += 1
            assert made.value is None or made.value == column.figure(row)
            assert made.sentence or made.origin, column.full_name
            assert made.rule_says or column.working in ("inputs", "law", "plain numbers"), column.full_name
            assert {part.ask for part in made.parts} <= known
            plain(made.text(), "cp1252").encode("cp1252")
            json.dumps(made.to_json())
            seen |= {part.ask for part in made.parts}
        if column.kind == "given":
            seen.add(column.full_name)
    assert count > 1000
    assert {"inputs", "law"} <= {name.partition(".")[0] for name in seen}


def test_the_figures_put_in_give_the_figure(demo: Comparison) -> None:
    """The sentence is no second statement: what it names, combined as it says, is the column's own value."""
    outcome = demo["kit now, R1 if P5 renews"]
    for column in unwind(outcome):
        if column.formula is None:
            continue
        for row in telling_rows(column):
            sentence = Sentence(column, row)
            assert sentence.value(sentence.tree) == pytest.approx(column.figure(row), rel=1e-9, abs=1e-9), (
                column.full_name
            )


def test_recapture_of_the_sale_in_words() -> None:
    # The price falls on the items by their cost: 71,000 x 9,850 / 240,950 = 2,902.47 on the probe, whose adjusted basis
    # is 738.46 by hand (test_first_sale.py): gain 2,164.01; 9,850 - 738.46 = 9,111.54 of depreciation was taken.
    route = sale(load(DEMO), "2026-09-18")["outright"]
    made = explain(route, "gain federal MC-1.probe: recapture")
    assert made.sentence == (
        "probe: recapture = (the smaller of gain on probe 2,164.01 and depreciation taken up to the sale 9,111.54), "
        "at least 0."
    )
    assert made.formula == "max(min(own, taken), 0)"
    assert made.rule_says.startswith("Gain on each sale in each book")
    assert [part.ask for part in made.parts] == ["gain federal MC-1.probe: gain", "federal book of MC-1 probe.taken"]
    whole = explain(route, "recapture")
    assert "probe: recapture 2,164.01" in whole.sentence
    assert whole.zeros == ("high-pressure coolant: recapture",)  # sold at a loss: 4,184.27 against 8,034.36


def test_zero_terms_stand_in_one_line(demo: Comparison) -> None:
    made = explain(demo["keep"], "npv")
    assert "present worth of borrowing" in made.zeros  # keeping borrows nothing
    assert "present worth of borrowing" not in made.sentence
    assert all(part.ask != "worth.borrowing" for part in made.parts)


def test_down_to_an_input_with_place_and_giver(demo: Comparison) -> None:
    path = "machines.MC-1.upkeep.first_year"
    line = next(
        k
        for k, text in enumerate(DEMO.read_text(encoding="utf-8").splitlines(), 1)
        if "upkeep: {first_year: 9,000 .." in text
    )
    made = explain(demo["keep"], f"inputs.{path}")
    assert made.value == 11_800
    assert made.says == "MC-1: Repairs and service in the first year"
    assert made.origin[0].startswith(f"An input: {path} (deck_fittings.yaml, line {line}; from: guess by Ines).")
    assert "Low 9,000.00 a year, likely 11,800.00 a year, high 17,000.00 a year" in made.origin[0]


def test_a_figure_set_for_this_run_is_said() -> None:
    made = explain(
        compare(load(DEMO), {"machines.MC-1.upkeep.first_year": 12_000.0})["keep"],
        "inputs.machines.MC-1.upkeep.first_year",
    )
    assert "This run has it at 12,000.00 a year instead." in made.origin[0]


def test_down_to_law_with_date_status_and_source(demo: Comparison) -> None:
    name = next(
        c.full_name for c in unwind(demo["keep"]) if c.full_name.startswith("law.federal/income_tax.standard_deduction")
    )
    now, later = explain(demo["keep"], name, "2026"), explain(demo["keep"], name, 2030)
    assert now.value in (32_200.0, 16_100.0)  # Rev. Proc. 2025-32: joint, single
    assert "In force from 2026-01-01; status: read." in now.origin[1]
    assert "Rev. Proc. 2025-32" in now.origin[2]
    assert "2030 is later than the last value on file, which is raised year by year" in later.origin[1]


def test_down_to_a_choice_and_the_calendar(demo: Comparison) -> None:
    assert "A choice" in explain(demo["upgrade"], "upkeep.held_0").origin[0]
    assert "calendar" in explain(demo["upgrade"], "capacity.years").origin[0]


def test_friendly_names(demo: Comparison) -> None:
    upgrade = demo["upgrade"]
    assert explain(upgrade).name == explain(upgrade, "NPV").name == "worth.npv"
    taxed = explain(upgrade, "tax of Ines 2026")
    assert (taxed.name, taxed.row) == ("federal return Ines as filed.tax", "2026")
    assert explain(upgrade, "tax of ines", 2026) == taxed
    assert explain(upgrade, "federal return Ines as filed.tax [2026 .. 2033]") == taxed  # as it is printed among parts
    line = explain(upgrade, "distributions (Walt)")
    assert line.name == "elsewhere.drawn: Walt"
    assert line.remarks[0].startswith("A cash flow of Walt (between purses)")
    assert "net cash" in figures(sale(load(DEMO))["auction"], "net cash")


def test_one_of_many_rows_is_said_and_the_rows_listed(demo: Comparison) -> None:
    made = explain(demo["keep"], "federal return Ines as filed.tax")
    assert made.row == "2026"
    assert "one of 8 rows" in made.remarks[0]
    assert [label for label, _ in made.rows] == [str(year) for year in range(2026, 2034)]


def test_depth_explains_the_parts_too(demo: Comparison) -> None:
    made = explain(demo["keep"], "npv", depth=3)
    assert [one.name for one in made.inner] == [part.ask for part in made.parts]
    assert made.inner[0].inner
    assert "\n    worth.operating = " in made.text()


@pytest.mark.parametrize(
    ("what", "row", "said"),
    [
        ("worth.npw", None, "worth.npv"),
        ("nvp", None, "npv"),
        ("tax of Inez", None, "tax of Ines"),
        ("recaptur", None, "recapture"),
        ("sum", None, "the name of several figures"),
        ("worth.npv", "2026", "has no row '2026': it has no rows"),
        ("federal return Ines as filed.tax", "2050", "its rows are 2026, 2027"),
        ("zzzz", None, "Ask for example for npv"),
    ],
)
def test_an_unknown_figure_names_the_nearest(demo: Comparison, what: str, row: str | None, said: str) -> None:
    with pytest.raises(UnknownFigure, match="upgrade|has no row|several") as caught:
        explain(demo["upgrade"], what, row)
    assert said in str(caught.value)


def test_a_ledger_alone_can_be_explained(demo: Comparison) -> None:
    made = explain(demo["upgrade"].ledger, "worth.npv")
    assert made.value == demo["upgrade"].npv
    assert find(demo["upgrade"].ledger, None, "npv")[0].full_name == "worth.npv"


def test_every_rule_has_a_module_that_says_what_it_is(demo: Comparison) -> None:
    for outcome in demo.outcomes:
        for working in outcome.ledger.workings.values():
            assert working.name in ("inputs", "law", "plain numbers") or working.rule in RULES, working.name
    for rule, module in RULES.items():
        assert f"equipdecide.{module}" in sys.modules
        assert rule_says(rule).endswith(".")


def test_it_shows_itself(demo: Comparison) -> None:
    made = explain(demo["keep"], "npv")
    assert isinstance(made, Explanation)
    assert made._repr_html_().startswith('<pre class="mathjax_ignore">')
    assert str(made) == made.text()
    assert len(repr(made)) < 120
