"""Published and derived tax cases (tests/published/tax.yaml) through whole scenarios built from the case."""

from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import pytest
import yaml

import equipdecide as ed
from equipdecide import calendar, parameters, plan
from equipdecide.evaluate import Evaluation, evaluate
from equipdecide.scenario.models import Scenario
from equipdecide.tax.elections import elect
from equipdecide.tax.payments import due_dates

FILE = yaml.safe_load((Path(__file__).parent / "published" / "tax.yaml").read_text(encoding="utf-8"))
CASES = FILE["cases"]
Case = dict[str, Any]


class WithoutReferences(yaml.SafeDumper):
    """Writes every value out: a scenario file has no anchors."""

    def ignore_aliases(self, data: object) -> bool:
        return True


def scenario(case: Case) -> Scenario:
    """The case as a file: one machine with the assets (and loan) of the case, kept, or sold to a buyer."""
    flat = case.get("textbook", False)
    decided = case.get("decided", date(2026, 4, 1))
    tree: Case = {
        "title": case["title"],
        "decision_date": decided,
        "regime": "flat" if flat else "us",
        "machine_in_question": "M",
        "study": {"years": 2 if flat else 10, "rate": "10 %", "periods": "years" if flat else "months"},
        "shop": {"name": "Case", "taxed_as": "sole proprietor"},
        "machines": {"M": {"what": "machine", "assets": case["assets"], "worth_at_end": 0}},
        "alternatives": {"keep": []},
    }
    if flat:
        tree["flat"] = {"tax_rate": "25 %"}
    else:
        tree["owners"] = {"Owner": {"share": "100 %"} | case.get("owner", {"tax_rate": "25 %"})}
        if "owner" in case:
            tree["shop"]["as_things_are"] = {"ordinary_income": 0}
    if "loan" in case:
        tree["machines"]["M"]["loans"] = {"bank": case["loan"]}
    if sold := case.get("sold"):
        offer: Case = {"machine": "M", "route": "trade-in" if "for" in sold else "outright", "price": sold["price"]}
        steps = [{"do": "sell", "machine": "M", "by": "buyer", "on": sold["day"]}]
        if "costs" in sold:
            offer["costs"] = {"selling": sold["costs"]}
        if "days_to_sale" in sold:
            offer |= {"route": "consignment", "days_to_sale": sold["days_to_sale"]}
        if "for" in sold:
            offer |= {"against": "new", "price_with_trade": sold["for"]}
            tree["machines"]["new"] = {"what": "new machine", "price": sold["for"], "worth_at_end": 0}
            steps.append({"do": "buy", "machine": "new", "on": sold.get("bought", sold["day"])})
        tree["offers"] = {"buyer": offer}
        tree["alternatives"]["sell"] = steps
    return ed.loads(yaml.dump(tree, Dumper=WithoutReferences, sort_keys=False), case["id"])


def run(case: Case) -> tuple[Evaluation, str]:
    return evaluate(scenario(case)), "sell" if "sold" in case else "keep"


def schedule(case: Case) -> Case:
    made, course = run(case)
    books = {
        name: made[course].column(f"federal book of M {name}.depreciation").per_row().tolist()
        for name in case["assets"]
    }
    if "first" in case:
        return {name: rows[: case["first"]] for name, rows in books.items()}
    return {name: [amount for amount in rows if amount] for name, rows in books.items()}


def conventions(case: Case) -> Case:
    read = scenario(case)
    elections = elect(parameters.load(), plan.resolve(read, "keep", plan.timeline(read)))
    return {election.possession.name.removeprefix("M "): election.convention for election in elections}


def bonus(case: Case) -> Case:
    made, course = run(case)
    book = made[course].workings["federal book of M machine"]
    return {name: book[name].figure() for name in case["expected"]}


def sale(case: Case) -> Case:
    route = ed.sale(scenario(case))["buyer"]
    return {name: getattr(route, name) for name in case["expected"]}


def trade(case: Case) -> Case:
    made, course = run(case)
    names = {
        "gain": "gain federal M.gain",
        "ordinary_recapture": "gain federal M.ordinary_recapture",
        "new_basis": "purchase new.basis",
    }
    return {name: made[course].column(column).figure() for name, column in names.items()}


def year_of_income(case: Case) -> Case:
    made, course = run(case)
    column = made[course].column("income federal.recapture")
    return {label: float(amount) for label, amount in zip(column.axis.labels, column.per_row(), strict=True) if amount}


def estimates(case: Case) -> Case:
    made, course = run(case)
    return {name: made[course].column(f"estimates Owner as filed.{name}").figure() for name in case["expected"]}


def due_date(case: Case) -> date:
    return calendar.next_business_day(case["statutory"])


def payments(case: Case) -> Case:
    axis = calendar.calendar_years(case["year"], case["year"])
    return {event: due_dates(parameters.load(), axis, case["payer"], event)[0] for event in case["expected"]}


KINDS: dict[str, Callable[[Case], Any]] = {
    "schedule": schedule,
    "conventions": conventions,
    "bonus": bonus,
    "sale": sale,
    "trade": trade,
    "year of income": year_of_income,
    "estimates": estimates,
    "due date": due_date,
    "payments": payments,
}


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["id"])
def test_published_tax(case: Case) -> None:
    found, expected = KINDS[case["kind"]](case), case["expected"]
    where = f"{case['id']}, {case['source']}"
    if "tolerance" not in case:
        assert found == expected, where
        return
    assert found.keys() == expected.keys(), where
    for name, figure in expected.items():
        assert found[name] == pytest.approx(figure, rel=0, abs=case["tolerance"]), f"{where}: {name}"


def test_the_file_of_cases_is_complete() -> None:
    assert [case["id"] for case in CASES if {"id", "title", "source", "status", "kind", "expected"} - set(case)] == []
    named = [case["id"] for case in CASES] + [id for group in FILE["without_a_rule"] for id in group["ids"]]
    assert len(set(named)) == len(named)
    assert {case["kind"] for case in CASES} == set(KINDS)
    assert all(group["why"] for group in FILE["without_a_rule"])
