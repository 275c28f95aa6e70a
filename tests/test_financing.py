"""Offers of money: schedules that end at nothing, kinds of loan and lease, rates with their proof,
worth against cash.
"""

import doctest
import json
from pathlib import Path

import numpy as np
import pytest
import QuantLib as ql
from hypothesis import given, settings
from hypothesis import strategies as st
from money_files import loan, scenario, sold

import equipdecide as ed
from equipdecide import calendar as cal
from equipdecide.calendar import ONE, Date
from equipdecide.decide.money import money
from equipdecide.evaluate import evaluate
from equipdecide.ledger import Draft, Origin, Shared
from equipdecide.money import apr
from equipdecide.money.apr import unit_periods, yearly_rate
from equipdecide.money.financing import offer_schedule

DEMO = ed.load(Path(__file__).parents[1] / "scenarios" / "deck_fittings.yaml")
NEW = {"new": {"what": "new", "price": "100,000", "worth_at_end": "20,000"}}


def taken(years=12, terms=None, **financing):
    """The ledger in which a machine of 100,000 is bought with one offer on the day of decision."""
    machine = {**NEW["new"], **({"terms": terms} if terms else {})}
    buy = {"do": "buy", "machine": "new", "on": "2025-12-15", "pay": ["offer"]}
    if terms:
        buy |= {"on": "2026-06-15", "ordered": "2026-01-15", "shipped": "2026-05-15"}
    file = scenario(
        machines={"new": machine},
        years=years,
        financing={"offer": {"amount": "100,000", **financing}},
        alternatives={"buy": [buy]},
    )
    return evaluate(file, only=["buy"])["buy"]


def schedule(**financing):
    return taken(**financing).workings["loan offer"]


def test_examples_in_the_documentation():
    result = doctest.testmod(apr)
    assert result.attempted >= 2 and result.failed == 0


