"""Charts of results: where the price goes, when a course pays back, when cash is short, what an hour earns, what flips it.

Every chart is a function ``(result, ax=None) -> Axes``. Titles are made from the figures. Direction and kind are told by
sign, hatch and outline as well as by colour. ``alt_text(ax)`` and ``title(ax)`` give the words for readers who do not
see the chart; ``svg(ax)`` the drawing as text, the same bytes for the same figures. Nothing is drawn to a screen and
no global style is changed. Colours: Okabe and Ito's palette, made to be told apart by colour-blind readers.
"""

from __future__ import annotations

import base64
import html
import io
import re
import textwrap
import urllib.parse
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from functools import wraps
from pathlib import Path
from typing import Any, ParamSpec, cast

import matplotlib.pyplot as plt
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter

from equipdecide.calendar import FloatArray
from equipdecide.decide.breakeven import Breakevens, Flip
from equipdecide.decide.compare import Comparison, Difference, Outcome
from equipdecide.decide.page_figures import DatedCash, Staircase, cash_by_year, one_offs, worth_so_far
from equipdecide.decide.page_figures import staircase as stairs_of
from equipdecide.decide.sale import RouteResult
from equipdecide.views.small_svg import small
from equipdecide.words import MINUS, day, money, month, number, percent, whole

STYLE = Path(__file__).with_name("equipdecide.mplstyle")

BLUE, VERMILION, GREEN, PINK, ORANGE, SKY, BLACK = (
    "#0072B2",
    "#D55E00",
    "#009E73",
    "#CC79A7",
    "#E69F00",
    "#56B4E9",
    "#222222",
)
GREY = "#8a8a8a"
LINES = (BLUE, VERMILION, GREEN, PINK, ORANGE, SKY)
DASHES: tuple[Any, ...] = ("-", (0, (6, 2)), (0, (2, 1.4)), (0, (7, 2, 1.5, 2)), (0, (1, 1)), (0, (4, 1, 1, 1, 1, 1)))
HATCHES = ("", "//", "..", "\\\\", "xx", "--", "oo")

P = ParamSpec("P")


def style() -> AbstractContextManager[None]:
    """Return a context in which figures have the look of this package."""
    return cast("AbstractContextManager[None]", plt.style.context(STYLE))


def styled(draw: Callable[P, Axes]) -> Callable[P, Axes]:
    """Give a function that draws a chart the look of this package."""

    @wraps(draw)
    def inside(*args: P.args, **kwargs: P.kwargs) -> Axes:
        with style():
            return draw(*args, **kwargs)

    return inside


def title(ax: Axes) -> str:
    """Return the title a chart of this module computed for itself."""
    return str(getattr(ax, "chart_title", ""))


def alt_text(ax: Axes) -> str:
    """Return what a chart of this module shows, in words and figures."""
    return str(getattr(ax, "alt_text", ""))


def svg(ax: Axes, with_title: bool = True) -> str:
    """Return the whole figure of `ax` as SVG text: no date, the same bytes for the same figures."""
    figure = cast("Figure", ax.figure)
    with style():
        if not with_title:
            figure.suptitle("").set_in_layout(False)
        out = io.StringIO()
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
    return small(out.getvalue())


def data_address(ax: Axes, with_title: bool = True) -> str:
    """Return the drawing as an address that an image of a page can hold: no second file, no request."""
    # quoted by hand: of what neither an attribute nor an address may hold, an SVG text has little
    return "data:image/svg+xml," + urllib.parse.quote(
        svg(ax, with_title).replace('"', "'"), safe=" ='/:;,.()-+*!@$?[]~|"
    )


@dataclass(frozen=True, eq=False)
class Drawing:
    """A chart that shows itself in a notebook as an image with words for those who do not see it."""

    ax: Axes

    def _repr_html_(self) -> str:
        return f'<img class="mathjax_ignore tex2jax_ignore" style="max-width:100%;background:white" alt="{html.escape(alt_text(self.ax))}" src="{data_address(self.ax)}">'


def drawing(ax: Axes) -> Drawing:
    """Return a chart as the result of a notebook's cell; its figure is closed, so that it is not shown a second time."""
    plt.close(cast("Figure", ax.figure))
    return Drawing(ax)


def blank(width: float, height: float) -> Axes:
    """Return empty axes on a figure of their own that no window knows of [inch]."""
    with style():
        return Figure(figsize=(width, height), layout="constrained").add_subplot()


