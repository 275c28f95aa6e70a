"""What is paid, owed, offered and owned hangs together."""

from __future__ import annotations

from equipdecide.scenario.amounts import decimal_text
from equipdecide.scenario.checks.checker import Checker
from equipdecide.scenario.checks.looking import (
    MONEY,
    ONE,
    RATE,
    SHARE,
    block_at,
    blocks_of,
    day_of,
    figure_of,
    items_of,
    names_of,
)
from equipdecide.scenario.tree import Table, Text


def offers_hang_together(c: Checker) -> None:
    """Fields of an offer that need one another."""
    for name, offer in blocks_of(c.tree, "offers"):
        traded = offer.get("route") == "trade-in"
        if traded and "against" not in offer:
            c.report(offer, "a trade-in needs the machine it is traded for", "Add `against:`", "against")
        if not traded and "against" in offer and "route" in offer:
            c.report(
                offer, "only a trade-in is set against a machine", "Write route: trade-in, or leave it out", "against"
            )
        if "price_with_trade" in offer and "against" not in offer and not traded:
            c.report(
                offer, "a price with trade needs the machine", "Add `against:`, or leave it out", "price_with_trade"
            )
        chance = figure_of(offer.get("unsold"), SHARE)
        if chance and "if_unsold" not in offer:
            c.report(
                offer, "what happens when it does not sell is missing", "Add `if_unsold:` with an offer", "if_unsold"
            )
        if "if_unsold" in offer and "unsold" not in offer:
            c.report(offer, "the chance that it does not sell is missing", "Add `unsold:`, for example 15 %", "unsold")
        met, following = {name}, offer.get("if_unsold")
        while isinstance(following, Text) and following in names_of(c.tree, "offers"):
            if following in met:
                if following == name:
                    c.report(
                        offer, "the offers taken when unsold lead round in a circle", "End at a sure sale", "if_unsold"
                    )
                break
            met.add(str(following))
            after = c.tree["offers"][str(following)]
            following = after.get("if_unsold") if isinstance(after, Table) else None


def owners_add_up(c: Checker) -> None:
    """Shares make 100 %, and each owner can be taxed; the flat regime needs its rate."""
    owners = blocks_of(c.tree, "owners")
    shop = c.tree.get("shop")
    taxed_as = shop.get("taxed_as") if isinstance(shop, Table) else None
    if c.flat:
        if "flat" not in c.tree:
            c.report(c.tree, "the flat regime needs its tax rate", "Add `flat: {tax_rate: 30 %}`", "flat")
    else:
        if "flat" in c.tree:
            c.report(
                c.tree, "a flat rate is given, but the regime is us", "Write regime: flat, or leave it out", "flat"
            )
        if "currency" in c.tree and c.tree["currency"] != "USD" and isinstance(c.tree["currency"], Text):
            c.report(c.tree, "the regime us reckons in USD", "Write currency: USD, or regime: flat", "currency")
        if "owners" not in c.tree and taxed_as != "C corporation":  # a corporation pays its own tax
            c.report(c.tree, "`owners` is missing", "Add `owners:` with the share and tax of each", "owners")
    shares = [figure_of(owner.get("share"), SHARE) for _, owner in owners]
    known = [share for share in shares if share is not None]
    if owners and len(known) == len(shares) == len(names_of(c.tree, "owners")) and abs(sum(known) - 1) > ONE:
        total = decimal_text(round(sum(known), 8), percent=True)
        c.report(c.tree, f"the shares of the owners make {total}", "Let them make 100 %", "owners")
    if taxed_as == "sole proprietor" and len(owners) > 1:
        c.report(
            c.tree, f"a sole proprietor has one owner, not {len(owners)}", "Write partnership, or one owner", "owners"
        )
    if taxed_as == "partnership" and len(owners) == 1 == len(names_of(c.tree, "owners")):
        c.report(c.tree, "a partnership has two owners or more", "Write sole proprietor, or add an owner", "owners")
    if c.flat or taxed_as == "C corporation":
        return
    for _, owner in owners:
        if "tax_rate" not in owner and "filing" not in owner:
            mend = "Add `tax_rate:` (one rate), or `filing:` with `other_income:`"
            c.report(owner, "nothing says how this owner is taxed", mend, "tax_rate")
        elif "tax_rate" in owner and "filing" in owner:
            c.report(owner, "both one tax rate and a filing status are given", "Keep one of the two", "tax_rate")
    if isinstance(shop, Table) and "as_things_are" not in shop and any("filing" in owner for _, owner in owners):
        mend = "Add `as_things_are: {ordinary_income: 90,000}` from the last return, or give each owner one `tax_rate:`"
        what = "owners with a filing status are taxed by brackets, which start from the business's income"
        c.report(shop, what, mend, "as_things_are")


