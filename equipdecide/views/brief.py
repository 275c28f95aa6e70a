"""The page for partners: one HTML file that answers, says what would flip the answer, and shows where the money goes.

A page is a row of parts, each a heading over blocks (paragraph, table, chart, list, definitions); the template knows
blocks, not parts, so that another reader is another row of parts. The page holds no script, asks nothing of any
server, and is the same bytes for the same scenario.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Sequence
from functools import lru_cache
from pathlib import Path

import jinja2
from markupsafe import Markup, escape

from equipdecide.cautions import CAUTIONS, ESTIMATE
from equipdecide.decide.breakeven import ExtraHours, Flip
from equipdecide.decide.compare import Comparison, Difference, Outcome, passes
from equipdecide.decide.hours import HoursResult
from equipdecide.decide.hours import hours as hours_of
from equipdecide.decide.page_figures import DatedCash, law_read, one_offs
from equipdecide.decide.page_figures import staircase as stairs_of
from equipdecide.decide.sale import RouteResult, SaleResult
from equipdecide.scenario.amounts import Amount
from equipdecide.views import accountant_page as accountant
from equipdecide.views import charts, shop_charts
from equipdecide.views import lender_page as lender
from equipdecide.views.explained import Linked, Said, marked
from equipdecide.views.finding_lists import sort_findings
from equipdecide.views.parts import SETTLED, Block, Bullets, Definitions, Entries, Page, Part, Row, Table, Text, chart
from equipdecide.views.printing import print_page
from equipdecide.views.sure_part import sure
from equipdecide.views.table import headline
from equipdecide.words import MINUS, cents, day, entered, listed, money, month, number, percent, whole, years

TEMPLATE = "brief.html.j2"
FLIPS_LISTED = 8
GROUP_WORDS = {
    "operating": "what the work brings, less upkeep",
    "investment": "machines bought and sold, change-over",
    "payoff": "old and last balances paid off",
    "borrowing": "loans taken",
    "debt service": "loan payments",
    "tax": "tax of all owners",
    "between purses": "between the shop and its owners",
}


# --- the parts


def answer(page: Page) -> Part:
    """The headline, what holds if nothing extra is sold, and whether cash was tested."""
    blocks: list[Block] = [Text(_with_links(page, headline(page.comparison)), "lead")]
    if said := if_nothing_extra_is_sold(page):
        blocks.append(Text(said))
    blocks.append(Text(ESTIMATE.text, "warning"))
    return Part("answer", "The answer", tuple(blocks))


def _with_links(page: Page, said: str) -> str:
    """Return the headline with its figures linked, in the order in which it names them."""
    c, x, course = page.comparison, page.explained, page.course
    figures = [x.less(course, c.keep, money(abs(course.npv_less_keep)))] if course is not c.keep else []
    if c.runner_up is not None and c.runner_up is not c.keep:
        figures.append(x.less(course, c.runner_up, money(course.npv - c.runner_up.npv)))
    figures.append(x.input("study.rate", percent(float(c.scenario.study.rate))))
    other = c[c.best_ignoring_cash]
    if other is not course:
        if other.affordable is False and c.scenario.shop.cash_floor is not None:
            low, floor = other.cash_low, float(c.scenario.shop.cash_floor)
            figures += [x.column(other, "cash test.lowest", money(low.amount))] if low else []
            figures += [x.input("shop.cash_floor", money(floor))]
        lead = x.less(other, c.keep, money(other.npv_less_keep))
        before, without, after = said.partition("Without regard to cash")
        return Said([marked(before, *figures), marked(without + after, lead, *figures[1:])])
    return marked(said, *figures)


def if_nothing_extra_is_sold(page: Page) -> str:
    """Say where the lead turns if nobody orders more than keeping already makes; empty where no parts are modelled."""
    c, other = page.comparison, page.unsold
    if not any(h.believed >= 0.5 for h in page.flips.extra_hours):  # no course sells more hours than keeping
        return ""
    name, now = page.course.name, other.leader
    if now.name == name:
        if name == "keep":
            return "If none of the extra hours can be sold, keeping still leads."
        return f"If none of the extra hours can be sold, “{name}” still leads, by {money(other[name].npv_less_keep)} over keeping."
    gap = page.explained.told(
        ("unsold",),
        f"“{now.name}” less “{name}” with no extra hour sold = {cents(now.npv - other[name].npv)}",
        money(abs(now.npv - other[name].npv)),
        "The whole comparison once more, with demand cut back to what keeping already sells; nothing else is changed.",
        f"Present worth of “{now.name}” is then {cents(now.npv)}, of “{name}” {cents(other[name].npv)}.",
    )
    behind = f"“{name}” is then {gap} behind"
    if name == "keep":
        return marked(
            f"With extra hours that cannot be sold the lead turns from keeping to “{now.name}”; {behind}.", gap
        )
    rest, links, hours = "", [], _extra_hours(page)
    if hours is not None and page.ten.extra_hours_sold is not None:
        links = [_hours_link(page, hours), _believed_link(page, hours)]
        rest = (
            f"; it needs {links[0]} extra good hours a year, {links[1]} are believed"
            if hours.needed is not None
            else f"; it needs more than the {links.pop()} extra hours a year believed"
        )
    said = (
        f"With extra hours that cannot be sold the lead turns to “{now.name}”: {behind}{rest}."
        if c.best
        else f"With extra hours that cannot be sold the highest worth is that of “{now.name}”: {behind}."
    )
    return marked(said, gap, *links)


def _hours_link(page: Page, hours: ExtraHours) -> str:
    """Return the extra hours that must be sold, as a link to how they are found."""
    needed = hours.needed
    return page.explained.told(
        ("hours needed",),
        f"“{hours.alternative}”: extra good hours a year that must be sold = "
        + (f"{number(needed, 1)} h" if needed is not None else f"more than {number(hours.believed, 1)} h"),
        whole(needed) if needed is not None else f"over {whole(hours.believed)}",
        "Searched for: demand beyond what keeping sells is cut back by one share for all parts until present worth is "
        f"level with keeping. “{hours.alternative}” beats keeping as soon as more than that is ordered.",
    )


def _believed_link(page: Page, hours: ExtraHours) -> str:
    """Return the extra hours believed, as a link to how they are found."""
    return page.explained.told(
        ("hours believed",),
        f"“{hours.alternative}”: extra good hours a year believed = {number(hours.believed, 1)} h",
        whole(hours.believed),
        f"Good hours sold by “{hours.alternative}” less those of keeping, over the study, divided by its years: orders as "
        "entered, within the hours that the machine can make. Both are the column contribution.hours_sold.",
    )


def _extra_hours(page: Page) -> ExtraHours | None:
    return next((h for h in page.flips.extra_hours if h.alternative == page.course.name), None)


def first_table(page: Page) -> Part:
    """The ten numbers, in their order."""
    course = page.course
    rows = [
        _lead_row(page),
        _flip_row(page),
        *_sale_rows(page),
        _own_money_row(page),
        _cash_row(page),
        _payments_row(page),
        _hours_row(page),
        _guarantee_row(page),
    ]
    table = Table(
        f"For “{course.name}”, {_standing(page)}", ("What", "Figure", "In words"), tuple(rows), words=(2,), look="ten"
    )
    return Part("ten-numbers", "Ten numbers", (table,))


def _own_money_row(page: Page) -> Row:
    t, course, x = page.ten, page.course, page.explained
    own = x.column(course, "own money.needed", money(t.own_money_needed))
    said = f"First good part {day(t.first_good_part)}."
    if t.largest_payment is None:
        return Row("Own money needed before the first good part", (own, f"{said} Nothing is bought."))
    paid = t.largest_payment
    amount = x.line(course, course.line(paid.what, "shop"), money(paid.amount))
    said += f" Largest payment {amount} on {day(paid.day)}: {paid.what}."
    return Row("Own money needed before the first good part", (own, marked(said, amount)))


def _standing(page: Page) -> str:
    if page.comparison.best is None:
        return "the course of highest worth; none can be paid for"
    return (
        "the best course that can be paid for"
        if page.ten.cash_low and page.ten.cash_floor is not None
        else "the best course"
    )


def _lead_row(page: Page) -> Row:
    lead, study, c, x = page.ten.lead, page.comparison.scenario.study, page.comparison, page.explained
    rate = x.input("study.rate", percent(float(study.rate)))
    basis = f"Present worth after tax, {study.years} years at {rate}."
    second = ""
    if lead.runner_up is None or lead.over_runner_up is None:
        over = "Nothing else can be chosen."
    elif lead.runner_up == "keep":
        over = "Keeping is the next best."
    else:
        second = x.less(page.course, c[lead.runner_up], money(lead.over_runner_up))
        over = f"Over the next best, “{lead.runner_up}”: {second}."
    if lead.course == "keep" and lead.over_runner_up is not None and lead.runner_up is not None:
        ahead = x.less(c.keep, c[lead.runner_up], money(lead.over_runner_up, plus=True))
        return Row(f"Lead of keeping over the next best, “{lead.runner_up}”", (ahead, marked(basis, rate)))
    ahead = x.less(page.course, c.keep, money(lead.over_keep, plus=True))
    return Row(f"Lead of “{lead.course}” over keeping", (ahead, marked(f"{over} {basis}", second, rate)))


def _flip_row(page: Page) -> Row:
    near = page.flips.nearest
    if near is None:
        return Row("Nearest flip", ("none", "No single input, moved alone within what was searched, turns the lead."))
    now, then = _flip_links(page, near)
    inside = (
        "Inside the range given."
        if near.inside_range
        else "Outside the range given."
        if near.share_of_range is not None
        else ""
    )
    return Row(
        "Nearest flip",
        (
            marked(f"{now} → {then}", now, then),
            marked(
                f"{charts.flip_label(near)}: at {then} it is level with “{charts.other_course(near, page.course.name)}”. {inside}".rstrip(),
                then,
            ),
        ),
    )


def _flip_links(page: Page, flip: Flip) -> tuple[str, str]:
    """Return an input as entered and at its flip, each as a link: to its giver, and to how the flip was searched for."""
    label, other = charts.flip_label(flip), charts.other_course(flip, page.course.name)
    low, high = (charts.in_unit(end, flip.unit, exact=True) for end in flip.searched)
    if flip.two_points is None:
        how = f"Searched for between {low} and {high}, all other inputs as entered, until the present worths are the same to a millionth of the input. Every column that rests on the input is computed again at each try."
        crossings = f" The lead turns {len(flip.all)} times there; this is the nearest." if len(flip.all) > 1 else ""
    else:
        no, yes = flip.two_points
        how = f"A yes/no doubt: the lead over “{other}” is {cents(no, plus=True)} if no and {cents(yes, plus=True)} if yes; at this chance it is nothing on average."
        crossings = ""
    return (
        page.explained.input(flip.path, charts.in_unit(flip.entered, flip.unit, exact=True)),
        page.explained.told(
            ("flip", flip.path, other),
            f"{label}: level with “{other}” at {charts.in_unit(flip.flip, flip.unit)}",
            charts.in_unit(flip.flip, flip.unit),
            how + crossings,
        ),
    )


def _sale_rows(page: Page) -> list[Row]:
    t, route = page.ten, page.ten.sale
    if route is None:
        none = ("none", "No course sells the machine.")
        return [
            Row("Cash from the sale, after lender and costs", none),
            Row("Tax on the sale alone", none),
            Row("Left after that tax", none),
        ]
    machine, x = page.comparison.scenario.offers[route.name].machine, page.explained
    whose = (
        ""
        if t.sale_is_part
        else f"“{page.course.name}” does not sell {machine}; sold by “{route.name}” on {day(route.sold_on)} it would leave this. "
    )
    when = f"Sold {day(route.sold_on)}, paid {day(route.paid_on)}." if t.sale_is_part else f"Paid {day(route.paid_on)}."
    if t.credited_on is not None:
        when += f" Credited to the order of the next machine on {day(t.credited_on)}: until then that dealer's promise."
    own = {name: amount for name, amount in route.tax_by_owner.items() if not page.hidden(f"owners.{name}")}
    paid = [x.column(route, f"tax on the sale {name}.tax", money(amount)) for name, amount in own.items()]
    shares = "; ".join(f"{name} {amount}" for name, amount in zip(own, paid, strict=True))
    days = [_due_link(page, route, when_due, amount) for when_due, amount in route.tax_due]
    due = "; ".join(f"{amount} on {day(when)}" for amount, (when, _) in zip(days, route.tax_due, strict=True))
    lost, tax = route.over_allowance, _tax_link(page, route)
    discount = x.column(route, f"settlement {machine}.over_allowance", money(lost)) if lost > 0.005 else ""
    end = (
        f"Less {discount} of discount on the next machine that the trade gives up."
        if lost > 0.005
        else "Cash at the closing less that tax."
    )
    if t.credited_on is not None and route.tax > 0:
        end = f"A credit pays no tax: the {tax} must come from elsewhere."
    net = x.column(route, f"settlement {machine}.net_cash", money(route.net_cash))
    said = f"{shares + '. ' if shares else ''}Due {due}." if due else "No tax falls due on it."
    return [
        Row("Cash from the sale, after lender and costs", (net, whose + when)),
        Row("Tax on the sale alone", (tax, marked(said, *paid, *days))),
        Row("Left after that tax", (_left(page, route), marked(end, discount or tax))),
    ]


def _tax_link(page: Page, route: RouteResult) -> str:
    """Return the tax on a sale alone as a link; the shares of owners this page leaves out are not written there."""
    shown = [name for name in route.tax_by_owner if not page.hidden(f"owners.{name}")]
    shares = {name: cents(route.tax_by_owner[name]) for name in shown}
    if page.ten.sale is not None and route.name == page.ten.sale.name:
        shares |= {
            name: page.explained.column(route, f"tax on the sale {name}.tax", figure) for name, figure in shares.items()
        }
    made = listed(f"{name} {amount}" for name, amount in shares.items())
    rest = " The other owners' shares are left out of this copy." if len(shown) < len(route.tax_by_owner) else ""
    return page.explained.told(
        ("tax on the sale", route.name),
        f"sale by “{route.name}” alone: tax of all owners = {cents(route.tax)}",
        money(route.tax),
        "Each owner's federal and state return as filed, less the same return with this sale struck out.",
        marked(f"{made}.{rest}" if made else rest.strip(), *shares.values()),
    )


def _due_link(page: Page, route: RouteResult, when: dt.date, amount: float) -> str:
    return page.explained.told(
        ("due", route.name, when),
        f"sale by “{route.name}” alone: tax due {day(when)} = {cents(amount)}",
        money(amount),
        "The part of that tax that falls on this day: what each owner's estimates and balance come to with the sale, less what they come to without it.",
    )


def _cash_row(page: Page) -> Row:
    low, floor, x = page.ten.cash_low, page.ten.cash_floor, page.explained
    if low is None:
        return Row(
            "Lowest cash of the shop",
            ("not tested", "No cash in the bank was given, so whether the shop can pay is not tested."),
        )
    if floor is None:
        return Row(
            "Lowest cash of the shop",
            (_lowest(page, page.course), f"End of {month(low.month)}. No floor was given, so it is not tested."),
        )
    gap = x.column(page.course, "cash test.margin", money(abs(low.amount - floor)))
    least = x.input("shop.cash_floor", money(floor))
    said = f"End of {month(low.month)}. Floor {least}: {gap} {'above' if low.amount >= floor else 'under'} it."
    return Row("Lowest cash of the shop", (_lowest(page, page.course), marked(said, least, gap)))


def _lowest(page: Page, outcome: Outcome) -> str:
    low = outcome.cash_low
    return page.explained.column(outcome, "cash test.lowest", money(low.amount)) if low else ""


def _payments_row(page: Page) -> Row:
    t, course, x = page.ten, page.course, page.explained
    if t.payments is None:
        return Row("Loan payments a month", ("", "The study is in whole years."))
    first = page.comparison.evaluation.time.cash.labels[1]
    before = x.column(page.comparison.keep, "cash.all debt service", money(t.payments.before), first)
    after = x.column(course, "cash.all debt service", money(t.payments.after), t.payments.after_month)
    said, links = f"From {month(t.payments.after_month)}.", []
    if t.coverage is not None:
        worst, required = x.column(course, "coverage.worst", number(t.coverage.worst)), t.coverage.required
        links = [worst, x.input("shop.coverage_required", number(required)) if required is not None else ""]
        asked = f", {links[1]} asked" if required is not None else ""
        said += f" Coverage in the worst year, {t.coverage.year}: {worst} times{asked} (operating cash before tax and drawings over the year's loan payments)."
    elif t.payments.after < 0.5:
        said += " Nothing is owed then."
    else:
        said += " Coverage is not shown: what the business earns is not in the scenario."
    return Row(
        "Loan payments a month, now and then",
        (marked(f"{before} → {after}", before, after), marked(said, *links)),
    )


def _hours_row(page: Page) -> Row:
    head = "Extra good hours a year that must be sold"
    found = _extra_hours(page)
    if page.course.name == "keep":
        return Row(head, ("none", "Keeping asks for no further orders."))
    if found is None:
        return Row(head, ("", "Hours and parts are not in the scenario."))
    if found.believed < 0.5:
        return Row(head, (_believed_link(page, found), "This course sells no more hours than keeping does."))
    needed, believed = _hours_link(page, found), _believed_link(page, found)
    ahead = " It is ahead of keeping without any." if found.needed == 0 else ""
    return Row(head, (needed, marked(f"To come level with keeping; {believed} are believed.{ahead}", believed)))


def _guarantee_row(page: Page) -> Row:
    found = [behind for behind in page.ten.guarantees if behind.owner in page.owners]
    if not found:
        return Row(
            "Guarantees, and the shortfall behind them",
            ("none", "No debt on a machine, or no owners, in the scenario."),
        )
    x, links, said = page.explained, [], []
    for b in found:
        limit = "" if b.limit is None else x.input(f"owners.{b.owner}.guarantees", money(b.limit))
        short = x.column(page.course, f"guarantees.behind {b.owner}", money(b.shortfall))
        said.append(f"{b.owner} guarantees {f'up to {limit}' if limit else 'all debts'}, {short} behind it")
        links += [limit, short]
    most = max(found, key=lambda behind: behind.shortfall)
    worst, who = x.column(page.course, f"guarantees.behind {most.owner}", money(most.shortfall)), "; ".join(said)
    when = (
        f" At its worst in {month(found[0].month)}."
        if found[0].month
        else " A sale of the machines would cover what is owed, all through."
    )
    if not found[0].value_known:
        when += " What the machine would bring is not given, so all that is owed is counted."
    return Row(
        "Guarantees, and the shortfall behind them",
        (worst, marked(f"{who}.{when} Joint and several means the whole shortfall.", *links)),
    )


def why(page: Page) -> Part:
    """Where the lead comes from: present worth by group, and how it builds up over the years."""
    c, course = page.comparison, page.course
    blocks: list[Block] = []
    against = c.keep if course is not c.keep else c.runner_up
    if against is not None:
        difference = course - against
        rows = [
            Row(group[:1].upper() + group[1:], (_group_link(page, difference, group), GROUP_WORDS[group]))
            for group, value in difference.by_group.items()
            if abs(value) >= 0.5
        ]
        together = page.explained.less(course, against, money(difference.npv, plus=True))
        rows.append(Row("All together", (together, ""), "total"))
        blocks.append(
            Table(
                f"Present worth of “{course.name}” less that of “{against.name}”, by what the money is for, dollars",
                ("Group", "Present worth", "What it is"),
                tuple(rows),
                words=(2,),
            )
        )
    if len(c.outcomes) > 1:
        blocks.append(chart(charts.cumulative_worth(c, charts.blank(7.6, 4.1)), _ends(page)))
    return Part("why", "Why", tuple(blocks))


def _group_link(page: Page, difference: Difference, group: str) -> str:
    one, other, x = difference.minuend, difference.subtrahend, page.explained
    a, b = (x.column(o, f"worth.{group}", cents(o.column(f"worth.{group}").figure())) for o in (one, other))
    return x.told(
        ("less", one.name, other.name, group),
        f"“{one.name}” less “{other.name}”, present worth of {group} = {cents(difference.by_group[group], plus=True)}",
        money(difference.by_group[group], plus=True),
        marked(f"“{one.name}” {a} less “{other.name}” {b}.", a, b),
    )


def _ends(page: Page) -> str:
    """Say what the lines end at, each course less keeping, with links."""
    c = page.comparison
    ends = [
        (o.name, page.explained.less(o, c.keep, money(o.npv_less_keep, plus=True)))
        for o in c.outcomes
        if o is not c.keep
    ]
    said = "The lines end at: " + "; ".join(f"{name} {end}" for name, end in ends) + "."
    return marked(said, *(end for _, end in ends))


def flips(page: Page) -> Part:
    """What would turn the lead, how near it is, and who gave the figure."""
    found = charts.leaders_flips(page.flips)[:FLIPS_LISTED]
    blocks: list[Block] = [
        Text(
            "One input at a time is moved, all others as entered, until the lead over keeping (or over the next best) is gone. Nearest first."
        )
    ]
    if found:
        blocks.append(Text(_who_gave(page, [flip.path for flip in found])))
        drawn = charts.flips(page.flips, charts.blank(7.6, 1.1 + 0.4 * max(len(found), 2)))
        blocks.append(chart(drawn, "Every figure of the bars stands in the table below, with its links."))
        rows = tuple(
            Row(
                charts.flip_label(flip),
                (
                    *_flip_links(page, flip),
                    f"“{charts.other_course(flip, page.course.name)}”",
                    _provenance(page.entered.get(flip.path)),
                ),
            )
            for flip in found
        )
        blocks.append(
            Table(
                "What flips the lead, nearest first",
                ("Input", "Now", "At the flip", "Level with", "Given by"),
                rows,
                words=(3, 4),
            )
        )
    else:
        blocks.append(Text("No single input, moved alone within what was searched, turns the lead."))
    return Part("flips", "What would flip it", tuple(blocks))


def _who_gave(page: Page, paths: Sequence[str]) -> str:
    guesses = [
        page.entered[path]
        for path in paths
        if path in page.entered and page.entered[path].given_by in ("guess", "default")
    ]
    if not guesses:
        return f"None of the {len(paths)} inputs below is marked as a guess."
    whose: dict[str, int] = {}
    for amount in guesses:
        whose[amount.by or amount.given_by] = whose.get(amount.by or amount.given_by, 0) + 1
    return (
        f"Of the {len(paths)} inputs below, {len(guesses)} {'is a guess' if len(guesses) == 1 else 'are guesses'}: "
        + ", ".join(f"{name} {count}" for name, count in whose.items())
        + "."
    )


def _provenance(amount: Amount | None) -> str:
    if amount is None or not amount.given_by:
        return "not said"
    return ", ".join(part for part in (amount.given_by, amount.by, amount.on) if part)


def alternatives(page: Page) -> Part:
    """All courses side by side."""
    c = page.comparison
    tested = any(o.affordable is not None for o in c.outcomes)
    rows = []
    for o in c.outcomes:
        rows.append(
            Row(
                o.name,
                (
                    "" if o is c.keep else page.explained.less(o, c.keep, money(o.npv_less_keep, plus=True)),
                    page.explained.column(o, "worth.annual_worth", money(o.annual_worth)),
                    "" if o is c.keep else _payback(page, o),
                    page.explained.column(o, "own money.needed", money(o.own_money_needed)),
                    Said([_lowest(page, o), f"\n{month(o.cash_low.month)}"]) if o.cash_low else "not tested",
                    _verdict(o, tested),
                ),
                "best" if o is page.course else "",
            )
        )
    columns = (
        "Course",
        "Worth less keep",
        "Annual worth",
        "Payback, loans left out",
        "Own money",
        "Lowest cash",
        "Can it be paid for?",
    )
    return Part(
        "alternatives",
        "All courses",
        (Table("The courses side by side, dollars after tax", columns, tuple(rows), words=(6,)),),
    )


def _payback(page: Page, outcome: Outcome) -> str:
    first, last = outcome.payback_less_keep.first, outcome.payback_less_keep.last
    said = years(float(first) if first is not None else None)
    if first is not None and last is not None and abs(float(last) - float(first)) >= 0.05:
        said += f"\nfor good {number(float(last), 1)}"
    return page.explained.told(
        ("payback", outcome.name),
        f"“{outcome.name}”: payback = {said.replace(chr(10), ', ')}",
        said,
        "Cash of all purses after tax, loans left out and not discounted, less that of keeping, is added up month by month; the time until the sum comes above zero, and until it stays there.",
    )


def _verdict(outcome: Outcome, tested: bool) -> str:
    failed = [f"fails the gate “{gate}”" for gate in outcome.failed_gates]
    if outcome.affordable is False:
        failed.insert(0, "falls under the floor")
    return listed(failed) if failed else "yes" if passes(outcome) and tested else "not tested"


def proceeds(page: Page) -> Part | None:
    """Where the price of the machine goes: settlement to the cent, tax, and the other offers."""
    route, sold = page.ten.sale, page.ten.sold
    if route is None or sold is None:
        return None
    settled, x = route.ledger.workings[f"settlement {sold.machine}"], page.explained
    rows = [
        Row(words, (x.column(route, f"{settled.name}.{key}", cents(sign * settled[key].figure())),), tone)
        for key, words, sign, tone in SETTLED
        if sign > 0 or settled[key].figure() or key == "payoff"
    ]
    caption = f"Settlement of {sold.machine} by “{route.name}”, sold {day(route.sold_on)}, dollars and cents"
    blocks: list[Block] = [
        chart(
            charts.settlement(route, charts.blank(7.6, 3.4)),
            "Every figure of the bars stands in the tables below, with its links, and the tax in rows 4 and 5 of the ten numbers.",
        ),
        Table(caption, ("", "Amount"), tuple(rows), look="narrow"),
    ]
    realized = x.column(route, f"{settled.name}.amount_realized", money(route.amount_realized))
    basis, gain = (
        x.column(route, f"gain federal {sold.machine}.{key}", money(value))
        for key, value in (("adjusted_basis", route.adjusted_basis), ("gain", route.gain))
    )
    said = f"For tax, the amount realized is {realized}, the adjusted basis {basis}, the gain {gain}; debt paid off does not lower it."
    blocks.append(Text(marked(said, realized, basis, gain)))
    if len(sold.routes) > 1:
        blocks.append(_offers(page, sold))
    return Part("sale", "Where the price of the machine goes", tuple(blocks))


def _offers(page: Page, sold: SaleResult) -> Table:
    rows = tuple(
        Row(
            r.name,
            (
                page.explained.column(r, f"settlement {sold.machine}.gross", money(r.gross)),
                page.explained.column(r, f"settlement {sold.machine}.net_cash", money(r.net_cash)),
                page.explained.column(
                    r,
                    f"settlement {sold.machine}.over_allowance",
                    money(r.over_allowance) if r.over_allowance > 0.005 else "",
                ),
                _tax_link(page, r),
                _left(page, r),
                day(r.paid_on),
            ),
            "best" if page.ten.sale is not None and r.name == page.ten.sale.name else "",
        )
        for r in sold.routes
    )
    columns = ("Offer", "Price", "Net cash", "Lost discount", "Tax", "Left after tax", "Paid on")
    return Table(f"Every offer for {sold.machine}, handed over on {day(sold.date)}, dollars", columns, rows)


def _left(page: Page, route: RouteResult) -> str:
    left = route.like_for_like
    tax, lost = _tax_link(page, route), route.over_allowance
    made = f"Net cash {cents(route.net_cash)} less tax {cents(route.tax)}"
    made += f" less the discount on the next machine that the trade gives up, {cents(lost)}" if lost > 0.005 else ""
    paid = route.paid_until_sold
    made += f" less {cents(paid)} paid on its loan between handing over and the sale" if paid > 0.005 else ""
    return page.explained.told(
        ("left", route.name),
        f"sale by “{route.name}” alone: left after that tax = {cents(left)}",
        money(left) if left >= 0 else f"short by {money(-left)}",
        marked(f"{made}.", Linked(cents(route.tax), tax.anchor) if isinstance(tax, Linked) else ""),
    )


def cash(page: Page) -> Part:
    """The shop's cash by month, with the days on which the course moves money."""
    course = page.course
    lowest = _lowest(page, course)
    said = f"Lowest: {lowest}; days of single payments stand in the table below."
    if not lowest:
        lowest = page.explained.column(course, "cash.shop", "cash of each period")
        said = f"No cash in the bank was given: the {lowest} is added up from nothing on the day of decision."
    blocks: list[Block] = [chart(charts.cash_calendar(course, charts.blank(7.6, 4.0)), marked(said, lowest))]
    rows = tuple(Row(day(one.day), _day_cells(page, one)) for one in one_offs(course))
    if rows:
        blocks.append(
            Table(
                f"Days on which “{course.name}” itself moves money, dollars",
                ("Day", "Net", "Made of"),
                rows,
                words=(2,),
            )
        )
    return Part("cash", "Cash, month by month", tuple(blocks))


