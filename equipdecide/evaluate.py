"""The whole order, on one page: a scenario becomes one ledger per alternative.

plan -> shop -> money -> books -> returns -> payments -> cash and worth. Every step is a rule that posts columns; none
reads a later one. The run at the entered figures and the run of many trials are the same: inputs are vectors.
"""

from __future__ import annotations

import gc
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from difflib import get_close_matches
from itertools import chain
from operator import attrgetter
from pathlib import Path

import numpy as np

from equipdecide import calendar as cal
from equipdecide import parameters
from equipdecide.calendar import ONE, Axis, Date, FloatArray
from equipdecide.ledger import Column, Draft, Group, Ledger, Line, Origin, Shared, Working, seal, sum_of
from equipdecide.money.collateral import collateral
from equipdecide.money.guarantees import guarantees
from equipdecide.money.orders import orders
from equipdecide.money.service import service
from equipdecide.money.settlement import sales
from equipdecide.parameters import Law
from equipdecide.plan import Plan, Timeline, resolve, timeline
from equipdecide.scenario.models import Scenario
from equipdecide.scenario.reading import amounts
from equipdecide.shop.contribution import contribution, part_economics
from equipdecide.shop.hours import capacity
from equipdecide.shop.upkeep import elsewhere, spending, upkeep
from equipdecide.tax.law_by_year import LawByYear
from equipdecide.tax.regimes import KeptBooks, flat, keep_books, law_by_year, say, united_states

_values_of = attrgetter("values")

GROUPS: tuple[Group, ...] = ("operating", "investment", "payoff", "borrowing", "debt service", "tax", "between purses")
FINANCING = frozenset({"payoff", "borrowing", "debt service"})  # shown apart from the investment


@dataclass(frozen=True, eq=False, repr=False)
class Evaluation:
    """All alternatives of a scenario as ledgers, with the plans behind them."""

    scenario: Scenario
    time: Timeline
    plans: Mapping[str, Plan]
    ledgers: Mapping[str, Ledger]
    law: Law
    order: tuple[Column, ...]  # every column of every alternative once, in the order of making
    as_entered: bool = False  # all alternatives, at the figures of the scenario, by the shipped law

    def __repr__(self) -> str:
        return f"<Evaluation of {self.scenario.title!r}: {', '.join(self.ledgers)}>"

    def __getitem__(self, name: str) -> Ledger:
        return self.ledgers[name]

    def moved(self, values: Mapping[str, FloatArray | float]) -> Evaluation:
        """Return the evaluation with inputs moved: equal to ``evaluate(scenario, values)``, running only what they
        touch.

        `values` gives inputs by path [unit of the input], as for :func:`evaluate`; inputs not named stay as they are
        here. Findings are those of the figures evaluated first. Raises KeyError for a path that is no input of these
        ledgers.
        """
        known = {column.origin.ref for column in self.order if column.origin and column.origin.kind == "input"}
        hanging = {step.when for name in self.plans for step in self.scenario.alternatives[name] if step.when}
        if hanging.intersection(values):  # a doubt that decides a plan: all is resolved anew
            return evaluate(self.scenario, values, list(self.ledgers), self.law)
        if set(values) - known:
            raise KeyError(f"no figure here rests on {', '.join(sorted(set(values) - known))}")
        new: dict[int, Column] = {}
        for column in self.order:
            if column.run is None:
                if column.origin is not None and column.origin.kind == "input" and column.origin.ref in values:
                    new[id(column)] = column.moved(_vector(values[column.origin.ref]))
            elif not new.keys().isdisjoint(map(id, column.args)):
                args = tuple([new.get(id(arg), arg) for arg in column.args])
                new[id(column)] = column.moved(column.run(*map(_values_of, args)), args)
        workings: dict[int, Working] = {}
        ledgers = {name: _with_columns(ledger, new, workings) for name, ledger in self.ledgers.items()}
        order = tuple([new.get(id(column), column) for column in self.order])
        return replace(self, ledgers=ledgers, order=order, as_entered=False)


