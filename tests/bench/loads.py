"""The two loads: their scenario as a program of the package, and the same by hand."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import known as fixed
import notebook
import numpy as np
import plain
import us_tax

import equipdecide as ed
from equipdecide.decide import draws
from equipdecide.decide.trials import Trials, doubtful

FOLDER = Path(__file__).parent
FIGURES = ("npv", "margin", "coverage")


def simple_law(evaluation, at):
    scenario = evaluation.scenario
    return SimpleNamespace(
        rate=float(scenario.flat.tax_rate), days=np.array([at[day] for day in evaluation.time.tax.ends])
    )


class Load:
    """A load: scenario, doubtful inputs, the engine's program, what is fixed in it; the chunk that
    plain numpy likes best.
    """

    def __init__(self, name, file, law, returns, chunk):
        self.name, self.scenario = name, ed.load(FOLDER / file)
        self.entered = doubtful(self.scenario)
        self.paths = list(self.entered)
        self.program = Trials(self.scenario, self.paths)
        (self.tape,) = [world.tape for _, worlds in self.program._groups for world in worlds]
        self.known = fixed.known(self.program.evaluation, self.tape, law)
        self.returns, self.chunk = returns, chunk

    def draw(self, trials, seed=7, replicates=8):
        return draws.draw(self.scenario, self.entered, self.paths, trials, seed, replicates)

    def by_notebook(self, x, trials):
        """The loop: every trial on its own."""
        columns = [x[path][:trials].tolist() for path in self.paths]
        rows = [dict(zip(self.paths, row, strict=True)) for row in zip(*columns, strict=True)]
        return [notebook.trial(self.known, row, self.returns[0]) for row in rows]

    def by_numpy(self, x):
        """Plain numpy by hand: present worth, margin, coverage of every course, (3, trials)."""
        return plain.run(self.known, x, self.returns[1], self.chunk)


def simple():
    return Load("simple tax", "simple_tax.yaml", simple_law, (notebook.simple_tax, plain.simple_tax), 1024)


def full():
    return Load("full US tax", "full_us_tax.yaml", us_tax.law, (us_tax.notebook_tax, us_tax.plain_tax), 512)
