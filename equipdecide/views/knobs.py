"""Knobs for a notebook: the inputs nearest to their flip as sliders with number boxes; answer and charts follow.

What a move changes is computed by :func:`redraw`, which needs no notebook. The widgets (extra ``notebook``) are loaded
only when somebody asks for them. A yes/no doubt and an input that decides dates are no knobs: they make another plan.
"""

from __future__ import annotations

import gc
import html
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from matplotlib.axes import Axes

from equipdecide.decide.breakeven import Breakevens, breakeven
from equipdecide.decide.compare import Comparison, Difference, measure
from equipdecide.decide.simulate import Runs
from equipdecide.decide.trials import decides_dates
from equipdecide.decide.turning import Turning
from equipdecide.scenario.amounts import Amount
from equipdecide.scenario.labels import labels
from equipdecide.scenario.reading import amounts, quantity_at
from equipdecide.views import charts
from equipdecide.views.risk_charts import exceedance
from equipdecide.views.table import headline
from equipdecide.words import money

STEPS = 60  # of a knob, about: fine enough to look smooth, coarse enough to read
PER_CENT = ("share", "chance", "1/year", "rate")
LINES_BOX, BARS_BOX, CHANCES_BOX = (0.125, 0.13, 0.57, 0.73), (0.2, 0.185, 0.77, 0.62), (0.075, 0.13, 0.6, 0.71)
# The handle of a slider is made by the browser's part of ipywidgets, which gives it no name: the row's label is put
# there.
NAME_HANDLES = """(() => {
  let turns = 40;
  const name = () => {
    document.querySelectorAll('.equipdecide-knob').forEach(row => {
      const label = row.querySelector('.widget-slider .widget-label');
      row.querySelectorAll('.noUi-handle').forEach(handle => handle.setAttribute('aria-label', label.textContent));
    });
    if (--turns) setTimeout(name, 250);
  };
  name();
})()"""
HIDE_LABEL = (
    "<style>.equipdecide-typed > .widget-label {position: absolute; width: 1px; height: 1px; overflow: hidden; "
    "clip-path: inset(50%);}</style>"
)


@dataclass(frozen=True)
class Knob:
    """One input to turn. Values are those of the input's unit; `flip` is None where moving it alone flips nothing."""

    path: str
    label: str
    unit: str
    entered: float
    low: float
    high: float
    step: float
    flip: float | None

    @property
    def scale(self) -> float:
        """What a value is multiplied by to be shown: shares and rates are shown in per cent."""
        return 100.0 if self.unit in PER_CENT else 1.0

    @property
    def format(self) -> str:
        """The number format of what is shown, with as many decimals as a step has."""
        places = max(0, -math.floor(math.log10(self.step * self.scale) + 1e-9))
        return f",.{places}f"

    @property
    def name(self) -> str:
        """Label and unit as shown."""
        unit = {"USD": "dollars", "factor": "", "count": ""}.get(self.unit, self.unit.replace("USD", "dollars"))
        if self.scale != 1.0:
            unit = "% a year" if self.unit in ("1/year", "rate") else "%"
        return f"{self.label} [{unit}]" if unit else self.label


@dataclass(frozen=True, eq=False)
class Redrawn:
    """What the knobs show at one setting: the comparison, the answer in words, the chances, and the charts."""

    comparison: Comparison
    answer: str
    entered: str  # the course that leads as entered
    runs: Runs | None = None  # None where no input is doubtful

    @property
    def shown(self) -> Difference | None:
        """The leader less keeping; where keeping has taken the lead, the course that led less keeping."""
        c = self.comparison
        if c.leader is not c.keep:
            return c.leader - c.keep
        if self.entered != c.keep.name:
            return c[self.entered] - c.keep
        return c.keep - c.runner_up if c.runner_up is not None else None

    @cached_property
    def bars(self) -> Axes | None:
        """Present worth by what the money is for, of :attr:`shown`; None where there is no second course."""
        return (
            charts.worth_by_group(self.shown, charts.unfitted(7.6, 3.0, BARS_BOX)) if self.shown is not None else None
        )

    @cached_property
    def chances(self) -> Axes | None:
        """Share of draws in which each course is worth at least so much more than keeping; None without doubts."""
        if self.runs is None or len(self.runs.names) < 2:
            return None
        return exceedance(self.runs, charts.unfitted(7.6, 4.3, CHANCES_BOX))

    @cached_property
    def lines(self) -> Axes | None:
        """Present worth added up over the years, each course less keeping; None where there is no second course."""
        return (
            charts.cumulative_worth(self.comparison, charts.unfitted(7.6, 4.6, LINES_BOX))
            if len(self.comparison.outcomes) > 1
            else None
        )


