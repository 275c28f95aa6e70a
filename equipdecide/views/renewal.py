"""In which year to replace, in words and as a table.

``replace_when_text`` gives plain text, ``replace_when_html`` the same as an HTML fragment.
"""

from __future__ import annotations

from html import escape

from equipdecide.decide.renewal import LOOKED_TO, ReplaceWhen
from equipdecide.showing import shows
from equipdecide.views.grid import WIDTH
from equipdecide.views.listing import Listing
from equipdecide.words import listed, money, percent, wrap


def _changes(result: ReplaceWhen) -> str:
    """Say what is supposed of the new machines of later years."""
    said = [
        *([f"{percent(result.cheaper)} cheaper"] if result.cheaper > 0 else []),
        *([f"{percent(-result.cheaper)} dearer"] if result.cheaper < 0 else []),
        *([f"{percent(abs(result.better))} {'better' if result.better > 0 else 'worse'}"] if result.better else []),
    ]
    if not said:
        return "If later machines cost and earn the same"
    return f"If each year's new machine is {listed(said)} than that of the year before"


def _year_of(result: ReplaceWhen, k: int) -> str:
    return "now" if k == 0 else f"in {k} year{'s' if k > 1 else ''}, in {result.decision.year + k}"


def replace_when_headline(result: ReplaceWhen) -> str:
    """Say in which year replacing is worth most, against now and never, and what would make waiting right."""
    over, first = result.over_never, result.first
    course = f"“{result.course}”"
    if first is None:
        nearest = int(over.argmax())
        said = (
            f"{_changes(result)}, {course} is in no year of the study worth more than keeping {result.machine}, before "
            f"tax and loans; nearest {_year_of(result, nearest)}, {money(-float(over[nearest]))} short."
        )
        return said
    said = f"{_changes(result)}, {course} is worth most if begun {_year_of(result, first)}: "
    said += f"{money(float(over[first]))} more than never"
    if first:
        said += f" and {money(float(over[first] - over[0]))} more than now"
    elif result.years > 1:
        said += f" and {money(float(over[0] - over[1]))} more than a year later"
    said += ", before tax and loans."
    again = [_year_of(result, k) for k in result.plan.replaced[1:]]
    if again:
        said += f" It is then worth doing again {listed(again)}."
    if first == 0:
        found = [
            *([f"{percent(result.waits_if_cheaper)} cheaper a year"] if result.waits_if_cheaper is not None else []),
            *([f"{percent(result.waits_if_better)} better a year"] if result.waits_if_better is not None else []),
        ]
        if found:
            said += f" Waiting would be right if new machines got at least {' or '.join(found)}."
        else:
            said += f" Waiting is not right even if new machines get {percent(LOOKED_TO)} cheaper or better every year."
    return said


def replace_when_listing(result: ReplaceWhen) -> Listing:
    """Return one row for each year in which to replace first."""
    rows = tuple(
        (
            ("now" if k == 0 else str(result.decision.year + k)) + (" *" if k == result.first else ""),
            money(result.price * (1 - result.cheaper) ** k),
            money(float(result.value[k])),
            money(float(result.kept[k])),
            money(float(result.renewed[k])),
            money(float(result.over_never[k]), plus=True),
        )
        for k in range(result.years)
    )
    heads = (
        "replaced first",
        "new machine then",
        "old one brings",
        "earned if kept",
        "earned by the course",
        "worth over never",
    )
    return Listing(heads, rows, ())


def replace_when_foot(result: ReplaceWhen) -> str:
    """Say what the table counts and what it leaves out."""
    return (
        f"Before tax and loans: the comparison counts both. Replacing costs the price and {money(result.change_over)} "
        f"of change-over each time. Earned: the whole shop in a year, running costs off; by the course in its first, "
        f"second, third year, whenever it is begun: a contract that ends on a day is thus moved with it. What is "
        f"owned at the end is sold. * worth most."
    )


def replace_when_text(result: ReplaceWhen, width: int = WIDTH) -> str:
    """Return in which year to replace as text."""
    return "\n".join(
        [
            *wrap(replace_when_headline(result), width),
            "",
            replace_when_listing(result).text(width),
            "",
            *wrap(replace_when_foot(result), width),
        ]
    )


def replace_when_html(result: ReplaceWhen) -> str:
    """Return the same as an HTML fragment."""
    return (
        f'<div class="mathjax_ignore"><p>{escape(replace_when_headline(result))}</p>'
        f"{replace_when_listing(result).html()}<p>{escape(replace_when_foot(result))}</p></div>"
    )


shows(ReplaceWhen, replace_when_text, replace_when_html)
