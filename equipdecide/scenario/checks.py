"""Cross-checks of a scenario over its raw tree.

They run even where single fields could not be read: what cannot be read is passed over here, because it is reported
where it stands. Each check is a function of one :class:`Checker`; `CHECKS` lists them all.
"""

from __future__ import annotations

import csv
import datetime as dt
from collections.abc import Callable, Iterable, Iterator, Set
from pathlib import Path
from typing import Any, get_args

from equipdecide.scenario.amounts import (
    Amount,
    AmountError,
    Count,
    Factor,
    Hours,
    MoneyOrLoss,
    Quantity,
    Rate,
    Share,
    decimal_text,
    read_day,
)
from equipdecide.scenario.faults import Fault, did_you_mean
from equipdecide.scenario.shop_checks import SHOP_CHECKS
from equipdecide.scenario.tax_checks import TAX_CHECKS
from equipdecide.scenario.tree import Items, Place, Table, Text

_MONEY: Quantity = get_args(MoneyOrLoss)[1]
_SHARE: Quantity = get_args(Share)[1]
_RATE: Quantity = get_args(Rate)[1]
_COUNT: Quantity = get_args(Count)[1]
_FACTOR: Quantity = get_args(Factor)[1]
_HOURS: Quantity = get_args(Hours)[1]
_ONE = 1e-6  # shares that differ from 100 % by less are taken as 100 %: 33.3333 % three times is not

LOG_COLUMNS = ("date", "hours_run", "reason")


def resolve_doubts(tree: Table) -> None:
    """Replace the words of each step's ``when:`` ("P5 bracket renews") by the path of the doubt, where it is known."""
    for _, step in _steps(tree):
        words = step.get("when")
        if isinstance(words, Text) and (path := doubt_path(words, _names(tree, "parts"), _names(tree, "events"))):
            step["when"] = Text.at(path, words.place, words.path, words.provenance, words.currency)


def check(tree: Table, faults: list[Fault], lines: list[str], folder: Path | None, misspelt: Set[str]) -> None:
    """Add to `faults` everything that is wrong between fields.

    `folder` is where files named in it are looked for; `misspelt` are paths that a misspelt key was meant for.
    """
    checker = Checker(tree, faults, lines, folder, misspelt)
    for one in CHECKS:
        one(checker)


class Checker:
    """The tree with what its checks need: names, days, figures (None where they cannot be read), and the report."""

    def __init__(
        self, tree: Table, faults: list[Fault], lines: list[str], folder: Path | None, misspelt: Set[str]
    ) -> None:
        self.tree, self.faults, self.lines, self.folder, self.misspelt = tree, faults, lines, folder, misspelt
        self.decision = _day(tree.get("decision_date"))
        self.flat = tree.get("regime") == "flat"
        asked = tree.get("machine_in_question")
        self.in_question = [str(name) for name in asked] if isinstance(asked, list) else []

    def report(self, where: Any, what: str, mend: str, key: str = "") -> None:
        """Add a fault at the value `where`, or at its key `key` (at the block itself where the key is missing)."""
        place, path = where.place, where.path
        if key:
            path = f"{path}.{key}" if path else key
            if key not in where and path in self.misspelt:
                return
            value = where.get(key)
            place = value.place if isinstance(value, Text) else where.keys_at.get(key, self.key_place(where))
        elif isinstance(where, Table | Items):
            place = self.key_place(where)
        line = self.lines[place.line - 1] if 0 < place.line <= len(self.lines) else ""
        self.faults.append(Fault(place, path, what, mend, line))

    def key_place(self, block: Table | Items) -> Place:
        """Return the place of the key under which a block stands; its own place in a list or at the top."""
        node: Any = self.tree
        place: Place = block.place
        for step in _ways(self.tree, block.path):
            if isinstance(node, Table):
                place, node = node.keys_at[step], node[step]
            else:
                node = node[int(step)]
                place = node.place
        return place

    def refers(self, where: Any, key: str, section: str, noun: str) -> Table | None:
        """Return the block that `where[key]` names; a name that stands nowhere is reported."""
        value = where.get(key) if isinstance(where, Table) else where[int(key)]
        if not isinstance(value, Text) or not value:
            return None
        return self.named(value, section, noun)

    def named(self, value: Text, section: str, noun: str) -> Table | None:
        """Return the block of `section` that `value` names; a name that stands nowhere is reported."""
        known = _names(self.tree, section)
        if value not in known:
            otherwise = f"Known here: {', '.join(known)}" if known else f"Add it under `{section}:`"
            self.report(value, f"no {noun} is named '{value}'", did_you_mean(value, known, otherwise))
            return None
        found = self.tree[section][str(value)]
        return found if isinstance(found, Table) else None


