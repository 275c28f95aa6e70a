"""Finding one entry of a result by its name, or saying which names there are."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any, TypeVar

T = TypeVar("T")


def _name(entry: Any) -> str:
    return str(entry.name)


def named(entries: Iterable[T], name: str, what: str, called: Callable[[Any], str] = _name) -> T:
    """Return the entry that is `called` so. Raises KeyError with `what` it is and all the names there are."""
    listed = list(entries)
    for entry in listed:
        if called(entry) == name:
            return entry
    raise KeyError(f"no {what} {name!r}; there are {', '.join(called(entry) for entry in listed)}")
