"""Five slides: their charts hold the figures of the results, can be edited, have words, and each slide has notes."""

from __future__ import annotations

import time
from pathlib import Path

import pptx
import pytest

import equipdecide as ed
from equipdecide.cli import main
from equipdecide.words import money

SCENARIOS = Path(__file__).parents[1] / "scenarios"


@pytest.mark.parametrize("name", ["deck_fittings", "first_sale", "pellwick_laser"])
def test_five_slides_with_charts_of_the_results(name: str, tmp_path: Path) -> None:
    comparison = ed.compare(ed.load(SCENARIOS / f"{name}.yaml"))
    deck = pptx.Presentation(ed.slides(comparison, tmp_path / "deck.pptx"))
    assert len(deck.slides) == 5
    charts = []
    for slide in deck.slides:
        assert slide.shapes.title.text_frame.text and len(slide.notes_slide.notes_text_frame.text) > 40
        for shape in slide.shapes:
            assert (
                shape.left >= 0
                and shape.left + shape.width <= deck.slide_width
                and shape.top + shape.height <= deck.slide_height
            )
            if shape.has_chart:
                assert len(shape._element.nvGraphicFramePr.cNvPr.get("descr")) > 40
                charts.append(shape.chart)
    assert len(charts) >= 4
    first = charts[0].plots[0]
    courses = [o for o in comparison.outcomes if o.name != "keep"]
    assert [str(c).partition(" (falls")[0] for c in first.categories] == [o.name for o in courses]
    assert list(first.series[0].values) == pytest.approx([o.npv_less_keep for o in courses])
    assert list(charts[1].plots[0].series[0].values)[-1] == pytest.approx(
        sum(list(charts[1].plots[0].series[0].values)[:-1])
    )
    ends = {series.name: list(series.values)[-1] for series in charts[2].plots[0].series}
    assert ends == {o.name: pytest.approx(o.npv_less_keep) for o in courses}
    if comparison.best not in (None, "keep"):
        assert money(comparison.leader.npv_less_keep) in deck.slides[0].shapes.title.text_frame.text


def test_the_command_writes_them_and_says_where(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "deck.pptx"
    assert main(["slides", str(SCENARIOS / "first_sale.yaml"), "-o", str(file)]) == 0
    assert str(file) in capsys.readouterr().out and len(pptx.Presentation(file).slides) == 5
    assert main(["slides", str(SCENARIOS / "first_sale.yaml"), "-o", str(tmp_path / "deck.pdf")]) == 1
    assert "ends in .pptx" in capsys.readouterr().err


def test_slides_are_the_same_bytes_a_second_time(tmp_path: Path) -> None:
    comparison = ed.compare(ed.load(SCENARIOS / "first_sale.yaml"))
    first = ed.slides(comparison, tmp_path / "first.pptx").read_bytes()
    time.sleep(2.1)  # the hour in a zipped file goes by two seconds
    assert ed.slides(comparison, tmp_path / "second.pptx").read_bytes() == first
