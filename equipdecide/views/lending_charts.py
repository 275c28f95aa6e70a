"""Charts of selling and lending: what each way to sell brings, offers of money, cash by its dates, coverage of a
lender's payments.

Drawn as those of :mod:`equipdecide.views.charts`: titles from the figures, kinds told apart by mark and hatch as well.
"""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Sequence
from datetime import date
from typing import Any, cast

import numpy as np
from matplotlib.axes import Axes
from matplotlib.dates import ConciseDateFormatter
from matplotlib.lines import Line2D
from matplotlib.ticker import FuncFormatter, MaxNLocator

from equipdecide.decide.cash_calendar import CashCalendar, CashEntry
from equipdecide.decide.lender import LenderView
from equipdecide.decide.money import MoneyResult
from equipdecide.decide.routes import RoutesResult, RouteView
from equipdecide.decide.sale import RouteResult, SaleResult
from equipdecide.views.charts import (
    BLACK,
    BLUE,
    GREEN,
    GREY,
    ORANGE,
    SKY,
    VERMILION,
    apart,
    axes,
    finish,
    money_axis,
    plus,
    styled,
)
from equipdecide.views.lending import calendar_headline, lender_headline, money_headline, routes_headline
from equipdecide.views.risk_charts import HALO
from equipdecide.words import day, money, percent, times

TOLD = 7  # dated amounts named on a chart of cash
ONE_OFF = ("order", "change-over", "sale", "payoff", "loan", "other")

# --- ways to sell


@styled
def routes(result: RoutesResult, ax: Axes | None = None) -> Axes:
    """Draw each way to sell: net at worst, expected and as entered, before tax; the best expected worth on top."""
    shown = sorted(result.routes, key=lambda route: -route.expected_worth)
    ax = axes(ax, 7.6, 1.6 + 0.5 * max(len(shown), 2))
    drawn = [_like_for_like(route) for route in shown]
    ends = [value for three in drawn for value in (*three, 0.0)]
    low, high = min(ends), max(ends)
    size = max(high - low, 1.0)
    for k, (route, (at_worst, expected, left)) in enumerate(zip(shown, drawn, strict=True)):
        reach = (min(at_worst, expected), max(at_worst, expected))
        ax.plot(reach, [k, k], color=GREY, linewidth=3, solid_capstyle="butt", zorder=2)
        if at_worst < expected - 0.005:
            ax.plot([at_worst], [k], marker="v", markersize=9, color=VERMILION, zorder=4, linestyle="none")
        ax.plot(
            [expected],
            [k],
            marker="D",
            markersize=9,
            markerfacecolor="white",
            markeredgecolor=BLUE,
            markeredgewidth=2.4,
            zorder=5,
            linestyle="none",
        )
        ax.plot(
            [left],
            [k],
            marker="|",
            markersize=15,
            markeredgewidth=3,
            color=BLACK,
            zorder=3,
            linestyle="none",
        )
        said = f"{money(expected)} expected, " + ("a credit" if route.credited else f"paid {day(route.money_on)}")
        _beside(ax, k, said)
    _named_rows(ax, [route.name for route in shown])
    ax.set_xlim(low - 0.05 * size, high + 0.05 * size)
    ax.xaxis.set_major_locator(MaxNLocator(6))
    ax.xaxis.grid(True)
    money_axis(ax.xaxis)
    off = " and loan payments until the sale" if any(route.paid_until_sold >= 0.5 for route in shown) else ""
    ax.set_xlabel(f"dollars, a discount lost by trading{off} off it; no triangle: at worst as expected")
    handles = [
        Line2D(
            [],
            [],
            marker="D",
            markersize=8,
            markerfacecolor="white",
            markeredgecolor=BLUE,
            markeredgewidth=2.2,
            linestyle="none",
        ),
        Line2D([], [], marker="v", markersize=8, color=VERMILION, linestyle="none"),
        Line2D([], [], marker="|", markersize=13, markeredgewidth=3, color=BLACK, linestyle="none"),
    ]
    names = ["net expected, before tax", "net at worst", "left after tax, as entered"]
    ax.legend(
        handles,
        names,
        loc="upper center",
        bbox_to_anchor=(0.5, -0.12 - 0.35 / max(len(shown), 2)),
        ncols=3,
        fontsize=8.6,
        handletextpad=0.3,
        columnspacing=1.4,
    )
    best = shown[0]
    if len(shown) == 1:
        words = f"“{best.name}” is expected to net {money(best.expected_net)} before tax"
    else:
        ahead = best.expected_worth - shown[1].expected_worth
        words = f"“{best.name}” is expected to be worth most, {money(ahead)} ahead of “{shown[1].name}”" + (
            ": too close to call" if ahead < 0.01 * max(best.gross, 1.0) else ""
        )
    safest = max(range(len(shown)), key=lambda k: drawn[k][0])
    if drawn[safest][0] > drawn[0][0] + 0.5:
        words += f"; the safest is “{shown[safest].name}”, {money(drawn[safest][0])} at worst"
    alt = (
        f"{routes_headline(result)} "
        + "; ".join(
            f"{r.name}: at worst {money(three[0])}, expected {money(three[1])}, left after tax {money(three[2])}"
            for r, three in zip(shown, drawn, strict=True)
        )
        + "."
    )
    return finish(ax, words, alt)


