"""Tables and words: what stands in them is checked on outcomes made by hand, and on the printed settlement itself."""

from __future__ import annotations

import doctest
from datetime import date

import numpy as np
import pytest

import equipdecide
from equipdecide import parameters, words
from equipdecide.decide.breakeven import breakeven
from equipdecide.decide.compare import CashLow, Comparison, Outcome, compare
from equipdecide.decide.hours import hours
from equipdecide.decide.sale import SaleResult, sale
from equipdecide.ledger import Finding
from equipdecide.scenario import Scenario, load
from equipdecide.scenario.examples import example
from equipdecide.views.finding_lists import findings_text, sort_findings
from equipdecide.views.flip_list import breakeven_text
from equipdecide.views.hours_table import hours_text
from equipdecide.views.sale_table import sale_grid, sale_headline, sale_text
from equipdecide.views.table import comparison_grid, comparison_text, headline, payback_in_words, rates_in_words
from equipdecide.words import MINUS, plain


@pytest.fixture(scope="module")
def shop() -> Scenario:
    return load(example("deck_fittings"))


@pytest.fixture(scope="module")
def demo(shop: Scenario) -> Comparison:
    return compare(shop)


@pytest.fixture(scope="module")
def sold(shop: Scenario) -> SaleResult:
    return sale(shop)


def outcome(
    name: str, npv: float, keep: float = 0.0, flows: tuple[float, ...] = (0.0, 0.0, 0.0), **more: object
) -> Outcome:
    given: dict[str, object] = {
        "cash_low": None,
        "own_money_needed": 0.0,
        "worst_coverage": None,
        "affordable": None,
        "failed_gates": (),
    }
    return Outcome(
        name, None, None, npv, npv - keep, 0.0, 0.0, np.array(flows), np.arange(float(len(flows))), **(given | more)
    )  # type: ignore[arg-type]


def comparison(shop: Scenario, outcomes: list[Outcome], best: str | None, ignoring: str) -> Comparison:
    return Comparison(shop, None, tuple(outcomes), best, ignoring, ())  # type: ignore[arg-type]


def test_words_by_their_own_examples() -> None:
    assert doctest.testmod(words).failed == 0


def test_halves_are_rounded_away_from_zero() -> None:
    assert [words.whole(x) for x in (0.5, 1.5, 2.5, -0.5, -2.5)] == ["1", "2", "3", MINUS + "1", MINUS + "3"]
    assert [words.cents(x) for x in (1.005, 2.675, -1.005)] == ["1.01", "2.68", MINUS + "1.01"]
    assert [words.money(x) for x in (1_250.0, 1_349.99, -2_650.0, 999.4, 0.0)] == [
        "1,300",
        "1,300",
        MINUS + "2,700",
        "999",
        "0",
    ]
    assert words.cents(-0.001) == "0.00"  # no minus before nothing


@pytest.mark.parametrize(
    ("flows", "said"),
    [
        ((0.0, 0.0, 0.0), "none"),
        ((-100.0, 0.0, 121.0), "10 %"),  # 100 * 1.1 ** 2
        ((-100.0, 230.0, -132.0), "2: 10 %,\n20 %"),  # (1.1)(1.2) = 1.32, 1.1 + 1.2 = 2.3
        ((100.0, 0.0, -121.0), "no return"),  # the first turned round: 100 now for 121 given up, at 10 %
        ((10.0, -32.0, 24.0), "2: 20 %,\n100 %"),  # (1.2)(2) = 2.4, 1.2 + 2 = 3.2: money first, one of the two a return
    ],
)
def test_rates_of_return_in_words(flows: tuple[float, ...], said: str) -> None:
    assert rates_in_words(outcome("x", 0.0, flows=flows)) == said


def test_a_sale_that_gives_up_earnings_is_told_as_a_cost(shop: Scenario) -> None:
    """100 taken in for 121 given up two years later costs 10 % a year; the same turned round returns 10 %."""
    sells, buys = (
        outcome(name, 0.0, flows=flows) for name, flows in (("sell", (100, 0, -121)), ("buy", (-100, 0, 121)))
    )
    assert sells.costs_of_giving_up == sells.rates_less_keep.roots == pytest.approx((0.1,))
    assert buys.costs_of_giving_up == () and buys.rates_less_keep.roots == pytest.approx((0.1,))
    said = " ".join(comparison_text(comparison(shop, [outcome("keep", 0.0), sells, buys], "keep", "keep")).split())
    assert "sell: no return, because money comes in first" in said and "That costs 10 % a year" in said
    assert "buy: no return" not in said


