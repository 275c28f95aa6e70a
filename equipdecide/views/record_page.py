"""The record of a decision as one page to print and sign, and as text; the same for a record figured again."""

from __future__ import annotations

import math
from html import escape
from pathlib import Path

from equipdecide.after.record import FlipKept, GuessKept, Record
from equipdecide.after.rerun import FlipMoved, LawDifference, Rerun
from equipdecide.cautions import ESTIMATE
from equipdecide.showing import shows
from equipdecide.views.grid import WIDTH, Grid, Row
from equipdecide.views.sheet import Section, Sheet, SheetRow, SheetTable, sheet_html
from equipdecide.words import cents, day, entered, listed, month, wrap

FLIPS_SHOWN = 4  # what fits on one sheet of paper with the rest
GUESSES_SHOWN = 6


def record_page(record: Record, path: str | Path | None = None) -> str:
    """Return the record as one HTML page to sign, and write it to `path` where one is given."""
    rows = tuple(
        SheetRow(
            (
                f.name,
                cents(f.npv_less_keep, plus=True),
                cents(f.npv),
                cents(f.own_money_needed),
                _lowest(f.lowest_cash, f.lowest_cash_month),
                _affordable(f.affordable),
            ),
            "best" if f.name == record.chosen else "",
        )
        for f in record.answer
    )
    columns = (
        ("Course", ""),
        ("Over keeping", "figure"),
        ("Present worth", "figure"),
        ("Own money", "figure"),
        ("Lowest cash", "figure"),
        ("Affordable", ""),
    )
    answer = SheetTable(f"The answer as figured, {record.currency}, after tax, to the cent", columns, rows)
    flips = tuple(SheetRow(_flip_cells(flip)) for flip in _flips_of_chosen(record))
    guesses = tuple(SheetRow(_guess_cells(guess)) for guess in _most_said(record))
    sections = [
        Section(
            "",
            ((f"Decided: {record.chosen}.", "lead"), (_against_best(record), ""), (ESTIMATE.text, "warning")),
            answer,
        ),
        Section(
            "What would flip it",
            (),
            SheetTable(
                "Nearest first", (("Figure", ""), ("Entered", "figure"), ("Level at", "figure"), ("Between", "")), flips
            ),
        )
        if flips
        else Section("What would flip it", (("No single figure, moved alone, flips it.", ""),)),
    ]
    if guesses:
        table = SheetTable(
            f"{len(guesses)} of {len(record.guesses)} figures that are guessed or doubtful",
            (("Figure", ""), ("Likely", "figure"), ("Low to high", "figure"), ("Whose", "")),
            guesses,
        )
        sections.append(Section("Who gave which guess", (), table))
    sections += [
        Section("The law as it stood", tuple((text, "") for text in law_in_words(record))),
        Section("What would change our mind", ((record.change_our_mind or "Nothing was written down.", ""),)),
        Section("Dissent", ((record.dissent or "None was voiced.", ""),)),
        Section(
            "Agreed",
            (
                (f"Agreed: {listed(record.agreed)}." if record.agreed else "Nobody has agreed yet.", ""),
                (
                    f"To look at again on {day(record.revisit_on)}."
                    if record.revisit_on
                    else "No day was set to look at it again.",
                    "",
                ),
            ),
            None,
            _signatures(record),
        ),
    ]
    under = f"{record.shop}. Record of the decision of {day(record.decided_on)}."
    footer = (
        f"equipdecide {record.library}. Scenario sha256 {record.scenario_sha256}. Parameters of law sha256 "
        f"{record.law.files_sha256}. The file beside this page holds all figures and the law used, and runs again."
    )
    return sheet_html(Sheet(record.title, under, tuple(sections), footer), path)


def _signatures(record: Record) -> tuple[str, ...]:
    """Return a line for each who agreed, and one for each owner who has not, to say that it was read."""
    others = [name for name in record.owners if name not in record.agreed]
    if not record.agreed:
        return tuple(f"{name}, date" for name in others or ["Name"])
    return (*(f"{name}, date" for name in record.agreed), *(f"{name}, date: has read it" for name in others))


