"""The parts of the page for the accountant: settlements, gains by book, tax by owner with dates, elections, form lines.

Taxes are shown for every owner, since that is what is asked; what the owners entered of their households is not.
"""

from __future__ import annotations

from equipdecide.cautions import ESTIMATE
from equipdecide.decide.tax_paid import TaxPaid, tax_paid
from equipdecide.plan import Sale
from equipdecide.views import charts
from equipdecide.views.explained import marked
from equipdecide.views.parts import SETTLED, Block, Page, Part, Row, Table, Text
from equipdecide.words import cents, day, listed, whole

LISTED_YEARS = 2  # whose payments are listed day by day


def course(page: Page) -> Part:
    """Which course the papers are of, and how the business is taxed in it."""
    scenario = page.comparison.scenario
    taxed = f"{scenario.shop.name} is taxed as a {scenario.shop.taxed_as}" + (
        f" in {scenario.shop.state.code}" if scenario.shop.state else ""
    )
    regime = (
        ""
        if scenario.regime == "us"
        else " One flat tax rate stands for the law, so there are no forms and no elections."
    )
    return Part(
        "answer",
        "Which course",
        (
            Text(f"The tax of “{page.course.name}”, decided on {day(scenario.decision_date)}.", "lead"),
            Text(f"{taxed}.{regime}"),
            Text(ESTIMATE.text, "warning"),
        ),
    )


def settlements(page: Page) -> Part | None:
    """Each sale of the course to the cent, those at the end of the study last."""
    workings = page.course.ledger.workings
    sales = [
        sale
        for sale in sorted(page.course.plan.sales, key=lambda sale: sale.at_end)
        if f"settlement {sale.machine}" in workings
    ]
    tables = tuple(_settlement(page, sale) for sale in sales)
    return Part("settlements", "Settlements", tables) if tables else None


def _settlement(page: Page, sale: Sale) -> Table:
    w = page.course.ledger.workings[f"settlement {sale.machine}"]
    rows = [
        Row(words, (page.explained.column(page.course, f"{w.name}.{key}", cents(sign * w[key].figure())),), tone)
        for key, words, sign, tone in SETTLED
        if sign > 0 or abs(w[key].figure()) >= 0.005
    ]
    how = "as if sold at the end of the study" if sale.at_end else f"by “{sale.offer_name}”, paid {day(sale.paid_on)}"
    return Table(
        f"{sale.machine}, {how}, sold {day(sale.sold_on)}, dollars and cents",
        ("", "Amount"),
        tuple(rows),
        look="narrow",
    )


def gains(page: Page) -> Part | None:
    """Amount realized, adjusted basis, gain and its character, sale by sale and book by book."""
    rows = []
    keys = ("amount_realized", "adjusted_basis", "gain", "ordinary_recapture", "section_1231")
    by_length = sorted(page.course.plan.sales, key=lambda sale: -len(sale.machine))  # "used sander" before "sander"
    for name, w in page.course.ledger.workings.items():
        sale = next(
            (sale for sale in by_length if name.startswith("gain ") and name.endswith(f" {sale.machine}")), None
        )
        if sale is not None and "ordinary_recapture" in w:
            book = name.removeprefix("gain ").removesuffix(f" {sale.machine}")
            rows.append(
                Row(
                    f"{sale.machine}, {book} book",
                    (
                        day(sale.sold_on),
                        *(page.explained.column(page.course, f"{name}.{key}", whole(w[key].figure())) for key in keys),
                    ),
                )
            )
    if not rows:
        return None
    columns = ("Sale", "Sold", "Realized", "Adjusted basis", "Gain", "Ordinary", "Section 1231")
    return Part(
        "gains",
        "Gain, sale by sale",
        (Table("Gain by book, dollars", columns, tuple(rows)), Text("Debt paid off lowers the cash, not the gain.")),
    )