def redraw(comparison: Comparison, values: Mapping[str, float], turning: Turning | None = None) -> Redrawn:
    """Return answer and charts with inputs moved: `values` by path [unit of the input], the others as compared first.

    With `turning` the chances are run again too, at the same draws.

    Raises KeyError for a path on which no figure rests.
    """
    moved = measure(comparison.evaluation.moved(values)) if values else comparison
    said = headline(moved)
    if moved.leader.name != comparison.leader.name:
        said += f" The lead has turned: as entered it is that of “{comparison.leader.name}”."
    elif values and (change := moved.leader.npv_less_keep - comparison.leader.npv_less_keep) and abs(change) >= 0.5:
        said += (
            f" Its lead over keeping is {money(abs(change))} {'larger' if change > 0 else 'smaller'} than as entered."
        )
    runs = turning.runs(moved, values) if turning is not None and turning.draws else None
    return Redrawn(moved, said, comparison.leader.name, runs)


def nearest_knobs(comparison: Comparison, count: int = 6, paths: Sequence[str] = ()) -> tuple[Knob, ...]:
    """Return knobs for the `count` inputs nearest to their flip, and for the given `paths` that are not among them.

    Raises ValueError with every path that cannot be turned.
    """
    found = breakeven(comparison.scenario)
    entered, titles = amounts(comparison.scenario), labels(comparison.scenario)
    moves = {
        column.origin.ref for column in comparison.evaluation.order if column.origin and column.origin.kind == "input"
    }
    flips = {flip.path: flip for flip in charts.leaders_flips(found) if flip.two_points is None and flip.path in moves}
    faults = [f"{path}: {reason}" for path in paths if (reason := _no_knob(path, entered, moves, found))]
    if faults:
        raise ValueError("\n".join(faults))
    chosen = list(dict.fromkeys([*list(flips)[:count], *paths]))
    return tuple(
        _knob(entered[path], path, titles.get(path, path), flips[path].flip if path in flips else None)
        for path in chosen
    )


def _no_knob(path: str, entered: Mapping[str, Amount], moves: set[str], found: Breakevens) -> str:
    if path not in entered:
        return "no input stands there; equipdecide.breakeven(scenario) lists the paths."
    if entered[path].chance is not None or any(flip.path == path and flip.two_points for flip in found):
        return "a yes/no doubt is no slider; equipdecide.news(scenario) weighs both answers."
    if decides_dates(path):
        return "it decides dates, so it makes another plan; compare two scenarios instead."
    return "" if path in moves else "no figure rests on it."


def _knob(amount: Amount, path: str, label: str, flip: float | None) -> Knob:
    """A range that holds the owner's own range and the flip with room behind it, on a grid on which the entry lies."""
    value, quantity = amount.likely, quantity_at(path)
    reach = 0.25 * abs(value) or 1.0
    ends = [value - reach, value + reach, *(end for end in (amount.low, amount.high) if end is not None)]
    if flip is not None:
        ends.append(value + 1.3 * (flip - value))
    low, high = min(ends), max(ends)
    if quantity is not None:
        low, high = max(low, quantity.low), min(high, quantity.high)
    step = _round_step((high - low) / STEPS)
    down, up = math.floor((value - low) / step + 1e-9), math.floor((high - value) / step + 1e-9)
    shown = charts.short_label(label) or path
    return Knob(
        path, shown, amount.unit, value, round(value - down * step, 10), round(value + up * step, 10), step, flip
    )


def _round_step(step: float) -> float:
    size = 10.0 ** math.floor(math.log10(step))
    return float(f"{next(k * size for k in (1, 2, 5, 10) if k * size >= step * (1 - 1e-9)):.10g}")