def _flips_of_chosen(record: Record) -> tuple[FlipKept, ...]:
    own = tuple(flip for flip in record.flips if record.chosen in (flip.alternative, flip.against))
    return (own or record.flips)[:FLIPS_SHOWN]


def _most_said(record: Record) -> tuple[GuessKept, ...]:
    """Return the guesses to print: those given by name first, else in the order of the record."""
    return tuple(sorted(record.guesses, key=lambda guess: not guess.by)[:GUESSES_SHOWN])


def _against_best(record: Record) -> str:
    if record.best is None:
        return "No course keeps cash above the floor and passes every gate."
    if record.best == record.chosen:
        return (
            "It is the course of highest present worth among those the business can pay for and that pass every gate."
        )
    return f"The figures put “{record.best}” first; another course was chosen."


def _lowest(amount: float | None, label: str) -> str:
    return "not tested" if amount is None else f"{cents(amount)}, {month(label)}"


def _affordable(affordable: bool | None) -> str:
    return {True: "yes", False: "no", None: "not tested"}[affordable]


def _flip_cells(flip: FlipKept) -> tuple[str, ...]:
    return (
        flip.label,
        entered(flip.entered, flip.unit),
        entered(flip.flip, flip.unit),
        f"{flip.alternative} and {flip.against}",
    )


def _guess_cells(guess: GuessKept) -> tuple[str, ...]:
    between = (
        ""
        if guess.low is None or guess.high is None
        else f"{entered(guess.low, guess.unit)} to {entered(guess.high, guess.unit)}"
    )
    return (
        guess.label,
        entered(guess.likely, guess.unit),
        between,
        ", ".join(word for word in (guess.by, guess.given_by) if word) or "not said",
    )


def law_in_words(record: Record) -> tuple[str, ...]:
    """Say in a few sentences what law was read and what of it is not settled."""
    law = record.law
    unsettled = [reading for reading in law.unsettled() if reading.status != "read"]
    carried = sorted({reading.from_date.year for reading in law.unsettled() if reading.basis == "indexed"})
    texts = [
        f"{len(law.ids)} parameters and tables of law were read; each value with its day and source stands in the file."
    ]
    if unsettled:
        texts.append(f"From memory or assumed: {listed(reading.description or reading.id for reading in unsettled)}.")
    if carried:
        texts.append(f"Later years stand at the figures of {listed(map(str, carried))}, raised yearly.")
    return tuple(texts)


# --- text


def record_text(record: Record, width: int = WIDTH) -> str:
    """Return the record as text for a console."""
    rows = tuple(
        Row(
            f.name,
            (cents(f.npv_less_keep, plus=True), cents(f.npv), cents(f.own_money_needed), _affordable(f.affordable)),
        )
        for f in record.answer
    )
    lines = [
        *wrap(f"{record.title}  {record.shop}, {day(record.decided_on)}", width),
        f"Decided: {record.chosen}.",
        "",
        Grid(("over keeping", "present worth", "own money", "affordable"), rows).text(width),
        "",
    ]
    for text in (
        f"Agreed: {listed(record.agreed)}." if record.agreed else "Nobody has agreed yet.",
        f"Dissent: {record.dissent}" if record.dissent else "",
        f"What would change our mind: {record.change_our_mind}" if record.change_our_mind else "",
        f"To look at again on {day(record.revisit_on)}." if record.revisit_on else "",
        *law_in_words(record),
        f"Scenario {record.scenario_sha256[:12]}, law {record.law.files_sha256[:12]}, version {record.library}.",
    ):
        lines += wrap(text, width) if text else []
    return "\n".join(lines)


