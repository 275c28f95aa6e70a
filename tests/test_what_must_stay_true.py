"""What must stay true of every decision, tried on small random scenarios and on the ready examples.

Each section is one statement of the design: figures lead to a ledger; lines to a rule and a purse; a column has one
definition; a trial is the run of that trial alone; sums agree to the cent; Keep gives back what was entered.
"""

from __future__ import annotations

import datetime as dt
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

import equipdecide as ed
from equipdecide.decide.compare import measure
from equipdecide.evaluate import GROUPS, Evaluation, evaluate
from equipdecide.ledger import Column, Ledger
from equipdecide.scenario.models import Scenario
from equipdecide.scenario.reading import amounts
from equipdecide.tape import Tape

EXAMPLES = Path(__file__).parents[1] / "scenarios"
READY = ("first_sale.yaml", "deck_fittings.yaml")
CENT = 0.005
MEASURES = {
    "worth",
    "cash test",
    "own money",
    "coverage",
}  # rules that look at cash; nothing may read them but they themselves
FEW = settings(max_examples=8, deadline=None)

thousands = st.integers(0, 400).map(lambda k: k * 500)
days = st.integers(0, 700).map(lambda k: dt.date(2026, 2, 9) + dt.timedelta(days=k))


def trees(rate: str | None = None, single_rate: bool = False) -> st.SearchStrategy[dict[str, Any]]:
    """Scenario files as trees: one machine owned, perhaps on a loan, and what may be done about it."""

    @st.composite
    def build(draw: st.DrawFn) -> dict[str, Any]:
        years = draw(st.integers(2, 6))
        old: dict[str, Any] = {
            "what": "machine owned",
            "assets": {
                "item": {
                    "cost": draw(st.integers(1, 300)) * 1000.0 + draw(st.sampled_from((0, 0.37))),
                    "in_service": draw(st.dates(dt.date(2018, 1, 1), dt.date(2026, 1, 31))),
                    "section_179": draw(st.sampled_from(("none", "all", 1000))),
                    "bonus": draw(st.sampled_from(("by law", "elected out", "30 %"))),
                    "life": draw(st.sampled_from((5, 7))),
                }
            },
            "upkeep": {"first_year": draw(thousands) / 10, "growth": f"{draw(st.integers(0, 12))} %"},
            "earnings": {"work": draw(thousands)},
            "worth_at_end": draw(thousands) / 5,
        }
        if draw(st.booleans()):
            old["loans"] = {
                "bank": {
                    "principal": draw(st.integers(1, 200)) * 1000,
                    "rate": f"{draw(st.integers(0, 14))} %",
                    "payments": draw(st.integers(2, 84)),
                    "first_payment": draw(st.dates(dt.date(2023, 1, 5), dt.date(2026, 1, 28))),
                    "early_payoff": draw(st.sampled_from(("0 %", "1 %"))),
                    "release_fee": draw(st.sampled_from((0, 150))),
                }
            }
        new = {
            "what": "machine to buy",
            "price": draw(st.integers(1, 400)) * 1000,
            "capital_costs": {"freight": draw(thousands) / 50},
            "expenses": {"training": draw(thousands) / 50},
            "upkeep": {"first_year": draw(thousands) / 20, "growth": "5 %"},
            "earnings": {"work": draw(thousands)},
            "worth_at_end": draw(thousands) / 4,
        }
        bought, sold = draw(days), draw(days)
        limit = dt.date(2026 + years, 2, 1)
        bought, sold = min(bought, limit), min(sold, limit)
        buy: dict[str, Any] = {
            "do": "buy",
            "machine": "new",
            "on": bought,
            "section_179": draw(st.sampled_from(("none", "all"))),
        }
        if draw(st.booleans()):
            buy["pay"] = "loan"
        tree: dict[str, Any] = {
            "title": "A random shop",
            "decision_date": dt.date(2026, 2, 9),
            "machine_in_question": "old",
            "study": {"years": years, "rate": rate or f"{draw(st.integers(0, 20))} %"},
            "shop": {"name": "Random", "taxed_as": draw(st.sampled_from(("sole proprietor", "S corporation")))},
            "machines": {"old": old, "new": new},
            "offers": {
                "buyer": {
                    "machine": "old",
                    "route": "outright",
                    "price": draw(thousands),
                    "costs": {"cleaning": draw(thousands) / 100},
                    "commission": draw(st.sampled_from(("0 %", "8 %"))),
                }
            },
            "financing": {
                "loan": {
                    "amount": draw(st.integers(1, 300)) * 1000,
                    "rate": f"{draw(st.integers(0, 12))} %",
                    "payments": draw(st.integers(6, 96)),
                }
            },
            "alternatives": {
                "keep": [],
                "sell": [{"do": "sell", "machine": "old", "by": "buyer", "on": sold}],
                "replace": [{"do": "sell", "machine": "old", "by": "buyer", "on": sold}, buy],
            },
        }
        if single_rate or draw(st.booleans()):
            tree["owners"] = {"Ann": {"share": "100 %", "tax_rate": f"{draw(st.integers(0, 40))} %"}}
        else:
            tree["shop"]["as_things_are"] = {"ordinary_income": draw(thousands), "wages": 50000}
            tree["shop"]["state"] = {"rate": "5 %", "bonus": "does not follow"}
            profile = {
                "filing": draw(st.sampled_from(("single", "joint"))),
                "other_income": draw(thousands),
                "last_tax": 9000,
                "last_agi": 120000,
            }
            tree["owners"] = {"Ann": {"share": "100 %"} | profile}
        return tree

    return build()


