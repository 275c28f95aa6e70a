"""Depreciation of each cost item in each book, from the printed tables, with the part year of disposal.

Form 4562. Table percentages are of the unadjusted basis left after section 179 and bonus. In the year of disposal the
convention allows part of the year (half; by quarter); in a table's own last year the printed percentage is the part
year already. Placed in service and disposed of in the same year: no depreciation at all.
"""

from __future__ import annotations

from functools import lru_cache

from equipdecide import calendar as cal
from equipdecide.calendar import ONE, Axis, Date
from equipdecide.ledger import Column, Draft, Origin, Working
from equipdecide.parameters import Law
from equipdecide.plan import Plan
from equipdecide.scenario.amounts import Amount
from equipdecide.tax.elections import Election, describe


def book_name(election: Election, book: str) -> str:
    """Return the name of the working of one cost item in one book."""
    return f"{book} book of {election.possession.name}"


@lru_cache(maxsize=256)
def disposal_fraction(law: Law, convention: str, quarter: int) -> float:
    """Return the share of a full year's depreciation allowed in the year of disposal."""
    for row in law.rows("federal/disposal_year_fractions"):
        kind, when = str(row["convention"]), str(row["quarter_of_disposal"])
        if convention.startswith(kind) and when in ("any", str(quarter)):
            return float(str(row["fraction"]))
    raise LookupError(f"no disposal fraction for {convention}, quarter {quarter}")