def unfitted(width: float, height: float, box: tuple[float, float, float, float]) -> Axes:
    """Return empty axes at a fixed place [share of the figure: left, bottom, width, height], for charts drawn anew at once.

    No layout is sought, which takes most of the time of a drawing; the caller leaves the room that the words need.
    """
    with style():
        figure = Figure(figsize=(width, height))
        figure.set_layout_engine("none")
        return figure.add_axes(box)


def text_address(ax: Axes) -> str:
    """Return the drawing as an address for an image, its words as text set by the reader's machine: quick, not the same everywhere.

    For charts on :func:`unfitted` axes: the figure is drawn once, where saving it would draw it twice to find a layout.
    """
    with style(), plt.rc_context({"svg.fonttype": "none"}):
        out = io.StringIO()
        canvas: Any = FigureCanvasSVG(cast("Figure", ax.figure))
        canvas.print_svg(out, metadata={"Date": None})
    return "data:image/svg+xml;base64," + base64.b64encode(out.getvalue().encode()).decode()


def axes(ax: Axes | None, width: float, height: float) -> Axes:
    """Return the axes given, or new ones on a figure of that size [inch]."""
    return ax if ax is not None else plt.subplots(figsize=(width, height))[1]


def finish(ax: Axes, words: str, alt: str) -> Axes:
    """Put the title over the whole figure where the chart is alone on it, else over the axes; keep the words."""
    figure = cast("Figure", ax.figure)
    alone = sum(one.get_label() != "<colorbar>" for one in figure.axes) == 1
    wide = figure.get_size_inches()[0] if alone else figure.get_size_inches()[0] * ax.get_position().width
    wrapped = "\n".join(textwrap.wrap(words, max(30, int(wide * 10.3))))
    if alone:
        figure.suptitle(wrapped, x=0.01, ha="left", fontsize=11, fontweight="bold")
    else:
        ax.set_title(wrapped, loc="left", fontsize=10.5, fontweight="bold")
    ax.chart_title, ax.alt_text = words, alt  # type: ignore[attr-defined]
    return ax


def money_axis(axis: Any, sign: bool = False) -> None:
    """Write the figures along an axis as money, with a plus where `sign`."""
    axis.set_major_formatter(FuncFormatter(lambda value, _: plus(value) if sign else money(value)))


def plus(amount: float) -> str:
    """Write money with its sign: "+1,200"."""
    return money(amount, plus=True)


def _thousands(amount: float) -> str:
    """Write an amount in thousands, for crowded charts: one decimal below ten thousand."""
    size = abs(amount) / 1000
    return f"{MINUS if amount < 0 else ''}{number(size, 1) if size < 9.95 else whole(size)}k"


def capital(text: str) -> str:
    """Return text with a capital first letter."""
    return text[:1].upper() + text[1:]


# --- where the price goes


@styled
def settlement(result: RouteResult, ax: Axes | None = None) -> Axes:
    """Draw where the price of a sale goes: lender, costs, cash, and the later tax, which is no cash at the closing.

    `result` is one route of a sale. Cash at the closing is filled; tax due later is an outline with hatch.
    """
    ax = axes(ax, 7.6, 3.6)
    lost, end = result.over_allowance, result.left_in_all
    rows: list[tuple[str, float, str]] = [("price", result.gross, "start")]
    rows += [("selling costs", -result.selling_costs, "cash")] if result.selling_costs else []
    rows += [("to the lender", -result.payoff, "cash")] if result.payoff else []
    rows += [("release of the lien", -result.other_costs, "cash")] if result.other_costs else []
    rows += [("left at the closing" if result.net_cash >= 0 else "to bring to the closing", result.net_cash, "left")]
    rows += [("of it, discount lost by trading", -lost, "later")] if lost > 0.005 else []
    rows += [(f"tax, {day(when)}", -amount, "later") for when, amount in result.tax_due]
    rows += [("left after that tax" if end >= 0 else "short by, after that tax", end, "end")]
    level, places = 0.0, []
    for k, (_, amount, kind) in enumerate(rows):
        base = 0.0 if kind in ("start", "left", "end") else level
        look = {
            "start": {"color": BLUE},
            "cash": {"color": GREY},
            "left": {"color": GREEN},
            "later": {"facecolor": "white", "edgecolor": VERMILION, "hatch": "////", "linewidth": 1.4},
            "end": {"facecolor": "white", "edgecolor": GREEN if amount >= 0 else VERMILION, "linewidth": 2.2},
        }[kind]
        ax.barh(k, amount, left=base, height=0.62, **look)  # type: ignore[arg-type]
        level = amount if kind in ("start", "left", "end") else level + amount
        places.append((k, max(base, base + amount)))
        if k + 1 < len(rows):
            ax.plot([level, level], [k, k + 1], color="#999999", linewidth=0.8, linestyle=":")
    widest = max(x for _, x in places)
    for (k, x), (_, amount, _) in zip(places, rows, strict=True):
        ax.text(x + 0.012 * widest, k, plus(amount) if k else money(amount), va="center", fontweight="bold")
    ax.set_yticks(range(len(rows)), [capital(name) for name, _, _ in rows])
    ax.invert_yaxis()
    ax.set_xlim(min(0.0, *(amount for _, amount, kind in rows if kind == "end")) * 1.15, widest * 1.14)
    ax.axvline(0, color="#555555", linewidth=0.9)
    ax.xaxis.grid(True)
    money_axis(ax.xaxis)
    ax.set_xlabel("dollars; filled: paid at the closing, hatched: due later")
    left = (
        f"Of {money(result.gross)}, {money(result.net_cash)} is left at the closing"
        if result.net_cash >= 0
        else f"{money(result.gross)} does not cover the lender: {money(-result.net_cash)} to bring"
    )
    if result.tax_by_owner:
        tail = f"{money(end)} is left" if end >= 0 else f"the sale is {money(-end)} short"
        words = f"{left}; after {money(result.tax)} of tax, {tail}"
    else:
        words = left
    alt = (
        f"Bars from the price down, sale by {result.name} on {day(result.sold_on)}: "
        + "; ".join(f"{name} {plus(amount) if k else money(amount)}" for k, (name, amount, _) in enumerate(rows))
        + " dollars."
    )
    return finish(ax, words, alt)


