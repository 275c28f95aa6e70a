"""What the answer rests on: one input at a time over its range, two at a time over a map, and
shares of the variance.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from equipdecide.calendar import FloatArray
from equipdecide.decide.breakeven import breakeven, search_range
from equipdecide.decide.compare import measure
from equipdecide.decide.draws import draw, drawn_paths, points
from equipdecide.decide.trials import Trials
from equipdecide.scenario.amounts import Amount
from equipdecide.scenario.labels import labels
from equipdecide.scenario.models import Scenario
from equipdecide.scenario.reading import amounts
from equipdecide.showing import Shown

if TYPE_CHECKING:
    import pandas as pd


# --- one at a time ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Bar:
    """One input moved from the low to the high of its stated range, all others as entered.

    `at_low` and `at_high` are the lead of `a` over `b` there [currency]; `swing` is the distance between the least and
    the greatest lead anywhere in the range. A yes/no doubt goes from no (low) to yes (high).
    """

    path: str
    label: str
    unit: str
    low: float
    entered: float
    high: float
    at_low: float
    at_high: float
    swing: float
    turns: bool  # the lead changes sign within the range


@dataclass(frozen=True, repr=False)
class Tornado(Shown):
    """Bars of the lead of `a` over `b`, the widest first. `lead` is the lead as entered [currency]."""

    a: str
    b: str
    lead: float
    bars: tuple[Bar, ...]

    def to_json(self) -> dict[str, object]:
        """Return plain data with fixed keys: keys are added, never renamed."""
        return {"a": self.a, "b": self.b, "lead": self.lead, "bars": [_fields(bar) for bar in self.bars]}

    def to_frame(self) -> pd.DataFrame:
        """Return a tidy pandas frame, one row a bar; money in columns that end in `_usd`, the input in its `unit`."""
        import pandas as pd

        frame = pd.DataFrame([_fields(bar) for bar in self.bars])
        return frame.rename(columns={name: f"{name}_usd" for name in ("at_low", "at_high", "swing")})


def _fields(bar: Bar) -> dict[str, object]:
    return {name: getattr(bar, name) for name in bar.__dataclass_fields__}


def tornado(scenario: Scenario, a: str | None = None, b: str = "keep", steps: int = 8) -> Tornado:
    """Return how far each doubtful input alone moves the lead of `a` (left out: the leader) over `b`.

    Where the leader is `b` itself, its runner-up is set against it. `steps` points are tried on each side of the
    entered value. Raises KeyError for an unknown alternative.
    """
    entered = amounts(scenario)
    paths = [path for path, amount in entered.items() if amount.doubtful]
    trials = Trials(scenario, paths)
    a, b = _pair(trials, a, b)
    paths = [path for path in paths if path in trials.used]
    titles = labels(scenario)
    moved: list[FloatArray] = []
    for path in paths:
        amount = entered[path]
        if amount.chance is not None:
            moved.append(np.array([0.0, 1.0]))
        else:
            assert amount.low is not None and amount.high is not None
            sides = (
                np.linspace(amount.low, amount.likely, steps + 1),
                np.linspace(amount.likely, amount.high, steps + 1),
            )
            moved.append(np.concatenate([sides[0], sides[1][1:]]))
    lead = _lead(trials, a, b, _one_at_a_time(trials, paths, moved))
    base = float(_lead(trials, a, b, {})[0])
    bars, start = [], 0
    for path, values in zip(paths, moved, strict=True):
        here = lead[start : start + len(values)]
        start += len(values)
        amount = entered[path]
        bars.append(
            Bar(
                path,
                titles.get(path, path),
                amount.unit,
                float(values[0]),
                amount.likely,
                float(values[-1]),
                float(here[0]),
                float(here[-1]),
                float(np.ptp(here)),
                bool(here.min() < 0 < here.max()),
            )
        )
    return Tornado(a, b, base, tuple(sorted(bars, key=lambda bar: -bar.swing)))


def _pair(trials: Trials, a: str | None, b: str) -> tuple[str, str]:
    for name in (a, b):
        if name is not None and name not in trials.names:
            raise KeyError(f"no alternative {name!r}; there are {', '.join(trials.names)}")
    if a is not None:
        return a, b
    comparison = measure(trials.evaluation)
    if comparison.leader.name != b:
        return comparison.leader.name, b
    return (comparison.runner_up.name if comparison.runner_up else b), b


def _lead(trials: Trials, a: str, b: str, values: dict[str, FloatArray]) -> FloatArray:
    figures = trials.run(values)
    lead: FloatArray = figures[a].npv - figures[b].npv
    return lead


def _one_at_a_time(trials: Trials, paths: Sequence[str], moved: Sequence[FloatArray]) -> dict[str, FloatArray]:
    count = sum(map(len, moved))
    vectors, start = {}, 0
    for path, values in zip(paths, moved, strict=True):
        vector = np.full(count, trials.amounts[path].likely)
        vector[start : start + len(values)] = values
        start += len(values)
        vectors[path] = vector
    return vectors


# --- curves and maps -------------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Curve:
    """Present worth of every alternative along one input [currency]; `values` in the input's unit, all (points,)."""

    path: str
    label: str
    unit: str
    entered: float
    values: FloatArray
    npv: dict[str, FloatArray]

    def to_json(self) -> dict[str, object]:
        """Return plain data with fixed keys: keys are added, never renamed."""
        return {
            "path": self.path,
            "label": self.label,
            "unit": self.unit,
            "entered": self.entered,
            "values": self.values.tolist(),
            "npv": {name: worth.tolist() for name, worth in self.npv.items()},
        }


