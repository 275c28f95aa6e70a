"""Selling and lending in words and tables: ways to sell, offers of money, cash by its dates, what a lender asks.

``routes_text``, ``money_text``, ``calendar_text``, ``lender_text`` give plain text; ``..._html`` the same as an HTML
fragment.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from html import escape

from equipdecide.cautions import ESTIMATE, caution
from equipdecide.decide.cash_calendar import CashCalendar, CashEntry, CashPeriod
from equipdecide.decide.lender import CoverageYear, LenderView
from equipdecide.decide.money import MoneyResult, OfferOfMoney
from equipdecide.decide.routes import RoutesResult, RouteView
from equipdecide.scenario.labels import labels
from equipdecide.scenario.reading import amounts
from equipdecide.showing import shows
from equipdecide.views.finding_lists import findings_html, findings_text
from equipdecide.views.grid import WIDTH, Grid, Row
from equipdecide.views.listing import Listing
from equipdecide.words import (
    cents,
    day,
    entered,
    listed,
    money,
    month,
    number,
    percent,
    short_label,
    times,
    whole,
    wrap,
)

# --- ways to sell


def routes_headline(result: RoutesResult) -> str:
    """Say which way is expected to be worth most, by how much over the next, and what its worst is."""
    ranked = sorted(result.routes, key=lambda route: -route.expected_worth)
    best = ranked[0]
    said = (
        f"{result.machine}, handed over on {day(result.date)}: {best.name} is expected to be worth "
        f"{'most, ' if len(ranked) > 1 else ''}{money(best.expected_worth)} before tax"
    )
    if len(ranked) == 1:
        said += ", the one way to sell on file"
    if len(ranked) > 1:
        ahead = best.expected_worth - ranked[1].expected_worth
        said += f", {money(ahead)} ahead of {ranked[1].name}"
        if ahead < 0.01 * max(abs(best.gross), 1.0):
            said += ": too close to call"
    said += f". At worst it nets {money(best.worst_net)}."
    even = result.breakeven.get((best.name, ranked[1].name)) if len(ranked) > 1 else None
    if even is not None and abs(even - best.gross) >= 0.01 * best.gross:
        said += f" It is level with {ranked[1].name} at a price of {money(even)} ({money(best.gross)} as entered)."
    return said


def routes_grid(result: RoutesResult) -> Grid:
    """Return the ways to sell side by side, dollars before tax unless said."""
    shown = result.routes

    def row(label: str, write: Callable[[RouteView], str], line: bool = False) -> Row:
        return Row(label, tuple(write(route) for route in shown), line)

    def unless_nothing(value: float) -> str:
        return money(value) if abs(value) >= 0.5 else ""

    rows = [
        row("price", lambda r: money(r.gross)),
        row("selling costs", lambda r: unless_nothing(-r.selling_costs)),
        row("lender and lien", lambda r: unless_nothing(-(r.payoff + r.release))),
        row("net, as entered", lambda r: money(r.net) + (" cr" if r.credited else ""), True),
    ]
    if any(r.chance_unsold for r in shown):
        rows += [
            row("chance unsold", lambda r: percent(r.chance_unsold, 0) if r.chance_unsold else ""),
            row("net, if unsold", lambda r: "" if r.net_if_unsold is None else money(r.net_if_unsold)),
        ]
    rows += [
        row("net, expected", lambda r: money(r.expected_net)),
        row("net, at worst", lambda r: money(r.worst_net)),
        row("worth, expected", lambda r: money(r.expected_worth), True),
        row("money on", lambda r: day(r.money_on)),
        row("days to money", lambda r: whole(r.days_to_money)),
        row("interest saved", lambda r: unless_nothing(r.saved_by_payoff)),
        row("tax on the gain", lambda r: money(r.tax), True),
    ]
    if any(r.paid_until_sold >= 0.5 for r in shown):
        rows.append(row("loan paid till then", lambda r: unless_nothing(-r.paid_until_sold)))
    rows.append(row("left after tax", lambda r: money(r.like_for_like)))
    if any(abs(r.true_value - r.gross) >= 0.5 for r in shown):
        rows.insert(1, row("true value", lambda r: money(r.true_value) if abs(r.true_value - r.gross) >= 0.5 else ""))
    return Grid(tuple(route.name for route in shown), tuple(rows))


def steps_listing(route: RouteView) -> Listing:
    """Return the dated steps of one way: day, what, amount, whose risk."""
    rows = tuple(
        (day(step.on), step.what, "" if step.amount is None else cents(step.amount), step.risk) for step in route.steps
    )
    return Listing(("on", "what", "amount", "whose risk"), rows, (0, 1, 3))


ROUTES_FOOT = (
    "Expected weighs the chance that it does not sell; worst is the low price, or the low price of what happens "
    "then. Worth: present worth of sale money, payoff and loan payments until then, before tax, so that ways "
    "that end on other days compare. cr: a credit, not money. Expected, worst, worth and what is left have a "
    "discount lost by trading off them; what is left has the loan payments until the sale off it too. Have each "
    "offer read before it is signed."
)


def routes_text(result: RoutesResult, width: int = WIDTH) -> str:
    """Return the ways to sell side by side, then the dated steps of each."""
    lines = [*wrap(routes_headline(result), width), "", routes_grid(result).text(width), "", *wrap(ROUTES_FOOT, width)]
    for route in result.routes:
        lines += ["", f"{route.name}:", steps_listing(route).text(width)]
    found = findings_text(result.findings, width)
    lines += ["", found] if found else []
    return "\n".join([*lines, "", *wrap(caution("payoff").text, width)])


def routes_html(result: RoutesResult) -> str:
    """Return the same as an HTML fragment."""
    steps = "".join(f"<p><b>{escape(route.name)}</b></p>{steps_listing(route).html()}" for route in result.routes)
    return f'<div class="mathjax_ignore"><p>{escape(routes_headline(result))}</p>{routes_grid(result).html()}<p>{escape(ROUTES_FOOT)}</p>{steps}{findings_html(result.findings)}</div>'


# --- offers of money


def money_headline(result: MoneyResult) -> str:
    """Say, for each thing bought, which offer is worth most after tax, by how much, and which has the lowest rate."""
    if not result.offers:
        return "There is no offer of money to compare: none under `financing:` is for something a course buys."
    said = []
    for machine in dict.fromkeys(offer.machine for offer in result.offers):
        pool = sorted((o for o in result.offers if o.machine == machine), key=lambda o: -o.worth_against_cash)
        best = pool[0]
        than = (
            f", {money(best.worth_against_cash - pool[1].worth_against_cash)} more than {pool[1].name}"
            if len(pool) > 1
            else ""
        )
        if best.worth_against_cash >= 0:
            said.append(
                f"{machine}: {best.name} is worth {money(best.worth_against_cash)} more than paying cash, after tax{than}."
            )
        else:
            said.append(
                f"{machine}: cash is worth more than any offer; the nearest is {best.name}, "
                f"{money(-best.worth_against_cash)} behind."
            )
        cheapest = min(pool, key=lambda o: o.yearly_rate)
        if cheapest is not best:
            said.append(f"The lowest yearly rate is that of {cheapest.name}, {percent(cheapest.yearly_rate, 2)}.")
    return " ".join(said)


def _rate(offer: OfferOfMoney) -> str:
    shown = percent(offer.yearly_rate, 2)
    if offer.yearly_rate_high - offer.yearly_rate_low > 5e-5:
        return f"{shown}\n({number(100 * offer.yearly_rate_low, 1)} to {number(100 * offer.yearly_rate_high, 1)})"
    return shown


def money_grid(result: MoneyResult) -> Grid:
    """Return the offers side by side."""

    def row(label: str, write: Callable[[OfferOfMoney], str], line: bool = False) -> Row:
        return Row(label, tuple(write(offer) for offer in result.offers), line)

    rows = (
        row("for", lambda o: o.machine),
        row("taxed as", lambda o: o.taxed_as),
        row("amount", lambda o: money(o.amount)),
        row("received", lambda o: money(o.received)),
        row("payments", lambda o: str(o.payments)),
        row("each", lambda o: cents(o.payment)),
        row("first on", lambda o: day(o.first_payment)),
        row("last on", lambda o: day(o.last_payment)),
        row("paid in all", lambda o: money(o.total_paid), True),
        row("cost of money", lambda o: money(o.cost_of_money)),
        row("yearly rate", _rate),
        row("own money needed", lambda o: money(o.own_money_needed)),
        row("worth over cash", lambda o: money(o.worth_against_cash, plus=True), True),
        row("cost after tax", lambda o: money(o.cost_after_tax)),
    )
    return Grid(tuple(offer.name for offer in result.offers), rows)


def _money_foot(result: MoneyResult) -> str:
    return (
        f"Yearly rate: before tax, all charges in it; in brackets, over the doubtful value at the end. Worth over "
        f"cash: present worth after tax at the study's {percent(result.scenario.study.rate.likely)}, "
        "in the first course that buys what the offer is for. Above that rate money in the shop is worth more than "
        "the loan costs; whether the shop can spare the cash is for compare."
    )


def money_text(result: MoneyResult, width: int = WIDTH) -> str:
    """Return the offers of money side by side."""
    lines = wrap(money_headline(result), width)
    if result.offers:
        lines += ["", money_grid(result).text(width), "", *wrap(_money_foot(result), width)]
    found = findings_text(result.findings, width)
    lines += ["", found] if found else []
    return "\n".join([*lines, "", *wrap(ESTIMATE.text, width)])


def money_html(result: MoneyResult) -> str:
    """Return the same as an HTML fragment."""
    table = f"{money_grid(result).html()}<p>{escape(_money_foot(result))}</p>" if result.offers else ""
    return f'<div class="mathjax_ignore"><p>{escape(money_headline(result))}</p>{table}{findings_html(result.findings)}</div>'


# --- cash by its dates

FIRST_YEAR = timedelta(days=365)  # after the first good part; dated entries shown unless all are asked for


def calendar_headline(result: CashCalendar) -> str:
    """Say how low cash goes and when, against the floor, and what the gap without a machine costs."""
    if result.opening is None:
        said = (
            f"“{result.alternative}”: money since the decision is lowest on {day(result.lowest_on)}, "
            f"{money(result.lowest, plus=True)}; cash in the bank was not given"
        )
    else:
        said = f"“{result.alternative}”: cash is lowest on {day(result.lowest_on)}, {money(result.lowest)}"
        if result.floor is not None:
            apart = result.lowest - result.floor
            said += f", {money(abs(apart))} {'under' if apart < 0 else 'above'} the floor of {money(result.floor)}"
    said += f". First good part {day(result.first_good_part)}."
    if result.first_deposit is not None:
        said += f" First deposit {day(result.first_deposit)}."
    if result.gap_days:
        said += (
            f" For {result.gap_days} days no machine does the work: "
            f"{f'{whole(result.gap_hours)} good hours, ' if result.gap_hours else ''}{money(result.gap_cost)} less "
            f"than keeping on those days."
        )
    return said


def period_words(one: CashPeriod) -> str:
    """Write a period: "week of 2026-09-14", "Feb 2027", "rest of Jan 2027" where it does not begin with the month."""
    return f"rest of {month(one.label)}" if one.first.day > 1 and not one.label.startswith("week") else month(one.label)


def periods_listing(result: CashCalendar) -> Listing:
    """Return the weeks to the first good part, then the months, of the shop's cash."""
    rows = []
    for one in result.periods:
        low = " *" if one.first <= result.lowest_on <= one.last else "  "
        rows.append(
            (
                period_words(one),
                money(one.operating, plus=True),
                money(one.money_in, plus=True) if one.money_in else "",
                money(one.money_out) if one.money_out else "",
                money(one.level),
                money(one.lowest) + low,
            )
        )
    return Listing(("shop, dollars", "from work", "other in", "other out", "at its end", "lowest day"), tuple(rows))


