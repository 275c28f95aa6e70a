"""Amounts: how texts are read, what is refused and in which words. Expected figures are worked by hand beside each."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from typing import Any, get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipdecide.scenario import amounts as of
from equipdecide.scenario.amounts import Amount, AmountError, Quantity, decimal_text, read_day

MONEY, LOSS, A_YEAR, AN_HOUR, RATE, SHARE, YES_NO, HOURS, HOUR_RATE, COUNT, FACTOR = (
    get_args(kind)[1]
    for kind in (
        of.Money,
        of.MoneyOrLoss,
        of.MoneyPerYear,
        of.MoneyPerHour,
        of.Rate,
        of.Share,
        of.YesNo,
        of.Hours,
        of.HourRate,
        of.Count,
        of.Factor,
    )
)


@pytest.mark.parametrize(
    ("quantity", "text", "likely"),
    [
        (MONEY, "71000", 71_000),
        (MONEY, "71,000", 71_000),
        (MONEY, "$ 71,000", 71_000),
        (MONEY, "$71,000.50", 71_000.5),
        (MONEY, "1,155.32", 1155.32),
        (MONEY, "71,000 USD", 71_000),
        (MONEY, "9.3668", 9.3668),
        (MONEY, "0", 0),
        (LOSS, "-12,500", -12_500),
        (A_YEAR, "$ 9,400 a year", 9400),
        (A_YEAR, "9,400/year", 9400),
        (AN_HOUR, "34 / h", 34),
        (RATE, "6.35 %", 0.0635),
        (RATE, "6.35%", 0.0635),
        (RATE, "6.35 per cent", 0.0635),
        (RATE, "6.25 %/yr", 0.0625),
        (RATE, "-2 %", -0.02),
        (SHARE, "24 %", 0.24),
        (SHARE, "97.2 %", 0.972),
        (SHARE, "33.3333 %", 0.333333),
        (HOURS, "5 h", 5),
        (HOURS, "5", 5),
        (HOUR_RATE, "2,000 h/year", 2000),
        (COUNT, "3,400 pieces", 3400),
        (FACTOR, ".92", 0.92),
    ],
)
def test_one_figure(quantity: Quantity, text: str, likely: float) -> None:
    amount = quantity.read(text)
    assert amount.likely == likely == float(amount)
    assert amount.low is amount.high is None
    assert not amount.doubtful


@pytest.mark.parametrize(
    ("quantity", "text", "ends"),
    [
        (MONEY, "7,900 .. 9,400 .. 12,000", (7900, 9400, 12_000)),
        (MONEY, "$ 7,900 .. $ 9,400 .. $ 12,000", (7900, 9400, 12_000)),
        (SHARE, "57 % .. 60 % .. 62 %", (0.57, 0.60, 0.62)),
        (SHARE, "57 .. 60 .. 62 %", (0.57, 0.60, 0.62)),
        (HOURS, "4.8..6.4..8.5 h", (4.8, 6.4, 8.5)),
        (FACTOR, "0.88 ... 0.92 … 0.98", (0.88, 0.92, 0.98)),
    ],
)
def test_a_range(quantity: Quantity, text: str, ends: tuple[float, float, float]) -> None:
    amount = quantity.read(text)
    assert (amount.low, amount.likely, amount.high) == ends
    assert amount.doubtful


@pytest.mark.parametrize(
    ("quantity", "text", "words"),
    [
        (SHARE, "0.24", "per cent, for example 24 %"),
        (SHARE, "24", "per cent, for example 24 %"),
        (RATE, "0.0635", "for example 6.35 %"),
        (SHARE, "140 %", "0 % to 100 %"),
        (SHARE, "-5 %", "below zero"),
        (RATE, "2400 %", "-50 % to 100 %"),
        (RATE, "-60 %", "-50 % to 100 %"),
        (MONEY, "-18,500", "below zero"),
        (MONEY, "− 18,500", "below zero"),
        (MONEY, "118,00", "a comma must be followed by three digits"),
        (MONEY, "1180,000", "a comma must be followed by three digits"),
        (MONEY, "71 000", "cannot read '71 000'"),
        (MONEY, "71.000", "could be thousands"),
        (MONEY, "71k", "cannot read '71k' as an amount of money"),
        (MONEY, "1e5", "cannot read"),
        (MONEY, "about 5", "cannot read"),
        (MONEY, "24 %", "a per cent, and an amount of money is expected"),
        (MONEY, "€ 5", "not in USD"),
        (MONEY, "5 EUR", "cannot read"),
        (MONEY, "", "no figure is given"),
        (MONEY, "nan", "cannot read"),
        (MONEY, "inf", "cannot read"),
        (MONEY, "1 .. 2", "has 2 figures"),
        (MONEY, "1 .. 2 .. 3 .. 4", "has 4 figures"),
        (MONEY, "1 .. .. 3", "a figure is missing"),
        (MONEY, "3 .. 2 .. 1", "lowest figure first"),
        (HOURS, "5 days", "cannot read '5 days' as a number of hours"),
        (HOURS, "9,000", "8,784"),  # hours of a leap year: 366 x 24
        (YES_NO, "50 % .. 60 % .. 70 %", "one chance"),
        (YES_NO, "0.75", "for example 75 %"),
    ],
)
def test_refused_with_plain_words(quantity: Quantity, text: str, words: str) -> None:
    with pytest.raises(AmountError) as caught:
        quantity.read(text)
    assert words in str(caught.value)
    assert caught.value.mend


@pytest.mark.parametrize(("text", "chance", "likely", "doubtful"), [
    ("75 %", 0.75, 1.0, True),
    ("50 %", 0.5, 1.0, True),
    ("49.9 %", 0.499, 0.0, True),
    ("0 %", 0.0, 0.0, False),
    ("100 %", 1.0, 1.0, False),
])  # fmt: skip
def test_a_chance_keeps_its_probability(text: str, chance: float, likely: float, doubtful: bool) -> None:
    amount = YES_NO.read(text)
    assert (amount.chance, amount.likely, amount.doubtful) == (chance, likely, doubtful)


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("2026-09-18", dt.date(2026, 9, 18)),
        ("2026-9-8", dt.date(2026, 9, 8)),
        ("18 Sep 2026", dt.date(2026, 9, 18)),
        ("18 September 2026", dt.date(2026, 9, 18)),
        ("29 Feb 2028", dt.date(2028, 2, 29)),
    ],
)
def test_days(text: str, day: dt.date) -> None:
    assert read_day(text) == day


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("2026-02-30", "no such day"),
        ("2027-02-29", "no such day"),
        ("2026-13-01", "no month 13"),
        ("09/18/2026", "cannot read"),
        ("18 Sept.ember 2026", "cannot read"),
        ("18 Foo 2026", "cannot read"),
        ("soon", "for example 2026-09-18"),
        ("0026-01-01", "1900 to 2200"),
        ("", "cannot read"),
    ],
)
def test_days_refused(text: str, words: str) -> None:
    with pytest.raises(AmountError, match=words):
        read_day(text)


def test_a_plain_number_is_taken_for_money_and_refused_for_a_share() -> None:
    assert MONEY.read(71_000).likely == 71_000
    with pytest.raises(AmountError, match="per cent"):
        SHARE.read(0.24)


def test_a_block() -> None:
    amount = SHARE.read({"likely": "60 %", "low": "57 %", "high": "62 %", "note": "three weeks watched"})
    assert amount == Amount(0.6, 0.57, 0.62, "share", note="three weeks watched")
    for block, key in (
        ({"low": "57 %", "high": "62 %"}, ""),
        ({"likely": "x"}, "likely"),
        ({"likely": "5 %", "x": "1"}, "x"),
    ):
        with pytest.raises(AmountError) as caught:
            SHARE.read(block)
        assert caught.value.key == key


@given(st.decimals(min_value=0, max_value=10**9, places=2, allow_nan=False))
def test_money_written_reads_back_equal(value: Decimal) -> None:
    assert MONEY.read(decimal_text(float(value))).likely == float(value)


@given(st.floats(min_value=0, max_value=1, allow_nan=False))
def test_shares_written_read_back_equal(value: float) -> None:
    assert SHARE.read(decimal_text(value, percent=True)).likely == value


@given(st.text(max_size=12))
def test_any_text_is_read_or_refused(text: str) -> None:
    for quantity in (MONEY, SHARE, YES_NO, HOURS, FACTOR):
        try:
            amount: Any = quantity.read(text)
        except AmountError:
            continue
        assert quantity.low <= (amount.likely if amount.chance is None else amount.chance) <= quantity.high