def taxes(page: Page) -> Part | None:
    """Tax by payer and book in each calendar year of payment, and the first years' payments day by day."""
    course, x, paid = page.course, page.explained, tax_paid(page.course)
    if not paid.payments:
        return Part("taxes", "Tax", (Text("No tax falls due in this course."),))
    years, last = paid.years, page.comparison.evaluation.time.start.year + LISTED_YEARS - 1
    rows = [
        Row(charts.capital(name), tuple(_book_link(page, paid, name, book[year]) for year in years))
        for name, book in paid.by_book().items()
    ]
    together = [
        x.told(("taxes",), f"“{course.name}”: tax of all payers and books", whole(amount), "The column added up.")
        for amount in paid.together().values()
    ]
    rows.append(Row("All together", tuple(together), "total"))
    blocks: list[Block] = [
        Text(
            "What the course itself changes or bears, as the scenario has it: of owners whose other income is not "
            "entered it is the tax on the business alone. A figure below zero lowers what is paid or comes back."
        ),
        Table("Tax by payer and book, by calendar year of payment, dollars", ("Tax", *map(str, years)), tuple(rows)),
    ]
    listed_rows = tuple(
        Row(day(one.day), (one.line, x.line(course, course.line(one.line, one.purse), whole(one.amount))))
        for one in paid.until(last)
    )
    if listed_rows:
        caption = f"Days of payment up to the end of {last}, dollars"
        blocks.append(Table(caption, ("Day", "What", "Amount"), listed_rows, words=(1,)))
    route = page.ten.sale
    if route is not None and page.ten.sale_is_part and route.tax_due:
        each = [x.column(route, f"tax on the sale {o}.tax", whole(amount)) for o, amount in route.tax_by_owner.items()]
        shares = listed(f"{owner} {figure}" for owner, figure in zip(route.tax_by_owner, each, strict=True))
        due = listed(f"{whole(amount)} on {day(when)}" for when, amount in route.tax_due)
        said = f"Of it, tax on the sale by “{route.name}” alone: {shares}; due {due}."
        blocks.append(Text(marked(said, *each)))
    return Part("taxes", "Tax by owner and book", tuple(blocks))


def _book_link(page: Page, paid: TaxPaid, name: str, amount: float) -> str:
    lines = dict.fromkeys(one.line for one in paid.payments if one.book == name)
    return page.explained.told(
        ("tax of", name),
        f"“{page.course.name}”: {name}, by calendar year of payment",
        whole(amount),
        f"Added up: the payments of the lines {listed(lines)}.",
        "Each is the return of this course less the return without the machines in question; the days are those of the law.",
    )


def elections(page: Page) -> Part | None:
    """What may still be elected, and by which day."""
    papers = page.papers
    if papers is None or not papers.elections:
        return None
    rows = tuple(
        Row(day(one.last_day), (charts.capital(one.what), one.about, f"{charts.capital(one.how)}. {one.source}."))
        for one in papers.elections
    )
    return Part(
        "elections",
        "Elections and their last days",
        (
            Table(
                "What may still be elected, by last day",
                ("Last day", "Election", "About", "How, and by what law"),
                rows,
                words=(1, 2, 3),
            ),
        ),
    )


def forms(page: Page) -> Part | None:
    """Where the figures land: lines of the forms, one column a tax year."""
    papers = page.papers
    if papers is None or not papers.lines:
        return None
    years = sorted({year for year, _ in papers.lines})
    found: dict[tuple[str, str, str, str], dict[int, str]] = {}
    for year, one in papers.lines:
        found.setdefault((one.form, one.line, one.meaning, one.about), {})[year] = page.explained.told(
            ("form", one.form, one.line),
            f"Form {one.form}, line {one.line}: {one.meaning}",
            whole(one.amount),
            "Read off the books and returns of the course in the tax year, and put where the form has it.",
            f"Source of the line: {one.source}.",
        )
    first = min(years)
    blocks = []
    for k in range(0, len(years), 5):  # five years to a table: more do not fit a printed page
        shown = years[k : k + 5]
        rows = tuple(
            Row(
                f"{form}, line {line}: {meaning}" + (f" ({about})" if about else ""),
                tuple(amounts.get(year, "") for year in shown),
            )
            for (form, line, meaning, about), amounts in found.items()
            if set(amounts) & set(shown)
        )
        blocks.append(
            Table(
                f"Lines of the forms of 2025, tax years {shown[0]} to {shown[-1]}, dollars",
                ("Form and line", *map(str, shown)),
                rows,
            )
        )
    said = (
        f"Lines are those of the forms of 2025, for all tax years from {first} on: a preparer confirms every line on "
        f"the forms of the year."
    )
    return Part("forms", "Form lines", (Text(said), *blocks))