@styled
def sale_offers(result: SaleResult, ax: Axes | None = None) -> Axes:
    """Draw where the price of each offer goes: selling costs, lender, loan payments until the sale, tax, what is left.

    A tick marks the price. What is short stands left of nothing: the parts then reach beyond the price by as much.
    """
    shown = sorted(result.routes, key=lambda route: -route.like_for_like)
    ax = axes(ax, 7.6, 1.9 + 0.55 * max(len(shown), 2))
    kinds: list[tuple[str, str, str, Callable[[RouteResult], float]]] = [
        ("selling costs, lost discount", GREY, "", lambda r: r.selling_costs + r.over_allowance),
        ("lender and lien", SKY, "....", lambda r: r.payoff + r.other_costs),
        ("loan paid until the sale", BLUE, "", lambda r: r.paid_until_sold),
        ("tax, due later", ORANGE, "////", lambda r: r.tax),
    ]
    for k, route in enumerate(shown):
        level = 0.0
        for _, colour, hatch, of in kinds:
            ax.barh(k, of(route), left=level, height=0.6, color=colour, hatch=hatch, edgecolor="white", linewidth=0.6)
            level += of(route)
        left = route.like_for_like
        ax.barh(
            k, left, left=max(level, 0.0) if left >= 0 else 0.0, height=0.6, color=GREEN if left >= 0 else VERMILION
        )
        ax.plot([route.gross], [k], marker="|", markersize=22, markeredgewidth=2.6, color=BLACK, linestyle="none")
        said = f"{money(left)} left" if left >= 0 else f"short by {money(-left)}"
        _beside(ax, k, said)
    _named_rows(ax, [route.name for route in shown])
    ax.xaxis.set_major_locator(MaxNLocator(6))
    ax.xaxis.grid(True)
    money_axis(ax.xaxis)
    ax.set_xlabel("dollars; black: the price, an allowance as it is written")
    handles: list[Any] = [ax.barh(-9, 0, color=colour, hatch=hatch, edgecolor="white") for _, colour, hatch, _ in kinds]
    handles += [ax.barh(-9, 0, color=GREEN), ax.barh(-9, 0, color=VERMILION)]
    names = [name for name, *_ in kinds] + ["left", "short"]
    ax.legend(
        handles,
        names,
        loc="upper center",
        bbox_to_anchor=(0.5, -0.13 - 0.42 / max(len(shown), 2)),
        ncols=3,
        fontsize=8.4,
        columnspacing=1.2,
    )
    best = shown[0]
    end = (
        f"{money(best.like_for_like)} is left"
        if best.like_for_like >= 0
        else f"it is {money(-best.like_for_like)} short"
    )
    words = f"{result.machine}, handed over on {day(result.date)}: “{best.name}” leaves most; after lender, costs and tax {end}"
    alt = f"{words}. " + "; ".join(
        f"{r.name}: price {money(r.gross)}, "
        + ", ".join(f"{name} {money(of(r))}" for name, _, _, of in kinds)
        + f", left {money(r.like_for_like)}"
        for r in shown
    )
    return finish(ax, words, f"{alt}.")


