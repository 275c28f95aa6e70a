"""The answer at the head of a page, all courses side by side, and what would flip it."""

from __future__ import annotations

from collections.abc import Sequence

from equipdecide.cautions import ESTIMATE
from equipdecide.decide.compare import Outcome, passes
from equipdecide.views import charts
from equipdecide.views.explained import Said, marked
from equipdecide.views.figure_links import believed_link, extra_hours, flip_links, hours_link, lowest_link, provenance
from equipdecide.views.parts import Block, Page, Part, Row, Table, Text, chart
from equipdecide.views.table import headline
from equipdecide.words import cents, listed, money, month, number, percent, years

FLIPS_LISTED = 8


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
    rest, links, hours = "", [], extra_hours(page)
    if hours is not None and page.ten.extra_hours_sold is not None:
        links = [hours_link(page, hours), believed_link(page, hours)]
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


def flips(page: Page) -> Part:
    """What would turn the lead, how near it is, and who gave the figure."""
    found = charts.leaders_flips(page.flips)[:FLIPS_LISTED]
    blocks: list[Block] = [
        Text(
            "One input at a time is moved, all others as entered, until the lead over keeping (or over the next "
            "best) is gone. Nearest first."
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
                    *flip_links(page, flip),
                    f"“{charts.other_course(flip, page.course.name)}”",
                    provenance(page.entered.get(flip.path)),
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
                    Said([lowest_link(page, o), f"\n{month(o.cash_low.month)}"]) if o.cash_low else "not tested",
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
        "Cash of all purses after tax, loans left out and not discounted, less that of keeping, is added up month by "
        "month; the time until the sum comes above zero, and until it stays there.",
    )


def _verdict(outcome: Outcome, tested: bool) -> str:
    failed = [f"fails the gate “{gate}”" for gate in outcome.failed_gates]
    if outcome.affordable is False:
        failed.insert(0, "falls under the floor")
    return listed(failed) if failed else "yes" if passes(outcome) and tested else "not tested"
