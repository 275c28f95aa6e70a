"""Income of the business in each book: what it hands on to its owners, with and without the sale, and the reference.

A return starts from :class:`Flows`: ordinary business income before section 179, section 179, ordinary recapture,
section 1231 gain or loss. The reference is the business without the machines in question.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from equipdecide import calendar as cal
from equipdecide.calendar import ONE, Date
from equipdecide.ledger import Column, Draft, Origin, Working, sum_of
from equipdecide.parameters import Law
from equipdecide.plan import Plan, Sale, Timeline
from equipdecide.scenario.models import Scenario
from equipdecide.tax.depreciation import book_name
from equipdecide.tax.elections import Election
from equipdecide.tax.interest_limit import limit_interest, sum_interest
from equipdecide.tax.law_by_year import LawByYear
from equipdecide.tax.section_179 import deduct, restore
from equipdecide.tax.spread_gain import SPREAD


@dataclass(frozen=True, eq=False)
class Flows:
    """What the business hands on in one book and one case [currency a year]; all owners together unless said."""

    business: Column  # ordinary income, before section 179
    section_179: Column | float
    recapture: Column
    gain: Column  # section 1231
    property: Column | float = 0.0  # unadjusted basis of property held at the end of the year
    recapture_of: Mapping[str, Column] = field(default_factory=dict)  # by owner, where it does not follow the shares


def first_sale(draft: Draft, plan: Plan) -> Sale | None:
    """Return the plan's first sale before the end of the study; None where it sells nothing."""
    return next((s for s in plan.sales if not s.at_end and f"settlement {s.machine}" in draft), None)


def income(draft: Draft, plan: Plan, law: Law | None, books: Sequence[str], base: Column | float) -> None:
    """Post the business's income in each book and year: working ``income <book>``.

    Columns [currency]: one per item, ``business`` (before section 179), ``elected`` (section 179), ``recapture``,
    ``section_1231``; the last two also ``_without`` the plan's first sale. `base` is the reference's income.
    """
    axis, sale = plan.time.tax, first_sale(draft, plan)
    for book in books:
        w = draft.working(f"income {book}", axis, f"income of the business in the {book} book", "income")
        found: dict[str, list[Column]] = {
            "business": [],
            "one-off": [],
            "interest received": [],
            "section 179": [],
            "recapture": [],
            "section 1231": [],
        }
        for k, item in enumerate(draft.income):
            if item.book not in ("", book):
                continue
            sign = "" if item.sign > 0 else "0 - "
            inner = f"{sign}gather(x)" if item.column.axis is not axis else f"{sign}x"
            found[item.character].append(w.formula(f"{k}: {item.name}", inner, "USD", item.name, x=item.column))
        sum_of(w, "of_this_plan", [*found["business"], *found["one-off"]], "USD", "income of the machines in this plan")
        w.formula("business", "base + of_this_plan", "USD", "ordinary business income, before section 179", base=base)
        if law is not None:
            sum_interest(draft, plan, law, w, book)
        sum_of(w, "elected", found["section 179"], "USD", "section 179 elected for the year")
        sum_of(
            w,
            "recapture",
            [*found["recapture"], *found["interest received"]],
            "USD",
            "ordinary recapture of the year, with interest a buyer pays",
        )
        sum_of(w, "section_1231", found["section 1231"], "USD", "section 1231 gain or loss of the year")
        if sale is not None:
            gain = draft[f"gain {book} {sale.machine}"]
            later = f"instalment gain {book} {sale.machine}"
            spread = draft[later][SPREAD] if later in draft else None
            for kind, part in (
                ("recapture", gain["ordinary_recapture"]),
                ("section_1231", spread or gain["section_1231"]),
            ):
                w.formula(
                    f"{kind}_without",
                    f"{kind} - part" if part.axis is axis else f"{kind} - gather(part)",
                    "USD",
                    f"{kind.replace('_', ' ')} with the sale of {sale.machine} struck out",
                    part=part,
                )
        _by_owner(draft, plan, w, book, sale)