def entries_listing(entries: tuple[CashEntry, ...]) -> Listing:
    """Return dated flows and events: day, what, purse, amount."""
    rows = tuple(
        (
            day(e.on),
            f"{e.what}{' (done)' if e.done else ''}",
            e.purse if e.amount is not None else "",
            "" if e.amount is None else cents(e.amount),
        )
        for e in entries
    )
    return Listing(("on", "what", "purse", "amount"), rows, (0, 1, 2))


def _shown_entries(result: CashCalendar, full: bool) -> tuple[CashEntry, ...]:
    """The shop's dated entries until a year after the first good part; owners' and later ones only in full."""
    if full:
        return result.entries
    own = [
        e
        for e in result.entries
        if e.purse == "shop" and not (e.kind == "debt service" and e.on > result.first_good_part)
    ]
    return tuple(e for e in own if e.on <= result.first_good_part + FIRST_YEAR)


CALENDAR_FOOT = (
    "Weeks until the first good part, months after. From work is shared over the days; other money keeps its day. * "
    "lowest of all days."
)


def calendar_text(result: CashCalendar, width: int = WIDTH, full: bool = False) -> str:
    """Return the cash of one course by its dates: periods, then what moves on which day; all of it with `full`."""
    table = periods_listing(result)
    shown = table if full else Listing(table.headings, table.rows[:36])
    lines = [*wrap(calendar_headline(result), width), "", shown.text(width)]
    if len(shown.rows) < len(table.rows):
        lines.append(f"and {len(table.rows) - len(shown.rows)} more months; --full shows all")
    entries = _shown_entries(result, full)
    lines += ["", *wrap(CALENDAR_FOOT, width), "", entries_listing(entries).text(width)]
    if len(entries) < len(result.entries):
        lines.append(
            f"and {len(result.entries) - len(entries)} more, of the owners' purses and later; --full shows all"
        )
    found = findings_text(result.findings, width)
    return "\n".join([*lines, *(["", found] if found else [])])


