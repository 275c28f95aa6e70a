"""The columns of some ledgers as a program: inputs are set to vectors of trials, and only what they touch is run.

Structure never varies by trial, so the columns found for the entered figures are the columns of every trial.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from equipdecide.calendar import FloatArray
from equipdecide.ledger import Column
from equipdecide.program import Graph, Program

MANY = 64  # trials from which a program, once made, is quicker than the columns' own evaluators


class Tape:
    """Columns in the order of their making, to be run again for what of them the `wanted` ones need.

    A few trials go through the columns' own evaluators; from :data:`MANY` on they go through a
    :class:`equipdecide.program.Program`, which is made at the first such run. Both read the same formulas.
    """

    def __init__(self, order: Sequence[Column], paths: Sequence[str], wanted: Sequence[Column]) -> None:
        index = {id(column): k for k, column in enumerate(order)}
        touched: set[int] = set()
        self.inputs: dict[str, int] = {}
        for k, column in enumerate(order):
            if column.origin is not None and column.origin.kind == "input" and column.origin.ref in paths:
                self.inputs[column.origin.ref] = k
                touched.add(k)
        steps: list[tuple[int, Column, tuple[int, ...]]] = []
        for k, column in enumerate(order):
            sources = tuple(index[id(arg)] for arg in column.args)
            if column.run is not None and touched.intersection(sources):
                touched.add(k)
                steps.append((k, column, sources))
        needed = {index[id(column)] for column in wanted}
        kept: list[tuple[int, Column, tuple[int, ...]]] = []
        for step in reversed(steps):  # only what the wanted columns rest on
            if step[0] in needed:
                needed.update(step[2])
                kept.append(step)
        self.steps = kept[::-1]
        # inputs the wanted columns rest on
        self.reached = frozenset(path for path, k in self.inputs.items() if k in needed)
        self.base: list[FloatArray] = [column.values for column in order]
        self.wanted = [index[id(column)] for column in wanted]
        self._programs: dict[frozenset[str], Program] = {}

    def run(self, values: Mapping[str, FloatArray]) -> list[FloatArray]:
        """Return the wanted columns, shape (periods, trials or 1), at inputs `values` (path -> vector of trials)."""
        given = {path: np.atleast_1d(np.asarray(values[path], float)) for path in self.inputs if path in values}
        trials = max((vector.shape[-1] for vector in given.values()), default=1)
        if trials >= MANY:
            return self.program(given).run(given, trials)
        arrays = list(self.base)
        for path, vector in given.items():
            arrays[self.inputs[path]] = vector.reshape(1, -1)
        for target, column, sources in self.steps:
            assert column.run is not None  # given columns are no steps
            arrays[target] = column.run(*[arrays[k] for k in sources])
        return [arrays[k] for k in self.wanted]

    def program(self, paths: Iterable[str]) -> Program:
        """Return the work where just the inputs `paths` vary, made once for each set of them."""
        given = frozenset(paths).intersection(self.inputs)
        if given not in self._programs:
            graph = Graph()
            values = {self.inputs[path]: graph.input() for path in sorted(given)}
            inputs = {path: values[self.inputs[path]] for path in given}

            def value(k: int) -> int:
                if k not in values:
                    values[k] = graph.figures(self.base[k])
                return values[k]

            for target, column, sources in self.steps:
                assert column.run is not None
                args = [(value(k), arg.axis) for k, arg in zip(sources, column.args, strict=True)]
                values[target] = graph.column(column.formula, column.run, column.axis, args)
            self._programs[given] = graph.program(inputs, [value(k) for k in self.wanted])
        return self._programs[given]
