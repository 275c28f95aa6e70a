"""Read one parameter file and report every fault in it with its line; nothing is taken without source and status."""

import csv
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from types import MappingProxyType

import yaml

from equipdecide.parameters.faults import Fault, ParameterFileError
from equipdecide.parameters.values import UNITS, Leaf, Source

STATUSES = ("read", "memory", "assumption")
MARKS = ("secondary", "computed", "disagree")
AFTER_LAST = ("hold", "index", "error")
_CELLS = {"text": "text", "integer": "an integer", "number": "a number", "date": "a date, written as 2026-01-31"}
ANY = "any"
"""The option of a key that stands for every option not named beside it."""

_PARAMETER_KEYS = ("description", "unit", "after_last", "verified_on", "values")
_PARAMETER_OPTIONS = ("by", "choices", "index_rounding", "open_ended", "note")
_VALUE_KEYS = ("from", "value", "status", "source")
_VALUE_OPTIONS = ("enacted", "note")
_ROWS_KEYS = ("description", "verified_on", "columns")
_ROWS_OPTIONS = ("source", "status", "table", "note")
# The C parser is several times faster; both keep every scalar as text with its line.
_LOADER: type[yaml.BaseLoader] = getattr(yaml, "CBaseLoader", yaml.BaseLoader)
_NUMBER = re.compile(r"[-+]?\d+(\.\d+)?")

Value = Leaf | Mapping[str, "Value"]


@dataclass(frozen=True)
class Dated:
    """One value with the day it runs from and the day it became law."""

    from_date: date
    enacted: date
    value: Value
    status: str
    source: Source
    note: str


@dataclass(frozen=True)
class Parameter:
    """A parameter as its file gives it; `values` in the order of their days."""

    id: str
    description: str
    unit: str
    after_last: str
    verified_on: date
    by: tuple[str, ...]
    rounding: tuple[float, str] | None
    open_ended: bool
    choices: Mapping[str, str]
    note: str
    values: tuple[Dated, ...]


@dataclass(frozen=True)
class RowsFile:
    """A table selected by several keys: typed rows, and how a printed table is taken out of them."""

    id: str
    description: str
    verified_on: date
    columns: Mapping[str, str]
    rows: tuple[Mapping[str, object], ...]
    table_keys: tuple[str, ...]
    order: str
    figure: str
    unit: str
    source: Source | None
    note: str


