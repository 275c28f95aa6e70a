"""Published purchase and replacement examples (tests/published/whole_engine.yaml) as whole scenarios.

A scenario is read, evaluated and measured by the verbs a user has; nothing is computed beside them but what the
source itself says of a course: a yearly cost over the years kept, what one more year costs.
"""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml

import equipdecide as ed
from equipdecide import measures
from equipdecide.evaluate import Evaluation

CASES = yaml.safe_load((Path(__file__).parent / "published" / "whole_engine.yaml").read_text(encoding="utf-8"))


def less(run: Evaluation, column: str, course: str, other: str | None) -> np.ndarray:
    values = run[course].column(column).values
    return values - run[other].column(column).values if other else values


def worth(run: Evaluation, course: str, other: str | None) -> np.ndarray:
    return np.squeeze(less(run, "worth.npv", course, other))


def cash(run: Evaluation, course: str, other: str | None, first: int = 0) -> np.ndarray:
    return less(run, "cash.all purses", course, other)[first:, 0]


def rate_of_return(run: Evaluation, course: str, other: str | None) -> float:
    return measures.rates_of_return(cash(run, course, other), np.array(run.time.cash_times)).only


def column(run: Evaluation, name: str, course: str) -> np.ndarray:
    found = run[course].column(name).per_row()
    return np.squeeze(found[found != 0])


def after_tax(run: Evaluation, machine: str, course: str) -> float:
    """What the sale pays out, less tax with it, plus tax without it."""
    paid = run[course].column(f"settlement {machine}.net_cash").figure()
    with_it, without = (
        run[course].column(f"federal return shop {case}.tax").per_row() for case in ("as filed", "without the sale")
    )
    return paid - float((with_it - without).sum())


def kept(
    run: Evaluation, courses: list[str], other: str, years: list[int] | None = None
) -> tuple[list[float], list[int], float]:
    costs = [-float(worth(run, course, other)) for course in courses]
    return costs, years or list(range(1, len(courses) + 1)), run.scenario.study.rate.likely


def yearly_cost(run: Evaluation, courses: list[str], other: str, years: list[int] | None) -> list[float]:
    costs, spans, rate = kept(run, courses, other, years)
    return [measures.annual_worth(cost, rate, n) for cost, n in zip(costs, spans, strict=True)]


def one_more_year(run: Evaluation, courses: list[str], other: str) -> list[float]:
    costs, spans, rate = kept(run, courses, other)
    return [(now - before) * (1 + rate) ** n for now, before, n in zip(costs, [0.0, *costs], spans, strict=False)]


READERS: dict[str, Callable[[Evaluation, Any, dict[str, Any]], Any]] = {
    "worth": lambda run, what, how: worth(run, what, how.get("less")),
    "yearly worth": lambda run, what, how: float(less(run, "worth.annual_worth", what, how.get("less"))[0, 0]),
    "cash": lambda run, what, how: cash(run, what, how.get("less"), how.get("from", 0)),
    "rate of return": lambda run, what, how: rate_of_return(run, what, how.get("less")),
    "column": lambda run, what, how: column(run, what, how["of"]),
    "after the tax on it": lambda run, what, how: after_tax(run, what, how["of"]),
    "yearly cost of keeping": lambda run, what, how: yearly_cost(run, what, how["less"], how.get("years")),
    "cost of one more year": lambda run, what, how: one_more_year(run, what, how["less"]),
}


def answers(case: dict[str, Any]) -> dict[str, Any]:
    scenario = ed.loads(case["scenario"], case["id"])
    found = {}
    for name, how in case["answers"].items():
        (reader,) = set(how) & set(READERS)
        values = {path: np.array(value, dtype=float) for path, value in how.get("values", {}).items()}
        found[name] = READERS[reader](ed.evaluate(scenario, values, sale_alone=True), how[reader], how)
    return found


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["id"])
def test_published_whole_engine(case: dict[str, Any]) -> None:
    found = answers(case)
    assert found.keys() == case["expected"].keys() == case["tolerance"].keys()
    for name, expected in case["expected"].items():
        assert np.shape(found[name]) == np.shape(expected), f"{case['id']} {name}: {found[name]}"
        apart = np.abs(np.subtract(found[name], expected)).max()
        assert apart <= case["tolerance"][name], (
            f"{case['id']} {name}: {found[name]}, {case['source']} prints {expected}"
        )
    for name, printed in case.get("printed_instead", {}).items():
        assert abs(found[name] - printed) > case["tolerance"][name], (
            f"{case['id']} {name} repeats the slip of the print"
        )


def test_the_file_of_cases_is_complete() -> None:
    needed = {"id", "title", "source", "where", "status", "scenario", "answers", "expected", "tolerance"}
    assert [case.get("id") for case in CASES if needed - set(case)] == []
    assert len({case["id"] for case in CASES}) == len(CASES) >= 10
    assert {reader for case in CASES for how in case["answers"].values() for reader in set(how) & set(READERS)} == set(
        READERS
    )
