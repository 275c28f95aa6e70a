"""Deduction for qualified business income, Form 8995 or 8995-A (IRC 199A).

20 % of qualified income: the owner's ordinary share with recapture in it; section 1231 gain taxed as capital is out, a
section 1231 loss in (IRC 199A(c)(3)(B)(i)). Above a threshold of taxable income the deduction is limited to half of the
wages, or a quarter of them with 2.5 % of the unadjusted basis of property, coming in over a range; never more than 20 %
of taxable income less capital gain. From 2026 at least 400 dollars where an active owner's qualified income is 1,000.
"""

from __future__ import annotations

from equipdecide.ledger import Column, Draft, Working
from equipdecide.plan import Plan
from equipdecide.scenario.models import Owner
from equipdecide.tax.law_by_year import LawByYear, first_year_on_file
from equipdecide.tax.limits import Year

MINIMUM = "federal/qualified_business_income.minimum_deduction"


def qualified(
    draft: Draft,
    plan: Plan,
    law: LawByYear,
    w: Working,
    year: Year,
    owner: Owner,
    status: str,
    share: Column,
    ordinary: Column,
    property_: Column | float,
) -> None:
    """Post ``qbi_deduction``; reads ``after_carryover, long_term_gain, se_deduction`` of the return
    [currency a year].
    """
    shop = plan.scenario.shop
    w.formula("qualified", "ordinary - se_deduction", "USD", "qualified business income of the year", ordinary=ordinary)
    w.formula(
        "qualified_loss", "min(prev(qualified_loss) + qualified, 0)", "USD", "qualified loss carried to the next year"
    )
    w.formula(
        "qualified_net",
        "max(prev(qualified_loss) + qualified, 0)",
        "USD",
        "qualified business income after carried losses",
    )
    rate = year("qualified_business_income.rate", "QBI deduction rate")
    w.formula("qbi_full", "qualified_net * rate", "USD", "20 % of it", rate=rate)
    w.formula(
        "qbi_phase",
        "min(max((after_carryover - threshold) / length, 0), 1)",
        "1",
        "how far the limit by wages and property has come in",
        threshold=year("qualified_business_income.threshold", "QBI threshold", status=status),
        length=year("qualified_business_income.phase_in_length", "QBI phase-in", status=status),
    )
    wages = shop.as_things_are.wages if shop.as_things_are else None
    w.formula(
        "wage_limit",
        "share * max(wages * half, wages * quarter + property * part)",
        "USD",
        "half of the share of wages, or a quarter and 2.5 % of property",
        share=share,
        wages=draft.input(wages) if wages else 0.0,
        half=year("qualified_business_income.wage_share", "share of wages"),
        quarter=year("qualified_business_income.wage_share_with_property", "share of wages beside property"),
        property=property_,
        part=year("qualified_business_income.property_share", "share of property"),
    )
    floor = "0"
    uses: dict[str, Column | float] = {}
    if owner.active and plan.time.last_tax_year >= first_year_on_file(law.law, MINIMUM):
        floor = "where(qualified_net >= least_income, least, 0)"
        uses = {
            "least": law.since(draft, MINIMUM, "least QBI deduction"),
            "least_income": law.since(
                draft, "federal/qualified_business_income.minimum_income", "income for the least QBI deduction"
            ),
        }
    w.formula(
        "qbi_deduction",
        f"max(min(qbi_full - qbi_phase * max(qbi_full - wage_limit, 0), rate * max(after_carryover - long_term_gain, 0)), {floor})",
        "USD",
        "deduction for qualified business income",
        None,
        rate=rate,
        **uses,
    )
