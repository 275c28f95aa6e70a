"""Dividing: the price over the items sold together, and ordinary recapture over the partners.

The price of several items sold at once is divided as the contract has it, else by their cost (common practice where no
appraisal is at hand; IRC 1060 and 1245 ask for values). Recapture of a partnership goes first to those who took the
deductions: each partner's part is the smaller of the partner's share of the gain and the partner's share of the
deductions; what that leaves goes to those whose share of the gain is larger, in proportion to their gain and never
above it (Reg. 1.1245-1(e)(2)(i)). Partners who bought their share from another stand in that one's place.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from equipdecide.ledger import Column, Draft, Working, sum_of
from equipdecide.plan import Sale
from equipdecide.tax.elections import Election


def parts_of_price(
    draft: Draft, w: Working, sale: Sale, items: Sequence[tuple[str, Election, Working]]
) -> dict[str, Column | float]:
    """Return each item's part of the amount realized, by the item's label; the parts add up to one."""
    if len(items) == 1:
        return {items[0][0]: 1.0}
    stated = sale.offer.divided if sale.offer is not None else {}
    use_stated = bool(stated) and {label for label, _, _ in items} <= set(stated)
    if stated and not use_stated:
        draft.find(
            "price_not_divided",
            f"The price of {sale.machine} is divided over {', '.join(stated)}, but "
            f"{', '.join(label for label, _, _ in items)} are sold: it is divided by cost.",
            f"offers.{sale.offer_name}.divided",
            "warning",
        )
    weights: dict[str, Column] = {}
    for label, _, book in items:
        if use_stated:
            weights[label] = w.formula(
                f"{label}: priced at",
                "stated",
                "USD",
                f"price of {label} in the contract",
                stated=draft.input(stated[label]),
            )
        else:
            weights[label] = book["cost"]
    whole = sum_of(
        w,
        "weight",
        list(weights.values()),
        "USD",
        "priced at, together" if use_stated else "cost of the items, together",
    )
    return {
        label: w.formula(
            f"{label}: part",
            "own / max(whole, 0.01)",
            "1",
            f"part of the price that falls on {label}",
            own=weight,
            whole=whole,
        )
        for label, weight in weights.items()
    }


def among_partners(
    w: Working,
    label: str,
    shares: Mapping[str, Column],
    deductions: Mapping[str, Column],
    gain: Column,
    recapture: Column,
) -> dict[str, Column]:
    """Return each owner's part of one item's ordinary recapture, by the owner's name.

    `shares` are the owners' shares of gain [1], `deductions` the depreciation each took on the item [currency].
    """
    names = list(shares)
    first, room, own = {}, {}, {}
    for name in names:
        own[name] = w.formula(
            f"{label}: gain of {name}",
            "share * max(gain, 0)",
            "USD",
            f"share of {name} in the gain on {label}",
            share=shares[name],
            gain=gain,
        )
        first[name] = w.formula(
            f"{label}: first to {name}",
            "min(own, deducted)",
            "USD",
            f"recapture that goes first to {name}",
            own=own[name],
            deducted=deductions[name],
        )
        room[name] = w.formula(
            f"{label}: counts for {name}",
            "where(own > deducted, own, 0)",
            "USD",
            f"gain of {name}, if above the deductions taken",
            own=own[name],
            deducted=deductions[name],
        )
    allotted = sum_of(w, f"{label}: allotted", list(first.values()), "USD", "recapture that follows the deductions")
    rooms = sum_of(w, f"{label}: room", list(room.values()), "USD", "gain of those with more gain than deductions")
    second = {
        name: w.formula(
            f"{label}: then to {name}",
            "min(first + max(recapture - allotted, 0) * room / max(rooms, 0.01), own)",
            "USD",
            f"with the rest, in proportion to gain, for {name}",
            first=first[name],
            recapture=recapture,
            allotted=allotted,
            room=room[name],
            rooms=rooms,
            own=own[name],
        )
        for name in names
    }
    so_far = sum_of(w, f"{label}: so far", list(second.values()), "USD", "allotted so far")
    left = sum_of(w, f"{label}: gain in all", list(own.values()), "USD", "gain of all owners")
    return {  # more than two partners: what a partner's own gain could not hold goes where there is gain left
        name: w.formula(
            f"{label}: recapture of {name}",
            "so_far_own + max(recapture - so_far, 0) * (own - so_far_own) / max(left - so_far, 0.01) + share * min(recapture, 0)",
            "USD",
            f"recapture on {label} that {name} reports",
            so_far_own=second[name],
            recapture=recapture,
            so_far=so_far,
            own=own[name],
            left=left,
            share=shares[name],
        )
        for name in names
    }
