"""The tax rules in order, for the United States and for the textbook regime of one flat rate."""

from __future__ import annotations

from equipdecide.ledger import Column, Draft
from equipdecide.parameters import Law
from equipdecide.plan import Plan
from equipdecide.tax.depreciation import depreciate
from equipdecide.tax.disposal import dispose
from equipdecide.tax.elections import elect
from equipdecide.tax.payments import instalments, pay, tax_distributions, tax_on_sale
from equipdecide.tax.returns import (
    DEFAULT_INDEXING,
    LawByYear,
    at_one_rate,
    corporation,
    federal,
    income,
    reference_income,
    state,
    struck_out,
)

Triple = tuple[Column, Column, Column]


def books_of(plan: Plan) -> dict[str, bool]:
    """Return the books to keep, by name, and whether bonus depreciation counts in each."""
    entry = plan.scenario.shop.state
    if plan.time.flat or entry is None or entry.rate is None:
        return {"federal": True}
    return {"federal": True, "state": entry.bonus == "follows"}


def keep_books(draft: Draft, plan: Plan, law: Law) -> None:
    """Post depreciation and gain in every book: what the returns read."""
    elections = elect(law, plan)
    books = books_of(plan)
    depreciate(draft, plan, law, elections, books)
    dispose(draft, plan, elections, list(books))


def _triple(draft: Draft, book: str, suffix: str = "") -> Triple:
    w = draft[f"income {book}"]
    return w["business"], w[f"recapture{suffix}"], w[f"section_1231{suffix}"]


def flat(draft: Draft, plan: Plan, sale_alone: bool) -> None:
    """The textbook regime: one rate on everything, paid in the period of the flow."""
    entry = plan.scenario.flat
    income(draft, plan, ["federal"], {"federal": 0.0})
    sold = sale_alone and struck_out(draft, plan, ["federal"])
    if entry is None:
        return
    rate = draft.input(entry.tax_rate)
    cases = {"as filed": _triple(draft, "federal")}
    if sold:
        cases["without the sale"] = _triple(draft, "federal", "_without")
    at_one_rate(draft, plan, "shop", 1.0, rate, cases)
    w = draft.working("payments income tax shop", plan.time.tax, "tax in the period of the flow", "payments")
    out = w.formula("paid", "0 - tax", "USD", "tax, as cash", tax=draft["federal return shop as filed"]["tax"])
    draft.line("income tax", "shop", out, "tax", list(plan.time.tax.ends))


def law_by_year(law: Law, plan: Plan) -> LawByYear:
    """Return the reader of federal parameters for the tax years of a plan; the same for all alternatives of a scenario."""
    indexing = plan.scenario.study.tax_indexing
    return LawByYear(law, plan.time, indexing.likely if indexing else DEFAULT_INDEXING, plan.scenario.decision_date)


