"""Ten thousand random sales: sources equal uses to the cent, and no dollar stands in two places.

Structure (route, day, rule of payoff, how a shortfall is met) is taken in turn; every amount is drawn, all draws of one
structure run at once through the engine. Expected sums are added up here from the drawn amounts and the ledger's lines.
"""

import itertools

import numpy as np
import pytest
from money_files import figure, loan, scenario, sold

from equipdecide.calendar import Date
from equipdecide.evaluate import evaluate
from equipdecide.scenario.models import Buy, Sell

TRIALS = 125
PAYOFFS = ("simple interest", "remaining payments", "present value", "sum of digits")
ROUTES = ("outright", "consignment", "trade-in", "auction", "private sale")
DAYS = (
    "2026-01-01",
    "2026-01-16",
    "2026-01-17",
    "2026-04-30",
)  # a payment's day, the letter's last day, a day after it, later
LETTER = {
    "written": "2026-01-05",
    "balance": "66,000",
    "balance_on": "2026-01-01",
    "per_diem": 17.90,
    "good_through": "2026-01-16",
}

OFFERS = {
    "outright": {"route": "outright", "price": "50,000", "paid_after": 10},
    "consignment": {
        "route": "consignment", "price": "50,000", "commission": "10 %", "commission_minimum": "3,000", "costs": {"cleaning": "900"},
        "monthly_costs": {"insurance": 95}, "days_to_sale": 40, "unsold": "15 %", "if_unsold": "outright", "credited_to": "new", "credit_lost": "5 %",
    },
    "trade-in": {"route": "trade-in", "price": "50,000", "against": "new", "price_with_trade": "95,000"},
    "auction": {"route": "auction", "price": "50,000", "commission": "8 %", "paid_after": 29},
    "private sale": {"route": "private sale", "price": "50,000"},
}  # fmt: skip


def shop(payoff, with_letter):
    bank = loan(
        early_payoff="2 %",
        document_fee=295,
        wire_fee=35,
        release_fee=150,
        payoff=payoff,
        **({"letter": LETTER} if with_letter else {}),
    )
    return scenario(
        {"bank": bank},
        machines={"new": {"what": "new", "price": "90,000", "worth_at_end": "9,000"}},
        offers={name: {"machine": "mill", **offer} for name, offer in OFFERS.items()},
        financing={"new loan": {"amount": "60,000", "rate": "8 %", "payments": 60}},
    )


def draws(rng, file, route):
    """Random amounts by path: prices from nothing to far above the loan, any fee, any chance come true or not."""
    bank = "machines.mill.loans.bank"
    drawn = {
        f"{bank}.rate": rng.uniform(0, 0.2, TRIALS),
        f"{bank}.early_payoff": rng.uniform(0, 0.05, TRIALS),
        f"{bank}.document_fee": rng.uniform(0, 500, TRIALS),
        f"{bank}.wire_fee": rng.uniform(0, 50, TRIALS),
        f"{bank}.release_fee": rng.uniform(0, 500, TRIALS),
        "financing.new loan.amount": rng.uniform(1000, 90_000, TRIALS),
    }
    if file.machines["mill"].loans["bank"].letter is None:
        drawn[f"{bank}.principal"] = rng.uniform(1, 150_000, TRIALS)
    for name in {route, "outright"}:
        drawn[f"offers.{name}.price"] = np.where(rng.random(TRIALS) < 0.1, 0.0, rng.uniform(0, 150_000, TRIALS))
    if route in ("consignment", "auction"):
        drawn[f"offers.{route}.commission"] = rng.uniform(0, 0.3, TRIALS)
    if route == "consignment":
        drawn["offers.consignment.commission_minimum"] = rng.uniform(0, 8000, TRIALS)
        drawn["offers.consignment.costs.cleaning"] = rng.uniform(0, 3000, TRIALS)
        drawn["offers.consignment.unsold"] = (rng.random(TRIALS) < 0.3).astype(float)
        drawn["offers.consignment.credit_lost"] = (rng.random(TRIALS) < 0.3).astype(float)
    if route == "trade-in":
        drawn["offers.trade-in.price_with_trade"] = rng.uniform(80_000, 120_000, TRIALS)
    return drawn


def structures():
    every = itertools.product(PAYOFFS, ROUTES, DAYS)
    for k, (payoff, route, day) in enumerate(every):
        yield pytest.param(
            payoff, route, day, k % 2 == 1, payoff == "simple interest" and k % 3 == 0, id=f"{payoff}, {route}, {day}"
        )


