"""How figures are written, in one place: money, percentages, years, dates, and what a plain console can print.

One rounding rule: halves away from zero. Money in a settlement has cents; elsewhere it is whole hundreds from a
thousand up, so that nobody takes an estimate for a price. Texts use the true minus sign; :func:`plain` writes them in
signs that an older console has.
"""

from __future__ import annotations

import math
import re
import textwrap
from collections.abc import Iterable
from datetime import date

MINUS = "\u2212"
_PLAIN = str.maketrans(
    {
        MINUS: "-",
        "\u2013": "-",
        "\u2014": "-",
        "\u2026": "...",
        "\u00d7": "x",
        "\u00f7": "/",
        "\u2265": ">=",
        "\u2264": "<=",
    }
)
_MONTHS = "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec".split()
_RATES = ("1/year", "share", "chance", "rate")  # units that are written in per cent
HUNDREDS_FROM = 1000.0  # money from here up is written in whole hundreds


def rounded(value: float, step: float) -> float:
    """Return `value` rounded to a multiple of `step`, halves away from zero.

    >>> rounded(-2.5, 1), rounded(1.005, 0.01)
    (-3.0, 1.01)
    """
    count = math.floor(abs(value) / step * (1 + 1e-12) + 0.5 + 1e-9)
    return math.copysign(count * step, value) if count else 0.0


def _signed(text: str, value: float, plus: bool) -> str:
    return (MINUS if value < 0 else "+" if plus and value > 0 else "") + text


def cents(value: float, plus: bool = False) -> str:
    """Write money to the cent.

    >>> cents(16016.69)
    '16,016.69'
    """
    value = rounded(value, 0.01)
    return _signed(f"{abs(value):,.2f}", value, plus)


def whole(value: float, plus: bool = False) -> str:
    """Write a figure without decimals: dollars of tax, hours, pieces."""
    value = rounded(value, 1.0)
    return _signed(f"{abs(value):,.0f}", value, plus)


def money(value: float, plus: bool = False) -> str:
    """Write an estimate of money: whole hundreds from a thousand up, whole units below.

    >>> money(120176.0), money(845.4), money(999.6)
    ('120,200', '845', '1,000')
    """
    return whole(rounded(value, 100.0) if abs(value) >= HUNDREDS_FROM else value, plus)


def percent(fraction: float, places: int = 1) -> str:
    """Write a fraction as a percentage.

    >>> percent(0.36811), percent(0.1), percent(1.14, 0)
    ('36.8 %', '10 %', '114 %')
    """
    value = rounded(100 * fraction, 10.0**-places)
    text = f"{abs(value):,.{places}f}"
    return _signed(text.rstrip("0").rstrip(".") if "." in text else text, value, False) + " %"


def number(value: float, places: int = 2) -> str:
    """Write a plain figure with at most `places` decimals."""
    value = rounded(value, 10.0**-places)
    text = f"{abs(value):,.{places}f}"
    return _signed(text.rstrip("0").rstrip(".") if "." in text else text, value, False)


def times(value: float) -> str:
    """Write a ratio with two decimals: a coverage of 1.70."""
    value = rounded(value, 0.01)
    return _signed(f"{abs(value):,.2f}", value, False)


def years(value: float | None) -> str:
    """Write a time in years: "2.2 years"; "never" where there is none."""
    if value is None:
        return "never"
    return f"{number(value, 1)} year{'' if rounded(value, 0.1) == 1 else 's'}"


def day(value: date) -> str:
    """Write a day: 2026-09-18, as in the files."""
    return value.isoformat()


def month(label: str) -> str:
    """Write the label of a period: "2027-01" as "Jan 2027"; anything else as it stands.

    >>> month("2027-01"), month("3")
    ('Jan 2027', '3')
    """
    year, _, rest = label.partition("-")
    if len(label) == 7 and year.isdigit() and rest.isdigit() and 1 <= int(rest) <= 12:
        return f"{_MONTHS[int(rest) - 1]} {year}"
    return label


def quantity(value: float, unit: str, currency: str = "USD") -> str:
    """Write a figure of a ledger with its unit, exact enough to check by hand: money to the cent, rates in per cent."""
    base, _, per = unit.partition("/")
    if base in (currency, "USD") and not per:
        return cents(value)
    if base in (currency, "USD"):
        return f"{cents(value)} a{'n' if per in ('h', 'hour') else ''} {'hour' if per == 'h' else per}"
    if unit in ("1/year", "share", "rate"):
        return percent(value, 4)
    if unit == "%":
        return f"{number(value, 4)} %"
    if unit in ("1", "factor", "chance", "choice", ""):
        return number(value, 6)
    words = {"h": "h", "h/year": "h a year", "hour": "h", "hour/year": "h a year", "minute": "min"}
    return f"{number(value, 4)} {words.get(unit, unit)}"


