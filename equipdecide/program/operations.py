"""Operations on values: each in the way that takes the least work, by what it reads rests on."""

from __future__ import annotations

from functools import lru_cache
from itertools import chain
from typing import Any

import numpy as np
from numpy.typing import NDArray

from equipdecide import calendar as cal
from equipdecide.calendar import FloatArray
from equipdecide.program import sums
from equipdecide.program.kernels import OTHER, PASS, PLAIN, Compounded, Rounded, Weighted
from equipdecide.program.mixing import AddedRows
from equipdecide.program.sums import Sum
from equipdecide.program.values import Values

_EITHER_WAY = frozenset({"+", "*", "min", "max"})  # the same whichever comes first
_COMPARISONS = frozenset({"<", "<=", ">", ">=", "==", "!="})
_LARGEST_POWER = 64
_KINDS = 0.7  # part of the rows that may differ for an operation to be done once for each kind of row


class Operations(Values):
    """Values and the operations of the formulas' language on them."""

    def operation(self, operation: str, reads: tuple[int, ...], axis: cal.Axis, own: cal.Axis) -> int:
        """Return the value of one operation; `own` is the axis of the name just read, which alone may cross axes."""
        rows = len(axis)
        if operation in _EITHER_WAY:
            reads = tuple(sorted(reads))
        crosses = operation in ("gather", "spread", "during", "closing")
        key = (operation, own, axis, reads) if crosses else (operation, rows if operation == "prev" else 0, reads)
        if key not in self.known:
            self.known[key] = self._found(operation, reads, rows, own, axis)
        return self.known[key]

    def _found(self, operation: str, reads: tuple[int, ...], rows: int, own: cal.Axis, axis: cal.Axis) -> int:
        """Return the value of an operation that is not yet known."""
        values = [self.values[k] for k in reads]
        shapes = [value.shape for value in values]
        constant = all(value.figures is not None for value in values)
        if operation in PLAIN:
            return self._elementwise(operation, reads, max(shapes), constant)
        if operation in ("gather", "spread", "during", "closing"):
            return self._mapped(reads[0], _weights(operation, own, axis))
        if operation == "weighted":
            return self._weighted(reads[0], reads[1], own)
        if operation == "prev":
            return self._previous(reads[0], reads[1], rows)
        if operation in ("total", "running", "smallest"):
            return self._over_rows(operation, reads[0])
        shape = shapes[0]
        kernel = OTHER[operation]
        if isinstance(kernel, Rounded):
            scale = self.figures(np.array([[kernel.scale]]))
            reads = (self.operation("*", (reads[0], scale), axis, own),)
        elif operation == "pick":
            shape, index = shapes[1], values[1].figures
            if index is not None and not constant:
                return self._mapped(reads[0], _picking(index, shapes[0][0]))
        elif operation == "lookup":
            shape = shapes[0]
        elif operation == "brackets":
            shape = np.broadcast_shapes(shapes[0], *(each[1:] for each in shapes[1:]))
        return self.made(operation, kernel, reads, shape)

    def _elementwise(self, operation: str, reads: tuple[int, ...], shape: tuple[int, ...], constant: bool) -> int:
        """Return an operation done row by row; `constant` where it reads nothing but figures."""
        found = self._unchanged(operation, reads, shape)
        if found is None and operation == "/" and not constant:
            return self._quotient(*reads)
        rows = shape[0]
        if found is None and rows > 1 and not constant:
            found = self._rewritten(operation, reads)
            if found is None and self.carrying.isdisjoint(reads):
                found = self._smaller(operation, reads, rows)
        if found is not None:
            return found
        return self.made(
            operation, PLAIN[operation], reads, shape, np.bool_ if operation in _COMPARISONS else np.float64
        )

    def _smaller(self, operation: str, reads: tuple[int, ...], rows: int) -> int | None:
        """Return what takes less work than an operation on all rows, where something it reads rests on fewer."""
        small = added = True
        for k in reads:
            value = self.values[k]
            if value.dtype is not np.float64 or not (value.figures is None or np.isfinite(value.figures).all()):
                return None
            if value.kept is None and value.figures is None and value.shape[0] == rows:
                small = False
            elif value.kept is None:
                added = False
        found = None
        if operation == "exp" and small:
            found = self._compounded(reads[0], rows)
        if operation in ("+", "-", "*", "**", "negative") and (small or (added and operation in ("+", "-"))):
            found = self._linear(operation, reads, rows)
        if found is None and small and operation not in _COMPARISONS:
            found = self._by_class(operation, reads, rows)
        return found

    def _unchanged(self, operation: str, reads: tuple[int, ...], shape: tuple[int, ...]) -> int | None:
        """Return the value an operation leaves as it is: nothing added, multiplied by one, chosen
        throughout, twice limited.
        """
        if operation == "where":
            figures = self.values[reads[0]].figures
            if figures is not None and bool((figures != 0).all() or (figures == 0).all()):
                chosen = reads[1] if figures.flat[0] else reads[2]
                return chosen if self.values[chosen].shape == shape else self.sum(self.as_sum(chosen).on(shape[0]))
        for this, other in (reads, reads[::-1])[: 1 if operation == "-" else 2] if len(reads) == 2 else ():
            value, figures = self.values[this], self.values[other].figures
            if value.shape != shape or value.dtype is not np.float64:
                continue
            if operation in ("max", "min") and value.kernel is PLAIN[operation] and other in value.reads:
                return this
            neutral = {"+": 0.0, "-": 0.0, "*": 1.0}.get(operation)
            if neutral is not None and figures is not None and bool((figures == neutral).all()):
                return this
        return None

    def _linear(self, operation: str, reads: tuple[int, ...], rows: int) -> int | None:
        """Return a sum, difference or product that is kept as a sum, or made by adding to few rows;
        None: as it stands.
        """
        values = [self.values[k] for k in reads]
        a = reads[0]
        if operation == "negative":
            return None if values[0].kept is None else self.sum(values[0].kept.times(np.array([[-1.0]])))
        b = reads[-1]
        if operation == "*":
            for this, other in ((a, b), (b, a)):
                figures = self.values[other].figures
                if figures is not None:
                    return self.sum(self.as_sum(this).times(figures)) if self.height(this) < rows else None
            return self._product(a, b, rows)
        if operation == "**":
            return self._power(a, b)
        sign = 1.0 if operation == "+" else -1.0
        if self.height(a) + self.height(b) < rows or (values[0].kept is not None and values[1].kept is not None):
            summed = self.as_sum(a).plus(self.as_sum(b), sign)
            if summed.pays or not summed.terms:
                return self.sum(summed)
        least, made = PASS * rows + self.cost(a) + self.cost(b), None
        for this, other in ((a, b), (b, a))[: 1 if operation == "-" else 2]:
            if self.height(other) < rows and self.values[this].figures is None and self.values[this].shape[0] == rows:
                added = self.as_sum(other).on(rows).times(np.array([[sign]]))
                kernel = AddedRows(added.constant, list(added.terms.values()))
                if kernel.cost() + self.cost(this) < least:
                    least, made = kernel.cost() + self.cost(this), (kernel, (this, *added.terms))
        return None if made is None else self.made(("added", operation, a, b), *made, (rows,))

    def _by_class(self, operation: str, reads: tuple[int, ...], rows: int) -> int | None:
        """Return an operation on rows of which many are equal in every trial: it is done once for each kind of row."""
        operands = [self.as_sum(k).on(rows) for k in reads]
        kinds, matrix = sums.kinds(operands)
        if len(kinds) > rows * _KINDS:
            return None
        once = self.operation(operation, tuple(self.sum(summed.picked(kinds)) for summed in operands), cal.ONE, cal.ONE)
        return self._mapped(once, matrix)

    def _rewritten(self, operation: str, reads: tuple[int, ...]) -> int | None:
        """Return the same in fewer operations on rows, where what is read was made for that."""

        def again(operation: str, *reads: int) -> int:
            return self.operation(operation, reads, cal.ONE, cal.ONE)

        for this, other in (reads, reads[::-1]) if len(reads) == 2 else ():
            made, figures = self.values[this], self.values[other].figures
            if made.shape == (1,) or self.values[other].shape != (1,):
                continue
            if operation == "*" and made.kernel is PLAIN["*"] and figures is not None:
                for one, rows in (made.reads, made.reads[::-1]):
                    if self.values[one].shape == (1,):  # a figure times rows times one row: it is left to the one row
                        return again("*", again("*", one, other), rows)
            if operation == "+" and made.kernel is OTHER["running"] and self.values[made.reads[0]].kept is not None:
                first = np.zeros(made.shape)
                first[0] = 1.0  # a running total from a start on: the start is part of the first row
                begun = self.as_sum(made.reads[0]).plus(self.as_sum(other).on(len(first)).times(first[:, None]))
                return self._over_rows("running", self.sum(begun))
            nothing = other == reads[0] and figures is not None and not figures.any()
            if operation == "-" and nothing and made.kernel is PLAIN["-"]:  # the difference the other way round
                return again("-", *made.reads[::-1])
        return None

    def _product(self, a: int, b: int, rows: int) -> int | None:
        """Return the product of two sums of few one-row values as the sum of their products."""
        one, two = (self.as_sum(k) if self.height(k) < rows else None for k in (a, b))
        if one is None or two is None or any(self.values[k].shape != (1,) for k in chain(one.terms, two.terms)):
            return None
        one, two = one.on(rows), two.on(rows)
        if (len(one.terms) + one.constant.any()) * (len(two.terms) + two.constant.any()) > rows // 2:
            return None
        found = sums.figures(one.constant * two.constant)
        found = found.plus(Sum(found.constant * 0, {k: m * two.constant for k, m in one.terms.items()}))
        found = found.plus(Sum(found.constant * 0, {k: m * one.constant for k, m in two.terms.items()}))
        for j, matrix in one.terms.items():
            for k, other in two.terms.items():
                both = self.operation("*", (j, k), cal.ONE, cal.ONE)
                found = found.plus(self.as_sum(both).on(rows).times(matrix * other))
        return self.sum(found) if found.pays else None

    def _power(self, a: int, b: int) -> int | None:
        """Return a one-row value to whole powers by row: its powers, each made of the one before."""
        exponents = self.values[b].figures
        if exponents is None or self.values[a].shape != (1,) or len(exponents) == 1:
            return None
        if not bool(((exponents == np.floor(exponents)) & (exponents >= 0) & (exponents <= _LARGEST_POWER)).all()):
            return None
        found = sums.figures((exponents == 0).astype(float))
        power = a
        for n in range(1, int(exponents.max()) + 1):
            power = a if n == 1 else self.operation("*", (power, a), cal.ONE, cal.ONE)
            found = found.plus(self.as_sum(power).on(len(exponents)).times((exponents == n).astype(float)))
        return self.sum(found) if found.pays else None

    def _compounded(self, k: int, rows: int) -> int | None:
        """Return the exponential of a profile times one row, each row from the row before where few
        steps come often.
        """
        summed = self.values[k].kept
        if summed is None or summed.constant.any() or summed.height != 1:
            return None
        ((one, profile),) = summed.terms.items()
        kernel = Compounded(profile[:, 0])
        return self.made(("compounded", k), kernel, (one,), (rows,)) if kernel.pays else None

    def _quotient(self, a: int, b: int) -> int:
        """Return a quotient, by the divisor's inverse where that is figures or less than the quotient itself."""
        figures, rows = self.values[b].figures, self.values[a].shape[0]
        if figures is not None and bool((figures != 0.0).all() and np.isfinite(figures).all()):
            return self.operation("*", (a, self.figures(1.0 / figures)), cal.ONE, cal.ONE)
        if self.values[b].shape == (1,) and rows > 1:
            inverse = self.made("/", PLAIN["/"], (self.figures(np.ones((1, 1))), b), (1,))
            return self.operation("*", (a, inverse), cal.ONE, cal.ONE)
        shape = np.broadcast_shapes(self.values[a].shape, self.values[b].shape)
        return self.made("/", PLAIN["/"], (a, b), shape)

    def _mapped(self, k: int, matrix: FloatArray) -> int:
        """Return a matrix of figures, (rows, rows of the value), times a value."""
        value = self.values[k]
        if value.dtype is not np.float64:
            k = self.made("float", PLAIN["float"], (k,), value.shape)
            value = self.values[k]
        whole = self.times(matrix, k)
        if value.kept is None or whole.pays or not whole.terms:
            found = self.sum(whole)
            if self.values[found].kept is whole:
                self.values[found].moved = (matrix, k)
            return found
        last = sums.product(matrix, k)
        return self.sum(whole if whole.kernel.cost() <= last.kernel.cost() + self.cost(k) else last)

    def _previous(self, k: int, start: int, rows: int) -> int:
        """Return the row before in each row."""
        if rows == 1:
            return start
        if self.height(k) < rows and (self.values[start].shape == (1,) or self.height(start) < rows):
            first = np.zeros((rows, 1))
            first[0] = 1.0
            summed = self.as_sum(k).on(rows).mapped(np.eye(rows, k=-1))
            summed = summed.plus(self.as_sum(start).picked([0]).on(rows).times(first))
            if summed.pays or not summed.terms:
                return self.sum(summed)
        return self.made(("prev", rows), OTHER["prev"], (k, start), (rows,))

    def _over_rows(self, operation: str, k: int) -> int:
        """Return the total, the running total or the smallest of all rows."""
        value = self.values[k]
        rows = value.shape[0]
        if rows == 1:
            return k
        if value.kept is None:
            shape = (rows,) if operation == "running" else (1,)
            return self.made(operation, OTHER[operation], (k,), shape)
        if operation == "total":
            return self.sum(value.kept.mapped(np.ones((1, rows))))
        if operation == "running":
            summed = value.kept.running()
            return self.sum(summed) if summed.pays else self.made("running", OTHER["running"], (k,), (rows,))
        least = sums.least_rows(value.kept)
        if len(least) == 1 or (len(least) < rows and not value.read):
            return self._over_rows("smallest", self.sum(value.kept.picked(least)))
        return self.made("smallest", OTHER["smallest"], (k,), (1,))

    def _weighted(self, a: int, b: int, axis: cal.Axis) -> int:
        """Return the sum over all rows of a product; where one is a sum, its matrices turned around weigh the other.

        What is spread by days weighs whole periods by their days: taken to the other side, for all such sums at once,
        it leaves weights that are equal within a stretch.
        """
        rows = self.values[a].shape[0]
        if self.values[b].shape != (rows,):
            return self._over_rows("total", self.operation("*", tuple(sorted((a, b))), cal.ONE, cal.ONE))
        if rows == 1:
            return self.operation("*", (a, b), cal.ONE, cal.ONE)
        for this, other in ((a, b), (b, a)):
            summed, figures = self.values[this].kept, self.values[other].figures
            if summed is None:
                continue
            if figures is not None:
                return self.sum(summed.mapped(figures.T))
            matrix, k = self.values[this].moved or (None, this)
            if matrix is not None and 1 < matrix.shape[1] < rows and self.values[k].shape[0] == matrix.shape[1]:
                return self._weighted(k, self.sum(self._turned(matrix, other, axis)), cal.ONE)
            turned = [self._turned(m, other, axis) for m in summed.terms.values()]
            spent = sum(each.kernel.cost() for each in turned if each.key not in self.known)
            if spent < self.cost(this) + 2 * rows * PASS:
                parts = [self._weighted(k, self.sum(each), axis) for k, each in zip(summed.terms, turned, strict=True)]
                if summed.constant.any():
                    parts.append(self._mapped(other, np.ascontiguousarray(summed.constant.T)))
                found = parts[0]
                for part in parts[1:]:
                    found = self.operation("+", (found, part), cal.ONE, cal.ONE)
                return found
        return self.made("weighted", Weighted(rows), (a, b), (1,))

    def _turned(self, matrix: FloatArray, k: int, axis: cal.Axis) -> Sum:
        """Return a matrix turned around, (rows of what it is the matrix of, rows), times a value on an axis."""
        days = axis.days[:, None]
        if len(days) == len(matrix) and (days > 0).all() and (days != days[0]).any():
            by_day = matrix / days
            largest = np.abs(by_day).max(axis=0) * np.sign(by_day.sum(axis=0))
            by_day = np.where(np.isclose(by_day, largest, rtol=1e-13, atol=0.0), largest, by_day)
            if len(np.unique(by_day)) < len(np.unique(matrix)):
                weighed = self.operation("*", (k, self.figures(days)), cal.ONE, cal.ONE)
                return self.times(by_day.T, weighed)
        return self.times(matrix.T, k)


@lru_cache(maxsize=4096)
def _weights(operation: str, own: cal.Axis, axis: cal.Axis) -> FloatArray:
    """Return the matrix (rows, rows of `own`) by which a value moves to another axis."""
    if operation in ("gather", "spread"):
        return (cal.gather_weights if operation == "gather" else cal.spread_weights)(own, axis)
    return _picking((cal.during_rows if operation == "during" else cal.closing_rows)(own, axis)[:, None], len(own))


def _picking(index: NDArray[Any], rows: int) -> FloatArray:
    """Return the matrix that picks rows, counted from 0; none where there is no such row."""
    matrix = np.zeros((len(index), rows))
    for i, k in enumerate(index[:, 0].astype(np.int64).tolist()):
        if 0 <= k < rows:
            matrix[i, k] = 1.0
    return matrix
