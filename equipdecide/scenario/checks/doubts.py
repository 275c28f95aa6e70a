"""Checks of what a scenario says about its doubts and about the guesses of its partners: inputs are named by path."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from equipdecide.scenario.amounts import AmountError, Quantity
from equipdecide.scenario.checks.checker import Checker
from equipdecide.scenario.faults import near
from equipdecide.scenario.tree import Items, Table, Text

Quantities = Callable[[str], Quantity | None]  # the unit of the input at a path, as the models have it


def check(c: Checker, quantity_at: Quantities) -> None:
    """Report shapes, correlations and guesses that name no input, or whose figures cannot be read."""
    paths = amount_paths(c.tree, quantity_at)
    doubts = c.tree.get("doubts")
    for doubt in doubts if isinstance(doubts, Items) else ():
        if isinstance(doubt, Table):
            _doubt(c, doubt, paths, quantity_at)
    guesses = c.tree.get("guesses")
    for listed in guesses.values() if isinstance(guesses, Table) else ():
        for guess in listed if isinstance(listed, Items) else ():
            if isinstance(guess, Table):
                _guess(c, guess, paths, quantity_at)


def amount_paths(tree: Table, quantity_at: Quantities) -> list[str]:
    """Return the paths of the tree at which amounts stand."""
    found: list[str] = []

    def walk(node: Any, path: str) -> None:
        if path and quantity_at(path) is not None:
            found.append(path)
        elif isinstance(node, Table):
            for key, inner in node.items():
                walk(inner, f"{path}.{key}" if path else key)
        elif isinstance(node, Items):
            for number, inner in enumerate(node):
                walk(inner, f"{path}.{number}")

    walk(tree, "")
    return found


def _known(c: Checker, word: Any, paths: list[str]) -> bool:
    if not isinstance(word, Text) or not word:
        return False
    if word in paths:
        return True
    meant = near(word, paths)
    mend = (
        f"Did you mean '{meant}'?"
        if meant
        else "Write names with full stops between, as in machines.MC-1.upkeep.growth"
    )
    c.report(word, f"no input stands at '{word}'", mend)
    return False


def _doubt(c: Checker, doubt: Table, paths: list[str], quantity_at: Quantities) -> None:
    words = doubt.get("of")
    listed = words if isinstance(words, Items) else []
    known = [word for word in listed if _known(c, word, paths)]
    if "correlation" in doubt and len(listed) != 2:
        c.report(doubt, "a correlation is between two inputs", "Name two: of: [one path, other path]", "of")
    if doubt.get("shape") == "logged" and not doubt.get("log"):
        c.report(doubt, "the file of logged values is missing", "Add `log:` with a CSV file of one column", "log")
    if "log" in doubt and doubt.get("shape") != "logged":
        c.report(doubt, "a log is read for one shape only", "Write shape: logged, or leave `log:` out", "log")
    if not {"shape", "correlation"} & set(doubt):
        c.report(doubt, "it says nothing about the doubt", "Add `shape:` or `correlation:`", "shape")
    for word in known:
        quantity, value = quantity_at(word), _at(c.tree, word)
        assert quantity is not None
        try:
            amount = quantity.read(value)
        except AmountError:
            continue  # reported where it stands
        if not amount.doubtful and doubt.get("shape") != "logged":
            c.report(word, f"'{word}' has no range", "Write it there as low .. likely .. high")
        if doubt.get("shape") and amount.chance is not None:
            c.report(doubt, f"'{word}' is a yes/no doubt: it has a chance, not a shape", "Leave `shape:` out", "shape")
        if doubt.get("shape") == "lognormal" and amount.low is not None and amount.low <= 0:
            c.report(doubt, f"the low of '{word}' is not above zero", "Take another shape", "shape")
    name = doubt.get("log")
    read = doubt.get("shape") == "logged" and c.folder is not None
    if read and isinstance(name, Text) and name and not (Path(str(c.folder)) / name).is_file():
        c.report(
            doubt, f"the file '{name}' is not in the folder of this file", "Put it there, or leave `log:` out", "log"
        )


def _guess(c: Checker, guess: Table, paths: list[str], quantity_at: Quantities) -> None:
    word, value = guess.get("of"), guess.get("value")
    if _known(c, word, paths) and isinstance(value, Text) and value:
        quantity = quantity_at(str(word))
        assert quantity is not None
        try:
            quantity.read(value)
        except AmountError as error:
            c.report(value, error.what, error.mend)


def _at(tree: Table, path: str) -> Any:
    node: Any = tree
    for step in path.split("."):
        node = node[int(step)] if isinstance(node, Items) else node[step]
    return node
