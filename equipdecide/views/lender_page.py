"""The parts of the page for a lender: funds, debts, collateral, coverage, guarantees of the course
the page is about.
"""

from __future__ import annotations

from equipdecide.decide.lender import CoverageYear
from equipdecide.views import charts
from equipdecide.views.explained import marked
from equipdecide.views.lending import customer_words, downside_words
from equipdecide.views.parts import Block, Bullets, Page, Part, Row, Table, Text
from equipdecide.words import day, listed, money, month, percent, times

GROUPS = {
    "operating": "what the work brings, less upkeep",
    "tax": "taxes",
    "between purses": "money the owners draw",
    "debt service": "loan and lease payments",
    "investment": "machines bought and sold",
    "payoff": "balances paid off",
    "borrowing": "loans taken",
}


# how the figures of each column are made
HOW = {
    "funds": "Cash flows of the course up to the first good part, by what they are for; own money is what is left over, "
    "so that sources equal uses.",
    "cash": "The shop's cash day by day: cash in the bank, and every dated cash flow of the course; flows without a day "
    "are spread over their month.",
    "balance": "What is owed on the day of decision by the lender's letter, else by the schedule; nothing where the loan is not yet taken.",
    "amount": "As entered with the loan or the offer of money.",
    "payment": "The level payment of the schedule, to the cent, or as entered.",
    "value": "What the machine would bring in an orderly sale: from today's value, or the price paid, down to the value "
    "entered for the end, by the same share each year.",
    "owed": "The balance of all debts on the machine by their schedules on that day.",
    "left": "What it would bring less what is owed.",
    "available": "Cash of the shop in the calendar year, by the groups named above the table as available.",
    "service": "Loan and lease payments of the shop in the calendar year.",
    "coverage": "Cash available over payments.",
    "share": "As entered.",
    "exposure": "Debt on the machines above what they would bring, in the month in which it is largest, up to what the owner guarantees.",
}


def _linked(page: Page, how: str, what: str, text: str, *more: str) -> str:
    """Return a figure as a link to how the figures of its column are made."""
    return page.explained.told(("lender", how), f"“{page.course.name}”: {what}", text, HOW[how], *more)


def caption(page: Page) -> Part:
    """What the page is, and the cash of the shop at the closing."""
    view = page.lender
    blocks: list[Block] = [Text(f"What “{page.course.name}” asks of a lender, and what stands behind it.", "lead")]
    if view is None:
        blocks.append(Text("The study is in whole years; coverage and collateral need months.", "warning"))
        return Part("answer", "What is asked", tuple(blocks))
    blocks.append(Text(view.caption, "warning"))
    new = [debt for debt in view.debts if debt.balance < 0.005]
    lent = [_linked(page, "amount", "amounts lent and rates", money(debt.amount)) for debt in new]
    asked = [f"{a} from {debt.lender} on {debt.machine} ({debt.name})" for a, debt in zip(lent, new, strict=True)]
    blocks.append(Text(marked(f"New money: {listed(asked)}.", *lent) if asked else "No new money is asked for."))
    if view.cash_after_closing is None or view.lowest_cash is None:
        blocks.append(Text("No cash in the bank was given, so cash after closing is not shown."))
    else:
        after, low = (
            _linked(page, "cash", "cash of the shop", money(amount))
            for amount in (view.cash_after_closing, view.lowest_cash)
        )
        said = (
            f"Cash of the shop after closing on {day(view.closing_on)}: {after}. Lowest: {low} on "
            f"{day(view.lowest_cash_on)}."
        )
        blocks.append(Text(marked(said, after, low)))
    return Part("answer", "What is asked", tuple(blocks))


def funds(page: Page) -> Part | None:
    """Use and source of funds."""
    view = page.lender
    if view is None or not view.uses:
        return None
    uses = [
        Row(charts.capital(use.what), (_fund(page, use.amount), "does not come back at a sale" if use.soft else ""))
        for use in view.uses
    ]
    sources = [Row(charts.capital(source.what), (_fund(page, source.amount),)) for source in view.sources]
    blocks = (
        Table(
            "Use of funds, dollars",
            ("Use", "Amount", "In words"),
            (*uses, Row("All together", (_fund(page, view.funds), ""), "total")),
            words=(2,),
        ),
        Table(
            "Source of funds, dollars",
            ("Source", "Amount"),
            (*sources, Row("All together", (_fund(page, view.funds),), "total")),
            look="narrow",
        ),
    )
    return Part("funds", "Use and source of funds", blocks)


def _fund(page: Page, amount: float) -> str:
    return _linked(page, "funds", "use and source of funds", money(amount))