def calendar_html(result: CashCalendar) -> str:
    """Return the same as an HTML fragment."""
    return (
        f'<div class="mathjax_ignore"><p>{escape(calendar_headline(result))}</p>{periods_listing(result).html()}<p>{escape(CALENDAR_FOOT)}</p>'
        f"{entries_listing(_shown_entries(result, False)).html()}{findings_html(result.findings)}</div>"
    )


# --- what a lender asks


def lender_headline(view: LenderView) -> str:
    """Say how well cash covers the payments in the worst year, as planned and in the downside, and
    what closing leaves.
    """
    said = f"“{view.alternative}”: "
    if view.worst_coverage is None:
        said += "nothing is owed in any full year."
    else:
        said += f"cash covers the year's payments {times(view.worst_coverage)} times in the worst year"
        if view.worst_downside is not None:
            said += f", {times(view.worst_downside)} times in the downside"
        said += f"; {times(view.required)} is asked." if view.required is not None else "; what is asked is not given."
    if view.cash_after_closing is not None:
        said += (
            f" After closing on {day(view.closing_on)} {money(view.cash_after_closing)} is left in the bank; lowest "
            f"{money(view.lowest_cash or 0.0)} on {day(view.lowest_cash_on)}."
        )
    return said


def funds_listing(view: LenderView) -> Listing:
    """Return uses and sources of funds side by side, in total equal."""
    uses = [(f"{u.what}{' (soft)' if u.soft else ''}", cents(u.amount)) for u in view.uses]
    sources = [(s.what, cents(s.amount)) for s in view.sources]
    deep = max(len(uses), len(sources))
    pad = ("", "")
    rows = [(*(uses[k] if k < len(uses) else pad), *(sources[k] if k < len(sources) else pad)) for k in range(deep)]
    rows.append(("in all", cents(view.funds), "in all", cents(view.funds)))
    return Listing(("uses", "amount", "sources", "amount"), tuple(rows), (0, 2))