# --- the checks ------------------------------------------------------------------------------------------------------


def names_stand(c: Checker) -> None:
    """Every name used must be the name of something."""
    asked = c.tree.get("machine_in_question")
    for value in asked if isinstance(asked, list) else []:
        if isinstance(value, Text) and value:
            c.named(value, "machines", "machine")
    for _, improvement in _blocks(c.tree, "improvements"):
        c.refers(improvement, "machine", "machines", "machine")
    for _, offer in _blocks(c.tree, "offers"):
        for key in ("machine", "against", "credited_to"):
            c.refers(offer, key, "machines", "machine")
        fallback = c.refers(offer, "if_unsold", "offers", "offer")
        if fallback is not None and fallback.get("machine") != offer.get("machine"):
            c.report(offer, "that offer is for another machine", "Name an offer for the same machine", "if_unsold")
    for name, machine in _blocks(c.tree, "machines"):
        for _, loan in _blocks(machine, "loans"):
            _filing_stands(c, name, loan)
        for _, asset in _blocks(machine, "assets"):
            used = asset.get("section_179_used")
            for owner, place in used.keys_at.items() if isinstance(used, Table) else ():
                if owner not in _names(c.tree, "owners"):
                    mend = did_you_mean(owner, _names(c.tree, "owners"), "Name an owner of this file")
                    c.report(
                        Text.at(owner, place, f"{asset.path}.section_179_used.{owner}"),
                        f"no owner is named '{owner}'",
                        mend,
                    )
    for _, step in _steps(c.tree):
        c.refers(step, "machine", "machines", "machine")
        c.refers(step, "improvement", "improvements", "improvement")
        if step.get("do") == "sell":
            taken = c.refers(step, "by", "offers", "offer")
            if taken is not None and taken.get("machine") and taken.get("machine") != step.get("machine"):
                c.report(
                    step, f"offer '{step['by']}' is for {taken.get('machine')}", "Name an offer for this machine", "by"
                )
        c.refers(step, "rolled_into", "financing", "financing")
        pay = step.get("pay")
        for value in pay if isinstance(pay, list) else ():
            if isinstance(value, Text):
                paid = c.named(value, "financing", "financing")
                if step.get("do") == "improve" and paid is not None and str(paid.get("kind", "loan")) in _LEASES[1:]:
                    c.report(
                        value, f"'{value}' is a lease, and an improvement stays in your machine", "Pay it with a loan"
                    )
        when = step.get("when")
        if isinstance(when, Text) and when:
            _doubt_stands(c, when)


def _filing_stands(c: Checker, machine: str, loan: Table) -> None:
    """Machines that a lender's filing covers, and those it lets go for an amount."""
    covered = [machine]
    listed = loan.get("collateral")
    for value in listed if isinstance(listed, list) else ():
        if isinstance(value, Text) and value:
            c.named(value, "machines", "machine")
            covered.append(str(value))
    amounts = loan.get("release_amounts")
    for name, place in amounts.keys_at.items() if isinstance(amounts, Table) else ():
        if name not in covered:
            mend = did_you_mean(name, covered, "Name a machine under `collateral:`")
            at = Text.at(name, place, f"{loan.path}.release_amounts.{name}")
            c.report(at, f"the filing of this loan does not cover '{name}'", mend)


def _doubt_stands(c: Checker, when: Text) -> None:
    parts = c.tree.get("parts")
    if when.startswith("events.") and when.removeprefix("events.") in _names(c.tree, "events"):
        return
    for name, part in _blocks(c.tree, "parts"):
        if when == f"parts.{name}.renews":
            if "renews" not in part:
                c.report(
                    when, f"'{name}' has no chance of renewal", f"Add `renews:` to the part '{name}', for example 75 %"
                )
            return
    doubtful = [f"{name} renews" for name, part in _blocks(c.tree, "parts") if "renews" in part]
    doubtful += _names(c.tree, "events")
    mend = "Write the name of a part with `renews:` and the word renews"
    if doubtful or isinstance(parts, Table):
        mend = did_you_mean(when, doubtful, f"{mend}: {', '.join(doubtful)}" if doubtful else mend)
    c.report(when, f"'{when}' names no yes/no doubt", mend)


