"""What may still be elected, for which item, by which day, and how.

Days are those of calendar-year taxpayers, moved to the next business day. An extension must be asked for by the day of
the return. Elections of a partnership or S corporation are made by the business, on its own return.
"""

from __future__ import annotations

from dataclasses import dataclass

from equipdecide import calendar as cal
from equipdecide.calendar import Date
from equipdecide.parameters import Law
from equipdecide.plan import Plan
from equipdecide.tax.books import on_file, reading_then
from equipdecide.tax.elections import elect, reduced_rate


@dataclass(frozen=True)
class ElectionDate:
    """One election: what, about which item or year, the last day to make it, how, and by what law."""

    what: str
    about: str
    last_day: Date
    how: str
    source: str


def extension_months(plan: Plan, law: Law) -> int:
    """Return the months by which an extension puts off the day of a return."""
    return round(law.get("federal/returns.extension_months", plan.time.start).number)


def return_day(plan: Plan, law: Law, year: int) -> Date:
    """Return the day the return of the business for a tax year is due, without extension."""
    payer = {
        "partnership": "partnership or S corporation",
        "S corporation": "partnership or S corporation",
        "C corporation": "corporation",
    }.get(plan.scenario.shop.taxed_as, "individual")
    for row in law.rows("federal/estimated_tax_days"):
        if row["payer"] == payer and row["event"] == "return":
            return cal.next_business_day(
                Date(year + int(str(row["years_after"])), int(str(row["month"])), int(str(row["day"])))
            )
    raise LookupError(f"no day for the return of {payer}")


def election_dates(plan: Plan, law: Law) -> tuple[ElectionDate, ...]:
    """Return the elections a plan's items and sales leave open at the decision, by last day."""
    found: list[ElectionDate] = []
    decided = plan.time.start
    months = extension_months(plan, law)
    years = round(law.get("federal/returns.amendment_years", decided).number)
    for election in elect(law, plan) if not plan.time.flat else []:
        item, year = election.possession, election.possession.in_service.year
        due = return_day(plan, law, year)
        extended = cal.next_business_day(cal.add_months(due, months))
        if election.expensed:
            found.append(
                ElectionDate(
                    "deduct at once as a small item",
                    item.name,
                    extended,
                    "a statement with the return of the year, filed in time, extension included",
                    "Reg. 1.263(a)-1(f)(5), from memory",
                )
            )
            continue
        if item.in_service.year == item.disposed.year:  # nothing is deducted then, so nothing can be elected
            continue
        found.append(
            ElectionDate(
                "section 179: elect, change or revoke",
                item.name,
                cal.next_business_day(cal.add_years(due, years)),
                "Form 4562 with the return or with an amended one",
                "IRC 179(c)(2)",
            )
        )
        if float(election.bonus) > 0 or election.bonus_source.startswith("elected out"):
            found.append(
                ElectionDate(
                    f"elect out of bonus for all {election.life:g}-year property of {year}",
                    item.name,
                    extended,
                    "a statement with the return, filed in time; within six months of its day on an amended one",
                    "IRC 168(k)(7)",
                )
            )
        rate, _ = reduced_rate(law, item.in_service, 1.0)
        if rate < 1:
            found.append(
                ElectionDate(
                    f"take {rate:.0%} instead of all bonus for {year}",
                    item.name,
                    extended,
                    "a statement with the return of the year, for all property of the year",
                    "P.L. 119-21 sec. 70301(b)(3)",
                )
            )
    found += _of_the_year(plan, law)
    return tuple(
        sorted({one for one in found if one.last_day >= decided}, key=lambda one: (one.last_day, one.about, one.what))
    )


def _of_the_year(plan: Plan, law: Law) -> list[ElectionDate]:
    found = []
    for sale in plan.sales:
        if sale.at_end:
            continue
        items = [
            p
            for p in plan.possessions
            if p.machine == sale.machine and p.asset is not None and p.asset.depreciation_claimed is not None
        ]
        if items:
            day = cal.next_business_day(
                cal.add_months(return_day(plan, law, sale.sold_on.year), extension_months(plan, law))
            )
            found.append(
                ElectionDate(
                    "claim depreciation missed so far",
                    sale.machine,
                    day,
                    "Form 3115 with the return of the year of the sale",
                    "Rev. Proc. 2007-16, from memory",
                )
            )
    state, kind = plan.scenario.shop.state, plan.scenario.shop.taxed_as
    if state is not None and state.code is not None and kind in ("partnership", "S corporation"):
        id = f"{state.code.lower()}/income.pass_through_election"
        year = plan.time.first_tax_year
        read = reading_then(law, id, year) if on_file(law, id) else None
        if read is not None and read.choice == "available":
            found.append(
                ElectionDate(
                    f"let the business pay the {state.code.upper()} tax of its owners",
                    str(year),
                    return_day(plan, law, year),
                    "as the state asks; some ask for it within the year, and a payment by June: look it up now",
                    "the state's own law; Notice 2020-75, from memory",
                )
            )
    return found
