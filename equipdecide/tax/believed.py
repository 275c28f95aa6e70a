"""What is often believed about the tax of a sale and is not so, said where a plan invites it.

A trade-in is a sale (IRC 1031(a)(1) is for real property since 2018). The payoff lowers the cash, not the gain (IRC
1001(b); Reg. 1.1001-2(a)). Buying another machine does not cancel the gain: it brings a deduction of its own, under its
own limits. Money left with a dealer and free to be drawn is received (Reg. 1.451-2(a)). A deduction belongs to the year
a machine is placed in service, not to that of the order (Reg. 1.167(a)-11(e)(1)(i), from memory).
"""

from __future__ import annotations

from collections.abc import Sequence

from equipdecide.calendar import Date
from equipdecide.ledger import Draft
from equipdecide.parameters import Law, MissingParameter
from equipdecide.parameters.files import Parameter
from equipdecide.plan import Plan
from equipdecide.scenario.models import Buy
from equipdecide.tax.books import on_file, reading_then
from equipdecide.tax.elections import FEDERAL, Election, acquired_on, bonus_row
from equipdecide.tax.interest_limit import say_interest_limit
from equipdecide.tax.law_by_year import first_year_on_file, say_later_law


def say_what_is_believed(draft: Draft, plan: Plan, law: Law) -> None:
    """Post the findings that a plan's sales and purchases call for."""
    sold = [sale for sale in plan.sales if not sale.at_end and f"gain federal {sale.machine}" in draft]
    for sale in sold:
        gain, settled = draft[f"gain federal {sale.machine}"], draft[f"settlement {sale.machine}"]
        amount, about = gain["gain"].figure(), f"offers.{sale.offer_name}"
        if sale.offer is not None and sale.offer.route == "trade-in":
            draft.find(
                "trade_in_is_a_sale",
                f"Trading {sale.machine} in defers no tax: it is a sale at what the allowance is truly worth, with a "
                f"gain of {amount:,.0f} in {sale.sold_on.year}; "
                "the next machine is bought at its full price.",
                about,
            )
        if settled["payoff"].figure() > 0.005 and amount > 0:
            draft.find(
                "payoff_lowers_no_gain",
                f"The payoff of {settled['payoff'].figure():,.2f} on {sale.sold_on} lowers the cash from "
                f"{sale.machine}, not the gain of {amount:,.0f}: debt paid off is part of what is received.",
                about,
            )
        bought = [p for p in plan.purchases if isinstance(p.step, Buy)]
        if bought and amount > 0:
            names = ", ".join(p.name for p in bought)
            draft.find(
                "buying_cancels_no_gain",
                f"Buying {names} does not cancel the gain of {amount:,.0f} on {sale.machine}: the purchase brings a "
                f"deduction of its own, in the year it is in service "
                "and within its limits.",
                f"machines.{bought[0].name}",
            )
        if sale.credited_on is not None and sale.credited_on > sale.sold_on:
            later = (
                f", though it is used in {sale.credited_on.year}" if sale.credited_on.year > sale.sold_on.year else ""
            )
            draft.find(
                "credit_is_received",
                f"What the buyer of {sale.machine} credits to the next order counts as received on {sale.sold_on}: "
                f"the gain is of {sale.sold_on.year}{later}.",
                about,
            )
        if sale.offer is not None and sale.offer.buyer_related:
            share = law.get("federal/dispositions.related_person_share", sale.sold_on).number
            taxed = (
                "gain is taxed as on a sale to anyone"
                if sale.offer.buyer_is_family
                else f"a business held to more than {share:.0%} by the sellers, so all gain is ordinary"
            )
            draft.find(
                "related_buyer",
                f"The buyer of {sale.machine} is related ({'family' if sale.offer.buyer_is_family else 'a business'}): "
                f"{taxed}; a loss does not count, and the buyer gets neither section 179 nor bonus on it.",
                about,
                "warning",
            )
    for purchase in plan.purchases:
        ordered = getattr(purchase.step, "ordered", None)
        if ordered is not None and ordered.year < purchase.step.on.year:
            draft.find(
                "deducted_when_in_service",
                f"{purchase.name} is ordered in {ordered.year} and in service on {purchase.step.on}: its deductions "
                f"are of {purchase.step.on.year}, not {ordered.year}.",
                f"machines.{purchase.name}",
            )


def say_what_claims_need(draft: Draft, plan: Plan, law: Law) -> None:
    """Post findings on entries that a preparer must act on: depreciation not claimed, one class treated in two ways."""
    out: dict[tuple[int, str], set[bool]] = {}
    for item in plan.possessions:
        asset = item.asset
        if item.elected.section_179_state is not None and f"state book of {item.name}" not in draft:
            draft.find(
                "no_state_book",
                f"{item.name}: section 179 is elected for the state alone, but no book of its own is kept for a state: "
                f"it changes nothing.",
                f"machines.{item.machine}",
                "warning",
            )
        if asset is None:
            continue
        if asset.casualty is not None:
            draft.common.find(
                "casualty_not_computed",
                f"{item.name}: gain or loss of the damage of {asset.casualty.on} is not computed, only the lower "
                f"basis. Insurance money above basis is gain; spent on a like machine within two years after the "
                f"year of the gain it may wait by election (IRC 1033(a)(2)), and that machine's cost for tax is "
                f"lower by it: enter the lower cost.",
                f"machines.{item.machine}",
                "warning",
            )
        if asset.depreciation_claimed is not None:
            draft.common.find(
                "depreciation_not_claimed",
                f"{item.name}: less depreciation was claimed than the law allowed. Its basis falls by what was "
                f"allowable all the same; Form 3115 with the return of the year "
                "of sale or before claims what was missed.",
                f"machines.{item.machine}",
                "warning",
            )
        if asset.expensed and item.in_service.year >= first_year_on_file(law, "federal/depreciation.de_minimis_limit"):
            most = law.get("federal/depreciation.de_minimis_limit", item.in_service, statements="unaudited")
            audited = law.get("federal/depreciation.de_minimis_limit", item.in_service, statements="audited")
            if float(asset.cost) > most.number:
                draft.common.find(
                    "small_item_over_limit",
                    f"{item.name}: {float(asset.cost):,.0f} is deducted at once as a small item; the safe harbour is "
                    f"{most.number:,.0f} for each item on an invoice, {audited.number:,.0f} with audited statements "
                    f"(from memory). It holds where no single item is dearer.",
                    f"machines.{item.machine}",
                )
        if not asset.expensed and asset.section_179 != "all" and asset.bonus in ("by law", "elected out"):
            out.setdefault((asset.in_service.year, asset.asset_class), set()).add(asset.bonus == "elected out")
    for (year, code), ways in out.items():
        if len(ways) == 2:
            draft.common.find(
                "bonus_by_class",
                f"Of the items of class {code} placed in service in {year} some are elected out of bonus and some "
                f"are not: the election is for all property of one recovery period in one year.",
                "machines",
                "warning",
            )
    say_interest_limit(draft, plan, law)


