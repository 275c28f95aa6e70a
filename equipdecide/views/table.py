"""The comparison as a table for a console of 80 to 100 columns and for notebooks, under the answer
in a sentence or three.
"""

from __future__ import annotations

from collections.abc import Callable
from html import escape

from equipdecide.cautions import ESTIMATE
from equipdecide.decide.compare import Comparison, Outcome
from equipdecide.showing import shows
from equipdecide.views.finding_lists import findings_html, findings_text
from equipdecide.views.grid import WIDTH, Grid, Row, section
from equipdecide.words import listed, money, month, number, percent, wrap, years

SMALL_RATE = (
    -0.5
)  # a rate below this is told in a remark: it comes of tax that falls after the study, not of the purchase


def _shown_rates(outcome: Outcome) -> list[float]:
    roots = outcome.rates_less_keep.roots
    return [root for root in roots if root > SMALL_RATE] or list(roots)


def rates_in_words(outcome: Outcome) -> str:
    """Write the rates of return over keeping: "36.8 %", "none", "2: 12 %, 114 %"; a star where a remark tells of more.

    A rate that only says what giving up keeping costs is no return: "no return", and a remark has it.
    """
    shown, all_rates = _shown_rates(outcome), outcome.rates_less_keep.roots
    star = "*" if len(shown) < len(all_rates) else ""
    if not all_rates:
        return "none"
    if set(shown) <= set(outcome.costs_of_giving_up):
        return "no return" + star
    if len(shown) == 1:
        return percent(shown[0]) + star
    return f"{len(shown)}: " + ",\n".join(percent(root, 0) for root in shown) + star


def _other_rates(comparison: Comparison) -> list[str]:
    """Tell of the real rates that the table leaves out, so that none goes unsaid."""
    told = [
        f"{o.name} {', '.join(percent(root, 0) for root in left)}"
        for o in comparison.outcomes
        if (left := [r for r in o.rates_less_keep.roots if r <= SMALL_RATE])
        and len(left) < len(o.rates_less_keep.roots)
    ]
    if not told:
        return []
    return [f"* The same cash flows have another real rate, far below any return: {'; '.join(told)}."]


def _given_up(comparison: Comparison) -> list[str]:
    """Tell what giving up what keeping earns costs, where a course takes money in first: that rate is no return."""
    return [
        f"{o.name}: no return, because money comes in first and what keeping would earn is given up for it. That costs "
        f"{listed(percent(rate) for rate in shown)} a year of the money that comes in: while money is worth less "
        "than that to the shop, keeping is the better."
        for o in comparison.outcomes
        if (shown := _shown_rates(o)) and set(shown) <= set(o.costs_of_giving_up)
    ]


def _affordable(outcome: Outcome) -> str:
    return {True: "yes", False: "no", None: "not tested"}[outcome.affordable]


def comparison_grid(comparison: Comparison) -> Grid:
    """Return the comparison as a grid, the alternatives side by side."""

    def row(label: str, write: Callable[[Outcome], str]) -> Row:
        return Row(label, tuple(write(outcome) for outcome in comparison.outcomes))

    keep = comparison.keep
    rows = [
        row("worth less keep", lambda o: "" if o is keep else money(o.npv_less_keep, plus=True)),
        row("annual worth", lambda o: money(o.annual_worth)),
        row("rate of return", lambda o: "" if o is keep else rates_in_words(o)),
        row("payback", lambda o: "" if o is keep else payback_in_words(o)),
    ]
    if keep.cash_low is not None:
        rows += [
            row("lowest cash", lambda o: money(o.cash_low.amount) if o.cash_low else ""),
            row("  in", lambda o: month(o.cash_low.month) if o.cash_low else ""),
        ]
    rows += [row("own money needed", lambda o: money(o.own_money_needed)), row("affordable", _affordable)]
    if any(o.failed_gates for o in comparison.outcomes):
        rows.append(row("failed gates", lambda o: ",\n".join(o.failed_gates)))
    return Grid(tuple(o.name for o in comparison.outcomes), tuple(rows))


def payback_in_words(outcome: Outcome) -> str:
    """Write when the outlay over keeping is back: "2.2 years", and when for good where it is lost again."""
    first, last = (
        None if when is None else float(when)
        for when in (outcome.payback_less_keep.first, outcome.payback_less_keep.last)
    )
    if first is None or years(first) == years(last):
        return years(first)
    return f"{years(first)},\n{'not for good' if last is None else f'for good {number(last, 1)}'}"


