"""When tax is paid: four estimates with the safe harbours, the balance in April, each on the next business day.

IRC 6654: each estimate is a quarter of the smaller of 90 % of the year's tax and 100 % (110 % above an income) of last
year's; the rest is due with the return. Lines are differences from the reference, so they are what this course adds.
Days past at the decision, or
before a sale of the same year, do not change: the annualized method lets them, and what they lack is due with the next
estimate (IRC 6654(d)(2)(B), 6655(e)(1)). Taxes owed equal taxes paid, a check column proves it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache

from equipdecide import calendar as cal
from equipdecide.calendar import Axis, Date
from equipdecide.ledger import Column, Draft, Origin, Working, sum_of
from equipdecide.parameters import Law
from equipdecide.plan import Plan
from equipdecide.scenario.amounts import Amount
from equipdecide.scenario.models import Owner
from equipdecide.tax.income import Flows
from equipdecide.tax.law_by_year import STATUS, LawByYear

ESTIMATES = ("estimate-1", "estimate-2", "estimate-3", "estimate-4")


@lru_cache(maxsize=256)
def due_dates(law: Law, axis: Axis, payer: str, event: str, state: str = "") -> tuple[Date, ...]:
    """Return, per tax year, the day a payment is due, moved to the next business day (IRC 7503).

    With `state` its own day where it has one; else the federal day.
    """
    own = [row for row in _days_of_state(law, state, payer) if row["event"] == event]
    for row in [*own, *law.rows("federal/estimated_tax_days")]:
        if row["payer"] == payer and row["event"] == event:
            after, month, day = (int(str(row[key])) for key in ("years_after", "month", "day"))
            return tuple(cal.next_business_day(Date(end.year + after, month, day)) for end in axis.ends)
    raise LookupError(f"no day for {payer} {event}")


def _days_of_state(law: Law, state: str, payer: str) -> list[Mapping[str, object]]:
    """Return the rows of a state's own days for a payer; none where it goes by the federal days."""
    if not state:
        return []
    return [row for row in law.rows("state_payment_days") if row["state"] == state and row["payer"] == payer]


def parts_of_estimates(law: Law, state: str, payer: str) -> tuple[float, ...]:
    """Return the quarters of a year's required payment that each of four estimates asks for: one
    each, or as a state has it.
    """
    own = {row["event"]: row["part"] for row in _days_of_state(law, state, payer) if row["part"] is not None}
    return tuple(4 * float(str(own[event])) if event in own else 1.0 for event in ESTIMATES)


def quarters_due(
    plan: Plan, days_of: Sequence[Sequence[Date]], parts: Sequence[float] = (1.0, 1.0, 1.0, 1.0)
) -> tuple[list[float], ...]:
    """Return, for each of four estimates, the quarters of a year's required payment due with it, by tax year.

    As `parts` has it; an estimate that could not answer to the plan leaves its part to the next that can.
    """
    found: tuple[list[float], ...] = tuple([] for _ in days_of)
    for days in zip(*days_of, strict=True):
        waiting = 0.0
        for quarters, day, part in zip(found, days, parts, strict=True):
            waiting += part
            quarters.append(waiting if part and plan.estimate_is_open(day) else 0.0)
            waiting = 0.0 if quarters[-1] else waiting
    return found


