"""Depreciation in the shop's own books, for statements: straight line, double declining, years' digits, spindle hours.

No tax follows from it; tax has methods of its own. The cost of a machine with its items is spread over years of use,
each shared out over the calendar years by days; by spindle hours, over the hours run. What is left is the book value,
and on a sale the own books' gain differs from the gain of the tax books. Methods of standard texts (see
``equipdecide.book_methods`` for the same on plain figures). Improvements fitted later are left out.
"""

from __future__ import annotations

from collections.abc import Sequence

from equipdecide import calendar as cal
from equipdecide.calendar import ONE, Date
from equipdecide.ledger import Column, Draft, Origin, Working, sum_of
from equipdecide.plan import Plan, Possession
from equipdecide.scenario.models import OwnBooks
from equipdecide.shop.hours import length_in_years


def own_books(draft: Draft, plan: Plan) -> None:
    """Post working ``own book of <machine>`` for each machine that states how its own books depreciate it.

    Columns [currency]: ``cost, salvage, depreciation, book_value`` by tax year, and ``gain`` where it is sold.
    """
    for machine in {item.machine: None for item in plan.possessions}:
        books = plan.scenario.machines[machine].own_books
        items = [
            item
            for item in plan.possessions
            if item.machine == machine
            and (item.asset is None or not item.asset.expensed)
            and (item.purchase is None or item.purchase.name == machine)
        ]
        if books is not None and items:
            _post(draft, plan, machine, books, items)


def _post(draft: Draft, plan: Plan, machine: str, books: OwnBooks, items: Sequence[Possession]) -> None:
    start, until = min(item.in_service for item in items), items[0].disposed
    axis = plan.time.tax
    w = draft.working(f"own book of {machine}", axis, f"the shop's own book of {machine}: {books.method}", "own books")
    costs = [
        draft.input(item.asset.cost) if item.asset is not None else draft[f"purchase {machine}"]["basis"]
        for item in items
    ]
    sum_of(w, "cost", costs, "USD", "cost of the machine with its items", ONE)
    w.formula(
        "salvage",
        "entered",
        "USD",
        "salvage value",
        ONE,
        entered=draft.input(books.salvage) if books.salvage is not None else 0.0,
    )
    if books.method == "units of production":
        by_end, before = _by_hours(draft, plan, w, machine, books)
    else:
        by_end, before = _by_years(w, books, start, until)
    w.formula(
        "depreciation",
        "cents(by_end - prev(by_end, before))",
        "USD",
        "depreciation of the year in the own books",
        by_end=by_end,
        before=before,
    )
    flags = [1.0 if start <= end < until else 0.0 for end in axis.ends]
    w.given("held", flags, "1", "held at the end of the year", Origin("calendar", machine))
    w.formula(
        "book_value",
        "held * (cost - by_end)",
        "USD",
        "book value at the end of the year in the own books",
        by_end=by_end,
    )
    if f"settlement {machine}" in draft:
        w.formula(
            "total_taken",
            "pick(by_end, last)",
            "USD",
            "depreciation up to the sale",
            ONE,
            by_end=by_end,
            last=w.given(
                "row_of_sale", float(_row(plan, until)), "1", f"year of {until}", Origin("calendar", str(until)), ONE
            ),
        )
        w.formula(
            "gain",
            "realized - (cost - total_taken)",
            "USD",
            "gain on the sale in the own books",
            ONE,
            realized=draft[f"settlement {machine}"]["amount_realized"],
        )


def _row(plan: Plan, day: Date) -> int:
    """Return the row of the tax year (or period) that holds a day; the last for a later one."""
    ends = plan.time.tax.ends
    return next((k for k, end in enumerate(ends) if day <= end), len(ends) - 1)


def _age(start: Date, day: Date, life: int) -> tuple[int, float]:
    """Return the full years of use before a day, at most `life`, and the part of the next."""
    if day < start:
        return 0, 0.0
    whole = day.year - start.year - (cal.add_years(start, day.year - start.year) > day)
    last, then = cal.add_years(start, whole), cal.add_years(start, whole + 1)
    return (life, 0.0) if whole >= life else (whole, (day - last).days / (then - last).days)