def _in_year(law: Law, election: Election, axis: Axis, flat: bool) -> tuple[list[float], list[float]]:
    """Return percentages and allowed shares by row of the axis."""
    item, percents, shares = election.possession, [], []
    for row, end in enumerate(axis.ends):
        if flat:
            year = _year_of_use(item.in_service, axis, row)
            last = axis.starts[row] <= item.disposed <= end
            gone = item.disposed < axis.starts[row]
        else:
            year = end.year - item.in_service.year
            last, gone = end.year == item.disposed.year, end.year > item.disposed.year
        percents.append(election.percents[year] if 0 <= year < len(election.percents) else 0.0)
        share = 1.0
        if gone or (item.in_service.year == item.disposed.year and not flat):
            share = 0.0
        elif last and election.table is not None and year < len(election.percents) - 1:
            share = disposal_fraction(law, election.convention, (item.disposed.month + 2) // 3)
        shares.append(share)
    return percents, shares


def _year_of_use(in_service: Date, axis: Axis, row: int) -> int:
    """Return the year of use (0 is the first) that ends with a row of the textbook regime; -1 for period 0, a single day."""
    if axis.starts[row] == axis.ends[row]:
        return -1
    return round((axis.ends[row] - in_service).days / 365.25) - 1


def depreciate(draft: Draft, plan: Plan, law: Law, elections: list[Election], books: dict[str, bool]) -> None:
    """Post each cost item's depreciation in each book. `books` tells, by name, whether bonus counts in that book."""
    for election in elections:
        for book, with_bonus in books.items():
            w = _book(draft, plan, law, election, book, with_bonus)
            draft.taxed(f"depreciation of {election.possession.name}", w["depreciation"], -1, book)


def _cost(draft: Draft, election: Election) -> Column:
    item = election.possession
    if item.asset is not None:
        return draft.input(item.asset.cost)
    assert item.purchase is not None
    return draft[f"purchase {item.purchase.name}"]["basis"]


def _book(draft: Draft, plan: Plan, law: Law, election: Election, book: str, with_bonus: bool) -> Working:
    item, flat = election.possession, plan.time.flat
    if flat:
        axis, first = plan.time.tax, None
    else:
        axis = _years(min(item.in_service.year, plan.time.tax.starts[0].year), plan.time.tax)
        first = item.in_service.year
    w = draft.working(book_name(election, book), axis, f"{item.name}: {describe(election)}", "depreciation")
    w.formula("cost", "paid", "USD", "cost for tax", ONE, paid=_cost(draft, election))
    elected = election.section_179
    if election.expensed:
        w.formula("section_179", "cost", "USD", "deducted at once as a small item", ONE)
    elif elected == "all":
        w.formula("section_179", "cost", "USD", "section 179 elected on all of it", ONE)
    elif isinstance(elected, Amount):
        w.formula("section_179", "min(elected, cost)", "USD", "section 179 elected", ONE, elected=draft.input(elected))
    else:
        w.formula("section_179", "0", "USD", "no section 179", ONE)
    if not with_bonus or election.expensed:
        w.given("bonus_rate", 0.0, "1", "bonus rate in this book", Origin("choice", f"{book} book"), ONE)
    elif isinstance(election.bonus, Amount):
        w.formula("bonus_rate", "rate", "1", "bonus rate as entered", ONE, rate=draft.input(election.bonus))
    else:
        w.given("bonus_rate", election.bonus, "1", "bonus rate by law", Origin("law", "federal/bonus_rates", election.bonus_source, "read"), ONE)
    w.formula("bonus", "cents((cost - section_179) * bonus_rate)", "USD", "bonus depreciation", ONE)
    salvage = _salvage(draft, election)
    keeps = salvage is not None and not election.declining  # declining balance stops at salvage, it does not start from it
    w.formula("table_basis", "cost - section_179 - bonus - salvage" if keeps else "cost - section_179 - bonus", "USD", "basis the depreciation runs on", ONE, **({"salvage": salvage} if keeps and salvage else {}))
    percents, shares = _in_year(law, election, axis, flat)
    w.given("allowed", shares, "1", "share of the year allowed", Origin("choice", f"disposed of {item.disposed}"), axis)
    if election.declining:
        _declining_balance(w, election, axis, salvage)
    else:
        _by_percentages(w, election, axis, percents, first)
    w.formula("taken", "total(depreciation)" if not flat else "total(depreciation) + before", "USD", "depreciation taken up to the sale", ONE, **({"before": _before(w, plan, election)} if flat else {}))
    w.formula("adjusted_basis", "cost - taken", "USD", "adjusted basis at the sale", ONE)
    return w


def _by_percentages(w: Working, election: Election, axis: Axis, percents: list[float], first: int | None) -> None:
    """Depreciation by a table; `first` is the tax year placed in service, None in the textbook regime."""
    item = election.possession
    source = str(election.table.source) if election.table else "textbook method"
    w.given("percent", percents, "%", f"table percentage, {election.life}-year, {election.convention}", Origin("law", "federal/macrs", source, election.table.status if election.table else "read"), axis)
    same_year = item.in_service.year == item.disposed.year
    at_once = [1.0 if first is not None and int(label) == first and not same_year else 0.0 for label in axis.labels]
    w.given("first_year", at_once, "1", "the year it is placed in service", Origin("choice", f"in service {item.in_service}"), axis)
    w.formula(
        "depreciation",
        "first_year * (section_179 + bonus) + cents(table_basis * percent / 100 * allowed)",
        "USD",
        "depreciation of the year, section 179 and bonus included",
    )


def _declining_balance(w: Working, election: Election, axis: Axis, salvage: Column | None) -> None:
    """Double declining balance, never below salvage, with straight line over the years left once that is more.

    The rate is of what is left of the whole cost; salvage is not deducted first. Standard texts of engineering economy.
    """
    item, life = election.possession, election.life
    ages = cal.listed("year of use", [str(k + 1) for k in range(life)])
    w.given("years_left", [float(life - k) for k in range(life)], "year", "years of the life left", Origin("calendar", f"{life} years"), ages)
    w.formula(
        "left",
        f"min(max(prev(left, table_basis) - max(prev(left, table_basis) * 2 / {life}, (prev(left, table_basis) - salvage) / years_left), salvage), prev(left, table_basis))",
        "USD",
        "not yet depreciated at the end of the year of use",
        ages,
        salvage=salvage if salvage is not None else 0.0,
    )
    w.formula("by_year_of_use", "cents(prev(left, table_basis) - left)", "USD", "depreciation by year of use", ages)
    rows = [float(_year_of_use(item.in_service, axis, row)) for row in range(len(axis))]
    w.given("year_of_use", rows, "1", "full years of use before this period", Origin("choice", f"in service {item.in_service}"), axis)
    w.formula("depreciation", "cents(pick(by_year_of_use, year_of_use) * allowed)", "USD", "depreciation of the year")


def _before(w: Working, plan: Plan, election: Election) -> Column:
    """Textbook regime: depreciation of the years before the study."""
    item = election.possession
    passed = round((plan.time.start - item.in_service).days / 365.25) if item.in_service < plan.time.start else 0
    origin = Origin("choice", f"in service {item.in_service}")
    if election.declining:
        done = w.given("before_study", [1.0 if k < passed else 0.0 for k in range(election.life)], "1", "years of use before the study", origin, w["left"].axis)
        return w.formula("before", "weighted(by_year_of_use, done)", "USD", "depreciation taken before the study", ONE, done=done)
    w.given("percent_before", sum(election.percents[:passed]), "%", "percentage taken before the study", origin, ONE)
    return w.formula("before", "cents(table_basis * percent_before / 100)", "USD", "depreciation taken before the study", ONE)


def _salvage(draft: Draft, election: Election) -> Column | None:
    item = election.possession
    if item.asset is not None:
        return draft.input(item.asset.salvage) if item.asset.salvage else None
    method = getattr(item.purchase.source, "depreciation", None) if item.purchase else None
    return draft.input(method.salvage) if method and method.salvage else None


@lru_cache(maxsize=256)
def _years(first: int, tax: Axis) -> Axis:
    """Return the calendar years from the first year in service to the last tax year: one axis object a first year."""
    return tax if first == tax.starts[0].year else cal.calendar_years(first, tax.starts[-1].year)
