"""The tax rules in order, for the United States and for the textbook regime of one flat rate."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from equipdecide.ledger import Column, Draft, Working
from equipdecide.parameters import Law
from equipdecide.plan import Plan
from equipdecide.tax.believed import (
    say_states_limits,
    say_what_claims_need,
    say_what_is_believed,
    say_what_the_books_rest_on,
)
from equipdecide.tax.books import Book, StateRules, books_of, state_rules
from equipdecide.tax.corporation import corporate_state, corporation, entity_tax, estimates, less_state_tax
from equipdecide.tax.depreciation import depreciate
from equipdecide.tax.disposal import dispose
from equipdecide.tax.elections import Election, elect
from equipdecide.tax.from_memory import say_rules_from_memory
from equipdecide.tax.income import (
    Flows,
    at_the_business,
    first_sale,
    income,
    property_held,
    reference_flows,
    reference_income,
)
from equipdecide.tax.individual import federal
from equipdecide.tax.law_by_year import DEFAULT_INDEXING, LawByYear
from equipdecide.tax.own_books import own_books
from equipdecide.tax.pass_through import credit, elected, pay_for_owners, post_payment
from equipdecide.tax.payments import entity_tax_on_sale, instalments, pay, tax_distributions, tax_on_sale
from equipdecide.tax.property_tax import property_tax, sales_tax_finding
from equipdecide.tax.states import add_back, state_return
from equipdecide.tax.tie_out import tie_out

Cases = dict[str, dict[str, Flows]]  # case -> jurisdiction -> what the business hands on


@dataclass(frozen=True, eq=False)
class KeptBooks:
    """What the returns read of a plan: its elections and the books that are kept."""

    elections: tuple[Election, ...]
    books: tuple[Book, ...]


def keep_books(draft: Draft, plan: Plan, law: Law) -> KeptBooks:
    """Post depreciation and gain in every book: what the returns read."""
    elections, books = elect(law, plan), books_of(plan, law)
    indexing = plan.scenario.study.tax_indexing
    depreciate(draft, plan, law, elections, books, indexing.likely if indexing else DEFAULT_INDEXING)
    dispose(draft, plan, law, elections, [book.name for book in books])
    own_books(draft, plan)
    if not plan.time.flat:
        property_tax(draft, plan, law, elections)
    return KeptBooks(tuple(elections), tuple(books))


def law_by_year(law: Law, plan: Plan) -> LawByYear:
    """Return the reader of parameters for the tax years of a plan; the same for all alternatives of a scenario."""
    indexing = plan.scenario.study.tax_indexing
    return LawByYear(law, plan.time, indexing.likely if indexing else DEFAULT_INDEXING, plan.scenario.decision_date)


def flat(draft: Draft, plan: Plan, kept: KeptBooks, sale_alone: bool) -> None:
    """The textbook regime: one rate on everything, paid in the period of the flow."""
    entry = plan.scenario.flat
    income(draft, plan, None, ["federal"], 0.0)
    if entry is None:
        return
    rate = draft.input(entry.tax_rate)
    for case in _cases(draft, plan, sale_alone):
        at_one_rate(
            draft,
            plan,
            "shop",
            1.0,
            rate,
            case,
            at_the_business(draft, plan, "federal", case, kept.elections, False, 0.0),
            entry.losses == "carried forward",
        )
    _say_what_is_left(draft, "shop", draft["federal return shop as filed"], "flat.losses")
    if "federal return shop without the sale" in draft:
        tax_on_sale(draft, plan, "shop", False)
    w = draft.working("payments income tax shop", plan.time.tax, "tax in the period of the flow", "payments")
    out = w.formula("paid", "0 - tax", "USD", "tax, as cash", tax=draft["federal return shop as filed"]["tax"])
    draft.line("income tax", "shop", out, "tax", list(plan.time.tax.ends))


def _cases(draft: Draft, plan: Plan, sale_alone: bool) -> list[str]:
    struck_out = sale_alone and first_sale(draft, plan) is not None
    return ["as filed", "without the sale"] if struck_out else ["as filed"]


def at_one_rate(
    draft: Draft,
    plan: Plan,
    name: str,
    share: Column | float,
    rate: Column,
    case: str,
    flows: Flows,
    carried: bool = False,
) -> Working:
    """Post tax at one combined rate; a loss lowers tax on other income, or is carried forward where `carried`."""
    home = draft.common if case == "reference" else draft
    w = home.working(f"federal return {name} {case}", plan.time.tax, f"tax of {name} at one rate, {case}", "returns")
    w.formula(
        "income",
        "share * (business - section_179 + recapture + gain)",
        "USD",
        "share of the business's income",
        share=share,
        business=flows.business,
        section_179=flows.section_179,
        recapture=flows.recapture,
        gain=flows.gain,
    )
    if carried:
        w.formula("loss_carried", "max(prev(loss_carried) - income, 0)", "USD", "loss carried to the next period")
        w.formula("taxable", "max(income - prev(loss_carried), 0)", "USD", "income after carried losses")
        w.formula("tax", "rate * taxable", "USD", "tax at one combined rate", rate=rate)
    else:
        w.formula("tax", "rate * income", "USD", "tax at one combined rate", rate=rate)
    return w


def united_states(
    draft: Draft, plan: Plan, by_year: LawByYear, keep_first_year: dict[str, float], kept: KeptBooks, sale_alone: bool
) -> None:
    """Income, returns of every owner in every book, payments on their days."""
    scenario, elections, books = plan.scenario, kept.elections, kept.books
    known = scenario.shop.as_things_are is not None
    if known and "reference income" not in draft:
        reference_income(draft, scenario, plan.time, keep_first_year)
    base: Column | float = draft["reference income"]["business"] if known else 0.0
    income(draft, plan, by_year.law, [book.name for book in books], base)
    rules = state_rules(plan, by_year.law)
    rules = rules if rules is not None and rules.taxed else None
    adjustment = add_back(draft, plan, rules, elections) if rules is not None else None
    limited = known and scenario.shop.taxed_as != "sole proprietor"
    held = property_held(draft, plan, by_year.law, elections) if scenario.shop.taxed_as != "C corporation" else 0.0
    cases: Cases = {}
    for case in _cases(draft, plan, sale_alone):
        cases[case] = {
            book.name: at_the_business(
                draft, plan, book.name, case, elections, limited, held, by_year if known else None
            )
            for book in books
        }
        if rules is not None:
            cases[case].setdefault("state", cases[case]["federal"])
    if known:
        same = reference_flows(draft, plan, by_year)
        cases["reference"] = {"federal": same, "state": same}
    if rules is not None and known and elected(draft, plan):
        for case, one in cases.items():
            one["federal"] = pay_for_owners(draft, plan, case, one["federal"], one["state"])
    if scenario.shop.taxed_as == "C corporation":
        _corporation(draft, plan, by_year, cases, rules, adjustment)
        return
    if rules is not None:
        _entity(draft, plan, by_year, rules, cases)
    for name, owner in scenario.owners.items():
        if owner.tax_rate is not None:
            _one_rate_owner(draft, plan, by_year, name, cases)
        else:
            _owner(draft, plan, by_year, name, cases, rules, adjustment, elections)
    if rules is not None:
        post_payment(draft, plan)
    tax_distributions(draft, plan, by_year.law, cases["as filed"]["federal"])


def say(draft: Draft, plan: Plan, law: Law, kept: KeptBooks) -> None:
    """Post what the reader must know of the tax of a plan beside its figures."""
    if plan.time.flat:
        return
    say_what_is_believed(draft, plan, law)
    say_what_claims_need(draft, plan, law)
    say_what_the_books_rest_on(draft, plan, law, kept.elections)
    say_rules_from_memory(draft, plan, law, kept.elections)
    sales_tax_finding(draft, plan, law)
    say_states_limits(draft, plan, law)
    folder = plan.scenario.source.folder if plan.scenario.source else None
    tie_out(draft, plan, kept.elections, folder)


def _purse(plan: Plan, name: str) -> str:
    return "shop" if plan.scenario.shop.taxed_as == "sole proprietor" else name


def _one_rate_owner(draft: Draft, plan: Plan, by_year: LawByYear, name: str, cases: Cases) -> None:
    owner = plan.scenario.owners[name]
    assert owner.tax_rate is not None
    share, rate = draft.input(owner.share), draft.input(owner.tax_rate)
    for case, one in cases.items():
        if case != "reference" or f"federal return {name} reference" not in draft:
            at_one_rate(draft, plan, name, share, rate, case, one["federal"])
    without: Column | float = draft[f"federal return {name} reference"]["tax"] if "reference" in cases else 0.0
    pay(
        draft,
        plan,
        by_year.law,
        _purse(plan, name),
        f"income tax of {name}",
        draft[f"federal return {name} as filed"]["tax"],
        without,
        None,
    )
    if "without the sale" in cases:
        tax_on_sale(draft, plan, name, False)
    draft.common.find(
        "one_rate",
        f"{name}: one combined rate stands for the whole return; a loss is taken to lower tax on other income, and "
        f"the tax of a year is due with its return.",
        f"owners.{name}.tax_rate",
    )


def _owner(
    draft: Draft,
    plan: Plan,
    by_year: LawByYear,
    name: str,
    cases: Cases,
    rules: StateRules | None,
    adjustment: Column | None,
    elections: Sequence[Election],
) -> None:
    owner, law = plan.scenario.owners[name], by_year.law
    assert "reference" in cases  # the checks of a scenario ask for income as things are
    for case, one in cases.items():
        if case == "reference" and f"federal return {name} reference" in draft:
            continue
        made = federal(draft, plan, by_year, name, owner, case, one["federal"], elections)
        if owner.last_tax is not None:
            instalments(draft, plan, by_year, name, owner, made, "federal", owner.last_tax)
        if rules is not None:
            filed = state_return(
                draft,
                plan,
                by_year,
                rules,
                name,
                owner,
                case,
                one["state"],
                elections,
                made,
                adjustment,
                credit(draft, case),
            )
            if owner.last_state_tax is not None:
                instalments(draft, plan, by_year, name, owner, filed, "state", owner.last_state_tax)
    if "without the sale" in cases:
        tax_on_sale(draft, plan, name, rules is not None, law if owner.last_tax is not None else None)
    _say_what_is_left(draft, name, draft[f"federal return {name} as filed"], f"owners.{name}")
    for kind, last in (("federal", owner.last_tax), ("state", owner.last_state_tax if rules is not None else None)):
        if kind == "state" and rules is None:
            continue
        early = "estimates" if kind == "federal" else "state estimates"
        each = (
            (draft[f"{early} {name} as filed"]["each"], draft[f"{early} {name} reference"]["each"])
            if last is not None
            else None
        )
        owed, without = draft[f"{kind} return {name} as filed"]["tax"], draft[f"{kind} return {name} reference"]["tax"]
        state = rules.code or "" if kind == "state" and rules is not None else ""
        pay(draft, plan, law, _purse(plan, name), f"{kind} tax of {name}", owed, without, each, state=state)
    if rules is not None and owner.last_state_tax is None:
        draft.common.find(
            "state_paid_with_return",
            "State tax is taken to be due with the return: last year's state tax is not entered, so state estimates are not computed.",
            "shop.state",
        )


LEFT = {
    "section_179_carried": "section 179 is carried, not yet deducted",
    "loss_carried": "net operating loss is carried, not yet used",
    "passive_carried": "passive loss is carried, not yet used",
}


def _say_what_is_left(draft: Draft, name: str, filed: Working, about: str) -> None:
    """Say what a taxpayer still carries when the study ends: it is worth something that is not counted."""
    for column, says in LEFT.items():
        left = float(filed[column].per_row()[-1]) if column in filed else 0.0
        if left >= 0.5:
            draft.find(
                "left_at_end",
                f"{name}: at the end of the study {left:,.0f} of {says}; nothing is counted for it.",
                about,
                "warning",
            )


def _entity(draft: Draft, plan: Plan, by_year: LawByYear, rules: StateRules, cases: Cases) -> None:
    """A state's tax on the business itself, paid by the shop with its return and deducted from its federal income."""
    for case in sorted(cases, key=lambda case: case != "reference"):
        if case != "reference" or "entity return shop reference" not in draft:
            entity_tax(draft, plan, by_year, rules, case, cases[case]["state"])
        cases[case]["federal"] = less_state_tax(draft, plan, case, cases[case]["federal"], "entity")
    if "reference" in cases and "entity return shop as filed" in draft:
        pay(
            draft,
            plan,
            by_year.law,
            "shop",
            "state tax on the business",
            draft["entity return shop as filed"]["tax"],
            draft["entity return shop reference"]["tax"],
            None,
            "partnership or S corporation",
        )
    if "without the sale" in cases:
        entity_tax_on_sale(draft, plan)


