"""Selling, the lender and the next machine's money: routes, offers of money, cash by week and month, the lender's page.

``..._text`` give plain text of 80 to 100 columns; each result shows itself the same way in a notebook.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from html import escape
from typing import Any

from equipdecide.decide.cash_calendar import CashCalendar
from equipdecide.decide.lender import CoverageYear, LenderView
from equipdecide.decide.money import MoneyResult
from equipdecide.decide.routes import RoutesResult
from equipdecide.ledger import Finding
from equipdecide.showing import Shown, shows
from equipdecide.views.table import WIDTH, Grid, Row
from equipdecide.views.words import cents, day, money, number, percent, wrap

Parts = list[str | Grid]


def _text(parts: Parts, width: int) -> str:
    return "\n\n".join(part.text(width) if isinstance(part, Grid) else "\n".join(wrap(part, width)) for part in parts)


def _html(parts: Parts) -> str:
    inside = "".join(part.html() if isinstance(part, Grid) else f"<p>{escape(part)}</p>" for part in parts)
    return f'<div class="mathjax_ignore tex2jax_ignore">{inside}</div>'


def _said(findings: Sequence[Finding]) -> Parts:
    """Return findings but those of the law's figures, which the comparison lists."""
    return [f"{'Beware: ' if f.weight == 'warning' else ''}{f.text}" for f in findings if f.code not in ("parameter", "later_law")]


# --- routes


def _routes(result: RoutesResult) -> Parts:
    routes = result.routes
    best = max(routes, key=lambda r: r.expected_worth)
    head = f"{result.machine}, handed over on {day(result.date)}: on average {best.name} leaves most, {money(best.expected_worth)} of worth before tax."
    rows = (
        Row("price", tuple(cents(r.gross) for r in routes)),
        Row("costs of selling", tuple(cents(0.0 - r.selling_costs) for r in routes)),
        Row("payoff and release", tuple(cents(0.0 - r.payoff - r.release) for r in routes)),
        Row("net", tuple(cents(r.net) for r in routes), True),
        Row("net on average", tuple(money(r.expected_net) for r in routes)),
        Row("net at worst", tuple(money(r.worst_net) for r in routes)),
        Row("days to the money", tuple(str(r.days_to_money) for r in routes)),
        Row("true value of the price", tuple(money(r.true_value) for r in routes)),
        Row("net less tax", tuple(money(r.cash_less_tax) for r in routes), True),
    )
    foot = "On average weighs that it may not sell, and that a credit may be lost. Net less tax still holds a trade's lost discount."
    return [head, Grid(tuple(r.name for r in routes), rows), foot, *_said(result.findings)]


def routes_text(result: RoutesResult, width: int = WIDTH) -> str:
    """Return the routes of a sale side by side, the unsold leg and time to money included."""
    return _text(_routes(result), width)


# --- offers of money


def _money(result: MoneyResult) -> Parts:
    if not result.offers:
        return ["The file has no offers of money under `financing:`."]
    rows = tuple(
        Row(
            o.name,
            (
                o.machine,
                o.kind,
                percent(o.yearly_rate, 2),
                money(o.amount),
                cents(o.payment),
                money(o.total_paid),
                money(o.worth_against_cash, plus=True),
                money(o.own_money_needed),
            ),
        )
        for o in result.offers
    )
    heads = ("for", "kind", "yearly rate", "amount", "payment", "paid in all", "worth against cash", "own money needed")
    foot = (
        "Yearly rate: solved from what is received and paid by the actuarial method of Regulation Z, Appendix J. Worth against cash: present "
        "worth after tax of the course with this money less the same course paid in cash, at the study's rate."
    )
    return [Grid(heads, rows), foot, *_said(result.findings)]


def money_text(result: MoneyResult, width: int = WIDTH) -> str:
    """Return every offer of money on one yearly rate."""
    return _text(_money(result), width)


# --- calendar of cash


