"""What a used machine may bring: a band from several public curves and the owner's comparables, never one number.

Each curve is evidence of a different thing. Percent-good tables are a county's idea of taxable value; the rates of the
national accounts describe the whole stock, scrapped machines included; appraisers' rules describe offers. They are
shown beside one another and never averaged: low and high are their ends, and the likely figure is named for what it is,
the middle curve less a dealer's mark-up. No published curve of machine tools by hours was found; hours enter through
the owner's own comparables, or as a cautious stretch of age that widens the band.

Sources: percent_good.csv (each row its own); BEA, Table 3 of Fraumeni 1997, metalworking machines, rate 0.1225 (read);
remaining-value form: ASABE D497 (form and coefficients from memory, one published value read: Iowa State A3-29).
"""

from __future__ import annotations

import csv
import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Literal

import numpy as np

from equipdecide.ledger import Finding
from equipdecide.resale.comparables import ASKING_DISCOUNT, Comparable, fit_comparables

BEA_RATE = 0.1225  # a year, metalworking machines: BEA, Table 3 (Fraumeni 1997), read
DEALER_MARK_UP = (
    0.25  # on cost and repair: mheda journal 2009, lift trucks, read; for machine tools common practice, no source
)
AGE_TO_USE = (1.5, 2.0)  # how much more a year of age weighs than a year's use: Tozer 2006, tractors, read
USUAL_HOURS = 2000.0  # hours a year on which the curves are silent; one shift, common practice, no source

Premise = Literal["sold by a dealer", "sold by you, with time", "bought by a dealer", "sold within weeks", "auction"]
# The ladder of premises: what the same machine brings, as a share of what a dealer sells it for. Common practice, no
# source, but for the dealer's mark-up: 1 / 1.25. Definitions: fair market value, orderly and forced liquidation (ASA).
LADDER: Mapping[Premise, tuple[float, float]] = {
    "sold by a dealer": (1.0, 1.0),
    "sold by you, with time": (0.85, 1.0),
    "bought by a dealer": (1 / (1 + DEALER_MARK_UP) - 0.05, 1 / (1 + DEALER_MARK_UP) + 0.05),
    "sold within weeks": (0.65, 0.80),
    "auction": (0.60, 0.75),
}

# What each curve is evidence of, by words of its name.
EVIDENCE: Mapping[str, str] = {
    "percent good": "what a county or state takes as taxable value of a class; made for assessments, not for offers",
    "national accounts": "wear of the whole stock, machines scrapped and forgotten included; in constant prices",
    "appraiser's rule": "what appraisers and dealers say of offers; opinion, and of machines good enough to sell",
}

CAUTIONS = (
    "A percent-good table is for tax appeals, not for offers; it overstates the price of a young machine.",
    "An assessor's cost includes freight and installation; a buyer pays for the bare machine.",
    "Asking is not selling; the hour meter may have been reset; one-off options do not come back.",
    "The market is thin: two alike offered together halve the price of the second.",
    "Builders' discounts and the cycle move value more than one year of age does.",
)


@dataclass(frozen=True)
class Curve:
    """A curve of value: name, source, mark (read, memory, assumption), and the share of cost by age from 0."""

    name: str
    source: str
    mark: str
    ages: tuple[float, ...]
    shares: tuple[float, ...]

    def at(self, age: float) -> float:
        """Return the share of cost left at an age [year], straight between whole years; the last
        share beyond the end.
        """
        return float(np.interp(age, self.ages, self.shares))


@cache
def curves() -> tuple[Curve, ...]:
    """Return all curves: the percent-good tables as printed, the BEA rate, and one appraiser's rule."""
    rows: dict[str, list[dict[str, str]]] = {}
    text = (resources.files("equipdecide.resale") / "percent_good.csv").read_text(encoding="utf-8")
    for row in csv.DictReader(text.splitlines()):
        rows.setdefault(row["table"], []).append(row)
    found = [
        Curve(
            f"percent good, {name} years",
            table[0]["source"],
            table[0]["mark"],
            (0.0, *(float(row["age_years"]) for row in table)),
            (1.0, *(float(row["fraction"]) for row in table)),
        )
        for name, table in rows.items()
    ]
    ages = tuple(float(k) for k in range(31))
    bea = tuple(national_accounts_share(k) for k in ages)
    rule = tuple(1.0 if k == 0 else 0.82 * 0.90 ** (k - 1) for k in ages)
    found.append(
        Curve(
            "national accounts, metalworking machines", "BEA, Table 3 (Fraumeni 1997): rate 0.1225", "read", ages, bea
        )
    )
    found.append(
        Curve(
            "appraiser's rule: 18 % in the first year, then 10 % a year",
            "middle of an appraiser's ranges, 15-20 % and 8-12 % (2026)",
            "read",
            ages,
            rule,
        )
    )
    return tuple(found)


# One shop class and one a little slower; the 15-year class is for heavier plant and would stretch the band upwards.
USUAL_CURVES = (
    "mississippi 10",
    "ector 10",
    "galveston 10",
    "ector 12",
    "galveston 12",
    "national accounts",
    "appraiser's rule",
)


