"""Values as sums: a constant, and figures' matrices times other values.

What a formula adds, scales, gathers, spreads or discounts with figures stays such a sum, and only its matrices change:
120 months that rest on ten yearly values are a matrix of 120 by 10 until something bends (a larger of two, a rounding).
Sums of months to years, present worths and running totals are then worked from the ten.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from equipdecide.calendar import FloatArray
from equipdecide.program.kernels import PASS, TERM, products
from equipdecide.program.mixing import Mixed

PASSES = 8  # a sum is kept while writing it out costs no more than this many operations on its rows


@dataclass(frozen=True, eq=False)
class Sum:
    """`constant` (rows, 1) plus, for each term, its matrix (rows, rows of the value) times the value of that number."""

    constant: FloatArray
    terms: Mapping[int, FloatArray]

    @property
    def rows(self) -> int:
        """Rows of the sum."""
        return len(self.constant)

    @cached_property
    def height(self) -> int:
        """Rows of the values it rests on."""
        return sum(matrix.shape[1] for matrix in self.terms.values())

    @cached_property
    def kernel(self) -> Mixed:
        """The work of writing it out; it reads the values in the order of `terms`."""
        return Mixed(self.constant, list(self.terms.values()))

    @cached_property
    def pays(self) -> bool:
        """Tell whether it is better kept as a sum: fewer rows under it than in it, and not dear to write out."""
        height = self.height
        if height >= self.rows:
            return False
        as_product = self.rows * (PASS + (height + 1) * TERM) + (height + 1) * PASS  # it costs no more than this
        most = PASSES * PASS * self.rows
        return as_product <= most or self.kernel.cost() <= most

    @cached_property
    def key(self) -> object:
        """Equal for equal sums."""
        terms = sorted(self.terms.items())
        return ("sum", self.constant.tobytes(), tuple((k, m.shape, m.tobytes()) for k, m in terms))

    def on(self, rows: int) -> Sum:
        """Return the same on so many rows: a sum of one row stands in each of them."""
        if self.rows == rows:
            return self
        each = _ones(rows)
        return Sum(each * self.constant, {k: each if m is ONE else each @ m for k, m in self.terms.items()})

    def plus(self, other: Sum, sign: float = 1.0) -> Sum:
        """Return the sum of both, or the difference."""
        rows = max(self.rows, other.rows)
        one, two = self.on(rows), other.on(rows)
        terms = dict(one.terms)
        for k, matrix in two.terms.items():
            terms[k] = terms[k] + sign * matrix if k in terms else sign * matrix
        return Sum(one.constant + sign * two.constant, {k: m for k, m in terms.items() if m.any()})

    def times(self, figures: FloatArray) -> Sum:
        """Return it times figures, shape (rows, 1) or (1, 1)."""
        found = {k: m * figures for k, m in self.terms.items()}
        return Sum(self.constant * figures, {k: m for k, m in found.items() if m.any()})

    def mapped(self, matrix: FloatArray) -> Sum:
        """Return a matrix of figures, shape (rows, rows of this), times it."""
        if matrix.shape[1] != self.rows:
            return self.on(matrix.shape[1]).mapped(matrix)
        found = {k: _product(matrix, m) for k, m in self.terms.items()}
        return Sum(matrix @ self.constant, {k: m for k, m in found.items() if m.any()})

    def running(self) -> Sum:
        """Return its running total."""
        return Sum(np.cumsum(self.constant, axis=0), {k: np.cumsum(m, axis=0) for k, m in self.terms.items()})

    def picked(self, rows: list[int]) -> Sum:
        """Return some of its rows."""
        return Sum(self.constant[rows], {k: m[rows] for k, m in self.terms.items()})


ONE = np.ones((1, 1))


@lru_cache(maxsize=512)
def _ones(rows: int) -> FloatArray:
    return np.ones((rows, 1))


@lru_cache(maxsize=512)
def _zeros(rows: int) -> FloatArray:
    return np.zeros((rows, 1))


def value(k: int, rows: int) -> Sum:
    """Return a value as the sum of itself alone."""
    return Sum(_zeros(rows), {k: ONE if rows == 1 else np.eye(rows)})


def product(matrix: FloatArray, k: int) -> Sum:
    """Return a matrix of figures times a value."""
    return Sum(_zeros(len(matrix)), {k: matrix})


def _product(a: FloatArray, b: FloatArray) -> FloatArray:
    out = np.empty((len(a), b.shape[1]))
    for function, arguments in products(np.ascontiguousarray(a), b, out):
        function(*arguments)
    return out


def figures(array: FloatArray) -> Sum:
    """Return figures as a sum without terms."""
    return Sum(array, {})


def kinds(all_sums: Sequence[Sum]) -> tuple[list[int], FloatArray]:
    """Return a row of each kind that is different in some of these sums, and the matrix (rows, kinds) of which is
    which.

    The kinds stand in an order of their own, so that sums with equal kinds of rows have them in one order.
    """
    rested = [array for each in all_sums for array in (each.constant, *each.terms.values())]
    of_kind: dict[bytes, list[int]] = {}
    for row, rests in enumerate(np.concatenate(rested, axis=1)):
        of_kind.setdefault(rests.tobytes(), []).append(row)
    matrix = np.zeros((len(rested[0]), len(of_kind)))
    found = []
    for k, kind in enumerate(sorted(of_kind)):
        matrix[of_kind[kind], k] = 1.0
        found.append(of_kind[kind][0])
    return found, matrix


def least_rows(summed: Sum) -> list[int]:
    """Return the rows among which the least of all rows is always found, whatever the values are.

    Of rows with equal matrices the one with the lowest constant is left. Where the matrices of rows that follow each
    other go along a straight line, a row between two others is at least the lower of the two if its constant is on or
    above the line between theirs: what is left is the lower hull.
    """
    whole, constant = np.concatenate(list(summed.terms.values()), axis=1), summed.constant[:, 0]
    if not (np.isfinite(whole).all() and np.isfinite(constant).all()):
        return list(range(summed.rows))
    lowest: dict[bytes, int] = {}
    for row in range(summed.rows):
        same = whole[row].tobytes()
        if same not in lowest or constant[row] < constant[lowest[same]]:
            lowest[same] = row
    rows = sorted(lowest.values())
    whole, constant = whole[rows], constant[rows]
    kept, first = [0], 0
    while first < len(rows) - 1:
        last, along = _straight(whole, first)
        hull = [first]
        for row in range(first + 1, last + 1):
            while len(hull) > 1:
                a, b = hull[-2], hull[-1]
                to_row, to_b = along[row - first] - along[a - first], along[b - first] - along[a - first]
                if (constant[b] - constant[a]) * to_row < (constant[row] - constant[a]) * to_b:
                    break  # b lies below the line from a to here
                hull.pop()
            hull.append(row)
        kept += hull[1:]
        first = last
    return [rows[k] for k in kept]


def _straight(matrix: FloatArray, first: int) -> tuple[int, FloatArray]:
    """Return up to which row the rows from `first` go along one line in one direction, and how far along each is."""
    step = matrix[first + 1] - matrix[first]
    size = float(step @ step)
    moved = matrix[first:] - matrix[first]
    along: FloatArray = moved @ step / size
    off = np.abs(moved - along[:, None] * step).max(axis=1) <= 1e-12 * np.abs(matrix[first:]).max(axis=1)
    off[1:] &= np.diff(along) > 0.0
    last = first + 1
    while last + 1 < len(matrix) and off[last + 1 - first]:
        last += 1
    return last, along[: last - first + 1]
