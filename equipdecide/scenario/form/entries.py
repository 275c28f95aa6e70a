"""What a scenario has to put on the sheets of a form, entry by entry; what may stand there and is left out is None."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from typing import Any

from pydantic import BaseModel

from equipdecide.scenario.amounts import Amount
from equipdecide.scenario.form.layout import ITEM, NAME, Keys, pages
from equipdecide.scenario.models import Scenario
from equipdecide.scenario.tree import NOBODY, Provenance

Entry = tuple[tuple[str, ...], Any]  # the names that lead to it, and what stands there (None: only the name)


def entries(value: object, path: Keys, names: tuple[str, ...] = ()) -> Iterator[Entry]:
    """Yield what stands at a path of a scenario, entry by entry with its names."""
    if not path:
        yield names, value
    elif path[0] == NAME:
        for name, inner in value.items() if isinstance(value, Mapping) else ():
            yield from entries(inner, path[1:], (*names, str(name)))
    elif path[0] == ITEM:
        assert isinstance(value, list)
        if not value and len(path) == 1 and names:
            yield names, None
        for inner in value:
            yield from entries(inner, path[1:], names)
    else:
        yield from entries(getattr(value, path[0]), path[1:], names)


def under(value: object, keys: Keys) -> Any:
    """Return what stands below an entry; None where it has no such thing."""
    for key in keys:
        value = value.get(key) if isinstance(value, Mapping) else getattr(value, key, None)
    return value


def stated(value: object, keys: Keys) -> Any:
    """Return what stands below an entry; None where that is what a form means by an empty cell."""
    found, above = under(value, keys), under(value, keys[:-1])
    if isinstance(above, BaseModel) and found is not None and keys[-1] in type(above).model_fields:
        field = type(above).model_fields[keys[-1]]
        if not field.is_required() and found == field.get_default(call_default_factory=True):
            return None
    return found


def figures(value: object) -> list[Amount]:
    """Return the amounts of one field."""
    if isinstance(value, Amount):
        return [value]
    inner = value.values() if isinstance(value, Mapping) else value if isinstance(value, list) else ()
    return [one for one in inner if isinstance(one, Amount)]


def most(amounts: list[Amount]) -> Provenance:
    """Return who gave more than half of the amounts."""
    (who, count), *_ = Counter(amount.provenance for amount in amounts).most_common(1) or [(NOBODY, 0)]
    return who if 2 * count > len(amounts) else NOBODY


def rows_of_names(listed: list[list[str]]) -> list[str]:
    """Return names for rows in which every list of names stands in its own order; a name may need two rows.

    >>> rows_of_names([["freight", "power"], ["freight", "rigging", "power"], ["power", "freight"]])
    ['freight', 'rigging', 'power', 'freight']
    """
    rows: list[str] = []
    for names in listed:
        at = 0
        for name in names:
            if name in rows[at:]:
                at = rows.index(name, at)
            else:
                rows.insert(at, name)
            at += 1
    return rows


def files_named(scenario: Scenario) -> list[str]:
    """Return the files that a scenario names beside itself: logs of evenings and of values, a depreciation schedule."""
    found = [
        stated(entry, line.keys)
        for page in pages()
        for line in page.lines
        if line.keys[-1:] in (("log",), ("depreciation_schedule",))
        for _, entry in entries(scenario, page.path)
    ]
    return list(dict.fromkeys(str(name) for name in found if name))
