"""The fifteen questions as a dialogue: one line of answer each, read as people write, and asked singly what is not clear.

The dialogue only gathers what is typed, by the key of each blank; :mod:`equipdecide.scenario.questions` makes the
scenario of it. What was understood is said after each line, so that a misreading is seen at once.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from equipdecide.scenario.amounts import Amount, AmountError, Quantity, decimal_text
from equipdecide.scenario.models import Scenario
from equipdecide.scenario.questions import (
    BLANKS,
    QUESTIONS,
    AnswerError,
    answers_problems,
    scenario_from_answers,
)
from equipdecide.scenario.typed import (
    NONE,
    SEASON_OR_MONTH,
    STATES,
    UNKNOWN,
    apart,
    figure,
    find_day,
    in_digits,
    plainer,
    shares_alike,
    weeks_until,
)
from equipdecide.words import wrap

Input = Callable[[str], str]
Print = Callable[[str], None]

HOW = (
    "Fifteen questions, one line each, written as on paper: about 60k, 50k to 60k, 7 1/2 %, next spring.\n"
    "Enter or ? takes what is shown. back: one back. where: where to find it. stop: go on another day.\n"
    "answer: from question 9 on, the answer now with the defaults for the rest."
)
FIRST_ANSWER = 9  # from this question on all that must be answered is
SO_FAR_AFTER = 12  # the question after which there is something to compare


class Stopped(Exception):
    """The person stopped; the answers given so far were handed to `keep`."""


class _Back(Exception):
    pass


class _Enough(Exception):
    pass


@dataclass(frozen=True)
class Line:
    """What is asked in one go: blanks of a question, with an example of a line. `ask` where it is not the question's own."""

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
_ONLY_WITH = {
    "upgrade_price": _keys(11, 1),
    "new_price": _keys(12, 1) + _keys(13),
    "nights_week": ("night_hours", "nights_of_ten"),
}
_NIGHTS_OF = {
    "upgrade_nights_week": ("upgrade_nights_of_ten",),
    "new_nights_week": ("new_night_hours", "new_nights_of_ten"),
}

# Words by which a part of a line is told, in the order in which they are tried.
_CUES: dict[str, str] = {
    "owed": r"\bowe|balance|payoff|principal",
    "payment": r"(?:a|per|each|every|/)\s*mo(?:nth)?\b|monthly|payment of|each$",
    "payments_left": r"payments?|months?|years?|to go|left",
    "loan_rate": r"%|interest|rate",
    "commission": r"%|commission|fee|cost of selling|no cost",
    "shift_week": r"there|shift|open|staffed|present|somebody|people|hours a day",
    "hours_week": r"cut|run|spindle|chips|half|third|%",
    "nights_of_ten": r"of 10\b|in 10\b|out of|run through",
    "night_hours": r"\bh\b|hours?|hrs?",
    "nights_week": r"night|evening|a week",
    "lost_days": r"days?|weeks?|lost|down",
    "repairs": r"repair|service|ledger",
    "upgrade_weeks": rf"weeks?|month|{SEASON_OR_MONTH}",
    "upgrade_nights_of_ten": r"of 10\b|in 10\b|out of|run through",
    "upgrade_cycle": r"time|faster|quicker|slower|shorter|cycle|%",
    "upgrade_repairs": r"repair|service|upkeep",
    "upgrade_hours": r"cut|\bh\b|hours?",
    "upgrade_nights_week": r"night|evening",
    "new_weeks": rf"weeks?|months?|deliver|lead|arrive|{SEASON_OR_MONTH}",
    "new_name": r"^(?:it is |it's )?(?:called|named)\b",
    "new_extras": r"plus|extra|rigging|tooling|install|freight|not in|on top|training",
    "new_nights_of_ten": r"of 10\b|in 10\b|out of|run through",
    "new_cycle": r"time|faster|quicker|slower|shorter|cycle|%",
    "new_repairs": r"repair|service|upkeep",
    "new_hours": r"cut|(?:h|hours?|hrs?) a week",
    "new_night_hours": r"\bh\b|hours?|hrs?",
    "new_nights_week": r"night|evening",
    "deposit": r"down|deposit|own money|up front|^cash$|all cash",
    "finance_rate": r"%|rate|interest",
    "finance_months": r"months?|years?|yrs?",
    "floor": r"floor|under|keep|least|min|below",
    "cash": r"bank|cash|have",
    "years": r"years?|yrs?",
    "earns": r"%|earn|return",
}

