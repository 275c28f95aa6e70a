"""Charts of how sure the answer is: chances of worth, what moves the lead, where it flips over two inputs.

Drawn as those of :mod:`equipdecide.views.charts`: titles from the figures, direction told by sign and hatch as well as
by colour.
"""

from __future__ import annotations

import textwrap

import matplotlib.patheffects as path_effects
import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import TwoSlopeNorm
from matplotlib.patches import Rectangle
from matplotlib.ticker import FuncFormatter, MaxNLocator
from numpy.typing import NDArray

from equipdecide.calendar import FloatArray
from equipdecide.decide.sensitivity import Map, Tornado
from equipdecide.decide.simulate import Runs
from equipdecide.views.charts import BLACK, DASHES, GREEN, LINES, VERMILION, axes, finish, money_axis, plus, styled
from equipdecide.views.risk import axis_words, end_in_words, tornado_headline
from equipdecide.words import bare, entered, in_hundred, listed, money, short_label

LEVELS = ((95, "o"), (50, "D"), (5, "s"))  # in so many of 100 draws a course is worth at least this; its mark
POINTS = 200  # of a curve
WIDEST = 12  # bars drawn: more than that no reader weighs
HALO = [path_effects.withStroke(linewidth=3.5, foreground="white")]

# --- chances


def _drawn(runs: Runs) -> tuple[list[str], list[str]]:
    """Return the courses drawn, the best median first, and those left off because they lie far below all others."""
    worth = {name: runs.npv(name, "keep") for name in runs.names if name != "keep"}
    ranked = sorted(worth, key=lambda name: -float(np.median(worth[name])))
    if not ranked:
        return [], []
    top = float(np.percentile(worth[ranked[0]], 99.5))
    bottom = min(0.0, float(np.percentile(worth[ranked[0]], 0.5)))
    off = [name for name in ranked if float(np.percentile(worth[name], 95)) < bottom - 1.0 * max(top - bottom, 1.0)]
    return [name for name in ranked if name not in off], off


@styled
def exceedance(runs: Runs, ax: Axes | None = None) -> Axes:
    """Draw the share of draws in which each course is worth at least so much more than keeping; 95,
    50 and 5 are marked.
    """
    ax = axes(ax, 7.6, 4.3)
    shown, off = _drawn(runs)
    lead = runs.leader
    order = [name for name in runs.names if name != "keep"]
    said = {name: _legend(runs, name) for name in [*shown, *off]}
    few = np.unique(np.linspace(0, runs.trials - 1, POINTS).round().astype(int))  # no eye tells more apart
    up = (runs.trials - few) / runs.trials
    ends: list[float] = [0.0]
    for name in sorted(shown, key=lambda name: name == lead):
        values = np.sort(runs.npv(name, "keep"))
        k = order.index(name)
        ax.plot(
            values[few],
            up,
            color=LINES[k % len(LINES)],
            linestyle=DASHES[k % len(DASHES)],
            linewidth=3.0 if name == lead else 1.8,
            label=said[name],
            zorder=3 + (name == lead),
        )
        *marked, least, most = np.percentile(values, [*(100 - level for level, _ in LEVELS), 0.2, 99.8]).tolist()
        for (level, mark), at in zip(LEVELS, marked, strict=True):
            ax.plot(
                [at],
                [level / 100],
                marker=mark,
                markersize=7,
                markerfacecolor="white",
                markeredgecolor=LINES[k % len(LINES)],
                markeredgewidth=2,
                zorder=6,
            )
        ends += [least, most]
    low, high = min(ends), max(ends)
    room = max(high - low, 1.0)
    ax.set_xlim(low - 0.04 * room, high + 0.04 * room)
    ax.set_ylim(0, 1.03)
    for level, _ in LEVELS:
        ax.axhline(level / 100, color="#bbbbbb", linewidth=0.9, linestyle=":", zorder=1)
    ax.axvline(0, color=BLACK, linewidth=1.4)
    ax.text(0, 1.035, "as keeping", ha="center" if low < -0.06 * room else "left", va="bottom", fontsize=8.8)
    ax.set_yticks([0, 0.05, 0.25, 0.5, 0.75, 0.95, 1.0], ["0", "5", "25", "50", "75", "95", "100"])
    money_axis(ax.xaxis, sign=True)
    ax.xaxis.set_major_locator(MaxNLocator(7))
    ax.set_xlabel("present worth after tax, less keeping, dollars")
    ax.set_ylabel("of 100 draws, so many are worth at least this")
    handles, names = ax.get_legend_handles_labels()
    ranks = {said[name]: rank for rank, name in enumerate(shown)}
    ranked = sorted(zip(handles, names, strict=True), key=lambda pair: ranks[pair[1]])
    if ranked:
        ax.legend(
            [handle for handle, _ in ranked],
            [name for _, name in ranked],
            loc="upper left",
            bbox_to_anchor=(1.01, 1.0),
            title="above, in 95 (circle), 50 (diamond)\nand 5 (square) of 100 draws",
            title_fontsize=8.2,
            alignment="left",
            fontsize=8.4,
            labelspacing=0.9,
            handlelength=2.6,
        )
    if off:
        ends_off = "; ".join(
            f"{name}, {plus(float(np.percentile(runs.npv(name, 'keep'), 50)))} in half the draws" for name in off
        )
        ax.text(
            1.03,
            0.0,
            "\n".join(textwrap.wrap(f"Far below, not drawn: {ends_off}", 30)),
            transform=ax.transAxes,
            va="bottom",
            fontsize=8.2,
        )
    name = lead if lead != "keep" else (shown[0] if shown else lead)
    alt = (
        f"Curves of chances over {runs.trials:,} draws, each course less keeping; above in 95, 50 and 5 of 100 draws. "
        + "; ".join(said[one].replace("\n", ": ") for one in [*shown, *off])
        + "."
    )
    return finish(ax, _chance_title(runs, name), alt)


