"""Measures and book methods: properties, limits, and outside oracles (scipy brentq, QuantLib, numpy-financial)."""

import doctest
import importlib
import itertools
import math
import pkgutil
import subprocess
import sys

import numpy as np
import numpy_financial
import pytest
import QuantLib
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from equipdecide import book_methods, measures
from equipdecide.measures import (
    annual_worth,
    economic_life,
    external_rate,
    modified_rate,
    payback,
    present_worth,
    profitability_index,
    rates_of_return,
    rates_of_return_batch,
    replacement_by_age,
    replacement_by_vintage,
    savings_to_investment,
    years_to_keep,
)

# a machine busy with other work must not fail a property by the clock
settings.register_profile("unhurried", deadline=None)
settings.load_profile("unhurried")

amount = st.integers(-100_000, 100_000).map(float)
series = st.lists(amount, min_size=2, max_size=12)
rate = st.floats(-0.5, 1.0)


def yearly(flows):
    return np.arange(len(flows), dtype=float)


def share_left(flows, t, r):
    """Present worth at r as a share of the sum of the sizes of its terms."""
    terms = np.array(flows) * np.exp(-np.array(t, dtype=float) * math.log1p(r) - np.max(-np.array(t) * math.log1p(r)))
    return abs(terms.sum()) / np.abs(terms).sum()


@pytest.mark.parametrize(("module", "least"), [(measures, 20), (book_methods, 6)])
def test_examples_in_the_documentation(module, least):
    # a package is asked with all its modules
    inner = [info.name for info in pkgutil.iter_modules(getattr(module, "__path__", []), f"{module.__name__}.")]
    results = [doctest.testmod(each) for each in [module, *map(importlib.import_module, inner)]]
    assert sum(result.attempted for result in results) >= least
    assert not any(result.failed for result in results)


