"""One owner's federal return, Form 1040, computed whole: shares, section 179, limits, brackets, and what is added to
them.

The order of the working is the order of the return: the owner's share of each kind of income, section 179 within
business income, the limits on losses, self-employment tax, adjusted gross income, deductions, tax by the year's
brackets with capital gain on top, net investment income tax. The standard deduction is taken; no credits.
"""

from __future__ import annotations

from collections.abc import Sequence

from equipdecide.ledger import Column, Draft, Working
from equipdecide.plan import Plan
from equipdecide.scenario.models import Owner
from equipdecide.tax.at_risk import by_risk
from equipdecide.tax.elections import Election
from equipdecide.tax.income import Flows, first_sale, sold_expensed
from equipdecide.tax.law_by_year import STATUS, LawByYear
from equipdecide.tax.limits import Year, by_basis, by_passivity, carried_loss, excess_loss
from equipdecide.tax.qualified_income import qualified
from equipdecide.tax.section_179 import deduct, restore
from equipdecide.tax.section_1231 import look_back
from equipdecide.tax.self_employment import self_employment


def shares_of(draft: Draft, w: Working, owner: Owner, name: str, flows: Flows) -> Column:
    """Post the owner's share of each kind of income into a return; returns the share itself."""
    share = draft.input(owner.share)
    w.formula(
        "business_share",
        "share * business",
        "USD",
        "share of business income, before section 179",
        share=share,
        business=flows.business,
    )
    if name in flows.recapture_of:
        w.formula(
            "recapture_share",
            "own",
            "USD",
            "ordinary recapture, after the deductions taken",
            own=flows.recapture_of[name],
        )
        w.formula(
            "section_1231_share",
            "share * (recapture + gain) - recapture_share",
            "USD",
            "the rest of the share of gain or loss",
            share=share,
            recapture=flows.recapture,
            gain=flows.gain,
        )
    else:
        w.formula(
            "recapture_share",
            "share * recapture",
            "USD",
            "share of ordinary recapture",
            share=share,
            recapture=flows.recapture,
        )
        w.formula(
            "section_1231_share",
            "share * gain",
            "USD",
            "share of section 1231 gain or loss",
            share=share,
            gain=flows.gain,
        )
    return share


def owners_179(
    draft: Draft,
    plan: Plan,
    w: Working,
    book: str,
    name: str,
    owner: Owner,
    case: str,
    flows: Flows,
    elections: Sequence[Election],
    share: Column,
    limit: Column | None,
) -> tuple[Column, Column]:
    """Post the owner's section 179 in a return: elected share, carried, deducted; returns recapture and section 1231.

    `limit` is the owner's own dollar limit of each year, for owners of a partnership or S corporation. What the owner
    earns as wages counts as business income (Reg. 1.179-2(c)(6)(iv), from memory).
    """
    recapture, gain = w["recapture_share"], w["section_1231_share"]
    carried: Column | float = 0.0
    if owner.section_179_carried is not None:
        carried = draft.input(owner.section_179_carried)
    passed = isinstance(flows.section_179, Column)
    others = draft.input(owner.other_section_179) if owner.other_section_179 is not None else None
    if not passed and others is None and owner.section_179_carried is None:
        w.formula("section_179", "0", "USD", "no section 179")
        return recapture, gain
    wages = [amount for amount in (owner.wages, owner.spouse_wages if owner.filing == "joint" else None) if amount]
    parts = [f"wages_{k}" for k in range(len(wages))]
    if owner.active:  # income of a business one does not work in gives no room (Reg. 1.179-2(c)(6)(ii))
        parts = ["business_share", "recapture_share", "section_1231_share", *parts]
    uses_of_net: dict[str, Column | float] = {f"wages_{k}": draft.input(amount) for k, amount in enumerate(wages)}
    if owner.other_business_income is not None:
        parts.append("other_business")
        uses_of_net["other_business"] = draft.input(owner.other_business_income)
    w.formula(
        "net_for_179",
        " + ".join(parts) or "0",
        "USD",
        "business income with the year's gain in it",
        None,
        **uses_of_net,
    )
    on: Column | float = 0.0
    if passed or others is not None:
        half = " / 2" if owner.filing == "separate" else ""  # IRC 179(b)(4): spouses share one limit
        elected = " + ".join((["share * elected"] if passed else []) + (["others"] if others is not None else []))
        text = elected if limit is None else f"min({elected}, limit{half})"
        uses: dict[str, Column | float] = {"limit": limit} if limit is not None else {}
        if passed:
            uses |= {"share": share, "elected": flows.section_179}
        if others is not None:
            uses["others"] = others
        on = w.formula("section_179_share", text, "USD", "share of section 179 passed on", None, **uses)
    sold: Column | float = 0.0
    if case != "reference":
        sold = sold_expensed(
            draft,
            plan,
            w,
            book,
            elections,
            first_sale(draft, plan) if case == "without the sale" else None,
            share,
            name,
        )
    deduct(w, w["net_for_179"], on, sold, carried)
    return restore(w, recapture, gain) if isinstance(sold, Column) else (recapture, gain)


