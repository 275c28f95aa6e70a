"""Cash of one course by its dates: periods add up to the ledger, the lowest day, findings on deposit, years and gap."""

import json
from pathlib import Path

import numpy as np
import pytest
from money_files import loan, scenario

import equipdecide as ed
from equipdecide.calendar import Date
from equipdecide.decide.cash_calendar import cash_calendar

DEMO = ed.load(Path(__file__).parents[1] / "scenarios" / "deck_fittings.yaml")
SHOP = {"cash": "60,000", "cash_floor": "20,000", "contribution_elsewhere": "36,500", "overhead": "18,250"}
NEW = {
    "new": {"what": "new", "price": "80,000", "worth_at_end": "5,000", "terms": {"order": "25 %", "acceptance": "75 %"}}
}


def course(*steps, machines=NEW, **shop):
    file = scenario(
        {"bank": loan("20,000", "6 %", 24, "2025-01-01")},
        machines=machines,
        shop={**SHOP, **shop},
        years=3,
        alternatives={"go": list(steps)},
    )
    return cash_calendar(file, "go")


BUY = {"do": "buy", "machine": "new", "ordered": "2025-12-20", "on": "2026-03-02"}
SELL = {"do": "sell", "machine": "mill", "by": "buyer", "on": "2026-03-10"}


@pytest.fixture(scope="module")
def r1():
    return cash_calendar(DEMO, "replace by R1")


def test_the_level_at_month_ends_is_that_of_the_cash_test(r1):
    levels = {p.label: p.level for p in r1.periods}
    test = r1.ledger.workings["cash test"]["level"]
    for label, level in zip(test.axis.labels, test.per_row(), strict=True):
        if label in levels and level != test.per_row()[-1]:
            assert levels[label] == pytest.approx(level, abs=0.01)
    assert len([p for p in r1.periods if p.label.startswith("week")]) == 19  # 14 September to the week of 18 January


def test_periods_follow_one_another_and_add_up(r1):
    level = r1.opening
    for before, after in zip(r1.periods, r1.periods[1:], strict=False):
        assert (after.first - before.last).days == 1
    for period in r1.periods:
        level += period.operating + period.money_in + period.money_out
        assert period.level == pytest.approx(level, abs=0.01) and period.lowest <= period.level + 1e-9
    assert r1.lowest == min(p.lowest for p in r1.periods if p.first < r1.plan.time.end)


def test_the_deposit_comes_long_before_the_sale(r1):
    # 20 % of 288,500 on 21 September 2026; the mill leaves on 5 February 2027, 137 days later, and is paid ten days
    # after
    said = next(f for f in r1.findings if f.code == "sale_cannot_fund_deposit")
    assert "57,700 is due on 2026-09-21, 137 days before MC-1 can leave and 147 days before its money" in said.text
    assert any(e.what == "price of R1, with order" and e.amount == -57_700 and e.kind == "order" for e in r1.entries)
    assert any(e.what == "last day of MC-1" and e.on == Date(2027, 2, 4) and e.amount is None for e in r1.entries)
    lowest = next(f for f in r1.findings if f.code == "lowest_cash")
    assert lowest.weight == "warning" and str(r1.lowest_on) in lowest.text


def test_by_hand():
    # 60,000, +100 -50 a day, 20,000 on day 5; the loan's payments of the first of each month
    c = course(BUY)
    week = c.periods[0]
    assert (week.first, week.last) == (Date(2025, 12, 15), Date(2025, 12, 21))
    per_day = (36_500 - 18_250) / 365
    assert week.operating == pytest.approx(7 * per_day, rel=0.01)
    assert week.money_out == -20_000 and week.level == pytest.approx(40_000 + week.operating)
    assert c.first_deposit == Date(2025, 12, 20) and c.first_good_part == Date(2026, 3, 2)


def test_gain_and_write_off_in_different_years():
    early = course(BUY, {**SELL, "on": "2025-12-29"})
    assert {"sale_and_write_off_apart", "gap_in_capacity"} & {f.code for f in early.findings} == {
        "sale_and_write_off_apart"
    }
    same = course(BUY, SELL)
    assert "sale_and_write_off_apart" not in {f.code for f in same.findings}


def test_days_without_the_machine_cost_what_keep_would_have_brought():
    steps = [
        step.model_copy(update={"on": Date(2026, 10, 1)}) if step.do == "sell" else step
        for step in DEMO.alternatives["replace by R1"]
    ]
    c = cash_calendar(DEMO.model_copy(update={"alternatives": {"keep": [], "go": steps}}), "go")
    assert c.gap_days == (Date(2027, 1, 18) - Date(2026, 10, 1)).days == 109
    said = next(f for f in c.findings if f.code == "gap_in_capacity")
    # 2,000 staffed hours at 60 % and 190 nights of 6.4 (1 - exp(-5 / 6.4)) = 3.47 h, 97.2 % good: 1,807.3 a year
    assert c.gap_hours == pytest.approx(1_807.3 * 109 / 365, abs=1.5)
    assert "109 days" in said.text and "540 good hours" in said.text and c.gap_cost > 0
    assert "sale_and_write_off_apart" in {f.code for f in c.findings}


def test_what_is_done_is_shown_and_not_counted():
    done = course({**BUY, "ordered": "2025-12-01", "done": "no"})
    deposit = next(e for e in done.entries if e.what == "price of new, with order")
    assert deposit.done and deposit.amount == -20_000
    assert done.periods[0].money_out == 0
    file = scenario({"bank": loan("20,000", "6 %", 24, "2025-01-01")}, shop=SHOP, years=3, alternatives={"go": [{**SELL, "on": "2025-12-10", "done": "yes"}]},
                    offers={"buyer": {"machine": "mill", "route": "outright", "price": "50,000", "paid_after": 20}})  # fmt: skip
    sold = cash_calendar(file, "go")
    assert "already_done" in {f.code for f in sold.findings}
    money = next(e for e in sold.entries if e.what == "sale of mill: to the owner")
    assert not money.done and money.on == Date(2025, 12, 30)  # the lender is paid, the rest is still to come
    assert next(e for e in sold.entries if e.what == "payoff of mill").done
    assert sum(p.money_in for p in sold.periods[:3]) == pytest.approx(money.amount)


def test_errors_and_data(r1):
    with pytest.raises(KeyError, match="no alternative 'x'"):
        cash_calendar(DEMO, "x")
    assert json.loads(json.dumps(r1.to_json()))["lowest"]["amount"] == r1.lowest
    assert len(r1.to_frame()) == len(r1.periods) and len(r1.entries_frame()) == len(r1.entries)
    assert np.isfinite(r1.to_frame()["level_usd"]).all()
    assert cash_calendar(DEMO).alternative == "replace by R1"
