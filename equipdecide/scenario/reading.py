"""Reading and writing scenario files.

The file is composed to a tree in which every scalar stays text with its place; the tree is laid against the models
(who gave what, lists of one, paths by names), checked as a whole (:mod:`equipdecide.scenario.checks`) and validated
by pydantic. Everything that is wrong comes out in one :class:`ScenarioError`.
"""

from __future__ import annotations

import re
import types
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Annotated, Any, Generic, Literal, NamedTuple, TypeVar, Union, get_args, get_origin, get_type_hints

import yaml
from pydantic import BaseModel, ValidationError

from equipdecide.scenario import checks
from equipdecide.scenario.amounts import GIVEN_BY, LONG_FORM, Amount, AmountError, Quantity, read_day
from equipdecide.scenario.checks import doubts
from equipdecide.scenario.checks.checker import Checker
from equipdecide.scenario.checks.names import resolve_doubts
from equipdecide.scenario.faults import Fault, ScenarioError, did_you_mean, near
from equipdecide.scenario.models import Scenario
from equipdecide.scenario.tree import NOBODY, Items, Place, Provenance, Source, Table, Text

M = TypeVar("M", bound=BaseModel)

WHO = ("from", "by", "on")
"""Keys that say, in any block, who gave the amounts in it."""

_LOADER: Any = getattr(yaml, "CBaseLoader", yaml.BaseLoader)
_THOUSANDS = re.compile(r"(?<![\d.,])\d{1,3}(?:,\d{3})+(?!\d)")
_KEPT_COMMA = "\ue0fe"  # stands for the comma inside 71,000, which would part entries between braces


# --- what a field may hold -------------------------------------------------------------------------------------------


class Shape(NamedTuple):
    """What stands in a field: a model, a dict or list of something, an amount, one of several models, or a word."""

    kind: Literal["model", "names", "list", "amount", "choice", "word"]
    of: Any = None
    words: tuple[str, ...] = ()


@lru_cache(maxsize=1024)
def shape_of(annotation: Any) -> Shape:
    """Return the shape of a type annotation of a model's field."""
    origin, args = get_origin(annotation), get_args(annotation)
    if origin is Annotated:
        if quantity := next((item for item in args[1:] if isinstance(item, Quantity)), None):
            return Shape("amount", quantity)
        return shape_of(args[0])
    if origin in (Union, types.UnionType):
        shapes = [shape_of(arg) for arg in args if arg is not type(None)]
        if all(shape.kind == "model" for shape in shapes):
            return Shape("model", shapes[0].of) if len(shapes) == 1 else Shape("choice", _by_tag(shapes))
        words = tuple(word for shape in shapes for word in shape.words)
        first = next((shape for shape in shapes if shape.kind != "word"), shapes[0])
        return first._replace(words=words)
    if origin is dict:
        return Shape("names", args[1])
    if origin is list:
        return Shape("list", args[0])
    if origin is Literal:
        return Shape("word", None, tuple(args))
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return Shape("model", annotation)
    return Shape("word", annotation)


def _by_tag(shapes: list[Shape]) -> dict[str, type[BaseModel]]:
    return {word: shape.of for shape in shapes for word in shape_of(fields_of(shape.of)["do"]).words}


@lru_cache(maxsize=128)
def fields_of(model: type[BaseModel]) -> dict[str, Any]:
    """Return the annotations of a model's fields, by name."""
    hints = get_type_hints(model, include_extras=True)
    return {name: hints[name] for name in model.model_fields}


# --- text to tree ----------------------------------------------------------------------------------------------------


