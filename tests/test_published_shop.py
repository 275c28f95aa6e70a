"""Published and hand cases of the shop (tests/published/shop.yaml) against the shop modules and decide.criteria.

Each recipe turns the inputs of a case into answers with the names of its expected figures, and nothing else.
"""

import datetime as dt
from pathlib import Path

import numpy as np
import pytest
import yaml

import equipdecide as ed
from equipdecide.decide import criteria
from equipdecide.resale import bands, comparables
from equipdecide.shop import attendance, learning, nights, noise, product_mix
from equipdecide.shop.time_elements import Output, Stop, Stretch, elements, indicators

CASES = yaml.safe_load((Path(__file__).parent / "published" / "shop.yaml").read_text(encoding="utf-8"))


def week(planned_busy, production, set_up, delay, planned_minutes, produced, good):
    start = dt.datetime(2026, 9, 14, 6)
    at, stops = start, []
    for kind, minutes in (
        ("set-up", set_up),
        ("delay", delay),
        ("no order", planned_busy - production - set_up - delay),
    ):
        stops.append(Stop(at, at + dt.timedelta(minutes=minutes), kind))
        at = stops[-1].end
    time, findings = elements([Stretch(start, start + dt.timedelta(minutes=planned_busy))], stops)
    assert not findings
    found, _ = indicators(time, Output(planned_minutes, produced, good))
    return {name: indicator.value for name, indicator in found.items()}


P_AND_Q = """
title: Two products on one bottleneck, a week counted as a year
decision_date: 2026-01-01
regime: flat
flat: {{tax_rate: 0 %}}
machine_in_question: B
study: {{years: 1, rate: 10 %, periods: years}}
shop: {{name: P and Q, taxed_as: sole proprietor}}
machines:
  B: {{what: the bottleneck, running: {{staffed_hours: {hours}, cutting_share: 100 %}}}}
parts:
{parts}
alternatives: {{keep: []}}
"""


def p_and_q(minutes, products, expense):
    parts = "\n".join(
        f"  {name}: {{price: {p['price']}, material: {p['material']}, minutes: {p['minutes']}, demand: {p['demand']}}}"
        for name, p in products.items()
    )
    ledger = ed.evaluate(ed.loads(P_AND_Q.format(hours=minutes / 60, parts=parts)))["keep"]
    made = {
        name: ledger.column(f"contribution.{name}: hours").figure() * 60 / p["minutes"] for name, p in products.items()
    }
    rates = {f"rate_{name}": ledger.column(f"part {name}.per_hour").figure() / 60 for name in products}
    engine = made | rates | {"profit": ledger.column("contribution.contribution").figure() - expense}
    # the linear programme with one station must say the same
    mix = product_mix.best_mix(
        {
            n: product_mix.Product(p["price"] - p["material"], {"B": p["minutes"] / 60}, p["demand"])
            for n, p in products.items()
        },
        {"B": minutes / 60},
    )
    assert mix.contribution - expense == pytest.approx(engine["profit"], abs=1e-6)
    assert not mix.findings
    return engine


def machine_hour_rate(cost, scrap, life_hours, yearly, hours, hourly=None):
    return {"rate": product_mix.machine_hour_rate(cost, scrap, life_hours, yearly, hours, hourly)}


def finite_queue_table(machines, rows):
    found = [attendance.from_service_factor(machines, x, m) for x, m in rows]
    return {"D": [one.wait_chance for one in found], "F": [one.efficiency for one in found]}


def figures_of(found):
    return {
        "D": found.wait_chance,
        "F": found.efficiency,
        "L": found.waiting,
        "H": found.in_service,
        "J": found.running,
    }


def all_run(machines, attendants, load):
    return {"p0": attendance.standing(machines, attendants, load)[0]}


def one_attendant(machines, loads):
    found = {
        law: [[attendance.running_of_one_attendant(n, p, law) for p in loads] for n in machines]
        for law in ("constant", "exponential")
    }
    queue = [[attendance.finite_source(n, 1.0, p).running for p in loads] for n in machines]
    assert np.array(found["exponential"]) == pytest.approx(np.array(queue), abs=1e-9)
    return found


def random_stops(theta, window):
    pairs = list(zip(theta, window, strict=True))
    return {"S": [nights.survival(w, t) for t, w in pairs], "hours": [nights.expected_hours(w, t) for t, w in pairs]}


def weibull_window(beta, eta, window):
    rows = list(zip(window, eta, beta, strict=True))
    return {
        "S": [nights.weibull_survival(*row) for row in rows],
        "hours": [nights.weibull_expected_hours(*row) for row in rows],
    }


def censored_mean(hours, stops):
    found = nights.mean_between_stops(hours, stops)
    return {"theta": found.theta, "low": found.low, "high": found.high}


def run_on(**inputs):
    found = nights.run_on(inputs["theta"], inputs["window"], inputs["share"], inputs["nights"])
    return {"chance": found.chance, "runs": found.runs_a_year, "hours": found.hours_a_year}


def wright(first, rate, units):
    total = learning.total_of(units, first, rate)
    return {"average": learning.average_of(units, first, rate), "total": total, "added": np.diff(total, prepend=0.0)}


