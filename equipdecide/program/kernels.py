"""What a program's operations do to arrays: each laid out, once its arrays are known, as calls of numpy in order.

A kernel is named, says what it needs besides (further arrays of some rows), whether it may write over what it reads,
and gives its calls. Row by row work (running sums, carry-forwards, rows moved between axes) is laid out as one call a
row on views made beforehand, so that a block runs without taking an array apart. All arrays are (rows, trials); figures
are (rows, 1).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from itertools import pairwise
from typing import Any

import numpy as np

from equipdecide import formula as language
from equipdecide.calendar import FloatArray

Call = tuple[Callable[..., Any], tuple[Any, ...]]

# Processor time [ns a trial], measured on blocks of two thousand trials: what choices between ways of working rest on.
PASS = 0.2  # one operation on one row, as part of many rows
ROW = 0.65  # the same in a call of its own
TERM = 0.04  # a row read, for a row written, in a matrix product

# Multiplications in one matrix product, and in one of a single row, up to which libraries of linear algebra use one
# thread:
# in products so small the others cost more, in waiting for each other, than they save.
ONE_THREAD, ONE_THREAD_ONE_ROW = 2**18, 9_000

_BY_NAME = (np.maximum, np.minimum)  # their third place is no place to write to


def to_out(out: FloatArray, function: Callable[..., Any], *reads: Any, **more: Any) -> Call:
    """Return the call that writes to `out`; by its place where it can be, which takes a third less
    time than by name.
    """
    if isinstance(function, np.ufunc) and not more and function not in _BY_NAME:
        return function, (*reads, out)
    return partial(function, out=out, **more), reads


def products(matrix: FloatArray, values: FloatArray, out: FloatArray) -> list[Call]:
    """Return the calls of a matrix product, over so many columns at a time that none is shared out among threads."""
    most = (ONE_THREAD if len(matrix) > 1 else ONE_THREAD_ONE_ROW) // matrix.size
    columns = max(most // 32 * 32, 32)
    return [
        to_out(out[:, first : first + columns], np.matmul, matrix, values[:, first : first + columns])
        for first in range(0, values.shape[1], columns)
    ]


class Kernel:
    """One operation. `over`: of how many of the values it reads, from the first on, it may write over one."""

    name = ""
    over = 0

    def spares(self, rows: int) -> tuple[int, ...]:
        """Return the rows of each further array it needs to write `rows`."""
        return ()

    def lay(self, reads: Sequence[FloatArray], out: FloatArray, spares: Sequence[FloatArray]) -> list[Call]:
        """Return the calls that write to `out` what is made of `reads`."""
        raise NotImplementedError


class Plain(Kernel):
    """One call."""

    def __init__(self, name: str, function: Callable[..., Any], over: int = 0) -> None:
        self.name, self.function, self.over = name, function, over

    def lay(self, reads: Sequence[FloatArray], out: FloatArray, spares: Sequence[FloatArray]) -> list[Call]:
        """Return the one call."""
        return [to_out(out, self.function, *[one_figure(x) if self.over else x for x in reads])]


def _copy(x: FloatArray, out: FloatArray) -> None:
    np.copyto(out, x)


def _where(condition: FloatArray, yes: FloatArray, no: FloatArray, out: FloatArray) -> None:
    chosen = condition if condition.dtype == np.bool_ else condition != 0
    if yes is out:
        np.copyto(out, no, where=np.logical_not(chosen))
        return
    np.copyto(out, no)
    np.copyto(out, yes, where=chosen)


def _pick(x: FloatArray, k: FloatArray, out: FloatArray) -> None:
    out[...] = language.pick(x, k)


def _lookup(key: FloatArray, x: FloatArray, y: FloatArray, out: FloatArray) -> None:
    out[...] = language.lookup(key, x, y)


def _total(x: FloatArray, out: FloatArray) -> None:
    np.add.reduce(x, axis=0, keepdims=True, out=out)


def _smallest(x: FloatArray, out: FloatArray) -> None:
    np.minimum.reduce(x, axis=0, keepdims=True, out=out)


class Weighted(Kernel):
    """The sum over all rows of a product."""

    name = "weighted"
    few = 40  # rows up to which their product stays near the processor while it is added up

    def __init__(self, rows: int) -> None:
        self.read = rows

    def spares(self, rows: int) -> tuple[int, ...]:
        """Return one array for the product."""
        return (self.read,) if self.read <= self.few else ()

    def lay(self, reads: Sequence[FloatArray], out: FloatArray, spares: Sequence[FloatArray]) -> list[Call]:
        """Return the calls."""
        x, y = reads
        if y.shape[1] == 1:
            return products(np.ascontiguousarray(y.T), x, out)
        if x.shape[1] == 1:
            return products(np.ascontiguousarray(x.T), y, out)
        if not spares:
            return [to_out(out[0], np.einsum, "ij,ij->j", x, y)]
        return [to_out(spares[0], np.multiply, x, y), to_out(out, np.add.reduce, spares[0], axis=0, keepdims=True)]


class Chosen(Kernel):
    """One or the other by a condition; where that is figures, the rows of each are copied."""

    name, over = "where", 3

    def lay(self, reads: Sequence[FloatArray], out: FloatArray, spares: Sequence[FloatArray]) -> list[Call]:
        """Return the calls: one, or one for each stretch of rows of one choice."""
        condition, yes, no = reads
        if condition.ndim < 2 or condition.shape[1] > 1 or len(condition) != len(out):
            return [to_out(out, _where, *reads)]
        ends = [0, *(np.flatnonzero(np.diff(condition[:, 0] != 0)) + 1).tolist(), len(out)]
        calls: list[Call] = []
        for first, end in pairwise(ends):
            chosen = yes if condition[first, 0] else no
            if chosen is not out:
                calls.append((np.copyto, (out[first:end], chosen[first:end] if len(chosen) == len(out) else chosen)))
        return calls


class Rounded(Kernel):
    """To a unit, halves away from zero: the same rule as in the formula's language, in fewer passes.

    What is read is in units, the relative lift of that rule in it: see :attr:`scale`.
    """

    name, over = "rounded", 1

    def __init__(self, unit: float) -> None:
        self.unit = unit
        self.scale = (1 + 1e-12) / unit  # what an amount is to be multiplied by before

    def spares(self, rows: int) -> tuple[int, ...]:
        """Return one array for the sign."""
        return (rows,)

    def lay(self, reads: Sequence[FloatArray], out: FloatArray, spares: Sequence[FloatArray]) -> list[Call]:
        """Return the calls: half a unit and the lift of `formula._round` added away from zero, the rest cut off."""
        (x,), (half,) = reads, spares
        calls: list[Call] = [
            to_out(half, np.copysign, np.array(0.5 + 1e-9), x),
            to_out(out, np.add, x, half),
            to_out(out, np.trunc, out),
        ]
        return calls + ([] if self.unit == 1.0 else [to_out(out, np.divide, out, np.array(1 / self.unit))])


class Ceiling(Kernel):
    """The next whole number at or above."""

    name, over = "ceiling", 1

    def lay(self, reads: Sequence[FloatArray], out: FloatArray, spares: Sequence[FloatArray]) -> list[Call]:
        """Return the calls, with the lift of the formula's language."""
        return [to_out(out, np.subtract, reads[0], 1e-9), to_out(out, np.ceil, out)]


