"""The returns of the load "full US tax" by hand: two owners, federal and state, as filed less the reference.

For one trial in plain Python numbers (:func:`notebook_tax`), for many in plain numpy (:func:`plain_tax`). Rules that
are not in this load: section 179, limits by basis and for passive owners, instalment sales, state brackets and
add-back.
"""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
from known import Course, Known, uses

REACH = 5  # years a section 1231 loss stays within reach
READ = {  # law and inputs of an owner's return: name here -> column of the return, name in its formula
    "excess": ("excess_loss", "threshold"),
    "factor": ("se_base", "factor"),
    "least_earned": ("se_tax", "least"),
    "social": ("se_tax", "social"),
    "wage_base": ("se_tax", "wage_base"),
    "medicare": ("se_tax", "medicare"),
    "half": ("se_deduction", "half"),
    "extra": ("medicare_tax", "rate"),
    "extra_over": ("medicare_tax", "threshold"),
    "deduction": ("before_carryover", "deduction"),
    "carry_limit": ("loss_carried", "limit"),
    "qbi_rate": ("qbi_full", "rate"),
    "qbi_over": ("qbi_phase", "threshold"),
    "qbi_length": ("qbi_phase", "length"),
    "wages": ("wage_limit", "wages"),
    "wage_half": ("wage_limit", "half"),
    "wage_quarter": ("wage_limit", "quarter"),
    "property_part": ("wage_limit", "part"),
    "least": ("qbi_deduction", "least"),
    "least_income": ("qbi_deduction", "least_income"),
    "exemption": ("alternative_base", "exemption"),
    "lost": ("alternative_base", "lost"),
    "lost_over": ("alternative_base", "start"),
    "lower": ("tentative_tax", "lower"),
    "upper": ("tentative_tax", "upper"),
    "upper_over": ("tentative_tax", "above"),
}


def law(evaluation, at):
    """Read what the returns of both owners need: law by year, shares, other income, the reference's tax."""
    ledger, owners = evaluation["replace"], []
    for name, entry in evaluation.scenario.owners.items():
        filed, reference = (ledger.workings[f"federal return {name} {case}"] for case in ("as filed", "reference"))
        years = len(evaluation.time.tax)
        read = {
            key: np.broadcast_to(uses(filed[column])[used].per_row(), years) for key, (column, used) in READ.items()
        }
        instalments, one = ledger.workings[f"estimates {name} as filed"], {}
        for key, column, used in (
            ("high", "prior_share", "high"),
            ("prior_high", "prior_share", "share_high"),
            ("prior", "prior_share", "share"),
            ("current", "required", "share"),
            ("part", "each", "part"),
        ):
            one[key] = uses(instalments[column])[used].figure()
        owners.append(
            SimpleNamespace(
                share=float(entry.share),
                other=float(entry.other_income),
                last_tax=float(entry.last_tax),
                last_income=float(entry.last_agi),
                brackets=_steps(filed["ordinary_tax"]),
                gain_brackets=_steps(filed["gain_tax"]),
                reference_tax=reference["tax"].per_row(),
                reference_each=ledger.column(f"estimates {name} reference.each").per_row(),
                reference_state=ledger.column(f"state return {name} reference.tax").per_row(),
                by_year=[
                    SimpleNamespace(**dict(zip(read, row, strict=True)))
                    for row in np.array(list(read.values())).T.tolist()
                ],
                rows=SimpleNamespace(**{key: row[:, None] for key, row in read.items()}),
                **one,
            )
        )
    days = [np.array([at[d] for d in ledger.line(f"federal tax of Ada, {what}").dates]) for what in EVENTS]
    return SimpleNamespace(owners=owners, days=days, state=float(evaluation.scenario.shop.state.rate))


EVENTS = ("estimate 1", "estimate 2", "estimate 3", "estimate 4", "balance")


def _steps(column):
    """Return brackets by year as (threshold, rise of the rate): (brackets, years) each."""
    over, rate = (uses(column)[name].values[:, :, 0] for name in ("over", "rate"))
    rise = np.diff(rate, axis=0, prepend=0.0)
    years = len(column.axis)
    over, rise = (np.broadcast_to(a, (len(a), years)) for a in (over, rise))
    by_year = [list(zip(over[:, y].tolist(), rise[:, y].tolist(), strict=True)) for y in range(years)]
    return SimpleNamespace(by_year=by_year, rows=list(zip(over[:, :, None], rise[:, :, None], strict=True)))


# one trial, in plain Python numbers


def _due(income, steps):
    due = 0.0
    for over, rise in steps:
        if income <= over:
            break
        due += rise * (income - over)
    return due