class WithoutReferences(yaml.SafeDumper):
    """Writes every value out: a scenario file has no anchors."""

    def ignore_aliases(self, data: object) -> bool:
        return True


def read(tree: dict[str, Any]) -> Scenario:
    return ed.loads(yaml.dump(tree, Dumper=WithoutReferences, sort_keys=False), "random")


@lru_cache
def ready(name: str) -> Evaluation:
    return evaluate(ed.load(EXAMPLES / name))


# --- 1. every figure shown leads to a ledger


@pytest.mark.parametrize("name", READY)
def test_figures_shown_are_figures_of_a_ledger(name: str) -> None:
    shown = {o["name"]: o for o in measure(ready(name)).to_json()["alternatives"]}  # type: ignore[attr-defined]
    for course, ledger in ready(name).ledgers.items():
        assert shown[course]["npv"] == ledger.column("worth.npv").figure()
        assert shown[course]["annual_worth"] == ledger.column("worth.annual_worth").figure()
        assert shown[course]["own_money_needed"] == ledger.column("own money.needed").figure()
        for column in ledger.order:
            assert ledger.column(column.full_name).values is column.values or column.full_name.count(".") > 1


# --- 2. every line leads to a rule and names a purse, every law to a dated source


def check_lines(run: Evaluation) -> None:
    purses = {"shop", *run.scenario.owners}
    for ledger in run.ledgers.values():
        known = {id(column) for column in ledger.order}
        for line in ledger.lines:
            assert line.purse in purses and line.rule and line.rule == line.column.rule and line.group in GROUPS, (
                line.name
            )
            assert id(line.column) in known, line.name
            assert line.dates is None or len(line.dates) == len(line.column.axis), line.name
        for column in ledger.order:
            if column.origin is not None and column.origin.kind == "law":
                assert (
                    column.origin.ref
                    and column.origin.source
                    and column.origin.status in ("read", "memory", "assumption")
                ), column.full_name


@pytest.mark.parametrize("name", READY)
def test_lines_and_sources(name: str) -> None:
    check_lines(ready(name))


@FEW
@given(trees())
def test_lines_and_sources_at_random(tree: dict[str, Any]) -> None:
    check_lines(evaluate(read(tree)))


# --- 3. a column is given, formula or computed; a computed one has a certificate (the spreadsheet: tests/test_workbook.py)


