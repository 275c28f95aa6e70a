"""Charts are tested by what is drawn: lengths, places and words of the artists against the results
they were made from.
"""

from __future__ import annotations

from pathlib import Path

import matplotlib as mpl
import matplotlib.pyplot as plt
import numpy as np
import pytest

import equipdecide as ed
from equipdecide.decide.breakeven import Breakevens, Flip
from equipdecide.views import charts
from equipdecide.words import money

SCENARIOS = Path(__file__).parents[1] / "scenarios"
DECK = SCENARIOS / "deck_fittings.yaml"


@pytest.fixture(scope="module")
def small():
    return ed.load(SCENARIOS / "first_sale.yaml")


@pytest.fixture(scope="module")
def shop():
    return ed.load(DECK)


@pytest.fixture(scope="module")
def courses(shop):
    return ed.compare(shop)


@pytest.fixture(autouse=True)
def no_figure_stays_open():
    yield
    plt.close("all")


def texts(ax) -> list[str]:
    return [text.get_text() for text in ax.texts if text.get_text()]


def flip(path: str, entered: float, at: float, *, inside: bool = False, against: str = "keep") -> Flip:
    return Flip(
        path,
        path,
        "upgrade",
        against,
        entered,
        "USD",
        at,
        (at,),
        abs(at / entered - 1),
        None,
        inside,
        1000.0,
        (0.0, 1e6),
    )


# --- settlement


def test_settlement_bars_are_the_settlement(small) -> None:
    route = ed.sale(small)["reseller"]
    ax = charts.settlement(route)
    bars = {label.get_text(): bar for label, bar in zip(ax.get_yticklabels(), ax.patches, strict=True)}
    assert bars["Price"].get_width() == pytest.approx(route.gross)
    assert bars["To the lender"].get_width() == pytest.approx(-route.payoff)
    assert bars["Left at the closing"].get_width() == pytest.approx(route.net_cash)
    tax = [bar for name, bar in bars.items() if name.startswith("Tax")]
    assert sum(bar.get_width() for bar in tax) == pytest.approx(-route.tax)
    assert bars["Short by, after that tax"].get_width() == pytest.approx(route.cash_less_tax)
    # each step begins where the one before ended
    ends = [bar.get_x() + bar.get_width() for bar in ax.patches]
    assert bars["Selling costs"].get_x() == pytest.approx(ends[0])
    assert ends[3] == pytest.approx(route.net_cash)


def test_later_tax_does_not_look_like_cash(small) -> None:
    ax = charts.settlement(ed.sale(small)["reseller"])
    looks = {
        label.get_text(): (bar.get_hatch(), bar.get_facecolor())
        for label, bar in zip(ax.get_yticklabels(), ax.patches, strict=True)
    }
    white = (1.0, 1.0, 1.0, 1.0)
    for name, (hatch, face) in looks.items():
        assert (bool(hatch) and face == white) == name.startswith("Tax"), name


def test_settlement_title_follows_the_figures(small) -> None:
    short = charts.title(charts.settlement(ed.sale(small)["reseller"]))
    dearer = ed.loads(Path(SCENARIOS / "first_sale.yaml").read_text().replace("33,000 .. 38,500 .. 41,000", "58,500"))
    over = charts.title(charts.settlement(ed.sale(dearer)["reseller"]))
    assert "38,500" in short and "short" in short
    assert "58,500" in over and "short" not in over and over.endswith("is left")


def test_trade_in_takes_off_the_discount_given_up(shop) -> None:
    ax = charts.settlement(ed.sale(shop, on="2026-09-18")["trade-in"])
    labels = [label.get_text() for label in ax.get_yticklabels()]
    assert "Of it, discount lost by trading" in labels
    assert ax.patches[labels.index("Of it, discount lost by trading")].get_width() == pytest.approx(
        -15000
    )  # 303,500 less 288,500


def test_an_auction_that_does_not_cover_the_lender_says_so(shop) -> None:
    route = ed.sale(shop, on="2026-09-18")["auction"]
    ax = charts.settlement(route)
    assert route.net_cash < 0
    assert "to bring" in charts.title(ax) and "To bring to the closing" in [
        label.get_text() for label in ax.get_yticklabels()
    ]


# --- cumulative worth


