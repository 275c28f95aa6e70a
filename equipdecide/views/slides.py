"""Five slides for a meeting: the answer, why, when it pays, cash against the floor, what flips it. Charts can be
edited.

Titles and words for those who do not see a chart are those of :mod:`equipdecide.views.charts`; what is to be said
stands in the notes. Needs the extra ``slides``.
"""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from equipdecide.cautions import CAUTIONS, ESTIMATE
from equipdecide.decide.breakeven import breakeven
from equipdecide.decide.compare import Comparison
from equipdecide.decide.page_figures import worth_so_far
from equipdecide.views import charts
from equipdecide.views.table import headline
from equipdecide.words import money

WIDE, HIGH = 13.333, 7.5  # of a slide [inch]
FLIPS_SHOWN = 6
MONEY = "#,##0;\N{MINUS SIGN}#,##0"
COLOURS = (charts.BLUE, charts.VERMILION, charts.GREEN, charts.PINK, charts.ORANGE, charts.SKY)
Points = Sequence[tuple[float, float]]


def slides(comparison: Comparison, path: str | Path) -> Path:
    """Write five slides with charts that can be edited, and notes; returns the path. The same comparison gives the same
    bytes.

    Raises ImportError where python-pptx is missing, ValueError where there is no course but one.
    """
    try:
        import pptx
    except ImportError:
        raise ImportError("Slides need python-pptx: pip install 'equipdecide[slides]'.") from None
    if len(comparison.outcomes) < 2:
        raise ValueError("there is one course only, so there is nothing to show side by side")
    path = Path(path)
    deck = _Deck(pptx.Presentation(), comparison)
    for make in (deck.answer, deck.why, deck.years, deck.cash, deck.flips):
        make()
    made = io.BytesIO()
    deck.show.save(made)
    path.write_bytes(_undated(made.getvalue(), comparison.scenario.decision_date.isoformat().encode()))
    return path


def _undated(data: bytes, day: bytes) -> bytes:
    """Return a zipped document without the hour at which it was made: the same bytes for the same figures."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as found, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as kept:
        for name in found.namelist():
            part = found.read(name)
            if name.endswith(".xlsx"):  # the figures behind a chart
                part = _undated(part, day)
            elif name == "docProps/core.xml":
                part = re.sub(rb"\d{4}-\d\d-\d\d(?=T)", day, re.sub(rb"(?<=T)\d\d:\d\d:\d\d", b"00:00:00", part))
            kept.writestr(zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0)), part, zipfile.ZIP_DEFLATED)
    return out.getvalue()


def _rgb(colour: str) -> Any:
    """Return a colour such as ``#0072B2`` as the library of slides has it."""
    from pptx.dml import color

    kept: Any = color.RGBColor
    return kept.from_string(colour.lstrip("#"))