def _like_for_like(route: RouteView) -> tuple[float, float, float]:
    """Net at worst, net expected and what is left after tax, each less what was paid on the loan until the sale."""
    paid = route.paid_until_sold
    return route.worst_net - paid, route.expected_net - paid, route.like_for_like


# --- offers of money


@styled
def money_offers(result: MoneyResult, ax: Axes | None = None) -> Axes:
    """Draw what each offer of money is worth against paying cash, after tax, its yearly rate beside it."""
    order = list(dict.fromkeys(offer.machine for offer in result.offers))
    shown = sorted(result.offers, key=lambda o: (order.index(o.machine), -o.worth_against_cash))
    ax = axes(ax, 7.6, 1.3 + 0.45 * max(len(shown), 2))
    best = max(shown, key=lambda o: o.worth_against_cash, default=None)
    if best is None:
        ax.set_axis_off()
        return finish(ax, "There is no offer of money to compare", money_headline(result))
    size = max(abs(offer.worth_against_cash) for offer in shown) or 1.0
    for k, offer in enumerate(shown):
        worth = offer.worth_against_cash
        ax.barh(
            k,
            worth,
            height=0.6,
            color=GREEN if worth >= 0 else VERMILION,
            hatch="" if worth >= 0 else "////",
            edgecolor="white",
            linewidth=0.6,
        )
        said = f"{plus(worth)}, at {percent(offer.yearly_rate, 2)} a year"
        ax.text(
            worth + (0.015 if worth >= 0 else -0.015) * size,
            k,
            said,
            va="center",
            ha="left" if worth >= 0 else "right",
            fontsize=8.8,
        )
    names = [f"{offer.machine}: {offer.name.removeprefix(offer.machine + ' ')}" for offer in shown]
    ax.set_yticks(range(len(shown)), ["\n".join(textwrap.wrap(name, 30)) for name in names])
    ax.set_ylim(len(shown) - 0.5, -0.5)
    low, high = (pick([0.0, *(offer.worth_against_cash for offer in shown)]) for pick in (min, max))
    ax.set_xlim(low - (0.42 * size if low < 0 else 0.02 * size), high + (0.42 * size if high > 0 else 0.02 * size))
    ax.axvline(0, color=BLACK, linewidth=1.2)
    ax.xaxis.set_major_locator(MaxNLocator(6))
    ax.xaxis.grid(True)
    money_axis(ax.xaxis, sign=True)
    ax.set_xlabel("worth more than paying cash, after tax, at the study's rate, dollars")
    words = (
        f"For {best.machine} “{best.name}” is worth {money(abs(best.worth_against_cash))} "
        f"{'more' if best.worth_against_cash >= 0 else 'less'} than paying cash"
    )
    cheapest = min((o for o in shown if o.machine == best.machine), key=lambda o: o.yearly_rate)
    if cheapest is not best:
        words += f"; the lowest rate is that of “{cheapest.name}”"
    return finish(ax, words, money_headline(result))


# --- cash by its dates


