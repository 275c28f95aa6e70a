"""A buyer who pays over time: equal parts of principal with interest on what is still owed.

What falls due after the study is taken as paid on its last day, and said. The note is unsecured unless a lien is filed;
the present worth shows what waiting costs.
"""

from __future__ import annotations

from equipdecide import calendar as cal
from equipdecide.calendar import Axis, Date
from equipdecide.ledger import Column, Draft, Origin, Working
from equipdecide.plan import Plan, Sale


def due_days(plan: Plan, sale: Sale) -> list[tuple[Date, float]]:
    """Return the days on which the buyer pays later and the part of what is deferred that falls on
    each; they add to 1.
    """
    assert sale.offer is not None and sale.offer.paid_over is not None
    terms = sale.offer.paid_over
    found: dict[Date, float] = {}
    for k in range(1, terms.payments + 1):
        day = min(cal.add_months(sale.sold_on, k * terms.every_months), plan.time.end)
        found[day] = found.get(day, 0.0) + 1.0 / terms.payments
    return sorted(found.items())


def collect(
    draft: Draft, plan: Plan, sale: Sale, flows: Working, gross: Column, to_owner: Column, later: Axis
) -> Column:
    """Post the buyer's later payments and their interest; returns what is left at once [currency].

    Working ``instalments of <machine>``: columns ``principal, interest`` on the days they are paid.
    """
    assert sale.offer is not None and sale.offer.paid_over is not None
    terms, days = sale.offer.paid_over, due_days(plan, sale)
    axis = cal.on_days("payment", tuple(str(k + 1) for k in range(len(days))), tuple(day for day, _ in days))
    w = draft.working(
        f"instalments of {sale.machine}", axis, f"what the buyer of {sale.machine} pays later", "settlement"
    )
    w.given(
        "part",
        [part for _, part in days],
        "1",
        "part of what is deferred",
        Origin("choice", f"offers.{sale.offer_name}.paid_over"),
    )
    years = [
        float((day - before).days) / 365.0
        for (day, _), before in zip(days, [sale.sold_on, *(day for day, _ in days[:-1])], strict=True)
    ]
    w.given("years", years, "year", "time since the payment before", Origin("calendar", "days over 365"))
    deferred = flows.formula(
        "deferred",
        "cents(gross * share)",
        "USD",
        "of the price, paid later",
        gross=gross,
        share=draft.input(terms.deferred),
    )
    w.formula("principal", "part * deferred", "USD", "principal paid by the buyer", deferred=deferred)
    w.formula("paid_so_far", "running(principal)", "USD", "principal paid up to this day")
    w.formula(
        "interest",
        "(deferred - prev(paid_so_far)) * rate * years",
        "USD",
        "interest on what was owed",
        deferred=deferred,
        rate=draft.input(terms.rate) if terms.rate else 0.0,
    )
    w.formula(
        "owed_at_end",
        "deferred - paid_so_far",
        "USD",
        "still owed after the payment; the last must be zero",
        deferred=deferred,
    )
    dates = [day for day, _ in days]
    draft.line(f"sale of {sale.machine}: instalments", "shop", w["principal"], "investment", dates)
    draft.line(f"sale of {sale.machine}: interest of the buyer", "shop", w["interest"], "operating", dates)
    draft.taxed(f"interest of the buyer of {sale.machine}", w["interest"], 1, "", "interest received")
    if cal.add_months(sale.sold_on, terms.payments * terms.every_months) > plan.time.end:
        draft.find(
            "instalments_after_study",
            f"{sale.machine}: what the buyer pays after {plan.time.end} is taken as paid on that day.",
            f"offers.{sale.offer_name}.paid_over",
        )
    return flows.formula(
        "rest",
        "to_owner - deferred",
        "USD",
        "what is left of the price at once; below zero: brought for the lender",
        later,
        to_owner=to_owner,
    )