def united_states(draft: Draft, plan: Plan, by_year: LawByYear, keep_first_year: dict[str, float], sale_alone: bool) -> None:
    """Income, returns of every owner in every book, payments on their days."""
    scenario, books, law = plan.scenario, list(books_of(plan)), by_year.law
    known = scenario.shop.as_things_are is not None
    if known:
        if "reference income" not in draft:
            reference_income(draft, scenario, plan.time, keep_first_year)
        base: Column | float = draft["reference income"]["business"]
    else:
        base = 0.0
    income(draft, plan, books, dict.fromkeys(books, base))
    sold = sale_alone and struck_out(draft, plan, books)
    cases: dict[str, dict[str, Triple]] = {"as filed": {book: _triple(draft, book) for book in books}}
    if sold:
        cases["without the sale"] = {book: _triple(draft, book, "_without") for book in books}
    zero = _zero(draft, plan)
    reference: Triple | None = (draft["reference income"]["business"], zero, zero) if known else None

    if scenario.shop.taxed_as == "C corporation":
        _corporation(draft, plan, by_year, cases, reference)
        return
    for name, owner in scenario.owners.items():
        purse = "shop" if scenario.shop.taxed_as == "sole proprietor" else name
        if owner.tax_rate is not None:
            at_one_rate(draft, plan, name, draft.input(owner.share), draft.input(owner.tax_rate), {case: one["federal"] for case, one in cases.items()})
            same = at_reference(draft, plan, name, draft.input(owner.share), draft.input(owner.tax_rate), reference)
            pay(draft, plan, law, purse, f"income tax of {name}", draft[f"federal return {name} as filed"]["tax"], same, None)
            if sold:
                tax_on_sale(draft, plan, law, name, False, False)
            draft.common.find("one_rate", f"{name}: one combined rate stands for the whole return; a loss is taken to lower tax on other income, and the tax of a year is due with its return.", f"owners.{name}.tax_rate")
            continue
        assert reference is not None  # the checks of a scenario ask for income as things are
        if f"federal return {name} reference" not in draft:
            made = federal(draft, plan, by_year, name, owner, "reference", *reference)
            if owner.last_tax is not None:
                instalments(draft, plan, by_year, name, owner, made)
            if "state" in books:
                state(draft, plan, name, owner, "reference", *reference)
        for case, one in cases.items():
            made = federal(draft, plan, by_year, name, owner, case, *one["federal"])
            if owner.last_tax is not None:
                instalments(draft, plan, by_year, name, owner, made)
            if "state" in books:
                state(draft, plan, name, owner, case, *one["state"])
        if sold:
            tax_on_sale(draft, plan, law, name, owner.last_tax is not None, "state" in books)
        estimates = None
        if owner.last_tax is not None:
            estimates = (draft[f"estimates {name} as filed"]["each"], draft[f"estimates {name} reference"]["each"])
        filed, without = draft[f"federal return {name} as filed"]["tax"], draft[f"federal return {name} reference"]["tax"]
        pay(draft, plan, law, purse, f"federal tax of {name}", filed, without, estimates)
        if "state" in books:
            pay(draft, plan, law, purse, f"state tax of {name}", draft[f"state return {name} as filed"]["tax"], draft[f"state return {name} reference"]["tax"], None)
            draft.common.find("state_paid_with_return", "State tax is taken to be due with the return; state estimates are not modelled.", "shop.state")
    tax_distributions(draft, plan, law, draft["income federal"])


def at_reference(draft: Draft, plan: Plan, name: str, share: Column, rate: Column, reference: Triple | None) -> Column | float:
    """Return an owner's tax at one rate on the reference; 0 where income as things are was not entered."""
    if reference is None:
        return 0.0
    if f"federal return {name} reference" not in draft:
        at_one_rate(draft.common, plan, name, share, rate, {"reference": reference})
    return draft[f"federal return {name} reference"]["tax"]


def _zero(draft: Draft, plan: Plan) -> Column:
    if "nothing" not in draft:
        draft.common.working("nothing", plan.time.tax, "no sale in the reference", "returns").formula("zero", "0", "USD", "nothing")
    return draft["nothing"]["zero"]


def _corporation(draft: Draft, plan: Plan, by_year: LawByYear, cases: dict[str, dict[str, Triple]], reference: Triple | None) -> None:
    entry = plan.scenario.shop.state
    if reference is not None and "federal return shop reference" not in draft:
        corporation(draft, plan, by_year, "reference", reference, True)
    for case, one in cases.items():
        corporation(draft, plan, by_year, case, one["federal"], reference is not None)
        if entry is not None and entry.rate is not None:
            w = draft.working(f"state return shop {case}", plan.time.tax, f"state return of the corporation, {case}", "returns")
            business, recapture, gain = one["state"]
            base = reference[0] if reference is not None else 0.0
            w.formula("added", "business + recapture + gain - base", "USD", "income this course adds", business=business, recapture=recapture, gain=gain, base=base)
            w.formula("tax", "rate * added", "USD", "state tax this course adds", rate=draft.input(entry.rate))
    without = draft["federal return shop reference"]["tax"] if reference is not None else 0.0
    pay(draft, plan, by_year.law, "shop", "federal tax", draft["federal return shop as filed"]["tax"], without, None, "corporation")
    if "without the sale" in cases:
        tax_on_sale(draft, plan, by_year.law, "shop", False, entry is not None and entry.rate is not None, "corporation")
    if entry is not None and entry.rate is not None:
        pay(draft, plan, by_year.law, "shop", "state tax", draft["state return shop as filed"]["tax"], 0.0, None, "corporation")