def curve(scenario: Scenario, path: str, low: float | None = None, high: float | None = None, steps: int = 60) -> Curve:
    """Return the present worth of every alternative while one input goes from `low` to `high` (left out: as break-even
    searches), in `steps` steps. Raises KeyError for an unknown input."""
    amount, low, high = _ends(scenario, path, low, high)
    values = np.linspace(low, high, steps + 1)
    figures = Trials(scenario, [path]).run({path: values})
    npv = {name: np.broadcast_to(found.npv, values.shape) for name, found in figures.items()}
    return Curve(path, labels(scenario).get(path, path), amount.unit, amount.likely, values, npv)


def _ends(scenario: Scenario, path: str, low: float | None, high: float | None) -> tuple[Amount, float, float]:
    entered = amounts(scenario)
    if path not in entered:
        raise KeyError(f"no input {path!r}; see equipdecide.scenario.reading.amounts(scenario) for all of them")
    least, most = search_range(entered[path], path)
    return entered[path], least if low is None else low, most if high is None else high


@dataclass(frozen=True, eq=False, repr=False)
class Map(Shown):
    """The lead of `a` over `b` while two inputs move: `lead[i, j]` at `x[i]`, `y[j]` [currency].

    `own` are the ranges stated for both, None where one has none. `line` are points (x, y) at which both courses are
    worth the same, in rising order of `x` or `y`.
    """

    a: str
    b: str
    x_path: str
    y_path: str
    x_label: str
    y_label: str
    x_unit: str
    y_unit: str
    x: FloatArray
    y: FloatArray
    entered: tuple[float, float]
    own: tuple[tuple[float, float], tuple[float, float]] | None
    lead_entered: float
    lead: FloatArray
    line: tuple[tuple[float, float], ...]

    def to_json(self) -> dict[str, object]:
        """Return plain data with fixed keys: keys are added, never renamed."""
        return {
            "a": self.a,
            "b": self.b,
            "x": {
                "path": self.x_path,
                "label": self.x_label,
                "unit": self.x_unit,
                "values": self.x.tolist(),
                "entered": self.entered[0],
            },
            "y": {
                "path": self.y_path,
                "label": self.y_label,
                "unit": self.y_unit,
                "values": self.y.tolist(),
                "entered": self.entered[1],
            },
            "own_ranges": None if self.own is None else [list(ends) for ends in self.own],
            "lead_entered": self.lead_entered,
            "lead": self.lead.tolist(),
            "line": [list(point) for point in self.line],
        }


def two_way(
    scenario: Scenario,
    x: str | None = None,
    y: str | None = None,
    a: str | None = None,
    b: str = "keep",
    steps: int = 24,
    x_range: tuple[float, float] | None = None,
    y_range: tuple[float, float] | None = None,
) -> Map:
    """Return the lead of `a` (left out: the leader) over `b` on a grid of two inputs, and the line where it flips.

    `x` and `y` left out: see :func:`default_axes`. The flip line is read off the grid by straight lines between
    neighbours. Raises KeyError for an unknown name, ValueError where fewer than two inputs could be moved.
    """
    if x is None or y is None:
        x, y = default_axes(scenario, a, b, x or y)
    first, x_low, x_high = _ends(scenario, x, *(x_range or (None, None)))
    second, y_low, y_high = _ends(scenario, y, *(y_range or (None, None)))
    trials = Trials(scenario, [x, y])
    a, b = _pair(trials, a, b)
    xs, ys = np.linspace(x_low, x_high, steps + 1), np.linspace(y_low, y_high, steps + 1)
    across, up = (grid.ravel() for grid in np.meshgrid(xs, ys, indexing="ij"))
    across, up = np.append(across, first.likely), np.append(up, second.likely)
    found = np.broadcast_to(_lead(trials, a, b, {x: across, y: up}), across.shape)
    lead = found[:-1].reshape(len(xs), len(ys))
    titles = labels(scenario)
    return Map(
        a,
        b,
        x,
        y,
        titles.get(x, x),
        titles.get(y, y),
        first.unit,
        second.unit,
        xs,
        ys,
        (first.likely, second.likely),
        _own(first, second),
        float(found[-1]),
        lead,
        flip_line(xs, ys, lead),
    )


NIGHTS, SOLD = "nights.mean_between_stops", (".hours", ".demand")


def _own(*moved: Amount) -> tuple[tuple[float, float], tuple[float, float]] | None:
    ranges = [(amount.low, amount.high) for amount in moved if amount.low is not None and amount.high is not None]
    return (ranges[0], ranges[1]) if len(ranges) == 2 else None


