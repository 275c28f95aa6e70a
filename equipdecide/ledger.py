"""Columns, workings, dated lines and the frozen ledger of one alternative.

Every figure of a decision is a column with exactly one definition: *given* (an input of the scenario, a dated
parameter or a choice), *formula* (only text, see :mod:`equipdecide.formula`) or *computed* (a named function with a
certificate: a formula column that must be zero). Columns remember what they were made from, so a ledger is at once a
table of figures, an explanation, a spreadsheet and a program: :class:`equipdecide.tape.Tape` runs the same columns
again for many trials. Values are time first, shape (periods, trials or 1); wide columns (brackets) have shape (width,
periods, 1). Money is float64 in the scenario's currency, unrounded unless a formula says ``cents``. Positive is money
to the purse.
"""

from __future__ import annotations

import keyword
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from math import isfinite
from operator import attrgetter
from typing import Literal, Protocol

import numpy as np

from equipdecide.calendar import ONE, Axis, Date, FloatArray
from equipdecide.formula import Evaluator, Formula, FormulaError, parse

Kind = Literal["given", "formula", "computed"]
Character = Literal[
    "business", "one-off", "interest received", "section 179", "recapture", "section 1231"
]  # how the returns treat income
Group = Literal["operating", "investment", "payoff", "borrowing", "debt service", "tax", "between purses"]
CERTIFICATE_TOLERANCE = 0.005


class Breach(AssertionError):
    """An invariant of the engine failed: our bug, never the user's."""


@dataclass(frozen=True)
class Finding:
    """Something the reader must know. `about` is the path of an input, the id of a parameter or the name of a step."""

    code: str
    text: str
    about: str = ""
    weight: Literal["note", "warning"] = "note"


@dataclass(frozen=True)
class Origin:
    """Where a given column comes from.

    `kind` is ``input`` (ref: path in the scenario), ``law`` (ref: parameter id), ``choice`` (a date, an election, a
    route: structure) or ``calendar``. `source` says who gave it or where it was read; `status` is the mark of a
    parameter (read, memory, assumption) or the ``from`` of an input.
    """

    kind: Literal["input", "law", "choice", "calendar"]
    ref: str
    source: str = ""
    status: str = ""


class Given(Protocol):
    """What a numeric field of a scenario must offer to become a column (see ``scenario.amounts.Amount``)."""

    @property
    def path(self) -> str: ...
    @property
    def likely(self) -> float: ...
    @property
    def unit(self) -> str: ...
    @property
    def given_by(self) -> str: ...


class DatedFigure(Protocol):
    """What a dated parameter must offer to become a column (see ``parameters.Reading``)."""

    @property
    def id(self) -> str: ...
    @property
    def value(self) -> object: ...
    @property
    def unit(self) -> str: ...
    @property
    def status(self) -> str: ...
    @property
    def source(self) -> object: ...
    def finding(self) -> str | None: ...


@dataclass(eq=False, slots=True, repr=False)
class Column:
    """One named figure over the periods of an axis. `args` are the columns it was made from, in `formula.names` order.

    Nothing sets a column after it is made; it is not declared frozen because that triples the cost of making thousands.
    """

    name: str
    working: str
    axis: Axis
    values: FloatArray
    unit: str
    says: str
    kind: Kind
    rule: str
    origin: Origin | None = None
    formula: Formula | None = None
    args: tuple[Column, ...] = ()
    run: Evaluator | None = None
    certificate: Column | None = None

    def __repr__(self) -> str:
        return f"<Column {self.full_name} [{self.unit}], {self.kind}, {len(self.axis)} x {self.values.shape[-1]}>"

    @property
    def full_name(self) -> str:
        """``working.name``, by which :meth:`Ledger.column` finds it."""
        return f"{self.working}.{self.name}"

    @property
    def wide(self) -> bool:
        """Whether the column holds several figures a period (the thresholds of brackets)."""
        return self.values.ndim == 3

    def moved(self, values: FloatArray, args: tuple[Column, ...] = ()) -> Column:
        """Return this column at other values, made from other `args`."""
        return Column(
            self.name,
            self.working,
            self.axis,
            values,
            self.unit,
            self.says,
            self.kind,
            self.rule,
            self.origin,
            self.formula,
            args,
            self.run,
            self.certificate,
        )

    def figure(self, row: int = 0, trial: int = 0) -> float:
        """Return one value as a plain float."""
        rows, trials = self.values.shape[-2:]
        return float(self.values[row if rows > 1 else 0, trial if trials > 1 else 0])

    def per_row(self, trial: int = 0) -> FloatArray:
        """Return the values of one trial over the axis, shape (periods,)."""
        values = self.values[:, trial if self.values.shape[1] > 1 else 0]
        rows = len(self.axis)
        return values if len(values) == rows else np.broadcast_to(values, (rows,))