def _day_cells(page: Page, one: DatedCash) -> tuple[str, str]:
    """Return the sum of a day, and what it is made of, with links."""
    amounts = [
        page.explained.line(page.course, page.course.line(name, "shop"), money(amount, plus=True))
        for name, amount in one.parts
    ]
    made = "; ".join(f"{name} {amount}" for (name, _), amount in zip(one.parts, amounts, strict=True))
    exact = "; ".join(f"{name} {cents(amount, plus=True)}" for name, amount in one.parts)
    net = page.explained.told(
        ("day", one.day),
        f"“{page.course.name}”: moved on {day(one.day)} = {cents(one.net, plus=True)}",
        money(one.net, plus=True),
        f"Added up: {exact}.",
    )
    return net, marked(made, *amounts)


def hours(page: Page) -> Part | None:
    """What an hour of the machine earns; None without parts."""
    stairs = stairs_of(page.comparison)
    if stairs is None:
        return None
    found = hours_of(page.comparison.scenario, page.comparison.evaluation)
    nights = () if found.night is None else (_nights(page, found),)
    keep, seen = page.comparison.keep, dict.fromkeys((stair.part, stair.per_hour) for stair in stairs.stairs)
    each = {name: page.explained.column(keep, f"part {name}.per_hour", whole(per_hour)) for name, per_hour in seen}
    can = {
        name: page.explained.column(
            page.comparison[name],
            "capacity.hours",
            whole(hours),
            page.comparison[name].column("capacity.hours").axis.labels[-1],
        )
        for name, hours in stairs.capacities.items()
    }
    said = "Dollars an hour: " + "; ".join(f"{name} {figure}" for name, figure in each.items())
    said += ". Hours a year: " + "; ".join(f"{name} {figure}" for name, figure in can.items()) + "."
    figures = marked(said, *each.values(), *can.values())
    drawn = chart(charts.staircase(stairs, charts.blank(7.6, 4.2)), figures)
    return Part(
        "hours",
        "What the next hour earns",
        (
            drawn,
            Text(
                "An extra hour is worth what the best part not yet made in full brings; each further one brings less."
            ),
            *nights,
        ),
    )


