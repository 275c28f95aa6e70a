"""How sure, and when: chances, what moves the answer, whose guesses, service life, the month to sell, waiting.

``..._text`` give plain text of 80 to 100 columns; ``..._html`` the same as an HTML fragment.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from html import escape
from typing import Any

from equipdecide.decide.sensitivity import Map, Tornado
from equipdecide.decide.simulate import Estimate, Runs
from equipdecide.decide.timing import SellWhen, ServiceLife, Waiting
from equipdecide.decide.whose import Whose
from equipdecide.showing import Shown, shows
from equipdecide.views.table import WIDTH, Grid, Row
from equipdecide.views.words import day, entered, money, number, percent, quantity, wrap

MOST_BARS = 12  # of a tornado: the rest moves the answer less than what is shown
MOST_KNOWN = 6  # inputs whose worth of knowing is told


def _lines(parts: Sequence[str | Grid], width: int) -> str:
    """Return sentences and grids under one another, a blank line between them."""
    return "\n\n".join(part.text(width) if isinstance(part, Grid) else "\n".join(wrap(part, width)) for part in parts)


def _fragment(parts: Sequence[str | Grid]) -> str:
    inside = "".join(part.html() if isinstance(part, Grid) else f"<p>{escape(part)}</p>" for part in parts)
    return f'<div class="mathjax_ignore tex2jax_ignore">{inside}</div>'


# --- chances


def _chance(estimate: Estimate | None) -> str:
    return "not tested" if estimate is None else percent(estimate.value, 0)


def _runs(runs: Runs) -> list[str | Grid]:
    names = tuple(runs.names)
    best = max(names, key=lambda name: runs.chance_best(name).value)
    payable = max(names, key=lambda name: runs.chance_best(name, affordable=True).value)
    sure, payable_sure = runs.chance_best(best), runs.chance_best(payable, affordable=True)
    head = (
        f"Of {runs.trials:,} draws from the ranges entered, {best} is worth most in {percent(sure.value, 0)}; among the courses "
        f"that can be paid for, {payable} in {percent(payable_sure.value, 0)}."
    )
    spread = {name: runs.percentiles(name, less="keep") for name in names}
    rows = [
        Row("worth most", tuple(_chance(runs.chance_best(name)) for name in names)),
        Row("  of those that can be paid for", tuple(_chance(runs.chance_best(name, affordable=True)) for name in names)),
        Row("worth more than keep", tuple("" if name == "keep" else _chance(runs.chance(name)) for name in names)),
        Row("cash under the floor", tuple(_chance(runs.chance_under_floor(name)) for name in names)),
        Row("worth less keep, 5 of 100 below", tuple("" if n == "keep" else money(spread[n][0].value, plus=True) for n in names), True),
        Row("  middle", tuple("" if n == "keep" else money(spread[n][1].value, plus=True) for n in names)),
        Row("  5 of 100 above", tuple("" if n == "keep" else money(spread[n][2].value, plus=True) for n in names)),
        Row("regret on average", tuple(money(runs.regret(name).value) for name in names), True),
    ]
    widest = max(spread[name][1].error for name in names)
    parts: list[str | Grid] = [head, Grid(names, tuple(rows))]
    if runs.affordable:
        known = [one for one in runs.information(runs.affordable)[:MOST_KNOWN] if one.value.value >= 50]
        whole = runs.evpi(runs.affordable).value
        if whole >= 50:
            parts.append(f"To know everything before choosing among what can be paid for would be worth {money(whole)} at most.")
        if known:
            told = "; ".join(f"{one.label}: {money(one.value.value)}" for one in known)
            parts.append(f"Worth finding out first, each at most: {told}.")
        elif whole < 50:
            parts.append("No single doubt is worth paying to resolve: the choice stays the same whatever they turn out to be.")
    parts.append(
        f"Standard errors: up to {money(widest)} in the middle, {number(100 * sure.error, 1)} points in the chance; seed {runs.seed}. "
        "Regret is what choosing a course loses on average to the best of each draw."
    )
    return [*parts, *(finding.text for finding in runs.findings)]


def runs_text(runs: Runs, width: int = WIDTH) -> str:
    """Return chances, spread, regret and what is worth finding out."""
    return _lines(_runs(runs), width)


# --- what moves the answer


def _tornado(result: Tornado) -> list[str | Grid]:
    if not result.bars:
        return ["No figure has a range: nothing to move. Write low .. likely .. high where a figure is doubtful."]
    first = result.bars[0]
    turning = [bar.label for bar in result.bars if bar.turns]
    head = (
        f"{result.a} leads {result.b} by {money(result.lead)}. Within its own range {first.label} moves that most: by {money(first.swing)}. "
        + (f"Within their ranges these turn it: {'; '.join(turning)}." if turning else "No single range turns it.")
    )
    rows = tuple(
        Row(
            bar.label,
            (f"{entered(bar.low, bar.unit)}: {money(bar.at_low, plus=True)}", f"{entered(bar.high, bar.unit)}: {money(bar.at_high, plus=True)}"),
        )
        for bar in result.bars[:MOST_BARS]
    )
    left = len(result.bars) - len(rows)
    parts: list[str | Grid] = [head, Grid(("low end: lead", "high end: lead"), rows)]
    return [*parts, f"{left} more move it less."] if left > 0 else parts


def tornado_text(result: Tornado, width: int = WIDTH) -> str:
    """Return the lead at both ends of each range, the widest first."""
    return _lines(_tornado(result), width)


def _map(result: Map) -> list[str | Grid]:
    head = f"Where {result.a} and {result.b} are worth the same while {result.x_label} and {result.y_label} move:"
    if not result.line:
        return [head, "nowhere in the ranges shown."]
    step = max(len(result.line) // 10, 1)
    rows = tuple(Row(f"{result.x_label} {number(x)}", (number(y),)) for x, y in result.line[::step])
    return [head, Grid((result.y_label,), rows)]


def map_text(result: Map, width: int = WIDTH) -> str:
    """Return the flip line of a two-way map as points."""
    return _lines(_map(result), width)


# --- whose guesses


def _whose(result: Whose) -> list[str | Grid]:
    if len(result.views) == 1:
        return ["The file has no `guesses:` of the partners; with them their answers stand side by side here."]
    views = result.views
    names = tuple(views[0].npv)
    rows = [Row(name, tuple(money(view.less_keep(name), plus=True) for view in views)) for name in names if name != "keep"]
    rows.append(Row("chooses", tuple(view.choice for view in views), True))
    head = "All come to the same course." if result.agree else "They do not come to the same course."
    parts: list[str | Grid] = [f"{head} Worth less keep, by whose figures:", Grid(tuple(view.name for view in views), tuple(rows))]
    return [
        *parts,
        *(
            f"{d.partner}: {d.label}: {quantity(d.theirs, d.unit)} for {quantity(d.entered, d.unit)}. With it {d.choice}, without it {d.choice_without}."
            for d in result.deciding
        ),
    ]


def whose_text(result: Whose, width: int = WIDTH) -> str:
    """Return each partner's answer side by side, and the differences that decide."""
    return _lines(_whose(result), width)


