"""Owners' federal tax against a public library of United States individual income tax (taxcalc), over a grid of owners.

Run by `make reference`: the library is heavy and is needed by these tests alone. Every difference is named in
known_differences.yaml with its size as a formula of that library's own results; nothing else may differ by a dollar.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
import yaml

from equipdecide import parameters
from equipdecide.evaluate import timeline
from equipdecide.ledger import Draft, Origin, Shared
from equipdecide.plan import resolve
from equipdecide.scenario import loads
from equipdecide.tax.income import Flows
from equipdecide.tax.individual import federal
from equipdecide.tax.regimes import law_by_year

pytestmark = pytest.mark.reference
DIFFERENCES = yaml.safe_load((Path(__file__).parent / "known_differences.yaml").read_text(encoding="utf-8"))[
    "differences"
]
MARS = {"single": 1, "joint": 2, "separate": 3, "head of household": 4}


@dataclass(frozen=True)
class Case:
    """One owner of the grid; money in dollars."""

    year: int
    filing: str
    kind: str  # how the business is taxed; "passive" is a partner who does not work in it
    wages: float  # the owner's own
    interest: float
    business: float  # before section 179
    section_179: float
    recapture: float
    gain: float  # section 1231
    paid_wages: float = 60_000
    property: float = 240_000


def grid() -> list[Case]:
    """More than two hundred owners: every status, four years, incomes from modest to high, gains,
    losses, deductions.
    """
    shapes = [  # wages, interest, business, section 179, recapture, gain
        (0, 0, 90_000, 0, 0, 0),
        (0, 0, 90_000, 40_000, 0, 0),
        (52_000, 1_000, 60_000, 0, 62_000, 0),
        (52_000, 9_000, 140_000, 60_000, 35_000, 12_000),
        (118_000, 0, 114_000, 0, 0, -9_000),
        (30_000, 2_000, -45_000, 0, 0, 0),
        (210_000, 40_000, 180_000, 0, 90_000, 20_000),
        (0, 0, 420_000, 150_000, 60_000, 0),
        (0, 15_000, 700_000, 0, 0, 80_000),
        (20_000, 0, 90_000, 0, 0, 1_400_000),  # so much gain that the alternative minimum tax is due
    ]
    kinds = ("sole proprietor", "partnership", "S corporation", "passive")
    filings = list(MARS)
    cases = []
    for n, (kind, shape, filing) in enumerate(product(kinds, shapes, filings)):
        for year in (2023 + (n + n // 4) % 4, 2023 + (n + n // 4 + 1) % 4):
            cases.append(Case(year, filing, kind, *shape))
    return cases


SCENARIO = """
title: One owner of a grid
decision_date: {year}-01-02
machine_in_question: M
study: {{years: 1, rate: 10 %}}
shop:
  name: Grid
  taxed_as: {taxed_as}
  as_things_are: {{ordinary_income: 0, wages: {paid_wages}}}
owners:
  One: {{share: {share} %, filing: {filing}, active: {active}, other_income: {other}, wages: {wages}, investment_income: {interest}}}{other_owner}
machines:
  M: {{what: machine, worth_at_end: 0, assets: {{all: {{cost: 1, in_service: 2015-01-05}}}}}}
