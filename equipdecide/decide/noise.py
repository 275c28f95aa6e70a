"""Noise of one person's day in each course: the machine in question as it would then be, the rest of the day as
entered.

What is loud besides the machine counts too, and often more; `instead` tries another level for a piece of the day, such
as a quieter air nozzle, before a machine is bought for its noise.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from equipdecide.decide.named import named
from equipdecide.ledger import Finding
from equipdecide.plan import Plan, Setup, resolve, timeline
from equipdecide.scenario.models import Improvement, Scenario
from equipdecide.shop.noise import (
    CAUTIONS,
    GOALS,
    OSHA_CONSERVATION,
    Exposure,
    NoiseDay,
    Remedy,
    cheapest,
    noise_day,
    quietened,
)
from equipdecide.showing import Shown

OSHA = OSHA_CONSERVATION.name  # the dose by which remedies are judged


@dataclass(frozen=True)
class RemedyTried:
    """A remedy alone: the doses of the day with it [%], and what a point of the hearing-conservation dose costs."""

    remedy: Remedy
    doses: Mapping[str, float]
    price_a_point: float | None  # [currency/%]; None where it takes nothing off


@dataclass(frozen=True)
class NoiseOfOne:
    """The day in one course once everything is in place; None where a level is missing, as `findings` says."""

    name: str
    exposures: tuple[Exposure, ...]
    day: NoiseDay | None
    findings: tuple[Finding, ...]
    remedies: tuple[RemedyTried, ...] = ()  # each alone, the cheapest a point of dose first
    least: Mapping[str, tuple[Remedy, ...] | None] = field(default_factory=dict)  # by what the day is to be under


@dataclass(frozen=True, eq=False, repr=False)
class NoiseResult(Shown):
    """The day in every course. Doses of different criteria are not comparable with one another."""

    scenario: Scenario
    alternatives: tuple[NoiseOfOne, ...]
    cautions: tuple[str, ...] = CAUTIONS

    def __getitem__(self, name: str) -> NoiseOfOne:
        return named(self.alternatives, name, "alternative")

    def to_json(self) -> dict[str, object]:
        """Return plain data with fixed keys; doses in per cent, levels in dBA. Keys are added, never renamed."""
        return {
            "alternatives": [
                {
                    "name": one.name,
                    "exposures": [{"what": e.what, "level": e.level, "hours": e.hours} for e in one.exposures],
                    "doses": None if one.day is None else dict(one.day.doses),
                    "levels": None if one.day is None else {k: v if v > 0 else None for k, v in one.day.levels.items()},
                    "shares": None if one.day is None else dict(one.day.shares),
                    "findings": [{"code": f.code, "text": f.text} for f in one.findings],
                    "remedies": [
                        {
                            "name": tried.remedy.name,
                            "piece": tried.remedy.piece,
                            "level": tried.remedy.level,
                            "price": tried.remedy.price,
                            "doses": dict(tried.doses),
                            "price_a_point": tried.price_a_point,
                        }
                        for tried in one.remedies
                    ],
                    "least": [
                        {
                            "under": goal,
                            "remedies": None if chosen is None else [remedy.name for remedy in chosen],
                            "price": None if chosen is None else price_of(chosen),
                        }
                        for goal, chosen in one.least.items()
                    ],
                }
                for one in self.alternatives
            ],
            "cautions": list(self.cautions),
        }


def noise(scenario: Scenario, instead: Mapping[str, float] | None = None) -> NoiseResult:
    """Return the noise of the working day in every course.

    `instead` sets the level of pieces of the day by name [dBA]. Raises ValueError where the scenario has no working
    day, KeyError for an unknown piece.
    """
    if not scenario.working_day:
        raise ValueError("the scenario has no working day; add `working_day:` with hours and levels")
    unknown = [name for name in instead or {} if name not in scenario.working_day]
    if unknown:
        raise KeyError(
            f"no piece of the day is named {', '.join(unknown)}; there are {', '.join(scenario.working_day)}"
        )
    time = timeline(scenario)
    return NoiseResult(
        scenario,
        tuple(_of_one(scenario, resolve(scenario, name, time), instead or {}) for name in scenario.alternatives),
    )


def _of_one(scenario: Scenario, plan: Plan, instead: Mapping[str, float]) -> NoiseOfOne:
    exposures, findings = [], []
    whole = True
    for name, piece in scenario.working_day.items():
        hours = float(piece.hours)
        if name in instead:
            exposures.append(Exposure(name, instead[name], hours))
        elif piece.level is not None:
            exposures.append(Exposure(name, float(piece.level), hours))
        else:
            assert piece.machine is not None  # the checks of a scenario see to it
            setup = _standing(scenario, plan, piece.machine)
            if setup is None:
                findings.append(
                    Finding(
                        "nobody_there",
                        f"{plan.name}: nothing does the work of {piece.machine} at the end, so '{name}' makes no noise.",
                    )
                )
                continue
            level = _level(setup)
            if level is None:
                whole = False
                findings.append(_missing(plan, setup))
            else:
                exposures.append(Exposure(name, level, hours))
    if not whole:
        return NoiseOfOne(plan.name, tuple(exposures), None, tuple(findings))
    day = noise_day(exposures)
    remedies = [Remedy(name, one.piece, float(one.level), float(one.price)) for name, one in scenario.quieter.items()]
    tried = sorted((_tried(exposures, day, remedy) for remedy in remedies), key=_cheapness)
    least = {goal.says: cheapest(exposures, remedies, goal) for goal in GOALS} if remedies else {}
    return NoiseOfOne(plan.name, tuple(exposures), day, (*findings, *day.findings), tuple(tried), least)


def price_of(remedies: Sequence[Remedy]) -> float:
    """Return what remedies cost together [currency]."""
    return sum(remedy.price for remedy in remedies)


def _tried(exposures: Sequence[Exposure], day: NoiseDay, remedy: Remedy) -> RemedyTried:
    doses = noise_day(quietened(exposures, [remedy])).doses
    off = day.doses[OSHA] - doses[OSHA]
    return RemedyTried(remedy, doses, remedy.price / off if off > 1e-9 else None)


def _cheapness(tried: RemedyTried) -> float:
    return math.inf if tried.price_a_point is None else tried.price_a_point


def _standing(scenario: Scenario, plan: Plan, machine: str) -> Setup | None:
    """Return what does the machine's work on the last day of the study."""
    if machine in scenario.machine_in_question:
        if plan.working:
            return plan.at_work(plan.spans.starts[-1])
        bought = [purchase.machine for purchase in plan.purchases if purchase.machine == purchase.name]
        machine = bought[-1] if bought else machine
    there = [setup for setup in plan.setups if setup.machine == machine and setup.first <= setup.last]
    last = there[-1] if there else None
    return last if last is not None and last.last >= plan.spans.ends[-1] else None


def _level(setup: Setup) -> float | None:
    changed = setup.source.changes.noise if isinstance(setup.source, Improvement) else None
    found = changed or setup.base.noise
    return None if found is None else float(found)


def _missing(plan: Plan, setup: Setup) -> Finding:
    declared = setup.base.noise_declared
    if declared is None:
        return Finding(
            "no_level",
            f"{plan.name}: no level while cutting is given for {setup.name}.",
            f"machines.{setup.machine}.noise",
            "warning",
        )
    return Finding(
        "idle_against_cutting",
        f"{plan.name}: {setup.name} is declared at {float(declared):g} dBA without cutting, which says nothing of a "
        f"day at it. Ask for a level while cutting your material.",
        f"machines.{setup.machine}.noise_declared",
        "warning",
    )
