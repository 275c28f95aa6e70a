"""The sale as a table: settlements side by side, gain, tax and what is left."""

from __future__ import annotations

from collections.abc import Callable

from equipdecide.cautions import ESTIMATE, caution
from equipdecide.decide.sale import RouteResult, SaleResult
from equipdecide.showing import shows
from equipdecide.views.finding_lists import findings_html, findings_text
from equipdecide.views.grid import WIDTH, Grid, Row, section
from equipdecide.words import cents, day, whole, wrap


def sale_grid(result: SaleResult) -> Grid:
    """Return the settlements side by side: money to the cent, then gain and tax in whole dollars."""
    routes = result.routes

    def row(label: str, write: Callable[[RouteResult], str], line_above: bool = False) -> Row:
        return Row(label, tuple(write(route) for route in routes), line_above)

    def settled(column: str, minus: bool = False) -> Callable[[RouteResult], str]:
        def write(route: RouteResult) -> str:
            value = route.ledger.column(f"settlement {result.machine}.{column}").figure()
            return cents(-value) if minus else cents(value)

        return write

    traded = any(r.over_allowance for r in routes)
    rows = [
        row("sold on", lambda r: day(r.sold_on)),
        row("paid on", lambda r: day(r.paid_on)),
        Row("Settlement"),
        row("price", lambda r: cents(r.gross)),
        row("commission", settled("commission", minus=True)),
        row("costs of selling", settled("costs", minus=True)),
        row("payoff to lender", lambda r: cents(-r.payoff)),
        row("release of the lien", lambda r: cents(-r.other_costs)),
        row("net cash before tax", lambda r: cents(r.net_cash), line_above=True),
    ]
    if any(r.payoff_by_schedule is not None for r in routes):
        rows.append(
            row("  or, by schedule", lambda r: cents(r.payoff_by_schedule) if r.payoff_by_schedule is not None else "")
        )
        rows.append(
            row(
                "  net, by schedule",
                lambda r: cents(r.net_cash_by_schedule) if r.net_cash_by_schedule is not None else "",
            )
        )
    rows += [
        Row("Gain, for tax"),
        row("amount realized", lambda r: whole(r.amount_realized)),
        row("adjusted basis", lambda r: whole(r.adjusted_basis)),
        row("gain", lambda r: whole(r.gain), line_above=True),
        row("  ordinary recapture", lambda r: whole(r.ordinary_recapture)),
        row("  section 1231", lambda r: whole(r.section_1231)),
        Row("Tax on the sale alone"),
    ]
    owners = list(dict.fromkeys(owner for r in routes for owner in r.tax_by_owner))
    rows += [row(f"  {owner}", _tax_of(owner)) for owner in owners]
    rows.append(row("tax", lambda r: whole(r.tax), line_above=len(owners) > 1))
    for when in sorted({when for r in routes for when, _ in r.tax_due}):
        rows.append(row(f"  due {day(when)}", _due_on(when)))
    rows += [
        Row("What is left"),
        row("after costs and tax", lambda r: whole(r.after_tax)),
        row("net cash less tax", lambda r: whole(r.cash_less_tax)),
    ]
    if traded:  # the allowance is more than the machine is worth: the next one costs that much more
        rows += [
            row("lost by trading", lambda r: whole(-r.over_allowance)),
            row("left in all", lambda r: whole(r.left_in_all), line_above=True),
        ]
    if any(r.paid_until_sold >= 0.005 for r in routes):  # sold later: the lender is owed less because it was paid
        rows += [
            row("loan paid till then", lambda r: whole(-r.paid_until_sold)),
            row("like for like", lambda r: whole(r.like_for_like), line_above=True),
        ]
    return Grid(tuple(r.name for r in routes), tuple(rows))


def _tax_of(owner: str) -> Callable[[RouteResult], str]:
    return lambda route: whole(route.tax_by_owner[owner]) if owner in route.tax_by_owner else ""


def _due_on(when: object) -> Callable[[RouteResult], str]:
    return lambda route: next((whole(amount) for day_due, amount in route.tax_due if day_due == when), "")


def sale_headline(result: SaleResult) -> str:
    """Say what the sale leaves by the first route, and between what ends the others lie."""
    first = result.routes[0]
    owed = f" after the lender's {cents(first.payoff)}" if first.payoff else ""
    left = first.cash_less_tax
    end = f"{whole(left)} left" if left >= 0 else f"short by {whole(abs(left))}"
    said = (
        f"{first.name}: {result.machine} leaves {cents(first.net_cash)}{owed}; tax on the gain of "
        f"{whole(first.gain)} is {whole(first.tax)}: {end}."
    )
    if len(result.routes) > 1:
        low, high = (pick(result.routes, key=lambda r: r.like_for_like) for pick in (min, max))
        said += (
            f" Over all routes what is left goes from {whole(low.like_for_like)} ({low.name}) to "
            f"{whole(high.like_for_like)} ({high.name})"
        )
        meanwhile = any(r.paid_until_sold >= 0.005 for r in result.routes)
        said += ", loan payments until the sale counted." if meanwhile else "."
    return said


LATER_SALE = (
    "A route that is settled later owes the lender less only because payments on the loan go on until then: "
    "compare the last line, which has them off. What waiting itself costs is in `routes`."
)


def sale_text(result: SaleResult, width: int = WIDTH, full: bool = False) -> str:
    """Return the settlements side by side with findings as text."""
    lines = [
        *wrap(f"Sale of {result.machine}, handed over on {day(result.date)}", width),
        "",
        *wrap(sale_headline(result), width),
        "",
        sale_grid(result).text(width),
    ]
    if any(r.paid_until_sold >= 0.005 for r in result.routes):
        lines += ["", *wrap(LATER_SALE, width)]
    # a route that covers its tax needs no sentence beside its column
    found = findings_text(
        [f for f in result.findings if f.code != "tax_against_cash" or f.weight == "warning"], width, full
    )
    lines += ["", found] if found else []
    lines.append("")
    for one in (caution("tax_follows_gain"), caution("payoff"), ESTIMATE):
        lines += wrap(one.text, width)
    return "\n".join(lines)


def sale_html(result: SaleResult) -> str:
    """Return the settlements side by side as an HTML fragment."""
    return section(sale_headline(result), sale_grid(result), findings_html(result.findings))


shows(SaleResult, sale_text, sale_html)
