"""What a line says: its parts put to the blanks by their words and their order, in figures that the blanks read.

Nothing is asked here; what is not clear is handed back as unclear, for the dialogue to ask singly.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping
from dataclasses import dataclass

from equipdecide.scenario.amounts import Amount, AmountError, Quantity, decimal_text
from equipdecide.scenario.asking.questions import BLANKS
from equipdecide.scenario.asking.typed import (
    NONE,
    SEASON_OR_MONTH,
    STATES,
    UNKNOWN,
    apart,
    days_in_weeks,
    figure,
    find_day,
    in_digits,
    months_until,
    plain_days,
    plainer,
    shares_alike,
    weeks_until,
)

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


@dataclass
class Understood:
    """What a line says: answers by key, parts with a figure that are not clear, and words left aside."""

    answers: dict[str, str]
    unclear: list[str]
    aside: list[str]


def understood(text: str, keys: tuple[str, ...], known: Mapping[str, str], today: dt.date) -> Understood:
    """Read a line as answers to the blanks `keys`, in their order and by their words; `known` are the answers before
    it.

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
    if keys[0] == "owed":
        text = months_until(text, today)
    if any(key.endswith("_weeks") for key in keys):
        text = days_in_weeks(text, today)
    if "shift_week" in keys:
        text = _week(text)
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


def _week(text: str) -> str:
    """Return a text with the hours of a day and the days as the hours of a week that somebody is there.

    >>> _week("5 days of 9 hours, 26"), _week("two shifts of 8, half"), _week("40 there, cuts 5 hours a day")
    ('45 h there, 26', '80 h there, half', '40 there, cuts 25 h a week')
    """

    def there(found: re.Match[str]) -> str:
        return f"{decimal_text(float(found['days']) * float(found['hours']) * times)} h there"

    text = plainer(in_digits(text))
    hours, per_day, of = (
        r"(?P<hours>\d+(?:\.\d+)?)",
        r"(?:h|hrs?|hours?)\b(?: (?:a|per|each) day| each)?",
        r"\s*(?:of|x|×|at|,|-)?\s*",
    )
    times = 1.0
    text = re.sub(rf"(?<![\d.])(?P<days>[1-7])\s*(?:days?(?: a week)?){of}{hours}\s*{per_day}", there, text, flags=re.I)
    text = re.sub(rf"(?<![\d.]){hours}\s*{per_day}{of}(?P<days>[1-7])\s*days?(?: a week)?", there, text, flags=re.I)
    text = re.sub(rf"(?<![\d.])(?P<days>[1-7])\s*[x×]\s*{hours}(?:\s*(?:h|hrs?|hours?)\b)?", there, text, flags=re.I)
    times = 5.0  # common practice, no source: a shift is worked five days a week
    text = re.sub(rf"\b(?P<days>[1-3])\s*shifts? of {hours}(?:\s*(?:h|hrs?|hours?)\b)?", there, text, flags=re.I)
    cut = re.search(r"(\d+(?:\.\d+)?)\s*(?:h|hrs?|hours?) (?:a|per|each) day", text, re.I)
    if cut and re.search(r"\d.*\d", text.replace(cut[0], "")):  # the hours there are said apart
        text = text.replace(cut[0], f"{decimal_text(float(cut[1]) * times)} h a week")
    return text


def _parts(text: str, keys: tuple[str, ...]) -> list[str]:
    if any(key.endswith("nights_of_ten") for key in keys):
        text = re.sub(r"(\d+(?:\.\d+)?)\s*/\s*10\b(?!/)", r"\1 of 10", text)
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
        if answer is not None and (key in cued or len(keys) == 1 or not strange(key, answer)):
            said.answers[key] = answer
            if key == "worth" and "route" in open_keys and (route := answered("route", part, known, today)):
                said.answers["route"] = route
            if (
                key == "worth"
                and "commission" in open_keys
                and re.search(r"\b(?:no|without) (?:commission|fee)", part, re.I)
            ):
                said.answers["commission"] = "none"
            return
    (said.unclear if re.search(r"\d", part) else said.aside).append(part)


_ROUTE_WORDS = (
    ("consignment", r"consign|broker|reseller|(?<!no )commission"),
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
        low = re.sub(r"^(?:the )?state of |\s+state$", "", low)
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
    if key == "lost_days" and (found := re.match(r"an? (?:whole )?(week|day)\b", low)):
        return {"week": "5", "day": "1"}[found[1]]
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
        if re.search(r"fast|quick|more parts", low):
            return decimal_text(round(1 / (1 + change), 3))
        if re.search(r"less|shorter|sav(?:e|ing)|off", low):
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
    text = plain_days(plainer(text))
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
    names = [word.strip(" .;").replace(".", "") for word in words if re.search(r"[A-Za-z]", word)]
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


def strange(key: str, answer: str) -> bool:
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