class _Reader:
    """Reads one text: composes it, lays it against the models, collects faults."""

    def __init__(self, text: str, name: str, model: type[BaseModel] = Scenario) -> None:
        self.name, self.lines, self.model = name, text.splitlines(), model
        self.faults: list[Fault] = []
        self.places: dict[str, Place] = {}
        self.text = _THOUSANDS.sub(lambda found: found[0].replace(",", _KEPT_COMMA), text)
        self.currency = "USD"
        self.misspelt: set[str] = set()

    def fault(self, place: Place, path: str, what: str, mend: str) -> None:
        line = self.lines[place.line - 1] if 0 < place.line <= len(self.lines) else ""
        self.faults.append(Fault(place, path, what, mend, line))

    def begin(self, otherwise: str) -> str:
        """Say how a file of this kind begins; `otherwise` for a scenario."""
        return otherwise if self.model is Scenario else f"Start with `{next(iter(self.model.model_fields))}: ...`"

    def place(self, mark: Any) -> Place:
        return Place(self.name, mark.line + 1, mark.column + 1)

    def compose(self) -> yaml.Node | None:
        """Return the root of the file, or None with the fault that stopped reading."""
        for number, line in enumerate(self.lines, 1):
            indent = line[: len(line) - len(line.lstrip())]
            if "\t" in indent and line.strip():
                place = Place(self.name, number, indent.index("\t") + 1)
                self.fault(place, "", "a tab stands at the beginning of the line", "Indent with spaces")
        if self.faults:
            return None
        try:
            root: yaml.Node | None = yaml.compose(self.text, Loader=_LOADER)
        except yaml.MarkedYAMLError as error:
            mark = error.problem_mark or error.context_mark
            if "flow" in (error.context or "") and "',' or" in (
                error.problem or ""
            ):  # where the bracket was opened says more than where reading stopped
                mark = error.context_mark or mark
            place = self.place(mark) if mark else Place(self.name, 1, 1)
            self.fault(place, "", *_syntax(error))
            return None
        except yaml.reader.ReaderError as error:
            place = Place(self.name, self.text.count("\n", 0, error.position) + 1, 1)
            self.fault(place, "", "a character here cannot stand in a text file", "Delete it; save the file as UTF-8")
            return None
        if "*" in self.text:
            for event in yaml.parse(self.text, Loader=_LOADER):
                if isinstance(event, yaml.AliasEvent):
                    mend = "Write the block out again, or put a text that begins with * between quotes"
                    self.fault(self.place(event.start_mark), "", "a reference to another block stands here", mend)
            if self.faults:
                return None
        if root is None:
            self.fault(Place(self.name, 1, 1), "", "the file is empty", self.begin("Start from the starter file"))
        elif not isinstance(root, yaml.MappingNode):
            self.fault(Place(self.name, 1, 1), "", "no keys stand in the file", self.begin("Start with `title: ...`"))
        else:
            return root
        return None

    def entries(self, node: yaml.MappingNode, path: str) -> Iterator[tuple[str, Place, yaml.Node]]:
        """Yield key, place of the key and value; doubled and stray keys are reported and left out."""
        met: dict[str, Place] = {}
        for key_node, value in node.value:
            place = self.place(key_node.start_mark)
            if not isinstance(key_node, yaml.ScalarNode):
                self.fault(place, path, "a key must be a plain name", "Write `name: value`")
                continue
            key = key_node.value.replace(_KEPT_COMMA, ",").strip()
            if (
                node.flow_style
                and re.fullmatch(r"[\d.,]+.*", key)
                and value.start_mark.index == key_node.end_mark.index
            ):
                mend = (
                    "Between { } a comma parts entries; write thousands without a space and with three digits: 64,500"
                )
                self.fault(place, path, f"'{key}' stands alone after a comma", mend)
            elif key in met:
                mend = f"Keep one of the two; the first is on line {met[key].line}"
                self.fault(place, _join(path, key), f"'{key}' stands here twice", mend)
            else:
                met[key] = place
                yield key, place, value

    def walk(self, node: yaml.Node, shape: Shape, path: str, who: Provenance) -> Any:
        """Return the tree of `node` as far as `shape` tells what it should be; what does not fit is kept as it is."""
        place = self.place(node.start_mark)
        self.places[path] = place
        if isinstance(node, yaml.ScalarNode):
            text = Text.at(node.value.replace(_KEPT_COMMA, ",").strip(), place, path, who, self.currency)
            if shape.kind == "list" and text and not shape_of(shape.of).kind == "model":
                items = Items(place, path)
                inner_path = f"{path}.0" if shape_of(shape.of).kind == "amount" else path
                items.append(Text.at(text, place, inner_path, who, self.currency))
                return items
            return text
        if isinstance(node, yaml.SequenceNode):
            return self.walk_list(node, shape, path, who)
        return self.walk_block(node, shape, path, who)

    def walk_list(self, node: yaml.SequenceNode, shape: Shape, path: str, who: Provenance) -> Items:
        items = Items(self.place(node.start_mark), path)
        inner = shape_of(shape.of) if shape.kind == "list" else Shape("word")
        for number, child in enumerate(node.value):
            items.append(self.walk(child, inner, f"{path}.{number}", who))
        if (
            shape.kind == "list"
            and shape_of(shape.of).kind == "amount"
            and node.flow_style
            and len(items) == 1
            and isinstance(items[0], Text)
            and _KEPT_COMMA in node.value[0].value
        ):
            mend = "Put a space after a comma that parts items; leave commas out of a number that stands alone"
            self.fault(items[0].place, path, f"[{items[0]}] could be one figure or several", mend)
        return items

    def walk_block(self, node: Any, shape: Shape, path: str, who: Provenance) -> Table:
        entries = list(self.entries(node, path))
        model = shape.of if shape.kind == "model" else None
        if shape.kind == "choice":
            words = {key: value.value for key, _, value in entries if isinstance(value, yaml.ScalarNode)}
            model = shape.of.get(words.get("do", "").strip())
        fields = fields_of(model) if model else {}
        stated = {key for key, _, _ in entries if key in WHO and key not in fields}
        if shape.kind == "choice" and model is None:
            stated -= {"by", "on"}
        who = self.provenance([entry for entry in entries if entry[0] in stated], path, who)
        table = Table(self.place(node.start_mark), path, who, self.currency)
        for key, place, value in entries:
            if key in stated:
                continue
            below = _join(path, key)
            table.keys_at[key] = place
            if shape.kind == "names":
                inner = shape_of(shape.of)
                if "." in key:
                    self.fault(place, below, f"the name '{key}' holds a full stop", "Leave it out of names")
            elif key in fields:
                inner = shape_of(fields[key])
            else:
                inner = Shape("word")
            table[key] = self.walk(value, inner, below, who)
        return table

    def provenance(self, entries: list[tuple[str, Place, yaml.Node]], path: str, outer: Provenance) -> Provenance:
        """Return who gave the amounts of a block: its own from, by and on over those of the block around it."""
        words = {}
        for key, key_place, node in entries:
            place = self.place(node.start_mark)
            if not isinstance(node, yaml.ScalarNode) or not node.value.strip():
                self.fault(key_place, _join(path, key), f"`{key}:` needs one word or name", f"Write `{key}: ...`")
                continue
            word = node.value.strip()
            if key == "from" and word not in GIVEN_BY:
                mend = did_you_mean(word, GIVEN_BY, f"Write one of: {', '.join(GIVEN_BY)}")
                self.fault(place, _join(path, key), f"'{word}' is not known as a source", mend)
                continue
            if key == "on":
                try:
                    word = read_day(word).isoformat()
                except AmountError as error:
                    self.fault(place, _join(path, key), error.what, error.mend)
                    continue
            words[key] = word
        if "from" in words:  # a new source: the name and day of the outer one no longer hold
            outer = NOBODY
        return Provenance(words.get("from", outer.given_by), words.get("by", outer.by), words.get("on", outer.on))

    # --- pydantic's errors, in the words of the file ------------------------------------------------------------------

    def translate(self, error: ValidationError, tree: Table) -> None:
        """Turn pydantic's errors into faults: one for each place, in the words of the file."""
        met: dict[str, list[tuple[Any, Any, Place, Any]]] = {}
        for item in sorted(
            error.errors(include_url=False, include_input=False), key=lambda one: one["type"] == "missing"
        ):
            value, place, path, model = self.locate(tree, item)
            if item["type"] == "extra_forbidden" and model:
                block, key = path.rpartition(".")[0], str(item["loc"][-1])
                self.misspelt |= {_join(block, name) for name in model.model_fields if near(key, [name])}
            if item["type"] != "missing" or path not in self.misspelt:
                met.setdefault(path, []).append((item, value, place, model))
        for path, found in met.items():
            item, value, place, model = min(found, key=lambda one: one[0]["type"] != "amount")
            if isinstance(value, Text) and not value and item["type"] != "extra_forbidden":
                self.fault(place, path, "nothing stands after the colon", "Write a value, or leave the key out")
                continue
            what, mend = _plain(item, value, model)
            if item["type"] == "amount" and len(found) > 1:
                words = [word for other, *_ in found for word in _words(other)]
                guess = did_you_mean(str(value), words, " ")
                mend = f"{mend}, or one of: {', '.join(words)}. {guess}".strip()
            self.fault(place, path, what, mend)

    def locate(self, tree: Table, item: Any) -> tuple[Any, Place, str, Any]:
        """Return value, place, path and model around it of an error; tags of unions are passed over."""
        node: Any = tree
        shape, path, place, key_place = Shape("model", self.model), "", tree.place, tree.place
        model = None
        for step in item["loc"]:
            if shape.kind == "model":
                model = shape.of
            if shape.kind == "choice" and step in shape.of:
                shape = Shape("model", shape.of[step])
            elif isinstance(node, Items) and isinstance(step, int) and step < len(node):
                node, path, shape = node[step], f"{path}.{step}", _inside(shape, step)
                place = key_place = node.place
            elif isinstance(node, Table) and step in node:
                key_place, path, shape = node.keys_at[step], _join(path, step), _inside(shape, step)
                node = node[step]
                place = node.place if isinstance(node, Text) and node else key_place
            else:
                if item["type"] == "missing":
                    node, path = None, _join(path, str(step))
                break
        if item["type"] == "amount" and isinstance(node, Table) and (key := item["ctx"]["key"]) in node.keys_at:
            place = node.keys_at[key] if key not in LONG_FORM or not isinstance(node[key], Text) else node[key].place
            return node[key], place, _join(path, key), model
        if item["type"] == "union_tag_invalid" and isinstance(node, Table) and isinstance(node["do"], Text):
            return node["do"], node["do"].place, _join(path, "do"), model
        if item["type"] == "extra_forbidden" or item["loc"][-1:] == ("[key]",):
            place = key_place
        return node, place, path, model


