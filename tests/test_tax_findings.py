"""What the tax rules do not compute is said where an entry makes it matter, and is not said elsewhere."""

from copy import deepcopy
from datetime import date
from typing import Any

import yaml
from test_published_us_tax import BASE, Plain, over

import equipdecide as ed
from equipdecide.evaluate import evaluate
from equipdecide.scenario import loads

OLD = {"assets": {"old": {"cost": 60000, "in_service": date(2021, 3, 1)}}}
PARTNERS = {
    "One": {"share": "50 %", "other_income": 100000},
    "Two": {"share": "50 %", "filing": "single", "other_income": 100000},
}


def said(file: dict[str, Any], course: str = "keep") -> dict[str, str]:
    tree = over(deepcopy(BASE), {"title": "Case", "machines": {"M": OLD}})
    tree = over(tree, file)
    made = evaluate(loads(yaml.dump(tree, Dumper=Plain, sort_keys=False)), only=[course])[course]
    return {finding.code: finding.text for finding in made.findings}


def test_a_casualty_says_that_insurance_money_may_be_reinvested() -> None:
    hurt = {"on": date(2024, 5, 1), "lowered": 20000}
    asset = {"cost": 60000, "in_service": date(2021, 3, 1), "bonus": "elected out", "casualty": hurt}
    text = said({"machines": {"M": {"assets": {"old": asset}}}})["casualty_not_computed"]
    assert "2024-05-01" in text
    assert "IRC 1033(a)(2)" in text
    assert "casualty_not_computed" not in said({})


def test_a_loss_of_a_partner_who_guarantees_little_says_that_the_amount_at_risk_may_bind() -> None:
    new = {"N": {"what": "new machine", "price": 180000, "worth_at_end": 0}}
    owners = deepcopy(PARTNERS)
    owners["One"]["guarantees"] = 5000
    file = {
        "shop": {"taxed_as": "partnership", "as_things_are": {"ordinary_income": 80000}},
        "owners": owners,
        "machines": new,
        "alternatives": {"buy": [{"do": "buy", "machine": "N", "on": date(2026, 6, 1)}]},
    }
    text = said(file, "buy")["at_risk_may_bind"]
    assert "One: a year's loss of 50,000" in text  # half of 80,000 less 180,000
    assert "5,000 at most" in text
    assert "at_risk_may_bind" not in said(file)  # kept: no loss
    owners["One"]["at_risk"] = 20000
    after = said(file, "buy")
    assert "at_risk_may_bind" not in after
    assert "up to 30,000" in after["loss_at_risk"]  # no debts to answer for


def test_a_corporation_in_california_is_told_what_of_its_methods_is_not_computed() -> None:
    file = {
        "shop": {"taxed_as": "C corporation", "state": {"code": "CA"}, "as_things_are": {"ordinary_income": 80000}},
    }
    text = said(file)["corporation_method"]
    assert "class lives" in text
    assert "none of that is computed" in text


def test_deductions_of_partners_who_left_are_said_with_their_share() -> None:
    asset = {"cost": 60000, "in_service": date(2021, 3, 1), "deductions_taken_by": {"One": "10 %", "Two": "50 %"}}
    file = {
        "shop": {"taxed_as": "partnership"},
        "owners": PARTNERS,
        "machines": {"M": {"assets": {"old": asset}}},
        "offers": {"buyer": {"machine": "M", "route": "outright", "price": 30000}},
        "alternatives": {"sell": [{"do": "sell", "machine": "M", "by": "buyer", "on": date(2026, 6, 10)}]},
    }
    assert said(file, "sell")["partners_who_left"].startswith("40% of the deductions")


def test_a_state_election_without_a_state_book_is_said_to_change_nothing() -> None:
    asset = {"cost": 60000, "in_service": date(2021, 3, 1), "section_179_state": 10000}
    assert "no_state_book" in said({"machines": {"M": {"assets": {"old": asset}}}})
    with_book = {"machines": {"M": {"assets": {"old": asset}}}, "shop": {"state": {"code": "CA"}}}
    assert "no_state_book" not in said(with_book)


def test_what_is_sold_in_its_first_year_leaves_nothing_to_elect() -> None:
    """IRC 168(d)(3)(B); Reg. 1.168(k)-2(g)(1): no depreciation and no bonus, so no election is listed for it."""
    buy = {"do": "buy", "machine": "N", "on": date(2026, 2, 10)}
    file = {
        "machines": {"M": OLD, "N": {"what": "new machine", "price": 80000, "worth_at_end": 0}},
        "offers": {"buyer": {"machine": "N", "route": "outright", "price": 70000}},
        "alternatives": {"turn": [buy, {"do": "sell", "machine": "N", "by": "buyer", "on": date(2026, 11, 5)}]},
    }
    tree = over(over(deepcopy(BASE), {"title": "Case"}), file)
    kept = over(tree, {"alternatives": {"turn": [buy]}})
    texts = [str(ed.papers(loads(yaml.dump(one, Dumper=Plain, sort_keys=False)), "turn")) for one in (tree, kept)]
    assert "elect out of bonus" not in texts[0]
    assert "elect out of bonus" in texts[1]


def test_a_rule_from_memory_is_said_where_a_course_rests_on_it() -> None:
    small = {"cost": 2000, "in_service": date(2023, 3, 1), "expensed": "yes"}
    file = {
        "machines": {"M": {"assets": {"old": OLD["assets"]["old"], "gauge": small}}},
        "offers": {"buyer": {"machine": "M", "route": "outright", "price": 30000}},
        "alternatives": {"sell": [{"do": "sell", "machine": "M", "by": "buyer", "on": date(2026, 6, 10)}]},
    }
    assert "1.263(a)-1(f)(3)(iii)" in said(file, "sell")["rule_from_memory"]
    assert "rule_from_memory" not in said(file)  # kept: nothing comes for it
    new = {"N": {"what": "new machine", "price": 60000, "worth_at_end": 0}}
    buy = [{"do": "buy", "machine": "N", "on": date(2026, 6, 1), "section_179": "all"}]
    sale = [{"do": "sell", "machine": "N", "by": "buyer", "on": date(2028, 6, 10)}]
    buyer = {"buyer": {"machine": "N", "route": "outright", "price": 50000}}
    alternatives = {"turn": buy + sale, "buy": buy}
    carried = {"machines": {"M": OLD} | new, "offers": buyer, "alternatives": alternatives}
    assert "1.179-3(f)(1)" in said(carried, "turn")["rule_from_memory"]