@dataclass(frozen=True)
class Line:
    """A dated cash flow of one purse. `column` holds the amounts; `dates` their days, one a row.

    Without dates each amount is spread over the days of its own period. Positive is money to the purse.
    """

    name: str
    purse: str
    column: Column
    group: Group
    rule: str
    dates: tuple[Date, ...] | None = None

    def amounts(self, trial: int = 0) -> FloatArray:
        """Return the amounts of one trial, shape (rows,) [currency]."""
        return self.column.per_row(trial)


@dataclass(frozen=True)
class IncomeItem:
    """A column that the returns count as income (`sign` 1) or as a deduction (-1), in every book or in one."""

    name: str
    column: Column
    sign: int
    book: str = ""
    character: Character = "business"


_axis_of, _values_of = attrgetter("axis"), attrgetter("values")  # quicker than a loop, and there are thousands


def _same(values: FloatArray) -> FloatArray:
    return values


@dataclass(eq=False, repr=False)
class Working:
    """A table behind some lines: named columns, most of them over one axis. Made by a :class:`Draft`."""

    name: str
    axis: Axis
    says: str
    rule: str
    draft: Draft | None  # None once the ledgers are sealed: nothing is posted after
    columns: dict[str, Column] = field(default_factory=dict)

    def __repr__(self) -> str:
        return f"<Working {self.name}: {', '.join(self.columns)}>"

    def __getitem__(self, name: str) -> Column:
        try:
            return self.columns[name]
        except KeyError:
            raise Breach(f"working {self.name} has no column {name}; it has {', '.join(self.columns)}") from None

    def __contains__(self, name: str) -> bool:
        return name in self.columns

    def __iter__(self) -> Iterator[Column]:
        return iter(self.columns.values())

    def _keep(self, column: Column) -> Column:
        if column.name in self.columns:
            raise Breach(f"column {column.full_name} is defined twice")
        self.columns[column.name] = column
        if self.draft is None:
            raise Breach(f"column {column.full_name} is posted to a sealed ledger")
        self.draft.posted.append(column)
        return column

    def given(
        self,
        name: str,
        values: float | Sequence[float] | FloatArray,
        unit: str,
        says: str,
        origin: Origin,
        axis: Axis | None = None,
    ) -> Column:
        """Add a given column: one figure, or one a period of the axis."""
        array: FloatArray = np.asarray(values, dtype=float)
        if array.ndim < 2:
            array = array.reshape(-1, 1)
        rows = array.shape[-2]
        if axis is None:
            axis = self.axis if rows > 1 and rows == len(self.axis) else ONE
        if rows not in (1, len(axis)):
            raise Breach(f"column {self.name}.{name}: {rows} values for {len(axis)} periods")
        return self._keep(Column(name, self.name, axis, array, unit, says, "given", self.rule, origin))

    def formula(
        self, name: str, text: str, unit: str, says: str, axis: Axis | None = None, /, **uses: Column | float
    ) -> Column:
        """Add a formula column. Names in `text` are columns of this working, or those given in `uses`.

        A plain number in `uses` becomes a given column, one for all that use the same number under the same name.
        """
        formula = parse(text, None if name in uses else name)
        axis = self.axis if axis is None else axis
        args: list[Column] = []
        taken = 0
        for used in formula.others:
            found = uses.get(used)
            if found is None:
                found = self.columns.get(used)
                if found is None:
                    raise FormulaError(f"{self.name}.{name}: no column '{used}' for '{text}'")
            else:
                taken += 1
                if not isinstance(found, Column):
                    assert self.draft is not None  # kept open by whoever posts
                    found = self.draft.constant(used, float(found))
            args.append(found)
        if taken != len(uses):
            raise FormulaError(f"{self.name}.{name}: '{text}' does not use {sorted(set(uses) - set(formula.others))}")
        run = formula.bound(axis, tuple(map(_axis_of, args)))
        values = run(*map(_values_of, args))
        # one figure that is no finite number makes their sum none
        if formula.divides and not isfinite(np.add.reduce(values, axis=None)):
            shown = {used: arg.values.ravel()[:4].tolist() for used, arg in zip(formula.others, args, strict=True)}
            raise Breach(f"{self.name}.{name} = {text} is not a finite number; its columns are {shown}")
        return self._keep(
            Column(name, self.name, axis, values, unit, says, "formula", self.rule, None, formula, tuple(args), run)
        )

    def on_days(self, name: str, column: Column, axis: Axis) -> Column:
        """Add a column that is `column` row for row, standing on the days of `axis` (its payments, say)."""
        if axis is column.axis:
            return column
        if len(axis) != len(column.axis):
            raise Breach(f"{self.name}.{name}: {len(column.axis)} rows cannot stand on {len(axis)} days")
        formula = parse("same", name)
        made = Column(
            name,
            self.name,
            axis,
            column.values,
            column.unit,
            column.says,
            "formula",
            self.rule,
            None,
            formula,
            (column,),
            _same,
        )
        return self._keep(made)

    def computed(
        self,
        name: str,
        function: Evaluator,
        args: Sequence[Column],
        unit: str,
        says: str,
        certificate: str,
        axis: Axis | None = None,
        tolerance: float = CERTIFICATE_TOLERANCE,
        through: Sequence[tuple[str, str, str, str, Axis]] = (),
        **uses: Column,
    ) -> Column:
        """Add a column that no formula can state, with the formula that proves it (must be zero within `tolerance`).

        `through` are formula columns the proof goes through: name, text, unit, says, axis. They and the proof may name
        this column and any other of the working.
        """
        axis = self.axis if axis is None else axis

        def run(*arrays: FloatArray) -> FloatArray:
            found = np.atleast_2d(function(*arrays))
            return np.broadcast_to(found, (len(axis), found.shape[-1]))

        column = Column(
            name,
            self.name,
            axis,
            run(*(arg.values for arg in args)),
            unit,
            says,
            "computed",
            self.rule,
            None,
            None,
            tuple(args),
            run,
        )
        self._keep(column)
        for step, text, its_unit, its_says, its_axis in through:
            self.formula(step, text, its_unit, its_says, its_axis)
        proof = self.formula(f"{name}_check", certificate, unit, f"must be zero: proves {says}", axis, **uses)
        worst = float(np.abs(proof.values).max())
        if worst > tolerance:
            raise Breach(f"{column.full_name}: certificate {certificate} is {worst}, not zero")
        column.certificate = proof
        return column


