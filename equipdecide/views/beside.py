"""What stands beside the comparison: yes/no doubts weighed, criteria that are not money, the noise of a day.

``news_text``, ``weighing_text``, ``noise_text`` give plain text; ``..._html`` the same as an HTML fragment.
"""

from __future__ import annotations

from collections.abc import Callable
from html import escape

from equipdecide.cautions import caution
from equipdecide.decide.criteria import View, Weighing
from equipdecide.decide.mix import Mix, MixResult
from equipdecide.decide.news import News, NewsResult
from equipdecide.decide.noise import OSHA, NoiseOfOne, NoiseResult, price_of
from equipdecide.showing import shows
from equipdecide.views.grid import WIDTH, Grid, Row
from equipdecide.words import listed, money, number, percent, whole, wrap

# --- yes/no doubts


def news_grid(one: News) -> Grid:
    """Return one doubt as a grid: worth less keep if yes, if no and on average, the courses side by side."""
    names = tuple(one.if_yes)
    rows = [
        Row("if yes", tuple(money(one.if_yes[name], plus=True) for name in names)),
        Row("if no", tuple(money(one.if_no[name], plus=True) for name in names)),
        Row("on average", tuple(money(one.expected[name], plus=True) for name in names), line_above=True),
    ]
    return Grid(names, tuple(rows))


def _news_words(one: News) -> list[str]:
    said = [
        f"{one.says}: a chance of {percent(one.chance)}. On average {one.best} is best. Knowing the answer first is "
        f"worth {money(one.value_of_news)}."
    ]
    said += [f"Below a chance of {percent(at)} it is {below}, above it {above}." for at, below, above in one.turns]
    return said


def news_text(result: NewsResult, width: int = WIDTH) -> str:
    """Return every doubt with its grid and its words."""
    if not result.doubts:
        return "The file has no yes/no doubt: nothing under `events:`, no contract that may be renewed, no offer that may fail."
    blocks = []
    for one in result:
        words = [line for said in _news_words(one) for line in wrap(said, width)]
        blocks.append("\n".join([*words, "", news_grid(one).text(width)]))
    foot = "Worth less keep is present worth after tax of each course less that of keeping; other doubts are taken as entered."
    return "\n\n".join([*blocks, *("\n".join(wrap(foot, width)) for _ in (1,))])


def news_html(result: NewsResult) -> str:
    """Return the doubts as an HTML fragment."""
    parts = [f"<p>{escape(' '.join(_news_words(one)))}</p>{news_grid(one).html()}" for one in result]
    return f'<div class="mathjax_ignore">{"".join(parts)}</div>'


# --- criteria


def weighing_grid(result: Weighing) -> Grid:
    """Return present worth and each partner's score, the courses side by side; scores from 0 to 100."""
    names = tuple(result.worth)
    rows = [Row("worth less keep", tuple(money(result.worth[name], plus=True) for name in names))]
    rows += [
        Row(f"score, {view.partner}", tuple(whole(100 * view.scores[name]) for name in names)) for view in result.views
    ]
    return Grid(names, tuple(rows))


def _view_words(view: View) -> str:
    exchange, said = view.exchange, []
    if exchange.per_point is None:
        said.append(f"{view.partner}: {view.best} leads in money and in score.")
    else:
        said.append(
            f"{view.partner}: money says {exchange.by_money}, the score {exchange.by_score}. To follow the score "
            f"costs {money(exchange.worth_given_up)} of present worth for {number(100 * exchange.score_gained, 0)} "
            f"points: {money(exchange.per_point)} a point."
        )
    if view.flip is None:
        said.append("No change of one weight turns the score.")
    else:
        flip = view.flip
        said.append(
            f"The score turns to {flip.second} when '{flip.criterion}' weighs {percent(flip.needed, 0)} instead of "
            f"{percent(flip.weight, 0)}."
        )
    return " ".join(said)


def _gate_words(result: Weighing) -> list[str]:
    return [f"{name} fails: {listed(gates)}." for name, gates in result.gates.items() if gates]


def weighing_text(result: Weighing, width: int = WIDTH) -> str:
    """Return scores beside present worth, each partner's rate of exchange and nearest turn, gates and cautions."""
    lines = [weighing_grid(result).text(width), ""]
    for said in [*map(_view_words, result.views), *_gate_words(result), *(finding.text for finding in result.findings)]:
        lines += wrap(said, width, "  - ")
    lines += [
        "",
        *wrap(
            "Scores hold no money and are not averaged over partners. A point is a hundredth of the swing from worst to best.",
            width,
        ),
    ]
    return "\n".join(lines)


def weighing_html(result: Weighing) -> str:
    """Return the same as an HTML fragment."""
    said = [*map(_view_words, result.views), *_gate_words(result), *(finding.text for finding in result.findings)]
    items = "".join(f"<li>{escape(text)}</li>" for text in said)
    return f'<div class="mathjax_ignore">{weighing_grid(result).html()}<ul>{items}</ul></div>'


# --- what to make


def mix_grid(result: MixResult) -> Grid:
    """Return pieces a year, contribution and the worth of an hour by station, the courses side by side."""
    shown = result.alternatives

    def cells(write: Callable[[Mix], str]) -> tuple[str, ...]:
        return tuple("" if one.mix is None else write(one.mix) for one in shown)

    def pieces(part: str) -> Callable[[Mix], str]:
        return lambda mix: whole(mix.quantities[part])

    def hour(station: str) -> Callable[[Mix], str]:
        return lambda mix: number(mix.hour_worth.get(station, 0.0))

    rows = [Row(f"{part}, a year", cells(pieces(part))) for part in result.scenario.parts]
    rows.append(Row("contribution", cells(lambda m: money(m.contribution)), line_above=True))
    rows.append(Row("the same by ranking", cells(lambda m: money(m.ranked))))
    stations = list(dict.fromkeys(station for one in shown for station in one.available))
    rows += [Row(f"one more hour of {station}", cells(hour(station))) for station in stations]
    return Grid(tuple(one.name for one in shown), tuple(rows))


