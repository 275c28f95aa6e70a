"""The law of one country as its parameter files give it: readings by day, rows by keys, printed tables."""

import math
from collections.abc import Iterable, Iterator, Mapping
from datetime import date
from functools import lru_cache
from pathlib import Path

from equipdecide.parameters.faults import Fault, MissingParameter, ParameterFileError
from equipdecide.parameters.files import ANY, Dated, Parameter, RowsFile, Value, read_file
from equipdecide.parameters.values import UNSETTLED, Leaf, Reading, Source, Table

SHIPPED = Path(__file__).parent


class Law:
    """Dated parameters under one folder; a file is read when one of its parameters is first asked for."""

    def __init__(self, country: str, folder: Path) -> None:
        """`folder` [path] holds one folder for each country; MissingParameter when `country` is not among them."""
        self.country, self.root = country, folder / country
        if not self.root.is_dir():
            raise MissingParameter(f"There is no folder of parameters for `{country}` in {folder}.")
        self._read: dict[str, dict[str, Parameter | RowsFile]] = {}
        self._readings: dict[tuple[object, ...], Reading] = {}  # what was asked before, answered with the same object

    def get(
        self, id: str, on: date, *, index_rate: float = 0.0, as_known_on: date | None = None, **keys: str
    ) -> Reading:
        """Read one parameter as it stands on a day.

        Parameters: `id` such as "federal/section_179_limit" or "federal/income_tax.brackets"; `on`, any day of the
        tax year or the day the rule selects by; `index_rate` [fraction a year] by which dollars are raised past the
        last value; `as_known_on` leaves out what was enacted after that day; `keys` choose within a value given for
        several (status="joint").
        Among the values that have begun, the one with the latest `from` is taken and, of those from the same day,
        the one enacted last.
        Raises MissingParameter for an unknown id, a day before the first value, keys that do not fit, or a day past
        the last value of a parameter for which a guess would mislead.
        """
        asked = (id, on, index_rate, as_known_on, *sorted(keys.items()))
        if asked not in self._readings:
            self._readings[asked] = self._get(id, on, index_rate, as_known_on, keys)
        return self._readings[asked]

    def _get(self, id: str, on: date, index_rate: float, as_known_on: date | None, keys: Mapping[str, str]) -> Reading:
        parameter = self._parameter(id)
        known = [row for row in parameter.values if as_known_on is None or row.enacted <= as_known_on]
        begun = [row for row in known if row.from_date <= on]
        if not begun:
            first = f"starts on {known[0].from_date}" if known else f"was not yet law on {as_known_on}"
            raise MissingParameter(f"{self.country}/{id} has no value for {on}: it {first}. Add a dated value.")
        row = begun[-1]
        value = _choose(row.value, parameter, keys)
        basis = "in force"
        if row is known[-1]:
            basis = self._past_last(parameter, row, on, as_known_on)
        if basis == "indexed":
            value = _indexed(value, parameter, (1 + index_rate) ** (on.year - row.from_date.year))
        return Reading(
            id,
            value,
            parameter.unit,
            on,
            row.from_date,
            row.enacted,
            row.status,
            basis,
            row.source,
            row.note or parameter.note,
            parameter.description,
            dict(keys),
            index_rate if basis == "indexed" else 0.0,
            parameter.verified_on,
            parameter.choices.get(str(value), ""),
        )

    def _past_last(self, parameter: Parameter, row: Dated, on: date, as_known_on: date | None) -> str:
        """Whether the last value on file still speaks for the day asked about."""
        seen = parameter.verified_on if as_known_on is None else min(parameter.verified_on, as_known_on)
        # A figure set year by year says nothing of the next one; law that is held was last seen to stand on `seen`.
        speaks_until = row.from_date.year if parameter.after_last == "index" else max(row.from_date.year, seen.year)
        if on.year <= speaks_until or parameter.open_ended:
            return "in force"
        if parameter.after_last == "error":
            raise MissingParameter(
                f"{self.country}/{parameter.id} has no value for {on}: the last one on file is of {row.from_date}, and "
                "a guess would mislead. Add a dated value with its source."
            )
        return "held" if parameter.after_last == "hold" else "indexed"

    def later_law(self, readings: Iterable[Reading], decided: date) -> tuple[Reading, ...]:
        """Pick from the readings used those whose value became law only after the day of a decision."""
        return tuple(reading for reading in readings if reading.enacted_after(decided))

    def rows(self, id: str) -> tuple[Mapping[str, object], ...]:
        """Return the rows of a table selected by several keys.

        Cells are text (empty when absent), int, float or date (None when absent); every row has `status`, `source`
        and `mark`. Raises MissingParameter when `id` is not such a table.
        """
        return self._rows_file(id).rows

    def row_finding(self, id: str, row: Mapping[str, object]) -> str | None:
        """Say in one plain sentence that a row of such a table rests on memory or assumption; None when it was read."""
        file, status = self._rows_file(id), str(row["status"])
        if status not in UNSETTLED:
            return None
        named = [str(row[column]) for column in file.columns if row[column] not in ("", None)][:3]
        return f"{file.description} ({', '.join(named)}): the row is {UNSETTLED[status]}."

    def columns(self, id: str) -> Mapping[str, str]:
        """Return the columns of such a table with their types, `?` marking those that may be empty."""
        return self._rows_file(id).columns

    def table(self, id: str, **keys: str) -> Table:
        """Take one printed table out of a file of them: "federal/macrs", convention="half-year", method="200DB",
        period="7".

        Returns its figures in the order of the years, as printed and in the printed unit (percent).
        Raises MissingParameter when no table answers to the keys.
        """
        file = self._rows_file(id)
        if set(keys) != set(file.table_keys) or not file.table_keys:
            wanted = ", ".join(file.table_keys) or "nothing: it holds rows, not printed tables"
            raise MissingParameter(f"{self.country}/{id} is chosen by {wanted}; given {', '.join(keys) or 'nothing'}.")
        found = sorted(
            (row for row in file.rows if all(row[key] == option for key, option in keys.items())),
            key=lambda row: int(str(row[file.order])),
        )
        if not found:
            asked = ", ".join(f"{key} {option}" for key, option in keys.items())
            raise MissingParameter(f"{self.country}/{id} has no table for {asked}.")
        source = file.source or Source(str(found[0]["source"]), mark=str(found[0]["mark"]))
        place = str(found[0].get("place") or source.place)
        return Table(
            id,
            tuple(float(str(row[file.figure])) for row in found),
            file.unit,
            Source(source.title, place, source.read_on, source.mark),
            str(found[0]["status"]),
            dict(keys),
            file.note,
            file.description,
        )

    def states(self) -> tuple[str, ...]:
        """Return the states that have a folder of their own, in alphabetical order ("ca", "co", ...)."""
        return tuple(
            sorted(folder.name for folder in self.root.iterdir() if folder.is_dir() and folder.name != "federal")
        )

    def ids(self) -> tuple[str, ...]:
        """Return the ids of every parameter and table on file; reads all files and raises all their faults."""
        self.check()
        return tuple(sorted(id for file in self._read.values() for id in file))

    def check(self) -> None:
        """Read every file; raises ParameterFileError with the faults of all of them together."""
        faults: list[Fault] = []
        for stem in self._stems():
            try:
                self._file(stem)
            except ParameterFileError as error:
                faults += error.faults
        described = {self.root / f"{stem}.yaml" for stem in self._stems()}
        for path in self.root.rglob("*.csv"):
            if path.with_suffix(".yaml") not in described:
                shown = path.relative_to(self.root.parent).as_posix()
                faults.append(Fault(shown, 1, "these rows have no .yaml file beside them to say what they are."))
        if faults:
            raise ParameterFileError(faults)

    def parameter(self, id: str) -> Parameter | RowsFile:
        """Return a parameter whole, as its file gives it: all its dated values, or its rows."""
        stem = id.partition(".")[0]
        # An id is never a way out of the folder; what was read before stands in it.
        if stem not in self._read and (".." in id or not (self.root / f"{stem}.yaml").is_file()):
            raise MissingParameter(f"There is no parameter `{id}` for {self.country}: no file {stem}.yaml.")
        file = self._file(stem)
        if id not in file:
            raise MissingParameter(f"There is no parameter `{id}` for {self.country}; {stem} has {', '.join(file)}.")
        return file[id]

    def _parameter(self, id: str) -> Parameter:
        found = self.parameter(id)
        if isinstance(found, RowsFile):
            raise MissingParameter(f"{self.country}/{id} is a table: ask for its rows.")
        return found

    def _rows_file(self, id: str) -> RowsFile:
        found = self.parameter(id)
        if isinstance(found, Parameter):
            raise MissingParameter(f"{self.country}/{id} is a dated value, not a table.")
        return found

    def _stems(self) -> Iterator[str]:
        for path in sorted(self.root.rglob("*.yaml")):
            yield path.relative_to(self.root).with_suffix("").as_posix()

    def _file(self, stem: str) -> dict[str, Parameter | RowsFile]:
        if stem not in self._read:
            self._read[stem] = read_file(self.root / f"{stem}.yaml", stem, f"{self.country}/{stem}.yaml")
        return self._read[stem]


