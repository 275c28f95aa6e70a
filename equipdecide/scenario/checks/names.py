"""Names that point somewhere: machines, offers, loans, parts, doubts."""

from __future__ import annotations

from equipdecide.scenario.checks.checker import Checker
from equipdecide.scenario.checks.looking import blocks_of, names_of, steps_of
from equipdecide.scenario.checks.money import LEASES
from equipdecide.scenario.faults import did_you_mean
from equipdecide.scenario.tree import Table, Text


def resolve_doubts(tree: Table) -> None:
    """Replace the words of each step's ``when:`` ("P5 bracket renews") by the path of the doubt, where it is known."""
    for _, step in steps_of(tree):
        words = step.get("when")
        if isinstance(words, Text) and (path := doubt_path(words, names_of(tree, "parts"), names_of(tree, "events"))):
            step["when"] = Text.at(path, words.place, words.path, words.provenance, words.currency)


def names_stand(c: Checker) -> None:
    """Every name used must be the name of something."""
    asked = c.tree.get("machine_in_question")
    for value in asked if isinstance(asked, list) else []:
        if isinstance(value, Text) and value:
            c.named(value, "machines", "machine")
    for _, improvement in blocks_of(c.tree, "improvements"):
        c.refers(improvement, "machine", "machines", "machine")
    for _, offer in blocks_of(c.tree, "offers"):
        for key in ("machine", "against", "credited_to"):
            c.refers(offer, key, "machines", "machine")
        fallback = c.refers(offer, "if_unsold", "offers", "offer")
        if fallback is not None and fallback.get("machine") != offer.get("machine"):
            c.report(offer, "that offer is for another machine", "Name an offer for the same machine", "if_unsold")
    for name, machine in blocks_of(c.tree, "machines"):
        for _, loan in blocks_of(machine, "loans"):
            _filing_stands(c, name, loan)
        for _, asset in blocks_of(machine, "assets"):
            used = asset.get("section_179_used")
            for owner, place in used.keys_at.items() if isinstance(used, Table) else ():
                if owner not in names_of(c.tree, "owners"):
                    mend = did_you_mean(owner, names_of(c.tree, "owners"), "Name an owner of this file")
                    c.report(
                        Text.at(owner, place, f"{asset.path}.section_179_used.{owner}"),
                        f"no owner is named '{owner}'",
                        mend,
                    )
    for _, step in steps_of(c.tree):
        c.refers(step, "machine", "machines", "machine")
        c.refers(step, "improvement", "improvements", "improvement")
        if step.get("do") == "sell":
            taken = c.refers(step, "by", "offers", "offer")
            if taken is not None and taken.get("machine") and taken.get("machine") != step.get("machine"):
                c.report(
                    step, f"offer '{step['by']}' is for {taken.get('machine')}", "Name an offer for this machine", "by"
                )
        c.refers(step, "rolled_into", "financing", "financing")
        pay = step.get("pay")
        for value in pay if isinstance(pay, list) else ():
            if isinstance(value, Text):
                paid = c.named(value, "financing", "financing")
                if step.get("do") == "improve" and paid is not None and str(paid.get("kind", "loan")) in LEASES[1:]:
                    c.report(
                        value, f"'{value}' is a lease, and an improvement stays in your machine", "Pay it with a loan"
                    )
        when = step.get("when")
        if isinstance(when, Text) and when:
            _doubt_stands(c, when)


def _filing_stands(c: Checker, machine: str, loan: Table) -> None:
    """Machines that a lender's filing covers, and those it lets go for an amount."""
    covered = [machine]
    listed = loan.get("collateral")
    for value in listed if isinstance(listed, list) else ():
        if isinstance(value, Text) and value:
            c.named(value, "machines", "machine")
            covered.append(str(value))
    amounts = loan.get("release_amounts")
    for name, place in amounts.keys_at.items() if isinstance(amounts, Table) else ():
        if name not in covered:
            mend = did_you_mean(name, covered, "Name a machine under `collateral:`")
            at = Text.at(name, place, f"{loan.path}.release_amounts.{name}")
            c.report(at, f"the filing of this loan does not cover '{name}'", mend)


def _doubt_stands(c: Checker, when: Text) -> None:
    parts = c.tree.get("parts")
    if when.startswith("events.") and when.removeprefix("events.") in names_of(c.tree, "events"):
        return
    for name, part in blocks_of(c.tree, "parts"):
        if when == f"parts.{name}.renews":
            if "renews" not in part:
                c.report(
                    when, f"'{name}' has no chance of renewal", f"Add `renews:` to the part '{name}', for example 75 %"
                )
            return
    doubtful = [f"{name} renews" for name, part in blocks_of(c.tree, "parts") if "renews" in part]
    doubtful += names_of(c.tree, "events")
    mend = "Write the name of a part with `renews:` and the word renews"
    if doubtful or isinstance(parts, Table):
        mend = did_you_mean(when, doubtful, f"{mend}: {', '.join(doubtful)}" if doubtful else mend)
    c.report(when, f"'{when}' names no yes/no doubt", mend)


def doubt_path(words: str, names: list[str], events: list[str]) -> str | None:
    """Return the path of the doubt that words such as "P5 bracket renews", "P5 renews" or an event's name say."""
    if words in events:
        return f"events.{words}"
    if words.startswith("parts.") and words.endswith(".renews"):
        return words
    said = " ".join(words.lower().split())
    if not said.endswith(" renews"):
        return None
    said = said.removesuffix(" renews").strip()
    found = [name for name in names if name.lower() == said] or [
        name for name in names if name.lower().split()[:1] == [said] or said.startswith(f"{name.lower()} ")
    ]
    return f"parts.{found[0]}.renews" if len(found) == 1 else None
