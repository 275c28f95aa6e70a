"""The chart of what flips the answer, and inputs and flips in few words."""

from __future__ import annotations

import re
import textwrap

from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter

from equipdecide.decide.breakeven import Breakevens, Flip
from equipdecide.views.drawing import (
    BLACK,
    ORANGE,
    SKY,
    axes,
    finish,
    plus,
    styled,
)
from equipdecide.words import money, number, percent, whole

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
    words = (
        f"Nearest flip: {flip_label(first)}, {in_unit(first.entered, first.unit, exact=True)} now, "
        f"{in_unit(first.flip, first.unit)} at the flip"
    )
    alt = (
        f"Bars of what flips the lead of {result.leader}, nearest first: "
        + "; ".join(
            f"{flip_label(flip)} from {in_unit(flip.entered, flip.unit, exact=True)} to "
            f"{in_unit(flip.flip, flip.unit)}, level with {other_course(flip, result.leader)}"
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