def _nights(page: Page, found: HoursResult) -> Block:
    """The nights of the log as a chart, with a link to how they were counted."""
    night = found.night
    assert night is not None  # asked by the caller
    low, high = number(night.low), "" if night.high is None else number(night.high)
    between = number(night.theta) if night.theta is not None else f"at least {low}"
    counted = page.explained.told(
        ("night log",),
        f"hours alone between stops = {between}",
        between,
        f"{number(night.hours)} hours run alone in {night.evenings} evenings of the log, over the {night.stops} of them that "
        "a stop ended; an evening that ran out counts its hours and no stop.",
        f"95 % interval, stops at random: {low} to {high} hours."
        if high
        else "No stop was logged: a bound, no estimate.",
    )
    drawn = shop_charts.night_survival(found, charts.blank(7.6, 3.6))
    return chart(drawn, marked(f"Hours alone between stops, from the log: {counted}.", counted))


def assumptions(page: Page) -> Part:
    """The figures that are guesses or defaults, with who gave them, and how many say nothing of themselves."""
    guessed = {path: amount for path, amount in page.entered.items() if amount.given_by in ("guess", "default")}
    silent = sum(not amount.given_by for amount in page.entered.values())
    ranged = sum(amount.doubtful for amount in page.entered.values())
    blocks: list[Block] = [
        Text(
            f"Of {len(page.entered)} figures entered, {len(guessed)} are marked as guesses or defaults, {silent} do not say where they are from, and {ranged} have a range or a chance."
        )
    ]
    if guessed:
        rows = tuple(
            Row(
                _plain(page.labels.get(path, path)), (page.explained.input(path, _entered(amount)), _provenance(amount))
            )
            for path, amount in guessed.items()
        )
        blocks.append(Table("Guesses and defaults", ("Figure", "As entered", "Given by"), rows, words=(2,)))
    notes = page.comparison.scenario.notes
    if notes and not page.outside:  # notes are the owners' own words
        blocks.append(Bullets(tuple(notes)))
    return Part("assumptions", "Assumptions and guesses", tuple(blocks))


