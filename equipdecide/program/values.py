"""The values of a program: what each rests on, equal ones once, figures worked out at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from equipdecide.calendar import FloatArray
from equipdecide.program import sums
from equipdecide.program.kernels import Kernel, run_calls
from equipdecide.program.sums import Sum


@dataclass(slots=True)
class Value:
    """One value: the kernel that makes it of others; or a sum; or its figures, where it rests on no doubtful input."""

    shape: tuple[int, ...]  # without the trials
    dtype: type = np.float64
    kernel: Kernel | None = None  # None: figures, an input, or a sum
    reads: tuple[int, ...] = ()
    figures: FloatArray | None = None
    kept: Sum | None = None  # a sum that is kept: what is linear in it is taken from its terms
    written: Sum | None = None  # a sum, kept or not: how its rows are written where somebody reads them
    moved: tuple[FloatArray, int] | None = None  # the matrix and the value of which a sum is the product
    read: bool = False  # somebody reads its rows
    inner: tuple[int, ...] = ()  # of a carry-forward: values whose rows it works out on the way


class Values:
    """Values, known by their number."""

    def __init__(self) -> None:
        self.values: list[Value] = []
        self.known: dict[object, int] = {}
        self.carrying: set[int] = set()  # while a carry-forward is read: what rests on its row before

    def new(self, key: object, value: Value) -> int:
        """Take in a value and return its number; `key` is equal for equal values."""
        self.values.append(value)
        self.known[key] = len(self.values) - 1
        return len(self.values) - 1

    def input(self) -> int:
        """Return a new value that is set for every block."""
        return self.new(("input", len(self.values)), Value((1,)))

    def figures(self, array: FloatArray) -> int:
        """Return the value of figures that do not vary by trial: shape (rows, 1) or (width, rows, 1)."""
        key = ("figures", array.shape, array.dtype.char, array.tobytes())
        found = self.known.get(key)
        return self.new(key, Value(array.shape[:-1], array.dtype.type, figures=array)) if found is None else found

    def made(
        self, what: object, kernel: Kernel, reads: tuple[int, ...], shape: tuple[int, ...], dtype: type = np.float64
    ) -> int:
        """Return the value a kernel makes; figures where it reads nothing but figures."""
        key = (what, reads)
        found = self.known.get(key)
        if found is not None:
            return found
        arrays = [array for k in reads if (array := self.values[k].figures) is not None]
        if len(arrays) < len(reads):
            for k in reads:
                self.values[k].read = True
            found = self.new(key, Value(shape, dtype, kernel, reads))
            if self.carrying.intersection(reads):
                self.carrying.add(found)
            return found
        out: FloatArray = np.empty((*shape, 1), dtype)
        spares = [np.empty((rows, 1)) for rows in kernel.spares(shape[0])]
        run_calls(kernel.lay(arrays, out, spares))
        self.known[key] = self.figures(out)
        return self.known[key]

    def as_sum(self, k: int) -> Sum:
        """Return a value as a sum."""
        value = self.values[k]
        if value.figures is not None:
            return sums.figures(value.figures.astype(np.float64, copy=False))
        return value.kept or sums.value(k, value.shape[0])

    def times(self, matrix: FloatArray, k: int) -> Sum:
        """Return a matrix of figures, (rows, rows of the value), times a value as a sum."""
        value = self.values[k]
        if value.figures is None and value.kept is None and value.shape[0] == matrix.shape[1]:
            return sums.product(matrix, k)
        return self.as_sum(k).mapped(matrix)

    def height(self, k: int) -> int:
        """Return how many rows of other values a value rests on, as a sum; without a sum, its own rows."""
        value = self.values[k]
        return 0 if value.figures is not None else value.shape[0] if value.kept is None else value.kept.height

    def sum(self, summed: Sum) -> int:
        """Return the value of a sum: kept as one where that pays, else written out."""
        if not summed.terms:
            return self.figures(np.array(summed.constant))
        if len(summed.terms) == 1 and not summed.constant.any():
            ((k, matrix),) = summed.terms.items()
            if matrix.shape[0] == matrix.shape[1] and np.array_equal(matrix, np.eye(summed.rows)):
                return k
        found = self.known.get(summed.key)
        if found is None:
            value = Value(
                (summed.rows,), reads=tuple(summed.terms), written=summed, kept=summed if summed.pays else None
            )
            found = self.new(summed.key, value)
        return found

    def cost(self, k: int) -> float:
        """Return what it takes to have the rows of a value [ns a trial], beyond what is done anyway."""
        value = self.values[k]
        return 0.0 if value.kept is None or value.read else value.kept.kernel.cost()
