"""The parts of the page for the accountant: settlements, gains by book, tax by owner with dates, elections, form lines.

Taxes are shown for every owner, since that is what is asked; what the owners entered of their households is not.
"""

from __future__ import annotations

from equipdecide.cautions import ESTIMATE
from equipdecide.ledger import Line
from equipdecide.plan import Sale
from equipdecide.views import charts
from equipdecide.views.parts import Block, Page, Part, Row, Table, Text
from equipdecide.words import cents, day, listed, whole

LISTED_YEARS = 2  # whose payments are listed day by day
SETTLED = (
    ("commission", "Commission"),
    ("costs", "Costs of selling"),
    ("payoff", "Payoff to the lender"),
    ("release", "Release of the lien"),
)


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
    rows = [Row("Price", (cents(w["gross"].figure()),))]
    rows += [Row(words, (cents(-w[key].figure()),)) for key, words in SETTLED if abs(w[key].figure()) >= 0.005]
    rows.append(Row("Net cash, before tax", (cents(w["net_cash"].figure()),), "total"))
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
                Row(f"{sale.machine}, {book} book", (day(sale.sold_on), *(whole(w[key].figure()) for key in keys)))
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
    start = page.comparison.evaluation.time.start
    lines = [line for line in page.course.ledger.lines if line.group == "tax" and line.dates is not None]
    by_book: dict[str, dict[int, float]] = {}
    days: dict[tuple[str, str], float] = {}
    for line in lines:
        for when, amount in zip(line.dates or (), line.amounts(), strict=True):
            if when >= start and abs(amount) >= 0.005:
                book = by_book.setdefault(_book(line), {})
                book[when.year] = book.get(when.year, 0.0) - float(amount)
                if when.year < start.year + LISTED_YEARS:
                    days[(day(when), line.name)] = days.get((day(when), line.name), 0.0) - float(amount)
    if not by_book:
        return Part("taxes", "Tax", (Text("No tax falls due in this course."),))
    years = sorted({year for book in by_book.values() for year in book})
    rows = [
        Row(charts.capital(name), tuple(whole(book.get(year, 0.0)) for year in years)) for name, book in by_book.items()
    ]
    rows.append(
        Row(
            "All together",
            tuple(whole(sum(book.get(year, 0.0) for book in by_book.values())) for year in years),
            "total",
        )
    )
    blocks: list[Block] = [
        Text(
            "What the course itself changes or bears, as the scenario has it: of owners whose other income is not entered it is the tax on the business alone. A figure below zero lowers what is paid or comes back."
        ),
        Table("Tax by payer and book, by calendar year of payment, dollars", ("Tax", *map(str, years)), tuple(rows)),
    ]
    listed_rows = tuple(Row(when, (name, whole(amount))) for (when, name), amount in sorted(days.items()))
    if listed_rows:
        blocks.append(
            Table(
                f"Days of payment up to the end of {start.year + LISTED_YEARS - 1}, dollars",
                ("Day", "What", "Amount"),
                listed_rows,
                words=(1,),
            )
        )
    route = page.ten.sale
    if route is not None and page.ten.sale_is_part and route.tax_due:
        shares = listed(f"{owner} {whole(amount)}" for owner, amount in route.tax_by_owner.items())
        due = listed(f"{whole(amount)} on {day(when)}" for when, amount in route.tax_due)
        blocks.append(Text(f"Of it, tax on the sale by “{route.name}” alone: {shares}; due {due}."))
    return Part("taxes", "Tax by owner and book", tuple(blocks))


def _book(line: Line) -> str:
    return line.name.partition(",")[0]


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
    found: dict[tuple[str, str, str, str], dict[int, float]] = {}
    for year, one in papers.lines:
        found.setdefault((one.form, one.line, one.meaning, one.about), {})[year] = one.amount
    first = min(years)
    blocks = []
    for k in range(0, len(years), 5):  # five years to a table: more do not fit a printed page
        shown = years[k : k + 5]
        rows = tuple(
            Row(
                f"{form}, line {line}: {meaning}" + (f" ({about})" if about else ""),
                tuple(whole(amounts[year]) if year in amounts else "" for year in shown),
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
    said = f"Lines are those of the forms of 2025, for all tax years from {first} on: a preparer confirms every line on the forms of the year."
    return Part("forms", "Form lines", (Text(said), *blocks))
