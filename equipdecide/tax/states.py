"""A state's return of one owner, on the state's own book where it keeps one, by its brackets or one rate.

The state's income is figured as the federal is, from the state's book; a share of the federal first-year deduction that
the state adds back is returned in equal parts over the years after, whether or not the machine is still owned. State
deductions, exemptions and credits are not taken: what counts is the difference two courses make.
"""

from __future__ import annotations

from collections.abc import Sequence

from equipdecide.calendar import ONE
from equipdecide.ledger import Column, Draft, Origin, Working, sum_of
from equipdecide.plan import Plan
from equipdecide.scenario.models import Owner
from equipdecide.tax.books import AddBack, StateRules, on_file
from equipdecide.tax.depreciation import book_name
from equipdecide.tax.elections import Election
from equipdecide.tax.income import Flows
from equipdecide.tax.individual import owners_179, shares_of
from equipdecide.tax.law_by_year import STATUS, LawByYear

NOTHING_ADDED = "state adjustment"


def add_back(draft: Draft, plan: Plan, rules: StateRules, elections: Sequence[Election]) -> Column | None:
    """Post what the state adds to income and returns: working ``state adjustment``, column ``net`` [currency a year].

    Added in the year in service: a share of the bonus, and of section 179 above what is free of it. None where the
    state adds nothing back.
    """
    rule = rules.add_back
    if rule is None:
        return None
    book, axis = "state" if rules.own_book else "federal", plan.time.tax
    w = draft.working(NOTHING_ADDED, axis, "what the state adds back and returns", "state add-back")
    parts: list[Column] = []
    by_year: dict[int, list[tuple[Election, Working]]] = {}
    for e in elections:
        last = e.possession.in_service.year + rule.years
        if (
            not e.expensed
            and last >= axis.starts[0].year
            and e.possession.in_service.year != e.possession.disposed.year
        ):
            by_year.setdefault(e.possession.in_service.year, []).append((e, draft[book_name(e, book)]))
    for year, items in sorted(by_year.items()):
        sum_of(w, f"bonus of {year}", [one["bonus"] for _, one in items], "USD", f"bonus depreciation of {year}", ONE)
        sum_of(
            w, f"section 179 of {year}", [one["section_179"] for _, one in items], "USD", f"section 179 of {year}", ONE
        )
        uses: dict[str, Column | float] = {
            "bonus": w[f"bonus of {year}"],
            "share": draft.legal(rule.source, "share of bonus added back"),
        }
        text = "share * bonus"
        if rule.section_179_share and rule.free_179 is not None:
            w.given(
                f"part of {year}",
                rule.section_179_share,
                "1",
                "share of section 179 added back",
                Origin("law", rule.free_179.id, str(rule.free_179.source), rule.free_179.status),
            )
            text += " + part * max(expensed - free, 0)"
            uses |= {
                "part": w[f"part of {year}"],
                "expensed": w[f"section 179 of {year}"],
                "free": draft.legal(rule.free_179, "section 179 that is not added back"),
            }
        whole = w.formula(f"added of {year}", text, "USD", f"added back for {year}", ONE, **uses)
        flags = _by_year(rule, year, [end.year for end in axis.ends], [e.possession.disposed.year for e, _ in items])
        w.given(
            f"when of {year}",
            flags,
            "1",
            f"added in {year}, returned over {rule.years} years",
            Origin("law", rule.source.id, str(rule.source.source), rule.source.status),
        )
        parts.append(
            w.formula(
                f"net of {year}",
                "when * whole",
                "USD",
                f"added for {year}, less what is returned",
                when=w[f"when of {year}"],
                whole=whole,
            )
        )
    return sum_of(w, "net", parts, "USD", "added to income, less returned")


def _by_year(rule: AddBack, placed: int, years: list[int], sold: list[int]) -> list[float]:
    """Return, by year, what part of an add-back is added (1) and returned (minus a part)."""
    start = placed if rule.starts_same_year else placed + 1
    out = []
    for year in years:
        flag = 1.0 if year == placed else 0.0
        if rule.on_sale == "recover" and sold and max(sold) < start + rule.years:
            if year == max(sold):
                flag -= 1.0 - max(0, max(sold) - start) / rule.years
            elif start <= year < max(sold):
                flag -= 1.0 / rule.years
        elif start <= year < start + rule.years:
            flag -= 1.0 / rule.years
        out.append(flag)
    return out


