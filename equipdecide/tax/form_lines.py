"""Where each figure lands: lines of Forms 4562, 4797 and 6252, and of the business's own return, for one tax year.

The lines are rows of the parameters, with source; the amounts are columns of the ledger. What a preparer has in hand
can be laid beside it line by line.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from equipdecide.ledger import Ledger, Working
from equipdecide.parameters import Law
from equipdecide.plan import Plan, Sale
from equipdecide.tax.depreciation import book_name
from equipdecide.tax.disposal import item_label, more_than_a_year
from equipdecide.tax.elections import Election, elect
from equipdecide.tax.spread_gain import SPREAD

CLASS_LINE = {3: "19a", 5: "19b", 7: "19c", 10: "19d", 15: "19e", 20: "19f"}
# form of the business, line of depreciation, of ordinary gain, of section 179, of section 1231
OWN_RETURN = {
    "sole proprietor": (("Schedule C", "13"), ("Schedule 1 (1040)", "4"), None, None),
    "partnership": (("1065", "16a"), ("1065", "6"), ("1065 Schedule K", "12"), ("1065 Schedule K", "10")),
    "S corporation": (("1120-S", "14"), ("1120-S", "4"), ("1120-S Schedule K", "11"), ("1120-S Schedule K", "9")),
    "C corporation": (("1120", "20"), ("1120", "9"), None, None),
}


@dataclass(frozen=True)
class FormLine:
    """One line of a form with its amount [currency]; `about` names the item, empty for a total."""

    form: str
    line: str
    amount: float
    meaning: str
    about: str
    source: str


def form_lines(ledger: Ledger, plan: Plan, law: Law, year: int) -> tuple[FormLine, ...]:
    """Return where the figures of one tax year land, in the order of the forms; lines of no amount are left out.

    Lines are those of the forms of 2025. Raises LookupError for a line that has no row in the parameters.
    """
    found = [*_form_4562(ledger, plan, law, year), *_form_4797(ledger, plan, law, year)]
    totals = {(one.form, one.line): one.amount for one in found if not one.about}
    own = OWN_RETURN[plan.scenario.shop.taxed_as]
    expensed = totals.get(("4562", "12"), 0.0)
    depreciation = totals.get(("4562", "22"), 0.0)
    if own[0]:
        found.append(_line(law, *own[0], depreciation - (expensed if own[2] else 0.0)))
    found.append(_line(law, *own[1], totals.get(("4797", "17"), 0.0)))
    if own[2]:
        found.append(_line(law, *own[2], expensed))
    if own[3]:
        found.append(_line(law, *own[3], totals.get(("4797", "7"), 0.0)))
    return tuple(one for one in found if abs(one.amount) >= 0.005)


def _line(law: Law, form: str, line: str, amount: float, about: str = "") -> FormLine:
    wanted = line[:2] if form == "4562" and line[:2] in ("19", "20") else line
    for row in law.rows("federal/form_lines"):
        if row["form"] == form and str(row["line"]) == wanted:
            return FormLine(form, line, amount, str(row["meaning"]), about, str(row["source"]))
    raise LookupError(f"no row for line {line} of form {form}")


def _of_year(working: Working, column: str, year: int) -> float:
    made = working[column]
    return sum(float(amount) for amount, day in zip(made.per_row(), made.axis.ends, strict=True) if day.year == year)


def _form_4562(ledger: Ledger, plan: Plan, law: Law, year: int) -> Iterator[FormLine]:
    shop = plan.scenario.shop
    books = [(e, ledger.workings[book_name(e, "federal")]) for e in elect(law, plan) if not e.expensed]
    new = [(e, w) for e, w in books if e.possession.in_service.year == year]
    limit = ledger.workings.get(f"section 179 limit federal {year}")
    deducted = carried = net = 0.0
    if shop.taxed_as == "sole proprietor":
        owner = next(iter(plan.scenario.owners))
        at = ledger.workings.get(f"federal return {owner} as filed")
        if at is not None and "section_179" in at:
            deducted = _of_year(at, "section_179", year)
            net = _of_year(at, "net_for_179", year) if "net_for_179" in at else 0.0
            carried = _of_year(at, "section_179_carried", year) if "section_179_carried" in at else 0.0
    else:
        at = ledger.workings.get("section 179 federal as filed")
        if at is not None:
            deducted, net, carried = (
                _of_year(at, name, year) for name in ("section_179", "net", "section_179_carried")
            )
    if at is None or "section_179" not in at:
        deducted = sum(_of_year(w, "section_179_of_year", year) for _, w in new if "section_179_of_year" in w)
    elected = sum(w["section_179"].figure() for _, w in new)
    if limit is not None:
        yield _line(law, "4562", "2", limit["cost"].figure())
        yield _line(law, "4562", "5", limit["dollar_limit"].figure())
    yield _line(law, "4562", "8", elected)
    if elected or deducted:
        yield _line(law, "4562", "11", max(net, 0.0))
    yield _line(law, "4562", "12", deducted)
    yield _line(law, "4562", "13", carried)
    bonus = tables = 0.0
    for e, w in new:
        first = _of_year(w, "first_year", year)
        bonus += first * w["bonus"].figure()
        rest = _of_year(w, "depreciation", year) - first * (w["bonus"].figure() + w["section_179"].figure())
        tables += rest
        yield _line(law, "4562", _class_line(e), rest, e.possession.name)
    earlier = sum(_of_year(w, "depreciation", year) for e, w in books if e.possession.in_service.year < year)
    yield _line(law, "4562", "14", bonus)
    yield _line(law, "4562", "17", earlier)
    yield _line(law, "4562", "22", deducted + bonus + earlier + tables)


def _class_line(election: Election) -> str:
    """Return the line of Form 4562, part III, for an item of the year: by recovery period, or the
    alternative system's.
    """
    if election.alternative:
        return "20b" if election.life == 12 else "20a"
    return CLASS_LINE.get(round(election.life), "19c")


def _form_4797(ledger: Ledger, plan: Plan, law: Law, year: int) -> Iterator[FormLine]:
    part_1 = part_2 = recapture = beyond = spread = 0.0
    elections = elect(law, plan)
    for sale in plan.sales:
        gain = ledger.workings.get(f"gain federal {sale.machine}")
        by_year = ledger.workings.get(f"instalment gain federal {sale.machine}")
        if by_year is not None:
            own_year = _of_year(by_year, SPREAD, year)
            spread += max(own_year, 0.0)
            yield _line(law, "6252", "26", max(own_year, 0.0), sale.machine)
        if gain is None or sale.sold_on.year != year:
            continue
        if by_year is not None:
            yield _line(law, "6252", "12", gain["ordinary_recapture"].figure(), sale.machine)
        settled = ledger.workings[f"settlement {sale.machine}"]
        price, expense = settled["gross"].figure() - settled["over_allowance"].figure(), 0.0
        expense = price - gain["amount_realized"].figure()
        for e in (e for e in elections if e.possession.machine == sale.machine):
            label, w = item_label(e), ledger.workings[book_name(e, "federal")]
            own, ordinary = gain[f"{label}: gain"].figure(), gain[f"{label}: recapture"].figure()
            if _all_ordinary(law, e, sale):
                part_2 += own
                yield _line(law, "4797", "10", own, e.possession.name)
            elif own < 0:
                part_1 += own
                yield _line(law, "4797", "2", own, e.possession.name)
            else:
                part = gain[f"{label}: part"].figure() if f"{label}: part" in gain else 1.0
                cost, taken = w["cost"].figure(), w["taken"].figure()
                yield _line(law, "4797", "20", price * part, e.possession.name)
                yield _line(law, "4797", "21", cost + expense * part, e.possession.name)
                yield _line(law, "4797", "22", taken, e.possession.name)
                yield _line(law, "4797", "23", cost + expense * part - taken, e.possession.name)
                yield _line(law, "4797", "24", own, e.possession.name)
                yield _line(law, "4797", "25b", ordinary, e.possession.name)
                recapture += ordinary
                beyond += own - ordinary if by_year is None else 0.0
    net = part_1 + beyond + spread
    yield _line(law, "4797", "4", spread)
    yield _line(law, "4797", "31", recapture)
    yield _line(law, "4797", "32", beyond)
    yield _line(law, "4797", "7", net)
    yield _line(law, "4797", "13", recapture)
    # a net section 1231 loss is ordinary and goes to line 11; of a pass-through it goes to the owners instead
    passed = plan.scenario.shop.taxed_as in ("partnership", "S corporation")
    yield _line(law, "4797", "17", part_2 + recapture + (0.0 if passed else min(net, 0.0)))
    for e in elections:  # part IV: business use fell to half or less
        book = ledger.workings.get(book_name(e, "federal"))
        back = ledger.workings.get(f"section 179 recapture {e.possession.name} federal")
        if back is None or book is None or not _of_year(book, "taken_back_of_year", year):
            continue
        yield _line(law, "4797", "33", book["section_179"].figure(), e.possession.name)
        yield _line(law, "4797", "34", back["allowable"].figure(), e.possession.name)
        yield _line(law, "4797", "35", back["recapture"].figure(), e.possession.name)
        if plan.scenario.shop.taxed_as == "sole proprietor":
            yield _line(law, "Schedule C", "6", back["recapture"].figure(), e.possession.name)


def _all_ordinary(law: Law, election: Election, sale: Sale) -> bool:
    related = sale.offer is not None and sale.offer.buyer_related and not sale.offer.buyer_is_family
    return related or election.expensed or not more_than_a_year(law, election.possession.in_service, sale.sold_on)