class _Reader:
    """Walks one file and gathers its faults."""

    def __init__(self, path: Path, shown: str) -> None:
        self.path, self.shown, self.faults = path, shown, list[Fault]()

    def fault(self, line: int, text: str, file: str | None = None) -> None:
        self.faults.append(Fault(file or self.shown, line, text))

    def at(self, node: yaml.Node, text: str) -> None:
        self.fault(node.start_mark.line + 1, text)

    def compose(self) -> yaml.Node | None:
        try:
            node = yaml.compose(self.path.read_text(encoding="utf-8"), Loader=_LOADER)
        except yaml.MarkedYAMLError as error:
            mark = error.problem_mark or error.context_mark
            self.fault(mark.line + 1 if mark else 1, f"this is not readable as YAML: {error.problem}")
            return None
        except (yaml.YAMLError, UnicodeDecodeError) as error:
            self.fault(1, f"this is not readable as YAML text: {error}")
            return None
        if node is None:
            self.fault(1, "the file is empty. Give it a parameter or remove it.")
        return node

    def pairs(self, node: yaml.Node, what: str) -> dict[str, yaml.Node]:
        """Key and value of a mapping; a repeated key and anything but a mapping are faults."""
        if not isinstance(node, yaml.MappingNode):
            self.at(node, f"{what} must be written as `key: value` lines.")
            return {}
        found: dict[str, yaml.Node] = {}
        for key, value in node.value:
            name = str(key.value)
            if name in found:
                self.at(key, f"{what} gives `{name}` twice. Keep one.")
            found.setdefault(name, value)
        return found

    def fields(
        self, node: yaml.Node, what: str, needed: tuple[str, ...], others: tuple[str, ...] = ()
    ) -> dict[str, yaml.Node]:
        """As `pairs`, with the allowed keys: an unknown one and a missing one are faults."""
        found = self.pairs(node, what)
        if not isinstance(node, yaml.MappingNode):
            return {}
        for key, _ in node.value:
            if key.value not in needed + others:
                self.at(key, f"{what} has an unknown key `{key.value}`. Known keys: {', '.join(needed + others)}.")
        for name in needed:
            if name not in found:
                self.at(node, f"{what} has no `{name}`. Add it.")
        return {name: value for name, value in found.items() if name in needed + others}

    def text(self, node: yaml.Node | None, what: str) -> str:
        if node is None:
            return ""
        if not isinstance(node, yaml.ScalarNode) or not node.value.strip():
            self.at(node, f"{what} must be words on one line.")
            return ""
        return " ".join(str(node.value).split())

    def one_of(self, node: yaml.Node | None, what: str, allowed: tuple[str, ...]) -> str:
        said = self.text(node, what)
        if node is not None and said and said not in allowed:
            self.at(node, f"{what} is `{said}`. It must be one of: {', '.join(allowed)}.")
        return said

    def day(self, node: yaml.Node | None, what: str) -> date:
        said = self.text(node, what)
        try:
            return date.fromisoformat(said)
        except ValueError:
            if node is not None and said:
                self.at(node, f"{what} is `{said}`. Write a day as 2026-01-31.")
            return date.min

    def number(self, node: yaml.Node, what: str) -> float:
        said = str(node.value).strip() if isinstance(node, yaml.ScalarNode) else ""
        if not _NUMBER.fullmatch(said):
            self.at(node, f"{what} is `{said}`. Write a plain number such as 2500000 or 0.21, without signs or commas.")
            return 0.0
        return float(said)

    def names(self, node: yaml.Node | None, what: str) -> tuple[str, ...]:
        if node is None:
            return ()
        if not isinstance(node, yaml.SequenceNode):
            self.at(node, f"{what} must be a list of names in square brackets.")
            return ()
        return tuple(self.text(item, what) for item in node.value)

    def source(self, node: yaml.Node | None, status: str) -> Source:
        """A source: a title always; the day it was read wherever the status says it was read."""
        if node is None:
            return Source("")
        given = self.fields(node, "source", ("title",), ("place", "read_on", "mark"))
        if status == "read" and "read_on" not in given:
            self.at(node, "source has status read and no `read_on`. Give the day it was read.")
        return Source(
            self.text(given.get("title"), "source.title"),
            self.text(given.get("place"), "source.place"),
            self.day(given["read_on"], "source.read_on") if "read_on" in given else None,
            self.one_of(given.get("mark"), "source.mark", MARKS),
        )

    def leaf(self, node: yaml.Node, unit: str, choices: Mapping[str, str]) -> Leaf:
        if unit == "choice":
            return self.one_of(node, "value", tuple(choices))
        if unit == "date":
            return self.day(node, "value")
        if unit == "brackets":
            return self.brackets(node)
        if isinstance(node, yaml.SequenceNode):
            return tuple(self.amount(item, unit) for item in node.value)
        return self.amount(node, unit)

    def amount(self, node: yaml.Node, unit: str) -> float:
        number = self.number(node, "value")
        if unit in ("rate", "share") and not 0 <= number <= 2:
            self.at(node, f"value is {number:g}. A {unit} is written as a fraction: 0.21, not 21.")
        elif number < 0:
            self.at(node, f"value is {number:g}. Amounts of law are not negative.")
        return number

    def brackets(self, node: yaml.Node) -> Leaf:
        if not isinstance(node, yaml.SequenceNode) or not node.value:
            self.at(node, "value must be a list of brackets: [{over: 0, rate: 0.10}, ...].")
            return ()
        found: list[tuple[float, float]] = []
        for item in node.value:
            given = self.fields(item, "bracket", ("over", "rate"))
            if len(given) < 2:
                continue
            over, rate = self.number(given["over"], "over"), self.amount(given["rate"], "rate")
            if not found and over != 0:
                self.at(item, f"the first bracket starts over {over:g}. It must start over 0.")
            if found and over <= found[-1][0]:
                self.at(item, f"the bracket over {over:g} must start above the one before it ({found[-1][0]:g}).")
            found.append((over, rate))
        return tuple(found)

    def value(self, node: yaml.Node, by: tuple[str, ...], unit: str, choices: Mapping[str, str]) -> Value:
        if not by:
            return self.leaf(node, unit, choices)
        if not isinstance(node, yaml.MappingNode):
            self.at(node, f"value must name its figure for each {by[0]}: `{{single: ..., joint: ...}}`.")
            return {}
        given = self.pairs(node, f"value by {by[0]}")
        if not given:
            self.at(node, f"value names no {by[0]}. Give at least one, or `any`.")
        return {name: self.value(item, by[1:], unit, choices) for name, item in given.items()}

    def dated(self, node: yaml.Node, by: tuple[str, ...], unit: str, choices: Mapping[str, str]) -> Dated:
        given = self.fields(node, "value", _VALUE_KEYS, _VALUE_OPTIONS)
        start = self.day(given.get("from"), "from")
        enacted = self.day(given["enacted"], "enacted") if "enacted" in given else start
        status = self.one_of(given.get("status"), "status", STATUSES)
        value: Value = self.value(given["value"], by, unit, choices) if "value" in given else 0.0
        source, note = self.source(given.get("source"), status), self.text(given.get("note"), "note")
        return Dated(start, enacted, value, status, source, note)

    def parameter(self, node: yaml.Node, id: str) -> Parameter:
        name = id.rpartition("/")[2]
        given = self.fields(node, name, _PARAMETER_KEYS, _PARAMETER_OPTIONS)
        unit = self.one_of(given.get("unit"), f"{name}.unit", tuple(UNITS))
        after_last = self.one_of(given.get("after_last"), f"{name}.after_last", AFTER_LAST)
        by = self.names(given.get("by"), f"{name}.by")
        choices = {
            key: self.text(item, f"{name}.choices")
            for key, item in (self.pairs(given["choices"], f"{name}.choices") if "choices" in given else {}).items()
        }
        if (unit == "choice") != bool(choices) and "unit" in given:
            self.at(node, f"{name}: `choices` goes with unit choice, and only with it.")
        if after_last == "index" and unit not in ("USD", "brackets"):
            self.at(given["after_last"], f"{name} is {unit}. Only dollars and brackets can be indexed.")
        open_ended = self.one_of(given.get("open_ended"), f"{name}.open_ended", ("true", "false")) == "true"
        if open_ended and after_last != "hold":
            self.at(given["open_ended"], f"{name}: law without an end is held, so after_last must be hold.")
        values: list[Dated] = []
        listed = given.get("values")
        if isinstance(listed, yaml.SequenceNode) and listed.value:
            seen = set[tuple[date, date]]()
            for item in listed.value:
                row = self.dated(item, by, unit, choices)
                if (row.from_date, row.enacted) in seen:
                    self.at(item, f"{name} has two values from {row.from_date} enacted {row.enacted}. Keep one.")
                seen.add((row.from_date, row.enacted))
                values.append(row)
        elif listed is not None:
            self.at(listed, f"{name}.values must be a list with at least one dated value.")
        return Parameter(
            id,
            self.text(given.get("description"), f"{name}.description"),
            unit,
            after_last,
            self.day(given.get("verified_on"), f"{name}.verified_on"),
            by,
            self.rounding(given.get("index_rounding"), name),
            open_ended,
            choices,
            self.text(given.get("note"), f"{name}.note"),
            tuple(sorted(values, key=lambda row: (row.from_date, row.enacted))),
        )

    def rounding(self, node: yaml.Node | None, name: str) -> tuple[float, str] | None:
        if node is None:
            return None
        given = self.fields(node, f"{name}.index_rounding", ("step", "way"))
        if len(given) < 2:
            return None
        step = self.number(given["step"], "step")
        if step <= 0:
            self.at(given["step"], "step must be a number of dollars above 0.")
        return step, self.one_of(given["way"], "way", ("nearest", "down"))

    def rows(self, node: yaml.Node, id: str) -> RowsFile:
        name = id.rpartition("/")[2]
        given = self.fields(node, name, _ROWS_KEYS, _ROWS_OPTIONS)
        columns = {
            key: self.one_of(item, f"columns.{key}", tuple(kind + end for kind in _CELLS for end in ("", "?")))
            for key, item in (self.pairs(given["columns"], "columns") if "columns" in given else {}).items()
        }
        status = self.one_of(given.get("status"), "status", STATUSES)
        source = self.source(given["source"], status) if "source" in given else None
        for word, there in (("status", status), ("source", source)):
            if not there and word not in columns:
                self.at(node, f"{name} has no `{word}`: give it for the whole file, or as a column of every row.")
        table = self.fields(given["table"], "table", ("keys", "order", "figure", "unit")) if "table" in given else {}
        keys = self.names(table.get("keys"), "table.keys")
        order, figure = self.text(table.get("order"), "order"), self.text(table.get("figure"), "figure")
        for column in (*keys, *((order, figure) if table else ())):
            if column not in columns:
                self.at(given["table"], f"table names `{column}`, which is not a column.")
        return RowsFile(
            id,
            self.text(given.get("description"), "description"),
            self.day(given.get("verified_on"), "verified_on"),
            columns,
            tuple(self.csv_rows(columns, status, source)),
            keys,
            order,
            figure,
            self.one_of(table.get("unit"), "table.unit", tuple(UNITS)),
            source,
            self.text(given.get("note"), "note"),
        )

    def csv_rows(
        self, columns: Mapping[str, str], status: str, source: Source | None
    ) -> Iterator[Mapping[str, object]]:
        path = self.path.with_suffix(".csv")
        shown = str(Path(self.shown).with_suffix(".csv"))
        if not path.is_file():
            self.fault(1, f"this file describes columns, and its rows should stand beside it in {shown}.")
            return
        with path.open(encoding="utf-8", newline="") as stream:
            lines = csv.reader(stream)
            header = next(lines, [])
            if header != list(columns):
                self.fault(1, f"the columns are {', '.join(header)}; expected {', '.join(columns)}.", shown)
                return
            for cells in lines:
                if len(cells) != len(header):
                    self.fault(lines.line_num, f"this row has {len(cells)} cells; the header has {len(header)}.", shown)
                    continue
                row: dict[str, object] = {"status": status, "source": str(source or ""), "mark": ""}
                if source is not None:
                    row["mark"] = source.mark
                for column, cell in zip(header, cells, strict=True):
                    row[column] = self.cell(column, columns[column], cell, lines.line_num, shown)
                if row["status"] and row["status"] not in STATUSES:
                    self.fault(
                        lines.line_num, f"status is `{row['status']}`. It must be one of: {', '.join(STATUSES)}.", shown
                    )
                if row["mark"] and row["mark"] not in MARKS:
                    self.fault(
                        lines.line_num, f"mark is `{row['mark']}`. It must be one of: {', '.join(MARKS)}.", shown
                    )
                # What was read is shared by all who ask for it, so nobody may change it.
                yield MappingProxyType(row)

    def cell(self, column: str, kind: str, cell: str, line: int, shown: str) -> object:
        said = cell.strip()
        if not said:
            if not kind.endswith("?"):
                self.fault(line, f"`{column}` is empty. Fill it in.", shown)
            return "" if kind.startswith("text") else None
        try:
            if kind.startswith("date"):
                return date.fromisoformat(said)
            if kind.startswith("text"):
                return said
            if not _NUMBER.fullmatch(said):
                raise ValueError(said)
            return int(said) if kind.startswith("integer") else float(said)
        except ValueError:
            self.fault(line, f"`{column}` is `{said}`. Its column holds {_CELLS[kind.rstrip('?')]}.", shown)
            return None


def read_file(path: Path, id: str, shown: str) -> dict[str, Parameter | RowsFile]:
    """Read one YAML file and, where it describes columns, the CSV beside it.

    Parameters: `path` of the YAML file; `id` it stands for; `shown`, the name of the file in messages.
    Returns the parameters by id: one for a file that holds one, `id.name` for each member of a family.
    Raises ParameterFileError with every fault of the file.
    """
    reader = _Reader(path, shown)
    found: dict[str, Parameter | RowsFile] = {}
    node = reader.compose()
    if isinstance(node, yaml.MappingNode):
        keys = {str(key.value) for key, _ in node.value}
        if "columns" in keys:
            found[id] = reader.rows(node, id)
        elif keys & {"values", "unit", "description"}:
            found[id] = reader.parameter(node, id)
        else:
            for name, member in reader.pairs(node, shown).items():
                found[f"{id}.{name}"] = reader.parameter(member, f"{id}.{name}")
    elif node is not None:
        reader.at(node, "the file must hold a parameter, or named parameters, as `key: value` lines.")
    if reader.faults:
        raise ParameterFileError(reader.faults)
    return found
