"""What would flip the answer: every input by how near it lies to the value at which two courses are worth the same.

Each trial moves one input along a grid and leaves the others as entered; all inputs go in one run. Where the lead of
one course over another changes sign, the crossing is closed in by Chandrupatla's method on all brackets at once.
Inputs that decide dates are left out, with the reason; a yes/no doubt is two points, not a line.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from equipdecide.calendar import FloatArray
from equipdecide.decide.compare import Comparison, compare, measure
from equipdecide.decide.trials import Figures, Trials, decides_dates, structural_doubts
from equipdecide.evaluate import Evaluation
from equipdecide.parameters import Law
from equipdecide.scenario.amounts import Amount
from equipdecide.scenario.asking.questions import WEEKS_A_YEAR
from equipdecide.scenario.labels import labels
from equipdecide.scenario.models import Scenario
from equipdecide.scenario.reading import amounts
from equipdecide.showing import Shown

if TYPE_CHECKING:
    import pandas as pd

GRID = 16  # steps over the wide range; crossings closer together than one step are seen as none or as one
OWN_GRID = 4  # steps on each side of the entered value within the owner's own range
CLOSE = 1e-6  # a flip is found to this share of itself
YEAR_HOURS = 8784.0

Pair = tuple[str, str]
Indices = NDArray[np.int64]


@dataclass(frozen=True)
class Flip:
    """One input at which `alternative` and `against` are worth the same, all other inputs as entered.

    `flip` is the crossing nearest to the entered value, `all` every crossing in `searched` [unit of the input].
    `distance` is relative to the entered value (where 0 was entered, to the size of like inputs); `share_of_range` is
    the same step as a fraction of the stated low to high. For a yes/no doubt `entered` is its chance, `flip` the chance
    at which both are worth the same on average, and `two_points` the lead if no and if yes [currency].
    """

    path: str
    label: str
    alternative: str
    against: str
    entered: float
    unit: str
    flip: float
    all: tuple[float, ...]
    distance: float
    share_of_range: float | None
    inside_range: bool
    lead: float  # present worth of `alternative` less that of `against` at the entered value [currency]
    searched: tuple[float, float]
    two_points: tuple[float, float] | None = None

    @property
    def a_week(self) -> tuple[float, float] | None:
        """Nights a week entered and at the flip, over the 50 weeks worked in a year; None for any other input."""
        if not self.path.endswith(".nights.nights"):
            return None
        return self.entered / WEEKS_A_YEAR, self.flip / WEEKS_A_YEAR

    def to_json(self) -> dict[str, object]:
        """Return plain data with fixed keys."""
        return {
            "path": self.path,
            "label": self.label,
            "alternative": self.alternative,
            "against": self.against,
            "entered": self.entered,
            "flip": self.flip,
            "unit": self.unit,
            "distance": self.distance,
            "share_of_range": self.share_of_range,
            "inside_range": self.inside_range,
            "lead": self.lead,
            "searched": list(self.searched),
            "all": list(self.all),
            "two_points": None if self.two_points is None else {"no": self.two_points[0], "yes": self.two_points[1]},
            "flip_a_week": None if self.a_week is None else self.a_week[1],
        }


@dataclass(frozen=True)
class Never:
    """An input that flips nothing between `alternative` and `against` anywhere in `searched` [unit of the input]."""

    path: str
    label: str
    alternative: str
    against: str
    searched: tuple[float, float]
    matters: bool  # the lead moves with it, though never far enough


@dataclass(frozen=True)
class Excluded:
    """An input that was not moved, and why."""

    path: str
    label: str
    reason: str


@dataclass(frozen=True)
class ExtraHours:
    """Good hours a year, above what Keep sells, that `alternative` needs and is believed to sell [h/year].

    `needed` is 0 where it beats Keep with no extra hour sold, None where not even all that is believed is enough.
    """

    alternative: str
    needed: float | None
    believed: float


@dataclass(frozen=True, repr=False)
class Breakevens(Shown):
    """Every input by how near its flip is. Flips inside the owner's own range come first."""

    leader: str
    runner_up: str | None
    flips: tuple[Flip, ...]
    never: tuple[Never, ...]
    excluded: tuple[Excluded, ...]
    extra_hours: tuple[ExtraHours, ...]

    def __iter__(self) -> Iterator[Flip]:
        return iter(self.flips)

    def between(self, a: str, b: str = "keep") -> tuple[Flip, ...]:
        """Return the flips between two courses, nearest first."""
        return tuple(flip for flip in self.flips if {flip.alternative, flip.against} == {a, b})

    @property
    def nearest(self) -> Flip | None:
        """The nearest flip that concerns the leader; None where nothing flips it."""
        return next((flip for flip in self.flips if self.leader in (flip.alternative, flip.against)), None)

    def to_json(self) -> dict[str, object]:
        """Return plain data with fixed keys: keys are added, never renamed."""
        return {
            "leader": self.leader,
            "runner_up": self.runner_up,
            "flips": [flip.to_json() for flip in self.flips],
            "never": [
                {
                    "path": n.path,
                    "label": n.label,
                    "alternative": n.alternative,
                    "against": n.against,
                    "searched": list(n.searched),
                    "matters": n.matters,
                }
                for n in self.never
            ],
            "excluded": [{"path": e.path, "label": e.label, "reason": e.reason} for e in self.excluded],
            "extra_hours": [
                {"alternative": h.alternative, "needed": h.needed, "believed": h.believed} for h in self.extra_hours
            ],
        }

    def to_frame(self) -> pd.DataFrame:
        """Return a tidy pandas frame, one row a flip; the lead in `lead_usd`, the input in its `unit`."""
        import pandas as pd

        frame = pd.DataFrame(
            [{k: v for k, v in flip.to_json().items() if k not in ("all", "two_points")} for flip in self.flips]
        )
        return frame.rename(columns={"lead": "lead_usd"})


