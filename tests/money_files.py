"""Small scenario files about money: one machine, its loan as told, one buyer. Everything in them is invented."""

import yaml

from equipdecide.calendar import Date
from equipdecide.evaluate import evaluate
from equipdecide.scenario import loads
from equipdecide.scenario.models import Sell


def scenario(loans=None, price="50,000", years=8, decision="2025-12-15", machines=None, question=None, **sections):
    """Read a scenario: machine `mill` with `loans` (name -> block), sold outright for `price`, one
    owner at one rate.
    """
    mill = {
        "what": "mill",
        "assets": {"machine": {"cost": "100,000", "in_service": "2024-03-01", "bonus": "elected out"}},
        "loans": loans or {},
        "worth_at_end": "5,000",
    }
    file = {
        "title": "Money",
        "decision_date": decision,
        "machine_in_question": question or ["mill"],
        "study": {"years": years, "rate": "10 %"},
        "shop": {"name": "Invented Works", "taxed_as": "sole proprietor"},
        "owners": {"Owner": {"share": "100 %", "tax_rate": "25 %"}},
        "machines": {"mill": mill, **(machines or {})},
        "offers": {"buyer": {"machine": "mill", "route": "outright", "price": price}},
        "alternatives": {"keep": []},
    }
    for name, block in sections.items():
        file[name] = {**file.get(name, {}), **block}
    return loads(yaml.safe_dump(file, sort_keys=False, allow_unicode=True))


def loan(principal="100,000", rate="9.9 %", payments=60, first="2024-02-01", **more):
    """Return a loan block."""
    return {"principal": principal, "rate": rate, "payments": payments, "first_payment": first, **more}


def sold(file, on, by="buyer", values=None, name="sell", more=()):
    """Return the ledger in which the machine of offer `by` is sold on `on` (and the other sales in `more`)."""
    pairs = [(by, on), *more]
    steps = [Sell(do="sell", machine=file.offers[by].machine, by=by, on=Date.fromisoformat(day)) for by, day in pairs]
    changed = file.model_copy(update={"alternatives": {"keep": [], name: steps}})
    return evaluate(changed, values, only=[name])[name]


def figure(ledger, working, column):
    """Return one figure of a ledger."""
    return ledger.workings[working][column].figure()
