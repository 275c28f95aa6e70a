"""Published loan schedules, payoffs and day counts (tests/published/loans.yaml) as the engine posts them."""

from datetime import date
from pathlib import Path
from typing import Any

import pytest
import yaml

import equipdecide as ed
from equipdecide.evaluate import Evaluation, evaluate
from equipdecide.money.payoff import days_between, year_fraction

FILE = yaml.safe_load((Path(__file__).parent / "published" / "loans.yaml").read_text(encoding="utf-8"))
Case = dict[str, Any]


def run(case: Case) -> Evaluation:
    loan = {"first_payment": date(2026, 2, 1)} | case["loan"]
    sold = {"do": "sell", "machine": "M", "by": "buyer", "on": case.get("paid_off", date(2026, 6, 1))}
    tree = {
        "title": case["title"],
        "decision_date": date(2026, 1, 1),
        "regime": "flat",
        "flat": {"tax_rate": "0 %"},
        "machine_in_question": "M",
        "study": {"years": 1, "rate": "10 %"},
        "shop": {"name": "Case", "taxed_as": "sole proprietor"},
        "machines": {"M": {"what": "machine", "loans": {"bank": loan}, "worth_at_end": 0}},
        "offers": {"buyer": {"machine": "M", "route": "outright", "price": 1_000_000}},
        "alternatives": {"keep": [], "sell": [sold]},
    }
    return evaluate(ed.loads(yaml.safe_dump(tree, sort_keys=False), case["id"]))


@pytest.mark.parametrize("case", FILE["schedules"], ids=lambda case: case["id"])
def test_schedules(case: Case) -> None:
    loan = run(case)["sell"].workings["loan M bank"]
    expected, tolerance = case["expected"], case["tolerance"]
    assert loan["level_payment"].figure() == pytest.approx(expected["payment"], rel=0, abs=tolerance["payment"])
    for name in ("interest", "balance"):
        for payment, figure in expected[name].items():
            found = loan[name].figure(payment - 1)
            assert found == pytest.approx(figure, rel=0, abs=tolerance[name]), (
                f"{case['id']}: {name} of payment {payment}"
            )


@pytest.mark.parametrize("case", FILE["payoffs"], ids=lambda case: case["id"])
def test_payoffs(case: Case) -> None:
    payoff = run(case)["sell"].workings["payoff M M bank"]
    for name, figure in case["expected"].items():
        assert payoff[name].figure() == pytest.approx(figure, rel=0, abs=case["tolerance"]), f"{case['id']}: {name}"


@pytest.mark.parametrize("case", FILE["day_counts"], ids=lambda case: case["id"])
def test_day_counts(case: Case) -> None:
    assert days_between(case["count"], case["start"], case["end"]) == case["days"]


@pytest.mark.parametrize("case", FILE["month_rates"], ids=lambda case: case["id"])
def test_interest_of_august(case: Case) -> None:
    assert 5 * year_fraction(case["count"], date(2026, 8, 1), date(2026, 9, 1)) == pytest.approx(
        case["percent"], rel=0, abs=case["tolerance"]
    )


def test_the_file_of_cases_is_complete() -> None:
    cases = FILE["schedules"] + FILE["payoffs"]
    assert [
        case["id"] for case in cases if {"id", "title", "source", "status", "expected", "tolerance"} - set(case)
    ] == []
    named = [case["id"] for part in ("schedules", "payoffs", "day_counts", "month_rates") for case in FILE[part]]
    named += [id for group in FILE["without_a_rule"] for id in group["ids"]]
    assert len(set(named)) == len(named)