def _with_columns(ledger: Ledger, new: Mapping[int, Column], made: dict[int, Working]) -> Ledger:
    """Return a ledger with some columns exchanged; `made` keeps the workings that several ledgers share."""
    for working in ledger.workings.values():
        if id(working) not in made:
            columns = {name: new.get(id(column), column) for name, column in working.columns.items()}
            made[id(working)] = working if columns == working.columns else replace(working, columns=columns)
    lines = tuple(
        [replace(line, column=new[id(line.column)]) if id(line.column) in new else line for line in ledger.lines]
    )
    order = tuple([new.get(id(column), column) for column in ledger.order])
    return replace(
        ledger, workings={name: made[id(w)] for name, w in ledger.workings.items()}, lines=lines, order=order
    )


def evaluate(
    scenario: Scenario,
    values: Mapping[str, FloatArray | float] | None = None,
    only: Sequence[str] | None = None,
    law: Law | None = None,
    sale_alone: bool = False,
) -> Evaluation:
    """Evaluate the alternatives of a scenario (all, or `only` some).

    `values` overrides inputs by path [unit of the input], each a number or a vector of trials. A yes/no doubt on which
    a step hangs must be one number: it decides the plan. `law` replaces the shipped parameters. With
    `sale_alone` each return is also computed with the plan's first sale struck out: the tax on the sale alone. Raises
    KeyError for a path that is no amount of the scenario.
    """
    with _no_collecting():
        return _evaluate(scenario, values or {}, only, law, sale_alone)


@contextmanager
def _no_collecting() -> Iterator[None]:
    """Put the garbage collector off: a ledger is thousands of objects, all of them kept, and looking at them takes a
    tenth.

    Nor are they looked at right after: freezing and unfreezing hands them to the oldest generation as they are.
    """
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            if not gc.get_freeze_count():  # what a program has frozen for itself stays frozen
                gc.freeze()
                gc.unfreeze()
            gc.enable()


def _evaluate(
    scenario: Scenario,
    values: Mapping[str, FloatArray | float],
    only: Sequence[str] | None,
    law: Law | None,
    sale_alone: bool,
) -> Evaluation:
    if values and (unknown := sorted(set(values) - (known := set(amounts(scenario))))):
        near = [
            f"; nearest: {', '.join(found)}" if (found := get_close_matches(path, known)) else "" for path in unknown
        ]
        raise KeyError(
            "; ".join(f"no amount {path!r} in the scenario{hint}" for path, hint in zip(unknown, near, strict=True))
        )
    as_entered = not (values or only or law or sale_alone)
    law = law or parameters.load()
    time = timeline(scenario)
    shared = Shared({path: _vector(value) for path, value in values.items()})
    common = Draft("common", shared, True)
    for remark in scenario.source.remarks:
        common.find("how_it_was_read", remark, scenario.source.name, "warning")
    _discounting(common, scenario, time)
    part_economics(common, scenario)
    doubts = {path: float(vector[0, 0]) for path, vector in shared.values.items()}
    plans = {name: resolve(scenario, name, time, doubts) for name in only or scenario.alternatives}
    for plan in plans.values():
        _taken_as(common, plan)
    drafts = {name: Draft(name, shared) for name in plans}
    kept = {name: _before_returns(drafts[name], plan, law) for name, plan in plans.items()}
    first_year: dict[str, float] = {}
    if needs_reference(scenario):
        here = not values and "keep" in drafts
        first_year = _first_year(drafts["keep"], time) if here else keep_first_year(scenario, law)
    by_year = law_by_year(law, next(iter(plans.values())))
    for name, plan in plans.items():
        _returns(drafts[name], plan, by_year, first_year, kept[name], sale_alone)
        elsewhere(drafts[name], plan)
        _worth(drafts[name], plan)
    ledgers = {name: seal(draft) for name, draft in drafts.items()}
    order = tuple(chain(shared.order, *(draft.order for draft in drafts.values())))
    for working in [*shared.workings.values(), *(w for draft in drafts.values() for w in draft.workings.values())]:
        working.draft = None  # sealed; and no circle is left, so that ledgers go as soon as nobody holds them
    return Evaluation(scenario, time, plans, ledgers, law, order, as_entered)


