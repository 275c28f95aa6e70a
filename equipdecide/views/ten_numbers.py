"""The ten numbers of a page, in their order."""

from __future__ import annotations

from equipdecide.views import charts
from equipdecide.views.explained import marked
from equipdecide.views.figure_links import (
    believed_link,
    due_link,
    extra_hours,
    flip_links,
    hours_link,
    left_link,
    lowest_link,
    tax_link,
)
from equipdecide.views.parts import Page, Part, Row, Table
from equipdecide.words import day, money, month, number, percent


def first_table(page: Page) -> Part:
    """The ten numbers, in their order."""
    course = page.course
    rows = [
        _lead_row(page),
        _flip_row(page),
        *_sale_rows(page),
        _own_money_row(page),
        _cash_row(page),
        _payments_row(page),
        _hours_row(page),
        _guarantee_row(page),
    ]
    table = Table(
        f"For “{course.name}”, {_standing(page)}", ("What", "Figure", "In words"), tuple(rows), words=(2,), look="ten"
    )
    return Part("ten-numbers", "Ten numbers", (table,))


def _own_money_row(page: Page) -> Row:
    t, course, x = page.ten, page.course, page.explained
    own = x.column(course, "own money.needed", money(t.own_money_needed))
    said = f"First good part {day(t.first_good_part)}."
    if t.largest_payment is None:
        return Row("Own money needed before the first good part", (own, f"{said} Nothing is bought."))
    paid = t.largest_payment
    amount = x.line(course, course.line(paid.what, "shop"), money(paid.amount))
    said += f" Largest payment {amount} on {day(paid.day)}: {paid.what}."
    return Row("Own money needed before the first good part", (own, marked(said, amount)))


def _standing(page: Page) -> str:
    if page.comparison.best is None:
        return "the course of highest worth; none can be paid for"
    return (
        "the best course that can be paid for"
        if page.ten.cash_low and page.ten.cash_floor is not None
        else "the best course"
    )


def _lead_row(page: Page) -> Row:
    lead, study, c, x = page.ten.lead, page.comparison.scenario.study, page.comparison, page.explained
    rate = x.input("study.rate", percent(float(study.rate)))
    basis = f"Present worth after tax, {study.years} years at {rate}."
    second = ""
    if lead.runner_up is None or lead.over_runner_up is None:
        over = "Nothing else can be chosen."
    elif lead.runner_up == "keep":
        over = "Keeping is the next best."
    else:
        second = x.less(page.course, c[lead.runner_up], money(lead.over_runner_up))
        over = f"Over the next best, “{lead.runner_up}”: {second}."
    if lead.course == "keep" and lead.over_runner_up is not None and lead.runner_up is not None:
        ahead = x.less(c.keep, c[lead.runner_up], money(lead.over_runner_up, plus=True))
        return Row(f"Lead of keeping over the next best, “{lead.runner_up}”", (ahead, marked(basis, rate)))
    ahead = x.less(page.course, c.keep, money(lead.over_keep, plus=True))
    return Row(f"Lead of “{lead.course}” over keeping", (ahead, marked(f"{over} {basis}", second, rate)))


def _flip_row(page: Page) -> Row:
    near = page.flips.nearest
    if near is None:
        return Row("Nearest flip", ("none", "No single input, moved alone within what was searched, turns the lead."))
    now, then = flip_links(page, near)
    inside = (
        "Inside the range given."
        if near.inside_range
        else "Outside the range given."
        if near.share_of_range is not None
        else ""
    )
    return Row(
        "Nearest flip",
        (
            marked(f"{now} → {then}", now, then),
            marked(
                f"{charts.flip_label(near)}: at {then} it is level with "
                f"“{charts.other_course(near, page.course.name)}”. {inside}".rstrip(),
                then,
            ),
        ),
    )


def _sale_rows(page: Page) -> list[Row]:
    t, route = page.ten, page.ten.sale
    if route is None:
        none = ("none", "No course sells the machine.")
        return [
            Row("Cash from the sale, after lender and costs", none),
            Row("Tax on the sale alone", none),
            Row("Left after that tax", none),
        ]
    machine, x = page.comparison.scenario.offers[route.name].machine, page.explained
    whose = (
        ""
        if t.sale_is_part
        else f"“{page.course.name}” does not sell {machine}; sold by “{route.name}” on {day(route.sold_on)} it would leave this. "
    )
    when = f"Sold {day(route.sold_on)}, paid {day(route.paid_on)}." if t.sale_is_part else f"Paid {day(route.paid_on)}."
    if t.credited_on is not None:
        when += f" Credited to the order of the next machine on {day(t.credited_on)}: until then that dealer's promise."
    own = {name: amount for name, amount in route.tax_by_owner.items() if not page.hidden(f"owners.{name}")}
    paid = [x.column(route, f"tax on the sale {name}.tax", money(amount)) for name, amount in own.items()]
    shares = "; ".join(f"{name} {amount}" for name, amount in zip(own, paid, strict=True))
    days = [due_link(page, route, when_due, amount) for when_due, amount in route.tax_due]
    due = "; ".join(f"{amount} on {day(when)}" for amount, (when, _) in zip(days, route.tax_due, strict=True))
    lost, tax = route.over_allowance, tax_link(page, route)
    discount = x.column(route, f"settlement {machine}.over_allowance", money(lost)) if lost > 0.005 else ""
    end = (
        f"Less {discount} of discount on the next machine that the trade gives up."
        if lost > 0.005
        else "Cash at the closing less that tax."
    )
    if t.credited_on is not None and route.tax > 0:
        end = f"A credit pays no tax: the {tax} must come from elsewhere."
    net = x.column(route, f"settlement {machine}.net_cash", money(route.net_cash))
    said = f"{shares + '. ' if shares else ''}Due {due}." if due else "No tax falls due on it."
    return [
        Row("Cash from the sale, after lender and costs", (net, whose + when)),
        Row("Tax on the sale alone", (tax, marked(said, *paid, *days))),
        Row("Left after that tax", (left_link(page, route), marked(end, discount or tax))),
    ]


