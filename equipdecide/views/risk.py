"""How sure the answer is, in words and tables: chances, regret, what is worth finding out, what moves the lead, where
it flips.

``runs_text``, ``tornado_text``, ``map_text`` give plain text; ``..._html`` the same as an HTML fragment.
"""

from __future__ import annotations

from collections.abc import Callable
from html import escape

import numpy as np

from equipdecide.decide.sensitivity import Bar, Map, Tornado
from equipdecide.decide.simulate import Estimate, Information, Runs
from equipdecide.showing import shows
from equipdecide.views.finding_lists import findings_html, findings_text
from equipdecide.views.grid import WIDTH, Grid, Row
from equipdecide.views.listing import Listing
from equipdecide.words import bare, entered, in_hundred, listed, money, percent, short_label, unit_words, wrap

TOLD = 8  # inputs listed as worth finding out

# --- all doubts drawn together


def chance_of(estimate: Estimate | None) -> str:
    """Write a chance with its standard error below it: "86.3 %" over "(0.2)"; empty where there is none."""
    if estimate is None:
        return ""
    return f"{percent(estimate.value)}\n({percent(0.0 if np.isnan(estimate.error) else estimate.error, 2).removesuffix(' %')})"


def _worth(estimate: Estimate, plus: bool = True) -> str:
    return f"{money(estimate.value, plus=plus)}\n({money(0.0 if np.isnan(estimate.error) else estimate.error)})"


def runs_grid(runs: Runs) -> Grid:
    """Return chances, percentiles and regret as a grid, the courses side by side, standard errors in brackets."""
    names, pool = runs.names, runs.affordable
    limited = pool != names

    def row(label: str, write: Callable[[str], str], line: bool = False) -> Row:
        return Row(label, tuple(write(name) for name in names), line)

    def against_keep(write: Callable[[str], str]) -> Callable[[str], str]:
        return lambda name: "" if name == "keep" else write(name)

    ends = {name: runs.percentiles(name, less="keep") for name in names}
    rows = [
        Row("chance"),
        row("of worse than keep", against_keep(lambda name: chance_of(runs.chance("keep", beats=name)))),
        row("of best of all", lambda name: chance_of(runs.chance_best(name))),
    ]
    if limited or runs.chance_none_affordable.value > 0:
        rows.append(row("of best payable", lambda name: chance_of(runs.chance_best(name, affordable=True))))
    if any(runs.chance_under_floor(name) is not None for name in names):
        rows.append(row("of under the floor", lambda name: chance_of(runs.chance_under_floor(name))))
    rows += [
        Row("worth less keep"),
        row("on average", against_keep(lambda name: _worth(runs.mean(name, "keep")))),
        row("95 in 100 above", against_keep(lambda name: money(ends[name][0].value, plus=True))),
        row("half above", against_keep(lambda name: money(ends[name][1].value, plus=True))),
        row("5 in 100 above", against_keep(lambda name: money(ends[name][2].value, plus=True))),
        Row("expected regret"),
        row("to the best of all", lambda name: _worth(runs.regret(name), plus=False)),
    ]
    if limited:
        rows.append(
            row("to the payable", lambda name: _worth(runs.regret(name, pool), plus=False) if name in pool else "")
        )
    return Grid(names, tuple(rows))


def how_sure(runs: Runs) -> list[str]:
    """Say in sentences how sure the leading course is, and how often another would have been better."""
    lead, said = runs.leader, []
    if runs.comparison.best is None:
        said.append("As entered no course can be paid for; what follows leaves cash out of the choice.")
    tested = runs.chance_under_floor(lead) is not None
    if tested and lead in runs.affordable and runs.affordable != runs.names:
        said.append(
            f"Best of what can be paid for in {in_hundred(runs.chance_best(lead, affordable=True).value)}: {lead}."
        )
        first = max(runs.names, key=lambda name: runs.chance_best(name).value)
        said.append(f"Best without regard to cash in {in_hundred(runs.chance_best(first).value)}: {first}.")
    else:
        said.append(f"Best in {in_hundred(runs.chance_best(lead).value)}: {lead}.")
    average = max(runs.affordable, key=lambda name: runs.mean(name).value)
    if average != lead:
        ahead = runs.mean(average, lead).value
        said.append(
            f"On average over all draws {average} is worth {money(ahead)} more than {lead}, which leads as entered: "
            f"go by the average."
        )
    if lead != "keep":
        low, _, high = runs.percentiles(lead, less="keep")
        worse = runs.chance("keep", beats=lead).value
        doubt = f"Against keeping, {lead} does {f'worse in {in_hundred(worse)}' if worse else 'better in every draw'}"
        said.append(
            f"{doubt}; nine draws in ten lie between {money(low.value, plus=True)} and {money(high.value, plus=True)}."
        )
    under = runs.chance_under_floor(lead)
    if under is not None:
        said.append(f"Its cash goes under the floor in {in_hundred(under.value)}.")
    return said


