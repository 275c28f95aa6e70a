"""Published cases of engineering economics (tests/published/economics.yaml) against measures, finance and book methods.

Each recipe below turns the inputs of a case into answers with the names of its expected figures, and nothing else: the
figures come from the file, the arithmetic from the package.
"""

from datetime import date
from pathlib import Path

import numpy as np
import pytest
import yaml

from equipdecide import book_methods as books
from equipdecide import finance, measures

CASES = yaml.safe_load((Path(__file__).parent / "published" / "economics.yaml").read_text(encoding="utf-8"))


def years(flows):
    return np.arange(len(flows), dtype=float)


def present_worth_series(rate, flows_1toN, time0=None):
    pv = measures.present_worth(flows_1toN, years(flows_1toN) + 1, rate)
    return {"npv": pv} if time0 is None else {"pv": pv, "net": pv + time0}


def rates(flows, rate=None):
    answer = {"rates": list(measures.rates_of_return(flows, years(flows)).roots)}
    return answer if rate is None else answer | {"npv": measures.present_worth(flows, years(flows), rate)}


def modified(flows, finance, reinvest, reinvest2=None):
    found = measures.modified_rate(flows, finance, reinvest)
    if reinvest2 is None:
        return {"mirr": found}
    return {
        "mirr5": found,
        "mirr3": measures.modified_rate(flows[:4], finance, reinvest),
        "mirr5_14": measures.modified_rate(flows, finance, reinvest2),
    }


def dated(amounts, dates, rate):
    days = [(date.fromisoformat(d) - date.fromisoformat(dates[0])).days for d in dates]
    t = np.array(days) / 365.0
    return {"xnpv": measures.present_worth(amounts, t, rate), "xirr": measures.rates_of_return(amounts, t).only}


def machine_flows(first_cost, yearly, salvage, years):
    flows = np.full(years + 1, -float(yearly))
    flows[0] = -first_cost
    flows[-1] += salvage
    return flows


def machine_annual_worth(rate, machine):
    flows = machine_flows(**machine)
    return measures.annual_worth(measures.present_worth(flows, years(flows), rate), rate, machine["years"])


def machines_annual_worth(rate, machines):
    return {name: machine_annual_worth(rate, machine) for name, machine in machines.items()}


def used_machine(i, P, om, S, n):
    flows = machine_flows(P, om, S, n)
    pw = measures.present_worth(flows, years(flows), i)
    return {"pw": -pw, "euac": -measures.annual_worth(pw, i, n)}


def payback(flows, rate):
    simple, discounted = measures.payback(flows, years(flows)), measures.payback(flows, years(flows), rate)
    return {"simple_first": simple.first, "simple_last": simple.last, "discounted_first": discounted.first}


def rate_conversions(rate_nper, rate_pmt, rate_pv, rri, effect, nominal):
    periods, start, end = rri
    return {
        "rate": finance.rate(rate_nper, rate_pmt, rate_pv),
        "rri": finance.rate(periods, 0.0, -start, end),
        "effect": measures.effective_rate(*effect),
        "nominal": measures.nominal_rate(*nominal),
    }


def external(flows, rate):
    return {"err": measures.external_rate(flows, years(flows), rate)}


def annuity(fv, pmt, nper):
    return {
        "fv": finance.fv(fv["yearly"] / 12, *fv["others"]),
        "pmt": finance.pmt(pmt["yearly"] / 12, *pmt["others"]),
        "nper": finance.nper(nper["yearly"] / 12, *nper["others"]),
    }


def periods_to_grow(rate, pv, fv):
    periods = finance.nper(rate, 0.0, -pv, fv)
    return {"periods": periods, "quotient": fv / periods}


def economic_life(i, P, mv, om):
    life = measures.economic_life(P, mv, om, i)
    return {"tc": life.marginal_cost, "euac": life.annual_cost, "euac_min": life.least_annual_cost, "life": life.years}


