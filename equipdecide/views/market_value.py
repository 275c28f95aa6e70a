"""The band of a used machine's value as text and as an HTML fragment."""

from __future__ import annotations

from html import escape

from equipdecide.decide.market_value import MarketValue
from equipdecide.showing import shows
from equipdecide.views.grid import WIDTH, Grid, Row
from equipdecide.words import day, money, number, percent, wrap


def market_value_grids(result: MarketValue) -> tuple[Grid, ...]:
    """Return the bands, the curves, the premises, the comparables and the offers, each as a grid."""
    now, at_end = result.now, result.at_end
    bands = Grid(
        ("now", "at the end"),
        tuple(
            Row(label, (money(getattr(now, label)), money(getattr(at_end, label))))
            for label in ("low", "likely", "high")
        ),
    )
    curves = Grid(
        ("now", "at the end"),
        tuple(Row(name, (money(value), money(at_end.by_curve[name]))) for name, value in now.by_curve.items()),
    )
    rungs = Grid(
        ("low", "high"), tuple(Row(name, (money(low), money(high))) for name, (low, high) in result.rungs.items())
    )
    grids = [bands, curves, rungs]
    if result.comparables:
        rows = tuple(
            Row(c.what or day(c.day), (c.kind, money(c.price), number(c.age, 1), percent(c.share)))
            for c in result.comparables
        )
        grids.append(Grid(("kind", "price", "years old", "of new price"), rows))
    if result.offers:
        grids.append(
            Grid(("price", "against the band"), tuple(Row(o.name, (money(o.price), o.lies)) for o in result.offers))
        )
    return tuple(grids)


def _words(result: MarketValue) -> list[str]:
    now = result.now
    said = [
        f"{result.machine}, {number(result.age, 1)} years old, {money(result.cost)} new: {money(now.low)} to "
        f"{money(now.high)}, and that spread is the answer. 'Likely' is the {now.basis}. Market taken as "
        f"{percent(result.factor, 0)} of a usual one."
    ]
    if result.as_entered is not None:
        said.append(f"The file takes {money(result.as_entered)} for it at the end of the study.")
    return said


def market_value_text(result: MarketValue, width: int = WIDTH) -> str:
    """Return the band with what each figure of it is evidence of."""
    heads = ["", "By each curve, none of them an offer:", "By how it is sold:"]
    heads += ["Machines like it (an asking price is brought down first):"] if result.comparables else []
    heads += ["Offers there are:"] if result.offers else []
    lines = [line for said in _words(result) for line in wrap(said, width)]
    for head, grid in zip(heads, market_value_grids(result), strict=True):
        lines += ["", *([head] if head else []), grid.text(width)]
    lines += ["", "What each curve is evidence of:"]
    kinds: dict[str, list[str]] = {}
    for curve, words in result.evidence.items():
        kinds.setdefault(words, []).append(curve)
    for words, curves in kinds.items():
        lines += wrap(f"{'; '.join(curves)}: {words}.", width, "  - ")
    for text in [*(f.text for f in result.findings), *result.cautions]:
        lines += wrap(text, width, "  - ")
    return "\n".join(lines)


def market_value_html(result: MarketValue) -> str:
    """Return the same as an HTML fragment."""
    items = "".join(f"<li>{escape(text)}</li>" for text in [*(f.text for f in result.findings), *result.cautions])
    grids = "".join(grid.html() for grid in market_value_grids(result))
    return f'<div class="mathjax_ignore"><p>{escape(" ".join(_words(result)))}</p>{grids}<ul>{items}</ul></div>'


shows(MarketValue, market_value_text, market_value_html)