def offers_hang_together(c: Checker) -> None:
    """Fields of an offer that need one another."""
    for name, offer in _blocks(c.tree, "offers"):
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
        chance = _figure(offer.get("unsold"), _SHARE)
        if chance and "if_unsold" not in offer:
            c.report(
                offer, "what happens when it does not sell is missing", "Add `if_unsold:` with an offer", "if_unsold"
            )
        if "if_unsold" in offer and "unsold" not in offer:
            c.report(offer, "the chance that it does not sell is missing", "Add `unsold:`, for example 15 %", "unsold")
        met, following = {name}, offer.get("if_unsold")
        while isinstance(following, Text) and following in _names(c.tree, "offers"):
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
    owners = _blocks(c.tree, "owners")
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
    shares = [_figure(owner.get("share"), _SHARE) for _, owner in owners]
    known = [share for share in shares if share is not None]
    if owners and len(known) == len(shares) == len(_names(c.tree, "owners")) and abs(sum(known) - 1) > _ONE:
        total = decimal_text(round(sum(known), 8), percent=True)
        c.report(c.tree, f"the shares of the owners make {total}", "Let them make 100 %", "owners")
    if taxed_as == "sole proprietor" and len(owners) > 1:
        c.report(
            c.tree, f"a sole proprietor has one owner, not {len(owners)}", "Write partnership, or one owner", "owners"
        )
    if taxed_as == "partnership" and len(owners) == 1 == len(_names(c.tree, "owners")):
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


def alternatives_can_happen(c: Checker) -> None:
    """Keep is there and empty; what is sold is owned, what is bought has a price; dates in order."""
    alternatives = c.tree.get("alternatives")
    if isinstance(alternatives, Table):
        if "keep" not in alternatives:
            c.report(
                c.tree,
                "the alternative `keep` is missing",
                "Add `keep: []`: everything is compared with it",
                "alternatives",
            )
        elif isinstance(alternatives["keep"], list) and alternatives["keep"]:
            c.report(alternatives, "keeping has no steps", "Write keep: [], and move the steps to another name", "keep")
        for name, steps in alternatives.items():
            if isinstance(steps, list):
                _one_alternative(c, [step for step in steps if isinstance(step, Table)], name)


def _one_alternative(c: Checker, steps: list[Table], name: str) -> None:
    bought: dict[str, tuple[dt.date | None, Table]] = {}
    sold: set[tuple[str, str]] = set()
    for step in sorted(steps, key=lambda step: step.get("do") != "buy"):
        do, on, machine = step.get("do"), _day(step.get("on")), str(step.get("machine", ""))
        _dates_in_order(c, step, on)
        block = c.tree["machines"].get(machine) if isinstance(c.tree.get("machines"), Table) else None
        if do == "buy" and isinstance(block, Table):
            if machine in bought:
                c.report(step, f"'{machine}' is bought twice in '{name}'", "Keep one of the two steps", "machine")
            bought[machine] = (on, step)
            if block.get("assets") or machine in c.in_question:
                mend = "Buy another machine, or leave out its `assets:`"
                c.report(step, f"'{machine}' is owned already", mend, "machine")
            elif "price" not in block:
                c.report(block, f"'{machine}' is bought in '{name}' and has no price", "Add `price:`", "price")
        elif do == "sell" and isinstance(block, Table):
            key = (machine, str(step.get("when", "")))
            if key in sold:
                c.report(step, f"'{machine}' is sold twice in '{name}'", "Keep one of the two steps", "machine")
            sold.add(key)
            owned = bool(block.get("assets") or block.get("loans") or machine in c.in_question)
            if machine in bought:
                first = bought[machine][0]
                if on and first and on < first:
                    mend = f"Sell it on {first} or later"
                    c.report(step, f"'{machine}' is sold before it is bought on {first}", mend, "on")
            elif not owned:
                mend = "Give its `assets:`, or buy it in an earlier step"
                c.report(step, f"'{machine}' is sold but not owned", mend, "machine")
            for asset, item in _blocks(block, "assets"):
                used = _day(item.get("in_service"))
                if on and used and on < used:
                    mend = f"Check this day and `in_service:` of '{asset}' ({used})"
                    c.report(step, f"'{machine}' is sold before '{asset}' is in service", mend, "on")
            offer = c.tree["offers"].get(str(step.get("by"))) if isinstance(c.tree.get("offers"), Table) else None
            traded = str(offer.get("against")) if isinstance(offer, Table) and "against" in offer else ""
            if traded and traded not in bought:
                mend = f"Buy '{traded}' in this course, or sell by another offer"
                what = f"'{machine}' is traded in against '{traded}', which '{name}' does not buy"
                c.report(step, what, mend, "by")
        elif do in ("spend", "earn") and ("once" in step) == ("a_year" in step):
            what = "both `once` and `a_year` are given" if "once" in step else "an amount is missing"
            c.report(step, what, "Give `once:` or `a_year:`", "once")


