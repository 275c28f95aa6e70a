"""Chances at inputs turned by hand: the same draws run again with some inputs held, quick enough to follow a hand.

The program over all doubts and all inputs that may be turned is made once; each turn only runs it again.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from equipdecide.decide.compare import Comparison
from equipdecide.decide.draws import draw, drawn_paths
from equipdecide.decide.simulate import REPLICATES, Runs
from equipdecide.decide.trials import Trials
from equipdecide.scenario.reading import amounts

TRIALS = 256  # quick; the chances are good to a point or two


class Turning:
    """A scenario's doubts drawn once, to be run again while inputs `paths` are turned.

    Raises :class:`equipdecide.decide.draws.DrawError` where doubts cannot be drawn.
    """

    def __init__(self, comparison: Comparison, paths: Sequence[str], trials: int = TRIALS, seed: int = 7) -> None:
        scenario = comparison.scenario
        entered = amounts(scenario)
        self._entered = {path: entered[path].likely for path in paths}
        drawn = drawn_paths(scenario, entered)
        self._program = Trials(scenario, [*drawn, *(path for path in paths if path not in drawn)])
        drawn = [path for path in drawn if path in self._program.used]
        self.comparison, self.seed, self.trials = comparison, seed, trials
        self.draws = draw(scenario, entered, drawn, trials, seed, REPLICATES)

    def runs(self, moved: Comparison, values: Mapping[str, float]) -> Runs:
        """Return the runs with inputs held at `values` [unit of the input]; `moved` is the comparison at them.

        An input that is turned is no longer drawn; all others keep the draws they had.
        """
        draws = {path: vector for path, vector in self.draws.items() if path not in values}
        held = {path: np.full(self.trials, value) for path, value in (self._entered | dict(values)).items()}
        figures = self._program.run({**held, **draws})
        return Runs(
            self.comparison.scenario,
            self.seed,
            draws,
            dict(values),
            figures,
            moved.evaluation,
            REPLICATES,
            None,
            self.trials,
        )