def _one_owner(o, share, business, recapture, gain, state_income, property_held, state_rate):
    """Return federal tax, adjusted gross income and state tax of one owner by year."""
    tax, incomes, state = [], [], []
    losses, met, carried, qualified_loss, state_carried = [], 0.0, 0.0, 0.0, 0.0
    for year, law in enumerate(o.by_year):
        of_business, own_recapture, net = share * business[year], share * recapture[year], share * gain[year]
        out_of_reach = sum(losses[: max(year - REACH, 0)])
        met = max(met, out_of_reach)
        ordinary_gain = min(max(net, 0.0), max(sum(losses) - met, 0.0))
        met += ordinary_gain
        losses.append(max(-net, 0.0))
        capital = max(net, 0.0) - ordinary_gain
        counted = of_business + own_recapture + net
        excess = max(-counted - law.excess, 0.0)
        base = max(of_business, 0.0) * law.factor
        own_tax = law.social * min(base, law.wage_base) + law.medicare * base if base >= law.least_earned else 0.0
        half = own_tax * law.half
        extra = law.extra * max(base - law.extra_over, 0.0)
        income = o.other + counted + excess - half
        before = max(income - law.deduction, 0.0)
        used = min(carried, law.carry_limit * before)
        carried += max(-income, 0.0) + excess - used
        after = before - used
        qualified = qualified_loss + counted + excess - capital - half
        qualified_loss, qualified = min(qualified, 0.0), max(qualified, 0.0)
        full = qualified * law.qbi_rate
        phase = min(max((after - law.qbi_over) / law.qbi_length, 0.0), 1.0)
        limit = share * max(
            law.wages * law.wage_half, law.wages * law.wage_quarter + property_held[year] * law.property_part
        )
        qbi = min(full - phase * max(full - limit, 0.0), law.qbi_rate * max(after - capital, 0.0))
        qbi = max(qbi, law.least if qualified >= law.least_income else 0.0)
        taxable = max(after - qbi, 0.0)
        ordinary = max(taxable - capital, 0.0)
        gain_steps = o.gain_brackets.by_year[year]
        ordinary_tax = _due(ordinary, o.brackets.by_year[year])
        under = _due(ordinary, gain_steps)
        gain_tax = _due(taxable, gain_steps) - under
        alternative = max(after + min(max(income, 0.0), law.deduction) - qbi, 0.0)
        alternative -= max(law.exemption - law.lost * max(alternative - law.lost_over, 0.0), 0.0)
        alternative = max(alternative, 0.0)
        tentative = law.lower * max(alternative - capital, 0.0)
        tentative += (law.upper - law.lower) * max(alternative - capital - law.upper_over, 0.0)
        top_tax = _due(min(taxable, ordinary + alternative), gain_steps) - under
        more = max(tentative + top_tax - ordinary_tax - gain_tax, 0.0)
        tax.append(ordinary_tax + gain_tax + more + own_tax + extra)
        incomes.append(income)
        in_state = o.other + share * state_income[year] + excess
        state.append(state_rate * max(in_state - state_carried, 0.0))
        state_carried = max(state_carried - in_state, 0.0) + excess
    return tax, incomes, state


def notebook_tax(k: Known, c: Course, books, x):
    """Return what each day's payments of both owners differ from the reference, for one trial."""
    federal, state = books["federal"], books["state"]
    held = c.property
    if c.centre is not None:
        held = held + c.centre.held * (x["machines.centre.price"] + c.centre.capital)
    lists = [federal[name].tolist() for name in ("business", "recapture", "section 1231")]
    of_state = (state["business"] + state["recapture"] + state["section 1231"]).tolist()
    estimate, balance = 0.0, 0.0
    for o in k.law.owners:
        tax, incomes, state_tax = _one_owner(o, o.share, *lists, of_state, held.tolist(), k.law.state)
        each, last_tax, last_income = [], o.last_tax, o.last_income
        for now, income in zip(tax, incomes, strict=True):
            safe = o.prior_high if last_income > o.high else o.prior
            each.append(o.part * max(min(o.current * now, safe * last_tax), 0.0))
            last_tax, last_income = now, income
        estimate = estimate + np.array(each) - o.reference_each
        balance = balance + (np.array(tax) + np.array(state_tax) - o.reference_tax - o.reference_state)
    return _payments(k, c.opens, estimate, balance)


def _payments(k, opens, estimate, balance):
    paid = [(days, flags * estimate, False) for days, flags in zip(k.law.days[:4], opens, strict=True)]
    return [*paid, (k.law.days[4], balance - sum(amounts for _, amounts, _ in paid), False)]


