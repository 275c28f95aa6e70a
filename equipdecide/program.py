"""Columns as straight-line work on a block of trials: every formula's text, read once more.

A :class:`Graph` takes in columns in the order they were made. Each operation of their formulas becomes one value; equal
operations on equal values are one value, however many alternatives have them, and what rests on no doubtful input is a
figure, worked out once. :meth:`Graph.program` then gives each value a place in memory, a place being used again as soon
as its value has had its last reader. So a block neither asks for memory nor writes out what nobody reads: for arrays of a
few thousand trials that takes less than half the time of the same operations on new arrays.

A value has shape (rows, trials), or (rows, 1) where it is a figure.
"""

from __future__ import annotations

import ast
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from equipdecide import calendar as cal
from equipdecide import formula as language
from equipdecide.calendar import FloatArray
from equipdecide.formula import Evaluator, Formula

Kernel = Callable[..., Any]  # called with the values it reads and, by the name of out, the array it writes to

Call = tuple[Kernel, tuple[FloatArray, ...], dict[str, FloatArray]]

# --- kernels. Elementwise ones may write over a value they read; the others may not.


def _copy(x: FloatArray, out: FloatArray) -> None:
    np.copyto(out, x)


def _where(condition: FloatArray, yes: FloatArray, no: FloatArray, out: FloatArray) -> None:
    chosen = condition if condition.dtype == np.bool_ else condition != 0
    if yes is out:
        np.copyto(out, no, where=np.logical_not(chosen))
        return
    np.copyto(out, no)
    np.copyto(out, yes, where=chosen)


def _rounded(unit: float) -> Kernel:
    # the same steps as in `formula._round`, each into the same array
    def rounded(x: FloatArray, out: FloatArray) -> None:
        np.absolute(x, out=out)
        np.divide(out, unit, out=out)
        np.multiply(out, 1 + 1e-12, out=out)
        np.add(out, 0.5, out=out)
        np.add(out, 1e-9, out=out)
        np.floor(out, out=out)
        np.multiply(out, unit, out=out)
        np.copysign(out, x, out=out)
        if unit != 1.0:
            np.round(out, 2, out=out)

    return rounded


def _ceiling(x: FloatArray, out: FloatArray) -> None:
    np.subtract(x, 1e-9, out=out)
    np.ceil(out, out=out)


def _prev(x: FloatArray, start: FloatArray, out: FloatArray) -> None:
    out[0] = start[0]
    if len(out) > 1:
        out[1:] = x[:-1] if len(x) > 1 else x


def _running(x: FloatArray, out: FloatArray) -> None:
    out[0] = x[0]
    for row in range(1, len(x)):
        np.add(out[row - 1], x[row], out=out[row])


def _total(x: FloatArray, out: FloatArray) -> None:
    np.add.reduce(x, axis=0, keepdims=True, out=out)


def _smallest(x: FloatArray, out: FloatArray) -> None:
    np.minimum.reduce(x, axis=0, keepdims=True, out=out)


def _weighted(x: FloatArray, y: FloatArray, out: FloatArray) -> None:
    if y.shape[1] == 1:
        np.matmul(y.T, x, out=out)
    elif x.shape[1] == 1:
        np.matmul(x.T, y, out=out)
    else:
        np.einsum("ij,ij->j", x, y, out=out[0])


def _pick(x: FloatArray, k: FloatArray, out: FloatArray) -> None:
    out[...] = language.pick(x, k)


def _lookup(key: FloatArray, x: FloatArray, y: FloatArray, out: FloatArray) -> None:
    out[...] = language.lookup(key, x, y)


def _brackets(income: FloatArray, over: FloatArray, rate: FloatArray, spare: FloatArray, out: FloatArray) -> None:
    out[...] = 0.0
    before: FloatArray | float = 0.0
    for threshold, share in zip(over, rate, strict=True):
        np.subtract(income, threshold, out=spare)
        np.maximum(spare, 0.0, out=spare)
        np.multiply(spare, share - before, out=spare)
        np.add(out, spare, out=out)
        before = share


