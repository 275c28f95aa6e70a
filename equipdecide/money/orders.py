"""What a purchase or an improvement costs and when it is paid: price by its terms, costs of the
change-over, expenses.
"""

from __future__ import annotations

from equipdecide import calendar as cal
from equipdecide.ledger import Draft, Origin, Working, sum_of
from equipdecide.plan import Plan, Purchase
from equipdecide.scenario.models import Machine


def orders(draft: Draft, plan: Plan) -> None:
    """Post every purchase of the plan: working ``purchase <name>`` with ``price, capital_costs, basis, expenses``."""
    for purchase in plan.purchases:
        if purchase.step.on < plan.time.start:
            continue
        _order(draft, plan, purchase)


def _order(draft: Draft, plan: Plan, purchase: Purchase) -> None:
    source, day = purchase.source, purchase.step.on
    w = draft.working(f"purchase {purchase.name}", cal.ONE, f"what {purchase.name} costs", "orders")
    over: float = 0.0
    price = source.price if isinstance(source, Machine) else None
    if purchase.buyout_of is not None:
        _buyout(draft, plan, purchase, w)
        return
    if purchase.traded is not None and purchase.traded.price_with_trade is not None:
        w.formula(
            "price",
            "with_trade",
            "USD",
            "price with the trade-in",
            with_trade=draft.input(purchase.traded.price_with_trade),
        )
        w.formula(
            "over_allowance",
            "max(price - cash_price, 0)",
            "USD",
            "of it, given back by the allowance",
            cash_price=draft.input(price) if price else over,
        )
    else:
        w.formula("price", "quoted", "USD", "price", quoted=draft.input(price) if price else 0.0)
        w.formula("over_allowance", "0", "USD", "given back by an allowance")
    parts = [
        w.formula(f"cost: {name}", "amount", "USD", name, amount=draft.input(amount))
        for name, amount in source.capital_costs.items()
    ]
    taxed = source.sales_tax if isinstance(source, Machine) else None
    if taxed is not None:  # part of the cost, IRC 164(a)
        parts.append(
            w.formula(
                "cost: sales tax",
                "cents(price * rate)",
                "USD",
                "sales or use tax on the price",
                rate=draft.input(taxed),
            )
        )
    sum_of(w, "capital_costs", parts, "USD", "costs that go into its basis")
    if purchase.lease is None:
        w.formula("basis", "price - over_allowance + capital_costs", "USD", "cost for tax, whatever it is paid with")
    else:
        leased = draft.input(plan.scenario.financing[purchase.lease].amount)
        w.formula(
            "basis",
            "max(price - over_allowance + capital_costs - leased, 0)",
            "USD",
            "cost for tax of what the lessor does not pay",
            leased=leased,
        )
    parts = [
        w.formula(f"expense: {name}", "amount", "USD", name, amount=draft.input(amount))
        for name, amount in source.expenses.items()
    ]
    sum_of(w, "expenses", parts, "USD", "costs of the change that are deducted at once")

    if price is not None:  # an improvement has costs only
        days = [when for when, _, _ in purchase.payments]
        axis = cal.on_days("payment", [what for _, what, _ in purchase.payments], days)
        paid = draft.working(f"payments for {purchase.name}", axis, f"when {purchase.name} is paid", "orders")
        paid.given(
            "share",
            [share for _, _, share in purchase.payments],
            "1",
            "share of the price",
            Origin("choice", f"terms of {purchase.name}"),
            axis,
        )
        out = paid.formula("cash", "0 - share * price", "USD", "price, as it is paid", price=w["price"])
        draft.line(f"price of {purchase.name}", "shop", out, "investment", days)
    once = draft.working(
        f"change-over to {purchase.name}", cal.dated(day), f"costs of putting {purchase.name} in", "orders"
    )
    if source.capital_costs or taxed is not None:
        draft.line(
            f"change-over to {purchase.name}",
            "shop",
            once.formula(
                "capital",
                "0 - capital_costs",
                "USD",
                "freight, rigging, wiring, sales tax and the like",
                capital_costs=w["capital_costs"],
            ),
            "investment",
            [day],
        )
    if source.expenses:
        spent = once.formula("expenses", "spent", "USD", "training, programs and the like", spent=w["expenses"])
        draft.line(
            f"expenses of {purchase.name}",
            "shop",
            once.formula("expenses_paid", "0 - expenses", "USD", "the same, as cash"),
            "investment",
            [day],
        )
        draft.taxed(f"expenses of {purchase.name}", spent, -1)


def _buyout(draft: Draft, plan: Plan, purchase: Purchase, w: Working) -> None:
    """The machine bought when its lease ends: at the price in the lease, else at what it is then worth."""
    offer = plan.scenario.financing[purchase.buyout_of or ""]
    price = offer.option_price or offer.end_value
    w.formula("price", "asked", "USD", "price at the end of the lease", asked=draft.input(price) if price else 0.0)
    w.formula("basis", "price", "USD", "cost for tax")
    paid = draft.working(
        f"payments for {purchase.name}", cal.dated(purchase.step.on), f"when {purchase.name} is paid", "orders"
    )
    out = paid.formula("cash", "0 - price", "USD", "price, as it is paid", price=w["price"])
    draft.line(f"price of {purchase.name}", "shop", out, "investment", [purchase.step.on])
