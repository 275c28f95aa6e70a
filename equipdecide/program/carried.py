"""Carry-forwards: a column whose every row is made of the row before."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from equipdecide.calendar import FloatArray
from equipdecide.program.kernels import PLAIN, Call, Kernel


class Carried(Kernel):
    """A carry-forward: one row after the other, each operation on one row.

    `nodes` are the operations that rest on the row before, in order, the last one giving the row: number, kernel and
    what is read, by number: other nodes, `read` values, or the row before, which stands under the numbers of `befores`,
    each with what it is in the first row.
    """

    name = "carried"

    def __init__(
        self,
        nodes: Sequence[tuple[int, Kernel, tuple[int, ...]]],
        befores: Mapping[int, int],
        read: Sequence[int],
        rows: int,
    ) -> None:
        self.nodes, self.befores, self.read, self.rows = tuple(nodes), dict(befores), tuple(read), rows
        last = {k: position for position, (*_, reads) in enumerate(nodes) for k in reads}
        self.register: dict[int, int] = {}
        free: list[int] = []
        for position, (number, kernel, reads) in enumerate(nodes):
            done = [self.register[k] for k in dict.fromkeys(reads) if k in self.register and last[k] == position]
            may = (
                0 if kernel is PLAIN["where"] else kernel.over
            )  # it knows what it writes over by the array, not the row
            over = [self.register[k] for k in reads[:may] if self.register.get(k) in done]
            self.register[number] = over[0] if over else free.pop() if free else len({*self.register.values()})
            free += [row for row in done if row != self.register[number]]

    def spares(self, rows: int) -> tuple[int, ...]:
        """Return a row for each node in use at a time, and the most rows any kernel needs besides."""
        more = max(len(kernel.spares(1)) for _, kernel, _ in self.nodes)
        return (len({*self.register.values()}), *([1] * more))

    def lay(self, reads: Sequence[FloatArray], out: FloatArray, spares: Sequence[FloatArray]) -> list[Call]:
        """Return the calls, row by row."""
        return self.lay_all(reads, out, spares, {})

    def lay_all(
        self,
        reads: Sequence[FloatArray],
        out: FloatArray,
        spares: Sequence[FloatArray],
        kept: Mapping[int, FloatArray],
    ) -> list[Call]:
        """Return the calls, row by row, the rows of the nodes in `kept` written to arrays of their own."""
        values = dict(zip(self.read, reads, strict=True))
        last = self.nodes[-1][0]
        calls: list[Call] = []
        for t in range(self.rows):
            here: dict[int, FloatArray] = {k: _row(array, t) for k, array in values.items()}
            for before, start in self.befores.items():
                here[before] = out[t - 1] if t else _row(values[start], 0)
            to = {number: array[t] for number, array in kept.items()} | {last: out[t]}
            chosen: dict[int, int] = {}  # where the choice is the same in every trial: what is chosen
            for number, kernel, read in reversed(self.nodes):
                if kernel is PLAIN["where"] and (condition := here.get(read[0])) is not None and condition.ndim == 0:
                    chosen[number] = read[1] if condition else read[2]
                    if chosen[number] in self.register and number in to:
                        to.setdefault(chosen[number], to[number])  # it is written where it is to stand
            for number, kernel, read in self.nodes:
                here[number] = to.get(number, spares[0][self.register[number]])
                if number not in chosen:
                    calls += kernel.lay([here[k] for k in read], here[number], [spare[0] for spare in spares[1:]])
                elif here[chosen[number]] is not here[number]:
                    calls.append((np.copyto, (here[number], here[chosen[number]])))
        return calls


def _row(array: FloatArray, t: int) -> FloatArray:
    """Return a row, or its figure without axes."""
    row: FloatArray = array[t if len(array) > 1 else 0]
    return row.reshape(()) if len(row) == 1 else row