def defender(i, market, original_cost, mv, om, challenger_euac):
    cost = measures.economic_life(market, mv, om, i).marginal_cost
    return {"tc": cost, "keep_years": measures.years_to_keep(cost, challenger_euac).years}


def keep_rule(defender_mc, challenger_euac):
    return {"replace_after_year": measures.years_to_keep(defender_mc, challenger_euac).years}


def outsider(i, defender, challenger, n):
    old = machine_flows(defender["mv"], defender["om"], 0.0, n)
    new = machine_flows(challenger["P"], challenger["om"], challenger["S"], n)
    return {"pw_def": measures.present_worth(old, years(old), i), "pw_chal": measures.present_worth(new, years(new), i)}


def incremental_payment(i, net_outlay, S, saving, n):
    return {"inc": finance.pmt(i, n, -net_outlay, S) - saving}


def incremental_annual(i, n, keep, replace):
    pw = measures.present_worth(np.subtract(replace, keep), years(keep), i)
    return {"inc_euac": -measures.annual_worth(pw, i, n)}


def annual_by_years(i, P, mv, om):
    return {"aw": -measures.economic_life(P, mv, om, i).annual_cost}


def replacement_endless(profit_at_age, new, discount):
    keep = profit_at_age[1:]
    found = measures.replacement_by_age(keep, [profit_at_age[0] - new] * len(keep), discount)
    return {"v": found.value, "policy": found.replace.astype(int)}


def replacement_finite(start_age, years, new, revenue, cost, salvage):
    keep = np.subtract(revenue, cost)[1:]
    replace = revenue[0] - cost[0] + np.array(salvage) - new
    found = measures.replacement_by_age(keep, replace, 1.0, years, salvage).value[0, start_age - 1]
    # the same by vintages that are all equal; a machine may not grow older than the ages of the print
    profit, far = np.subtract(revenue, cost), -1e6
    kept = [profit[start_age + k] if start_age + k < len(profit) else far for k in range(years)]
    value = [salvage[start_age - 1 + k] if start_age - 1 + k < len(salvage) else far for k in range(years + 1)]
    earned, resale = np.tile(profit[:years], (years, 1)), np.tile([new, *salvage[:years]], (years, 1))
    by_vintage = measures.replacement_by_vintage(kept, value, [new] * years, earned, resale, 0.0)
    assert by_vintage.worth == pytest.approx(found, abs=1e-9)
    return {"profit": found}


def mortgage(loan, yearly, n, k, new_yearly):
    monthly = yearly / 12
    payment = round(-finance.pmt(monthly, n, loan), 2)  # as the lender bills it
    before, balance = (-finance.fv(monthly, m, -payment, loan) for m in (k - 1, k))
    return {
        "payment": payment,
        "int180": before * monthly,
        "prin180": before - balance,
        "bal180": balance,
        "new_payment": -finance.pmt(new_yearly / 12, n - k, balance),
    }


def schedule(loan, yearly, n):
    monthly = yearly / 12
    payment = finance.pmt(monthly, n, loan)
    return {
        "payment": -payment,
        "interest": [-finance.ipmt(monthly, k, n, loan) for k in range(1, 11)],
        "balance10": -finance.fv(monthly, 10, payment, loan),
    }


def schedule_rows(loan, yearly, n):
    monthly = yearly / 12
    payment = finance.pmt(monthly, n, loan)
    rows = [
        [-finance.ipmt(monthly, k, n, loan), -finance.ppmt(monthly, k, n, loan), -finance.fv(monthly, k, payment, loan)]
        for k in (1, 2, 3)
    ]
    return {"payment": -payment, "rows": rows}


def parts(ipmt5, **ranges):
    def total(part, rate, n, pv, first, last, due):
        return -sum(part(rate, k, n, pv, 0.0, "begin" if due else "end") for k in range(first, last + 1))

    answer = {
        name: total(finance.ppmt if name.startswith(("cumprinc", "princ")) else finance.ipmt, *ranges[name])
        for name in ranges
    }
    return answer | {"ipmt5": -finance.ipmt(*ipmt5)}


