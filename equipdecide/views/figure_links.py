"""Figures that several parts of a page show, each with its link to how it is found."""

from __future__ import annotations

import datetime as dt

from equipdecide.decide.breakeven import ExtraHours, Flip
from equipdecide.decide.compare import Outcome
from equipdecide.decide.sale import RouteResult
from equipdecide.scenario.amounts import Amount
from equipdecide.views import charts
from equipdecide.views.explained import Linked, marked
from equipdecide.views.parts import Page
from equipdecide.words import cents, day, listed, money, number, whole


def hours_link(page: Page, hours: ExtraHours) -> str:
    """Return the extra hours that must be sold, as a link to how they are found."""
    needed = hours.needed
    return page.explained.told(
        ("hours needed",),
        f"“{hours.alternative}”: extra good hours a year that must be sold = "
        + (f"{number(needed, 1)} h" if needed is not None else f"more than {number(hours.believed, 1)} h"),
        whole(needed) if needed is not None else f"over {whole(hours.believed)}",
        "Searched for: demand beyond what keeping sells is cut back by one share for all parts until present worth is "
        f"level with keeping. “{hours.alternative}” beats keeping as soon as more than that is ordered.",
    )


def believed_link(page: Page, hours: ExtraHours) -> str:
    """Return the extra hours believed, as a link to how they are found."""
    return page.explained.told(
        ("hours believed",),
        f"“{hours.alternative}”: extra good hours a year believed = {number(hours.believed, 1)} h",
        whole(hours.believed),
        f"Good hours sold by “{hours.alternative}” less those of keeping, over the study, divided by its years: orders as "
        "entered, within the hours that the machine can make. Both are the column contribution.hours_sold.",
    )


def extra_hours(page: Page) -> ExtraHours | None:
    """Return the extra hours of the page's own course; None without parts."""
    return next((h for h in page.flips.extra_hours if h.alternative == page.course.name), None)


def flip_links(page: Page, flip: Flip) -> tuple[str, str]:
    """Return an input as entered and at its flip, each as a link: to its giver, and to how the flip
    was searched for.
    """
    label, other = charts.flip_label(flip), charts.other_course(flip, page.course.name)
    low, high = (charts.in_unit(end, flip.unit, exact=True) for end in flip.searched)
    if flip.two_points is None:
        how = (
            f"Searched for between {low} and {high}, all other inputs as entered, until the present worths are the "
            f"same to a millionth of the input. Every column that rests on the input is computed again at each try."
        )
        crossings = f" The lead turns {len(flip.all)} times there; this is the nearest." if len(flip.all) > 1 else ""
    else:
        no, yes = flip.two_points
        how = (
            f"A yes/no doubt: the lead over “{other}” is {cents(no, plus=True)} if no and {cents(yes, plus=True)} if "
            f"yes; at this chance it is nothing on average."
        )
        crossings = ""
    return (
        page.explained.input(flip.path, charts.in_unit(flip.entered, flip.unit, exact=True)),
        page.explained.told(
            ("flip", flip.path, other),
            f"{label}: level with “{other}” at {charts.in_unit(flip.flip, flip.unit)}",
            charts.in_unit(flip.flip, flip.unit),
            how + crossings,
        ),
    )


def tax_link(page: Page, route: RouteResult) -> str:
    """Return the tax on a sale alone as a link; the shares of owners this page leaves out are not written there."""
    shown = [name for name in route.tax_by_owner if not page.hidden(f"owners.{name}")]
    shares = {name: cents(route.tax_by_owner[name]) for name in shown}
    if page.ten.sale is not None and route.name == page.ten.sale.name:
        shares |= {
            name: page.explained.column(route, f"tax on the sale {name}.tax", figure) for name, figure in shares.items()
        }
    made = listed(f"{name} {amount}" for name, amount in shares.items())
    rest = " The other owners' shares are left out of this copy." if len(shown) < len(route.tax_by_owner) else ""
    return page.explained.told(
        ("tax on the sale", route.name),
        f"sale by “{route.name}” alone: tax of all owners = {cents(route.tax)}",
        money(route.tax),
        "Each owner's federal and state return as filed, less the same return with this sale struck out.",
        marked(f"{made}.{rest}" if made else rest.strip(), *shares.values()),
    )


def due_link(page: Page, route: RouteResult, when: dt.date, amount: float) -> str:
    """Return what of the tax on a sale falls on one day, as a link."""
    return page.explained.told(
        ("due", route.name, when),
        f"sale by “{route.name}” alone: tax due {day(when)} = {cents(amount)}",
        money(amount),
        "The part of that tax that falls on this day: what each owner's estimates and balance come to with the sale, "
        "less what they come to without it.",
    )


def lowest_link(page: Page, outcome: Outcome) -> str:
    """Return the lowest cash of a course as a link; empty where cash is not tested."""
    low = outcome.cash_low
    return page.explained.column(outcome, "cash test.lowest", money(low.amount)) if low else ""


def provenance(amount: Amount | None) -> str:
    """Say who gave a figure, how and when: "guess, Walt"."""
    if amount is None or not amount.given_by:
        return "not said"
    return ", ".join(part for part in (amount.given_by, amount.by, amount.on) if part)


def left_link(page: Page, route: RouteResult) -> str:
    """Return what a sale leaves after its tax, like for like with the other routes, as a link."""
    left = route.like_for_like
    tax, lost = tax_link(page, route), route.over_allowance
    made = f"Net cash {cents(route.net_cash)} less tax {cents(route.tax)}"
    made += f" less the discount on the next machine that the trade gives up, {cents(lost)}" if lost > 0.005 else ""
    paid = route.paid_until_sold
    made += f" less {cents(paid)} paid on its loan between handing over and the sale" if paid > 0.005 else ""
    return page.explained.told(
        ("left", route.name),
        f"sale by “{route.name}” alone: left after that tax = {cents(left)}",
        money(left) if left >= 0 else f"short by {money(-left)}",
        marked(f"{made}.", Linked(cents(route.tax), tax.anchor) if isinstance(tax, Linked) else ""),
    )
