"""The work of a program on one block of trials, and the places in memory of its values."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import accumulate, chain

import numpy as np

from equipdecide.calendar import FloatArray
from equipdecide.program.carried import Carried
from equipdecide.program.kernels import Call, Kernel, run_calls
from equipdecide.program.values import Value

LINE = 64  # bytes the processor fetches at a time


def _memory(places: Sequence[tuple[tuple[int, ...], type]], trials: int) -> list[FloatArray]:
    """Return the arrays of all places, in one piece of memory: it has larger pages, and its
    addresses are found sooner.
    """
    sizes = [np.dtype(dtype).itemsize * trials * int(np.prod(shape)) for shape, dtype in places]
    starts = list(accumulate((-(-size // LINE) * LINE for size in sizes), initial=LINE))
    whole = np.empty(starts[-1], np.uint8)
    begin = -whole.ctypes.data % LINE - LINE
    return [
        whole[begin + start : begin + start + size].view(dtype).reshape(*shape, trials)
        for start, size, (shape, dtype) in zip(starts, sizes, places, strict=False)
    ]


class Program:
    """Straight-line work on a block of trials, with the places in memory of its values. Not for two threads at once."""

    def __init__(
        self,
        values: Sequence[Value],
        inputs: Mapping[str, int],
        wanted: Sequence[int],
        order: Sequence[int],
        made_by: Mapping[int, int],
    ) -> None:
        self.inputs = dict(inputs)
        self.wanted = tuple(wanted)
        self.figures = {k: value.figures for k, value in enumerate(values) if value.figures is not None}
        self.places: list[tuple[tuple[int, ...], type]] = []  # shape without the trials, kind
        self.place: dict[int, int] = {}
        # value, kernel, reads, places of spares, values made on the way
        self.work: list[tuple[int, Kernel, tuple[int, ...], list[int], list[int]]] = []
        work = [k for k in order if k not in made_by]
        on_the_way: dict[int, list[int]] = {}
        for k in order:
            if k in made_by:
                on_the_way.setdefault(made_by[k], []).append(k)
        last: dict[int, int] = {}
        for position, k in enumerate(work):
            for read in values[k].reads:
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
            assert value.kernel is not None
            ends = {r for r in value.reads if last[r] == position and r in self.place and r not in kept}
            over = [r for r in value.reads[: value.kernel.over] if r in ends and self.places[self.place[r]] == kind]
            if over:
                ends.discard(over[0])
                self.place[k] = self.place[over[0]]
            else:
                self.place[k] = take(kind)
            more = on_the_way.get(k, [])
            for other in more:
                self.place[other] = take((values[other].shape, values[other].dtype))
            spares = [take(((rows,), np.float64)) for rows in value.kernel.spares(value.shape[0])]
            self.work.append((k, value.kernel, value.reads, spares, more))
            unread = [r for r in more if r not in last and r not in kept]
            for place in chain((self.place[r] for r in (*ends, *unread)), spares):
                free.setdefault(self.places[place], []).append(place)
        self._laid: dict[int, tuple[list[FloatArray], list[tuple[str, list[Call]]], list[Call]]] = {}

    def run(self, values: Mapping[str, FloatArray], trials: int) -> list[FloatArray]:
        """Return the wanted values at inputs, each a vector of `trials` or one figure. Shapes (rows, trials or 1)."""
        columns = self._columns(trials)
        arrays, _, calls = self._lay_out(columns)
        for path, k in self.inputs.items():
            row, given = arrays[self.place[k]][0], values[path]
            row[:trials] = given
            row[trials:] = given[-1]  # columns left over do the last trial once more
        run_calls(calls)
        return [arrays[self.place[k]][:, :trials].copy() if k in self.place else self.figures[k] for k in self.wanted]

    def calls(self, trials: int) -> list[tuple[str, list[Call]]]:
        """Return the work on a block of `trials` in order: name of the operation, and its calls."""
        return self._lay_out(trials)[1]

    def _columns(self, trials: int) -> int:
        """Return for how many columns to lay out: as many as are laid out, where that is a few more than the trials."""
        for columns in self._laid:
            if trials <= columns <= trials * 1.25:
                return columns
        return -(-trials // 64) * 64

    def _lay_out(self, trials: int) -> tuple[list[FloatArray], list[tuple[str, list[Call]]], list[Call]]:
        """Return the arrays of all places for a block of `trials`, and the work as calls on them."""
        if trials not in self._laid:
            self._laid.clear()  # blocks are of one size, but for the last
            arrays = _memory(self.places, trials)

            def array(k: int) -> FloatArray:
                return arrays[self.place[k]] if k in self.place else self.figures[k]

            steps: list[tuple[str, list[Call]]] = []
            for k, kernel, reads, spares, more in self.work:
                read, out, spare = [array(r) for r in reads], array(k), [arrays[place] for place in spares]
                if isinstance(kernel, Carried):
                    calls = kernel.lay_all(read, out, spare, {other: array(other) for other in more})
                else:
                    calls = kernel.lay(read, out, spare)
                steps.append((kernel.name, calls))
            self._laid[trials] = (arrays, steps, [call for _, calls in steps for call in calls])
        return self._laid[trials]