def national_accounts_share(age: float, rate: float = BEA_RATE) -> float:
    """Return the share of cost left at an age [year] in constant prices: ``(1 - rate) ** age``."""
    return float((1 - rate) ** age)


def dealer_offer(
    resale: float, reconditioning: float = 0.0, freight: float = 0.0, mark_up: float = DEALER_MARK_UP
) -> float:
    """Return what a dealer can offer who expects to resell at `resale` [currency]: less mark-up, repair and freight."""
    return resale / (1 + mark_up) - reconditioning - freight


# --- the band


@dataclass(frozen=True)
class Band:
    """Low, likely and high value [currency] at a premise and a day, with every curve's figure and what must be said.

    Unpacks as ``low, likely, high = value_band(age, cost)``.
    """

    low: float
    likely: float
    high: float
    by_curve: Mapping[str, float]
    basis: str
    as_of: dt.date | None
    findings: tuple[Finding, ...]

    def __iter__(self) -> Iterator[float]:
        return iter((self.low, self.likely, self.high))


def value_band(
    age: float,
    cost: float,
    *,
    hours_a_year: float | None = None,
    market: float = 1.0,
    as_of: dt.date | None = None,
    comparables: Sequence[Comparable] = (),
    new_price_now: float | None = None,
) -> Band:
    """Return the band of what a machine may bring.

    `age` [year] and `cost` [currency], the bare machine without freight and installation. `market` multiplies
    everything: today's market against a usual one, entered by hand. `new_price_now` is today's price of the equivalent
    new machine; without it, cost stands for it. Low is the lowest curve at auction, high the highest curve sold by the
    owner with time, likely the middle curve as a dealer buys; comparables, where there are any, take the place of the
    curves for the likely figure and may widen the band. Raises ValueError for an age below 0 or a cost not above 0.
    """
    if age < 0 or not cost > 0 or not market > 0:
        raise ValueError("age must be 0 or more, cost and market above 0")
    base = new_price_now if new_price_now is not None else cost
    findings = []
    ages = [age]
    if hours_a_year is not None:
        ages += [age * (ratio + hours_a_year / USUAL_HOURS) / (ratio + 1) for ratio in AGE_TO_USE]
        findings.append(
            Finding(
                "hours_stretch_age",
                f"{hours_a_year:,.0f} h a year against a usual {USUAL_HOURS:,.0f}: age is taken as {min(ages):.1f} "
                f"to {max(ages):.1f} years by a ratio found for tractors; no published one for machine tools.",
            )
        )
    used = [curve for curve in curves() if any(words in curve.name for words in USUAL_CURVES)]
    at_age = {curve.name: base * market * curve.at(age) for curve in used}
    spread = sorted(base * market * curve.at(one) for curve in used for one in ages)
    middle = float(np.median([base * market * curve.at(one) for curve in used for one in ages]))
    bought = sum(LADDER["bought by a dealer"]) / 2
    low, likely, high = (
        spread[0] * LADDER["auction"][0],
        middle * bought,
        spread[-1] * LADDER["sold by you, with time"][1],
    )
    basis = f"middle of {len(used)} curves as a dealer buys"
    if comparables:
        values = [c.share * base * market * _age_step(used, age, c.age) for c in comparables]
        likely = float(np.median(values))
        basis = f"middle of {len(comparables)} comparables, brought to this age"
        try:
            fit = fit_comparables(comparables)
            if hours_a_year is not None:
                likely = base * market * fit.share(age, hours_a_year)
                basis = f"remaining-value form fitted to {fit.count} comparables with hours"
                values += [likely - fit.widest_miss * base * market, likely + fit.widest_miss * base * market]
        except ValueError:
            findings.append(
                Finding(
                    "few_comparables",
                    f"{len(comparables)} comparables are too few to fit age and hours; they are used as they are.",
                )
            )
        low, high = min(low, *values), max(high, *values)
        if any(c.kind == "asking" for c in comparables):
            findings.append(
                Finding(
                    "asking_prices",
                    f"Asking prices are brought down by {ASKING_DISCOUNT:.0%} (common practice, no source).",
                )
            )
    if new_price_now is None:
        findings.append(
            Finding(
                "cost_for_list",
                "What was paid stands for today's price of an equivalent machine; give that price for a better band.",
            )
        )
    findings.append(
        Finding(
            "never_one_number",
            f"{max(low, 0):,.0f} to {high:,.0f}: the spread is the answer; likely is the {basis}.",
            "",
            "note",
        )
    )
    return Band(max(low, 0.0), min(max(likely, low), high), high, at_age, basis, as_of, tuple(findings))


def _age_step(used: Sequence[Curve], age: float, other: float) -> float:
    """Return the middle curve's factor from a machine of age `other` to one of `age`."""
    return float(np.median([curve.at(age) / curve.at(other) for curve in used]))


def ladder(retail: float) -> dict[Premise, tuple[float, float]]:
    """Return low and high [currency] on each rung of the ladder of premises, from what a dealer sells it for."""
    return {premise: (retail * low, retail * high) for premise, (low, high) in LADDER.items()}
