"""Charts of chances, of what moves the lead, of time, of selling and lending: what is drawn against
the results it was made from.
"""

from __future__ import annotations

from datetime import date

import matplotlib.pyplot as plt
import numpy as np
import pytest
from matplotlib.patches import Rectangle

import equipdecide as ed
from equipdecide.scenario.examples import example, examples
from equipdecide.views import charts, lending_charts, risk_charts, timing_charts
from equipdecide.words import day, money, times


@pytest.fixture(scope="module")
def demo():
    return ed.load(example("deck_fittings"))


@pytest.fixture(scope="module")
def runs(demo):
    return ed.simulate(demo, trials=512)


@pytest.fixture(autouse=True)
def no_figure_stays_open():
    yield
    plt.close("all")


def texts(ax) -> list[str]:
    return [text.get_text() for text in ax.texts if text.get_text()]


def lines(ax, mark: str) -> list[tuple[float, float]]:
    return [
        (float(line.get_xdata()[0]), float(line.get_ydata()[0]))
        for line in ax.lines
        if line.get_marker() == mark and len(line.get_xdata()) == 1
    ]


def bars(ax) -> list[Rectangle]:
    return [patch for patch in ax.patches if isinstance(patch, Rectangle) and abs(patch.get_width()) > 0]


def overlaps(ax) -> list[tuple[str, str]]:
    """Pairs of words on the axes that touch, as a renderer places them."""
    figure = ax.figure
    figure.canvas.draw()
    boxes = [(text.get_text(), text.get_window_extent()) for text in ax.texts if text.get_text() and text.get_visible()]
    return [(a, b) for k, (a, one) in enumerate(boxes) for b, other in boxes[k + 1 :] if one.overlaps(other)]


def test_words_that_touch_are_seen() -> None:
    ax = charts.blank(3, 2)
    ax.text(0.5, 0.5, "one")
    ax.text(0.52, 0.5, "other")
    ax.text(0.1, 0.9, "far")
    assert overlaps(ax) == [("one", "other")]


# --- chances


def test_marks_stand_at_the_percentiles(runs) -> None:
    ax = risk_charts.exceedance(runs)
    drawn = [name for name in runs.names if name not in ("keep", "sell and do without")]
    for mark, level in (("o", 95), ("D", 50), ("s", 5)):
        wanted = sorted(float(np.percentile(runs.npv(name) - runs.npv("keep"), 100 - level)) for name in drawn)
        found = sorted(x for x, y in lines(ax, mark) if y == pytest.approx(level / 100))
        assert found == pytest.approx(wanted)
    assert "not drawn: sell and do without" in " ".join(texts(ax)[-1].split())
    assert charts.title(ax).startswith("“upgrade” is worth more than keeping in every draw")


def test_the_title_names_the_other_course_where_keeping_leads() -> None:
    runs = ed.simulate(ed.load(example("quillhaven_grinder")), trials=512)
    assert runs.leader == "keep"
    better = float((runs.npv("rebuild the spindle") > runs.npv("keep")).mean())
    assert charts.title(risk_charts.exceedance(runs)).startswith(
        f"“rebuild the spindle” is worth more than keeping in {round(100 * better)} of 100 draws"
    )


# --- what moves the lead


def test_bars_end_at_the_leads_and_better_differs_from_worse_by_hatch(demo) -> None:
    result = ed.tornado(demo)
    ax = risk_charts.tornado(result)
    shown = [bar for bar in result.bars if bar.swing >= 0.5][: risk_charts.WIDEST]
    ends = sorted((patch.get_x() + patch.get_width(), patch.get_hatch() or "") for patch in ax.patches)
    wanted = sorted((end, "" if end >= result.lead else "////") for bar in shown for end in (bar.at_low, bar.at_high))
    assert [end for end, _ in ends] == pytest.approx([end for end, _ in wanted])
    assert [hatch for _, hatch in ends] == [hatch for _, hatch in wanted]
    assert f"as entered {charts.plus(result.lead)}" in texts(ax) and "0: as good as keep" in texts(ax)
    assert not overlaps(ax)


def test_a_doubt_that_turns_the_lead_stands_in_the_title() -> None:
    result = ed.tornado(ed.load(example("marrowdene_printers")))
    assert result.bars[0].turns
    assert (
        charts.title(risk_charts.tornado(result))
        == "One doubt turns the lead of “buy now” over “keep” on its own: contract signed"
    )


def test_the_map_has_the_entered_point_the_own_ranges_and_both_names() -> None:
    scenario = ed.load(example("quillhaven_grinder"))
    result = ed.two_way(scenario)
    ax = risk_charts.flip_map(result)
    assert lines(ax, "o") == [pytest.approx(result.entered)]
    assert {"keep\nleads", "rebuild the spindle\nleads"} <= set(texts(ax))
    (x0, x1), (y0, y1) = result.own
    assert any(
        (p.get_x(), p.get_y(), p.get_width(), p.get_height()) == pytest.approx((x0, y0, x1 - x0, y1 - y0))
        for p in bars(ax)
    )
    assert f"“keep” leads by {money(-result.lead_entered)}" in charts.title(ax)


# --- time