def _plain(label: str) -> str:
    return label.replace("`", "")


def _entered(amount: Amount) -> str:
    if amount.chance is not None:
        return percent(amount.chance)
    likely = entered(amount.likely, amount.unit)
    if amount.low is None or amount.high is None:
        return likely
    return f"{likely} ({charts.in_unit(amount.low, amount.unit, exact=True)} to {charts.in_unit(amount.high, amount.unit, exact=True)})"


def findings(page: Page) -> Part | None:
    """What the reader must know: warnings, then notes."""
    found = sort_findings(page.findings)
    blocks: list[Block] = []
    if found.warnings:
        blocks += [Text("Beware", "subhead"), Bullets(_set(found.warnings))]
    if found.notes:
        of = {text: _courses_of(page, text) for text in found.notes}
        blocks += [Text("To know", "subhead"), Bullets(_set([text for text in found.notes if not of[text]]))]
        for courses in dict.fromkeys(courses for courses in of.values() if courses):
            said = tuple(text for text in found.notes if of[text] == courses)
            blocks += [Text(f"To know of {courses}", "subhead"), Bullets(_set(said))]
    return Part("findings", "What else the figures say", tuple(blocks)) if blocks else None


def _courses_of(page: Page, text: str) -> str:
    """Return the courses a finding is of, named; empty where it is of all, of none alone, or of the page's own course."""
    names = [o.name for o in page.comparison.outcomes if any(text == f.text for f in o.ledger.findings)]
    if not names or page.course.name in names:
        return ""
    return listed(f"“{name}”" for name in names)


