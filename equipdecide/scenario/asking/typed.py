"""What a person types, as a file would have it: about 60k, 7 1/2 %, 2 or 3, June 2023, half each.

Only the questions are read so; a file is read to the letter. Nothing here knows which question a figure answers.
"""

from __future__ import annotations

import datetime as dt
import re

from equipdecide.scenario.amounts import AmountError, read_day

UNKNOWN = ("", "?", "don't know", "dont know", "do not know", "unknown", "no idea", "not sure", "unsure", "dunno")
NONE = ("none", "no", "nothing", "n/a", "na", "n.a.", "-", "never", "zero", "nope", "not now", "not yet", "none yet")

_HEDGE = re.compile(
    r"^(?:about|around|roughly|approx\.?|approximately|some|circa|ca\.|maybe|perhaps|probably|say|~)\s*",
    re.I,
)
_AFTER = re.compile(
    r"[,\s]*\b(?:or so|i think|i guess|i hope|maybe|ish|roughly|probably|give or take|more or less|or thereabouts)"
    r"\s*[.!?]*$",
    re.I,
)
_SHORT = re.compile(r"(\d[\d,]*(?:\.\d+)?)\s*(k|m|grand|hundred|thousand|million)\b", re.I)
_TIMES = {"k": 1e3, "grand": 1e3, "hundred": 1e2, "thousand": 1e3, "m": 1e6, "million": 1e6}
_FRACTION = re.compile(r"(?<![\d,./])(?:(\d+)[\s-]+)?(\d)/(\d{1,2})(?![\d/])")
_HALVES = {"½": ".5", "¼": ".25", "¾": ".75"}
_TO = re.compile(r"^(\$?\s*[\d.,]+\s*%?)\s*(?:-|\u2013|to|or)\s*(\$?\s*[\d.,]+\s*%?)$", re.I)
_NUMBER = r"\$?\s*(?:\d{1,3}(?:,\d{3})+|\d+)(?:\.\d+)?(?:\s*%|\s*per\s?cent)?"
_FIGURE = re.compile(rf"{_NUMBER}(?:\s*(?:\.\.+|…|-|–|\bto\b|\bor\b)\s*{_NUMBER}){{0,2}}", re.I)
_WORDS = dict(
    zip(
        "one two three four five six seven eight nine ten eleven twelve fifteen twenty thirty forty fifty sixty "
        "seventy eighty ninety".split(),
        (1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 15, 20, 30, 40, 50, 60, 70, 80, 90),
        strict=True,
    )
)
_WORD = re.compile(rf"\b({'|'.join(_WORDS)})\b", re.I)
_TENS = re.compile(
    r"\b((?:twen|thir|for|fif|six|seven|eigh|nine)ty)[\s-]?(one|two|three|four|five|six|seven|eight|nine)\b", re.I
)


def as_meant(text: str, per_cent: bool = False) -> str:
    """Return a typed figure as a file would have it: without "about", `60k` in full, a range with its middle.

    With `per_cent` a plain number above 1 is taken as per cent.

    >>> as_meant("about 60k"), as_meant("52,000 to 80,000"), as_meant("24", per_cent=True), as_meant("7 1/2 %")
    ('60,000', '52,000 .. 66,000 .. 80,000', '24 %', '7.5 %')
    """
    text = plainer(text)
    if found := _TO.match(text):
        ends = [float(re.sub(r"[$,%\s]", "", end)) for end in found.groups()]
        unit = " %" if "%" in text or per_cent else ""
        low, middle, high = (f"{value:,.10g}{unit}" for value in (ends[0], sum(ends) / 2, ends[1]))
        return f"{low} .. {middle} .. {high}"
    if per_cent and re.fullmatch(r"\d+(\.\d+)?", text) and float(text) > 1:
        return f"{text} %"
    return text