def coverage_listing(view: LenderView) -> Listing:
    """Return coverage by full calendar year, as planned and in the downside where there is one."""

    def cells(one: CoverageYear | None) -> tuple[str, str]:
        return (
            ("", "")
            if one is None
            else (money(one.available), "nothing owed" if one.coverage is None else times(one.coverage))
        )

    bad = {one.year: one for one in view.downside}
    if not bad:
        planned = tuple((str(one.year), *cells(one), money(one.service)) for one in view.coverage)
        return Listing(("year", "available", "coverage", "payments"), planned)
    rows = tuple((str(one.year), *cells(one), *cells(bad.get(one.year)), money(one.service)) for one in view.coverage)
    return Listing(("year", "available", "coverage", "in the downside", "coverage then", "payments"), rows)


def debts_listing(view: LenderView) -> Listing:
    """Return the debts of the course: balance today, or amount where not yet taken, rate, payment, last day, lien."""
    rows = tuple(
        (d.name, money(d.balance), money(d.amount), percent(d.rate, 2), cents(d.payment), day(d.last_payment), d.lien)
        for d in view.debts
    )
    return Listing(("debt", "owed today", "first amount", "rate", "payment", "last on", "lien"), rows, (0, 6))


def collateral_listing(view: LenderView) -> Listing:
    """Return liquidation value against what is owed, by year from the day it is paid for."""
    rows = tuple(
        (
            c.machine,
            str(c.year),
            day(c.on),
            money(c.value),
            money(c.owed),
            "yes" if c.covered else f"no, {money(c.owed - c.value)} short",
        )
        for c in view.collateral
    )
    return Listing(("collateral", "year", "on", "would bring", "owed", "covered"), rows)