def _inside(shape: Shape, step: Any) -> Shape:
    """Return the shape of what stands under `step`."""
    if shape.kind in ("names", "list"):
        return shape_of(shape.of)
    if shape.kind == "model" and step in fields_of(shape.of):
        return shape_of(fields_of(shape.of)[step])
    return Shape("word")


def _plain(item: Any, value: Any, model: type[BaseModel] | None) -> tuple[str, str]:
    """Return what is wrong and how to mend it, for one of pydantic's errors."""
    kind, ctx = item["type"], item.get("ctx", {})
    name = str(item["loc"][-1])
    if kind == "amount":
        return ctx["what"], ctx["mend"]
    if kind == "missing":
        field = model.model_fields.get(name) if model else None
        title = f" ({field.title})" if field and field.title else ""
        return f"`{name}` is missing", f"Add `{name}:`{title}"
    if kind == "extra_forbidden":
        return f"unknown key '{name}'", did_you_mean(name, model.model_fields if model else ())
    if kind in ("literal_error", "union_tag_invalid") or name == "[key]":
        words = _words(item)
        listed = f"Write one of: {', '.join(words)}"
        said = name_of_key if (name_of_key := _key_meant(item)) else value
        guess = did_you_mean(str(said), words, listed)
        shown = f"'{said}'" if isinstance(said, str) else _shown(value)
        return f"{shown} is not known here", listed if guess == listed else f"{guess} {listed}"
    if kind == "union_tag_not_found" and isinstance(value, Table):
        return "a step needs `do:`", "Write do: sell, buy, improve, spend or earn"
    if kind in ("model_type", "model_attributes_type", "dict_type", "union_tag_not_found"):
        return f"{_shown(value)} stands where a block of keys is expected", "Write `key: value` lines below, further in"
    if kind == "list_type":
        return f"{_shown(value)} stands where a list is expected", "Write each item on a line of its own after `- `"
    if kind == "string_type":
        return f"{_shown(value)} stands where a word or a name is expected", "Write it on the same line"
    if kind.startswith("bool"):
        return f"{_shown(value)} is neither yes nor no", "Write yes or no"
    if kind.startswith("int"):
        return f"{_shown(value)} is not a whole number", "Write digits only, for example 7"
    if kind.startswith("float"):
        return f"{_shown(value)} is not a number", "Write for example 0.5"
    if kind == "too_short":
        return "the list is empty", "Write at least one name"
    if kind == "string_pattern_mismatch":
        return f"{_shown(value)} is not a code of three capitals", "Write for example USD"
    if kind in ("greater_than_equal", "less_than_equal"):
        bound = f"at least {ctx['ge']}" if "ge" in ctx else f"at most {ctx['le']}"
        return f"{_shown(value)} is out of range", f"Write {bound}"
    return str(item["msg"]), "See the starter file"