def _dates_in_order(c: Checker, step: Table, on: dt.date | None) -> None:
    ordered, shipped, until = (_day(step.get(key)) for key in ("ordered", "shipped", "until"))
    if ordered and shipped and ordered > shipped:
        c.report(step, f"it is shipped before it is ordered on {ordered}", "Put the days in order", "shipped")
    for key, day in (("shipped", shipped), ("ordered", ordered)):
        if on and day and day > on:
            c.report(step, f"it is in service before it is {key} on {day}", "Put the days in order", "on")
            break
    if on and until and until < on:
        c.report(step, f"it ends before it begins on {on}", "Put the days in order", "until")
    if on and c.decision:
        done = str(step.get("done", "no")).lower() in ("yes", "true")
        if on < c.decision and not done:
            mend = "Write done: yes if it has happened, or a later day"
            c.report(step, f"the step is before the day of decision, {c.decision}", mend, "on")
        elif on > c.decision and done:
            c.report(step, f"the step is done, but after the day of decision, {c.decision}", "Write done: no", "done")
        end = _end(c)
        if end and on > end:
            mend = f"Choose a day up to {end}, or look further ahead (`study.years`)"
            c.report(step, "the step is after the years looked ahead", mend, "on")


def _end(c: Checker) -> dt.date | None:
    study = c.tree.get("study")
    years = study.get("years") if isinstance(study, Table) else None
    if c.decision is None or not isinstance(years, Text) or not years.isdigit() or not 0 < int(years) <= 40:
        return None
    day = c.decision
    return day.replace(year=day.year + int(years), day=28 if (day.month, day.day) == (2, 29) else day.day)


def assets_are_paid(c: Checker) -> None:
    """Days and elections of the assets of a machine."""
    for _, machine in _blocks(c.tree, "machines"):
        for _, asset in [*_blocks(machine, "assets"), *_one(machine, "depreciation")]:
            used, contract = _day(asset.get("in_service")), _day(asset.get("contract"))
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
            shares = [_figure(share, _SHARE) for share in table] if isinstance(table, list) else []
            if sum(share or 0.0 for share in shares) > 1 + _ONE:
                c.report(asset, "the percentages make more than 100 %", "Let them make at most 100 %", "table")
            cost, deducted = _figure(asset.get("cost"), _MONEY), _figure(asset.get("section_179"), _MONEY)
            if cost is not None and deducted is not None and deducted > cost:
                c.report(asset, "more is deducted than it cost", "Deduct at most its cost, or write all", "section_179")
        shares = [_figure(share, _SHARE) for _, share in _items(machine, "terms")]
        known = [share for share in shares if share is not None]
        if shares and len(known) == len(shares) and abs(sum(known) - 1) > _ONE:
            total = decimal_text(round(sum(known), 8), percent=True)
            c.report(machine, f"the terms of payment make {total}", "Let them make 100 %", "terms")