@styled
def cash_dates(result: CashCalendar, ax: Axes | None = None) -> Axes:
    """Draw the shop's cash by week and month against the floor, and name the days on which the course moves money.

    Shown until a year after the first good part or half a year after the lowest day, whichever is later.
    """
    ax = axes(ax, 7.6, 4.4)
    start = result.periods[0].first
    until = max((result.first_good_part - start).days + 365, (result.lowest_on - start).days + 183)
    shown = [one for one in result.periods if (one.first - start).days <= until]
    ends = [_place(one.last) for one in shown]
    level, lowest = np.array([one.level for one in shown]), np.array([one.lowest for one in shown])
    ax.plot(ends, level, color=BLUE, drawstyle="steps-pre", linewidth=2.2)
    ax.fill_between(ends, lowest, level, step="pre", color=SKY, alpha=0.45, hatch="..", edgecolor="white", linewidth=0)
    ax.axhline(0, color="#555555", linewidth=0.9)
    floor = result.floor if result.opening is not None else None
    if floor is not None:
        ax.axhline(floor, color=VERMILION, linewidth=1.6, linestyle=(0, (6, 2)))
        ax.text(1.01, floor, f"floor {money(floor)}", transform=ax.get_yaxis_transform(), va="center", fontsize=9)
    under = floor is not None and result.lowest < floor
    at = _place(result.lowest_on)
    ax.plot([at], [result.lowest], marker="v", markersize=10, color=VERMILION if under else GREEN, zorder=6)
    top, bottom = float(max(level.max(), floor or 0.0)), float(min(lowest.min(), 0.0))
    size = max(top - bottom, 1.0)
    left, right = _place(start), ends[-1]
    middle = min(max(at, left + 0.2 * (right - left)), right - 0.2 * (right - left))
    ax.text(
        middle,
        result.lowest - 0.035 * size,
        f"lowest {money(result.lowest)}, {day(result.lowest_on)}",
        ha="center",
        va="top",
        fontweight="bold",
        fontsize=9,
    )
    told = _told(result, shown[-1].last.toordinal())
    heights = [top + (0.10 + 0.085 * k) * size for k in range(len(told))][::-1]
    for y, entry in zip(heights, told, strict=True):
        x, amount = _place(entry.on), entry.amount or 0.0
        ax.plot([x, x], [np.interp(x, ends, level), y], color=GREY, linewidth=0.8, zorder=1)
        ax.plot(
            [x], [y], marker="^" if amount > 0 else "v", markersize=6, color=GREEN if amount > 0 else ORANGE, zorder=5
        )
        near_end = x > left + 0.55 * (right - left)
        words = f"{day(entry.on)}  {entry.what}  {plus(amount)}"
        aside = (-0.012 if near_end else 0.012) * (right - left)
        ax.text(
            x + aside,
            y,
            words,
            ha="right" if near_end else "left",
            va="center",
            fontsize=8.2,
            bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 0.6},
        )
    ax.set_ylim(bottom - 0.14 * size, (max(heights) if heights else top) + 0.08 * size)
    ax.set_xlim(left, right)
    ax.xaxis_date()
    ax.xaxis.set_major_formatter(cast("Any", ConciseDateFormatter)(ax.xaxis.get_major_locator(), show_offset=False))
    ax.yaxis.set_major_locator(MaxNLocator(7))
    ax.yaxis.set_major_formatter(FuncFormatter(lambda value, _: money(value) if value <= top + 0.05 * size else ""))
    ax.yaxis.grid(True)
    ax.set_ylabel("cash of the shop, dollars" if result.opening is not None else "money since the decision, dollars")
    ax.set_xlabel("line: at the end of each week or month; dots: down to its lowest day")
    words = f"“{result.alternative}”: cash is lowest on {day(result.lowest_on)}, {money(result.lowest)}"
    if floor is not None:
        words += f", {money(abs(result.lowest - floor))} {'under' if under else 'above'} the floor"
    alt = (
        f"{calendar_headline(result)} Days named: "
        + ("; ".join(f"{day(e.on)} {e.what} {plus(e.amount or 0.0)}" for e in told) or "none")
        + "."
    )
    return finish(ax, words, alt)


def _place(value: date) -> float:
    """Return where a day stands on an axis of dates: days since 1970."""
    return float((value - date(1970, 1, 1)).days)


def _told(result: CashCalendar, last: int) -> list[CashEntry]:
    """Return the shop's largest one-off amounts within the chart, by day."""
    found = [
        e
        for e in result.entries
        if e.purse == "shop" and e.kind in ONE_OFF and e.amount is not None and not e.done and e.on.toordinal() <= last
    ]
    on_day = {e.on: [other.amount or 0.0 for other in found if other.on == e.on] for e in found}
    found = [e for e in found if -(e.amount or 0.0) not in on_day[e.on]]  # what a buyer pays the lender moves nothing
    largest = sorted(found, key=lambda e: -abs(e.amount or 0.0))[:TOLD]
    return sorted(largest, key=lambda e: (e.on, e.what))


# --- coverage


