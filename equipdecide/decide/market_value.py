"""What a used machine may bring: the band of the curves and of the owner's comparables, beside the offers there are.

Nothing here enters the money by itself: the band is there to judge an offer, and the value at the end of the study.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from equipdecide.calendar import Date, add_years
from equipdecide.ledger import Finding
from equipdecide.resale.bands import CAUTIONS, EVIDENCE, Band, ladder, value_band
from equipdecide.resale.comparables import Comparable, read_comparables
from equipdecide.scenario.models import Machine, Market, Scenario
from equipdecide.showing import Shown


@dataclass(frozen=True)
class OfferBeside:
    """An offer beside the band: its price [currency], and where it lies in words."""

    name: str
    route: str
    price: float
    lies: str


@dataclass(frozen=True, eq=False, repr=False)
class MarketValue(Shown):
    """The band of one machine at the decision and at the end of the study [currency], with all it rests on.

    `evidence` says of each curve what it is evidence of; `rungs` are low and high by premise of a sale; `as_entered` is
    the value at the end that the scenario uses, None without one.
    """

    scenario: Scenario
    machine: str
    age: float  # years
    cost: float  # of the machine alone [currency]
    factor: float
    now: Band
    at_end: Band
    as_entered: float | None
    evidence: Mapping[str, str]
    rungs: Mapping[str, tuple[float, float]]
    comparables: tuple[Comparable, ...]
    offers: tuple[OfferBeside, ...]
    findings: tuple[Finding, ...]
    cautions: tuple[str, ...] = CAUTIONS

    def to_json(self) -> dict[str, object]:
        """Return plain data with fixed keys: keys are added, never renamed."""

        def band(one: Band) -> dict[str, object]:
            return {
                "low": one.low,
                "likely": one.likely,
                "high": one.high,
                "basis": one.basis,
                "as_of": one.as_of.isoformat() if one.as_of else None,
                "by_curve": dict(one.by_curve),
            }

        return {
            "machine": self.machine,
            "age": self.age,
            "cost": self.cost,
            "factor": self.factor,
            "now": band(self.now),
            "at_end": band(self.at_end),
            "as_entered": self.as_entered,
            "evidence": dict(self.evidence),
            "premises": {premise: list(ends) for premise, ends in self.rungs.items()},
            "comparables": [
                {"what": c.what, "date": c.day.isoformat(), "price": c.price, "kind": c.kind, "share": c.share}
                for c in self.comparables
            ],
            "offers": [{"name": o.name, "route": o.route, "price": o.price, "lies": o.lies} for o in self.offers],
            "findings": [{"code": f.code, "text": f.text} for f in self.findings],
            "cautions": list(self.cautions),
        }


def market_value(scenario: Scenario, machine: str | None = None) -> MarketValue:
    """Return the band of a machine owned, the first in question where none is named.

    Raises KeyError for an unknown machine, ValueError where nothing says what it cost or when, and for faults in the
    file of comparables, all of them named.
    """
    name = machine or scenario.machine_in_question[0]
    if name not in scenario.machines:
        raise KeyError(f"no machine is named {name}; there are {', '.join(scenario.machines)}")
    owned = scenario.machines[name]
    market = owned.market or Market.model_validate({})
    findings = []
    cost, made = _cost_and_day(name, owned, market)
    if market.bare_price is None:
        findings.append(
            Finding(
                "freight_in_cost",
                f"{name}: {cost:,.0f} is what was booked; freight and installation in it are worth nothing to a "
                f"buyer. Give `market: {{bare_price: ...}}`.",
                f"machines.{name}.market",
            )
        )
    comparables: tuple[Comparable, ...] = ()
    if market.comparables is not None:
        folder = scenario.source.folder
        file = folder / market.comparables if folder is not None else None
        if file is None or not file.is_file():
            raise ValueError(f"the file '{market.comparables}' of comparables is not in the folder of the scenario")
        comparables = read_comparables(file)
    factor = market.factor.likely if market.factor else 1.0
    ends = (factor,) if market.factor is None else (market.factor.low or factor, factor, market.factor.high or factor)
    bands = [
        [_band(market, cost, (day - made).days / 365.25, one, comparables, day) for one in ends]
        for day in (market.as_of or scenario.decision_date, add_years(scenario.decision_date, scenario.study.years))
    ]
    now, at_end = (replace(found[len(found) // 2], low=found[0].low, high=found[-1].high) for found in bands)
    # the curves' middle is brought down to what a dealer pays; comparables are what such machines sold for as they are
    retail = now.likely if comparables else now.likely / (sum(ladder(1.0)["bought by a dealer"]) / 2)
    entered = owned.worth_at_end
    return MarketValue(
        scenario,
        name,
        (scenario.decision_date - made).days / 365.25,
        cost,
        factor,
        now,
        at_end,
        None if entered is None else float(entered),
        {curve: next((words for key, words in EVIDENCE.items() if key in curve), "") for curve in now.by_curve},
        {str(premise): span for premise, span in ladder(retail).items()},
        comparables,
        tuple(
            OfferBeside(offer_name, offer.route, float(offer.price), _lies(float(offer.price), now))
            for offer_name, offer in scenario.offers.items()
            if offer.machine == name
        ),
        (*findings, *(f for f in now.findings if f.code != "never_one_number")),
    )


def _cost_and_day(name: str, owned: Machine, market: Market) -> tuple[float, Date]:
    first = max(owned.assets.values(), key=lambda asset: float(asset.cost), default=None)
    price = market.bare_price or (first.cost if first is not None else owned.price)
    made = market.made or (first.in_service if first is not None else None)
    if price is None or made is None:
        raise ValueError(
            f"{name}: nothing says what it cost new and when; add `market: {{bare_price: ..., made: ...}}`"
        )
    return float(price), made


def _band(
    market: Market, cost: float, age: float, factor: float, comparables: tuple[Comparable, ...], day: Date
) -> Band:
    return value_band(
        max(age, 0.0),
        cost,
        hours_a_year=float(market.hours_a_year) if market.hours_a_year else None,
        market=factor,
        as_of=day,
        comparables=comparables,
        new_price_now=float(market.new_price) if market.new_price else None,
    )


def _lies(price: float, band: Band) -> str:
    if price < band.low:
        return "below the band"
    if price > band.high:
        return "above the band"
    return "in the lower part" if price < band.likely else "in the upper part"