def _choose(value: Value, parameter: Parameter, keys: Mapping[str, str]) -> Leaf:
    if set(keys) != set(parameter.by):
        wanted = ", ".join(parameter.by) or "no key"
        raise MissingParameter(f"{parameter.id} is chosen by {wanted}; given {', '.join(keys) or 'nothing'}.")
    for name in parameter.by:
        assert isinstance(value, Mapping)  # the reader admits no other shape under `by`
        if keys[name] not in value and ANY not in value:
            raise MissingParameter(f"{parameter.id} has no {name} `{keys[name]}`; it has {', '.join(value)}.")
        value = value[keys[name] if keys[name] in value else ANY]
    assert not isinstance(value, Mapping)
    return value


def _indexed(value: Leaf, parameter: Parameter, factor: float) -> Leaf:
    """Raise dollars by a factor, rounded as the law rounds where the file says how, else to whole dollars."""
    step, way = parameter.rounding or (1.0, "nearest")

    def raised(dollars: float) -> float:
        # The small term keeps a product such as 2,560,000 x 1.00 from falling a step on account of binary fractions.
        return step * math.floor(dollars * factor / step + (0.5 if way == "nearest" else 0.0) + 1e-9)

    if isinstance(value, float):
        return raised(value)
    if isinstance(value, tuple) and parameter.unit == "brackets":
        return tuple((raised(pair[0]), pair[1]) for pair in value if isinstance(pair, tuple))
    if isinstance(value, tuple):
        return tuple(raised(dollars) for dollars in value if isinstance(dollars, float))
    return value


@lru_cache(maxsize=16)
def load(country: str = "us", folder: Path | None = None) -> Law:
    """Return the law of a country.

    `folder` [path] holds one folder for each country and stands in for the files shipped with the package; a copy of
    them with rows added is how a tax year is added. Raises MissingParameter when it has no such country.
    The same Law is returned each time, with what it has read; `Law(country, folder)` reads afresh.
    """
    return Law(country, folder or SHIPPED)