# What is usual; outside of it a part of a line is not taken for this blank unasked, and a single answer is asked back.
# Common practice, no source: wide on purpose.
_USUAL: dict[str, tuple[float, float]] = {
    "shift_week": (5, 168),
    "hours_week": (0.5, 168),
    "cost": (1_000, 5e6),
    "worth": (300, 5e6),
    "owed": (100, 5e6),
    "payment": (30, 100_000),
    "loan_rate": (0, 0.30),
    "finance_rate": (0, 0.30),
    "tax_rate": (0.05, 0.60),
    "hour_worth": (5, 500),
    "extra_hours": (0, 6_000),
    "repairs": (0, 200_000),
    "commission": (0, 0.30),
    "upgrade_price": (200, 5e6),
    "new_price": (1_000, 1e7),
    "new_extras": (0, 5e6),
    "upgrade_cycle": (0.2, 1.5),
    "new_cycle": (0.2, 1.5),
    "upgrade_weeks": (0, 104),
    "new_weeks": (0, 156),
    "new_repairs": (0, 200_000),
    "upgrade_repairs": (0, 200_000),
    "earns": (0, 0.40),
    "cash": (500, 1e8),
    "floor": (500, 1e8),
}


# --- one line


@dataclass
class Understood:
    """What a line says: answers by key, parts with a figure that are not clear, and words left aside."""

    answers: dict[str, str]
    unclear: list[str]
    aside: list[str]


def understood(text: str, keys: tuple[str, ...], known: Mapping[str, str], today: dt.date) -> Understood:
    """Read a line as answers to the blanks `keys`, in their order and by their words; `known` are the answers before it.

    Raises nothing: what cannot be read is returned as unclear.
    """
    text = " ".join(text.split())
    if text.lower().rstrip(".!") in UNKNOWN:
        return Understood({}, [], [])
    if "machine" in keys:
        return _machine(text)
    if keys == ("deducted",):
        return _deducted(text, known)
    if text.lower().strip(" .!") in NONE and not BLANKS[keys[0]].none:
        return Understood({}, [], [])
    if keys[0] == "owed" and re.search(r"paid (off|for)|free and clear|no loan|\bours\b", text, re.I):
        return Understood({"owed": "none"}, [], [])
    first = re.split(r"[,;]\s|\s-\s", text.lower())[0].rstrip(".!,")
    starts = first in NONE or re.fullmatch(r"(none|no|nothing|never)\b[^\d]*", text.lower()) is not None
    if starts and BLANKS[keys[0]].none:
        rest = text[len(first) :].lstrip(",;.- ")
        said = understood(rest, keys[1:], known, today) if rest and len(keys) > 1 else Understood({}, [], [])
        return Understood({keys[0]: "none"} | said.answers, said.unclear, said.aside)
    said = Understood({}, [], [])
    if "owners" in keys:
        text = _owners(text, said)
    for part in _parts(text, keys):
        if part.lower() in (*UNKNOWN, *NONE) and len(keys) > 1 or re.fullmatch(r"\D*\?", part):
            continue
        if re.search(r"\bsame\b", part, re.I) and not re.search(r"\d", part):
            continue  # the same is what the default says
        if re.fullmatch(r"\d+ (?:of us|people|persons?|men|guys|operators?|machinists?)", part, re.I):
            said.aside.append(part)
            continue
        _place(part, keys, known, today, said)
    if {"shift_week", "hours_week"} <= set(said.answers):  # it cannot cut longer than somebody is there
        there, cuts = (BLANKS[key].read(said.answers[key]) for key in ("shift_week", "hours_week"))
        if float(cuts) > float(there) and cuts.low is None:
            said.answers["shift_week"], said.answers["hours_week"] = (
                said.answers["hours_week"],
                said.answers["shift_week"],
            )
    return said


