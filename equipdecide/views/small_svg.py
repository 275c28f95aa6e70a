"""A drawing as small SVG text: what no eye can tell is left out, and the same drawing gives the same bytes.

The text matplotlib writes says every letter, point and group at length. Here points are rounded to a tenth of a unit
[1/72 inch], letters to a thousandth of their size; steps are written from the point before where that is shorter.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import lru_cache

GLYPH = 0.015625  # the scale matplotlib gives each letter of a font [hundredths of the letters' size a font unit]
FINER = 10  # letters are set in thousandths of their size, not in hundredths
_SETS = re.compile(r"([MLQCz])([^MLQCz]*)")


def small(text: str) -> str:
    """Return SVG text written by matplotlib as short as it can be without another look; whatever it
    cannot read stays.
    """
    text = re.sub(r"<!--.*?-->|<metadata>.*?</metadata>", "", text[text.index("<svg") :], flags=re.DOTALL)
    text = re.sub(r"\s*\n\s*", " ", text)
    text = _letters(text)
    text = re.sub(rf' d="([^"]*)"( transform="scale\({GLYPH}\)")?', _drawn, text)
    text = re.sub(r' style="([^"]*)"', lambda found: f' style="{_style(found[1])}"', text)
    text = re.sub(r"-?\d+\.\d+", lambda found: _number(float(found[0])), text)
    text = _ids(re.sub(r'<g id="[^"]*"', "<g", text))
    text = re.sub(r">\s+<", "><", re.sub(r"\s+", " ", text)).replace(' "', '"').strip()
    return "".join(_without_idle_groups(text))


def _letters(text: str) -> str:
    """Set letters in thousandths of their size, in place of a scale for each, and leave out those that draw nothing."""
    empty = re.findall(rf'<path id="([^"]*)"(?: d="")? transform="scale\({GLYPH}\)"/>', text)
    for name in empty:
        text = re.sub(rf'<(?:use xlink:href="#|path id="){re.escape(name)}"[^>]*/>', "", text)
    text = re.sub(
        r'(<use xlink:href="[^"]*") transform="translate\((-?[\d.]+) (-?[\d.]+)\)"/>',
        lambda found: found[1] + _place("x", found[2]) + _place("y", found[3]) + "/>",
        text,
    )
    return re.sub(
        r"scale\(([\d.]+) -\1\)", lambda found: "scale({0:.5g} -{0:.5g})".format(float(found[1]) / FINER), text
    )


def _drawn(found: re.Match[str]) -> str:
    """Return the path of a letter in thousandths of its size, of another shape in tenths of a unit."""
    return f' d="{_path(found[1], GLYPH * FINER, 0) if found[2] else _path(found[1], 1.0, 1)}"'


def _place(name: str, value: str) -> str:
    whole = round(float(value) * FINER)
    return f' {name}="{whole}"' if whole else ""


def _number(value: float) -> str:
    """Return a number as short as no eye can tell: a tenth of a unit, and more digits for small scale factors."""
    text = f"{value:.{5 if abs(value) < 0.1 else 4 if abs(value) < 1 else 1}f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


@lru_cache(maxsize=2048)  # the letters of one chart are those of the next
def _path(told: str, scale: float, places: int) -> str:
    """Return a path of M, L, Q, C and z, times `scale`, rounded to `places`, each step in the shorter of two ways."""
    out: list[str] = []
    last, at, start = "", (0, 0), (0, 0)
    steps = [(letter, _points(rest, scale, places)) for letter, rest in _SETS.findall(told)]
    for k, (letter, points) in enumerate(steps):
        if letter == "z":
            out, last, at = [*out, "z"], "z", start
            continue
        closing = k + 1 < len(steps) and steps[k + 1][0] == "z"
        if letter == "L" and closing and points == [start]:
            continue  # the z draws it
        afresh = _step(letter, points, (0, 0), at, places)
        from_here = _step(letter, points, at, at, places)
        ways = [afresh, (from_here[0].lower(), from_here[1])]
        written = [_joined(last, letter, rest) for letter, rest in ways]
        best = 0 if len(written[0]) <= len(written[1]) else 1
        out, last = [*out, written[best]], ways[best][0]
        at = points[-1]
        start = at if letter == "M" else start
    return "".join(out)


def _points(rest: str, scale: float, places: int) -> list[tuple[int, int]]:
    found = [round(float(each) * scale * 10**places) for each in rest.split()]
    return list(zip(found[::2], found[1::2], strict=True))


def _step(
    letter: str, points: list[tuple[int, int]], origin: tuple[int, int], at: tuple[int, int], places: int
) -> tuple[str, str]:
    """Return one step as its letter and figures, counted from `origin`; a level or upright line has one figure."""
    told = [coordinate - origin[k] for point in points for k, coordinate in enumerate(point)]
    if letter == "L" and points[0][1] == at[1]:
        letter, told = "H", told[:1]
    elif letter == "L" and points[0][0] == at[0]:
        letter, told = "V", told[1:]
    figures = [_tenths(value, places) for value in told]
    return letter, "".join(each if each[0] == "-" or not k else f" {each}" for k, each in enumerate(figures))


def _tenths(value: int, places: int) -> str:
    if not places:
        return str(value)
    text = _number(value / 10**places)
    return re.sub(r"^(-?)0\.", r"\1.", text)


def _joined(last: str, letter: str, figures: str) -> str:
    """Return a step's text; its letter is left out where it is that of the step before."""
    if letter != last or letter in "Mm":
        return letter + figures
    return figures if figures[0] == "-" else f" {figures}"


def _style(told: str) -> str:
    told = re.sub(r"\s*([:;])\s*", r"\1", told)
    return re.sub(r"#([0-9a-f])\1([0-9a-f])\2([0-9a-f])\3(?![0-9a-f])", r"#\1\2\3", told).rstrip(";")


def _ids(text: str) -> str:
    """Number the names of what is used again, in their order; those of nothing used are left out."""
    names = dict.fromkeys(re.findall(r' id="([^"]*)"', text))
    used = {name: f"i{number:x}" for number, name in enumerate(name for name in names if f"#{name}" in text)}
    text = re.sub(r' id="([^"]*)"', lambda found: f' id="{used[found[1]]}"' if found[1] in used else "", text)
    return re.sub(r"#([\w.-]+)(?=[\")])", lambda found: "#" + used.get(found[1], found[1]), text)


def _without_idle_groups(text: str) -> Iterator[str]:
    """Yield the text without groups that say nothing of what they hold, and without empty ones."""
    while (shorter := re.sub(r"<g(?: [^>]*)?/>|<g(?: [^>]*)?></g>|<defs></defs>|<defs/>", "", text)) != text:
        text = shorter
    open_groups: list[bool] = []
    for piece in re.findall(r"<[^>]*>|[^<]+", text):
        if piece == "</g>":
            if open_groups.pop():
                yield piece
        elif piece.startswith(("<g>", "<g ")):
            open_groups.append(piece != "<g>")
            if open_groups[-1]:
                yield piece
        else:
            yield piece
