"""The list of what to do, as text for a console and as a page to print and tick."""

from __future__ import annotations

from html import escape
from pathlib import Path

from equipdecide.after.todo import TodoItem, TodoList
from equipdecide.cautions import ESTIMATE
from equipdecide.showing import shows
from equipdecide.views.grid import WIDTH
from equipdecide.views.sheet import Section, Sheet, SheetRow, SheetTable, sheet_html
from equipdecide.words import day, money, wrap

LEGAL = "Days of law differ by state and country and move; where it says ask, ask before the day."


def what_in_words(item: TodoItem) -> str:
    """Say what to do, with the amount where money falls due."""
    if item.amount is None:
        return f"{item.what}."
    more = "more" if item.amount > 0 else "less"
    return f"{item.what}: {money(abs(item.amount))} {more} than if kept."


def todo_text(todo: TodoList, width: int = WIDTH, full: bool = False) -> str:
    """Return the list as text, by date; with `full`, why and on what basis under each entry."""
    lines = [*wrap(f"After deciding “{todo.chosen}” on {day(todo.decided_on)}: what to do, by when", width), ""]
    if todo.late:
        lines += [f"Late on {day(todo.today)}: {len(todo.late)}.", ""]
    who = min(max(len(item.who) for item in todo.items), 18)
    for item in todo.items:
        box = "[x]" if item.done else "[!]" if item.late else "[ ]"
        head = f"{box} {day(item.by)}  {item.who[:who].ljust(who)}  "
        lines += wrap(what_in_words(item), width, head)
        under = " " * len(head)
        if item.ask:
            lines += wrap(f"Ask {item.ask}.", width, under)
        if full:
            lines += wrap(f"Why: {item.why}.", width, under) + wrap(f"Basis: {item.basis}.", width, under)
    lines += ["", *wrap(f"{LEGAL} {ESTIMATE.text}", width)]
    return "\n".join(lines)


def todo_page(todo: TodoList, path: str | Path | None = None) -> str:
    """Return the list as one HTML page, and write it to `path` where one is given."""
    rows = tuple(
        SheetRow(
            (
                "☑" if item.done else "☐",
                day(item.by),
                item.who,
                what_in_words(item),
                f"{item.ask[:1].upper()}{item.ask[1:]}" if item.ask else "",
            ),
            "done" if item.done else "late" if item.late else "",
            f"{item.why}. Basis: {item.basis}.",
            3,
        )
        for item in todo.items
    )
    table = SheetTable(
        f"{len(todo.open)} to do, {len(todo.items) - len(todo.open)} done",
        (("", ""), ("By", "day"), ("Who", ""), ("What, why, and on what basis", ""), ("Ask", "")),
        rows,
    )
    texts = [(LEGAL, "warning"), (ESTIMATE.text, "warning")]
    if todo.late:
        texts.insert(0, (f"Late on {day(todo.today)}: {len(todo.late)}.", "warning"))
    sheet = Sheet(
        f"After deciding “{todo.chosen}”",
        f"{todo.shop}. Decision of {day(todo.decided_on)}.",
        (Section("", tuple(texts), table),),
        todo.title,
    )
    return sheet_html(sheet, path)


shows(TodoList, todo_text, lambda todo: f'<pre class="mathjax_ignore">{escape(todo_text(todo))}</pre>')