def ramp(start, rate):
    found = [learning.ramp(s, r) for s, r in zip(start, rate, strict=True)]
    return {"at": [one.standard_at for one in found], "extra": [one.extra for one in found]}


RULES = {"permissible": noise.OSHA_PERMISSIBLE, "conservation": noise.OSHA_CONSERVATION, "niosh": noise.NIOSH}


def noise_day(levels, hours):
    day = noise.noise_day([noise.Exposure(str(k), *pair) for k, pair in enumerate(zip(levels, hours, strict=True))])
    doses = {key: day.doses[rule.name] for key, rule in RULES.items()}
    return doses | {f"{key}_level": day.levels[rule.name] for key, rule in RULES.items()}


def noise_days(hours, days):
    found = [noise_day(levels, hours) for levels in days]
    return {key: [one[key] for one in found] for key in found[0]}


def pairwise(method):
    found = criteria.pairwise([[1, 1 / 3, 5], [3, 1, 7], [1 / 5, 1 / 7, 1]], method)
    return {"weights": found.weights, "eigenvalue": found.eigenvalue, "index": found.index, "ratio": found.ratio}


def national_accounts(declining_balance, life, ages):
    rate = declining_balance / life
    assert rate == bands.BEA_RATE
    return {"rate": rate, "shares": [bands.national_accounts_share(age) for age in ages]}


def percent_good(table, ages):
    (curve,) = [one for one in bands.curves() if table in one.name]
    return {"shares": [curve.at(age) for age in ages]}


def two_machines(machines, cycle, work):
    """The bound without chance: an operator who never rests serves one part in `work` minutes."""
    bound = min(1.0, cycle / (machines * work))
    queue = attendance.finite_source(machines, cycle - work, work)
    assert queue.running / (cycle - work) / (machines / cycle) <= bound
    constant = attendance.running_of_one_attendant(machines, work / (cycle - work))
    assert constant / (cycle - work) / (machines / cycle) <= bound
    return {"share": bound}


RECIPES = {
    "week": week,
    "p_and_q": p_and_q,
    "machine_hour_rate": machine_hour_rate,
    "finite_queue_table": finite_queue_table,
    "attendance": lambda **i: figures_of(
        attendance.finite_source(i["machines"], i["run"], i["attention"], i["attendants"])
    ),
    "all_run": all_run,
    "one_attendant": one_attendant,
    "random_stops": random_stops,
    "weibull_window": weibull_window,
    "censored_mean": censored_mean,
    "run_on": run_on,
    "wright": wright,
    "crawford": lambda first, rate, unit: {"hours": learning.unit_time(unit, first, rate)},
    "crawford_first": lambda hours, rate, unit: {"first": hours / learning.unit_time(unit, 1.0, rate)},
    "ramp": ramp,
    "allowed_hours": lambda criterion, levels: {"hours": RULES[criterion].allowed_hours(levels)},
    "average_level": lambda criterion, doses: {"levels": [RULES[criterion].average_level(dose) for dose in doses]},
    "noise_day": noise_day,
    "noise_days": noise_days,
    "add_levels": lambda sets: {"levels": [noise.add_levels(one) for one in sets]},
    "add_by_table": lambda sets: {"levels": [noise.add_levels_by_table(one) for one in sets]},
    "pairwise": pairwise,
    "remaining_value": lambda age, hours, c1, c2, c3: {
        "percent": 100 * comparables.remaining_value(1.0, age, hours, c1, c2, c3)
    },
    "national_accounts": national_accounts,
    "dealer_offer": lambda **i: {"offer": bands.dealer_offer(**i)},
    "percent_good": percent_good,
    "two_machines": two_machines,
}


@pytest.mark.parametrize("case", CASES, ids=[case["id"] for case in CASES])
def test_published(case):
    answers = RECIPES[case["recipe"]](**case["inputs"])
    for key, wanted in case["expected"].items():
        tolerance = case["tolerance"][key] if isinstance(case["tolerance"], dict) else case["tolerance"]
        got = np.asarray(answers[key], dtype=float)
        assert got.shape == np.shape(wanted), f"{case['id']} {key}: {got.shape} against {np.shape(wanted)}"
        apart = np.abs(got - np.asarray(wanted, dtype=float))
        assert apart.max() <= tolerance, (
            f"{case['id']} {case['title']}: {key} is {got}, {case['source']} has {wanted}, inputs {case['inputs']}"
        )
    for key, slip in case.get("printed_instead", {}).items():
        assert np.abs(np.asarray(answers[key]) - np.asarray(slip)).max() > 1e-3, (
            f"{case['id']}: {key} repeats the slip {slip}"
        )


def test_every_case_says_where_it_is_from():
    for case in CASES:
        assert {"id", "title", "source", "where", "status", "recipe", "inputs", "expected", "tolerance"} <= set(case), (
            case["id"]
        )
        assert case["status"] in {"read", "read second hand", "memory", "hand"}, case["id"]
    assert len({case["id"] for case in CASES}) == len(CASES)
    assert {case["recipe"] for case in CASES} == set(RECIPES)
