"""What a reader must know beside the figures: guesses, findings, cautions, the law, words, and
where figures come from.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from equipdecide.cautions import CAUTIONS
from equipdecide.decide.page_figures import law_read
from equipdecide.scenario.amounts import Amount
from equipdecide.views import charts
from equipdecide.views.figure_links import provenance
from equipdecide.views.finding_lists import sort_findings
from equipdecide.views.parts import Block, Bullets, Definitions, Entries, Page, Part, Row, Table, Text
from equipdecide.words import MINUS, day, entered, month, percent


def assumptions(page: Page) -> Part:
    """The figures that are guesses or defaults, with who gave them, and how many say nothing of themselves."""
    guessed = {path: amount for path, amount in page.entered.items() if amount.given_by in ("guess", "default")}
    silent = sum(not amount.given_by for amount in page.entered.values())
    ranged = sum(amount.doubtful for amount in page.entered.values())
    blocks: list[Block] = [
        Text(
            f"Of {len(page.entered)} figures entered, {len(guessed)} are marked as guesses or defaults, {silent} do "
            f"not say where they are from, and {ranged} have a range or a chance."
        )
    ]
    if guessed:
        rows = tuple(
            Row(_plain(page.labels.get(path, path)), (page.explained.input(path, _entered(amount)), provenance(amount)))
            for path, amount in guessed.items()
        )
        blocks.append(Table("Guesses and defaults", ("Figure", "As entered", "Given by"), rows, words=(2,)))
    notes = page.comparison.scenario.notes
    if notes and not page.outside:  # notes are the owners' own words
        blocks.append(Bullets(tuple(notes)))
    return Part("assumptions", "Assumptions and guesses", tuple(blocks))


def _plain(label: str) -> str:
    return label.replace("`", "")


def _entered(amount: Amount) -> str:
    if amount.chance is not None:
        return percent(amount.chance)
    likely = entered(amount.likely, amount.unit)
    if amount.low is None or amount.high is None:
        return likely
    return (
        f"{likely} ({charts.in_unit(amount.low, amount.unit, exact=True)} to "
        f"{charts.in_unit(amount.high, amount.unit, exact=True)})"
    )


def findings(page: Page) -> Part | None:
    """What the reader must know: warnings, then notes."""
    found = sort_findings(page.findings)
    blocks: list[Block] = []
    if found.warnings:
        blocks += [Text("Beware", "subhead"), Bullets(_set(found.warnings))]
    if found.notes:
        blocks += [Text("To know", "subhead"), Bullets(_set(found.notes))]
    return Part("findings", "What else the figures say", tuple(blocks)) if blocks else None


def _set(sentences: Sequence[str]) -> tuple[str, ...]:
    """Return sentences with a capital, a true minus sign and months in words, as the rest of the page has them."""
    sentences = [re.sub(r"`([^`]+)`", r"“\1”", re.sub(r"(?<=\d)%", " %", text)) for text in sentences]
    return tuple(
        charts.capital(
            re.sub(r"(?<![\w-])-(?=\d)", MINUS, re.sub(r"\b\d{4}-\d\d\b(?!-)", lambda found: month(found[0]), text))
        )
        for text in sentences
    )


def cautions(page: Page) -> Part:
    """The cautions every answer carries."""
    return Part("cautions", "Before anybody signs", (Bullets(tuple(caution.text for caution in CAUTIONS)),))


def law(page: Page) -> Part | None:
    """As of which day the law was read, and which figures of it rest on memory or on growth."""
    read, found = law_read(page.comparison), sort_findings(page.findings)
    if read is None and not found.parameters:
        return None
    first, last = read if read else (None, None)
    said = f"Law as read on {day(last)}." if last else ""
    if first and last and first != last:
        said = f"Law as read from {day(first)} to {day(last)}."
    blocks: list[Block] = [
        Text(f"{said} What Congress or a state changes after that day is not in these figures.".strip())
    ]
    if found.parameters:
        blocks.append(Bullets(_set(found.parameters)))
    return Part("law", "The law behind the tax", tuple(blocks))


TERMS = (
    (
        "Present worth",
        "All money of a course, after tax, each amount counted at what it is worth on the day of decision at the "
        "study's rate, and added.",
    ),
    ("Worth less keep", "Present worth of a course less that of keeping the machine as it is."),
    ("Annual worth", "The level yearly amount of the same present worth."),
    ("Payback", "The time until the money paid beyond keeping has come back, loans left out."),
    ("Payoff", "What the lender asks on a day: balance, interest to the day, charges and fees."),
    ("Adjusted basis", "Cost less depreciation already taken; the gain is what is realized above it."),
    (
        "Own money needed",
        "The deepest the purchase goes into the shop's money before the first good part, after loans and sale money.",
    ),
    ("Floor", "The cash the owners will not go under; a course whose cash falls below it is not counted as payable."),
    ("Good hours", "Hours the machine cuts, at standard time, scrap taken out."),
    ("Contribution", "Price less material, outside work and tooling; wages are not taken off."),
    (
        "Draw",
        "One set of values of all doubtful figures together, taken at random from their ranges; every course is run "
        "through the same draws.",
    ),
    (
        "Regret",
        "What a course loses in a draw to the course that would have been best in it; expected regret is its average.",
    ),
    ("Flip", "The value of one input at which two courses are worth the same."),
    (
        "Shortfall behind a guarantee",
        "Debt on the machines above what they would bring; their value is taken to fall by the same share each year "
        "from today's or the price paid to the value entered for the end. A forced sale brings less.",
    ),
)


def definitions(page: Page) -> Part:
    """What the words mean here."""
    return Part("definitions", "What the words mean", (Definitions(TERMS),))


def where_from(page: Page) -> Part:
    """The explanations of all figures that link here; made last."""
    said = (
        "Here the figures are exact. To go further down, to every input and source, ask the command line: "
        "equipdecide explain FILE COURSE FIGURE; course and figure stand at the end of an entry."
    )
    return Part("where-from", "Where the figures come from", (Text(said), Entries(page.explained.entries())))
