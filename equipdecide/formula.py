"""The one language in which a column of a ledger is written down.

A formula is a short text over the names of other columns. The same text is read three ways: by numpy over all
trials at once (:meth:`Formula.bind`), as a live spreadsheet cell (:meth:`Formula.cell`), and as words
(:mod:`equipdecide.views.explain`). There is no second statement of a figure anywhere.

Arithmetic ``+ - * / **`` and comparisons, and these functions:

==================== =========================================================================
``min max``          smaller, larger of two or more
``where(c, a, b)``   `a` where `c` holds, else `b`
``abs exp log``      absolute value, e to the power, natural logarithm
``cents(x)``         rounded to cents, halves away from zero
``dollars(x)``       rounded to whole dollars, halves away from zero
``ceiling(x)``       the next whole number at or above `x`
``prev(x, start=0)`` `x` of the row before, `start` in the first; a column may name itself: a carry-forward
``running(x)``       sum of the rows so far
``total(x)``         sum of all rows, one figure
``weighted(x, y)``   sum over all rows of `x` times `y`, one figure
``smallest(x)``      the least of all rows, one figure
``pick(x, k)``       row `k` of `x`, counted from 0; 0 where there is none
``lookup(k, x, y)``  `y` at the last row whose `x` is at most `k`; 0 below the first
``brackets(i, x, r)`` progressive sum: `r` on the part of `i` above each threshold `x`, up to the next
``gather(x)``        sum of the rows of `x` that fall in this period
``spread(x)``        `x` shared out over its own days, the part that falls in this period
``during(x)``        `x` of the period in which this one ends; 0 where there is none
``closing(x)``       `x` of its last row on or before this period's end; 0 where there is none
==================== =========================================================================

The last four, and ``running total weighted smallest pick lookup``, take the bare name of a column. Nothing else parses,
and no formula ever comes from a user.
"""

from __future__ import annotations

import ast
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache, partial
from typing import Any, Protocol

import numpy as np

from equipdecide import calendar as cal
from equipdecide.calendar import Axis, FloatArray

Evaluator = Callable[..., FloatArray]

_ARITY = {
    "min": (2, 9),
    "max": (2, 9),
    "where": (3, 3),
    "abs": (1, 1),
    "exp": (1, 1),
    "log": (1, 1),
    "cents": (1, 1),
    "dollars": (1, 1),
    "ceiling": (1, 1),
    "prev": (1, 2),
    "running": (1, 1),
    "total": (1, 1),
    "weighted": (2, 2),
    "smallest": (1, 1),
    "pick": (2, 2),
    "lookup": (3, 3),
    "brackets": (3, 3),
    "gather": (1, 1),
    "spread": (1, 1),
    "during": (1, 1),
    "closing": (1, 1),
}
_BARE_FIRST = {
    "prev",
    "running",
    "total",
    "weighted",
    "smallest",
    "pick",
    "gather",
    "spread",
    "during",
    "closing",
}  # first argument: a bare name
_TABLES = {"lookup", "brackets"}  # every argument after the first: a bare name
_ACROSS = {"gather", "spread", "during", "closing"}  # change the axis
WHOLE = {
    "running",
    "total",
    "weighted",
    "smallest",
    "pick",
    "lookup",
    "brackets",
} | _ACROSS  # may not stand in a carry-forward
OPERATORS: dict[type[ast.AST], str] = {
    ast.Add: "+",
    ast.Sub: "-",
    ast.Mult: "*",
    ast.Div: "/",
    ast.Pow: "**",
    ast.USub: "-",
    ast.Lt: "<",
    ast.LtE: "<=",
    ast.Gt: ">",
    ast.GtE: ">=",
    ast.Eq: "==",
    ast.NotEq: "!=",
}
_SHEET_OPERATORS = {"**": "^", "==": "=", "!=": "<>"}


class FormulaError(ValueError):
    """A formula's text is not in the language: a fault of this library, never of a user's file."""


def _round(x: FloatArray, unit: float) -> FloatArray:
    # the small lift is for products such as 1.005 * 100 that binary floats put a hair under the half
    scaled = np.abs(x) / unit
    return np.copysign(np.floor(scaled * (1 + 1e-12) + 0.5 + 1e-9) * unit, x)