def test_measures_do_not_import_the_slow_libraries():
    code = (
        "import sys, equipdecide.measures, equipdecide.book_methods as b; "
        "print(sorted({'scipy', 'pandas', 'numpy_financial'} & set(sys.modules)))"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    assert out.strip() == "[]"


# --------------------------------------------------------------------------------------------------- present worth


@given(series, series, rate, st.floats(-5, 5))
def test_present_worth_is_linear_in_the_flows(a, b, r, k):
    n = min(len(a), len(b))
    a, b, t = np.array(a[:n]), np.array(b[:n]), yearly(a[:n])
    scale = present_worth(np.abs(a) + abs(k) * np.abs(b), t, r) + 1.0
    assert abs(present_worth(a + k * b, t, r) - present_worth(a, t, r) - k * present_worth(b, t, r)) < 1e-12 * scale


@given(series)
def test_a_zero_rate_sums(flows):
    assert present_worth(flows, yearly(flows), 0.0) == math.fsum(flows)
    assert annual_worth(sum(flows), 0.0, 4) == sum(flows) / 4


@given(st.lists(st.lists(amount, min_size=6, max_size=6), min_size=1, max_size=5), st.data())
def test_trial_i_of_an_array_is_the_series_alone(columns, data):
    rates = np.array(data.draw(st.lists(rate, min_size=len(columns), max_size=len(columns))))
    f, t = np.array(columns).T, np.array([0.0, 0.3, 1.0, 2.5, 3.0, 7.0])
    both, one_rate, one_series = present_worth(f, t, rates), present_worth(f, t, 0.08), present_worth(f[:, 0], t, rates)
    simple = payback(f, t, rates)
    for i, r in enumerate(rates):
        assert both[i] == pytest.approx(present_worth(f[:, i], t, r), rel=1e-12, abs=1e-6)
        assert one_rate[i] == pytest.approx(present_worth(f[:, i], t, 0.08), rel=1e-12, abs=1e-6)
        assert one_series[i] == pytest.approx(present_worth(f[:, 0], t, r), rel=1e-12, abs=1e-6)
        alone = payback(f[:, i], t, r)
        for got, wanted in ((simple.first[i], alone.first), (simple.last[i], alone.last)):
            assert (math.isnan(got) and wanted is None) or got == wanted


@pytest.mark.parametrize("r", [1e-12, 1e-7, 0.004, 0.3])
def test_annual_worth_against_numpy_financial_and_its_limit(r):
    if r >= 1e-3:
        assert annual_worth(-1000.0, r, 7) == pytest.approx(float(numpy_financial.pmt(r, 7, 1000.0)), rel=1e-12)
    # series of the capital recovery factor near zero, by hand
    else:
        assert annual_worth(1000.0, r, 7) == pytest.approx(1000 / 7 * (1 + 8 * r / 2), rel=1e-12)


@pytest.mark.parametrize("r", [0.0, 0.055, 0.21])
def test_dated_present_worth_and_rate_against_quantlib(r):
    start = QuantLib.Date(18, 9, 2026)
    QuantLib.Settings.instance().evaluationDate = start
    days, flows = [0, 45, 200, 411, 800, 1277], [-50_000.0, 9_000.0, 14_000.0, -2_000.0, 21_000.0, 30_000.0]
    leg = [QuantLib.SimpleCashFlow(a, start + d) for a, d in zip(flows, days, strict=True)]
    count = QuantLib.Actual365Fixed()
    worth = QuantLib.CashFlows.npv(
        leg, QuantLib.InterestRate(r, count, QuantLib.Compounded, QuantLib.Annual), True, start, start
    )
    t = np.array(days) / 365.0
    assert present_worth(flows, t, r) == pytest.approx(worth, abs=1e-7)
    found = rates_of_return(flows, t).only
    oracle = brentq(lambda x: sum(a * (1 + x) ** -y for a, y in zip(flows, t, strict=True)), -0.5, 2.0, xtol=1e-14)
    assert found == pytest.approx(oracle, abs=1e-13)


# --------------------------------------------------------------------------------------------------- rates of return


@given(series, st.booleans())
def test_present_worth_is_zero_at_every_root(flows, equal):
    t = yearly(flows) if equal else np.cumsum(0.2 + np.abs(np.sin(yearly(flows) + 1.0)))
    found = rates_of_return(flows, t)
    assert len(found.roots) <= found.sign_changes  # Descartes
    assert list(found.roots) == sorted(found.roots)
    for root in found.roots:
        # near -100 % a float cannot say the rate finely enough: the step of 1 + rate is the step of the rate
        slack = np.finfo(float).eps / (1.0 + root) * float(np.ptp(t))
        assert share_left(flows, t, root) < 1e-6 + slack


@given(st.lists(st.integers(-19, 60), min_size=1, max_size=4, unique=True))
def test_roots_put_into_a_polynomial_come_out(fifths):
    # rates of -95 % to 300 %: the polynomial in 1 / (1 + rate) with exactly these roots, built from its factors
    wanted = sorted(f / 20 for f in fifths)
    flows = np.array([1.0])
    for r in wanted:
        flows = np.convolve(flows, [-1.0, 1.0 + r])
    found = rates_of_return(flows, yearly(flows))
    assert len(found.roots) == len(wanted)
    # close roots lose digits by conditioning of the polynomial itself: 1e-12 holds for one, 1e-6 for four 0.05 apart
    # of 1 + rate, which is what the polynomial holds: a rate of 0 has no digits of its own
    growth = [1.0 + r for r in wanted]
    assert [1.0 + r for r in found.roots] == pytest.approx(growth, rel=1e-12 if len(wanted) == 1 else 1e-6)


def sign_scan(flows, t):
    """Oracle: brentq on every change of sign along a fine grid of log(1 + rate)."""

    def f(s):
        return float(np.sum(flows * np.exp(-s * t)))

    grid = np.linspace(-6, 6, 4001) + 1e-5
    values = [f(s) for s in grid]
    return [
        math.expm1(brentq(f, a, b, xtol=1e-15))
        for a, b, x, y in zip(grid, grid[1:], values, values[1:], strict=False)
        if x * y < 0
    ]


@pytest.mark.parametrize("start", range(6))
def test_all_roots_against_a_fine_scan(start):
    draw = np.random.default_rng(start)
    flows = draw.normal(size=9) * 1000
    t = np.concatenate([[0.0], np.cumsum(draw.uniform(0.1, 1.5, 8))]) if start % 2 else np.arange(9.0)
    inside = [r for r in rates_of_return(flows, t).roots if -5.9 < math.log1p(r) < 5.9]
    oracle = [r for r in sign_scan(flows, t) if -5.9 < math.log1p(r) < 5.9]
    assert inside == pytest.approx(oracle, rel=1e-9)


@pytest.mark.parametrize(
    ("flows", "words"),
    [
        ([1, 2, 3], "same sign"),
        ([0, 0], "every flow is zero"),
        ([1000, -3000, 2500], "above zero at every rate"),
        ([-1000, 3000, -2500], "below zero at every rate"),
        ([-100, 230, -132], "2 rates of return"),
        ([-100, 110], "One rate of return."),
        ([-100, 60, -1, 70], "although the flows change sign 3 times"),
    ],
)
def test_none_one_or_several_is_said_in_words(flows, words):
    assert words in rates_of_return(flows, yearly(flows)).note


def test_a_rate_that_only_touches_zero_counts_once():
    # (1 - 1.1 v)^2: the double root 10 %; (1 - 1.1 v)^3 crosses there
    assert rates_of_return([1, -2.2, 1.21], [0, 1, 2]).roots == pytest.approx([0.1], abs=1e-7)
    assert rates_of_return([-1, 3.3, -3.63, 1.331], [0, 1, 2, 3]).roots == pytest.approx([0.1], abs=1e-5)


def test_extreme_flows_do_not_overflow():
    # by hand: -1 now and X after n years is X ** (1 / n) - 1
    assert rates_of_return([-1, 1e300], [0, 1]).only == pytest.approx(1e300, rel=1e-12)
    assert rates_of_return([-1e300, 1e-300], [0, 60]).only == pytest.approx(1e-10 - 1, abs=1e-16)
    assert rates_of_return([1.0, 5e-324], [0, 1]).roots == ()


def test_flows_that_change_sign_every_month_are_still_counted():
    # by hand: v - v^2 + ... has the factor (1 - v) and the rest is 1 + v^2 + v^4 + ..., never zero
    flows = np.resize([1.0, -1.0], 122)
    found = rates_of_return(flows, np.arange(122) / 12)
    assert found.sign_changes == 121 and found.roots == pytest.approx([0.0], abs=1e-12)


def test_order_of_dates_and_flows_of_one_day_do_not_matter():
    a = rates_of_return([-100, -20, 70, 90], [0, 0, 1.5, 0.7])
    b = rates_of_return([-120, 90, 70], [0, 0.7, 1.5])
    assert a == b


@pytest.mark.parametrize("equal", [True, False])
def test_the_batch_agrees_with_one_series_at_a_time(equal):
    draw = np.random.default_rng(5)
    f = draw.uniform(-400, 3000, (37, 300))
    f[0] = -draw.uniform(1e3, 2e5, 300)
    f[1:, :200] = np.abs(f[1:, :200])
    f[1:, 0] = 0.0  # no receipts: no rate
    f[:2, 1] = 0.0, -500.0  # nothing on the first day
    f[-3:, 2] = 0.0
    f[:, 3] *= -1.0  # a loan: money first
    t = np.arange(37) / 12 if equal else np.concatenate([[0.0], np.cumsum(draw.uniform(0.01, 0.2, 36))])
    batch = rates_of_return_batch(f, t)
    assert (batch.sign_changes[:200] <= 1).all() and (batch.sign_changes[200:] > 1).any()
    assert (batch.rates[:200] < 0).any() and (batch.rates[:200] > 0).any()
    for i in range(300):
        alone = rates_of_return(f[:, i], t)
        assert batch.counts[i] == len(alone.roots) and batch.sign_changes[i] == alone.sign_changes
        if alone.only is None:
            assert math.isnan(batch.rates[i])
        else:
            assert batch.rates[i] == pytest.approx(alone.only, rel=1e-11, abs=1e-13)


def test_the_batch_against_numpy_financial():
    draw = np.random.default_rng(11)
    f = draw.uniform(1, 1000, (13, 40))
    f[0] = -draw.uniform(2000, 9000, 40)
    wanted = [numpy_financial.irr(f[:, i]) for i in range(40)]
    assert rates_of_return_batch(f, np.arange(13.0)).rates == pytest.approx(wanted, abs=1e-11)


# --------------------------------------------------------------------------------------------------- other measures


@given(st.lists(amount, min_size=2, max_size=10), st.floats(0, 0.4), st.floats(0, 0.4))
def test_modified_rate_against_numpy_financial(flows, finance, reinvest):
    assume(max(flows) > 0 > min(flows))
    wanted = float(numpy_financial.mirr(flows, finance, reinvest))
    assert modified_rate(flows, finance, reinvest) == pytest.approx(wanted, rel=1e-9, abs=1e-12)


def test_external_rate_at_the_internal_rate_is_the_internal_rate():
    flows = [-1000.0, 300.0, 420.0, 680.0]
    r = rates_of_return(flows, yearly(flows)).only
    assert external_rate(flows, yearly(flows), r) == pytest.approx(r, abs=1e-13)


@given(st.floats(1000, 1e6), st.lists(st.floats(0, 1e5), min_size=1, max_size=8), st.floats(0, 0.5))
def test_ratios_pass_one_when_present_worth_passes_zero(outlay, receipts, r):
    flows, t = [-outlay, *receipts], yearly([0.0, *receipts])
    worth, index = present_worth(flows, t, r), profitability_index(flows, t, r)
    ratio = savings_to_investment([0.0, *receipts], [outlay] + [0.0] * len(receipts), t, r)
    assert index == pytest.approx(ratio, rel=1e-12, abs=1e-12)
    assert (index - 1.0) * outlay == pytest.approx(worth, rel=1e-9, abs=1e-6)


@pytest.mark.parametrize(
    ("flows", "first", "last"),
    [
        ([-100, 50, 50], 2.0, 2.0),  # reached exactly at a flow
        ([-100, 150, -80, 0], 100 / 150, None),  # recovered, then under water to the end
        ([-100, 150, -80, 60], 100 / 150, 2.5),  # 30 below, half of 60
        ([5, 5], 0.0, 0.0),  # never below zero
        ([-100, 10], None, None),
        ([-0.3, 0.1, 0.1, 0.1], 3.0, 3.0),  # rounding of tenths must not hide it
    ],
)
def test_payback_by_hand(flows, first, last):
    got = payback(flows, yearly(flows))
    assert (got.first, got.last) == (
        pytest.approx(first) if first is not None else None,
        pytest.approx(last) if last is not None else None,
    )


# --------------------------------------------------------------------------------------------------- economic life


@given(
    st.floats(1e3, 1e6),
    st.lists(st.tuples(st.floats(0, 0.99), st.floats(0, 1e5)), min_size=1, max_size=9),
    st.floats(0, 0.4),
)
def test_annual_cost_is_capital_recovery_plus_annual_worth_of_expenses(cost, yearwise, r):
    values = cost * np.cumprod([share for share, _ in yearwise])
    expenses = np.array([e for _, e in yearwise])
    life = economic_life(cost, values, expenses, r)
    for k in range(1, len(values) + 1):
        flows = np.concatenate([[-cost], -expenses[:k]])
        flows[-1] += values[k - 1]
        whole = -annual_worth(present_worth(flows, yearly(flows), r), r, k)
        assert life.annual_cost[k - 1] == pytest.approx(whole, rel=1e-9, abs=1e-6)
    assert life.least_annual_cost == life.annual_cost.min() == life.annual_cost[life.years - 1]
    assert life.marginal_cost == pytest.approx(life.loss_in_value + life.forgone_interest + life.expenses)


def test_economic_life_of_trials_is_that_of_each_alone():
    draw = np.random.default_rng(3)
    cost, r = draw.uniform(5e4, 1e5, 8), draw.uniform(0.0, 0.3, 8)
    values = cost * np.cumprod(draw.uniform(0.6, 0.95, (6, 8)), axis=0)
    expenses = np.cumsum(draw.uniform(1e3, 9e3, (6, 8)), axis=0)
    many = economic_life(cost, values, expenses, r)
    for i in range(8):
        one = economic_life(cost[i], values[:, i], expenses[:, i], r[i])
        assert many.years[i] == one.years and many.annual_cost[:, i] == pytest.approx(one.annual_cost, rel=1e-13)
    assert economic_life(cost, values[:, 0], expenses[:, 0], 0.1).annual_cost.shape == (6, 8)


def test_keep_rule_says_when_it_is_not_valid():
    assert years_to_keep([9, 8, 12], 8.5) == measures.Keep(0, False)
    assert years_to_keep([1, 2, 3], 9) == measures.Keep(3, True)


def test_endless_replacement_is_the_limit_of_a_long_study():
    keep, replace = [45.0, 35.0, 20.0, 0.0, -25.0], [-25.0] * 5
    endless, long = replacement_by_age(keep, replace, 0.9), replacement_by_age(keep, replace, 0.9, years=400)
    assert long.value[0] == pytest.approx(endless.value, abs=1e-9)
    assert (long.replace[0] == endless.replace).all()


@given(st.integers(0, 10_000), st.integers(1, 6))
def test_vintages_by_trying_every_plan(seed, years):
    """Each set of years in which to replace is worth what its flows are worth; the best of the sets is the plan's."""
    draw = np.random.default_rng(seed)
    kept, value, price = draw.normal(0, 50, years), draw.uniform(0, 80, years + 1), draw.uniform(20, 120, years)
    earned, resale, rate = draw.normal(40, 40, (years, years)), draw.uniform(0, 100, (years, years + 1)), 0.09

    def worth(plan):
        flows, owned = np.zeros(years + 1), None
        for t in range(years):
            if t in plan:
                flows[t] += (value[t] if owned is None else resale[owned, t - owned]) - price[t]
                owned = t
            flows[t + 1] += kept[t] if owned is None else earned[owned, t - owned]
        flows[years] += value[years] if owned is None else resale[owned, years - owned]
        return sum(flow / 1.09**t for t, flow in enumerate(flows))

    plans = {plan: worth(plan) for k in range(years + 1) for plan in itertools.combinations(range(years), k)}
    found = replacement_by_vintage(kept, value, price, earned, resale, rate)
    assert found.worth == pytest.approx(max(plans.values()), abs=1e-9)
    assert plans[found.replaced] == pytest.approx(found.worth, abs=1e-9)
    for first in range(years + 1):
        these = [w for plan, w in plans.items() if (min(plan) if plan else years) == first]
        assert found.worth_if_first[first] == pytest.approx(max(these), abs=1e-9)
    many = replacement_by_vintage(
        np.column_stack([kept, kept - 5]), value, price, earned, resale[..., None] * [1.0, 0.9], rate
    )
    alone = replacement_by_vintage(kept - 5, value, price, earned, resale * 0.9, rate)
    assert many.worth_if_first[:, 0] == pytest.approx(found.worth_if_first, abs=1e-9)
    assert many.worth[1] == pytest.approx(alone.worth, abs=1e-9) and many.first[1] == alone.first


# --------------------------------------------------------------------------------------------------- book methods


@given(st.floats(100, 1e6), st.floats(0, 1), st.integers(1, 30), st.floats(0.5, 3))
def test_book_methods_end_where_they_should(cost, part, life, factor):
    salvage = cost * part
    for amounts in (
        book_methods.straight_line(cost, salvage, life),
        book_methods.sum_of_years_digits(cost, salvage, life),
        book_methods.declining_balance(cost, salvage, life, factor, switch=True),
    ):
        assert amounts.shape == (life,) and (amounts >= -1e-9).all()
        assert book_methods.book_values(cost, amounts)[-1] == pytest.approx(salvage, abs=1e-6)
    stopped = book_methods.declining_balance(cost, salvage, life, factor)
    assert book_methods.book_values(cost, stopped).min() >= salvage - 1e-6
    plain = book_methods.declining_balance(cost, salvage, life, factor, stop_at_salvage=False)
    left = cost * max(1 - factor / life, 0.0) ** life
    assert book_methods.book_values(cost, plain)[-1] == pytest.approx(left, abs=1e-6)


def test_use_beyond_the_whole_is_not_depreciated():
    assert book_methods.units_of_production(1000, 100, 90, [60, 60, 5]).tolist() == [600.0, 300.0, 0.0]


# --------------------------------------------------------------------------------------------------- refusals


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: present_worth([1, 2], [0, 1, 2], 0.1), "2 flows in time but 3 times"),
        (lambda: present_worth([1, 2], [0, 1], -1.0), "above -1"),
        (lambda: present_worth([1, 2], [0, 1], [[0.1]]), "2 dimensions"),
        (lambda: present_worth(np.ones((2, 3)), [0, 1], [0.1, 0.2]), "3 trials of flows but 2 rates"),
        (lambda: present_worth([], [], 0.1), "no flows"),
        (lambda: annual_worth(1.0, 0.1, 0), "above zero"),
        (lambda: rates_of_return(np.ones((2, 2)), [0, 1]), "one series at a time"),
        (lambda: rates_of_return_batch([1, 2], [0, 1]), "rates_of_return"),
        (lambda: rates_of_return_batch(np.ones((2, 2)), [0, 0]), "t must rise"),
        (lambda: payback([-1, 2], [1, 0]), "t must rise"),
        (lambda: modified_rate([1, 2], 0.1, 0.1), "at least one outlay"),
        (lambda: profitability_index([1, 2], [0, 1], 0.1), "must be an outlay"),
        (lambda: savings_to_investment([1, 2], [0, 0], [0, 1], 0.1), "not above zero"),
        (lambda: economic_life(1.0, [1, 2], [1], 0.1), "2 years of market values but 1"),
        (lambda: years_to_keep([], 1.0), "marginal cost"),
        (lambda: replacement_by_age([1, 2], [1], 0.9), "one amount for each age"),
        (lambda: replacement_by_age([1], [1], 1.0), "from 0 to 1"),
        (lambda: replacement_by_vintage([1], [1], [1], [[1]], [[1, 1]], 0.1), "value has the shape"),
        (lambda: replacement_by_vintage([1], [1, math.inf], [1], [[1]], [[1, 1]], 0.1), "finite"),
        (lambda: measures.three_point_mean(3, 2, 1), "in that order"),
        (lambda: book_methods.straight_line(100, 200, 0), "life"),
        (lambda: book_methods.declining_balance(100, 10, 5, switch=True, stop_at_salvage=False), "ends at salvage"),
    ],
)
def test_bad_arguments_are_refused_in_words(call, words):
    with pytest.raises(ValueError, match=words):
        call()


def test_all_faults_of_flows_are_told_together():
    with pytest.raises(ValueError) as told:
        present_worth([1.0, math.nan], [0.0, 1.0, math.inf], 0.1)
    for words in ("2 flows in time but 3 times", "1 flows are not finite", "t holds values"):
        assert words in str(told.value)


@pytest.mark.parametrize("bad", [[[math.inf, 1.0], [-math.inf, 2.0]], [[1.0, math.nan], [1.0, 2.0]], [math.inf, 1.0]])
@pytest.mark.parametrize("rate", [0.1, [0.1, 0.2]])
def test_flows_that_are_not_finite_are_refused_by_their_worth(bad, rate, recwarn):
    with pytest.raises(ValueError, match="not finite"):
        present_worth(bad, [0.0, 1.0], rate)
    assert not recwarn