@lru_cache(maxsize=4096)
def _mixed(function: str, own: cal.Axis, axis: cal.Axis) -> tuple[tuple[int, int, float], ...]:
    """Return what `gather` and `spread` add up: row written, row read, weight."""
    weights = (cal.gather_weights if function == "gather" else cal.spread_weights)(own, axis)
    return tuple((int(i), int(k), float(weights[i, k])) for i, k in zip(*np.nonzero(weights), strict=True))


class _AddMixed:
    """Adds rows of one axis, weighted, to rows of another: only the rows that get something are touched."""

    def __init__(self, terms: Sequence[tuple[int, int, float]], rows: int) -> None:
        self.terms = terms
        self.untouched = sorted(set(range(rows)) - {i for i, _, _ in terms})

    def __call__(self, start: FloatArray, x: FloatArray, out: FloatArray) -> None:
        if start is not out:
            np.copyto(out, start)
        for i, k, weight in self.terms:
            row = out[i]
            row += x[k] if weight == 1.0 else x[k] * weight

    def alone(self, x: FloatArray, out: FloatArray) -> None:
        begun = set()
        for i, k, weight in self.terms:
            row = out[i]
            if i in begun:
                row += x[k] if weight == 1.0 else x[k] * weight
            else:
                np.multiply(x[k], weight, out=row)
                begun.add(i)
        for i in self.untouched:
            out[i] = 0.0


class _Take:
    """Takes rows; none (-1) gives zero."""

    def __init__(self, index: Sequence[int]) -> None:
        self.index = np.maximum(np.array(index, dtype=np.int64), 0)
        self.none = [i for i, k in enumerate(index) if k < 0]

    def __call__(self, x: FloatArray, out: FloatArray) -> None:
        np.take(x, self.index, axis=0, out=out, mode="clip")
        for i in self.none:
            out[i] = 0.0


def _carried(formula: Formula, rows: int) -> Kernel:
    """Return the kernel of a carry-forward: one row after the other."""
    code = language.row_code(formula)

    def carried(*read: FloatArray, out: FloatArray) -> None:
        before: FloatArray | None = None
        prior: list[FloatArray] | None = None
        for t in range(rows):
            here = [array[t if len(array) > 1 else 0] for array in read]
            out[t] = code(t, before, here, here if prior is None else prior)
            before, prior = out[t], here

    return carried


def _evaluated(run: Evaluator) -> Kernel:
    """Return the kernel of a column that no formula states."""

    def kernel(*read: FloatArray, out: FloatArray) -> None:
        out[...] = run(*read)

    return kernel


_ELEMENTWISE: dict[str, Kernel] = {
    "+": np.add,
    "-": np.subtract,
    "*": np.multiply,
    "/": np.true_divide,
    "**": np.power,
    "<": np.less,
    "<=": np.less_equal,
    ">": np.greater,
    ">=": np.greater_equal,
    "==": np.equal,
    "!=": np.not_equal,
    "negative": np.negative,
    "min": np.minimum,
    "max": np.maximum,
    "abs": np.absolute,
    "exp": np.exp,
    "log": np.log,
    "float": _copy,
}
_EITHER_WAY = frozenset({"+", "*", "min", "max"})  # the same whichever comes first
_COMPARISONS = frozenset({"<", "<=", ">", ">=", "==", "!="})
_ONE_ROW: dict[str, Kernel] = {"total": _total, "smallest": _smallest, "weighted": _weighted}
_OTHER: dict[str, Kernel] = {
    "cents": _rounded(0.01),
    "dollars": _rounded(1.0),
    "ceiling": _ceiling,
    "prev": _prev,
    "running": _running,
    "pick": _pick,
    "lookup": _lookup,
    "brackets": _brackets,
}