def _cents(x: FloatArray) -> FloatArray:
    return _round(np.asarray(x, dtype=float), 0.01).round(2)


def _dollars(x: FloatArray) -> FloatArray:
    return _round(np.asarray(x, dtype=float), 1.0)


def _prev(x: FloatArray, start: Any, rows: int) -> FloatArray:
    if rows == 1:
        return np.asarray(start, dtype=float) * np.ones_like(x)
    if x.shape == (rows, 1) and np.size(start) == 1:
        moved = np.empty((rows, 1))
        moved[0] = start
        moved[1:] = x[:-1]
        return moved
    x = np.broadcast_to(x, (rows, x.shape[-1]))
    start = np.asarray(start, dtype=float)
    start = np.broadcast_to(start, (1, max(x.shape[1], start.shape[-1] if start.ndim else 1)))
    return np.concatenate([start, np.broadcast_to(x[:-1], (rows - 1, start.shape[1]))])


def _weighted(x: FloatArray, y: FloatArray) -> FloatArray:
    if x.shape[0] == y.shape[0] and x.ndim == y.ndim == 2:  # no product is written out for many trials
        summed: FloatArray
        if y.shape[1] == 1:
            summed = y.T @ x
        elif x.shape[1] == 1:
            summed = x.T @ y
        else:
            summed = np.einsum("ij,ij->j", x, y)[None, :]
        return summed
    return _total(x * y)


def _total(x: FloatArray) -> FloatArray:
    summed: FloatArray = np.add.reduce(x, axis=0, keepdims=True)  # what x.sum calls, at half its cost for a short x
    return summed


def pick(x: FloatArray, k: Any) -> FloatArray:
    """Return row `k` of `x`, a row number for each trial or for all; zeros where there is no such row."""
    rows = x.shape[0]
    index = np.atleast_2d(np.asarray(k)).astype(np.int64)
    inside = (index >= 0) & (index < rows)
    index = np.where(inside, index, 0)
    if index.shape[1] == 1:
        row: FloatArray = x[index[:, 0]] * inside
        return row
    wide = np.broadcast_to(x, (rows, index.shape[1]))
    picked: FloatArray = np.take_along_axis(wide, index, axis=0) * inside
    return picked


def lookup(key: Any, x: FloatArray, y: FloatArray) -> FloatArray:
    """Return `y` at the last row whose `x` is at most `key`; 0 below the first. `x` is the same for all trials."""
    key = np.atleast_2d(np.asarray(key, dtype=float))
    if x.shape[1] > 1:
        raise FormulaError("lookup: the first column of the table must not differ between trials")
    index = np.searchsorted(x[:, 0], key, side="right") - 1
    return pick(y, index)


def _brackets(income: Any, over: FloatArray, rate: FloatArray) -> FloatArray:
    """`over` and `rate` are wide columns, shape (brackets, rows, trials)."""
    due = np.zeros(1)
    before: Any = 0.0
    for threshold, share in zip(over, rate, strict=True):
        due = due + (share - before) * np.maximum(income - threshold, 0.0)
        before = share
    return due


def _many(fn: Callable[[Any, Any], Any]) -> Callable[..., Any]:
    def fold(first: Any, *rest: Any) -> Any:
        for other in rest:
            first = fn(first, other)
        return first

    return fold


def _take(x: FloatArray, index: Any) -> FloatArray:
    taken: FloatArray = x[index] * (index >= 0)[:, None]
    return taken


_FUNCTIONS: dict[str, Any] = {
    "_minimum": np.minimum,
    "_maximum": np.maximum,
    "_min": _many(np.minimum),
    "_max": _many(np.maximum),
    "_where": np.where,
    "_abs": np.abs,
    "_exp": np.exp,
    "_log": np.log,
    "_cents": _cents,
    "_dollars": _dollars,
    "_ceiling": lambda x: np.ceil(x - 1e-9),
    "_prev": _prev,
    "_running": np.add.accumulate,
    "_total": _total,
    "_weighted": _weighted,
    "_smallest": lambda x: np.minimum.reduce(x, axis=0, keepdims=True),
    "_pick": pick,
    "_lookup": lookup,
    "_brackets": _brackets,
    "_take": _take,
}