def _set(sentences: Sequence[str]) -> tuple[str, ...]:
    """Return sentences with a capital, a true minus sign and months in words, as the rest of the page has them."""
    sentences = [re.sub(r"`([^`]+)`", r"“\1”", re.sub(r"(?<=\d)%", " %", text)) for text in sentences]
    return tuple(
        charts.capital(
            re.sub(r"(?<![\w-])-(?=\d)", MINUS, re.sub(r"\b\d{4}-\d\d\b(?!-)", lambda found: month(found[0]), text))
        )
        for text in sentences
    )


def cautions(page: Page) -> Part:
    """The cautions every answer carries."""
    return Part("cautions", "Before anybody signs", (Bullets(tuple(caution.text for caution in CAUTIONS)),))


def law(page: Page) -> Part | None:
    """As of which day the law was read, and which figures of it rest on memory or on growth."""
    read, found = law_read(page.comparison), sort_findings(page.findings)
    if read is None and not found.parameters:
        return None
    first, last = read if read else (None, None)
    said = f"Law as read on {day(last)}." if last else ""
    if first and last and first != last:
        said = f"Law as read from {day(first)} to {day(last)}."
    blocks: list[Block] = [
        Text(f"{said} What Congress or a state changes after that day is not in these figures.".strip())
    ]
    if found.parameters:
        blocks.append(Bullets(_set(found.parameters)))
    return Part("law", "The law behind the tax", tuple(blocks))