def federal(
    draft: Draft,
    plan: Plan,
    law: LawByYear,
    name: str,
    owner: Owner,
    case: str,
    flows: Flows,
    elections: Sequence[Election],
) -> Working:
    """Post one owner's federal return as working ``federal return <owner> <case>``; its last column is ``tax``."""
    shop, status = plan.scenario.shop, STATUS[owner.filing or "single"]
    home = draft.common if case == "reference" else draft
    w = home.working(f"federal return {name} {case}", plan.time.tax, f"federal return of {name}, {case}", "returns")

    def year(id: str, says: str, **keys: str) -> Column:
        return law.figure(draft, f"federal/{id}", says, **keys)

    share = shares_of(draft, w, owner, name, flows)
    passed_on = shop.taxed_as in ("partnership", "S corporation")
    limit = (
        year("section_179_limit", "owner's dollar limit of section 179")
        if (passed_on and isinstance(flows.section_179, Column)) or owner.other_section_179 is not None
        else None
    )
    recapture, gain = owners_179(draft, plan, w, "federal", name, owner, case, flows, elections, share, limit)
    # Form 4797 part I: a net gain is capital less the look-back, a net loss ordinary
    look_back(draft, plan, law.law, w, owner, gain)
    activity = w.formula(
        "activity",
        "business_share - section_179 + recapture + gain",
        "USD",
        "share of all the business brings",
        recapture=recapture,
        gain=gain,
    )
    whole = w.formula(
        "paid_on",
        "business - expensed + recapture_of_all + gain_of_all",
        "USD",
        "taxable income of the business",
        business=flows.business,
        expensed=flows.section_179,
        recapture_of_all=flows.recapture,
        gain_of_all=flows.gain,
    )
    by_own = by_basis(draft, plan, w, owner, case, share, activity, whole)
    lets = by_passivity(draft, w, owner, by_risk(draft, plan, w, name, owner, case, share, by_own, whole))
    counted = w.formula("counted", "lets", "USD", "business income that counts this year", lets=lets)
    excess_loss(w, year, status, counted)
    earned = w.formula(
        "earned",
        "business_share - section_179 + counted - activity",
        "USD",
        "earnings of the business, what is held back left out",
    )
    self_employment(draft, w, year, owner, status, shop.taxed_as, earned)
    beyond = " + over_basis" if "over_basis" in w else ""
    w.formula(
        "long_term_gain", f"capital_gain{beyond}", "USD", "long-term capital gain, with what is paid out beyond basis"
    )
    w.formula(
        "income",
        f"other + counted + excess_loss{beyond} - se_deduction",
        "USD",
        "adjusted gross income",
        other=draft.input(owner.other_income) if owner.other_income else 0.0,
    )
    deduction = year("income_tax.standard_deduction", "standard deduction", status=status)
    w.formula(
        "before_carryover",
        "max(income - deduction, 0)",
        "USD",
        "income after the standard deduction",
        deduction=deduction,
    )
    carried_loss(draft, w, year, owner)
    ordinary = w.formula(
        "ordinary_of_business",
        "counted + excess_loss - capital_gain",
        "USD",
        "ordinary income of the business that counts",
    )
    qualified(draft, plan, law, w, year, owner, status, share, ordinary, flows.property)
    _tax(draft, law, w, year, owner, status)
    return w


