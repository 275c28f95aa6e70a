"""Tables for a console of 80 to 100 columns and for notebooks: comparison, sale, hours, flips, findings.

``comparison_text``, ``sale_text``, ``hours_text`` give plain text; ``..._html`` the same as an HTML fragment.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from html import escape

from equipdecide.cautions import ESTIMATE, caution
from equipdecide.decide.breakeven import Breakevens, Flip
from equipdecide.decide.compare import Comparison, Outcome
from equipdecide.decide.hours import HoursResult
from equipdecide.decide.sale import RouteResult, SaleResult
from equipdecide.ledger import Finding
from equipdecide.showing import shows
from equipdecide.words import cents, day, entered, listed, money, month, number, percent, whole, wrap, years

WIDTH = 96
GAP = 2
RULE = "-"


@dataclass(frozen=True)
class Row:
    """One row of a grid: a label and a cell for each column. No cells: a heading within the table."""

    label: str
    cells: tuple[str, ...] = ()
    line_above: bool = False


@dataclass(frozen=True)
class Grid:
    """A table: column headings over rows, the columns right-aligned."""

    headings: tuple[str, ...]
    rows: tuple[Row, ...]

    def text(self, width: int = WIDTH) -> str:
        """Return the table as text; columns that do not fit stand in further tables below, the first one repeated."""
        labels = max(len(row.label) for row in self.rows if row.cells)
        widths = [
            max(
                [len(word) for word in heading.split()]
                + [len(part) for row in self.rows if row.cells for part in row.cells[k].split("\n")]
            )
            for k, heading in enumerate(self.headings)
        ]
        blocks: list[list[int]] = [[]]
        for k in range(len(self.headings)):
            if blocks[-1] and labels + sum(widths[j] + GAP for j in [*blocks[-1], k]) > width:
                blocks.append([0] if widths[0] + widths[k] + 2 * GAP + labels <= width else [])
            blocks[-1].append(k)
        return "\n\n".join("\n".join(self._block(block, labels, widths, width)) for block in blocks)

    def _block(self, columns: list[int], labels: int, widths: list[int], width: int) -> list[str]:
        widths = list(widths)
        spare = width - labels - sum(widths[k] + GAP for k in columns)
        for k in columns:  # a heading gets what room there is, so that it need not be broken
            more = max(min(len(self.headings[k]) - widths[k], spare), 0)
            if more and len(self.headings[k]) <= 16:
                widths[k], spare = widths[k] + more, spare - more
        heads = [wrap(self.headings[k], widths[k]) for k in columns]
        deep = max(len(head) for head in heads)
        lines = [
            _line(
                "",
                [("" if n < deep - len(head) else head[n - deep + len(head)]) for head in heads],
                labels,
                [widths[k] for k in columns],
            )
            for n in range(deep)
        ]
        full = labels + sum(widths[k] + GAP for k in columns)
        lines.append(RULE * full)
        for row in self.rows:
            if row.line_above:
                lines.append(RULE * full)
            if not row.cells:
                lines += ["", row.label] if row.label else [""]
                continue
            cells = [row.cells[k].split("\n") for k in columns]
            for n in range(max(len(cell) for cell in cells)):
                parts = [cell[n] if n < len(cell) else "" for cell in cells]
                lines.append(_line(row.label if n == 0 else "", parts, labels, [widths[k] for k in columns]))
        return lines

    def html(self) -> str:
        """Return the table as an HTML fragment that no typesetting of formulas touches."""
        head = "".join(f'<th scope="col">{escape(name)}</th>' for name in self.headings)
        body = []
        for row in self.rows:
            if row.cells:
                cells = "".join(
                    f'<td style="text-align:right">{escape(cell).replace(chr(10), "<br>")}</td>' for cell in row.cells
                )
                body.append(f'<tr><th scope="row" style="text-align:left">{escape(row.label)}</th>{cells}</tr>')
            elif row.label:
                body.append(
                    f'<tr><th scope="rowgroup" colspan="{len(self.headings) + 1}" style="text-align:left">'
                    f"{escape(row.label)}</th></tr>"
                )
        heads = f"<thead><tr><td></td>{head}</tr></thead>"
        return f'<table class="mathjax_ignore">{heads}<tbody>{"".join(body)}</tbody></table>'


def _line(label: str, cells: Sequence[str], labels: int, widths: Sequence[int]) -> str:
    return (
        label.ljust(labels) + "".join(" " * GAP + cell.rjust(width) for cell, width in zip(cells, widths, strict=True))
    ).rstrip()


# --- the comparison


SMALL_RATE = (
    -0.5
)  # a rate below this is told in a remark: it comes of tax that falls after the study, not of the purchase


def rates_in_words(outcome: Outcome) -> str:
    """Write the rates of return over keeping: "36.8 %", "none", "2: 12 %, 114 %"; a star where a remark tells of more."""
    roots = outcome.rates_less_keep.roots
    shown = [root for root in roots if root > SMALL_RATE] or list(roots)
    star = "*" if len(shown) < len(roots) else ""
    if not roots:
        return "none"
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
    return _section(headline(comparison), comparison_grid(comparison), remarks + findings_html(comparison.findings))


def _section(head: str, grid: Grid, below: str) -> str:
    return f'<div class="mathjax_ignore"><p><b>{escape(head)}</b></p>{grid.html()}{below}</div>'


# --- the sale


def sale_grid(result: SaleResult) -> Grid:
    """Return the settlements side by side: money to the cent, then gain and tax in whole dollars."""
    routes = result.routes

    def row(label: str, write: Callable[[RouteResult], str], line_above: bool = False) -> Row:
        return Row(label, tuple(write(route) for route in routes), line_above)

    def settled(column: str, minus: bool = False) -> Callable[[RouteResult], str]:
        def write(route: RouteResult) -> str:
            value = route.ledger.column(f"settlement {result.machine}.{column}").figure()
            return cents(-value) if minus else cents(value)

        return write

    traded = any(r.over_allowance for r in routes)
    rows = [
        row("sold on", lambda r: day(r.sold_on)),
        row("paid on", lambda r: day(r.paid_on)),
        Row("Settlement"),
        row("price", lambda r: cents(r.gross)),
        row("commission", settled("commission", minus=True)),
        row("costs of selling", settled("costs", minus=True)),
        row("payoff to lender", lambda r: cents(-r.payoff)),
        row("release of the lien", lambda r: cents(-r.other_costs)),
        row("net cash before tax", lambda r: cents(r.net_cash), line_above=True),
    ]
    if any(r.payoff_by_schedule is not None for r in routes):
        rows.append(
            row("  or, by schedule", lambda r: cents(r.payoff_by_schedule) if r.payoff_by_schedule is not None else "")
        )
        rows.append(
            row(
                "  net, by schedule",
                lambda r: cents(r.net_cash_by_schedule) if r.net_cash_by_schedule is not None else "",
            )
        )
    rows += [
        Row("Gain, for tax"),
        row("amount realized", lambda r: whole(r.amount_realized)),
        row("adjusted basis", lambda r: whole(r.adjusted_basis)),
        row("gain", lambda r: whole(r.gain), line_above=True),
        row("  ordinary recapture", lambda r: whole(r.ordinary_recapture)),
        row("  section 1231", lambda r: whole(r.section_1231)),
        Row("Tax on the sale alone"),
    ]
    owners = list(dict.fromkeys(owner for r in routes for owner in r.tax_by_owner))
    rows += [row(f"  {owner}", _tax_of(owner)) for owner in owners]
    rows.append(row("tax", lambda r: whole(r.tax), line_above=len(owners) > 1))
    for when in sorted({when for r in routes for when, _ in r.tax_due}):
        rows.append(row(f"  due {day(when)}", _due_on(when)))
    rows += [
        Row("What is left"),
        row("after costs and tax", lambda r: whole(r.after_tax)),
        row("net cash less tax", lambda r: whole(r.cash_less_tax)),
    ]
    if traded:  # the allowance is more than the machine is worth: the next one costs that much more
        rows += [
            row("lost by trading", lambda r: whole(-r.over_allowance)),
            row("left in all", lambda r: whole(r.left_in_all), line_above=True),
        ]
    if any(r.paid_until_sold >= 0.005 for r in routes):  # sold later: the lender is owed less because it was paid
        rows += [
            row("loan paid till then", lambda r: whole(-r.paid_until_sold)),
            row("like for like", lambda r: whole(r.like_for_like), line_above=True),
        ]
    return Grid(tuple(r.name for r in routes), tuple(rows))


def _tax_of(owner: str) -> Callable[[RouteResult], str]:
    return lambda route: whole(route.tax_by_owner[owner]) if owner in route.tax_by_owner else ""


def _due_on(when: object) -> Callable[[RouteResult], str]:
    return lambda route: next((whole(amount) for day_due, amount in route.tax_due if day_due == when), "")


def sale_headline(result: SaleResult) -> str:
    """Say what the sale leaves by the first route, and between what ends the others lie."""
    first = result.routes[0]
    owed = f" after the lender's {cents(first.payoff)}" if first.payoff else ""
    left = first.cash_less_tax
    end = f"{whole(left)} left" if left >= 0 else f"short by {whole(abs(left))}"
    said = (
        f"{first.name}: {result.machine} leaves {cents(first.net_cash)}{owed}; tax on the gain of "
        f"{whole(first.gain)} is {whole(first.tax)}: {end}."
    )
    if len(result.routes) > 1:
        low, high = (pick(result.routes, key=lambda r: r.like_for_like) for pick in (min, max))
        said += (
            f" Over all routes what is left goes from {whole(low.like_for_like)} ({low.name}) to "
            f"{whole(high.like_for_like)} ({high.name})"
        )
        meanwhile = any(r.paid_until_sold >= 0.005 for r in result.routes)
        said += ", loan payments until the sale counted." if meanwhile else "."
    return said


LATER_SALE = (
    "A route that is settled later owes the lender less only because payments on the loan go on until then: compare the "
    "last line, which has them off. What waiting itself costs is in `routes`."
)


def sale_text(result: SaleResult, width: int = WIDTH, full: bool = False) -> str:
    """Return the settlements side by side with findings as text."""
    lines = [
        *wrap(f"Sale of {result.machine}, handed over on {day(result.date)}", width),
        "",
        *wrap(sale_headline(result), width),
        "",
        sale_grid(result).text(width),
    ]
    if any(r.paid_until_sold >= 0.005 for r in result.routes):
        lines += ["", *wrap(LATER_SALE, width)]
    # a route that covers its tax needs no sentence beside its column
    found = findings_text(
        [f for f in result.findings if f.code != "tax_against_cash" or f.weight == "warning"], width, full
    )
    lines += ["", found] if found else []
    lines.append("")
    for one in (caution("tax_follows_gain"), caution("payoff"), ESTIMATE):
        lines += wrap(one.text, width)
    return "\n".join(lines)


def sale_html(result: SaleResult) -> str:
    """Return the settlements side by side as an HTML fragment."""
    return _section(sale_headline(result), sale_grid(result), findings_html(result.findings))


# --- hours


def hours_grid(result: HoursResult) -> Grid:
    """Return hours and profit by alternative as a grid."""

    def row(label: str, key: str, write: Callable[[float], str]) -> Row:
        values = [getattr(entry, key) for entry in result.alternatives]
        return Row(label, tuple("" if value is None else write(value) for value in values))

    rows = (
        row("hours cut, staffed", "staffed_hours", whole),
        row("hours cut alone", "night_hours", whole),
        *(
            row(label, key, whole)
            for label, key in (
                ("mornings after a stop, taken off", "recovery_hours"),
                ("days down after a crash", "crash_hours"),
            )
            if any(getattr(entry, key) for entry in result.alternatives)
        ),
        row("good standard hours", "good_standard_hours", whole),
        row("contribution", "contribution", money),
        row("profit a spindle hour", "profit_per_spindle_hour", cents),
        *_limit_rows(result),
    )
    return Grid(tuple(entry.name for entry in result.alternatives), rows)


def _limit_rows(result: HoursResult) -> tuple[Row, ...]:
    """Return what the limit is in each course, and the hour of the machine at which each of the others becomes it."""
    others = list(dict.fromkeys(name for entry in result.alternatives for name in entry.limits))[1:]
    if not others:
        return ()
    rows = [Row("the limit is", tuple(entry.limit or "" for entry in result.alternatives), line_above=True)]
    for name in others:
        cells = tuple(f"{whole(e.limits[name])} h" if name in e.limits else "" for e in result.alternatives)
        rows.append(Row(f"{name} would be from", cells))
    return tuple(rows)


def _windows_words(result: HoursResult) -> str:
    """Say how many hours of a night may be counted on, by the length of the night."""
    found = "; ".join(
        f"{number(window, 1)} h run {number(mean, 1)}"
        + (f" ({number(low, 1)} to {number(high, 1)})" if low is not None and high is not None else "")
        for window, (mean, low, high) in result.windows.items()
    )
    return f"Hours to count on by the log, on average, with its interval: a night of {found}. A longer night brings ever less."


def hours_text(result: HoursResult, width: int = WIDTH) -> str:
    """Return the log of nights, the hours of each alternative and the definitions as text."""
    lines = []
    if result.night is not None:
        night = result.night
        between = f"{number(night.theta, 3)} h between stops" if night.theta is not None else "no stop"
        reach = (
            f"{number(night.low)} to {number(night.high)} h"
            if night.high is not None
            else f"at least {number(night.low)} h"
        )
        lines += wrap(
            f"Nights alone, from the log: {number(night.hours, 1)} h run, {night.stops} stops: {between} (95 % interval {reach}).",
            width,
        )
        if night.stops:
            reasons = "; ".join(f"{cause.reason} {cause.stops}" for cause in night.causes)
            lines += wrap(
                f"By reason: {reasons}. The nights that stopped ran {number(night.naive_mean(), 1)} h on average, which is no mean time between stops: it leaves out the good nights.",
                width,
            )
        if result.shape:
            lines += wrap(result.shape, width)
        lines += [*wrap(_windows_words(result), width), ""]
    if all(entry.staffed_hours is None for entry in result.alternatives):
        return "\n".join(
            [
                *lines,
                *wrap(
                    "No hours of the machines are given, so there are none to compare: `running` "
                    "of a machine, and `parts`, say them.",
                    width,
                ),
            ]
        )
    lines += [hours_grid(result).text(width), ""]
    lines += wrap(result.definition, width)
    if any(entry.night_hours for entry in result.alternatives):
        lines += ["", *wrap(caution("unattended").text, width)]
    return "\n".join(lines)


def hours_html(result: HoursResult) -> str:
    """Return the hours as an HTML fragment."""
    return f'<div class="mathjax_ignore">{hours_grid(result).html()}<p>{escape(result.definition)}</p></div>'


# --- what would flip the answer


def flip_in_words(flip: Flip) -> str:
    """Say in one sentence what one flip is: input, value now, value at the flip, between which courses."""
    if flip.two_points is not None:
        no, yes = flip.two_points
        return (
            f"{flip.label}: a chance of {entered(flip.entered, flip.unit)}; if yes "
            f"{flip.alternative} leads {flip.against} by {money(yes)}, "
            f"if no by {money(no)}; even at a chance of {entered(flip.flip, flip.unit)}."
        )
    now, then = (f" ({week})" if week else "" for week in _a_week(flip))
    return (
        f"{flip.label}: {entered(flip.entered, flip.unit)}{now} now; at {entered(flip.flip, flip.unit)}{then} "
        f"{flip.alternative} and {flip.against} are worth the same."
    )


def _a_week(flip: Flip) -> tuple[str, str]:
    """Write nights a year, as entered and at the flip, as nights a week; empty for any other input."""
    if flip.a_week is None:
        return "", ""
    now, then = flip.a_week
    return f"{number(now, 1)} a week", f"{number(then, 1)} a week"


def breakeven_text(result: Breakevens, width: int = WIDTH, most: int = 20) -> str:
    """Return what would flip the answer as text, the nearest first; at most `most` rows of each kind."""
    nearest = result.nearest
    lines = wrap(
        f"Nearest flip of {result.leader}. {flip_in_words(nearest)}"
        if nearest
        else f"Nothing searched flips {result.leader}.",
        width,
    )
    inside = [flip for flip in result.flips if flip.inside_range]
    outside = [flip for flip in result.flips if not flip.inside_range]
    for head, flips in (("Within your own ranges", inside), ("Beyond your ranges, or where none is given", outside)):
        if not flips:
            continue
        shown = flips[:most]
        lines += ["", f"{head}:", *_flip_rows(shown, width)]
        if len(flips) > most:
            lines.append(f"  and {len(flips) - most} more")
    if result.extra_hours:
        lines += ["", "Extra good hours a year, above what keeping sells:"]
        for one in result.extra_hours:
            if one.believed <= 0:
                lines += wrap(f"{one.alternative}: sells no hour beyond those of keep.", width, "  - ")
                continue
            need = "more than are believed" if one.needed is None else whole(one.needed)
            lines += wrap(
                f"{one.alternative}: {need} must be sold to be worth as much as keep; "
                f"{whole(one.believed)} are believed.",
                width,
                "  - ",
            )
    if result.excluded:
        reasons: dict[str, int] = {}
        for item in result.excluded:
            reasons[item.reason] = reasons.get(item.reason, 0) + 1
        lines += [
            "",
            *wrap(
                "Not moved: "
                + "; ".join(
                    f"{count} input{'' if count == 1 else 's'} because {reason}" for reason, count in reasons.items()
                )
                + ".",
                width,
            ),
        ]
    return "\n".join(lines)


def _flip_rows(flips: Sequence[Flip], width: int) -> list[str]:
    cells = [(entered(f.entered, f.unit), entered(f.flip, f.unit), f"{f.alternative} = {f.against}") for f in flips]
    weeks = [_a_week(f) for f in flips]  # stand below the nights a year
    now, then = (max([len(cell[k]) for cell in [*cells, *weeks]] + [7]) for k in (0, 1))
    pair = min(max(len(cell[2]) for cell in cells), max(width // 4, 18))
    labels = max(width - now - then - pair - 3 * GAP, 24)
    lines = [
        _line("input", ["now", "flip at"], labels, [now, then]) + " " * GAP + "equally good",
        RULE * (labels + now + then + pair + 3 * GAP),
    ]
    for flip, cell, week in zip(flips, cells, weeks, strict=True):
        names, sides = wrap(flip.label, labels, "", "  "), wrap(cell[2], pair)
        for n in range(max(len(names), len(sides), 2 if any(week) else 1)):
            name = names[n] if n < len(names) else ""
            side = sides[n] if n < len(sides) else ""
            lines.append(
                (
                    _line(name, cell[:2] if n == 0 else week if n == 1 else ("", ""), labels, [now, then]).ljust(
                        labels + now + then + 2 * GAP
                    )
                    + " " * GAP
                    + side
                ).rstrip()
            )
    return lines


def breakeven_html(result: Breakevens) -> str:
    """Return what would flip the answer as an HTML fragment."""
    return f'<pre class="mathjax_ignore">{escape(breakeven_text(result))}</pre>'


# --- findings

# The sentences of a parameter's reading (`Reading.finding`); what does not match is shown as it stands.
_READING = re.compile(
    r"(?P<what>.+?)(?: \((?P<key>[^()]*)\))?, (?P<year>\d{4}): (?P<value>.+?) is (?P<why>.+)\.", re.DOTALL
)
_RAISED = re.compile(r"the figure of (\d{4}) raised by (\S+ %) a year")
_HELD = re.compile(r"the figure of (\d{4}), held")


@dataclass(frozen=True)
class Sorted:
    """Findings as a reader meets them: warnings, notes, and the parameters summed up in a few lines."""

    warnings: tuple[str, ...]
    notes: tuple[str, ...]
    parameters: tuple[str, ...]
    parameters_in_full: tuple[str, ...]


def sort_findings(findings: Sequence[Finding]) -> Sorted:
    """Sort findings: warnings first, then notes, then one line for each way in which parameters are not settled."""
    warnings = [f.text for f in findings if f.weight == "warning"]
    notes = [f.text for f in findings if f.weight != "warning" and f.code != "parameter"]
    parameters = [f.text for f in findings if f.code == "parameter" and f.weight != "warning"]
    groups: dict[str, list[str]] = {}
    for text in parameters:
        read = _READING.fullmatch(text)
        what = read["what"][0].lower() + read["what"][1:] if read else ""
        heads = []
        if read:
            if raised := _RAISED.search(read["why"]):
                heads.append(f"Figures after {raised[1]} are those of {raised[1]} raised by {raised[2]} a year")
            if held := _HELD.search(read["why"]):
                heads.append(f"Figures after {held[1]} are those of {held[1]}, unchanged")
            if "from memory" in read["why"]:
                heads.append("From memory, not confirmed in a source")
            if "an assumption" in read["why"]:
                heads.append("Assumed")
        for head in heads or [text.rstrip(".")]:
            group = groups.setdefault(head, [])
            if what and what not in group and heads:
                group.append(what)
    lines = [f"{head}: {'; '.join(names)}." if names else f"{head}." for head, names in groups.items()]
    return Sorted(
        tuple(dict.fromkeys(warnings)), tuple(dict.fromkeys(notes)), tuple(lines), tuple(dict.fromkeys(parameters))
    )


def findings_text(findings: Sequence[Finding], width: int = WIDTH, full: bool = False) -> str:
    """Return findings as text: warnings first; parameters summed up unless `full`."""
    found = sort_findings(findings)
    blocks = [
        ("Beware", found.warnings),
        ("To know", found.notes),
        ("Figures of law", found.parameters_in_full if full else found.parameters),
    ]
    return "\n\n".join(
        "\n".join([f"{head}:", *(line for text in texts for line in wrap(text, width, "  - "))])
        for head, texts in blocks
        if texts
    )


def findings_html(findings: Sequence[Finding]) -> str:
    """Return findings as HTML lists."""
    found = sort_findings(findings)
    blocks = [("Beware", found.warnings), ("To know", found.notes), ("Figures of law", found.parameters)]
    return "".join(
        f"<p><b>{head}</b></p><ul>{''.join(f'<li>{escape(text)}</li>' for text in texts)}</ul>"
        for head, texts in blocks
        if texts
    )


shows(Comparison, comparison_text, comparison_html)
shows(SaleResult, sale_text, sale_html)
shows(HoursResult, hours_text, hours_html)
shows(Breakevens, breakeven_text, breakeven_html)