def _key_meant(item: Any) -> str:
    """Return the key that an error of a key is about, or nothing."""
    return str(item["loc"][-2]) if item["loc"][-1:] == ("[key]",) else ""


def _words(item: Any) -> list[str]:
    """Return the words that an error says are known."""
    ctx = item.get("ctx", {})
    return re.findall(r"'([^']*)'", ctx.get("expected", "") or ctx.get("expected_tags", ""))


def _shown(value: Any) -> str:
    return f"'{value}'" if isinstance(value, str) else "a list" if isinstance(value, list) else "a block"


# What the parser says of a fault in the layout, and what to tell the user. The first that fits counts.
_LAYOUT: tuple[tuple[str, str, str], ...] = (
    (
        "mapping values are not allowed",
        "a second colon stands on this line, or the line is indented too far",
        "Line it up with its neighbours; put a text that holds ': ' between quotes",
    ),
    ("found character '\\t'|a tab", "a tab stands here", "Use spaces"),
    ("quoted scalar", "a quote is opened and not closed", "Close it"),
    ("unexpected ':'", "a space is missing after a colon", "Write `name: value`"),
    (
        "node content",
        "a value is missing here, or a bracket is closed that was not opened",
        "Write the value, or delete the sign",
    ),
    (
        "flow|',' or",
        "what is opened here is not closed, or a comma is missing between two entries",
        "Close it with } or ]",
    ),
    ("could not find expected ':'", "a colon is missing", "Write `name: value`, with a space after the colon"),
    (
        "sequence entries are not allowed",
        "a list begins on the line of its key",
        "Put each `- ` on a line of its own, below the key",
    ),
    ("comment or line break", "a value begins with | or >", "Put it between quotes"),
    (
        "block end|expected key|'-' indicator|document start",
        "this line is not in line with its neighbours",
        "Give all keys of one block the same indentation",
    ),
    ("another document|single document", "a second document begins here", "Delete the line of three dashes"),
    ("anchor|alias", "a word begins with * or &", "Put it between quotes"),
    ("start any token|character", "a value cannot begin with this sign", "Put the value between quotes"),
)


