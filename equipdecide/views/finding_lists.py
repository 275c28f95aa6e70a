"""What the reader must know, as lists: warnings, notes, and the figures of law summed up in a few lines."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

from equipdecide.ledger import Finding
from equipdecide.views.grid import WIDTH
from equipdecide.words import wrap

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
