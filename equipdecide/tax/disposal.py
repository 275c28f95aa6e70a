"""Gain on each sale in each book, item by item: ordinary recapture first, section 1231 above cost or below basis.

Form 4797. Gain = amount realized less adjusted basis; the loan that is paid off is part of the amount realized and
lowers nothing. Part III: ordinary recapture = the smaller of gain and depreciation taken, section 179 and bonus
included (IRC 1245(a)); the rest is section 1231 (gain above cost, part I; or loss, part I line 2). Part II: held one
year or less all of it is ordinary; so is what comes for an item deducted at once as a small one (Reg.
1.263(a)-1(f)(3)(iii), from memory). A related buyer: no loss (IRC 267(a)(1), (b)); a business of which the seller owns
more than half: all gain ordinary (IRC 1239).
"""

from __future__ import annotations

from equipdecide import calendar as cal
from equipdecide.calendar import ONE, Date
from equipdecide.ledger import Column, Draft, Origin, Working, sum_of
from equipdecide.parameters import Law
from equipdecide.plan import Plan, Sale
from equipdecide.tax.allocation import among_partners, parts_of_price
from equipdecide.tax.depreciation import book_name
from equipdecide.tax.elections import Election
from equipdecide.tax.spread_gain import spread_gain


def more_than_a_year(law: Law, acquired: Date, sold: Date) -> bool:
    """Tell whether property was held more than one year, counted from the day after acquisition (IRC 1231(b)(1))."""
    return sold > cal.add_years(acquired, round(law.get("federal/dispositions.holding_period_years", sold).number))


def item_label(election: Election) -> str:
    """Return the short name of an item within its machine, as the scenario has it."""
    item = election.possession
    return item.name.removeprefix(f"{item.machine} ") if item.asset is not None else item.name


def gain(
    draft: Draft, plan: Plan, law: Law, sale: Sale, elections: list[Election], book: str, realized: Column, key: str
) -> Working:
    """Post the gain of one sale in one book as working ``gain <book> <key>``.

    Columns [currency]: ``amount_realized, taken, adjusted_basis, gain, ordinary_recapture, section_1231``, the same by
    item (``<item>: gain`` and so on), and ``recapture of <owner>`` where the owners' shares of past deductions differ.
    """
    items = [(item_label(e), e, draft[book_name(e, book)]) for e in elections if e.possession.machine == sale.machine]
    w = draft.working(
        f"gain {book} {key}", cal.dated(sale.sold_on), f"gain on {sale.machine} in the {book} book", "disposal"
    )
    w.formula(
        "amount_realized", "realized", "USD", "price less selling costs, debt paid off included", ONE, realized=realized
    )
    sum_of(
        w,
        "taken",
        [one["taken"] for _, _, one in items],
        "USD",
        "depreciation taken, section 179 and bonus included",
        ONE,
    )
    sum_of(
        w,
        "adjusted_basis",
        [one["adjusted_basis"] for _, _, one in items],
        "USD",
        "adjusted basis: cost less depreciation",
        ONE,
    )
    if not items:
        w.formula("gain", "amount_realized", "USD", "gain on the sale")
        w.formula("ordinary_recapture", "0", "USD", "no depreciation was taken")
        w.formula("section_1231", "gain", "USD", "section 1231")
        return w
    parts = parts_of_price(draft, w, sale, items)
    found = [_item(draft, plan, law, w, sale, label, election, one, parts[label]) for label, election, one in items]
    sum_of(w, "gain", [g for g, _ in found], "USD", "gain on the sale")
    sum_of(w, "ordinary_recapture", [r for _, r in found], "USD", "ordinary: recapture item by item")
    w.formula("section_1231", "gain - ordinary_recapture", "USD", "section 1231: above cost, or a loss")
    _partners(draft, plan, w, items)
    return w


