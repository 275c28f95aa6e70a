"""Published and derived cases of United States tax (tests/published/us_tax.yaml) through whole scenarios."""

from copy import deepcopy
from datetime import date
from pathlib import Path
from typing import Any

import pytest
import yaml

from equipdecide import parameters
from equipdecide.calendar import ONE
from equipdecide.evaluate import evaluate
from equipdecide.ledger import Draft, Ledger, Origin, Shared
from equipdecide.scenario import loads
from equipdecide.tax.section_179 import use_recapture


class Words(yaml.SafeLoader):
    """Reads on, yes and no as the words they are in a scenario file."""


Words.yaml_implicit_resolvers = {
    first: [(tag, pattern) for tag, pattern in known if tag != "tag:yaml.org,2002:bool"]
    for first, known in yaml.SafeLoader.yaml_implicit_resolvers.items()
}
FILE = yaml.load(
    (Path(__file__).parent / "published" / "us_tax.yaml").read_text(encoding="utf-8"), Loader=Words
)  # a safe loader
Case = dict[str, Any]
BASE: Case = {
    "decision_date": date(2026, 1, 1),
    "machine_in_question": "M",
    "study": {"years": 8, "rate": "10 %", "tax_indexing": "0 %"},
    "shop": {"name": "Case", "taxed_as": "sole proprietor", "as_things_are": {"ordinary_income": 0}},
    "owners": {"One": {"share": "100 %", "filing": "single", "other_income": 0}},
    "machines": {"M": {"what": "machine", "assets": {}, "worth_at_end": 0}},
    "alternatives": {"keep": []},
}


class Plain(yaml.SafeDumper):
    """Writes every value out: a scenario file has no anchors."""

    def ignore_aliases(self, data: object) -> bool:
        return True


def over(base: Case, more: Case) -> Case:
    """Lay one tree over another, key by key."""
    both = {
        key: over(value, more[key]) if isinstance(value, dict) and key in more else value for key, value in base.items()
    }
    return {**both, **{key: value for key, value in more.items() if not isinstance(base.get(key), dict)}}


def ledger(case: Case) -> Ledger:
    tree = over(deepcopy(BASE), {"title": case["title"]} | case.get("file", {}))
    if not tree["machines"]["M"]["assets"]:
        tree["machines"]["M"]["assets"] = {"old": {"cost": 1, "in_service": date(2001, 1, 5)}}
    return evaluate(loads(yaml.dump(tree, Dumper=Plain, sort_keys=False)), only=[case["course"]])[case["course"]]


@pytest.mark.parametrize("case", FILE["cases"], ids=lambda case: case["id"])
def test_case(case: Case) -> None:
    made, where = ledger(case), f"{case['id']}, {case['source']}"
    for name, expected in case["expected"].items():
        column = made.column(name)
        if isinstance(expected, dict):
            found = dict(zip([day.year for day in column.axis.ends], column.per_row(), strict=True))
            for year, figure in expected.items():
                assert found[year] == pytest.approx(figure, rel=0, abs=case["tolerance"]), f"{where}: {name} of {year}"
        else:
            assert column.figure() == pytest.approx(expected, rel=0, abs=case["tolerance"]), f"{where}: {name}"
    for one, other in case.get("same", []):
        assert made.column(one).figure() == pytest.approx(made.column(other).figure(), rel=0, abs=case["tolerance"]), (
            where
        )
    for name in case.get("absent", []):
        assert name not in made.workings, where


@pytest.mark.parametrize("case", FILE["taken_back"], ids=lambda case: case["id"])
def test_section_179_taken_back(case: Case) -> None:
    draft = Draft("case", Shared({}))
    deducted = draft.working("entered", ONE, "entered", "test").given(
        "deducted", case["expensed"], "USD", "deducted", Origin("choice", "case")
    )
    w = use_recapture(draft, "case", range(2001, 2001 + len(case["use"])), case["percents"], case["use"], deducted)
    assert w["recapture"].figure() == pytest.approx(case["expected"], rel=0, abs=case["tolerance"]), case["source"]


@pytest.mark.parametrize("case", FILE["thresholds"], ids=lambda case: case["id"])
def test_thresholds(case: Case) -> None:
    law = parameters.load()
    for status, figure in case["expected"].items():
        assert law.get(case["parameter"], date(case["year"], 12, 31), status=status).value == figure, case["source"]


def test_the_file_of_cases_is_complete() -> None:
    cases = FILE["cases"]
    assert [
        case["id"]
        for case in cases
        if {"id", "title", "source", "status", "course", "expected", "tolerance"} - set(case)
    ] == []
    named = [case["id"] for case in (*cases, *FILE["taken_back"], *FILE["thresholds"])]
    named += [id for group in FILE["without_a_rule"] for id in group["ids"]]
    assert len(set(named)) == len(named)
    assert all(group["why"] for group in FILE["without_a_rule"])