class SheetAddresses(Protocol):
    """What a spreadsheet writer must know to write a formula as a cell."""

    def at(self, name: str, row: int) -> str:
        """Return the cell of column `name` at `row` of its own axis (or its single cell)."""

    def whole(self, name: str) -> str:
        """Return the absolute range of the whole column `name`."""

    def across(self, name: str, row: int) -> tuple[str, str]:
        """Return, for a wide column, the ranges of its cells at `row` and of the cells one to their left."""


def _plain_round(x: float, unit: float) -> float:
    return math.copysign(math.floor(abs(x) / unit * (1 + 1e-12) + 0.5 + 1e-9) * unit, x)


# The functions that may stand in a carry-forward, on plain numbers: the same arithmetic as above.
_PLAIN: dict[str, Any] = {
    "_min": min,
    "_max": max,
    "_where": lambda condition, a, b: a if condition else b,
    "_abs": abs,
    "_exp": math.exp,
    "_log": math.log,
    "_cents": lambda x: round(_plain_round(x, 0.01), 2),
    "_dollars": lambda x: _plain_round(x, 1.0),
    "_ceiling": lambda x: float(math.ceil(x - 1e-9)),
}


@dataclass(frozen=True, eq=False)
class Formula:
    """A parsed formula.

    `names` are the columns it speaks of, in order of first appearance; `recurs` is true where `prev` names the column
    being defined (told to :func:`parse` by ``own``).
    """

    text: str
    names: tuple[str, ...]
    tree: ast.expr
    own: str | None
    recurs: bool
    divides: bool
    across: tuple[tuple[str, str], ...]  # (function, name) pairs that change the axis
    whole: frozenset[str]  # names of which all rows are read: they may stand on any axis
    known: frozenset[str]  # `names` as a set
    others: tuple[str, ...]  # `names` without the column itself, where it carries itself forward

    def bind(self, axis: Axis, axes: Mapping[str, Axis]) -> Evaluator:
        """Return a function of the arrays of `names` (rows, trials or 1) that gives this column's array.

        `axis` is the axis of the column being defined, `axes` the axis of each name. The result has shape
        (len(axis), trials or 1). Raises :class:`FormulaError` where axes cannot be combined.
        """
        return _bound(self, axis, tuple(axes[name] for name in self.others))

    def bound(self, axis: Axis, axes: tuple[Axis, ...]) -> Evaluator:
        """Return the same as :meth:`bind`, the axes given in the order of `others`."""
        return _bound(self, axis, axes)

    def cell(self, row: int, axis: Axis, axes: Mapping[str, Axis], sheet: SheetAddresses) -> str:
        """Return the spreadsheet formula of this column at `row`, without the leading equals sign."""
        return _Cell(self, row, axis, axes, sheet).write(self.tree)


@lru_cache(maxsize=16384)
def _bound(formula: Formula, axis: Axis, axes_of_names: tuple[Axis, ...]) -> Evaluator:
    axes = dict(zip(formula.others, axes_of_names, strict=True))
    for name in formula.others:
        if len(axes[name]) != 1 and axes[name] is not axis and name not in formula.whole:
            raise FormulaError(
                f"'{formula.text}': {name} stands on axis {axes[name].name}, not on {axis.name}; say gather, spread, during or closing"
            )
    maps: list[Any] = []
    for function, name in formula.across:
        own, rows = axes[name], axis
        if function == "gather":
            maps.append(partial(np.matmul, cal.gather_weights(own, rows)))
        elif function == "spread":
            maps.append(partial(np.matmul, cal.spread_weights(own, rows)))
        elif function == "during":
            maps.append(cal.during_rows(own, rows))
        else:
            maps.append(cal.closing_rows(own, rows))
    rows_count = len(axis)
    if formula.recurs:
        return _row_by_row(formula, rows_count)
    code = _compiled(_source(formula))
    if formula.divides:

        def guarded(*arrays: FloatArray) -> FloatArray:
            with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
                return _shaped(code(rows_count, maps, *arrays), rows_count)

        return guarded

    def run(*arrays: FloatArray) -> FloatArray:
        values = code(rows_count, maps, *arrays)
        if values.__class__ is np.ndarray and values.ndim == 2 and len(values) == rows_count and values.dtype == _FLOAT:
            return values
        return _shaped(values, rows_count)

    if formula.names:
        return run
    same = run()  # a number alone, such as the sum of nothing: one array for all
    same.flags.writeable = False
    return lambda: same