def _taken_as(common: Draft, plan: Plan) -> None:
    """Say as what each yes/no doubt was taken on which a step of the plan hangs."""
    for step in plan.scenario.alternatives[plan.name]:
        if step.when is None:
            continue
        amount = plan.scenario.doubt(step.when)
        answer = "yes" if step in plan.steps else "no"
        name = step.when.removeprefix("events.").removeprefix("parts.").replace(".renews", " renews")
        chance = amount.chance if amount.chance is not None else amount.likely
        common.find(
            "doubt_taken",
            f"'{name}' is taken as {answer} here (chance of yes {chance:.0%}); `news` weighs both answers.",
            step.when,
        )


def _vector(value: FloatArray | float) -> FloatArray:
    return np.atleast_2d(np.asarray(value, dtype=float))


def _folder(scenario: Scenario) -> Path | None:
    return scenario.source.folder if scenario.source else None


def _before_returns(draft: Draft, plan: Plan, law: Law) -> KeptBooks:
    """The order of the rules up to the books; returns, payments and worth follow."""
    capacity(draft, plan, _folder(plan.scenario))
    contribution(draft, plan)
    upkeep(draft, plan)
    spending(draft, plan)
    sales(draft, plan)
    orders(draft, plan)
    service(draft, plan)
    return keep_books(draft, plan, law)


def _returns(
    draft: Draft, plan: Plan, by_year: LawByYear, first_year: dict[str, float], books: KeptBooks, sale_alone: bool
) -> None:
    if plan.time.flat:
        flat(draft, plan, books, sale_alone)
    else:
        united_states(draft, plan, by_year, first_year, books, sale_alone)
        say(draft, plan, by_year.law, books)


def needs_reference(scenario: Scenario) -> bool:
    """Tell whether the returns start from the business's income as things are."""
    return scenario.regime == "us" and scenario.shop.as_things_are is not None


def keep_first_year(scenario: Scenario, law: Law) -> dict[str, float]:
    """Return Keep's first twelve months of business income at the entered figures [currency], whole and before
    depreciation.

    Depreciation is that of the tax year of the decision. This is what the reference takes out of income as things are.
    """
    time = timeline(scenario)
    shared = Shared({})
    part_economics(Draft("common", shared, True), scenario)
    draft = Draft("keep", shared)
    _before_returns(draft, resolve(scenario, "keep", time), law)
    return _first_year(draft, time)


def _first_year(draft: Draft, time: Timeline) -> dict[str, float]:
    last = Date(time.start.year + 1, time.start.month, min(time.start.day, 28))
    before = taken = 0.0
    for item in draft.income:
        if item.character != "business" or item.book not in ("", "federal"):
            continue
        amounts, axis = item.column.per_row(), item.column.axis
        if item.book:  # depreciation, by tax year
            taken += item.sign * sum(
                float(a) for a, day in zip(amounts, axis.ends, strict=True) if day.year == time.start.year
            )
        else:
            before += item.sign * sum(
                float(a) for a, day in zip(amounts, axis.starts, strict=True) if time.start <= day < last
            )
    return {"whole": before + taken, "before depreciation": before}


def _discounting(common: Draft, scenario: Scenario, time: Timeline) -> None:
    w = common.working("discounting", time.cash, "what a later dollar is worth today", "worth")
    w.formula(
        "log_rate",
        "log(1 + rate)",
        "1",
        "logarithm of one and the study's rate",
        ONE,
        rate=common.input(scenario.study.rate),
    )
    w.given(
        "time",
        list(time.cash_times),
        "year",
        "time from the decision to the end of the period",
        Origin("calendar", "days over 365"),
        time.cash,
    )
    w.formula("factor", "exp(0 - time * log_rate)", "1", "present worth of one at the end of the period")