class _Deck:
    """The slides as they are made, one method a slide."""

    def __init__(self, show: Any, comparison: Comparison) -> None:
        from pptx.util import Inches

        self.show, self.comparison, self.inch = show, comparison, Inches
        show.slide_width, show.slide_height = Inches(WIDE), Inches(HIGH)
        show.core_properties.title = comparison.scenario.title
        show.core_properties.author = ""

    def answer(self) -> None:
        """Worth less keep of every course."""
        c = self.comparison
        shown = [o for o in c.outcomes if o.name != "keep"]
        said = headline(c)
        alt = (
            "Bars of present worth less keeping: "
            + "; ".join(f"{o.name} {money(o.npv_less_keep, plus=True)}" for o in shown)
            + " dollars."
        )
        title = said.partition(" (")[0] + "."
        names = [o.name + (" (falls under the floor)" if o.affordable is False else "") for o in shown]
        self._bars(
            title,
            "Present worth after tax less keeping, dollars",
            names,
            [o.npv_less_keep for o in shown],
            alt,
            f"{c.scenario.title}\n{said}\n{ESTIMATE.text}",
        )

    def why(self) -> None:
        """Present worth by what the money is for."""
        c = self.comparison
        other = c.keep if c.leader is not c.keep else c.runner_up
        if other is None:  # only where nothing else passes: the next best of all
            other = max((o for o in c.outcomes if o is not c.leader), key=lambda o: o.npv)
        difference = c.leader - other
        drawn = charts.worth_by_group(difference, charts.blank(7.6, 3.0))
        found = sorted(
            ((group, value) for group, value in difference.by_group.items() if abs(value) >= 0.5),
            key=lambda pair: -pair[1],
        ) or [("nothing", 0.0)]
        rows = [*found, ("all together", difference.npv)]
        notes = (
            f"Present worth of {c.leader.name} less that of {other.name}, each amount counted at what it is worth on "
            f"the day of decision."
        )
        self._bars(
            charts.title(drawn),
            "Present worth after tax, dollars",
            [charts.capital(name) for name, _ in rows],
            [value for _, value in rows],
            charts.alt_text(drawn),
            notes,
        )

    def years(self) -> None:
        """Present worth added up over the years, each course less keeping."""
        c = self.comparison
        drawn = charts.cumulative_worth(c, charts.blank(7.6, 4.1))
        time, keep = c.evaluation.time, worth_so_far(c.keep)
        at = [0.0, *time.cash_times]  # to the last tax, which falls after the study
        series: dict[str, Points] = {
            o.name: list(zip(at, [0.0, *(worth_so_far(o) - keep).tolist()], strict=True))
            for o in c.outcomes
            if o.name != "keep"
        }
        notes = "A line above zero: the course is worth more than keeping would have been by then, loans counted."
        self._lines(
            charts.title(drawn),
            "years from the decision",
            "Present worth less keeping, dollars",
            series,
            charts.alt_text(drawn),
            notes,
        )

    def cash(self) -> None:
        """The shop's cash by month against the floor, or the money since the decision where no cash was given."""
        c = self.comparison
        drawn = charts.cash_calendar(c.leader, charts.blank(7.6, 4.2))
        tested = "cash test" in c.leader.ledger.workings
        level = c.leader.cash_level()
        at = np.array(c.evaluation.time.cash_times)
        inside = at <= c.evaluation.time.years_to(c.evaluation.time.end)
        series: dict[str, Points] = {c.leader.name: list(zip(at[inside].tolist(), level[inside].tolist(), strict=True))}
        floor = c.scenario.shop.cash_floor
        if floor is not None:
            series["floor"] = [(0.0, float(floor)), (float(at[inside][-1]), float(floor))]
        what = (
            "Cash of the shop at the end of each period, dollars"
            if tested
            else "Money of the shop since the decision, dollars"
        )
        notes = (
            "Cash of the shop by period, all purchases, loans, sales and taxes in."
            if tested
            else "No cash in the bank was given, so whether the shop can pay is not tested."
        )
        self._lines(charts.title(drawn), "years from the decision", what, series, charts.alt_text(drawn), notes)

    def flips(self) -> None:
        """How far each of the nearest inputs would have to move."""
        found = breakeven(self.comparison.scenario)
        shown = charts.leaders_flips(found)[:FLIPS_SHOWN]
        drawn = charts.flips(found, charts.blank(7.6, 4.0))
        notes = "One input at a time, all others as entered. " + " ".join(caution.text for caution in CAUTIONS)
        if not shown:
            self._text(charts.title(drawn), notes)
            return
        names = [
            f"{charts.flip_label(flip)}: {charts.in_unit(flip.entered, flip.unit, exact=True)} → "
            f"{charts.in_unit(flip.flip, flip.unit)}"
            for flip in shown
        ]
        moves = [min(flip.distance, 3.0) * (1 if flip.flip > flip.entered else -1) for flip in shown]
        self._bars(
            charts.title(drawn),
            "How far it would have to move before the lead is gone (300 % and more as 300 %)",
            names,
            moves,
            charts.alt_text(drawn),
            notes,
            "0%;\N{MINUS SIGN}0%",
        )

    # --- what slides are made of

    def _slide(self, title: str, notes: str) -> Any:
        from pptx.enum.text import PP_ALIGN
        from pptx.util import Pt

        slide = self.show.slides.add_slide(self.show.slide_layouts[5])
        place = slide.shapes.title  # the layout is 4:3: placed anew
        place.left, place.top, place.width, place.height = (self.inch(x) for x in (0.6, 0.4, WIDE - 1.2, 1.3))
        place.text_frame.word_wrap = True
        place.text_frame.text = title
        paragraph = place.text_frame.paragraphs[0]
        paragraph.alignment = PP_ALIGN.LEFT
        paragraph.font.size, paragraph.font.bold = Pt(28 if len(title) < 90 else 24), True
        paragraph.font.color.rgb = _rgb("1E2124")
        slide.notes_slide.notes_text_frame.text = notes
        return slide

    def _text(self, title: str, notes: str) -> None:
        self._slide(title, notes)

    def _chart(self, title: str, notes: str, kind: Any, data: Any, alt: str) -> Any:
        from pptx.util import Pt

        slide = self._slide(title, notes)
        frame = slide.shapes.add_chart(kind, *(self.inch(x) for x in (0.6, 1.8, WIDE - 1.2, HIGH - 2.2)), data)
        frame._element.nvGraphicFramePr.cNvPr.set("descr", alt)
        frame.chart.font.size = Pt(14)
        frame.chart.has_title = False
        return frame.chart

    def _bars(
        self,
        title: str,
        what: str,
        names: Sequence[str],
        values: Sequence[float],
        alt: str,
        notes: str,
        shape: str = MONEY,
    ) -> None:
        from pptx.chart import data as of_charts
        from pptx.enum.chart import XL_CHART_TYPE, XL_LABEL_POSITION, XL_TICK_LABEL_POSITION

        make: Any = of_charts.CategoryChartData
        data = make(number_format=shape)
        data.categories = list(names)
        data.add_series(what, [float(value) for value in values])
        chart = self._chart(title, notes, XL_CHART_TYPE.BAR_CLUSTERED, data, alt)
        chart.has_legend = False
        chart.category_axis.reverse_order = True
        chart.category_axis.tick_label_position = XL_TICK_LABEL_POSITION.LOW
        chart.category_axis.format.line.color.rgb = _rgb("777777")
        self._axis(chart.value_axis, what, shape)
        plot = chart.plots[0]
        plot.gap_width, plot.has_data_labels = 60, True
        plot.data_labels.number_format, plot.data_labels.number_format_is_linked = shape, False
        plot.data_labels.position = XL_LABEL_POSITION.OUTSIDE_END
        series = plot.series[0]
        series.invert_if_negative = False
        for k, value in enumerate(values):
            fill = series.points[k].format.fill
            fill.solid()
            fill.fore_color.rgb = _rgb(charts.BLUE if value >= 0 else charts.VERMILION)

    def _lines(self, title: str, along: str, what: str, series: dict[str, Points], alt: str, notes: str) -> None:
        from pptx.chart import data as of_charts
        from pptx.enum.chart import XL_CHART_TYPE, XL_LEGEND_POSITION, XL_TICK_LABEL_POSITION
        from pptx.enum.dml import MSO_LINE
        from pptx.util import Pt

        make: Any = of_charts.XyChartData
        data = make(number_format=MONEY)
        for name, points in series.items():
            one = data.add_series(name)
            for x, y in points:
                one.add_data_point(x, y)
        chart = self._chart(title, notes, XL_CHART_TYPE.XY_SCATTER_LINES_NO_MARKERS, data, alt)
        chart.has_legend = True
        chart.legend.position, chart.legend.include_in_layout = XL_LEGEND_POSITION.BOTTOM, False
        self._axis(chart.value_axis, what, MONEY)
        self._axis(chart.category_axis, along, "0")
        chart.category_axis.tick_label_position = XL_TICK_LABEL_POSITION.LOW
        chart.category_axis.minimum_scale = 0
        chart.category_axis.maximum_scale = float(np.ceil(max(x for points in series.values() for x, _ in points)))
        chart.category_axis.major_unit = 1
        chart.category_axis.has_major_gridlines = False
        low, high = charts.shown_range([np.array([y for _, y in points]) for points in series.values()])
        if low > min(
            y for points in series.values() for _, y in points
        ):  # a course far below all others runs off the chart
            step = 10.0 ** np.floor(np.log10(high - low)) / 2
            chart.value_axis.minimum_scale = float(np.floor(low / step) * step)
        dashes = (
            MSO_LINE.SOLID,
            MSO_LINE.DASH,
            MSO_LINE.ROUND_DOT,
            MSO_LINE.DASH_DOT,
            MSO_LINE.LONG_DASH,
            MSO_LINE.SQUARE_DOT,
        )
        for k, drawn in enumerate(chart.plots[0].series):
            drawn.smooth = False
            drawn.format.line.width = Pt(3.5 if drawn.name == self.comparison.leader.name else 2)
            drawn.format.line.color.rgb = _rgb(COLOURS[k % len(COLOURS)])
            drawn.format.line.dash_style = dashes[k % len(dashes)]

    def _axis(self, axis: Any, what: str, shape: str) -> None:
        from pptx.util import Pt

        axis.tick_labels.number_format, axis.tick_labels.number_format_is_linked = shape, False
        axis.has_title = True
        axis.axis_title.text_frame.text = what
        axis.axis_title.text_frame.paragraphs[0].font.size = Pt(13)
        axis.axis_title.text_frame.paragraphs[0].font.bold = False
        axis.major_gridlines.format.line.color.rgb = _rgb("DDDDDD")