def _legend(runs: Runs, name: str) -> str:
    parts = map(plus, np.percentile(runs.npv(name, "keep"), [100 - level for level, _ in LEVELS]).tolist())
    return f"{textwrap.fill(name, 28)}\n{'   '.join(parts)}"


def _chance_title(runs: Runs, name: str) -> str:
    if name == "keep":
        return "There is no other course to set against keeping"
    low, _, high = runs.percentiles(name, less="keep")
    better = runs.chance(name).value
    return (
        f"“{name}” is worth more than keeping in {in_hundred(better)}; nine in ten lie between {plus(low.value)} and "
        f"{plus(high.value)}"
    )


# --- one at a time


@styled
def tornado(result: Tornado, ax: Axes | None = None) -> Axes:
    """Draw how far each doubtful input alone moves the lead, the widest on top, with its value at each end.

    Green is a larger lead than as entered, vermilion with hatch a smaller one; the black line is the lead as entered.
    """
    bars = [bar for bar in result.bars if bar.swing >= 0.5][:WIDEST]
    ax = axes(ax, 7.6, 1.5 + 0.4 * max(len(bars), 2))
    ends = [end for bar in bars for end in (bar.at_low, bar.at_high)] + [result.lead]
    low, high = min(ends), max(ends)
    span = max(high - low, 1.0)
    near = low - 1.6 * span < 0 < high + 1.6 * span  # zero is shown unless the bars would be crushed by it
    size = max(high, 0.0) - min(low, 0.0) if near else span
    for k, bar in enumerate(bars):
        pair = [(bar.at_low, end_in_words(bar, False)), (bar.at_high, end_in_words(bar, True))]
        for at, _ in pair:
            more = at >= result.lead
            ax.barh(
                k,
                at - result.lead,
                left=result.lead,
                height=0.62,
                color=GREEN if more else VERMILION,
                hatch="" if more else "////",
                edgecolor="white",
                linewidth=0.6,
            )
        pair.sort(key=lambda one: one[0])
        for (at, words), side in zip(pair, (-1, 1), strict=True):
            edge = min(at, result.lead) if side < 0 else max(at, result.lead)
            ax.text(
                edge + side * 0.015 * size,
                k,
                words,
                ha="right" if side < 0 else "left",
                va="center",
                fontsize=8.4,
                path_effects=HALO,
            )
    ax.axvline(result.lead, color=BLACK, linewidth=1.4)
    longest = max([len(end_in_words(bar, high_end)) for bar in bars for high_end in (False, True)] or [0])
    room = (0.03 + 0.022 * longest) * size
    left = min(0.0 - 0.06 * size, low - room) if near else low - room
    right = max(0.06 * size, high + room) if near else high + room
    ax.set_xlim(left, right)
    ax.text(
        result.lead, -0.72, f"as entered {plus(result.lead)}", ha="center", va="bottom", fontsize=8.8, fontweight="bold"
    )
    if near:
        ax.axvline(0, color=BLACK, linewidth=1.6, linestyle=(0, (5, 2)))
        if abs(result.lead) > 0.22 * size:
            ax.text(0, -0.72, f"0: as good as {result.b}", ha="center", va="bottom", fontsize=8.8)
    ax.set_yticks(
        range(len(bars)), ["\n".join(textwrap.wrap(short_label(bar.label), 40)[:2]) for bar in bars], fontsize=8.4
    )
    ax.set_ylim(len(bars) - 0.5, -0.75)
    money_axis(ax.xaxis, sign=True)
    ax.xaxis.set_major_locator(MaxNLocator(6))
    ax.xaxis.grid(True)
    ax.set_xlabel(
        f"lead of “{result.a}” over “{result.b}”, present worth, dollars"
        + ("" if near else f"; 0, as good as {result.b}, lies off the chart")
    )
    turning = [bar for bar in bars if bar.turns]
    pair_words = f"“{result.a}” over “{result.b}”"
    if turning:
        many = f"{len(turning)} of {len(result.bars)} doubts each turn" if len(turning) > 1 else "One doubt turns"
        words = (
            f"{many} the lead of {pair_words} on {'their' if len(turning) > 1 else 'its'} own: "
            f"{listed(short_label(bar.label) for bar in turning[:2])}"
        )
    elif bars:
        words = f"No single doubt turns the lead of {pair_words}: it stays between {plus(low)} and {plus(high)}"
    else:
        words = f"No doubt moves the lead of {pair_words}"
    alt = (
        f"{tornado_headline(result)} Bars, widest first: "
        + "; ".join(
            f"{short_label(bar.label)}: {plus(bar.at_low)} at {end_in_words(bar, False)}, {plus(bar.at_high)} at "
            f"{end_in_words(bar, True)}"
            for bar in bars
        )
        + "."
    )
    return finish(ax, words, alt)