TERMS = (
    (
        "Present worth",
        "All money of a course, after tax, each amount counted at what it is worth on the day of decision at the study's rate, and added.",
    ),
    ("Worth less keep", "Present worth of a course less that of keeping the machine as it is."),
    ("Annual worth", "The level yearly amount of the same present worth."),
    ("Payback", "The time until the money paid beyond keeping has come back, loans left out."),
    ("Payoff", "What the lender asks on a day: balance, interest to the day, charges and fees."),
    ("Adjusted basis", "Cost less depreciation already taken; the gain is what is realized above it."),
    (
        "Own money needed",
        "The deepest the purchase goes into the shop's money before the first good part, after loans and sale money.",
    ),
    ("Floor", "The cash the owners will not go under; a course whose cash falls below it is not counted as payable."),
    ("Good hours", "Hours the machine cuts, at standard time, scrap taken out."),
    ("Contribution", "Price less material, outside work and tooling; wages are not taken off."),
    (
        "Draw",
        "One set of values of all doubtful figures together, taken at random from their ranges; every course is run through the same draws.",
    ),
    (
        "Regret",
        "What a course loses in a draw to the course that would have been best in it; expected regret is its average.",
    ),
    ("Flip", "The value of one input at which two courses are worth the same."),
    (
        "Shortfall behind a guarantee",
        "Debt on the machines above what they would bring; their value is taken to fall by the same share each year from today's or the price paid to the value entered for the end. A forced sale brings less.",
    ),
)


