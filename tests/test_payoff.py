"""Payoffs on a day: by each rule a contract may have, in part, with several loans, after the last payment."""

import copy
import doctest

import pytest
import QuantLib as ql
from hypothesis import given, settings
from hypothesis import strategies as st
from money_files import figure, loan, scenario, sold

from equipdecide.calendar import Date
from equipdecide.money import payoff as module
from equipdecide.money.payoff import days_between, year_fraction

COLUMNS = (
    "balance",
    "principal",
    "interest",
    "charge",
    "document_fee",
    "wire_fee",
    "payoff",
    "release",
    "saved",
    "remaining_payments",
)


def paid_off(on, **more):
    ledger = sold(scenario({"bank": loan(**more)}), on)
    working = ledger.workings["payoff mill mill bank"]
    return {name: working[name].figure() for name in COLUMNS} | {"findings": [f.code for f in ledger.findings]}


def test_examples_in_the_documentation():
    result = doctest.testmod(module)
    assert result.attempted >= 2 and result.failed == 0


@settings(max_examples=300)
@given(st.dates(Date(1999, 1, 1), Date(2049, 12, 31)), st.integers(0, 4000))
def test_day_counts_agree_with_quantlib(start, length):
    end = Date.fromordinal(start.toordinal() + length)
    days = ql.Date(start.day, start.month, start.year), ql.Date(end.day, end.month, end.year)
    counts = {
        "30/360": ql.Thirty360(ql.Thirty360.BondBasis),
        "actual/360": ql.Actual360(),
        "actual/365": ql.Actual365Fixed(),
    }
    for count, oracle in counts.items():
        assert days_between(count, start, end) == oracle.dayCount(*days)
        assert year_fraction(count, start, end) == pytest.approx(oracle.yearFraction(*days), abs=1e-12)
    assert year_fraction("actual/actual", start, end) == pytest.approx(
        ql.ActualActual(ql.ActualActual.ISDA).yearFraction(*days), abs=1e-12
    )


def test_simple_interest_between_two_payments():
    # by hand: balance of 100,000 at 9.9 % in 60 payments of 2,119.79 after 24 of them, and 10 days of it
    on_the_day, later = paid_off("2026-01-01"), paid_off("2026-01-11")
    assert on_the_day["interest"] == 0 and on_the_day["payoff"] == on_the_day["balance"]
    assert later["interest"] == round(later["balance"] * 0.099 * 10 / 365 + 1e-9, 2)
    assert paid_off("2026-01-11", day_count="actual/360")["interest"] == round(
        later["balance"] * 0.099 * 10 / 360 + 1e-9, 2
    )
    # 31 January to 28 February is 28 days by 30/360
    assert paid_off("2026-02-28", first="2024-01-31", day_count="30/360")["interest"] == 0
    assert paid_off("2026-02-27", first="2024-01-31", day_count="30/360")["interest"] == round(
        paid_off("2026-02-27", first="2024-01-31")["balance"] * 0.099 * 27 / 360 + 1e-9, 2
    )


def test_every_payment_left_saves_nothing():
    owed = paid_off("2026-01-01", payoff="remaining payments")
    assert owed["payoff"] == owed["remaining_payments"] and owed["saved"] == 0
    assert "paying_early_saves" in owed["findings"]
    assert owed["saved"] < paid_off("2026-01-01")["saved"]


def test_present_value_at_the_loans_own_rate_is_the_balance():
    # the payments left at the loan's own rate are worth the balance, but for the cents of the schedule
    at_its_rate = paid_off("2026-01-01", payoff="present value")
    assert at_its_rate["payoff"] == pytest.approx(at_its_rate["balance"], abs=0.02)
    # 35 payments of 2,119.79 and the last, which takes what is left, at 6 %: annuity factor (1 - 1.005 ** -35) / 0.005
    below = paid_off("2026-01-01", payoff="present value", payoff_rate="6 %")
    last = below["remaining_payments"] - 35 * 2119.79
    assert below["payoff"] == pytest.approx(2119.79 * (1 - 1.005**-35) / 0.005 + last * 1.005**-36, abs=0.006)
    assert below["payoff"] > at_its_rate["payoff"]


