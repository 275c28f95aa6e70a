"""The settlement of a sale: what the price becomes, to the cent, before tax.

Sources (the price, cash brought for a shortfall) equal uses (selling costs, the lender, the owner) in every
settlement; a formula column must be zero to prove it. The lender comes first. A trade allowance counts at its true
value: allowance less the discount that a cash buyer of the next machine would have had.
"""

from __future__ import annotations

from equipdecide import calendar as cal
from equipdecide.calendar import ONE, Axis
from equipdecide.ledger import Breach, Column, Draft, Origin, Working, sum_of
from equipdecide.money.instalments import collect
from equipdecide.money.payoff import payoff
from equipdecide.plan import Debt, Plan, Sale
from equipdecide.scenario.amounts import Amount
from equipdecide.scenario.models import Offer, Scenario


def settle(
    draft: Draft,
    scenario: Scenario,
    sale: Sale,
    debts: list[Debt],
    key: str,
    by_schedule: bool = False,
    end_value: Amount | None = None,
) -> Working:
    """Post the settlement of a sale as working ``settlement <key>``.

    Columns [currency]: ``gross, commission, costs, amount_realized, payoff, release, shortfall, net_cash, fair_value``
    and ``balance`` (sources less uses, zero).
    """
    w = draft.working(
        f"settlement {key}", ONE, f"settlement of {sale.machine} by {sale.offer_name} on {sale.sold_on}", "settlement"
    )
    if sale.offer is None:
        says = "the machine goes back to its lessor" if sale.returned_to else "value at the end of the study"
        w.formula("gross", "value", "USD", says, value=draft.input(end_value) if end_value else 0.0)
        _no_costs(w)
    else:
        _price(draft, scenario, sale.offer, w)
    owed = [payoff(draft, debt, sale.sold_on, f"{key} {debt.name}", by_schedule, _part(debt, sale)) for debt in debts]
    sum_of(w, "payoff", [one["payoff"] for one in owed], "USD", "paid to the lender")
    sum_of(w, "release", [one["release"] for one in owed], "USD", "fee for releasing the lien")
    sum_of(
        w,
        "charge",
        [one["charge"] for one in owed],
        "USD",
        "of the payoff: charge for paying early, deductible as interest",
    )
    sum_of(w, "interest", [one["interest"] for one in owed], "USD", "of the payoff: interest to the day")
    w.formula("net_cash", "amount_paid - payoff - release", "USD", "what is left, before tax")
    w.formula("to_owner", "max(net_cash, 0)", "USD", "paid out or credited")
    w.formula("shortfall", "max(0 - net_cash, 0)", "USD", "what the price does not cover of the lender")
    w.formula(
        "rolled",
        "shortfall" if sale.rolled_into else "0",
        "USD",
        f"of it, rolled into {sale.rolled_into}" if sale.rolled_into else "nothing is rolled into a new loan",
    )
    w.formula("brought", "shortfall - rolled", "USD", "brought in cash")
    w.formula(
        "balance",
        "cents(gross + brought + rolled - commission - costs - payoff - release - to_owner)",
        "USD",
        "sources less uses: must be zero",
    )
    if abs(w["balance"].values).max() > 0.005:
        raise Breach(f"settlement of {key} does not balance")
    return w


def _part(debt: Debt, sale: Sale) -> Amount | None:
    """Return the principal for which the lender lets the machine of this sale go, where the loan then goes on."""
    return next((amount for let_go, amount in debt.releases if let_go is sale), None)


def _no_costs(w: Working) -> None:
    w.formula("commission", "0", "USD", "commission")
    w.formula("costs", "0", "USD", "costs of selling")
    w.formula("amount_paid", "gross", "USD", "price less selling costs")
    w.formula("amount_realized", "gross", "USD", "amount realized, for tax")
    w.formula("over_allowance", "0", "USD", "allowance above true value")