class Knobs:
    """Knobs in a notebook, shown as the result of a cell. `values` are the inputs as turned, by path."""

    def __init__(self, comparison: Comparison, count: int = 6, paths: Sequence[str] = ()) -> None:
        try:
            import ipywidgets
        except ImportError:
            raise ImportError(
                "the knobs need ipywidgets: pip install 'equipdecide[notebook]', then restart the kernel"
            ) from None
        self.comparison = comparison
        self.knobs = nearest_knobs(comparison, count, paths)
        self.sliders: dict[str, Any] = {}
        self.boxes: dict[str, Any] = {}
        self._turning = Turning(comparison, [knob.path for knob in self.knobs])
        self._answer, self._bars, self._chances, self._lines = (ipywidgets.HTML() for _ in range(4))
        self._resetting = False
        rows = [self._row(ipywidgets, knob) for knob in self.knobs]
        again = ipywidgets.Button(description="As entered", tooltip="Put every knob back to the figure entered")
        again.on_click(lambda _: self.reset())
        self.widget = ipywidgets.VBox(
            [ipywidgets.HTML(HIDE_LABEL), *rows, again, self._answer, self._bars, self._chances, self._lines]
        )
        self._show()

    def _row(self, ipywidgets: Any, knob: Knob) -> Any:
        """A slider and a number box for one input, both named for those who do not see them."""
        ends = {
            "value": knob.entered * knob.scale,
            "min": knob.low * knob.scale,
            "max": knob.high * knob.scale,
            "step": knob.step * knob.scale,
        }
        about = f"{knob.name}; {knob.entered * knob.scale:{knob.format}} entered" + (
            f", {knob.flip * knob.scale:{knob.format}} at the flip" if knob.flip is not None else ""
        )
        slider = ipywidgets.FloatSlider(
            **ends,
            description=knob.name,
            tooltip=about,
            continuous_update=False,
            readout_format=knob.format,
            style={"description_width": "31em"},
            layout={"width": "50em"},
        )
        box = ipywidgets.BoundedFloatText(
            **ends, description=f"{knob.name}, typed", tooltip=about, continuous_update=False, layout={"width": "8em"}
        )
        box.add_class("equipdecide-typed")
        ipywidgets.link((slider, "value"), (box, "value"))
        slider.observe(lambda _: self._show(), "value")
        self.sliders[knob.path], self.boxes[knob.path] = slider, box
        flip = f"flips at {knob.flip * knob.scale:{knob.format}}" if knob.flip is not None else ""
        row = ipywidgets.HBox([slider, box, ipywidgets.Label(flip)])
        row.add_class("equipdecide-knob")
        return row

    @property
    def values(self) -> dict[str, float]:
        """The inputs that are not as entered, by path [unit of the input]."""
        turned = {knob.path: float(self.sliders[knob.path].value) / knob.scale for knob in self.knobs}
        return {
            knob.path: turned[knob.path]
            for knob in self.knobs
            if abs(turned[knob.path] - knob.entered) > 1e-6 * knob.step
        }

    def reset(self) -> None:
        """Put every knob back to the figure entered."""
        self._resetting = True
        for knob in self.knobs:
            self.sliders[knob.path].value = knob.entered * knob.scale
        self._resetting = False
        self._show()

    def _show(self) -> None:
        if self._resetting:
            return
        collects = gc.isenabled()
        gc.disable()  # a look through all that a notebook holds takes as long as a move: it is had after one
        try:
            self._redraw()
        finally:
            if collects:
                gc.enable()

    def _redraw(self) -> None:
        now = redraw(self.comparison, self.values, self._turning)
        self._answer.value = (
            f'<p class="mathjax_ignore" role="status" aria-live="polite" '
            f'style="font-size:1.1em;line-height:1.4;max-width:60em">{html.escape(now.answer)}</p>'
        )
        # each is sent as soon as it is drawn: answer, bars and chances are there before the lines
        for place, chart in ((self._bars, "bars"), (self._chances, "chances"), (self._lines, "lines")):
            ax = getattr(now, chart)
            place.value = _image(ax) if ax is not None else ""

    def _ipython_display_(self) -> None:
        from IPython import display  # IPython comes with ipywidgets

        show: Any = display
        show.display(self.widget)
        show.display(show.Javascript(NAME_HANDLES))


def _image(ax: Axes) -> str:
    return (
        f'<img class="mathjax_ignore" style="max-width:100%;background:white" '
        f'alt="{html.escape(charts.title(ax) + ". " + charts.alt_text(ax))}" src="{charts.text_address(ax)}">'
    )


def knobs(comparison: Comparison, count: int = 6, paths: Sequence[str] = ()) -> Knobs:
    """Return knobs for the `count` inputs nearest to their flip, and for any given paths, for a cell of a notebook.

    Needs the extra ``notebook``; raises ImportError with the way to mend it where that is missing, ValueError with
    every path that cannot be turned.
    """
    return Knobs(comparison, count, paths)
