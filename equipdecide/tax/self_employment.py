"""Self-employment tax, Schedule SE, and the additional Medicare tax, Form 8959.

Depreciation and section 179 lower the base; recapture and section 1231 never enter it (IRC 1402(a)(3)(C)), but section
179 taken back because business use fell does (Schedule C line 6). Wages of the owner use up the social security base.
"""

from __future__ import annotations

from equipdecide.ledger import Column, Draft, Working
from equipdecide.scenario.models import Owner
from equipdecide.tax.limits import Year


def self_employment(
    draft: Draft, w: Working, year: Year, owner: Owner, status: str, taxed_as: str, earned: Column
) -> None:
    """Post ``se_base, se_tax, se_deduction, medicare_tax`` from the owner's earnings of the
    business [currency a year].
    """
    if taxed_as not in ("sole proprietor", "partnership") or not owner.active:
        w.formula("se_tax", "0", "USD", "no self-employment tax")
        w.formula("se_deduction", "0", "USD", "no deduction for it")
        _additional(draft, w, year, owner, status, None)
        return
    wages = draft.input(owner.wages) if owner.wages else 0.0
    w.formula(
        "se_base",
        "max(earned, 0) * factor",
        "USD",
        "net earnings from self-employment",
        earned=earned,
        factor=year("self_employment.net_earnings_factor", "factor on net earnings"),
    )
    w.formula(
        "se_tax",
        "where(se_base >= least, social * min(se_base, max(wage_base - wages, 0)) + medicare * se_base, 0)",
        "USD",
        "self-employment tax",
        least=year("self_employment.minimum_net_earnings", "least net earnings"),
        social=year("self_employment.social_security_rate", "social security rate"),
        wage_base=year("self_employment.wage_base", "social security wage base"),
        wages=wages,
        medicare=year("self_employment.medicare_rate", "medicare rate"),
    )
    w.formula(
        "se_deduction",
        "se_tax * half",
        "USD",
        "deduction for half of it",
        half=year("self_employment.deductible_share", "deductible share of self-employment tax"),
    )
    _additional(draft, w, year, owner, status, w["se_base"])


def _additional(draft: Draft, w: Working, year: Year, owner: Owner, status: str, base: Column | None) -> None:
    """Post the additional Medicare tax on wages and earnings above the threshold; wages use the threshold first."""
    wages = [
        draft.input(amount)
        for amount in (owner.wages, owner.spouse_wages if owner.filing == "joint" else None)
        if amount
    ]
    if base is None and not wages:
        w.formula("medicare_tax", "0", "USD", "no additional Medicare tax")
        return
    text = " + ".join(f"wages_{k}" for k in range(len(wages))) or "0"
    w.formula(
        "all_wages",
        text,
        "USD",
        "wages of the household",
        None,
        **{f"wages_{k}": amount for k, amount in enumerate(wages)},
    )
    w.formula(
        "medicare_tax",
        "rate * (max(all_wages - threshold, 0) + max(base - max(threshold - all_wages, 0), 0))"
        if base is not None
        else "rate * max(all_wages - threshold, 0)",
        "USD",
        "additional Medicare tax",
        None,
        rate=year("self_employment.additional_medicare_rate", "additional Medicare rate"),
        threshold=year("self_employment.additional_medicare_threshold", "additional Medicare threshold", status=status),
        **({"base": base} if base is not None else {}),
    )