def difference_in_words(difference: LawDifference) -> str:
    """Say what one parameter was, what it is, since when, and what it alone does."""
    since = f" from {day(difference.from_date)}" if difference.from_date else ""
    law = (
        f", enacted {day(difference.enacted)}"
        if difference.enacted and difference.enacted != difference.from_date
        else ""
    )
    moves = ""
    if difference.flips:
        most = max(difference.flips, key=_how_far)
        moves = f" It moves {len(difference.flips)} of the recorded flips; furthest, {flip_moved_in_words(most)}."
    return (
        f"{difference.description} ({difference.id}): {difference.then} then, {difference.today} today{since}{law}. "
        f"Alone it changes the present worth by {cents(difference.effect, plus=True)} and the lead over keeping by "
        f"{cents(difference.effect_on_lead, plus=True)}.{moves}"
    )


def _how_far(flip: FlipMoved) -> float:
    return math.inf if flip.now is None else abs(flip.now - flip.then) / max(abs(flip.then), 1e-9)


def flip_moved_in_words(flip: FlipMoved) -> str:
    """Say where a recorded flip stood and where it stands now."""
    now = "nowhere now" if flip.now is None else f"now at {entered(flip.now, flip.unit)}"
    return f"{flip.label} ({flip.alternative} and {flip.against}): level at {entered(flip.then, flip.unit)}, {now}"


def rerun_flips(result: Rerun) -> Grid:
    """Return the recorded flips: entered, level at as recorded, level at now."""
    moved = {(flip.path, flip.alternative, flip.against): flip.now for flip in result.moved}
    rows = []
    for flip in result.record.flips:
        now = moved.get((flip.path, flip.alternative, flip.against), flip.flip)
        level = "nowhere" if now is None else entered(now, flip.unit)
        said = f"{flip.label}: {flip.alternative}" + ("" if flip.against == "keep" else f" and {flip.against}")
        rows.append(Row(said, (entered(flip.entered, flip.unit), entered(flip.flip, flip.unit), level)))
    return Grid(("entered", "flip, recorded", "flip, now"), tuple(rows))


def rerun_text(result: Rerun, width: int = WIDTH) -> str:
    """Return a record figured again as text: recorded and now side by side, then every difference of law."""
    record = result.record
    rows = tuple(
        Row(
            f.name,
            (
                cents(f.npv_less_keep, plus=True),
                cents(result[f.name].npv_less_keep, plus=True),
                cents(result[f.name].npv_less_keep - f.npv_less_keep, plus=True),
            ),
        )
        for f in record.answer
    )
    with_law = f"the law of {day(record.decided_on)}" if result.law == "then" else "the law of today"
    lines = [
        f"Decided on {day(record.decided_on)}: {record.chosen}. Figured again with {with_law}.",
        "",
        Grid(("recorded", "now", "difference"), rows).text(width),
        "",
    ]
    if record.flips:
        lines += ["What flips the answer:", rerun_flips(result).text(width), ""]
    said = []
    if result.same:
        said = ["Every figure is as recorded, to the cent.", "So is every value at which the answer flips."]
    elif result.answer == record.answer:
        said = ["Every figure is as recorded, to the cent."]
    if result.moved:
        nowhere = sum(flip.now is None for flip in result.moved)
        gone = f", {nowhere} of them to nowhere" if nowhere else ""
        said.append(f"{len(result.moved)} of {len(record.flips)} flips have moved{gone}.")
    said += [difference_in_words(difference) for difference in result.differences]
    if len(result.differences) > 1 and abs(result.together) >= 0.01:
        said.append(f"Acting together: {cents(result.together, plus=True)}.")
    said += result.findings
    for text in said:
        lines += wrap(text, width, "  - ")
    return "\n".join(lines)


def _html(text: str) -> str:
    return f'<pre class="mathjax_ignore">{escape(text)}</pre>'


shows(Record, record_text, lambda result: _html(record_text(result)))
shows(Rerun, rerun_text, lambda result: _html(rerun_text(result)))
