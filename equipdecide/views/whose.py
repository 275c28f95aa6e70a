"""The answer under each partner's own figures, in words and as a table: plain text, and the same as
an HTML fragment.
"""

from __future__ import annotations

from html import escape

from equipdecide.decide.whose import Deciding, Whose
from equipdecide.showing import shows
from equipdecide.views.grid import WIDTH, Grid, Row
from equipdecide.words import entered, listed, money, short_label, wrap


def whose_headline(result: Whose) -> str:
    """Say whether all sets of figures lead to the same course, and which difference decides."""
    if len(result.views) == 1:
        return (
            f"Nobody has figures of their own in this file; as entered the choice is {result.views[0].choice}. Write "
            f"them under `guesses:`."
        )
    if result.agree:
        return f"All come to the same course, {result.views[0].choice}: the differences of opinion do not decide."
    said = "; ".join(f"{view.name}: {view.choice}" for view in result.views)
    decisive = [one for one in result.deciding if one.choice != result.views[0].choice]
    if not decisive:
        return f"They differ ({said}), and no single figure alone makes the difference."
    return (
        f"They differ ({said}). It hangs on {listed(dict.fromkeys(short_label(one.label) for one in decisive))}: "
        f"agree on that first."
    )


def whose_grid(result: Whose) -> Grid:
    """Return worth less keep of every course under each set of figures, the sets side by side."""
    names = [name for name in result.views[0].npv if name != "keep"]
    rows = [Row(name, tuple(money(view.less_keep(name), plus=True) for view in result.views)) for name in names]
    rows.append(Row("chosen", tuple(view.choice for view in result.views), line_above=True))
    return Grid(tuple(view.name for view in result.views), tuple(rows))


def _deciding_words(one: Deciding) -> str:
    where = f"{one.partner} says {entered(one.theirs, one.unit)} where {entered(one.entered, one.unit)} is entered"
    return (
        f"{short_label(one.label)}: {where}. With it {one.partner} chooses {one.choice}, without it "
        f"{one.choice_without}."
    )


def whose_text(result: Whose, width: int = WIDTH) -> str:
    """Return the views as text, and each figure that decides."""
    lines = [*wrap(whose_headline(result), width), "", whose_grid(result).text(width)]
    own = [(view.name, *result.inputs[path], value) for view in result.views for path, value in view.values.items()]
    if own:
        lines += ["", "Their own figures:"]
        for name, label, unit, before, value in own:
            lines += wrap(
                f"{name}: {short_label(label)} {entered(value, unit)}, not {entered(before, unit)}", width, "  - "
            )
    if result.deciding:
        lines += ["", "What decides:"]
        for one in result.deciding:
            lines += wrap(_deciding_words(one), width, "  - ")
    return "\n".join(
        [*lines, "", *wrap("Worth less keep, present worth after tax; all other figures as entered.", width)]
    )


def whose_html(result: Whose) -> str:
    """Return the same as an HTML fragment."""
    items = "".join(f"<li>{escape(_deciding_words(one))}</li>" for one in result.deciding)
    return f'<div class="mathjax_ignore"><p>{escape(whose_headline(result))}</p>{whose_grid(result).html()}<ul>{items}</ul></div>'


shows(Whose, whose_text, whose_html)
