"""Tables of chances, timing, routes, offers of money, cash and the lender: figures of the results, at console width."""

from __future__ import annotations

import json

import pytest

import equipdecide as ed
from equipdecide.cli import main
from equipdecide.scenario.examples import example, examples
from equipdecide.views import lending, risk
from equipdecide.views.words import cents, money, percent

COMMANDS = ("simulate", "tornado", "whose", "service-life", "sell-when", "routes", "money", "calendar", "lender")


@pytest.fixture(scope="module")
def demo() -> object:
    return ed.load(example("deck_fittings"))


@pytest.mark.parametrize("command", COMMANDS)
def test_each_command_gives_text_and_data(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    path = str(example("deck_fittings"))
    assert main([command, path]) == 0
    text = capsys.readouterr().out
    assert max(len(line) for line in text.splitlines()) <= 96
    text.encode("cp1252", errors="replace")
    assert main([command, path, "--json"]) == 0
    assert isinstance(json.loads(capsys.readouterr().out), dict)


@pytest.mark.parametrize("name", list(examples()))
@pytest.mark.parametrize("command", COMMANDS)
def test_no_example_ends_in_a_traceback(command: str, name: str, capsys: pytest.CaptureFixture[str]) -> None:
    code = main([command, str(example(name)), *(["--trials", "256"] if command == "simulate" else [])])
    said = capsys.readouterr()
    assert code in (0, 1)
    assert "Traceback" not in said.out + said.err


def test_too_few_trials_are_refused_in_a_sentence(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["simulate", str(example("deck_fittings")), "--trials", "3"]) == 1
    assert "Traceback" not in capsys.readouterr().err


def test_the_headline_of_a_simulation_follows_the_chances(demo) -> None:
    runs = ed.simulate(demo, trials=512)
    text = " ".join(risk.runs_text(runs).split())
    best = max(runs.names, key=lambda name: runs.chance_best(name).value)
    assert f"{best} is worth most in {percent(runs.chance_best(best).value, 0)}" in text
    assert "These chances repeat your own ranges" in text


def test_the_month_to_sell_is_the_best_of_the_months(demo) -> None:
    found = ed.sell_when(demo)
    text = risk.sell_when_text(found)
    assert found.best.sold_on.isoformat() in text
    assert money(found.best.npv - found.months[0].npv) in text


def test_sources_and_uses_on_the_lenders_page_are_equal(demo) -> None:
    found = ed.lender(demo, "replace by R1")
    text = lending.lender_text(found)
    total = cents(sum(use.amount for use in found.uses))
    assert text.count(total) == 2
    assert "A projection of one machine, not of the borrower." in text


def test_routes_show_the_settlement_to_the_cent(demo) -> None:
    # by hand in test_first_sale.py
    assert "16,016.69" in lending.routes_text(ed.routes(demo, ed.sale(demo, on="2026-09-18").date))


def test_results_show_themselves(demo) -> None:
    shown = str(ed.money(demo))
    assert "8.15 %" in shown and "<Runs>" not in str(ed.simulate(demo, trials=64))
    assert "mathjax_ignore" in ed.tornado(demo)._repr_html_()
