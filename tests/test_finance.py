"""The guarded door to numpy-financial: limits near rate zero, named refusals, and QuantLib as the outside oracle."""

import doctest
import math

import pytest
import QuantLib
from hypothesis import given, settings
from hypothesis import strategies as st

from equipdecide import finance
from equipdecide.finance import NoAnswer

# a machine busy with other work must not fail a property by the clock
settings.register_profile("unhurried", deadline=None)
settings.load_profile("unhurried")

rates = st.floats(-0.02, 0.3).filter(lambda r: abs(r) > 1e-12)
periods = st.integers(1, 240)
money = st.floats(100.0, 1e6)
due = st.sampled_from(["end", "begin"])


def test_examples_in_the_documentation():
    result = doctest.testmod(finance)
    assert result.attempted >= 12 and result.failed == 0


@pytest.mark.parametrize("rate", [1e-16, 1e-15, 1e-12, 1e-9, 1e-6, -1e-12])
def test_payment_near_rate_zero_by_series(rate):
    # pmt = (P / n) (1 + (n + 1) rate / 2 + ...): first terms of the series of the capital recovery factor, by hand
    n, loan = 60, 85_000
    series = loan / n * (1 + (n + 1) * rate / 2 + (n * n - 1) * rate * rate / 12)
    assert -finance.pmt(rate, n, loan) == pytest.approx(series, rel=1e-13)


@pytest.mark.parametrize("at", [finance.SMALL_RATE, -finance.SMALL_RATE])
def test_no_step_where_the_own_branch_ends(at):
    inside, outside = at * (1 - 1e-12), at * (1 + 1e-12)
    for f in (
        lambda r: finance.pmt(r, 84, 68_000, -5_000, "begin"),
        lambda r: finance.fv(r, 84, -900, 68_000, "begin"),
        lambda r: finance.pv(r, 84, -900, 5_000, "begin"),
        lambda r: finance.nper(r, -900, 68_000),
        lambda r: finance.ppmt(r, 12, 84, 68_000),
    ):
        assert f(inside) == pytest.approx(f(outside), rel=1e-10)
    # interest is a small number here, so its step is judged against the interest itself
    assert finance.ipmt(inside, 12, 84, 68_000) == pytest.approx(finance.ipmt(outside, 12, 84, 68_000), rel=1e-9)


@given(rates, periods, money, due)
def test_payments_bring_the_loan_to_zero(rate, n, loan, when):
    level = finance.pmt(rate, n, loan, due=when)
    scale = loan * max(1.0, (1 + rate) ** n)
    assert abs(finance.fv(rate, n, level, loan, when)) < 1e-9 * scale
    assert finance.pv(rate, n, level, due=when) == pytest.approx(loan, rel=1e-8)


@given(rates, st.integers(2, 60), money, due)
def test_principal_parts_add_to_the_loan(rate, n, loan, when):
    parts = [finance.ppmt(rate, k, n, loan, due=when) for k in range(1, n + 1)]
    assert -math.fsum(parts) == pytest.approx(loan, rel=1e-8)


# up to 84 periods: beyond, at 30 %, a payment is its interest to the last bit and the periods cannot be recovered
@given(st.floats(0.001, 0.3), st.integers(2, 84), money)
def test_rate_and_periods_undo_the_payment(rate, n, loan):
    level = finance.pmt(rate, n, loan)
    assert finance.rate(n, level, loan) == pytest.approx(rate, abs=1e-9)
    # periods are badly conditioned when a loan is nearly all interest, so the payment of those periods is compared
    assert finance.pmt(rate, finance.nper(rate, level, loan), loan) == pytest.approx(level, rel=1e-9)


@pytest.mark.parametrize("rate", [0.004, 0.0725, 0.19])
def test_against_quantlib(rate):
    """Level payments and rates against QuantLib cash flows on a 30/360 calendar, compounded yearly."""
    start = QuantLib.Date(15, 6, 2026)
    QuantLib.Settings.instance().evaluationDate = start
    count = QuantLib.Thirty360(QuantLib.Thirty360.BondBasis)
    level = -finance.pmt(rate, 7, 68_000)
    leg = [QuantLib.SimpleCashFlow(level, start + QuantLib.Period(k, QuantLib.Years)) for k in range(1, 8)]
    worth = QuantLib.CashFlows.npv(
        leg, QuantLib.InterestRate(rate, count, QuantLib.Compounded, QuantLib.Annual), False, start, start
    )
    assert worth == pytest.approx(68_000, abs=1e-6)
    assert finance.npv(rate, [0.0] + [level] * 7) == pytest.approx(worth, abs=1e-6)


def test_published_faults_of_the_library_are_kept_out():
    # numpy/numpy-financial issue 16: 1.0.0 answers -50
    assert finance.nper(0, -1_700, 85_000) == 50.0
    for value in (finance.nper(0.01, -1_700, 85_000), finance.ipmt(0.01, 1, 12, 100), finance.npv(0.1, [1, 2])):
        assert type(value) is float


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: finance.irr([-100, 230, -132]), "change sign 2 times"),
        (lambda: finance.irr([1.0, 5e-324]), "never change sign"),
        (lambda: finance.nper(0.01, -100, 85_000), "may not cover the interest"),
        (lambda: finance.nper(0.0, 0.0, 85_000), "may not cover the interest"),
        (lambda: finance.nper(0.0, 1_700, 85_000), "wrong sign"),
        (lambda: finance.rate(12, 100, 1_000), "same sign"),
        (lambda: finance.rate(10, 100, -500, -600), "change sign twice"),
        (lambda: finance.mirr([1, 2, 3], 0.1, 0.1), "at least one outlay"),
        (lambda: finance.fv(5.0, 5_000, -1, -1), "no finite answer"),
    ],
)
def test_no_answer_is_said_in_words(call, words):
    with pytest.raises(NoAnswer, match=words):
        call()


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: finance.ipmt(0.01, 0, 12, 1_000), "not one of the 12 periods"),
        (lambda: finance.ipmt(0.01, 13, 12, 1_000), "not one of the 12 periods"),
        (lambda: finance.npv(-1, [1, 2]), "above -1"),
        (lambda: finance.npv(0.1, [[1, 2], [3, 4]]), "one row of numbers"),
        (lambda: finance.irr([]), "at least 2 needed"),
        (lambda: finance.pmt(0.01, 12, 1_000, due="middle"), "'end' or 'begin'"),
        (lambda: finance.pmt([0.01, 0.02], 12, 1_000), "one number"),
    ],
)
def test_bad_arguments_are_refused(call, words):
    with pytest.raises(ValueError, match=words):
        call()


def test_all_faults_of_a_call_are_told_together():
    with pytest.raises(ValueError) as told:
        finance.pmt(-2.0, 0, math.nan, due="never")
    for word in ("rate", "nper", "pv", "due"):
        assert word in str(told.value)
