"""Depreciation of each cost item in each book, from the printed tables, with the part year of disposal.

Form 4562. Table percentages are of the unadjusted basis left after section 179 and bonus. In the year of disposal the
convention allows part of the year (half; by quarter); in a table's own last year the printed percentage is the part
year already, and of it counts what lies before the disposal. Placed in service and disposed of in the same year: no
depreciation at all.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

from equipdecide import calendar as cal
from equipdecide.calendar import ONE, Axis, Date
from equipdecide.ledger import Column, Draft, Origin, Working
from equipdecide.parameters import Law
from equipdecide.plan import Plan
from equipdecide.scenario.amounts import Amount
from equipdecide.tax.books import Book
from equipdecide.tax.elections import AS_FILED, Election, business_use_floor, describe, elect, method_of
from equipdecide.tax.section_179 import limit_of_year, use_recapture
from equipdecide.tax.without_tables import Rates, by_rates, first_months


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
        elif last:
            share = _part_of_last_year(law, election, year)
        shares.append(share)
    return percents, shares


def _part_of_last_year(law: Law, election: Election, year: int) -> float:
    """Return the part of the year of disposal that the convention allows.

    In a table's own last year the printed percentage is for the time up to the end of the recovery period: of that, the
    part up to the disposal. By rates the years left see to it.
    """
    item = election.possession
    if election.table is None and election.rates is None and election.bonus_source != AS_FILED:
        return 1.0
    part = disposal_fraction(law, election.convention, (item.disposed.month + 2) // 3)
    if election.rates is not None or year < len(election.percents) - 1:
        return part
    if election.table is None:
        return 1.0
    rest = Rates(0.0, election.life, first_months(None, item.in_service, election.convention), "").years_left(year)
    return min(part / rest, 1.0) if rest else 1.0


def _year_of_use(in_service: Date, axis: Axis, row: int) -> int:
    """Return the year of use (0 is the first) that ends with a row of the textbook regime; -1 for
    period 0, a single day.
    """
    if axis.starts[row] == axis.ends[row]:
        return -1
    return round((axis.ends[row] - in_service).days / 365.25) - 1


def depreciate(
    draft: Draft, plan: Plan, law: Law, elections: list[Election], books: Sequence[Book], index_rate: float
) -> None:
    """Post each cost item's depreciation in each book and tell the returns, section 179 apart from the rest."""
    for book in books:
        own = elections if book.state is None else elect(law, plan, book.limit, False, True)
        made = [_open(draft, plan, election, book) for election in own]
        stands = {} if plan.time.flat else _stands(draft, plan, law, own, book, made, index_rate)
        for election, w in zip(own, made, strict=True):
            _depreciate(draft, plan, law, election, book, w, stands.get(election.possession.in_service.year, 1.0))


def _stands(
    draft: Draft, plan: Plan, law: Law, elections: list[Election], book: Book, made: list[Working], index_rate: float
) -> dict[int, Column | float]:
    """Return, by year of elections, the share of section 179 elected that the dollar limit lets stand.

    In the federal book what was elected before the first tax year of the study stands on a filed return as entered.
    """
    if book.limit is None:
        return {}
    years = {e.possession.in_service.year for e in elections if e.section_179 != "none" and not e.expensed}
    found: dict[int, Column | float] = {}
    for year in sorted(years):
        if book.state is None and year < plan.time.first_tax_year:
            continue
        placed = [
            w for e, w in zip(elections, made, strict=True) if e.possession.in_service.year == year and not e.expensed
        ]
        found[year] = limit_of_year(draft, law, book.name, year, index_rate, book.limit, placed)
    return found


def _cost(draft: Draft, election: Election) -> Column:
    item = election.possession
    if item.asset is not None:
        return draft.input(item.asset.cost)
    assert item.purchase is not None
    return draft[f"purchase {item.purchase.name}"]["basis"]