def _parts(text: str, keys: tuple[str, ...]) -> list[str]:
    text = plainer(in_digits(text))
    text = re.sub(r"\s+(?:at|@)\s+(?=[\d$])|\s+at\s+(?=auction)", ", ", text)
    text = re.sub(r"\bhalf of (\S+)", r"\1, half", text)
    if "state" in keys:
        text = re.sub(r"\s+in\s+", ", ", text)
    if "new_extras" in keys:
        text = re.sub(r"\s*(?:\+|(?<!, )\bplus\b)\s*(?=\S)", ", plus ", text)
    text = re.sub(r"(\d+(?: monthly)? payments?)(?: left)? (?:of|at) ", r"\1, payment of ", text)
    text = re.sub(r"(nights?(?: a week)?) of (?=\d)", r"\1, ", text)
    text = re.sub(r"\s+and\s+(?=(?:about |maybe |it |not )?[\d$])", ", ", text)
    parts = re.split(r"\s*(?:;|,(?!\d{3}(?!\d))|\n)\s*", text)
    return [each.strip(" .!") for part in parts for each in apart(part) if each.strip(" .!")]


def _place(part: str, keys: tuple[str, ...], known: Mapping[str, str], today: dt.date, said: Understood) -> None:
    """Put a part of a line to the blank whose words it has, else to the first that takes it."""
    open_keys = [key for key in keys if key not in said.answers]
    cued = [key for key in _CUES if key in open_keys and re.search(_CUES[key], part, re.I)]
    rest = [key for key in open_keys if key not in cued]
    for key in cued + rest:
        answer = answered(key, part, {**known, **said.answers}, today, cued=key in cued)
        if answer is not None and (key in cued or len(keys) == 1 or not _strange(key, answer)):
            said.answers[key] = answer
            if key == "worth" and "route" in open_keys and (route := answered("route", part, known, today)):
                said.answers["route"] = route
            return
    (said.unclear if re.search(r"\d", part) else said.aside).append(part)


_ROUTE_WORDS = (
    ("consignment", r"consign|broker|reseller|commission"),
    ("auction", r"auction"),
    ("private sale", r"private|neighbou?r|direct|friend|another shop|myself|ourselves|online|listing"),
    ("outright", r"outright|dealer"),
)
_TAXED_WORDS = (
    ("S corporation", r"\bs[\s-]?corp|1120-?s\b|sub ?s\b"),
    ("C corporation", r"\bc[\s-]?corp"),
    ("partnership", r"partner|1065"),
    ("sole proprietor", r"\bsole|schedule c|just me|myself|only me|on my own"),
)


# Words of a unit, and the blanks that a figure with them may answer by its place in the line alone.
_UNITS_OF = {
    "hour": ("shift_week", "hours_week", "night_hours", "new_hours", "new_night_hours", "upgrade_hours", "extra_hours",
             "hour_worth"),
    "day": ("lost_days", "shift_week"),
    "week": ("lost_days", "upgrade_weeks", "new_weeks", "shift_week", "hours_week", "nights_week", "new_hours",
             "new_nights_week", "upgrade_hours", "upgrade_nights_week", "extra_hours"),
    "month": ("payments_left", "payment", "finance_months", "upgrade_weeks", "new_weeks", "extra_hours"),
    "year": ("payments_left", "finance_months", "years", "extra_hours", "repairs", "new_repairs", "upgrade_repairs",
             "loan_rate", "finance_rate", "earns"),
}  # fmt: skip