def flat(column):
    return np.broadcast_to(column.values[0], (TRIALS,))


@pytest.mark.parametrize(("payoff", "route", "day", "rolled", "with_letter"), list(structures()))
def test_sources_equal_uses_and_no_dollar_appears_twice(payoff, route, day, rolled, with_letter):
    file = shop(payoff, with_letter)
    rng = np.random.default_rng([PAYOFFS.index(payoff), ROUTES.index(route), DAYS.index(day)])
    drawn = draws(rng, file, route)
    on = Date.fromisoformat(day)
    sell = Sell(
        do="sell", machine="mill", by=route, on=on, when=None, done=False, rolled_into="new loan" if rolled else None
    )
    buy = Buy(
        do="buy",
        machine="new",
        on=Date(2026, 6, 1),
        ordered=None,
        shipped=None,
        pay=["new loan"],
        when=None,
        done=False,
    )
    ledger = evaluate(file.model_copy(update={"alternatives": {"keep": [], "go": [sell, buy]}}), drawn, only=["go"])[
        "go"
    ]
    w, paid = ledger.workings["settlement mill"], ledger.workings["payoff mill mill bank"]

    unsold = drawn.get("offers.consignment.unsold", np.zeros(TRIALS))
    gross = np.where(unsold == 1, drawn["offers.outright.price"], drawn[f"offers.{route}.price"])
    assert flat(w["gross"]) == pytest.approx(gross, abs=1e-9)
    sources = gross + flat(w["brought"]) + flat(w["rolled"])
    uses = sum(flat(w[name]) for name in ("commission", "costs", "payoff", "release", "to_owner"))
    assert np.abs(sources - uses).max() < 0.005
    parts = sum(flat(paid[name]) for name in ("principal", "interest", "charge", "document_fee", "wire_fee"))
    assert np.abs(flat(w["payoff"]) - parts).max() < 0.005
    assert (
        flat(w["to_owner"]) * (flat(w["brought"]) + flat(w["rolled"])) < 1e-6
    ).all()  # left over or short, never both
    assert (flat(w["brought" if rolled else "rolled"]) == 0).all()

    # the lines of the shop hold each amount once
    lost = flat(w["to_owner"]) * drawn.get("offers.consignment.credit_lost", np.zeros(TRIALS))
    moved = sum(
        np.broadcast_to(line.column.values.sum(axis=0), (TRIALS,))
        for line in ledger.lines
        if line.purse == "shop" and (line.name.startswith("sale of mill: ") or line.name == "payoff of mill")
    )
    kept = gross - flat(w["commission"]) - flat(w["costs"]) - flat(w["payoff"]) - flat(w["release"]) - lost
    assert np.abs(moved - kept).max() < 0.005
    lent = np.broadcast_to(
        next(line for line in ledger.lines if line.name == "new loan paid out").column.values[0], (TRIALS,)
    )
    assert np.abs(lent - drawn["financing.new loan.amount"] - flat(w["rolled"])).max() < 0.005


def test_they_are_ten_thousand():
    assert len(list(structures())) * TRIALS == 10_000


def test_a_trial_alone_is_the_trial_among_many():
    file = shop("simple interest", False)
    drawn = draws(np.random.default_rng(3), file, "consignment")
    steps = [
        Sell(do="sell", machine="mill", by="consignment", on=Date(2026, 1, 17), when=None, done=False, rolled_into=None)
    ]
    course = file.model_copy(update={"alternatives": {"keep": [], "go": steps}})
    many = evaluate(course, drawn, only=["go"])["go"]
    for k in (0, 60, 124):
        one = evaluate(course, {path: vector[k] for path, vector in drawn.items()}, only=["go"])["go"]
        for column in ("net_cash", "payoff", "commission"):
            assert figure(one, "settlement mill", column) == pytest.approx(
                many.workings["settlement mill"][column].figure(trial=k), abs=1e-6
            )


@pytest.mark.parametrize("price", ["0", "65,790", "500,000"])
def test_prices_at_and_around_nothing(price):
    w = sold(scenario({"bank": loan()}, price=price), "2026-01-01").workings["settlement mill"]
    left = float(price.replace(",", "")) - w["payoff"].figure()
    assert w["to_owner"].figure() == pytest.approx(max(left, 0)) and w["brought"].figure() == pytest.approx(
        max(-left, 0)
    )
    assert w["balance"].figure() == 0
