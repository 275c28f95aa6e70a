"""Writing a scenario as YAML that reads back equal, and the JSON Schema that editors check such files by."""

from __future__ import annotations

import datetime as dt
import json
import re
from collections.abc import Iterator, Mapping
from typing import Any

from pydantic import BaseModel

from equipdecide.scenario.amounts import GIVEN_BY, Amount, decimal_text
from equipdecide.scenario.models import Scenario
from equipdecide.scenario.tree import NOBODY, Provenance

SCHEMA_FILE = "scenario.schema.json"
MODELINE = f"# yaml-language-server: $schema={SCHEMA_FILE}\n"

_PERCENT_UNITS = ("share", "1/year", "chance")
_PLAIN = re.compile(r"[A-Za-z0-9](?:[\w .,/%()+$'=;?!-]|:(?=\S))*")


def dump(scenario: Scenario) -> str:
    """Return `scenario` as YAML that reads back equal; what stands at its default is left out."""
    return MODELINE + "\n".join(_block(scenario, NOBODY)) + "\n"


def _entries(value: object) -> list[tuple[str, object]]:
    """Return key and value of what a block states."""
    if not isinstance(value, BaseModel):
        return list(value.items()) if isinstance(value, Mapping) else []
    fields = type(value).model_fields
    pairs = [
        (name, getattr(value, name))
        for name, field in fields.items()
        if field.is_required() or getattr(value, name) != field.get_default(call_default_factory=True)
    ]
    if not isinstance(value, Scenario):  # what a step does stands first, then what must be stated
        pairs.sort(key=lambda pair: (pair[0] != "do", not fields[pair[0]].is_required()))
    return pairs


def _amounts(value: object) -> Iterator[Amount]:
    if isinstance(value, Amount):
        yield value
    elif isinstance(value, list):
        for inner in value:
            yield from _amounts(inner)
    else:
        for _, inner in _entries(value):
            yield from _amounts(inner)


def _common(value: object, outer: Provenance) -> Provenance:
    """Return who gave all amounts of a block, where that is one and can stand at the block; else `outer`."""
    given = {amount.provenance for amount in _amounts(value)}
    fields = type(value).model_fields if isinstance(value, BaseModel) else {}
    if len(given) != 1:
        return outer
    (who,) = given
    taken = ("by" in fields and who.by) or ("on" in fields and who.on)
    return outer if taken or (not who.given_by and outer != NOBODY) else who


def _block(value: object, outer: Provenance) -> list[str]:
    who = _common(value, outer)
    lines = []
    for key, inner in _entries(value):
        below = _value(inner, who)
        head = f"{_scalar(key)}:"
        lines += [f"{head} {below}"] if isinstance(below, str) else [head, *(f"  {line}" for line in below)]
    if who != outer:
        lines += _who(who)
    return lines


def _who(who: Provenance) -> list[str]:
    words = (("from", who.given_by), ("by", who.by), ("on", who.on))
    return [f"{key}: {_scalar(word)}" for key, word in words if word]


def _value(value: object, who: Provenance) -> str | list[str]:
    """Return what stands after a key: a text for the same line, or lines for below."""
    if isinstance(value, Amount):
        return _amount(value, who)
    if isinstance(value, BaseModel | Mapping):
        return _block(value, who) or "{}"
    if isinstance(value, list):
        if len(value) == 1 and isinstance(value[0], str):
            return _scalar(value[0])
        lines = []
        for item in value:
            below = _value(item, who)
            first, *rest = [below] if isinstance(below, str) else below
            lines += [f"- {first}", *(f"  {line}" for line in rest)]
        return lines or "[]"
    if isinstance(value, bool):
        return "yes" if value else "no"
    return value.isoformat() if isinstance(value, dt.date) else _scalar(str(value))