@settings(max_examples=40)
@given(
    st.integers(1000, 5_000_000),
    st.integers(0, 2400),
    st.integers(1, 120),
    st.sampled_from(["loan", "advance", "stepped", "deferred", "balloon", "quarters"]),
)
def test_a_loan_ends_at_nothing_and_interest_and_principal_make_the_payments(amount, basis_points, count, kind):
    more = {
        "loan": {},
        "advance": {"in_advance": "yes"},
        "stepped": {"kind": "stepped loan", "steps": [{"payments": 6, "payment": 99}]},
        "deferred": {"kind": "deferred loan", "deferred": 3},
        "balloon": {"kind": "balloon loan", "balloon": str(amount // 4)},
        "quarters": {"every_months": 3},
    }[kind]
    offer = scenario(
        financing={"x": {"amount": f"{amount:,}", "rate": f"{basis_points / 100} %", "payments": count + 6, **more}}
    ).financing["x"]
    draft = Draft("alone", Shared({}))
    w = offer_schedule(draft, "x", offer, Date(2026, 1, 31), draft.input(offer.amount))
    paid, interest = w["paid"].per_row(), w["interest"].per_row()
    assert w["balance"].per_row()[-1] == 0
    assert paid.sum() == pytest.approx(amount + interest.sum(), abs=0.005)
    assert np.abs(paid * 100 - np.round(paid * 100)).max() < 1e-4  # every payment is whole cents


@settings(max_examples=40)
@given(st.integers(1000, 2_000_000), st.integers(10, 2400), st.sampled_from([12, 24, 36, 60, 84, 120, 360]))
def test_level_loans_agree_with_quantlib(amount, basis_points, count):
    offer = scenario(
        financing={"x": {"amount": f"{amount:,}", "rate": f"{basis_points / 100} %", "payments": count}}
    ).financing["x"]
    draft = Draft("alone", Shared({}))
    ours = offer_schedule(draft, "x", offer, Date(2026, 1, 15), draft.input(offer.amount))["balance"].per_row()
    oracle = ql.sinkingNotionals(ql.Period(count, ql.Months), ql.Monthly, basis_points / 10_000, float(amount))[1:]
    # half a cent of payment and half a cent of interest a month, with interest on them; the last payment takes it all
    growth = (1 + basis_points / 120_000) ** np.arange(1, count + 1)
    bound = 0.01 * np.cumsum(growth) + 0.01
    assert (np.abs(ours - np.array(oracle))[:-1] <= bound[:-1]).all() and ours[-1] == 0


@settings(max_examples=60)
@given(st.floats(100, 1e6), st.lists(st.floats(1, 1e5), min_size=1, max_size=60), st.floats(0, 0.99))
def test_the_solved_rate_balances(received, amounts, fraction):
    flows = [(amount, k + 1, fraction) for k, amount in enumerate(amounts)]
    if not 0.6 < sum(amounts) / received < 10:
        return
    i = yearly_rate(received, flows) / 12
    worth = sum(a / ((1 + f * i) * (1 + i) ** t) for a, t, f in flows)
    assert worth == pytest.approx(received, rel=1e-9)


def test_inputs_moved_beyond_any_rate_do_not_stop_a_run():
    lease = {"kind": "one-dollar buyout", "payments": 36, "payment": "2,600", "in_advance": "yes"}
    buy = {"do": "buy", "machine": "new", "on": "2025-12-15", "pay": ["offer"]}
    file = scenario(
        machines=NEW, years=4, financing={"offer": {"amount": "80,000", **lease}}, alternatives={"buy": [buy]}
    )
    for path, far in (
        ("financing.offer.amount", [0.0, 0.01, 2_600.0, 1e9]),
        ("financing.offer.payment", [0.0, 0.01, 80_000.0, 1e7]),
    ):
        ledger = evaluate(file, {path: np.array(far)}, only=["buy"])["buy"]
        assert np.isfinite(ledger.column("worth.npv").values).all()
        w = ledger.workings["loan offer"]
        lent = np.array(far) if path.endswith("amount") else np.full(4, 80_000.0)
        apart = w["paid"].values.sum(axis=0) - w["interest"].values.sum(axis=0) - lent
        assert np.abs(apart).max() <= 1e-9 * max(far)


def test_unit_periods_at_the_ends_of_months():
    assert unit_periods(Date(2026, 10, 30), Date(2027, 2, 28)) == (4, 0.0)
    assert unit_periods(Date(2026, 1, 31), Date(2026, 2, 28)) == (1, 0.0)
    assert unit_periods(Date(2026, 1, 15), Date(2026, 1, 15)) == (0, 0.0)
    assert unit_periods(Date(2026, 1, 15), Date(2026, 7, 15), "month", 3) == (2, 0.0)


def test_many_trials_are_many_single_ones():
    draft = Draft("alone", Shared({}))
    axis = cal.listed("payment", ["1", "2", "3"])
    w = draft.working("offer", axis, "offer", "financing")
    got = w.given("received", np.array([[100.0, 95.0]]), "USD", "received", Origin("choice", "test"), ONE)
    paid = w.given("paid", np.array([[40.0, 35.0]] * 3), "USD", "paid", Origin("choice", "test"), axis)
    both = apr.post_rate(w, got, paid, [(1, 0.0), (2, 0.0), (3, 0.0)], 12.0)
    for k, (amount, each) in enumerate(((100.0, 40.0), (95.0, 35.0))):
        assert both.figure(trial=k) == pytest.approx(
            yearly_rate(amount, [(each, t, 0.0) for t in (1, 2, 3)]), abs=1e-12
        )
    assert abs(w["yearly_rate_of_period"].certificate.figure()) < 1e-9


def test_stepped_payments_by_hand():
    # six of 99, then 54 level: balance after six at 1 % is 100,000 * 1.01^6 - 99 * (1.01^6 - 1) / 0.01
    w = schedule(kind="stepped loan", rate="12 %", payments=60, steps=[{"payments": 6, "payment": 99}])
    owed = 100_000 * 1.01**6 - 99 * (1.01**6 - 1) / 0.01
    assert w["level_payment"].figure() == pytest.approx(owed * 0.01 / (1 - 1.01**-54), abs=0.006)
    assert [w["paid"].figure(k) for k in (0, 5)] == [99, 99]
    assert w["yearly_rate"].figure() == pytest.approx(0.12, abs=1e-6)


def test_a_balloon_by_hand():
    w = schedule(kind="balloon loan", rate="12 %", payments=36, balloon="30,000")
    level = (100_000 - 30_000 * 1.01**-36) * 0.01 / (1 - 1.01**-36)
    assert w["level_payment"].figure() == pytest.approx(level, abs=0.006)
    assert w["paid"].figure(35) == pytest.approx(level + 30_000, abs=0.5)


def test_the_first_payment_in_advance_carries_no_interest():
    w = schedule(rate="12 %", payments=12, in_advance="yes")
    assert w["interest"].figure(0) == 0 and w.axis.ends[0] == Date(2025, 12, 15)
    # annuity due, by hand
    assert w["level_payment"].figure() == pytest.approx(100_000 * 0.01 / (1 - 1.01**-12) / 1.01, abs=0.006)


def test_a_lease_with_a_nominal_price_is_a_purchase():
    ledger = taken(kind="one-dollar buyout", payments=36, payment="3,321.43")
    w = ledger.workings["loan offer"]
    assert w["paid"].per_row()[-1] == 1 and w["balance"].per_row()[-1] == 0
    assert w["paid"].per_row().sum() == pytest.approx(100_000 + w["interest"].per_row().sum(), abs=0.005)
    assert "lease_is_purchase" in [f.code for f in ledger.findings]
    assert ledger.workings["purchase new"]["basis"].figure() == 100_000  # the shop depreciates it
    # 36 payments of 3,321.43 are those of a loan at 12 %; the dollar hardly moves it
    assert w["yearly_rate"].figure() == pytest.approx(0.12, abs=2e-5)


def test_a_fair_value_lease_is_rent_and_the_machine_is_bought_at_its_end():
    ledger = taken(kind="fair-value lease", payments=36, payment="2,700", end_value="30,000", notice=[180, 90])
    assert ledger.workings["purchase new"]["basis"].figure() == 0
    bought = ledger.workings["purchase new from its lessor"]
    assert bought["basis"].figure() == 30_000
    assert ledger.line("price of new from its lessor").dates == (Date(2028, 12, 15),)
    notice = next(f for f in ledger.findings if f.code == "lease_notice")
    assert "2028-06-18" in notice.text and "2028-09-16" in notice.text
    assert ledger.workings["settlement new"]["gross"].figure() == 20_000


def test_a_lease_that_goes_back():
    lease = {
        "kind": "fair-value lease",
        "payments": 36,
        "payment": "2,700",
        "end_value": "30,000",
        "at_end": "return",
        "return_costs": {"freight": "4,000"},
    }
    early, at_end = taken(**lease), taken(years=3, **lease)
    for ledger in (early, at_end):
        assert ledger.workings["settlement new"]["gross"].figure() == 0
        assert ledger.line("return of offer").amounts().sum() == -4_000
        assert ledger.line("payments on offer").amounts().sum() == pytest.approx(-36 * 2_700)
    assert "machine_goes_back" in [f.code for f in early.findings] and "machine_goes_back" not in [
        f.code for f in at_end.findings
    ]


def test_a_lease_past_the_study_owes_every_payment():
    ledger = taken(years=2, kind="fair-value lease", payments=36, payment="2,700", end_value="30,000")
    assert ledger.line("payments on offer").amounts().sum() + ledger.line(
        "offer paid off"
    ).amounts().sum() == pytest.approx(-36 * 2_700)
    assert "lease_outlives_study" in [f.code for f in ledger.findings]


def test_instalments_paid_by_the_lender_cost_interest_until_the_loan_begins():
    ledger = taken(
        terms={"order": "30 %", "shipment": "60 %", "acceptance": "10 %"},
        rate="8 %",
        payments=60,
        progress_payments="50 %",
    )
    # half of 30,000 from 15 January to 15 May, 120 days at 8 %
    early = ledger.workings["progress payments of offer"]
    assert early["lent"].per_row().tolist() == [15_000]
    assert ledger.line("interest before offer").amounts().sum() == -round(15_000 * 0.08 / 365 * 120, 2)
    assert ledger.line("offer paid out").amounts().sum() == 85_000  # what the builder has had is not paid out again
    assert ledger.workings["loan offer"]["balance"].figure(0) < 100_000


def test_worth_against_cash_by_hand():
    # one owner at 25 %, tax in the return of the year: kept out by a flat scenario with yearly flows
    text = """
title: A press, borrowed for or paid
decision_date: 2026-01-01
regime: flat
flat: {tax_rate: 30 %}
machine_in_question: none
study: {years: 3, rate: 10 %, periods: years}
shop: {name: Textbook, taxed_as: C corporation}
machines:
  none: {what: no press}
  press: {what: press, price: 3,000, worth_at_end: 0, depreciation: {method: straight line, life: 3}}
financing:
  bank: {machine: press, amount: 3,000, rate: 8 %, payments: 3, every_months: 12}
  other: {amount: 3,000, rate: 8 %, payments: 3}
alternatives:
  keep: []
  buy: [{do: buy, machine: press, on: 2026-01-01}]
"""
    result = money(ed.loads(text))
    payment, owed, worth = 1164.10, 3000.0, 3000.0  # 3,000 * 0.08 / (1 - 1.08 ** -3)
    for year in (1, 2, 3):
        interest = round(owed * 0.08, 2)
        paid = payment if year < 3 else owed + interest
        worth -= (paid - 0.30 * interest) / 1.1**year
        owed = owed + interest - paid
    assert result["bank"].worth_against_cash == pytest.approx(worth, abs=0.01)
    assert result["bank"].cost_after_tax == pytest.approx(3000 - worth, abs=0.01)
    assert [f.code for f in result.findings] == ["offer_without_course"]
    assert result.best("press").name == "bank"


def test_the_demonstration():
    result = money(DEMO)
    by_hand = {
        "R1 loan 84": (3758.65, 0.0815),
        "R1 loan 60": (4797.71, 0.074),
        "R1 deferred": (4887.02, 0.074),
        "R1 buyout": (6010, 0.0772),
    }
    for name, (payment, rate) in by_hand.items():
        assert result[name].payment == payment and result[name].yearly_rate == pytest.approx(rate, abs=5e-5)
    lease = result["R1 lease"]
    assert (lease.yearly_rate_low, lease.yearly_rate_high) == (
        pytest.approx(0.0840, abs=5e-5),
        pytest.approx(0.1103, abs=5e-5),
    )
    assert lease.taxed_as == "lease" and result["R1 buyout"].taxed_as == "purchase"
    assert result.advantage("R1 lease", "R1 loan 84") == -result.advantage("R1 loan 84", "R1 lease")
    assert {"deferral_accrues", "lease_notice", "lease_is_purchase"} <= {f.code for f in result.findings}
    with pytest.raises(ValueError, match="do not compare"):
        result.advantage("kit loan", "R1 lease")
    assert json.loads(json.dumps(result.to_json()))["offers"][0]["name"] == "kit loan"
    assert len(result.to_frame()) == len(DEMO.financing)


def test_random_old_loans_end_at_nothing():
    rng = np.random.default_rng(5)
    for _ in range(40):
        n = int(rng.integers(2, 120))
        bank = loan(
            f"{rng.integers(1000, 900_000)}",
            f"{rng.integers(0, 2400) / 100} %",
            n,
            "2026-01-31",
            balance_on="2025-12-10",
        )
        w = sold(scenario({"bank": bank}, years=11), "2026-01-05").workings["loan mill bank"]
        assert w["balance"].per_row()[-1] == 0
        assert w["paid"].per_row().sum() == pytest.approx(
            float(bank["principal"]) + w["interest"].per_row().sum(), abs=0.005
        )


def test_what_a_fixed_price_lease_costs_counts_its_price_at_the_end():
    """48 payments of 2,200 and 22,000 at the end for 110,000: 17,600, where the payments alone are
    4,400 less than it.
    """
    offer = {"kind": "fixed-option lease", "machine": "new", "amount": "110,000", "payments": 48, "payment": "2,200",
             "option_price": "22,000"}  # fmt: skip
    file = scenario({}, machines={"new": {"what": "new", "price": "120,000", "worth_at_end": "40,000"}},
                    financing={"lease": offer}, alternatives={"go": [{"do": "buy", "machine": "new", "on": "2026-02-02"}]})  # fmt: skip
    one = money(file)["lease"]
    assert one.taxed_as == "lease" and one.cost_of_money == pytest.approx(17_600)


def test_what_a_lender_has_paid_the_builder_stands_behind_the_guarantee():
    """30 % of 120,000 is lent on the order, with nothing on the floor, until the loan begins with the shipment."""
    machine = {
        "what": "new",
        "price": "120,000",
        "worth_at_end": "40,000",
        "terms": {"order": "30 %", "shipment": "60 %", "acceptance": "10 %"},
    }
    loan = {"machine": "new", "amount": "120,000", "rate": "8.2 %", "payments": 60, "progress_payments": "100 %"}
    steps = [
        {"do": "buy", "machine": "new", "ordered": "2026-01-12", "shipped": "2026-05-11", "on": "2026-06-01", "pay": "builder"},
        {"do": "sell", "machine": "mill", "by": "buyer", "on": "2026-06-15"},
    ]  # fmt: skip
    file = scenario({}, machines={"new": machine}, financing={"builder": loan}, alternatives={"go": steps})
    w = evaluate(file, only=["go"])["go"].workings["guarantees"]
    owed = dict(zip(w.axis.labels, w["owed"].per_row(), strict=True))
    assert owed["2026-01"] == owed["2026-04"] == 36_000 and owed["2026-05"] == 120_000
    assert (
        w["shortfall"].per_row()[w.axis.labels.index("2026-01")] == 36_000
    )  # 30 % of the price, and no machine behind it yet
    # and the lender pays the deposit, so no sale needs to fund it
    said = ed.cash_calendar(file, "go").findings
    assert not any(f.code == "sale_cannot_fund_deposit" for f in said)
