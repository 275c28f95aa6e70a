"""The owner's comparables: machines like this one, asked for or sold, and a remaining-value form fitted to them.

Source of the form: ASABE D497 (from memory; one published value read: Iowa State A3-29). No published coefficients for
machine tools were found, so none are shipped: they come from the comparables or not at all.
"""

from __future__ import annotations

import csv
import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np

ASKING_DISCOUNT = 0.10  # asking less selling price; common practice, no source


def remaining_value(list_price_now: float, age: float, hours_a_year: float, c1: float, c2: float, c3: float) -> float:
    """Return ``list price now * (c1 - c2 sqrt(age) - c3 sqrt(hours a year)) ** 2`` [currency]; 0 once the bracket is.

    The list price is today's of an equivalent machine, whatever was paid. Source: the form of ASABE D497.
    """
    left = c1 - c2 * age**0.5 - c3 * hours_a_year**0.5
    return float(list_price_now * max(left, 0.0) ** 2)


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
            raise ComparablesError(
                f"{path.name}:1: columns are missing: {', '.join(missing)}. Write {','.join(COLUMNS)} as the first line."
            )
        for number, row in enumerate(reader, 2):
            cells = {
                (key or "").strip(): (value or "").strip()
                for key, value in row.items()
                if isinstance(value, str) or value is None
            }
            problems = list(_problems(cells))
            faults += [f"{path.name}:{number}: {problem}" for problem in problems]
            if not problems:
                hours = cells.get("hours_a_year", "")
                kind: Literal["asking", "sold"] = "sold" if cells["kind"] == "sold" else "asking"
                found.append(
                    Comparable(
                        dt.date.fromisoformat(cells["date"]),
                        _number(cells["price"]),
                        kind,
                        _number(cells["new_price"]),
                        _number(cells["age_years"]),
                        _number(hours) if hours else None,
                        cells.get("what", ""),
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
    """Coefficients of the remaining-value form fitted to comparables, and the widest miss of the
    fit, as a share of new.
    """

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
    found = lsq_linear(
        np.column_stack([np.ones(len(known)), -age, -hours]), np.sqrt(shares), bounds=(0, np.inf), tol=1e-13
    )
    c1, c2, c3 = map(float, found.x)
    fitted = np.maximum(c1 - c2 * age - c3 * hours, 0) ** 2
    return RemainingValueFit(c1, c2, c3, float(np.abs(fitted - shares).max()), len(known))
