"""The shop's repair bills as a file: date and amount of each, with the machine's meter or not. All faults at once."""

from __future__ import annotations

import csv
import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import get_args

from equipdecide.scenario.amounts import AmountError, HoursOfLife, MoneyOrLoss, Quantity, read_day
from equipdecide.scenario.faults import Fault
from equipdecide.scenario.tree import Place

NEEDED = ("date", "amount")
MAY_STAND = ("hours", "what")
_MONEY: Quantity = get_args(MoneyOrLoss)[1]
_METER: Quantity = get_args(HoursOfLife)[1]


@dataclass(frozen=True)
class Bill:
    """One bill: its day, its amount [currency] (a credit note is below 0), the meter's reading [h] or None."""

    day: dt.date
    amount: float
    meter: float | None = None


def read_bills(lines: Sequence[str], name: str, decision: dt.date | None) -> tuple[tuple[Bill, ...], list[Fault]]:
    """Return the bills of a file (CSV: date, amount; hours and what may stand too) by day, and every fault of it.

    `name` stands in the faults; a bill after the day of `decision` is one.
    """
    faults: list[Fault] = []
    head = [cell.strip() for cell in next(csv.reader(lines[:1]), [])]

    def fault(number: int, what: str, mend: str) -> None:
        line = lines[number - 1] if number <= len(lines) else ""
        faults.append(Fault(Place(name, number, 1), "", what, mend, line))

    lacking = [column for column in NEEDED if column not in head]
    unknown = [column for column in head if column not in NEEDED + MAY_STAND]
    if lacking or unknown or len(set(head)) < len(head):
        what = "missing: " + ", ".join(lacking) if lacking else "not known or twice: " + ", ".join(unknown or head)
        fault(1, f"columns {what}", "Make date,amount or date,amount,hours the first line")
        return (), faults
    found = []
    for number, line in enumerate(lines[1:], 2):
        cells = [cell.strip() for cell in next(csv.reader([line]), [])]
        if not any(cells):
            continue
        if len(cells) != len(head):
            fault(number, f"the row has {len(cells)} cells, not {len(head)}", "Put an amount with a comma in quotes")
            continue
        row, day, amount, meter = dict(zip(head, cells, strict=True)), None, None, None
        try:
            day = read_day(row["date"])
        except AmountError as error:
            fault(number, error.what, error.mend)
        try:
            amount = float(_MONEY.read(row["amount"]))
        except AmountError as error:
            fault(number, error.what, error.mend)
        try:
            meter = float(_METER.read(row["hours"])) if row.get("hours") else None
        except AmountError as error:
            fault(number, error.what, error.mend)
        if day is not None and decision is not None and day > decision:
            fault(number, f"the bill is of {day}, after the day of decision", "Leave it out, or check its day")
        elif day is not None and amount is not None:
            found.append(Bill(day, amount, meter))
    if not found and not faults:
        fault(1, "the file holds no bill", "Add one line for each, or leave `bills:` out")
    return tuple(sorted(found, key=lambda bill: bill.day)), faults