def _syntax(error: yaml.MarkedYAMLError) -> tuple[str, str]:
    """Say a fault of the file's layout in plain words."""
    said = f"{error.context or ''} {error.problem or ''}".lower()
    for signs, what, mend in _LAYOUT:
        if any(sign in said for sign in signs.split("|")):
            return what, mend
    return f"the layout cannot be read ({error.problem})", "Compare with the starter file"


def _join(path: str, key: str) -> str:
    return f"{path}.{key}" if path else key


# --- load, write -----------------------------------------------------------------------------------------------------


def load(path: str | Path) -> Scenario:
    """Return the scenario of a file; of a form with the fifteen questions where the name ends in ``.xlsx``.

    Raises :class:`ScenarioError` with every fault of the file, or :class:`OSError` where it cannot be opened.
    """
    file = Path(path)
    if file.suffix.lower() == ".xlsx":
        from equipdecide.scenario.form.book import read_form  # here: it stands on this module

        return read_form(file)
    try:
        text = file.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        place = Place(file.name, 1, 1)
        raise ScenarioError([Fault(place, "", "this is not a text file in UTF-8", "Save it as UTF-8 text")]) from None
    return _read(text, file.name, file.parent)


def loads(text: str, name: str = "scenario", folder: str | Path | None = None) -> Scenario:
    """Return the scenario that `text` states; files it names are looked for in `folder`."""
    return _read(text, name, Path(folder) if folder is not None else None)


