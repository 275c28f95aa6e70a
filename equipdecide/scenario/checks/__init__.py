"""Cross-checks of a scenario over its raw tree.

They run even where single fields could not be read: what cannot be read is passed over here, because it is reported
where it stands. Each check is a function of one :class:`Checker`; `CHECKS` lists them all.
"""

from __future__ import annotations

from collections.abc import Callable, Set
from pathlib import Path

from equipdecide.scenario.checks.checker import Checker
from equipdecide.scenario.checks.courses import alternatives_can_happen, courses_are_judged
from equipdecide.scenario.checks.logs import causes_are_logged, logs_can_be_read, shapes_have_a_log
from equipdecide.scenario.checks.machines import MACHINE_CHECKS
from equipdecide.scenario.checks.money import (
    assets_are_paid,
    loans_can_be_paid,
    offers_hang_together,
    offers_of_money_are_whole,
    owners_add_up,
)
from equipdecide.scenario.checks.names import names_stand
from equipdecide.scenario.checks.shop_floor import (
    calls_alike_have_one_answerer,
    day_can_be_heard,
    learning_is_said_once,
    parts_can_be_sold,
    stations_stand,
)
from equipdecide.scenario.checks.tax import TAX_CHECKS
from equipdecide.scenario.faults import Fault
from equipdecide.scenario.tree import Table


def check(tree: Table, faults: list[Fault], lines: list[str], folder: Path | None, misspelt: Set[str]) -> None:
    """Add to `faults` everything that is wrong between fields.

    `folder` is where files named in it are looked for; `misspelt` are paths that a misspelt key was meant for.
    """
    checker = Checker(tree, faults, lines, folder, misspelt)
    for one in CHECKS:
        one(checker)


CHECKS: tuple[Callable[[Checker], None], ...] = (
    names_stand,
    offers_hang_together,
    owners_add_up,
    alternatives_can_happen,
    assets_are_paid,
    loans_can_be_paid,
    offers_of_money_are_whole,
    parts_can_be_sold,
    logs_can_be_read,
    causes_are_logged,
    shapes_have_a_log,
    courses_are_judged,
    day_can_be_heard,
    calls_alike_have_one_answerer,
    stations_stand,
    learning_is_said_once,
    *MACHINE_CHECKS,
    *TAX_CHECKS,
)