@lru_cache(maxsize=8192)
def _steps(formula: Formula) -> tuple[tuple[str, Any], ...]:
    """Return a formula in the order of working: names and numbers are laid down, operations take up what they need."""
    steps: list[tuple[str, Any]] = []

    def write(node: ast.AST) -> None:
        if isinstance(node, ast.Constant):
            steps.append(("number", float(node.value)))  # type: ignore[arg-type]
        elif isinstance(node, ast.Name):
            steps.append(("name", formula.others.index(node.id)))
        elif isinstance(node, ast.BinOp):
            write(node.left)
            write(node.right)
            steps.append((language.OPERATORS[type(node.op)], 2))
        elif isinstance(node, ast.Compare):
            write(node.left)
            write(node.comparators[0])
            steps.append((language.OPERATORS[type(node.ops[0])], 2))
        elif isinstance(node, ast.UnaryOp):
            write(node.operand)
            steps.append(("negative", 1))
        else:
            assert isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
            for arg in node.args:
                write(arg)
            if node.func.id in ("min", "max"):
                steps.extend([(node.func.id, 2)] * (len(node.args) - 1))
            elif node.func.id == "prev" and len(node.args) == 1:
                steps.extend([("number", 0.0), ("prev", 2)])
            else:
                steps.append((node.func.id, len(node.args)))

    write(formula.tree)
    return tuple(steps)


@dataclass(slots=True)
class _Value:
    """One value of the graph: the operation that makes it, or its figures where it rests on no doubtful input."""

    shape: tuple[int, ...]  # without the trials
    dtype: type
    kernel: Kernel | None = None  # None: a figure, or an input
    reads: tuple[int, ...] = ()
    figures: FloatArray | None = None
    elementwise: bool = False
    spare: bool = False  # the kernel wants one more array like the one it writes to
    added: _AddMixed | None = None  # set where the kernel is a gather or spread


