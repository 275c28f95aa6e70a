"""A course put off: its steps moved, and what a machine brings by then.

What a machine brings falls at an even yearly rate from the offer of today to what is entered for the end of the study;
prices of what is bought stay as quoted.
"""

from __future__ import annotations

from collections.abc import Sequence

from equipdecide import calendar as cal
from equipdecide.calendar import Date, FloatArray
from equipdecide.decide.trials import tested
from equipdecide.evaluate import Evaluation
from equipdecide.scenario.models import Offer, Scenario, Sell, Step

AS_IT_STANDS = "at what it would bring today"


def value_after(scenario: Scenario, machine: str, now: float, years: float) -> float:
    """Return what a machine brings after `years` [currency]: from `now` to its value at the end of the study.

    It falls (or rises) by the same share every year; by the same amount where one of the two is nothing.
    """
    entered = scenario.machines[machine].worth_at_end
    last = entered.likely if entered is not None else 0.0
    passed = years / scenario.study.years
    if now <= 0 or last <= 0:
        return now + (last - now) * passed
    return float(now * (last / now) ** passed)


def machine_asked(scenario: Scenario, machine: str | None) -> str:
    """Return the machine asked for, or the first in question. Raises KeyError for an unknown one."""
    machine = machine or scenario.machine_in_question[0]
    if machine not in scenario.machines:
        raise KeyError(f"no machine {machine!r}; there are {', '.join(scenario.machines)}")
    return machine


def with_offer(scenario: Scenario, machine: str) -> tuple[Scenario, str]:
    """Return the scenario and the offer by which the machine is sold: the one a step takes, else
    any, else its worth.
    """
    taken = [
        s.by for steps in scenario.alternatives.values() for s in steps if isinstance(s, Sell) and s.machine == machine
    ]
    on_file = [
        name for name, offer in scenario.offers.items() if offer.machine == machine and offer.route == "outright"
    ]
    on_file += [
        name for name, offer in scenario.offers.items() if offer.machine == machine and offer.route != "trade-in"
    ]
    for name in (*taken, *on_file):
        if scenario.offers[name].route != "trade-in":
            return scenario, name
    worth = scenario.machines[machine].worth_now
    if worth is None:
        raise KeyError(
            f"nothing says what {machine!r} would bring today: add an offer for it, or `worth_now:` to the machine"
        )
    offer = Offer.model_validate({"machine": machine, "route": "outright", "price": worth})
    return scenario.model_copy(update={"offers": {**scenario.offers, AS_IT_STANDS: offer}}), AS_IT_STANDS


def tested_course(evaluation: Evaluation, name: str) -> tuple[float, bool | None]:
    """Return present worth [currency] and whether the course passes; None where cash or floor is not given."""
    found = tested(evaluation, name)
    return float(found.npv[0]), None if found.margin is None else bool(found.passes[0])


def keep_end(scenario: Scenario) -> Date:
    """Return the day the study ends."""
    return cal.add_years(scenario.decision_date, scenario.study.years)


def move(step: Step, months: int) -> Step:
    """Return a step with all its days `months` later."""
    days = {
        key: cal.add_months(day, months)
        for key in ("on", "ordered", "shipped", "until")
        if (day := getattr(step, key, None))
    }
    return step.model_copy(update=days)


def fallen_prices(scenario: Scenario, steps: Sequence[Step], months: int) -> dict[str, FloatArray | float]:
    """Return the prices of the offers that a course takes, as fallen after `months`."""
    prices: dict[str, FloatArray | float] = {}
    for step in steps:
        if isinstance(step, Sell):
            amount = scenario.offers[step.by].price
            prices[amount.path] = value_after(scenario, step.machine, amount.likely, months / 12)
    return prices
