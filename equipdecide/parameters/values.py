"""What the law answers: a source, a reading of one parameter on one day, a printed table."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

Brackets = tuple[tuple[float, float], ...]
"""(income over [USD], rate [fraction]) pairs, the first starting at 0, thresholds rising."""

Leaf = float | str | date | tuple[float, ...] | Brackets
"""One value: a number, a choice, a day, a list of numbers by age, or brackets."""

UNITS = {
    "USD": "dollars",
    "USD/USD": "dollars of tax for each dollar of value",
    "rate": "fraction a year, or of the base it applies to",
    "share": "fraction of a whole",
    "percent": "percent as printed",
    "years": "years",
    "months": "months",
    "days": "days",
    "brackets": "list of {over: dollars, rate: fraction}",
    "choice": "one of the choices the file names",
    "date": "day",
}

UNSETTLED = {"memory": "recalled from memory and not confirmed in a source", "assumption": "an assumption"}
"""What a status other than `read` means to a reader."""


@dataclass(frozen=True)
class Source:
    """Where a value was seen: title, place within it, the day it was read, and how directly.

    `mark` is empty for the official text itself; `secondary` for a place that restates it; `computed` for a
    figure worked out from a rule that was read; `disagree` where places that restate it differ.
    """

    title: str
    place: str = ""
    read_on: date | None = None
    mark: str = ""

    def __str__(self) -> str:
        said = f"{self.title}, {self.place}" if self.place else self.title
        read = f", read {self.read_on.isoformat()}" if self.read_on else ""
        return f"{said}{read}{f' ({self.mark})' if self.mark else ''}"


def in_words(value: Leaf, unit: str) -> str:
    """Print a value for a reader, with its unit.

    >>> in_words(2_560_000.0, "USD"), in_words(0.4, "share"), in_words("exempt", "choice")
    ('$2,560,000', '40 %', 'exempt')
    """
    if isinstance(value, tuple):
        return f"the list of {len(value)} {'brackets' if unit == 'brackets' else 'figures'}"
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, str):
        return value
    if unit == "USD":
        return f"${value:,.0f}" if value == round(value) else f"${value:,.2f}"
    if unit in ("rate", "share"):
        return f"{100 * value:.6g} %"
    return f"{value:g} {unit}"


@dataclass(frozen=True)
class Reading:
    """One parameter as it stands on one day.

    `value` is a number in `unit`, a tuple of (over, rate) pairs for brackets, a tuple of numbers for a list by age,
    a choice or a day. `basis` is "in force", "held" (the last value, past its date) or "indexed" (the last value,
    raised by `index_rate` for each calendar year past it).
    """

    id: str
    value: Leaf
    unit: str
    on: date
    from_date: date
    enacted: date
    status: str
    basis: str
    source: Source
    note: str = ""
    description: str = ""
    keys: Mapping[str, str] = field(default_factory=dict)
    index_rate: float = 0.0
    verified_on: date | None = None
    meaning: str = ""
    """What a choice stands for, in the words of its file; empty for every other unit."""

    @property
    def number(self) -> float:
        """The value as a number [unit]; TypeError when the parameter is not one number."""
        if isinstance(self.value, float):
            return self.value
        raise TypeError(f"{self.id} is {self.unit}, not one number")

    @property
    def brackets(self) -> Brackets:
        """The value as (over [USD], rate) pairs; TypeError when the parameter is not brackets."""
        if self.unit == "brackets" and isinstance(self.value, tuple):
            return self.value  # type: ignore[return-value]  # the loader admits nothing but pairs under this unit
        raise TypeError(f"{self.id} is {self.unit}, not brackets")

    @property
    def series(self) -> tuple[float, ...]:
        """The value as a list of numbers [unit], by age; TypeError when the parameter is not a list."""
        if self.unit != "brackets" and isinstance(self.value, tuple):
            return self.value  # type: ignore[return-value]  # the loader admits nothing but numbers here
        raise TypeError(f"{self.id} is {self.unit}, not a list of numbers")

    @property
    def choice(self) -> str:
        """The value as a choice; TypeError when the parameter is not one."""
        if isinstance(self.value, str):
            return self.value
        raise TypeError(f"{self.id} is {self.unit}, not a choice")

    def enacted_after(self, decided: date) -> bool:
        """Whether this value became law only after the day of a decision."""
        return self.enacted > decided

    def finding(self) -> str | None:
        """Say in one plain sentence why a reader must not take this figure as settled; None when it is."""
        reasons = []
        if self.status in UNSETTLED:
            why = f" ({self.note.rstrip('.')})" if self.note and self.status == "assumption" else ""
            reasons.append(UNSETTLED[self.status] + why)
        if self.basis == "held":
            seen = f", last checked {self.verified_on.isoformat()}" if self.verified_on else ""
            reasons.append(f"the figure of {self.from_date.year}, held because no later one is on file{seen}")
        elif self.basis == "indexed":
            count = self.on.year - self.from_date.year
            reasons.append(
                f"the figure of {self.from_date.year} raised by {100 * self.index_rate:.6g} % a year for {count} "
                f"year{'s' if count > 1 else ''}, because no later one is on file"
            )
        if not reasons:
            return None
        which = ", ".join(option.replace("_", " ") for option in self.keys.values())
        what = f"{self.description or self.id}{f' ({which})' if which else ''}"
        return f"{what}, {self.on.year}: {in_words(self.value, self.unit)} is {'; it is '.join(reasons)}."


@dataclass(frozen=True)
class Table:
    """A printed table: one figure for each year, as printed and in the unit printed (percent for MACRS)."""

    id: str
    values: tuple[float, ...]
    unit: str
    source: Source
    status: str = "read"
    keys: Mapping[str, str] = field(default_factory=dict)
    note: str = ""
    description: str = ""

    @property
    def mark(self) -> str:
        """How the table was come by: empty as printed, `secondary`, or `computed` from the rule of the law."""
        return self.source.mark

    def finding(self) -> str | None:
        """Say in one plain sentence why a reader must not take this table as printed; None when it is."""
        what = f"{self.description or self.id} ({', '.join(self.keys.values())})"
        if self.status in UNSETTLED:
            return f"{what}: the figures are {UNSETTLED[self.status]}."
        if self.mark == "computed":
            return f"{what}: the figures are worked out from the rule of the law; the printed table was not seen."
        return None
