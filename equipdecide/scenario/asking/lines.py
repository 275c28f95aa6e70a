"""What is asked on one line: the blanks that are answered together, with an example, and those that
answers make needless.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from equipdecide.scenario.asking.questions import BLANKS, QUESTIONS
from equipdecide.scenario.asking.typed import NONE, UNKNOWN


@dataclass(frozen=True)
class Line:
    """What is asked in one go: blanks of a question, with an example of a line. `ask` where it is
    not the question's own.
    """

    number: int
    keys: tuple[str, ...]
    such_as: str
    ask: str = ""
    where: str = ""


def _keys(number: int, first: int = 0, last: int | None = None) -> tuple[str, ...]:
    return tuple(blank.key for blank in QUESTIONS[number - 1].blanks[first:last])


LINES: tuple[Line, ...] = (
    Line(1, _keys(1), "vertical mill, 96,600, June 2023"),
    Line(2, _keys(2), "all   or   64,000"),
    Line(3, _keys(3), "LLC, Ines 60 %, Walt 40 %, tax 30 %, Ohio"),
    Line(
        4,
        _keys(4),
        "50k to 60k, consignment, 10 %",
        "What would it bring today, sold how (to a dealer outright, on consignment, at auction, by private sale), at what cost?",
    ),
    Line(5, _keys(5), "none   or   54,800 at 6.5 %, 38 payments of 1,560"),
    Line(
        6,
        _keys(6),
        "somebody is there 45 h, it cuts 20 h   (or: half)",
        "Hours a week: how many is somebody there, and how many of those does it cut?",
    ),
    Line(7, _keys(7), "none   or   4 nights, 5 h each, 6 of ten"),
    Line(
        8,
        _keys(8),
        "about 70",
        where="Your rate for an hour on it, less tooling and other things the hour uses up; or the price you pay outside.",
    ),
    Line(
        9,
        _keys(9),
        "300   or   0 .. 200 .. 500   or   5 a week",
        where="Orders turned away last year. Count only what somebody would order; this often decides.",
    ),
    Line(10, _keys(10), "11k, two weeks lost"),
    Line(
        11,
        _keys(11, 0, 2),
        "none   or   48,000, in 6 weeks",
        "Is an upgrade of this machine on offer (spindle, control, automation)? Its price, fitted, and when?",
    ),
    Line(
        11,
        _keys(11, 2),
        "parts take 10 % less time, repairs 7,000",
        "What would the upgrade change?",
        "Only what changes: hours it cuts, time a part takes, nights alone, nights of ten that run through, repairs.",
    ),
    Line(12, _keys(12), "138,400, plus 20k rigging and tooling, 16 to 20 weeks"),
    Line(
        13,
        _keys(13),
        "20 % faster, 3 nights a week of 5 h, 7 of ten, repairs 5,000",
        "What does the new one change: hours it cuts a week, time a part takes, nights alone, repairs?",
    ),
    Line(
        14,
        _keys(14, 0, 3),
        "8 %, 60 months, 10 % down   or   cash",
        "How would the purchase be paid: rate, months, down payment?",
        "The lender's offer. Not asked yet: Enter.",
    ),
    Line(
        14,
        _keys(14, 3),
        "40k, not under 15k",
        "How much cash is in the bank, and how low may it go?",
        "The bank statement; two months of bills is a common floor. Without them it is not tested whether you can pay.",
    ),
    Line(15, _keys(15), "7 years, 10 %"),
)

# Blanks that are not asked where the first one is "none" or unknown.
ONLY_WITH = {
    "upgrade_price": _keys(11, 1),
    "new_price": _keys(12, 1) + _keys(13),
    "nights_week": ("night_hours", "nights_of_ten"),
}
_NIGHTS_OF = {
    "upgrade_nights_week": ("upgrade_nights_of_ten",),
    "new_nights_week": ("new_night_hours", "new_nights_of_ten"),
}


def left_out(answers: Mapping[str, str]) -> set[str]:
    """Return the blanks that the answers so far make needless."""
    empty = {key for key in BLANKS if answers.get(key, "").lower() in (*UNKNOWN, *NONE, "0")}
    found: set[str] = set()
    for first, keys in ONLY_WITH.items():
        if first in empty:
            found.update(keys)
    if answers.get("owed", "").lower() in NONE:
        found |= {"loan_rate", "payments_left", "payment"}
    for week, others in _NIGHTS_OF.items():
        if week in empty and "nights_week" in empty:  # no nights now and none then
            found.update(others)
    if {"upgrade_price", "new_price"} <= empty:
        found |= {"finance_rate", "finance_months", "deposit"}
    return found
