"""A drawing made small: every point stands where matplotlib put it, letters too, and nothing that
is used has lost its name.
"""

from __future__ import annotations

import io
import re

import numpy as np
import pytest

from equipdecide.views import charts
from equipdecide.views.small_svg import small

PLACES = {"M": 2, "L": 2, "H": 1, "V": 1, "Q": 4, "C": 6, "Z": 0}


def points(path: str) -> list[tuple[float, float]]:
    """The points of a path, controls too, by the grammar of SVG paths (W3C, SVG 2, section 9.3); a
    z draws back to the start.
    """
    found: list[tuple[float, float]] = []
    x = y = 0.0
    start = (x, y)
    for letter, rest in re.findall(r"([MLHVQCZmlhvqcz])([^MLHVQCZmlhvqcz]*)", path):
        figures = [float(each) for each in re.findall(r"-?(?:\d+\.?\d*|\.\d+)", rest)]
        if letter in "zZ":
            (x, y), found = start, found if found[-1] == start else [*found, start]
        count = PLACES[letter.upper()]
        for k in range(0, len(figures), count or 1):
            step = figures[k : k + count]
            ox, oy = (x, y) if letter.islower() else (0.0, 0.0)
            if letter.upper() == "H":
                group = [(ox + step[0], y)]
            elif letter.upper() == "V":
                group = [(x, oy + step[0])]
            else:
                group = [(ox + a, oy + b) for a, b in zip(step[::2], step[1::2], strict=True)]
            x, y = group[-1]
            found += group
            start = group[0] if letter in "Mm" else start
    return found


@pytest.fixture(scope="module")
def both() -> tuple[str, str]:
    ax = charts.blank(4, 3)
    ax.bar([0, 1, 2], [3, -4, 0.05], hatch="///", clip_on=True)
    ax.plot(np.linspace(0, 2, 40), np.sin(np.linspace(0, 9, 40)), marker="D", label="a − b")
    ax.text(0.3, 1, "two words\nof 1,234 %", fontsize=8.8, rotation=90)
    ax.legend()
    out = io.StringIO()
    with charts.style():
        ax.figure.savefig(out, format="svg")
    return out.getvalue(), small(out.getvalue())


def shapes(text: str) -> list[str]:
    return re.findall(r'<path (?:[^>]* )?d="([^"]+)"', text)


def test_every_point_stands_where_it_was(both) -> None:
    long, short = both
    was, now = shapes(long), shapes(short)
    assert len(was) == len(now) > 25
    letters = [
        "scale(0.015625)" in tag for tag in re.findall(r"<path [^>]*>", long, re.DOTALL) if re.search(r' d="[^"]', tag)
    ]
    for before, after, letter in zip(was, now, letters, strict=True):
        # letters: font units of 1/64 of a hundredth, told in thousandths; half a thousandth, half a tenth are the
        # rounding
        wanted = np.array(points(before)) * (0.15625 if letter else 1.0)
        assert np.abs(np.array(points(after)) - wanted).max() <= (0.5 if letter else 0.05) + 1e-9, after


def test_letters_stand_at_their_places_and_spaces_draw_nothing(both) -> None:
    long, short = both
    was = [
        float(found)
        for found in re.findall(r'<use xlink:href="#DejaVu[^"]*-(?!3")\w+" transform="translate\(([\d.]+) 0\)', long)
    ]
    now = [float(found) for found in re.findall(r'<use xlink:href="#\w+" x="(\d+)"/>', short)]
    assert len(was) == len(now) > 10
    assert np.abs(np.array(now) / 10 - np.array(was)).max() <= 0.05 + 1e-9
    assert "-0.0088)" in short and "-0.088)" in long  # 8.8 points: a tenth of the scale, ten times the letter


def test_what_is_used_is_there_once(both) -> None:
    _, short = both
    there = re.findall(r' id="([^"]+)"', short)
    assert len(there) == len(set(there))
    assert set(re.findall(r"#(i[0-9a-f]+)[\")]", short)) == set(there) != set()
    assert "<metadata" not in short and "<!--" not in short and "<g></g>" not in short and "<g>" not in short


def test_a_shape_by_hand() -> None:
    made = small(
        '<svg><g id="a"><path id="b" d="M 10 20 \nL 110.04 20 \nL 110 30.26 \nL 10 20 \nz\n" style="fill: '
        '#ffcc00"/></g></svg>'
    )
    assert made == '<svg><path d="M10 20H110V30.3z" style="fill:#fc0"/></svg>'
