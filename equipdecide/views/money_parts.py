"""Where the money goes, as parts of a page: why a course leads, the price of the machine, the cash by month."""

from __future__ import annotations

from equipdecide.decide.compare import Difference
from equipdecide.decide.page_figures import DatedCash, one_offs
from equipdecide.decide.sale import SaleResult
from equipdecide.views import charts
from equipdecide.views.explained import marked
from equipdecide.views.figure_links import left_link, lowest_link, tax_link
from equipdecide.views.parts import SETTLED, Block, Page, Part, Row, Table, Text, chart
from equipdecide.words import cents, day, money

GROUP_WORDS = {
    "operating": "what the work brings, less upkeep",
    "investment": "machines bought and sold, change-over",
    "payoff": "old and last balances paid off",
    "borrowing": "loans taken",
    "debt service": "loan payments",
    "tax": "tax of all owners",
    "between purses": "between the shop and its owners",
}


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
    said = (
        f"For tax, the amount realized is {realized}, the adjusted basis {basis}, the gain {gain}; debt paid off "
        f"does not lower it."
    )
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
                tax_link(page, r),
                left_link(page, r),
                day(r.paid_on),
            ),
            "best" if page.ten.sale is not None and r.name == page.ten.sale.name else "",
        )
        for r in sold.routes
    )
    columns = ("Offer", "Price", "Net cash", "Lost discount", "Tax", "Left after tax", "Paid on")
    return Table(f"Every offer for {sold.machine}, handed over on {day(sold.date)}, dollars", columns, rows)


def cash(page: Page) -> Part:
    """The shop's cash by month, with the days on which the course moves money."""
    course = page.course
    lowest = lowest_link(page, course)
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
