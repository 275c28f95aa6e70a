"""One machine, written off in full and sold at 60 % of cost, under four kinds of business in four states.

All by hand. The machine cost 100,000 and was expensed in 2021; 60,000 of recapture in 2026. The owners' other income
keeps every added dollar in the 24 % federal bracket (105,700 to 201,775 of taxable income in 2026, single; Rev. Proc.
2025-32) and below the threshold of the wage limit (201,750), and recapture counts as qualified business income, so a
fifth of it is deducted: 24 % x 80 % x 60,000 = 11,520. A corporation pays 21 %. State tax on the business itself, a
corporation's or a pass-through's own, is deducted from federal income (IRC 164(a)(3)): 9.5 % of 60,000 leaves 54,300 in
Illinois, and 21 % of that is 11,403. California allowed 25,000 of section 179 and tables on the rest: 75,000 x (14.29 +
24.49 + 17.49 + 12.49 + 8.93 + 8.92 / 2) % = 61,612.50, so 13,387.50 of basis is left there and the gain is 46,612.50.
"""

from datetime import date
from itertools import product

import pytest

import equipdecide as ed
from equipdecide.scenario import loads

FEDERAL = {"sole proprietor": 11_520.0, "S corporation": 11_520.0, "partnership": 11_520.0, "C corporation": 12_600.0}
GAIN = {"CA": 46_612.50}
OWNERS = {"CA": 0.093, "NC": 0.0399, "IL": 0.0495, "TX": 0.0}  # 9.3 % from 72,724 to 371,479 in California
CORPORATE = {"CA": 0.0884, "NC": 0.02, "IL": 0.095, "TX": 0.0}
ON_THE_BUSINESS = {("CA", "S corporation"): 0.015, ("IL", "S corporation"): 0.015, ("IL", "partnership"): 0.015}
TABLE = list(product(FEDERAL, OWNERS))


def federal_tax(kind: str, state: str) -> float:
    """By hand: the rate on 60,000 less the state's tax on the business itself."""
    own = CORPORATE[state] if kind == "C corporation" else ON_THE_BUSINESS.get((state, kind), 0.0)
    paid = own * GAIN.get(state, 60_000.0)
    tax = FEDERAL[kind] * (1 - paid / 60_000.0)
    if kind == "partnership":  # partners' earnings fall too: 92.35 % x 15.3 %, half of that deducted
        tax -= paid * 0.9235 * 0.153 * (1 - 0.5 * 0.24 * 0.8)
    return tax


SCENARIO = """
title: A machine written off in full is sold
decision_date: 2026-05-01
machine_in_question: M
study: {{years: 5, rate: 10 %, tax_indexing: 0 %}}
shop:
  name: Case
  taxed_as: {kind}
  state: {{code: {state}}}
  as_things_are: {{ordinary_income: 40,000}}
owners:
{owners}
machines:
  M: {{what: machine, worth_at_end: 0, assets: {{machine: {{cost: 100,000, in_service: 2021-03-01, section_179: all, convention: half-year}}}}}}
offers:
  buyer: {{machine: M, route: outright, price: 60,000}}
alternatives: {{keep: []}}
"""


def sold(kind: str, state: str) -> "ed.decide.sale.RouteResult":  # type: ignore[name-defined]
    names = ["One", "Two"] if kind == "partnership" else ["One"]
    owners = "\n".join(
        f"  {name}: {{share: {100 // len(names)} %, filing: single, other_income: 115,000}}" for name in names
    )
    return ed.sale(loads(SCENARIO.format(kind=kind, state=state, owners=owners)), on="2026-06-10")["buyer"]


@pytest.mark.parametrize(("kind", "state"), TABLE)
def test_federal_and_state_tax_on_the_sale(kind: str, state: str) -> None:
    route = sold(kind, state)
    gain = GAIN.get(state, 60_000.0)
    rate = CORPORATE[state] if kind == "C corporation" else OWNERS[state] + ON_THE_BUSINESS.get((state, kind), 0.0)
    parts = {kind_of: 0.0 for kind_of in ("federal", "state")}
    for name, working in route.ledger.workings.items():
        if name.startswith("tax on the sale "):
            for kind_of in parts:
                parts[kind_of] += float(working[kind_of].per_row().sum()) if kind_of in working else 0.0
    assert route.ordinary_recapture == pytest.approx(60_000.0)
    assert parts["federal"] == pytest.approx(federal_tax(kind, state), abs=0.005)
    assert parts["state"] == pytest.approx(rate * gain, abs=0.005)
    assert route.tax == pytest.approx(federal_tax(kind, state) + rate * gain, abs=0.005)


@pytest.mark.parametrize(("kind", "state"), TABLE)
def test_when_the_tax_is_paid(kind: str, state: str) -> None:
    """Owners whose last tax is not entered pay with the return; a corporation all of this year's tax within the year.

    IRC 6655(d)(1)(B)(i): 100 % of the year's tax in four parts. The sale of 10 June comes after the estimate of 15
    April, so that of 15 June carries two quarters (6655(e)(1): what annualizing let be left out is added to the next),
    then one each.
    """
    route = sold(kind, state)
    due = dict(route.tax_due)
    if kind != "C corporation":
        assert set(due) == {date(2027, 4, 15)}
        return
    quarter = federal_tax(kind, state) / 4
    by_estimate = {date(2026, 6, 15): 2 * quarter, date(2026, 9, 15): quarter, date(2026, 12, 15): quarter}
    assert {day: due[day] for day in by_estimate} == pytest.approx(by_estimate)
    state = CORPORATE[state] * GAIN.get(state, 60_000.0)
    assert due.get(date(2027, 4, 15), 0.0) == pytest.approx(state, abs=0.005)
    assert set(due) == {*by_estimate, *([date(2027, 4, 15)] if state else [])}
