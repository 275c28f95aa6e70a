"""Rules recalled from memory that have no figure among the parameters: said where a plan makes use of one.

A figure from memory says so by its status; a rule has none, so each stands here with what shows that it was used.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from equipdecide.ledger import Draft
from equipdecide.parameters import Law
from equipdecide.plan import Plan
from equipdecide.tax.elections import Election, business_use, business_use_floor
from equipdecide.tax.interest_limit import applies
from equipdecide.tax.pass_through import RETURN


def say_rules_from_memory(draft: Draft, plan: Plan, law: Law, elections: Sequence[Election]) -> None:
    """Post a finding for each rule from memory that a course's returns rest on; reads the returns as filed."""
    for rule, about in _used(draft, plan, law, elections):
        draft.find(
            "rule_from_memory", f"{rule} follows a rule recalled from memory and not confirmed in a source.", about
        )


def _used(draft: Draft, plan: Plan, law: Law, elections: Sequence[Election]) -> Iterator[tuple[str, str]]:
    sold = {sale.machine for sale in plan.sales if not sale.at_end}
    for name in [
        *(f"federal return {owner} as filed" for owner in plan.scenario.owners),
        "section 179 federal as filed",
    ]:
        if (
            name in draft
            and "section_179_restored" in draft[name]
            and draft[name]["section_179_restored"].per_row().any()
        ):
            yield (
                "Section 179 still carried of what is sold, put back into its basis (Reg. 1.179-3(f)(1)),",
                "section_179",
            )
            break
    for election in elections:
        item = election.possession
        if election.expensed and item.machine in sold:
            yield (
                (
                    f"{item.name}: what it brings taken as ordinary income, a small item deducted at once (Reg. "
                    f"1.263(a)-1(f)(3)(iii)),"
                ),
                f"machines.{item.machine}",
            )
        if item.elected.section_179 != "none" and business_use(item) <= business_use_floor(law):
            yield (
                (f"{item.name}: no section 179 where half or less of the use is business (Reg. 1.179-1(d)(1))"),
                f"machines.{item.machine}",
            )
    if applies(plan, law):
        yield "That recapture gives no room for business interest (Reg. 1.163(j)-1(b)(1)(ii))", "shop.as_things_are"
    if f"{RETURN} as filed" in draft:
        yield (
            (
                "That the state credits its owners in full with what the business paid for them, and refunds what is too much,"
            ),
            "shop.state.pass_through_rate",
        )
