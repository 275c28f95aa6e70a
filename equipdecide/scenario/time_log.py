"""Files of a machine's time: its shifts, its stops, its meter. Every fault of a file at once."""

from __future__ import annotations

import csv
import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal, TypeVar, get_args

from equipdecide.scenario.amounts import AmountError, HoursOfLife, Quantity, read_day
from equipdecide.scenario.faults import Fault, did_you_mean
from equipdecide.scenario.tree import Place

T = TypeVar("T")
Kind = Literal["planned downtime", "no order", "set-up", "delay"]
KINDS: tuple[Kind, ...] = ("planned downtime", "no order", "set-up", "delay")
SHIFT_COLUMNS = ("start", "end")
STOP_COLUMNS = ("start", "end", "kind", "reason")
METER_COLUMNS = ("date", "hours")
_METER: Quantity = get_args(HoursOfLife)[1]
_KNOWN: dict[str, Kind] = {kind: kind for kind in KINDS}


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch of clock time, from `start` up to `end`."""

    start: dt.datetime
    end: dt.datetime


@dataclass(frozen=True, slots=True)
class Stop(Stretch):
    """A stretch in which the machine did not produce, its kind, and the reason as logged."""

    kind: Kind = "delay"
    reason: str = ""


class _Unreadable(Exception):
    def __init__(self, what: str, mend: str) -> None:
        super().__init__(what)
        self.what, self.mend = what, mend


def _clock(text: str) -> dt.datetime:
    try:
        found = dt.datetime.fromisoformat(text.strip())
    except ValueError:
        raise _Unreadable(f"'{text}' is no day with its time", "Write for example 2026-09-14 06:00") from None
    if found.tzinfo is not None:
        raise _Unreadable(f"'{text}' names a time zone", "Write the clock of the shop, as 2026-09-14 06:00")
    return found


def _stretch(cells: Sequence[str]) -> tuple[dt.datetime, dt.datetime]:
    start, end = _clock(cells[0]), _clock(cells[1])
    if end < start:
        raise _Unreadable(f"it ends at {end}, before it starts at {start}", "Check both, the day too (past midnight)")
    return start, end


def _shift(cells: Sequence[str]) -> Stretch:
    return Stretch(*_stretch(cells))


def _stop(cells: Sequence[str]) -> Stop:
    kind = _KNOWN.get(cells[2]) or _KNOWN.get(cells[2].strip().lower())
    if kind is None:
        listed = f"Write one of: {', '.join(KINDS)}"
        raise _Unreadable(f"'{cells[2]}' is no kind of stop", did_you_mean(cells[2].strip(), KINDS, listed))
    return Stop(*_stretch(cells), kind, cells[3] if len(cells) == 4 else ",".join(cells[3:]))


def _reading(cells: Sequence[str]) -> tuple[dt.date, float]:
    try:
        return read_day(cells[0]), float(_METER.read(cells[1]))
    except AmountError as error:
        raise _Unreadable(error.what, error.mend) from None


def _read(
    lines: Sequence[str], name: str, columns: tuple[str, ...], read: Callable[[Sequence[str]], T], least: int = 1
) -> tuple[list[T], list[Fault]]:
    """Read each row of a file with these columns; a comma in the last of four does no harm."""
    found: list[T] = []
    faults: list[Fault] = []

    def fault(number: int, what: str, mend: str) -> None:
        line = lines[number - 1] if number <= len(lines) else ""
        faults.append(Fault(Place(name, number, 1), "", what, mend, line))

    head, body = ",".join(columns), csv.reader(lines)
    if tuple(cell.strip() for cell in next(body, [])) != columns:
        fault(1, f"the columns are not {', '.join(columns)}", f"Make {head} the first line")
        return found, faults
    width = len(columns)
    for cells in body:
        if len(cells) < width or (width < 4 and len(cells) > width):
            if any(cell.strip() for cell in cells):
                fault(body.line_num, f"the row has {len(cells)} cells, not {width}", f"Write {head}")
            continue
        try:
            found.append(read(cells))
        except _Unreadable as error:
            fault(body.line_num, error.what, error.mend)
    if len(found) < least and not faults:
        fault(1, "too little is in the file", f"Write at least {least} row{'s' if least > 1 else ''} of {head}")
    return found, faults


def read_shifts(lines: Sequence[str], name: str) -> tuple[list[Stretch], list[Fault]]:
    """Return the shifts of a calendar (CSV: start, end as 2026-09-14 06:00) and every fault of the file."""
    return _read(lines, name, SHIFT_COLUMNS, _shift)


def read_stops(lines: Sequence[str], name: str) -> tuple[list[Stop], list[Fault]]:
    """Return the stops of a log (CSV: start, end, kind, reason) and every fault of the file.

    >>> read_stops(["start,end,kind,reason", "2026-09-14 06:00,2026-09-14 06:30,delay,chips"], "stops.csv")[0][0].reason
    'chips'
    """
    return _read(lines, name, STOP_COLUMNS, _stop, least=0)


def read_meter(lines: Sequence[str], name: str) -> tuple[list[tuple[dt.date, float]], list[Fault]]:
    """Return the dated readings of a meter (CSV: date, hours) [h] and every fault of the file."""
    return _read(lines, name, METER_COLUMNS, _reading, least=2)