def _calendar(result: CashCalendar) -> Parts:
    floor = "" if result.floor is None else f", floor {money(result.floor)}"
    lowest = "" if result.lowest is None else f": cash is lowest at {money(result.lowest)} on {day(result.lowest_on)}{floor}"
    dated = [e for e in result.entries if e.purse == "shop" and (e.amount is None or abs(e.amount) >= 0.005)]
    until = result.first_good_part
    first = tuple(
        Row(day(e.on), ("" if e.amount is None else cents(e.amount, plus=True), e.what + (" (done)" if e.done else "")))
        for e in dated
        if e.on <= until
    )
    rows = tuple(
        Row(
            p.label,
            (
                money(p.operating, plus=True),
                money(p.money_in, plus=True),
                money(p.money_out, plus=True),
                "" if p.level is None else money(p.level),
            ),
        )
        for p in result.periods[:40]
    )
    parts: Parts = [f"{result.alternative}{lowest}."]
    if first:
        parts += ["Up to the first good part:", Grid(("amount", "what"), first)]
    parts += ["By week to the first good part, then by month:", Grid(("operating", "money in", "money out", "cash at the end"), rows)]
    return [*parts, *_said(result.findings)]


def calendar_text(result: CashCalendar, width: int = WIDTH) -> str:
    """Return the dated cash of one course by week, then by month."""
    return _text(_calendar(result), width)


# --- the lender's page


def _coverage(years: Sequence[CoverageYear]) -> tuple[str, ...]:
    return tuple("nothing owed" if y.coverage is None else number(y.coverage) for y in years)


def _lender(result: LenderView) -> Parts:
    parts: Parts = [f"{result.alternative}. {result.caption}"]
    if result.uses:
        rows = [Row(u.what, (cents(u.amount), "soft" if u.soft else "")) for u in result.uses]
        rows.append(Row("uses", (cents(sum(u.amount for u in result.uses)), ""), True))
        rows += [Row(s.what, (cents(s.amount), "")) for s in result.sources]
        rows.append(Row("sources", (cents(sum(s.amount for s in result.sources)), ""), True))
        parts += [Grid(("amount", ""), tuple(rows)), f"Soft costs, which do not come back: {money(result.soft_costs)}."]
    if result.debts:
        rows = [Row(d.name, (d.machine, money(d.amount), percent(d.rate, 2), cents(d.payment), day(d.last_payment), d.lien)) for d in result.debts]
        parts.append(Grid(("machine", "amount", "rate", "payment", "last payment", "lien"), tuple(rows)))
    if result.collateral:
        rows = [
            Row(f"{c.machine}, year {c.year}", (money(c.value), money(c.owed), "covered" if c.covered else "short")) for c in result.collateral
        ]
        parts.append(Grid(("value, orderly sale", "owed", ""), tuple(rows)))
    if result.coverage:
        heads = tuple(str(y.year) for y in result.coverage)
        grid = Grid(heads, (Row("coverage", _coverage(result.coverage)), Row("coverage, downside", _coverage(result.downside))))
        asked = "" if result.required is None else f" Asked: {number(result.required)}."
        parts += [grid, f"Coverage: {result.definition.name}.{asked}"]
    for g in result.guarantees:
        limit = "all of it" if g.limit is None else f"up to {money(g.limit)}"
        parts.append(f"{g.owner} guarantees {limit}: {money(g.exposure)} at most stands behind it, in {g.month}.")
    return [*parts, *_said(result.findings)]


def lender_text(result: LenderView, width: int = WIDTH) -> str:
    """Return the lender's figures: use and source of funds, debts, collateral, coverage, guarantees."""
    return _text(_lender(result), width)


def _show(kind: type[Shown], make: Callable[[Any], Parts]) -> None:
    shows(kind, lambda result: _text(make(result), WIDTH), lambda result: _html(make(result)))


_show(RoutesResult, _routes)
_show(MoneyResult, _money)
_show(CashCalendar, _calendar)
_show(LenderView, _lender)
