"""Reading what can be read of a raw tree: what cannot is None or left out, for it is reported where it stands."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from typing import Any, get_args

from equipdecide.scenario.amounts import (
    Amount,
    AmountError,
    Count,
    Factor,
    Hours,
    MoneyOrLoss,
    Quantity,
    Rate,
    Share,
    read_day,
)
from equipdecide.scenario.tree import Items, Table

MONEY: Quantity = get_args(MoneyOrLoss)[1]
SHARE: Quantity = get_args(Share)[1]
RATE: Quantity = get_args(Rate)[1]
COUNT: Quantity = get_args(Count)[1]
FACTOR: Quantity = get_args(Factor)[1]
HOURS: Quantity = get_args(Hours)[1]
ONE = 1e-6  # shares that differ from 100 % by less are taken as 100 %: 33.3333 % three times is not


def items_of(tree: Any, section: str) -> list[tuple[str, Any]]:
    """Return names and values of a section; none where it is no block."""
    found = tree.get(section) if isinstance(tree, Table) else None
    return list(found.items()) if isinstance(found, Table) else []


def blocks_of(tree: Any, section: str) -> list[tuple[str, Table]]:
    """Return names and blocks of a section; what is no block is left out."""
    return [(name, block) for name, block in items_of(tree, section) if isinstance(block, Table)]


def block_at(tree: Table, key: str) -> list[tuple[str, Table]]:
    """Return the block under `key`, as a list of one or none."""
    block = tree.get(key)
    return [(key, block)] if isinstance(block, Table) else []


def names_of(tree: Table, section: str) -> list[str]:
    """Return the names that stand in a section."""
    return [name for name, _ in items_of(tree, section)]


def steps_of(tree: Table) -> list[tuple[str, Table]]:
    """Return every step of every course, with the course's name."""
    return [
        (name, step)
        for name, steps in items_of(tree, "alternatives")
        if isinstance(steps, list)
        for step in steps
        if isinstance(step, Table)
    ]


def first_nights(tree: Table) -> list[Table]:
    """Return the blocks of nights that change nothing that was there before: of machines, and of
    changes to machines without.
    """
    machines = {
        name: [n for _, run in block_at(block, "running") for _, n in block_at(run, "nights")]
        for name, block in blocks_of(tree, "machines")
    }
    found = [nights for listed in machines.values() for nights in listed]
    for _, improvement in blocks_of(tree, "improvements"):
        if not machines.get(str(improvement.get("machine"))):
            found += [
                nights for _, change in block_at(improvement, "changes") for _, nights in block_at(change, "nights")
            ]
    return found


def all_nights(tree: Table) -> list[Table]:
    """Return every block of nights: of machines, and of changes to them."""
    runs = [run for _, machine in blocks_of(tree, "machines") for _, run in block_at(machine, "running")]
    runs += [change for _, one in blocks_of(tree, "improvements") for _, change in block_at(one, "changes")]
    return [nights for run in runs for _, nights in block_at(run, "nights")]


def day_of(value: Any) -> dt.date | None:
    """Return the day that `value` says; None where it cannot be read."""
    try:
        return read_day(value) if value is not None else None
    except AmountError:
        return None


def amount_of(value: Any, quantity: Quantity) -> Amount | None:
    """Return the amount that `value` says in the unit of `quantity`; None where it cannot be read."""
    try:
        return quantity.read(value) if value is not None and not isinstance(value, list) else None
    except AmountError:
        return None


def figure_of(value: Any, quantity: Quantity) -> float | None:
    """Return the likely figure that `value` says in the unit of `quantity`; None where it cannot be read."""
    amount = amount_of(value, quantity)
    return None if amount is None else amount.likely


def ways_to(tree: Table, path: str) -> Iterable[str]:
    """Split a path into steps that lead through the tree (a name that holds a full stop is a fault already)."""
    node: Any = tree
    steps: list[str] = []
    for step in path.split(".") if path else ():
        if isinstance(node, Table) and step in node:
            node = node[step]
        elif isinstance(node, Items) and step.isdigit() and int(step) < len(node):
            node = node[int(step)]
        else:
            break
        steps.append(step)
    return steps