def _corporation(
    draft: Draft, plan: Plan, by_year: LawByYear, cases: Cases, rules: StateRules | None, adjustment: Column | None
) -> None:
    known = "reference" in cases
    for case in sorted(cases, key=lambda case: case != "reference"):
        if case == "reference" and "federal return shop reference" in draft:
            continue
        one = cases[case]
        if rules is not None:
            corporate_state(draft, plan, by_year, rules, case, one["state"], known, adjustment)
        made = corporation(
            draft, plan, by_year, case, less_state_tax(draft, plan, case, one["federal"], "state"), known
        )
        if known:
            estimates(draft, plan, by_year, made)
    each = (draft["estimates shop as filed"]["each"], draft["estimates shop reference"]["each"]) if known else None
    for kind in ("federal", "state") if rules is not None else ("federal",):
        without: Column | float = draft[f"{kind} return shop reference"]["tax"] if known else 0.0
        pay(
            draft,
            plan,
            by_year.law,
            "shop",
            f"{kind} tax",
            draft[f"{kind} return shop as filed"]["tax"],
            without,
            each if kind == "federal" else None,
            "corporation",
            rules.code or "" if kind == "state" and rules is not None else "",
        )
    if "without the sale" in cases:
        tax_on_sale(draft, plan, "shop", rules is not None, by_year.law if known else None, "corporation")
