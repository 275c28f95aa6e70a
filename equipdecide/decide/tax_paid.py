"""What tax a course pays: by payer and book in each calendar year of payment, and day by day."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from equipdecide.calendar import Date
from equipdecide.decide.compare import Outcome


@dataclass(frozen=True)
class TaxPayment:
    """One payment of tax: the line it stands in, its day and amount [currency, positive is paid,
    negative comes back].
    """

    line: str
    purse: str
    day: Date
    amount: float

    @property
    def book(self) -> str:
        """Payer and book: "federal tax of Ines" of the line "federal tax of Ines, estimate 1"."""
        return self.line.partition(",")[0]


@dataclass(frozen=True)
class TaxPaid:
    """All tax payments of a course from the day of decision on, in the order of its lines."""

    payments: tuple[TaxPayment, ...]

    @property
    def years(self) -> tuple[int, ...]:
        """The calendar years in which tax is paid."""
        return tuple(sorted({one.day.year for one in self.payments}))

    def by_book(self) -> Mapping[str, Mapping[int, float]]:
        """Return the sum of each payer and book by calendar year of payment [currency]."""
        found: dict[str, dict[int, float]] = {}
        for one in self.payments:
            book = found.setdefault(one.book, dict.fromkeys(self.years, 0.0))
            book[one.day.year] += one.amount
        return found

    def together(self) -> Mapping[int, float]:
        """Return the sum of all payers and books by calendar year of payment [currency]."""
        return {year: sum(one.amount for one in self.payments if one.day.year == year) for year in self.years}

    def until(self, year: int) -> tuple[TaxPayment, ...]:
        """Return the payments up to the end of a calendar year, by day and line."""
        return tuple(
            sorted((one for one in self.payments if one.day.year <= year), key=lambda one: (one.day, one.line))
        )


def tax_paid(outcome: Outcome) -> TaxPaid:
    """Return the tax payments of a course from the day of decision on; amounts under half a cent are left out."""
    start = outcome.plan.time.start
    return TaxPaid(
        tuple(
            TaxPayment(line.name, line.purse, day, -float(amount))
            for line in outcome.ledger.lines
            if line.group == "tax" and line.dates is not None
            for day, amount in zip(line.dates, line.amounts(), strict=True)
            if day >= start and abs(amount) >= 0.005
        )
    )
