"""What is not money: gates that must be passed, and weighted criteria kept apart from present worth.

Money never enters the score. A criterion is scored over its stated range, worst to best, and its weight is the worth of
the swing over that range. Shown beside present worth: each partner's weights apart, the exchange rate (dollars of
present worth for the score given up), and the smallest change of one weight that turns the order.

Sources: multi-attribute value with swing weights, Keeney and Raiffa, Decisions with Multiple Objectives (1976; from
memory). Pairwise comparison and its consistency ratio: Saaty (1980); random indices as printed in two papers (read).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from equipdecide.decide.compare import Comparison
from equipdecide.decide.named import named
from equipdecide.ledger import Finding
from equipdecide.scenario.models import Criterion
from equipdecide.showing import Shown

RANDOM_INDEX = {1: 0.0, 2: 0.0, 3: 0.58, 4: 0.90, 5: 1.12, 6: 1.24, 7: 1.32, 8: 1.41, 9: 1.45}
TOGETHER = "equal say"


@dataclass(frozen=True)
class Flip:
    """The smallest change of one weight that lets `second` overtake `first`, the others keeping their proportions."""

    first: str
    second: str
    criterion: str
    weight: float
    needed: float


@dataclass(frozen=True)
class Exchange:
    """What choosing on score instead of on money costs: present worth given up, a hundredth of the score at a time."""

    by_money: str
    by_score: str
    worth_given_up: float
    score_gained: float

    @property
    def per_point(self) -> float | None:
        """Currency of present worth for one point of a hundred of score; None where both point to the same course."""
        return self.worth_given_up / (100 * self.score_gained) if self.score_gained > 1e-12 else None


@dataclass(frozen=True)
class View:
    """One partner's view: weights that add to 1, scores from 0 to 1 by course, exchange rate, nearest flip."""

    partner: str
    weights: Mapping[str, float]
    scores: Mapping[str, float]
    exchange: Exchange
    flip: Flip | None

    @property
    def best(self) -> str:
        """The course of the highest score."""
        return max(self.scores, key=lambda name: self.scores[name])


@dataclass(frozen=True, eq=False, repr=False)
class Weighing(Shown):
    """All views side by side with present worth less Keep's [currency]; never averaged over partners."""

    worth: Mapping[str, float]
    gates: Mapping[str, tuple[str, ...]]  # course -> gates it fails
    views: tuple[View, ...]
    findings: tuple[Finding, ...]

    def __getitem__(self, partner: str) -> View:
        return named(self.views, partner, "partner", lambda entry: entry.partner)

    def to_json(self) -> dict[str, object]:
        """Return plain data with fixed keys: keys are added, never renamed."""
        return {
            "npv_less_keep": dict(self.worth),
            "failed_gates": {name: list(gates) for name, gates in self.gates.items()},
            "partners": [
                {
                    "name": view.partner,
                    "weights": dict(view.weights),
                    "scores": dict(view.scores),
                    "best": view.best,
                    "exchange": {
                        "by_money": view.exchange.by_money,
                        "by_score": view.exchange.by_score,
                        "worth_given_up": view.exchange.worth_given_up,
                        "score_gained": view.exchange.score_gained,
                        "per_point": view.exchange.per_point,
                    },
                    "flip": None
                    if view.flip is None
                    else {
                        "first": view.flip.first,
                        "second": view.flip.second,
                        "criterion": view.flip.criterion,
                        "weight": view.flip.weight,
                        "needed": view.flip.needed,
                    },
                }
                for view in self.views
            ],
            "findings": [{"code": f.code, "text": f.text, "about": f.about} for f in self.findings],
        }


def score(value: float, worst: float, best: float) -> float:
    """Return where a value stands between worst (0) and best (1); beyond the range it is not cut off."""
    if worst == best:
        raise ValueError("worst and best of a criterion are the same; it says nothing")
    return (value - worst) / (best - worst)


def nearest_flip(scores: Mapping[str, Mapping[str, float]], weights: Mapping[str, float]) -> Flip | None:
    """Return the smallest change of a single weight that makes another course first; None where none does.

    `scores` by course and criterion, `weights` adding to 1. Moving one weight to w scales the others by (1 - w) / (1 -
    its old weight), so a course's total is linear in w.
    """
    totals = {name: sum(weights[c] * row[c] for c in weights) for name, row in scores.items()}
    first = max(totals, key=lambda name: totals[name])
    flips = []
    for other in scores:
        if other == first:
            continue
        for criterion, weight in weights.items():
            if weight >= 1 - 1e-12:
                continue
            own = scores[first][criterion] - scores[other][criterion]
            rest = (totals[first] - totals[other] - weight * own) / (1 - weight)
            # lead at weight w: w * own + (1 - w) * rest
            if own == rest:
                continue
            needed = rest / (rest - own)
            if 0 <= needed <= 1:
                flips.append(Flip(first, other, criterion, weight, needed))
    return min(flips, key=lambda flip: abs(flip.needed - flip.weight), default=None)


