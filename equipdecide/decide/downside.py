"""What a lender's downside is: named adverse events, and for each year the worst of all their combinations.

An event sets inputs to the bad end of the owner's own ranges. A contract that is lost leaves its hours empty: demand
for a part counts only as far as it is evidenced, by what the course makes of it with the contract in force or by what
was shipped last year. "As planned" is one of the combinations, so no year of the downside is better than the plan.
That the hours are not refilled, and a quarter less where no low demand is entered, are choices of this library.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from equipdecide.calendar import FloatArray
from equipdecide.ledger import Ledger
from equipdecide.plan import Plan
from equipdecide.scenario.amounts import Amount
from equipdecide.scenario.models import Scenario
from equipdecide.scenario.reading import amounts

DEMAND_FALLS = 0.25  # where a part has no low figure: a choice of this library, no source
CONTRACTS_APART = 4  # more contracts than this are lost together: combinations double with each


@dataclass(frozen=True)
class AdverseEvent:
    """Something that can turn out badly: the inputs it sets, by path [unit of the input]."""

    name: str
    inputs: Mapping[str, float]


def adverse_events(scenario: Scenario, plan: Plan, ledger: Ledger) -> tuple[AdverseEvent, ...]:
    """Return the events that can turn out badly for the course of `plan`, whose ledger as planned is `ledger`.

    Less is ordered; each contract that may not be renewed is lost (unless the course hangs on it); upkeep is dearer;
    fewer good hours come than planned. What has no bad end entered is left out, and an event with nothing in it too.
    """
    decides = {step.when for step in scenario.alternatives[plan.name]}
    less, must = {}, {}
    for part in scenario.parts.values():
        for amount, least in ((part.demand, part.must_ship), (part.hours, None)):
            if amount is not None:
                low = amount.low if amount.low is not None else amount.likely * (1 - DEMAND_FALLS)
                must[amount.path] = least.likely if least is not None else 0.0
                if max(low, must[amount.path]) < amount.likely:
                    less[amount.path] = max(low, must[amount.path])
    setups = {setup.name: setup for setup in plan.setups}.values()
    dearer: dict[str, float] = {}
    slower: dict[str, float] = {}
    for setup in setups:
        earned = [*setup.base.earnings.values()] + [
            amount
            for change in [getattr(setup.source, "changes", None)]
            if change
            for amount in change.earnings.values()
        ]
        less |= _ends(earned, low=True)
        if setup.upkeep is not None:
            dearer |= _ends([setup.upkeep.first_year, setup.upkeep.growth], low=False)
        dearer |= _ends(setup.base.costs.values(), low=False)
        if (running := setup.running) is not None:
            nights = running.nights
            slower |= _ends([running.cutting_share, running.good_share], low=True)
            slower |= _ends([running.cycle_factor], low=False)
            if (often := running.crashes) is not None:
                slower |= _ends([often.a_year, often.count, often.days], low=False)
                slower |= _ends([often.over_years], low=True)
                dearer |= _ends([often.cost], low=False)
            if nights is not None:
                slower |= _ends([nights.nights, nights.window, nights.mean_between_stops], low=True)
                slower |= _ends([nights.recovery], low=False)
        if setup.installed:
            slower |= _ends([setup.source.ramp_loss, setup.source.down_days], low=False)
    lost = [
        (name, part.renews.path)
        for name, part in scenario.parts.items()
        if part.renews is not None and part.renews.path not in decides and part.renews.likely > 0.5
    ]
    evidenced = _evidenced(scenario, ledger) if lost else {}
    groups = [[one] for one in lost] if len(lost) <= CONTRACTS_APART else [lost]
    contracts = []
    for group in groups:
        names = [name for name, _ in group]
        own = {a.path for name in names for a in (scenario.parts[name].demand, scenario.parts[name].hours) if a}
        capped = {path: max(cap, must[path]) for path, cap in evidenced.items() if path not in own}
        inputs = {path: 0.0 for _, path in group} | capped
        what = f"the contract for {names[0]} is lost" if len(names) == 1 else f"{len(names)} contracts are lost"
        contracts.append(AdverseEvent(f"{what} and its hours stay empty", inputs))
    named = (
        AdverseEvent("less is ordered", less),
        *contracts,
        AdverseEvent("upkeep is dearer", dearer),
        AdverseEvent("fewer good hours come", slower),
    )
    return tuple(event for event in named if event.inputs)


def _ends(found: Iterable[Amount | None], low: bool) -> dict[str, float]:
    """Return the low (or high) ends that were entered, by path."""
    ends = ((a.path, a.low if low else a.high) for a in found if a is not None)
    return {path: end for path, end in ends if end is not None}


def _evidenced(scenario: Scenario, ledger: Ledger) -> dict[str, float]:
    """Return, by path of its demand, what of each part is evidenced a year, where more is believed [pieces or h a
    year].

    The most that the course makes of it a year as planned, or what was shipped last year, whichever is more.
    """
    if "contribution" not in ledger.workings:
        return {}
    years = ledger.column("capacity.years").per_row()
    found = {}
    for name, part in scenario.parts.items():
        demand = part.demand or part.hours
        if demand is None or f"{name}: hours" not in ledger.workings["contribution"]:
            continue
        each = ledger.column(f"part {name}.hours_each").figure()
        made = float((ledger.column(f"contribution.{name}: hours").per_row() / years).max()) / each
        cap = max(made, part.last_year.likely if part.last_year is not None else 0.0)
        if cap < demand.likely:
            found[demand.path] = cap
    return found


def combined(events: Sequence[AdverseEvent]) -> dict[str, float]:
    """Return the inputs of events that happen together; where two set one demand, the lower holds."""
    found: dict[str, float] = {}
    for event in events:
        for path, value in event.inputs.items():
            found[path] = min(found.get(path, value), value)
    return found


def combinations(events: Sequence[AdverseEvent]) -> list[tuple[AdverseEvent, ...]]:
    """Return every combination of events, the empty one first: as planned."""
    flags = product((False, True), repeat=len(events))
    return [tuple(event for event, on in zip(events, row, strict=True) if on) for row in flags]


def vectors(scenario: Scenario, cases: Sequence[Sequence[AdverseEvent]]) -> dict[str, FloatArray]:
    """Return the inputs of several cases as one vector an input, one entry a case; as entered where
    a case leaves it.
    """
    entered = amounts(scenario)
    rows = [combined(case) for case in cases]
    paths = dict.fromkeys(path for row in rows for path in row)
    return {
        path: np.array([row.get(path, entered[path].likely if path in entered else 0.0) for row in rows])
        for path in paths
    }
