"""When, and whose guesses, in words and tables: how long to keep it, the month to sell in, waiting, partners' own figures.

``life_text``, ``sell_when_text``, ``waiting_text``, ``whose_text`` give plain text; ``..._html`` the same as an HTML fragment.
"""

from __future__ import annotations

from html import escape

import numpy as np

from equipdecide.decide.timing import SellWhen, ServiceLife, Waiting
from equipdecide.decide.whose import Deciding, Whose
from equipdecide.showing import shows
from equipdecide.views.grid import WIDTH, Grid, Row
from equipdecide.views.listing import Listing
from equipdecide.words import day, entered, listed, money, percent, short_label, wrap

# --- how long to keep it


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


# --- now or later


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


# --- waiting


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


# --- whose guesses


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


shows(ServiceLife, life_text, life_html)
shows(SellWhen, sell_when_text, sell_when_html)
shows(Waiting, waiting_text, waiting_html)
shows(Whose, whose_text, whose_html)
