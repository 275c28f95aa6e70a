"""The page for partners: one HTML file that answers, says what would flip the answer, and shows where the money goes.

A page is a row of parts, each a heading over blocks (paragraph, table, chart, list, definitions); the template knows
blocks, not parts, so that another reader is another row of parts. The page holds no script, asks nothing of any
server, and is the same bytes for the same scenario.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from functools import lru_cache
from pathlib import Path

import jinja2
from markupsafe import Markup, escape

from equipdecide.cautions import CAUTIONS, ESTIMATE
from equipdecide.decide.compare import Comparison, Outcome, passes
from equipdecide.decide.hours import hours as hours_of
from equipdecide.decide.page_figures import TenNumbers, law_read, one_offs
from equipdecide.decide.page_figures import staircase as stairs_of
from equipdecide.decide.sale import RouteResult, SaleResult
from equipdecide.scenario.amounts import Amount
from equipdecide.views import accountant_page as accountant
from equipdecide.views import charts, shop_charts
from equipdecide.views import lender_page as lender
from equipdecide.views.parts import Block, Bullets, Definitions, Page, Part, Row, Table, Text, chart
from equipdecide.views.printing import print_page
from equipdecide.views.sure_part import sure
from equipdecide.views.table import headline, sort_findings
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
    blocks: list[Block] = [Text(headline(page.comparison), "lead")]
    if said := if_nothing_extra_is_sold(page):
        blocks.append(Text(said))
    blocks.append(Text(ESTIMATE.text, "warning"))
    return Part("answer", "The answer", tuple(blocks))


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
    behind = f"“{name}” is then {money(abs(now.npv - other[name].npv))} behind"
    if name == "keep":
        return f"With extra hours that cannot be sold the lead turns from keeping to “{now.name}”; {behind}."
    rest = f"; it needs {_hours_needed(page)}" if page.ten.extra_hours_sold is not None else ""
    return (
        f"With extra hours that cannot be sold the lead turns to “{now.name}”: {behind}{rest}."
        if c.best
        else f"With extra hours that cannot be sold the highest worth is that of “{now.name}”: {behind}."
    )


def _hours_needed(page: Page) -> str:
    found = next((h for h in page.flips.extra_hours if h.alternative == page.course.name), None)
    if found is None:
        return "no extra hours"
    if found.needed is None:
        return f"more than the {whole(found.believed)} extra hours a year believed"
    return f"{whole(found.needed)} extra good hours a year, {whole(found.believed)} are believed"


def first_table(page: Page) -> Part:
    """The ten numbers, in their order."""
    t, course = page.ten, page.course
    rows = [
        _lead_row(page),
        _flip_row(page),
        *_sale_rows(page),
        Row(
            "Own money needed before the first good part",
            (
                money(t.own_money_needed),
                f"First good part {day(t.first_good_part)}."
                + (
                    f" Largest payment {money(t.largest_payment.amount)} on {day(t.largest_payment.day)}: {t.largest_payment.what}."
                    if t.largest_payment
                    else " Nothing is bought."
                ),
            ),
        ),
        _cash_row(page),
        _payments_row(t),
        _hours_row(page),
        _guarantee_row(page),
    ]
    table = Table(
        f"For “{course.name}”, {_standing(page)}", ("What", "Figure", "And"), tuple(rows), words=(2,), look="ten"
    )
    return Part("ten-numbers", "Ten numbers", (table,))


def _standing(page: Page) -> str:
    if page.comparison.best is None:
        return "the course of highest worth; none can be paid for"
    return (
        "the best course that can be paid for"
        if page.ten.cash_low and page.ten.cash_floor is not None
        else "the best course"
    )


def _lead_row(page: Page) -> Row:
    lead, study = page.ten.lead, page.comparison.scenario.study
    basis = f"Present worth after tax, {study.years} years at {percent(float(study.rate))}."
    if lead.runner_up is None or lead.over_runner_up is None:
        over = "Nothing else can be chosen."
    elif lead.runner_up == "keep":
        over = "Keeping is the next best."
    else:
        over = f"Over the next best, “{lead.runner_up}”: {money(lead.over_runner_up)}."
    if lead.course == "keep" and lead.over_runner_up is not None:
        return Row(
            f"Lead of keeping over the next best, “{lead.runner_up}”", (money(lead.over_runner_up, plus=True), basis)
        )
    return Row(f"Lead of “{lead.course}” over keeping", (money(lead.over_keep, plus=True), f"{over} {basis}"))


def _flip_row(page: Page) -> Row:
    near = page.flips.nearest
    if near is None:
        return Row("Nearest flip", ("none", "No single input, moved alone within what was searched, turns the lead."))
    now, then = charts.in_unit(near.entered, near.unit, exact=True), charts.in_unit(near.flip, near.unit)
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
            f"{now} → {then}",
            f"{charts.flip_label(near)}: at {then} it is level with “{charts.other_course(near, page.course.name)}”. {inside}".rstrip(),
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
    machine = page.comparison.scenario.offers[route.name].machine
    whose = (
        ""
        if t.sale_is_part
        else f"“{page.course.name}” does not sell {machine}; sold by “{route.name}” on {day(route.sold_on)} it would leave this. "
    )
    when = f"Sold {day(route.sold_on)}, paid {day(route.paid_on)}." if t.sale_is_part else f"Paid {day(route.paid_on)}."
    if t.credited_on is not None:
        when += f" Credited to the order of the next machine on {day(t.credited_on)}: until then that dealer's promise."
    shares = "; ".join(
        f"{name} {money(route.tax_by_owner[name])}" for name in route.tax_by_owner if not page.hidden(f"owners.{name}")
    )
    due = "; ".join(f"{money(amount)} on {day(when_due)}" for when_due, amount in route.tax_due)
    lost = route.over_allowance
    end = (
        f"Less {money(lost)} of discount on the next machine that the trade gives up."
        if lost > 0.005
        else "Cash at the closing less that tax."
    )
    if t.credited_on is not None and route.tax > 0:
        end = f"A credit pays no tax: the {money(route.tax)} must come from elsewhere."
    return [
        Row("Cash from the sale, after lender and costs", (money(route.net_cash), whose + when)),
        Row("Tax on the sale alone", (money(route.tax), f"{shares}. Due {due}." if due else "No tax falls due on it.")),
        Row("Left after that tax", (_left(route), end)),
    ]


def _cash_row(page: Page) -> Row:
    low, floor = page.ten.cash_low, page.ten.cash_floor
    if low is None:
        return Row(
            "Lowest cash of the shop",
            ("not tested", "No cash in the bank was given, so whether the shop can pay is not tested."),
        )
    if floor is None:
        return Row(
            "Lowest cash of the shop",
            (money(low.amount), f"{month(low.month)}. No floor was given, so it is not tested."),
        )
    gap = low.amount - floor
    return Row(
        "Lowest cash of the shop",
        (
            money(low.amount),
            f"{month(low.month)}. Floor {money(floor)}: {money(abs(gap))} {'above' if gap >= 0 else 'under'} it.",
        ),
    )


def _payments_row(t: TenNumbers) -> Row:
    if t.payments is None:
        return Row("Loan payments a month", ("", "The study is in whole years."))
    said = f"From {month(t.payments.after_month)}."
    if t.coverage is not None:
        asked = f", {number(t.coverage.required)} asked" if t.coverage.required is not None else ""
        said += f" Coverage in the worst year, {t.coverage.year}: {number(t.coverage.worst)} times{asked} (operating cash before tax and drawings over the year's loan payments)."
    elif t.payments.after < 0.5:
        said += " Nothing is owed then."
    else:
        said += " Coverage is not shown: what the business earns is not in the scenario."
    return Row("Loan payments a month, now and then", (f"{money(t.payments.before)} → {money(t.payments.after)}", said))


def _hours_row(page: Page) -> Row:
    head = "Extra good hours a year that must be sold"
    found = next((h for h in page.flips.extra_hours if h.alternative == page.course.name), None)
    if page.course.name == "keep":
        return Row(head, ("0", "Keeping asks for no further orders."))
    if found is None:
        return Row(head, ("", "Hours and parts are not in the scenario."))
    if found.believed < 0.5:
        return Row(head, ("0", "This course sells no more hours than keeping does."))
    needed = whole(found.needed) if found.needed is not None else f"over {whole(found.believed)}"
    ahead = " It is ahead of keeping without any." if found.needed == 0 else ""
    return Row(head, (needed, f"To come level with keeping; {whole(found.believed)} are believed.{ahead}"))


def _guarantee_row(page: Page) -> Row:
    found = [behind for behind in page.ten.guarantees if behind.owner in page.owners]
    if not found:
        return Row(
            "Guarantees, and the shortfall behind them",
            ("none", "No debt on a machine, or no owners, in the scenario."),
        )
    worst = max(behind.shortfall for behind in found)
    who = "; ".join(
        f"{b.owner} guarantees {'all debts' if b.limit is None else f'up to {money(b.limit)}'}, {money(b.shortfall)} behind it"
        for b in found
    )
    when = (
        f" At its worst in {month(found[0].month)}."
        if found[0].month
        else " A sale of the machines would cover what is owed, all through."
    )
    if not found[0].value_known:
        when += " What the machine would bring is not given, so all that is owed is counted."
    return Row(
        "Guarantees, and the shortfall behind them",
        (money(worst), f"{who}.{when} Joint and several means the whole shortfall."),
    )


def why(page: Page) -> Part:
    """Where the lead comes from: present worth by group, and how it builds up over the years."""
    c, course = page.comparison, page.course
    blocks: list[Block] = []
    against = c.keep if course is not c.keep else c.runner_up
    if against is not None:
        difference = course - against
        rows = [
            Row(group[:1].upper() + group[1:], (money(value, plus=True), GROUP_WORDS[group]))
            for group, value in difference.by_group.items()
            if abs(value) >= 0.5
        ]
        rows.append(Row("All together", (money(difference.npv, plus=True), ""), "total"))
        blocks.append(
            Table(
                f"Present worth of “{course.name}” less that of “{against.name}”, by what the money is for, dollars",
                ("Group", "Present worth", "What it is"),
                tuple(rows),
                words=(2,),
            )
        )
    if len(c.outcomes) > 1:
        blocks.append(chart(charts.cumulative_worth(c, charts.blank(7.6, 4.1))))
    return Part("why", "Why", tuple(blocks))


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
        blocks.append(chart(charts.flips(page.flips, charts.blank(7.6, 1.1 + 0.4 * max(len(found), 2)))))
        rows = tuple(
            Row(
                charts.flip_label(flip),
                (
                    charts.in_unit(flip.entered, flip.unit, exact=True),
                    charts.in_unit(flip.flip, flip.unit),
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
    if said := if_nothing_extra_is_sold(page):
        blocks.append(Text(said))
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
                    "" if o is c.keep else money(o.npv_less_keep, plus=True),
                    money(o.annual_worth),
                    "" if o is c.keep else _payback(o),
                    money(o.own_money_needed),
                    f"{money(o.cash_low.amount)}\n{month(o.cash_low.month)}" if o.cash_low else "not tested",
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


def _payback(outcome: Outcome) -> str:
    first, last = outcome.payback_less_keep.first, outcome.payback_less_keep.last
    if first is None or last is None or abs(float(last) - float(first)) < 0.05:
        return years(float(first) if first is not None else None)
    return f"{years(float(first))}\nfor good {number(float(last), 1)}"


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
    settled = route.ledger.workings[f"settlement {sold.machine}"]
    rows = [Row("Price", (cents(route.gross),))]
    rows += [Row("Commission", (cents(-settled["commission"].figure()),))] if settled["commission"].figure() else []
    rows += [Row("Costs of selling", (cents(-settled["costs"].figure()),))] if settled["costs"].figure() else []
    rows += [
        Row("Payoff to the lender", (cents(-route.payoff),)),
        Row("Release of the lien", (cents(-route.other_costs),)),
        Row("Net cash, before tax", (cents(route.net_cash),), "total"),
    ]
    caption = f"Settlement of {sold.machine} by “{route.name}”, sold {day(route.sold_on)}, dollars and cents"
    blocks: list[Block] = [
        chart(charts.settlement(route, charts.blank(7.6, 3.4))),
        Table(caption, ("", "Amount"), tuple(rows), look="narrow"),
    ]
    gain = f"For tax, the amount realized is {money(route.amount_realized)}, the adjusted basis {money(route.adjusted_basis)}, the gain {money(route.gain)}; debt paid off does not lower it."
    blocks.append(Text(gain))
    if len(sold.routes) > 1:
        blocks.append(_offers(page, sold))
    return Part("sale", "Where the price of the machine goes", tuple(blocks))


def _offers(page: Page, sold: SaleResult) -> Table:
    rows = tuple(
        Row(
            r.name,
            (
                money(r.gross),
                money(r.net_cash),
                money(r.over_allowance) if r.over_allowance > 0.005 else "",
                money(r.tax),
                _left(r),
                day(r.paid_on),
            ),
            "best" if page.ten.sale is not None and r.name == page.ten.sale.name else "",
        )
        for r in sold.routes
    )
    columns = ("Offer", "Price", "Net cash", "Lost discount", "Tax", "Left after tax", "Paid on")
    return Table(f"Every offer for {sold.machine}, handed over on {day(sold.date)}, dollars", columns, rows)


def _left(route: RouteResult) -> str:
    left = route.like_for_like
    return money(left) if left >= 0 else f"short by {money(-left)}"


def cash(page: Page) -> Part:
    """The shop's cash by month, with the days on which the course moves money."""
    course = page.course
    blocks: list[Block] = [chart(charts.cash_calendar(course, charts.blank(7.6, 4.0)))]
    rows = tuple(
        Row(
            day(one.day),
            (money(one.net, plus=True), "; ".join(f"{name} {money(amount, plus=True)}" for name, amount in one.parts)),
        )
        for one in one_offs(course)
    )
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


def hours(page: Page) -> Part | None:
    """What an hour of the machine earns; None without parts."""
    stairs = stairs_of(page.comparison)
    if stairs is None:
        return None
    drawn = chart(charts.staircase(stairs, charts.blank(7.6, 4.2)))
    found = hours_of(page.comparison.scenario, page.comparison.evaluation)
    nights = () if found.night is None else (chart(shop_charts.night_survival(found, charts.blank(7.6, 3.6))),)
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
            Row(_plain(page.labels.get(path, path)), (_entered(amount), _provenance(amount)))
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
        blocks += [Text("To know", "subhead"), Bullets(_set(found.notes))]
    return Part("findings", "What else the figures say", tuple(blocks)) if blocks else None


def _set(sentences: Sequence[str]) -> tuple[str, ...]:
    """Return sentences with a capital, a true minus sign and months in words, as the rest of the page has them."""
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
)


def _unbroken(text: str) -> Markup:
    """Return text in which no day and no per cent is broken over two lines."""
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
