"""How sure the answer is: all doubts drawn together, every alternative run through the same draws.

Chances, percentiles, regret and the value of information, each with its standard error over independent replicates.
They repeat the ranges that were entered and know nothing more.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from equipdecide.calendar import FloatArray
from equipdecide.decide.compare import Comparison, measure, passes
from equipdecide.decide.draws import draw, drawn_paths
from equipdecide.decide.news import questions
from equipdecide.decide.trials import BLOCK, Figures, Trials, joined
from equipdecide.evaluate import Evaluation, evaluate
from equipdecide.ledger import Finding
from equipdecide.parameters import Law
from equipdecide.scenario.amounts import Amount
from equipdecide.scenario.labels import labels
from equipdecide.scenario.models import Scenario
from equipdecide.scenario.reading import amounts
from equipdecide.showing import Shown

if TYPE_CHECKING:
    import pandas as pd

REPLICATES = 8
PATIENCE = 2.0  # [s] after which what has been run is kept when a simulation is stopped
DEGREE = 5  # of the polynomial by which a lead is seen to follow one input


@dataclass(frozen=True)
class Estimate:
    """A figure of a simulation and its standard error."""

    value: float
    error: float

    def __float__(self) -> float:
        return self.value


@dataclass(frozen=True)
class Information:
    """What it would be worth, at most, to know one input before choosing [currency].

    `question` is what a yes/no doubt asks: "P5 renews"; empty for any other input.
    """

    path: str
    label: str
    value: Estimate
    question: str = ""

    @property
    def tells(self) -> bool:
        """Whether the value stands clear of its standard error: more than two of them, and of a dollar."""
        return self.value.value > max(2 * self.value.error, 1.0)


@dataclass(frozen=True, eq=False, repr=False)
class Runs(Shown):
    """The trials of a scenario. Arrays are (trials,); trials of a replicate stand together.

    `draws` holds the drawn inputs by path, `fixed` inputs set to one value for the whole run. `asked` is the number of
    trials asked for, more than `trials` where the run was stopped.
    """

    scenario: Scenario
    seed: int
    draws: Mapping[str, FloatArray]
    fixed: Mapping[str, float]
    figures: Mapping[str, Figures]
    evaluation: Evaluation  # as entered
    replicates: int
    law: Law | None = None
    asked: int = 0

    @property
    def names(self) -> tuple[str, ...]:
        """The alternatives, in the order of the file."""
        return tuple(self.figures)

    @property
    def trials(self) -> int:
        """Number of trials."""
        return len(next(iter(self.figures.values())).npv)

    @cached_property
    def _npv(self) -> FloatArray:
        return np.array([figures.npv for figures in self.figures.values()])

    @cached_property
    def _parts(self) -> list[NDArray[np.int64]]:
        return np.array_split(np.arange(self.trials), self.replicates)

    def npv(self, name: str, less: str | None = None) -> FloatArray:
        """Return the present worth of an alternative in each trial (less that of another) [currency]."""
        own = self._of(name).npv
        return own if less is None else own - self._of(less).npv

    def estimate(self, statistic: Callable[[NDArray[np.int64]], float]) -> Estimate:
        """Return a figure over all trials, and its standard error from the spread over the replicates.

        `statistic` takes indices of trials.
        """
        whole = float(statistic(np.arange(self.trials)))
        apart = np.array([statistic(part) for part in self._parts])
        return Estimate(whole, float(apart.std(ddof=1) / np.sqrt(len(apart))) if len(apart) > 1 else float("nan"))

    def mean(self, name: str, less: str | None = None) -> Estimate:
        """Return the mean present worth of an alternative (less that of another) [currency]."""
        values = self.npv(name, less)
        return self.estimate(lambda k: float(values[k].mean()))

    def deviation(self, name: str, less: str | None = None) -> Estimate:
        """Return the standard deviation of present worth over the trials [currency]."""
        values = self.npv(name, less)
        return self.estimate(lambda k: float(values[k].std()))

    def percentiles(
        self, name: str, levels: Sequence[float] = (5, 50, 95), less: str | None = None
    ) -> tuple[Estimate, ...]:
        """Return percentiles (`levels` in per cent) of present worth, or of the lead over `less` [currency]."""
        values = self.npv(name, less)
        return tuple(self.estimate(lambda k, level=level: float(np.percentile(values[k], level))) for level in levels)  # type: ignore[misc]

    def chance(self, name: str, beats: str = "keep") -> Estimate:
        """Return the chance that one alternative is worth more than another."""
        lead = self.npv(name, beats)
        return self.estimate(lambda k: float((lead[k] > 0).mean()))

    def chance_best(self, name: str, affordable: bool = False) -> Estimate:
        """Return the chance that an alternative has the highest present worth.

        With `affordable`, among those that keep cash above the floor and pass every gate in that trial.
        """
        self._of(name)
        best = self._best_affordable if affordable else self._npv.argmax(axis=0)
        own = self.names.index(name)
        return self.estimate(lambda k: float((best[k] == own).mean()))

    @cached_property
    def _best_affordable(self) -> NDArray[np.int64]:
        passes = np.array([figures.passes for figures in self.figures.values()])
        best = np.where(passes, self._npv, -np.inf).argmax(axis=0)
        return np.where(passes.any(axis=0), best, -1)

    @property
    def chance_none_affordable(self) -> Estimate:
        """The chance that no alternative keeps cash above the floor and passes every gate."""
        best = self._best_affordable
        return self.estimate(lambda k: float((best[k] < 0).mean()))

    def chance_under_floor(self, name: str) -> Estimate | None:
        """Return the chance that the shop's cash goes under the floor; None where cash or floor is not given."""
        margin = self._of(name).margin
        return None if margin is None else self.estimate(lambda k: float((margin[k] < -0.005).mean()))

    def regret(self, name: str, among: Sequence[str] | None = None) -> Estimate:
        """Return the expected regret: what choosing `name` loses on average to the best of each trial [currency].

        `among` limits the choice, to what can be paid for, say.
        """
        lost = self._choice(among).max(axis=0) - self._of(name).npv
        return self.estimate(lambda k: float(lost[k].mean()))

    def evpi(self, among: Sequence[str] | None = None) -> Estimate:
        """Return the expected value of perfect information: the most that knowing all doubts could be worth [currency].

        Mean of the best of each trial less the best of the means; the smallest expected regret. `among` limits the
        choice, to what can be paid for, say.
        """
        npv = self._choice(among)
        chosen = int(npv.mean(axis=1).argmax())
        lead = npv - npv[chosen]  # the same course in every replicate
        return self.estimate(lambda k: perfect_information(lead[:, k], chosen=chosen))

    def evppi(self, path: str, among: Sequence[str] | None = None) -> Estimate:
        """Return the most that knowing one input alone could be worth before choosing [currency].

        The lead of each alternative over the one best on average is fitted to the input: by its mean at no and at yes
        for a yes/no doubt, else by a polynomial of degree 5 in the rank of the draw; the value is the mean of the best
        of the fitted leads. Source: Strong, Oakley and Brennan (2014), Medical Decision Making 34(3), 311-326, who
        regress on the draws (from memory).
        """
        if path not in self.draws:
            raise KeyError(f"{path!r} was not drawn; drawn were {', '.join(self.draws)}")
        npv = self._choice(among)
        lead = npv - npv[int(npv.mean(axis=1).argmax())]
        drawn = self.draws[path]
        if not (lead > 0).any():  # one course is best in every trial: nothing that could be learnt would change it
            return Estimate(0.0, 0.0)

        def worth(k: NDArray[np.int64]) -> float:
            fitted = _fitted(drawn[k], lead[:, k])
            return max(float(fitted.max(axis=0).mean() - max(0.0, fitted.mean(axis=1).max())), 0.0)

        return self.estimate(worth)

    def information(self, among: Sequence[str] | None = None) -> tuple[Information, ...]:
        """Return the value of knowing each input alone, the most valuable first."""
        titles, asks = labels(self.scenario), questions(self.scenario)
        found = [
            Information(path, titles.get(path, path), self.evppi(path, among), asks.get(path, ""))
            for path in self.draws
        ]
        return tuple(sorted(found, key=lambda one: -one.value.value))

    @cached_property
    def comparison(self) -> Comparison:
        """The comparison at the entered figures."""
        return measure(self.evaluation)

    @property
    def leader(self) -> str:
        """The course that leads at the entered figures: the best that passes, else the one of highest worth."""
        return self.comparison.leader.name

    @property
    def affordable(self) -> tuple[str, ...]:
        """The alternatives that pass as entered, or all where none does: what the owner chooses from."""
        found = tuple(outcome.name for outcome in self.comparison if passes(outcome))
        return found or self.names

    def values(self, trial: int) -> dict[str, float]:
        """Return the inputs of one trial that differ from the entered ones, by path."""
        return dict(self.fixed) | {path: float(vector[trial]) for path, vector in self.draws.items()}

    def replay(self, trial: int) -> Evaluation:
        """Return the full evaluation of one trial: every column of every alternative."""
        if not 0 <= trial < self.trials:
            raise IndexError(f"there are trials 0 to {self.trials - 1}, not {trial}")
        return evaluate(self.scenario, self.values(trial), law=self.law)

    @property
    def findings(self) -> tuple[Finding, ...]:
        """What the reader must know about the chances."""
        entered = amounts(self.scenario)
        guesses = sum(entered[path].given_by in ("guess", "default") for path in self.draws)
        silent = sum(entered[path].given_by == "" for path in self.draws)
        found = [
            Finding(
                "own_ranges",
                f"These chances repeat your own ranges: {len(self.draws)} "
                f"input{'s were' if len(self.draws) != 1 else ' was'} drawn, {guesses} of them "
                f"marked as {'guesses' if guesses != 1 else 'a guess'}"
                f"{f', {silent} without saying where from' if silent else ''}. "
                "If the ranges are too narrow, the chances are too sure.",
                "doubts",
            )
        ]
        joined = [doubt for doubt in self.scenario.doubts if doubt.correlation is not None]
        if not joined and len(self.draws) > 1:
            found.append(
                Finding(
                    "drawn_apart",
                    "Every input was drawn on its own: no two were said to go up and down together.",
                    "doubts",
                )
            )
        if not self.draws:
            found.append(Finding("no_doubts", "No input has a range, so every trial is the same.", "doubts", "warning"))
        if self.asked > self.trials:
            text = f"Stopped after {self.trials:,} of {self.asked:,} trials: what had been run is shown."
            found.insert(0, Finding("stopped", text, "doubts", "warning"))
        return tuple(found)

    def to_json(self) -> dict[str, object]:
        """Return plain data with fixed keys: keys are added, never renamed. Each figure is `{value, error}`."""
        pool = self.affordable
        return {
            "trials": self.trials,
            "seed": self.seed,
            "replicates": self.replicates,
            "drawn": list(self.draws),
            "alternatives": [self._one(name, pool) for name in self.names],
            "chance_none_affordable": _plain(self.chance_none_affordable),
            "evpi": _plain(self.evpi()),
            "evpi_affordable": _plain(self.evpi(pool)),
            "evppi": [{"path": one.path, "label": one.label, **_plain(one.value)} for one in self.information()],
            "evppi_affordable": [
                {"path": one.path, "label": one.label, **_plain(one.value)} for one in self.information(pool)
            ],
            "choice": list(pool),
            "findings": [{"code": f.code, "text": f.text, "about": f.about, "weight": f.weight} for f in self.findings],
        }

    def _one(self, name: str, pool: Sequence[str]) -> dict[str, object]:
        low, middle, high = self.percentiles(name, less="keep")
        under = self.chance_under_floor(name)
        return {
            "name": name,
            "npv_mean": _plain(self.mean(name)),
            "npv_deviation": _plain(self.deviation(name)),
            "less_keep_mean": _plain(self.mean(name, "keep")),
            "less_keep_p5": _plain(low),
            "less_keep_p50": _plain(middle),
            "less_keep_p95": _plain(high),
            "chance_beats_keep": _plain(self.chance(name)),
            "chance_best": _plain(self.chance_best(name)),
            "chance_best_affordable": _plain(self.chance_best(name, affordable=True)),
            "chance_under_floor": None if under is None else _plain(under),
            "regret": _plain(self.regret(name)),
            "regret_affordable": _plain(self.regret(name, pool)) if name in pool else None,
        }

    def to_frame(self) -> pd.DataFrame:
        """Return a tidy pandas frame, one row an alternative, units in the column names; standard
        errors end in `_error`.
        """
        import pandas as pd

        rows, pool = [], self.affordable
        for name in self.names:
            row: dict[str, object] = {"alternative": name}
            for key, value in self._one(name, pool).items():
                if isinstance(value, dict):
                    named = key if key.startswith("chance_") else f"{key}_usd"
                    row |= {named: value["value"], f"{named}_error": value["error"]}
            rows.append(row)
        return pd.DataFrame(rows)

    def _of(self, name: str) -> Figures:
        if name not in self.figures:
            raise KeyError(f"no alternative {name!r}; there are {', '.join(self.figures)}")
        return self.figures[name]

    def _choice(self, among: Sequence[str] | None) -> FloatArray:
        return self._npv if among is None else np.array([self._of(name).npv for name in among])