def breakeven(
    scenario: Scenario,
    path: str | None = None,
    a: str | None = None,
    b: str = "keep",
    law: Law | None = None,
    evaluation: Evaluation | None = None,
) -> Breakevens:
    """Return, for every input (or the one at `path`), the values at which two courses are worth the same.

    Without `a`, each alternative is set against `b` (Keep), and the leader of those the shop can afford against the
    runner-up. Searched: the stated range, and beyond it 0 to 3 times the entered amount, shares and chances from 0 to
    100 %, growth and the study's rate from -10 to 50 %, other rates from 0 to 50 %. `law` replaces the shipped
    parameters; `evaluation` is the run at the entered figures, where it is at hand. Raises KeyError for an unknown
    path or alternative.
    """
    entered = amounts(scenario)
    if path is not None and path not in entered:
        raise KeyError(f"no input {path!r}; see equipdecide.scenario.amounts(scenario) for all of them")
    for name in (a, b):
        if name is not None and name not in scenario.alternatives:
            raise KeyError(f"no alternative {name!r}; there are {', '.join(scenario.alternatives)}")
    titles = labels(scenario)
    looked_at = {path: entered[path]} if path is not None else entered
    numbers = [p for p, amount in looked_at.items() if amount.chance is None and not decides_dates(p)]
    chances = [p for p, amount in looked_at.items() if amount.chance is not None]
    trials = Trials(scenario, numbers, evaluation=evaluation, law=law)
    comparison = measure(trials.evaluation)
    pairs = _pairs(comparison, a, b)
    moving = [p for p in numbers if p in trials.used]
    flips, never = _numbers(trials, moving, pairs, titles, entered)
    more, less, idle = _yes_no(scenario, chances, pairs, titles, entered, trials.evaluation, law)
    excluded = [
        Excluded(p, titles.get(p, p), _reason(p))
        for p, amount in looked_at.items()
        if (amount.chance is None and p not in moving) or p in idle
    ]
    flips = sorted([*flips, *more], key=_nearness)
    hours = extra_hours_needed(scenario, comparison) if path is None and a is None else []
    runner_up = comparison.runner_up
    return Breakevens(
        comparison.leader.name,
        runner_up.name if runner_up else None,
        tuple(flips),
        (*never, *less),
        tuple(excluded),
        tuple(hours),
    )