def entered(value: float, unit: str) -> str:
    """Write an input as its owner thinks of it: money from a thousand up without cents, rates in per cent."""
    if unit in _RATES:
        return percent(value, 1)
    base, _, per = unit.partition("/")
    if len(base) == 3 and base.isupper():
        figure = whole(value) if abs(value) >= HUNDREDS_FROM else number(value, 2)
        return f"{figure} a{'n' if per == 'hour' else ''} {per}" if per else figure
    words = {"hour": "h", "hour/year": "h a year", "h/year": "h a year", "minute": "min", "factor": "", "count": ""}
    if unit in ("day", "week", "month", "year") and value != 1:
        words[unit] = f"{unit}s"
    return f"{number(value, 2 if abs(value) < 100 else 0)} {words.get(unit, unit)}".rstrip()


def searched(value: float, unit: str, beside: float) -> str:
    """Write a value that was searched for as `entered` writes one, without more figures than a guess has.

    In full where it would read as the value it stands `beside`.

    >>> searched(89.13, "count", 150.0), searched(28_181.0, "USD", 98_500.0), searched(98_481.0, "USD", 98_500.0)
    ('89.1', '28,200', '98,481')
    """
    size = abs(value)
    step = (
        100.0 if size >= HUNDREDS_FROM and unit[:3].isupper() else 1.0 if size >= 100 else 0.1 if size >= 10 else 0.01
    )
    short = entered(value if unit in _RATES else rounded(value, step), unit)
    return entered(value, unit) if short == entered(beside, unit) else short


def short_label(label: str) -> str:
    """Write an input's label without the explanations in brackets.

    >>> short_label("MC-1: Time to sell (from the day it is handed over)")
    'MC-1: Time to sell'
    """
    return re.sub(r" \([^()]*\)", "", label).replace("`", "")


def in_hundred(share: float, of: str = "draws") -> str:
    """Write a chance as a count: "86 of 100 draws", "every draw", "no draw".

    >>> in_hundred(0.863), in_hundred(1.0), in_hundred(0.0), in_hundred(0.001)
    ('86 of 100 draws', 'every draw', 'no draw', 'fewer than 1 of 100 draws')
    """
    if share in (0.0, 1.0):
        return f"{'every' if share else 'no'} {of.removesuffix('s')}"
    if share < 0.005:
        return f"fewer than 1 of 100 {of}"
    if share >= 0.995:
        return f"more than 99 of 100 {of}"
    return f"{whole(100 * share)} of 100 {of}"


def bare(value: float, unit: str) -> str:
    """Write an input without its unit, for a heading or an axis that names the unit once; shares in per cent."""
    if unit in _RATES:
        return percent(value, 1)
    return whole(value) if abs(value) >= 100 else number(value, 1 if abs(value) >= 10 else 2)


def unit_words(unit: str, currency: str = "USD") -> str:
    """Name a unit for an axis: "h a year", "dollars"; empty where there is none to name."""
    base, _, per = unit.partition("/")
    names = {
        "hour": "h",
        "h": "h",
        "minute": "minutes",
        "day": "days",
        "week": "weeks",
        currency: "dollars" if currency == "USD" else currency,
    }
    name = names.get(base, "")
    return f"{name} a {per}" if name and per else name


def listed(items: Iterable[str]) -> str:
    """Join words: "a", "a and b", "a, b and c"."""
    names = list(items)
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + f" and {names[-1]}" if names else ""


def plain(text: str, encoding: str | None) -> str:
    """Return `text` as an output of this encoding can print it: signs it lacks are written in plain ones.

    >>> plain(MINUS + "5", "cp1252"), plain(MINUS + "5", "utf-8") == MINUS + "5"
    ('-5', True)
    """
    encoding = encoding or "ascii"
    try:
        text.encode(encoding)
    except (UnicodeEncodeError, LookupError):
        try:
            return text.translate(_PLAIN).encode(encoding, "replace").decode(encoding)
        except LookupError:
            return text.translate(_PLAIN).encode("ascii", "replace").decode("ascii")
    return text


def wrap(text: str, width: int, first: str = "", later: str | None = None) -> list[str]:
    """Break a text into lines of at most `width` signs, the first beginning with `first`, the others with `later`.

    A figure and its per cent stay on one line.

    >>> wrap("falls by -91 %", 13)
    ['falls by', '-91 %']
    """
    later = " " * len(first) if later is None else later
    text = re.sub(r"(?<=\d) %", "\u00a0%", text)  # a figure and its per cent stay on one line
    lines = textwrap.wrap(text, width, initial_indent=first, subsequent_indent=later, break_on_hyphens=False)
    return [line.replace("\u00a0%", " %") for line in lines] or [first.rstrip()]
