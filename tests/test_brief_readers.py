"""Pages for a lender, for the accountant and for one partner: what each must hold, and what none may show."""

from __future__ import annotations

import html
import re
from pathlib import Path

import pytest

import equipdecide as ed
from equipdecide.cautions import CAUTIONS
from equipdecide.decide.compare import Comparison
from equipdecide.views import printing
from equipdecide.words import cents, day, money, whole

SCENARIOS = Path(__file__).parents[1] / "scenarios"

# Figures of the two households that occur nowhere else in the file, to be searched for on every page.
PRIVATE = {
    "Ines": {
        "other_income": "91,357",
        "last_tax": "18,233",
        "last_agi": "164,519",
        "wages": "47,951",
        "guarantees": "83,917",
    },
    "Walt": {
        "other_income": "72,643",
        "last_tax": "13,579",
        "last_agi": "118,741",
        "wages": "36,487",
        "guarantees": "61,713",
    },
}


def private_scenario() -> str:
    """The shop with other figures of the two owners: filing, incomes, last year's tax, guarantees."""
    text = (SCENARIOS / "deck_fittings.yaml").read_text(encoding="utf-8")
    start, end = re.search(r"^owners:\n", text, re.M), re.search(r"^machines:", text, re.M)
    assert start and end
    owners = "".join(
        f"  {name}:\n    share: {share}\n    filing: joint\n"
        + "".join(f"    {key}: {value}\n" for key, value in PRIVATE[name].items())
        for name, share in (("Ines", "60 %"), ("Walt", "40 %"))
    )
    rest = text[start.end() :]
    after = re.search(r"^\w", rest, re.M)
    assert after
    return text[: start.end()] + owners + "\n" + rest[after.start() :]


@pytest.fixture(scope="module")
def shop() -> Comparison:
    return ed.compare(ed.loads(private_scenario(), folder=SCENARIOS))


@pytest.fixture(scope="module")
def pages(shop: Comparison) -> dict[str, str]:
    return {
        reader: ed.brief(shop, reader=reader)
        for reader in ("partners", "lender", "accountant", "partner:Ines", "partner:Walt")
    }


def shows(page: str, figure: str) -> bool:
    """Whether a page shows a figure in any way it would be written: to the dollar, to the hundred, in thousands."""
    value = float(figure.replace(",", ""))
    ways = {figure, str(int(value)), money(value), f"{value / 1000:,.1f}k"}
    text = re.sub(r'src="data:[^"]*"', "", page)
    return any(re.search(rf"(?<![\d,.]){re.escape(way)}(?!,?\d)", text) for way in ways)


LIMITS = ("guarantees",)  # the lender's page shows what each owner guarantees: the lender asks for it


@pytest.mark.parametrize("reader", ["lender", "accountant", "partner:Ines", "partner:Walt"])
def test_no_page_shows_another_owners_private_figures(pages, reader: str) -> None:
    for owner, figures in PRIVATE.items():
        if reader == f"partner:{owner}":
            continue
        for key, figure in figures.items():
            if reader == "lender" and key in LIMITS:
                continue
            assert not shows(pages[reader], figure), (reader, owner, key)
    if reader.startswith("partner:"):
        other = next(owner for owner in PRIVATE if owner != reader.removeprefix("partner:"))
        assert f"tax of {other}" not in pages[reader]


def test_the_search_finds_what_is_shown(pages) -> None:
    """The partners' page shows each guarantee, a partner's copy its own; so the search above can fail."""
    for owner in PRIVATE:
        assert shows(pages["partners"], PRIVATE[owner]["guarantees"])
        assert shows(pages[f"partner:{owner}"], PRIVATE[owner]["guarantees"])
        assert shows(pages["lender"], PRIVATE[owner]["guarantees"])