def debts(page: Page) -> Part | None:
    """Every debt of the course on the day of decision and after."""
    view = page.lender
    if view is None:
        return None
    rows = tuple(
        Row(
            debt.name,
            (
                debt.lender,
                _linked(page, "balance", "balances now", money(debt.balance)) if debt.balance >= 0.005 else "new",
                _linked(page, "amount", "amounts lent and rates", money(debt.amount)),
                _linked(page, "amount", "amounts lent and rates", percent(debt.rate, 2)),
                _linked(page, "payment", "payments a month", money(debt.payment)),
                day(debt.last_payment),
                debt.lien,
            ),
        )
        for debt in view.debts
    )
    if not rows:
        return Part("debts", "Debts", (Text("Nothing is owed on the machines of this course."),))
    columns = ("Debt", "Lender", "Balance now", "Amount lent", "Rate", "A month", "Last payment", "Lien")
    return Part(
        "debts",
        "Debts",
        (Table("Debts on the machines, as entered and as asked for, dollars", columns, rows, words=(1, 7)),),
    )


def collateral(page: Page) -> Part | None:
    """What each machine would bring in an orderly sale against what is owed on it, year by year."""
    view = page.lender
    if view is None or not view.collateral:
        return None
    rows = tuple(
        Row(
            f"{one.machine}, year {one.year}",
            (
                day(one.on),
                _linked(page, "value", "what the machines would bring", money(one.value)),
                _linked(page, "owed", "what is owed on the machines", money(one.owed)),
                _linked(page, "left", "what an orderly sale would leave", money(one.left, plus=True)),
                "yes" if one.covered else "no",
            ),
        )
        for one in view.collateral
    )
    columns = ("Machine", "Day", "Would bring", "Owed", "Left", "Covered")
    return Part(
        "collateral",
        "Collateral against the balance",
        (
            Table(
                "Orderly sale against the balance, year by year from the day it is paid for, dollars",
                columns,
                rows,
                words=(5,),
            ),
        ),
    )


def coverage(page: Page) -> Part | None:
    """Coverage by full year, as entered and in the downside, with what it counts."""
    view = page.lender
    if view is None or not view.coverage:
        return None
    words = view.definition
    said = (
        f"Coverage is {words.name}: {listed(GROUPS[g] for g in words.available)} over "
        f"{listed(GROUPS[g] for g in words.service)}. Left out: {listed(GROUPS[g] for g in words.leaves_out)}."
    )
    asked = page.explained.input("shop.coverage_required", times(view.required)) if view.required is not None else ""
    said += (
        f" Asked: {asked} times."
        if view.required is not None
        else " No coverage to be met is entered; the lender's own applies."
    )
    bad = {one.year: one for one in view.downside}
    columns: tuple[str, ...] = ("Year", "Cash available", "Payments", "Coverage")
    if bad:
        columns += ("Available, downside", "Coverage, downside")
    rows = tuple(
        Row(
            str(one.year),
            (
                _linked(page, "available", "cash available", money(one.available)),
                _linked(page, "service", "payments", money(one.service)),
                _linked(page, "coverage", "coverage", _times(one)),
            )
            + (
                (
                    _linked(page, "available", "cash available", money(bad[one.year].available)),
                    _linked(page, "coverage", "coverage", _times(bad[one.year])),
                )
                if bad
                else ()
            ),
        )
        for one in view.coverage
    )
    blocks: list[Block] = [
        Text(marked(said, asked)),
        Table("Coverage in each full year, dollars and times", columns, rows),
    ]
    told = [text for text in downside_words(view) if not any(page.hidden(path) for path in view.downside_inputs)]
    if told:
        blocks += [Text(told[0]), Bullets(tuple(told[1:]))]
    return Part("coverage", "Coverage", tuple(blocks))


def customers(page: Page) -> Part | None:
    """How much hangs on the largest customer and on each contract."""
    said = customer_words(page.lender) if page.lender is not None else []
    return Part("customers", "Customers", (Bullets(tuple(said)),)) if said else None


def _times(year: CoverageYear) -> str:
    return "nothing owed" if year.coverage is None else times(year.coverage)


def guarantees(page: Page) -> Part | None:
    """Who guarantees how much, and the largest shortfall behind it. What a lender is to know of the
    owners, and no more.
    """
    view = page.lender
    if view is None or not view.guarantees:
        return None
    rows = []
    for one in view.guarantees:
        limit = "" if one.limit is None else _linked(page, "share", "shares and guarantees", money(one.limit))
        cells = (
            _linked(page, "share", "shares and guarantees", percent(one.share)),
            marked(f"up to {limit}", limit) if limit else "all debts",
            _linked(page, "exposure", "shortfall behind a guarantee", money(one.exposure)),
            month(one.month) if one.exposure >= 0.5 else "",
        )
        rows.append(Row(one.owner, cells))
    table = Table(
        "Guarantees of the owners, dollars",
        ("Owner", "Share", "Guarantees", "Largest shortfall behind it", "In"),
        tuple(rows),
        words=(2,),
    )
    return Part(
        "guarantees",
        "Guarantees",
        (table, Text("The shortfall is debt on the machines above what they would bring. A forced sale brings less.")),
    )


def findings(page: Page) -> Part | None:
    """What the lender's figures themselves say, warnings first; the caption is said above."""
    view = page.lender
    found = [f for f in view.findings if f.code != "one_machine_only" and not page.hidden(f.about)] if view else []
    said = [f.text for f in sorted(found, key=lambda f: f.weight != "warning")]
    return (
        Part("findings", "What else the figures say", (Bullets(tuple(charts.capital(text) for text in said)),))
        if said
        else None
    )