def plainer(text: str) -> str:
    """Return a phrase with its figures in digits, without words of doubt before and after.

    >>> plainer("maybe 7 1/2 %, I think"), plainer("50 to 60k"), plainer("low 50, likely 55, high 60")
    ('7.5 %', '50,000 to 60,000', '50 .. 55 .. 60')
    """
    text = re.sub(r"\s*\bper\s?cent\b|\s*\bpct\b", " %", " ".join(text.split()), flags=re.I)
    for sign, decimals in _HALVES.items():
        text = re.sub(rf"(\d)\s*{sign}", rf"\g<1>{decimals}", text)
    while (shorter := _AFTER.sub("", _HEDGE.sub("", text))) != text:
        text = shorter
    text = re.sub(r"\blow\s+(.+?),?\s+likely\s+(.+?),?\s+high\s+(\S+)", r"\1 .. \2 .. \3", text, flags=re.I)
    text = re.sub(r"\bbetween\s+(\S+)\s+and\s+", r"\1 to ", text, flags=re.I)
    # 50 to 60k: both in thousands
    text = re.sub(r"(?<![\d.,])(\d{1,3})(\s*(?:-|\u2013|to|or)\s*\d{1,3}\s*(k))\b", r"\1\3\2", text, flags=re.I)
    text = _SHORT.sub(lambda m: f"{float(m[1].replace(',', '')) * _TIMES[m[2].lower()]:,.0f}", text)
    return _FRACTION.sub(_decimal, text)


def _decimal(found: re.Match[str]) -> str:
    whole, above, below = found.groups()
    if int(below) < 2 or int(above) >= int(below):  # 50/50 and 9/5 are no fractions of one
        return found[0]
    return f"{int(whole or 0) + int(above) / int(below):.6g}"


def in_digits(text: str) -> str:
    """Return a text with small numbers in words as digits.

    >>> in_digits("a couple of weeks, six of ten"), in_digits("forty-five")
    ('2 weeks, 6 of 10', '45')
    """
    text = re.sub(r"\b(?:a )?couple(?: of)?\b", "2", text, flags=re.I)
    text = _TENS.sub(lambda m: str(_WORDS[m[1].lower()] + _WORDS[m[2].lower()]), text)
    return _WORD.sub(lambda m: str(_WORDS[m[1].lower()]), text)


def apart(phrase: str) -> list[str]:
    """Return a phrase with several figures as phrases with one each, as it stands where they belong together.

    >>> apart("48,000 in 6 weeks"), apart("6 of 10"), apart("50 to 60")
    (['48,000', 'in 6 weeks'], ['6 of 10'], ['50 to 60'])
    """
    found = list(_FIGURE.finditer(phrase))
    if len(found) < 2 or re.search(r"\b(?:of|in) 10\b|\bplus\b|\+", phrase):
        return [phrase]
    cuts = [0]
    for match in found[1:]:
        before = re.search(r"\s+(?:in|for|over|with|a|of)?\s*$", phrase[: match.start()], re.I)
        cuts.append(before.start() if before else match.start())
    return [phrase[a:b].strip() for a, b in zip(cuts, [*cuts[1:], len(phrase)], strict=True) if phrase[a:b].strip()]


def figure(phrase: str) -> str:
    """Return the one figure of a phrase, a sum where two are added; empty where there is none or more than one.

    >>> figure("a neighbour shop said about 55k"), figure("94,500 plus 2,100 freight"), figure("16-20 weeks")
    ('55,000', '96,600', '16-20')
    """
    found = [match.strip() for match in _FIGURE.findall(plainer(phrase))]
    if len(found) > 1 and re.search(r"\bplus\b|\+|&", phrase):
        try:
            return f"{sum(float(re.sub(r'[$,]', '', each)) for each in found):,.10g}"
        except ValueError:
            return ""
    return found[0] if len(found) == 1 else ""


# --- days, names, owners

_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_SEASONS = {"spring": 4, "summer": 7, "fall": 10, "autumn": 10, "winter": 1}
_MONTH = "|".join(
    f"{name[:3]}(?:t?|{name[3:]})" if name[3:] else name
    for name in "january february march april may june july august september october november december".split()
)
SEASON_OR_MONTH = rf"\b(?:{_MONTH}|{'|'.join(_SEASONS)})\b"


def plain_days(text: str) -> str:
    """Return a text with its days in the few shapes that are read: month first, the year in four figures.

    >>> plain_days("lathe, 9/12/24"), plain_days("03-2014"), plain_days("spring of '14"), plain_days("Oct. 5, 2020")
    ('lathe, 9/12/2024', '03/2014', 'spring 2014', '5 Oct 2020')
    """

    def whole(year: str) -> str:
        return year if len(year) == 4 else f"{19 if int(year) > 60 else 20}{year}"

    text = re.sub(
        r"(?<![\d/-])(\d{1,2})([/-])(\d{1,2})\2((?:19|20)?\d\d)(?![\d/-])",
        lambda m: f"{m[1]}/{m[3]}/{whole(m[4])}",
        text,
    )
    text = re.sub(r"(?<![\d/-])(0?[1-9]|1[0-2])-((?:19|20)\d\d)(?![\d/-])", r"\1/\2", text)
    text = re.sub(
        rf"({SEASON_OR_MONTH})\.?\s*(?:of|in)?\s*(?:['\u2019](\d\d)|((?:19|20)\d\d))\b",
        lambda m: f"{m[1]} {whole(m[2] or m[3])}",
        text,
        flags=re.I,
    )
    return re.sub(
        rf"\b({_MONTH})\.?\s+(\d{{1,2}})(?:st|nd|rd|th)?,?\s+((?:19|20)\d\d)\b", r"\2 \1 \3", text, flags=re.I
    )


