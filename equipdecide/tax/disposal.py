"""Gain on each sale in each book: ordinary recapture first, section 1231 above cost or below basis.

Form 4797, part III. Gain = amount realized less adjusted basis; the loan that is paid off is part of the amount
realized and lowers nothing. Ordinary recapture = the smaller of gain and depreciation taken, section 179 and bonus
included (IRC 1245(a)); the rest is section 1231 (gain above cost, or loss). Held one year or less: all of it ordinary.
"""

from __future__ import annotations

from equipdecide import calendar as cal
from equipdecide.calendar import ONE
from equipdecide.ledger import Column, Draft, Working, sum_of
from equipdecide.plan import Plan, Sale
from equipdecide.tax.depreciation import book_name
from equipdecide.tax.elections import Election


def gain(draft: Draft, sale: Sale, elections: list[Election], book: str, realized: Column, key: str) -> Working:
    """Post the gain of one sale in one book as working ``gain <book> <key>``.

    Columns [currency]: ``amount_realized, cost, taken, adjusted_basis, gain, ordinary_recapture, section_1231``.
    """
    items = [draft[book_name(e, book)] for e in elections if e.possession.machine == sale.machine]
    w = draft.working(f"gain {book} {key}", cal.dated(sale.sold_on), f"gain on {sale.machine} in the {book} book", "disposal")
    w.formula("amount_realized", "realized", "USD", "price less selling costs, debt paid off included", ONE, realized=realized)
    sum_of(w, "taken", [item["taken"] for item in items], "USD", "depreciation taken, section 179 and bonus included", ONE)
    sum_of(w, "adjusted_basis", [item["adjusted_basis"] for item in items], "USD", "adjusted basis: cost less depreciation", ONE)
    w.formula("gain", "amount_realized - adjusted_basis", "USD", "gain on the sale")
    held = [e for e in elections if e.possession.machine == sale.machine]
    short = bool(held) and sale.sold_on <= cal.add_years(min(e.possession.in_service for e in held), 1)
    if short:
        w.formula("ordinary_recapture", "gain", "USD", "ordinary: held one year or less")
    else:
        w.formula("ordinary_recapture", "max(min(gain, taken), 0)", "USD", "ordinary recapture: the smaller of gain and depreciation taken")
    w.formula("section_1231", "gain - ordinary_recapture", "USD", "section 1231: above cost, or a loss")
    return w


def dispose(draft: Draft, plan: Plan, elections: list[Election], books: list[str]) -> None:
    """Post the gain of every sale of the plan in every book and tell the returns."""
    for sale in plan.sales:
        if f"settlement {sale.machine}" not in draft:
            continue
        realized = draft[f"settlement {sale.machine}"]["amount_realized"]
        for book in books:
            w = gain(draft, sale, elections, book, realized, sale.machine)
            draft.taxed(f"recapture on {sale.machine}", w["ordinary_recapture"], 1, book, "recapture")
            draft.taxed(f"section 1231 on {sale.machine}", w["section_1231"], 1, book, "section 1231")