def check_columns(ledger: Ledger) -> None:
    for column in ledger.order:
        if column.kind == "given":
            assert column.origin is not None and column.formula is None and not column.args and column.run is None, (
                column.full_name
            )
        else:
            assert column.origin is None and column.run is not None, column.full_name
        if column.kind == "formula":
            assert column.formula is not None, column.full_name
            again = column.run(*(arg.values for arg in column.args))  # type: ignore[misc]
            assert np.array_equal(np.broadcast_to(again, column.values.shape), column.values), column.full_name
        if column.kind == "computed":
            assert column.certificate is not None and np.abs(column.certificate.values).max() <= CENT, column.full_name


@pytest.mark.parametrize("name", READY)
def test_columns_have_one_definition(name: str) -> None:
    for ledger in ready(name).ledgers.values():
        check_columns(ledger)


# --- 4. trial i of a run equals the run of trial i alone


def check_trials(scenario: Scenario, seed: int, trials: int = 3) -> None:
    rng = np.random.default_rng(seed)
    drawn = {
        path: amount.likely * rng.uniform(0.6, 1.4, trials)
        for path, amount in amounts(scenario).items()
        if amount.chance is None and not fixed(path)
    }
    many = evaluate(scenario, drawn)
    for trial in range(trials):
        one = evaluate(scenario, {path: float(values[trial]) for path, values in drawn.items()})
        for name, ledger in many.ledgers.items():
            for column, alone in zip(ledger.order, one[name].order, strict=True):
                if column.wide:
                    continue
                assert column.full_name == alone.full_name
                apart = np.abs(column.per_row(trial) - alone.per_row()).max()
                assert apart <= 1e-6 * max(1.0, np.abs(alone.values).max() / 1e6), (
                    f"{name}: {column.full_name} is {apart} apart"
                )


def fixed(path: str) -> bool:
    """Shares that must add up to the whole stay as entered."""
    return path.startswith("owners.") and path.endswith(".share") or ".terms." in path


@settings(max_examples=4, deadline=None)
@given(trees(), st.integers(0, 10_000))
def test_a_trial_is_the_run_of_that_trial(tree: dict[str, Any], seed: int) -> None:
    check_trials(read(tree), seed)


@pytest.mark.parametrize("name", READY)
def test_a_trial_of_the_ready_examples(name: str) -> None:
    check_trials(ed.load(EXAMPLES / name), 7, 2)


def test_the_tape_runs_the_same_columns() -> None:
    run = ready("deck_fittings.yaml")
    wanted = [ledger.column("worth.npv") for ledger in run.ledgers.values()]
    paths = [path for path, amount in amounts(run.scenario).items() if amount.doubtful and amount.chance is None]
    rng = np.random.default_rng(3)
    drawn = {path: amounts(run.scenario)[path].likely * rng.uniform(0.8, 1.2, 4) for path in paths}
    found = Tape(run.order, paths, wanted).run(drawn)
    direct = evaluate(run.scenario, drawn)
    for column, values in zip(wanted, found, strict=True):
        name = next(name for name, ledger in run.ledgers.items() if column in ledger.order)
        np.testing.assert_allclose(values, direct[name].column("worth.npv").values, rtol=0, atol=1e-6)


# --- 5. sources equal uses, loans end at zero, depreciation and basis make cost, taxes owed are taxes paid


def check_sums(run: Evaluation) -> None:
    for ledger in run.ledgers.values():
        for name, working in ledger.workings.items():
            money = {column.name: float(column.values.sum()) for column in working if not column.wide}
            if name.startswith("settlement "):
                uses = money["commission"] + money["costs"] + money["payoff"] + money["release"] + money["to_owner"]
                assert abs(money["gross"] + money["shortfall"] - uses) < CENT, f"{ledger.name}: {name}"
            if name.startswith("loan ") and "balance" in working:
                assert working["balance"].figure(len(working.axis) - 1) == 0.0, name
                assert money["principal" if "principal" in money else "paid"] is not None
                owed = principal(working["balance"])
                assert abs(owed + money["interest"] - money["paid"]) < CENT, name
                assert (working["balance"].per_row() >= 0).all() and (working["interest"].per_row() >= 0).all(), name
            if " book of " in name:
                assert abs(money["depreciation"] + money["adjusted_basis"] - money["cost"]) < CENT, name
                assert -CENT < money["adjusted_basis"] < money["cost"] + CENT, name
        check_taxes(ledger)