def say_what_the_books_rest_on(draft: Draft, plan: Plan, law: Law, elections: Sequence[Election]) -> None:
    """Post findings on rows and rules the books rest on: law after the decision, rules from memory,
    tables worked out.
    """
    decided, first = plan.scenario.decision_date, plan.time.first_tax_year
    for e in elections:
        item = e.possession
        row = bonus_row(law, acquired_on(item), item.in_service)
        enacted = row["enacted"] if row is not None else None
        if row is not None and isinstance(enacted, Date) and enacted > decided and e.bonus_source == row["source"]:
            says = f"bonus of {float(str(row['rate'])):.0%} on property acquired from {row['acquired_from']}"
            draft.common.find(
                "later_law", f"{says}: enacted on {enacted}, after the decision date.", "federal/bonus_rates"
            )
        if e.section_179 != "none" and item.in_service.year >= first:
            say_limit_of_later_law(draft, law, item.in_service.year, decided)
        if e.rates is not None and e.section_179 != "all" and float(e.bonus) < 1:
            short = e.rates.why.startswith("short")
            if short or e.rates.from_year is not None:
                rule = "the months of a short tax year" if short else "leaving the table after a casualty"
                draft.common.find(
                    "rule_from_memory",
                    f"{item.name}: {rule} ({e.rates.why}) follows a rule recalled from memory and not confirmed in a source.",
                    f"machines.{item.machine}",
                )
        if e.table is not None and e.table.id == "federal/straight_line":
            draft.common.find(
                "table_worked_out",
                "Straight-line percentages are worked out from the law, not read from the printed Tables A-8 to "
                "A-12: they may be off by 0.01.",
                "federal/straight_line",
            )


def say_limit_of_later_law(draft: Draft, law: Law, year: int, decided: Date) -> None:
    """Post a finding where the section 179 limit of a year became law after the decision."""
    try:
        most = FEDERAL.read(law, FEDERAL.limit, year, 0.0)
    except MissingParameter:
        return
    say_later_law(draft, law, [most], decided, f"section 179 limit of {year}")


def say_states_limits(draft: Draft, plan: Plan, law: Law) -> None:
    """Say what the state's return leaves out, and the election a pass-through may have."""
    entry, kind = plan.scenario.shop.state, plan.scenario.shop.taxed_as
    if entry is None or entry.code is None:
        return
    code = entry.code.lower()
    if code not in law.states():
        for row in law.rows("state_conformity"):
            if row["state"] == entry.code.upper():
                draft.common.find(
                    "state_in_words",
                    f"{entry.code.upper()}: {row['pattern']}; bonus: {row['bonus'] or 'not on file'}; section 179: "
                    f"{row['section_179'] or 'not on file'}. Here its rate is used with the answers entered.",
                    "shop.state",
                    "warning",
                )
        return
    first = law.parameter(
        f"{code}/income.corporate_rate" if kind == "C corporation" else f"{code}/income.individual_brackets"
    )
    if isinstance(first, Parameter) and first.values[0].from_date > plan.time.start:
        draft.common.find(
            "state_law_earlier",
            f"{code.upper()}: the rates on file begin in {first.values[0].from_date.year}; they stand for the years before as well.",
            "shop.state",
            "warning",
        )
    draft.common.find(
        "state_deductions",
        f"{code.upper()}: deductions, exemptions and credits of the state are not taken, nor local income tax.",
        "shop.state",
    )
    if kind in ("partnership", "S corporation") and on_file(law, f"{code}/income.pass_through_election"):
        read = reading_then(law, f"{code}/income.pass_through_election", plan.time.first_tax_year)
        if read is not None and read.choice == "available" and entry.pass_through_rate is None:
            draft.common.find(
                "pass_through_election",
                f"{code.upper()}: {read.meaning}. Tax the business pays is deducted from its federal income without "
                f"the limit on state taxes; it is not computed here.",
                "shop.state",
            )
    if kind == "C corporation" and on_file(law, f"{code}/depreciation.corporation_method"):
        draft.common.find(
            "corporation_method",
            f"{code.upper()}: a corporation depreciates there over its own class lives by methods older than MACRS "
            f"(declining balance up to 200 % for new and 150 % for used property), with a first-year addition in "
            f"place of section 179 where it is elected: none of that is computed. The state's book here uses the "
            f"MACRS tables without bonus and the state's section 179 limit; over longer lives basis stays higher and "
            f"the gain of a sale there is smaller.",
            "shop.state",
            "warning",
        )
