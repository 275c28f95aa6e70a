"""Amounts: what one numeric field of a scenario holds, and how its text is read.

A text such as ``57 % .. 60 % .. 62 %``, ``$ 71,000`` or ``5 h`` becomes an :class:`Amount`. One annotated type per
unit (``Money``, ``Share``, ``Hours`` ...) states unit, bounds and spelling once: the reader, the error messages and
the JSON Schema all use it.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal
from typing import Annotated, Any

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from equipdecide.scenario.tree import NOBODY, NOWHERE, Place, Provenance, Table, Text

GIVEN_BY = ("invoice", "letter", "quote", "log", "last return", "guess", "default")
"""The known words after ``from:``."""

LONG_FORM = ("likely", "low", "high", "note")
"""Keys of an amount written as a block, beside ``from``, ``by`` and ``on``."""


@dataclass(frozen=True, slots=True)
class Amount:
    """One figure of a scenario: likely, and low and high where it is doubtful.

    Money is in currency units, shares and rates are fractions. `chance` is set for yes/no doubts only: then `likely`
    is 1 when the chance is at least one half, else 0. The place in the file is no part of equality.
    """

    likely: float
    low: float | None = None
    high: float | None = None
    unit: str = ""
    path: str = ""
    place: Place = field(default=NOWHERE, compare=False)
    given_by: str = ""
    by: str = ""
    on: str = ""
    note: str = ""
    chance: float | None = None

    @property
    def doubtful(self) -> bool:
        """Whether it has a range, or is a yes/no doubt that is neither certain nor impossible."""
        if self.chance is not None:
            return 0.0 < self.chance < 1.0
        return self.low is not None and self.high is not None and self.low < self.high

    @property
    def provenance(self) -> Provenance:
        """Who gave it."""
        return Provenance(self.given_by, self.by, self.on)

    def __float__(self) -> float:
        return self.likely


class AmountError(ValueError):
    """A text cannot be read as an amount: what is wrong, and how to mend it. `key` names a key of the long form."""

    def __init__(self, what: str, mend: str, key: str = "") -> None:
        super().__init__(f"{what}. {mend}")
        self.what, self.mend, self.key = what, mend, key


_RANGE = re.compile(r"\s*(?:\.\.+|…)\s*")
_NUMBER = re.compile(r"(?P<sign>[-−+]?)\s*(?P<body>\d[\d,]*(?:\.\d*)?|\.\d+)")
_GROUPED = re.compile(r"\d{1,3}(,\d{3})+(\.\d+)?$|\d*(\.\d+)?$")
_SYMBOLS = {"$": ("USD", "CAD", "AUD", "NZD"), "€": ("EUR",), "£": ("GBP",)}
_PERCENT = re.compile(r"(%|per\s?cent)(\s*(/|an?|per)\s*(yr|year))?$")


def decimal_text(value: float, percent: bool = False) -> str:
    """Write a number so that it reads back equal: ``71,000``, ``6.35 %``.

    >>> decimal_text(1155.32), decimal_text(0.0635, percent=True)
    ('1,155.32', '6.35 %')
    """
    number = Decimal(repr(float(value)))
    if percent:
        number = number.scaleb(2)
    text = f"{number:,f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return f"{text} %" if percent else text


@dataclass(frozen=True)
class Quantity:
    """How amounts of one unit are written and bounded.

    `unit` may hold ``{currency}``; `words` are unit words that may follow the number; `example` is shown in messages.
    """

    name: str
    unit: str
    example: str
    low: float = 0.0
    high: float = 1e10
    percent: bool = False
    money: bool = False
    chance: bool = False
    words: tuple[str, ...] = ()

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self._validate)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        # one definition for all amounts stands in the file's schema, see equipdecide.scenario.writing
        kind = "PerCent" if self.percent else "Figure"
        return {"description": f"{self.name}, for example {self.example}", "definition": kind}

    def _validate(self, value: Any) -> Amount:
        try:
            return self.read(value)
        except AmountError as error:
            raise _refusal(error) from None

    def read(self, value: object) -> Amount:
        """Return the amount that `value` states.

        `value` is a text, a block with ``likely``, ``low`` and ``high``, an :class:`Amount`, or, for units that need
        no per cent, a plain number.

        Raises :class:`AmountError` with what is wrong and how to mend it.

        >>> float(Quantity("a share", "share", "24 %", 0, 1, percent=True).read("24 %"))
        0.24
        """
        if isinstance(value, Amount):
            self._bounded(value.likely if value.chance is None else value.chance, decimal_text(value.likely))
            return value
        if isinstance(value, Mapping):
            return self._read_block(value)
        if isinstance(value, int | float) and not isinstance(value, bool):
            value = decimal_text(value)
        if not isinstance(value, str):
            raise AmountError(f"{self.name} is expected here, not a list", f"Write for example {self.example}")
        return self._amount(self._figures(value), value)

    def _figures(self, text: str) -> list[float]:
        """Return the figures of a text as written: one, or low, likely and high."""
        currency = text.currency if isinstance(text, Text) else "USD"
        parts = _RANGE.split(text.strip())
        if "" in parts:
            what = f"a figure is missing in '{text}'" if len(parts) > 1 else "no figure is given"
            raise AmountError(what, f"Write for example {self.example}, or a range as low .. likely .. high")
        if len(parts) not in (1, 3):
            mend = "Write one figure, or three with two full stops between them: low .. likely .. high"
            raise AmountError(f"'{text}' has {len(parts)} figures", mend)
        if self.money:
            parts = [_without_currency(part, currency) for part in parts]
        return [self._figure(part) for part in self._with_shared_unit(parts)]

    def _with_shared_unit(self, parts: list[str]) -> list[str]:
        """Let the unit after the last figure count for all: ``57 .. 60 .. 62 %``."""
        if len(parts) == 1:
            return parts
        found = _NUMBER.search(parts[-1])
        tail = parts[-1][found.end() :].strip() if found else ""
        return [f"{part} {tail}" if tail and re.fullmatch(r"[\d.,\s]+", part) else part for part in parts]

    def _figure(self, text: str) -> float:
        text = text.strip()
        found = _NUMBER.search(text)
        if found is None:
            raise AmountError(f"cannot read '{text}' as {self.name}", f"Write for example {self.example}")
        before, after = text[: found.start()].strip(), text[found.end() :].strip()
        body = found["body"]
        if not _GROUPED.match(body):
            mend = "Write 71,000 or 71000" if "," in body else f"Write for example {self.example}"
            what = "a comma must be followed by three digits" if "," in body else f"cannot read it as {self.name}"
            raise AmountError(f"'{text}': {what}", mend)
        if self.money and re.fullmatch(r"\d{1,3}\.000", body):
            raise AmountError(f"'{text}' could be thousands", f"Write {body.replace('.', ',')} or {body[:-4]}")
        number = Decimal(body.replace(",", ""))
        self._unit(text, before, after, number)
        if found["sign"] in ("-", "−"):
            number = -number
        value = float(number.scaleb(-2) if self.percent else number)
        self._bounded(value, text)
        return value

    def _unit(self, text: str, before: str, after: str, number: Decimal) -> None:
        after = " ".join(after.lower().split())
        if self.percent:
            if before == "" and _PERCENT.fullmatch(after):
                return
            if before == after == "":
                as_cent = decimal_text(float(number), percent=True) if number <= 1 else f"{text} %"
                raise AmountError(f"'{text}' has no unit", f"Say per cent, for example {as_cent}")
        elif "%" in after or after.startswith("per cent"):
            raise AmountError(
                f"'{text}' is a per cent, and {self.name} is expected", f"Write for example {self.example}"
            )
        elif before == "" and (after == "" or after.removeprefix("/ ").lstrip("/") in self.words):
            return
        raise AmountError(f"cannot read '{text}' as {self.name}", f"Write for example {self.example}")

    def _bounded(self, value: float, text: str) -> None:
        if self.low <= value <= self.high:
            return
        low, high = decimal_text(self.low, self.percent), decimal_text(self.high, self.percent)
        if value < 0 and self.low == 0:
            raise AmountError(f"'{text}' is below zero", f"{self.name[:1].upper()}{self.name[1:]} is zero or more here")
        raise AmountError(
            f"'{text}' is out of range", f"{self.name[:1].upper()}{self.name[1:]} is {low} to {high} here"
        )

    def _read_block(self, block: Mapping[Any, Any]) -> Amount:
        for key in block:
            if key not in LONG_FORM:
                mend = f"An amount written as a block has {', '.join(LONG_FORM)}, from, by, on"
                raise AmountError(f"unknown key '{key}'", mend, str(key))
        figures = []
        for key in ("low", "likely", "high") if {"low", "high"} & set(block) else ("likely",):
            if key not in block:
                raise AmountError(f"`{key}` is missing", "Add it, or write a range as low .. likely .. high")
            value = block[key]
            try:
                found = self._figures(value) if isinstance(value, str) else [float(self.read(value))]
                if len(found) > 1:
                    raise AmountError(f"'{value}' is a range", f"Write one figure after `{key}:`")
            except AmountError as error:
                raise AmountError(error.what, error.mend, key) from None
            figures.append(found[0])
        return replace(self._amount(figures, block), note=str(block.get("note", "")))

    def _amount(self, figures: list[float], origin: object) -> Amount:
        low, likely, high = figures if len(figures) == 3 else (None, figures[0], None)
        if low is not None and high is not None and not low <= likely <= high:
            shown = f"'{origin}'" if isinstance(origin, str) else "the range"
            raise AmountError(f"{shown} is not in order", "Write the lowest figure first: low .. likely .. high")
        currency, path, place, who = "USD", "", NOWHERE, NOBODY
        if isinstance(origin, Text | Table):
            currency, path, place, who = origin.currency, origin.path, origin.place, origin.provenance
        chance = None
        if self.chance:
            if low is not None:
                raise AmountError(f"'{origin}' is a range", "A yes/no doubt has one chance, for example 75 %")
            chance, likely = likely, 1.0 if likely >= 0.5 else 0.0
        unit = self.unit.replace("{currency}", currency)
        return Amount(likely, low, high, unit, path, place, who.given_by, who.by, who.on, "", chance)


def _without_currency(text: str, currency: str) -> str:
    """Take the currency's sign or code off a figure; a sign of another currency is refused."""
    for sign, codes in _SYMBOLS.items():
        if sign in text and currency not in codes:
            raise AmountError(f"'{text}' is not in {currency}", f"Leave '{sign}' out, or change `currency:`")
        text = text.replace(sign, " ")
    return re.sub(rf"(?<![A-Za-z]){re.escape(currency)}(?![A-Za-z])", " ", text).strip()