@styled
def coverage(view: LenderView, ax: Axes | None = None) -> Axes:
    """Draw coverage of the year's payments, as planned and in the downside, against what the lender asks."""
    ax = axes(ax, 7.6, 3.8)
    worst, worst_bad = view.worst_coverage, view.worst_downside
    if worst is None:
        ax.set_axis_off()
        return finish(
            ax, f"“{view.alternative}”: nothing is owed in any full year", f"{view.caption} {lender_headline(view)}"
        )
    bad = {one.year: one.coverage for one in view.downside}
    years = [one.year for one in view.coverage if one.coverage is not None]
    planned = [one.coverage for one in view.coverage if one.coverage is not None]
    low = [bad.get(year) for year in years]
    x = np.arange(len(years))
    most = max(value for value in (*planned, *low, view.required, 1.0) if value is not None)
    for k in x:
        for shift, value, colour, hatch in ((-0.2, planned[k], BLUE, ""), (0.2, low[k], ORANGE, "////")):
            if value is None:
                continue
            ax.bar(k + shift, value, width=0.38, color=colour, hatch=hatch, edgecolor="white", linewidth=0.6)
            ax.text(
                k + shift,
                max(value, 0.0) + 0.015 * most,
                times(value),
                ha="center",
                va="bottom",
                fontsize=8.6,
                path_effects=HALO,
                zorder=6,
            )
    ends = [(1.0, "1.00: just covered")]
    ax.axhline(1.0, color=BLACK, linewidth=1.2)
    if view.required is not None:
        ax.axhline(view.required, color=VERMILION, linewidth=2, linestyle=(0, (6, 2)))
        ends.append((view.required, f"{times(view.required)} asked"))
    least = min([0.0, *(value for value in (*planned, *low) if value is not None)])
    ax.set_ylim(1.1 * least, 1.14 * most)
    for (value, name), y in zip(
        ends, apart([end[0] for end in ends], 0.075 * (1.14 * most - 1.1 * least)), strict=True
    ):
        ax.annotate(
            name,
            (1.0, value),
            xytext=(1.02, y),
            xycoords=ax.get_yaxis_transform(),
            textcoords=ax.get_yaxis_transform(),
            va="center",
            fontsize=9,
            annotation_clip=False,
        )
    ax.set_xticks(x, [str(year) for year in years])
    ax.set_xlim(-0.6, len(years) - 0.4)
    ax.yaxis.grid(True)
    ax.set_ylabel("cash available over the year's payments")
    handles = [ax.barh(-9, 0, color=BLUE), ax.barh(-9, 0, color=ORANGE, hatch="////", edgecolor="white")]
    ax.legend(
        handles,
        ["as planned", "downside: the worst of the named events" if bad else "no downside: no ranges are entered"],
        loc="upper right",
        fontsize=8.8,
        ncols=2,
        bbox_to_anchor=(1.0, 1.12),
    )
    words = f"“{view.alternative}”: cash covers the payments {times(worst)} times in the worst year"
    words += f", {times(worst_bad)} in the downside" if worst_bad is not None else ""
    words += f"; {times(view.required)} is asked" if view.required is not None else ""
    alt = (
        f"{view.caption} {lender_headline(view)} Bars: "
        + "; ".join(
            f"{year}: {times(a)} planned, {times(b) if b is not None else 'not known'} downside"
            for year, a, b in zip(years, planned, low, strict=True)
        )
        + "."
    )
    return finish(ax, words, alt)


def _beside(ax: Axes, row: int, said: str) -> None:
    """Write what a row comes to at its right; the first, the best, in bold."""
    at_right = ax.get_yaxis_transform()
    weight = "bold" if row == 0 else "normal"
    ax.text(1.02, row, said, va="center", ha="left", fontsize=8.8, transform=at_right, fontweight=weight)


def _named_rows(ax: Axes, names: Sequence[str]) -> None:
    """Name the rows of a chart of bars, the first on top, from a line at nothing."""
    ax.axvline(0, color=BLACK, linewidth=1.2)
    ax.set_yticks(range(len(names)), ["\n".join(textwrap.wrap(name, 26)) for name in names])
    ax.set_ylim(len(names) - 0.5, -0.5)