def perfect_information(worth: FloatArray, weights: FloatArray | None = None, chosen: int | None = None) -> float:
    """Return the expected value of perfect information from `worth`, shape (alternatives, outcomes) [currency].

    `weights` are the chances of the outcomes (left out: all alike); `chosen` is the course taken without knowing (left
    out: the best on average). Formula: mean of the best of each outcome less the mean of the course chosen.
    """
    worth = np.asarray(worth, dtype=float)
    share = np.full(worth.shape[1], 1.0 / worth.shape[1]) if weights is None else np.asarray(weights, dtype=float)
    means = worth @ share
    return float(worth.max(axis=0) @ share - means[int(means.argmax()) if chosen is None else chosen])


def _plain(estimate: Estimate) -> dict[str, float | None]:
    return {"value": estimate.value, "error": None if np.isnan(estimate.error) else estimate.error}


def _fitted(drawn: FloatArray, leads: FloatArray) -> FloatArray:
    """Return each row of `leads` (alternatives, trials) as far as it follows one input."""
    different = np.unique(drawn)
    if len(different) <= DEGREE + 1:  # a yes/no doubt, or few values seen
        out = np.empty_like(leads)
        for value in different:
            here = drawn == value
            out[:, here] = leads[:, here].mean(axis=1, keepdims=True)
        return out
    rank = (np.searchsorted(np.sort(drawn), drawn) + 0.5) / len(drawn) * 2 - 1
    basis = np.polynomial.legendre.legvander(rank, DEGREE)
    basis = np.column_stack(
        [basis, (drawn - drawn.mean()) / drawn.std()]
    )  # a lead that is straight in the input stays so
    # least squares by the small matrix of the basis with itself; the last column may repeat the second
    weights = np.linalg.pinv(basis.T @ basis, rcond=1e-10, hermitian=True) @ (basis.T @ leads.T)
    fitted: FloatArray = (basis @ weights).T
    return fitted


