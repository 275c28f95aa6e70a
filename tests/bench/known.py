"""What no doubtful input touches, worked out once: days, flags, tables, law, fixed payments.

Both ways of writing a load by hand (:mod:`notebook`, :mod:`plain`) start from it, as does the package, whose tape runs
only what the doubtful inputs touch. No figure that depends on a doubtful input is taken from a ledger.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from types import SimpleNamespace
from typing import Any

import numpy as np

from equipdecide.calendar import gather_weights, spread_weights
from equipdecide.evaluate import Evaluation
from equipdecide.ledger import Column, Ledger, Working
from equipdecide.tape import Tape

MILL, KIT, CENTRE = "mill", "mill with kit", "centre"
RANGES = {  # inputs of a setup that are drawn
    MILL: "machines.mill.running.cutting_share",
    KIT: "improvements.kit.changes.cutting_share",
    CENTRE: "machines.centre.running.cutting_share",
}
UPKEEP = {
    MILL: "machines.mill.upkeep.first_year",
    KIT: "improvements.kit.changes.upkeep.first_year",
    CENTRE: "machines.centre.upkeep.first_year",
}
GROWTH = "machines.mill.upkeep.growth"  # drawn for the mill as it is; the others' is entered


@dataclass(frozen=True)
class Setup:
    """A machine as it runs: in which stretches, at what pace, what its upkeep is."""

    name: str
    pace: float  # good hours per spindle hour
    staffed: float
    at_work: np.ndarray  # (stretches,) years at work
    lost: np.ndarray  # (stretches,) share of the hours lost to change-over
    down: float  # days without work, over the working days of a year
    ramp: float  # hours lost while learning
    held: np.ndarray  # (stretches,) years in place, less what a warranty pays
    age: np.ndarray  # (stretches,) full years of use
    growth: float | None  # of upkeep a year; None where it is drawn


@dataclass(frozen=True)
class Course:
    """One alternative: all that is fixed in it."""

    name: str
    setups: tuple[Setup, ...]
    demand: tuple[tuple[str | float, float, float], ...]  # best first: drawn input or quantity, hours each, USD an hour
    years: np.ndarray  # (stretches,) length of each stretch
    spread: np.ndarray  # (months, stretches)
    gather: np.ndarray  # (tax years, stretches)
    operating: np.ndarray  # (stretches,) fixed operating cash: other work less overhead
    cash: np.ndarray  # (days,) fixed dated cash of all purses
    shop: np.ndarray  # (days,) the same of the shop
    service: np.ndarray  # (tax years,) fixed loan payments
    income: dict[str, np.ndarray]  # by book, (tax years,) fixed income and deductions
    sold_early: bool
    worth_at_end: str | None  # drawn: what the last machine brings at the end
    payoff: float  # fixed: paid to the lender with the sale, release included
    commission: float
    mill: dict[str, list[tuple[float, float, float]]]  # by book and item: share of the price, basis, depreciation taken
    centre: SimpleNamespace | None  # purchase, loan, depreciation
    sold_on: int  # day of the mill's sale, position among the days
    paid_on: int  # day its owner is paid
    row_sold: int  # tax year of that sale
    row_end: int  # tax year of the end of the study
    property: np.ndarray | None  # (tax years,) fixed cost of property still counted
    opens: np.ndarray | None  # (4, tax years) part of an estimate that is still open


@dataclass(frozen=True)
class Known:
    """A scenario: days with cash of any course in order, and the courses."""

    times: np.ndarray  # (days,) years from the decision
    month_ends: np.ndarray  # (months,) position among the days
    inside: int  # months within the study
    at: dict[date, int]
    courses: tuple[Course, ...]
    by_year: np.ndarray  # (tax years, months)
    full: np.ndarray  # (tax years,) a whole year of the study
    opening: float
    floor: float
    books: tuple[str, ...]
    split: bool  # whether tax is paid by other purses than the shop
    last_day: int  # position of the end of the study
    law: Any  # what the returns need


def uses(column: Column) -> dict[str, Column]:
    """Return what a formula's names stand for."""
    assert column.formula is not None
    return dict(zip(column.formula.others, column.args, strict=True))