def _amount(amount: Amount, who: Provenance) -> str | list[str]:
    percent = amount.unit in _PERCENT_UNITS
    likely = decimal_text(amount.likely if amount.chance is None else amount.chance, percent)
    low, high = (decimal_text(end, percent) if end is not None else "" for end in (amount.low, amount.high))
    if re.fullmatch(r"[A-Z]{3}", amount.unit):
        low, likely, high = (_cents(text) for text in (low, likely, high))
    if amount.provenance == who and not amount.note:
        return f"{low} .. {likely} .. {high}" if low else likely
    ends = [f"low: {low}", f"high: {high}"] if low else []
    note = [f"note: {_scalar(amount.note)}"] if amount.note else []
    return [f"likely: {likely}", *ends, *(_who(amount.provenance) if amount.provenance != who else []), *note]


def _cents(text: str) -> str:
    return f"{text}0" if re.search(r"\.\d$", text) else text


def _scalar(text: str) -> str:
    """Write a text plain where YAML reads it back the same, else between double quotes."""
    if _PLAIN.fullmatch(text) and text == text.strip() and " #" not in text:
        return text
    return json.dumps(text, ensure_ascii=False)


# --- the schema ------------------------------------------------------------------------------------------------------

_WHO: dict[str, Any] = {
    "from": {"enum": list(GIVEN_BY), "description": "where the amounts of this block come from"},
    "by": {"type": "string", "description": "who gave the amounts of this block"},
    "on": {"type": "string", "description": "day on which they were given"},
}
_NUMBER = {"type": ["number", "string"]}


def _figure(one: dict[str, Any]) -> dict[str, Any]:
    """Return the schema of an amount: in one line, or as a block."""
    ends: dict[str, Any] = {"likely": one, "low": one, "high": one, "note": {"type": "string"}}
    block = {"type": "object", "properties": ends, "required": ["likely"], "additionalProperties": False}
    return {"anyOf": [one, block]}


def schema() -> dict[str, Any]:
    """Return the JSON Schema of a scenario file, as an editor of YAML sees it."""
    found: dict[str, Any] = Scenario.model_json_schema()
    found["$defs"] |= {
        "Figure": _figure(_NUMBER),
        "PerCent": _figure({"type": "string", "pattern": "%|per cent"}),
    }
    written: dict[str, Any] = _as_written({"$schema": "https://json-schema.org/draft/2020-12/schema", **found})
    written["$defs"] |= {f"who-{key}": value for key, value in _WHO.items()}
    return written


def _as_written(node: Any) -> Any:
    """Allow in a schema what the reader allows: who gave it, yes and no, one name for a list of one."""
    if isinstance(node, list):
        return [_as_written(item) for item in node]
    if not isinstance(node, dict):
        return node
    node = {key: _as_written(value) for key, value in node.items() if not (key == "default" and value is None)}
    if isinstance(node.get("description"), str):  # a docstring's own lines are no concern of the reader
        node["description"] = " ".join(node["description"].split())
    if "definition" in node:
        node["$ref"] = f"#/$defs/{node.pop('definition')}"
    kind = node.get("type")
    if kind == "boolean":
        node.pop("type")
        node["enum"] = ["yes", "no", True, False]
        if isinstance(node.get("default"), bool):
            node["default"] = "yes" if node["default"] else "no"
    elif kind == "object":
        own = node.get("properties", {})
        node["properties"] = {**own, **{key: {"$ref": f"#/$defs/who-{key}"} for key in _WHO if key not in own}}
    elif kind == "array" and node.get("items", {}).get("type") == "string":
        node = {key: value for key, value in node.items() if key in ("title", "description", "default")} | {
            "anyOf": [
                {key: value for key, value in node.items() if key in ("type", "items", "minItems")},
                {"type": "string"},
            ]
        }
    return node


def schema_text() -> str:
    """Return the schema as it stands in ``scenarios/scenario.schema.json``."""
    return json.dumps(schema(), indent=1, ensure_ascii=False) + "\n"