def read_typed_day(text: str) -> dt.date:
    """Return a day as typed: also 3/14/2022 (month first), March 2022 (the first of the month), 1998 (mid-year)."""
    text = plain_days(_AFTER.sub("", _HEDGE.sub("", text)))
    if found := re.fullmatch(r"(\d{1,2})/(\d{1,2})/(\d{4})", text):
        return read_day(f"{found[3]}-{int(found[1]):02d}-{int(found[2]):02d}")
    if found := re.fullmatch(r"(\d{1,2})/(\d{4})", text):
        return read_day(f"{found[2]}-{int(found[1]):02d}-01")
    if found := re.fullmatch(r"(\d{4})-(\d{1,2})", text):
        return read_day(f"{found[1]}-{int(found[2]):02d}-01")
    if (found := re.fullmatch(r"([A-Za-z]{3,9})\.?\s+(\d{4})", text)) and found[1][:3].lower() in _MONTHS:
        return read_day(f"{found[2]}-{_MONTHS.index(found[1][:3].lower()) + 1:02d}-01")
    if (found := re.fullmatch(r"([A-Za-z]+)\s+(\d{4})", text)) and found[1].lower() in _SEASONS:
        return read_day(f"{found[2]}-{_SEASONS[found[1].lower()]:02d}-01")
    if re.fullmatch(r"(19|20)\d\d", text):
        return read_day(f"{text}-07-01")
    return read_day(text)


_DAYS = re.compile(
    rf"\d{{4}}-\d{{1,2}}(?:-\d{{1,2}})?|\d{{1,2}}/\d{{1,2}}/\d{{4}}|\b\d{{1,2}}/\d{{4}}\b|"
    rf"\b(?:\d{{1,2}}\s+)?(?:{_MONTH}|{'|'.join(_SEASONS)})\.?\s+(?:\d{{1,2}},?\s+)?(?:19|20)\d\d\b",
    re.I,
)
_YEAR = re.compile(r"(?<![\d$,.])(?:19|20)\d\d(?![\d,.]\d|\s*[k%])")


def find_day(text: str) -> str:
    """Return the words of a text that say a day, the fullest first; empty where none does.

    >>> find_day("the 2019 mill, 96,600, June 2023"), find_day("lathe, 1998 or so")
    ('June 2023', '1998')
    """
    found = _DAYS.search(text)
    if found is None:
        years = list(_YEAR.finditer(text))
        found = years[-1] if years else None
    return found[0] if found else ""


def days_in_weeks(text: str, today: dt.date) -> str:
    """Return a text with each coming day in it as the weeks until then.

    >>> days_in_weeks("46,000, rigging 3,500, 1/15/2027", dt.date(2026, 11, 25))  # 51 days
    '46,000, rigging 3,500, 7 weeks'
    """

    def weeks(found: re.Match[str]) -> str:
        try:
            ahead = (read_typed_day(found[0]) - today).days
        except AmountError:
            return found[0]
        return f"{max(round(ahead / 7), 1)} weeks" if ahead > 0 else found[0]

    return _DAYS.sub(weeks, plain_days(text))


def months_until(text: str, today: dt.date) -> str:
    """Return a text with "until September 2030" as the monthly payments that are left until then.

    >>> months_until("1,510 a month till Sept 2030", dt.date(2026, 11, 25))
    '1,510 a month, 46 payments left'
    """
    words = r",?\s*\b(?:ends?|until|till|til|through|last one)\b\s*(?:in|on)?\s*"

    def payments(found: re.Match[str]) -> str:
        try:
            last = read_typed_day(found["day"])
        except AmountError:
            return found[0]
        left = 12 * (last.year - today.year) + last.month - today.month
        return f", {left} payments left" if left > 0 else found[0]

    return re.sub(rf"{words}(?P<day>{_DAYS.pattern})", payments, plain_days(text), flags=re.I)


