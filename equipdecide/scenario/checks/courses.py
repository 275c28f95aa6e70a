"""Courses of action can happen, and can be judged."""

from __future__ import annotations

import datetime as dt
from typing import Any

from equipdecide.scenario.checks.checker import Checker
from equipdecide.scenario.checks.looking import FACTOR, blocks_of, day_of, figure_of, names_of
from equipdecide.scenario.faults import did_you_mean
from equipdecide.scenario.tree import Table, Text


def alternatives_can_happen(c: Checker) -> None:
    """Keep is there and empty; what is sold is owned, what is bought has a price; dates in order."""
    alternatives = c.tree.get("alternatives")
    if isinstance(alternatives, Table):
        if "keep" not in alternatives:
            c.report(
                c.tree,
                "the alternative `keep` is missing",
                "Add `keep: []`: everything is compared with it",
                "alternatives",
            )
        elif isinstance(alternatives["keep"], list) and alternatives["keep"]:
            c.report(alternatives, "keeping has no steps", "Write keep: [], and move the steps to another name", "keep")
        for name, steps in alternatives.items():
            if isinstance(steps, list):
                _one_alternative(c, [step for step in steps if isinstance(step, Table)], name)


def _one_alternative(c: Checker, steps: list[Table], name: str) -> None:
    bought: dict[str, tuple[dt.date | None, Table]] = {}
    sold: set[tuple[str, str]] = set()
    for step in sorted(steps, key=lambda step: step.get("do") != "buy"):
        do, on, machine = step.get("do"), day_of(step.get("on")), str(step.get("machine", ""))
        _dates_in_order(c, step, on)
        block = c.tree["machines"].get(machine) if isinstance(c.tree.get("machines"), Table) else None
        if do == "buy" and isinstance(block, Table):
            if machine in bought:
                c.report(step, f"'{machine}' is bought twice in '{name}'", "Keep one of the two steps", "machine")
            bought[machine] = (on, step)
            if block.get("assets") or machine in c.in_question:
                mend = "Buy another machine, or leave out its `assets:`"
                c.report(step, f"'{machine}' is owned already", mend, "machine")
            elif "price" not in block:
                c.report(block, f"'{machine}' is bought in '{name}' and has no price", "Add `price:`", "price")
        elif do == "sell" and isinstance(block, Table):
            key = (machine, str(step.get("when", "")))
            if key in sold:
                c.report(step, f"'{machine}' is sold twice in '{name}'", "Keep one of the two steps", "machine")
            sold.add(key)
            owned = bool(block.get("assets") or block.get("loans") or machine in c.in_question)
            if machine in bought:
                first = bought[machine][0]
                if on and first and on < first:
                    mend = f"Sell it on {first} or later"
                    c.report(step, f"'{machine}' is sold before it is bought on {first}", mend, "on")
            elif not owned:
                mend = "Give its `assets:`, or buy it in an earlier step"
                c.report(step, f"'{machine}' is sold but not owned", mend, "machine")
            for asset, item in blocks_of(block, "assets"):
                used = day_of(item.get("in_service"))
                if on and used and on < used:
                    mend = f"Check this day and `in_service:` of '{asset}' ({used})"
                    c.report(step, f"'{machine}' is sold before '{asset}' is in service", mend, "on")
            offer = c.tree["offers"].get(str(step.get("by"))) if isinstance(c.tree.get("offers"), Table) else None
            traded = str(offer.get("against")) if isinstance(offer, Table) and "against" in offer else ""
            if traded and traded not in bought:
                mend = f"Buy '{traded}' in this course, or sell by another offer"
                what = f"'{machine}' is traded in against '{traded}', which '{name}' does not buy"
                c.report(step, what, mend, "by")
        elif do in ("spend", "earn") and ("once" in step) == ("a_year" in step):
            what = "both `once` and `a_year` are given" if "once" in step else "an amount is missing"
            c.report(step, what, "Give `once:` or `a_year:`", "once")


def _dates_in_order(c: Checker, step: Table, on: dt.date | None) -> None:
    ordered, shipped, until = (day_of(step.get(key)) for key in ("ordered", "shipped", "until"))
    if ordered and shipped and ordered > shipped:
        c.report(step, f"it is shipped before it is ordered on {ordered}", "Put the days in order", "shipped")
    for key, day in (("shipped", shipped), ("ordered", ordered)):
        if on and day and day > on:
            c.report(step, f"it is in service before it is {key} on {day}", "Put the days in order", "on")
            break
    if on and until and until < on:
        c.report(step, f"it ends before it begins on {on}", "Put the days in order", "until")
    if on and c.decision:
        done = str(step.get("done", "no")).lower() in ("yes", "true")
        if on < c.decision and not done:
            mend = "Write done: yes if it has happened, or a later day"
            c.report(step, f"the step is before the day of decision, {c.decision}", mend, "on")
        elif on > c.decision and done:
            c.report(step, f"the step is done, but after the day of decision, {c.decision}", "Write done: no", "done")
        end = _end(c)
        if end and on > end:
            mend = f"Choose a day up to {end}, or look further ahead (`study.years`)"
            c.report(step, "the step is after the years looked ahead", mend, "on")


def _end(c: Checker) -> dt.date | None:
    study = c.tree.get("study")
    years = study.get("years") if isinstance(study, Table) else None
    if c.decision is None or not isinstance(years, Text) or not years.isdigit() or not 0 < int(years) <= 40:
        return None
    day = c.decision
    return day.replace(year=day.year + int(years), day=28 if (day.month, day.day) == (2, 29) else day.day)


def courses_are_judged(c: Checker) -> None:
    """Gates and criteria name courses of this file; a criterion has a range and a value for every course."""
    courses = names_of(c.tree, "alternatives")
    blocks: list[tuple[str, Table, Any]] = [(name, gate, gate) for name, gate in blocks_of(c.tree, "gates")]
    blocks += [(name, one, one.get("values")) for name, one in blocks_of(c.tree, "criteria")]
    for name, block, answers in blocks:
        if not isinstance(answers, Table):
            continue
        for course, place in answers.keys_at.items():
            if course not in courses:
                mend = did_you_mean(course, courses, f"Courses here: {', '.join(courses)}")
                c.report(Text.at(course, place, f"{answers.path}.{course}"), f"no course is named '{course}'", mend)
        missing = [course for course in courses if course not in answers]
        if missing and block is not answers:
            c.report(
                block, f"'{name}' has no value for {', '.join(missing)}", "Give a value for every course", "values"
            )
    for name, one in blocks_of(c.tree, "criteria"):
        worst, best = figure_of(one.get("worst"), FACTOR), figure_of(one.get("best"), FACTOR)
        if worst is not None and worst == best:
            c.report(one, f"worst and best of '{name}' are the same", "Give the range that could be had", "best")