def principal(balance: Column) -> float:
    (found,) = {
        arg.figure()
        for arg, used in zip(balance.args, [n for n in balance.formula.names if n != "balance"], strict=True)
        if used == "principal"
    }  # type: ignore[union-attr]
    return found


def check_taxes(ledger: Ledger) -> None:
    added = {
        name.removeprefix("payments "): w["added"]
        for name, w in ledger.workings.items()
        if name.startswith("payments ") and "added" in w
    }
    paid: dict[str, float] = {}
    for line in ledger.lines:
        if line.group == "tax":
            label = line.name.partition(",")[0]
            paid[f"{label} {line.purse}"] = paid.get(f"{label} {line.purse}", 0.0) + float(line.amounts().sum())
    assert paid.keys() == added.keys(), ledger.name
    for label, column in added.items():
        assert abs(paid[label] + float(column.per_row().sum())) < CENT, f"{ledger.name}: {label}"
    for name, working in ledger.workings.items():
        if name.startswith("payments ") and "check" in working:
            assert np.abs(working["check"].values).max() < CENT, name


@pytest.mark.parametrize("name", READY)
def test_sums_of_the_ready_examples(name: str) -> None:
    check_sums(ready(name))


@settings(max_examples=20, deadline=None)
@given(trees())
def test_sums_at_random(tree: dict[str, Any]) -> None:
    check_sums(evaluate(read(tree)))


# --- 6. Keep's first year gives back the income that was entered; no rule reads cash after tax


def keeps_first_year(run: Evaluation) -> float:
    """Keep's first twelve months before tax from its lines, less the depreciation of the year of decision.

    Section 179 of that year is stated apart on the return of the business (Form 1120-S and 1065, Schedule K).
    """
    ledger, start = run["keep"], run.time.start
    last = dt.date(start.year + 1, start.month, min(start.day, 28))
    income = 0.0
    for line in ledger.lines:
        if line.rule in ("contribution", "upkeep", "spending") and line.group == "operating":
            spans = line.column.axis
            income += sum(float(a) for a, day in zip(line.amounts(), spans.starts, strict=True) if start <= day < last)
    for name, working in ledger.workings.items():
        if name.startswith("service "):
            rows = zip(working["interest"].per_row(), working.axis.ends, strict=True)
            income -= sum(float(a) for a, day in rows if start <= day < last)
        if name.startswith("federal book of "):
            column = working["other_of_year" if "other_of_year" in working else "depreciation"]
            rows = zip(column.per_row(), working.axis.labels, strict=True)
            income -= sum(float(a) for a, label in rows if label == str(start.year))
    return income


def check_keep(run: Evaluation) -> None:
    entered = run.scenario.shop.as_things_are
    if entered is None:
        return
    without = run["keep"].column("reference income.without").figure()
    assert without + keeps_first_year(run) == pytest.approx(float(entered.ordinary_income), abs=CENT)


def check_nothing_reads_cash(ledger: Ledger) -> None:
    for column in ledger.order:
        for arg in column.args:
            assert not reads_cash(arg) or reads_cash(column), f"{column.full_name} reads {arg.full_name}"


def reads_cash(column: Column) -> bool:
    return column.rule in MEASURES


@pytest.mark.parametrize("name", READY)
def test_keep_and_cash_of_the_ready_examples(name: str) -> None:
    check_keep(ready(name))
    for ledger in ready(name).ledgers.values():
        assert {"worth", "cash"} <= set(ledger.workings)
        check_nothing_reads_cash(ledger)


