"""Returns of a C corporation, Form 1120 and the state's, and state taxes that a pass-through pays itself.

State tax on the business itself is deducted from its federal income (IRC 164(a)(3); Notice 2020-75 for partnerships and
S corporations), here in the year it is for: accrued, or estimated and paid within it. What is entered as things are is
after the tax on that income, so only what a course adds to it is deducted; the state's own income is not lowered by it.
One rate, no lower one on gain; losses are carried where the corporation's other income is known, else a loss is taken
to lower tax on other income. Taxed twice only when paid out: dividends are not modelled.
"""

from __future__ import annotations

from dataclasses import replace

from equipdecide.ledger import Column, Draft, Working
from equipdecide.plan import Plan
from equipdecide.tax.books import StateRules, on_file
from equipdecide.tax.income import Flows
from equipdecide.tax.law_by_year import LawByYear


def _income(w: Working, flows: Flows) -> None:
    w.formula(
        "income",
        "business - section_179 + recapture + gain",
        "USD",
        "income; no lower rate on gain",
        business=flows.business,
        section_179=flows.section_179,
        recapture=flows.recapture,
        gain=flows.gain,
    )


def less_state_tax(draft: Draft, plan: Plan, case: str, federal: Flows, kind: str) -> Flows:
    """Return what the business hands on federally after its own state tax, where one stands as ``<kind> return shop
    <case>``.

    Working ``state tax deducted <case>``, columns ``deducted, business`` [currency a year]. The reference has its
    deduction.
    """
    filed, reference = f"{kind} return shop {case}", f"{kind} return shop reference"
    if filed not in draft or case == "reference":
        return federal
    w = draft.working(
        f"state tax deducted {case}", plan.time.tax, f"state tax on the business deducted federally, {case}", "returns"
    )
    w.formula(
        "deducted",
        "tax - already",
        "USD",
        "state tax on the business that this course adds",
        tax=draft[filed]["tax"],
        already=draft[reference]["tax"] if reference in draft else 0.0,
    )
    made = w.formula(
        "business",
        "income - deducted",
        "USD",
        "business income after state tax on the business",
        income=federal.business,
    )
    return replace(federal, business=made)


def corporation(draft: Draft, plan: Plan, law: LawByYear, case: str, flows: Flows, with_losses: bool) -> Working:
    """Post the federal return of a C corporation as ``federal return shop <case>``; its last column is ``tax``."""
    home = draft.common if case == "reference" else draft
    w = home.working(
        f"federal return shop {case}", plan.time.tax, f"federal return of the corporation, {case}", "returns"
    )
    _income(w, flows)
    rate = law.figure(draft, "federal/corporate_rate", "corporate rate")
    if not with_losses:
        w.formula(
            "tax", "rate * income", "USD", "federal tax of the year, a loss lowering tax on other income", rate=rate
        )
        return w
    as_is = plan.scenario.shop.as_things_are
    start = draft.input(as_is.loss_carried) if as_is is not None and as_is.loss_carried else 0.0
    limit = law.figure(
        draft, "federal/business_losses.net_operating_loss_share", "share of income a carried loss may offset"
    )
    w.formula(
        "loss_carried",
        "prev(loss_carried, start) - min(prev(loss_carried, start), limit * max(income, 0)) + max(0 - income, 0)",
        "USD",
        "loss carried",
        limit=limit,
        start=start,
    )
    w.formula(
        "taxable",
        "max(income, 0) - (prev(loss_carried, start) + max(0 - income, 0) - loss_carried)",
        "USD",
        "taxable income",
        start=start,
    )
    w.formula("tax", "rate * taxable", "USD", "federal tax of the year", rate=rate)
    return w