_FLOAT = np.dtype(np.float64)


def _shaped(values: Any, rows: int) -> FloatArray:
    array = np.asarray(values, dtype=float)
    if array.ndim < 2:
        array = array.reshape(1, -1)
    if array.shape[0] != rows:
        if array.shape[-1] == 1:  # ten times as quick as a broadcast view, and there are a thousand of them
            return np.full((rows, 1), array[0, 0])
        array = np.broadcast_to(array, (rows, array.shape[-1]))
    return array


def row_code(formula: Formula) -> Callable[..., Any]:
    """Return a carry-forward as a function of the row's number, its value before, and the arrays of
    this row and the last.
    """
    code: Callable[..., Any] = _compiled(_source(formula))
    return code


def _row_by_row(formula: Formula, rows: int) -> Evaluator:
    """Return the evaluator of a carry-forward: one row after the other, all trials side by side."""
    code, plain = row_code(formula), _compiled(_source(formula, plain=True), plain=True)

    def run(*arrays: FloatArray) -> FloatArray:
        if all(array.shape[-1] == 1 for array in arrays):  # one trial: the same text on plain numbers, row by row
            columns = [array[:, 0].tolist() * (rows if len(array) == 1 else 1) for array in arrays]
            last, done = 0.0, []
            earlier: tuple[float, ...] = ()
            for t, here in enumerate(zip(*columns, strict=True) if columns else [()] * rows):
                last = plain(t, last, here, earlier)
                done.append(last)
                earlier = here
            return np.array(done, dtype=float).reshape(-1, 1)
        out: list[FloatArray] = []
        before: FloatArray | None = None
        with np.errstate(divide="ignore", invalid="ignore"):
            for t in range(rows):
                at = [array[t if len(array) > 1 else 0] for array in arrays]
                prior = [array[t - 1 if len(array) > 1 else 0] for array in arrays] if t else at
                before = np.asarray(code(t, before, at, prior), dtype=float)
                out.append(before)
        width = max(len(row) if row.ndim else 1 for row in out)
        return np.array([np.broadcast_to(row, (width,)) for row in out])

    return run


@lru_cache(maxsize=4096)
def parse(text: str, own: str | None = None) -> Formula:
    """Read a formula's text. `own` is the name of the column it defines, so that ``prev(own)`` is a carry-forward.

    Columns of one text share one formula, but where it names the column itself.

    >>> parse("max(gain - limit, 0)").names
    ('gain', 'limit')
    """
    if own is not None and own not in parse(text).known:
        return parse(text)
    text = " ".join(text.split())
    try:
        tree = ast.parse(text, mode="eval").body
    except SyntaxError as error:
        raise FormulaError(f"'{text}' does not read as a formula: {error.msg}") from None
    names: list[str] = []
    across: list[tuple[str, str]] = []
    whole: set[str] = set()
    state = {"recurs": False, "divides": False}

    def check(node: ast.AST) -> None:
        if isinstance(node, ast.Constant):
            if isinstance(node.value, bool) or not isinstance(node.value, int | float):
                raise FormulaError(f"'{text}': only numbers may stand in a formula, not {node.value!r}")
        elif isinstance(node, ast.Name):
            if node.id not in names:
                names.append(node.id)
        elif isinstance(node, ast.BinOp) and type(node.op) in OPERATORS:
            state["divides"] |= isinstance(node.op, ast.Div | ast.Pow)
            check(node.left)
            check(node.right)
        elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
            check(node.operand)
        elif isinstance(node, ast.Compare) and len(node.ops) == 1 and type(node.ops[0]) in OPERATORS:
            check(node.left)
            check(node.comparators[0])
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in _ARITY:
            function = node.func.id
            low, high = _ARITY[function]
            if node.keywords or not low <= len(node.args) <= high:
                raise FormulaError(f"'{text}': {function} takes {low} to {high} figures")
            if function in _BARE_FIRST and not isinstance(node.args[0], ast.Name):
                raise FormulaError(f"'{text}': {function} takes the name of a column")
            if function in {*_TABLES, "weighted"} and not all(isinstance(arg, ast.Name) for arg in node.args[1:]):
                raise FormulaError(f"'{text}': {function} takes its table by name")
            state["divides"] |= function in ("log", "exp")
            if function in _ACROSS:
                across.append((function, node.args[0].id))  # type: ignore[attr-defined]
            if function in WHOLE:
                wanted = slice(None) if function == "weighted" else slice(1, None) if function in _TABLES else slice(1)
                whole.update(arg.id for arg in node.args[wanted] if isinstance(arg, ast.Name))
            if function == "prev" and own is not None and node.args[0].id == own:  # type: ignore[attr-defined]
                state["recurs"] = True
            for arg in node.args:
                check(arg)
        else:
            raise FormulaError(f"'{text}': {ast.unparse(node)} is not in the language")

    check(tree)
    if state["recurs"]:
        for node in ast.walk(tree):
            if isinstance(node, ast.Call) and node.func.id in WHOLE:  # type: ignore[attr-defined]
                raise FormulaError(f"'{text}': {node.func.id} may not stand in a carry-forward")  # type: ignore[attr-defined]
    if own in names and not state["recurs"]:
        raise FormulaError(f"'{text}' names itself outside prev")
    others = tuple(name for name in names if not (state["recurs"] and name == own))
    return Formula(
        text,
        tuple(names),
        tree,
        own,
        state["recurs"],
        state["divides"],
        tuple(across),
        frozenset(whole),
        frozenset(names),
        others,
    )


