"""The limit on business interest, Form 8990 (IRC 163(j)).

Where average gross receipts of three years are above the exemption of the year, interest is deducted up to a share of
income before interest and depreciation, and interest received; the rest is carried to later years without end. Gain
beyond recapture counts as income, recapture does not: it gives back depreciation that was added (Reg.
1.163(j)-1(b)(1)(ii), from memory). Business interest is here what the plan's loans cost, charges for paying early with
it (Rev. Rul. 57-198), and what other debts do. What is not deducted stays with the business; a partnership's goes to
its partners, to be deducted against later income of the same partnership, which comes to the same while the shares stay
as they are (IRC 163(j)(4)(B)).
"""

from __future__ import annotations

from collections.abc import Sequence

from equipdecide.ledger import Column, Draft, IncomeItem, Working, sum_of
from equipdecide.parameters import Law
from equipdecide.plan import Plan
from equipdecide.tax.law_by_year import LawByYear, first_year_on_file

ID = "federal/business_interest"
INTEREST = ("interest on ", "interest before ", "last interest on ", "interest in the payoff of ")


def applies(plan: Plan, law: Law) -> bool:
    """Tell whether average gross receipts, as entered, are above the exemption at the decision."""
    as_is = plan.scenario.shop.as_things_are
    if plan.time.flat or as_is is None or as_is.gross_receipts is None:
        return False
    if plan.time.start.year < first_year_on_file(law, f"{ID}.gross_receipts_threshold"):
        return False
    return float(as_is.gross_receipts) > law.get(f"{ID}.gross_receipts_threshold", plan.time.start).number


def is_interest(item: IncomeItem) -> bool:
    """Tell whether what the returns deduct is interest."""
    return item.sign < 0 and item.name.startswith(INTEREST)


def sum_interest(draft: Draft, plan: Plan, law: Law, w: Working, book: str) -> None:
    """Post ``interest, depreciation, interest_received`` of a plan into its income, where the limit
    applies [currency].
    """
    if not applies(plan, law):
        return
    found: dict[str, list[Column]] = {"interest": [], "depreciation": [], "interest_received": []}
    for item in draft.income:
        if item.book not in ("", book):
            continue
        if is_interest(item):
            kind = "interest"
        elif item.sign < 0 and item.column.rule == "depreciation":
            kind = "depreciation"
        elif item.character == "interest received":
            kind = "interest_received"
        else:
            continue
        text = "gather(x)" if item.column.axis is not w.axis else "x"
        found[kind].append(w.formula(f"limit: {item.name}", text, "USD", item.name, x=item.column))
    sum_of(w, "interest", found["interest"], "USD", "interest of the plan's loans")
    sum_of(w, "depreciation", found["depreciation"], "USD", "depreciation of the plan's items, section 179 apart")
    sum_of(w, "interest_received", found["interest_received"], "USD", "interest a buyer pays")


def limit_interest(
    draft: Draft, plan: Plan, law: LawByYear, book: str, case: str, business: Column, gain: Column, own: Working | None
) -> Column:
    """Return business income with no more interest deducted than the limit lets [currency a year].

    `own` is the working with what :func:`sum_interest` posted, None for the reference. Working ``business interest
    <book> <case>``: ``income_before, room, deducted, carried``.
    """
    if not applies(plan, law.law):
        return business
    as_is = plan.scenario.shop.as_things_are
    assert as_is is not None and as_is.gross_receipts is not None
    home = draft.common if case == "reference" else draft
    name = f"business interest {book} {case}"
    if name in draft:
        return draft[name]["business_limited"]
    w = home.working(name, plan.time.tax, f"limit on business interest in the {book} book, {case}", "business interest")
    others: Sequence[tuple[str, str, str]] = (
        ("interest", "interest", "business interest of the year"),
        ("depreciation", "depreciation", "depreciation, section 179 apart"),
    )
    for column, kind, says in others:
        entered = getattr(as_is, f"other_{kind}")
        other = draft.input(entered) if entered is not None else 0.0
        plans: Column | float = own[kind] if own is not None else 0.0
        w.formula(column, "plans + other", "USD", says, None, plans=plans, other=other)
    received: Column | float = own["interest_received"] if own is not None else 0.0
    w.formula(
        "income_before",  # Form 8990 line 22
        "max(business + interest + added * depreciation + gain, 0)",
        "USD",
        "adjusted taxable income: before interest and depreciation",
        business=business,
        added=law.figure(draft, f"{ID}.depreciation_added_back", "depreciation added back"),
        gain=gain,
    )
    w.formula(
        "room",  # line 29
        "received + share * income_before",
        "USD",
        "interest that may be deducted",
        received=received,
        share=law.figure(draft, f"{ID}.income_share", "share of income for business interest"),
    )
    start = draft.input(as_is.interest_carried) if as_is.interest_carried is not None else 0.0
    w.formula(
        "carried",  # line 31
        "where(receipts > exemption, max(prev(carried, start) + interest - room, 0), 0)",
        "USD",
        "interest carried to the next year",
        None,
        receipts=draft.input(as_is.gross_receipts),
        exemption=law.figure(draft, f"{ID}.gross_receipts_threshold", "gross receipts up to which interest is free"),
        start=start,
    )
    w.formula(
        "deducted", "prev(carried, start) + interest - carried", "USD", "interest deducted", None, start=start
    )  # line 30
    limited = w.formula(
        "business_limited",
        "business + interest - deducted",
        "USD",
        "business income with the interest that is deducted",
        business=business,
    )
    left = float(w["carried"].per_row()[-1])
    if case == "as filed" and book == "federal" and float(w["carried"].per_row().max()) >= 0.5:
        first = next(
            int(label) for label, held in zip(w.axis.labels, w["carried"].per_row(), strict=True) if held >= 0.5
        )
        rest = f"{left:,.0f} of it is still carried at the end, for which nothing is counted"
        draft.find(
            "interest_limit",
            f"Average gross receipts are above the exemption: from {first} on not all business interest is deducted "
            f"in its year; {rest if left >= 0.5 else 'later years take it all'}.",
            "shop.as_things_are.gross_receipts",
            "warning",
        )
    return limited


def say_interest_limit(draft: Draft, plan: Plan, law: Law) -> None:
    """Say that the limit applies, and what it is reckoned on."""
    as_is = plan.scenario.shop.as_things_are
    if as_is is None or as_is.gross_receipts is None or not applies(plan, law):
        return
    most = law.get(f"{ID}.gross_receipts_threshold", plan.time.start).number
    share = law.get(f"{ID}.income_share", plan.time.start).number
    missing = [
        words
        for key, words in (("other_interest", "other interest"), ("other_depreciation", "other depreciation"))
        if getattr(as_is, key) is None
    ]
    without = f" No {' or '.join(missing)} is entered: none is taken." if missing else ""
    draft.common.find(
        "interest_limit_applies",
        f"Average gross receipts of {float(as_is.gross_receipts):,.0f} are above {most:,.0f}: business interest is "
        f"deducted up to {share:.0%} of income before interest and depreciation, the rest carried, in every book "
        f"alike.{without}",
        "shop.as_things_are.gross_receipts",
        "warning",
    )
