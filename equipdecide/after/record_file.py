"""The record of a decision as a file: written, read back, and told from one that was changed."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import yaml

from equipdecide.after.law_used import LawUsed
from equipdecide.after.record import FORMAT, Figures, FlipKept, GuessKept, OneLine, Record, data_of, day_text
from equipdecide.calendar import Date
from equipdecide.scenario import ScenarioError
from equipdecide.scenario.faults import Fault
from equipdecide.scenario.tree import Place


class RecordError(ScenarioError):
    """A record cannot be read, or was changed after it was written. `faults` holds everything that is wrong."""


class _Dumper(yaml.SafeDumper):
    def ignore_aliases(self, data: object) -> bool:
        return True

    def increase_indent(self, flow: bool = False, indentless: bool = False) -> None:
        return super().increase_indent(flow, False)


def _text_node(dumper: _Dumper, text: str) -> yaml.Node:
    return dumper.represent_scalar("tag:yaml.org,2002:str", text, style="|" if "\n" in text else None)


_Dumper.add_representer(str, _text_node)
_Dumper.add_representer(
    OneLine, lambda dumper, data: dumper.represent_mapping("tag:yaml.org,2002:map", data, flow_style=True)
)


_HEAD = """\
# The record of a decision, written by equipdecide. Read it, print it, sign it, keep it; do not edit it:
# the seal at the end shows whether anything was changed. An estimate for a decision, not tax, legal or lending advice.
"""


def _seal(data: Mapping[str, Any]) -> str:
    return hashlib.sha256(json.dumps(data, sort_keys=True, default=day_text, ensure_ascii=False).encode()).hexdigest()


def text(record: Record) -> str:
    """Return the record as the text of its file (YAML): the same bytes for the same record."""
    data = data_of(record)
    body = yaml.dump(
        data | {"seal": _seal(data)},
        Dumper=_Dumper,
        sort_keys=False,
        allow_unicode=True,
        width=110,
        default_flow_style=False,
    )
    return _HEAD + body


def write(record: Record, path: str | Path) -> Path:
    """Write the record to one file and return its path. Raises FileExistsError: a record is not written over."""
    file = Path(path)
    if file.exists():
        raise FileExistsError(f"{file} is there already; a record is not written over")
    file.write_text(text(record), encoding="utf-8", newline="\n")
    return file


def read(path: str | Path) -> Record:
    """Return the record of a file.

    Raises :class:`RecordError` with every fault (a missing part, a part changed after signing), OSError where the file
    cannot be opened.
    """
    file = Path(path)
    try:
        return parse(file.read_text(encoding="utf-8"), file.name)
    except UnicodeDecodeError:
        raise RecordError(
            [Fault(Place(file.name, 1, 1), "", "this is not a text file in UTF-8", "Take the copy that was kept")]
        ) from None


def is_record(path: str | Path) -> bool:
    """Tell whether a file is a record: it has a seal and the scenario's hash. A file that cannot be read is none."""
    try:
        lines = Path(path).read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError):
        return False
    return any(line.startswith("scenario_sha256:") for line in lines) and any(
        line.startswith("seal:") for line in lines
    )


_PARTS: dict[str, tuple[type, ...]] = {
    "format": (int,),
    "title": (str,),
    "shop": (str,),
    "decided_on": (Date,),
    "chosen": (str,),
    "best": (str, type(None)),
    "best_ignoring_cash": (str,),
    "currency": (str,),
    "agreed": (list,),
    "dissent": (str,),
    "change_our_mind": (str,),
    "revisit_on": (Date, type(None)),
    "answer": (list,),
    "flips": (list,),
    "guesses": (list,),
    "library": (str,),
    "scenario_sha256": (str,),
    "scenario": (str,),
    "files": (dict,),
    "law": (dict,),
    "seal": (str,),
}


def parse(text: str, name: str = "record") -> Record:
    """Return the record that `text` states; `name` stands in messages. Raises :class:`RecordError`."""
    kept = "Take the copy that was kept with the signed page"
    try:
        root = yaml.compose(text, Loader=yaml.SafeLoader)
        data = yaml.safe_load(text)
    except yaml.YAMLError as error:
        mark = getattr(error, "problem_mark", None)
        raise RecordError(
            [Fault(Place(name, mark.line + 1 if mark else 1, 1), "", "the layout of this file cannot be read", kept)]
        ) from None
    if not isinstance(data, dict) or not isinstance(root, yaml.MappingNode):
        raise RecordError(
            [
                Fault(
                    Place(name, 1, 1),
                    "",
                    "this is no record of a decision",
                    "A record is written by `equipdecide record`",
                )
            ]
        )
    lines = {key.value: Place(name, key.start_mark.line + 1, 1) for key, _ in root.value}
    faults = [Fault(Place(name, 1, 1), part, f"`{part}` is missing", kept) for part in _PARTS if part not in data]
    faults += [
        Fault(lines[part], part, f"'{part}' is no part of a record", kept) for part in data if part not in _PARTS
    ]
    faults += [
        Fault(lines[part], part, f"`{part}` does not hold what it should", kept)
        for part, kinds in _PARTS.items()
        if part in data and not isinstance(data[part], kinds)
    ]
    if not faults and data["format"] > FORMAT:
        faults.append(
            Fault(
                lines["format"],
                "format",
                f"this record is of format {data['format']}, written by version {data['library']}",
                "Use that version, or a later one",
            )
        )
    if not faults:
        faults += _changed(data, lines, kept)
    if faults:
        raise RecordError(faults)
    try:
        return _record(data)
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise RecordError(
            [Fault(lines["law"], "", f"a part of the record is not as it was written ({error})", kept)]
        ) from None


def _changed(data: Mapping[str, Any], lines: Mapping[str, Place], kept: str) -> list[Fault]:
    found = []
    if hashlib.sha256(data["scenario"].encode()).hexdigest() != data["scenario_sha256"]:
        found.append(
            Fault(
                lines["scenario"],
                "scenario",
                "the scenario was changed after it was recorded: its hash does not fit",
                kept,
            )
        )
    if _seal({key: value for key, value in data.items() if key != "seal"}) != data["seal"]:
        found.append(
            Fault(
                lines["seal"],
                "seal",
                "something in this file was changed after it was recorded: the seal does not fit",
                kept,
            )
        )
    return found


def _record(data: Mapping[str, Any]) -> Record:
    answer = tuple(Figures(**{**entry, "failed_gates": tuple(entry["failed_gates"])}) for entry in data["answer"])
    guesses = tuple(
        GuessKept(**({"low": None, "high": None, "given_by": "", "by": "", "on": "", "unit": ""} | entry))
        for entry in data["guesses"]
    )
    return Record(
        data["title"],
        data["shop"],
        data["decided_on"],
        data["chosen"],
        data["best"],
        data["best_ignoring_cash"],
        data["currency"],
        answer,
        tuple(FlipKept(**entry) for entry in data["flips"]),
        guesses,
        tuple(data["agreed"]),
        data["dissent"],
        data["change_our_mind"],
        data["revisit_on"],
        data["library"],
        data["scenario_sha256"],
        data["scenario"],
        dict(data["files"]),
        LawUsed.from_json(data["law"]),
    )