@lru_cache(maxsize=4096)
def _source(formula: Formula, plain: bool = False) -> str:
    """Return a formula as the text of a function of its columns, which stand in it by number.

    So formulas that differ in the names of their columns alone are one function, compiled once.
    """
    others, crossings = formula.others, formula.across

    def write(node: ast.AST) -> str:
        if isinstance(node, ast.Constant):
            return repr(float(node.value))  # type: ignore[arg-type]
        if isinstance(node, ast.Name):
            return f"here[{others.index(node.id)}]" if formula.recurs else f"a{others.index(node.id)}"
        if isinstance(node, ast.BinOp):
            return f"({write(node.left)} {OPERATORS[type(node.op)]} {write(node.right)})"
        if isinstance(node, ast.UnaryOp):
            return f"(-{write(node.operand)})"
        if isinstance(node, ast.Compare):
            return f"({write(node.left)} {OPERATORS[type(node.ops[0])]} {write(node.comparators[0])})"
        assert isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
        function, args = node.func.id, node.args
        if function == "prev":
            name = args[0].id  # type: ignore[attr-defined]
            start = write(args[1]) if len(args) == 2 else "0.0"
            if formula.recurs:
                earlier = "before" if name == formula.own else f"earlier[{others.index(name)}]"
                return f"({start} if t == 0 else {earlier})"
            return f"_prev({write(args[0])}, {start}, rows)"
        if function in _ACROSS:
            position = crossings.index((function, args[0].id))  # type: ignore[attr-defined]
            if function in ("gather", "spread"):
                return f"maps[{position}]({write(args[0])})"
            return f"_take({write(args[0])}, maps[{position}])"
        if function in ("min", "max") and len(args) == 2 and not plain:
            return f"_{function}imum({write(args[0])}, {write(args[1])})"
        return f"_{function}({', '.join(write(arg) for arg in args)})"

    body = write(formula.tree)
    if formula.recurs:
        return f"lambda t, before, here, earlier: {body}"
    return f"lambda rows, maps, {', '.join(f'a{i}' for i in range(len(others)))}: {body}"


@lru_cache(maxsize=4096)
def _compiled(source: str, plain: bool = False) -> Any:
    names = _PLAIN if plain else _FUNCTIONS
    return eval(compile(source, f"<formula {source}>", "eval"), names)  # the library's own text


def _decimal(value: float) -> str:
    """Write a number in full: some spreadsheet programs do not read 1e-06."""
    return np.format_float_positional(value, trim="-")


