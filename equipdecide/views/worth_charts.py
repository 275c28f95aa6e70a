"""Charts of what a course is worth: how it builds up over the years, by year and by what the money is for."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes

from equipdecide.calendar import FloatArray
from equipdecide.decide.compare import Comparison, Difference, Outcome
from equipdecide.decide.page_figures import cash_by_year, worth_so_far
from equipdecide.views.drawing import (
    BLACK,
    BLUE,
    DASHES,
    GREEN,
    HATCHES,
    LINES,
    VERMILION,
    axes,
    capital,
    finish,
    money_axis,
    plus,
    styled,
    thousands,
)
from equipdecide.words import money


@styled
def cumulative_worth(result: Comparison, ax: Axes | None = None) -> Axes:
    """Draw present worth added up month by month, each alternative less keeping; the last crossing
    of zero is marked.
    """
    ax = axes(ax, 7.6, 4.2)
    time = result.evaluation.time
    keep = worth_so_far(result.keep)
    times = np.array([0.0, *time.cash_times])
    inside = times <= time.years_to(time.end) + 0.75  # the last tax of the study falls after it
    shown = [o for o in result.outcomes if o.name != "keep"]
    lead = result.best if result.best not in (None, "keep") else result.best_ignoring_cash
    curves = {o.name: np.concatenate([[0.0], worth_so_far(o) - keep])[inside] for o in shown}
    crossings = {name: last_crossing(times[inside], values) for name, values in curves.items()}
    ends: list[tuple[float, str, str, bool]] = [(0.0, "keep", BLACK, False)]
    for k, name in enumerate(sorted(curves, key=lambda name: name == lead)):  # the lead last, on top
        colour = LINES[list(curves).index(name) % len(LINES)]
        ax.plot(
            times[inside],
            curves[name],
            color=colour,
            linestyle=DASHES[list(curves).index(name) % len(DASHES)],
            linewidth=3.0 if name == lead else 1.8,
            label=name,
            zorder=3 + k,
        )
        crossed = crossings[name]
        if crossed is not None:
            ax.plot(
                [crossed],
                [0.0],
                marker="o",
                markersize=10 if name == lead else 8,
                markerfacecolor="white",
                markeredgecolor=colour,
                markeredgewidth=2.2,
                zorder=20 + k,
            )
        ends.append((float(curves[name][-1]), name, colour, name == lead))
    ax.axhline(0, color=BLACK, linewidth=1.2)
    low, high = shown_range(list(curves.values()))
    ax.set_ylim(low, high)
    _end_labels(ax, float(times[inside][-1]), ends)
    ax.set_xlim(0, float(times[inside][-1]))
    ax.set_xlabel("years from the decision (circle: where the line comes above keeping for good)")
    ax.set_ylabel("present worth less keeping, loans counted, dollars")
    ax.yaxis.grid(True)
    money_axis(ax.yaxis, sign=True)
    if lead == "keep":
        words = (
            "No course gains on keeping within the study"
            if not any(o.npv_less_keep > 0 for o in shown)
            else "Keeping leads among the courses that pass"
        )
    else:
        crossed = crossings.get(str(lead))
        ahead = money(result[str(lead)].npv_less_keep)
        words = (
            f"“{lead}” is ahead of keeping for good after {crossed:.1f} years, and by {ahead} at the end"
            if crossed is not None
            else f"“{lead}” ends {ahead} ahead of keeping"
        )
    alt = (
        "Lines of present worth added up, each course less keeping. At the end: "
        + "; ".join(
            f"{label} {plus(value)}"
            + (f", above keeping for good from year {cross:.1f}" if (cross := crossings[label]) is not None else "")
            for value, label, _, _ in sorted(ends, reverse=True)
            if label != "keep"
        )
        + "."
    )
    return finish(ax, words, alt)


def last_crossing(times: FloatArray, values: FloatArray) -> float | None:
    """Return the time of the last crossing from below zero to above; None where the line ends below or never was."""
    below = np.flatnonzero(values < -0.5)
    if values[-1] <= 0 or not len(below):
        return None
    k = int(below[-1])
    return float(times[k] + (times[k + 1] - times[k]) * -values[k] / (values[k + 1] - values[k]))


def apart(heights: Sequence[float], gap: float) -> list[float]:
    """Return heights near the given ones, at least `gap` apart, in the same order."""
    order = sorted(range(len(heights)), key=lambda k: heights[k])
    placed = [heights[k] for k in order]
    for _ in range(200):
        moved = False
        for k in range(len(placed) - 1):
            lack = gap - (placed[k + 1] - placed[k])
            if lack > gap * 1e-6:
                placed[k] -= lack / 2
                placed[k + 1] += lack / 2
                moved = True
        if not moved:
            break
    result = [0.0] * len(heights)
    for place, k in zip(placed, order, strict=True):
        result[k] = place
    return result


def shown_range(curves: Sequence[FloatArray]) -> tuple[float, float]:
    """Return the limits of the money axis; a course that falls far below all others runs off the chart."""
    high = max(0.0, *(float(values.max()) for values in curves))
    kept = [values for values in curves if values[-1] > -1.3 * max(high, 1.0)] or list(curves)
    low = min(0.0, *(float(values.min()) for values in kept))
    room = max(high - low, 1.0)
    return low - 0.08 * room, high + 0.06 * room


def _end_labels(ax: Axes, x: float, ends: Sequence[tuple[float, str, str, bool]]) -> None:
    """Write each course and its last figure to the right of its line; what runs off the chart is
    said to be below it.
    """
    low, _ = ax.get_ylim()
    named = []
    for value, name, colour, bold in ends:
        text = name if name == "keep" else f"{name}  {plus(value)}" + ("" if value >= low else " (below the chart)")
        named.append((value, "\n".join(textwrap.wrap(text, 30)), colour, bold))
    names_at_the_end(ax, x, named)


def names_at_the_end(ax: Axes, x: float, ends: Sequence[tuple[float, str, str, bool]]) -> None:
    """Write each line's name to the right of its end at `x`, moved apart where names would touch.

    `ends` are the last value, the name, the colour, and whether the name is bold.
    """
    low, high = ax.get_ylim()
    heights = apart([max(end[0], low + 0.02 * (high - low)) for end in ends], (high - low) * 0.066)
    for (value, name, colour, bold), y in zip(ends, heights, strict=True):
        ax.annotate(
            name,
            (x, max(value, low)),
            xytext=(1.03, y),
            textcoords=ax.get_yaxis_transform(),
            va="center",
            fontsize=8.8,
            fontweight="bold" if bold else "normal",
            color=BLACK,
            annotation_clip=False,
            arrowprops={
                "arrowstyle": "-",
                "color": colour,
                "linewidth": 1.4,
                "shrinkA": 1,
                "shrinkB": 0,
                "relpos": (0, 0.5),
            },
        )


@styled
def cash_by_group(result: Outcome | Difference, ax: Axes | None = None) -> Axes:
    """Draw cash of all purses by calendar year and by what it is for; of a difference, the first less the second."""
    ax = axes(ax, 7.6, 4.0)
    outcome, less = (result.minuend, result.subtrahend) if isinstance(result, Difference) else (result, None)
    by_group = {group: values for group, values in cash_by_year(outcome, less).items() if np.abs(values).max() >= 0.5}
    first = outcome.plan.time.cash.ends[0].year
    count = max(len(values) for values in by_group.values()) if by_group else 1
    x = np.arange(count)
    up, down = np.zeros(count), np.zeros(count)
    for k, (group, values) in enumerate(by_group.items()):
        base = np.where(values >= 0, up, down)
        ax.bar(
            x,
            values,
            bottom=base,
            width=0.66,
            label=group,
            color=LINES[k % len(LINES)],
            edgecolor="white",
            hatch=HATCHES[k % len(HATCHES)],
            linewidth=0.6,
        )
        up, down = up + np.maximum(values, 0), down + np.minimum(values, 0)
    net = up + down
    ax.plot(x, net, color=BLACK, marker="D", markersize=5, linewidth=1.2, label="all together", zorder=5)
    size = float(up.max() - down.min()) or 1.0
    for k in range(count):
        ax.text(
            k,
            up[k] + 0.02 * size,
            thousands(net[k]) if abs(net[k]) >= 50 else "0",
            ha="center",
            va="bottom",
            fontsize=8.8,
            fontweight="bold",
        )
    ax.axhline(0, color=BLACK, linewidth=1.0)
    ax.set_xticks(x, [str(first + k) for k in x])
    ax.set_ylim(float(down.min()) - 0.05 * size, float(up.max()) + 0.12 * size)
    ax.yaxis.grid(True)
    money_axis(ax.yaxis, sign=True)
    ax.set_ylabel("dollars a year, all purses")
    ax.legend(loc="upper left", bbox_to_anchor=(1.0, 1.0), fontsize=8.8)
    worst, best = int(net.argmin()), int(net.argmax())
    whose = f"“{outcome.name}” less “{less.name}”" if less is not None else f"“{outcome.name}”"
    words = f"{whose}: {plus(net[worst])} in {first + worst}, the leanest year, {plus(net[best])} in {first + best}, the best"
    alt = (
        f"Bars of cash by calendar year, {whose}. "
        + "; ".join(
            f"{first + k}: {plus(net[k])} ("
            + ", ".join(f"{group} {plus(values[k])}" for group, values in by_group.items() if abs(values[k]) >= 0.5)
            + ")"
            for k in range(count)
        )
        + "."
    )
    return finish(ax, words, alt)


@styled
def worth_by_group(result: Difference, ax: Axes | None = None) -> Axes:
    """Draw why one course beats another: present worth of the first less the second, by what the money is for.

    Each bar begins where the one above it ends; the last is all of them together.
    """
    ax = axes(ax, 7.6, 3.0)
    found = [(group, value) for group, value in result.by_group.items() if abs(value) >= 0.5] or [("nothing", 0.0)]
    found.sort(key=lambda pair: -pair[1])
    rows = [*found, ("all together", result.npv)]
    level, ends = 0.0, [0.0]
    for k, (name, value) in enumerate(rows):
        whole = name == "all together"
        start, end = (0.0, value) if whole else (level, level + value)
        ax.barh(
            k,
            value,
            left=start,
            height=0.62,
            color=(GREEN if value >= 0 else VERMILION) if not whole else BLUE,
            hatch="" if value >= 0 else "///",
            edgecolor="white",
            linewidth=0.4,
        )
        ax.annotate(
            plus(value),
            (max(start, end), k),
            xytext=(4, 0),
            textcoords="offset points",
            va="center",
            ha="left",
            fontweight="bold",
        )
        if not whole:
            ax.plot([end, end], [k, k + 1], color="#999999", linewidth=0.8, linestyle=":")
        level, ends = end, [*ends, end]
    ax.set_yticks(range(len(rows)), [capital(name) for name, _ in rows])
    ax.invert_yaxis()
    ax.axvline(0, color=BLACK, linewidth=1.0)
    low, high = min(ends), max(ends)
    ax.set_xlim(low - 0.03 * (high - low) * (low < 0), high + 0.16 * (high - low or 1.0))
    ax.xaxis.grid(True)
    money_axis(ax.xaxis, sign=True)
    ax.set_xlabel("present worth, dollars")
    one, other = result.minuend.name, result.subtrahend.name
    best, worst = found[0], found[-1]
    words = (
        f"“{one}” is {money(abs(result.npv))} {'better' if result.npv >= 0 else 'worse'} than “{other}”: {best[0]} {plus(best[1])}"
        + (f", {worst[0]} {plus(worst[1])}" if worst is not best else "")
    )
    alt = (
        f"Bars of present worth, {one} less {other}, each from the end of the one above: "
        + "; ".join(f"{name} {plus(value)}" for name, value in rows)
        + " dollars."
    )
    return finish(ax, words, alt)