def _price(draft: Draft, scenario: Scenario, offer: Offer, w: Working) -> None:
    price = draft.input(offer.price)
    fallback = scenario.offers[offer.if_unsold] if offer.unsold is not None and offer.if_unsold else None
    if fallback is not None and offer.unsold is not None:
        w.formula("sold", "1 - unsold", "1", "it sells (1) or does not (0)", unsold=draft.input(offer.unsold))
        w.formula(
            "gross", "where(sold, price, otherwise)", "USD", "price", price=price, otherwise=draft.input(fallback.price)
        )
        sold: Column | float = w["sold"]
    else:
        w.formula("gross", "price", "USD", "price", price=price)
        sold = 1.0
    share = draft.input(offer.commission) if offer.commission else 0.0
    least = draft.input(offer.commission_minimum) if offer.commission_minimum else 0.0
    text = "sold_as_offered * max(cents(gross * share), least)"
    uses: dict[str, Column | float] = {"sold_as_offered": sold, "share": share, "least": least}
    if fallback is not None and (fallback.commission or fallback.commission_minimum):
        text += " + (1 - sold_as_offered) * max(cents(gross * its_share), its_least)"
        uses["its_share"] = draft.input(fallback.commission) if fallback.commission else 0.0
        uses["its_least"] = draft.input(fallback.commission_minimum) if fallback.commission_minimum else 0.0
    w.formula("commission", text, "USD", "commission", None, **uses)
    parts = [
        w.formula(f"cost: {name}", "amount", "USD", name, amount=draft.input(amount))
        for name, amount in offer.costs.items()
    ]
    if fallback is not None:
        parts += [
            w.formula(
                f"cost when unsold: {name}",
                "(1 - sold) * amount",
                "USD",
                f"{name}, where it does not sell",
                amount=draft.input(amount),
            )
            for name, amount in fallback.costs.items()
        ]
    if offer.monthly_costs and offer.days_to_sale is not None:
        w.formula(
            "months",
            "ceiling(days / 30)",
            "month",
            "months begun until it is sold",
            days=draft.input(offer.days_to_sale),
        )
        parts += [
            w.formula(
                f"cost: {name}", "months * a_month", "USD", f"{name}, by the month begun", a_month=draft.input(amount)
            )
            for name, amount in offer.monthly_costs.items()
        ]
    sum_of(w, "costs", parts, "USD", "costs of selling")
    w.formula("amount_paid", "gross - commission - costs", "USD", "price less selling costs")
    if offer.against and offer.price_with_trade is not None and scenario.machines[offer.against].price is not None:
        cash_price = scenario.machines[offer.against].price
        assert cash_price is not None
        w.formula(
            "over_allowance",
            "max(price_with_trade - cash_price, 0)",
            "USD",
            f"discount on {offer.against} that is lost by trading",
            price_with_trade=draft.input(offer.price_with_trade),
            cash_price=draft.input(cash_price),
        )
        over = w["over_allowance"].figure()
        if over > 0:
            draft.find(
                "over_allowance",
                f"The trade allowance of {offer.price.likely:,.0f} for {offer.machine} is worth "
                f"{offer.price.likely - over:,.0f}: {offer.against} costs {over:,.0f} more with the trade than for "
                f"cash. Tax is computed on the true value; a return that shows {offer.price.likely:,.0f} shows the "
                f"same {over:,.0f} more in the new machine's basis.",
                offer.price.path,
            )
    else:
        w.formula("over_allowance", "0", "USD", "allowance above true value")
    w.formula(
        "amount_realized",
        "amount_paid - over_allowance",
        "USD",
        "amount realized, for tax: debt paid off is part of it",
    )


def _covered_elsewhere(draft: Draft, plan: Plan, sale: Sale, paid: list[Debt]) -> None:
    """Say where a lender's filing covers a machine that is sold and no sum is entered for letting it go."""
    for debt in plan.debts:
        if (
            debt.old is not None
            and debt not in paid
            and sale.machine in debt.old.collateral
            and sale.sold_on < debt.ends_on
        ):
            draft.find(
                "lien_covers_machine",
                f"{sale.machine}: the filing of {debt.old.lender} for {debt.name} covers it too. Nothing is counted "
                f"for letting it go; get the partial "
                "release and its price in writing before you sell.",
                f"machines.{sale.machine}",
                "warning",
            )


