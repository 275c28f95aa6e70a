"""Charts of time: how long a machine is worth keeping, and what selling it later leaves.

Drawn as those of :mod:`equipdecide.views.charts`: titles from the figures, lines told apart by dash as well as colour.
"""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Patch

from equipdecide.decide.renewal import ReplaceWhen
from equipdecide.decide.sell_when import SellWhen
from equipdecide.decide.service_life import ServiceLife
from equipdecide.views.charts import (
    BLACK,
    BLUE,
    DASHES,
    GREEN,
    ORANGE,
    SKY,
    VERMILION,
    axes,
    finish,
    money_axis,
    names_at_the_end,
    plus,
    styled,
)
from equipdecide.views.renewal import replace_when_headline
from equipdecide.views.sell_when import sell_when_headline
from equipdecide.views.service_life import life_headline, years_in_words
from equipdecide.words import day, money


@styled
def economic_life(life: ServiceLife, ax: Axes | None = None) -> Axes:
    """Draw cost a year by years kept, before tax: loss in value, upkeep, both; the years within 3 %
    of the least are shaded.
    """
    ax = axes(ax, 7.6, 4.0)
    years = np.arange(1, len(life.values) + 1)
    total = np.asarray(life.before_tax.annual_cost)
    lines = (
        (total, "together", BLUE, DASHES[0], 3.0),
        (life.capital_recovery, "loss in value, with interest", ORANGE, DASHES[1], 2.0),
        (life.annual_expenses, "upkeep", GREEN, DASHES[2], 2.0),
    )
    for k in life.near_best:
        ax.axvspan(k - 0.5, k + 0.5, facecolor=SKY, alpha=0.25, hatch="..", edgecolor="white", linewidth=0)
    for values, _, colour, dash, wide in lines:
        ax.plot(years, values, color=colour, linestyle=dash, linewidth=wide, marker="o", markersize=4)
    best = life.years_before_tax
    ax.plot(
        [best],
        [total[best - 1]],
        marker="o",
        markersize=12,
        markerfacecolor="white",
        markeredgecolor=BLUE,
        markeredgewidth=2.6,
        zorder=6,
    )
    ax.annotate(
        f"least: {money(float(total[best - 1]))} a year",
        (best, float(total[best - 1])),
        xytext=(0, 13 if best < len(years) else -14),
        textcoords="offset points",
        va="bottom" if best < len(years) else "top",
        ha="center" if 1 < best < len(years) else ("left" if best == 1 else "right"),
        fontweight="bold",
    )
    ax.set_xlim(0.5, len(years) + 0.5)
    ax.set_ylim(0, float(total.max()) * 1.16)
    names_at_the_end(
        ax, float(years[-1]), [(float(values[-1]), name, colour, False) for values, name, colour, _, _ in lines]
    )
    ax.set_xticks(years)
    ax.yaxis.grid(True)
    money_axis(ax.yaxis)
    ax.set_xlabel("years kept from today")
    ax.set_ylabel("level cost a year, before tax, dollars")
    ax.legend(
        handles=[Patch(facecolor=SKY, alpha=0.4, hatch="..", edgecolor="white")],
        labels=["within 3 % of the least"],
        loc="lower left",
        fontsize=8.8,
    )
    near = life.near_best
    words = f"The yearly cost of “{life.machine}” is least if kept {best} more year{'s' if best > 1 else ''}"
    words += (
        f"; kept {years_in_words(near)} years it is nearly the same"
        if len(near) > 1
        else "; no other year comes within 3 %"
    )
    alt = (
        f"{life_headline(life)} Lines by years kept, together: "
        + "; ".join(f"{k}: {money(float(value))}" for k, value in zip(years, total, strict=True))
        + "."
    )
    return finish(ax, words, alt)