def loans_can_be_paid(c: Checker) -> None:
    """A payment covers the interest; the days of a loan and its letter are in order."""
    loans = [loan for _, machine in _blocks(c.tree, "machines") for _, loan in _blocks(machine, "loans")]
    for loan, key in [(loan, "principal") for loan in loans] + [
        (loan, "amount") for _, loan in _blocks(c.tree, "financing")
    ]:
        owed, rate, payment = (
            _figure(loan.get(key), _MONEY),
            _figure(loan.get("rate"), _RATE),
            _figure(loan.get("payment"), _MONEY),
        )
        if owed is not None and rate is not None and payment is not None and payment <= owed * rate / 12:
            interest = decimal_text(round(owed * rate / 12, 2))
            c.report(
                loan,
                f"the payment does not cover a month's interest of {interest}",
                "Check payment and rate",
                "payment",
            )
        first, stands = _day(loan.get("first_payment")), _day(loan.get("balance_on"))
        if first and stands and first <= stands:
            mend = f"Give the next payment, after {stands}"
            c.report(loan, "the next payment is not after the day of the balance", mend, "first_payment")
        letter = loan.get("letter")
        if isinstance(letter, Table):
            written, good, on = (_day(letter.get(key)) for key in ("written", "good_through", "balance_on"))
            if written and good and good < written:
                c.report(
                    letter, f"the letter ends before it was written on {written}", "Check both days", "good_through"
                )
            if on and good and on > good:
                c.report(
                    letter, f"the balance stands after the letter's last day, {good}", "Check both days", "balance_on"
                )


_LEASES = ("one-dollar buyout", "fixed-option lease", "fair-value lease")
_ONLY_FOR = {
    "steps": ("stepped loan",),
    "deferred": ("deferred loan",),
    "balloon": ("balloon loan",),
    "option_price": _LEASES,
    "end_value": ("fair-value lease", "fixed-option lease"),
    "notice": ("fair-value lease", "fixed-option lease"),
    "return_costs": ("fair-value lease", "fixed-option lease"),
}


def offers_of_money_are_whole(c: Checker) -> None:
    """What each kind of financing needs, and what belongs to another kind."""
    for _, offer in _blocks(c.tree, "financing"):
        kind = str(offer.get("kind", "loan"))
        lease = kind in _LEASES
        machine = offer.get("machine")
        if isinstance(machine, Text) and machine not in _names(c.tree, "improvements"):
            c.named(machine, "machines", "machine or improvement")
        amount, fee = _figure(offer.get("amount"), _MONEY), _figure(offer.get("fee"), _MONEY)
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
                and kind in (*_LEASES, "loan", "stepped loan", "deferred loan", "balloon loan")
            ):
                c.report(offer, f"`{key}` does not belong to a {kind}", f"Write kind: {kinds[0]}, or leave it out", key)
        notice = offer.get("notice")
        if isinstance(notice, list) and len(notice) != 2:
            c.report(offer, "the notice of a lease is two numbers of days", "Write [180, 120]", "notice")


def parts_can_be_sold(c: Checker) -> None:
    """A part is sold by the piece or by the hour, and no more must ship than can be sold."""
    for _, part in _blocks(c.tree, "parts"):
        by_hour = [key for key in ("hours", "contribution_per_hour") if key in part]
        by_piece = [key for key in ("price", "minutes", "demand") if key in part]
        if by_hour and by_piece:
            mend = "Give price, minutes and demand, or hours and contribution_per_hour"
            c.report(part, "this is sold both by the piece and by the hour", mend)
        elif by_hour or by_piece:
            for key in ("hours", "contribution_per_hour") if by_hour else ("price", "minutes", "demand"):
                if key not in part:
                    sold = "by the hour" if by_hour else "by the piece"
                    c.report(part, f"`{key}` is missing for work sold {sold}", f"Add `{key}:`", key)
        else:
            mend = "Give price, minutes and demand, or hours and contribution_per_hour"
            c.report(part, "nothing says what this brings", mend)
        must, demand = _amount(part.get("must_ship"), _COUNT), _amount(part.get("demand"), _COUNT)
        if must and demand and must.likely > demand.likely:
            mend = f"Ship at most the demand, {decimal_text(demand.likely)}"
            c.report(part, "more must be shipped than can be sold", mend, "must_ship")
        if "renews" in part and "ends" not in part:
            c.report(part, "a renewal needs the day the contract ends", "Add `ends:`", "ends")
        short = part.get("falling_short")
        if isinstance(short, Table) and not {"cost_factor", "penalty"} & set(short):
            c.report(short, "nothing says what falling short costs", "Add `cost_factor:` or `penalty:`")


