"""The part of a page that says how sure the answer is: chances, regret, and what is worth finding out first.

The draws are those of a fixed seed, so that the page is the same for the same scenario.
"""

from __future__ import annotations

from equipdecide.decide.simulate import Runs
from equipdecide.views import charts
from equipdecide.views.parts import Block, Bullets, Page, Part, Row, Table, Text, chart
from equipdecide.views.risk import how_sure, information_listing, worth_knowing
from equipdecide.views.risk_charts import exceedance
from equipdecide.words import money, percent


def sure(page: Page) -> Part | None:
    """Say how sure the answer is; None where no input has a range or a chance."""
    runs = page.runs
    if not runs.draws:
        return None

    def shown(path: str) -> bool:
        return not page.hidden(path)

    blocks: list[Block] = [Text(" ".join(how_sure(runs))), Text(" ".join(worth_knowing(runs, shown)))]
    if len(runs.names) > 1:
        blocks.append(chart(exceedance(runs, charts.blank(7.6, 4.2))))
    blocks.append(_chances(page, runs))
    listing = information_listing(runs, shown)
    if len(listing.rows) > 1:
        rows = tuple(
            Row(row[0], tuple(cell.split("\n")[0] for cell in row[1:]), "total" if row is listing.rows[-1] else "")
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
        cells = [percent(runs.chance_best(name).value, 0)]
        if tested:
            under = runs.chance_under_floor(name)
            cells += [
                percent(runs.chance_best(name, affordable=True).value, 0),
                "" if under is None else percent(under.value, 0),
            ]
        if name == "keep":
            cells += ["", "", "", ""]
        else:
            cells += [
                percent(runs.chance("keep", beats=name).value, 0),
                *(money(one.value, plus=True) for one in runs.percentiles(name, less="keep")),
            ]
        cells.append(money(runs.regret(name).value))
        rows.append(Row(name, tuple(cells), "best" if name == page.course.name else ""))
    caption = f"Of {runs.trials:,} draws of {len(runs.draws)} doubtful input{'s' if len(runs.draws) != 1 else ''}: chances, worth less keep, and what a course loses on average to the best of each draw"
    return Table(caption, tuple(heads), tuple(rows))