def _open(draft: Draft, plan: Plan, election: Election, book: Book) -> Working:
    """Open the working of one item in one book with its cost for tax and what of it is elected under section 179."""
    item = election.possession
    axis = (
        plan.time.tax
        if plan.time.flat
        else _years(min(item.in_service.year, plan.time.tax.starts[0].year), plan.time.tax)
    )
    w = draft.working(book_name(election, book.name), axis, f"{item.name}: {describe(election)}", "depreciation")
    use = item.asset.business_use if item.asset is not None else None
    if use is not None:
        w.formula(
            "cost",
            "cents(paid * use)",
            "USD",
            "cost for tax: the share used in the business",
            ONE,
            paid=_cost(draft, election),
            use=draft.input(use),
        )
    else:
        w.formula("cost", "paid", "USD", "cost for tax", ONE, paid=_cost(draft, election))
    elected = election.section_179
    if elected == "none" or election.expensed or book.limit is None:
        w.formula("elected", "0", "USD", "no section 179", ONE)
    elif elected == "all":
        w.formula("elected", "cost", "USD", "section 179 elected on all of it", ONE)
    else:
        assert isinstance(elected, Amount)
        w.formula("elected", "min(entered, cost)", "USD", "section 179 elected", ONE, entered=draft.input(elected))
    return w


def _depreciate(
    draft: Draft, plan: Plan, law: Law, election: Election, book: Book, w: Working, stands: Column | float
) -> None:
    item, flat, axis = election.possession, plan.time.flat, w.axis
    first = None if flat else item.in_service.year
    if election.expensed:
        w.formula("at_once", "cost", "USD", "deducted at once as a small item", ONE)
    w.formula(
        "section_179",
        "elected * stands" if isinstance(stands, Column) else "elected",
        "USD",
        "section 179 that stands",
        ONE,
        **({"stands": stands} if isinstance(stands, Column) else {}),
    )
    rate, source = book.bonus(law, election)
    if election.expensed:
        w.given("bonus_rate", 0.0, "1", "nothing is left for bonus", Origin("choice", f"{book.name} book"), ONE)
    elif isinstance(rate, Amount):
        w.formula("bonus_rate", "rate", "1", "bonus rate as entered", ONE, rate=draft.input(rate))
    else:
        w.given("bonus_rate", rate, "1", "bonus rate by law", Origin("law", "federal/bonus_rates", source, "read"), ONE)
    w.formula("bonus", "cents((cost - section_179) * bonus_rate)", "USD", "bonus depreciation", ONE)
    salvage = _salvage(draft, election)
    less = " - at_once" if election.expensed else ""
    keeps = salvage is not None and not election.declining  # declining balance stops at salvage, does not start from it
    text = f"cost - section_179 - bonus{less}" + (" - salvage" if keeps else "")
    w.formula(
        "table_basis",
        text,
        "USD",
        "basis the depreciation runs on",
        ONE,
        **({"salvage": salvage} if keeps and salvage else {}),
    )
    percents, shares = _in_year(law, election, axis, flat)
    w.given(
        "allowed",
        _with_use(election, axis, shares),
        "1",
        "share of the year allowed",
        Origin("choice", f"disposed of {item.disposed}"),
        axis,
    )
    if election.declining:
        _declining_balance(w, election, axis, salvage)
    before = _before(w, plan, election) if flat else None
    more = _on_what_is_put_back(w, plan, law, election, axis, shares)
    if election.rates is not None:
        _by_rates(draft, w, election, axis, shares, more)
    elif not election.declining:
        _by_percentages(w, election, axis, percents, first, before, more)
    about = f"depreciation of {item.name}"
    if (
        first is not None
        and first >= plan.time.first_tax_year
        and election.section_179 != "none"
        and not election.expensed
    ):
        w.formula(
            "section_179_of_year", "first_year * section_179", "USD", "of it, section 179: stated apart and limited"
        )
        w.formula("other_of_year", "depreciation - section_179_of_year", "USD", "of it, bonus and table")
        draft.taxed(about, w["other_of_year"], -1, book.name)
        draft.taxed(f"section 179 of {item.name}", w["section_179_of_year"], 1, book.name, "section 179")
    else:
        draft.taxed(about, w["depreciation"], -1, book.name)
    back = _taken_back(draft, plan, law, election, book, w)
    less_and_before = {
        name: column for name, column in (("taken_back", back), ("before", before)) if column is not None
    }
    text = (
        "total(depreciation)"
        + (" - taken_back" if back is not None else "")
        + (" + before" if before is not None else "")
    )
    w.formula("taken", text, "USD", "depreciation taken up to the sale", ONE, **less_and_before)
    if "basis_changed" in w:
        w.formula("changed", "total(basis_changed)", "USD", "basis changed by casualties", ONE)
        w.formula("adjusted_basis", "max(cost - taken + changed, 0)", "USD", "adjusted basis at the sale", ONE)
    else:
        w.formula("adjusted_basis", "cost - taken", "USD", "adjusted basis at the sale", ONE)