alternatives: {{keep: []}}
"""


def ours(case: Case) -> dict[str, float]:
    """The owner's return by this library: the first tax year's figures."""
    passive = case.kind == "passive"
    owners = 2 if case.kind in ("partnership", "passive") else 1  # a partnership has two: the whole is twice the share
    text = SCENARIO.format(
        year=case.year,
        taxed_as="partnership" if passive else case.kind,
        paid_wages=case.paid_wages * owners,
        share=100 // owners,
        other_owner="\n  Two: {share: 50 %, tax_rate: 20 %}" if owners == 2 else "",
        filing=case.filing,
        active="no" if passive else "yes",
        other=case.wages + case.interest,
        wages=case.wages,
        interest=case.interest,
    )
    scenario = loads(text)
    time = timeline(scenario)
    plan = resolve(scenario, "keep", time)
    draft = Draft("keep", Shared({}))
    w = draft.working("flows", time.tax, "entered", "test")
    first = [1.0] + [0.0] * (len(time.tax) - 1)

    def given(name: str, amount: float) -> Any:
        return w.given(name, [owners * amount * one for one in first], "USD", name, Origin("choice", name))

    flows = Flows(
        given("business", case.business),
        given("elected", case.section_179),
        given("recapture", case.recapture),
        given("gain", case.gain),
        given("property", case.property),
    )
    made = federal(
        draft, plan, law_by_year(parameters.load(), plan), "One", scenario.owners["One"], "as filed", flows, ()
    )
    return {column.name: column.figure() for column in made}


@cache
def theirs() -> pd.DataFrame:
    """The same owners by the library: pass-through income with recapture in it, as the law has it
    in qualified income.
    """
    import taxcalc

    rows = []
    for case in grid():
        # one who does not work in the business has only wages to take section 179 against (Reg. 1.179-2(c)(6))
        expensed = min(case.section_179, case.wages) if case.kind == "passive" else case.section_179
        ordinary = case.business - expensed
        earned = case.kind in ("sole proprietor", "partnership")
        # section 1231: a gain is long-term capital, a loss ordinary; recapture and such a loss stand in pass-through
        # income, so that they count as qualified and not as self-employment income
        through = case.recapture + min(case.gain, 0.0) + (0.0 if case.kind == "sole proprietor" else ordinary)
        if case.kind == "passive":  # the library takes such a loss as it is given: Form 8582 is left to its user
            through = max(through, 0.0)
        rows.append(
            {
                "RECID": len(rows) + 1,
                "MARS": MARS[case.filing],
                "XTOT": 2 if case.filing == "joint" else 1,
                "age_head": 45,
                "age_spouse": 45 if case.filing == "joint" else 0,
                "FLPDYR": case.year,
                "e00200": case.wages,
                "e00200p": case.wages,
                "e00300": case.interest,
                "e00900": ordinary if case.kind == "sole proprietor" else 0.0,
                "e00900p": ordinary if case.kind == "sole proprietor" else 0.0,
                "e26270": through,
                "e02000": through,
                "k1bx14p": ordinary if case.kind == "partnership" and earned else 0.0,
                "p23250": max(case.gain, 0.0),
                "PT_binc_w2_wages": case.paid_wages,
                "PT_ubia_property": case.property,
            }
        )
    frame = pd.DataFrame(rows)
    found = []
    for (year, passive), part in frame.groupby(
        [frame["FLPDYR"], pd.Series([case.kind == "passive" for case in grid()])]
    ):
        records = taxcalc.Records(
            data=part.copy(), start_year=int(year), gfactors=None, weights=None, adjust_ratios=None
        )
        policy = taxcalc.Policy()
        if passive:  # a passive owner's share of the business is investment income
            policy.implement_reform({"NIIT_PT_taxed": {2023: True}})
        calculator = taxcalc.Calculator(policy=policy, records=records, verbose=False)
        calculator.advance_to_year(int(year))
        calculator.calc_all()
        names = [
            "iitax",
            "setax",
            "ptax_amc",
            "niit",
            "c09600",
            "c00100",
            "qbided",
            "c04800",
            "c01000",
            "eitc",
            "c05800",
        ]
        out = pd.DataFrame({name: calculator.array(name) for name in names})
        out["RECID"] = part["RECID"].to_numpy()
        found.append(out)
    return pd.concat(found).sort_values("RECID").reset_index(drop=True)


def explained(case: Case, row: Any) -> dict[str, float]:
    """The size of each known difference for one owner: what the library's tax is above ours."""
    scope = {
        "active": case.kind != "passive",
        "year": case.year,
        "filing": case.filing,
        "gain": max(case.gain, 0.0),
        "interest": case.interest,
        "max": max,
        "min": min,
        **{name: float(row[name]) for name in ("niit", "c09600", "c00100", "c04800", "eitc")},
    }
    return {
        entry["name"]: float(eval(entry["size"], {"__builtins__": {}}, scope)) for entry in DIFFERENCES
    }  # our own file


def test_the_grid_is_large_and_covers_every_status_year_and_kind() -> None:
    cases = grid()
    assert len(cases) >= 200
    assert len(set(cases)) == len(cases)
    seen = {(case.year, case.filing) for case in cases}, {(case.filing, case.kind) for case in cases}
    assert seen == (set(product(range(2023, 2027), MARS)), set(product(MARS, {case.kind for case in cases})))


def test_every_owner_agrees_within_a_dollar_but_for_the_known_differences() -> None:
    table, wrong = theirs(), []
    for case, (_, row) in zip(grid(), table.iterrows(), strict=True):
        mine = ours(case)
        total = row["iitax"] + row["setax"] + row["ptax_amc"]
        apart = total - mine["tax"] - sum(explained(case, row).values())
        if abs(apart) > 1.0:
            wrong.append(
                f"{case}: library {total:.2f} (niit {row['niit']:.2f}, qbi {row['qbided']:.2f}, amt {row['c09600']:.2f}), here {mine['tax']:.2f} (qbi {mine['qbi_deduction']:.2f}), unexplained {apart:.2f}"
            )
    assert not wrong, f"{len(wrong)} of {len(table)}\n" + "\n".join(wrong[:12])


def test_every_known_difference_is_met_and_cited() -> None:
    met = {entry["name"]: 0 for entry in DIFFERENCES}
    for case, (_, row) in zip(grid(), theirs().iterrows(), strict=True):
        for name, size in explained(case, row).items():
            met[name] += abs(size) > 1.0
    assert all(met.values()), met
    assert all(entry["why"] and entry["source"] for entry in DIFFERENCES)


def test_taxable_income_and_adjusted_gross_income_agree_too() -> None:
    table = theirs()
    for case, (_, row) in zip(grid(), table.iterrows(), strict=True):
        mine = ours(case)
        assert mine["income"] == pytest.approx(row["c00100"], abs=0.01), case
        assert mine["taxable"] == pytest.approx(row["c04800"], abs=0.01), case


def test_the_library_sees_the_same_owners_and_every_tax_is_met() -> None:
    assert len(theirs()) == len(grid())
    for tax in ("setax", "ptax_amc", "niit", "c09600", "qbided"):
        assert (theirs()[tax] > 1).sum() >= 8, tax
    assert np.isfinite(theirs().to_numpy()).all()
