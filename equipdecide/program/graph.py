"""Columns taken in, one after the other: every formula's text becomes operations on values."""

from __future__ import annotations

import ast
from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import Any

import numpy as np

from equipdecide import calendar as cal
from equipdecide import formula as language
from equipdecide.formula import Evaluator, Formula
from equipdecide.program.block import Program
from equipdecide.program.carried import Carried
from equipdecide.program.kernels import OTHER, PLAIN, Evaluated
from equipdecide.program.operations import Operations
from equipdecide.program.values import Value


class Graph(Operations):
    """Values of columns, each operation once."""

    def column(
        self, formula: Formula | None, run: Evaluator, axis: cal.Axis, args: Sequence[tuple[int, cal.Axis]]
    ) -> int:
        """Return the value of a column: of its formula, or of `run` where it has none. `args` are
        values and their axes.
        """
        rows = (len(axis),)
        if formula is None:
            return self.made(("computed", id(run)), Evaluated(run), tuple(k for k, _ in args), rows)
        key = ("carried", formula.text, formula.own, len(axis), tuple(k for k, _ in args))
        if formula.recurs and key in self.known:
            return self.known[key]
        befores: dict[int, int] = {}  # of a carry-forward: its row before, by what stands before the first row
        own = -1
        stack: list[int] = []
        names: list[int] = []
        for operation, what in _steps(formula):
            if operation == "number":
                stack.append(self.figures(np.array([[what]])))
            elif operation == "own":
                stack.append(own)
            elif operation == "name":
                stack.append(args[what][0])
                names.append(what)
            else:
                reads = tuple(stack[len(stack) - what :])
                del stack[len(stack) - what :]
                if operation == "prev" and reads[0] == own:
                    if reads[1] not in befores:
                        befores[reads[1]] = self.new(("before", len(self.values)), Value(rows))
                        self.carrying.add(befores[reads[1]])
                    stack.append(befores[reads[1]])
                    continue
                stack.append(self.operation(operation, reads, axis, args[names[-1]][1] if names else axis))
        (found,) = stack
        if self.values[found].dtype is not np.float64:
            found = self.made("float", PLAIN["float"], (found,), self.values[found].shape)
        if self.values[found].shape != rows:
            found = self.sum(self.as_sum(found).on(rows[0]))
        if formula.recurs:
            found = self.known[key] = self._carried(found, befores, rows[0])
        return found

    def _carried(self, row: int, befores: Mapping[int, int], rows: int) -> int:
        """Return the value of a carry-forward whose every row is `row`, made of the row before:
        start -> that row's value.
        """
        inner, self.carrying = self.carrying, set()
        if row not in inner:
            return row
        if row in befores.values():  # nothing is done to it: it stays at its start
            (start,) = (start for start, before in befores.items() if before == row)
            return self.sum(self.as_sum(start).picked([0]).on(rows))
        needed, nodes = {row}, []
        for k in sorted(inner.difference(befores.values()), reverse=True):
            if k in needed:
                value = self.values[k]
                assert value.kernel is not None
                needed.update(value.reads)
                nodes.append((k, value.kernel, value.reads))
        read = tuple(sorted({*befores, *(k for *_, reads in nodes for k in reads if k not in inner)}))
        kernel = Carried(nodes[::-1], {before: start for start, before in befores.items()}, read, rows)
        found = self.made(("carried", row), kernel, read, (rows,))
        if self.values[found].figures is None:
            self.values[found].inner = tuple(k for k, *_ in nodes[1:])
        # what reads the row before from now on finds it, and so what the carry-forward works out on its way
        for start, before in befores.items():
            self.values[before] = Value((rows,), kernel=OTHER["prev"], reads=(found, start))
            self.known["prev", rows, (found, start)] = before
        return found

    def program(self, inputs: Mapping[str, int], wanted: Sequence[int]) -> Program:
        """Return the work that gives the `wanted` values when the `inputs` are set."""
        made_by = {k: number for number, value in enumerate(self.values) for k in value.inner}
        order: list[int] = []
        seen: set[int] = set()
        stack = [(k, False) for k in reversed(wanted)]
        while stack:
            k, ready = stack.pop()
            if ready:
                order.append(k)
            elif k not in seen:
                seen.add(k)
                stack.append((k, True))
                below = (made_by[k],) if k in made_by else self.values[k].reads
                stack += [(read, False) for read in reversed(below) if read not in seen]
        for k in order:
            value = self.values[k]
            if value.written is not None:
                value.kernel = value.written.kernel
        return Program(self.values, inputs, wanted, [k for k in order if self.values[k].kernel is not None], made_by)


@lru_cache(maxsize=8192)
def _steps(formula: Formula) -> tuple[tuple[str, Any], ...]:
    """Return a formula in the order of working: names and numbers are laid down, operations take up what they need."""
    steps: list[tuple[str, Any]] = []

    def write(node: ast.AST) -> None:
        if isinstance(node, ast.Constant):
            steps.append(("number", float(node.value)))  # type: ignore[arg-type]
        elif isinstance(node, ast.Name):
            own = formula.recurs and node.id == formula.own
            steps.append(("own", None) if own else ("name", formula.others.index(node.id)))
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