def _per(*units: str) -> tuple[str, ...]:
    return tuple(form for unit in units for form in (unit, f"a {unit}", f"an {unit}", f"per {unit}"))


_YEAR, _MONTH, _HOUR = _per("year", "yr"), _per("month"), _per("hour", "h")
_HOURS = ("h", "hour", "hours")

Money = Annotated[Amount, Quantity("an amount of money", "{currency}", "71,000", money=True)]
MoneyOrLoss = Annotated[Amount, Quantity("an amount of money", "{currency}", "71,000", low=-1e10, money=True)]
MoneyPerYear = Annotated[
    Amount, Quantity("an amount of money a year", "{currency}/year", "11,800", money=True, words=_YEAR)
]
MoneyOrLossPerYear = Annotated[
    Amount,
    Quantity("an amount of money a year", "{currency}/year", "11,800", low=-1e10, money=True, words=_YEAR),
]
MoneyPerMonth = Annotated[
    Amount, Quantity("an amount of money a month", "{currency}/month", "95", money=True, words=_MONTH)
]
MoneyPerHour = Annotated[
    Amount, Quantity("an amount of money an hour", "{currency}/h", "34", high=1e6, money=True, words=_HOUR)
]
Rate = Annotated[Amount, Quantity("a rate a year", "1/year", "6.35 %", -0.5, 1.0, percent=True)]
Share = Annotated[Amount, Quantity("a share", "share", "24 %", 0.0, 1.0, percent=True)]
YesNo = Annotated[Amount, Quantity("a chance", "chance", "75 %", 0.0, 1.0, percent=True, chance=True)]
Hours = Annotated[Amount, Quantity("a number of hours", "h", "5 h", high=8784, words=_HOURS)]
HoursOfLife = Annotated[Amount, Quantity("a number of hours", "h", "30,000", high=1e6, words=_HOURS)]
HourRate = Annotated[
    Amount,
    Quantity(
        "a number of hours a year",
        "h/year",
        "2,000",
        high=8784,
        words=(*_HOURS, *(f"{hours}{gap}{year}" for hours in _HOURS for gap in ("/", " ") for year in _YEAR)),
    ),
]
Minutes = Annotated[Amount, Quantity("a number of minutes", "min", "19.5", high=1e5, words=("min", "minutes"))]
Days = Annotated[Amount, Quantity("a number of days", "day", "10", high=3660, words=("d", "day", "days"))]
Weeks = Annotated[Amount, Quantity("a number of weeks", "week", "16", high=520, words=("week", "weeks", "wk"))]
Years = Annotated[Amount, Quantity("a number of years", "year", "5", high=100, words=("yr", "year", "years"))]
Count = Annotated[
    Amount, Quantity("a count", "count", "3,400", high=1e9, words=("pieces", "nights", "a year", "pieces a year"))
]
Factor = Annotated[Amount, Quantity("a plain number", "factor", "1.6", high=1e9)]
Multiple = Annotated[Amount, Quantity("a multiple of the standard", "factor", "0.92", low=0.05, high=20)]
Decibels = Annotated[Amount, Quantity("a noise level", "dBA", "84", low=30, high=140, words=("dba", "db(a)"))]

