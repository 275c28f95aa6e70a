"""Many trials of a scenario at once: present worth and cash of every alternative at any vectors of inputs.

The columns found for the entered figures are run again as a program (:class:`equipdecide.tape.Tape`). Where steps of
an alternative hang on a yes/no doubt, its plan is resolved for each outcome, and every trial runs through the plan of
the outcome it drew. Trials are run in blocks of fixed size, so memory does not grow with their number.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from equipdecide.calendar import FloatArray
from equipdecide.evaluate import Evaluation, evaluate
from equipdecide.ledger import Column, Ledger
from equipdecide.parameters import Law
from equipdecide.scenario.amounts import Amount
from equipdecide.scenario.models import Scenario
from equipdecide.scenario.reading import amounts
from equipdecide.tape import Tape

BLOCK = 2048  # trials run at a time: what a block holds stays near the processor
DECIDE_DATES = ("days_to_sale", "paid_after", "lead")  # inputs that move dates: another value makes another plan
MEASURED = ("worth.npv", "cash test.margin", "coverage.worst")


@dataclass(frozen=True, eq=False)
class Figures:
    """One alternative over many trials. All arrays (trials,); `None` where the scenario gives no
    cash, floor or years.
    """

    npv: FloatArray  # present worth of all purses [currency]
    margin: FloatArray | None  # lowest cash less the floor [currency]
    coverage: FloatArray | None  # operating cash over loan payments in the worst year
    passes: NDArray[np.bool_]  # keeps cash above the floor and passes every gate, as far as tested
    columns: Mapping[str, FloatArray]  # further columns asked for, (periods, trials)


def structural_doubts(scenario: Scenario, name: str) -> tuple[str, ...]:
    """Return the paths of the yes/no doubts on which steps of alternative `name` hang."""
    return tuple(dict.fromkeys(step.when for step in scenario.alternatives[name] if step.when is not None))


def decides_dates(path: str) -> bool:
    """Tell whether an input decides dates, so that it cannot vary by trial."""
    return path.split(".")[-1] in DECIDE_DATES


@dataclass(frozen=True, eq=False)
class _World:
    """Alternatives that hang on the same doubts, at one outcome of those doubts."""

    outcome: tuple[float, ...]
    names: tuple[str, ...]
    tape: Tape
    wanted: tuple[tuple[str, str], ...]  # alternative and column, in the order of the tape


class Trials:
    """A scenario as a program over the inputs `paths`.

    `columns` are further columns (``working.name``) to return for each alternative that has them. `evaluation` is the
    run at the entered figures, where it is at hand. `law` replaces the shipped parameters.
    """

    def __init__(
        self,
        scenario: Scenario,
        paths: Sequence[str],
        columns: Sequence[str] = (),
        evaluation: Evaluation | None = None,
        law: Law | None = None,
        only: Sequence[str] | None = None,
    ) -> None:
        self.scenario = scenario
        self.amounts = amounts(scenario)
        self.names = tuple(only or scenario.alternatives)
        self.paths = tuple(paths)
        self.evaluation = evaluation or evaluate(scenario, only=only, law=law)
        self._columns = tuple(columns)
        self._law = law
        groups: dict[tuple[str, ...], list[str]] = {}
        for name in self.names:
            groups.setdefault(tuple(d for d in structural_doubts(scenario, name) if d in self.paths), []).append(name)
        self._groups = [(doubts, self._worlds(doubts, tuple(names))) for doubts, names in groups.items()]

    def _worlds(self, doubts: tuple[str, ...], names: tuple[str, ...]) -> list[_World]:
        worlds = []
        likely = tuple(self.amounts[path].likely for path in doubts)
        for outcome in product((0.0, 1.0), repeat=len(doubts)):
            if outcome == likely:
                found = self.evaluation
            else:
                values: dict[str, FloatArray | float] = dict(zip(doubts, outcome, strict=True))
                found = evaluate(self.scenario, values, names, self._law)
            wanted: dict[tuple[str, str], Column] = {}
            for name in names:
                for full_name in (*MEASURED, *self._columns):
                    column = _column(found[name], full_name)
                    if column is not None:
                        wanted[name, full_name] = column
            tape = Tape(found.order, self.paths, list(wanted.values()))
            worlds.append(_World(outcome, names, tape, tuple(wanted)))
        return worlds

    @property
    def used(self) -> frozenset[str]:
        """The paths that some measured column rests on; a change of any other changes nothing."""
        found: set[str] = set()
        for doubts, worlds in self._groups:
            found.update(doubts)
            for world in worlds:
                found |= world.tape.reached
        return frozenset(found)

    def run(self, values: Mapping[str, FloatArray]) -> dict[str, Figures]:
        """Return the figures of every alternative at inputs `values`: path -> (trials,) [unit of the input]."""
        vectors = {path: np.asarray(vector, dtype=float) for path, vector in values.items()}
        trials = max((len(vector) for vector in vectors.values()), default=1)
        store: dict[tuple[str, str], FloatArray] = {}
        for doubts, worlds in self._groups:
            for world in worlds:
                chosen = self._chosen(doubts, world, vectors, trials) if doubts else None
                for rows in _blocks(trials if chosen is None else len(chosen)):
                    which = rows if chosen is None else chosen[rows]
                    part = {path: vector if len(vector) == 1 else vector[which] for path, vector in vectors.items()}
                    for key, found in zip(world.wanted, world.tape.run(part), strict=True):
                        if key not in store:
                            store[key] = np.full((found.shape[0], trials), np.nan)
                        _put(store[key], which, found)
        return {name: self._figures(name, store, trials, vectors) for name in self.names}

    def _chosen(
        self, doubts: tuple[str, ...], world: _World, vectors: Mapping[str, FloatArray], trials: int
    ) -> NDArray[np.int64]:
        keep = np.ones(trials, dtype=bool)
        for path, outcome in zip(doubts, world.outcome, strict=True):
            drawn = vectors.get(path)
            keep &= (self.amounts[path].likely > 0.5 if drawn is None else drawn > 0.5) == (outcome > 0.5)
        return np.flatnonzero(keep)

    def _figures(
        self, name: str, store: Mapping[tuple[str, str], FloatArray], trials: int, vectors: Mapping[str, FloatArray]
    ) -> Figures:
        def row(full_name: str) -> FloatArray | None:
            found = store.get((name, full_name))
            return None if found is None else found[0]

        npv, margin, coverage = (row(full_name) for full_name in MEASURED)
        assert npv is not None
        required = self.scenario.shop.coverage_required
        least = None if required is None else vectors.get(required.path, np.array([required.likely]))
        columns = {full_name: store[name, full_name] for full_name in self._columns if (name, full_name) in store}
        return Figures(npv, margin, coverage, _passes(trials, margin, coverage, least), columns)


def joined(parts: Sequence[Figures]) -> Figures:
    """Return one alternative's figures over several runs as those of one run, the trials in the order of the runs."""

    def along(name: str) -> FloatArray | None:
        found = [getattr(part, name) for part in parts]
        return None if found[0] is None else np.concatenate(found)

    npv, passes = along("npv"), np.concatenate([part.passes for part in parts])
    assert npv is not None
    columns = {name: np.concatenate([part.columns[name] for part in parts], axis=1) for name in parts[0].columns}
    return Figures(npv, along("margin"), along("coverage"), passes, columns)