def test_the_flat_bottom_is_shaded_and_the_least_named(demo) -> None:
    life = ed.service_life(demo)
    ax = timing_charts.economic_life(life)
    cost = np.asarray(life.before_tax.annual_cost)
    assert {round(p.get_x() + 0.5) for p in bars(ax)} == {
        k + 1 for k in range(len(cost)) if cost[k] <= 1.03 * cost.min()
    }
    drawn = [np.asarray(line.get_ydata(), dtype=float) for line in ax.lines if len(line.get_xdata()) == len(cost)]
    assert drawn[0] == pytest.approx(drawn[1] + drawn[2])
    assert f"least: {money(float(cost.min()))} a year" in texts(ax)
    assert not overlaps(ax)


def test_cash_of_a_later_sale_is_price_less_lender(demo) -> None:
    result = ed.sell_when(demo, months=6)
    ax = timing_charts.sell_when(result)
    price, payoff, cash, worth = (np.asarray(line.get_ydata(), dtype=float) for line in ax.lines[:4])
    assert price - payoff == pytest.approx(cash)
    assert worth == pytest.approx([m.npv - result.months[0].npv for m in result.months])
    assert lines(ax, "o") == [
        (pytest.approx(result.best.months), pytest.approx(result.best.npv - result.months[0].npv))
    ]
    assert not overlaps(ax)


# --- selling and lending


def test_routes_show_expected_worst_and_what_is_left(demo) -> None:
    result = ed.routes(demo)
    ax = lending_charts.routes(result)
    # like for like: the three loan payments of 2,715.70 that fall before the consignment is sold are off it
    paid = {r.name: 3 * 2_715.70 if r.name == "consignment" else 0.0 for r in result.routes}
    assert sorted(x for x, _ in lines(ax, "D")) == pytest.approx(
        sorted(r.expected_net - paid[r.name] for r in result.routes)
    )
    assert sorted(x for x, _ in lines(ax, "|")) == pytest.approx(
        sorted(r.left_in_all - paid[r.name] for r in result.routes)
    )
    assert sorted(x for x, _ in lines(ax, "v")) == pytest.approx(
        sorted(r.worst_net - paid[r.name] for r in result.routes if r.worst_net < r.expected_net - 0.005)
    )
    assert "too close to call" in charts.title(ax)


def test_offers_of_money_are_bars_of_worth_over_cash(demo) -> None:
    result = ed.money(demo)
    ax = lending_charts.money_offers(result)
    assert sorted(p.get_width() for p in bars(ax)) == pytest.approx(sorted(o.worth_against_cash for o in result.offers))
    assert result.best("R1").name in charts.title(ax)


def test_the_lowest_day_and_the_floor_are_marked(demo) -> None:
    result = ed.cash_calendar(demo, "replace by R1")
    ax = lending_charts.cash_dates(result)
    low = ((result.lowest_on - date(1970, 1, 1)).days, result.lowest)
    assert pytest.approx(low) in lines(ax, "v")
    assert f"lowest {money(result.lowest)}, {day(result.lowest_on)}" in texts(ax) and "floor 45,000" in texts(ax)
    assert not overlaps(ax)
    assert not any("to the lender" in text for text in texts(ax))  # what a buyer pays the lender moves no cash


def test_coverage_bars_stand_against_what_is_asked(demo) -> None:
    view = ed.lender(demo, "replace by R1")
    ax = lending_charts.coverage(view)
    heights = sorted(p.get_height() for p in bars(ax))
    assert heights == pytest.approx(sorted([r.coverage for r in view.coverage] + [r.coverage for r in view.downside]))
    assert f"{times(view.required)} asked" in texts(ax)
    assert charts.title(ax).endswith(f"{times(view.required)} is asked")
    assert not overlaps(ax)


@pytest.mark.parametrize("name", list(examples()))
def test_no_example_is_without_title_and_words(name: str) -> None:
    scenario = ed.load(example(name))
    drawn = [
        risk_charts.exceedance(ed.simulate(scenario, trials=64)),
        risk_charts.tornado(ed.tornado(scenario)),
        lending_charts.money_offers(ed.money(scenario)),
        lending_charts.cash_dates(ed.cash_calendar(scenario)),
        lending_charts.coverage(ed.lender(scenario)),
    ]
    for ax in drawn:
        assert len(charts.title(ax)) > 20 and len(charts.alt_text(ax)) > 20
        assert "nan" not in (charts.title(ax) + " " + charts.alt_text(ax)).split()
        assert not overlaps(ax), charts.title(ax)


def test_every_offer_of_a_sale_is_drawn_to_its_price_and_what_is_short_left_of_nothing(demo) -> None:
    result = ed.sale(demo, "2026-09-18")
    ax = lending_charts.sale_offers(result)
    order = sorted(result.routes, key=lambda r: -r.like_for_like)
    assert [x for x, _ in lines(ax, "|")] == [r.gross for r in order]
    for k, route in enumerate(order):
        own = [p for p in bars(ax) if abs(p.get_y() + 0.3 - k) < 0.01]
        assert sum(p.get_width() for p in own) == pytest.approx(route.gross)  # sources are uses, short counted once
        assert min(p.get_x() + min(p.get_width(), 0) for p in own) == pytest.approx(min(route.like_for_like, 0.0))
    assert "consignment" in charts.title(ax) and "5,400" in charts.title(ax)
    assert not overlaps(ax)