def logs_can_be_read(c: Checker) -> None:
    """A log of evenings exists and each row can be read; hours alone need one or the other source."""
    first = _first_nights(c.tree)
    for nights in _nights(c.tree):
        if nights in first and "log" not in nights and "mean_between_stops" not in nights:
            mend = "Add `mean_between_stops:`, or `log:` with a file of evenings"
            c.report(nights, "nothing says how long it runs between stops", mend, "mean_between_stops")
        if nights in first and ".changes." in nights.path:
            for key in ("nights", "window"):
                if key not in nights:
                    c.report(
                        nights, f"`{key}` is missing: its machine has no nights to take it from", f"Add `{key}:`", key
                    )
        name = nights.get("log")
        if not isinstance(name, Text) or not name or c.folder is None:
            continue
        file = c.folder / name
        try:
            lines = file.read_text(encoding="utf-8-sig").splitlines()
        except OSError:
            c.report(
                nights,
                f"the file '{name}' is not in the folder of this file",
                "Put it there, or leave `log:` out",
                "log",
            )
        except UnicodeDecodeError:
            c.report(nights, f"the file '{name}' is not text in UTF-8", "Save it as CSV in UTF-8", "log")
        else:
            window = _figure(nights.get("window"), _HOURS)
            c.faults.extend(log_faults(lines, str(name), window))


def courses_are_judged(c: Checker) -> None:
    """Gates and criteria name courses of this file; a criterion has a range and a value for every course."""
    courses = _names(c.tree, "alternatives")
    blocks: list[tuple[str, Table, Any]] = [(name, gate, gate) for name, gate in _blocks(c.tree, "gates")]
    blocks += [(name, one, one.get("values")) for name, one in _blocks(c.tree, "criteria")]
    for name, block, answers in blocks:
        if not isinstance(answers, Table):
            continue
        for course, place in answers.keys_at.items():
            if course not in courses:
                mend = did_you_mean(course, courses, f"Courses here: {', '.join(courses)}")
                c.report(Text.at(course, place, f"{answers.path}.{course}"), f"no course is named '{course}'", mend)
        missing = [course for course in courses if course not in answers]
        if missing and block is not answers:
            c.report(
                block, f"'{name}' has no value for {', '.join(missing)}", "Give a value for every course", "values"
            )
    for name, one in _blocks(c.tree, "criteria"):
        worst, best = _figure(one.get("worst"), _FACTOR), _figure(one.get("best"), _FACTOR)
        if worst is not None and worst == best:
            c.report(one, f"worst and best of '{name}' are the same", "Give the range that could be had", "best")


def learning_is_said_once(c: Checker) -> None:
    """Hours lost while learning are entered, or follow from a ramp; a ramp begins above the standard time and falls."""
    for _, block in [*_blocks(c.tree, "machines"), *_blocks(c.tree, "improvements")]:
        for _, ramp in _one(block, "ramp"):
            if "ramp_loss" in block:
                c.report(block, "both `ramp_loss` and `ramp` are given", "Keep one of the two", "ramp_loss")
            rate, start = _figure(ramp.get("rate"), _SHARE), _figure(ramp.get("start"), _FACTOR)
            if rate is not None and not 0.5 <= rate < 1:
                c.report(
                    ramp,
                    "a learning rate is 50 % to 99 %",
                    "Write for example 85 %: each doubling takes 15 % off",
                    "rate",
                )
            if start is not None and start < 1:
                c.report(
                    ramp, "the first batch is quicker than the standard time", "Write a multiple of 1 or more", "start"
                )


def stations_stand(c: Checker) -> None:
    """Stations a part passes elsewhere are among the other limits of the shop."""
    shop = c.tree.get("shop")
    known = _names(shop, "other_limits") if isinstance(shop, Table) else []
    for _, part in _blocks(c.tree, "parts"):
        there = part.get("elsewhere")
        if not isinstance(there, Table):
            continue
        for station, place in there.keys_at.items():
            if station not in known:
                mend = did_you_mean(
                    station,
                    known,
                    f"Known here: {', '.join(known)}"
                    if known
                    else "Add `other_limits:` to the shop, with its hours a year",
                )
                c.report(
                    Text.at(station, place, f"{there.path}.{station}"), f"no other station is named '{station}'", mend
                )