def state_return(
    draft: Draft,
    plan: Plan,
    law: LawByYear,
    rules: StateRules,
    name: str,
    owner: Owner,
    case: str,
    flows: Flows,
    elections: Sequence[Election],
    filed: Working,
    adjustment: Column | None,
    credited: Column | None,
) -> Working:
    """Post one owner's state return as working ``state return <owner> <case>``; its last column is ``tax``.

    `filed` is the owner's federal return of the same case: what its limits hold back is held back here too. `credited`
    is what the business paid for all its owners.
    """
    home = draft.common if case == "reference" else draft
    w = home.working(f"state return {name} {case}", plan.time.tax, f"state return of {name}, {case}", "returns")
    share = shares_of(draft, w, owner, name, flows)
    recapture, gain = owners_179(
        draft, plan, w, "state" if rules.own_book else "federal", name, owner, case, flows, elections, share, None
    )
    w.formula(
        "business_income",
        "business_share - section_179 + recapture + gain",
        "USD",
        "business income in the state's book",
        recapture=recapture,
        gain=gain,
    )
    w.formula(
        "held_back",
        "counted + excess_loss - activity",
        "USD",
        "loss held back by the federal limits, or let go",
        counted=filed["counted"],
        excess_loss=filed["excess_loss"],
        activity=filed["activity"],
    )
    added: Column | float = 0.0
    if adjustment is not None and case != "reference":
        added = w.formula(
            "added_back",
            "share * net",
            "USD",
            "share of what the state adds back, less returned",
            share=share,
            net=adjustment,
        )
    other = draft.input(owner.other_income) if owner.other_income else 0.0
    uses: dict[str, Column | float] = {"other": other, "added": added}
    beyond = ""
    if "over_basis" in filed:
        beyond, uses["over_basis"] = " + over_basis", filed["over_basis"]
    text = f"other + business_income + held_back + added{beyond}"
    w.formula("income", text, "USD", "income in the state", None, **uses)
    w.formula(
        "loss_carried",
        "max(prev(loss_carried) - income, 0) + excess_loss",
        "USD",
        "loss carried to the next year",
        excess_loss=filed["excess_loss"],
    )
    w.formula(
        "taxable",
        "max(income - prev(loss_carried), 0)",
        "USD",
        "taxable in the state, before its deductions and credits",
    )
    _state_tax(draft, plan, law, rules, w, owner, "tax" if credited is None else "before_credit")
    if credited is not None:
        w.formula(
            "tax",
            "before_credit - share * credited",
            "USD",
            "state tax less what the business paid",
            share=share,
            credited=credited,
        )
    return w


def _state_tax(
    draft: Draft, plan: Plan, law: LawByYear, rules: StateRules, w: Working, owner: Owner, name: str
) -> None:
    entry = plan.scenario.shop.state
    assert entry is not None
    if entry.rate is not None:
        w.formula(name, "rate * taxable", "USD", "state tax of the year", rate=draft.input(entry.rate))
        return
    code, status = rules.code or "", STATUS[owner.filing or "single"]
    over, rate = law.brackets(
        draft, f"{code}/income.individual_brackets", f"{code.upper()} brackets, {owner.filing}", status
    )
    if on_file(law.law, f"{code}/income.business_income_rate"):
        # business income up to an amount is free, the rest at a rate of its own; other income by the brackets
        free = law.figure(
            draft, f"{code}/income.business_income_deduction", "business income free of tax", status=status
        )
        own = law.figure(draft, f"{code}/income.business_income_rate", "rate on business income")
        w.formula(
            "business_taxable",
            "min(max(business_income + held_back - free, 0), taxable)",
            "USD",
            "business income above what is free",
            free=free,
        )
        w.formula("other_taxable", "max(taxable - max(business_income + held_back, 0), 0)", "USD", "other income")
        w.formula("business_tax", "rate * business_taxable", "USD", "tax on business income", rate=own)
        flat = (
            law.figure(draft, f"{code}/income.flat_amount", "amount due above the first threshold")
            if on_file(law.law, f"{code}/income.flat_amount")
            else 0.0
        )
        first = law.readings(f"{code}/income.individual_brackets", status=status)
        starts = [next((pair[0] for pair in reading.brackets if pair[1] > 0), 0.0) for reading in first]
        threshold = w.given(
            "first_threshold",
            starts,
            "USD",
            "where the brackets begin",
            Origin("law", first[0].id, str(first[0].source), first[0].status),
        )
        w.formula(
            name,
            "business_tax + brackets(other_taxable, over, rate) + where(other_taxable > threshold, flat, 0)",
            "USD",
            "state tax of the year",
            over=over,
            rate=rate,
            threshold=threshold,
            flat=flat,
        )
        return
    if on_file(law.law, f"{code}/income.surtax_brackets"):
        more, extra = law.brackets(draft, f"{code}/income.surtax_brackets", f"{code.upper()} surtax", status)
        w.formula("surtax", "brackets(taxable, over, rate)", "USD", "surtax", over=more, rate=extra)
        w.formula(name, "brackets(taxable, over, rate) + surtax", "USD", "state tax of the year", over=over, rate=rate)
        return
    w.formula(
        name, "brackets(taxable, over, rate)", "USD", "state tax of the year by its brackets", over=over, rate=rate
    )
