"""The tax rules of a hard case: recalculated by LibreOffice from the workbook at entered and changed amounts, and run
in trials.

Three owners (one passive, one admitted after the write-off, one with carried losses and little basis), section 179
beyond income, a state that adds back and returns, a sale of several items paid over time, business use that falls.
"""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from recalculate import recalculate
from test_workbook import changed, disagreements

import equipdecide as ed
from equipdecide.decide.compare import measure
from equipdecide.evaluate import evaluate
from equipdecide.tape import Tape
from equipdecide.views.workbook import lay_out, workbook

HARD = """
title: Every limit at once
decision_date: 2026-03-02
machine_in_question: M
study: {years: 6, rate: 9 %, tax_indexing: 2 %}
shop:
  name: Case
  taxed_as: partnership
  state: {code: STATE, property_tax: 1.2 %, pass_through_rate: 4 %}
  as_things_are: {ordinary_income: 60,000, wages: 40,000, other_property: 300,000}
  distributions: 20,000
  tax_distributions: 20 %
owners:
  Ada: {share: 50 %, filing: joint, other_income: 150,000, wages: 60,000, spouse_wages: 70,000, investment_income: 9,000, last_tax: 21,000, last_agi: 190,000,
        last_state_tax: 4,000, section_179_carried: 3,000, loss_carried: 11,000, losses_1231: {2022: 1,500, 2024: 2,500}, outside_basis: 15,000,
        at_risk: 6,000, guarantees: 20,000}
  Bo: {share: 30 %, filing: single, other_income: 80,000, active: no, passive_loss_carried: 4,000}
  Cy: {share: 20 %, filing: head of household, other_income: 40,000, wages: 40,000}
machines:
  M:
    what: machine
    worth_at_end: 5,000
    upkeep: {first_year: 6,000, growth: 5 %}
    assets:
      press: {cost: 90,000, in_service: 2021-03-01, section_179: all, deductions_taken_by: {Ada: 70 %, Bo: 30 %}, section_179_used: {Ada: 42,000}}
      probe: {cost: 22,000, in_service: 2024-05-01, bonus: 50 %}
      gauge: {cost: 2,000, in_service: 2023-03-01, expensed: yes}
  T:
    what: truck
    worth_at_end: 1,000
    assets: {truck: {cost: 30,000, in_service: 2024-02-01, life: 5, section_179: 20,000, business_use: 90 %, business_use_later: 40 %, business_use_changes: 2027-01-01}}
  N: {what: new machine, price: 180,000, worth_at_end: 40,000, upkeep: {first_year: 2,000, growth: 4 %}}
offers:
  buyer: {machine: M, route: private sale, price: 118,000, costs: {ad: 900}, paid_over: {deferred: 40 %, payments: 3, rate: 6 %}}
financing:
  note: {amount: 120,000, rate: 8 %, payments: 60}
alternatives:
  keep: []
  change:
    - {do: buy, machine: N, on: 2026-05-04, pay: note, section_179: 150,000, section_179_state: 20,000}
    - {do: sell, machine: M, by: buyer, on: 2026-06-10}
"""


CHANGED = {
    "shop.as_things_are.ordinary_income": -20_000.0,
    "offers.buyer.price": 61_000.0,
    "owners.Ada.outside_basis": 90_000.0,
    "owners.Bo.other_income": 400_000.0,
    "machines.N.price": 330_000.0,
    "owners.Ada.losses_1231.2022": 0.0,
}


@pytest.mark.e2e
@pytest.mark.parametrize("state", ["NC", "OH", "CA"])
def test_the_hard_case_recalculated(tmp_path: Path, state: str) -> None:
    comparison = ed.compare(ed.loads(HARD.replace("STATE", state), "hard"))
    path, made = workbook(comparison, tmp_path / "hard.xlsx", "change"), lay_out(comparison, "change")
    assert disagreements(made, comparison, recalculate(path)) == []
    other = measure(evaluate(comparison.scenario, CHANGED))
    cells = recalculate(changed(path, made, CHANGED, tmp_path / "changed.xlsx"))
    assert disagreements(made, other, cells) == []
    assert disagreements(made, comparison, cells) != [], "the changed amounts must tell"