def answered(key: str, part: str, known: Mapping[str, str], today: dt.date, cued: bool = True) -> str | None:
    """Return a part of a line as the answer to one blank, in words that the blank reads; None where it is none."""
    blank = BLANKS[key]
    low = part.lower().strip(" .!")
    if blank.none and (low in NONE or (cued and re.match(r"(no|none|nothing)\b", low) and len(low.split()) < 5)):
        return "none"
    if key == "taxed_as":
        found = next((word for word, words in _TAXED_WORDS if re.search(words, low)), None)
        return found or ("?" if re.search(r"\bllc\b", low) else None)
    if key == "route":
        return next((word for word, words in _ROUTE_WORDS if re.search(words, low)), None)
    if key == "state":
        return STATES.get(low) or (part.upper() if part.upper() in STATES.values() else None)
    if key == "owners":
        return part if re.fullmatch(r"[^\d%]*[A-Za-z][^\d%]* [\d.]+ ?%?", part) else None
    if blank.kind == "name":
        return re.sub(_CUES.get(key, "^$"), "", part).strip() or None if cued else None
    if not cued and any(unit in low and key not in of for unit, of in _UNITS_OF.items()):
        return None
    inside = _scaled(key, part, known, today)
    if inside is None:
        return None
    per_cent = isinstance(blank.kind, Quantity) and blank.kind.percent
    if "%" in inside and not per_cent and key != "deposit":
        return None
    try:
        blank.read(inside)
    except AmountError:
        return None
    return inside


def _scaled(key: str, part: str, known: Mapping[str, str], today: dt.date) -> str | None:
    """Return the figure of a part in the unit of the blank: years as months, weeks as working days, half as hours."""
    low = in_digits(part).lower()
    if key.endswith("_weeks") and not re.search(r"\d\s*(weeks?|wks?)", low) and (weeks := weeks_until(low, today)):
        return weeks
    if key == "deposit" and re.search(r"^(all )?cash$|paid in cash|in full", low):
        return "100 %"
    if key == "hours_week" and (share := _share(low)) is not None:
        shift = BLANKS["shift_week"].read(known.get("shift_week") or "40")
        return decimal_text(round(share * float(shift), 2))
    if key.endswith("_of_ten"):
        if found := re.search(r"(\d+(?:\.\d+)?)\s*(?:of|in|out of)\s*10\b", low):
            return found[1]
        if low == "half":
            return "5"
        if found := re.fullmatch(r"(\d+)\s*%.*", low):
            return decimal_text(float(found[1]) / 10)
    if key.endswith("_cycle") and (found := re.search(r"([\d.]+)\s*%\s*(.*)", low)):
        change = float(found[1]) / 100
        if re.search(r"faster|quicker|more parts", low):
            return decimal_text(round(1 / (1 + change), 3))
        if re.search(r"less|shorter|saved|off", low):
            return decimal_text(round(1 - change, 3))
        if re.search(r"slower|more|longer", low):
            return decimal_text(round(1 + change, 3))
        return decimal_text(round(change, 3)) if re.search(r"\bof\b|time", low) else None
    if key.endswith("_cycle") and re.search(r"twice|double", low):
        return "0.5"
    inside = figure(low)
    if not inside:
        return None
    per = 1.0
    if key in ("payments_left", "finance_months") and re.search(r"\byears?|\byrs?", low):
        per = 12
    elif key == "lost_days" and "week" in low:
        per = 5
    elif key.endswith("_weeks") and "month" in low:
        per = 52 / 12
    elif key == "extra_hours" and re.search(r"(a|per|each|/)\s*week", low):
        per = 50
    elif key == "extra_hours" and re.search(r"(a|per|each|/)\s*month", low):
        per = 12
    elif key == "shift_week" and re.search(r"(a|per|each|/)\s*day", low):
        per = 5
    if per == 1.0:
        return inside
    whole = key in ("payments_left", "finance_months") or key.endswith("_weeks")
    return re.sub(
        r"[\d.,]*\d",
        lambda m: decimal_text(round(float(m[0].replace(",", "")) * per, 0 if whole else 2)),
        inside.replace("..", " to ") if inside.count("..") == 1 else inside,
    )


def _share(low: str) -> float | None:
    if found := re.search(r"([\d.]+)\s*%", low):
        return float(found[1]) / 100
    return next((share for word, share in (("half", 0.5), ("third", 1 / 3), ("quarter", 0.25)) if word in low), None)