def worth_knowing(runs: Runs, shown: Callable[[str], bool] = lambda path: True) -> list[str]:
    """Say in sentences what is worth finding out before choosing, and what is not worth the trouble.

    `shown` tells of an input's path whether the reader may see it.
    """
    pool, said = runs.affordable, []
    told = [one for one in runs.information(pool) if one.tells and shown(one.path)]
    scope = f" Between {listed(pool)}:" if pool != runs.names and len(pool) > 1 else ""
    if len(pool) == 1 and pool != runs.names:
        said.append(f"Only {pool[0]} can be paid for: nothing there is to find out would change that choice.")
    elif told:
        said += [f"{scope} {_find_out(one)}".strip() for one in told[:3]]
    else:
        everything = runs.evpi(pool).value
        if everything < 1:
            said.append(f"{scope} no draw changes the choice, so nothing is worth paying to find out.".strip())
        else:
            said.append(
                f"{scope} no single input is worth finding out: alone, none changes the choice. Knowing all of them "
                f"would be worth {money(everything)}.".strip()
            )
    if pool != runs.names:
        wider = [one for one in runs.information() if one.tells and shown(one.path)]
        all_known = runs.evpi().value
        if wider:
            said.append(f"Were cash no matter: {_find_out(wider[0])}")
        elif all_known >= 1:
            said.append(
                f"Were cash no matter, knowing everything first would be worth {money(all_known)}, and no single "
                f"input alone is worth finding out."
            )
    return [text[:1].upper() + text[1:] for text in said]


def _find_out(one: Information) -> str:
    """Say what knowing one input is worth: "whether P5 renews is worth 9,400 to know: ask before you sign."."""
    if one.question:
        return f"whether {one.question} is worth {money(one.value.value)} to know: ask before you sign."
    return f"{short_label(one.label)} is worth {money(one.value.value)} to know: find out before you sign."


def information_listing(runs: Runs, shown: Callable[[str], bool] = lambda path: True) -> Listing:
    """Return what knowing each input is worth, the most valuable first, beside the worth of knowing all."""
    pool = runs.affordable
    scopes: dict[str, tuple[str, ...]] = {"worth to know": pool}
    if pool != runs.names:
        scopes = {"of what can be paid for": pool, "without regard to cash": runs.names}
    found = {head: {one.path: one for one in runs.information(among)} for head, among in scopes.items()}
    paths = [path for path in runs.draws if shown(path) and any(one[path].tells for one in found.values())]
    paths.sort(key=lambda path: [-one[path].value.value for one in found.values()])
    rows = []
    for path in paths[:TOLD]:
        one = next(iter(found.values()))[path]
        cells = [_worth(each[path].value, plus=False) if each[path].tells else "0" for each in found.values()]
        rows.append((f"whether {one.question}" if one.question else short_label(one.label), *cells))
    rows.append(("everything at once", *(_worth(runs.evpi(among), plus=False) for among in scopes.values())))
    return Listing(("What knowing it first is worth", *scopes), tuple(rows))


def _basis(runs: Runs) -> str:
    return (
        f"{runs.trials:,} draws of {len(runs.draws)} doubtful input{'s' if len(runs.draws) != 1 else ''} in "
        f"{runs.replicates} independent sets, seed {runs.seed}; every course runs through the same draws. "
        "In brackets: standard error over the sets."
    )


def runs_text(runs: Runs, width: int = WIDTH) -> str:
    """Return how sure the answer is as text: sentences, chances, regret, what is worth finding out,
    what to beware of.
    """
    lines = []
    for said in (" ".join(how_sure(runs)), " ".join(worth_knowing(runs))):
        lines += [*wrap(said, width), ""]
    lines += [runs_grid(runs).text(width), "", *wrap(_basis(runs), width), ""]
    if len(runs.draws):
        lines += [information_listing(runs).text(width), ""]
    lines += wrap(
        "Regret is what a course loses on average to the best of each draw. Nothing can be worth more to ask than "
        "knowing everything at once.",
        width,
    )
    return "\n".join([*lines, "", findings_text(runs.findings, width)])


def runs_html(runs: Runs) -> str:
    """Return the same as an HTML fragment."""
    said = "".join(f"<p>{escape(' '.join(part))}</p>" for part in (how_sure(runs), worth_knowing(runs)))
    return f'<div class="mathjax_ignore">{said}{runs_grid(runs).html()}<p>{escape(_basis(runs))}</p>{information_listing(runs).html()}{findings_html(runs.findings)}</div>'


# --- one at a time


def end_in_words(bar: Bar, high: bool) -> str:
    """Write the value at one end of a bar: "no" or "yes" for a doubt, else the figure with its unit."""
    if bar.unit == "chance":
        return "yes" if high else "no"
    return entered(bar.high if high else bar.low, bar.unit)


def tornado_listing(result: Tornado) -> Listing:
    """Return the bars as a list, the widest first: input, both ends, the lead at both, the swing."""
    rows = tuple(
        (
            short_label(bar.label),
            end_in_words(bar, False),
            end_in_words(bar, True),
            money(bar.at_low, plus=True),
            money(bar.at_high, plus=True),
            money(bar.swing),
        )
        for bar in result.bars
        if bar.swing >= 0.5
    )
    return Listing(("input", "low", "high", "lead at low", "lead at high", "swing"), rows)


