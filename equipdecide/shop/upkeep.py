"""Upkeep with growth and warranty years, other yearly costs and earnings, and money the steps spend or earn."""

from __future__ import annotations

from collections.abc import Sequence

from equipdecide import calendar as cal
from equipdecide.calendar import Axis, Date
from equipdecide.ledger import Column, Draft, Origin, Working, sum_of
from equipdecide.plan import Plan, Setup
from equipdecide.scenario.amounts import Amount
from equipdecide.scenario.models import Spend
from equipdecide.shop.bills import upkeep_of_bills
from equipdecide.shop.crashes import crashes


def whole_years(first: Date, spans: Axis) -> list[int]:
    """Return how many whole years have passed from `first` at the start of each stretch; never below 0."""
    found = []
    for day in spans.starts:
        k = day.year - first.year - (1 if (day.month, day.day) < (first.month, first.day) else 0)
        found.append(max(0, k))
    return found


def study_years(plan: Plan, first: Date) -> list[int]:
    """Return the year of use (0 is the first) in which each stretch lies, for something that begins on `first`."""
    if plan.time.yearly:  # what begins on a period's last day is first used in the next period
        start = sum(day <= first for day in plan.spans.ends)
        return [max(0, row - start) for row in range(len(plan.spans))]
    return whole_years(first, plan.spans)


def _held(plan: Plan, setup: Setup, draft: Draft, w: Working, k: int) -> Column:
    flags = [1.0 if setup.first <= day <= setup.last else 0.0 for day in plan.spans.starts]
    if plan.time.yearly:  # bought on a period's last day: in place from the next on; sold on it: to the end of this one
        until = cal.add_days(setup.last, 1)
        flags = [1.0 if setup.first < day <= until else 0.0 for day in plan.spans.ends]
    return w.given(
        f"held_{k}", flags, "1", f"{setup.name} is in place", Origin("choice", f"steps of {plan.name}"), plan.spans
    )


def upkeep(draft: Draft, plan: Plan) -> None:
    """Post the lines ``upkeep``, ``running costs`` and ``earnings`` of the shop, all deductible or taxable in full."""
    spans = plan.spans
    years = draft["capacity"]["years"]
    w = draft.working("upkeep", spans, "what the machines cost to run, stretch by stretch", "upkeep")
    repairs, costs, earnings = [], [], []
    for k, setup in enumerate(plan.setups):
        if setup.last < setup.first:
            continue
        held = _held(plan, setup, draft, w, k)
        if setup.upkeep is not None:
            entry = setup.upkeep
            age = study_years(plan, setup.growth_from)
            w.given(
                f"year_{k}",
                age,
                "year",
                f"full years since {setup.growth_from}",
                Origin("calendar", "anniversaries"),
                spans,
            )
            if entry.first_year is not None and entry.growth is not None:
                first, growth = draft.input(entry.first_year), draft.input(entry.growth)
            else:  # the checks of a scenario ask for these two, or for bills
                billed = upkeep_of_bills(draft, plan, setup)
                first, growth = billed["first_year"], billed["growth"]
                if entry.of_bills is not None:
                    first = w.formula(
                        f"expected_{k}",
                        "first * factor",
                        "USD/year",
                        f"upkeep of {setup.name} in the first year, as expected over its bills",
                        first=first,
                        factor=draft.input(entry.of_bills),
                    )
            uses: dict[str, Column | float] = {
                "held": held,
                "first": first,
                "growth": growth,
                "year": w[f"year_{k}"],
                "years": years,
            }
            text = "held * first * (1 + growth) ** year * years"
            if entry.warranty_years and entry.warranty_share is not None:
                text += f" * where(year < {entry.warranty_years}, share, 1)"
                uses["share"] = draft.input(entry.warranty_share)
            repairs.append(w.formula(f"upkeep_{k}", text, "USD", f"repairs and service of {setup.name}", None, **uses))
        if (expected := crashes(draft, setup)) is not None:
            repairs.append(
                w.formula(
                    f"crashes_{k}",
                    "held * a_year * years",
                    "USD",
                    f"repairs after crashes of {setup.name}, on average",
                    held=held,
                    a_year=expected["cost_a_year"],
                    years=years,
                )
            )
        costs += _yearly(draft, plan, w, setup, held, years, "costs", k)
        earnings += _yearly(draft, plan, w, setup, held, years, "earnings", k)
        hours = f"hours of {setup.name}"
        if hours in draft and "night_costs" in draft[hours]:
            costs.append(
                w.formula(
                    f"nights_{k}",
                    "held * a_year * years",
                    "USD",
                    f"nights on {setup.name}",
                    held=held,
                    a_year=draft[hours]["night_costs"],
                    years=years,
                )
            )
        if setup.source is setup.base:
            for which, store in (("costs", costs), ("earnings", earnings)):
                listed = getattr(setup.base, f"{which}_by_year")
                if listed:
                    store.append(_by_year(draft, plan, w, setup, held, which, listed, k))
    for name, columns, sign, label in (
        ("upkeep", repairs, -1, "repairs and service"),
        ("running costs", costs, -1, "other costs of having the machines"),
        ("earnings", earnings, 1, "earnings not modelled by the hour"),
    ):
        if columns:
            total = sum_of(w, name.replace(" ", "_"), columns, "USD", label)
            paid = (
                total
                if sign > 0
                else w.formula(f"{name.replace(' ', '_')}_paid", "0 - cost", "USD", f"{label}, as cash", cost=total)
            )
            draft.line(name, "shop", paid, "operating")
            draft.taxed(name, total, sign)


