"""Charts of the shop floor: what an hour earns, and nights alone against their log."""

from __future__ import annotations

import textwrap

import matplotlib.pyplot as plt
import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter, PercentFormatter

from equipdecide.decide.compare import Comparison
from equipdecide.decide.hours import HoursResult
from equipdecide.decide.page_figures import Staircase
from equipdecide.decide.page_figures import staircase as stairs_of
from equipdecide.views.drawing import (
    BLACK,
    BLUE,
    GREY,
    LINES,
    VERMILION,
    axes,
    finish,
    styled,
)
from equipdecide.words import number, percent, whole


@styled
def staircase(result: Comparison | Staircase, ax: Axes | None = None) -> Axes:
    """Draw contribution an hour over the hours of a year, what must ship first, and each alternative's capacity.

    Raises ValueError where the scenario has no parts.
    """
    stairs = stairs_of(result) if isinstance(result, Comparison) else result
    if stairs is None:
        raise ValueError("no parts in the scenario: there is no staircase to draw")
    ax = axes(ax, 7.6, 4.4)
    at, top = 0.0, max(stair.per_hour for stair in stairs.stairs)
    ordered = sum(stair.hours for stair in stairs.stairs)
    width = max(ordered, *stairs.capacities.values())  # the width of the chart
    names = list(dict.fromkeys(stair.part for stair in stairs.stairs))
    for stair in stairs.stairs:
        colour = LINES[names.index(stair.part) % len(LINES)]
        ax.bar(
            at,
            stair.per_hour,
            width=stair.hours,
            align="edge",
            facecolor=colour if not stair.must_ship else "white",
            edgecolor=colour if stair.must_ship else "white",
            hatch="///" if stair.must_ship else "",
            linewidth=1.0,
            alpha=0.9 if not stair.must_ship else 1.0,
        )
        words = f"{_fitting(stair.part, stair.hours / width)}\n{stair.per_hour:,.0f}"
        if stair.hours < width * 0.035:
            ax.annotate(
                words.replace("\n", " "),
                (at + stair.hours / 2, stair.per_hour),
                xytext=(14, 14),
                textcoords="offset points",
                ha="left",
                va="bottom",
                fontsize=8.5,
                arrowprops={"arrowstyle": "-", "color": "#777777", "linewidth": 0.7},
            )
        else:
            ax.text(
                at + stair.hours / 2,
                stair.per_hour / 2,
                words,
                ha="center",
                va="center",
                fontsize=9,
                fontweight="bold",
                color=BLACK,
                bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.9, "boxstyle": "round,pad=0.2"},
                zorder=5,
            )
        at += stair.hours
    must = stairs.must_ship_hours
    if must > 0:
        ax.annotate(
            "",
            (0, -top * 0.045),
            xytext=(must, -top * 0.045),
            arrowprops={"arrowstyle": "<->", "color": "#555555", "linewidth": 0.9},
            annotation_clip=False,
        )
        ax.text(
            must / 2,
            -top * 0.065,
            f"must ship: {must:,.0f} h (hatched)",
            ha="center",
            va="top",
            fontsize=8.8,
            color="#444444",
        )
    by_hours: dict[float, list[str]] = {}
    for name, hours in stairs.capacities.items():
        if hours > 0.5:
            by_hours.setdefault(round(hours), []).append(name)
    for k, (hours, courses) in enumerate(sorted(by_hours.items())):
        height = top * (1.16 + 0.105 * (len(by_hours) - 1 - k))
        ax.plot([hours, hours], [0, height], color=BLACK, linewidth=1.4, linestyle=(0, (5, 2)), zorder=3)
        room = int((1 - hours / width) / CHARACTER)
        text = f"{', '.join(courses)}: {hours:,.0f} h"
        left = room < 24 and hours > width / 2
        text = "\n".join(textwrap.wrap(text, max(24, room if not left else int(hours / width / CHARACTER))))
        ax.text(
            hours + width * (-0.006 if left else 0.006),
            height,
            text,
            ha="right" if left else "left",
            va="center",
            fontsize=8.8,
            fontweight="bold",
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8},
            zorder=4,
        )
    if width > ordered * 1.02:
        ax.annotate(
            "nobody orders\nmore than this",
            (ordered, top * 0.3),
            xytext=(ordered + width * 0.02, top * 0.3),
            va="center",
            fontsize=8.6,
            color="#444444",
            bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.9, "pad": 1.0},
            arrowprops={"arrowstyle": "->", "color": "#777777", "linewidth": 0.8},
            zorder=5,
        )
    ax.set_xlim(0, width * 1.01)
    ax.set_ylim(-top * 0.15 if must > 0 else 0, top * (1.2 + 0.105 * len(by_hours)))
    ax.set_yticks([tick for tick in ax.get_yticks() if 0 <= tick <= top * 1.1])
    ax.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:,.0f}"))
    ax.set_xlabel("good hours of the machine a year (dashed: what each course can make)")
    ax.set_ylabel("contribution, dollars an hour")
    words = _stairs_title(stairs)
    alt = (
        "Staircase of contribution per machine hour. "
        + "; ".join(
            f"{stair.part} {stair.hours:,.0f} h at {stair.per_hour:,.0f} "
            f"dollars{', must ship' if stair.must_ship else ''}"
            for stair in stairs.stairs
        )
        + ". Capacity: "
        + "; ".join(f"{name} {hours:,.0f} h" for name, hours in stairs.capacities.items())
        + "."
    )
    return finish(ax, words, alt)


CHARACTER = 0.0115  # width of one character of a bold label, as a share of the axes of a chart on its own


def _fitting(name: str, share: float) -> str:
    """Return a part's name over as many lines as it takes in a bar of that share of the axes, or its first word."""
    lines = textwrap.wrap(name, max(int(share / CHARACTER), 1), break_long_words=False)
    return "\n".join(lines) if len(lines) <= 3 and max(map(len, lines)) * CHARACTER <= share * 1.02 else name.split()[0]


def _stairs_title(stairs: Staircase) -> str:
    free = [stair for stair in stairs.stairs if not stair.must_ship]
    if "keep" not in stairs.capacities:
        return "What an hour of the machine contributes"
    if not free:
        return (
            f"What must ship takes {whole(stairs.must_ship_hours)} of the {whole(stairs.capacities['keep'])} hours "
            f"that keeping can make; nothing more is ordered"
        )
    now, at, next_ = stairs.capacities["keep"], stairs.must_ship_hours, None
    for stair in free:
        at += stair.hours
        if at > now + 0.5:
            next_ = stair
            break
    if next_ is None:
        return "Keeping already makes all that could be sold: further hours earn nothing"
    return (
        f"The next hour beyond keeping's {now:,.0f} earns {next_.per_hour:,.0f} dollars, falling to "
        f"{free[-1].per_hour:,.0f} for the last that could be sold"
    )


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
    title = (
        f"{percent(through, 0)} of the {night.evenings} logged nights ran through; count on {number(mean, 1)} of "
        f"{number(window, 1)} hours{reach}"
    )
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