def _by_owner(draft: Draft, plan: Plan, w: Working, book: str, struck: Sale | None) -> None:
    """Post each owner's recapture where the owners' shares of past deductions differ from their shares now."""
    gains = [(s, draft[f"gain {book} {s.machine}"]) for s in plan.sales if f"gain {book} {s.machine}" in draft]
    owners = plan.scenario.owners
    if not any(f"recapture of {name}" in g for _, g in gains for name in owners):
        return
    for name, owner in owners.items():
        own = []
        for s, g in gains:
            if f"recapture of {name}" in g:
                own.append(
                    w.formula(
                        f"{name}: {s.machine}",
                        "gather(x)",
                        "USD",
                        f"recapture on {s.machine} of {name}",
                        x=g[f"recapture of {name}"],
                    )
                )
            else:
                own.append(
                    w.formula(
                        f"{name}: {s.machine}",
                        "share * gather(x)",
                        "USD",
                        f"recapture on {s.machine} of {name}",
                        x=g["ordinary_recapture"],
                        share=draft.input(owner.share),
                    )
                )
        sum_of(w, f"recapture of {name}", own, "USD", f"ordinary recapture of {name}")
        if struck is not None:
            w.formula(
                f"recapture of {name}, without",
                "all_of_it - struck",
                "USD",
                "with the sale struck out",
                all_of_it=w[f"recapture of {name}"],
                struck=w[f"{name}: {struck.machine}"],
            )


def property_held(draft: Draft, plan: Plan, law: Law, elections: Sequence[Election]) -> Column:
    """Post the unadjusted basis of property held at each year's end and still counted: working
    ``property`` [currency].
    """
    w = draft.working(
        "property", plan.time.tax, "unadjusted basis of property held at the end of the year", "qualified income"
    )
    held = []
    years = round(law.get("federal/qualified_business_income.property_years", plan.time.tax.ends[-1]).number)
    for election in elections:
        item = election.possession
        if election.expensed:
            continue
        until = cal.add_years(item.in_service, max(years, math.ceil(election.life)))
        flags = [1.0 if item.in_service <= end < min(item.disposed, until) else 0.0 for end in plan.time.tax.ends]
        if any(flags):
            w.given(
                f"{item.name}: held",
                flags,
                "1",
                f"held, and in service for less than {years} years",
                Origin("calendar", item.name),
            )
            held.append(
                w.formula(
                    f"{item.name}: cost",
                    "held * cost",
                    "USD",
                    item.name,
                    held=w[f"{item.name}: held"],
                    cost=draft[book_name(election, "federal")]["cost"],
                )
            )
    as_is = plan.scenario.shop.as_things_are
    if as_is is not None and as_is.other_property is not None:
        held.append(w.formula("other", "entered", "USD", "other property", entered=draft.input(as_is.other_property)))
    return sum_of(w, "held", held, "USD", "unadjusted basis held")


def sold_expensed(
    draft: Draft,
    plan: Plan,
    w: Working,
    book: str,
    elections: Sequence[Election],
    struck: Sale | None,
    share: Column | None,
    owner: str = "",
) -> Column | float:
    """Post, by year, the section 179 ever elected of the items sold in it (an owner's share, where `share` is given).

    Of older items only what an owner could not use counts (``section_179_used``). 0.0 where nothing is sold.
    """
    found = []
    for election in elections:
        item = election.possession
        if struck is not None and item.machine == struck.machine:
            continue
        recent = item.in_service.year >= plan.time.first_tax_year and election.expenses(book) and not election.expensed
        used = item.asset.section_179_used.get(owner) if item.asset is not None and owner else None
        if not recent and used is None:
            continue
        flags = [1.0 if end.year == item.disposed.year else 0.0 for end in plan.time.tax.ends]
        if not any(flags):
            continue
        gone = w.given(
            f"{item.name}: gone", flags, "1", f"{item.name} is sold on {item.disposed}", Origin("choice", item.name)
        )
        text = ("share * " if share is not None else "") + "amount"
        uses: dict[str, Column | float] = {"gone": gone, "amount": draft[book_name(election, book)]["section_179"]}
        if share is not None:
            uses["share"] = share
        if used is not None:
            text, uses["used"] = f"max({text} - used, 0)", draft.input(used)
        found.append(
            w.formula(
                f"{item.name}: not yet used at most",
                f"gone * {text}",
                "USD",
                "section 179 of what is sold",
                None,
                **uses,
            )
        )
    return sum_of(w, "sold_expensed", found, "USD", "section 179 of what is sold in the year") if found else 0.0