def _yearly(
    draft: Draft, plan: Plan, w: Working, setup: Setup, held: Column, years: Column, which: str, k: int
) -> list[Column]:
    entries = dict(getattr(setup.base, which))
    if setup.source is not setup.base:
        entries |= getattr(setup.source.changes, which)  # type: ignore[union-attr]
    return [
        w.formula(
            f"{which}_{k}: {name}",
            "held * a_year * years",
            "USD",
            f"{name} of {setup.name}",
            held=held,
            a_year=draft.input(amount),
            years=years,
        )
        for name, amount in entries.items()
    ]


def _by_year(
    draft: Draft,
    plan: Plan,
    w: Working,
    setup: Setup,
    held: Column,
    which: str,
    listed: Sequence[Amount],
    k: int,
) -> Column:
    age = study_years(plan, setup.first)
    terms: list[str] = []
    uses: dict[str, Column | float] = {}
    for year, amount in enumerate(listed):
        flags = [1.0 if found == year else 0.0 for found in age]
        if any(flags):
            terms.append(f"is_{year} * amount_{year}")
            uses[f"is_{year}"] = w.given(
                f"{which}_{k}_year_{year + 1}", flags, "1", f"year {year + 1}", Origin("calendar", "years"), plan.spans
            )
            uses[f"amount_{year}"] = draft.input(amount)
    uses |= {"held": held, "years": draft["capacity"]["years"]}
    return w.formula(
        f"{which}_by_year_{k}",
        f"held * years * ({' + '.join(terms)})",
        "USD",
        f"{which} of {setup.name}, year by year",
        None,
        **uses,
    )


def spending(draft: Draft, plan: Plan) -> None:
    """Post what the ``spend`` and ``earn`` steps of the alternative say; deductible or taxable
    unless a step says not.
    """
    years = draft["capacity"]["years"]
    for k, step in plan.spending:
        sign = 1 if step.do == "earn" else -1
        name = f"{step.what}"
        if step.once is not None:
            w = draft.working(f"step {k}: {name}", cal.dated(step.on), name, "spending")
            amount = w.formula(
                "amount", "once * quantity", "USD", name, once=draft.input(step.once), quantity=_quantity(draft, step)
            )
            cash = w.formula("cash", f"{sign} * amount", "USD", f"{name}, as cash")
            draft.line(name, "shop", cash, "operating" if step.taxed else "investment", [step.on])
            if step.taxed:
                draft.taxed(name, amount, sign)
        if step.a_year is not None:
            w = draft.working(f"step {k}: {name}, yearly", plan.spans, name, "spending")
            until = step.until or plan.time.end
            if plan.time.yearly:  # what begins on a period's last day is first felt in the next
                flags = [1.0 if step.on < day <= until else 0.0 for day in plan.spans.ends]
            else:
                flags = [1.0 if step.on <= day <= until else 0.0 for day in plan.spans.starts]
            w.given("runs", flags, "1", f"from {step.on}", Origin("choice", f"steps of {plan.name}"))
            w.given(
                "year",
                study_years(plan, step.on),
                "year",
                "full years since it began",
                Origin("calendar", "anniversaries"),
            )
            amount = w.formula(
                "amount",
                "runs * a_year * quantity * (1 + growth) ** year * years",
                "USD",
                name,
                a_year=draft.input(step.a_year),
                quantity=_quantity(draft, step),
                growth=draft.input(step.growth) if step.growth else 0.0,
                years=years,
            )
            cash = w.formula("cash", f"{sign} * amount", "USD", f"{name}, as cash")
            draft.line(name, "shop", cash, "operating" if step.taxed else "investment")
            if step.taxed:
                draft.taxed(name, amount, sign)


def _quantity(draft: Draft, step: Spend) -> Column | float:
    return draft.input(step.quantity) if step.quantity else 1.0


def elsewhere(draft: Draft, plan: Plan) -> None:
    """Post what no course changes: contribution of other work, overhead, other debts, money drawn by the owners."""
    shop = plan.scenario.shop
    years = draft["capacity"]["years"]
    w = draft.working("elsewhere", plan.spans, "what no course changes", "elsewhere")
    for name, amount, sign in (
        ("contribution of other work", shop.contribution_elsewhere, 1),
        ("overhead", shop.overhead, -1),
        ("other debts", shop.other_debt_payments, -1),
    ):
        if amount is not None:
            column = w.formula(
                name.replace(" ", "_"), f"{sign} * a_year * years", "USD", name, a_year=draft.input(amount), years=years
            )
            draft.line(name, "shop", column, "operating" if name != "other debts" else "debt service")
    if shop.distributions is not None and plan.scenario.owners:
        drawn = w.formula(
            "drawn",
            "a_year * years",
            "USD",
            "money the owners draw",
            a_year=draft.input(shop.distributions),
            years=years,
        )
        out = w.formula("drawn_out", "0 - drawn", "USD", "money the owners draw, out of the shop")
        draft.line("distributions", "shop", out, "between purses")
        for owner, entry in plan.scenario.owners.items():
            share = w.formula(
                f"drawn: {owner}",
                "drawn * share",
                "USD",
                f"drawn by {owner}",
                drawn=drawn,
                share=draft.input(entry.share),
            )
            draft.line("distributions", owner, share, "between purses")