class Previous(Kernel):
    """The row before; in the first row a start."""

    name = "previous"

    def lay(self, reads: Sequence[FloatArray], out: FloatArray, spares: Sequence[FloatArray]) -> list[Call]:
        """Return the calls: two copies."""
        x, start = reads
        calls: list[Call] = [(np.copyto, (out[0], start[0]))]
        if len(out) > 1:
            calls.append((np.copyto, (out[1:], x[:-1] if len(x) > 1 else x)))
        return calls


class Compounded(Kernel):
    """The exponential of a profile times one row, each row from the row before: discounting from month to month.

    There are few different steps from row to row (28 to 31 days), and a product takes a fraction of an exponential.
    """

    name = "compounded"

    def __init__(self, profile: FloatArray) -> None:
        self.first = np.array(profile[0])
        steps = np.diff(profile)
        size = float(np.abs(profile).max()) or 1.0
        known, self.of = np.unique(np.round(steps / size, 13), return_inverse=True)
        self.steps = [np.array(steps[self.of == k][0]) for k in range(len(known))]
        away = bool((np.diff(np.abs(profile)) >= 0.0).all() and (profile >= 0.0).all() | (profile <= 0.0).all())
        self.pays = away and len(known) * 4 < len(profile)  # away from one: what runs over or to nothing stays there

    def spares(self, rows: int) -> tuple[int, ...]:
        """Return a row for each step."""
        return (len(self.steps),)

    def lay(self, reads: Sequence[FloatArray], out: FloatArray, spares: Sequence[FloatArray]) -> list[Call]:
        """Return the calls, row by row."""
        one, factors = reads[0][0], spares[0]
        calls: list[Call] = []
        for row, step in [(out[0], self.first), *zip(factors, self.steps, strict=True)]:
            calls += [to_out(row, np.multiply, one, step), to_out(row, np.exp, row)]
        return calls + [
            to_out(out[row + 1], np.multiply, out[row], factors[k]) for row, k in enumerate(self.of.tolist())
        ]


