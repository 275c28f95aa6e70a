"""Dated parameters read for the tax years of a timeline, later years indexed at a named rate."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace

from equipdecide.calendar import Date
from equipdecide.ledger import Column, Draft
from equipdecide.parameters import Law, MissingParameter, Reading
from equipdecide.parameters.files import Parameter
from equipdecide.plan import Timeline

STATUS = {"single": "single", "joint": "joint", "separate": "separate", "head of household": "head_of_household"}
DEFAULT_INDEXING = 0.025  # a year, for brackets after the last published year: an assumption, said in a finding


def first_year_on_file(law: Law, id: str) -> int:
    """Return the year from which a dated parameter has a value. Raises MissingParameter where there
    is none of that id.
    """
    parameter = law.parameter(id)
    if not isinstance(parameter, Parameter):
        raise MissingParameter(f"{id} is a table, no dated parameter.")
    return parameter.values[0].from_date.year


def say_later_law(draft: Draft, law: Law, readings: Iterable[Reading], decided: Date, says: str) -> None:
    """Post a finding for each figure used that became law only after the day of the decision."""
    for reading in law.later_law(readings, decided):
        draft.common.find("later_law", f"{says}: enacted on {reading.enacted}, after the decision date.", reading.id)


@dataclass(frozen=True, eq=False)
class LawByYear:
    """Reads parameters by full id ("federal/corporate_rate", "oh/income.flat_amount") for each tax year."""

    law: Law
    time: Timeline
    index_rate: float
    decided: Date
    columns: dict[tuple[str, ...], Column] = field(default_factory=dict)  # made once for all alternatives

    def readings(self, id: str, **keys: str) -> list[Reading]:
        """Return one reading a tax year, each as it stands on the year's last day."""
        days = [Date(day.year, 12, 31) for day in self.time.tax.ends]
        return [self._read(id, day, keys) for day in days]

    def _read(self, id: str, day: Date, keys: dict[str, str]) -> Reading:
        """Read one parameter; of a state, whose rows begin late, the first row stands for the years before it."""
        first = Date.min if id.startswith("federal/") else self._first_day(id)
        return self.law.get(id, max(day, first), index_rate=self.index_rate, as_known_on=None, **keys)

    def _first_day(self, id: str) -> Date:
        found = self.law.parameter(id)
        return found.values[0].from_date if isinstance(found, Parameter) else Date.min

    def since(self, draft: Draft, id: str, says: str) -> Column:
        """Return a column of one parameter that began within the tax years: 0 in the years before its first value."""
        key = ("since", id, says)
        if key not in self.columns:
            self.columns[key] = self._since(draft, id, says)
        return self.columns[key]

    def _since(self, draft: Draft, id: str, says: str) -> Column:
        found: list[Reading | None] = []
        for day in self.time.tax.ends:
            try:
                found.append(self.law.get(id, Date(day.year, 12, 31), index_rate=self.index_rate))
            except MissingParameter:
                found.append(None)
        known = [reading for reading in found if reading is not None]
        say_later_law(draft, self.law, known, self.decided, says)
        if len(known) == len(found):
            return draft.legal(known, says, self.time.tax)
        if not known:
            raise MissingParameter(
                f"{id} has no value for any of the years {self.time.first_tax_year} to {self.time.last_tax_year}."
            )
        first = next(k for k, reading in enumerate(found) if reading is not None)
        before = [replace(known[0], value=0.0)] * first
        return draft.legal([*before, *known], says, self.time.tax)

    def figure(self, draft: Draft, id: str, says: str, **keys: str) -> Column:
        """Return a column of one parameter over the tax years."""
        key = (id, says, *keys.values())
        if key not in self.columns:
            readings = self.readings(id, **keys)
            say_later_law(draft, self.law, readings, self.decided, says)
            self.columns[key] = draft.legal(readings, says, self.time.tax)
        return self.columns[key]

    def brackets(self, draft: Draft, id: str, says: str, status: str) -> tuple[Column, Column]:
        """Return wide columns of thresholds and rates over the tax years."""
        thresholds, shares = (id, says, status, "thresholds"), (id, says, status, "rates")
        if thresholds in self.columns:
            return self.columns[thresholds], self.columns[shares]
        readings = self.readings(id, status=status)
        say_later_law(draft, self.law, readings, self.decided, says)
        rows = [reading.brackets for reading in readings]
        width = max(len(row) for row in rows)
        # a year with fewer brackets keeps its top rate on the spare rows
        full = [[*row, *[row[-1]] * (width - len(row))] for row in rows]
        axis, last = self.time.tax, readings[-1]
        over = draft.legal_wide([[pair[0] for pair in row] for row in full], last, "USD", f"{says}: thresholds", axis)
        rate = draft.legal_wide([[pair[1] for pair in row] for row in full], last, "1", f"{says}: rates", axis)
        self.columns[thresholds], self.columns[shares] = over, rate
        return over, rate