def _nearness(flip: Flip) -> tuple[bool, float]:
    return (
        not flip.inside_range,
        flip.share_of_range if flip.inside_range and flip.share_of_range is not None else flip.distance,
    )


def _pairs(comparison: Comparison, a: str | None, b: str) -> list[Pair]:
    if a is not None:
        return [(a, b)]
    pairs = [(outcome.name, b) for outcome in comparison if outcome.name != b]
    runner_up = comparison.runner_up
    if runner_up is not None and b not in (comparison.leader.name, runner_up.name):
        pairs.append((comparison.leader.name, runner_up.name))
    return pairs


def _reason(path: str) -> str:
    if decides_dates(path):
        return "it decides dates, so moving it makes another plan"
    if ".terms." in path:
        return "it decides what is paid on which day, so moving it makes another plan"
    if path == "study.tax_indexing":
        return "it decides which tax brackets of later years are read"
    if path == "shop.coverage_required":
        return "it is a gate, and no present worth rests on it"
    return "no alternative's present worth rests on it"


def search_range(amount: Amount, path: str, scale: float = 1.0) -> tuple[float, float]:
    """Return the range in which an input is moved [its unit]: by its unit, and never narrower than its stated range.

    `scale` stands for the entered amount where 0 was entered.
    """
    last = path.split(".")[-1]
    if amount.unit in ("share", "chance"):
        low, high = 0.0, 1.0
    elif amount.unit == "1/year":
        low, high = (-0.10 if path == "study.rate" or last in ("growth", "tax_indexing") else 0.0), 0.50
    else:
        ends = (0.0, 3.0 * (amount.likely or scale))
        low, high = min(ends), max(ends)
        if last in ("cycle_factor", "minutes"):
            low = 0.05 * amount.likely  # a part cannot take no time
        if amount.unit in ("hour/year", "hour"):
            high = min(high, 24.0 if last == "window" else YEAR_HOURS)
    stated = [value for value in (amount.low, amount.likely, amount.high) if value is not None]
    return min(low, *stated), max(high, *stated)


def _scales(entered: dict[str, Amount]) -> dict[str, float]:
    """Return, by path, the size of an input: as entered, else the middle of its namesakes, else of all of its unit."""
    alike: dict[str, list[float]] = {}
    for path, amount in entered.items():
        if amount.likely:
            for key in (path.split(".")[-1], amount.unit):
                alike.setdefault(key, []).append(abs(amount.likely))
    scales = {}
    for path, amount in entered.items():
        near = alike.get(path.split(".")[-1]) or alike.get(amount.unit) or [1.0]
        scales[path] = abs(amount.likely) or float(np.median(near))
    return scales


def _grid(amount: Amount, low: float, high: float) -> FloatArray:
    points = [np.linspace(low, high, GRID + 1), np.array([amount.likely])]
    if amount.low is not None and amount.high is not None:
        points += [
            np.linspace(amount.low, amount.likely, OWN_GRID + 1),
            np.linspace(amount.likely, amount.high, OWN_GRID + 1),
        ]
    return np.unique(np.concatenate(points))


def _vectors(
    paths: Sequence[str], entered: dict[str, Amount], which: Indices, values: FloatArray
) -> dict[str, FloatArray]:
    """Return one vector an input: as entered but where the trial moves it. `which` is the input each trial moves."""
    vectors = {}
    for k, path in enumerate(paths):
        vector = np.full(len(values), entered[path].likely)
        vector[which == k] = values[which == k]
        vectors[path] = vector
    return vectors