class Running(Kernel):
    """The sum of the rows so far."""

    name, over = "running", 1

    def lay(self, reads: Sequence[FloatArray], out: FloatArray, spares: Sequence[FloatArray]) -> list[Call]:
        """Return the calls, row by row."""
        (x,) = reads
        calls: list[Call] = [] if x is out else [(np.copyto, (out[0], x[0]))]
        return calls + [to_out(out[row], np.add, out[row - 1], x[row]) for row in range(1, len(x))]


class Brackets(Kernel):
    """The progressive sum."""

    name = "brackets"

    def spares(self, rows: int) -> tuple[int, ...]:
        """Return one array for the part above a threshold."""
        return (rows,)

    def lay(self, reads: Sequence[FloatArray], out: FloatArray, spares: Sequence[FloatArray]) -> list[Call]:
        """Return the calls.

        Where thresholds t and rates are figures, with d the rise of the rate, the sum of d times max(x - t, 0) is the
        sum of d times max(x, t), less that of d times t: one pass less for each bracket.
        """
        (income, over, rate), (part,) = reads, spares
        rise = np.diff(rate, axis=0, prepend=0.0) if rate.shape[-1] == 1 else None
        if rise is None or over.shape[-1] != 1 or not (np.isfinite(over).all() and np.isfinite(rise).all()):
            return [to_out(out, _by_bracket, income, over, rate, part)]
        calls: list[Call] = []
        for threshold, step in zip(over, rise, strict=True):
            into = part if calls else out
            calls.append(to_out(into, np.maximum, income, one_figure(threshold)))
            calls.append(to_out(into, np.multiply, into, one_figure(step)))
            if into is part:
                calls.append(to_out(out, np.add, out, part))
        below = (over * rise).sum(axis=0)
        return [*calls, *([to_out(out, np.subtract, out, one_figure(below))] if below.any() else [])]


def one_figure(column: FloatArray) -> FloatArray:
    """Return equal figures as one, without axes: numpy takes that in half the time of a column's."""
    if column.ndim < 2 or column.shape[1] > 1 or not bool((column == column[0]).all()):
        return column
    figure: FloatArray = column[0].reshape(())
    return figure


def _by_bracket(income: FloatArray, over: FloatArray, rate: FloatArray, part: FloatArray, out: FloatArray) -> None:
    out[...] = 0.0
    before: FloatArray | float = 0.0
    for threshold, share in zip(over, rate, strict=True):
        np.subtract(income, threshold, out=part)
        np.maximum(part, 0.0, out=part)
        np.multiply(part, share - before, out=part)
        np.add(out, part, out=out)
        before = share


class Evaluated(Kernel):
    """A column that no formula states."""

    name = "computed"

    def __init__(self, run: language.Evaluator) -> None:
        self.run = run

    def lay(self, reads: Sequence[FloatArray], out: FloatArray, spares: Sequence[FloatArray]) -> list[Call]:
        """Return the one call of its function."""
        return [to_out(out, self._into, *reads)]

    def _into(self, *reads: FloatArray, out: FloatArray) -> None:
        out[...] = self.run(*reads)


_ELEMENTWISE: dict[str, Callable[..., Any]] = {
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
PLAIN: dict[str, Kernel] = {
    "where": Chosen(),
    **{name: Plain(name, function, 9) for name, function in _ELEMENTWISE.items()},
}
OTHER: dict[str, Kernel] = {
    "cents": Rounded(0.01),
    "dollars": Rounded(1.0),
    "ceiling": Ceiling(),
    "prev": Previous(),
    "running": Running(),
    "total": Plain("total", _total),
    "smallest": Plain("smallest", _smallest),
    "pick": Plain("pick", _pick),
    "lookup": Plain("lookup", _lookup),
    "brackets": Brackets(),
}

# Elements. numpy copies a figure per row to its buffer unless a row fills it, which takes three times the work itself.
BUFFER = 512


def run_calls(calls: Sequence[Call]) -> None:
    """Do the calls, without a word on what divides by zero in trials that nobody takes."""
    before = np.setbufsize(BUFFER)
    try:
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            for function, arguments in calls:
                function(*arguments)
    finally:
        np.setbufsize(before)
