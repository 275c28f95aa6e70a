"""How long to keep a machine, in words and as a table.

``life_text`` gives plain text, ``life_html`` the same as an HTML fragment.
"""

from __future__ import annotations

from html import escape

import numpy as np

from equipdecide.decide.service_life import ServiceLife
from equipdecide.showing import shows
from equipdecide.views.grid import WIDTH
from equipdecide.views.listing import Listing
from equipdecide.words import listed, money, wrap


def years_in_words(found: tuple[int, ...]) -> str:
    """Write years kept as stretches: "3 to 7", "4", "1 to 2 and 5"."""
    stretches: list[list[int]] = []
    for k in found:
        if stretches and k == stretches[-1][-1] + 1:
            stretches[-1].append(k)
        else:
            stretches.append([k])
    return listed(f"{one[0]} to {one[-1]}" if len(one) > 1 else str(one[0]) for one in stretches)


def life_headline(life: ServiceLife) -> str:
    """Say at how many years the annual cost is least, how flat it is there, and what the next year brings after tax."""
    least = float(np.asarray(life.before_tax.annual_cost).min())
    best = life.years_before_tax
    said = (
        f"The yearly cost of {life.machine} is least if kept {best} more year{'s' if best > 1 else ''}: "
        f"{money(least)} a year before tax."
    )
    if best == 1:
        said += " Every further year costs more."
    near = life.near_best
    if len(near) > 1:
        said += f" Kept {years_in_words(near)} years it is within 3 % of that."
    if life.years_before_tax == len(life.values):
        said += " The least stands at the end of the study: it may lie beyond."
    dearest = np.asarray(life.before_tax.marginal_cost)
    if not (np.diff(dearest) >= 0).all():
        low = int(dearest.argmin()) + 1
        said += (
            f" A year's own cost falls until year {low}: to judge by next year's cost alone would be to replace too early."
            if low > 1
            else " A year's own cost falls at some later time: to judge by next year's cost alone would mislead."
        )
    worth = life.next_year
    said += (
        f" After tax, earnings and loan counted, the next year of keeping {'brings' if worth >= 0 else 'costs'} "
        f"{money(abs(worth))} against selling today and doing without."
    )
    return said


def life_listing(life: ServiceLife) -> Listing:
    """Return cost and worth by years kept."""
    rows = tuple(
        (str(k + 1), money(float(life.values[k])), money(float(life.expenses[k])), money(float(life.before_tax.marginal_cost[k])), money(float(life.capital_recovery[k])),
         money(float(life.annual_expenses[k])), money(float(life.before_tax.annual_cost[k])) + (" *" if k + 1 == life.years_before_tax else "  "), money(float(life.annual_worth[k]), plus=True))
        for k in range(len(life.values))
    )  # fmt: skip
    heads = (
        "years kept",
        "worth then",
        "upkeep that year",
        "cost of that year",
        "loss in value a year",
        "upkeep a year",
        "cost a year",
        "worth a year, after tax",
    )
    return Listing(heads, rows, ())


LIFE_FOOT = (
    "Before tax: what it brings today is what keeping gives up; the loan does not count. Cost of that year: loss "
    "in value, interest forgone, upkeep. A year: level over the years kept. Worth a year after tax: the whole "
    "shop with the machine rather than sold today, its earnings included. * least."
)


def life_text(life: ServiceLife, width: int = WIDTH) -> str:
    """Return the economic service life as text."""
    return "\n".join(
        [*wrap(life_headline(life), width), "", life_listing(life).text(width), "", *wrap(LIFE_FOOT, width)]
    )


def life_html(life: ServiceLife) -> str:
    """Return the same as an HTML fragment."""
    return f'<div class="mathjax_ignore"><p>{escape(life_headline(life))}</p>{life_listing(life).html()}<p>{escape(LIFE_FOOT)}</p></div>'


shows(ServiceLife, life_text, life_html)
