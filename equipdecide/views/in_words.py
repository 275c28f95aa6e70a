"""A formula column in words: the sentence of its own text with the figures put in, and the parts it names.

The sentence is written from the same text that computes the column (:mod:`equipdecide.formula`); a figure that it names
is read off the ledger, or computed by that same language.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from equipdecide import calendar as cal
from equipdecide.calendar import ONE, FloatArray
from equipdecide.formula import WHOLE, parse
from equipdecide.ledger import Column
from equipdecide.words import listed, number, percent, quantity

MANY_TERMS = 7  # a longer sum is not written out: its parts stand below


@dataclass(frozen=True)
class Part:
    """One part of a figure: what it is, its value in words, the full name to ask for, and on which rows."""

    label: str
    shown: str
    ask: str
    rows: tuple[str, ...] = ()

    @property
    def asked(self) -> str:
        """How to ask for it: the full name, with the row where there is one."""
        if not self.rows or self.rows == ("",):
            return self.ask
        first = self.rows[0]
        if len(self.rows) == 1:
            return f"{self.ask} [{first}]"
        return f"{self.ask} [{first} .. {self.rows[-1]}]"


_ACROSS_WORDS = {
    "gather": "{x} within {row}",
    "spread": "the part of {x} that falls in {row}",
    "during": "{x} then",
    "closing": "{x} at the end of {row}",
}
_LOOSE = {ast.Add: 1, ast.Sub: 1, ast.Mult: 2, ast.Div: 2, ast.Pow: 4}
_SIGNS = {ast.Add: "+", ast.Sub: "\u2212", ast.Mult: "\u00d7", ast.Div: "/", ast.Pow: "to the power"}
_TESTS: dict[type[ast.AST], str] = {
    ast.Lt: "is less than",
    ast.LtE: "is at most",
    ast.Gt: "is more than",
    ast.GtE: "is at least",
    ast.Eq: "is",
    ast.NotEq: "is not",
}


_PAID_FOR = re.compile(r"present worth of [^()]+ \(([^()]{1,60})\)")  # the lines whose worth it is


@dataclass(frozen=True)
class _Atom:
    """A figure that stands in a sentence: a column at a row, or a whole function of columns."""

    label: str
    value: float
    unit: str
    parts: tuple[Part, ...]

    @property
    def said(self) -> str:
        return f"{self.label} {quantity(self.value, self.unit)}"


def shown(column: Column, index: int) -> str:
    """Return the value of a column at a row in words; the list of figures of a wide column."""
    if not column.wide:
        return quantity(column.figure(index), column.unit)
    figures = column.values[:, index if column.values.shape[1] > 1 else 0, 0]
    # brackets that a year does not have are padded with what changes nothing
    kept = [float(figure) for figure in figures if np.isfinite(figure)]
    if column.says.endswith("rates"):
        return ", ".join(percent(figure) for figure in kept)
    return "; ".join(number(figure, 0) for figure in kept)


def label_of(column: Column) -> str:
    """Return a short label of a column: what it says up to the first stop, or its name."""
    origin = column.origin
    if column.working == "worth" and (found := _PAID_FOR.fullmatch(column.says)):
        return f"present worth of {found[1]}"
    if origin is not None and origin.kind == "input" and column.working == "inputs":
        steps = origin.ref.split(".")
        named = steps[-1].replace("_", " ")
        return f"{named} of {steps[-2].replace('_', ' ')}" if len(steps) > 1 else named
    if origin is not None and origin.kind == "law" and len(column.says) <= 60:
        return column.says
    cut = column.says
    for stop in (", ", ": ", "; ", " ("):
        cut = cut.partition(stop)[0]
    name = column.name.partition("#")[0].replace("_", " ")
    vague = cut.startswith(("of ", "the ", "as cash", "must be")) or len(cut) > 60 or not cut
    vague = vague or (" " not in cut and len(cut) < len(name))
    if not vague:
        return cut
    return name.partition(": ")[2] if name.partition(": ")[0].isdigit() else name


def as_part(column: Column, index: int) -> Part:
    """Return a column at a row as a part of another figure."""
    label = column.axis.labels[index] if len(column.axis) > 1 else ""
    return Part(label_of(column), shown(column, index), column.full_name, (label,) if label else ())


class Sentence:
    """Writes one formula column at one row as a sentence with the figures put in."""

    def __init__(self, column: Column, index: int) -> None:
        assert column.formula is not None
        self.target, self.index, self.formula = column, index, column.formula
        others = [name for name in self.formula.names if not (self.formula.recurs and name == self.formula.own)]
        self.args: dict[str, Column] = dict(zip(others, column.args, strict=True))
        self.row = column.axis.labels[index]
        self.atoms: dict[str, _Atom] = {}
        self.labels = self._labels()
        self.tree = self._with_atoms(self.formula.tree)

    def _labels(self) -> dict[str, str]:
        found = {name: label_of(arg) for name, arg in self.args.items()}
        for name, label in list(found.items()):
            same = [other for other, said in found.items() if said == label and self.args[other] is not self.args[name]]
            if same:
                for other in [name, *same]:
                    found[other] = (
                        f"{label} ({self.args[other].full_name})"
                        if self.args[other].working != self.target.working
                        else self.args[other].name.replace("_", " ")
                    )
        if self.formula.own is not None:
            found[self.formula.own] = label_of(self.target)
        return found

    # the sentence

    def written(self) -> tuple[str, tuple[str, ...], tuple[Part, ...]]:
        """Return the sentence, the terms that are zero, and the parts."""
        head = label_of(self.target)
        terms = self._terms(self.tree)
        zeros: tuple[str, ...] = ()
        if isinstance(self.tree, ast.Constant):
            return f"{head} = {number(self.tree.value)}, whatever the rest.", (), ()  # type: ignore[arg-type]
        parts = self._parts()
        if len(terms) > 1:
            telling = [(sign, node) for sign, node in terms if abs(self.value(node)) > 5e-7]
            nothing = [node for _, node in terms if abs(self.value(node)) <= 5e-7]
            zeros = tuple(dict.fromkeys(self._plain(node) for node in nothing))
            named = {name for _, node in telling for name in _names(node)}
            kept = list(
                dict.fromkeys(
                    part
                    for name in self.atoms
                    if name in named
                    for part in self.atoms[name].parts
                    if not _is_nothing(part.shown)
                )
            )
            if not telling:
                kept = [part for part in parts if not _is_nothing(part.shown)]
                return f"{head} = 0: every term is zero.", zeros, tuple(kept)
            if len(telling) > MANY_TERMS and all(isinstance(node, ast.Name) for _, node in telling):
                signs = {sign for sign, _ in telling}
                return (
                    f"{head} = the sum of the {len(telling)} parts "
                    f"below{'' if signs == {1} else ', some of them taken off'}.",
                    zeros,
                    tuple(kept),
                )
            said = ""
            for k, (sign, node) in enumerate(telling):
                mark = (
                    ""
                    if k == 0 and sign > 0
                    else f" {_SIGNS[ast.Add] if sign > 0 else _SIGNS[ast.Sub]} "
                    if k
                    else "minus "
                )
                said += mark + self.words(node, 1 if sign > 0 else 2)
            return f"{head} = {said}.", zeros, tuple(kept)
        return f"{head} = {self.words(self.tree)}.", zeros, parts

    def _terms(self, node: ast.expr, sign: int = 1) -> list[tuple[int, ast.expr]]:
        if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Add | ast.Sub):
            below = self._terms(node.left, sign)
            if isinstance(node.left, ast.Constant) and node.left.value == 0:
                below = []
            return [*below, *self._terms(node.right, sign if isinstance(node.op, ast.Add) else -sign)]
        return [(sign, node)]

    def _plain(self, node: ast.expr) -> str:
        if isinstance(node, ast.Name):
            return self.atoms[node.id].label
        return self.words(node)

    def words(self, node: ast.expr, tightness: int = 0) -> str:
        """Write an expression in words; in brackets where it would not read rightly within a tighter one."""
        if isinstance(node, ast.Constant):
            return number(float(node.value), 6)  # type: ignore[arg-type]
        if isinstance(node, ast.Name):
            return self.atoms[node.id].said
        if isinstance(node, ast.UnaryOp):
            return f"minus {self.words(node.operand, 3)}"
        if isinstance(node, ast.BinOp):
            if isinstance(node.op, ast.Sub) and isinstance(node.left, ast.Constant) and node.left.value == 0:
                return _bracketed(f"minus {self.words(node.right, 2)}", tightness > 0)
            own = _LOOSE[type(node.op)]
            right = own + (1 if isinstance(node.op, ast.Sub | ast.Div | ast.Pow) else 0)
            text = f"{self.words(node.left, own)} {_SIGNS[type(node.op)]} {self.words(node.right, right)}"
            return _bracketed(text, own < tightness)
        if isinstance(node, ast.Compare):
            text = f"{self.words(node.left, 1)} {_TESTS[type(node.ops[0])]} {self.words(node.comparators[0], 1)}"
            return _bracketed(text, tightness > 0)
        assert isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
        return _bracketed(self._call(node.func.id, node.args), tightness > 0)

    def _test(self, node: ast.expr, holds: bool) -> str:
        if isinstance(node, ast.Compare):
            said = _TESTS[type(node.ops[0])]
            said = said if holds else "is" if said == "is not" else said.replace("is", "is not", 1)
            return f"{self.words(node.left, 1)} {said} {self.words(node.comparators[0], 1)}"
        return (
            f"{self.words(node, 1)} is {'not 0' if holds else '0'}"
            if not isinstance(node, ast.Name)
            else f"'{self.atoms[node.id].label}' is {'true' if holds else 'not true'}"
        )

    def _call(self, function: str, args: Sequence[ast.expr]) -> str:
        if function == "where":
            yes = abs(self.value(args[0])) > 0
            test = self._test(args[0], yes)
            return f"{self.words(args[1 if yes else 2])}, since {test}"
        if function in ("min", "max"):
            if len(args) == 2 and isinstance(args[1], ast.Constant):
                end = f"at {'least' if function == 'max' else 'most'} {self.words(args[1])}"
                return f"{self.words(args[0], 0 if isinstance(args[0], ast.BinOp) else 1)}, {end}"
            return f"the {'smaller' if function == 'min' else 'larger'} of {listed(self.words(arg, 1) for arg in args)}"
        simple = {
            "cents": "{x}, to the cent",
            "dollars": "{x}, to the dollar",
            "ceiling": "{x}, up to the next whole number",
            "abs": "the size of {x}",
            "exp": "e to the power of {x}",
            "log": "the natural logarithm of {x}",
        }
        return simple[function].format(x=self.words(args[0], 0 if function in ("cents", "dollars", "ceiling") else 1))

    # figures

    def value(self, node: ast.expr) -> float:
        """Return the figure of an expression over the atoms, by the language itself."""
        if isinstance(node, ast.Constant):
            return float(node.value)  # type: ignore[arg-type]
        if isinstance(node, ast.Name):
            return self.atoms[node.id].value
        formula = parse(ast.unparse(node))
        run = formula.bind(ONE, dict.fromkeys(formula.names, ONE))
        return float(run(*(np.array([[self.atoms[name].value]]) for name in formula.names))[0, 0])

    def _with_atoms(self, node: ast.expr) -> ast.expr:
        """Return the tree with every figure that is read off the ledger replaced by the name of an atom."""
        if isinstance(node, ast.Name):
            return self._atom(node.id, self._read(node.id))
        if isinstance(node, ast.BinOp):
            return ast.BinOp(self._with_atoms(node.left), node.op, self._with_atoms(node.right))
        if isinstance(node, ast.UnaryOp):
            return ast.UnaryOp(node.op, self._with_atoms(node.operand))
        if isinstance(node, ast.Compare):
            return ast.Compare(
                self._with_atoms(node.left), node.ops, [self._with_atoms(other) for other in node.comparators]
            )
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            function = node.func.id
            if function == "prev":
                return self._previous(node.args)
            if function in WHOLE:
                return self._atom(f"{function}_{len(self.atoms)}", self._whole(function, node))
            return ast.Call(node.func, [self._with_atoms(arg) for arg in node.args], [])
        return node

    def _atom(self, name: str, atom: _Atom) -> ast.Name:
        name = name if name not in self.atoms or self.atoms[name] == atom else f"{name}_{len(self.atoms)}"
        self.atoms[name] = atom
        return ast.Name(name, ast.Load())

    def _read(self, name: str) -> _Atom:
        arg = self.args[name]
        index = self.index if len(arg.axis) > 1 else 0
        part = replace(as_part(arg, index), label=self.labels[name])
        return _Atom(self.labels[name], arg.figure(index), arg.unit, (part,))

    def _previous(self, args: Sequence[ast.expr]) -> ast.expr:
        name = args[0].id  # type: ignore[attr-defined]
        source = self.target if name == self.formula.own else self.args[name]
        if self.index == 0:
            return self._with_atoms(args[1]) if len(args) == 2 else ast.Constant(0.0)
        index = self.index - 1 if len(source.axis) > 1 else 0
        before = source.axis.labels[index]
        part = as_part(source, index)
        return self._atom(
            f"previous_{name}", _Atom(f"{self.labels[name]} of {before}", source.figure(index), source.unit, (part,))
        )

    def _whole(self, function: str, node: ast.Call) -> _Atom:
        formula = parse(ast.unparse(node))
        axes = {name: self.args[name].axis for name in formula.names}
        values: FloatArray = formula.bind(self.target.axis, axes)(*(self.args[name].values for name in formula.names))
        figure = float(values[self.index, 0])
        names = [arg.id for arg in node.args if isinstance(arg, ast.Name)]
        first = self.args[names[0]] if names else self.target
        label = self.labels[names[0]] if names else ""
        if function in _ACROSS_WORDS:
            rows = self._rows_across(function, first)
            said = _ACROSS_WORDS[function].format(x=label, row=self.row or "it")
            return _Atom(said, figure, first.unit, (self._range(first, rows),))
        every = list(range(len(first.axis)))
        if function == "running":
            return _Atom(
                f"{label} added up to {self.row}", figure, first.unit, (self._range(first, every[: self.index + 1]),)
            )
        if function == "total":
            return _Atom(f"all {label} added up", figure, first.unit, (self._range(first, every),))
        if function == "smallest":
            k = int(first.per_row().argmin())
            return _Atom(
                f"the least {label} (in {first.axis.labels[k]})", figure, first.unit, (self._range(first, [k]),)
            )
        if function == "weighted":
            second = self.args[names[1]]
            return _Atom(
                f"{label} \u00d7 {self.labels[names[1]]}, row by row, added up",
                figure,
                first.unit,
                (self._range(first, every), self._range(second, every)),
            )
        if function == "pick":
            k = int(self._inside(node.args[1]))
            within = 0 <= k < len(first.axis)
            said = f"{label} in row {first.axis.labels[k] or k}" if within else f"{label} outside its rows"
            return _Atom(said, figure, first.unit, (self._range(first, [k] if within else every),))
        keys = tuple(
            as_part(self.args[name], self.index if len(self.args[name].axis) > 1 else 0)
            for name in _names(node.args[0])
        )
        tables = [self.args[arg.id] for arg in node.args[1:]]  # type: ignore[attr-defined]
        shown_keys = " and ".join(part.label + " " + part.shown for part in keys)
        if function == "brackets":
            said = f"progressive sum on {shown_keys}:"
            return _Atom(
                said,
                figure,
                self.target.unit,
                (*keys, *(as_part(t, self.index if len(t.axis) > 1 else 0) for t in tables)),
            )
        return _Atom(
            f"{label_of(tables[1])} at {shown_keys}",
            figure,
            tables[1].unit,
            (*keys, *(self._range(t, list(range(len(t.axis)))) for t in tables)),
        )

    def _inside(self, node: ast.expr) -> float:
        formula = parse(ast.unparse(node))
        axes = {name: self.args[name].axis for name in formula.names}
        values = formula.bind(self.target.axis, axes)(*(self.args[name].values for name in formula.names))
        return float(values[self.index, 0])

    def _rows_across(self, function: str, source: Column) -> list[int]:
        own, target = source.axis, self.target.axis
        if function in ("gather", "spread"):
            weights = (cal.gather_weights if function == "gather" else cal.spread_weights)(own, target)[self.index]
            return [int(k) for k in np.flatnonzero(weights)]
        k = int((cal.during_rows if function == "during" else cal.closing_rows)(own, target)[self.index])
        return [k] if k >= 0 else []

    def _range(self, column: Column, rows: Sequence[int]) -> Part:
        """Return a part that stands for some rows of a column; those that are zero are left out."""
        telling = [k for k in rows if column.wide or abs(column.figure(k)) > 5e-7]
        if len(column.axis) == 1:
            return as_part(column, 0)
        if not telling:
            return Part(
                label_of(column),
                quantity(0.0, column.unit),
                column.full_name,
                tuple(column.axis.labels[k] for k in rows[:1]),
            )
        labels = tuple(column.axis.labels[k] for k in telling)
        text = shown(column, telling[0]) if len(telling) == 1 else f"{len(telling)} rows"
        return Part(label_of(column), text, column.full_name, labels)

    def _parts(self) -> tuple[Part, ...]:
        return tuple(dict.fromkeys(part for atom in self.atoms.values() for part in atom.parts))


def _names(node: ast.expr) -> list[str]:
    """Return the columns a part of a formula speaks of; the names of functions are none."""
    called = {id(call.func) for call in ast.walk(node) if isinstance(call, ast.Call)}
    return [found.id for found in ast.walk(node) if isinstance(found, ast.Name) and id(found) not in called]


def _bracketed(text: str, needed: bool) -> str:
    return f"({text})" if needed else text


def _is_nothing(shown_text: str) -> bool:
    digits = [sign for sign in shown_text.split(" ")[0] if sign.isdigit()]
    return bool(digits) and set(digits) == {"0"}