def headline(comparison: Comparison) -> str:
    """Say in a sentence or three which course is best, by how much over keeping and the runner-up."""
    leader, second = comparison.leader, comparison.runner_up
    study = comparison.scenario.study
    basis = f"present worth after tax, {study.years} years at {percent(float(study.rate))} a year"
    tested = any(o.affordable is not None for o in comparison.outcomes)
    said = []
    if comparison.best is None:
        said.append("No course keeps cash above the floor and passes every gate.")
        said.append(f"Without regard to cash the best is {_lead(comparison, leader, second)} ({basis}).")
    else:
        which = "Best that can be paid for" if tested else "Best"
        said.append(f"{which}: {_lead(comparison, leader, second)} ({basis}).")
        if not tested:
            said.append("Whether the shop can pay for it is not tested: no cash or no floor is given.")
    ignoring = comparison[comparison.best_ignoring_cash]
    if ignoring is not leader:
        why = []
        if ignoring.affordable is False and ignoring.cash_low is not None:
            floor = comparison.scenario.shop.cash_floor
            why.append(
                f"its cash falls to {money(ignoring.cash_low.amount)} in "
                f"{month(ignoring.cash_low.month)}, under the floor of {money(float(floor or 0))}"
            )
        why += [f"it fails the gate on {gate}" for gate in ignoring.failed_gates]
        said.append(
            f"Without regard to cash: {ignoring.name}, {money((ignoring - comparison.keep).npv)} more than keep"
            f"{'; ' + listed(why) if why else ''}."
        )
    return " ".join(said)


def _lead(comparison: Comparison, leader: Outcome, second: Outcome | None) -> str:
    over = []
    if leader is not comparison.keep:
        over.append(f"{money((leader - comparison.keep).npv)} more than keep")
    if second is not None and second is not comparison.keep:
        over.append(f"{money((leader - second).npv)} more than the next, {second.name}")
    elif second is not None and not over:
        over.append("nothing else passes")
    elif second is not None:
        over[0] += ", which is the next best"
    return leader.name + (", " if over else "") + " and ".join(over)


def _remarks(comparison: Comparison) -> list[str]:
    said = ["Worth less keep is present worth after tax, loans included, of each course less that of keeping."]
    if any(o.rates_less_keep.roots for o in comparison.outcomes):
        said.append("Rate of return and payback are of what is paid beyond keeping, loans left out.")
    if any(o.cash_low for o in comparison.outcomes):
        said.append("Lowest cash is of the ends of months; `calendar` finds the lowest day.")
    said += _given_up(comparison)
    said += _other_rates(comparison)
    if any(sum(root > SMALL_RATE for root in o.rates_less_keep.roots) > 1 for o in comparison.outcomes):
        said.append(
            "Where several rates of return solve the same cash flows, none of them ranks the choice: go by worth."
        )
    gate = comparison.scenario.shop.coverage_required
    for o in comparison.outcomes:
        if "coverage" in o.failed_gates and o.worst_coverage is not None and gate is not None:
            said.append(
                f"{o.name}: coverage {number(o.worst_coverage)} in the worst year, {number(float(gate))} asked."
            )
    return said


def comparison_text(comparison: Comparison, width: int = WIDTH, full: bool = False) -> str:
    """Return headline, table, remarks and findings as text. `full` lists every parameter finding."""
    lines = [*wrap(comparison.scenario.title, width), "", *wrap(headline(comparison), width), ""]
    lines += [comparison_grid(comparison).text(width), ""]
    lines += [line for remark in _remarks(comparison) for line in wrap(remark, width)]
    found = findings_text(comparison.findings, width, full)
    return "\n".join([*lines, *(["", found] if found else []), "", *wrap(ESTIMATE.text, width)])


def comparison_html(comparison: Comparison) -> str:
    """Return headline, table and findings as an HTML fragment."""
    remarks = "".join(f"<p>{escape(remark)}</p>" for remark in _remarks(comparison))
    return section(headline(comparison), comparison_grid(comparison), remarks + findings_html(comparison.findings))


shows(Comparison, comparison_text, comparison_html)
