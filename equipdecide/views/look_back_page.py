"""Planned against actual as text for a console and as a page to print; rendering only."""

from __future__ import annotations

from html import escape
from pathlib import Path

from equipdecide.after.look_back import NOT_SAID, LookBack, LookRow, Run, Then
from equipdecide.cautions import ESTIMATE
from equipdecide.showing import shows
from equipdecide.views.grid import WIDTH, Grid, Row
from equipdecide.views.sheet import Section, Sheet, SheetRow, SheetTable, sheet_html
from equipdecide.words import day, entered, money, number, percent, wrap

KEPT_AS_PLANNED = "“Goes on” takes what runs on as it was seen; “as planned” takes its later years as planned."
NOT_APPLIED = "Corrections are offered for the next file; nothing here changes a guess by itself."


def _figure(value: float, unit: str) -> str:
    if unit == "chance":
        return {0.0: "no", 1.0: "yes"}.get(value, percent(value))
    return f"{number(value, 0)} days" if unit == "day" else entered(value, unit)


def _cells(row: LookRow) -> tuple[str, str, str, str, str]:
    """Return planned, actual, how far off, effect on the lead, and who gave the plan."""
    off = "" if row.ratio is None else percent(row.ratio - 1, 0)
    if row.ratio is not None and row.ratio > 1:
        off = f"+{off}"
    effect = "" if row.effect is None else money(row.effect, plus=True)
    return (
        _figure(row.planned, row.unit),
        _figure(row.actual, row.unit),
        off,
        effect,
        ", ".join(word for word in (row.by, row.given_by) if word),
    )


def _range(row: LookRow) -> str:
    return {None: "", True: "inside the range given", False: "outside the range given"}[row.inside_range]


def run_in_words(run: Run) -> str:
    """Say how the guesses of a kind or a person have run, and the correction where one is offered."""
    whose = (
        f"Guesses of {run.name}"
        if run.of == "kind"
        else f"Figures from {run.name}"
        if run.name != NOT_SAID
        else "Figures whose source is not said"
    )
    count = f"{run.count} figure{'' if run.count == 1 else 's'}"
    if run.runs == "even":
        return f"{whose}: {count}, on average level with what came ({percent(run.mean_ratio - 1, 0)})."
    more = "more" if run.mean_ratio > 1 else "less"
    said = f"{whose}: {count}, {percent(abs(run.mean_ratio - 1), 0)} {more} came than was guessed, on average."
    if run.correction is None:
        return f"{said} {'Too few to correct by.' if run.count < 2 else 'They lean both ways: nothing to correct by.'}"
    return f"{said} Offered for next time: times {number(run.correction)}."


def cash_in_words(result: LookBack) -> str:
    """Say whether the course taken would still pass with what came; empty where it would all through."""
    failing: list[Then] = [then for then in result.then if not then.passes]
    if not failing:
        return ""
    low = failing[-1].lowest_cash
    cash = f" Its lowest cash is then {money(low)}." if low is not None else ""
    return (
        f"If it goes on as seen by month {failing[-1].month}, “{result.course}” no longer keeps cash above the floor "
        f"and passes every gate.{cash}"
    )


def look_back_text(result: LookBack, width: int = WIDTH) -> str:
    """Return planned against actual as text: figures, the answer at each look back, how guesses have run."""
    lines = [*wrap(f"“{result.course}”, decided {day(result.decided_on)}: what was planned and what came", width), ""]
    cells = [_cells(row) for row in result.rows]
    widths = [
        max([len(cell[k]) for cell in cells] + [len(head)])
        for k, head in enumerate(("planned", "came", "off", "lead by"))
    ]
    labels = max(width - sum(widths) - 8, 24)
    heads = ("planned", "came", "off", "lead by")
    lines += [
        " " * labels + "".join(f"  {head:>{w}}" for head, w in zip(heads, widths, strict=True)),
        "-" * (labels + sum(widths) + 8),
    ]
    for row, cell in zip(result.rows, cells, strict=True):
        name, *rest = wrap(row.label, labels, "", "  ")
        lines.append(
            (name.ljust(labels) + "".join(f"  {text:>{w}}" for text, w in zip(cell[:4], widths, strict=True))).rstrip()
        )
        lines += rest
        remarks = [text for text in (f"month {row.month}", cell[4], _range(row), row.note) if text]
        lines += wrap("; ".join(remarks), width, "    ")
    planned = Row("as decided", (money(result.planned, plus=True), money(result.planned, plus=True), result.course))
    rows = (
        planned,
        *(
            Row(
                f"month {then.month}",
                (money(then.goes_on, plus=True), money(then.as_planned, plus=True), then.best or "none passes"),
            )
            for then in result.then
        ),
    )
    lines += ["", f"Lead of “{result.course}” over keeping, with what was known by then:", ""]
    lines += [
        Grid(("goes on", "as planned", "best that passes"), rows).text(width),
        "",
        *wrap(f"{KEPT_AS_PLANNED} {cash_in_words(result)}".rstrip(), width),
    ]
    lines += [
        "",
        "How guesses have run:",
        *(line for run in result.runs for line in wrap(run_in_words(run), width, "  - ")),
    ]
    lines += ["", *wrap(NOT_APPLIED, width)]
    return "\n".join(lines)


def look_back_page(result: LookBack, path: str | Path | None = None) -> str:
    """Return planned against actual as one HTML page, and write it to `path` where one is given."""
    rows = tuple(
        SheetRow(
            (row.label, planned, came, off, effect, f"month {row.month}"),
            "",
            "; ".join(text for text in (who, _range(row), row.note) if text),
            5,
        )
        for row in result.rows
        for planned, came, off, effect, who in [_cells(row)]
    )
    columns = (
        ("Figure", ""),
        ("Planned", "figure"),
        ("Came", "figure"),
        ("Off", "figure"),
        ("Lead changes by", "figure"),
        ("Known, from, remark", ""),
    )
    then = (
        SheetRow(
            ("as decided", money(result.planned, plus=True), money(result.planned, plus=True), result.course), "best"
        ),
        *(
            SheetRow(
                (
                    f"month {t.month}, {day(t.until)}",
                    money(t.goes_on, plus=True),
                    money(t.as_planned, plus=True),
                    t.best or "none passes",
                )
            )
            for t in result.then
        ),
    )
    answer = SheetTable(
        f"Lead of “{result.course}” over keeping, {result.currency}",
        (("Known by", ""), ("Goes on", "figure"), ("As planned", "figure"), ("Best that passes", "")),
        then,
    )
    sections = (
        Section(
            "Planned and actual",
            ((ESTIMATE.text, "warning"),),
            SheetTable("What was planned and what came", columns, rows),
        ),
        Section(
            "The answer with what came",
            tuple((text, "") for text in (KEPT_AS_PLANNED, cash_in_words(result)) if text),
            answer,
        ),
        Section("How guesses have run", (*((run_in_words(run), "") for run in result.runs), (NOT_APPLIED, "warning"))),
        Section("What we learn", (("", ""), ("", "")), None, ("Name, date", "Name, date")),
    )
    return sheet_html(
        Sheet(
            f"Look back on “{result.course}”",
            f"Decided {day(result.decided_on)}, counted from {day(result.counted_from)}.",
            sections,
            result.title,
        ),
        path,
    )


shows(LookBack, look_back_text, lambda result: f'<pre class="mathjax_ignore">{escape(look_back_text(result))}</pre>')
