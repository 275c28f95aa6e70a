"""What to make in a full year of each course within the hours of every station, and what one more hour is worth.

The engine fills the bottleneck by contribution an hour of it, which is right while it alone is the limit. Here a linear
programme looks at all stations at once (:mod:`equipdecide.shop.product_mix`), at the entered figures: with one limit it
must agree with the engine, with two it says what ranking gives away.
"""

from __future__ import annotations

from dataclasses import dataclass

from equipdecide.decide.hours import hours
from equipdecide.decide.named import named
from equipdecide.evaluate import Evaluation, evaluate
from equipdecide.ledger import Finding, Ledger
from equipdecide.scenario.models import Scenario
from equipdecide.shop.product_mix import Mix, Product, best_mix
from equipdecide.showing import Shown

__all__ = ["Mix", "MixOfOne", "MixResult", "mix"]

MACHINE = "the machine"  # the bottleneck's name among the stations


@dataclass(frozen=True)
class MixOfOne:
    """The best mix of one course in its first full year in place; None where it makes nothing or nothing fits."""

    name: str
    available: dict[str, float]  # hours a year by station [h]
    mix: Mix | None
    findings: tuple[Finding, ...]


@dataclass(frozen=True, eq=False, repr=False)
class MixResult(Shown):
    """The best mix of every course."""

    scenario: Scenario
    alternatives: tuple[MixOfOne, ...]

    def __getitem__(self, name: str) -> MixOfOne:
        return named(self.alternatives, name, "alternative")

    def to_json(self) -> dict[str, object]:
        """Return plain data with fixed keys; pieces and money a year. Keys are added, never renamed."""
        return {
            "alternatives": [
                {
                    "name": one.name,
                    "available_hours": one.available,
                    "pieces": None if one.mix is None else dict(one.mix.quantities),
                    "contribution": None if one.mix is None else one.mix.contribution,
                    "hour_worth": None if one.mix is None else dict(one.mix.hour_worth),
                    "by_ranking": None if one.mix is None else one.mix.ranked,
                    "findings": [{"code": f.code, "text": f.text} for f in one.findings],
                }
                for one in self.alternatives
            ]
        }


def mix(scenario: Scenario, evaluation: Evaluation | None = None) -> MixResult:
    """Return the best mix of every course. Raises ValueError where the scenario has no parts."""
    if not scenario.parts:
        raise ValueError("the scenario has no parts; add `parts:` with what the machine makes")
    evaluation = evaluation or evaluate(scenario)
    made = hours(scenario, evaluation)
    return MixResult(
        scenario,
        tuple(_of_one(scenario, evaluation[one.name], one.name, one.good_standard_hours) for one in made.alternatives),
    )


def _of_one(scenario: Scenario, ledger: Ledger, name: str, good_hours: float | None) -> MixOfOne:
    if not good_hours:
        return MixOfOne(
            name, {}, None, (Finding("nothing_made", f"{name}: no machine does this work in a full year."),)
        )
    by_piece = {station for part in scenario.parts.values() for station in part.elsewhere}
    limits = {station: float(amount) for station, amount in scenario.shop.other_limits.items()}
    # a station without minutes by the piece passes the machine's own hours, one for one
    machine = min([good_hours, *(amount for station, amount in limits.items() if station not in by_piece)])
    available = {MACHINE: machine, **{station: amount for station, amount in limits.items() if station in by_piece}}
    products = {}
    for part, entry in scenario.parts.items():
        demand = entry.demand or entry.hours
        must = float(entry.must_ship) if entry.must_ship is not None else 0.0
        each = {MACHINE: ledger.column(f"part {part}.hours_each").figure()}
        each |= {station: float(minutes) / 60 for station, minutes in entry.elsewhere.items()}
        products[part] = Product(
            ledger.column(f"part {part}.contribution").figure(),
            each,
            max(float(demand) if demand is not None else 0.0, must),
            must,
        )
    try:
        found = best_mix(products, available)
    except ValueError as error:
        return MixOfOne(
            name,
            available,
            None,
            (
                Finding(
                    "must_ship_does_not_fit",
                    f"{name}: {error}. The engine buys outside or pays the penalty.",
                    "parts",
                    "warning",
                ),
            ),
        )
    return MixOfOne(
        name, available, found, tuple(Finding(f.code, f"{name}: {f.text}", f.about, f.weight) for f in found.findings)
    )