def tornado_headline(result: Tornado) -> str:
    """Say whether any doubt alone turns the lead within its own range, and which moves it most."""
    pair = f"{result.a} over {result.b}"
    if result.a == result.b:
        return f"There is no other course to set against {result.b}."
    turning = [bar for bar in result.bars if bar.turns]
    said = f"The lead of {pair} is {money(result.lead, plus=True)} as entered. "
    moving = [bar for bar in result.bars if bar.swing >= 0.5]
    if not moving:
        return said + "No input with a range moves it."
    if turning:
        said += f"Within its own range it is turned by {listed(short_label(bar.label) for bar in turning)}."
    else:
        said += "No single doubt turns it within its own range."
    top = moving[0]
    return (
        f"{said} Most is moved by {short_label(top.label)}: {money(top.at_low, plus=True)} at "
        f"{end_in_words(top, False)}, {money(top.at_high, plus=True)} at {end_in_words(top, True)}."
    )


def tornado_text(result: Tornado, width: int = WIDTH) -> str:
    """Return what each doubt alone does to the lead, as text."""
    foot = (
        "One input at a time goes from low to high, all others as entered. Inputs that move together are not seen "
        "here: simulate draws them all."
    )
    still = sum(bar.swing < 0.5 for bar in result.bars)
    if still:
        foot += f" {still} more input{'s' if still > 1 else ''} with a range move{'' if still > 1 else 's'} nothing."
    table = tornado_listing(result).text(width)
    return "\n".join([*wrap(tornado_headline(result), width), "", *([table, ""] if table else []), *wrap(foot, width)])


def tornado_html(result: Tornado) -> str:
    """Return the same as an HTML fragment."""
    return (
        f'<div class="mathjax_ignore"><p>{escape(tornado_headline(result))}</p>{tornado_listing(result).html()}</div>'
    )


# --- two at a time

SHOWN = 7  # rows and columns of a map in text


def map_headline(result: Map) -> str:
    """Say who leads as entered and over how much of the map, and where the flip lies on the entered row."""
    x, y = (entered(value, unit) for value, unit in zip(result.entered, (result.x_unit, result.y_unit), strict=True))
    lead = result.lead_entered
    first, other = (result.a, result.b) if lead >= 0 else (result.b, result.a)
    said = f"As entered ({x} and {y}) {first} leads {other} by {money(abs(lead))}."
    share = float((result.lead > 0).mean())
    if not result.line:
        return f"{said} {result.a if share > 0.5 else result.b} leads all over the map: no pair of values in it flips the answer."
    return f"{said} {result.a} leads on {percent(share, 0)} of the map; the sign turns where the answer flips."


def map_grid(result: Map) -> Grid:
    """Return the lead on a coarse grid: the second input downwards, the first across."""
    i, j = (np.unique(np.linspace(0, len(values) - 1, SHOWN).round().astype(int)) for values in (result.x, result.y))
    heads = tuple(bare(float(result.x[k]), result.x_unit) for k in i)
    rows = tuple(
        Row(bare(float(result.y[n]), result.y_unit), tuple(money(float(result.lead[k, n]), plus=True) for k in i))
        for n in j[::-1]
    )
    return Grid(heads, rows)


def axis_words(result: Map) -> tuple[str, str]:
    """Return what stands along both axes, each with its unit."""
    pairs = ((result.x_label, result.x_unit), (result.y_label, result.y_unit))
    across, down = (
        short_label(label) + (f" [{unit_words(unit)}]" if unit_words(unit) else "") for label, unit in pairs
    )
    return across, down


def _axes_words(result: Map) -> str:
    across, down = axis_words(result)
    return (
        f"Across: {across}. Down: {down}. Each cell: the lead of {result.a} over {result.b}, present worth after tax."
    )


def map_text(result: Map, width: int = WIDTH) -> str:
    """Return the map as text: who leads where, and points of the flip line."""
    lines = [
        *wrap(map_headline(result), width),
        "",
        *wrap(_axes_words(result), width),
        "",
        map_grid(result).text(width),
    ]
    if result.line:
        few = result.line[:: max(len(result.line) // 5, 1)][:6]
        points = "; ".join(f"{entered(x, result.x_unit)} with {entered(y, result.y_unit)}" for x, y in few)
        lines += ["", *wrap(f"Both are worth the same at: {points}.", width)]
    return "\n".join(lines)


def map_html(result: Map) -> str:
    """Return the same as an HTML fragment."""
    return f'<div class="mathjax_ignore"><p>{escape(map_headline(result))}</p><p>{escape(_axes_words(result))}</p>{map_grid(result).html()}</div>'


shows(Runs, runs_text, runs_html)
shows(Tornado, tornado_text, tornado_html)
shows(Map, map_text, map_html)