@dataclass(eq=False)
class Shared:
    """What the alternatives of one evaluation have in common: inputs, parameters, workings, findings."""

    values: Mapping[str, FloatArray]  # inputs set for this run, by path; all others at their likely value
    inputs: dict[str, Column] = field(default_factory=dict)
    law: dict[tuple[object, ...], Column] = field(default_factory=dict)
    order: list[Column] = field(default_factory=list)
    workings: dict[str, Working] = field(default_factory=dict)
    findings: list[Finding] = field(default_factory=list)
    day_axes: dict[tuple[Date, ...], Axis] = field(default_factory=dict)
    constants: dict[tuple[str, float], Column] = field(default_factory=dict)
    factors: dict[Axis, Column] = field(default_factory=dict)  # present worth of one on the days of an axis


class Draft:
    """The ledger while rules post to it: append only, one per alternative (or the common part of all)."""

    def __init__(self, name: str, shared: Shared, is_common: bool = False) -> None:
        self.name, self.shared, self.is_common = name, shared, is_common
        self.order: list[Column] = []
        self.posted = shared.order if is_common else self.order  # where the columns of its workings go
        self.workings: dict[str, Working] = shared.workings if is_common else {}
        self.lines: list[Line] = []
        self.findings: list[Finding] = []
        self.income: list[IncomeItem] = []

    @property
    def common(self) -> Draft:
        """The draft that posts to what all alternatives share."""
        return self if self.is_common else Draft("common", self.shared, True)

    def taxed(
        self, name: str, column: Column, sign: int = 1, book: str = "", character: Character = "business"
    ) -> None:
        """Tell the returns that `column` (on days or stretches) is business income (sign 1) or a deduction (-1).

        `book` limits it to one jurisdiction's book, such as its own depreciation; empty means every book.
        """
        self.income.append(IncomeItem(name, column, sign, book, character))

    def working(self, name: str, axis: Axis = ONE, says: str = "", rule: str = "") -> Working:
        """Open a new working. Names are unique within an alternative and the common part."""
        if name in self.workings or name in self.shared.workings:
            raise Breach(f"working {name} is defined twice")
        self.workings[name] = Working(name, axis, says, rule, self)
        return self.workings[name]

    def __getitem__(self, name: str) -> Working:
        found = self.workings.get(name) or self.shared.workings.get(name)
        if found is None:
            raise Breach(
                f"{self.name}: no working {name}; there are {', '.join([*self.shared.workings, *self.workings])}"
            )
        return found

    def __contains__(self, name: str) -> bool:
        return name in self.workings or name in self.shared.workings

    def _store(self, working: str, says: str) -> Working:
        if working not in self.shared.workings:
            self.shared.workings[working] = Working(working, ONE, says, "", Draft("common", self.shared, True))
        return self.shared.workings[working]

    def constant(self, name: str, value: float) -> Column:
        """Return the given column of a plain number: what stands where the scenario says nothing, such as no fee."""
        if (name, value) not in self.shared.constants:
            store = self._store("plain numbers", "what stands where the scenario says nothing")
            says = f"{name.replace('_', ' ')}: {value:g}, as nothing else is entered"
            self.shared.constants[name, value] = store.given(
                f"{name} {f'{value:.9f}'.rstrip('0').rstrip('.')}", value, "1", says, Origin("choice", name), ONE
            )
        return self.shared.constants[name, value]

    def input(self, amount: Given) -> Column:
        """Return the column of a numeric field of the scenario: one figure, or one a trial."""
        path = amount.path
        if path not in self.shared.inputs:
            values = np.atleast_2d(np.asarray(self.shared.values.get(path, amount.likely), dtype=float))
            store = self._store("inputs", "figures of the scenario")
            self.shared.inputs[path] = store.given(
                path, values, amount.unit, path, Origin("input", path, amount.given_by, amount.given_by), ONE
            )
        return self.shared.inputs[path]

    def legal(self, readings: DatedFigure | Sequence[DatedFigure], says: str, axis: Axis = ONE) -> Column:
        """Return the column of a dated parameter: one figure, one a period, or brackets (rates and thresholds apart).

        Posts the finding of the last reading that has one: it speaks for the years before it.
        """
        listed = list(readings) if isinstance(readings, Sequence) else [readings]
        key = (id(axis), says, *(tuple(_plain(item.value)) for item in listed), *(item.id for item in listed))
        if key not in self.shared.law:
            store = self._store("law", "dated parameters")
            name = f"{listed[0].id}#{len(store.columns)}"
            self._say(listed)
            values = np.array([float(str(item.value)) for item in listed]).reshape(-1, 1)
            self.shared.law[key] = store.given(
                name,
                values,
                listed[0].unit,
                says,
                Origin("law", listed[0].id, _sources(listed), listed[0].status),
                axis,
            )
        return self.shared.law[key]

    def legal_wide(
        self, rows: Sequence[Sequence[float]], reading: DatedFigure, unit: str, says: str, axis: Axis
    ) -> Column:
        """Return a wide column of a dated parameter, `rows` one sequence per period; shape (width, periods, 1)."""
        key = (id(axis), "wide", says, tuple(tuple(row) for row in rows))
        if key not in self.shared.law:
            store = self._store("law", "dated parameters")
            self._say([reading])
            values: FloatArray = np.asarray(rows, dtype=np.float64).T[:, :, None]
            name = f"{reading.id}#{len(store.columns)}"
            self.shared.law[key] = store.given(
                name, values, unit, says, Origin("law", reading.id, _sources([reading]), reading.status), axis
            )
        return self.shared.law[key]

    def _say(self, readings: Sequence[DatedFigure]) -> None:
        said = [(item.id, text) for item in readings if (text := item.finding())]
        if said and not any(found.text == said[-1][1] for found in self.shared.findings):
            self.shared.findings.append(Finding("parameter", said[-1][1], said[-1][0]))

    def line(self, name: str, purse: str, column: Column, group: Group, dates: Sequence[Date] | None = None) -> Line:
        """Post a dated cash flow. Without `dates` each amount is spread over its own period."""
        if dates is not None and len(dates) != len(column.axis):
            raise Breach(f"line {name}: {len(dates)} dates for {len(column.axis)} rows")
        posted = Line(name, purse, column, group, column.rule, tuple(dates) if dates is not None else None)
        self.lines.append(posted)
        return posted

    def find(self, code: str, text: str, about: str = "", weight: Literal["note", "warning"] = "note") -> None:
        """Post a finding: something the reader must know."""
        finding = Finding(code, text, about, weight)
        target = self.shared.findings if self.is_common else self.findings
        if finding not in target:
            target.append(finding)