class Graph:
    """Values of columns, each operation once. Values are known by their number."""

    def __init__(self) -> None:
        self.values: list[_Value] = []
        self.known: dict[object, int] = {}

    def _new(self, key: object, value: _Value) -> int:
        self.values.append(value)
        self.known[key] = len(self.values) - 1
        return len(self.values) - 1

    def input(self) -> int:
        """Return a new value that is set for every block."""
        return self._new(("input", len(self.values)), _Value((1,), np.float64))

    def figures(self, array: FloatArray) -> int:
        """Return the value of figures that do not vary by trial: shape (rows, 1) or (width, rows, 1)."""
        key = ("figures", array.shape, array.dtype.char, array.tobytes())
        found = self.known.get(key)
        return self._new(key, _Value(array.shape[:-1], array.dtype.type, figures=array)) if found is None else found

    def column(
        self, formula: Formula | None, run: Evaluator, axis: cal.Axis, args: Sequence[tuple[int, cal.Axis]]
    ) -> int:
        """Return the value of a column: of its formula, or of `run` where it has none. `args` are values and their axes."""
        rows = (len(axis),)
        if formula is None:
            return self._made(("computed", id(run)), _evaluated(run), tuple(k for k, _ in args), rows)
        if formula.recurs:
            key = ("carried", formula.text, formula.own, len(axis))
            return self._made(key, _carried(formula, len(axis)), tuple(k for k, _ in args), rows)
        stack: list[int] = []
        names: list[int] = []
        for operation, what in _steps(formula):
            if operation == "number":
                stack.append(self.figures(np.array([[what]])))
            elif operation == "name":
                stack.append(args[what][0])
                names.append(what)
            else:
                reads = tuple(stack[len(stack) - what :])
                del stack[len(stack) - what :]
                stack.append(self._operation(operation, reads, axis, args[names[-1]][1] if names else axis))
        (found,) = stack
        value = self.values[found]
        if value.dtype is not np.float64:
            found = self._made("float", _copy, (found,), value.shape, elementwise=True)
        return found if self.values[found].shape == rows else self._made(("rows", rows), _copy, (found,), rows)

    def _operation(self, operation: str, reads: tuple[int, ...], axis: cal.Axis, own: cal.Axis) -> int:
        """Return the value of one operation; `own` is the axis of the name just read, which alone may cross axes."""
        rows = len(axis)
        if operation in ("gather", "spread"):
            mixed = _AddMixed(_mixed(operation, own, axis), rows)
            return self._made((operation, own, axis), mixed.alone, reads, (rows,), added=mixed)
        if operation in ("during", "closing"):
            index = (cal.during_rows if operation == "during" else cal.closing_rows)(own, axis)
            return self._made((operation, own, axis), _Take(index.tolist()), reads, (rows,))
        if operation in _ONE_ROW:
            shapes = {self.values[k].shape for k in reads}
            if operation == "weighted" and len(shapes) > 1:
                return self._operation("total", (self._operation("*", reads, axis, own),), axis, own)
            return self._made(operation, _ONE_ROW[operation], reads, (1,))
        if operation in ("pick", "lookup"):
            return self._made(
                operation, _OTHER[operation], reads, self.values[reads[1 if operation == "pick" else 0]].shape
            )
        if operation == "brackets":
            shape = np.broadcast_shapes(self.values[reads[0]].shape, *(self.values[k].shape[1:] for k in reads[1:]))
            return self._made(operation, _brackets, reads, shape, spare=True)
        if operation == "prev":
            return self._made(operation, _prev, reads, (rows,))
        shape = np.broadcast_shapes(*(self.values[k].shape for k in reads))
        if operation == "where":
            return self._made(operation, _where, reads, shape, elementwise=True)
        if operation in _ELEMENTWISE:
            if operation in _EITHER_WAY:
                reads = tuple(sorted(reads))
            same = self._unchanged(operation, reads, shape)
            if same is not None:
                return same
            kind = np.bool_ if operation in _COMPARISONS else np.float64
            return self._made(operation, _ELEMENTWISE[operation], reads, shape, kind, elementwise=True)
        return self._made(operation, _OTHER[operation], reads, shape)

    def _unchanged(self, operation: str, reads: tuple[int, ...], shape: tuple[int, ...]) -> int | None:
        """Return the value an operation leaves as it is: nothing added, or multiplied by one."""
        if operation not in ("+", "-", "*"):
            return None
        neutral = 1.0 if operation == "*" else 0.0
        for this, other in ((reads[0], reads[1]), (reads[1], reads[0]))[: 1 if operation == "-" else 2]:
            figures = self.values[other].figures
            keeps = self.values[this].shape == shape and self.values[this].dtype is np.float64
            if keeps and figures is not None and bool((figures == neutral).all()):
                return this
        return None

    def _made(
        self,
        what: object,
        kernel: Kernel,
        reads: tuple[int, ...],
        shape: tuple[int, ...],
        dtype: type = np.float64,
        elementwise: bool = False,
        spare: bool = False,
        added: _AddMixed | None = None,
    ) -> int:
        key = (what, reads)
        found = self.known.get(key)
        if found is not None:
            return found
        arrays = [self.values[k].figures for k in reads]
        if any(array is None for array in arrays):
            return self._new(key, _Value(shape, dtype, kernel, reads, None, elementwise, spare, added))
        out: FloatArray = np.empty((*shape, 1), dtype)
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            kernel(*arrays, *([np.empty_like(out)] if spare else []), out=out)
        self.known[key] = self.figures(out)
        return self.known[key]

    def program(self, inputs: Mapping[str, int], wanted: Sequence[int]) -> Program:
        """Return the work that gives the `wanted` values when the `inputs` are set."""
        needed = set(wanted)
        for k in range(len(self.values) - 1, -1, -1):
            if k in needed:
                needed.update(self.values[k].reads)
        work = [k for k in sorted(needed) if self.values[k].kernel is not None]
        readers: dict[int, int] = dict.fromkeys(wanted, 2)  # a wanted value is never passed by
        for k in work:
            for read in self.values[k].reads:
                readers[read] = readers.get(read, 0) + 1
        return Program(self.values, inputs, wanted, *_fused(self.values, work, readers))


def _fused(
    values: Sequence[_Value], work: Sequence[int], readers: Mapping[int, int]
) -> tuple[list[int], dict[int, tuple[Kernel, tuple[int, ...]]]]:
    """Let a sum add a gather or spread row by row, where nothing else reads that: work left, and the kernels changed."""
    changed: dict[int, tuple[Kernel, tuple[int, ...]]] = {}
    dropped: set[int] = set()
    for k in work:
        value = values[k]
        if value.kernel is not np.add:
            continue
        for this, other in (value.reads[::-1], value.reads):
            mixed = values[this].added
            if mixed is not None and readers[this] == 1 and values[other].shape == value.shape and this not in changed:
                changed[k] = (mixed, (other, values[this].reads[0]))
                dropped.add(this)
                break
    return [k for k in work if k not in dropped], changed


