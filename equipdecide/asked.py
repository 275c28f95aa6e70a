"""What a verb is asked of: a word in place of an AttributeError where a notebook hands it something else."""

from __future__ import annotations

import functools
import inspect
from collections.abc import Callable
from typing import Any

_MADE_BY = {
    "Scenario": 'a scenario, such as equipdecide.load("my_shop.yaml")',
    "Comparison": "a comparison, such as equipdecide.compare(scenario)",
}


@functools.cache
def asked_of(verb: Callable[..., Any]) -> Callable[..., Any]:
    """Return `verb`, which says what it takes where its first argument is no Scenario or Comparison that it asks for.

    Raises TypeError then. A verb that takes anything else is returned as it is.
    """
    if isinstance(verb, type):
        return verb
    first = next(iter(inspect.signature(verb).parameters.values()), None)
    wanted = str(first.annotation) if first else ""
    if first is None or wanted not in _MADE_BY:
        return verb

    @functools.wraps(verb)
    def checked(*args: Any, **kwargs: Any) -> Any:
        given = args[0] if args else kwargs.get(first.name, checked)
        if given is not checked and wanted not in (kind.__name__ for kind in type(given).__mro__):
            what = "None" if given is None else f"of the kind {type(given).__name__}"
            raise TypeError(f"equipdecide.{verb.__name__} takes {_MADE_BY[wanted]}; what was given is {what}")
        return verb(*args, **kwargs)

    return checked