@FEW
@given(trees())
def test_keep_and_cash_at_random(tree: dict[str, Any]) -> None:
    run = evaluate(read(tree))
    check_keep(run)
    for ledger in run.ledgers.values():
        check_nothing_reads_cash(ledger)


# --- present worth


def npv(scenario: Scenario, values: dict[str, Any] | None = None) -> dict[str, float]:
    return {name: ledger.column("worth.npv").figure() for name, ledger in evaluate(scenario, values).ledgers.items()}


@FEW
@given(
    trees(single_rate=True),
    st.sampled_from(
        ("machines.old.worth_at_end", "machines.old.upkeep.first_year", "machines.new.price", "offers.buyer.price")
    ),
)
def test_npv_is_linear_in_an_amount_at_one_tax_rate(tree: dict[str, Any], path: str) -> None:
    scenario = read(tree)
    low, mid, high = (npv(scenario, {path: value}) for value in (40_000.0, 50_000.0, 60_000.0))
    for name in low:
        assert low[name] + high[name] == pytest.approx(2 * mid[name], abs=0.1), (
            name
        )  # each cent of depreciation is rounded


@FEW
@given(trees(rate="0 %"))
def test_at_a_rate_of_zero_present_worth_is_the_sum(tree: dict[str, Any]) -> None:
    run = evaluate(read(tree))
    for ledger in run.ledgers.values():
        total = 0.0
        for line in ledger.lines:
            total += sum(
                float(a) for k, a in enumerate(line.amounts()) if line.dates is None or line.dates[k] >= run.time.start
            )
        assert ledger.column("worth.npv").figure() == pytest.approx(total, abs=CENT), ledger.name


@FEW
@given(trees())
def test_groups_and_dated_lines_make_present_worth(tree: dict[str, Any]) -> None:
    run = evaluate(read(tree))
    rate, start = run.scenario.study.rate.likely, run.time.start
    for ledger in run.ledgers.values():
        parts = {group: ledger.column(f"worth.{group}").figure() for group in GROUPS}
        assert sum(parts.values()) == pytest.approx(ledger.column("worth.npv").figure(), abs=CENT)
        by_hand = dict.fromkeys(GROUPS, 0.0)
        for line in ledger.lines:
            for day, amount in zip(line.dates or (), line.amounts(), strict=False):
                if day >= start:
                    by_hand[line.group] += float(amount) / (1 + rate) ** ((day - start).days / 365)
        spread = {line.group for line in ledger.lines if line.dates is None}
        for group in set(GROUPS) - spread:
            assert parts[group] == pytest.approx(by_hand[group], abs=CENT), f"{ledger.name}: {group}"


@FEW
@given(st.integers(1, 5), thousands, st.integers(0, 15), st.integers(0, 40))
def test_a_year_equals_its_months(years: int, earned: float, growth: int, tax: int) -> None:
    tree: dict[str, Any] = {
        "title": "Months or years",
        "decision_date": dt.date(2026, 1, 1),
        "regime": "flat",
        "flat": {"tax_rate": f"{tax} %"},
        "machine_in_question": "M",
        "study": {"years": years, "rate": "0 %"},
        "shop": {"name": "Random", "taxed_as": "sole proprietor"},
        "machines": {
            "M": {
                "what": "machine",
                "earnings": {"work": earned},
                "upkeep": {"first_year": earned / 3, "growth": f"{growth} %"},
                "worth_at_end": 0,
            }
        },
        "alternatives": {"keep": []},
    }
    by_month = evaluate(read(tree))["keep"].column("cash.all operating").per_row()
    tree["study"]["periods"] = "years"
    by_year = evaluate(read(tree))["keep"].column("cash.all operating").per_row()
    upkeep = [earned / 3 * (1 + growth / 100) ** k for k in range(years)]
    for year in range(years):
        months = by_month[12 * year : 12 * year + 12].sum()
        assert months == pytest.approx(by_year[year + 1], abs=CENT)
        assert by_year[year + 1] == pytest.approx(earned - upkeep[year], abs=CENT)