def weeks_until(text: str, today: dt.date) -> str:
    """Return the weeks from `today` to the month or season that a text names; empty where it names none.

    >>> weeks_until("next spring", dt.date(2026, 11, 25))  # to 2027-04-01, 127 days
    '18'
    """
    found = re.search(rf"\b({_MONTH}|{'|'.join(_SEASONS)})\b", text, re.I)
    if found is None:
        return ""
    word = found[1].lower()
    month = _SEASONS.get(word) or _MONTHS.index(word[:3]) + 1
    year = re.search(r"\b20\d\d\b", text)
    day = dt.date(int(year[0]) if year else today.year, month, 1)
    if day <= today and not year:
        day = day.replace(year=day.year + 1)
    return str(max(round((day - today).days / 7), 1))


def read_number(text: str) -> int:
    """Return a count of months."""
    text = re.sub(r"\s*(payments?|months?|left)+$", "", text, flags=re.I)
    if not re.fullmatch(r"\d{1,3}", text) or not 1 <= int(text) <= 480:
        raise AmountError(f"'{text}' is not a whole number from 1 to 480", "Write digits only, for example 60")
    return int(text)


def read_years(text: str) -> int:
    """Return a count of years."""
    text = re.sub(r"\s*(years?|yrs?)$", "", text, flags=re.I)
    if not re.fullmatch(r"\d{1,2}", text) or not 1 <= int(text) <= 40:
        raise AmountError(f"'{text}' is not a whole number from 1 to 40", "Write digits only, for example 7")
    return int(text)


def read_name(text: str) -> str:
    """Return a name that a file can hold as a key."""
    if "." in text or not text:
        raise AmountError(f"the name '{text}' holds a full stop" if text else "no name is given", "Write a short name")
    if text in ("from", "by", "on"):
        raise AmountError(f"'{text}' cannot be a name", "Write another name")
    return text


def read_state(text: str) -> str:
    """Return a state's two letters."""
    text = STATES.get(text.lower(), text)
    if not re.fullmatch(r"[A-Za-z]{2}", text):
        raise AmountError(f"'{text}' is not a state's code", "Write two letters, for example OH")
    return text.upper()


STATES = {
    "alabama": "AL", "alaska": "AK", "arizona": "AZ", "arkansas": "AR", "california": "CA", "colorado": "CO",
    "connecticut": "CT", "delaware": "DE", "florida": "FL", "georgia": "GA", "hawaii": "HI", "idaho": "ID",
    "illinois": "IL", "indiana": "IN", "iowa": "IA", "kansas": "KS", "kentucky": "KY", "louisiana": "LA",
    "maine": "ME", "maryland": "MD", "massachusetts": "MA", "michigan": "MI", "minnesota": "MN", "mississippi": "MS",
    "missouri": "MO", "montana": "MT", "nebraska": "NE", "nevada": "NV", "new hampshire": "NH", "new jersey": "NJ",
    "new mexico": "NM", "new york": "NY", "north carolina": "NC", "north dakota": "ND", "ohio": "OH",
    "oklahoma": "OK", "oregon": "OR", "pennsylvania": "PA", "rhode island": "RI", "south carolina": "SC",
    "south dakota": "SD", "tennessee": "TN", "texas": "TX", "utah": "UT", "vermont": "VT", "virginia": "VA",
    "washington": "WA", "west virginia": "WV", "wisconsin": "WI", "wyoming": "WY",
}  # fmt: skip

_EACH = re.compile(
    r"^(?:owners?:?\s*)?(?P<names>[^\d%]+?)[,:]?\s*\(?(?:half(?: and half| each)?|a half each|50\s*/\s*50|50\s*%?\s*each|"
    r"a third each|equal(?:ly| shares| parts)?|in equal (?:shares|parts))\)?$",
    re.I,
)


def shares_alike(text: str) -> str:
    """Return owners in equal shares as names and per cents; empty where the text does not say so.

    >>> shares_alike("Mara and Theo, half each"), shares_alike("Ines 60 %, Walt 40 %")
    ('Mara 50 %, Theo 50 %', '')
    """
    found = _EACH.match(text.strip())
    if found is None:
        return ""
    names = [name for name in re.split(r"\s*(?:,|;|&|\band\b)\s*", found["names"]) if name]
    if len(names) < 2 or ("third" in text) != (len(names) == 3) and "equal" not in text:
        return ""
    shares = [round(100 / len(names), 6)] * (len(names) - 1)
    shares.append(round(100 - sum(shares), 6))
    return ", ".join(f"{name} {share:.10g} %" for name, share in zip(names, shares, strict=True))