# --- when


def _service_life(result: ServiceLife) -> list[str | Grid]:
    head = (
        f"{result.machine}: yearly cost before tax is least when it is kept {result.years_before_tax} years more; after tax, with what it "
        f"earns, yearly worth is highest at {result.years_after_tax}."
    )
    before = result.before_tax
    rows = tuple(
        Row(
            f"year {k + 1}",
            (
                money(result.values[k]),
                money(float(before.marginal_cost[k])),
                money(float(before.annual_cost[k])),
                money(result.annual_worth[k]),
            ),
        )
        for k in range(len(result.annual_worth))
    )
    foot = "Cost of a year: loss in value, interest forgone on the value, repairs and service. Keep while the next year costs less than a challenger's least yearly cost."
    return [head, Grid(("value then", "cost of the year", "yearly cost so far", "yearly worth after tax"), rows), foot]


def service_life_text(result: ServiceLife, width: int = WIDTH) -> str:
    """Return the economic service life year by year."""
    return _lines(_service_life(result), width)


def _sell_when(result: SellWhen) -> list[str | Grid]:
    best, first = result.best, result.months[0]
    head = (
        f"{result.alternative}: selling {result.machine} is worth most on {day(best.sold_on)}, {money(best.npv - first.npv)} more than now."
        if best.months
        else f"{result.alternative}: selling {result.machine} now is worth most of the months shown."
    )
    shown = [m for m in result.months if m.months % 3 == 0 or m is best]
    rows = tuple(
        Row(
            day(m.sold_on),
            (
                money(m.price),
                money(m.payoff),
                money(m.net_cash),
                money(m.npv_less_keep, plus=True),
                {True: "yes", False: "no", None: "not tested"}[m.affordable],
            ),
        )
        for m in shown
    )
    return [head, Grid(("price", "payoff", "net cash", "worth less keep", "affordable"), rows), "Every third month is shown."]


def sell_when_text(result: SellWhen, width: int = WIDTH) -> str:
    """Return price, payoff, cash and worth of selling in each of the months."""
    return _lines(_sell_when(result), width)


def waiting_text(result: Waiting, width: int = WIDTH) -> str:
    """Return what waiting for a yes/no doubt is worth, in words."""
    better = "Wait" if result.value > 0 else "Do not wait"
    words = (
        f"{better}: until {day(result.on)} waiting for {result.doubt} is worth {money(result.worth_waiting)} on average against "
        f"{money(result.worth_now)} for the best course today, {result.now}. If yes it is then {result.then_yes}, if no {result.then_no}. "
        f"To know it today would be worth {money(result.value_of_knowing)} at most."
    )
    return "\n".join(wrap(words, width))


def _show(kind: type[Shown], make: Callable[[Any], list[str | Grid]]) -> None:
    shows(kind, lambda result: _lines(make(result), WIDTH), lambda result: _fragment(make(result)))


_show(Runs, _runs)
_show(Tornado, _tornado)
_show(Map, _map)
_show(Whose, _whose)
_show(ServiceLife, _service_life)
_show(SellWhen, _sell_when)