def _read(text: str, name: str, folder: Path | None) -> Scenario:
    reader = _Reader(text, name)
    root = reader.compose()
    scenario = None
    if root is not None:
        for key, value in root.value:
            if key.value == "currency" and isinstance(value, yaml.ScalarNode) and value.value.strip():
                reader.currency = value.value.strip()
        scenario = _checked(reader, reader.walk(root, Shape("model", Scenario), "", NOBODY), folder)
    if reader.faults or scenario is None:
        raise ScenarioError(
            sorted(reader.faults, key=lambda fault: (fault.place.file != name, fault.place.line, fault.place.column))
        )
    scenario._source = Source(name, folder, reader.places)
    return scenario


def _checked(reader: _Reader, tree: Table, folder: Path | None) -> Scenario | None:
    """Return the scenario of a tree, or None; everything that is wrong is added to the faults of the reader."""
    resolve_doubts(tree)
    scenario = None
    try:
        scenario = Scenario.model_validate(tree)
    except ValidationError as error:
        reader.translate(error, tree)
    checks.check(tree, reader.faults, reader.lines, folder, reader.misspelt)
    doubts.check(Checker(tree, reader.faults, reader.lines, folder, reader.misspelt), quantity_at)
    return scenario


def of_tree(tree: Table, name: str, folder: Path | None) -> tuple[Scenario | None, list[Fault]]:
    """Return the scenario that a tree made elsewhere states (None where it states none), and all that is wrong with it.

    `name` is that of the file; `folder` is where files named in it are looked for.
    """
    reader = _Reader("", name)
    reader.currency = tree.currency
    scenario = _checked(reader, tree, folder)
    return scenario, reader.faults


@dataclass(frozen=True)
class Read(Generic[M]):
    """What a file of another kind than a scenario states, with what faults found later need: places and lines."""

    value: M
    places: Mapping[str, Place]
    lines: tuple[str, ...]

    def fault(self, path: str, what: str, mend: str) -> Fault:
        """Return a fault at `path`, or at what stands around it where the file does not state it."""
        at = path
        while at not in self.places:
            at = at.rpartition(".")[0]
        place = self.places[at]
        return Fault(place, path, what, mend, self.lines[place.line - 1])


def read_as(model: type[M], text: str, name: str) -> Read[M]:
    """Return what `text` states as a `model`. Raises :class:`ScenarioError` with every fault;
    `name` stands in messages.
    """
    reader = _Reader(text, name, model)
    root = reader.compose()
    value = None
    if root is not None:
        tree = reader.walk(root, Shape("model", model), "", NOBODY)
        try:
            value = model.model_validate(tree)
        except ValidationError as error:
            reader.translate(error, tree)
    if reader.faults or value is None:
        raise ScenarioError(sorted(reader.faults, key=lambda fault: (fault.place.line, fault.place.column)))
    return Read(value, reader.places, tuple(reader.lines))


def quantity_at(path: str) -> Quantity | None:
    """Return how the amount at `path` is written and bounded; None where the models have no amount there.

    >>> quantity_at("machines.any name.upkeep.growth").unit
    '1/year'
    """
    shape = Shape("model", Scenario)
    for step in path.split("."):
        if shape.kind == "choice":  # the kinds of step: an amount of one name is of one unit in all of them
            models = [model for model in shape.of.values() if step in fields_of(model)]
            shape = shape_of(fields_of(models[0])[step]) if models else Shape("word")
        else:
            shape = _inside(shape, step)
    quantity: Quantity | None = shape.of if shape.kind == "amount" else None
    return quantity


def amounts(scenario: Scenario) -> dict[str, Amount]:
    """Return every amount of a scenario by its path, in the order of the models."""
    return dict(_amounts(scenario, ""))


def _amounts(value: object, path: str) -> Iterator[tuple[str, Amount]]:
    if isinstance(value, Amount):
        yield path, value if value.path else replace(value, path=path)
    elif isinstance(value, BaseModel):
        for name in type(value).model_fields:
            yield from _amounts(getattr(value, name), _join(path, name))
    elif isinstance(value, Mapping):
        for name, inner in value.items():
            yield from _amounts(inner, _join(path, name))
    elif isinstance(value, list):
        for number, inner in enumerate(value):
            yield from _amounts(inner, _join(path, str(number)))