def _leads(figures: dict[str, Figures], pairs: Sequence[Pair]) -> FloatArray:
    return np.array([figures[x].npv - figures[y].npv for x, y in pairs])


def _numbers(
    trials: Trials, paths: Sequence[str], pairs: Sequence[Pair], titles: dict[str, str], entered: dict[str, Amount]
) -> tuple[list[Flip], list[Never]]:
    if not paths or not pairs:
        return [], []
    scales = _scales(entered)
    ranges = [search_range(entered[p], p, scales[p]) for p in paths]
    grids = [_grid(entered[p], *ends) for p, ends in zip(paths, ranges, strict=True)]
    which = np.repeat(np.arange(len(paths)), [len(grid) for grid in grids])
    values = np.concatenate(grids)
    leads = _leads(trials.run(_vectors(paths, entered, which, values)), pairs)
    base = _leads(trials.run({}), pairs)[:, 0]

    brackets = []  # (input, pair, low, high, lead at low, lead at high)
    exact: dict[tuple[int, int], list[float]] = {}
    for k in range(len(paths)):
        rows = np.flatnonzero(which == k)
        for p in range(len(pairs)):
            usable = rows[np.isfinite(leads[p, rows])]
            lead = leads[p, usable]
            if np.ptp(lead) < 0.005:
                continue
            exact.setdefault((k, p), []).extend(values[usable[lead == 0.0]].tolist())
            for j in np.flatnonzero(lead[:-1] * lead[1:] < 0):
                brackets.append((k, p, values[usable[j]], values[usable[j + 1]], lead[j], lead[j + 1]))
    found = dict(exact)
    if brackets:
        ks, ps = np.array([row[0] for row in brackets]), np.array([row[1] for row in brackets])
        low, high, at_low, at_high = (np.array([row[c] for row in brackets], dtype=float) for c in (2, 3, 4, 5))

        def lead_at(x: FloatArray, active: Indices) -> FloatArray:
            moved = _leads(trials.run(_vectors(paths, entered, ks[active], x)), pairs)
            return np.asarray(moved[ps[active], np.arange(len(x))])

        for k, p, root in zip(ks, ps, crossings(lead_at, low, high, at_low, at_high), strict=True):
            found.setdefault((int(k), int(p)), []).append(float(root))

    flips, never = [], []
    for k, path in enumerate(paths):
        amount = entered[path]
        for p, (x, y) in enumerate(pairs):
            roots = found.get((k, p))
            if not roots:
                never.append(Never(path, titles.get(path, path), x, y, ranges[k], (k, p) in exact))
                continue
            roots.sort(key=lambda root: abs(root - amount.likely))  # noqa: B023
            nearest = roots[0]
            away = abs(nearest - amount.likely)
            stated = amount.low is not None and amount.high is not None and amount.high > amount.low
            flips.append(
                Flip(
                    path,
                    titles.get(path, path),
                    x,
                    y,
                    amount.likely,
                    amount.unit,
                    nearest,
                    tuple(sorted(roots)),
                    away / scales[path],
                    away / (amount.high - amount.low) if stated else None,  # type: ignore[operator]
                    stated and amount.low <= nearest <= amount.high,  # type: ignore[operator]
                    float(base[p]),
                    ranges[k],
                )
            )
    return flips, never