def test_cumulative_lines_end_at_worth_less_keep(courses) -> None:
    ax = charts.cumulative_worth(courses)
    lines = {line.get_label(): line.get_ydata() for line in ax.lines if not line.get_label().startswith("_")}
    assert set(lines) == {o.name for o in courses} - {"keep"}
    for name, values in lines.items():
        assert values[0] == 0
        assert values[-1] == pytest.approx(courses[name].npv_less_keep, abs=1.0)


def test_crossings_are_marked_where_the_line_crosses(courses) -> None:
    ax = charts.cumulative_worth(courses)
    curves = {line.get_color(): line for line in ax.lines if not line.get_label().startswith("_")}
    marks = [line for line in ax.lines if line.get_marker() == "o"]
    assert marks
    for mark in marks:
        curve = curves[mark.get_markeredgecolor()]
        at = float(mark.get_xdata()[0])
        assert np.interp(at, curve.get_xdata(), curve.get_ydata()) == pytest.approx(0, abs=1.0)
        assert (curve.get_ydata()[curve.get_xdata() > at + 1e-9] > 0).all()  # above keeping for good


@pytest.mark.parametrize(
    ("values", "crossing"),
    [([0, -10, 10], 1.5), ([0, 5, 8], None), ([0, -10, 10, -30, 10], 3.75), ([0, -10, -1], None)],
)
def test_the_last_crossing_by_hand(values: list[float], crossing: float | None) -> None:
    assert charts.last_crossing(np.arange(len(values), dtype=float), np.array(values, dtype=float)) == crossing


def test_end_labels_keep_apart() -> None:
    placed = charts.apart([0.0, 0.5, 0.6, 10.0], 1.0)
    assert placed == sorted(placed)
    assert min(np.diff(placed)) > 0.999
    assert placed[3] == 10.0  # what touches nothing stays


# --- cash calendar


def test_cash_calendar_draws_the_level_and_the_floor(courses) -> None:
    outcome = courses["replace by R1"]
    ax = charts.cash_calendar(outcome)
    level = outcome.column("cash test.level").per_row()
    drawn = ax.lines[0].get_ydata()
    assert drawn == pytest.approx(level[: len(drawn)])
    assert outcome.cash_low is not None and money(outcome.cash_low.amount) in charts.title(ax)
    assert "under the floor" in charts.title(ax)
    assert any(set(line.get_ydata()) == {45000.0} for line in ax.lines)
    assert any(
        text.startswith("2026-09-21") and "57,700" in text for text in texts(ax)
    )  # 20 % of 288,500 with the order


def test_cash_calendar_title_turns_with_the_sign(courses) -> None:
    assert "above the floor" in charts.title(charts.cash_calendar(courses["upgrade"]))


def test_cash_calendar_without_cash_tests_no_floor(small) -> None:
    title = charts.title(charts.cash_calendar(ed.compare(small)["sell and replace"]))
    assert "cash in the bank was not given" in title and "floor" not in title


def test_a_floor_far_above_the_cash_is_on_the_chart() -> None:
    text = DECK.read_text(encoding="utf-8").replace("cash_floor: 45,000", "cash_floor: 900,000")
    ax = charts.cash_calendar(ed.compare(ed.loads(text, folder=SCENARIOS))["upgrade"])
    assert ax.get_ylim()[1] > 900_000
    assert "under the floor" in charts.title(ax)


# --- staircase


def test_staircase_has_every_part_and_capacity(courses) -> None:
    ax = charts.staircase(courses)
    widths = [bar.get_width() for bar in ax.patches if bar.get_width() > 1]
    # hours a year, by hand in the test of page figures: 65, 780, 190.67, 766.67 must ship; 325, 845, 416, 900 could
    # sell
    assert sorted(widths) == pytest.approx(sorted([65, 780, 190.6667, 766.6667, 325, 845, 416, 900]), abs=1e-3)
    lines = " ".join(text.replace("\n", " ") for text in texts(ax))
    for name in ("keep: 1,807 h", "upgrade: 2,181 h", "replace by R2: 2,448 h", "2,750 h"):
        assert name in lines
    assert [bool(bar.get_hatch()) for bar in ax.patches] == [True] * 4 + [False] * 4


def test_staircase_without_parts_is_refused(small) -> None:
    with pytest.raises(ValueError, match="no parts"):
        charts.staircase(ed.compare(small))


# --- flips