def _tax(draft: Draft, law: LawByYear, w: Working, year: Year, owner: Owner, status: str) -> None:
    w.formula("taxable", "max(after_carryover - qbi_deduction, 0)", "USD", "taxable income")
    w.formula("ordinary_taxable", "max(taxable - long_term_gain, 0)", "USD", "of it, taxed at ordinary rates")
    over, rate = law.brackets(draft, "federal/income_tax.brackets", f"brackets, {owner.filing}", status)
    w.formula(
        "ordinary_tax",
        "brackets(ordinary_taxable, over, rate)",
        "USD",
        "tax by the year's brackets",
        over=over,
        rate=rate,
    )
    gain_over, gain_rate = law.brackets(
        draft, "federal/income_tax.capital_gain_brackets", f"capital gain brackets, {owner.filing}", status
    )
    w.formula(
        "gain_tax",
        "brackets(taxable, over, rate) - brackets(ordinary_taxable, over, rate)",
        "USD",
        "tax on capital gain, on top of ordinary income",
        over=gain_over,
        rate=gain_rate,
    )
    _alternative(law, draft, w, year, status)
    # Form 8960: gain of a business the owner works in is left out (IRC 1411(c)(4)), a passive owner's share is in
    investment = draft.input(owner.investment_income) if owner.investment_income else None
    if owner.active and investment is None:
        w.formula("investment_tax", "0", "USD", "no net investment income tax: active in the business")
    else:
        passive = [] if owner.active else ["counted", *(["over_basis"] if "over_basis" in w else [])]
        parts = (["investment"] if investment is not None else []) + passive
        uses = {"investment": investment} if investment is not None else {}
        w.formula(
            "investment_tax",
            f"rate * min(max({' + '.join(parts)}, 0), max(income - threshold, 0))",
            "USD",
            "net investment income tax",
            None,
            rate=year("net_investment_income.rate", "net investment income tax rate"),
            threshold=year("net_investment_income.threshold", "net investment income threshold", status=status),
            **uses,
        )
    w.formula(
        "tax",
        "ordinary_tax + gain_tax + alternative_tax + investment_tax + se_tax + medicare_tax",
        "USD",
        "federal tax of the year",
    )


def _alternative(law: LawByYear, draft: Draft, w: Working, year: Year, status: str) -> None:
    """Post the alternative minimum tax (Form 6251): the standard deduction is not taken, no other adjustment is.

    Property with bonus, or that could have it, needs no adjustment (IRC 168(k)(2)(G)); the older rest is left out.
    """
    w.formula(
        "alternative_income",
        "max(after_carryover + min(max(income, 0), deduction) - qbi_deduction, 0)",
        "USD",
        "alternative minimum taxable income",
        deduction=year("income_tax.standard_deduction", "standard deduction", status=status),
    )
    w.formula(
        "alternative_base",
        "max(alternative_income - max(exemption - lost * max(alternative_income - start, 0), 0), 0)",
        "USD",
        "the same less the exemption",
        exemption=year("alternative_minimum_tax.exemption", "AMT exemption", status=status),
        lost=year("alternative_minimum_tax.exemption_phase_out_rate", "AMT exemption lost"),
        start=year("alternative_minimum_tax.exemption_phase_out_start", "AMT exemption, where it falls", status=status),
    )
    w.formula(
        "tentative_tax",
        "lower * max(alternative_base - long_term_gain, 0) + (upper - lower) * max(alternative_base - long_term_gain - above, 0)",
        "USD",
        "tentative minimum tax on ordinary income; capital gain is taxed as in the regular tax",
        lower=year("alternative_minimum_tax.lower_rate", "lower AMT rate"),
        upper=year("alternative_minimum_tax.upper_rate", "upper AMT rate"),
        above=year("alternative_minimum_tax.upper_rate_start", "where the upper AMT rate starts", status=status),
    )
    over, rate = law.brackets(draft, "federal/income_tax.capital_gain_brackets", "capital gain brackets", status)
    w.formula(
        "alternative_top",
        "min(taxable, ordinary_taxable + alternative_base)",
        "USD",
        "top of the capital gain in the alternative",
    )
    w.formula(
        "alternative_gain_tax",
        "brackets(alternative_top, over, rate) - brackets(ordinary_taxable, over, rate)",
        "USD",
        "tax on capital gain in the alternative",
        over=over,
        rate=rate,
    )
    w.formula(
        "alternative_tax",
        "max(tentative_tax + alternative_gain_tax - ordinary_tax - gain_tax, 0)",
        "USD",
        "alternative minimum tax",
    )
