"""The part of a page that says how sure the answer is: chances, regret, and what is worth finding out first.

The draws are those of a fixed seed, so that the page is the same for the same scenario.
"""

from __future__ import annotations

from equipdecide.decide.simulate import Estimate, Runs
from equipdecide.views import charts
from equipdecide.views.parts import Block, Bullets, Page, Part, Row, Table, Text, chart
from equipdecide.views.risk import how_sure, information_listing, worth_knowing
from equipdecide.views.risk_charts import exceedance
from equipdecide.words import money, percent

HEADS = {"regret": "Expected regret", "worth less keep": "Worth less keep over the draws"}
# how a figure over the draws is made
HOW = {
    "best of all": "The share of draws in which no other course has a higher present worth.",
    "best that can be paid for": "The share of draws in which no other course that keeps cash above the floor and passes every gate in that "
    "draw has a higher present worth.",
    "cash under the floor": "The share of draws in which the shop's cash at some month's end is under the floor.",
    "worse than keep": "The share of draws in which keeping has the higher present worth.",
    "worth less keep": "Present worth of the course less that of keeping, draw by draw, put in order: 95, 50 or 5 of 100 draws lie above the figure.",
    "regret": "In each draw, the highest present worth of any course less that of this one; the mean over the draws.",
    "finding out": "The mean of the best course of each draw, as far as it follows what is found out, less the course that is best on average.",
}


def sure(page: Page) -> Part | None:
    """Say how sure the answer is; None where no input has a range or a chance."""
    runs = page.runs
    if not runs.draws:
        return None

    def shown(path: str) -> bool:
        return not page.hidden(path)

    blocks: list[Block] = [Text(" ".join(how_sure(runs))), Text(" ".join(worth_knowing(runs, shown)))]
    if len(runs.names) > 1:
        said = "Every marked point of the curves stands in the table below, with its link."
        blocks.append(chart(exceedance(runs, charts.blank(7.6, 4.2)), said))
    blocks.append(_chances(page, runs))
    listing = information_listing(runs, shown)
    if len(listing.rows) > 1:
        rows = tuple(
            Row(row[0], tuple(_worth_link(page, cell) for cell in row[1:]), "total" if row is listing.rows[-1] else "")
            for row in listing.rows
        )
        blocks.append(
            Table(
                "What it is worth, at most, to find out before choosing, dollars", ("What", *listing.headings[1:]), rows
            )
        )
    blocks.append(Bullets(tuple(finding.text for finding in runs.findings)))
    return Part("sure", "How sure", tuple(blocks))


def _chances(page: Page, runs: Runs) -> Table:
    tested = any(runs.chance_under_floor(name) is not None for name in runs.names)
    heads = ["Course", "Best of all"]
    if tested:
        heads += ["Best that can be paid for", "Cash under the floor"]
    heads += ["Worse than keep", "95 in 100 above", "Half above", "5 in 100 above", "Expected regret"]
    rows = []
    for name in runs.names:
        cells = [_chance_link(page, "best of all", runs.chance_best(name))]
        if tested:
            affordable = runs.chance_best(name, affordable=True)
            cells += [
                _chance_link(page, "best that can be paid for", affordable),
                _chance_link(page, "cash under the floor", runs.chance_under_floor(name)),
            ]
        if name == "keep":
            cells += ["", "", "", ""]
        else:
            cells += [
                _chance_link(page, "worse than keep", runs.chance("keep", beats=name)),
                *(_drawn_link(page, "worth less keep", one, plus=True) for one in runs.percentiles(name, less="keep")),
            ]
        cells.append(_drawn_link(page, "regret", runs.regret(name)))
        rows.append(Row(name, tuple(cells), "best" if name == page.course.name else ""))
    caption = (
        f"Of {runs.trials:,} draws of {len(runs.draws)} doubtful input{'s' if len(runs.draws) != 1 else ''}: "
        f"chances, worth less keep, and what a course loses on average to the best of each draw"
    )
    return Table(caption, tuple(heads), tuple(rows))


def _chance_link(page: Page, what: str, found: Estimate | None) -> str:
    """Return a chance as a link to the explanation of all chances of its kind."""
    if found is None:
        return ""
    return page.explained.told(
        ("chance", what), f"Chance: {what}", percent(found.value, 0), HOW[what], _how_drawn(page)
    )


def _drawn_link(page: Page, kind: str, found: Estimate, plus: bool = False) -> str:
    """Return an amount over the draws as a link to the explanation of all amounts of its kind."""
    return page.explained.told(("drawn", kind), HEADS[kind], money(found.value, plus=plus), HOW[kind], _how_drawn(page))


def _worth_link(page: Page, cell: str) -> str:
    figure = cell.split("\n")[0]
    title = "What finding out is worth, at most"
    return page.explained.told(("finding out",), title, figure, HOW["finding out"], _how_drawn(page))


def _how_drawn(page: Page) -> str:
    runs = page.runs
    error = runs.mean(page.course.name, "keep").error if page.course.name != "keep" else 0.0
    said = f"{runs.trials:,} draws in {runs.replicates} replicates, seed {runs.seed}"
    return (
        f"{said}; the mean lead of “{page.course.name}” carries a standard error of {money(error)}."
        if error
        else f"{said}."
    )