def _use_later(election: Election) -> tuple[int, float, float] | None:
    """Return the first year of a later share of business use, that share over the first, and that
    share; None without one.
    """
    asset = election.possession.asset
    if asset is None or asset.business_use_later is None or asset.business_use_changes is None:
        return None
    first = float(asset.business_use) if asset.business_use else 1.0
    later = float(asset.business_use_later)
    return asset.business_use_changes.year, later / first, later


def _with_use(election: Election, axis: Axis, shares: list[float]) -> list[float]:
    change = _use_later(election)
    if change is None:
        return shares
    return [share * change[1] if end.year >= change[0] else share for share, end in zip(shares, axis.ends, strict=True)]


def _use_falls(plan: Plan, law: Law, election: Election) -> int | None:
    """Return the year in which business use falls to half or less and section 179 is taken back;
    None where it does not.
    """
    change, item = _use_later(election), election.possession
    if (
        change is None
        or change[2] > business_use_floor(law)
        or election.section_179 == "none"
        or election.expensed
        or plan.time.flat
    ):
        return None
    first, last = item.in_service.year, change[0]
    if not first < last <= first + election.life or not plan.time.first_tax_year <= last < item.disposed.year:
        return None  # in the year of a sale section 1245 takes its place (Reg. 1.179-1(e)(3))
    return last


def _on_what_is_put_back(w: Working, plan: Plan, law: Law, election: Election, axis: Axis, shares: list[float]) -> str:
    """Post later depreciation on section 179 that was taken back, as if it had never been elected (Reg. 1.179-1(e)(1)).

    Returns the text that the depreciation of the year adds.
    """
    last, first = _use_falls(plan, law, election), election.possession.in_service.year
    if last is None:
        return ""
    percents = [
        election.percents[end.year - first] if last < end.year < first + len(election.percents) else 0.0
        for end in axis.ends
    ]
    says = f"percentage on section 179 put back into basis, after {last}"
    w.given("percent_put_back", percents, "%", says, Origin("choice", election.possession.name), axis)
    part = _with_use(election, axis, shares)
    w.given("part_put_back", part, "1", "part of the year allowed, by business use", Origin("choice", "use"), axis)
    w.formula(
        "on_put_back",
        "cents(section_179 * percent_put_back / 100 * part_put_back)",
        "USD",
        "depreciation of section 179 put back into basis",
    )
    return " + on_put_back"