def sales(draft: Draft, plan: Plan) -> None:
    """Post the settlement and the lines of every sale of the plan, the last ones at the end of the study included."""
    for sale in sorted(plan.sales, key=lambda one: one.sold_on):  # what one sale pays down, a later one no longer owes
        debts = [
            d for d in plan.debts if d.old is not None and (d.machine == sale.machine or _part(d, sale) is not None)
        ]
        _covered_elsewhere(draft, plan, sale, debts)
        value = plan.end_value(sale.machine) if sale.at_end and sale.returned_to is None else None
        if sale.at_end and value is None and sale.returned_to is None and not plan.time.yearly:
            draft.find(
                "no_end_value",
                f"{sale.machine}: no value at the end of the study is given; it is taken as 0.",
                f"machines.{sale.machine}.worth_at_end",
            )
        if sale.sold_on.year < plan.time.start.year:
            continue  # an earlier year's sale is in the last return
        w = settle(draft, plan.scenario, sale, debts, sale.machine, end_value=value)
        now, later = cal.dated(sale.sold_on), cal.dated(sale.credited_on or sale.paid_on)
        flows = draft.working(f"sale {sale.machine}", ONE, f"cash from the sale of {sale.machine}", "settlement")
        first = flows.formula(
            "to_lender",
            "amount_paid - to_owner",
            "USD",
            "of the price, paid to the lender first",
            now,
            amount_paid=w["amount_paid"],
            to_owner=w["to_owner"],
        )
        out = flows.formula(
            "payoff",
            "0 - payoff - release",
            "USD",
            "loan payoff and release",
            now,
            payoff=w["payoff"],
            release=w["release"],
        )
        if sale.offer is not None and sale.offer.paid_over is not None:
            rest = collect(draft, plan, sale, flows, w["gross"], w["to_owner"], later)
        elif sale.credited_on is not None:
            rest = _credit(draft, plan, sale, flows, w["to_owner"], later)
        elif sale.offer is not None and (sale.offer.credited_to or sale.offer.against):
            rest = _without_order(draft, plan, sale, flows, w, later)
        else:
            rest = flows.formula("rest", "to_owner", "USD", "what is left of the price", later, to_owner=w["to_owner"])
        draft.line(f"sale of {sale.machine}: to the lender", "shop", first, "investment", [sale.sold_on])
        draft.line(f"payoff of {sale.machine}", "shop", out, "payoff", [sale.sold_on])
        word = "credited to the next machine" if sale.credited_on else "to the owner"
        draft.line(f"sale of {sale.machine}: {word}", "shop", rest, "investment", [sale.credited_on or sale.paid_on])
        charge = flows.formula(
            "charge",
            "charge_part + interest_part",
            "USD",
            "interest and charge in the payoff",
            now,
            charge_part=w["charge"],
            interest_part=w["interest"],
        )
        draft.taxed(f"interest in the payoff of {sale.machine}", charge, -1)


def _credit(draft: Draft, plan: Plan, sale: Sale, flows: Working, left: Column, later: Axis) -> Column:
    """A credit with the seller of the next machine: dated, unsecured, without interest; perhaps never paid out."""
    offer, day = sale.offer, sale.credited_on
    assert offer is not None and day is not None
    lost = draft.input(offer.credit_lost) if offer.credit_lost else 0.0
    flows.given(
        "credit_years",
        max(plan.time.years_to(day) - plan.time.years_to(sale.sold_on), 0.0),
        "year",
        f"from the sale on {sale.sold_on} to {day}",
        Origin("calendar", "credit"),
    )
    flows.formula(
        "waiting",
        "credit * (1 - (1 + rate) ** (0 - credit_years))",
        "USD",
        "worth lost by waiting without interest",
        credit=left,
        rate=draft.input(plan.scenario.study.rate),
    )
    credit = left.figure()
    if credit > 0.005:
        draft.find(
            "dealer_credit",
            f"{sale.machine}: {credit:,.2f} stands as a credit from {sale.sold_on} to {day} "
            f"({(day - sale.sold_on).days} days), unsecured and without interest; waiting costs "
            f"{flows['waiting'].figure():,.2f}. Get in writing to which order it belongs, from which day it is paid "
            f"out in cash if that order is late, and that it "
            "is paid out if the order is cancelled; if the dealer fails you are one creditor among many. The gain is "
            "taxed in the year of the sale all the same.",
            offer.price.path,
            "warning",
        )
    return flows.formula(
        "rest",
        "credit * (1 - lost)",
        "USD",
        "what is left of the price, where the credit is honoured",
        later,
        credit=left,
        lost=lost,
    )


def _without_order(draft: Draft, plan: Plan, sale: Sale, flows: Working, w: Working, later: Axis) -> Column:
    """A credit for an order that this course does not place, or no longer: cash only if the dealer pays it out.

    An allowance counts at its true value: the discount that a cash buyer would have had is no money without the
    purchase.
    """
    offer = sale.offer
    assert offer is not None
    order = offer.credited_to or offer.against
    rest = flows.formula(
        "rest",
        "(credit - over_allowance) * (1 - lost)",
        "USD",
        "what is left of the price, where the dealer pays it out",
        later,
        credit=w["to_owner"],
        over_allowance=w["over_allowance"],
        lost=draft.input(offer.credit_lost) if offer.credit_lost else 0.0,
    )
    if w["to_owner"].figure() > 0.005:
        _say_without_order(draft, sale, str(order), rest.figure(), offer)
    return rest


def _say_without_order(draft: Draft, sale: Sale, order: str, rest: float, offer: Offer) -> None:
    draft.find(
        "credit_without_order",
        f"{sale.machine}: the credit of “{sale.offer_name}” belongs to an order of {order}, which is not bought "
        f"here. It is counted as {rest:,.2f} paid out in cash on {sale.paid_on}. Without that in writing it stays "
        f"the dealer's promise: unsecured, without interest, and lost in part if the dealer fails. "
        "The gain is taxed in the year of the sale all the same.",
        offer.price.path,
        "warning",
    )