def test_the_lenders_page_is_the_lenders_view(shop: Comparison, pages) -> None:
    page, data = pages["lender"], ed.lender(shop.scenario, shop.leader.name).to_json()
    assert "A projection of one machine, not of the borrower." in page
    for heading in ("Use and source of funds", "Debts", "Collateral against the balance", "Coverage", "Guarantees"):
        assert f">{heading}</h2>" in page
    for fund in (*data["uses"], *data["sources"]):
        assert f">{money(fund['amount'])}<" in page and fund["what"].lower() in page.lower()
    for debt in data["debts"]:
        assert debt["name"] in page and debt["lien"] in page and debt["last_payment"] in page
    for year in data["coverage"]["base"]:
        assert money(year["available"]) in page and money(year["service"]) in page
    for row in data["collateral"]:
        assert money(row["value"]) in page and money(row["owed"]) in page
    assert all(caution.text in html.unescape(page) for caution in CAUTIONS)
    assert sum(use["amount"] for use in data["uses"]) == pytest.approx(
        sum(source["amount"] for source in data["sources"])
    )


def test_the_accountants_page_has_the_papers_and_the_ledgers_tax(shop: Comparison, pages) -> None:
    page, course = pages["accountant"], shop.leader
    papers = ed.papers(shop.scenario, course.name)
    for _, line in papers.lines:
        assert f"{line.form}, line {line.line}" in page and whole(line.amount) in page
    for one in papers.elections:
        assert day(one.last_day) in page and one.source in page
    paid = sum(
        -float(amount)
        for line in course.ledger.lines
        if line.group == "tax" and line.dates is not None
        for when, amount in zip(line.dates, line.amounts(), strict=True)
        if when >= shop.scenario.decision_date
    )
    totals = re.search(r'<tr class="total"><th scope="row">All together</th>((?:<td>.*?</td>)+)</tr>', page)
    assert totals
    cells = re.findall(r"<td>(?:<a [^>]*>)?([^<]*)", totals[1])
    shown = sum(float(cell.replace(",", "").replace("−", "-")) for cell in cells)
    assert shown == pytest.approx(paid, abs=10)
    assert "raised by" in page and "From memory" in page and "Guesses and defaults" in page


def test_the_accountants_settlement_is_that_of_the_sale() -> None:
    """By hand, from the file: 38,500 less 3,850, 1,450, the payoff and a release of 150 leaves
    6,189.58; gain 33,200, tax 7,503.
    """
    page = ed.brief(ed.compare(ed.load(SCENARIOS / "first_sale.yaml")), reader="accountant")
    assert cents(6189.58) in page and cents(-3850) in page and ">33,200<" in page
    assert (
        ">sander, federal book<" in page and ">used sander, federal book<" in page and "federal used book" not in page
    )
    assert "Perrin 7,503; due 7,503 on " in re.sub(r"<[^>]*>", "", page)


def test_a_flat_rate_has_no_forms_and_whole_years_no_coverage() -> None:
    text = (SCENARIOS / "first_sale.yaml").read_text(encoding="utf-8")
    assert "Form lines" in ed.brief(ed.compare(ed.loads(text)), reader="accountant")
    flat = """
title: Keep or sell
decision_date: 2026-01-01
regime: flat
flat: {tax_rate: 40 %}
machine_in_question: old
study: {years: 3, rate: 12 %, periods: years}
shop: {name: Textbook, taxed_as: C corporation}
machines:
  old:
    what: two years of the 5-year table taken
    assets:
      machine: {cost: 4,400, in_service: 2024-01-01, life: 5, method: by law}
    costs: {operation: 10,000}
    worth_at_end: 0
offers:
  buyer: {machine: old, route: outright, price: 2,500}
alternatives:
  keep: []
  sell: [{do: sell, machine: old, by: buyer, on: 2026-01-01}]
"""
    comparison = ed.compare(ed.loads(flat))
    page = ed.brief(comparison, reader="accountant")
    assert "no forms and no elections" in page and "Form lines" not in page
    assert "whole years" in ed.brief(comparison, reader="lender")


def test_no_browser_is_said_with_what_to_do(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(printing, "find_browser", lambda: None)
    monkeypatch.setattr(printing, "find_weasyprint", lambda: None)
    with pytest.raises(printing.NoPrinter, match="open it and print it"):
        printing.print_page("<p>x</p>", tmp_path / "x.pdf")
    assert not list(tmp_path.iterdir())