def _plain(value: object) -> list[object]:
    return list(value) if isinstance(value, tuple) else [value]


def _sources(readings: Sequence[DatedFigure]) -> str:
    found: list[str] = []
    for item in readings:
        if str(item.source) not in found:
            found.append(str(item.source))
    return "; ".join(found)


@dataclass(frozen=True, eq=False, repr=False)
class Ledger:
    """All that is known of one alternative: workings, lines and findings, frozen."""

    name: str
    workings: Mapping[str, Working]
    lines: tuple[Line, ...]
    findings: tuple[Finding, ...]
    order: tuple[Column, ...]

    def __repr__(self) -> str:
        return f"<Ledger of {self.name}: {len(self.workings)} workings, {len(self.lines)} lines, {len(self.findings)} findings>"

    def column(self, full_name: str) -> Column:
        """Return a column by ``working.name``. Raises KeyError naming the nearest ones."""
        at = full_name.find(".")
        while at >= 0:  # either name may have dots of its own
            working = self.workings.get(full_name[:at])
            if working is not None and full_name[at + 1 :] in working.columns:
                return working.columns[full_name[at + 1 :]]
            at = full_name.find(".", at + 1)
        raise KeyError(f"{self.name}: no column {full_name}")

    def line(self, name: str, purse: str | None = None) -> Line:
        """Return the line of that name (and purse). Raises KeyError naming what there is."""
        found = [line for line in self.lines if line.name == name and purse in (None, line.purse)]
        if not found:
            names = sorted({f"{line.name} ({line.purse})" for line in self.lines})
            raise KeyError(f"{self.name}: no line {name!r} of {purse or 'any purse'}; there are {', '.join(names)}")
        return found[0]

    @property
    def purses(self) -> tuple[str, ...]:
        """The purses that have lines, in order of appearance."""
        return tuple(dict.fromkeys(line.purse for line in self.lines))


