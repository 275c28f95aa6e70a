"""What waiting is worth, in words and as a table: plain text, and the same as an HTML fragment."""

from __future__ import annotations

from html import escape

from equipdecide.decide.waiting import Waiting
from equipdecide.showing import shows
from equipdecide.views.grid import WIDTH
from equipdecide.views.listing import Listing
from equipdecide.words import day, money, percent, wrap


def waiting_headline(result: Waiting) -> str:
    """Say whether to wait for the answer to a doubt, and what it costs or gains."""
    if result.value > 0:
        said = (
            f"Wait until {day(result.on)} to know whether {result.question}: it is worth {money(result.value)} more "
            f"than the best course today, {result.now}."
        )
    else:
        said = (
            f"Do not wait until {day(result.on)} to know whether {result.question}: waiting is worth "
            f"{money(-result.value)} less than {result.now} today."
        )
    if result.value_of_knowing < 1:
        return said + " The answer would change nothing: even known today, it is not worth paying for."
    return said + f" Knowing the answer today would be worth {money(result.value_of_knowing)}: ask before you sign."


def waiting_listing(result: Waiting) -> Listing:
    """Return the three ways as a list: now, wait, known today."""
    rows = (
        (f"today, without knowing: {result.now}", money(result.worth_now), "0"),
        (
            f"wait; if no {result.then_no}, if yes {result.then_yes}",
            money(result.worth_waiting),
            money(result.value, plus=True),
        ),
        ("if the answer were known today", money(result.if_known), money(result.value_of_knowing, plus=True)),
    )
    return Listing(("way", "present worth", "against today"), rows)


def _waiting_foot(result: Waiting) -> str:
    return (
        f"Present worth after tax on average over both answers; the chance of yes is {percent(result.chance)}. "
        f"Courses that wait start as many months later; the price of the machine falls meanwhile."
    )


def waiting_text(result: Waiting, width: int = WIDTH) -> str:
    """Return what waiting is worth as text."""
    return "\n".join(
        [
            *wrap(waiting_headline(result), width),
            "",
            waiting_listing(result).text(width),
            "",
            *wrap(_waiting_foot(result), width),
        ]
    )


def waiting_html(result: Waiting) -> str:
    """Return the same as an HTML fragment."""
    return f'<div class="mathjax_ignore"><p>{escape(waiting_headline(result))}</p>{waiting_listing(result).html()}<p>{escape(_waiting_foot(result))}</p></div>'


shows(Waiting, waiting_text, waiting_html)