def crossings(
    f: Callable[[FloatArray, Indices], FloatArray],
    low: FloatArray,
    high: FloatArray,
    at_low: FloatArray,
    at_high: FloatArray,
    close: float = CLOSE,
) -> FloatArray:
    """Return one zero of `f` in each bracket [low, high], all brackets at once; at a jump, the place of the jump.

    `f(x, active)` gives the values at `x` of the brackets with indices `active`; `at_low` and `at_high` have opposite
    signs. All arrays (brackets,). Found to within `close` of its size, or of a thousandth of the bracket.

    Chandrupatla's method: inverse quadratic interpolation where it is safe, else the middle. Source: T. R.
    Chandrupatla (1997), Advances in Engineering Software 28(3), 145-149 (from memory).
    """
    a, fa = high.astype(float), at_high.astype(float)  # a is the newest point, b the other end, c the one dropped
    b, fb = low.astype(float), at_low.astype(float)
    c, fc = a.copy(), fa.copy()
    step = np.full(a.shape, 0.5)
    floor = close * np.maximum(np.minimum(np.abs(low), np.abs(high)), 1e-3 * (high - low))
    active = np.arange(len(a))
    for _ in range(100):
        x = a[active] + step[active] * (b[active] - a[active])
        fx = f(x, active)
        same = np.sign(fx) == np.sign(fa[active])
        k = active
        c[k], fc[k] = np.where(same, a[k], b[k]), np.where(same, fa[k], fb[k])
        b[k], fb[k] = np.where(same, b[k], a[k]), np.where(same, fb[k], fa[k])
        a[k], fa[k] = x, fx
        width = np.abs(b[k] - a[k])
        going = (width > 2 * floor[k]) & (fx != 0.0)
        with np.errstate(divide="ignore", invalid="ignore"):
            xi = (a[k] - b[k]) / (c[k] - b[k])
            phi = (fa[k] - fb[k]) / (fc[k] - fb[k])
            safe = (phi**2 < xi) & ((1 - phi) ** 2 < 1 - xi)
            t = fa[k] / (fb[k] - fa[k]) * fc[k] / (fb[k] - fc[k]) + (c[k] - a[k]) / (b[k] - a[k]) * fa[k] / (
                fc[k] - fa[k]
            ) * fb[k] / (fc[k] - fb[k])
        least = np.minimum(floor[k] / np.maximum(width, 1e-300), 0.5)
        step[k] = np.clip(np.where(safe & np.isfinite(t), t, 0.5), least, 1 - least)
        active = active[going]
        if not len(active):
            break
    return np.where(np.abs(fa) <= np.abs(fb), a, b)


def _yes_no(
    scenario: Scenario,
    paths: Sequence[str],
    pairs: Sequence[Pair],
    titles: dict[str, str],
    entered: dict[str, Amount],
    evaluation: Evaluation,
    law: Law | None,
) -> tuple[list[Flip], list[Never], set[str]]:
    """Return flips, what never flips, and the doubts nothing rests on: each doubt at no and at yes."""
    flips: list[Flip] = []
    never: list[Never] = []
    idle: set[str] = set()
    if not paths or not pairs:  # nothing in doubt, or no other course
        return flips, never, set(paths)
    trials = Trials(scenario, paths, evaluation=evaluation, law=law)
    structural = {doubt for name in scenario.alternatives for doubt in structural_doubts(scenario, name)}
    which = np.repeat(np.arange(len(paths)), 2)
    leads = _leads(trials.run(_vectors(paths, entered, which, np.tile([0.0, 1.0], len(paths)))), pairs)
    base = _leads(trials.run({}), pairs)[:, 0]
    for k, path in enumerate(paths):
        if path not in trials.used and path not in structural:
            idle.add(path)
            continue
        chance = entered[path].chance
        assert chance is not None
        for p, (x, y) in enumerate(pairs):
            no, yes = (float(value) for value in leads[p, 2 * k : 2 * k + 2])
            title = titles.get(path, path)
            if no * yes >= 0:
                never.append(Never(path, title, x, y, (0.0, 1.0), abs(yes - no) >= 0.005))
                continue
            even = no / (no - yes)
            away = abs(even - chance)
            flips.append(
                Flip(
                    path,
                    title,
                    x,
                    y,
                    chance,
                    "chance",
                    even,
                    (even,),
                    away / (chance or 1.0),
                    away,
                    0.0 < chance < 1.0,
                    float(base[p]),
                    (0.0, 1.0),
                    (no, yes),
                )
            )
    return flips, never, idle