def seal(draft: Draft) -> Ledger:
    """Freeze a draft into a ledger; common workings and findings come first."""
    workings = {**draft.shared.workings, **draft.workings}
    findings = tuple(dict.fromkeys([*draft.shared.findings, *draft.findings]))
    return Ledger(draft.name, workings, tuple(draft.lines), findings, (*draft.shared.order, *draft.order))


def sum_of(
    working: Working, name: str, columns: Sequence[Column], unit: str, says: str, axis: Axis | None = None
) -> Column:
    """Add a formula column that is the sum of `columns` (zero where there are none), all on the working's axis."""
    text, names = _sum_of_names(tuple([column.name for column in columns]))
    return working.formula(name, text, unit, says, axis, **dict(zip(names, columns, strict=True)))


@lru_cache(maxsize=4096)
def _sum_of_names(columns: tuple[str, ...]) -> tuple[str, tuple[str, ...]]:
    """Return the text that adds columns of these names, and the names they go by in it, no two alike."""
    names: dict[str, None] = {}
    for name in columns:
        wanted = _identifier(name)
        while wanted in names or keyword.iskeyword(wanted):
            wanted += "_"
        names[wanted] = None
    return " + ".join(names) or "0", tuple(names)


@lru_cache(maxsize=4096)
def _identifier(text: str) -> str:
    """Return a name that may stand in a formula, as near to `text` as can be."""
    plain = "_".join(
        part
        for part in "".join(ch if ch.isascii() and ch.isalnum() else " " for ch in text).split()
        if not part.isdigit()
    )
    return plain or "x"