def _guarantee_words(view: LenderView) -> list[str]:
    return [
        f"{g.owner} guarantees {'all debts' if g.limit is None else f'up to {money(g.limit)}'}: "
        + (
            f"{money(g.exposure)} at most behind it, in {month(g.month)}."
            if g.exposure >= 0.5
            else "a sale of the machines would cover what is owed, all through."
        )
        for g in view.guarantees
    ]


def downside_words(view: LenderView) -> list[str]:
    """Say what the downside is, what each event sets, and what it does alone; empty where there is none."""
    if not view.downside:
        return []
    worst = min(
        (one for one in view.downside), key=lambda one: one.coverage if one.coverage is not None else float("inf")
    )
    said = []
    if view.downside_chosen:
        said.append(
            "The downside is, for each year, the worst combination of what is named below; no year of it is better than "
            f"planned. In {worst.year}: {listed(worst.events) if worst.events else 'as planned'}."
        )
    titles = labels(view.scenario)
    entries = amounts(view.scenario)
    for event in view.events:
        parts = [
            f"{short_label(titles.get(path, path))}, {_set_to(value, entries[path].unit)}"
            for path, value in event.inputs.items()
        ]
        alone = view.worst_alone.get(event.name)
        told = f" Alone: {times(alone)} in the worst year." if alone is not None and view.downside_chosen else ""
        said.append(f"{event.name[:1].upper()}{event.name[1:]}: {'; '.join(parts)}.{told}")
    return said


def _set_to(value: float, unit: str) -> str:
    return ("yes" if value > 0.5 else "no") if unit == "chance" else entered(value, unit)


def customer_words(view: LenderView) -> list[str]:
    """Say how much hangs on the largest customer and on each contract."""
    said = []
    if view.largest_customer is not None:
        said.append(f"Largest customer: {percent(view.largest_customer)} of last year's sales, as entered.")
    for one in view.contracts:
        ends = f", which ends on {day(one.ends)}" if one.ends else ""
        chance = f"; chance that it is renewed {percent(one.renews)}" if one.renews is not None else ""
        year = view.plan.time.start.year + 1
        said.append(
            f"The contract for {one.part}{ends}, is {percent(one.share)} of what these hours contribute in {year}{chance}."
        )
    return said


def _definition_words(view: LenderView) -> str:
    d = view.definition
    return f"Coverage is {d.name}. Left out: {listed(d.leaves_out)}."


def _blocks(view: LenderView) -> list[tuple[str, Listing]]:
    found = [
        ("Uses and sources of funds", funds_listing(view)),
        ("Coverage", coverage_listing(view)),
        ("Debts", debts_listing(view)),
        ("Collateral", collateral_listing(view)),
    ]
    return [(head, table) for head, table in found if table.rows]


def lender_text(view: LenderView, width: int = WIDTH) -> str:
    """Return what a lender asks of one course, under the caption that belongs on it."""
    lines = [view.caption, "", *wrap(lender_headline(view), width)]
    for head, table in _blocks(view):
        lines += ["", f"{head}:", table.text(width)]
    lines += ["", *wrap(f"Soft costs, {money(view.soft_costs)}, do not come back when the machine is sold.", width)]
    for said in (_definition_words(view), *downside_words(view), *customer_words(view), *_guarantee_words(view)):
        lines += wrap(said, width, "  - ")
    found = findings_text([f for f in view.findings if f.code != "one_machine_only"], width)
    return "\n".join([*lines, *(["", found] if found else []), "", *wrap(ESTIMATE.text, width)])


def lender_html(view: LenderView) -> str:
    """Return the same as an HTML fragment."""
    tables = "".join(f"<p><b>{escape(head)}</b></p>{table.html()}" for head, table in _blocks(view))
    said = "".join(
        f"<li>{escape(text)}</li>"
        for text in (_definition_words(view), *downside_words(view), *customer_words(view), *_guarantee_words(view))
    )
    return f'<div class="mathjax_ignore"><p>{escape(view.caption)}</p><p>{escape(lender_headline(view))}</p>{tables}<ul>{said}</ul>{findings_html(view.findings)}</div>'


shows(RoutesResult, routes_text, routes_html)
shows(MoneyResult, money_text, money_html)
shows(CashCalendar, calendar_text, calendar_html)
shows(LenderView, lender_text, lender_html)
