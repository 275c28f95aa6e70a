"""What a reader must know of a comparison beside its figures: what was not tested, what is slim,
what looks mistyped.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from equipdecide.calendar import Date, add_months
from equipdecide.ledger import Finding
from equipdecide.words import money

if TYPE_CHECKING:
    from equipdecide.decide.compare import Outcome
    from equipdecide.evaluate import Evaluation

SLIM = 0.05  # cash that comes within this share of the floor is said to be slim
MONTHS_OF_TAX = 24  # tax of the owners that falls so soon after the decision is set beside the cash test


def remarks(evaluation: Evaluation, outcomes: Sequence[Outcome], best: str | None) -> list[Finding]:
    """Return findings about the alternatives side by side, the gravest first."""
    shop = evaluation.scenario.shop
    found = [Finding("note", note, "notes") for note in evaluation.scenario.notes]
    if best is None:
        found.append(
            Finding(
                "none_affordable",
                "No course keeps cash above the floor and passes every gate.",
                "shop.cash_floor",
                "warning",
            )
        )
    if shop.cash is None or shop.cash_floor is None:
        text = "No cash in the bank or no floor was given: whether the shop can pay for a course is not tested."
        found.append(Finding("no_cash_test", text, "shop.cash", "warning"))
        return [*found, *_prices(evaluation)]
    if shop.cash.likely < shop.cash_floor.likely:
        text = f"The cash entered, {money(shop.cash.likely)}, is under the floor of {money(shop.cash_floor.likely)} already today."
        found.append(Finding("floor_above_cash", text, "shop.cash_floor", "warning"))
    if shop.overhead is None:
        text = (
            "Wages, rent and the owners' living are not in the cash test: the file gives no `overhead` of the shop. "
            "Lowest cash and coverage are too rosy by whatever of them the work shown here must pay."
        )
        found.append(Finding("no_overhead", text, "shop.overhead", "warning"))
    return [
        *found,
        *_floors(outcomes, shop.cash_floor.likely),
        *_owners_tax(evaluation, outcomes),
        *_prices(evaluation),
    ]


def _floors(outcomes: Sequence[Outcome], floor: float) -> Iterator[Finding]:
    for o in outcomes:
        if o.cash_low is None:
            continue
        margin = o.cash_low.amount - floor
        if o.affordable is False:
            text = f"{o.name}: cash falls to {money(o.cash_low.amount)} in {o.cash_low.month}, under the floor of {money(floor)}."
            yield Finding("under_floor", text, o.name, "warning")
        elif margin < SLIM * floor:
            text = f"{o.name}: cash comes within {money(margin)} of the floor in {o.cash_low.month}: a slim yes."
            yield Finding("slim", text, o.name, "warning")


def _owners_tax(evaluation: Evaluation, outcomes: Sequence[Outcome]) -> Iterator[Finding]:
    """Say what the owners pay from purses that the cash test does not see, where the shop pays out nothing for it."""
    if evaluation.scenario.shop.tax_distributions is not None:
        return
    until = add_months(evaluation.time.start, MONTHS_OF_TAX)
    keep = _tax_of_owners(next(o for o in outcomes if o.name == "keep"), until)
    for o in outcomes:
        added = _tax_of_owners(o, until) - keep
        if o.name != "keep" and added >= 1_000:
            text = (
                f"{o.name}: by {until} the owners pay {money(added)} more tax than by keeping, from their own purses. "
                "The cash test sees only the shop's."
            )
            yield Finding("owners_tax", text, o.name, "warning")


def _tax_of_owners(outcome: Outcome, until: Date) -> float:
    paid = 0.0
    for line in outcome.ledger.lines:
        if line.group == "tax" and line.purse != "shop" and line.dates is not None:
            paid -= sum(
                float(a)
                for a, day in zip(line.amounts(), line.dates, strict=True)
                if outcome.plan.time.start <= day <= until
            )
    return paid


def _prices(evaluation: Evaluation) -> Iterator[Finding]:
    """Say where a machine is to bring more than it cost: a price mistyped, or rightly rare."""
    said = set()
    for plan in evaluation.plans.values():
        for sale in plan.sales:
            cost = sum(float(asset.cost) for asset in plan.scenario.machines[sale.machine].assets.values())
            if sale.offer is None or not cost or sale.offer_name in said or float(sale.offer.price) <= cost:
                continue
            said.add(sale.offer_name)
            text = f"{sale.offer_name}: {money(float(sale.offer.price))} for {sale.machine}, which cost {money(cost)}. Is that meant?"
            yield Finding("above_cost", text, sale.offer.price.path, "warning")
