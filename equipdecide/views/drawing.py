"""What every chart has in common: the look, empty axes, title and words, and the drawing as text.

Titles are made from the figures. ``alt_text(ax)`` and ``title(ax)`` give the words for readers who do not see the
chart; ``svg(ax)`` the drawing as text, the same bytes for the same figures. Nothing is drawn to a screen and no global
style is changed. Colours: Okabe and Ito's palette, made to be told apart by colour-blind readers.
"""

from __future__ import annotations

import base64
import html
import io
import textwrap
import urllib.parse
from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass
from functools import wraps
from pathlib import Path
from typing import Any, ParamSpec, cast

import matplotlib.pyplot as plt
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter

from equipdecide.views.small_svg import small
from equipdecide.words import MINUS, money, number, whole

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

NOTHING = {"Date": None, "Creator": None, "Format": None, "Type": None}  # told of a drawing

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
        out, canvas, dpi = io.StringIO(), figure.canvas, figure.dpi
        # not by savefig, which draws twice, the first time for the layout alone
        FigureCanvasSVG(figure).print_svg(out, metadata=NOTHING)  # type: ignore[no-untyped-call]
        figure.set_canvas(canvas)
        figure.set_dpi(dpi)
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
        return (
            f'<img class="mathjax_ignore tex2jax_ignore" style="max-width:100%;background:white" '
            f'alt="{html.escape(alt_text(self.ax))}" src="{data_address(self.ax)}">'
        )


def drawing(ax: Axes) -> Drawing:
    """Return a chart as the result of a notebook's cell; its figure is closed, so that it is not
    shown a second time.
    """
    plt.close(cast("Figure", ax.figure))
    return Drawing(ax)


def blank(width: float, height: float) -> Axes:
    """Return empty axes on a figure of their own that no window knows of [inch]."""
    with style():
        return Figure(figsize=(width, height), layout="constrained").add_subplot()


def unfitted(width: float, height: float, box: tuple[float, float, float, float]) -> Axes:
    """Return empty axes at a fixed place [share of the figure: left, bottom, width, height], for charts drawn anew at
    once.

    No layout is sought, which takes most of the time of a drawing; the caller leaves the room that the words need.
    """
    with style():
        figure = Figure(figsize=(width, height))
        figure.set_layout_engine("none")
        return figure.add_axes(box)


def text_address(ax: Axes) -> str:
    """Return the drawing as an address for an image, its words as text set by the reader's machine: quick, not the same
    everywhere.

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


def thousands(amount: float) -> str:
    """Write an amount in thousands, for crowded charts: one decimal below ten thousand."""
    size = abs(amount) / 1000
    return f"{MINUS if amount < 0 else ''}{number(size, 1) if size < 9.95 else whole(size)}k"


def capital(text: str) -> str:
    """Return text with a capital first letter."""
    return text[:1].upper() + text[1:]