def test_flips_draws_the_nearest_of_the_leader_only() -> None:
    other = Flip("b", "b", "else", "keep", 1.0, "USD", 2.0, (2.0,), 1.0, None, False, 1.0, (0.0, 3.0))
    result = Breakevens(
        "upgrade", "keep", (flip("a", 1000, 1250, inside=True), other, flip("c", 1000, 400)), (), (), ()
    )
    ax = charts.flips(result)
    assert [bar.get_width() for bar in ax.patches] == pytest.approx([0.25, -0.6])
    assert [bool(bar.get_hatch()) for bar in ax.patches] == [True, False]  # hatched: inside the stated range
    assert charts.title(ax) == "Nearest flip: a, 1,000 now, 1,300 at the flip"
    assert "→ 400" in texts(ax)[1]


def test_no_flip_is_said() -> None:
    ax = charts.flips(Breakevens("keep", None, (), (), (), ()))
    assert "No single input" in charts.title(ax)


# --- groups


def test_groups_add_up(courses) -> None:
    difference = courses["upgrade"] - courses.keep
    ax = charts.worth_by_group(difference)
    widths = [bar.get_width() for bar in ax.patches]
    assert sum(widths[:-1]) == pytest.approx(widths[-1])
    assert widths[-1] == pytest.approx(courses["upgrade"].npv_less_keep)
    assert [bool(bar.get_hatch()) for bar in ax.patches] == [width < 0 for width in widths]
    yearly = charts.cash_by_group(difference)
    assert sum(bar.get_height() for bar in yearly.patches) == pytest.approx(difference.cash.sum())


# --- all of them


def everything(shop, courses):
    difference = courses["upgrade"] - courses.keep
    return {
        "settlement": charts.settlement(ed.sale(shop, on="2026-09-18")["outright"]),
        "cumulative": charts.cumulative_worth(courses),
        "calendar": charts.cash_calendar(courses["replace by R1"]),
        "staircase": charts.staircase(courses),
        "flips": charts.flips(ed.breakeven(shop, path="machines.MC-1.running.cutting_share")),
        "worth": charts.worth_by_group(difference),
        "groups": charts.cash_by_group(difference),
    }


def overlaps(ax) -> list[tuple[str, str]]:
    """Pairs of texts inside the axes that lie on one another."""
    ax.figure.draw_without_rendering()
    boxes = [(text.get_text(), text.get_window_extent()) for text in ax.texts if text.get_text()]
    return [
        (a, b)
        for k, (a, one) in enumerate(boxes)
        for b, two in boxes[k + 1 :]
        if one.shrunk(0.96, 0.75).overlaps(two.shrunk(0.96, 0.75))
    ]


def test_every_chart_has_words_and_no_text_on_another(shop, courses) -> None:
    for name, ax in everything(shop, courses).items():
        alt = charts.alt_text(ax)
        assert len(alt) > 40 and any(ch.isdigit() for ch in alt), name
        assert charts.title(ax) and not alt.lower().startswith(("chart", "image", "figure")), name
        assert overlaps(ax) == [], name
        title = ax.figure.get_suptitle()
        assert title.replace("\n", " ") == charts.title(ax), name
        extent = ax.figure._suptitle.get_window_extent()
        assert extent.x1 <= ax.figure.bbox.x1 and extent.x0 >= 0, f"{name}: the title runs off the figure"


def test_drawings_are_the_same_bytes_twice(shop, courses) -> None:
    first, second = (charts.svg(charts.cumulative_worth(courses)) for _ in range(2))
    assert first == second
    assert first.startswith("<svg") and "<script" not in first and "<dc:date" not in first


def test_no_global_style_is_changed(courses) -> None:
    before = dict(mpl.rcParams)
    charts.cumulative_worth(courses)
    assert dict(mpl.rcParams) == before


def test_a_chart_goes_into_given_axes(courses) -> None:
    figure, (left, right) = plt.subplots(1, 2, figsize=(14, 5))
    assert charts.cash_calendar(courses["upgrade"], ax=left) is left
    charts.worth_by_group(courses["upgrade"] - courses.keep, ax=right)
    assert left.get_title(loc="left").replace("\n", " ") == charts.title(left)
    assert right.get_title(loc="left") and figure.get_suptitle() == ""


def test_a_drawing_shows_itself_with_words(courses) -> None:
    ax = charts.worth_by_group(courses["upgrade"] - courses.keep)
    shown = charts.drawing(ax)._repr_html_()
    assert (
        shown.startswith("<img") and "mathjax_ignore" in shown and "Bars of present worth, upgrade less keep" in shown
    )
    assert ax.figure.number not in plt.get_fignums()  # so that a notebook does not show it a second time