def assets_are_paid(c: Checker) -> None:
    """Days and elections of the assets of a machine."""
    for _, machine in blocks_of(c.tree, "machines"):
        for _, asset in [*blocks_of(machine, "assets"), *block_at(machine, "depreciation")]:
            used, contract = day_of(asset.get("in_service")), day_of(asset.get("contract"))
            if used and c.decision and used > c.decision:
                mend = "Assets are what is owned already; a purchase to come is a step `do: buy` or `do: improve`"
                c.report(asset, f"it is in service after the day of decision, {c.decision}", mend, "in_service")
            if used and contract and contract > used:
                c.report(
                    asset, f"the contract is later than its first use on {used}", "Put the days in order", "contract"
                )
            if asset.get("method") == "table" and "table" not in asset:
                c.report(asset, "the method `table` needs its percentages", "Add `table: [20 %, 32 %, ...]`", "table")
            if "table" in asset and asset.get("method") != "table":
                c.report(
                    asset, "a table is given and the method is another", "Write method: table, or leave it out", "table"
                )
            table = asset.get("table")
            shares = [figure_of(share, SHARE) for share in table] if isinstance(table, list) else []
            if sum(share or 0.0 for share in shares) > 1 + ONE:
                c.report(asset, "the percentages make more than 100 %", "Let them make at most 100 %", "table")
            cost, deducted = figure_of(asset.get("cost"), MONEY), figure_of(asset.get("section_179"), MONEY)
            if cost is not None and deducted is not None and deducted > cost:
                c.report(asset, "more is deducted than it cost", "Deduct at most its cost, or write all", "section_179")
        shares = [figure_of(share, SHARE) for _, share in items_of(machine, "terms")]
        known = [share for share in shares if share is not None]
        if shares and len(known) == len(shares) and abs(sum(known) - 1) > ONE:
            total = decimal_text(round(sum(known), 8), percent=True)
            c.report(machine, f"the terms of payment make {total}", "Let them make 100 %", "terms")


def loans_can_be_paid(c: Checker) -> None:
    """A payment covers the interest; the days of a loan and its letter are in order."""
    loans = [loan for _, machine in blocks_of(c.tree, "machines") for _, loan in blocks_of(machine, "loans")]
    for loan, key in [(loan, "principal") for loan in loans] + [
        (loan, "amount") for _, loan in blocks_of(c.tree, "financing")
    ]:
        owed, rate, payment = (
            figure_of(loan.get(key), MONEY),
            figure_of(loan.get("rate"), RATE),
            figure_of(loan.get("payment"), MONEY),
        )
        if owed is not None and rate is not None and payment is not None and payment <= owed * rate / 12:
            interest = decimal_text(round(owed * rate / 12, 2))
            c.report(
                loan,
                f"the payment does not cover a month's interest of {interest}",
                "Check payment and rate",
                "payment",
            )
        first, stands = day_of(loan.get("first_payment")), day_of(loan.get("balance_on"))
        if first and stands and first <= stands:
            mend = f"Give the next payment, after {stands}"
            c.report(loan, "the next payment is not after the day of the balance", mend, "first_payment")
        letter = loan.get("letter")
        if isinstance(letter, Table):
            written, good, on = (day_of(letter.get(key)) for key in ("written", "good_through", "balance_on"))
            if written and good and good < written:
                c.report(
                    letter, f"the letter ends before it was written on {written}", "Check both days", "good_through"
                )
            if on and good and on > good:
                c.report(
                    letter, f"the balance stands after the letter's last day, {good}", "Check both days", "balance_on"
                )


LEASES = ("one-dollar buyout", "fixed-option lease", "fair-value lease")
_ONLY_FOR = {
    "steps": ("stepped loan",),
    "deferred": ("deferred loan",),
    "balloon": ("balloon loan",),
    "option_price": LEASES,
    "end_value": ("fair-value lease", "fixed-option lease"),
    "notice": ("fair-value lease", "fixed-option lease"),
    "return_costs": ("fair-value lease", "fixed-option lease"),
}


def offers_of_money_are_whole(c: Checker) -> None:
    """What each kind of financing needs, and what belongs to another kind."""
    for _, offer in blocks_of(c.tree, "financing"):
        kind = str(offer.get("kind", "loan"))
        lease = kind in LEASES
        machine = offer.get("machine")
        if isinstance(machine, Text) and machine not in names_of(c.tree, "improvements"):
            c.named(machine, "machines", "machine or improvement")
        amount, fee = figure_of(offer.get("amount"), MONEY), figure_of(offer.get("fee"), MONEY)
        if amount is not None and amount <= (fee or 0.0):
            c.report(offer, "nothing is left of the amount when the fee is paid", "Check amount and fee", "amount")
        if lease and "payment" not in offer:
            c.report(offer, "a lease needs its payment", "Add `payment:`", "payment")
        if not lease and "rate" not in offer:
            c.report(offer, "a loan needs its interest rate", "Add `rate:`, for example 8 %", "rate")
        if kind == "fair-value lease" and not {"end_value", "option_price"} & set(offer):
            mend = "Add `end_value:`, what it will be worth when the lease ends"
            c.report(offer, "nothing says what the machine is worth at the end of the lease", mend, "end_value")
        if kind == "fixed-option lease" and "option_price" not in offer:
            c.report(offer, "the price at the end of the lease is missing", "Add `option_price:`", "option_price")
        for key, kinds in _ONLY_FOR.items():
            if (
                key in offer
                and kind not in kinds
                and kind in (*LEASES, "loan", "stepped loan", "deferred loan", "balloon loan")
            ):
                c.report(offer, f"`{key}` does not belong to a {kind}", f"Write kind: {kinds[0]}, or leave it out", key)
        notice = offer.get("notice")
        if isinstance(notice, list) and len(notice) != 2:
            c.report(offer, "the notice of a lease is two numbers of days", "Write [180, 120]", "notice")