def _worth(draft: Draft, plan: Plan) -> None:
    """Post cash by period and purse, the present worth by group, annual worth, the lowest cash and own money."""
    time, scenario = plan.time, plan.scenario
    discounting = draft["discounting"]
    worth = draft.working("worth", ONE, "present worth, by what the money is for", "worth")
    cash = draft.working("cash", time.cash, "cash by period and purse", "worth")
    by_group: dict[str, list[Column]] = {group: [] for group in GROUPS}
    flows: dict[tuple[str, Group], list[tuple[str, Column]]] = {}
    stretches: dict[tuple[str, Group], list[Line]] = {}
    days: dict[tuple[str, Group, int, tuple[Date, ...]], list[Line]] = {}
    for line in draft.lines:
        if line.dates is None:
            stretches.setdefault((line.purse, line.group), []).append(line)
        else:
            days.setdefault((line.purse, line.group, id(line.column.axis), line.dates), []).append(line)
    for (purse, group), lines in stretches.items():
        says = f"{group} of {purse}"
        whole = lines[0].column
        if len(lines) > 1:
            w = draft.working(f"{says} by stretch", plan.spans, says, "worth")
            whole = sum_of(w, "sum", [line.column for line in lines], "USD", says)
        spread = cash.formula(f"{purse}: {group}, spread", "spread(x)", "USD", f"{says}, by period", x=whole)
        flows.setdefault((purse, group), []).append(("", spread))
        by_group[group].append(
            worth.formula(
                f"{says}, spread",
                "weighted(x, factor)",
                "USD",
                f"present worth of {says}",
                x=spread,
                factor=discounting["factor"],
            )
        )
    for k, ((purse, group, _, dates), lines) in enumerate(days.items()):
        says = f"{group} of {purse} ({', '.join(line.name for line in lines[:3])})"
        w = draft.working(
            f"{group} of {purse} on days {k}", _standing(draft, dates, lines[0].column.axis), says, "worth"
        )
        moved = [w.on_days(line.name, line.column, w.axis) for line in lines]
        whole = sum_of(w, "sum", moved, "USD", says) if len(moved) > 1 else moved[0]
        if min(dates) < time.start:
            w.given(
                "counted",
                [0.0 if day < time.start else 1.0 for day in dates],
                "1",
                "from the decision on; what is past is sunk",
                Origin("calendar", str(time.start)),
            )
            whole = w.formula("open", "amount * counted", "USD", "amounts still open", amount=whole)
        by_group[group].append(
            worth.formula(
                f"{group} of {purse} {k}",
                "weighted(x, factor)",
                "USD",
                f"present worth of {says}",
                x=whole,
                factor=_factor(draft, time, w.axis),
            )
        )
        flows.setdefault((purse, group), []).append(("gather", whole))
    by_purse: dict[str, list[Column]] = {}
    per_group_cash: dict[str, list[Column]] = {group: [] for group in GROUPS}
    for (purse, group), parts in flows.items():
        text = " + ".join(f"{how}(x{k})" if how else f"x{k}" for k, (how, _) in enumerate(parts))
        uses: dict[str, Column | float] = {f"x{k}": column for k, (_, column) in enumerate(parts)}
        flow = cash.formula(f"{purse}: {group}", text, "USD", f"{group} of {purse}, by period", **uses)
        by_purse.setdefault(purse, []).append(flow)
        per_group_cash[group].append(flow)
    for group in GROUPS:
        sum_of(worth, group, by_group[group], "USD", f"present worth of {group}")
        sum_of(cash, f"all {group}", per_group_cash[group], "USD", f"{group} of all purses")
    for purse, columns in by_purse.items():
        sum_of(cash, f"{purse}", columns, "USD", f"cash of {purse}")
    if "shop" not in cash:
        sum_of(cash, "shop", [], "USD", "cash of shop")
    sum_of(cash, "all purses", [cash[purse] for purse in by_purse], "USD", "cash of all purses together")
    sum_of(worth, "npv", [worth[group] for group in GROUPS], "USD", "present worth of all purses together")
    financing = [group for group in GROUPS if group in FINANCING]
    sum_of(
        worth, "npv_financing", [worth[group] for group in financing], "USD", "of it, loans taken, paid and paid off"
    )
    sum_of(
        cash, "all financing", [cash[f"all {group}"] for group in financing], "USD", "loans taken, paid and paid off"
    )
    worth.formula(
        "annual_worth",
        f"npv * where(rate > 0.000001, rate / (1 - (1 + rate) ** (0 - {scenario.study.years})), 1 / "
        f"{scenario.study.years})",
        "USD/year",
        "the level yearly amount of the same present worth",
        rate=draft.input(scenario.study.rate),
    )
    _cash_test(draft, plan)
    _own_money(draft, plan)
    _coverage(draft, plan)
    guarantees(draft, plan)
    collateral(draft, plan)