def test_sum_of_digits_costs_more_than_the_balance():
    by_digits, simple = paid_off("2026-01-01", payoff="sum of digits"), paid_off("2026-01-01")
    # finance charge 27,187.4 (60 payments less 100,000); 36 * 37 / (60 * 61) of it comes back
    charge = by_digits["remaining_payments"] + 24 * 2119.79 - 100_000
    assert by_digits["payoff"] == pytest.approx(by_digits["remaining_payments"] - charge * 36 * 37 / 3660, abs=0.01)
    assert by_digits["payoff"] > simple["payoff"]
    # a month begun counts as earned
    assert paid_off("2026-01-02", payoff="sum of digits")["payoff"] == pytest.approx(
        by_digits["remaining_payments"] - charge * 35 * 36 / 3660, abs=0.01
    )


@pytest.mark.parametrize(
    ("terms", "share"),
    [
        ({"by_year": ["5 %", "4 %", "3 %", "2 %"]}, 0.03),  # the 24th payment falls on the first day of year three
        ({"by_year": ["5 %", "4 %"]}, 0.0),
        ({"first_year": "6 %", "falls_over": 6}, 0.04),  # 6, 5, 4 %
        ({"first_year": "6 %", "falls_over": 2}, 0.0),
        ({"a_year_left": "1 %"}, 0.03),  # 36 months are three years
        ({"months_of_interest": 6, "of_share": "80 %"}, 0.8 * 6 * 0.099 / 12),
        ({"by_year": ["5 %", "4 %", "3 %"], "a_year_left": "1 %"}, 0.06),
        ({"by_year": ["5 %", "4 %", "3 %"], "only_from_years": 6}, 0.0),
        ({"by_year": ["5 %", "4 %", "3 %"], "only_from_years": 5}, 0.03),
        ({"by_year": ["5 %", "4 %", "3 %"], "free_share": "25 %"}, 0.03),
    ],
)
def test_charges_for_paying_early(terms, share):
    owed = paid_off("2026-01-01", early_charge=terms, document_fee=295, wire_fee=35, release_fee=150)
    assert owed["charge"] == pytest.approx(owed["balance"] * share, abs=0.011)
    assert owed["payoff"] == pytest.approx(owed["balance"] + owed["charge"] + 330, abs=0.005)
    assert owed["release"] == 150


def test_a_year_left_that_has_begun_counts():
    assert paid_off("2026-01-02", early_charge={"a_year_left": "1 %"})["charge"] == pytest.approx(
        paid_off("2026-01-02")["balance"] * 0.03, abs=0.011
    )
    assert paid_off("2025-12-31", early_charge={"a_year_left": "1 %"}, first="2024-02-01", payments=60)[
        "charge"
    ] == pytest.approx(paid_off("2025-12-31")["balance"] * 0.04, abs=0.011)


@pytest.mark.parametrize("kind", ["simple interest", "remaining payments", "present value", "sum of digits"])
def test_a_loan_already_paid_owes_nothing_and_no_fee(kind):
    more = {
        "early_payoff": "2 %",
        "document_fee": 295,
        "wire_fee": 35,
        "release_fee": 150,
        "early_charge": {"months_of_interest": 3},
    }
    owed = paid_off("2026-05-04", payments=24, payoff=kind, **more)
    assert [owed[name] for name in COLUMNS] == [0.0] * len(COLUMNS)


LETTER = {
    "written": "2026-01-05",
    "balance": "66,000",
    "balance_on": "2026-01-01",
    "per_diem": 17.90,
    "good_through": "2026-01-16",
}


def test_the_letter_on_its_last_day_and_a_day_after():
    good, after = paid_off("2026-01-16", letter=LETTER), paid_off("2026-01-17", letter=LETTER)
    assert good["payoff"] == 66_000 + 15 * 17.90 and "letter_expired" not in good["findings"]
    assert after["payoff"] == 66_000 + 16 * 17.90 and "letter_expired" in after["findings"]
    assert {"letter_overrides"} <= set(good["findings"])
    short = paid_off("2026-01-16", letter={**LETTER, "total": "66,300"})
    assert "letter_total" in short["findings"]