# --- what must be sold -----------------------------------------------------------------------------------------------


def made_by_keep(comparison: Comparison) -> dict[str, float]:
    """Return what Keep makes of each part a year, at the pace of its first twelve months, by the path of its demand.

    Pieces, or hours for work sold by the hour. Parts without a demand are left out.
    """
    keep = comparison.keep
    scenario = comparison.scenario
    if "contribution" not in keep.ledger.workings:
        return {}
    years = keep.column("capacity.years").per_row()
    passed = np.concatenate([[0.0], np.cumsum(years)[:-1]])
    share = np.clip(1.0 - passed, 0.0, years) / years  # of each stretch, the part in the first twelve months
    made = {}
    for name, part in scenario.parts.items():
        demand = part.demand or part.hours
        if demand is None or f"{name}: hours" not in keep.ledger.workings["contribution"]:
            continue
        hours = float(keep.column(f"contribution.{name}: hours").per_row() @ share) / min(1.0, float(years.sum()))
        made[demand.path] = hours / keep.column(f"part {name}.hours_each").figure()
    return made


def _capped(comparison: Comparison) -> dict[str, tuple[float, float]]:
    """Return, by path of a demand, what Keep makes and what is believed to sell, where the second is more."""
    entered = amounts(comparison.scenario)
    made = made_by_keep(comparison)
    return {path: (cap, entered[path].likely) for path, cap in made.items() if entered[path].likely > cap + 1e-9}


def nothing_extra_sold(scenario: Scenario, comparison: Comparison | None = None) -> Comparison:
    """Return the comparison if no more were sold of any part than Keep makes in its first twelve months.

    More hours are then worth nothing but what they save on work bought outside, so the lead may turn.
    """
    believed = comparison or compare(scenario)
    return compare(scenario, {path: cap for path, (cap, _) in _capped(believed).items()})


def extra_hours_needed(scenario: Scenario, comparison: Comparison | None = None) -> list[ExtraHours]:
    """Return for each alternative the extra good hours a year it must sell to equal Keep, beside those believed.

    Extra demand is scaled from none (every demand capped at what Keep makes) to all that is believed; hours are those
    sold above Keep's, averaged over the study [h/year]. Empty where the scenario models no parts.
    """
    believed = comparison or compare(scenario)
    capped = _capped(believed)
    others = [outcome.name for outcome in believed if outcome.name != "keep"]
    if not made_by_keep(believed) or not others:
        return []
    trials = Trials(scenario, list(capped), columns=["contribution.hours_sold"], evaluation=believed.evaluation)
    span = float(believed.keep.column("capacity.years").per_row().sum())

    def run(t: FloatArray) -> dict[str, Figures]:
        return trials.run({path: cap + t * (full - cap) for path, (cap, full) in capped.items()} or {})

    def sold(figures: dict[str, Figures], name: str) -> FloatArray:
        if "contribution.hours_sold" not in figures[name].columns:
            return np.zeros(1)
        a_year: FloatArray = figures[name].columns["contribution.hours_sold"].sum(axis=0) / span
        return a_year

    steps = np.linspace(0.0, 1.0, 33)
    along = run(steps)
    found = []
    for name in others:
        lead = along[name].npv - along["keep"].npv
        extra = sold(along, name) - sold(along, "keep")
        believed_hours = float(extra[-1])
        if lead[0] >= 0:
            needed: float | None = 0.0
        elif not (lead > 0).any():
            needed = None
        else:
            j = int(np.argmax(lead > 0))

            def lead_at(t: FloatArray, _: Indices, name: str = name) -> FloatArray:
                here = run(t)
                return here[name].npv - here["keep"].npv

            t = crossings(lead_at, steps[j - 1 : j], steps[j : j + 1], lead[j - 1 : j], lead[j : j + 1])
            here = run(t)
            needed = float((sold(here, name) - sold(here, "keep"))[0])
        found.append(ExtraHours(name, needed, believed_hours))
    return found