def instalments(
    draft: Draft, plan: Plan, law: LawByYear, name: str, owner: Owner, filed: Working, kind: str, last: Amount
) -> Working:
    """Post the estimates of one owner's federal or state tax in one case: ``[state ]estimates <owner> <case>``.

    `last` is last year's tax [currency]. The state's are figured as the federal ones are (common practice; the rules of
    a state may differ).
    """
    status = STATUS[owner.filing or "single"]
    case = filed.name.removeprefix(f"{kind} return {name} ")
    home = draft.common if case == "reference" else draft
    label = "estimates" if kind == "federal" else "state estimates"
    w = home.working(f"{label} {name} {case}", plan.time.tax, f"{label} of {name}, {case}", "payments")
    high = draft.input(owner.last_agi) if owner.last_agi else 0.0
    w.formula(
        "prior_share",
        "where(prev(income, last_income) > high, share_high, share)",
        "1",
        "share of last year's tax that is safe",
        income=filed["income"],
        last_income=high,
        high=law.figure(draft, "federal/estimated_tax.high_income", "income above which 110 % is asked", status=status),
        share_high=law.figure(draft, "federal/estimated_tax.prior_year_share_high_income", "safe share, high income"),
        share=law.figure(draft, "federal/estimated_tax.prior_year_share", "safe share"),
    )
    w.formula(
        "required",
        "max(min(share * tax, prior_share * prev(tax, last_tax)), 0)",
        "USD",
        "required annual payment",
        share=law.figure(draft, "federal/estimated_tax.current_year_share", "share of this year's tax"),
        tax=filed["tax"],
        last_tax=draft.input(last),
    )
    w.formula(
        "each",
        "required * part",
        "USD",
        "each of four estimates",
        part=law.figure(draft, "federal/estimated_tax.instalment_share", "share of one estimate"),
    )
    return w


def pay(
    draft: Draft,
    plan: Plan,
    law: Law,
    purse: str,
    label: str,
    owed: Column,
    reference: Column | float,
    estimates: tuple[Column, Column] | None,
    payer: str = "individual",
    state: str = "",
) -> Working:
    """Post the lines of one tax of one purse: differences from the reference on each estimate's day and in April.

    `owed` and `reference` are the year's tax [currency]; `estimates` one estimate as filed and for the reference, or
    None where all is due with the return; `state` goes by that state's days. Working ``payments <label> <purse>``.
    """
    axis = plan.time.tax
    w = draft.working(f"payments {label} {purse}", axis, f"when {label} of {purse} is paid", "payments")
    w.formula("added", "owed - reference", "USD", f"{label} this course adds", owed=owed, reference=reference)
    paid = []
    if estimates is not None:
        days_of = [due_dates(law, axis, payer, event, state) for event in ESTIMATES]
        each_due = quarters_due(plan, days_of, parts_of_estimates(law, state, payer))
        for event, days, quarters in zip(ESTIMATES, days_of, each_due, strict=True):
            says = "quarters due: its own, and those that were past"
            w.given(f"quarters_{event[-1]}", quarters, "1", says, Origin("calendar", event))
            column = w.formula(
                f"estimate_{event[-1]}",
                f"quarters_{event[-1]} * (each - each_reference)",
                "USD",
                f"added to estimate {event[-1]}",
                each=estimates[0],
                each_reference=estimates[1],
            )
            out = w.formula(f"estimate_{event[-1]}_paid", f"0 - estimate_{event[-1]}", "USD", "as cash")
            draft.line(f"{label}, estimate {event[-1]}", purse, out, "tax", days)
            paid.append(column)
    sum_of(w, "estimates", paid, "USD", "added to the estimates of the year")
    w.formula("balance", "added - estimates", "USD", "added to the balance due with the return")
    w.formula("check", "estimates + balance - added", "USD", "taxes owed less taxes paid: must be zero")
    out = w.formula("balance_paid", "0 - balance", "USD", "as cash")
    draft.line(f"{label}, balance", purse, out, "tax", due_dates(law, axis, payer, "return", state))
    if _days_of_state(law, state, payer):
        draft.common.find(
            "state_days",
            f"{state.upper()} has days of its own for {label.removesuffix(' of ' + purse)}; those taken here are "
            f"from memory: look them up before paying.",
            "shop.state",
        )
    return w


