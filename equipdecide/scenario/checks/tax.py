"""What a scenario says for the tax rules."""

from __future__ import annotations

import re
from typing import Any

from equipdecide import parameters
from equipdecide.scenario.amounts import decimal_text
from equipdecide.scenario.checks.checker import Checker
from equipdecide.scenario.checks.looking import blocks_of, day_of
from equipdecide.scenario.faults import did_you_mean
from equipdecide.scenario.tree import Table, Text


def _figure(value: Any) -> float | None:
    text = str(value).replace(",", "").replace("%", "").strip() if isinstance(value, Text) else ""
    try:
        return float(text)
    except ValueError:
        return None


def state_is_on_file(c: Checker) -> None:
    """A state named by its code has rules here, or a rate of its own is given."""
    shop = c.tree.get("shop")
    state = shop.get("state") if isinstance(shop, Table) else None
    code = state.get("code") if isinstance(state, Table) else None
    if not isinstance(code, Text) or not code or c.flat:
        return
    known = [name.upper() for name in parameters.load().states()]
    if code.upper() not in known and "rate" not in state:  # type: ignore[operator]
        c.report(
            code,
            f"the rules of '{code}' are not on file",
            f"Known here: {', '.join(known)}; or add `rate:` with its income tax rate",
        )
    which = state.get("add_back") if isinstance(state, Table) else None
    if which is None or str(which) == "as a rule":
        return
    law = parameters.load()
    shares = [id.split("/")[0].upper() for id in law.ids() if id.endswith("/depreciation.add_back_share_withholding")]
    if code.upper() not in shares:
        mend = f"Leave it out; states with several: {', '.join(sorted(shares))}"
        c.report(state, f"only one share is on file that {code} adds back", mend, "add_back")


def deductions_are_someones(c: Checker) -> None:
    """Who took past deductions is an owner, and the shares make no more than 100 %; business use
    that changes has its day.
    """
    for _, machine in blocks_of(c.tree, "machines"):
        for _, asset in blocks_of(machine, "assets"):
            taken = asset.get("deductions_taken_by")
            if isinstance(taken, Table) and taken:
                owners = [name for name, _ in blocks_of(c.tree, "owners")]
                for name in taken:
                    if name not in owners:
                        mend = did_you_mean(name, owners, f"Known here: {', '.join(owners)}")
                        c.report(taken, f"no owner is named '{name}'", mend, name)
                shares = [_figure(share) for share in taken.values()]
                known = [share for share in shares if share is not None]
                if len(known) == len(shares) and sum(known) > 100 + 1e-4:
                    total = decimal_text(round(sum(known) / 100, 8), percent=True)
                    c.report(
                        asset,
                        f"the shares of the deductions make {total}",
                        "Let them make 100 %, or less where a partner who took some has left",
                        "deductions_taken_by",
                    )
            changes, used = day_of(asset.get("business_use_changes")), day_of(asset.get("in_service"))
            if ("business_use_later" in asset) != ("business_use_changes" in asset):
                absent = "business_use_changes" if "business_use_later" in asset else "business_use_later"
                c.report(
                    asset,
                    "a later share of business use needs its day, and a day its share",
                    f"Add `{absent}:`",
                    absent,
                )
            elif changes and used and changes <= used:
                c.report(
                    asset,
                    f"business use changes before its first use on {used}",
                    "Put the days in order",
                    "business_use_changes",
                )


def owners_incomes_add_up(c: Checker) -> None:
    """Parts of the other income are not more than the whole; losses carry the year they were made in."""
    for _, owner in blocks_of(c.tree, "owners"):
        whole, parts = (
            _figure(owner.get("other_income")),
            [_figure(owner.get(key)) for key in ("wages", "spouse_wages", "investment_income")],
        )
        inside = sum(part for part in parts if part is not None)
        key = next((key for key in ("wages", "spouse_wages", "investment_income") if key in owner), "")
        if key and whole is not None and inside > whole + 0.005:
            c.report(
                owner,
                f"wages and investment income make {inside:,.0f}, other income only {whole:,.0f}",
                "Other income is the whole of the household's",
                key,
            )
        losses = owner.get("losses_1231")
        if isinstance(losses, Table):
            for year in losses:
                if not re.fullmatch(r"(19|20)\d\d", year):
                    c.report(losses, f"'{year}' is not a year", "Write for example 2023: 4,000", year)


def price_is_divided(c: Checker) -> None:
    """The items over which a price is divided are items of that machine."""
    for _, offer in blocks_of(c.tree, "offers"):
        divided, machine = offer.get("divided"), offer.get("machine")
        if not isinstance(divided, Table) or not isinstance(machine, Text):
            continue
        block = dict(blocks_of(c.tree, "machines")).get(str(machine))
        items = [name for name, _ in blocks_of(block, "assets")] if block is not None else []
        for name in divided if items else []:
            if name not in items:
                c.report(
                    divided,
                    f"no item of {machine} is named '{name}'",
                    did_you_mean(name, items, f"Known here: {', '.join(items)}"),
                    name,
                )