_MONTHS = {name: number for number, name in enumerate("jan feb mar apr may jun jul aug sep oct nov dec".split(), 1)}
_ISO = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})")
_SPELT = re.compile(r"(\d{1,2})\.?\s+([A-Za-z]{3,9})\.?,?\s+(\d{4})")


def read_day(value: object) -> dt.date:
    """Return the day that a text states: ``2026-09-18`` or ``18 Sep 2026``.

    Raises :class:`AmountError`.

    >>> read_day("18 Sep 2026")
    datetime.date(2026, 9, 18)
    """
    if isinstance(value, dt.datetime):
        return value.date()
    if isinstance(value, dt.date):
        return value
    if not isinstance(value, str):
        raise AmountError("a day is expected here, not a list or a block", "Write for example 2026-09-18")
    text, month = value.strip(), None
    if iso := _ISO.fullmatch(text):
        year, month, day = (int(part) for part in iso.groups())
    elif (spelt := _SPELT.fullmatch(text)) and (month := _MONTHS.get(spelt[2][:3].lower())):
        year, day = int(spelt[3]), int(spelt[1])
    if month is None:
        raise AmountError(f"cannot read '{value}' as a day", "Write year-month-day, for example 2026-09-18")
    if not 1900 <= year <= 2200:
        raise AmountError(f"the year of '{value}' is out of range", "Write a year from 1900 to 2200")
    if not 1 <= month <= 12:
        raise AmountError(f"there is no month {month} in '{value}'", "Write year-month-day, for example 2026-09-18")
    try:
        return dt.date(year, month, day)
    except ValueError:
        raise AmountError(f"there is no such day as '{value}'", "That month is shorter; check the day") from None


class _DayReader:
    """Makes pydantic read days by :func:`read_day`."""

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self._validate)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return {"type": "string", "description": "a day, for example 2026-09-18", "examples": ["2026-09-18"]}

    def _validate(self, value: Any) -> dt.date:
        try:
            return read_day(value)
        except AmountError as error:
            raise _refusal(error) from None


def _refusal(error: AmountError) -> PydanticCustomError:
    return PydanticCustomError("amount", "{what}. {mend}", {"what": error.what, "mend": error.mend, "key": error.key})


Day = Annotated[dt.date, _DayReader()]
