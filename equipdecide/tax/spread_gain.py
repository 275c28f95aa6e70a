"""Instalment sale: recapture in the year of sale whole, gain beyond it as the price is paid (IRC 453(i); Form 6252).

The gain beyond recapture is spread by the part of the price received in each year. A loss is not spread, nor is a sale
to a related buyer (IRC 453(g)). Interest on tax deferred (IRC 453A) is not computed.
"""

from __future__ import annotations

from equipdecide.ledger import Column, Draft, Origin, Working
from equipdecide.money.instalments import due_days
from equipdecide.parameters import Law
from equipdecide.plan import Plan, Sale

SPREAD = "section_1231_by_year"


def spread_gain(draft: Draft, plan: Plan, law: Law, sale: Sale, gain: Working, book: str) -> Column | None:
    """Post the section 1231 gain of an instalment sale by tax year; None where it is all of the year of sale.

    Working ``instalment gain <book> <machine>``, column ``section_1231_by_year`` [currency].
    """
    offer = sale.offer
    if (
        offer is None
        or offer.paid_over is None
        or (offer.buyer_related and not offer.buyer_is_family)
        or plan.time.flat
    ):
        return None
    axis = plan.time.tax
    w = draft.working(
        f"instalment gain {book} {sale.machine}",
        axis,
        f"gain on {sale.machine} in the {book} book, as its price is paid",
        "disposal",
    )
    parts = [sum(part for day, part in due_days(plan, sale) if day.year == end.year) for end in axis.ends]
    w.given(
        "later_part",
        parts,
        "1",
        "part of what is deferred that is paid in the year",
        Origin("choice", f"offers.{sale.offer_name}.paid_over"),
    )
    flags = [1.0 if end.year == sale.sold_on.year else 0.0 for end in axis.ends]
    w.given("year_of_sale", flags, "1", f"sold on {sale.sold_on}", Origin("choice", str(sale.sold_on)))
    w.formula(
        "received",
        "year_of_sale * (1 - deferred) + later_part * deferred",
        "1",
        "part of the price received in the year",
        deferred=draft.input(offer.paid_over.deferred),
    )
    made = w.formula(
        SPREAD,
        "received * max(gain, 0) + year_of_sale * min(gain, 0)",
        "USD",
        "section 1231 gain as the price is paid; a loss at once",
        gain=gain["section_1231"],
    )
    draft.find(
        "recapture_not_deferred",
        f"{sale.machine} is paid over time, but its recapture of {gain['ordinary_recapture'].figure():,.0f} is taxed "
        f"in {sale.sold_on.year}, paid or not; only gain beyond it, {max(gain['section_1231'].figure(), 0.0):,.0f}, "
        f"waits for the payments.",
        f"offers.{sale.offer_name}",
        "warning",
    )
    most = law.get("federal/dispositions.installment_interest_obligations", plan.time.start).number
    if float(offer.price) * float(offer.paid_over.deferred) > most:
        draft.find(
            "instalment_interest",
            f"Obligations above {most:,.0f} at a year's end bear interest on the tax deferred, which is not computed.",
            f"offers.{sale.offer_name}",
            "warning",
        )
    return made