@styled
def replace_when(result: ReplaceWhen, ax: Axes | None = None) -> Axes:
    """Draw what replacing first in each year is worth over never, before tax: a bar a year, the best outlined."""
    ax = axes(ax, 7.6, 3.8)
    over, years = result.over_never, np.arange(result.years)
    for k, worth in enumerate(over):
        gains = worth >= 0
        best = k == result.first
        ax.bar(
            [k],
            [worth],
            width=0.66,
            facecolor=BLUE if gains else ORANGE,
            hatch="" if gains else "//",
            alpha=1.0 if best else 0.55,
            edgecolor=BLACK if best else "white",
            linewidth=2.2 if best else 0.0,
        )
        ax.annotate(
            money(float(worth), plus=True),
            (k, float(worth)),
            xytext=(0, 4 if gains else -4),
            textcoords="offset points",
            ha="center",
            va="bottom" if gains else "top",
            fontsize=9,
            fontweight="bold" if best else "normal",
        )
    low, high = min(0.0, float(over.min())), max(0.0, float(over.max()))
    ax.set_ylim(low - 0.12 * (high - low), high + 0.12 * (high - low))
    ax.axhline(0, color=BLACK, linewidth=1.0)
    ax.set_xticks(years, ["now" if k == 0 else str(result.decision.year + k) for k in years])
    ax.yaxis.grid(True)
    money_axis(ax.yaxis)
    ax.set_xlabel("year of the first replacement")
    ax.set_ylabel("worth over never, before tax, dollars")
    headline = replace_when_headline(result)
    return finish(ax, headline.split(": ")[0].split(";")[0], f"A bar for each year. {headline}")


@styled
def sell_when(result: SellWhen, ax: Axes | None = None) -> Axes:
    """Draw selling now and in each month after: price, what the lender takes, cash left, and worth
    against selling now.
    """
    ax = axes(ax, 7.6, 4.2)
    months = np.array([m.months for m in result.months])
    now, last = result.months[0], result.months[-1]
    price, payoff, cash = (
        np.array([getattr(m, key) for m in result.months]) for key in ("price", "payoff", "net_cash")
    )
    gained = np.array([m.npv - now.npv for m in result.months])
    lines = (
        (price, "price", BLUE, DASHES[0], 2.2),
        (payoff, "to the lender", VERMILION, DASHES[1], 2.0),
        (cash, "cash from the sale", GREEN, DASHES[2], 2.4),
        (gained, "worth against now", BLACK, DASHES[3], 3.0),
    )
    ax.fill_between(
        months,
        payoff,
        price,
        where=price >= payoff,
        facecolor=GREEN,
        alpha=0.15,
        hatch="..",
        edgecolor="white",
        linewidth=0,
    )
    for values, _, colour, dash, wide in lines:
        ax.plot(months, values, color=colour, linestyle=dash, linewidth=wide)
    best = result.best
    ax.plot(
        [best.months],
        [best.npv - now.npv],
        marker="o",
        markersize=11,
        markerfacecolor="white",
        markeredgecolor=BLACK,
        markeredgewidth=2.4,
        zorder=6,
        clip_on=False,
    )
    ax.axhline(0, color=BLACK, linewidth=1.0)
    top, bottom = (
        max(float(values.max()) for values, *_ in lines),
        min(0.0, *(float(values.min()) for values, *_ in lines)),
    )
    ax.set_ylim(bottom - 0.05 * (top - bottom), top + 0.08 * (top - bottom))
    ax.set_xlim(0, max(float(months[-1]), 1.0))
    names_at_the_end(
        ax,
        float(months[-1]),
        [
            (
                float(values[-1]),
                f"{name} {plus(float(values[-1])) if name.startswith('worth') else money(float(values[-1]))}",
                colour,
                False,
            )
            for values, name, colour, _, _ in lines
        ],
    )
    ax.set_xticks(months[:: max(1, len(months) // 8)])
    ax.yaxis.grid(True)
    money_axis(ax.yaxis)
    ax.set_xlabel(f"months later than {day(now.sold_on)} (circle: worth most)")
    ax.set_ylabel("dollars")
    what = f"Selling {result.machine} alone" if result.alternative == "sell" else f"“{result.alternative}”"
    if best is now:
        words = f"{what} is worth most now: {last.months} months later it is worth {money(now.npv - last.npv)} less"
    else:
        words = (
            f"{what} is worth {money(best.npv - now.npv)} more after {best.months} months than now; cash from the "
            f"sale goes from {money(now.net_cash)} to {money(best.net_cash)}"
        )
    return finish(ax, words, f"Lines by month. {sell_when_headline(result)}")