# many trials, in plain numpy: (tax years, trials)


def _due_rows(income, steps):
    return sum(rise * np.maximum(income - over, 0.0) for over, rise in steps)


def _many_owner(o, share, federal, in_state, held, state_rate):
    law = o.rows
    of_business, net = share * federal["business"], share * federal["section 1231"]
    losses = np.cumsum(np.maximum(-net, 0.0), axis=0)
    capital, met = np.maximum(net, 0.0), 0.0
    if losses[-1].any():
        for year in range(len(net)):
            if year > REACH:
                met = np.maximum(met, losses[year - REACH - 1])
            if year:
                ordinary_gain = np.minimum(capital[year], np.maximum(losses[year - 1] - met, 0.0))
                met = met + ordinary_gain
                capital[year] -= ordinary_gain
    counted = of_business + share * federal["recapture"] + net
    excess = np.maximum(-counted - law.excess, 0.0)
    base = np.maximum(of_business, 0.0) * law.factor
    own_tax = np.where(
        base >= law.least_earned, law.social * np.minimum(base, law.wage_base) + law.medicare * base, 0.0
    )
    half = own_tax * law.half
    extra = law.extra * np.maximum(base - law.extra_over, 0.0)
    income = o.other + counted + excess - half
    after = np.maximum(income - law.deduction, 0.0)
    loss = np.maximum(-income, 0.0) + excess
    qualified = counted + excess - capital - half
    in_state = o.other + share * in_state + excess
    carried = qualified_loss = state_carried = 0.0
    for year in range(len(after)):
        used = np.minimum(carried, law.carry_limit[year] * after[year])
        carried = carried + loss[year] - used
        after[year] -= used
        whole = qualified_loss + qualified[year]
        qualified_loss = np.minimum(whole, 0.0)
        qualified[year] = np.maximum(whole, 0.0)
        left = in_state[year] - state_carried
        state_carried = np.maximum(-left, 0.0) + excess[year]
        in_state[year] = np.maximum(left, 0.0)
    full = qualified * law.qbi_rate
    phase = np.clip((after - law.qbi_over) / law.qbi_length, 0.0, 1.0)
    limit = share * np.maximum(law.wages * law.wage_half, law.wages * law.wage_quarter + held * law.property_part)
    qbi = np.minimum(full - phase * np.maximum(full - limit, 0.0), law.qbi_rate * np.maximum(after - capital, 0.0))
    qbi = np.maximum(qbi, np.where(qualified >= law.least_income, law.least, 0.0))
    taxable = np.maximum(after - qbi, 0.0)
    ordinary = np.maximum(taxable - capital, 0.0)
    steps = o.gain_brackets.rows
    ordinary_tax = _due_rows(ordinary, o.brackets.rows)
    under = _due_rows(ordinary, steps)
    gain_tax = _due_rows(taxable, steps) - under
    alternative = np.maximum(after + np.clip(income, 0.0, law.deduction) - qbi, 0.0)
    alternative -= np.maximum(law.exemption - law.lost * np.maximum(alternative - law.lost_over, 0.0), 0.0)
    alternative = np.maximum(alternative, 0.0)
    above = alternative - capital
    tentative = law.lower * np.maximum(above, 0.0) + (law.upper - law.lower) * np.maximum(above - law.upper_over, 0.0)
    top_tax = _due_rows(np.minimum(taxable, ordinary + alternative), steps) - under
    more = np.maximum(tentative + top_tax - ordinary_tax - gain_tax, 0.0)
    return ordinary_tax + gain_tax + more + own_tax + extra, income, state_rate * in_state


def plain_tax(k: Known, c: Course, books, x):
    """The same for many trials."""
    federal, state = books["federal"], books["state"]
    held = c.property[:, None]
    if c.centre is not None:
        held = held + c.centre.held[:, None] * (x["machines.centre.price"] + c.centre.capital)
    of_state = state["business"] + state["recapture"] + state["section 1231"]
    estimate, balance = 0.0, 0.0
    for o in k.law.owners:
        tax, income, state_tax = _many_owner(o, o.share, federal, of_state, held, k.law.state)
        before = np.empty_like(tax)
        before[0] = (o.prior_high if o.last_income > o.high else o.prior) * o.last_tax
        before[1:] = np.where(income[:-1] > o.high, o.prior_high, o.prior) * tax[:-1]
        each = o.part * np.maximum(np.minimum(o.current * tax, before), 0.0)
        estimate = estimate + each - o.reference_each[:, None]
        balance = balance + (tax + state_tax - (o.reference_tax + o.reference_state)[:, None])
    return _payments(k, c.opens[:, :, None], estimate, balance)