def simulate(
    scenario: Scenario,
    trials: int = 4096,
    seed: int = 7,
    values: Mapping[str, float] | None = None,
    replicates: int = REPLICATES,
    law: Law | None = None,
    stoppable: bool = False,
    evaluation: Evaluation | None = None,
) -> Runs:
    """Draw all doubtful inputs `trials` times and run every alternative through the same draws.

    Inputs with low, likely and high follow a PERT shape unless `doubts:` of the scenario says otherwise; yes/no doubts
    come true with their chance. `values` sets inputs to one value instead (path -> number). The same seed gives the
    same figures; 8 replicates of 512 points are the most even. `law` replaces the shipped parameters; `evaluation` is
    the run at the entered figures, where it is at hand. With `stoppable`, an interrupt after two seconds keeps what has
    been run (of two replicates at the least). Raises :class:`equipdecide.decide.draws.DrawError` where doubts cannot be
    drawn, ValueError for too few trials.
    """
    if not 1 < replicates <= trials // 2:
        raise ValueError(f"{trials} trials in {replicates} replicates: give at least 2 replicates of 2 trials each.")
    fixed = dict(values or {})
    entered: dict[str, Amount] = amounts(scenario)
    if unknown := [path for path in fixed if path not in entered]:
        raise KeyError(f"no input {unknown[0]!r}; see equipdecide.scenario.reading.amounts(scenario) for all of them")
    paths = [path for path in drawn_paths(scenario, entered) if path not in fixed]
    program = Trials(scenario, [*paths, *fixed], evaluation=evaluation, law=law)
    paths = [path for path in paths if path in program.used]
    draws = draw(scenario, entered, paths, trials, seed, replicates)
    held = {path: np.full(trials, value) for path, value in fixed.items()}
    vectors = {**held, **draws} if draws or held else {_ANY: np.zeros(trials)}
    if not stoppable:
        return Runs(scenario, seed, draws, fixed, program.run(vectors), program.evaluation, replicates, law, trials)
    kept, figures = _piece_by_piece(program, vectors, np.array_split(np.arange(trials), replicates))
    rows = np.concatenate(kept)
    draws = {path: vector[rows] for path, vector in draws.items()}
    return Runs(scenario, seed, draws, fixed, figures, program.evaluation, len(kept), law, trials)


