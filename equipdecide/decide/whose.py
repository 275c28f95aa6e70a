"""Whose guesses: the same decision under each partner's own figures, and which difference of opinion decides it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from equipdecide.calendar import FloatArray
from equipdecide.decide.named import named
from equipdecide.decide.trials import Figures, Trials, decides_dates
from equipdecide.scenario.amounts import AmountError
from equipdecide.scenario.labels import labels
from equipdecide.scenario.models import Scenario
from equipdecide.scenario.reading import amounts, quantity_at
from equipdecide.showing import Shown

if TYPE_CHECKING:
    import pandas as pd

AS_ENTERED = "as entered"


@dataclass(frozen=True)
class View:
    """The answer under one set of figures. Money in the scenario's currency."""

    name: str
    values: Mapping[str, float]  # where this set differs from the entered figures: path -> value
    npv: Mapping[str, float]
    best: str | None  # None: nothing keeps cash above the floor and passes every gate
    best_ignoring_cash: str

    @property
    def choice(self) -> str:
        """The best affordable course, or the best without regard to cash where none is affordable."""
        return self.best or self.best_ignoring_cash

    def less_keep(self, alternative: str) -> float:
        """Return the present worth of an alternative less that of Keep [currency]."""
        return self.npv[alternative] - self.npv["keep"]


@dataclass(frozen=True)
class Deciding:
    """One figure of one partner without which that partner would choose as the entered figures do, or otherwise."""

    partner: str
    path: str
    label: str
    entered: float
    theirs: float
    unit: str
    choice: str  # with all of the partner's figures
    choice_without: str  # with this one as entered


@dataclass(frozen=True, repr=False)
class Whose(Shown):
    """Views side by side, the entered figures first, and the differences of opinion that decide.

    `inputs` gives label, unit and entered value of every input on which somebody differs, by path.
    """

    views: tuple[View, ...]
    deciding: tuple[Deciding, ...]
    inputs: Mapping[str, tuple[str, str, float]]

    def __getitem__(self, name: str) -> View:
        return named(self.views, name, "partner")

    @property
    def agree(self) -> bool:
        """Whether all come to the same course."""
        return len({view.choice for view in self.views}) == 1

    def to_json(self) -> dict[str, object]:
        """Return plain data with fixed keys: keys are added, never renamed."""
        return {
            "agree": self.agree,
            "views": [
                {
                    "name": v.name,
                    "values": dict(v.values),
                    "npv": dict(v.npv),
                    "less_keep": {name: v.less_keep(name) for name in v.npv},
                    "best": v.best,
                    "best_ignoring_cash": v.best_ignoring_cash,
                }
                for v in self.views
            ],
            "inputs": {
                path: {"label": label, "unit": unit, "entered": value}
                for path, (label, unit, value) in self.inputs.items()
            },
            "deciding": [{name: getattr(d, name) for name in d.__dataclass_fields__} for d in self.deciding],
        }

    def to_frame(self) -> pd.DataFrame:
        """Return a tidy pandas frame, one row for each view and alternative."""
        import pandas as pd

        return pd.DataFrame(
            [
                {
                    "view": v.name,
                    "alternative": name,
                    "npv_usd": worth,
                    "npv_less_keep_usd": v.less_keep(name),
                    "chosen": v.choice == name,
                }
                for v in self.views
                for name, worth in v.npv.items()
            ]
        )


def whose(scenario: Scenario, guesses: Mapping[str, Mapping[str, float | str]] | None = None) -> Whose:
    """Return the answer under each partner's figures, and which of their differences decide.

    `guesses` are, by partner, path -> value (a number in the input's unit, or text as in a scenario file); left out,
    those of the scenario. A difference decides where putting that one figure back as entered changes the partner's
    choice. Raises ValueError with every value that cannot be used.
    """
    stated = {name: {guess.of: guess.value for guess in listed} for name, listed in scenario.guesses.items()}
    sets: Mapping[str, Mapping[str, float | str]] = stated if guesses is None else guesses
    entered = amounts(scenario)
    read: dict[str, dict[str, float]] = {}
    faults = []
    for name, believed in sets.items():
        read[name] = {}
        for path, value in believed.items():
            try:
                read[name][path] = _value(path, value, set(entered))
            except AmountError as error:
                faults.append(f"{name}: {path}: {error}.")
    if faults:
        raise ValueError("\n".join(faults))

    rows: list[tuple[str, str, dict[str, float]]] = [(AS_ENTERED, "", {})]  # view, path put back, values
    for name, values in read.items():
        rows.append((name, "", values))
        rows += [(name, path, {p: v for p, v in values.items() if p != path}) for path in values]
    paths = sorted({path for _, _, values in rows for path in values})
    program = Trials(scenario, paths)
    vectors = {path: np.array([values.get(path, entered[path].likely) for _, _, values in rows]) for path in paths}
    figures = program.run(vectors or {"": np.zeros(1)})
    titles = labels(scenario)
    views, deciding = [], []
    for k, (name, path, values) in enumerate(rows):
        view = _view(name, values, figures, k)
        if not path:
            views.append(view)
        elif view.choice != views[-1].choice:
            amount = entered[path]
            deciding.append(
                Deciding(
                    name,
                    path,
                    titles.get(path, path),
                    amount.likely,
                    read[name][path],
                    amount.unit,
                    views[-1].choice,
                    view.choice,
                )
            )
    inputs = {path: (titles.get(path, path), entered[path].unit, entered[path].likely) for path in paths}
    return Whose(tuple(views), tuple(deciding), inputs)


def _value(path: str, value: float | str, known: set[str]) -> float:
    quantity = quantity_at(path)
    if quantity is None or path not in known:
        raise AmountError("no input stands there", "See equipdecide.scenario.reading.amounts(scenario) for all of them")
    if decides_dates(path):
        raise AmountError("it decides dates, so it makes another plan", "Compare two scenarios instead")
    if isinstance(value, str):
        return quantity.read(value).likely
    if not quantity.low <= value <= quantity.high:
        raise AmountError(f"{value:g} is out of range", f"It is {quantity.low:g} to {quantity.high:g} here")
    return float(value)


def _view(name: str, values: Mapping[str, float], figures: Mapping[str, Figures], k: int) -> View:
    def at(vector: FloatArray | NDArray[np.bool_]) -> float:
        return float(vector[k if len(vector) > 1 else 0])

    npv = {alternative: at(found.npv) for alternative, found in figures.items()}
    passing = [alternative for alternative, found in figures.items() if at(found.passes)]
    best = max(passing, key=lambda alternative: npv[alternative]) if passing else None
    return View(name, dict(values), npv, best, max(npv, key=lambda alternative: npv[alternative]))
