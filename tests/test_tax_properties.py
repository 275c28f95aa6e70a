"""What must hold of the limits whatever the figures: nothing is deducted twice, nothing is lost but by law."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipdecide.calendar import ONE, calendar_years
from equipdecide.ledger import Column, Draft, Origin, Shared, Working
from equipdecide.parameters import load
from equipdecide.plan import resolve, timeline
from equipdecide.scenario import loads
from equipdecide.tax.allocation import among_partners
from equipdecide.tax.section_179 import deduct, restore
from equipdecide.tax.section_1231 import look_back

YEARS = calendar_years(2026, 2033)
dollars = st.integers(0, 400_000).map(float)
signed = st.integers(-300_000, 300_000).map(float)


def eight(one: st.SearchStrategy[float]) -> st.SearchStrategy[list[float]]:
    return st.lists(one, min_size=8, max_size=8)


def table() -> Working:
    return Draft("case", Shared({})).working("case", YEARS, "case", "test")


def entered(w: Working, name: str, values: list[float] | float) -> Column:
    return w.given(name, values, "USD", name, Origin("choice", name), ONE if isinstance(values, float) else YEARS)


@given(net=eight(signed), elected=eight(dollars), sold=eight(st.sampled_from([0.0, 0.0, 50_000.0])), start=dollars)
def test_section_179_is_deducted_carried_or_put_back_into_basis(
    net: list[float], elected: list[float], sold: list[float], start: float
) -> None:
    w = table()
    deduct(w, entered(w, "net", net), entered(w, "elected", elected), entered(w, "sold", sold), start)
    taken, carried, restored = (
        w[name].per_row() for name in ("section_179", "section_179_carried", "section_179_restored")
    )
    assert start + sum(elected) == pytest.approx(taken.sum() + restored.sum() + carried[-1], abs=1e-6)
    assert (taken >= -1e-9).all() and (carried >= 0).all() and (restored >= 0).all()
    assert (taken <= np.maximum(np.array(net) - restored, 0) + 1e-9).all()  # never more than business income
    before = np.concatenate([[start], carried[:-1]])
    assert (restored <= before + 1e-9).all()


@given(net=eight(signed), elected=eight(dollars))
def test_where_income_is_ample_all_that_is_elected_is_deducted_at_once(net: list[float], elected: list[float]) -> None:
    w = table()
    ample = [amount + abs(income) for amount, income in zip(elected, net, strict=True)]
    deduct(w, entered(w, "net", ample), entered(w, "elected", elected), 0.0, 0.0)
    assert w["section_179"].per_row() == pytest.approx(elected)


@given(recapture=eight(dollars), gain=eight(signed))
def test_what_goes_back_into_basis_lowers_gain_by_just_that(recapture: list[float], gain: list[float]) -> None:
    w = table()
    deduct(w, entered(w, "net", [0.0] * 8), 0.0, entered(w, "sold", [0.0, 90_000.0] + [0.0] * 6), 70_000.0)
    first, second = entered(w, "recapture", recapture), entered(w, "gain", gain)
    lower, other = restore(w, first, second)
    before, after = first.per_row() + second.per_row(), lower.per_row() + other.per_row()
    assert before - after == pytest.approx(w["section_179_restored"].per_row())
    assert (lower.per_row() >= 0).all()


def met_by_hand(net: list[float], entered_losses: dict[int, float]) -> list[float]:
    """IRC 1231(c) with a queue of losses by year: the earliest first, none older than five years."""
    losses, ordinary = dict(entered_losses), []
    for year, amount in enumerate(net, start=2026):
        left = max(amount, 0.0)
        met = 0.0
        for when in sorted(losses):
            if year - 5 <= when < year:
                part = min(left, losses[when])
                losses[when] -= part
                left, met = left - part, met + part
        ordinary.append(met)
        losses[year] = max(-amount, 0.0)
    return ordinary


@given(net=eight(signed), early=st.lists(st.integers(0, 90_000).map(float), min_size=5, max_size=5))
def test_the_look_back_meets_the_earliest_losses_of_five_years(net: list[float], early: list[float]) -> None:
    by_year = {2021 + k: amount for k, amount in enumerate(early) if amount}
    text = f"""
title: Look-back
decision_date: 2026-01-01
machine_in_question: M
study: {{years: 7, rate: 10 %}}
shop: {{name: Case, taxed_as: sole proprietor, as_things_are: {{ordinary_income: 0}}}}
owners: {{One: {{share: 100 %, filing: single, losses_1231: {{{", ".join(f"{year}: {amount:.0f}" for year, amount in by_year.items())}}}}}}}
machines: {{M: {{what: machine, worth_at_end: 0, assets: {{old: {{cost: 1, in_service: 2001-01-05}}}}}}}}
alternatives: {{keep: []}}
"""
    scenario = loads(text)
    plan = resolve(scenario, "keep", timeline(scenario))
    w = Draft("case", Shared({})).working("case", plan.time.tax, "case", "test")
    given_net = w.given("net", net, "USD", "net", Origin("choice", "net"))
    look_back(w.draft, plan, load(), w, scenario.owners["One"], given_net)
    assert w["reclassified"].per_row() == pytest.approx(met_by_hand(net, by_year), abs=1e-6)
    assert w["capital_gain"].per_row() == pytest.approx(
        [max(one, 0.0) - met for one, met in zip(net, met_by_hand(net, by_year), strict=True)], abs=1e-6
    )


shares = st.lists(st.integers(1, 9), min_size=2, max_size=5).map(lambda parts: [part / sum(parts) for part in parts])


@given(parts=shares, taken=st.lists(st.integers(0, 9), min_size=5, max_size=5), gain=st.integers(1, 500_000))
def test_recapture_among_partners_adds_up_and_never_passes_a_partners_gain(
    parts: list[float], taken: list[int], gain: int
) -> None:
    """Reg. 1.1245-1(e)(2)(i): recapture is at most the gain and at most all deductions."""
    names = [f"Owner {k}" for k in range(len(parts))]
    weights = [float(one) for one in taken[: len(parts)]]
    whole = 200_000.0
    deductions = [whole * one / sum(weights) if sum(weights) else whole / len(parts) for one in weights]
    recapture = min(float(gain), whole)
    w = Draft("case", Shared({})).working("case", ONE, "case", "test")
    own = {name: entered(w, f"share {name}", part) for name, part in zip(names, parts, strict=True)}
    past = {name: entered(w, f"deducted {name}", part) for name, part in zip(names, deductions, strict=True)}
    found = among_partners(w, "item", own, past, entered(w, "gain", float(gain)), entered(w, "recapture", recapture))
    allotted = {name: column.figure() for name, column in found.items()}
    assert sum(allotted.values()) == pytest.approx(recapture, abs=0.02)
    for name, part, deducted in zip(names, parts, deductions, strict=True):
        assert -0.01 <= allotted[name] <= gain * part + 0.01
        assert allotted[name] >= min(gain * part, deducted) - 0.01  # first to those who took the deductions