def at_the_business(
    draft: Draft,
    plan: Plan,
    book: str,
    case: str,
    elections: Sequence[Election],
    limited: bool,
    held: Column | float,
    by_year: LawByYear | None = None,
) -> Flows:
    """Return what one book hands on in one case, section 179 limited to the business's income where `limited`.

    With `by_year` business interest is limited first. Working ``section 179 <book> <case>``, for a partnership or a
    corporation that elected any.
    """
    w = draft[f"income {book}"]
    without = case == "without the sale"
    suffix = "_without" if without else ""
    recapture, gain = w[f"recapture{suffix}"], w[f"section_1231{suffix}"]
    words = ", without" if without else ""
    owners = {
        name: w[f"recapture of {name}{words}"] for name in plan.scenario.owners if f"recapture of {name}{words}" in w
    }
    elects = any(
        e.expenses(book) and not e.expensed and e.possession.in_service.year >= plan.time.first_tax_year
        for e in elections
    )
    business = w["business"]
    if by_year is not None:
        business = limit_interest(draft, plan, by_year, book, case, business, gain, w)
    if not (limited and elects):
        return Flows(business, w["elected"] if elects else 0.0, recapture, gain, held, owners)
    out = draft.working(
        f"section 179 {book} {case}",
        plan.time.tax,
        f"section 179 at the business in the {book} book, {case}",
        "section 179",
    )
    net = out.formula(
        "net",
        "business + recapture + gain",
        "USD",
        "business income with the year's gain in it",
        business=business,
        recapture=recapture,
        gain=gain,
    )
    sold = sold_expensed(draft, plan, out, book, elections, first_sale(draft, plan) if without else None, None)
    deduct(out, net, w["elected"], sold, 0.0)
    if isinstance(sold, Column):
        recapture, gain = restore(out, recapture, gain)
    return Flows(business, out["section_179"], recapture, gain, held, owners)


def reference_flows(draft: Draft, plan: Plan, by_year: LawByYear) -> Flows:
    """Return what the business without the machines in question hands on."""
    if "nothing" not in draft:
        draft.common.working("nothing", plan.time.tax, "no sale in the reference", "returns").formula(
            "zero", "0", "USD", "nothing"
        )
    zero, as_is = draft["nothing"]["zero"], plan.scenario.shop.as_things_are
    other = draft.input(as_is.other_property) if as_is is not None and as_is.other_property is not None else 0.0
    business = draft["reference income"]["business"]
    business = limit_interest(draft, plan, by_year, "federal", "reference", business, zero, None)
    return Flows(business, 0.0, zero, zero, other)


def reference_income(draft: Draft, scenario: Scenario, time: Timeline, keep_first_year: dict[str, float]) -> Column:
    """Post, once for all alternatives, the business's yearly income without the machines in question.

    Income *as things are* is the last return's, these machines included; the reference takes out, once, Keep's first
    year at the entered figures. In the year of decision the part already earned by them is put back.
    """
    w = draft.common.working(
        "reference income", time.tax, "income of the business without the machines in question", "reference"
    )
    as_is = scenario.shop.as_things_are
    assert as_is is not None
    w.given(
        "keep_first_year",
        keep_first_year["whole"],
        "USD",
        "Keep's first year at the entered figures",
        Origin("choice", "Keep as entered"),
        ONE,
    )
    w.given(
        "earned_before",
        keep_first_year["before depreciation"],
        "USD",
        "the same before depreciation",
        Origin("choice", "Keep as entered"),
        ONE,
    )
    start = time.start
    passed = (start - Date(start.year, 1, 1)).days / (366 if cal.month_end(Date(start.year, 2, 1)).day == 29 else 365)
    flags = [passed if day.year == start.year else 0.0 for day in time.tax.ends]
    w.given(
        "share_passed",
        flags,
        "1",
        "part of the year of decision already gone",
        Origin("calendar", str(start)),
        time.tax,
    )
    w.formula(
        "without",
        "as_is - keep_first_year",
        "USD",
        "a year without them",
        ONE,
        as_is=draft.input(as_is.ordinary_income),
    )
    w.formula("business", "without + share_passed * earned_before", "USD", "income of each year without them")
    w.formula(
        "check",
        "without + keep_first_year - as_is",
        "USD",
        "Keep gives back what was entered: must be zero",
        ONE,
        as_is=draft.input(as_is.ordinary_income),
    )
    return w["business"]
