"""What a used machine may bring: a band from several public curves and the owner's comparables, never one number.

Each curve is evidence of a different thing. Percent-good tables are a county's idea of taxable value; the rates of the
national accounts describe the whole stock, scrapped machines included; appraisers' rules describe offers. They are shown
beside one another and never averaged: low and high are their ends, and the likely figure is named for what it is, the
middle curve less a dealer's mark-up. No published curve of machine tools by hours was found; hours enter through the
owner's own comparables, or as a cautious stretch of age that widens the band.

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
from pathlib import Path
from typing import Literal

import numpy as np

from equipdecide.ledger import Finding

BEA_RATE = 0.1225  # a year, metalworking machines: BEA, Table 3 (Fraumeni 1997), read
DEALER_MARK_UP = 0.25  # on cost and repair: mheda journal 2009, lift trucks, read; for machine tools common practice, no source
AGE_TO_USE = (1.5, 2.0)  # how much more a year of age weighs than a year's use: Tozer 2006, tractors, read
USUAL_HOURS = 2000.0  # hours a year on which the curves are silent; one shift, common practice, no source
ASKING_DISCOUNT = 0.10  # asking less selling price; common practice, no source

Premise = Literal["sold by a dealer", "sold by you, with time", "bought by a dealer", "sold within weeks", "auction"]
# The ladder of premises: what the same machine brings, as a share of what a dealer sells it for. Common practice, no
# source, but for the dealer's mark-up: 1 / 1.25. Definitions: fair market value, orderly and forced liquidation (ASA).
LADDER: Mapping[Premise, tuple[float, float]] = {
    "sold by a dealer": (1.0, 1.0),
    "sold by you, with time": (0.85, 1.0),
    "bought by a dealer": (1 / (1 + DEALER_MARK_UP) - 0.05, 1 / (1 + DEALER_MARK_UP) + 0.05),
    "sold within weeks": (0.65, 0.80),
    "auction": (0.55, 0.70),
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
        """Return the share of cost left at an age [year], straight between whole years; the last share beyond the end."""
        return float(np.interp(age, self.ages, self.shares))


@cache
def curves() -> tuple[Curve, ...]:
    """Return all curves: the percent-good tables as printed, the BEA rate, and one appraiser's rule."""
    rows: dict[str, list[dict[str, str]]] = {}
    text = (resources.files("equipdecide.shop") / "percent_good.csv").read_text(encoding="utf-8")
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
    found.append(Curve("national accounts, metalworking machines", "BEA, Table 3 (Fraumeni 1997): rate 0.1225", "read", ages, bea))
    found.append(Curve("appraiser's rule: 18 % in the first year, then 10 % a year", "middle of an appraiser's ranges, 15-20 % and 8-12 % (2026)", "read", ages, rule))
    return tuple(found)


# One shop class and one a little slower; the 15-year class is for heavier plant and would stretch the band upwards.
USUAL_CURVES = ("mississippi 10", "ector 10", "galveston 10", "ector 12", "galveston 12", "national accounts", "appraiser's rule")


def national_accounts_share(age: float, rate: float = BEA_RATE) -> float:
    """Return the share of cost left at an age [year] in constant prices: ``(1 - rate) ** age``."""
    return float((1 - rate) ** age)


def remaining_value(list_price_now: float, age: float, hours_a_year: float, c1: float, c2: float, c3: float) -> float:
    """Return ``list price now * (c1 - c2 sqrt(age) - c3 sqrt(hours a year)) ** 2`` [currency]; 0 once the bracket is.

    The list price is today's of an equivalent machine, whatever was paid. Source: the form of ASABE D497.
    """
    left = c1 - c2 * age**0.5 - c3 * hours_a_year**0.5
    return float(list_price_now * max(left, 0.0) ** 2)


def dealer_offer(resale: float, reconditioning: float = 0.0, freight: float = 0.0, mark_up: float = DEALER_MARK_UP) -> float:
    """Return what a dealer can offer who expects to resell at `resale` [currency]: less mark-up, repair and freight."""
    return resale / (1 + mark_up) - reconditioning - freight


# --- comparables

COLUMNS = ("date", "price", "kind", "new_price", "age_years", "hours_a_year", "what")


@dataclass(frozen=True)
class Comparable:
    """A machine like this one, asked for or sold: price, price of the equivalent new now, age [year], hours a year."""

    day: dt.date
    price: float
    kind: Literal["asking", "sold"]
    new_price: float
    age: float
    hours_a_year: float | None
    what: str = ""

    @property
    def share(self) -> float:
        """Selling price as a share of the new price; an asking price is brought down first."""
        return self.price * (1 - ASKING_DISCOUNT if self.kind == "asking" else 1.0) / self.new_price


class ComparablesError(ValueError):
    """A file of comparables has faults; the message lists all of them, by line, with how to mend each."""


