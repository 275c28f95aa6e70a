"""The tree under check, and the report of its faults."""

from __future__ import annotations

from collections.abc import Set
from pathlib import Path
from typing import Any

from equipdecide.scenario.checks.looking import day_of, names_of, ways_to
from equipdecide.scenario.faults import Fault, did_you_mean
from equipdecide.scenario.tree import Items, Place, Table, Text


class Checker:
    """The tree with what its checks need: names, days, figures (None where they cannot be read), and the report."""

    def __init__(
        self, tree: Table, faults: list[Fault], lines: list[str], folder: Path | None, misspelt: Set[str]
    ) -> None:
        self.tree, self.faults, self.lines, self.folder, self.misspelt = tree, faults, lines, folder, misspelt
        self.decision = day_of(tree.get("decision_date"))
        self.flat = tree.get("regime") == "flat"
        asked = tree.get("machine_in_question")
        self.in_question = [str(name) for name in asked] if isinstance(asked, list) else []

    def report(self, where: Any, what: str, mend: str, key: str = "") -> None:
        """Add a fault at the value `where`, or at its key `key` (at the block itself where the key is missing)."""
        place, path = where.place, where.path
        if key:
            path = f"{path}.{key}" if path else key
            if key not in where and path in self.misspelt:
                return
            value = where.get(key)
            place = value.place if isinstance(value, Text) else where.keys_at.get(key, self.key_place(where))
        elif isinstance(where, Table | Items):
            place = self.key_place(where)
        line = self.lines[place.line - 1] if 0 < place.line <= len(self.lines) else ""
        self.faults.append(Fault(place, path, what, mend, line))

    def key_place(self, block: Table | Items) -> Place:
        """Return the place of the key under which a block stands; its own place in a list or at the top."""
        node: Any = self.tree
        place: Place = block.place
        for step in ways_to(self.tree, block.path):
            if isinstance(node, Table):
                place, node = node.keys_at[step], node[step]
            else:
                node = node[int(step)]
                place = node.place
        return place

    def refers(self, where: Any, key: str, section: str, noun: str) -> Table | None:
        """Return the block that `where[key]` names; a name that stands nowhere is reported."""
        value = where.get(key) if isinstance(where, Table) else where[int(key)]
        if not isinstance(value, Text) or not value:
            return None
        return self.named(value, section, noun)

    def named(self, value: Text, section: str, noun: str) -> Table | None:
        """Return the block of `section` that `value` names; a name that stands nowhere is reported."""
        known = names_of(self.tree, section)
        if value not in known:
            otherwise = f"Known here: {', '.join(known)}" if known else f"Add it under `{section}:`"
            self.report(value, f"no {noun} is named '{value}'", did_you_mean(value, known, otherwise))
            return None
        found = self.tree[section][str(value)]
        return found if isinstance(found, Table) else None