def parts_ahead(rate, per, n, pv, fv, due):
    return {"ppmt": -finance.ppmt(rate, per, n, pv, fv, "begin" if due else "end")}


def level_payment(loan, yearly, n):
    return {"payment": -finance.pmt(yearly / 12, n, loan)}


def every_book_method(P, S, n):
    syd, ddb = books.sum_of_years_digits(P, S, n), books.declining_balance(P, S, n)
    switched = books.declining_balance(P, S, n, switch=True)
    answer = {
        "sl": books.straight_line(P, S, n)[0],
        "syd": syd,
        "bv_syd": books.book_values(P, syd),
        "ddb": ddb,
        "ddb_total": ddb.sum(),
        "ddb_first2": ddb[:2],
        "ddb_sl": switched,
    }
    for name, row in (("pw_ddb", switched), ("pw_syd", syd)):
        answer[name] = {r: measures.present_worth(row, years(row) + 1, float(r)) for r in ("0.02", "0.10", "0.25")}
    return answer


def spreadsheet_books(sln, ddb, vdb, syd):
    cost, salvage, life, period, factor = ddb
    answer = {
        "sln": books.straight_line(*sln)[0],
        "syd": books.sum_of_years_digits(*syd),
        "ddb12": books.declining_balance(cost, salvage, life, factor)[period - 1],
    }
    cost, salvage, life, start, end, factor = vdb
    return answer | {"vdb": books.declining_balance(cost, salvage, life, factor, switch=True)[start:end].sum()}


def books_use(P, S, n, units, used):
    uop = books.units_of_production(P, S, units, [used])
    return {
        "sl": books.straight_line(P, S, n)[0],
        "ddb": books.declining_balance(P, S, n)[0],
        "uop": uop[0],
        "bv_uop": books.book_values(P, uop)[0],
    }


def books_hours(P, S, hours, used):
    amounts = books.units_of_production(P, S, hours, used)
    return {
        "rate": books.units_of_production(P, S, hours, [1.0])[0],
        "dep": amounts[-1],
        "bv": books.book_values(P, amounts)[-1],
    }


def inflation(real, market, constant_at_4pct, index):
    constant = {f"c{n}": measures.present_worth([amount], [n], 0.04) for n, amount in constant_at_4pct.items()}
    yearly = [finance.rate(1, 0.0, -a, b) for a, b in zip(index, index[1:], strict=False)]
    return constant | {
        "real": measures.real_rate(real["market"], real["f"]),
        "f": yearly,
        "market": measures.market_rate(market["real"], market["f"]),
        "avg_infl": finance.rate(len(index) - 1, 0.0, -index[0], index[-1]),
    }


def buying_power(P, i, f, n):
    return {"real": finance.fv(measures.real_rate(i, f), n, 0.0, -P)}


def deviation(P, mu, sigma, n, i):
    t, spread = np.arange(n + 1.0), [0.0] + [sigma] * n
    return {
        "mean": measures.present_worth([-P] + [mu] * n, t, i),
        "sd_indep": measures.present_worth_deviation(spread, t, i),
        "sd_perfect": measures.present_worth_deviation(spread, t, i, together=True),
    }


def three_point(a, m, b):
    return {"pert": measures.three_point_mean(a, m, b, weight=4), "tri": measures.three_point_mean(a, m, b)}


def parts_break_even(i, A, B):
    fixed, each = {}, {}
    for name, x in (("A", A), ("B", B)):
        upkeep = 12 * x["maint_month"]
        fixed[name] = -machine_annual_worth(i, dict(first_cost=x["P"], yearly=upkeep, salvage=x["S"], years=x["n"]))
        each[name] = x["sec"] / 3600 * x["rate"]
    return {"fixedA": fixed["A"], "fixedB": fixed["B"], "N": (fixed["B"] - fixed["A"]) / (each["A"] - each["B"])}


