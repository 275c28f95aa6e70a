"""Charts of the shop floor: nights alone against their log, drawn as those of :mod:`equipdecide.views.charts`."""

from __future__ import annotations

import matplotlib.pyplot as plt
import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import PercentFormatter

from equipdecide.decide.hours import HoursResult
from equipdecide.views.charts import BLACK, BLUE, GREY, VERMILION, axes, finish, staircase, styled
from equipdecide.words import number, percent


@styled
def night_survival(result: HoursResult, ax: Axes | None = None) -> Axes:
    """Draw the chance of still running against the hours of a night: the log, and the laws fitted to it.

    Raises ValueError where the file names no log of evenings.
    """
    night, curve = result.night, result.survival
    if night is None or curve is None:
        raise ValueError("no log of evenings is named (`log:` under `nights:`), so there are no nights to draw")
    ax = axes(ax, 7.6, 4.2)
    window = float(night.run.max())
    if night.high is not None:
        ax.fill_between(
            curve.hours,
            np.exp(-curve.hours / night.low),
            np.exp(-curve.hours / night.high),
            color=BLUE,
            alpha=0.15,
            linewidth=0,
            label=f"95 % interval: {number(night.low)} to {number(night.high)} h",
        )
    law = f"{number(night.theta or night.low)} h between stops" if night.stops else f"at least {number(night.low)} h"
    ax.plot(curve.hours, curve.exponential, color=BLUE, linewidth=2, label=f"stops at random, {law}")
    if curve.weibull is not None and night.weibull is not None:
        words = f"Weibull, shape {number(night.weibull.beta)}"
        ax.plot(curve.hours, curve.weibull, color=VERMILION, linestyle=(0, (6, 2)), linewidth=1.8, label=words)
    ax.step(
        curve.hours, curve.logged, where="post", color=BLACK, linewidth=1.8, label=f"the log, {night.evenings} evenings"
    )
    through = 1 - night.stops / night.evenings
    ax.plot(
        [window], [through], marker="o", markersize=8, markerfacecolor="white", markeredgecolor=BLACK, markeredgewidth=2
    )
    ax.annotate(
        f"{night.evenings - night.stops} of {night.evenings}\nran out {number(window, 1)} h",
        (window, through),
        xytext=(-12, 16),
        textcoords="offset points",
        ha="right",
        va="bottom",
        fontsize=9,
        arrowprops={"arrowstyle": "-", "color": GREY, "linewidth": 0.8},
    )
    ax.set_xlim(0, window * 1.03)
    ax.set_ylim(0, 1.03)
    ax.yaxis.set_major_formatter(PercentFormatter(1.0))
    ax.set_xlabel("hours since it was left alone")
    ax.set_ylabel("nights still running")
    ax.legend(loc="lower left", frameon=False, fontsize=9)
    mean, low, high = result.windows[window]
    reach = f" ({number(low, 1)} to {number(high, 1)})" if low is not None and high is not None else ""
    title = f"{percent(through, 0)} of the {night.evenings} logged nights ran through; count on {number(mean, 1)} of {number(window, 1)} hours{reach}"
    steps = "; ".join(
        f"{number(h, 1)} h: log {percent(float(logged), 0)}, at random {percent(float(fitted), 0)}"
        for h, logged, fitted in list(zip(curve.hours, curve.logged, curve.exponential, strict=True))[::20]
    )
    return finish(ax, title, f"Share of nights still running by hours alone. {steps}.")


@styled
def hours_chart(result: HoursResult) -> Axes:
    """Draw the staircase with the capacity of each course, and below it the nights: what there is of the two.

    Raises ValueError where the file has neither parts nor a log of evenings.
    """
    if result.stairs is None:
        return night_survival(result)
    if result.night is None:
        return staircase(result.stairs)
    above, below = plt.subplots(2, 1, figsize=(8.6, 9.4), layout="constrained", height_ratios=(1.15, 1))[1]
    staircase(result.stairs, above)
    return night_survival(result, below)