def _piece_by_piece(
    program: Trials, vectors: Mapping[str, FloatArray], parts: Sequence[NDArray[np.int64]]
) -> tuple[list[NDArray[np.int64]], dict[str, Figures]]:
    """Run a block of every replicate in turn; an interrupt ends it, and is passed on where too little has been run.

    Returned are the trials kept, replicate by replicate, and the figures in that order. Of a run that was stopped the
    same number of blocks is kept of each replicate: a beginning of spread points is itself evenly spread.
    """
    turns = [
        (r, part[first : first + BLOCK])
        for first in range(0, len(parts[0]), BLOCK)
        for r, part in enumerate(parts)
        if first < len(part)
    ]
    done: list[dict[str, Figures]] = []
    began = time.monotonic()
    try:
        for _, rows in turns:
            done.append(program.run({path: vector[rows] for path, vector in vectors.items()}))
    except KeyboardInterrupt:
        if len(done) < 2 or time.monotonic() - began < PATIENCE:
            raise
        if len(done) > len(parts):
            del done[len(done) - len(done) % len(parts) :]
    order = sorted(
        range(len(done)), key=lambda k: turns[k][0]
    )  # a stable sort: within a replicate the blocks stay in turn
    replicates = sorted({turns[k][0] for k in order})
    kept = [np.concatenate([turns[k][1] for k in order if turns[k][0] == r]) for r in replicates]
    return kept, {name: joined([done[k][name] for k in order]) for name in program.names}


_ANY = ""  # no input has this path: it only says how many trials there are