def _machine(text: str) -> Understood:
    """Name, cost and first day of a machine, in any order."""
    said = Understood({}, [], [])
    text = plainer(text)
    if day := find_day(text):
        try:
            BLANKS["in_service"].read(day)
            said.answers["in_service"] = day
            text = re.sub(rf"(?:\b(?:since|in|bought|from|made parts|first)\s+)*{re.escape(day)}", ", ", text)
        except AmountError:
            said.unclear.append(day)
    money = r"(?:\$\s*)?(?:\d{1,3}(?:,\d{3})+|(?!(?:19|20)\d\d\b)\d{4,})(?:\.\d+)?"
    added = rf"{money}(?:[^\d,;]*(?:\bplus\b|\+|\band\b|&)\s*{money})*(?:\s+(?:freight|rigging|tooling|delivery)\b)?"
    if found := re.search(added, text):
        said.answers["cost"] = figure(re.sub(r"\band\b", "plus", found[0])) or re.findall(money, found[0])[0]
        text = text.replace(found[0], ", ")
        said.unclear.extend(re.findall(money, text))
    words = [
        re.sub(r"\b(?:for|cost|costs|paid|price|about|bought|in|since|all in)\s*$", "", each.strip(" ."))
        for each in map(plainer, re.split(r",(?!\d{3}(?!\d))", text))
    ]
    names = [word.strip(" .").replace(".", "") for word in words if re.search(r"[A-Za-z]", word)]
    names = [name for name in names if name.lower() not in ("or so", "i think", "i guess", "maybe")]
    if names:
        said.answers["machine"] = names[0]
        said.aside.extend(names[1:])
    return said


def _deducted(text: str, known: Mapping[str, str]) -> Understood:
    low = text.lower()
    try:
        BLANKS["deducted"].read(low)
        return Understood({"deducted": low}, [], [])
    except AmountError:
        share, cost = (0.0 if low in NONE else _share(low)), known.get("cost", "")
        if share is not None and cost:
            whole = float(BLANKS["cost"].read(cost))
            return Understood({"deducted": decimal_text(round(share * whole))}, [], [])
    return Understood({"deducted": figure(low)}, [], []) if figure(low) else Understood({}, [text], [])


def _owners(text: str, said: Understood) -> str:
    """Take the owners out of a line, and return the rest of it."""
    parts = re.split(r"\s*[;,]\s*", text)
    for first in range(len(parts)):  # names with their share in words: "Mara and Theo, half each"
        for last in range(first + 1, len(parts) + 1):
            if alike := shares_alike(", ".join(parts[first:last])):
                said.answers["owners"] = alike
                return ", ".join(parts[:first] + parts[last:])
    owner = r"(?!tax|rate|bracket|about|combined|state|federal)[A-Za-z][\w' -]*? \d[\d.]*\s*%?"
    pieces = [piece for part in parts for piece in re.split(r"\s+(?:and|&)\s+", part)]
    owners = [piece for piece in pieces if re.fullmatch(owner, piece, re.I) and not re.search(r"tax|rate", piece, re.I)]
    if len(owners) > 1 or (owners and "100" in owners[0]):
        said.answers["owners"] = ", ".join(owners)
        return ", ".join(piece for piece in pieces if piece not in owners)
    return text


def _strange(key: str, answer: str) -> bool:
    """Whether an answer is far from what is usual."""
    usual = _USUAL.get(key)
    if usual is None or answer.lower() in (*UNKNOWN, *NONE):
        return False
    amount = BLANKS[key].read(answer)
    return isinstance(amount, Amount) and float(amount) != 0 and not usual[0] <= float(amount) <= usual[1]


def shown(key: str, answer: str) -> str:
    """Return an answer as it was read, short: "54,800", "2023-06-01", "7.5 %"."""
    read = BLANKS[key].read(answer)
    if read is None:
        return "none"
    if isinstance(read, dict):
        return ", ".join(f"{name} {decimal_text(share.likely, True)}" for name, share in read.items())
    if isinstance(read, Amount):
        kind = BLANKS[key].kind
        per_cent = read.unit in ("share", "1/year") and (not isinstance(kind, Quantity) or kind.percent)
        ends = [read.likely] if read.low is None or read.high is None else [read.low, read.likely, read.high]
        return " .. ".join(decimal_text(end, per_cent) for end in ends)
    return str(read)


