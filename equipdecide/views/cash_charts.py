"""Charts of money as it moves: where the price of a sale goes, and the shop's cash by month."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes

from equipdecide.calendar import FloatArray
from equipdecide.decide.compare import Outcome
from equipdecide.decide.page_figures import DatedCash, one_offs
from equipdecide.decide.sale import RouteResult
from equipdecide.views.drawing import (
    BLACK,
    BLUE,
    GREEN,
    GREY,
    SKY,
    VERMILION,
    axes,
    capital,
    finish,
    money_axis,
    plus,
    styled,
    thousands,
)
from equipdecide.words import day, money, month


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
    """Draw a stem from the line for each day, its net and lines stacked above `highest`; returns
    the height of the axes.
    """
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
    return "; ".join(f"{name} {thousands(amount)}" for name, amount in one.parts)