def definitions(page: Page) -> Part:
    """What the words mean here."""
    return Part("definitions", "What the words mean", (Definitions(TERMS),))


def where_from(page: Page) -> Part:
    """The explanations of all figures that link here; made last."""
    said = "Here the figures are exact. To go further down, to every input and source, ask the command line: equipdecide explain FILE COURSE FIGURE; course and figure stand at the end of an entry."
    return Part("where-from", "Where the figures come from", (Text(said), Entries(page.explained.entries())))


PartRow = tuple[Callable[[Page], Part | None], ...]
PARTNERS: PartRow = (
    answer,
    first_table,
    why,
    flips,
    alternatives,
    sure,
    proceeds,
    cash,
    hours,
    assumptions,
    findings,
    cautions,
    law,
    definitions,
    where_from,
)


def _unbroken(text: str) -> Markup:
    """Return text in which no day and no per cent is broken over two lines, and linked figures are links."""
    if isinstance(text, Said):
        return Markup("").join(_unbroken(piece) for piece in text.pieces)
    if isinstance(text, Linked):
        return Markup('<a href="#{}">{}</a>').format(text.anchor, _unbroken(str(text)))
    held = re.sub(r"(?<=\d) %", "\N{NO-BREAK SPACE}%", str(escape(text)))
    return Markup(re.sub(r"\b(\d{4}-\d\d-\d\d)\b", r"<time>\1</time>", held))


