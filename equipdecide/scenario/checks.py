"""Cross-checks of a scenario over its raw tree: they run even where single fields could not be read."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from equipdecide.scenario.faults import did_you_mean
from equipdecide.scenario.tree import Place, Table, Text

Report = Callable[[Place, str, str, str], None]


def resolve_doubts(tree: Table, report: Report) -> None:
    """Replace the words of each step's ``when:`` ("P5 bracket renews") by the path of the doubt."""
    parts, doubts = tree.get("parts"), tree.get("doubts")
    names = list(parts) if isinstance(parts, Table) else []
    named = list(doubts) if isinstance(doubts, Table) else []
    for step in steps(tree):
        words = step.get("when")
        if not isinstance(words, Text):
            continue
        path = f"doubts.{words}" if words in named else _doubt(words, names)
        if path:
            step["when"] = Text.at(path, words.place, words.path, words.provenance, words.currency)


def _doubt(words: str, names: list[str]) -> str | None:
    if words.startswith("parts.") and words.endswith(".renews"):
        return words
    said = " ".join(words.lower().split())
    if not said.endswith(" renews"):
        return None
    said = said.removesuffix(" renews").strip()
    exact = [name for name in names if name.lower() == said]
    first = [name for name in names if name.lower().startswith(said + " ")]
    found = exact or first
    return f"parts.{found[0]}.renews" if len(found) == 1 else None


def steps(tree: Table) -> list[Table]:
    """Return all steps of all alternatives that can be read as blocks."""
    alternatives = tree.get("alternatives")
    found: list[Table] = []
    if isinstance(alternatives, Table):
        for steps_of_one in alternatives.values():
            if isinstance(steps_of_one, list):
                found += [step for step in steps_of_one if isinstance(step, Table)]
    return found


def check(tree: Table, report: Report, folder: Path | None) -> None:
    """Report everything that is wrong between fields."""