OTHER = """
title: Without tables, and above the exemption
decision_date: 2026-09-15
machine_in_question: M
study: {years: 6, rate: 9 %, tax_indexing: 2 %}
shop:
  name: Case
  taxed_as: S corporation
  began: 2026-03-15
  state: {code: CA}
  as_things_are: {ordinary_income: 120,000, gross_receipts: 34,000,000, other_interest: 30,000, other_depreciation: 25,000, interest_carried: 9,000}
owners:
  Ada: {share: 50 %, filing: joint, other_income: 150,000, last_tax: 30,000, last_agi: 190,000, last_state_tax: 9,000}
  Bo: {share: 50 %, filing: single, other_income: 80,000, active: no}
machines:
  M:
    what: machine
    worth_at_end: 5,000
    upkeep: {first_year: 6,000, growth: 5 %}
    running: {staffed_hours: 2,000, cutting_share: 45 %}
    own_books: {method: units of production, spindle_hours: 9,000, spindle_hours_so_far: 6,500, salvage: 15,000}
    assets:
      short: {cost: 90,000, in_service: 2026-03-20, bonus: elected out, section_179: 10,000}
      burnt: {cost: 60,000, in_service: 2024-05-01, bonus: elected out, casualty: {on: 2026-02-02, lowered: 8,000, restored: 5,000}}
      slow: {cost: 22,000, in_service: 2024-05-01, method: 150 % declining balance, tables: no, bonus: 40 %}
      filed: {cost: 30,000, in_service: 2023-05-01, method: table, table: [60 %, 20 %, 8 %, 6 %, 6 %]}
      car: {cost: 12,000, in_service: 2025-05-01, life: 5, section_179: 6,000, business_use: 80 %, business_use_later: 40 %, business_use_changes: 2027-01-01}
  N: {what: new machine, price: 400,000, worth_at_end: 90,000, upkeep: {first_year: 2,000, growth: 4 %}, depreciation: {system: alternative},
      running: {staffed_hours: 2,000, cutting_share: 50 %}, own_books: {method: declining balance, life: 5, salvage: 30,000}}
offers:
  buyer: {machine: M, route: private sale, price: 118,000, costs: {ad: 900}}
financing:
  note: {amount: 380,000, rate: 11 %, payments: 84}
alternatives:
  keep: []
  change:
    - {do: buy, machine: N, on: 2026-11-04, pay: note, section_179: 50,000, bonus: elected out}
    - {do: sell, machine: M, by: buyer, on: 2028-06-10}
"""
EIGHT: dict[str, dict[str, float]] = {
    "a loss": {"shop.as_things_are.ordinary_income": -150_000.0},
    "plenty of income": {"shop.as_things_are.ordinary_income": 2_500_000.0},
    "receipts fall under the exemption": {"shop.as_things_are.gross_receipts": 20e6},
    "more interest carried and owed": {
        "shop.as_things_are.interest_carried": 400_000.0,
        "shop.as_things_are.other_interest": 250_000.0,
    },
    "sold for less than is left of it": {"offers.buyer.price": 30_000.0},
    "sold above cost": {"offers.buyer.price": 260_000.0, "machines.N.price": 300_000.0},
    "a casualty that takes all of the basis": {
        "machines.M.assets.burnt.casualty.lowered": 70_000.0,
        "machines.M.assets.burnt.casualty.restored": 0.0,
    },
    "other costs and elections": {
        "machines.M.assets.short.cost": 140_000.0,
        "machines.M.assets.short.section_179": 0.0,
        "machines.M.assets.car.cost": 50_000.0,
        "machines.M.assets.slow.cost": 0.01,
        "owners.Bo.other_income": 700_000.0,
    },
}


@pytest.mark.e2e
@pytest.mark.parametrize("case", EIGHT)
def test_the_other_case_recalculated_at_eight_changed_sets(tmp_path: Path, case: str) -> None:
    comparison = ed.compare(ed.loads(OTHER, "other"))
    path, made = workbook(comparison, tmp_path / "other.xlsx", "change"), lay_out(comparison, "change")
    other = measure(evaluate(comparison.scenario, EIGHT[case]))
    cells = recalculate(changed(path, made, EIGHT[case], tmp_path / "changed.xlsx"))
    assert disagreements(made, other, cells) == []
    assert disagreements(made, comparison, cells) != [], "the changed amounts must tell"


