"""The first sheets: what the workbook is, and the answer."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from equipdecide.decide.compare import Outcome
from equipdecide.ledger import Column, Ledger
from equipdecide.views.workbook.layout import ANSWER, FIRST, INPUTS, LAW, LINES, address
from equipdecide.views.workbook.paper import Paper, about

_GROUPS = ("operating", "investment", "payoff", "borrowing", "debt service", "tax", "between purses")


def write_first(paper: Paper, sheet: Any) -> None:
    """Write the sheet that says what the workbook is, what may be changed and what is locked."""
    made = paper.made
    scenario, course = made.comparison.scenario, made.course.name
    sheet.set_column(0, 0, 28)
    sheet.set_column(1, 1, 105)
    paper.heading(
        sheet,
        scenario.title,
        f"{scenario.shop.name}, decided as of {scenario.decision_date.isoformat()}, in {paper.currency}",
    )
    against = "Keep, which changes nothing" if made.alone else f"{course}, beside Keep, which changes nothing"
    rows = [
        (
            "What this is",
            f"The whole computation of {against}. Every figure is a live formula; nothing is hidden and nothing "
            f"asks another file.",
        ),
        (
            "Where the answer is",
            f"On the sheet {ANSWER}: present worth, the lowest cash, what the sale leaves, what each purpose costs or brings.",
        ),
        (
            "What may be changed",
            f"The yellow cells of the sheet {INPUTS}, and only those. Every other figure follows at once.",
        ),
        (
            "What is locked",
            "Dates, elections, conventions, which offer is taken, which loan: they decide which formulas stand "
            "here. To change one, change the scenario file and write the workbook anew. The sheets are protected "
            "without a password.",
        ),
        (
            "How to trace a figure",
            "Over each column stands its formula in words, in grey; each cell holds the same as a formula. A "
            "sheet's name says whose figures it holds: keep, course, or both where neither is named.",
        ),
        (
            "What does not follow",
            "A yearly rate of a loan that has to be solved for is written as a figure; its check beside it is "
            "zero at the figures of the file. No other figure reads it.",
        ),
        (
            "Signs and units",
            f"Positive is money to the purse named. Amounts are in {paper.currency}, unrounded unless a formula "
            f"rounds to cents. Rates are a year.",
        ),
        (
            "Law",
            f"Rates, limits and brackets stand on the sheet {LAW} with their source. They are read for the dates "
            f"above; a later law is not known to this file."
            if LAW in made.blocks
            else "No cell reads a rate, limit or bracket of law; its dates and elections are locked in the formulas.",
        ),
        (
            "What to print",
            f"The sheets {FIRST}, {ANSWER}, {INPUTS} and {LINES}. The others are workings, of many pages, to be "
            f"followed on a screen.",
        ),
        (
            "What it is not",
            "An estimate for a decision, not tax, legal or lending advice. The return, the elections and the "
            "settlement are for a licensed practitioner and the lender's own letter to confirm.",
        ),
    ]
    row = 3
    for name, text in rows:
        sheet.write_string(row, 0, name, paper.left)
        sheet.write_string(row, 1, text, paper.text)
        sheet.set_row(row, 15 * (1 + len(text) // 118) + 2)
        row += 1
    row += 1
    for outcome in dict.fromkeys((made.course, made.keep)):
        sheet.write_string(row, 0, f"Locked in {outcome.name}", paper.head)
        sheet.write_string(row, 1, "", paper.head)
        row += 1
        for name, text in _locked(outcome):
            sheet.write_string(row, 0, name, paper.text)
            sheet.write_string(row, 1, text, paper.text)
            row += 1
        row += 1
    sheet.write_string(row, 0, "Sheets", paper.head)
    sheet.write_string(row, 1, "", paper.head)
    for name in (ANSWER, *made.blocks, LINES):
        row += 1
        sheet.write_url(row, 0, f"internal:'{name}'!A1", paper.short, name)
        sheet.write_string(row, 1, about(name), paper.text)


def write_answer(paper: Paper, sheet: Any) -> None:
    """Write the sheet with the answer: worth by purpose, cash, what the sale leaves."""
    made = paper.made
    sheet.set_column(0, 0, 52)
    sheet.set_column(1, 3, 18)
    sheet.set_column(4, 4, 30)
    paper.heading(
        sheet, "Answer", f"{made.course.name} beside Keep, in {paper.currency}; both follow the sheet {INPUTS}"
    )
    row = 3
    heads = [
        "",
        *([made.course.name] if not made.alone else []),
        "Keep",
        *(["Difference"] if not made.alone else []),
    ]
    row = _compared(
        paper,
        sheet,
        row,
        "Present worth after tax, by what the money is for",
        heads,
        [(group, f"worth.{group}", False) for group in _GROUPS]
        + [
            ("Present worth of all purses together", "worth.npv", True),
            ("Level yearly amount of the same", "worth.annual_worth", False),
            ("Of the present worth: loans taken, paid and paid off", "worth.npv_financing", False),
        ],
    )
    measured = [
        ("Lowest cash of the shop", "cash test.lowest", True),
        ("Lowest cash less the floor", "cash test.margin", False),
        ("Own money before the first good part", "own money.needed", False),
        ("Operating cash over loan payments, worst full year", "coverage.worst", False),
    ]
    found = [entry for entry in measured if _has(paper, entry[1])]
    if found:
        row = _compared(paper, sheet, row + 1, "Cash and loans", heads, found)
    for sale in made.course.plan.sales:
        key = f"settlement {sale.machine}"
        if not sale.at_end and key in made.course.ledger.workings:
            row = _settlement(
                paper,
                sheet,
                row + 1,
                key,
                f"What the sale of {sale.machine} leaves on {sale.sold_on.isoformat()}, before tax",
            )
    sheet.freeze_panes(3, 1)


def _has(paper: Paper, name: str) -> bool:
    return all(_found(o.ledger, name) is not None for o in (paper.made.course, paper.made.keep))


def _compared(
    paper: Paper, sheet: Any, row: int, title: str, heads: Sequence[str], entries: Sequence[tuple[str, str, bool]]
) -> int:
    sheet.write_string(row, 0, title, paper.left)
    for at, head in enumerate(heads[1:], start=1):
        sheet.write_string(row, at, head, paper.label)
    for text, name, strong in entries:
        row += 1
        sheet.write_string(row, 0, text[:1].upper() + text[1:], paper.head if strong else paper.short)
        style = paper.strong if strong else paper.numbers["money"]
        pair = [_found(o.ledger, name) for o in dict.fromkeys((paper.made.course, paper.made.keep))]
        columns = [c for c in pair if c is not None]
        for at, column in enumerate(columns, start=1):
            sheet.write_formula(row, at, paper.link(column), style, column.figure())
        if len(columns) == 2:
            sheet.write_formula(
                row, 3, f"={address(row, 1)}-{address(row, 2)}", style, columns[0].figure() - columns[1].figure()
            )
    return row + 1


def _settlement(paper: Paper, sheet: Any, row: int, key: str, title: str) -> int:
    sheet.write_string(row, 0, title, paper.left)
    sheet.write_string(row, 1, "", paper.left)
    working = paper.made.course.ledger.workings[key]
    for name in (
        "gross",
        "commission",
        "costs",
        "payoff",
        "release",
        "net_cash",
        "to_owner",
        "shortfall",
        "balance",
    ):
        if name in working and id(working[name]) in paper.made.places:
            row += 1
            says = working[name].says
            sheet.write_string(row, 0, says[:1].upper() + says[1:], paper.short)
            sheet.write_formula(
                row,
                1,
                paper.link(working[name]),
                paper.strong if name == "net_cash" else paper.numbers["money"],
                working[name].figure(),
            )
    return row + 1


def _found(ledger: Ledger, name: str) -> Column | None:
    working, _, column = name.partition(".")
    return ledger.workings[working].columns.get(column) if working in ledger.workings else None


def _locked(outcome: Outcome) -> list[tuple[str, str]]:
    """Say what of a course is structure: steps with their dates, sales, and how each item is depreciated."""
    plan = outcome.plan
    rows = [(f"{step.do}", f"{_step_text(step)}, on {step.on.isoformat()}") for step in plan.steps] or [
        ("no step", "nothing is bought, sold or changed")
    ]
    rows += [
        ("sale", f"{s.machine} by {s.offer_name}: sold {s.sold_on.isoformat()}, paid {s.paid_on.isoformat()}")
        for s in plan.sales
    ]
    for name, working in outcome.ledger.workings.items():
        if name.startswith("federal book of ") or name.startswith("state book of "):
            rows.append((name.partition(" of ")[0], working.says))
    return rows


def _step_text(step: Any) -> str:
    parts = [str(getattr(step, key)) for key in ("machine", "improvement", "what") if getattr(step, key, None)]
    parts += [f"by {step.by}"] if getattr(step, "by", None) else []
    paid = getattr(step, "pay", None) or []
    parts += [f"paid with {', '.join(paid)}"] if paid else []
    return ", ".join(parts)