def mix_text(result: MixResult, width: int = WIDTH) -> str:
    """Return the best mix by course, and where simple ranking fails."""
    lines = [mix_grid(result).text(width), ""]
    for one in result.alternatives:
        for finding in one.findings:
            lines += wrap(finding.text, width, "  - ")
    foot = (
        "First full year in place, at the entered figures. Contribution is price less material, outside work and "
        "tooling; an hour that is worth nothing is not the limit."
    )
    return "\n".join([*lines, "", *wrap(foot, width)] if lines[-1] else [*lines, *wrap(foot, width)])


def mix_html(result: MixResult) -> str:
    """Return the same as an HTML fragment."""
    items = "".join(f"<li>{escape(finding.text)}</li>" for one in result.alternatives for finding in one.findings)
    return f'<div class="mathjax_ignore">{mix_grid(result).html()}<ul>{items}</ul></div>'


# --- noise


def noise_grid(result: NoiseResult) -> Grid:
    """Return the doses and eight-hour levels, the courses side by side."""
    shown = result.alternatives
    names = list(next((one.day.doses for one in shown if one.day is not None), {}))
    rows = [
        Row(name, tuple("not known" if one.day is None else percent(one.day.doses[name] / 100) for one in shown))
        for name in names
    ]
    rows += [
        Row(
            f"{name.removesuffix(' dose')}, 8-hour level",
            tuple(
                "" if one.day is None or one.day.levels[name] <= 0 else f"{number(one.day.levels[name], 1)} dBA"
                for one in shown
            ),
        )
        for name in names[1:]
    ]
    rows += _least_rows(result)
    return Grid(tuple(one.name for one in shown), tuple(rows) or (Row("no level known", tuple("" for _ in shown)),))


def _noise_words(result: NoiseResult) -> list[str]:
    said = list(
        dict.fromkeys(
            finding.text
            for one in result.alternatives
            for finding in one.findings
            if finding.code in ("idle_against_cutting", "no_level", "nobody_there")
        )
    )
    for one in result.alternatives[:1]:
        if one.day is not None and any(one.day.shares.values()):
            hours = {exposure.what: exposure.hours for exposure in one.exposures}
            parts = sorted(one.day.shares.items(), key=lambda item: -item[1])
            made = "; ".join(
                f"{what} {percent(share, 0)} in {number(hours[what], 1)} h" for what, share in parts if share > 0
            )
            said.append(
                f"What makes up the hearing-conservation dose in {one.name}: {made}. A short loud piece may be the "
                f"cheapest to quieten."
            )
    over = [
        one.name
        for one in result.alternatives
        if one.day is not None and any(f.code == "action_level" for f in one.day.findings)
    ]
    said += _remedies_words(result)
    if over:
        said.append(
            f"At or above half the hearing-conservation dose, where the law asks for monitoring, hearing tests, "
            f"protectors and training: {listed(over)}."
        )
    return said


def _least_rows(result: NoiseResult) -> tuple[Row, ...]:
    """Return what must be spent at least to bring the day of each course under each dose."""
    goals = list(next((one.least for one in result.alternatives if one.least), {}))

    def cell(one: NoiseOfOne, goal: str) -> str:
        if goal not in one.least:
            return ""
        chosen = one.least[goal]
        return "not by these" if chosen is None else money(price_of(chosen)) if chosen else "it is so"

    return tuple(
        Row(
            f"spent at least: {goal}",
            tuple(cell(one, goal) for one in result.alternatives),
            line_above=goal == goals[0],
        )
        for goal in goals
    )


def _remedies_words(result: NoiseResult) -> list[str]:
    """Say what quietens the day, the cheapest a point of dose first, and what is least spent in the first course."""
    one = next((one for one in result.alternatives if one.remedies), None)
    if one is None:
        return []
    each = "; ".join(
        f"{tried.remedy.name} for {money(tried.remedy.price)} ({tried.remedy.piece} at "
        f"{number(tried.remedy.level)} dBA, dose {percent(tried.doses[OSHA] / 100)})"
        for tried in one.remedies
        if tried.price_a_point is not None
    )
    if not each:
        return [f"Nothing under `quieter` lowers the hearing-conservation dose of {one.name}."]
    chosen = [
        f"under {goal} {listed(remedy.name for remedy in fitted)}" for goal, fitted in one.least.items() if fitted
    ]
    said = f"Cheapest a point of the hearing-conservation dose first, each alone, in {one.name}: {each}."
    return [said + (f" Least is spent there to be {', '.join(chosen)}." if chosen else "")]


def noise_text(result: NoiseResult, width: int = WIDTH) -> str:
    """Return the doses by course, what they mean, and the cautions."""
    lines = [noise_grid(result).text(width), ""]
    for said in _noise_words(result):
        lines += wrap(said, width, "  - ")
    lines += ["", "Cautions:"]
    for said in result.cautions:
        lines += wrap(said, width, "  - ")
    return "\n".join([*lines, "", *wrap(caution("estimate").text, width)])


def noise_html(result: NoiseResult) -> str:
    """Return the same as an HTML fragment."""
    items = "".join(f"<li>{escape(said)}</li>" for said in [*_noise_words(result), *result.cautions])
    return f'<div class="mathjax_ignore">{noise_grid(result).html()}<ul>{items}</ul></div>'


shows(MixResult, mix_text, mix_html)
shows(NewsResult, news_text, news_html)
shows(Weighing, weighing_text, weighing_html)
shows(NoiseResult, noise_text, noise_html)
