"""Draws of doubtful inputs: shapes from low, likely and high, correlations, and well-spread points.

Points are scrambled Sobol sequences in independent replicates: each replicate covers the ranges evenly, and the
spread of a figure over the replicates is its standard error. Correlated inputs are joined by a Gaussian copula.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

import numpy as np

from equipdecide.calendar import FloatArray
from equipdecide.scenario.amounts import Amount, AmountError, Quantity
from equipdecide.scenario.models import Doubt, Scenario
from equipdecide.scenario.reading import quantity_at

PERT_WEIGHT = 4.0  # weight of the likely value in the mean: (low + 4 likely + high) / 6
TAIL = 1.6448536269514722  # standard normal at 95 %: low and high of a normal shape are its 5 and 95 % points
EDGE = 1e-12  # points are kept this far from 0 and 1, where a normal shape has no value


class DrawError(ValueError):
    """Doubts that cannot be drawn together, in plain words."""


def pert(u: FloatArray, low: float, likely: float, high: float, weight: float = PERT_WEIGHT) -> FloatArray:
    """Return values of a PERT (scaled beta) shape at cumulative probabilities `u`.

    Mean m = (low + weight likely + high) / (weight + 2), variance (m - low)(high - m) / (weight + 3); the textbook
    variance ((high - low) / 6)**2 is an approximation to it. Source: Malcolm, Roseboom, Clark and Fazar (1959),
    Operations Research 7(5) for the mean; Vose, Risk Analysis, for the general weight (from memory).
    """
    from scipy.special import betaincinv

    span = high - low
    shape = 1 + weight * (likely - low) / span, 1 + weight * (high - likely) / span
    values: FloatArray = low + span * betaincinv(*shape, u)
    return values


def triangular(u: FloatArray, low: float, likely: float, high: float) -> FloatArray:
    """Return values of a triangular shape at cumulative probabilities `u`; mean (low + likely + high) / 3."""
    span = high - low
    up, down = u * span * (likely - low), (1 - u) * span * (high - likely)
    values: FloatArray = np.where(u * span < likely - low, low + np.sqrt(up), high - np.sqrt(down))
    return values


def uniform(u: FloatArray, low: float, likely: float, high: float) -> FloatArray:
    """Return values spread evenly from low to high."""
    return low + u * (high - low)


def normal(u: FloatArray, low: float, likely: float, high: float) -> FloatArray:
    """Return values of a normal shape: mean `likely`, 5 % below low and 5 % above high (of their mean distance)."""
    from scipy.special import ndtri

    values: FloatArray = likely + ndtri(u) * (high - low) / (2 * TAIL)
    return values


def lognormal(u: FloatArray, low: float, likely: float, high: float) -> FloatArray:
    """Return values of a lognormal shape: median `likely`, spread from the ratio of high to low (5 and 95 % points)."""
    from scipy.special import ndtri

    values: FloatArray = likely * np.exp(ndtri(u) * np.log(high / low) / (2 * TAIL))
    return values


def logged(u: FloatArray, seen: Sequence[float]) -> FloatArray:
    """Return values seen before, each as likely as any other."""
    ordered: FloatArray = np.sort(np.asarray(seen, dtype=float))
    return ordered[np.minimum((u * len(ordered)).astype(np.int64), len(ordered) - 1)]


def yes_no(u: FloatArray, chance: float) -> FloatArray:
    """Return 1 with the stated chance, else 0; the larger `u`, the sooner yes."""
    return (u >= 1 - chance).astype(float) if chance < 1 else np.ones_like(u)


SHAPES: dict[str, Callable[[FloatArray, float, float, float], FloatArray]] = {
    "PERT": pert,
    "triangular": triangular,
    "uniform": uniform,
    "normal": normal,
    "lognormal": lognormal,
}


def points(dimensions: int, trials: int, seed: int, replicates: int) -> FloatArray:
    """Return scrambled Sobol points, shape (dimensions, trials), in `replicates` independent runs one after another.

    The same seed gives the same points. A replicate whose size is a power of two is the most even.
    """
    from scipy.stats import qmc

    sizes = [trials // replicates + (k < trials % replicates) for k in range(replicates)]
    children = np.random.SeedSequence(seed).spawn(replicates)
    rows = []
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)  # about sizes that are no power of two: said above
        for size, child in zip(sizes, children, strict=True):
            engine = qmc.Sobol(dimensions, scramble=True, seed=np.random.default_rng(child))
            rows.append(engine.random(size))
    spread: FloatArray = np.clip(np.concatenate(rows).T, EDGE, 1 - EDGE)
    return spread


def correlated(u: FloatArray, matrix: FloatArray) -> FloatArray:
    """Return points (dimensions, trials) joined by a Gaussian copula with correlation `matrix` of the normal scores.

    Each row stays evenly spread. Raises :class:`DrawError` where no inputs can be so correlated.
    """
    from scipy.special import ndtr, ndtri

    values, vectors = np.linalg.eigh(matrix)
    if values[0] < -1e-9:
        least = float(np.linalg.eigvalsh(matrix - np.eye(len(matrix)))[0])
        raise DrawError(
            "These correlations cannot hold together: what goes up with one must go down with another. "
            f"Each at most {-1 / least:.0%} of what is written would do."
        )
    # inputs that are one and the same leave no room for a Cholesky root
    root = np.linalg.cholesky(matrix) if values[0] > 1e-9 else vectors * np.sqrt(np.maximum(values, 0.0))
    joined: FloatArray = ndtr(root @ ndtri(u))
    return np.clip(joined, EDGE, 1 - EDGE)


def correlation_matrix(paths: Sequence[str], doubts: Sequence[Doubt]) -> FloatArray | None:
    """Return the correlations among `paths` as a matrix; None where there are none."""
    index = {path: k for k, path in enumerate(paths)}
    matrix = np.eye(len(paths))
    found = False
    for doubt in doubts:
        if doubt.correlation is not None and all(path in index for path in doubt.of):
            i, j = (index[path] for path in doubt.of)
            matrix[i, j] = matrix[j, i] = doubt.correlation
            found = True
    return matrix if found else None


def drawn_paths(scenario: Scenario, entered: Mapping[str, Amount]) -> list[str]:
    """Return the inputs that are drawn: those with a range or a chance, and those with a log of values seen."""
    logs = {path for doubt in scenario.doubts if doubt.shape == "logged" for path in doubt.of}
    return [path for path, amount in entered.items() if amount.doubtful or path in logs]


def draw(
    scenario: Scenario,
    entered: Mapping[str, Amount],
    paths: Sequence[str],
    trials: int,
    seed: int,
    replicates: int,
    u: FloatArray | None = None,
) -> dict[str, FloatArray]:
    """Return one vector of draws (trials,) for each of `paths` [unit of the input].

    `u` are points (paths, trials) to draw at, independent of one another; left out, they are spread anew and
    correlated as the scenario says.

    Shares stay within 0 and 1, and what is counted or measured does not fall below 0; money may.
    Raises :class:`DrawError` where the doubts cannot be drawn.
    """
    if not paths:
        return {}
    if u is None:
        u = points(len(paths), trials, seed, replicates)
        matrix = correlation_matrix(paths, scenario.doubts)
        if matrix is not None:
            u = correlated(u, matrix)
    shape_of = {path: doubt for doubt in scenario.doubts if doubt.shape for path in doubt.of}
    return {
        path: _values(u[k], entered[path], shape_of.get(path), scenario.source.folder) for k, path in enumerate(paths)
    }


def _values(u: FloatArray, amount: Amount, doubt: Doubt | None, folder: Path | None) -> FloatArray:
    if amount.chance is not None:
        return yes_no(u, amount.chance)
    if doubt is not None and doubt.shape == "logged":
        quantity = quantity_at(amount.path)
        assert quantity is not None  # an amount was read there
        values = logged(u, read_values((folder or Path()) / str(doubt.log), quantity))
    else:
        assert amount.low is not None and amount.high is not None
        values = SHAPES[doubt.shape if doubt and doubt.shape else "PERT"](u, amount.low, amount.likely, amount.high)
    if amount.unit == "share":
        return np.clip(values, 0.0, 1.0)
    if amount.unit == "1/year" or amount.unit.split("/")[0].isupper():  # a rate, or money
        return values
    return np.maximum(values, 0.0)


def read_values(file: Path, quantity: Quantity) -> list[float]:
    """Return the values of a CSV file of one column, each written as in a scenario; a first line may be a heading.

    Raises :class:`DrawError` with every line that cannot be read.
    """
    try:
        lines = file.read_text(encoding="utf-8-sig").splitlines()
    except (OSError, UnicodeDecodeError):
        raise DrawError(
            f"{file.name} cannot be read as a text file. Put it beside the scenario, as CSV in UTF-8."
        ) from None
    values, wrong = [], []
    for number, line in enumerate(lines, 1):
        text = line.strip().strip('"')
        if not text or (number == 1 and not any(letter.isdigit() for letter in text)):
            continue
        try:
            values.append(quantity.read(text).likely)
        except AmountError as error:
            wrong.append(f"{file.name}:{number}: {error}.")
    if not values and not wrong:
        wrong.append(f"{file.name}: no value stands in it. Write one on each line.")
    if wrong:
        raise DrawError("\n".join(wrong))
    return values
