"""What waiting for the answer to a doubt is worth."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from equipdecide import calendar as cal
from equipdecide.calendar import Date, FloatArray
from equipdecide.decide.compare import measure, passes
from equipdecide.decide.news import questions
from equipdecide.decide.put_off import fallen_prices, keep_end, move, tested_course
from equipdecide.evaluate import evaluate
from equipdecide.parameters import Law
from equipdecide.scenario.models import Buy, Scenario, Step
from equipdecide.scenario.reading import amounts
from equipdecide.showing import Shown


@dataclass(frozen=True, repr=False)
class Waiting(Shown):
    """What waiting for a yes/no doubt is worth. Money is present worth on average over both outcomes [currency].

    `question` is what the doubt asks: "P5 renews". `now` is the best course taken today; `then_no` and `then_yes` are
    the best of keeping and of the same courses put off until `on`, once the outcome is known. `if_known` would be the
    worth if the outcome were known today.
    """

    doubt: str
    question: str
    chance: float
    on: Date
    now: str
    worth_now: float
    then_no: str
    then_yes: str
    worth_waiting: float
    if_known: float

    @property
    def value(self) -> float:
        """Worth of waiting less worth of the best course today [currency]; negative: do not wait."""
        return self.worth_waiting - self.worth_now

    @property
    def value_of_knowing(self) -> float:
        """The most that knowing the outcome today would be worth [currency]."""
        return self.if_known - self.worth_now

    def to_json(self) -> dict[str, object]:
        """Return plain data with fixed keys: keys are added, never renamed."""
        return {
            "doubt": self.doubt,
            "question": self.question,
            "chance": self.chance,
            "on": self.on.isoformat(),
            "now": self.now,
            "worth_now": self.worth_now,
            "then_no": self.then_no,
            "then_yes": self.then_yes,
            "worth_waiting": self.worth_waiting,
            "if_known": self.if_known,
            "value": self.value,
            "value_of_knowing": self.value_of_knowing,
        }


def wait(
    scenario: Scenario,
    doubt: str | None = None,
    on: Date | None = None,
    affordable: bool = False,
    law: Law | None = None,
) -> Waiting:
    """Return what it is worth to wait until a yes/no doubt is settled, then to choose.

    `doubt` is the path of the doubt (left out: the first whose day is known), `on` the day it is settled (left out:
    the day after the part's contract ends). With `affordable` only courses that keep cash above the floor and pass
    every gate are chosen from. Raises KeyError where there is no such doubt or no day, or nothing affordable.
    """
    entered = amounts(scenario)
    doubts = [path for path, amount in entered.items() if amount.chance is not None and amount.doubtful]
    doubt = doubt or next((path for path in doubts if _settled(scenario, path)), None)
    if not doubts:
        raise KeyError(
            "there is no yes/no doubt in this file to wait for: nothing under `events:`, no contract that may be renewed"
        )
    if doubt is None:
        raise KeyError(f"nothing says on which day a doubt is settled: name one of {', '.join(doubts)} and its day")
    if doubt not in doubts:
        raise KeyError(f"no yes/no doubt {doubt!r}; there are {', '.join(doubts)}")
    day = on or _settled(scenario, doubt)
    if day is None:
        raise KeyError(f"nothing says when {doubt} is settled: give the day as `on`")
    chance = entered[doubt].chance or 0.0
    shares = (1 - chance, chance)

    today: dict[str, list[float]] = {name: [] for name in scenario.alternatives}
    best_known = []
    for outcome in (0.0, 1.0):
        measured = measure(evaluate(scenario, {doubt: outcome}, law=law))
        allowed = {o.name: o.npv for o in measured if not affordable or passes(o)}
        for name in today:
            today[name].append(allowed.get(name, -np.inf))
        best_known.append(max(allowed.values(), default=-np.inf))
    averages = {name: _average(worth, shares) for name, worth in today.items()}
    now = max(averages, key=lambda name: averages[name])
    if not np.isfinite(averages[now]):
        raise KeyError("no course keeps cash above the floor and passes every gate whichever way the doubt falls")

    then: list[dict[str, float]] = [{"keep": today["keep"][k]} for k in (0, 1)]
    for name, steps in scenario.alternatives.items():
        if not steps or any(step.when for step in steps):
            continue
        months = _months_until(_first_day(steps), day)
        moved = [move(step, months) for step in steps]
        if any(step.on >= keep_end(scenario) for step in moved):
            continue
        later = scenario.model_copy(update={"alternatives": {"keep": [], name: moved}})
        prices = fallen_prices(scenario, steps, months)
        for k, outcome in enumerate((0.0, 1.0)):
            values: Mapping[str, FloatArray | float] = {**prices, doubt: outcome}
            worth, passing = tested_course(evaluate(later, values, [name], law), name)
            if not affordable or passing is not False:
                then[k][name] = worth
    chosen = [max(options, key=lambda name: options[name]) for options in then]  # noqa: B023
    waiting = _average([then[k][chosen[k]] for k in (0, 1)], shares)
    asks = questions(scenario).get(doubt, doubt)
    return Waiting(
        doubt, asks, chance, day, now, averages[now], chosen[0], chosen[1], waiting, _average(best_known, shares)
    )


def _average(worth: Sequence[float], shares: Sequence[float]) -> float:
    return float(sum(w * s for w, s in zip(worth, shares, strict=True) if s))


def _settled(scenario: Scenario, path: str) -> Date | None:
    section, name, *_ = path.split(".")
    part = scenario.parts.get(name) if section == "parts" else None
    return cal.add_days(part.ends, 1) if part is not None and part.ends is not None else None


def _first_day(steps: Sequence[Step]) -> Date:
    """Return the first day on which a course binds: an order counts before delivery."""
    return min(step.ordered if isinstance(step, Buy) and step.ordered else step.on for step in steps)


def _months_until(first: Date, day: Date) -> int:
    months = 0
    while cal.add_months(first, months) < day:
        months += 1
    return months