# --- the dialogue


def ask(
    input: Input = input,
    print: Print = print,
    today: dt.date | None = None,
    *,
    kept: Mapping[str, str] | None = None,
    reached: int = 1,
    keep: Callable[[dict[str, str], int], None] | None = None,
    so_far: Callable[[Scenario], str] | None = None,
) -> Scenario:
    """Ask the fifteen questions and return the scenario; what is not understood is asked again by itself.

    `input` and `print` may be replaced (a script, a notebook). `kept` are answers of before, and `reached` the question to
    go on from; `keep` is given the answers and the next question's number after each. `so_far` turns the scenario of the
    answers so far into a line that is shown on the way. Ends with EOFError where `input` has no more answers, with
    :class:`Stopped` where the person stops.
    """
    return _Dialogue(input, print, today or dt.date.today(), dict(kept or {}), keep, so_far).run(reached)


class _Dialogue:
    def __init__(
        self,
        input: Input,
        print: Print,
        today: dt.date,
        answers: dict[str, str],
        keep: Callable[[dict[str, str], int], None] | None,
        so_far: Callable[[Scenario], str] | None,
    ) -> None:
        self.input, self.print, self.today = input, print, today
        self.answers, self.keep, self.so_far = answers, keep, so_far
        self.number = 1
        self.alone = False  # whether one figure is asked by itself

    def run(self, reached: int) -> Scenario:
        self.print(HOW)
        at = next((k for k, line in enumerate(LINES) if line.number >= reached), 0)
        trail = [k for k in range(at) if self.needed(LINES[k])]
        while at < len(LINES):
            line = LINES[at]
            if not self.needed(line):
                at += 1
                continue
            self.number = line.number
            try:
                self.line(line)
            except _Back:
                if not self.alone:  # from a figure asked singly back to its own line
                    at = trail.pop() if trail else at
                continue
            except _Enough:
                break
            trail.append(at)
            at += 1
            last = at == len(LINES) or LINES[at].number != line.number
            if self.keep:
                self.keep(dict(self.answers), line.number + 1 if last else line.number)
            if last and line.number == SO_FAR_AFTER:
                self.tell_so_far()
        return self.finish()

    def needed(self, line: Line) -> bool:
        return bool(set(line.keys) - left_out(self.answers))

    def heard(self, prompt: str) -> str:
        answer = self.input(prompt).strip()
        word = answer.lower().strip("\"'")
        if word == "back":
            raise _Back
        if word in ("stop", "quit", "exit"):
            raise Stopped
        if word == "where":
            self.say(QUESTIONS[self.number - 1].where)
            return self.heard(prompt)
        if word == "answer":
            if self.number >= FIRST_ANSWER:
                raise _Enough
            self.print(f"   Questions up to {FIRST_ANSWER - 1} are needed for a first answer.")
            return self.heard(prompt)
        return answer

    def line(self, line: Line) -> None:
        """Ask one line until it is understood or asked singly; the answers are set."""
        question = QUESTIONS[line.number - 1]
        self.alone = False
        self.print(
            "\n" + "\n".join(wrap(f"{line.number} of {len(QUESTIONS)}. {line.ask or question.ask}", 96, "", "   "))
        )
        if line.where:
            self.say(line.where)
        self.print(f"   Such as: {line.such_as}")
        before_it = dict(self.answers)
        before = {key: self.answers[key] for key in line.keys if self.answers.get(key)}
        if before:
            self.say("Enter keeps: " + self.told(before))
        elif taken := _taken(line.keys, self.answers):
            self.say("Enter takes: " + taken)
        typed = self.heard("> ")
        if not typed and before:
            return
        said = understood(typed, line.keys, self.answers, self.today)
        for key in line.keys:
            self.answers.pop(key, None)
        got = {key: answer for key, answer in said.answers.items() if answer != "?" and not self.bad(key, answer)}
        self.answers |= got
        if got:
            self.say("Noted: " + self.told({key: got[key] for key in line.keys if key in got}))
        if "taxed_as" in said.answers and said.answers["taxed_as"] == "?":
            self.print(
                "   An LLC is taxed by its owners; if it elected otherwise, go back and write S or C corporation."
            )
        if said.unclear or (said.aside and not got and not said.answers):
            parts = "; ".join(f"'{part}'" for part in said.unclear or said.aside)
            open_keys = [key for key in line.keys if key not in got and key not in left_out(self.answers)]
            self.say(f"Not understood: {parts}." + (" One at a time, then:" if open_keys else ""))
            self.singly(open_keys)
        else:
            if said.aside:
                self.say("Left aside: " + "; ".join(f"'{part}'" for part in said.aside))
            if got:
                self.rest(tuple(key for key in line.keys if key not in got), before_it)
        self.singly([key for key in line.keys if BLANKS[key].must and not self.answers.get(key)])
        for key in line.keys:
            if self.answers.get(key) and _strange(key, self.answers[key]):
                self.sure(key)
        self.fitting(line)

    def say(self, text: str) -> None:
        self.print("\n".join(wrap(text, 96, "   ")))

    def rest(self, keys: tuple[str, ...], before: Mapping[str, str]) -> None:
        """Say which defaults were taken for what a line leaves open, if they differ from those shown above it."""
        now = _defaults(keys, self.answers)
        above = _defaults(keys, before)
        if news := {key: text for key, text in now.items() if above.get(key) != text}:
            self.say("Taken: " + "; ".join(f"{_short(key)} {text}" for key, text in news.items()))

    def bad(self, key: str, answer: str) -> bool:
        try:
            BLANKS[key].read(answer)
        except AmountError as error:
            self.print(f"   {error.what}. {error.mend}.")
            return True
        return False

    def told(self, answers: Mapping[str, str]) -> str:
        return "; ".join(f"{_short(key)} {shown(key, answer)}".strip() for key, answer in answers.items())

    def singly(self, keys: list[str]) -> None:
        for key in keys:
            if key not in left_out(self.answers):
                self.one(key)

    def one(self, key: str) -> None:
        """Ask one blank until it is answered or its default is taken."""
        blank = BLANKS[key]
        self.alone = True
        while True:
            typed = self.heard(f"   {blank.prompt}")
            low = typed.lower()
            if low in UNKNOWN or (low in NONE and not blank.none and not blank.must):
                if not blank.must:
                    self.answers.pop(key, None)
                    return
                self.print(f"   {_HELP.get(key, 'This must be answered; a guess is enough.')}")
                continue
            part = in_digits(typed) if blank.kind not in ("name", "owners") else typed
            answer = answered(key, part, self.answers, self.today) or typed
            try:
                if answer != "?":
                    blank.read(answer)
            except AmountError as error:
                self.print(f"   {error.what}. {error.mend}.")
                continue
            self.answers[key] = answer
            return

    def sure(self, key: str) -> None:
        """Ask back an answer that is far from usual."""
        kept = self.answers[key]
        self.alone = True
        said = self.heard(f"   {BLANKS[key].label}: {shown(key, kept)}, really? Write yes, or the right figure: ")
        if said.lower() in ("y", "yes"):
            return
        answer = answered(key, in_digits(said), self.answers, self.today) if said else None
        if answer is None:
            self.one(key)
        else:
            self.answers[key] = answer

    def fitting(self, line: Line) -> None:
        """Ask again, at their own line, what does not fit the answers before it."""
        for _ in range(20):
            wrong = {key: text for key, text in answers_problems(self.answers, self.today).items() if key in line.keys}
            if not wrong:
                return
            for key, text in wrong.items():
                if key in _HELP and not self.answers.get(key):
                    text = _HELP[key]
                self.print(f"   {text}")
                self.one(key)

    def tell_so_far(self) -> None:
        if self.so_far is None:
            return
        try:
            told = self.so_far(scenario_from_answers(self.answers, self.today))
        except (AnswerError, ValueError):
            return
        self.print(f'\n   So far, very roughly: {told}\n   "answer" stops here; the questions left make it better.')

    def finish(self) -> Scenario:
        while True:
            try:
                return scenario_from_answers(self.answers, self.today)
            except AnswerError as error:
                if not set(error.problems) & set(BLANKS):
                    raise
                for key, text in error.problems.items():
                    if key in BLANKS:
                        self.print(f"   {text}")
                        self.one(key)