def test_two_loans_on_one_machine():
    both = sold(
        scenario({"bank": loan(), "dealer": loan("20,000", "12 %", 36, "2025-02-01", release_fee=80)}), "2026-01-11"
    )
    parts = [figure(both, f"payoff mill mill {name}", "payoff") for name in ("bank", "dealer")]
    assert figure(both, "settlement mill", "payoff") == pytest.approx(sum(parts))
    assert figure(both, "settlement mill", "release") == 80
    assert figure(both, "settlement mill", "net_cash") == pytest.approx(50_000 - sum(parts) - 80)


def three_machines(**more):
    """One loan of 90,000 over three machines; the lender lets lathe and saw go for so much each."""
    plain = {
        "what": "x",
        "assets": {"machine": {"cost": "40,000", "in_service": "2024-03-01"}},
        "worth_at_end": "1,000",
    }
    offers = {f"{name} buyer": {"machine": name, "route": "outright", "price": "21,000"} for name in ("lathe", "saw")}
    bank = loan("90,000", "7.2 %", 72, collateral=["lathe", "saw"], release_fee=150, **more)
    return scenario(
        {"bank": bank}, price="52,000", machines={"lathe": plain, "saw": copy.deepcopy(plain)}, offers=offers
    )


def test_one_loan_over_three_machines_let_go_one_by_one():
    file = three_machines(release_amounts={"lathe": "18,000", "saw": "12,500.55"})
    ledger = sold(file, "2026-06-20", more=[("lathe buyer", "2026-02-11"), ("saw buyer", "2026-03-01")])
    lathe, saw, mill = (ledger.workings[f"payoff {name} mill bank"] for name in ("lathe", "saw", "mill"))
    # lathe: the last payment was on 1 February, ten days of interest on what is let go
    assert lathe["payoff"].figure() == pytest.approx(18_000 + round(18_000 * 0.072 * 10 / 365, 2))
    # by hand, month by month, from the balance after the payment of 1 February
    balance, payment = lathe["balance"].figure(), ledger.workings["loan mill bank"]["level_payment"].figure()
    balance -= 18_000
    balance = round(balance + round(balance * 0.072 / 12 + 1e-9, 2) - payment, 2)  # 1 March
    assert saw["balance"].figure() == pytest.approx(balance, abs=0.005)
    balance -= 12_500.55
    for _ in range(3):  # April to June
        balance = round(balance + round(balance * 0.072 / 12 + 1e-9, 2) - payment, 2)
    assert mill["balance"].figure() == pytest.approx(balance, abs=0.005)
    assert mill["payoff"].figure() == pytest.approx(balance + round(balance * 0.072 * 19 / 365 + 1e-9, 2), abs=0.005)
    assert all(figure(ledger, f"settlement {name}", "release") == 150 for name in ("lathe", "saw", "mill"))
    assert "lien_covers_machine" not in [f.code for f in ledger.findings]
    # every dollar of principal is paid once: payments made, and the three payoffs
    service = ledger.workings["service mill bank"]
    principal = -(service["payments"].per_row().sum() + service["interest"].per_row().sum())
    opening = figure(sold(file, "2025-12-20"), "payoff mill mill bank", "balance")
    assert principal + sum(one["principal"].figure() for one in (lathe, saw, mill)) == pytest.approx(opening, abs=0.005)


def test_the_loan_goes_on_where_the_lender_lets_its_own_machine_go():
    ledger = sold(three_machines(release_amounts={"mill": "40,000"}), "2026-02-01")
    assert figure(ledger, "payoff mill mill bank", "principal") == 40_000
    paid = ledger.workings["service mill bank"]["payments"].per_row()
    days = ledger.workings["service mill bank"].axis.ends
    assert [-round(p, 2) for p, day in zip(paid, days, strict=True) if day == Date(2026, 3, 1)] == [
        figure(ledger, "loan mill bank", "level_payment")
    ]
    assert ledger.workings["loan mill bank after 1 let go"]["balance"].figure(len(days) - 1) == 0


def test_a_machine_under_the_filing_with_no_amount_is_said():
    ledger = sold(three_machines(), "2026-02-11", by="lathe buyer")
    assert "lien_covers_machine" in [f.code for f in ledger.findings]
    assert figure(ledger, "settlement lathe", "payoff") == 0