def test_selling_and_doing_without_shows_no_return(demo: Comparison) -> None:
    without, upgrade = demo["sell and do without"], demo["upgrade"]
    assert rates_in_words(without) == "no return*"
    assert max(without.rates_less_keep.roots) > 4  # the figure itself stays in the JSON, a list
    assert demo.to_json()["alternatives"][4]["irr_less_keep"] == list(without.rates_less_keep.roots)  # type: ignore[index]
    # its first month brings money too, a credit before the purchase: the rate is still a return
    assert upgrade.investment_less_keep[upgrade.investment_less_keep != 0][0] > 0
    assert rates_in_words(upgrade) == "124.6 %*"


def test_payback_in_words() -> None:
    # the published case of two crossings (tests of the measures): 4.7 and 6.6 years
    twice = outcome("x", 0.0, flows=(-180.0, -90.0, 0.0, 100.0, 100.0, 100.0, -90.0, 100.0, 100.0))
    assert payback_in_words(twice) == "4.7 years,\nfor good 6.6"
    assert payback_in_words(outcome("x", 0.0, flows=(-100.0, 50.0, 50.0))) == "2 years"
    assert payback_in_words(outcome("x", 0.0, flows=(-100.0, 150.0, -90.0))) == "0.7 years,\nnot for good"
    assert payback_in_words(outcome("x", 0.0, flows=(-100.0, 30.0, 30.0))) == "never"


def test_headline_names_the_best_that_can_be_paid_for(shop: Scenario) -> None:
    keep = outcome("keep", 1_000.0, affordable=True)
    kit = outcome("kit", 21_060.0, affordable=True)
    other = outcome("other", 9_000.0, affordable=True)
    new = outcome("new", 61_040.0, affordable=False, cash_low=CashLow(-4_449.0, "2027-01"))
    said = headline(comparison(shop, [keep, kit, other, new], "kit", "new"))
    assert "Best that can be paid for: kit, 20,100 more than keep and 12,100 more than the next, other" in said
    assert (
        f"Without regard to cash: new, 60,000 more than keep; its cash falls to {MINUS}4,400 in Jan "
        "2027, under the floor of 45,000." in said
    )


def test_headline_where_cash_is_not_tested_or_nothing_passes(shop: Scenario) -> None:
    keep, kit = outcome("keep", 0.0), outcome("kit", 5_000.0)
    said = headline(comparison(shop, [keep, kit], "kit", "kit"))
    assert said.startswith("Best: kit, 5,000 more than keep, which is the next best")
    assert "is not tested" in said
    poor = [outcome("keep", 0.0, affordable=False), outcome("kit", 5_000.0, affordable=False)]
    said = headline(comparison(shop, poor, None, "kit"))
    assert said.startswith(
        "No course keeps cash above the floor and passes every gate. Without regard to cash the best is kit"
    )


def test_a_failed_gate_is_said(shop: Scenario) -> None:
    keep = outcome("keep", 0.0, affordable=True)
    new = outcome("new", 9_000.0, affordable=True, failed_gates=("coverage",), worst_coverage=1.104)
    made = comparison(shop, [keep, new], "keep", "new")
    assert "new, 9,000 more than keep; it fails the gate on coverage" in headline(made)
    text = comparison_text(made)
    assert any(line.split() == ["failed", "gates", "coverage"] for line in text.splitlines())
    assert "new: coverage 1.1 in the worst year, 1.25 asked." in text


def test_tables_keep_their_width(demo: Comparison, sold: SaleResult, shop: Scenario) -> None:
    for width in (80, 96):
        for text in (
            comparison_text(demo, width, full=True),
            sale_text(sold, width),
            hours_text(hours(shop), width),
            breakeven_text(breakeven(shop), width),
        ):
            assert max(len(line) for line in text.splitlines()) <= width


def test_every_output_goes_to_an_old_console(demo: Comparison, sold: SaleResult) -> None:
    for text in (comparison_text(demo), sale_text(sold)):
        assert MINUS in text
        for encoding in ("cp1252", "ascii", "cp437"):
            shown = plain(text, encoding)
            shown.encode(encoding)
            assert shown == text.replace(MINUS, "-")  # nothing else had to be given up
        assert plain(text, "utf-8") == text


def _figure(cell: str) -> float:
    return float(cell.replace(MINUS, "-").replace(",", ""))


