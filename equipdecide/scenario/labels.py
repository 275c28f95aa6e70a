"""What a figure of a scenario is called: the title of its field, after the names it belongs to."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from pydantic import BaseModel

from equipdecide.scenario.amounts import Amount
from equipdecide.scenario.models import Scenario, Spend


def labels(scenario: Scenario) -> dict[str, str]:
    """Return a label in plain words for every amount of a scenario, by its path.

    The names given in the file come first, then the title of the field: ``MC-1: Growth a year``.
    """
    return dict(_labels(scenario, "", (), ""))


def _labels(value: object, path: str, names: tuple[str, ...], title: str) -> Iterator[tuple[str, str]]:
    if isinstance(value, Amount):
        yield path, f"{', '.join(names)}: {title}" if names else title
    elif isinstance(value, BaseModel):
        for name, field in type(value).model_fields.items():
            own = field.title or name.replace("_", " ").capitalize()
            yield from _labels(getattr(value, name), f"{path}.{name}" if path else name, names, own)
    elif isinstance(value, Mapping):
        for name, inner in value.items():
            # a cost item of a list of costs is called by its own name, with the list's title after it
            if isinstance(inner, Amount):
                yield f"{path}.{name}", ": ".join([*([", ".join(names)] if names else []), str(name)])
            else:
                yield from _labels(inner, f"{path}.{name}", (*names, str(name)), title)
    elif isinstance(value, list):
        for number, inner in enumerate(value):
            called = (
                (*names, inner.what) if isinstance(inner, Spend) else names
            )  # a step is called by what it says it is
            yield from _labels(inner, f"{path}.{number}", called, f"{title}, {number + 1}")