@lru_cache(maxsize=1)
def _template() -> jinja2.Template:
    loader = jinja2.FileSystemLoader(Path(__file__).parent)
    home = jinja2.Environment(
        loader=loader, autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    home.filters["unbroken"] = _unbroken
    return home.get_template(TEMPLATE)


LENDER: PartRow = (
    lender.caption,
    lender.funds,
    lender.debts,
    lender.collateral,
    lender.coverage,
    lender.customers,
    lender.guarantees,
    lender.findings,
    cautions,
    where_from,
)
ACCOUNTANT: PartRow = (
    accountant.course,
    accountant.settlements,
    accountant.gains,
    accountant.taxes,
    accountant.elections,
    accountant.forms,
    assumptions,
    findings,
    law,
    cautions,
    where_from,
)
OUTSIDE: dict[str, PartRow] = {"lender": LENDER, "accountant": ACCOUNTANT}


def _left_out(reader: str, owner: str | None) -> str:
    """Say for whom a page is and what it leaves out; nothing on the page for all partners."""
    if owner is not None:
        return f"Copy for {owner}: the other owners' own figures are left out."
    left = {
        "lender": "the owners' own figures are left out, but for what they guarantee",
        "accountant": "what the owners entered of their households is left out",
    }
    return f"For the {reader}: {left[reader]}." if reader in left else ""


def readers(comparison: Comparison) -> tuple[str, ...]:
    """Return the readers there is a page for."""
    return ("partners", *OUTSIDE, *(f"partner:{owner}" for owner in comparison.scenario.owners))


def brief(comparison: Comparison, path: str | Path | None = None, reader: str = "partners") -> str:
    """Return the page as HTML, and write it to `path` where one is given; a path that ends in ``.pdf`` is printed to.

    `reader` is ``partners``; ``partner:NAME`` for a copy that leaves out the other owners' own figures; ``lender`` or
    ``accountant``, whose pages leave out all owners' own figures. Raises ValueError for another reader,
    :class:`equipdecide.views.printing.NoPrinter` where nothing on this computer can make a PDF.
    """
    if reader not in (known := readers(comparison)):
        raise ValueError(f"no page for the reader {reader!r}; there is one for {listed(known)}")
    owner = reader.removeprefix("partner:") if reader.startswith("partner:") else None
    page = Page(comparison, owner, reader in OUTSIDE)
    parts = [part for make in OUTSIDE.get(reader, PARTNERS) if (part := make(page)) is not None]
    scenario = comparison.scenario
    text = _template().render(
        title=scenario.title,
        shop=scenario.shop.name,
        decided=day(scenario.decision_date),
        currency=scenario.currency,
        copy_for=_left_out(reader, owner),
        parts=parts,
    )
    if path is not None and Path(path).suffix.lower() == ".pdf":
        print_page(text, Path(path))
    elif path is not None:
        Path(path).write_text(text, encoding="utf-8", newline="\n")
    return text