_HELP = {
    "hour_worth": "A guess is enough: what you charge for an hour on it, less what the hour uses up. Such as: about 60.",
    "cost": "A guess is enough, such as: about 30k.",
    "in_service": "A guess is enough, such as: 1998, or spring 2015.",
    "owed": "This one is needed: none if nothing is owed; else the balance, about is enough.",
}


# What is read back, in a word or two; the labels in full stand in the form and where a figure is asked singly.
_WORDS = {
    "machine": "", "cost": "cost", "in_service": "first parts", "deducted": "", "taxed_as": "taxed as", "owners": "owners",
    "tax_rate": "tax", "state": "state", "worth": "", "route": "by", "commission": "cost of selling", "owed": "owed",
    "loan_rate": "at", "payments_left": "payments left", "payment": "a month", "shift_week": "hours there",
    "hours_week": "hours it cuts", "nights_week": "nights a week", "night_hours": "hours each",
    "nights_of_ten": "of ten run through", "hour_worth": "", "extra_hours": "", "repairs": "repairs",
    "lost_days": "days lost", "upgrade_price": "", "upgrade_weeks": "weeks", "upgrade_hours": "hours it cuts",
    "upgrade_cycle": "time a part", "upgrade_nights_week": "nights a week", "upgrade_nights_of_ten": "of ten run through",
    "upgrade_repairs": "repairs", "new_price": "price", "new_name": "called", "new_extras": "not in the quote",
    "new_weeks": "weeks", "new_hours": "hours it cuts", "new_cycle": "time a part", "new_nights_week": "nights a week",
    "new_night_hours": "hours each", "new_nights_of_ten": "of ten run through", "new_repairs": "repairs",
    "finance_rate": "at", "finance_months": "months", "deposit": "down", "cash": "cash", "floor": "floor",
    "years": "years", "earns": "elsewhere earns",
}  # fmt: skip