def day_can_be_heard(c: Checker) -> None:
    """Each piece of a working day has a level or a machine, and the day has no more than 24 hours."""
    hours = []
    for name, piece in _blocks(c.tree, "working_day"):
        c.refers(piece, "machine", "machines", "machine")
        if ("level" in piece) == ("machine" in piece):
            what = "both `level` and `machine` are given" if "level" in piece else f"nothing says how loud '{name}' is"
            c.report(piece, what, "Give `level:` or `machine:`", "level")
        hours.append(_figure(piece.get("hours"), _HOURS) or 0.0)
    if sum(hours) > 24:
        c.report(
            c.tree,
            f"the working day has {decimal_text(round(sum(hours), 2))} hours",
            "Give the hours of one day",
            "working_day",
        )


def causes_are_logged(c: Checker) -> None:
    """Reasons that an improvement ends stand in the log of its machine, and no more than all of one is ended."""
    machines = dict(_blocks(c.tree, "machines"))
    for _, improvement in _blocks(c.tree, "improvements"):
        for _, change in _one(improvement, "changes"):
            ended = change.get("ends_causes")
            if not isinstance(ended, Table) or not ended:
                continue
            base = machines.get(str(improvement.get("machine")))
            runs = [run for block in ([base] if base is not None else []) for _, run in _one(block, "running")]
            logs = [nights.get("log") for run in [change, *runs] for _, nights in _one(run, "nights")]
            name = next((log for log in logs if isinstance(log, Text) and log), None)
            if name is None:
                mend = "Add `log:` to the nights of the machine, or give the new `mean_between_stops:` instead"
                c.report(change, "there is no log of evenings to take these reasons from", mend, "ends_causes")
                continue
            reasons = _reasons(c.folder, name)
            for words, place in ended.keys_at.items():
                found = [r for r in reasons if r.lower() == words.lower()] or [
                    r for r in reasons if r.lower().startswith(words.lower())
                ]
                if reasons and len(found) != 1:
                    otherwise = f"Reasons in the log: {'; '.join(reasons)}"
                    what = (
                        f"no reason in the log is '{words}'"
                        if not found
                        else f"{len(found)} reasons in the log begin with '{words}'"
                    )
                    c.report(
                        Text.at(words, place, f"{ended.path}.{words}"), what, did_you_mean(words, reasons, otherwise)
                    )


def _reasons(folder: Path | None, name: str) -> list[str]:
    """Return the reasons of a log, each once; empty where it cannot be read (which is reported elsewhere)."""
    try:
        lines = (folder / name).read_text(encoding="utf-8-sig").splitlines() if folder is not None else []
    except (OSError, UnicodeDecodeError):
        return []
    rows = [row for row in csv.reader(lines[1:]) if len(row) > 2]
    return list(dict.fromkeys(",".join(row[2:]).strip() for row in rows))


def log_faults(lines: list[str], name: str, window: float | None = None) -> Iterator[Fault]:
    """Yield what is wrong in a log of evenings: date, hours_run [h] and reason; `window` bounds the hours [h]."""

    def fault(number: int, column: int, what: str, mend: str) -> Fault:
        line = lines[number - 1] if 0 < number <= len(lines) else ""
        return Fault(Place(name, number, column), "", what, mend, line)

    head = [cell.strip() for cell in next(csv.reader(lines[:1]), [])]
    if tuple(head) != LOG_COLUMNS:
        yield fault(1, 1, "the columns are not date, hours_run, reason", "Make date,hours_run,reason the first line")
        return
    if len(lines) < 2:
        yield fault(1, 1, "the log holds no evening", "Add one line for each evening, or leave `log:` out")
    for number, line in enumerate(lines[1:], 2):
        cells = next(csv.reader([line]), [])
        if not cells:
            continue
        starts = [1]
        for cell in cells[:-1]:
            starts.append(starts[-1] + len(cell) + 1)
        if len(cells) < len(LOG_COLUMNS):  # commas in the reason, the last column, do no harm
            yield fault(number, 1, f"the row has {len(cells)} cells, not 3", "Write date,hours_run,reason")
            continue
        try:
            read_day(cells[0])
        except AmountError as error:
            yield fault(number, 1, error.what, error.mend)
        try:
            hours = float(_HOURS.read(cells[1]))
            if window is not None and hours > window + 1e-9:
                mend = f"Write at most {decimal_text(window)}, or check `window:`"
                yield fault(
                    number, starts[1], f"{cells[1]} h is more than the window of {decimal_text(window)} h", mend
                )
        except AmountError as error:
            yield fault(number, starts[1], error.what, error.mend)