def tax_distributions(draft: Draft, plan: Plan, law: Law, entity: Flows) -> None:
    """Post what the business pays out for the owners' tax: a share of its taxable income, with each estimate."""
    share = plan.scenario.shop.tax_distributions
    if share is None:
        return
    w = draft.working("tax distributions", plan.time.tax, "money paid out to the owners for their tax", "payments")
    w.formula(
        "each",
        "max(business - section_179 + recapture + gain, 0) * share / 4",
        "USD",
        "a quarter of the year's",
        business=entity.business,
        section_179=entity.section_179,
        recapture=entity.recapture,
        gain=entity.gain,
        share=draft.input(share),
    )
    for event in ESTIMATES:
        days = due_dates(law, plan.time.tax, "individual", event)
        flags = [1.0 if day >= plan.time.start and day <= cal.add_months(plan.time.end, 12) else 0.0 for day in days]
        w.given(f"open_{event[-1]}", flags, "1", "not yet past at the decision", Origin("calendar", event))
        out = w.formula(f"out_{event[-1]}", f"0 - each * open_{event[-1]}", "USD", "paid out")
        draft.line(f"tax distribution {event[-1]}", "shop", out, "between purses", days)
        for owner, entry in plan.scenario.owners.items():
            part = w.formula(
                f"to {owner} {event[-1]}",
                f"each * open_{event[-1]} * part",
                "USD",
                f"to {owner}",
                part=draft.input(entry.share),
            )
            draft.line(f"tax distribution {event[-1]}", owner, part, "between purses", days)


def tax_on_sale(
    draft: Draft, plan: Plan, name: str, with_state: bool, estimates: Law | None = None, payer: str = "individual"
) -> Working:
    """Post what the plan's first sale alone adds to one taxpayer's returns, and on which days.

    With `estimates`, the law of their days, part of it is due with the estimates of `payer`; without, all with the
    return.

    The return as filed less the same return with the sale struck out. Working ``tax on the sale <name>``: columns
    ``federal, state, tax``, and ``due_1`` .. ``due_4``, ``due_5`` for the estimates and the balance [currency a year].
    """
    axis = plan.time.tax
    w = draft.working(f"tax on the sale {name}", axis, f"tax of {name} on the sale alone", "tax on the sale")
    w.formula(
        "federal",
        "filed - without",
        "USD",
        "federal tax as filed less the same without the sale",
        filed=draft[f"federal return {name} as filed"]["tax"],
        without=draft[f"federal return {name} without the sale"]["tax"],
    )
    if with_state:
        w.formula(
            "state",
            "filed - without",
            "USD",
            "state tax as filed less the same without the sale",
            filed=draft[f"state return {name} as filed"]["tax"],
            without=draft[f"state return {name} without the sale"]["tax"],
        )
    else:
        w.formula("state", "0", "USD", "no state return apart")
    w.formula("tax", "federal + state", "USD", "tax on the sale")
    if estimates is not None:
        quarters = quarters_due(plan, [due_dates(estimates, axis, payer, event) for event in ESTIMATES])
        for k, (event, due) in enumerate(zip(ESTIMATES, quarters, strict=True), start=1):
            w.given(
                f"quarters_{k}", due, "1", "quarters due: its own, and those that were past", Origin("calendar", event)
            )
            w.formula(
                f"due_{k}",
                f"quarters_{k} * (filed - without)",
                "USD",
                f"due with estimate {k}",
                filed=draft[f"estimates {name} as filed"]["each"],
                without=draft[f"estimates {name} without the sale"]["each"],
            )
        w.formula("due_5", "tax - due_1 - due_2 - due_3 - due_4", "USD", "due with the return")
    else:
        w.formula("due_5", "tax", "USD", "due with the return")
    return w


def entity_tax_on_sale(draft: Draft, plan: Plan) -> None:
    """Post what the first sale alone adds to state taxes the business pays: working ``tax on the
    sale shop``, if there are any.
    """
    kinds = [kind for kind in ("entity return shop", "pass-through return shop") if f"{kind} without the sale" in draft]
    if not kinds:
        return
    w = draft.working(
        "tax on the sale shop", plan.time.tax, "state tax the business pays on the sale alone", "tax on the sale"
    )
    parts = [
        w.formula(
            kind,
            "filed - without",
            "USD",
            "state tax as filed less the same without the sale",
            filed=draft[f"{kind} as filed"]["tax"],
            without=draft[f"{kind} without the sale"]["tax"],
        )
        for kind in kinds
    ]
    w.formula("federal", "0", "USD", "no federal tax on the business itself")
    sum_of(w, "state", parts, "USD", "state tax the business pays")
    w.formula("tax", "federal + state", "USD", "tax on the sale")
    w.formula("due_5", "tax", "USD", "due with the return")
