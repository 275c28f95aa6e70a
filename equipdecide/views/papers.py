"""The papers of a course as text: lines of forms by tax year, elections by last day."""

from __future__ import annotations

from html import escape

from equipdecide.decide.papers import Papers
from equipdecide.showing import shows
from equipdecide.views.grid import WIDTH
from equipdecide.words import whole, wrap


def papers_text(result: Papers, year: int | None = None, width: int = WIDTH) -> str:
    """Return the lines of one tax year (the first, where none is named) and all elections that are open."""
    years = sorted({when for when, _ in result.lines})
    if not years:
        return f"{result.alternative}: nothing lands on Forms 4562 and 4797."
    chosen = year if year is not None else years[0]
    blocks = [f"{result.alternative}, tax year {chosen}: where the figures land, by the lines of the forms of 2025"]
    for one in result.of_year(chosen):
        about = f", {one.about}" if one.about else ""
        said = wrap(f"{one.meaning}{about}", max(width - 38, 20))
        blocks.append(f"  {one.form:<18} {one.line:>4} {whole(one.amount):>12}  " + f"\n{'':41}".join(said))
    others = ", ".join(str(when) for when in years if when != chosen)
    if others:
        blocks.append(f"\nOther years with figures: {others}.")
    if result.elections:
        blocks.append("\nWhat may still be elected, and by when")
    for choice in result.elections:
        blocks += wrap(
            f"{choice.last_day.isoformat()}  {choice.what} ({choice.about}): {choice.how}. {choice.source}.", width
        )
    foot = "Days are those of calendar years, for an original return or its extension. A preparer confirms every line."
    return "\n".join([*blocks, "", *wrap(foot, width)])


shows(Papers, papers_text, lambda result: f'<pre class="mathjax_ignore">{escape(papers_text(result))}</pre>')