def make_or_buy(i, buy, var, A, B):
    flows = machine_flows(A["P"], A["om"], A["S"], A["n"])
    flows[A["overhaul_year"]] -= A["overhaul"]
    a = -measures.annual_worth(measures.present_worth(flows, years(flows), i), i, A["n"])
    b = -machine_annual_worth(i, dict(first_cost=B["P"], yearly=B["om"], salvage=B["S"], years=B["n"]))
    recovery = measures.capital_recovery_factor(i, A["n"])
    room = (buy - var) * 10_000 - b - (a - A["P"] * recovery)
    return {"x": (a + b) / (buy - var), "PA_at_10000": room / recovery}


RECIPES = {
    "annual_by_years": annual_by_years,
    "annuity": annuity,
    "books": every_book_method,
    "books_hours": books_hours,
    "books_use": books_use,
    "buying_power": buying_power,
    "dated": dated,
    "defender": defender,
    "deviation": deviation,
    "economic_life": economic_life,
    "external": external,
    "incremental_annual": incremental_annual,
    "incremental_payment": incremental_payment,
    "inflation": inflation,
    "keep_rule": keep_rule,
    "level_payment": level_payment,
    "machines_annual_worth": machines_annual_worth,
    "make_or_buy": make_or_buy,
    "modified": modified,
    "mortgage": mortgage,
    "outsider": outsider,
    "parts": parts,
    "parts_ahead": parts_ahead,
    "parts_break_even": parts_break_even,
    "payback": payback,
    "periods_to_grow": periods_to_grow,
    "present_worth_series": present_worth_series,
    "rate_conversions": rate_conversions,
    "rates": rates,
    "replacement_endless": replacement_endless,
    "replacement_finite": replacement_finite,
    "schedule": schedule,
    "schedule_rows": schedule_rows,
    "spreadsheet_books": spreadsheet_books,
    "three_point": three_point,
    "used_machine": used_machine,
}


def flat(value):
    """One row of numbers from a number, a (nested) list or a mapping of numbers."""
    return np.ravel([value[k] for k in sorted(value)] if isinstance(value, dict) else value).astype(float)


def agrees(got, wanted, tolerance):
    got, wanted = flat(got), flat(wanted)
    # a hair for binary fractions: a printed 0.1 with tolerance 0.05 must accept 0.15
    return got.shape == wanted.shape and bool((np.abs(got - wanted) <= tolerance * (1 + 1e-9)).all())


@pytest.mark.parametrize("case", CASES, ids=[f"{c['id']} {c['title']}" for c in CASES])
def test_case(case):
    answers = RECIPES[case["recipe"]](**case["inputs"])
    told = "\n".join(
        f"  {key}: {case.get(key)}"
        for key in ("id", "title", "source", "where", "status", "inputs", "note", "printed_instead")
    )
    for name, wanted in case["expected"].items():
        assert agrees(answers[name], wanted, case["tolerance"][name]), (
            f"{name} is {answers[name]}, expected {wanted} within {case['tolerance'][name]}\n{told}"
        )
    for name, slip in (case.get("printed_instead") or {}).items():
        if name in answers:
            repeated = agrees(answers[name], slip, case["tolerance"][name])
            assert not repeated, f"{name} repeats the misprint {slip}\n{told}"


def test_the_file_is_complete():
    faults = []
    for case in CASES:
        missing = {"id", "title", "source", "where", "status", "recipe", "inputs", "expected", "tolerance"} - set(case)
        if missing:
            faults.append(f"{case.get('id')}: {sorted(missing)} missing")
        elif set(case["expected"]) != set(case["tolerance"]) or not case["expected"]:
            faults.append(f"{case['id']}: each expected figure needs its own tolerance")
        elif not any(word in case["status"] for word in ("read", "memory")):
            faults.append(f"{case['id']}: status {case['status']!r} does not say read or memory")
    assert faults == []
    assert len({case["id"] for case in CASES}) == len(CASES) >= 40
    assert {case["recipe"] for case in CASES} == set(RECIPES), "each recipe is used and each case has one"