def _standing(draft: Draft, dates: tuple[Date, ...], axis: Axis) -> Axis:
    """Return an axis that stands on the days of payment: the same object for the same days."""
    known = draft.shared.day_axes
    if dates not in known:
        known[dates] = axis if dates == axis.ends == axis.starts else cal.on_days("day", axis.labels, dates)
    return known[dates]


def _factor(draft: Draft, time: Timeline, axis: Axis) -> Column:
    """Return, once for all alternatives, the present worth of one on each day of an axis."""
    if axis not in draft.shared.factors:
        name = f"discounting on {', '.join(day.isoformat() for day in axis.ends)}"
        w = draft.common.working(name, axis, "what a dollar on these days is worth at the decision", "worth")
        w.given(
            "time",
            [time.years_to(day) for day in axis.ends],
            "year",
            "time from the decision",
            Origin("calendar", "days over 365"),
            axis,
        )
        draft.shared.factors[axis] = w.formula(
            "factor", "exp(0 - time * log_rate)", "1", "present worth of one", log_rate=draft["discounting"]["log_rate"]
        )
    return draft.shared.factors[axis]


def _cash_test(draft: Draft, plan: Plan) -> None:
    shop = plan.scenario.shop
    if shop.cash is None:
        return
    w = draft.working("cash test", plan.time.cash, "cash of the shop against its floor", "cash test")
    inside = [1.0 if day.replace(day=1) <= plan.time.end else 0.0 for day in plan.time.cash.ends]
    w.given("inside", inside, "1", "within the study", Origin("calendar", str(plan.time.end)))
    w.formula("flow", "inside * shop_cash", "USD", "cash of the shop", shop_cash=draft["cash"]["shop"])
    w.formula(
        "level",
        "opening + running(flow)",
        "USD",
        "cash in the bank at the end of the period",
        opening=draft.input(shop.cash),
    )
    w.formula("lowest", "smallest(level)", "USD", "lowest cash", ONE)
    if shop.cash_floor is not None:
        w.formula(
            "margin", "lowest - floor", "USD", "lowest cash less the floor", ONE, floor=draft.input(shop.cash_floor)
        )


def _own_money(draft: Draft, plan: Plan) -> None:
    """Own money: the deepest the purchase itself goes, net of loans and sale money, up to the first good part."""
    w = draft.working("own money", plan.time.cash, "money of one's own before the first good part", "own money")
    until = plan.first_good_part
    flags = [1.0 if first <= until else 0.0 for first in plan.time.cash.starts]
    w.given("before", flags, "1", f"up to {until}", Origin("choice", f"steps of {plan.name}"))
    cash = draft["cash"]
    w.formula(
        "flow",
        "before * (investment + payoff + borrowing)",
        "USD",
        "purchase, sale, payoff and loans",
        investment=cash["all investment"],
        payoff=cash["all payoff"],
        borrowing=cash["all borrowing"],
    )
    w.formula("so_far", "running(flow)", "USD", "the same, added up")
    w.formula("needed", "max(0 - smallest(so_far), 0)", "USD", "own money needed before the first good part", ONE)


def _coverage(draft: Draft, plan: Plan) -> None:
    """Coverage: operating cash of a full calendar year before tax and drawings, over the year's loan payments."""
    years = [(first, last) for first, last in zip(plan.time.tax.starts, plan.time.tax.ends, strict=True)]
    full = [1.0 if first > plan.time.start and last < plan.time.end else 0.0 for first, last in years]
    if plan.time.yearly or not any(full):
        return
    w = draft.working("coverage", plan.time.tax, "operating cash over loan payments, by full calendar year", "coverage")
    w.given("full", full, "1", "a full year of the study", Origin("calendar", "years"))
    w.formula(
        "available",
        "gather(operating)",
        "USD",
        "operating cash before tax and drawings",
        operating=draft["cash"]["all operating"],
    )
    w.formula(
        "service", "0 - gather(service_paid)", "USD", "loan payments", service_paid=draft["cash"]["all debt service"]
    )
    w.formula(
        "coverage",
        "where(full * service > 0.005, available / max(service, 0.005), 99)",
        "1",
        "coverage; 99 where nothing is owed",
    )
    w.formula("worst", "smallest(coverage)", "1", "coverage in the worst year", ONE)