# --- two at a time


@styled
def flip_map(result: Map, ax: Axes | None = None) -> Axes:
    """Draw the lead over two inputs: who leads where, the line at which it flips, the entered point, the stated ranges.

    Orange with hatch is where the second course leads, violet where the first does.
    """
    ax = axes(ax, 7.6, 4.8)
    lead: FloatArray = result.lead.T
    size = max(float(np.abs(lead).max()), 1.0)
    low, high = min(float(lead.min()), -1.0), max(float(lead.max()), 1.0)
    norm = TwoSlopeNorm(0.0, -size, size)
    steps = np.unique(np.concatenate([np.linspace(low, 0, 7), np.linspace(0, high, 7)]))
    drawn = ax.contourf(result.x, result.y, lead, levels=steps, cmap="PuOr", norm=norm)
    if lead.min() < 0:
        ax.contourf(result.x, result.y, lead, levels=[low - 1, 0], colors="none", hatches=["///"])
    if lead.min() < 0 < lead.max():
        ax.contour(result.x, result.y, lead, levels=[0.0], colors=BLACK, linewidths=3)
    bar = ax.figure.colorbar(drawn, ax=ax, pad=0.02, ticks=[steps[0], 0.0, steps[-1]])
    bar.ax.set_yticklabels([plus(float(steps[0])), "0", plus(float(steps[-1]))])
    bar.set_label("lead, dollars", labelpad=-30)
    for name, where in ((result.a, lead > 0), (result.b, lead < 0)):
        if where.mean() > 0.04:
            x, y, thin = _middle(result, where)
            ax.text(
                x,
                y,
                f"{name}{' ' if thin else chr(10)}leads",
                ha="center",
                va="center",
                fontsize=11,
                fontweight="bold",
                color=BLACK,
                path_effects=HALO,
                zorder=6,
            )
    if result.own is not None:
        (x0, x1), (y0, y1) = result.own
        ax.add_patch(Rectangle((x0, y0), x1 - x0, y1 - y0, fill=False, edgecolor="white", linewidth=4, zorder=4))
        ax.add_patch(
            Rectangle(
                (x0, y0), x1 - x0, y1 - y0, fill=False, edgecolor=BLACK, linewidth=1.6, linestyle=(0, (4, 2)), zorder=5
            )
        )
    x, y = result.entered
    ax.plot(
        [x],
        [y],
        marker="o",
        markersize=11,
        markerfacecolor="white",
        markeredgecolor=BLACK,
        markeredgewidth=2.4,
        zorder=7,
    )
    ax.set_xlim(float(result.x[0]), float(result.x[-1]))
    ax.set_ylim(float(result.y[0]), float(result.y[-1]))
    ax.xaxis.set_major_formatter(FuncFormatter(lambda value, _: bare(value, result.x_unit)))
    ax.yaxis.set_major_formatter(FuncFormatter(lambda value, _: bare(value, result.y_unit)))
    across, down = axis_words(result)
    key = "circle: as entered" + ("; dashed box: your own ranges" if result.own is not None else "")
    ax.set_xlabel(f"{across}\n({key})")
    ax.set_ylabel("\n".join(textwrap.wrap(down, 44)))
    best = result.a if result.lead_entered >= 0 else result.b
    words = f"As entered “{best}” leads by {money(abs(result.lead_entered))}"
    if result.line:
        words += _line_words(result)
    else:
        words += ", and no pair of values on this map turns it"
    alt = f"Map of the lead of {result.a} over {result.b}; across {across}, up {down}. {words}."
    return finish(ax, words, alt)