def _short(key: str) -> str:
    return _WORDS[key]


def _defaults(keys: tuple[str, ...], answers: Mapping[str, str]) -> dict[str, str]:
    """Return the defaults that stand for blanks without an answer."""
    skip = left_out(answers)
    if answers.get("payment"):  # then the payments left follow, or the payment is known
        skip.add("payments_left")
    if answers.get("payments_left") or answers.get("owed"):
        skip.add("payment")
    return {
        key: _default_of(key, answers) for key in keys if key not in skip and key != "new_name" and not BLANKS[key].must
    }


def _taken(keys: tuple[str, ...], answers: Mapping[str, str]) -> str:
    """Say what Enter takes for a whole line; nothing where it must be answered."""
    if keys[0] == "owed" or any(BLANKS[key].must for key in keys):
        return ""
    told = _defaults(keys[:1] if keys[0] in _ONLY_WITH else keys, answers)
    return "; ".join(f"{_short(key)} {text}".strip() for key, text in told.items())


def _default_of(key: str, answers: Mapping[str, str]) -> str:
    """The default of a blank in words, where other answers change it."""
    none_now = answers.get("nights_week", "").lower() in (*UNKNOWN, *NONE, "0")
    if key == "new_night_hours" and none_now:
        return BLANKS["night_hours"].default
    if key == "new_nights_of_ten" and none_now:
        return BLANKS["nights_of_ten"].default
    if key == "new_nights_week" and none_now:
        return "none"
    if key == "taxed_as" and len(BLANKS["owners"].read(answers["owners"]) if answers.get("owners") else {}) > 1:
        return "partnership"
    default = BLANKS[key].default
    return {"left out": "none", "the floor is not tested": "not tested"}.get(default, default.split(":")[0])


def left_out(answers: Mapping[str, str]) -> set[str]:
    """Return the blanks that the answers so far make needless."""
    empty = {key for key in BLANKS if answers.get(key, "").lower() in (*UNKNOWN, *NONE, "0")}
    found: set[str] = set()
    for first, keys in _ONLY_WITH.items():
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