# --- when a course pays back


@styled
def cumulative_worth(result: Comparison, ax: Axes | None = None) -> Axes:
    """Draw present worth added up month by month, each alternative less keeping; the last crossing of zero is marked."""
    ax = axes(ax, 7.6, 4.2)
    time = result.evaluation.time
    keep = worth_so_far(result.keep)
    times = np.array([0.0, *time.cash_times])
    inside = times <= time.years_to(time.end) + 0.75  # the last tax of the study falls after it
    shown = [o for o in result.outcomes if o.name != "keep"]
    lead = result.best if result.best not in (None, "keep") else result.best_ignoring_cash
    curves = {o.name: np.concatenate([[0.0], worth_so_far(o) - keep])[inside] for o in shown}
    crossings = {name: _crossing(times[inside], values) for name, values in curves.items()}
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


def _crossing(times: FloatArray, values: FloatArray) -> float | None:
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
    """Write each course and its last figure to the right of its line; what runs off the chart is said to be below it."""
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


# --- when cash is short


@styled
def cash_calendar(result: Outcome, ax: Axes | None = None) -> Axes:
    """Draw the shop's cash by month against the floor, and name the days on which the course moves money.

    Shown up to a year past the lowest month, two years at least. Without cash in the scenario the line is money since
    the decision, and no floor is tested.
    """
    ax = axes(ax, 7.6, 4.2)
    time, shop = result.plan.time, result.plan.scenario.shop
    tested = "cash test" in result.ledger.workings
    level = result.cash_level()
    inside = [k for k, day_ in enumerate(time.cash.starts) if day_ <= time.end]
    k_low = int(level[inside].argmin())
    count = min(len(inside), max(k_low + (2 if time.yearly else 13), 4 if time.yearly else 24))
    x, y = np.arange(count), level[:count]
    ax.step(x, y, where="mid", color=BLUE, linewidth=2)
    ax.fill_between(x, y, 0.0, step="mid", color=SKY, alpha=0.22, linewidth=0)
    floor = float(shop.cash_floor) if tested and shop.cash_floor is not None else None
    if floor is not None:
        ax.axhline(floor, color=VERMILION, linewidth=1.6, linestyle=(0, (6, 2)))
        ax.text(
            count - 0.6,
            floor,
            f"floor {money(floor)}",
            color=BLACK,
            ha="right",
            va="bottom",
            fontsize=9,
            bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.75, "pad": 1},
        )
    ax.axhline(0, color="#555555", linewidth=0.9)
    ax.plot(
        [k_low],
        [level[k_low]],
        marker="v",
        markersize=9,
        color=VERMILION if floor is not None and level[k_low] < floor else GREEN,
        zorder=5,
    )
    days = [(time.cash.row_of(one.day), one) for one in one_offs(result)]
    shown = [(row, one) for row, one in days if row is not None and row < count]
    span = _one_off_labels(ax, shown, y, max(float(y.max()), floor or 0.0))
    ax.annotate(
        f"lowest {money(level[k_low])}, {month(time.cash.labels[k_low])}",
        (k_low, level[k_low]),
        xytext=(0, -14),
        textcoords="offset points",
        ha="center" if 2 < k_low < count - 3 else ("left" if k_low <= 2 else "right"),
        va="top",
        fontweight="bold",
        bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 0.8},
        zorder=6,
    )
    ax.set_xlim(-0.6, count - 0.4)
    low = min(0.0, float(y.min()))
    ax.set_ylim(low - 0.11 * span - (0.03 * span if low < 0 else 0), None)
    step = max(1, count // 8)
    ax.set_xticks(x[::step], [month(time.cash.labels[k]) for k in x[::step]])
    ax.set_ylabel(
        "cash of the shop, month's end, dollars" if tested else "cash of the shop since the decision, dollars"
    )
    ax.yaxis.grid(True)
    money_axis(ax.yaxis)
    lowest = f"{money(level[k_low])} in {month(time.cash.labels[k_low])}"
    if floor is None:
        words = (
            f"“{result.name}”: cash is lowest at {lowest}; no floor was given"
            if tested
            else f"“{result.name}”: money since the decision is lowest at {lowest}; cash in the bank was not given"
        )
    elif level[k_low] < floor:
        words = f"“{result.name}”: cash falls to {lowest}, {money(floor - level[k_low])} under the floor"
    else:
        words = f"“{result.name}”: cash is lowest at {lowest}, {money(level[k_low] - floor)} above the floor"
    alt = (
        f"Cash of the shop by month from {month(time.cash.labels[0])} to {month(time.cash.labels[count - 1])}, lowest {lowest}"
        + (f", floor {money(floor)}" if floor is not None else "")
        + ". Days: "
        + ("; ".join(f"{day(one.day)} {_what(one)}" for _, one in shown) or "none")
        + "."
    )
    return finish(ax, words, alt)


def _what(one: DatedCash) -> str:
    return ", ".join(f"{name} {plus(amount)}" for name, amount in one.parts)


def _one_off_labels(ax: Axes, shown: Sequence[tuple[int, DatedCash]], y: FloatArray, highest: float) -> float:
    """Draw a stem from the line for each day, its net and lines stacked above `highest`; returns the height of the axes."""
    low, high, count = min(0.0, float(y.min())), max(0.0, highest), len(y)
    labels = []
    for row, one in shown:
        left = row > count * 0.6  # written to the left of its stem
        room = max(int((row if left else count - row) / count * 96), 24)
        lines = textwrap.wrap(f"{day(one.day)}: {plus(one.net)}  {_short(one)}", room)
        labels.append(
            (
                row,
                left,
                lines if len(lines) <= 2 else [lines[0], textwrap.shorten(" ".join(lines[1:]), room, placeholder=" …")],
            )
        )
    whole_lines = sum(len(lines) for _, _, lines in labels)
    line = max(high - low, 1.0) * (0.075 if whole_lines <= 5 else 0.062)
    top = high + line * (whole_lines + 0.55 * len(labels) + 0.5)
    at = top - 0.25 * line
    for row, left, lines in labels:
        ax.plot([row, row], [y[row], at], color="#777777", linewidth=0.8, zorder=1)
        ax.plot([row], [y[row]], marker="o", markersize=4, color=BLACK, zorder=4)
        words = ax.text(
            row + (-0.15 if left else 0.15),
            at,
            "\n".join(lines),
            ha="right" if left else "left",
            va="top",
            fontsize=8.5,
            linespacing=1.1,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.4},
            zorder=3,
        )
        words.set_in_layout(False)
        at -= line * (len(lines) + 0.55)
    ax.set_ylim(low, top)
    return top - low


