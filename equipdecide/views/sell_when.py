"""The month to sell in, in words and as a table: plain text, and the same as an HTML fragment."""

from __future__ import annotations

from html import escape

from equipdecide.decide.sell_when import SellWhen
from equipdecide.showing import shows
from equipdecide.views.grid import WIDTH
from equipdecide.views.listing import Listing
from equipdecide.words import day, money, wrap


def sell_when_headline(result: SellWhen) -> str:
    """Say in which month the course is worth most, and what waiting until then gains on today."""
    now, best, last = result.months[0], result.best, result.months[-1]
    what = f"Selling {result.machine} alone" if result.alternative == "sell" else f"“{result.alternative}”"
    if len(result.months) == 1:
        return f"{what} can only be done now within the study."
    if best is now:
        said = f"{what} is worth most now: {money(now.npv - last.npv)} more than {last.months} months later."
    else:
        said = (
            f"{what} is worth most after {best.months} month{'s' if best.months > 1 else ''}, on "
            f"{day(best.sold_on)}: {money(best.npv - now.npv)} more than now."
        )
        if best is last:
            said += " That is the last month looked at: every month of keeping is worth more than selling."
    said += f" Cash from the sale goes from {money(now.net_cash)} now to {money(last.net_cash)} on {day(last.sold_on)}."
    if now.npv_less_keep < 0 and best.npv_less_keep < 0:
        said += " In no month is it better than keeping."
    return said


def sell_when_listing(result: SellWhen) -> Listing:
    """Return the months as a list: price, lender, cash, worth less keep."""
    tested = any(m.affordable is not None for m in result.months)
    rows = [
        (
            f"{day(m.sold_on)}{' *' if m is result.best else ''}",
            money(m.price),
            money(m.payoff),
            money(m.net_cash),
            money(m.npv_less_keep, plus=True),
            *([{True: "yes", False: "no", None: ""}[m.affordable]] if tested else []),
        )
        for m in result.months
    ]
    heads = (
        "sold on",
        "price",
        "to the lender",
        "cash from the sale",
        "worth less keep",
        *(["affordable"] if tested else []),
    )
    return Listing(heads, tuple(rows))


SELL_FOOT = (
    "The price falls at an even rate to what the machine brings at the end of the study; prices of what is bought "
    "stay as quoted. Cash is before tax. * worth most."
)


def sell_when_text(result: SellWhen, width: int = WIDTH) -> str:
    """Return the months as text."""
    return "\n".join(
        [
            *wrap(sell_when_headline(result), width),
            "",
            sell_when_listing(result).text(width),
            "",
            *wrap(SELL_FOOT, width),
        ]
    )


def sell_when_html(result: SellWhen) -> str:
    """Return the same as an HTML fragment."""
    return f'<div class="mathjax_ignore"><p>{escape(sell_when_headline(result))}</p>{sell_when_listing(result).html()}<p>{escape(SELL_FOOT)}</p></div>'


shows(SellWhen, sell_when_text, sell_when_html)
