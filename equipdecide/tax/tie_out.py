"""Tie-out: the depreciation schedule of the last return, item by item, against the books kept here.

The schedule is a CSV file with the columns ``item`` (machine and item as in the scenario, "MC-1 spindle"), ``cost``,
``in_service``, ``section_179``, ``bonus`` and ``to_date`` (all depreciation taken up to the end of the last tax year,
section 179 and bonus included). Empty cells are not compared. Money may be off by a dollar a year: returns are in whole
dollars.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from equipdecide.ledger import Draft, Working
from equipdecide.plan import Plan
from equipdecide.scenario.amounts import AmountError, read_day
from equipdecide.tax.depreciation import book_name
from equipdecide.tax.elections import Election

COLUMNS = ("item", "cost", "in_service", "section_179", "bonus", "to_date")
MONEY = ("cost", "section_179", "bonus", "to_date")
WORDS = {
    "cost": "cost",
    "section_179": "section 179",
    "bonus": "bonus",
    "to_date": "depreciation to the end of the last tax year",
}


class ScheduleError(ValueError):
    """The schedule cannot be read; the message names every fault with its line and how to mend it."""


@dataclass(frozen=True)
class ScheduleRow:
    """One item of the last return's depreciation schedule; None where the cell is empty."""

    item: str
    line: int
    figures: Mapping[str, float]  # cost, section_179, bonus, to_date [currency]
    in_service: str


@dataclass(frozen=True)
class Apart:
    """One figure that differs between the return and the books."""

    item: str
    what: str
    on_return: str
    in_books: str

    def __str__(self) -> str:
        return f"{self.item}: {self.what} is {self.on_return} on the return, {self.in_books} in these books"


def read_schedule(path: Path) -> tuple[ScheduleRow, ...]:
    """Read a depreciation schedule. Raises :class:`ScheduleError` with all its faults."""
    try:
        with path.open(newline="", encoding="utf-8-sig") as file:
            reader = csv.DictReader(file)
            header, lines = reader.fieldnames or [], list(reader)
    except (OSError, UnicodeDecodeError) as error:
        raise ScheduleError(
            f"{path.name} cannot be read: {error}. Save it as CSV, in UTF-8, beside the scenario."
        ) from None
    missing = [name for name in ("item", "cost") if name not in header]
    if missing:
        raise ScheduleError(f"{path.name}:1: no column {', '.join(missing)}. The columns are {', '.join(COLUMNS)}.")
    faults, rows = [], []
    for number, line in enumerate(lines, start=2):
        figures: dict[str, float] = {}
        for name in MONEY:
            text = (line.get(name) or "").strip().replace(",", "").replace("$", "")
            if not text:
                continue
            try:
                figures[name] = float(text)
            except ValueError:
                faults.append(
                    f"{path.name}:{number}: {name} is '{line.get(name)}', not an amount. Write for example 71,000."
                )
        day = (line.get("in_service") or "").strip()
        if day:
            try:
                day = read_day(day).isoformat()
            except AmountError as error:
                faults.append(f"{path.name}:{number}: in_service: {error}.")
        if not (line.get("item") or "").strip():
            faults.append(f"{path.name}:{number}: item is empty. Write the machine and the item as in the scenario.")
        rows.append(ScheduleRow((line.get("item") or "").strip(), number, figures, day))
    doubled = sorted({row.item for row in rows if sum(other.item == row.item for other in rows) > 1})
    faults += [f"{path.name}: {item} stands twice. Add the two lines up, or name them apart." for item in doubled]
    if faults:
        raise ScheduleError("\n".join(faults))
    return tuple(rows)


def compare(
    rows: Sequence[ScheduleRow], books: Sequence[tuple[Election, Working]], last_year: int
) -> tuple[Apart, ...]:
    """Return every difference between a schedule and the federal books at the end of `last_year`."""
    own = {
        e.possession.name: (e, w)
        for e, w in books
        if e.possession.asset is not None and e.possession.in_service.year <= last_year and not e.expensed
    }
    small = {e.possession.name for e, _ in books if e.expensed}
    apart = []
    for row in rows:
        if row.item in small:
            apart.append(Apart(row.item, "the item", "on the schedule", "deducted at once as a small item"))
            continue
        if row.item not in own:
            apart.append(Apart(row.item, "the item", "on the schedule", "not in service"))
            continue
        election, w = own.pop(row.item)
        ours = {
            "cost": w["cost"].figure(),
            "section_179": w["section_179"].figure(),
            "bonus": w["bonus"].figure(),
            "to_date": _to_date(w, last_year),
        }
        years = last_year - election.possession.in_service.year + 1
        for name, figure in row.figures.items():
            allowed = 0.5 if name == "cost" else 1.0 if name != "to_date" else float(years)
            if abs(figure - ours[name]) > allowed:
                apart.append(Apart(row.item, WORDS[name], f"{figure:,.2f}", f"{ours[name]:,.2f}"))
        if row.in_service and row.in_service != election.possession.in_service.isoformat():
            apart.append(
                Apart(row.item, "the day in service", row.in_service, election.possession.in_service.isoformat())
            )
    apart += [Apart(name, "the item", "not on the schedule", "in service") for name in own]
    return tuple(apart)


def _to_date(w: Working, last_year: int) -> float:
    column = w["depreciation"]
    return sum(
        float(amount) for amount, day in zip(column.per_row(), column.axis.ends, strict=True) if day.year <= last_year
    )


def tie_out(draft: Draft, plan: Plan, elections: Sequence[Election], folder: Path | None) -> None:
    """Post the findings of the tie-out: each difference, or that the books are tied, or that no schedule was given."""
    name = plan.scenario.shop.depreciation_schedule
    if plan.time.flat or plan.name != "keep":
        return
    about = "shop.depreciation_schedule"
    if name is None:
        if not any(e.possession.asset is not None and not e.expensed for e in elections):
            return
        draft.common.find(
            "not_tied",
            "The books of the machines are not tied to a return: no depreciation schedule of the last return was given.",
            about,
        )
        return
    last = plan.time.first_tax_year - 1
    try:
        rows = read_schedule((folder or Path()) / name)
    except ScheduleError as error:
        for text in str(error).splitlines():
            draft.common.find("schedule_not_read", text, about, "warning")
        return
    books = [(e, draft[book_name(e, "federal")]) for e in elections]
    found = compare(rows, books, last)
    for one in found:
        draft.common.find("not_as_on_the_return", f"{one}.", about, "warning")
    if not found:
        draft.common.find(
            "tied_to_return",
            f"The books agree with the depreciation schedule {name} at the end of {last}, item by item.",
            about,
        )
