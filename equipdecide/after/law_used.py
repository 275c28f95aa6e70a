"""The law as one evaluation used it: every reading noted, kept as plain data, and answered again years later.

:class:`NotingLaw` stands before a law and notes what is asked. :class:`RecordedLaw` answers from such notes; what they
do not hold (a later version of this library may ask for more) is read from the files of today as they were known on
the day of decision, and named in `not_recorded`.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from typing import Any

from equipdecide.parameters import Law, MissingParameter, Reading, Source, Table
from equipdecide.parameters.files import Parameter, RowsFile

ReadingKey = tuple[str, date, float, date | None, tuple[tuple[str, str], ...]]
TableKey = tuple[str, tuple[tuple[str, str], ...]]
Rows = tuple[Mapping[str, object], ...]


def _keys(keys: Mapping[str, str]) -> tuple[tuple[str, str], ...]:
    return tuple(sorted(keys.items()))


@dataclass(frozen=True)
class LawUsed:
    """What an evaluation read: dated values, printed tables and rows, and a hash of all files of that country."""

    country: str
    files_sha256: str
    readings: Mapping[ReadingKey, Reading]
    tables: Mapping[TableKey, Table]
    rows: Mapping[str, Rows]

    @cached_property
    def ids(self) -> tuple[str, ...]:
        """The ids of every parameter and table read, in alphabetical order."""
        return tuple(sorted({key[0] for key in self.readings} | {key[0] for key in self.tables} | set(self.rows)))

    def unsettled(self) -> tuple[Reading, ...]:
        """The readings that rest on memory, an assumption or the figure of another year: one for each parameter."""
        found: dict[str, Reading] = {}
        for reading in self.readings.values():
            if reading.finding():
                found.setdefault(reading.id, reading)
        return tuple(found[id] for id in sorted(found))

    def to_json(self) -> dict[str, Any]:
        """Return plain data: values grouped by parameter, the days they were asked for in one list."""
        groups: dict[str, dict[str, Any]] = {}
        for key in sorted(self.readings, key=str):
            reading, (_, on, asked_rate, as_known_on, _) = self.readings[key], key
            group = groups.setdefault(
                reading.id, {"id": reading.id, "description": reading.description, "unit": reading.unit, "values": []}
            )
            entry = _reading_data(reading, asked_rate, as_known_on)
            alike = next(
                (other for other in group["values"] if {k: v for k, v in other.items() if k != "days"} == entry), None
            )
            if alike is None:
                group["values"].append(entry | {"days": [on]})
            else:
                alike["days"].append(on)
        tables = [_table_data(self.tables[key]) for key in sorted(self.tables)]
        rows = [{"id": id, "rows": [dict(row) for row in self.rows[id]]} for id in sorted(self.rows)]
        return {
            "country": self.country,
            "files_sha256": self.files_sha256,
            "readings": [groups[id] for id in sorted(groups)],
            "tables": tables,
            "rows": rows,
        }

    @classmethod
    def from_json(cls, data: Mapping[str, Any]) -> LawUsed:
        """Return the law that :meth:`to_json` wrote; KeyError, TypeError or ValueError where a part is missing."""
        readings: dict[ReadingKey, Reading] = {}
        for group in data["readings"]:
            for entry in group["values"]:
                for on in entry["days"]:
                    reading = _reading(group, entry, on)
                    readings[
                        (
                            reading.id,
                            on,
                            float(entry.get("asked_index_rate", 0.0)),
                            entry.get("as_known_on"),
                            _keys(reading.keys),
                        )
                    ] = reading
        tables = {(entry["id"], _keys(entry["keys"])): _table(entry) for entry in data["tables"]}
        rows = {entry["id"]: tuple(dict(row) for row in entry["rows"]) for entry in data["rows"]}
        return cls(data["country"], data["files_sha256"], readings, tables, rows)


def _plain_value(value: object) -> object:
    if isinstance(value, tuple):
        return [_plain_value(item) for item in value]
    return value


def _leaf(value: object) -> Any:
    if isinstance(value, list):
        return tuple(_leaf(item) for item in value)
    return float(value) if isinstance(value, int) and not isinstance(value, bool) else value


def _source_data(source: Source) -> dict[str, Any]:
    return {key: value for key in ("title", "place", "read_on", "mark") if (value := getattr(source, key))}


def _source(data: Mapping[str, Any]) -> Source:
    return Source(data["title"], data.get("place", ""), data.get("read_on"), data.get("mark", ""))


def _reading_data(reading: Reading, asked_rate: float, as_known_on: date | None) -> dict[str, Any]:
    entry: dict[str, Any] = {
        "value": _plain_value(reading.value),
        "from": reading.from_date,
        "enacted": reading.enacted,
        "status": reading.status,
        "basis": reading.basis,
        "source": _source_data(reading.source),
    }
    optional = {
        "keys": dict(reading.keys),
        "index_rate": reading.index_rate,
        "asked_index_rate": asked_rate,
        "as_known_on": as_known_on,
        "verified_on": reading.verified_on,
        "note": reading.note,
        "meaning": reading.meaning,
    }
    return entry | {key: value for key, value in optional.items() if value}


def _reading(group: Mapping[str, Any], entry: Mapping[str, Any], on: date) -> Reading:
    return Reading(
        group["id"],
        _leaf(entry["value"]),
        group["unit"],
        on,
        entry["from"],
        entry["enacted"],
        entry["status"],
        entry["basis"],
        _source(entry["source"]),
        entry.get("note", ""),
        group.get("description", ""),
        dict(entry.get("keys", {})),
        float(entry.get("index_rate", 0.0)),
        entry.get("verified_on"),
        entry.get("meaning", ""),
    )


def _table_data(table: Table) -> dict[str, Any]:
    entry = {
        "id": table.id,
        "keys": dict(table.keys),
        "unit": table.unit,
        "status": table.status,
        "source": _source_data(table.source),
        "values": list(table.values),
    }
    return entry | {key: value for key, value in (("description", table.description), ("note", table.note)) if value}


def _table(entry: Mapping[str, Any]) -> Table:
    values = tuple(float(value) for value in entry["values"])
    return Table(
        entry["id"],
        values,
        entry["unit"],
        _source(entry["source"]),
        entry["status"],
        dict(entry["keys"]),
        entry.get("note", ""),
        entry.get("description", ""),
    )


def files_sha256(law: Law) -> str:
    """Return the sha256 of all parameter files of a country: names and bytes, in order of name."""
    if isinstance(law, RecordedLaw):
        return law.used.files_sha256
    if isinstance(law, NotingLaw):
        return files_sha256(law.inner)
    found = hashlib.sha256()
    for path in sorted(path for path in law.root.rglob("*") if path.suffix in (".yaml", ".csv")):
        found.update(path.relative_to(law.root).as_posix().encode() + b"\0" + path.read_bytes() + b"\0")
    return found.hexdigest()


class _Standing(Law):
    """A law that stands before another one and passes on what it does not answer itself."""

    def __init__(self, inner: Law) -> None:
        super().__init__(inner.country, inner.root.parent)
        self.inner, self._read = inner, inner._read

    def parameter(self, id: str) -> Parameter | RowsFile:
        return self.inner.parameter(id)


class NotingLaw(_Standing):
    """Answers as the law behind it does, and notes every answer."""

    def __init__(self, inner: Law) -> None:
        """`inner` is the law that answers."""
        super().__init__(inner)
        self.readings: dict[ReadingKey, Reading] = {}
        self.tables: dict[TableKey, Table] = {}
        self.rows_read: dict[str, Rows] = {}

    def get(
        self, id: str, on: date, *, index_rate: float = 0.0, as_known_on: date | None = None, **keys: str
    ) -> Reading:
        """As :meth:`Law.get`."""
        reading = self.inner.get(id, on, index_rate=index_rate, as_known_on=as_known_on, **keys)
        self.readings[(id, on, index_rate, as_known_on, _keys(keys))] = reading
        return reading

    def table(self, id: str, **keys: str) -> Table:
        """As :meth:`Law.table`."""
        found = self.inner.table(id, **keys)
        self.tables[(id, _keys(keys))] = found
        return found

    def rows(self, id: str) -> Rows:
        """As :meth:`Law.rows`."""
        found = self.inner.rows(id)
        self.rows_read[id] = found
        return found

    def used(self) -> LawUsed:
        """Return all that was read so far."""
        return LawUsed(
            self.country, files_sha256(self.inner), dict(self.readings), dict(self.tables), dict(self.rows_read)
        )


class RecordedLaw(_Standing):
    """The law of a record; the parameters named in `from_today` are those of today instead."""

    def __init__(self, used: LawUsed, today: Law, decided: date, from_today: Iterable[str] = ()) -> None:
        """`decided` is the day by which a value not in the record must have been law."""
        super().__init__(today)
        self.used, self.decided, self.from_today = used, decided, frozenset(from_today)
        self.not_recorded: set[str] = set()

    def get(
        self, id: str, on: date, *, index_rate: float = 0.0, as_known_on: date | None = None, **keys: str
    ) -> Reading:
        """As :meth:`Law.get`."""
        if id in self.from_today:
            return self.inner.get(id, on, index_rate=index_rate, as_known_on=as_known_on, **keys)
        found = self.used.readings.get((id, on, index_rate, as_known_on, _keys(keys)))
        if found is None:
            found = self.inner.get(
                id, on, index_rate=index_rate, as_known_on=min(as_known_on or self.decided, self.decided), **keys
            )
            self.not_recorded.add(id)  # only what is there now: what was missing then was missing then
        return found

    def table(self, id: str, **keys: str) -> Table:
        """As :meth:`Law.table`."""
        found = None if id in self.from_today else self.used.tables.get((id, _keys(keys)))
        if found is None and id not in self.from_today:
            self.not_recorded.add(id)
        return found or self.inner.table(id, **keys)

    def rows(self, id: str) -> Rows:
        """As :meth:`Law.rows`."""
        found = None if id in self.from_today else self.used.rows.get(id)
        if found is None and id not in self.from_today:
            self.not_recorded.add(id)
        return found if found is not None else self.inner.rows(id)


@dataclass(frozen=True)
class Change:
    """One parameter that reads otherwise today: the first day asked about on which it does, and both values."""

    id: str
    description: str
    unit: str
    on: date | None  # None: a printed table or rows, which carry no day
    from_date: date | None  # of today's value
    enacted: date | None
    then: object
    today: object  # None: no longer on file


def changes(used: LawUsed, today: Law) -> tuple[Change, ...]:
    """Return every parameter of a record whose value differs in the law of today, one a parameter."""
    found: dict[str, Change] = {}
    for (id, on, index_rate, as_known_on, keys), then in sorted(
        used.readings.items(), key=lambda item: (item[0][0], item[0][1], str(item[0]))
    ):
        if id in found:
            continue
        try:
            now = today.get(id, on, index_rate=index_rate, as_known_on=as_known_on, **dict(keys))
        except MissingParameter:
            found[id] = Change(id, then.description, then.unit, on, None, None, then.value, None)
            continue
        if now.value != then.value:
            found[id] = Change(id, now.description, now.unit, on, now.from_date, now.enacted, then.value, now.value)
    for (id, keys), table in used.tables.items():
        try:
            values: tuple[float, ...] | None = today.table(id, **dict(keys)).values
        except MissingParameter:
            values = None
        if values != table.values:
            found.setdefault(id, Change(id, table.description, table.unit, None, None, None, table.values, values))
    for id, rows in used.rows.items():
        try:
            now_rows: Rows | None = today.rows(id)
        except MissingParameter:
            now_rows = None
        description = "" if now_rows is None else today.parameter(id).description
        if (change := _rows_changed(id, description or id, rows, now_rows)) is not None:
            found.setdefault(id, change)
    return tuple(found[id] for id in sorted(found))


_SAID_OF_ROWS = frozenset({"status", "source", "mark", "place", "note"})  # where a row was read; no figure


def _rows_changed(id: str, description: str, then: Rows, now: Rows | None) -> Change | None:
    def figures(rows: Rows) -> list[dict[str, object]]:
        return [{key: value for key, value in row.items() if key not in _SAID_OF_ROWS} for row in rows]

    if now is None:
        return Change(id, description, "rows", None, None, None, f"{len(then)} rows", None)
    old, new = figures(then), figures(now)
    gone = [row for row in old if row not in new]
    added = [row for row in new if row not in old]
    if not gone and not added:
        return None
    return Change(id, description, "rows", None, None, None, gone, added)