def _passes(
    trials: int, margin: FloatArray | None, coverage: FloatArray | None, least: FloatArray | None
) -> NDArray[np.bool_]:
    passes = np.ones(trials, dtype=bool)
    if margin is not None:
        passes &= margin >= -0.005
    if coverage is not None and least is not None:
        passes &= coverage >= least
    return passes


def tested(evaluation: Evaluation, name: str) -> Figures:
    """Return the measured figures of one alternative of an evaluation, as a run of one trial."""
    found = {full_name: _column(evaluation[name], full_name) for full_name in MEASURED}
    npv, margin, coverage = (None if column is None else column.values[0] for column in found.values())
    assert npv is not None
    required = evaluation.scenario.shop.coverage_required
    least = None if required is None else np.array([required.likely])
    return Figures(npv, margin, coverage, _passes(len(npv), margin, coverage, least), {})


def _blocks(trials: int) -> Iterator[slice]:
    """Yield blocks of as equal a size as can be: each finds the arrays of the one before."""
    blocks = -(-trials // BLOCK)
    size = -(-trials // max(blocks, 1))
    for start in range(0, trials, max(size, 1)):
        yield slice(start, min(start + size, trials))


def _put(target: FloatArray, rows: slice | NDArray[np.int64], found: FloatArray) -> None:
    if target.shape[0] != found.shape[0]:  # outcomes with different stretches: only sums over time can be compared
        raise ValueError("a column whose rows depend on a yes/no doubt cannot be returned over many trials")
    target[:, rows] = found


def _column(ledger: Ledger, full_name: str) -> Column | None:
    try:
        return ledger.column(full_name)
    except KeyError:
        return None


def doubtful(scenario: Scenario) -> dict[str, Amount]:
    """Return the inputs with a range or a chance, by path: what the owner is not sure of."""
    return {path: amount for path, amount in amounts(scenario).items() if amount.doubtful}
