"""Published cases of money (tests/published/money.yaml): yearly rates, day counts, payoffs, offers, leases, slips in
print.

Loans and offers are written as blocks of a scenario file and run through the engine; only unit-periods and day counts
are asked of their functions alone.
"""

from pathlib import Path

import numpy as np
import pytest
import yaml
from money_files import figure, loan, scenario, sold

import equipdecide as ed
from equipdecide import calendar as cal
from equipdecide.calendar import Date
from equipdecide.evaluate import evaluate
from equipdecide.money.apr import per_year, unit_periods, yearly_rate
from equipdecide.money.payoff import year_fraction

CASES = yaml.safe_load((Path(__file__).parent / "published" / "money.yaml").read_text(encoding="utf-8"))


def rate_by_dates(received, start, unit, length, payments):
    flows = []
    for run in payments:
        for k in range(run["count"]):
            if unit == "week":
                day = cal.add_days(run["first"], 7 * length * k)
            elif unit == "semimonth":  # on the first and the sixteenth
                day = cal.add_days(cal.add_months(run["first"], k // 2), 15 * (k % 2))
            else:
                day = cal.add_months(run["first"], length * k)
            flows.append((run["amount"], *unit_periods(start, day, unit, length)))
    return {"percent": 100 * yearly_rate(received, flows, per_year(unit, length))}


def unit_rate(received, payments, a_year):
    if isinstance(payments, str):
        count, amount = int(payments.split()[0]), float(payments.split()[-1])
        payments = [[amount, k, 0] for k in range(1, count + 1)]
    return {"percent": 100 * yearly_rate(received, [tuple(row) for row in payments], a_year)}


def paid_off(loan, day):
    ledger = sold(scenario({"bank": dict(loan)}, years=20), str(day))
    payoff, schedule = ledger.workings["payoff mill mill bank"], ledger.workings["loan mill bank"]
    answer = {c.name: c.figure() for c in payoff if len(c.axis) == 1} | {"payment": schedule["level_payment"].figure()}
    if len(schedule.axis) > 180:
        interest = schedule["interest"].figure(179)
        answer |= {"interest_180": interest, "principal_180": schedule["paid"].figure(179) - interest}
    return answer


def taken(financing, years=30):
    """The schedule of an offer, taken for a machine bought on the day of decision."""
    price = str(financing["amount"])
    machines = {"new": {"what": "new", "price": price, "worth_at_end": "1,000"}}
    buy = [{"do": "buy", "machine": "new", "on": "2025-12-15", "pay": ["offer"]}]
    file = scenario(machines=machines, years=years, financing={"offer": dict(financing)}, alternatives={"buy": buy})
    return evaluate(file, only=["buy"])["buy"].workings["loan offer"]


def offer(financing):
    w = taken(financing)
    return {c.name: c.figure() for c in w if len(c.axis) == 1} | {"percent": 100 * w["yearly_rate"].figure()}


def refund(n, left, charge):
    # a loan whose finance charge is near `charge`; the refund's share of it, times `charge`
    ledger = sold(
        scenario(
            {"bank": loan("10,000", "12 %", n, str(cal.add_months(Date(2026, 2, 1), left - n)), payoff="sum of digits")}
        ),
        "2026-01-01",
    )
    made = ledger.workings["payoff mill mill bank"]
    assert made["months_left"].figure() == left
    return {"refund": charge * made["refund"].figure() / made["finance_charge"].figure()}


def earned(n):
    found = {}
    for made in (1, 2):
        first = cal.add_months(Date(2026, 2, 1), -made)
        w = sold(
            scenario({"bank": loan("1,000,000", "12 %", n, str(first), payoff="sum of digits")}), "2026-01-01"
        ).workings["payoff mill mill bank"]
        found[f"month_{made}"] = 1 - w["refund"].figure() / w["finance_charge"].figure()
    return found


def barred(terms):
    files = [scenario({"bank": loan(payments=n, payoff="sum of digits")}) for n in terms]
    return {
        "barred": [
            float("sum_of_digits_barred_for_consumers" in [f.code for f in sold(one, "2026-01-01").findings])
            for one in files
        ]
    }


def charge_by_year(rate, payments, early_charge, years):
    found = []
    for year in range(1, years + 1):
        first = f"{2026 - year}-02-20"  # signed on 20 January: 11 months into the year of the loan on 20 December 2025
        w = sold(
            scenario({"bank": loan("10,000,000", rate, payments, first, early_charge=early_charge)}), "2025-12-20"
        ).workings["payoff mill mill bank"]
        found.append(100 * w["charge"].figure() / w["principal"].figure())
    return {"percent": found}


def fee_of_part(payments, early_charge, years):
    fees = []
    for year in years:
        bank = loan("200,000", "8 %", payments, "2026-01-10", balance_on="2025-12-15", signed=f"{2026 - year}-01-20",
                    early_charge=early_charge, collateral=["saw"], release_amounts={"saw": "60,000"})  # fmt: skip
        saw = {"what": "saw", "assets": {"machine": {"cost": "1,000", "in_service": "2024-03-01"}}, "worth_at_end": "1"}
        file = scenario(
            {"bank": bank},
            machines={"saw": saw},
            offers={"saw buyer": {"machine": "saw", "route": "outright", "price": "70,000"}},
        )
        fees.append(figure(sold(file, "2025-12-20", by="saw buyer"), "payoff saw mill bank", "charge"))
    return {"fee": fees}


def rolled(price, trade, owed):
    """Old machine traded in, its lender paid by the dealer, what is missing rolled into the loan for the new one."""
    bank = loan(f"{owed:,}", "0 %", 12, "2026-03-01", balance_on="2026-01-01")
    machines = {"new": {"what": "new", "price": f"{price:,}", "worth_at_end": "1,000"}}
    steps = [
        {"do": "sell", "machine": "mill", "by": "trade", "on": "2026-02-02", "rolled_into": "new loan"},
        {"do": "buy", "machine": "new", "on": "2026-02-02", "pay": ["new loan"]},
    ]
    file = scenario(
        {"bank": bank},
        machines=machines,
        offers={
            "trade": {
                "machine": "mill",
                "route": "trade-in",
                "price": f"{trade:,}",
                "against": "new",
                "price_with_trade": f"{price:,}",
            }
        },
        financing={"new loan": {"amount": f"{price:,}", "rate": "8 %", "payments": 60}},
        alternatives={"trade": steps},
    )
    ledger = evaluate(file, only=["trade"])["trade"]
    on_the_day = [line for line in ledger.lines if line.purse == "shop" and line.dates == (Date(2026, 2, 2),)]
    assert sum(float(line.amounts().sum()) for line in on_the_day) == pytest.approx(0, abs=0.005)  # no own money moves
    return {
        "borrowed": figure(ledger, "amount of new loan", "amount"),
        "shortfall": figure(ledger, "settlement mill", "shortfall"),
    }


def two_loans(amount, payments, after, rates):
    first = str(cal.add_months(Date(2026, 2, 1), -after))
    without, flexible = (
        paid_off(loan(f"{amount:,}", rate, payments, first, payoff=kind), "2026-01-01")
        for rate, kind in zip(rates, ("remaining payments", "simple interest"), strict=True)
    )
    cost = [after * one["payment"] + one["payoff"] for one in (without, flexible)]
    return {
        "payments": [without["payment"], flexible["payment"]],
        "balance": flexible["payoff"],
        "saving": cost[0] - cost[1],
    }


def factor(factor, terms):
    return {"percent": [100 * yearly_rate(1.0, [(factor, k, 0) for k in range(1, n + 1)]) for n in terms]}


def whole(scenario, flows):
    run = ed.evaluate(ed.loads(scenario))
    one, other = (run[name].column("cash.all purses").per_row() for name in flows)
    worth = [run[name].column("worth.npv").figure() for name in flows]
    apart = one - other
    return {"flows": apart[: np.flatnonzero(np.abs(apart) > 1e-9)[-1] + 1], "npv": worth[0] - worth[1]}


RECIPES = {
    "yearly_rate": rate_by_dates, "unit_rate": unit_rate,
    "fraction": lambda count, span: {"fraction": year_fraction(count, *span)},
    "payoff": paid_off, "offer": offer, "refund": refund, "earned": earned, "barred": barred,
    "charge_by_year": charge_by_year, "fee_of_part": fee_of_part, "rolled": rolled, "two_loans": two_loans, "factor": factor,
    "whole": whole,
}  # fmt: skip


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["id"])
def test_published_money(case):
    found = RECIPES[case["recipe"]](**case["inputs"])
    for name, wanted in case["expected"].items():
        assert np.shape(found[name]) == np.shape(wanted), f"{case['id']} {name}: {found[name]}"
        apart = np.abs(np.subtract(found[name], wanted)).max()
        assert apart <= case["tolerance"][name] * (1 + 1e-9), (
            f"{case['id']} {name}: {found[name]}, {case['source']} has {wanted}"
        )
    for name, printed in case.get("printed_instead", {}).items():
        assert np.abs(np.subtract(found[name], printed)).max() > case["tolerance"][name], (
            f"{case['id']} {name} repeats the slip of the print"
        )


def test_the_file_is_complete():
    needed = {"id", "title", "source", "where", "status", "recipe", "inputs", "expected", "tolerance"}
    assert [case.get("id") for case in CASES if needed - set(case)] == []
    assert [case["id"] for case in CASES if set(case["expected"]) != set(case["tolerance"])] == []
    assert [c["id"] for c in CASES if not any(word in c["status"] for word in ("read", "memory", "derived"))] == []
    assert len({case["id"] for case in CASES}) == len(CASES) >= 35
    assert {case["recipe"] for case in CASES} == set(RECIPES)