def corporate_state(
    draft: Draft,
    plan: Plan,
    law: LawByYear,
    rules: StateRules,
    case: str,
    flows: Flows,
    with_losses: bool,
    adjustment: Column | None,
) -> Working:
    """Post the state return of a C corporation as ``state return shop <case>``; its last column is ``tax``."""
    entry = plan.scenario.shop.state
    assert entry is not None
    home = draft.common if case == "reference" else draft
    w = home.working(f"state return shop {case}", plan.time.tax, f"state return of the corporation, {case}", "returns")
    _income(w, flows)
    added: Column | float = adjustment if adjustment is not None and case != "reference" else 0.0
    if entry.rate is not None:
        rate = draft.input(entry.rate)
    else:
        rate = law.figure(draft, f"{rules.code}/income.corporate_rate", f"{(rules.code or '').upper()} corporate rate")
    w.formula("base", "income + added", "USD", "income in the state", added=added)
    if with_losses:
        w.formula("loss_carried", "max(prev(loss_carried) - base, 0)", "USD", "loss carried")
        w.formula("taxable", "max(base - prev(loss_carried), 0)", "USD", "taxable in the state")
        w.formula("tax", "rate * taxable", "USD", "state tax of the year", rate=rate)
    else:
        w.formula("tax", "rate * base", "USD", "state tax of the year, a loss lowering tax on other income", rate=rate)
    return w


def estimates(draft: Draft, plan: Plan, law: LawByYear, filed: Working) -> Working:
    """Post a corporation's four estimates: a quarter of this year's tax, or of last year's where that is less.

    IRC 6655(d): last year's tax serves only where there was some and the corporation is not large. Working
    ``estimates shop <case>``, column ``each`` [currency].
    """
    case = filed.name.removeprefix("federal return shop ")
    home = draft.common if case == "reference" else draft
    w = home.working(f"estimates shop {case}", plan.time.tax, f"estimates of the corporation, {case}", "payments")
    as_is = plan.scenario.shop.as_things_are
    last = as_is.last_tax if as_is is not None else None
    part = law.figure(draft, "federal/estimated_tax.instalment_share", "share of one estimate")
    share = law.figure(draft, "federal/estimated_tax.corporation_share", "share of this year's tax, corporation")
    if last is None:
        w.formula(
            "required", "max(share * tax, 0)", "USD", "required payments of the year", share=share, tax=filed["tax"]
        )
    else:
        w.formula(
            "required",
            "where(prev(tax, last) > 0, max(min(share * tax, prev(tax, last)), 0), max(share * tax, 0))",
            "USD",
            "required payments of the year",
            share=share,
            tax=filed["tax"],
            last=draft.input(last),
        )
        large = law.law.get("federal/estimated_tax.large_corporation_income", plan.time.start).number
        if as_is is not None and float(as_is.ordinary_income) >= large:
            draft.common.find(
                "large_corporation",
                f"A corporation with taxable income of {large:,.0f} or more in one of three years may use last "
                f"year's tax for its first estimate only.",
                "shop.as_things_are",
                "warning",
            )
    w.formula("each", "required * part", "USD", "each of four estimates", part=part)
    return w


def entity_tax(draft: Draft, plan: Plan, law: LawByYear, rules: StateRules, case: str, flows: Flows) -> Working | None:
    """Post a state's tax on a partnership or S corporation itself as ``entity return shop <case>``;
    None without one.
    """
    kind, code = plan.scenario.shop.taxed_as, rules.code
    entry = plan.scenario.shop.state
    if code is None or entry is None or entry.rate is not None:
        return None
    id = f"{code}/income.entity_replacement_rate"
    if kind == "S corporation" and on_file(law.law, f"{code}/income.s_corporation_rate"):
        id = f"{code}/income.s_corporation_rate"
    if kind not in ("partnership", "S corporation") or not on_file(law.law, id):
        return None
    home = draft.common if case == "reference" else draft
    w = home.working(
        f"entity return shop {case}", plan.time.tax, f"{code.upper()} tax on the business itself, {case}", "returns"
    )
    _income(w, flows)
    w.formula("loss_carried", "max(prev(loss_carried) - income, 0)", "USD", "loss carried to the next year")
    w.formula("taxable", "max(income - prev(loss_carried), 0)", "USD", "taxable")
    w.formula(
        "tax",
        "rate * taxable",
        "USD",
        "tax on the business itself",
        rate=law.figure(draft, id, f"{code.upper()} rate on the business itself"),
    )
    return w
