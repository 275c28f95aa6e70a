"""The books that are kept: the federal one, and a state's own where the state's rules differ.

A state named by its code brings its rules as data: how it treats bonus depreciation and section 179, whether it keeps a
basis of its own, and what share of the federal deduction it adds back and returns over the years after. A state given
by a rate alone has a book of its own only where it does not follow the federal bonus or section 179.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from equipdecide import calendar as cal
from equipdecide.calendar import Date
from equipdecide.parameters import Law, MissingParameter, Reading
from equipdecide.parameters.files import Parameter
from equipdecide.plan import Plan
from equipdecide.scenario.amounts import Amount
from equipdecide.tax.elections import AS_FILED, OWNED_BEFORE, Election, acquired_on, bonus_rate, is_used
from equipdecide.tax.section_179 import Limit

Bonus = Literal["federal", "none", "earlier-phase-down"]


def reading_then(law: Law, id: str, year: int, **keys: str) -> Reading | None:
    """Return the reading of a year, or the first on file where the year is before it; None where there is none."""
    try:
        parameter = law.parameter(id)
    except MissingParameter:
        return None
    begins = [value.from_date.year for value in parameter.values] if isinstance(parameter, Parameter) else []
    for on in (year, *(first for first in begins if first > year)):
        try:
            return law.get(id, Date(on, 12, 31), index_rate=0.0, as_known_on=None, **keys)
        except MissingParameter:
            continue
    return None


def last_old_acquisition(law: Law) -> Date:
    """Return the last day of acquisition whose bonus the Act of 2025 left as it was (P.L. 119-21 sec. 70301(c)(1)).

    States with the rates of the law before go by them for what is acquired later, too.
    """
    begins = [row["acquired_from"] for row in law.rows("federal/bonus_rates") if row["enacted"] is not None]
    return cal.add_days(max(day for day in begins if isinstance(day, Date)), -1)


@dataclass(frozen=True)
class AddBack:
    """A state's share of the federal first-year deduction added back, and returned in equal parts over years."""

    share: float
    section_179_share: float
    years: int
    starts_same_year: bool
    on_sale: Literal["continue", "recover"]
    free_179: Reading | None  # section 179 up to this is not added back
    source: Reading


@dataclass(frozen=True)
class StateRules:
    """What one state's income tax does, resolved from its parameters for one kind of taxpayer."""

    code: str | None
    entity: Literal["individual", "corporation"]
    law: Law
    taxed: bool = True
    own_book: bool = False
    follows_bonus: bool = True
    follows_179: bool = True
    limit: Limit | None = None  # None: the federal limit
    add_back: AddBack | None = None

    def bonus_of(self, placed: Date) -> Bonus:
        """Return how the state treats the bonus of property placed in service on a day."""
        if self.code is None:
            return "federal" if self.follows_bonus else "none"
        read = reading_then(self.law, f"{self.code}/depreciation.bonus", placed.year, entity=self.entity)
        found = read.choice if read else "federal"
        return found if found in ("none", "earlier-phase-down") else "federal"  # type: ignore[return-value]


@dataclass(frozen=True)
class Book:
    """One jurisdiction's record of assets: its bonus rates, its section 179 limit."""

    name: str
    state: StateRules | None = None

    @property
    def limit(self) -> Limit | None:
        """The section 179 limit of this book; None where it allows none."""
        if self.state is None:
            return Limit()
        if not self.state.follows_179:
            return None
        return self.state.limit or Limit()

    def bonus(self, law: Law, election: Election) -> tuple[float | Amount, str]:
        """Return the bonus rate of an item in this book and where it comes from."""
        if self.state is None:
            return election.bonus, election.bonus_source
        placed = election.possession.in_service
        treatment = self.state.bonus_of(placed)
        if treatment == "federal" or election.bonus_source.startswith(
            ("elected out", "bought from a related", AS_FILED, OWNED_BEFORE)
        ):
            return election.bonus, election.bonus_source
        if treatment == "none":
            return 0.0, "the state allows no bonus"
        acquired = min(acquired_on(election.possession), last_old_acquisition(law))
        return bonus_rate(law, acquired, placed, is_used(election.possession))


def state_rules(plan: Plan, law: Law) -> StateRules | None:
    """Return the rules of the scenario's state; None where it has none or the regime is the textbook one."""
    entry = plan.scenario.shop.state
    if plan.time.flat or entry is None:
        return None
    entity: Literal["individual", "corporation"] = (
        "corporation" if plan.scenario.shop.taxed_as == "C corporation" else "individual"
    )
    if entry.code is None or entry.code.lower() not in law.states():
        bonus, expensing = entry.bonus == "follows", entry.section_179 == "follows"
        return StateRules(None, entity, law, entry.rate is not None, not (bonus and expensing), bonus, expensing)
    code = entry.code.lower()
    year = plan.time.first_tax_year

    def choice(name: str) -> str:
        read = reading_then(law, f"{code}/depreciation.{name}", year, entity=entity)
        return read.choice if read else ""

    book, bonus_now, expensing_now = choice("book"), choice("bonus"), choice("section_179")
    if choice("pattern") == "no-income-tax":
        return StateRules(code, entity, law, taxed=False)
    limit = None
    if expensing_now == "own" and book == "separate":
        threshold = f"{code}/depreciation.section_179_threshold"
        limit = Limit(f"{code}/depreciation.section_179_limit", threshold if on_file(law, threshold) else None)
    elif expensing_now == "earlier-federal":
        limit = Limit(earlier=True)
    own = book == "separate" or bonus_now in ("none", "earlier-phase-down") or limit is not None
    return StateRules(
        code, entity, law, True, own, True, True, limit, _add_back(law, code, year, entity, entry.add_back)
    )


def on_file(law: Law, id: str) -> bool:
    """Tell whether there is a parameter of that id."""
    try:
        law.parameter(id)
    except MissingParameter:
        return False
    return True


ADD_BACK = {"as a rule": "", "withholding rose": "_withholding", "made a loss": "_loss"}  # how its parameters end


def _add_back(law: Law, code: str, year: int, entity: str, which: str) -> AddBack | None:
    def read(name: str, **keys: str) -> Reading | None:
        id = f"{code}/depreciation.{name}"
        return reading_then(law, id, year, **keys) if on_file(law, id) else None

    share = read(f"add_back_share{ADD_BACK[which]}", entity=entity) or read("add_back_share", entity=entity)
    years = read(f"add_back_years{ADD_BACK[which]}", entity=entity) or read("add_back_years", entity=entity)
    if share is None or years is None:
        return None
    starts, on_sale = read("add_back_starts", entity=entity), read("add_back_on_sale", entity=entity)
    free = read("section_179_free_amount") or read("section_179_limit")
    part = read("section_179_add_back_share", entity=entity)
    return AddBack(
        share.number,
        part.number if part else (share.number if free else 0.0),
        round(years.number),
        bool(starts and starts.choice == "same"),
        "recover" if on_sale and on_sale.choice == "recover" else "continue",
        free,
        share,
    )


def books_of(plan: Plan, law: Law) -> list[Book]:
    """Return the books to keep: the federal one, then the state's where it differs."""
    rules = state_rules(plan, law)
    own = [Book("state", rules)] if rules is not None and rules.taxed and rules.own_book else []
    return [Book("federal"), *own]