def _item(
    draft: Draft,
    plan: Plan,
    law: Law,
    w: Working,
    sale: Sale,
    label: str,
    election: Election,
    one: Working,
    part: Column | float,
) -> tuple[Column, Column]:
    """Post one item's gain and ordinary part; returns both."""
    related = sale.offer is not None and sale.offer.buyer_related
    asset = election.possession.asset
    use: Column | float = (
        draft.input(asset.business_use) if asset is not None and asset.business_use is not None else 1.0
    )
    if isinstance(use, Column):
        w.formula(
            f"{label}: realized",
            "amount_realized * part * use",
            "USD",
            f"amount realized on the business share of {label}",
            part=part,
            use=use,
        )
    else:
        w.formula(f"{label}: realized", "amount_realized * part", "USD", f"amount realized on {label}", part=part)
    text = "max(realized - adjusted_basis, 0)" if related else "realized - adjusted_basis"
    g = w.formula(
        f"{label}: gain",
        text,
        "USD",
        f"gain on {label}, a loss to a related buyer not allowed" if related else f"gain on {label}",
        realized=w[f"{label}: realized"],
        adjusted_basis=one["adjusted_basis"],
    )
    controlled = related and sale.offer is not None and not sale.offer.buyer_is_family
    if controlled or election.expensed or not more_than_a_year(law, election.possession.in_service, sale.sold_on):
        why = (
            "the buyer is a business of one's own"
            if controlled
            else "it was deducted at once as a small item"
            if election.expensed
            else "held one year or less"
        )
        return g, w.formula(f"{label}: recapture", "own", "USD", f"ordinary: {why}", own=g)
    if asset is not None and asset.depreciation_claimed is not None:
        w.formula(
            f"{label}: allowed",
            "min(taken, claimed + later)",
            "USD",
            "depreciation allowed: claimed so far, and by law from here on",
            taken=one["taken"],
            claimed=draft.input(asset.depreciation_claimed),
            later=_later(one, plan),
        )
        counts = w[f"{label}: allowed"]
    else:
        counts = one["taken"]
    return g, w.formula(
        f"{label}: recapture",
        "max(min(own, taken), 0)",
        "USD",
        "the smaller of gain and depreciation taken",
        own=g,
        taken=counts,
    )


def _later(one: Working, plan: Plan) -> Column:
    """Return the depreciation of an item in the tax years of the study, the decision's year on."""
    if "later" not in one:
        start = plan.time.first_tax_year
        flags = [1.0 if end.year >= start else 0.0 for end in one.axis.ends]
        one.given("in_study", flags, "1", f"from {start} on", Origin("calendar", "tax years"))
        one.formula("later_of_year", "in_study * depreciation", "USD", "depreciation from the year of the decision on")
        one.formula("later", "total(later_of_year)", "USD", "the same, all years", ONE)
    return one["later"]


def _partners(draft: Draft, plan: Plan, w: Working, items: list[tuple[str, Election, Working]]) -> None:
    shop, owners = plan.scenario.shop, plan.scenario.owners
    taken_by = [
        election.possession.asset.deductions_taken_by if election.possession.asset else {} for _, election, _ in items
    ]
    if shop.taxed_as != "partnership" or not any(taken_by):
        return
    shares = {name: draft.input(owner.share) for name, owner in owners.items()}
    parts: dict[str, list[Column]] = {name: [] for name in owners}
    for (label, election, one), stated in zip(items, taken_by, strict=True):
        gone = 1.0 - sum(float(part) for part in stated.values()) if stated else 0.0
        if gone > 5e-7:
            draft.common.find(
                "partners_who_left",
                f"{gone:.0%} of the deductions on {election.possession.name} were, by the file, taken by partners "
                f"who have left: their recapture falls on the others by their gain. Who bought a share from one of "
                f"them stands in that one's place: add it to theirs.",
                f"machines.{election.possession.machine}.assets.{label}.deductions_taken_by",
                "warning",
            )
        deducted = {}
        for name in owners:
            past = draft.input(stated[name]) if name in stated else (0.0 if stated else shares[name])
            deducted[name] = w.formula(
                f"{label}: deducted by {name}",
                "past * (taken - later) + share * later",
                "USD",
                f"depreciation on {label} that {name} took",
                past=past,
                share=shares[name],
                taken=one["taken"],
                later=_later(one, plan),
            )
        allotted = among_partners(w, label, shares, deducted, w[f"{label}: gain"], w[f"{label}: recapture"])
        for name, column in allotted.items():
            parts[name].append(column)
    for name in owners:
        sum_of(w, f"recapture of {name}", parts[name], "USD", f"ordinary recapture that {name} reports")
    together = [w[f"recapture of {name}"] for name in owners]
    sum_of(w, "recapture of all", together, "USD", "of all owners")
    w.formula(
        "recapture_check",
        "recapture_of_all - ordinary_recapture",
        "USD",
        "allotted less recapture: must be zero",
        recapture_of_all=w["recapture of all"],
    )


def dispose(draft: Draft, plan: Plan, law: Law, elections: list[Election], books: list[str]) -> None:
    """Post the gain of every sale of the plan in every book and tell the returns."""
    for sale in plan.sales:
        if f"settlement {sale.machine}" not in draft:
            continue
        realized = draft[f"settlement {sale.machine}"]["amount_realized"]
        for book in books:
            w = gain(draft, plan, law, sale, elections, book, realized, sale.machine)
            draft.taxed(f"recapture on {sale.machine}", w["ordinary_recapture"], 1, book, "recapture")
            spread = spread_gain(draft, plan, law, sale, w, book)
            draft.taxed(
                f"section 1231 on {sale.machine}",
                w["section_1231"] if spread is None else spread,
                1,
                book,
                "section 1231",
            )