def known(evaluation: Evaluation, tape: Tape, law: Callable[[Evaluation, dict[date, int]], Any]) -> Known:
    """Work out what is fixed in a scenario of the bench."""
    moving = {id(evaluation.order[target]) for target, _, _ in tape.steps}
    time = evaluation.time
    days = sorted(
        {day for day in time.cash.ends}
        | {
            d
            for ledger in evaluation.ledgers.values()
            for line in ledger.lines
            for d in line.dates or ()
            if d >= time.start
        }
    )
    at = {day: k for k, day in enumerate(days)}
    times = np.array([time.years_to(day) for day in days])
    first = evaluation["keep"]
    inside = first.column("cash test.inside").per_row()
    books = tuple(book for book in ("federal", "state") if any(f"income {book}" in n for n in first.workings))
    courses = tuple(_course(name, evaluation, tape.inputs, moving, at, books) for name in evaluation.ledgers)
    shop = evaluation.scenario.shop
    assert shop.cash and shop.cash_floor
    return Known(
        times,
        np.array([at[day] for day in time.cash.ends]),
        int(inside.sum()),
        at,
        courses,
        gather_weights(time.cash, time.tax),
        first.column("coverage.full").per_row() > 0,
        float(shop.cash),
        float(shop.cash_floor),
        books,
        any(line.purse != "shop" for line in first.lines),
        at[time.end],
        law(evaluation, at),
    )


def _setups(ledger: Ledger, evaluation: Evaluation) -> tuple[Setup, ...]:
    plan = evaluation.plans[ledger.name]
    years = ledger.column("capacity.years").per_row()
    columns = {c.full_name: c for working in ledger.workings.values() for c in working}

    def row(name: str) -> np.ndarray:
        return columns[name].per_row() if name in columns else np.zeros(len(years))

    found = []
    for k, setup in enumerate(plan.setups):
        if setup.last < setup.first:
            continue
        running, upkeep = setup.running, setup.upkeep
        assert running is not None and upkeep is not None and running.good_share is not None
        pace = float(running.good_share) / (float(running.cycle_factor) if running.cycle_factor else 1.0)
        position = plan.working.index(setup)
        age = row(f"upkeep.year_{k}")
        warranty = (
            np.where(age < upkeep.warranty_years, float(upkeep.warranty_share), 1.0) if upkeep.warranty_share else 1.0
        )
        found.append(
            Setup(
                setup.name,
                pace,
                float(running.staffed_hours),
                row(f"capacity.at_work_{position}") * years,
                row(f"capacity.learning_{position}"),
                (float(setup.source.down_days) if setup.installed and setup.source.down_days else 0.0) / 250,
                float(setup.source.ramp_loss) if setup.installed and setup.source.ramp_loss else 0.0,
                row(f"upkeep.held_{k}") * years * warranty,
                age,
                None if upkeep.growth.path == GROWTH else float(upkeep.growth),
            )
        )
    return tuple(found)


def _demand(ledger: Ledger, drawn: Mapping[str, object]) -> tuple[tuple[str | float, float, float], ...]:
    parts = []
    for name in ("base plate", "manifold", "jobbing"):
        column = uses(ledger.column(f"contribution.{name}: could sell"))["demand"]
        assert column.origin is not None
        each, rate = (ledger.column(f"part {name}.{what}").figure() for what in ("hours_each", "per_hour"))
        parts.append((column.origin.ref if column.origin.ref in drawn else column.figure(), each, rate))
    return tuple(sorted(parts, key=lambda part: -part[2]))


