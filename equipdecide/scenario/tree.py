"""The raw tree of a scenario file: every scalar as text, with the place of key and value and who gave it."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any


@dataclass(frozen=True, slots=True)
class Place:
    """Where something stands in a file; lines and columns count from 1."""

    file: str = ""
    line: int = 0
    column: int = 0

    def __str__(self) -> str:
        return f"{self.file}:{self.line}:{self.column}"


@dataclass(frozen=True, slots=True)
class Provenance:
    """Who gave an amount: a known word (``invoice`` ... ``default``), a name, a day."""

    given_by: str = ""
    by: str = ""
    on: str = ""


NOWHERE = Place()
NOBODY = Provenance()


class Text(str):
    """A scalar of the file that remembers its place, its path by names, who gave it and the file's currency."""

    __slots__ = ("currency", "path", "place", "provenance")
    place: Place
    path: str
    provenance: Provenance
    currency: str

    @classmethod
    def at(cls, text: str, place: Place, path: str, provenance: Provenance = NOBODY, currency: str = "USD") -> Text:
        """Return `text` with its place, path, provenance and the currency of its file."""
        self = cls(text)
        self.place, self.path, self.provenance, self.currency = place, path, provenance, currency
        return self


class Table(dict[str, Any]):
    """A mapping of the file. `keys_at` holds the place of each key."""

    def __init__(self, place: Place, path: str, provenance: Provenance, currency: str) -> None:
        super().__init__()
        self.place, self.path, self.provenance, self.currency = place, path, provenance, currency
        self.keys_at: dict[str, Place] = {}


class Items(list[Any]):
    """A list of the file."""

    def __init__(self, place: Place, path: str) -> None:
        super().__init__()
        self.place, self.path = place, path


@dataclass(frozen=True)
class Source:
    """The file a scenario was read from; no part of what the scenario says, so any two are equal.

    `places` leads from a path by names to the place of its value. `remarks` are what the reader of the file must know
    of how it was read.
    """

    name: str = field(default="", compare=False)
    folder: Path | None = field(default=None, compare=False)
    places: dict[str, Place] = field(default_factory=dict, compare=False)
    remarks: tuple[str, ...] = field(default=(), compare=False)

    def where(self, path: str) -> Place | None:
        """Return the place of the value at `path`, or None where the file does not state it."""
        return self.places.get(path)