class Program:
    """Straight-line work on a block of trials, with the places in memory of its values. Not for two threads at once."""

    def __init__(
        self,
        values: Sequence[_Value],
        inputs: Mapping[str, int],
        wanted: Sequence[int],
        work: Sequence[int],
        changed: Mapping[int, tuple[Kernel, tuple[int, ...]]],
    ) -> None:
        self.inputs = dict(inputs)
        self.wanted = tuple(wanted)
        self.figures = {k: value.figures for k, value in enumerate(values) if value.figures is not None}
        self.places: list[tuple[tuple[int, ...], type]] = []  # shape without the trials, kind
        self.place: dict[int, int] = {}
        self.work: list[tuple[Kernel, tuple[int, ...], int | None, int]] = []  # kernel, reads, place of a spare, value
        last: dict[int, int] = {}
        for position, k in enumerate(work):
            for read in changed[k][1] if k in changed else values[k].reads:
                last[read] = position
        kept = {*wanted, *inputs.values()}
        free: dict[tuple[tuple[int, ...], type], list[int]] = {}

        def take(kind: tuple[tuple[int, ...], type]) -> int:
            if free.get(kind):
                return free[kind].pop()
            self.places.append(kind)
            return len(self.places) - 1

        for k in inputs.values():
            self.place[k] = take((values[k].shape, values[k].dtype))
        for position, k in enumerate(work):
            value, kind = values[k], (values[k].shape, values[k].dtype)
            kernel, reads = changed.get(k, (value.kernel, value.reads))
            assert kernel is not None
            ends = {r for r in reads if last[r] == position and r in self.place and r not in kept}
            over = [r for r in reads if r in ends and self.places[self.place[r]] == kind] if value.elementwise else []
            if k in changed:
                over = [r for r in reads[:1] if r in ends]
            if over:
                ends.discard(over[0])
                self.place[k] = self.place[over[0]]
            else:
                self.place[k] = take(kind)
            spare = take(kind) if value.spare else None
            self.work.append((kernel, reads, spare, k))
            for r in ends:
                free.setdefault(self.places[self.place[r]], []).append(self.place[r])
            if spare is not None:
                free.setdefault(kind, []).append(spare)
        self._laid: dict[int, tuple[list[FloatArray], list[Call]]] = {}

    def run(self, values: Mapping[str, FloatArray], trials: int) -> list[FloatArray]:
        """Return the wanted values at inputs, each a vector of `trials` or one figure. Shapes (rows, trials or 1)."""
        arrays, calls = self._lay_out(trials)
        for path, k in self.inputs.items():
            arrays[self.place[k]][...] = values[path]
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            for kernel, reads, out in calls:
                kernel(*reads, **out)
        return [arrays[self.place[k]].copy() if k in self.place else self.figures[k] for k in self.wanted]

    def calls(self, trials: int) -> list[Call]:
        """Return the work on a block of `trials` as calls in order: kernel, what it reads, what it writes to."""
        return self._lay_out(trials)[1]

    def _lay_out(self, trials: int) -> tuple[list[FloatArray], list[Call]]:
        """Return the arrays of all places for a block of `trials`, and the work as calls on them."""
        if trials not in self._laid:
            self._laid.clear()  # blocks are of one size, but for the last
            arrays: list[FloatArray] = [np.empty((*shape, trials), dtype) for shape, dtype in self.places]

            def array(k: int) -> FloatArray:
                return arrays[self.place[k]] if k in self.place else self.figures[k]

            calls: list[Call] = []
            for kernel, reads, spare, k in self.work:
                more = () if spare is None else (arrays[spare],)
                calls.append((kernel, (*map(array, reads), *more), {"out": arrays[self.place[k]]}))
            self._laid[trials] = (arrays, calls)
        return self._laid[trials]