def read_comparables(path: Path) -> tuple[Comparable, ...]:
    """Read comparables (CSV: date, price, kind, new_price, age_years, hours_a_year, what). Hours may be left empty.

    Raises :class:`ComparablesError` with every fault of the file.
    """
    faults: list[str] = []
    found = []
    with path.open(newline="", encoding="utf-8-sig") as file:
        reader = csv.DictReader(file)
        head = [name.strip() for name in reader.fieldnames or []]
        missing = [name for name in COLUMNS[:-2] if name not in head]
        if missing:
            raise ComparablesError(f"{path.name}:1: columns are missing: {', '.join(missing)}. Write {','.join(COLUMNS)} as the first line.")
        for number, row in enumerate(reader, 2):
            cells = {(key or "").strip(): (value or "").strip() for key, value in row.items() if isinstance(value, str) or value is None}
            problems = list(_problems(cells))
            faults += [f"{path.name}:{number}: {problem}" for problem in problems]
            if not problems:
                hours = cells.get("hours_a_year", "")
                kind: Literal["asking", "sold"] = "sold" if cells["kind"] == "sold" else "asking"
                found.append(
                    Comparable(
                        dt.date.fromisoformat(cells["date"]), _number(cells["price"]), kind, _number(cells["new_price"]), _number(cells["age_years"]), _number(hours) if hours else None, cells.get("what", "")
                    )
                )
    if not found and not faults:
        faults.append(f"{path.name}:2: no machine is listed. Add one line for each, or leave the file out.")
    if faults:
        raise ComparablesError("\n".join(faults))
    return tuple(found)


def _number(text: str) -> float:
    return float(text.replace(",", ""))


def _problems(cells: Mapping[str, str]) -> Iterator[str]:
    try:
        dt.date.fromisoformat(cells.get("date", ""))
    except ValueError:
        yield f"'{cells.get('date', '')}' is no day. Write it as 2026-09-14."
    if cells.get("kind") not in ("asking", "sold"):
        yield f"kind is '{cells.get('kind', '')}'. Write asking or sold."
    for key, low in (("price", 0.0), ("new_price", 0.0), ("age_years", 0.0), ("hours_a_year", 0.0)):
        text = cells.get(key, "")
        if key == "hours_a_year" and not text:
            continue
        try:
            if not _number(text) >= low or (key == "new_price" and not _number(text) > 0):
                yield f"{key} is {text}. Write a number above zero."
        except ValueError:
            yield f"{key} is '{text}'. Write a plain number."


@dataclass(frozen=True)
class RemainingValueFit:
    """Coefficients of the remaining-value form fitted to comparables, and the widest miss of the fit, as a share of new."""

    c1: float
    c2: float
    c3: float
    widest_miss: float
    count: int

    def share(self, age: float, hours_a_year: float) -> float:
        """Return the share of today's new price left at an age [year] and hours a year."""
        return remaining_value(1.0, age, hours_a_year, self.c1, self.c2, self.c3)


def fit_comparables(comparables: Sequence[Comparable]) -> RemainingValueFit:
    """Fit ``sqrt(share) = c1 - c2 sqrt(age) - c3 sqrt(hours a year)`` by least squares, no coefficient below 0.

    Raises ValueError with fewer than four comparables that state hours: three coefficients need more than three.
    """
    from scipy.optimize import lsq_linear

    known = [c for c in comparables if c.hours_a_year is not None]
    if len(known) < 4:
        raise ValueError(f"{len(known)} comparables state hours a year; four or more are needed to fit age and hours")
    age = np.sqrt([c.age for c in known])
    hours = np.sqrt([c.hours_a_year for c in known if c.hours_a_year is not None])
    shares = np.array([c.share for c in known])
    found = lsq_linear(np.column_stack([np.ones(len(known)), -age, -hours]), np.sqrt(shares), bounds=(0, np.inf), tol=1e-13)
    c1, c2, c3 = map(float, found.x)
    fitted = np.maximum(c1 - c2 * age - c3 * hours, 0) ** 2
    return RemainingValueFit(c1, c2, c3, float(np.abs(fitted - shares).max()), len(known))


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
            Finding("hours_stretch_age", f"{hours_a_year:,.0f} h a year against a usual {USUAL_HOURS:,.0f}: age is taken as {min(ages):.1f} to {max(ages):.1f} years by a ratio found for tractors; no published one for machine tools.")
        )
    used = [curve for curve in curves() if any(words in curve.name for words in USUAL_CURVES)]
    at_age = {curve.name: base * market * curve.at(age) for curve in used}
    spread = sorted(base * market * curve.at(one) for curve in used for one in ages)
    middle = float(np.median([base * market * curve.at(one) for curve in used for one in ages]))
    bought = sum(LADDER["bought by a dealer"]) / 2
    low, likely, high = spread[0] * LADDER["auction"][0], middle * bought, spread[-1] * LADDER["sold by you, with time"][1]
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
            findings.append(Finding("few_comparables", f"{len(comparables)} comparables are too few to fit age and hours; they are used as they are."))
        low, high = min(low, *values), max(high, *values)
        if any(c.kind == "asking" for c in comparables):
            findings.append(Finding("asking_prices", f"Asking prices are brought down by {ASKING_DISCOUNT:.0%} (common practice, no source)."))
    if new_price_now is None:
        findings.append(Finding("cost_for_list", "What was paid stands for today's price of an equivalent machine; give that price for a better band."))
    findings.append(Finding("never_one_number", f"{max(low, 0):,.0f} to {high:,.0f}: the spread is the answer; likely is the {basis}.", "", "note"))
    return Band(max(low, 0.0), min(max(likely, low), high), high, at_age, basis, as_of, tuple(findings))


def _age_step(used: Sequence[Curve], age: float, other: float) -> float:
    """Return the middle curve's factor from a machine of age `other` to one of `age`."""
    return float(np.median([curve.at(age) / curve.at(other) for curve in used]))


def ladder(retail: float) -> dict[Premise, tuple[float, float]]:
    """Return low and high [currency] on each rung of the ladder of premises, from what a dealer sells it for."""
    return {premise: (retail * low, retail * high) for premise, (low, high) in LADDER.items()}