class _Cell:
    """Writes one cell of a column as a spreadsheet formula."""

    def __init__(self, formula: Formula, row: int, axis: Axis, axes: Mapping[str, Axis], sheet: SheetAddresses) -> None:
        self.formula, self.row, self.axis, self.axes, self.sheet = formula, row, axis, axes, sheet

    def _single(self, name: str) -> bool:
        return name != self.formula.own and len(self.axes[name]) == 1

    def name(self, name: str, row: int) -> str:
        return self.sheet.at(name, 0 if self._single(name) else row)

    def write(self, node: ast.AST) -> str:
        if isinstance(node, ast.Constant):
            return _decimal(float(node.value))  # type: ignore[arg-type]
        if isinstance(node, ast.Name):
            return self.name(node.id, self.row)
        if isinstance(node, ast.BinOp):
            op = OPERATORS[type(node.op)]
            return f"({self.write(node.left)}{_SHEET_OPERATORS.get(op, op)}{self.write(node.right)})"
        if isinstance(node, ast.UnaryOp):
            return f"(0-{self.write(node.operand)})"
        if isinstance(node, ast.Compare):
            op = OPERATORS[type(node.ops[0])]
            test = f"{self.write(node.left)}{_SHEET_OPERATORS.get(op, op)}{self.write(node.comparators[0])}"
            return f"IF({test},1,0)"
        assert isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
        return self.call(node.func.id, node.args)

    def call(self, function: str, args: Sequence[ast.expr]) -> str:
        if function in ("min", "max", "abs", "exp"):
            return f"{function.upper()}({','.join(self.write(arg) for arg in args)})"
        if function == "log":
            return f"LN({self.write(args[0])})"
        if function == "where":
            return f"IF({self.write(args[0])}<>0,{self.write(args[1])},{self.write(args[2])})"
        if function in ("cents", "dollars"):
            return f"ROUND({self.write(args[0])},{2 if function == 'cents' else 0})"
        if function == "ceiling":
            return f"(0-INT(0.000000001-{self.write(args[0])}))"  # ROUNDUP would go away from zero below it
        name = args[0].id if isinstance(args[0], ast.Name) else ""
        if function == "prev":
            if self.row == 0:
                return self.write(args[1]) if len(args) == 2 else "0"
            return self.name(name, self.row - 1)
        if function == "running":
            return "SUM(" + self.sheet.at(name, 0) + ":" + self.sheet.at(name, self.row) + ")"
        if function == "total":
            return f"SUM({self.sheet.whole(name)})"
        if function == "weighted":
            return f"SUMPRODUCT({self.sheet.whole(name)},{self.sheet.whole(args[1].id)})"  # type: ignore[attr-defined]
        if function == "smallest":
            return f"MIN({self.sheet.whole(name)})"
        if function == "pick":
            k = self.write(args[1])
            return f"IF(AND({k}>=0,{k}<{len(self.axes[name])}),INDEX({self.sheet.whole(name)},{k}+1),0)"
        if function == "lookup":
            key, keys, values = self.write(args[0]), args[1].id, args[2].id  # type: ignore[attr-defined]
            wanted = f"LOOKUP({key},{self.sheet.whole(keys)},{self.sheet.whole(values)})"
            return f"IF({key}<{self.sheet.at(keys, 0)},0,{wanted})"
        if function == "brackets":
            over_name, rate_name = args[1].id, args[2].id  # type: ignore[attr-defined]
            income = self.write(args[0])
            over, _ = self.sheet.across(over_name, 0 if self._single(over_name) else self.row)
            rate, before = self.sheet.across(rate_name, 0 if self._single(rate_name) else self.row)
            return f"SUMPRODUCT(({income}>{over})*({income}-{over})*({rate}-{before}))"
        own = self.axes[name]
        if function in ("gather", "spread"):
            weights = (cal.gather_weights if function == "gather" else cal.spread_weights)(own, self.axis)[self.row]
            rows = [int(k) for k in np.flatnonzero(weights)]
            if not rows:
                return "0"
            if function == "gather":
                if rows == list(range(rows[0], rows[-1] + 1)):
                    return f"SUM({self.sheet.at(name, rows[0])}:{self.sheet.at(name, rows[-1])})"
                return "(" + "+".join(self.sheet.at(name, k) for k in rows) + ")"
            return "(" + "+".join(f"{self.sheet.at(name, k)}*{_decimal(float(weights[k]))}" for k in rows) + ")"
        index = int((cal.during_rows if function == "during" else cal.closing_rows)(own, self.axis)[self.row])
        return "0" if index < 0 else self.sheet.at(name, index)