def default_axes(
    scenario: Scenario, a: str | None = None, b: str = "keep", given: str | None = None
) -> tuple[str, str]:
    """Return the two inputs that most deserve a map of the lead of `a` over `b`: (x, y); `given` is one of them
    already.

    Hours (or pieces) that can be sold against the mean hours between stops of the machine or improvement that `a`
    brings in; where the file has not both, the inputs whose flips are nearest, then those that move the lead most.
    """
    found = tornado(scenario, a, b)
    bars = {bar.path: bar for bar in found.bars if bar.swing >= 0.5}
    subjects = [
        getattr(step, "machine", None) or getattr(step, "improvement", "") for step in scenario.alternatives[found.a]
    ]
    nights = [path for path in bars if path.endswith(NIGHTS) and path.split(".")[1] in subjects]
    sold = [path for ending in SOLD for path in bars if path.startswith("parts.") and path.endswith(ending)]
    chosen = [given] if given else []
    if nights and sold and not given:
        return sold[0], nights[0]
    flips = breakeven(scenario, None, found.a, found.b).flips
    for path in [*(flip.path for flip in flips if flip.two_points is None), *bars]:
        if path not in chosen and (path not in bars or not _yes_no(scenario, path)):
            chosen.append(path)
    if len(chosen) < 2:
        raise ValueError(
            "fewer than two inputs could be moved: give some a range, low .. likely .. high, or name two inputs"
        )
    return chosen[0], chosen[1]


def _yes_no(scenario: Scenario, path: str) -> bool:
    return amounts(scenario)[path].chance is not None


def flip_line(x: FloatArray, y: FloatArray, lead: FloatArray) -> tuple[tuple[float, float], ...]:
    """Return the points at which `lead` (len(x), len(y)) crosses zero between neighbours of the grid."""
    found = []
    for i, j in zip(*np.nonzero(lead[:, :-1] * lead[:, 1:] < 0), strict=True):
        share = lead[i, j] / (lead[i, j] - lead[i, j + 1])
        found.append((float(x[i]), float(y[j] + share * (y[j + 1] - y[j]))))
    for i, j in zip(*np.nonzero(lead[:-1, :] * lead[1:, :] < 0), strict=True):
        share = lead[i, j] / (lead[i, j] - lead[i + 1, j])
        found.append((float(x[i] + share * (x[i + 1] - x[i])), float(y[j])))
    found += [(float(x[i]), float(y[j])) for i, j in zip(*np.nonzero(lead == 0), strict=True)]
    return tuple(sorted(found))


# --- shares of the variance ------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Indices:
    """Shares of the variance of a figure: `first` by each input alone, `total` with all it does
    together with others.
    """

    names: tuple[str, ...]
    first: tuple[float, ...]
    total: tuple[float, ...]
    variance: float

    def to_json(self) -> dict[str, object]:
        """Return plain data with fixed keys: keys are added, never renamed."""
        rows = zip(self.names, self.first, self.total, strict=True)
        return {"variance": self.variance, "indices": [{"path": n, "first": f, "total": t} for n, f, t in rows]}


def variance_shares(
    function: Callable[[FloatArray], FloatArray], names: Sequence[str], points_each: int = 1024, seed: int = 7
) -> Indices:
    """Return first and total Sobol indices of `function`, which maps points (inputs, n) in 0..1 to values (n,).

    `points_each` x (inputs + 2) points are run. First: Saltelli et al. (2010), Computer Physics Communications 181(2),
    259-270, table 2 (b); total: Jansen (1999), table 2 (f) there (from memory). Inputs must be independent.
    """
    d = len(names)
    u = points(2 * d, points_each, seed, 1)
    first, second = u[:d], u[d:]
    at_first, at_second = function(first), function(second)
    centre = float(np.mean([at_first, at_second]))
    at_first, at_second = at_first - centre, at_second - centre
    variance = float(np.concatenate([at_first, at_second]).var())
    alone, together = [], []
    for k in range(d):
        mixed = first.copy()
        mixed[k] = second[k]
        value = function(mixed) - centre
        alone.append(float(np.mean(at_second * (value - at_first))) / variance if variance else 0.0)
        together.append(float(np.mean((at_first - value) ** 2)) / (2 * variance) if variance else 0.0)
    return Indices(tuple(names), tuple(alone), tuple(together), variance)


def indices(
    scenario: Scenario, a: str | None = None, b: str = "keep", points_each: int = 256, seed: int = 7
) -> Indices:
    """Return what share of the variance of the lead of `a` (left out: the leader) over `b` each doubtful input brings.

    Correlations of the scenario are left out: the shares are defined for independent inputs only.
    """
    entered = amounts(scenario)
    program = Trials(scenario, drawn_paths(scenario, entered))
    a, b = _pair(program, a, b)
    paths = [path for path in drawn_paths(scenario, entered) if path in program.used]

    def lead(u: FloatArray) -> FloatArray:
        values = draw(scenario, entered, paths, u.shape[1], seed, 1, u)
        return np.broadcast_to(_lead(program, a, b, values), (u.shape[1],))

    return variance_shares(lead, paths, points_each, seed)