def _short(one: DatedCash) -> str:
    if len(one.parts) == 1:
        return one.parts[0][0]
    return "; ".join(f"{name} {_thousands(amount)}" for name, amount in one.parts)


# --- what an hour earns


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
            f"{stair.part} {stair.hours:,.0f} h at {stair.per_hour:,.0f} dollars{', must ship' if stair.must_ship else ''}"
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
        return f"What must ship takes {whole(stairs.must_ship_hours)} of the {whole(stairs.capacities['keep'])} hours that keeping can make; nothing more is ordered"
    now, at, next_ = stairs.capacities["keep"], stairs.must_ship_hours, None
    for stair in free:
        at += stair.hours
        if at > now + 0.5:
            next_ = stair
            break
    if next_ is None:
        return "Keeping already makes all that could be sold: further hours earn nothing"
    return f"The next hour beyond keeping's {now:,.0f} earns {next_.per_hour:,.0f} dollars, falling to {free[-1].per_hour:,.0f} for the last that could be sold"


# --- cash by what it is for


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
            _thousands(net[k]) if abs(net[k]) >= 50 else "0",
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


# --- what flips it

SHORT = {"hour": "h", "h": "h", "minute": "min", "day": "days", "week": "weeks"}
NEAREST = 8  # flips drawn: more than that no reader weighs