def _by_years(w: Working, books: OwnBooks, start: Date, until: Date) -> tuple[Column, Column]:
    """Post depreciation by year of use and, at each year's end, what is taken so far; returns it
    and what was before.
    """
    life = books.life or 1
    ages = cal.listed("year of use", [str(k + 1) for k in range(life + 1)])
    left = [float(life - k) for k in range(life)]
    w.given("years_left", [*left, 0.0], "year", "years of the life left", Origin("calendar", f"{life} years"), ages)
    if books.method == "declining balance":
        step = f"max(prev(left, cost) * 2 / {life}, (prev(left, cost) - salvage) / max(years_left, 1))"
        w.formula(
            "left",
            f"where(years_left > 0, min(max(prev(left, cost) - {step}, salvage), prev(left, cost)), prev(left, cost))",
            "USD",
            "book value at the end of the year of use: double declining, then straight line",
            ages,
        )
        w.formula("by_use", "prev(left, cost) - left", "USD", "depreciation by year of use", ages)
    elif books.method == "sum of years digits":
        digits = life * (life + 1) // 2
        says = "depreciation by year of use: years left over the sum of the years' digits"
        w.formula("by_use", f"(cost - salvage) * years_left / {digits}", "USD", says, ages)
    else:
        says = "depreciation by year of use: in equal parts"
        w.formula("by_use", f"where(years_left > 0, (cost - salvage) / {life}, 0)", "USD", says, ages)
    w.formula("before_age", "running(by_use) - by_use", "USD", "depreciation before the year of use", ages)
    places = [_age(start, min(cal.add_days(end, 1), until), life) for end in w.axis.ends]
    origin = Origin("calendar", f"in service {start}")
    w.given("whole_years", [float(whole) for whole, _ in places], "year", "full years of use", origin)
    w.given("part_year", [part for _, part in places], "year", "part of the next", origin)
    by_end = w.formula(
        "by_end",
        "pick(before_age, whole_years) + part_year * pick(by_use, whole_years)",
        "USD",
        "depreciation so far at the end of the year",
    )
    whole, part = _age(start, w.axis.starts[0], life)
    w.given("whole_before", float(whole), "year", "full years of use before", origin, ONE)
    w.given("part_before", part, "year", "part of the next", origin, ONE)
    before = w.formula(
        "before",
        "pick(before_age, whole_before) + part_before * pick(by_use, whole_before)",
        "USD",
        "depreciation before the first year",
        ONE,
    )
    return by_end, before


def _by_hours(draft: Draft, plan: Plan, w: Working, machine: str, books: OwnBooks) -> tuple[Column, Column]:
    """Post spindle hours run by tax year and the depreciation that follows; returns what is so far,
    and what was before.
    """
    assert books.spindle_hours is not None  # the checks of a scenario ask for it
    spans, at_work = plan.spans, [plan.at_work(day) for day in plan.spans.starts]
    w.given("years", length_in_years(plan), "year", "length of the stretch", Origin("calendar", "days"), spans)
    run = []
    for k, setup in enumerate(plan.working):
        flags = [1.0 if found is setup else 0.0 for found in at_work]
        if setup.machine != machine or not any(flags):
            continue
        works = w.given(
            f"at_work_{k}", flags, "1", f"{setup.name} does the work", Origin("choice", f"steps of {plan.name}"), spans
        )
        run.append(
            w.formula(
                f"run_{k}",
                "works * spindle_hours * years",
                "h",
                f"spindle hours of {setup.name}",
                spans,
                works=works,
                spindle_hours=draft[f"hours of {setup.name}"]["spindle_hours"],
            )
        )
    by_year = [w.formula(f"year_{k}", "gather(x)", "h", "the same by year", x=column) for k, column in enumerate(run)]
    sum_of(w, "hours", by_year, "h", "spindle hours of the year")
    before = draft.input(books.spindle_hours_so_far) if books.spindle_hours_so_far is not None else 0.0
    good_for = draft.input(books.spindle_hours)
    w.formula(
        "an_hour",
        "(cost - salvage) / max(good_for, 1)",
        "USD/h",
        "depreciation for a spindle hour",
        ONE,
        good_for=good_for,
    )
    by_end = w.formula(
        "by_end",
        "an_hour * min(run_before + running(hours), good_for)",
        "USD",
        "depreciation so far at the end of the year",
        run_before=before,
        good_for=good_for,
    )
    return by_end, w.formula(
        "before",
        "an_hour * min(run_before, good_for)",
        "USD",
        "depreciation before the decision",
        ONE,
        run_before=before,
        good_for=good_for,
    )
