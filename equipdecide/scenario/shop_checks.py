"""Cross-checks of what a scenario says of the shop floor; run by :mod:`equipdecide.scenario.checks`."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from equipdecide.scenario.tree import Table

if TYPE_CHECKING:
    from equipdecide.scenario.checks import Checker


def _blocks(tree: Any, section: str) -> list[tuple[str, Table]]:
    found = tree.get(section) if isinstance(tree, Table) else None
    return (
        [(name, block) for name, block in found.items() if isinstance(block, Table)] if isinstance(found, Table) else []
    )


def _changes(c: Checker) -> Iterator[Table]:
    for _, improvement in _blocks(c.tree, "improvements"):
        if isinstance(change := improvement.get("changes"), Table):
            yield change


def _running(c: Checker) -> Iterator[Table]:
    for _, machine in _blocks(c.tree, "machines"):
        if isinstance(running := machine.get("running"), Table):
            yield running
    yield from _changes(c)


def crashes_are_a_rate(c: Checker) -> None:
    """Crashes are entered as a rate, or as a count with the years it was counted over; one of the two."""
    for block in _running(c):
        crashes = block.get("crashes")
        if not isinstance(crashes, Table):
            continue
        counted = {"count", "over_years"} & set(crashes)
        if "a_year" in crashes and counted:
            c.report(crashes, "a rate and a count of crashes are both given", "Keep one of the two", "a_year")
        elif not counted and "a_year" not in crashes:
            mend = "Add `a_year:`, or `count:` and `over_years:`"
            c.report(crashes, "nothing says how often it crashes", mend, "a_year")
        elif len(counted) == 1:
            key = "over_years" if "count" in counted else "count"
            c.report(crashes, "a count of crashes needs the years it was counted over", f"Add `{key}:`", key)
        if str(crashes.get("over_years", "")).split(" ")[0] in ("0", "0.0"):
            c.report(crashes, "crashes cannot be counted over 0 years", "Write the years, such as 5", "over_years")


SHOP_CHECKS = (crashes_are_a_rate,)
