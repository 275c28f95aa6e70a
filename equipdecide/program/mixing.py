"""Rows moved between axes: matrices of figures times values, by matrix product or row by row, whichever takes less."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

import numpy as np

from equipdecide.calendar import FloatArray
from equipdecide.program.kernels import PASS, ROW, TERM, Call, Kernel, one_figure, products, to_out

Stretch = tuple[int, int, int, int, float]  # first row written, rows written; first row read, rows read; times what


class AddedRows(Kernel):
    """A value, and weighted rows of others added to its rows: only the rows that get something are touched."""

    name, over = "rows added", 1

    def __init__(self, constant: FloatArray, matrices: Sequence[FloatArray]) -> None:
        self.constant, self.stretches = constant, [Stretches(matrix) for matrix in matrices]

    def cost(self) -> float:
        """Return the estimated time of one trial [ns]."""
        added = sum(stretches.cost for stretches in self.stretches)
        return added + (len(self.constant) * PASS if self.constant.any() else 0.0)

    def spares(self, rows: int) -> tuple[int, ...]:
        """Return one row for a weighted row."""
        return (1,)

    def lay(self, reads: Sequence[FloatArray], out: FloatArray, spares: Sequence[FloatArray]) -> list[Call]:
        """Return the calls."""
        calls: list[Call] = [] if reads[0] is out else [(np.copyto, (out, reads[0]))]
        for x, stretches in zip(reads[1:], self.stretches, strict=True):
            calls += _add_rows(x, stretches, out, spares[0])
        if self.constant.any():
            calls.append(to_out(out, np.add, out, one_figure(self.constant)))
        return calls


class Mixed(Kernel):
    """A constant, and matrices times values added up.

    What a matrix holds decides how it is worked: many weights in one matrix product over all such values, put below
    each other; few weights row by row.
    """

    name = "mixed"

    def __init__(self, constant: FloatArray, matrices: Sequence[FloatArray]) -> None:
        self.constant, self.matrices = constant, list(matrices)
        self.rows = len(constant)
        self.scale: FloatArray | None = None  # of each row, where its weights are equal
        self.product: FloatArray | None = None
        self.own_row = False  # the constant is one more row, of ones
        self.dense, self.stretches = [True] * len(self.matrices), list[Stretches]()
        if self.outer:
            return
        if len(self.matrices) == 1 and self.matrices[0].shape[1] > 1:
            (matrix,) = self.matrices
            most = np.abs(matrix).max(axis=1, keepdims=True)
            if bool(((matrix == most) | (matrix == 0.0)).all()) and (most > 0.0).all() and (most != 1.0).any():
                self.scale, self.matrices = most, [np.sign(matrix)]
        self.stretches = [Stretches(m) for m in self.matrices]
        self.dense = [
            self.rows * m.shape[1] * TERM + m.shape[1] * PASS < each.cost
            for m, each in zip(self.matrices, self.stretches, strict=True)
        ]
        if not any(self.dense):
            whole = sum(each.cost for each in self.stretches)
            self.dense = [self.rows * (PASS + sum(m.shape[1] for m in self.matrices) * TERM) < whole] * len(self.dense)
        joined = [m for m, dense in zip(self.matrices, self.dense, strict=True) if dense]
        self.own_row = len(joined) > 1 and bool(constant.any())
        if self.own_row:
            joined.append(constant)
        if joined:
            self.product = np.ascontiguousarray(np.concatenate(joined, axis=1))

    @property
    def outer(self) -> bool:
        """Tell whether it is a profile times one row."""
        return len(self.matrices) == 1 and self.matrices[0].shape[1] == 1

    def cost(self) -> float:
        """Return the estimated time of one trial [ns]."""
        passes = 1 + (bool(self.constant.any()) and not self.own_row) + (self.scale is not None)
        spent = self.rows * PASS * passes
        if self.outer:
            return spent
        if self.product is not None:
            spent += self.product.size * TERM + (sum(self.dense) > 1) * self.product.shape[1] * PASS
        return spent + sum(each.cost for each, dense in zip(self.stretches, self.dense, strict=True) if not dense)

    def spares(self, rows: int) -> tuple[int, ...]:
        """Return the values below each other, and one row for a weighted row."""
        if self.outer:
            return ()
        stacked = self.product.shape[1] if self.product is not None and sum(self.dense) > 1 else 0
        return (*((stacked,) if stacked else ()), *((1,) if not all(self.dense) else ()))

    def lay(self, reads: Sequence[FloatArray], out: FloatArray, spares: Sequence[FloatArray]) -> list[Call]:
        """Return the calls."""
        calls: list[Call] = []
        left = self.constant
        if self.outer:
            calls.append(to_out(out, np.multiply, reads[0], one_figure(self.matrices[0])))
        elif self.product is not None:
            values = [x for x, dense in zip(reads, self.dense, strict=True) if dense]
            stack = values[0]
            if len(values) > 1:
                stack, row = spares[0], 0
                for x in values:
                    calls.append((np.copyto, (stack[row : row + len(x)], x)))
                    row += len(x)
                if self.own_row:
                    calls.append((np.copyto, (stack[row], 1.0)))
                    left = np.zeros((self.rows, 1))
            calls += products(self.product, stack, out)
        if not self.outer and not all(self.dense):
            begun = self.product is not None
            untouched = set() if begun else set(range(self.rows))
            for x, stretches, dense in zip(reads, self.stretches, self.dense, strict=True):
                if not dense:
                    calls += _add_rows(x, stretches, out, spares[-1], untouched)
            calls += [(np.copyto, (out[first : last + 1], 0.0)) for first, last in _runs(sorted(untouched))]
        if self.scale is not None:
            calls.append(to_out(out, np.multiply, out, one_figure(self.scale)))
        if left.any():
            calls.append(to_out(out, np.add, out, one_figure(left)))
        return calls


class Stretches:
    """The weights of a matrix that are not zero, those taken together that are equal and follow each other.

    They follow each other row by row (as many rows written as read) or within a row (a sum of rows).
    """

    def __init__(self, matrix: FloatArray) -> None:
        row, read = np.nonzero(matrix)
        weight = matrix[row, read]
        if matrix.shape[1] == 1:
            one = np.ones_like(row)
            self._parts = row, one, read, one, weight
            self.cost = ROW * float(2 * len(row) - np.count_nonzero(np.abs(weight) == 1.0))
            return
        near = (np.diff(weight) == 0.0) & (np.diff(read) == 1)
        within, down = near & (np.diff(row) == 0), near & (np.diff(row) == 1)
        beside = within.copy()  # a step down next to a sum begins another sum
        beside[1:] |= within[:-1]
        beside[:-1] |= within[1:]
        begins = np.flatnonzero(np.concatenate([[True], ~(within | (down & ~beside))])) if len(row) else row
        length = np.diff(np.append(begins, len(row)))
        summed = (length > 1) & (within[np.minimum(begins, len(within) - 1)] if len(within) else False)
        self._parts = row[begins], np.where(summed, 1, length), read[begins], length, weight[begins]
        calls = np.where(np.abs(weight[begins]) == 1.0, 1.0, 2.0 * self._parts[1]) + summed
        self.cost = float((ROW * calls + PASS * (length - 1)).sum())  # processor time [ns a trial]

    def __iter__(self) -> Iterator[Stretch]:
        return zip(*(part.tolist() for part in self._parts), strict=True)


def _runs(rows: Sequence[int]) -> Iterator[tuple[int, int]]:
    """Yield the first and last of rows that follow each other."""
    for position, row in enumerate(rows):
        if position == 0 or rows[position - 1] != row - 1:
            first = row
        if position + 1 == len(rows) or rows[position + 1] != row + 1:
            yield first, row


def _add_rows(
    x: FloatArray,
    stretches: Iterable[Stretch],
    out: FloatArray,
    spare: FloatArray,
    untouched: set[int] | None = None,
) -> list[Call]:
    """Return the calls that add weighted rows of `x`; rows still `untouched` are written, and are so no longer."""
    calls: list[Call] = []
    for row, written, first, read, weight in stretches:
        rows = range(row, row + written)
        new = untouched is not None and untouched.issuperset(rows)
        if not new and written > 1 and (abs(weight) != 1.0 or not (untouched or set()).isdisjoint(rows)):  # one by one
            apart: list[Stretch] = [(row + n, 1, first + n, 1, weight) for n in range(written)]
            calls += _add_rows(x, apart, out, spare, untouched)
            continue
        (untouched or set()).difference_update(rows)
        to, part, times = out[row : row + written], x[first : first + read], np.array(weight)
        if read > written:
            calls.append(to_out(to if new else spare, np.add.reduce, part, axis=0, keepdims=True))
            if new:
                calls += [] if weight == 1.0 else [to_out(to, np.multiply, to, times)]
                continue
            part = spare
        if new:
            calls.append((np.copyto, (to, part)) if weight == 1.0 else to_out(to, np.multiply, part, times))
        elif abs(weight) == 1.0:
            calls.append(to_out(to, np.add if weight == 1.0 else np.subtract, to, part))
        else:
            calls.append(to_out(spare, np.multiply, part, times))
            calls.append(to_out(to, np.add, to, spare))
    return calls
