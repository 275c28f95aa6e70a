"""The page on loans and offers of money, read as it stands: each block in a file, each figure it promises there."""

import re
from pathlib import Path

import pytest

import equipdecide as ed

PAGE = (Path(__file__).parents[1] / "docs" / "loans_and_offers.md").read_text(encoding="utf-8")


def test_the_blocks_make_a_file_and_the_verbs_answer():
    loans, alternatives, consignment, financing = re.findall(r"```yaml\n(.*?)```", PAGE, re.S)
    text = f"""
title: As the page says
decision_date: 2026-09-14
machine_in_question: mill
study: {{years: 6, rate: 9 %}}
shop: {{name: Page, taxed_as: sole proprietor}}
owners: {{Ann: {{share: 100 %, tax_rate: 25 %}}}}
machines:
  mill:
    what: mill
    assets: {{machine: {{cost: 105,000, in_service: 2024-05-06}}}}
    worth_at_end: 9,000
{re.sub("^", "    ", loans, flags=re.M)}
  saw: {{what: saw, assets: {{machine: {{cost: 20,000, in_service: 2024-05-06}}}}, worth_at_end: 2,000}}
  new mill: {{what: new mill, price: 110,000, worth_at_end: 30,000, terms: {{order: 30 %, acceptance: 70 %}}}}
offers:
  dealer: {{machine: mill, route: trade-in, against: new mill, price: 40,000, price_with_trade: 112,000}}
{consignment.removeprefix("offers:")}
{alternatives}
{financing}
"""
    scenario = ed.loads(text)
    falls = [step for step in ed.routes(scenario, "2026-10-05")["showroom"].steps if "falls" in step.what]
    assert [step.what for step in falls] == ["list price falls to 47,025"]  # 49,500 less 5 %
    offers = ed.money(scenario)
    assert {offer.kind for offer in offers.offers} == {
        "loan", "stepped loan", "deferred loan", "balloon loan", "one-dollar buyout", "fixed-option lease", "fair-value lease"
    }  # fmt: skip
    assert {o.name: o.taxed_as for o in offers.offers if "lease" in o.kind or "buyout" in o.kind} == {
        "buyout": "purchase", "ten per cent": "purchase", "fair value": "lease"
    }  # fmt: skip
    assert offers.advantage("fair value", "builder loan") == pytest.approx(
        offers["fair value"].worth_against_cash - offers["builder loan"].worth_against_cash
    )
    ledger = ed.evaluate(scenario, only=["trade"])["trade"]
    settled = ledger.workings["settlement mill"]
    assert (
        settled["rolled"].figure() == pytest.approx(settled["payoff"].figure() - 40_000)
        and settled["brought"].figure() == 0
    )
    assert ledger.workings["amount of builder loan"]["amount"].figure() == pytest.approx(
        110_000 + settled["rolled"].figure()
    )
