"""What would flip the answer, as text: the nearest first, with the extra hours that must be sold."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from equipdecide.decide.breakeven import Breakevens, Flip
from equipdecide.showing import shows
from equipdecide.views.grid import GAP, RULE, WIDTH, table_line
from equipdecide.words import entered, money, number, searched, whole, wrap


def flip_in_words(flip: Flip) -> str:
    """Say in one sentence what one flip is: input, value now, value at the flip, between which courses."""
    if flip.two_points is not None:
        no, yes = flip.two_points
        return (
            f"{flip.label}: a chance of {entered(flip.entered, flip.unit)}; if yes "
            f"{flip.alternative} leads {flip.against} by {money(yes)}, "
            f"if no by {money(no)}; even at a chance of {entered(flip.flip, flip.unit)}."
        )
    now, then = (f" ({week})" if week else "" for week in _a_week(flip))
    return (
        f"{flip.label}: {entered(flip.entered, flip.unit)}{now} now; at "
        f"{searched(flip.flip, flip.unit, flip.entered)}{then} {flip.alternative} and {flip.against} are worth the "
        f"same."
    )


def _a_week(flip: Flip) -> tuple[str, str]:
    """Write nights a year, as entered and at the flip, as nights a week; empty for any other input."""
    if flip.a_week is None:
        return "", ""
    now, then = flip.a_week
    return f"{number(now, 1)} a week", f"{number(then, 1)} a week"


def _of(count: int, reason: str) -> str:
    """Return the reason of one input as that of so many."""
    if count == 1:
        return reason
    for one, many in (
        ("it decides", "they decide"),
        ("it is a gate", "they are gates"),
        ("moving it", "moving them"),
        ("rests on it", "rests on them"),
    ):
        reason = reason.replace(one, many)
    return reason


def breakeven_text(result: Breakevens, width: int = WIDTH, most: int = 20) -> str:
    """Return what would flip the answer as text, the nearest first; at most `most` rows of each kind."""
    nearest = result.nearest
    lines = wrap(
        f"Nearest flip of {result.leader}. {flip_in_words(nearest)}"
        if nearest
        else f"Nothing searched flips {result.leader}.",
        width,
    )
    inside = [flip for flip in result.flips if flip.inside_range]
    outside = [flip for flip in result.flips if not flip.inside_range]
    for head, flips in (("Within your own ranges", inside), ("Beyond your ranges, or where none is given", outside)):
        if not flips:
            continue
        shown = flips[:most]
        lines += ["", f"{head}:", *_flip_rows(shown, width)]
        if len(flips) > most:
            lines.append(f"  and {len(flips) - most} more")
    if result.extra_hours:
        lines += ["", "Extra good hours a year, above what keeping sells:"]
        for one in result.extra_hours:
            if one.believed <= 0:
                lines += wrap(f"{one.alternative}: sells no hour beyond those of keep.", width, "  - ")
                continue
            need = "more than are believed" if one.needed is None else whole(one.needed)
            lines += wrap(
                f"{one.alternative}: {need} must be sold to be worth as much as keep; "
                f"{whole(one.believed)} are believed.",
                width,
                "  - ",
            )
    if result.excluded:
        reasons: dict[str, int] = {}
        for item in result.excluded:
            reasons[item.reason] = reasons.get(item.reason, 0) + 1
        lines += [
            "",
            *wrap(
                "Not moved: "
                + "; ".join(
                    f"{count} input{'' if count == 1 else 's'} because {_of(count, reason)}"
                    for reason, count in reasons.items()
                )
                + ".",
                width,
            ),
        ]
    return "\n".join(lines)


def _flip_rows(flips: Sequence[Flip], width: int) -> list[str]:
    cells = [
        (entered(f.entered, f.unit), searched(f.flip, f.unit, f.entered), f"{f.alternative} = {f.against}")
        for f in flips
    ]
    weeks = [_a_week(f) for f in flips]  # stand below the nights a year
    now, then = (max([len(cell[k]) for cell in [*cells, *weeks]] + [7]) for k in (0, 1))
    pair = min(max(len(cell[2]) for cell in cells), max(width // 4, 18))
    labels = max(width - now - then - pair - 3 * GAP, 24)
    lines = [
        table_line("input", ["now", "flip at"], labels, [now, then]) + " " * GAP + "equally good",
        RULE * (labels + now + then + pair + 3 * GAP),
    ]
    for flip, cell, week in zip(flips, cells, weeks, strict=True):
        names, sides = wrap(flip.label, labels, "", "  "), wrap(cell[2], pair)
        for n in range(max(len(names), len(sides), 2 if any(week) else 1)):
            name = names[n] if n < len(names) else ""
            side = sides[n] if n < len(sides) else ""
            lines.append(
                (
                    table_line(name, cell[:2] if n == 0 else week if n == 1 else ("", ""), labels, [now, then]).ljust(
                        labels + now + then + 2 * GAP
                    )
                    + " " * GAP
                    + side
                ).rstrip()
            )
    return lines


def breakeven_html(result: Breakevens) -> str:
    """Return what would flip the answer as an HTML fragment."""
    return f'<pre class="mathjax_ignore">{escape(breakeven_text(result))}</pre>'


shows(Breakevens, breakeven_text, breakeven_html)