def _view(
    partner: str, weights: Mapping[str, float], scores: Mapping[str, Mapping[str, float]], worth: Mapping[str, float]
) -> View:
    whole = sum(weights.values())
    if not whole > 0:
        raise ValueError(f"{partner}: all weights are zero")
    shares = {name: weight / whole for name, weight in weights.items()}
    totals = {name: sum(shares[c] * row[c] for c in shares) for name, row in scores.items()}
    money, liked = max(worth, key=lambda n: worth[n]), max(totals, key=lambda n: totals[n])
    exchange = Exchange(money, liked, worth[money] - worth[liked], totals[liked] - totals[money])
    return View(partner, shares, totals, exchange, nearest_flip(scores, shares))


def weigh(comparison: Comparison) -> Weighing:
    """Return the criteria of a scenario, each partner's weights apart, beside present worth.

    Courses that fail a gate are left out of the views. Raises ValueError where the scenario has no criteria.
    """
    scenario = comparison.scenario
    if not scenario.criteria:
        raise ValueError("the scenario has no criteria; add `criteria:` with a range, values and weights")
    gates = {o.name: o.failed_gates for o in comparison}
    standing = [o.name for o in comparison if not any(gate in scenario.gates for gate in o.failed_gates)]
    worth = {o.name: o.npv_less_keep for o in comparison if o.name in standing}
    findings = list(_cautions(scenario.criteria, standing))
    scores = {
        name: {
            c: score(float(one.values[name]), float(one.worst), float(one.best)) for c, one in scenario.criteria.items()
        }
        for name in standing
    }
    partners = list(dict.fromkeys(p for one in scenario.criteria.values() for p in one.weights)) or [TOGETHER]
    views = [
        _view(
            partner,
            {
                c: float(one.weights[partner]) if partner in one.weights else (1.0 if partner == TOGETHER else 0.0)
                for c, one in scenario.criteria.items()
            },
            scores,
            worth,
        )
        for partner in partners
    ]
    return Weighing(worth, gates, tuple(views), tuple(findings))


def _cautions(criteria: Mapping[str, Criterion], standing: Sequence[str]) -> list[Finding]:
    found = []
    for name, one in criteria.items():
        values = [float(one.values[course]) for course in standing]
        if len(set(values)) == 1:
            found.append(
                Finding(
                    "no_difference",
                    f"All courses are alike in '{name}': its weight only dilutes the others.",
                    f"criteria.{name}",
                )
            )
        low, high = sorted((float(one.worst), float(one.best)))
        outside = [course for course, value in zip(standing, values, strict=True) if not low <= value <= high]
        if outside:
            found.append(
                Finding(
                    "outside_range",
                    f"'{name}': {', '.join(outside)} lie outside its range of {low:g} to {high:g}, so they score "
                    f"below 0 or above 1.",
                    f"criteria.{name}",
                    "warning",
                )
            )
    return found


@dataclass(frozen=True)
class Pairwise:
    """Weights from a matrix of pairwise comparisons: largest eigenvalue, consistency index and
    ratio; and the method.
    """

    weights: tuple[float, ...]
    eigenvalue: float
    index: float
    ratio: float
    method: str

    @property
    def consistent(self) -> bool:
        """Whether the ratio is at most 0.10, the customary limit. The two methods may differ about it."""
        return self.ratio <= 0.10


def pairwise(
    matrix: Sequence[Sequence[float]], method: Literal["eigenvalue", "column average"] = "eigenvalue"
) -> Pairwise:
    """Return weights from a reciprocal matrix, shape (n, n), n from 2 to 9, by the exact eigenvalue or the shortcut.

    ``CI = (eigenvalue - n) / (n - 1)``, ``CR = CI / RI``. Raises ValueError where the matrix is not reciprocal.
    """
    a = np.asarray(matrix, dtype=float)
    n = len(a)
    if a.shape != (n, n) or not 2 <= n <= 9 or not (a > 0).all():
        raise ValueError("the matrix must be square, from 2 to 9 rows, all entries above 0")
    if np.abs(a * a.T - 1).max() > 1e-9:
        raise ValueError("the matrix is not reciprocal: entry (j, i) must be one over entry (i, j)")
    if method == "eigenvalue":
        roots, vectors = np.linalg.eig(a)
        k = int(np.argmax(roots.real))
        weights = np.abs(vectors[:, k].real)
        weights /= weights.sum()
        largest = float(roots[k].real)
    else:
        weights = (a / a.sum(axis=0)).mean(axis=1)
        largest = float((a.sum(axis=0) * weights).sum())
    index = (largest - n) / (n - 1)
    ratio = index / RANDOM_INDEX[n] if RANDOM_INDEX[n] else 0.0
    return Pairwise(tuple(map(float, weights)), largest, index, ratio, method)