def test_each_printed_settlement_adds_up(sold: SaleResult) -> None:
    rows = {row.label.strip(): row.cells for row in sale_grid(sold).rows if row.cells}
    assert set(rows) >= {
        "price",
        "commission",
        "costs of selling",
        "payoff to lender",
        "release of the lien",
        "net cash before tax",
    }
    for k in range(len(sold.routes)):
        parts = ("price", "commission", "costs of selling", "payoff to lender", "release of the lien")
        assert sum(_figure(rows[part][k]) for part in parts) == pytest.approx(
            _figure(rows["net cash before tax"][k]), abs=0.001
        )
        assert _figure(rows["amount realized"][k]) - _figure(rows["adjusted basis"][k]) == pytest.approx(
            _figure(rows["gain"][k]), abs=1
        )
        assert _figure(rows["Ines"][k]) + _figure(rows["Walt"][k]) == pytest.approx(_figure(rows["tax"][k]), abs=1)
    assert rows["net cash before tax"][0] == "16,016.69"  # by hand in test_first_sale.py
    assert rows["net, by schedule"][0] == "16,016.48"
    trade = [r.name for r in sold.routes].index("trade-in")
    assert rows["lost by trading"][trade] == f"{MINUS}15,000"  # 303,500 less 288,500
    assert (
        rows["left in all"][trade] == rows["left in all"][0] == rows["net cash less tax"][0]
    )  # the same offer, dressed up


def test_routes_settled_on_other_days_are_not_compared_in_silence(sold: SaleResult) -> None:
    said = "which has them off"
    text = " ".join(sale_text(sold).split())
    assert said in text  # the consignment is settled 75 days later, three loan payments on
    assert "loan paid till then 0 −8,147 0" in text and "like for like" in text
    other = " ".join(sale_text(sale(load(example("first_sale")))).split())
    assert said not in other and "like for like" not in other


def test_sale_in_a_sentence() -> None:
    said = sale_headline(sale(load(example("first_sale"))))  # by hand in test_first_sale.py
    assert said == (
        "reseller: sander leaves 6,189.58 after the lender's 26,860.42; tax on the gain of 33,200 "
        "is 7,503: short by 1,314."
    )


def test_comparison_has_a_column_for_each_course(demo: Comparison) -> None:
    grid = comparison_grid(demo)
    assert grid.headings == tuple(demo.scenario.alternatives)
    labels = [row.label.strip() for row in grid.rows]
    assert labels == [
        "worth less keep",
        "annual worth",
        "rate of return",
        "payback",
        "lowest cash",
        "in",
        "own money needed",
        "affordable",
        "failed gates",
    ]
    assert all(len(row.cells) == len(grid.headings) for row in grid.rows)


def test_many_courses_stand_in_several_tables_each_with_the_first(shop: Scenario) -> None:
    many = [outcome("keep", 0.0)] + [outcome(f"course number {k}", 1_000.0 * k) for k in range(12)]
    text = comparison_grid(comparison(shop, many, "keep", "keep")).text(80)
    assert max(len(line) for line in text.splitlines()) <= 80
    headings = [line.split() for line in text.splitlines()]
    assert text.count("worth less keep") == sum(line[:1] == ["keep"] for line in headings) > 1


def test_findings_come_with_warnings_first_and_law_summed_up() -> None:
    law = parameters.load()
    keys = ("single", "joint")
    texts = [
        law.get("federal/income_tax.standard_deduction", date(2033, 12, 31), index_rate=0.025, status=key).finding()
        for key in keys
    ]
    memory = law.get("federal/business_losses.net_operating_loss_share", date(2026, 12, 31)).finding()
    found = [
        Finding("note", "A note."),
        *(Finding("parameter", text or "") for text in [*texts, memory]),
        Finding("w", "A warning.", weight="warning"),
    ]
    made = sort_findings(found)
    assert (made.warnings, made.notes) == (("A warning.",), ("A note.",))
    assert made.parameters == (
        "Figures after 2026 are those of 2026 raised by 2.5 % a year: standard deduction.",
        "From memory, not confirmed in a source: share of taxable income a carried net operating loss may take.",
    )
    assert len(made.parameters_in_full) == 3
    text = findings_text(found)
    assert text.index("A warning.") < text.index("A note.") < text.index("Figures after 2026")
    assert "2033" not in text
    assert "2033" in findings_text(found, full=True)


def test_a_parameter_sentence_of_another_form_is_shown_as_it_is() -> None:
    assert sort_findings([Finding("parameter", "Something else.")]).parameters == ("Something else.",)


def test_results_show_themselves(shop: Scenario) -> None:
    for result in (equipdecide.compare(shop), equipdecide.sale(shop), equipdecide.hours(shop)):
        assert "keep" in str(result) or "outright" in str(result)
        assert 'class="mathjax_ignore"' in str(result._repr_html_())
        assert len(repr(result)) < 100
    small = equipdecide.compare(load(example("first_sale")))
    assert len(repr(small["keep"])) < 100


def test_html_escapes_what_the_owner_wrote(shop: Scenario) -> None:
    made = comparison(shop, [outcome("keep", 0.0), outcome("<b>kit</b>", 1.0)], "keep", "keep")
    html = str(made._repr_html_())
    assert "<b>kit" not in html
    assert "&lt;b&gt;kit&lt;/b&gt;" in html