@styled
def flips(result: Breakevens, ax: Axes | None = None) -> Axes:
    """Draw the inputs that flip the leader, the nearest on top: how far each would have to move, and to what value.

    Bars are the distance from the entered value as a share of it; hatched where the flip lies inside the stated range.
    """
    found = leaders_flips(result)[:NEAREST]
    ax = axes(ax, 7.6, 1.4 + 0.42 * max(len(found), 2))
    if not found:
        ax.set_axis_off()
        ax.text(0, 0.5, "Nothing searched flips it.", va="center")
        return finish(
            ax, f"No single input flips the lead of “{result.leader}”", "No bars: no single input flips the lead."
        )
    size = max(min(flip.distance, 3.0) for flip in found)
    for k, flip in enumerate(found):
        more = flip.flip > flip.entered
        length = min(flip.distance, 3.0) * (1 if more else -1)
        ax.barh(
            k,
            length,
            height=0.6,
            color=ORANGE if more else SKY,
            edgecolor=BLACK,
            linewidth=0.8,
            hatch="///" if flip.inside_range else "",
        )
        words = f"{in_unit(flip.entered, flip.unit, exact=True)} → {in_unit(flip.flip, flip.unit)}"
        ax.text(
            length + (0.015 if more else -0.015) * size,
            k,
            words,
            va="center",
            ha="left" if more else "right",
            fontsize=8.8,
            fontweight="bold",
        )
    ax.axvline(0, color=BLACK, linewidth=1.2)
    ax.set_yticks(
        range(len(found)), ["\n".join(textwrap.wrap(flip_label(flip), 44)[:2]) for flip in found], fontsize=8.4
    )
    ax.invert_yaxis()
    low = min(0.0, *(-min(flip.distance, 3.0) for flip in found if flip.flip <= flip.entered), 0.0)
    high = max(0.0, *(min(flip.distance, 3.0) for flip in found if flip.flip > flip.entered), 0.0)
    room = 0.55 * max(high - low, 0.05)
    ax.set_xlim(low - (room if low < 0 else 0.02 * size), high + (room if high > 0 else 0.02 * size))
    ax.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{plus(round(100 * value))} %"))
    ax.xaxis.grid(True)
    ax.set_xlabel(
        "how far it would have to move"
        + (" (hatched: within the stated range)" if any(flip.inside_range for flip in found) else "")
    )
    first = found[0]
    words = f"Nearest flip: {flip_label(first)}, {in_unit(first.entered, first.unit, exact=True)} now, {in_unit(first.flip, first.unit)} at the flip"
    alt = (
        f"Bars of what flips the lead of {result.leader}, nearest first: "
        + "; ".join(
            f"{flip_label(flip)} from {in_unit(flip.entered, flip.unit, exact=True)} to {in_unit(flip.flip, flip.unit)}, level with {other_course(flip, result.leader)}"
            for flip in found
        )
        + "."
    )
    return finish(ax, words, alt)


def leaders_flips(result: Breakevens) -> list[Flip]:
    """Return the flips of the leader, the nearest of each input only, in the result's order."""
    found: dict[str, Flip] = {}
    for flip in result.flips:
        if result.leader in (flip.alternative, flip.against):
            found.setdefault(flip.path, flip)
    return list(found.values())


def other_course(flip: Flip, leader: str) -> str:
    """Return the course that is level with the leader at the flip."""
    return flip.against if flip.alternative == leader else flip.alternative


def flip_label(flip: Flip) -> str:
    """Return the input's label without the explanations in brackets, its path where it has none."""
    return short_label(flip.label) or flip.path


def short_label(label: str) -> str:
    """Return a label without the explanations in brackets."""
    return re.sub(r" \([^()]*\)", "", label).replace("`", "")


def in_unit(value: float, unit: str, exact: bool = False) -> str:
    """Write a value of an input short: money to whole hundreds from a thousand up, or, `exact`, to whole dollars."""
    base, _, _ = unit.partition("/")
    if unit in ("share", "chance", "1/year"):
        return percent(value)
    if base in SHORT:
        return f"{whole(value) if abs(value) >= 100 else number(value, 1)} {SHORT[base]}"
    if abs(value) < 1000:
        return number(value, 0 if abs(value) >= 100 else 1 if abs(value) >= 10 else 2)
    return whole(value) if exact or unit in ("count", "factor") else money(value)
