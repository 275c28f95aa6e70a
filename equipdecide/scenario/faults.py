"""Faults: what is wrong with a scenario file, where, and how to mend it."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass

from equipdecide.scenario.tree import Place


@dataclass(frozen=True)
class Fault:
    """One thing wrong with a file: its place, its path by names, what is wrong, how to mend it, and the line itself."""

    place: Place
    path: str
    what: str
    mend: str
    line: str = ""

    def __str__(self) -> str:
        head = f"{self.place}: {self.path}: " if self.path else f"{self.place}: "
        text = f"{head}{_sentence(self.what)} {_sentence(self.mend)}"
        if not self.line.strip():
            return text
        shown = self.line.expandtabs(1)
        return f"{text}\n    {shown}\n    {' ' * (self.place.column - 1)}^"


class ScenarioError(ValueError):
    """A scenario cannot be read. `faults` holds everything that is wrong, in the order of the file."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        count = len(self.faults)
        super().__init__("\n".join([*map(str, self.faults), f"{count} fault{'s' if count != 1 else ''}."]))


def _sentence(text: str) -> str:
    return text if text.endswith((".", "?", "!")) else text + "."


def near(word: str, known: Iterable[str]) -> str:
    """Return the word of `known` that `word` was probably meant to be, or nothing."""
    lower = {name.lower(): name for name in reversed(list(known))}
    spelt = word.lower()
    found = difflib.get_close_matches(spelt.replace(" ", "_"), lower, 1, 0.75)
    found = found or difflib.get_close_matches(spelt, lower, 1, 0.7)
    return lower[found[0]] if found else ""


def did_you_mean(word: str, known: Iterable[str], otherwise: str = "") -> str:
    """Return "Did you mean 'tax_rate'?" for the nearest of `known`, else `otherwise`, else what is known."""
    names = list(known)
    if meant := near(word, names):
        return f"Did you mean '{meant}'?"
    return otherwise or (f"Known here: {', '.join(names)}" if names else "Leave it out")