CHECKS: tuple[Callable[[Checker], None], ...] = (
    names_stand,
    offers_hang_together,
    owners_add_up,
    alternatives_can_happen,
    assets_are_paid,
    loans_can_be_paid,
    offers_of_money_are_whole,
    parts_can_be_sold,
    logs_can_be_read,
    causes_are_logged,
    courses_are_judged,
    day_can_be_heard,
    stations_stand,
    learning_is_said_once,
    *SHOP_CHECKS,
    *TAX_CHECKS,
)


# --- reading what can be read ----------------------------------------------------------------------------------------


def _items(tree: Any, section: str) -> list[tuple[str, Any]]:
    found = tree.get(section) if isinstance(tree, Table) else None
    return list(found.items()) if isinstance(found, Table) else []


def _blocks(tree: Any, section: str) -> list[tuple[str, Table]]:
    return [(name, block) for name, block in _items(tree, section) if isinstance(block, Table)]


def _one(tree: Table, key: str) -> list[tuple[str, Table]]:
    block = tree.get(key)
    return [(key, block)] if isinstance(block, Table) else []


def _names(tree: Table, section: str) -> list[str]:
    return [name for name, _ in _items(tree, section)]


def _steps(tree: Table) -> list[tuple[str, Table]]:
    return [
        (name, step)
        for name, steps in _items(tree, "alternatives")
        if isinstance(steps, list)
        for step in steps
        if isinstance(step, Table)
    ]


def _first_nights(tree: Table) -> list[Table]:
    """Return the blocks of nights that change nothing that was there before: of machines, and of changes to machines without."""
    machines = {
        name: [n for _, run in _one(block, "running") for _, n in _one(run, "nights")]
        for name, block in _blocks(tree, "machines")
    }
    found = [nights for listed in machines.values() for nights in listed]
    for _, improvement in _blocks(tree, "improvements"):
        if not machines.get(str(improvement.get("machine"))):
            found += [nights for _, change in _one(improvement, "changes") for _, nights in _one(change, "nights")]
    return found


def _nights(tree: Table) -> list[Table]:
    runs = [run for _, machine in _blocks(tree, "machines") for _, run in _one(machine, "running")]
    runs += [change for _, one in _blocks(tree, "improvements") for _, change in _one(one, "changes")]
    return [nights for run in runs for _, nights in _one(run, "nights")]


def _day(value: Any) -> dt.date | None:
    try:
        return read_day(value) if value is not None else None
    except AmountError:
        return None


def _amount(value: Any, quantity: Quantity) -> Amount | None:
    try:
        return quantity.read(value) if value is not None and not isinstance(value, list) else None
    except AmountError:
        return None


def _figure(value: Any, quantity: Quantity) -> float | None:
    amount = _amount(value, quantity)
    return None if amount is None else amount.likely


def _ways(tree: Table, path: str) -> Iterable[str]:
    """Split a path into steps that lead through the tree (a name that holds a full stop is a fault already)."""
    node: Any = tree
    steps: list[str] = []
    for step in path.split(".") if path else ():
        if isinstance(node, Table) and step in node:
            node = node[step]
        elif isinstance(node, Items) and step.isdigit() and int(step) < len(node):
            node = node[int(step)]
        else:
            break
        steps.append(step)
    return steps


def doubt_path(words: str, names: list[str], events: list[str]) -> str | None:
    """Return the path of the doubt that words such as "P5 bracket renews", "P5 renews" or an event's name say."""
    if words in events:
        return f"events.{words}"
    if words.startswith("parts.") and words.endswith(".renews"):
        return words
    said = " ".join(words.lower().split())
    if not said.endswith(" renews"):
        return None
    said = said.removesuffix(" renews").strip()
    found = [name for name in names if name.lower() == said] or [
        name for name in names if name.lower().split()[:1] == [said] or said.startswith(f"{name.lower()} ")
    ]
    return f"parts.{found[0]}.renews" if len(found) == 1 else None
