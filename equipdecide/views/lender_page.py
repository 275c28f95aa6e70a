"""The parts of the page for a lender: funds, debts, collateral, coverage, guarantees of the course the page is about."""

from __future__ import annotations

from equipdecide.decide.lender import CoverageYear
from equipdecide.views import charts
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


def caption(page: Page) -> Part:
    """What the page is, and the cash of the shop at the closing."""
    view = page.lender
    blocks: list[Block] = [Text(f"What “{page.course.name}” asks of a lender, and what stands behind it.", "lead")]
    if view is None:
        blocks.append(Text("The study is in whole years; coverage and collateral need months.", "warning"))
        return Part("answer", "What is asked", tuple(blocks))
    blocks.append(Text(view.caption, "warning"))
    asked = [
        f"{money(debt.amount)} from {debt.lender} on {debt.machine} ({debt.name})"
        for debt in view.debts
        if debt.balance < 0.005
    ]
    blocks.append(Text(f"New money: {listed(asked)}." if asked else "No new money is asked for."))
    if view.cash_after_closing is None or view.lowest_cash is None:
        blocks.append(Text("No cash in the bank was given, so cash after closing is not shown."))
    else:
        blocks.append(
            Text(
                f"Cash of the shop after closing on {day(view.closing_on)}: {money(view.cash_after_closing)}. Lowest: {money(view.lowest_cash)} on {day(view.lowest_cash_on)}."
            )
        )
    return Part("answer", "What is asked", tuple(blocks))


def funds(page: Page) -> Part | None:
    """Use and source of funds."""
    view = page.lender
    if view is None or not view.uses:
        return None
    uses = [
        Row(charts.capital(use.what), (money(use.amount), "does not come back at a sale" if use.soft else ""))
        for use in view.uses
    ]
    sources = [Row(charts.capital(source.what), (money(source.amount),)) for source in view.sources]
    blocks = (
        Table(
            "Use of funds, dollars",
            ("Use", "Amount", "And"),
            (*uses, Row("All together", (money(view.funds), ""), "total")),
            words=(2,),
        ),
        Table(
            "Source of funds, dollars",
            ("Source", "Amount"),
            (*sources, Row("All together", (money(view.funds),), "total")),
            look="narrow",
        ),
    )
    return Part("funds", "Use and source of funds", blocks)


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
                money(debt.balance) if debt.balance >= 0.005 else "new",
                money(debt.amount),
                percent(debt.rate, 2),
                money(debt.payment),
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
                money(one.value),
                money(one.owed),
                money(one.value - one.owed, plus=True),
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
    said = f"Coverage is {words.name}: {listed(GROUPS[g] for g in words.available)} over {listed(GROUPS[g] for g in words.service)}. Left out: {listed(GROUPS[g] for g in words.leaves_out)}."
    said += (
        f" Asked: {times(view.required)} times."
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
            (money(one.available), money(one.service), _times(one))
            + ((money(bad[one.year].available), _times(bad[one.year])) if bad else ()),
        )
        for one in view.coverage
    )
    blocks: list[Block] = [Text(said), Table("Coverage in each full year, dollars and times", columns, rows)]
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
    """Who guarantees how much, and the largest shortfall behind it. What a lender is to know of the owners, and no more."""
    view = page.lender
    if view is None or not view.guarantees:
        return None
    rows = tuple(
        Row(
            one.owner,
            (
                percent(one.share),
                "all debts" if one.limit is None else f"up to {money(one.limit)}",
                money(one.exposure),
                month(one.month) if one.exposure >= 0.5 else "",
            ),
        )
        for one in view.guarantees
    )
    table = Table(
        "Guarantees of the owners, dollars",
        ("Owner", "Share", "Guarantees", "Largest shortfall behind it", "In"),
        rows,
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