def _cash_row(page: Page) -> Row:
    low, floor, x = page.ten.cash_low, page.ten.cash_floor, page.explained
    if low is None:
        return Row(
            "Lowest cash of the shop",
            ("not tested", "No cash in the bank was given, so whether the shop can pay is not tested."),
        )
    if floor is None:
        return Row(
            "Lowest cash of the shop",
            (lowest_link(page, page.course), f"End of {month(low.month)}. No floor was given, so it is not tested."),
        )
    gap = x.column(page.course, "cash test.margin", money(abs(low.amount - floor)))
    least = x.input("shop.cash_floor", money(floor))
    said = f"End of {month(low.month)}. Floor {least}: {gap} {'above' if low.amount >= floor else 'under'} it."
    return Row("Lowest cash of the shop", (lowest_link(page, page.course), marked(said, least, gap)))


def _payments_row(page: Page) -> Row:
    t, course, x = page.ten, page.course, page.explained
    if t.payments is None:
        return Row("Loan payments a month", ("", "The study is in whole years."))
    first = page.comparison.evaluation.time.cash.labels[1]
    before = x.column(page.comparison.keep, "cash.all debt service", money(t.payments.before), first)
    after = x.column(course, "cash.all debt service", money(t.payments.after), t.payments.after_month)
    said, links = f"From {month(t.payments.after_month)}.", []
    if t.coverage is not None:
        worst, required = x.column(course, "coverage.worst", number(t.coverage.worst)), t.coverage.required
        links = [worst, x.input("shop.coverage_required", number(required)) if required is not None else ""]
        asked = f", {links[1]} asked" if required is not None else ""
        said += (
            f" Coverage in the worst year, {t.coverage.year}: {worst} times{asked} (operating cash before tax and "
            f"drawings over the year's loan payments)."
        )
    elif t.payments.after < 0.5:
        said += " Nothing is owed then."
    else:
        said += " Coverage is not shown: what the business earns is not in the scenario."
    return Row(
        "Loan payments a month, now and then",
        (marked(f"{before} → {after}", before, after), marked(said, *links)),
    )


def _hours_row(page: Page) -> Row:
    head = "Extra good hours a year that must be sold"
    found = extra_hours(page)
    if page.course.name == "keep":
        return Row(head, ("none", "Keeping asks for no further orders."))
    if found is None:
        return Row(head, ("", "Hours and parts are not in the scenario."))
    if found.believed < 0.5:
        return Row(head, (believed_link(page, found), "This course sells no more hours than keeping does."))
    needed, believed = hours_link(page, found), believed_link(page, found)
    ahead = " It is ahead of keeping without any." if found.needed == 0 else ""
    return Row(head, (needed, marked(f"To come level with keeping; {believed} are believed.{ahead}", believed)))


def _guarantee_row(page: Page) -> Row:
    found = [behind for behind in page.ten.guarantees if behind.owner in page.owners]
    if not found:
        return Row(
            "Guarantees, and the shortfall behind them",
            ("none", "No debt on a machine, or no owners, in the scenario."),
        )
    x, links, said = page.explained, [], []
    for b in found:
        limit = "" if b.limit is None else x.input(f"owners.{b.owner}.guarantees", money(b.limit))
        short = x.column(page.course, f"guarantees.behind {b.owner}", money(b.shortfall))
        said.append(f"{b.owner} guarantees {f'up to {limit}' if limit else 'all debts'}, {short} behind it")
        links += [limit, short]
    most = max(found, key=lambda behind: behind.shortfall)
    worst, who = x.column(page.course, f"guarantees.behind {most.owner}", money(most.shortfall)), "; ".join(said)
    when = (
        f" At its worst in {month(found[0].month)}."
        if found[0].month
        else " A sale of the machines would cover what is owed, all through."
    )
    if not found[0].value_known:
        when += " What the machine would bring is not given, so all that is owed is counted."
    return Row(
        "Guarantees, and the shortfall behind them",
        (worst, marked(f"{who}.{when} Joint and several means the whole shortfall.", *links)),
    )
