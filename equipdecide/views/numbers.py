"""How figures are written on pages and charts: whole hundreds above a thousand, cents in settlements, a true minus sign."""

from __future__ import annotations

from equipdecide.calendar import Date

MINUS = "\N{MINUS SIGN}"
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def _minus(text: str) -> str:
    return text.replace("-", MINUS)


def dollars(amount: float) -> str:
    """Return an amount to whole hundreds above a thousand, else to whole dollars.

    >>> dollars(120176.4), dollars(-53829.9), dollars(703.3), dollars(-0.2)
    ('120,200', '−53,800', '703', '0')
    """
    shown = round(amount / 100) * 100 if abs(amount) >= 1000 else round(amount)
    return _minus(f"{shown or 0:,.0f}")


def signed(amount: float) -> str:
    """Return the same with a plus sign before what is above zero.

    >>> signed(120176.4), signed(-703.3), signed(0.1)
    ('+120,200', '−703', '0')
    """
    text = dollars(amount)
    return text if text == "0" or amount < 0 else f"+{text}"


def cents(amount: float) -> str:
    """Return an amount to the cent, as settlements have it.

    >>> cents(54833.31), cents(-703.31)
    ('54,833.31', '−703.31')
    """
    return _minus(f"{round(amount, 2) + 0.0:,.2f}")


def thousands(amount: float) -> str:
    """Return an amount in thousands for crowded charts, one decimal below ten thousand.

    >>> thousands(-201950), thousands(6150), thousands(240000)
    ('−202k', '6.2k', '240k')
    """
    size = abs(amount) / 1000
    text = f"{size:,.1f}" if size < 9.95 else f"{size:,.0f}"
    return f"{MINUS if amount < 0 else ''}{text.removesuffix('.0')}k"


def percent(share: float, places: int = 1) -> str:
    """Return a share in per cent.

    >>> percent(0.368112)
    '36.8 %'
    """
    return _minus(f"{100 * share:.{places}f} %")


def day(date: Date) -> str:
    """Return a day in words that no country misreads.

    >>> day(Date(2026, 9, 18))
    '18 Sep 2026'
    """
    return f"{date.day} {_MONTHS[date.month - 1]} {date.year}"


def month(label: str) -> str:
    """Return a month's label (``2027-06``) in words; other labels as they are.

    >>> month("2027-06"), month("3")
    ('Jun 2027', '3')
    """
    year, dash, number = label.partition("-")
    return f"{_MONTHS[int(number) - 1]} {year}" if dash and number.isdigit() else label