def _course(
    name: str,
    evaluation: Evaluation,
    drawn: Mapping[str, object],
    moving: set[int],
    at: dict[date, int],
    books: tuple[str, ...],
) -> Course:
    ledger, time, plan = evaluation[name], evaluation.time, evaluation.plans[name]
    cash, shop = np.zeros(len(at)), np.zeros(len(at))
    operating, service = np.zeros(len(plan.spans)), np.zeros(len(time.tax))
    for line in ledger.lines:
        if id(line.column) in moving:
            continue
        if line.dates is None:
            operating += line.amounts()
            continue
        for day, amount in zip(line.dates, line.amounts(), strict=True):
            if day < time.start:
                continue
            cash[at[day]] += amount
            if line.purse == "shop":
                shop[at[day]] += amount
            if line.group == "debt service":
                service[time.tax.row_of(day)] -= amount
    income = {}
    for book in books:
        w = ledger.workings[f"income {book}"]
        parts = uses(w["of_this_plan"]).values()
        base = uses(w["business"])["base"]
        income[book] = base.per_row() + sum(c.per_row() for c in parts if id(c) not in moving)
    sale = next(s for s in plan.sales if s.machine == "mill")
    settled = ledger.workings["settlement mill"]
    centre = _centre(ledger, evaluation, at, books) if name == "replace" else None
    return Course(
        name,
        _setups(ledger, evaluation),
        _demand(ledger, drawn),
        ledger.column("capacity.years").per_row(),
        spread_weights(plan.spans, time.cash),
        gather_weights(plan.spans, time.tax),
        operating,
        cash,
        shop,
        service,
        income,
        not sale.at_end,
        next((amount.path for s in plan.sales if s.at_end and (amount := plan.end_value(s.machine))), None),
        settled["payoff"].figure() + settled["release"].figure(),
        float(sale.offer.commission) if sale.offer and sale.offer.commission else 0.0,
        {book: _items(ledger.workings[f"gain {book} mill"]) for book in books},
        centre,
        at[sale.sold_on],
        at[sale.paid_on],
        time.tax.row_of(sale.sold_on) or 0,
        len(time.tax) - 1,
        *_filed(ledger, moving),
    )


def _filed(ledger: Ledger, moving: set[int]) -> tuple[np.ndarray | None, np.ndarray | None]:
    if "property" not in ledger.workings:
        return None, None
    held = ledger.column("property.held")
    years = len(held.axis)
    fixed = sum((c.per_row() for c in held.args if id(c) not in moving), np.zeros(years))
    paid = ledger.workings["payments federal tax of Ada Ada"]
    parts = [uses(paid[f"estimate_{event}"]) for event in range(1, 5)]
    flags = [[c for name, c in part.items() if name not in ("each", "each_reference")] for part in parts]
    return fixed, np.array([column.per_row() for (column,) in flags])


def _items(gain: Working) -> list[tuple[float, float, float]]:
    labels = [name.removesuffix(": gain") for name in gain.columns if name.endswith(": gain")]
    return [
        (
            uses(gain[f"{label}: realized"])["part"].figure(),
            uses(gain[f"{label}: gain"])["adjusted_basis"].figure(),
            uses(gain[f"{label}: recapture"])["taken"].figure(),
        )
        for label in labels
    ]


def _centre(ledger: Ledger, evaluation: Evaluation, at: dict[date, int], books: tuple[str, ...]) -> SimpleNamespace:
    loan = ledger.workings["loan centre loan"]
    time = evaluation.time
    axis = loan["balance"].axis
    purchase = ledger.workings["purchase centre"]
    by_book = {}
    for book in books:
        w = ledger.workings[f"{book} book of centre as bought"]
        by_book[book] = SimpleNamespace(
            percent=w["percent"].per_row() * w["allowed"].per_row() / 100,
            first_year=w["first_year"].per_row(),
            last_year=w["last_year"].per_row() > 0,
            bonus=w["bonus_rate"].figure(),
            until=int(np.flatnonzero(w["last_year"].per_row())[0]),
        )
    return SimpleNamespace(
        amount=uses(loan["level_payment"])["principal"].figure(),
        payments=len(axis),
        days=np.array([at[day] for day in axis.ends]),
        by_year=gather_weights(axis, time.tax),
        capital=purchase["capital_costs"].figure(),
        paid_on=at[next(line for line in ledger.lines if line.name == "price of centre").dates[0]],  # type: ignore[index]
        books=by_book,
        held=ledger.column("property.centre as bought: held").per_row() if "property" in ledger.workings else None,
    )