def _taken_back(draft: Draft, plan: Plan, law: Law, election: Election, book: Book, w: Working) -> Column | None:
    """Post the section 179 taken back where business use falls to half or less; None where it does not.

    What would have been allowed is reckoned on the section 179 amount, which is of the first share of business use: a
    later share counts as a part of that one.
    """
    change, item, last = _use_later(election), election.possession, _use_falls(plan, law, election)
    if change is None or last is None:
        return None
    first = item.in_service.year
    use = [1.0] * (last - first) + [change[1]]
    out = use_recapture(
        draft,
        f"{item.name} {book.name}",
        range(first, last + 1),
        election.percents[: last - first + 1],
        use,
        w["section_179"],
    )
    flags = [1.0 if end.year == last else 0.0 for end in w.axis.ends]
    w.given("use_falls", flags, "1", f"business use falls in {last}", Origin("choice", f"assets.{item.name}"))
    w.formula(
        "taken_back_of_year",
        "use_falls * recapture",
        "USD",
        "section 179 taken back: other income of the year",
        recapture=out["recapture"],
    )
    draft.taxed(f"section 179 taken back on {item.name}", w["taken_back_of_year"], 1, book.name, "one-off")
    return out["recapture"]


def _by_percentages(
    w: Working,
    election: Election,
    axis: Axis,
    percents: list[float],
    first: int | None,
    before: Column | None,
    more: str,
) -> None:
    """Depreciation by a table; `first` is the tax year placed in service, None in the textbook regime.

    Each year is rounded to the cent; the last year of a whole table takes what is left, so that all of it is deducted.
    """
    item = election.possession
    source = str(election.table.source) if election.table else election.bonus_source or "textbook method"
    w.given(
        "percent",
        percents,
        "%",
        f"table percentage, {election.life:g}-year, {election.convention}",
        Origin("law", "federal/macrs", source, election.table.status if election.table else "read"),
        axis,
    )
    same_year = item.in_service.year == item.disposed.year
    at_once = [1.0 if first is not None and int(label) == first and not same_year else 0.0 for label in axis.labels]
    w.given(
        "first_year",
        at_once,
        "1",
        "the year it is placed in service",
        Origin("choice", f"in service {item.in_service}"),
        axis,
    )
    inside = "section_179 + bonus + at_once" if election.expensed else "section_179 + bonus"
    says = "depreciation of the year, section 179 and bonus included"
    by_table = "cents(table_basis * percent / 100 * allowed)"
    ends = _last_year(election, axis, w["allowed"], first is None)
    if not any(ends):
        w.formula("depreciation", f"first_year * ({inside}) + {by_table}{more}", "USD", says)
        return
    w.given(
        "last_year", ends, "1", "the last year of the table", Origin("choice", f"in service {item.in_service}"), axis
    )
    w.formula("by_table", by_table, "USD", "percentage of the basis, to the cent")
    earlier = "running(by_table) - by_table" + (" + before" if before is not None else "")
    w.formula(
        "earlier", earlier, "USD", "the same of the years before", **({"before": before} if before is not None else {})
    )
    w.formula(
        "depreciation", f"first_year * ({inside}) + where(last_year, table_basis - earlier, by_table)", "USD", says
    )


def _by_rates(draft: Draft, w: Working, election: Election, axis: Axis, shares: list[float], more: str) -> None:
    """Depreciation by the rate on what is left: short tax years, lives without a table, after a casualty."""
    item, rates = election.possession, election.rates
    assert rates is not None
    first = item.in_service.year
    parts = [share * rates.share(end.year - first) for share, end in zip(shares, axis.ends, strict=True)]
    origin = Origin("choice", f"in service {item.in_service}, disposed of {item.disposed}")
    w.given("shares", parts, "1", "part of the tax year that counts", origin, axis)
    by_rates(
        draft, w, rates, item.asset.casualty if item.asset is not None else None, election.percents, first, item.name
    )
    same_year = first == item.disposed.year
    at_once = [1.0 if end.year == first and not same_year else 0.0 for end in axis.ends]
    w.given("first_year", at_once, "1", "the year it is placed in service", origin, axis)
    later = "cents(of_the_year * use_later)" if _use_later(election) is not None else "of_the_year"
    if _use_later(election) is not None:
        use = _with_use(election, axis, [1.0] * len(axis))
        w.given("use_later", use, "1", "business use over what it was at first", origin, axis)
    inside = "section_179 + bonus + at_once" if election.expensed else "section_179 + bonus"
    w.formula(
        "depreciation",
        f"first_year * ({inside}) + {later}{more}",
        "USD",
        "depreciation of the year, section 179 and bonus included",
    )


