"""How a result shows itself. A result says only that it is shown; the views, which stand higher, say how.

``import equipdecide`` brings the views with the verbs; a result made without them prints one line.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, ClassVar

Way = tuple[Callable[[Any], str], Callable[[Any], str]]


class Shown:
    """A result that shows itself as text where it is printed, and as HTML in a notebook."""

    _ways: ClassVar[dict[str, Way]] = {}

    def __str__(self) -> str:
        way = self._ways.get(type(self).__name__)
        return way[0](self) if way else repr(self)

    def __repr__(self) -> str:
        return f"<{type(self).__name__}>"

    def _repr_html_(self) -> str | None:
        way = self._ways.get(type(self).__name__)
        return way[1](self) if way else None


def shows(result: type[Shown], text: Callable[[Any], str], html: Callable[[Any], str]) -> None:
    """Say how the results of a class are shown: as text, and as an HTML fragment."""
    Shown._ways[result.__name__] = (text, html)