def schedule_is_there(c: Checker) -> None:
    """The file of the last return's depreciation schedule is in the folder of this file."""
    shop = c.tree.get("shop")
    name = shop.get("depreciation_schedule") if isinstance(shop, Table) else None
    if isinstance(name, Text) and name and c.folder is not None and not (c.folder / name).is_file():
        c.report(
            shop,
            f"the file '{name}' is not in the folder of this file",
            "Put it there, or leave `depreciation_schedule:` out",
            "depreciation_schedule",
        )


def _methods(c: Checker) -> list[tuple[Table, str]]:
    """Return every block that may state a method of depreciation, with the name of its machine."""
    found = []
    for name, machine in blocks_of(c.tree, "machines"):
        found += [(asset, name) for _, asset in blocks_of(machine, "assets")]
        if isinstance(stated := machine.get("depreciation"), Table):
            found.append((stated, name))
    return found


TEXTBOOK = ("declining balance", "sum of years digits")


def methods_are_law(c: Checker) -> None:
    """Tax law has its own methods; those of textbooks are for the regime of one flat rate, and the other way round."""
    for block, _ in _methods(c):
        method = block.get("method")
        if c.flat:
            if isinstance(method, Text) and method == "150 % declining balance":
                c.report(block, "150 % is an election of tax law", "Write declining balance", "method")
            if "system" in block or "tables" in block:
                key = "system" if "system" in block else "tables"
                c.report(block, f"`{key}` is of tax law", "Leave it out in the regime `flat`", key)
            continue
        if isinstance(method, Text) and method in TEXTBOOK:
            mend = "Leave it out, or elect `straight line`, `150 % declining balance` or `system: alternative`"
            c.report(block, f"`{method}` is a method of textbooks; tax law has its own", mend, "method")
        for key in ("section_179", "bonus"):
            if method == "table" and key in block:
                mend = "Leave it out, or let the law figure the rest without a table"
                c.report(block, "a table holds all that was deducted by year", mend, key)
        if "salvage" in block:
            mend = "Leave it out: tax law depreciates the whole cost (IRC 168(b)(4))"
            c.report(block, "tax depreciation leaves no salvage value", mend, "salvage")
        if block.get("system") == "alternative" and method == "150 % declining balance":
            mend = "Leave one of the two out"
            c.report(block, "the alternative system is straight line, not 150 % declining balance", mend, "method")


def classes_are_on_file(c: Checker) -> None:
    """The class of an activity is one of those on file, or its recovery period is stated."""
    if c.flat:
        return
    known = [str(row["asset_class"]) for row in parameters.load().rows("federal/asset_classes")]
    for _, machine in blocks_of(c.tree, "machines"):
        for block in [machine, *(asset for _, asset in blocks_of(machine, "assets"))]:
            code = block.get("asset_class")
            if isinstance(code, Text) and str(code) not in known and "life" not in block:
                near = did_you_mean(str(code), known, f"Known here: {', '.join(known)}.")
                mend = f"{near} Or state its `life:`"
                c.report(block, f"no class of activity '{code}' is on file", mend, "asset_class")


def first_year_stands(c: Checker) -> None:
    """The business began before what it put in service in that year, and a casualty lies between
    service and decision.
    """
    shop = c.tree.get("shop")
    began = day_of(shop.get("began")) if isinstance(shop, Table) else None
    if began and c.decision and began > c.decision and isinstance(shop, Table):
        c.report(shop, f"the business begins after the day of decision, {c.decision}", "Put the days in order", "began")
    for _, machine in blocks_of(c.tree, "machines"):
        for _, asset in blocks_of(machine, "assets"):
            used = day_of(asset.get("in_service"))
            if began and used and used.year == began.year and used < began:
                c.report(
                    asset,
                    f"it is in service before the business began on {began}",
                    "Put the days in order",
                    "in_service",
                )
            casualty = asset.get("casualty")
            on = day_of(casualty.get("on")) if isinstance(casualty, Table) else None
            if on and isinstance(casualty, Table):
                if used and on < used:
                    c.report(casualty, f"it happened before the first use on {used}", "Put the days in order", "on")
                if c.decision and on > c.decision:
                    mend = "Damage to come is no basis for a decision; leave it out"
                    c.report(casualty, f"it happens after the day of decision, {c.decision}", mend, "on")


def own_books_stand(c: Checker) -> None:
    """The method of the shop's own books has what it is reckoned by."""
    for _, machine in blocks_of(c.tree, "machines"):
        books = machine.get("own_books")
        if not isinstance(books, Table):
            continue
        needs = "spindle_hours" if books.get("method") == "units of production" else "life"
        if "method" in books and needs not in books:
            words = {"life": "its years of life", "spindle_hours": "the spindle hours the machine is good for"}[needs]
            c.report(books, f"this method needs {words}", f"Add `{needs}:`", needs)
        if needs == "spindle_hours" and "running" not in machine:
            c.report(machine, "units of production need its hours a year", "Add `running:`", "running")


TAX_CHECKS = (
    own_books_stand,
    methods_are_law,
    classes_are_on_file,
    first_year_stands,
    state_is_on_file,
    deductions_are_someones,
    owners_incomes_add_up,
    price_is_divided,
    schedule_is_there,
)
