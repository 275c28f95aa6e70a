"""What the figures of a page link to: an explanation of each, on the same page, where the figure is exact.

A figure that is a column of a ledger is explained by :mod:`equipdecide.views.explain`, one level deep; an input by its
place in the file and by who gave it; what is searched for or counted over draws by a sentence of the part that shows
it.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from equipdecide.decide.compare import Outcome
from equipdecide.decide.sale import RouteResult
from equipdecide.ledger import Column, Line
from equipdecide.scenario.amounts import Amount
from equipdecide.views.explain import Explanation, Part, Writer
from equipdecide.views.figure_names import HasLedger
from equipdecide.words import cents, entered, month, short_label

LISTED = 14  # parts of a long sum that are named
Key = tuple[object, ...]


class Linked(str):
    """A figure as shown, with the anchor of its explanation."""

    anchor: str

    def __new__(cls, text: str, anchor: str) -> Linked:
        made = super().__new__(cls, text)
        made.anchor = anchor
        return made


class Said(str):
    """A sentence some of whose figures are links: the whole text, and its pieces in order."""

    pieces: tuple[str, ...]

    def __new__(cls, pieces: Sequence[str]) -> Said:
        made = super().__new__(cls, "".join(pieces))
        made.pieces = tuple(pieces)
        return made


def marked(text: str, *figures: str) -> str:
    """Return a sentence with its figures linked: each of `figures` where it first stands after the one before.

    A figure without an anchor, or one that does not stand there, is passed over.

    >>> marked("due 200 and 1,200", Linked("200", "e1"), Linked("1,200", "e2")).pieces
    ('due ', '200', ' and ', '1,200')
    """
    pieces, rest = [], text
    for figure in figures:
        found = re.search(rf"(?<![\d,.]){re.escape(figure)}(?!\d|[,.]\d)", rest) if isinstance(figure, Linked) else None
        if found:
            pieces += [rest[: found.start()], figure]
            rest = rest[found.end() :]
    return Said([piece for piece in (*pieces, rest) if piece]) if pieces else text


@dataclass(frozen=True)
class Entry:
    """One explanation: its anchor, what it is, sentences, and how to ask the command line for it
    ("" where it cannot).
    """

    anchor: str
    title: str
    sentences: tuple[str, ...]
    ask: str = ""


class Explained:
    """The explanations of one page, in the order in which its figures asked for them.

    `given` are the inputs the page may show, by path, `titles` their labels; no figure that belongs to one of the
    owners `hidden` is written into an explanation.
    """

    def __init__(
        self, given: Mapping[str, Amount], titles: Mapping[str, str], hidden: Sequence[str], questions: Sequence[str]
    ) -> None:
        self._given, self._titles, self._hidden, self._asked = given, titles, tuple(hidden), tuple(questions)
        self._anchors: dict[Key, str] = {}
        self._entries: list[Entry | tuple[HasLedger, Explanation, str]] = []
        self._writers: dict[int, Writer] = {}
        self._rules: set[str] = set()

    def column(self, of: HasLedger, name: str, text: str, row: str | None = None) -> str:
        """Return `text` as a link to the explanation of a column of a ledger; plain where there is no such column."""
        working, _, own = name.partition(".")
        columns = of.ledger.workings[working].columns if working in of.ledger.workings else {}
        return self._of_column(of, columns[own], text, row) if own in columns and text else text

    def line(self, of: HasLedger, line: Line, text: str, row: str | None = None) -> str:
        """Return `text` as a link to the explanation of a dated cash flow."""
        return self._of_column(of, line.column, text, row, line)

    def _of_column(self, of: HasLedger, column: Column, text: str, row: str | None, line: Line | None = None) -> str:
        row = row if len(column.axis) > 1 else None
        key = (id(of.ledger), column.full_name, row)
        if key not in self._anchors:
            writer = self._writers.setdefault(id(of.ledger), Writer(of.ledger, self._given, self._titles))
            anchor = self._anchors[key] = self._next()
            self._entries.append((of, writer.column(column, row, 1, line), anchor))
        return Linked(text, self._anchors[key])

    def input(self, path: str, text: str) -> str:
        """Return `text` as a link to what is known of an input; plain where the page may not show it."""
        amount = self._given.get(path)
        if amount is None or not text:
            return text
        label = short_label(self._titles.get(path, path))
        if amount.chance is not None:
            value = f"{entered(amount.chance, 'chance')} for yes"
        else:
            value = entered(amount.likely, amount.unit)
        said = [
            f"An input, {path}"
            + (f", in {amount.place.file}, line {amount.place.line}" if amount.place.line else "")
            + "."
        ]
        if amount.low is not None and amount.high is not None and amount.chance is None:
            said.append(
                f"Low {entered(amount.low, amount.unit)}, likely {value}, high {entered(amount.high, amount.unit)}."
            )
        who = ", ".join(part for part in (amount.given_by, amount.by, amount.on) if part)
        said.append(f"Given by: {who}." if who else "Who gave it is not said.")
        return self.told((path,), f"{label} = {value}", text, *said, *([amount.note] if amount.note else []))

    def less(self, one: Outcome, other: Outcome, text: str) -> str:
        """Return `text` as a link to how present worth of one course less that of another is made."""
        a, b = (self.column(o, "worth.npv", cents(o.npv)) for o in (one, other))
        return self.told(
            ("less", one.name, other.name),
            f"“{one.name}” less “{other.name}”, present worth after tax = {cents(one.npv - other.npv, plus=True)}",
            text,
            marked(f"Present worth of “{one.name}” {a} less that of “{other.name}” {b}.", a, b),
        )

    def told(self, key: Key, title: str, text: str, *sentences: str) -> str:
        """Return `text` as a link to an explanation in the given sentences, written once for each `key`."""
        if not text:
            return text
        if key not in self._anchors:
            anchor = self._anchors[key] = self._next()
            self._entries.append(Entry(anchor, title, tuple(sentence for sentence in sentences if sentence)))
        return Linked(text, self._anchors[key])

    def _next(self) -> str:
        return f"e{len(self._entries) + 1}"

    def entries(self) -> tuple[Entry, ...]:
        """Return all explanations asked for so far."""
        self._rules.clear()
        return tuple(one if isinstance(one, Entry) else self._written(*one) for one in self._entries)

    def _written(self, of: HasLedger, found: Explanation, anchor: str) -> Entry:
        name = of.ledger.name
        whose = f"sale by “{name}” alone" if isinstance(of, RouteResult) else f"“{name}”"
        what = found.says or found.label
        row = f", {month(found.row)}" if found.row else ""
        title = f"{whose}: {what}{row} = {found.shown}"
        asked = f"{found.name} [{found.row}]" if found.row else found.name
        if self._others_own(found):
            return Entry(anchor, title, ("What it is made of belongs to owners whose figures this copy leaves out.",))
        said = [remark for remark in found.remarks if not remark.startswith("Shown for ")]
        if found.sentence:
            said.append(self._with_links(of, found))
        if "parts below" in found.sentence:
            listed = "; ".join(f"{part.label} {part.shown}" for part in found.parts[:LISTED])
            more = len(found.parts) - LISTED
            said.append(f"Parts: {listed}{f'; and {more} more' if more > 0 else ''}.")
        said += found.origin
        if found.rule_says and not found.origin and found.rule_says not in self._rules:  # each rule is said once
            self._rules.add(found.rule_says)
            said.append(f"Rule: {found.rule_says}")
        return Entry(anchor, title, tuple(said), f"{name}: {asked}" if name in self._asked else "")

    def _others_own(self, found: Explanation) -> bool:
        parts = " ".join(f"{part.label} {part.ask}" for part in found.parts)
        text = " ".join((found.name, found.label, found.says, found.sentence, parts, *found.origin))
        return any(re.search(rf"\b{re.escape(name)}\b", text) for name in self._hidden)

    def _with_links(self, of: HasLedger, found: Explanation) -> str:
        """Return the sentence with the figures that stand on the page themselves as links."""

        def anchor(part: Part) -> str | None:
            row = part.rows[0] if part.rows and part.rows[0] else None
            return self._anchors.get((id(of.ledger), part.ask, row))

        figures = [Linked(part.shown, to) for part in found.parts if (to := anchor(part)) and len(part.rows) < 2]
        sentence = found.sentence.removeprefix(f"{found.label} ").replace("parts below", "parts named next")
        return marked(sentence, *figures)