def _last_year(election: Election, axis: Axis, allowed: Column, flat: bool) -> list[float]:
    """Flag the row of the table's last year, where the table is whole and the item still there and in the same use."""
    item, last = election.possession, len(election.percents) - 1
    if last < 0 or abs(sum(election.percents) - 100) > 0.01 or _use_later(election) is not None:
        return [0.0] * len(axis)
    years = [
        _year_of_use(item.in_service, axis, row) if flat else end.year - item.in_service.year
        for row, end in enumerate(axis.ends)
    ]
    return [1.0 if year == last and share == 1 else 0.0 for year, share in zip(years, allowed.per_row(), strict=True)]


def _declining_balance(w: Working, election: Election, axis: Axis, salvage: Column | None) -> None:
    """Double declining balance, never below salvage, with straight line over the years left once that is more.

    The rate is of what is left of the whole cost; salvage is not deducted first. Standard texts of engineering economy.
    """
    item, life = election.possession, round(election.life)
    ages = cal.listed("year of use", [str(k + 1) for k in range(life)])
    w.given(
        "years_left",
        [float(life - k) for k in range(life)],
        "year",
        "years of the life left",
        Origin("calendar", f"{life} years"),
        ages,
    )
    w.formula(
        "left",
        f"min(max(prev(left, table_basis) - max(prev(left, table_basis) * 2 / {life}, (prev(left, table_basis) - "
        f"salvage) / years_left), salvage), prev(left, table_basis))",
        "USD",
        "not yet depreciated at the end of the year of use",
        ages,
        salvage=salvage if salvage is not None else 0.0,
    )
    w.formula("by_year_of_use", "cents(prev(left, table_basis) - left)", "USD", "depreciation by year of use", ages)
    rows = [float(_year_of_use(item.in_service, axis, row)) for row in range(len(axis))]
    w.given(
        "year_of_use",
        rows,
        "1",
        "full years of use before this period",
        Origin("choice", f"in service {item.in_service}"),
        axis,
    )
    w.formula("depreciation", "cents(pick(by_year_of_use, year_of_use) * allowed)", "USD", "depreciation of the year")


def _before(w: Working, plan: Plan, election: Election) -> Column:
    """Textbook regime: depreciation of the years before the study."""
    item = election.possession
    passed = round((plan.time.start - item.in_service).days / 365.25) if item.in_service < plan.time.start else 0
    origin = Origin("choice", f"in service {item.in_service}")
    if election.declining:
        done = w.given(
            "before_study",
            [1.0 if k < passed else 0.0 for k in range(round(election.life))],
            "1",
            "years of use before the study",
            origin,
            w["left"].axis,
        )
        return w.formula(
            "before", "weighted(by_year_of_use, done)", "USD", "depreciation taken before the study", ONE, done=done
        )
    w.given("percent_before", sum(election.percents[:passed]), "%", "percentage taken before the study", origin, ONE)
    return w.formula(
        "before", "cents(table_basis * percent_before / 100)", "USD", "depreciation taken before the study", ONE
    )


def _salvage(draft: Draft, election: Election) -> Column | None:
    method = method_of(election.possession)
    return draft.input(method.salvage) if method and method.salvage else None


@lru_cache(maxsize=256)
def _years(first: int, tax: Axis) -> Axis:
    """Return the calendar years from the first year in service to the last tax year: one axis object a first year."""
    return tax if first == tax.starts[0].year else cal.calendar_years(first, tax.starts[-1].year)