def test_the_other_case_keeps_its_books() -> None:
    """Depreciation with what is left of the basis makes the cost, at the entered and at changed
    figures; taxes owed are paid.
    """
    scenario = ed.loads(OTHER, "other")
    for values in ({}, *EIGHT.values()):
        ledger = evaluate(scenario, values, ["keep", "change"])["change"]
        for name, w in ledger.workings.items():
            if " book of " in name and "taken" in w:
                changed_by = w["changed"].figure() if "changed" in w else 0.0
                whole = w["taken"].figure() + w["adjusted_basis"].figure() - changed_by
                assert whole == pytest.approx(w["cost"].figure(), abs=0.011) or w["adjusted_basis"].figure() == 0, name
                assert (w["depreciation"].per_row() >= -1e-9).all(), name
            if name.startswith("business interest federal "):
                carried = [9_000.0 if not values.get("shop.as_things_are.interest_carried") else 400_000.0]
                carried += list(w["carried"].per_row())
                rolled = carried[0] + w["interest"].per_row().sum() - w["deducted"].per_row().sum()
                assert carried[-1] == pytest.approx(rolled, abs=1e-6)
            for check in ("check", "recapture_check"):
                if check in w:
                    assert w[check].per_row() == pytest.approx(0.0, abs=1e-6), f"{name}.{check}"


@pytest.mark.parametrize("state", ["NC", "IL", "MN", "CA"])
def test_the_hard_case_in_trials(state: str) -> None:
    """The same columns run again give what a run of its own gives, and every check column is zero."""
    scenario = ed.loads(HARD.replace("STATE", state), "hard")
    entered, alone = evaluate(scenario), evaluate(scenario, CHANGED)
    names = [
        column.full_name
        for column in entered["change"].order
        if column.name in ("tax", "income", "check", "recapture_check", "owed_at_end", "npv")
    ]
    tape = Tape(entered.order, list(CHANGED), [entered["change"].column(name) for name in names])
    inputs = {
        column.origin.ref: column.figure()
        for column in entered.order
        if column.origin is not None and column.origin.kind == "input"
    }
    trials = tape.run({path: np.array([inputs[path], figure]) for path, figure in CHANGED.items()})
    for name, values in zip(names, trials, strict=True):
        for trial, run in enumerate((entered, alone)):
            shown = np.broadcast_to(values, (values.shape[0], 2))[:, trial]
            assert shown == pytest.approx(run["change"].column(name).per_row()[: len(shown)], abs=1e-6), name
    for run in (entered, alone):
        for working in run["change"].workings.values():
            for name in ("check", "recapture_check"):
                if name in working:
                    assert working[name].per_row() == pytest.approx(0.0, abs=1e-6), f"{working.name}.{name}"


@pytest.mark.parametrize("kind", ["partnership", "S corporation", "C corporation", "sole proprietor"])
@pytest.mark.parametrize("state", ["CA", "OH", "IL", "FL"])
def test_every_kind_of_business_pays_what_it_owes(kind: str, state: str) -> None:
    """Compared, sold and put on paper without a fault; taxes owed equal taxes paid."""
    text = HARD.replace("STATE", state).replace("taxed_as: partnership", f"taxed_as: {kind}")
    if kind == "sole proprietor":
        text = re.sub(r"  Bo:.*\n  Cy:.*\n", "", text).replace("Ada: {share: 50 %", "Ada: {share: 100 %")
        text = text.replace("deductions_taken_by: {Ada: 70 %, Bo: 30 %}, ", "")
    scenario = ed.loads(text, "hard")
    ledger = ed.compare(scenario)["change"].ledger
    paid = 0
    for working in ledger.workings.values():
        if working.name.startswith("payments ") and "added" in working:
            lines = [line for line in ledger.lines if line.column.working == working.name]
            assert sum(line.amounts().sum() for line in lines) == pytest.approx(
                -working["added"].per_row().sum(), abs=1e-6
            ), working.name
            paid += 1
    assert paid >= 1
    assert ed.sale(scenario)["buyer"].tax_by_owner
    assert ed.papers(scenario, "change").of_year(2026)