def _middle(result: Map, where: NDArray[np.bool_]) -> tuple[float, float, bool]:
    """Return a point well inside a region, the farthest from its borders, and whether the region is a thin one."""
    padded = np.pad(where, 1)
    depth = np.zeros(padded.shape, dtype=int)
    level = padded
    while level.any():
        depth += level
        level = level & np.roll(level, 1, 0) & np.roll(level, -1, 0) & np.roll(level, 1, 1) & np.roll(level, -1, 1)
    depth = depth[1:-1, 1:-1]
    j, i = (np.median(found) for found in np.nonzero(depth == depth.max()))
    at_entered = (
        int(np.abs(result.y - result.entered[1]).argmin()),
        int(np.abs(result.x - result.entered[0]).argmin()),
    )
    if abs(j - at_entered[0]) < 4 and abs(i - at_entered[1]) < 8:  # not on the circle
        j += 5 if j + 5 < len(result.y) else -5
    return float(result.x[int(i)]), float(result.y[int(j)]), bool(depth.max() <= 2)


def _line_words(result: Map) -> str:
    """Say where the flip lies straight above or below, and beside, the entered point."""
    found = []
    for values, at, column, unit, label in (
        (result.y, result.entered[0], result.x, result.y_unit, result.y_label),
        (result.x, result.entered[1], result.y, result.x_unit, result.x_label),
    ):
        lead = result.lead if values is result.y else result.lead.T
        row = np.array([np.interp(at, column, lead[:, k]) for k in range(len(values))])
        crossed = np.flatnonzero(row[:-1] * row[1:] < 0)
        own = result.entered[1] if values is result.y else result.entered[0]
        places = [float(values[k] + (values[k + 1] - values[k]) * row[k] / (row[k] - row[k + 1])) for k in crossed]
        if places:
            nearest = min(places, key=lambda place: abs(place - own))
            found.append(f"{short_label(label)} {'under' if nearest < own else 'over'} {entered(nearest, unit)}")
    return f"; it would take {' or '.join(found)}" if found else ""
