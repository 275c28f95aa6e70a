"""The record of a decision: one readable file, signed on the day, that gives the same figures again years later.

It holds the scenario's text and its hash, every parameter of law that was read with its value, the answer, what would
flip it, who gave which guess, who agreed and who did not, and when to look again. A seal over the whole shows whether
anything was changed afterwards.
"""

from __future__ import annotations

import hashlib
import json
import tempfile
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import yaml

from equipdecide import parameters
from equipdecide.after.law_used import Change, LawUsed, NotingLaw, RecordedLaw, changes
from equipdecide.calendar import Date
from equipdecide.decide.breakeven import Breakevens, breakeven
from equipdecide.decide.compare import Comparison, Outcome, measure
from equipdecide.decide.named import named
from equipdecide.evaluate import evaluate
from equipdecide.parameters import Law
from equipdecide.parameters.values import in_words
from equipdecide.scenario import Scenario, ScenarioError, dump, loads
from equipdecide.scenario.amounts import Amount
from equipdecide.scenario.faults import Fault
from equipdecide.scenario.labels import labels
from equipdecide.scenario.reading import amounts, quantity_at
from equipdecide.scenario.tree import Place
from equipdecide.showing import Shown
from equipdecide.version import VERSION

if TYPE_CHECKING:
    import pandas as pd

FORMAT = 1
FLIPS_KEPT = 8
FLIP_STANDS = (
    1e-5  # a flip that moves by less than this share of itself stands where it was: it is solved to a tenth of it
)
NAMED_IN_STEPS = ("machines", "improvements", "offers", "financing")  # what a course uses only where a step names it
GUESSED = ("guess", "default")  # what `from` says of a figure that nobody has seen on paper


class RecordError(ScenarioError):
    """A record cannot be read, or was changed after it was written. `faults` holds everything that is wrong."""


@dataclass(frozen=True)
class Figures:
    """One course as it was answered [currency, to the cent; coverage in times]."""

    name: str
    npv: float
    npv_less_keep: float
    annual_worth: float
    own_money_needed: float
    lowest_cash: float | None
    lowest_cash_month: str
    worst_coverage: float | None
    affordable: bool | None
    failed_gates: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """Return plain data with fixed keys."""
        return {
            name: list(value) if isinstance(value := getattr(self, name), tuple) else value
            for name in self.__dataclass_fields__
        }


@dataclass(frozen=True)
class FlipKept:
    """An input at which two courses were worth the same: entered and flip [unit of the input]."""

    path: str
    label: str
    alternative: str
    against: str
    entered: float
    flip: float
    unit: str
    inside_range: bool


@dataclass(frozen=True)
class GuessKept:
    """A figure that was guessed or doubtful: its range, and who gave it."""

    path: str
    label: str
    likely: float
    low: float | None
    high: float | None
    unit: str
    given_by: str
    by: str
    on: str


@dataclass(frozen=True, repr=False)
class Record(Shown):
    """A decision as it was taken. Money in the scenario's currency, to the cent."""

    title: str
    shop: str
    decided_on: Date
    chosen: str
    best: str | None
    best_ignoring_cash: str
    currency: str
    answer: tuple[Figures, ...]
    flips: tuple[FlipKept, ...]
    guesses: tuple[GuessKept, ...]
    agreed: tuple[str, ...]
    dissent: str
    change_our_mind: str
    revisit_on: Date | None
    library: str
    scenario_sha256: str
    scenario_text: str
    files: Mapping[str, str]  # texts that the scenario names, such as a log of nights
    law: LawUsed

    def __getitem__(self, name: str) -> Figures:
        return named(self.answer, name, "course of the record")

    @property
    def owners(self) -> tuple[str, ...]:
        """The owners that the recorded scenario names."""
        named_there = yaml.safe_load(self.scenario_text).get("owners") or {}
        return tuple(name for name, entry in named_there.items() if isinstance(entry, dict))

    def to_json(self) -> dict[str, Any]:
        """Return the record as plain data with fixed keys, as its file holds it; days as texts."""
        made: dict[str, Any] = json.loads(json.dumps(_data(self), default=_day_text))
        return made

    def to_frame(self) -> pd.DataFrame:
        """Return a tidy pandas frame of the answer, one row a course, money in the scenario's currency."""
        import pandas as pd

        return pd.DataFrame([figures.to_json() for figures in self.answer])


def record(
    comparison: Comparison,
    chosen: str,
    agreed: Sequence[str] = (),
    dissent: str = "",
    revisit_on: Date | None = None,
    change_our_mind: str = "",
) -> Record:
    """Return the record of choosing course `chosen`.

    `agreed` names who agreed; `dissent` is who did not and why, in their words; `change_our_mind` says what would. The
    evaluation and what flips it run once more, to note the law they read. Raises KeyError for an unknown course, ValueError where the comparison was made with figures
    other than those of its scenario.
    """
    outcome = comparison[chosen]
    scenario = comparison.scenario
    noting = NotingLaw(comparison.evaluation.law)
    again = evaluate(
        scenario, only=["keep", *(name for name in comparison.evaluation.ledgers if name != "keep")], law=noting
    )
    if any(round(again[o.name].column("worth.npv").figure() - o.npv, 2) for o in comparison):
        raise ValueError(
            "this comparison was made with figures other than those of its scenario; write them into the file, "
            "compare again, then record"
        )
    flips = breakeven(scenario, law=noting)
    text = dump(scenario)
    return Record(
        scenario.title,
        scenario.shop.name,
        scenario.decision_date,
        outcome.name,
        comparison.best,
        comparison.best_ignoring_cash,
        scenario.currency,
        _answer(comparison.outcomes),
        _flips(flips, chosen),
        _guesses(scenario, chosen),
        tuple(agreed),
        dissent,
        change_our_mind,
        revisit_on,
        VERSION,
        hashlib.sha256(text.encode()).hexdigest(),
        text,
        _files(scenario),
        noting.used(),
    )


def _cents(value: float) -> float:
    return round(value, 2) + 0.0  # no negative zero


def _answer(outcomes: Iterable[Outcome]) -> tuple[Figures, ...]:
    return tuple(
        Figures(
            o.name,
            _cents(o.npv),
            _cents(o.npv_less_keep),
            _cents(o.annual_worth),
            _cents(o.own_money_needed),
            _cents(o.cash_low.amount) if o.cash_low else None,
            o.cash_low.month if o.cash_low else "",
            None if o.worst_coverage is None else round(o.worst_coverage, 4),
            o.affordable,
            o.failed_gates,
        )
        for o in outcomes
    )


def _flips(flips: Breakevens, chosen: str) -> tuple[FlipKept, ...]:
    """Return the nearest flips, those of the chosen course first."""
    nearest = sorted(
        flips.flips, key=lambda flip: chosen not in (flip.alternative, flip.against)
    )  # stable: nearest first
    return tuple(
        FlipKept(f.path, f.label, f.alternative, f.against, f.entered, f.flip, f.unit, f.inside_range)
        for f in nearest[:FLIPS_KEPT]
    )


def _guesses(scenario: Scenario, chosen: str) -> tuple[GuessKept, ...]:
    """Return the guessed and doubtful figures with who gave them, those that the chosen course rests on first."""
    names, entered = labels(scenario), amounts(scenario)
    found = [
        GuessKept(path, names.get(path, path), _said(a), a.low, a.high, a.unit, a.given_by, a.by, a.on)
        for path, a in entered.items()
        if a.doubtful or a.given_by in GUESSED or a.by
    ]
    for who, listed in scenario.guesses.items():  # partners who see some inputs differently
        for guess in listed:
            quantity = quantity_at(guess.of)
            assert quantity is not None  # the checks of a scenario see to it
            a = quantity.read(guess.value)
            found.append(
                GuessKept(
                    guess.of,
                    names.get(guess.of, guess.of),
                    _said(a),
                    a.low,
                    a.high,
                    entered[guess.of].unit,
                    "guess",
                    who,
                    "",
                )
            )
    used = {
        name
        for step in scenario.alternatives[chosen]
        for field in ("machine", "improvement", "by")
        if (name := getattr(step, field, None))
    }
    used |= {name for step in scenario.alternatives[chosen] for name in getattr(step, "pay", ())} | set(
        scenario.machine_in_question
    )
    found.sort(key=lambda guess: guess.path.split(".")[0] in NAMED_IN_STEPS and guess.path.split(".")[1] not in used)
    return tuple(found)


def _said(amount: Amount) -> float:
    return amount.likely if amount.chance is None else amount.chance


def _files(scenario: Scenario) -> dict[str, str]:
    """Return the texts of the files that the scenario names, by name."""
    folder = scenario.source.folder or Path()
    nights = [m.running.nights for m in scenario.machines.values() if m.running] + [
        i.changes.nights for i in scenario.improvements.values()
    ]
    named = [n.log for n in nights if n and n.log] + [doubt.log for doubt in scenario.doubts if doubt.log]
    times = [m.times for m in scenario.machines.values() if m.times]
    named += [name for one in times for name in (one.shifts, one.stops, one.meter) if name]
    named += [m.upkeep.bills for m in scenario.machines.values() if m.upkeep and m.upkeep.bills]
    return {
        name: (folder / name).read_text(encoding="utf-8-sig")
        for name in sorted(set(named))
        if (folder / name).is_file()
    }


# --- the file


class _Dumper(yaml.SafeDumper):
    def ignore_aliases(self, data: object) -> bool:
        return True

    def increase_indent(self, flow: bool = False, indentless: bool = False) -> None:
        return super().increase_indent(flow, False)


def _text_node(dumper: _Dumper, text: str) -> yaml.Node:
    return dumper.represent_scalar("tag:yaml.org,2002:str", text, style="|" if "\n" in text else None)


class _OneLine(dict[str, Any]):
    """A mapping written between braces."""


_Dumper.add_representer(str, _text_node)
_Dumper.add_representer(
    _OneLine, lambda dumper, data: dumper.represent_mapping("tag:yaml.org,2002:map", data, flow_style=True)
)

_HEAD = """\
# The record of a decision, written by equipdecide. Read it, print it, sign it, keep it; do not edit it:
# the seal at the end shows whether anything was changed. An estimate for a decision, not tax, legal or lending advice.
"""


def _data(record: Record) -> dict[str, Any]:
    flow = _OneLine
    return {
        "format": FORMAT,
        "title": record.title,
        "shop": record.shop,
        "decided_on": record.decided_on,
        "chosen": record.chosen,
        "best": record.best,
        "best_ignoring_cash": record.best_ignoring_cash,
        "currency": record.currency,
        "agreed": list(record.agreed),
        "dissent": record.dissent,
        "change_our_mind": record.change_our_mind,
        "revisit_on": record.revisit_on,
        "answer": [figures.to_json() for figures in record.answer],
        "flips": [flow(vars(flip)) for flip in record.flips],
        "guesses": [
            flow({key: value for key, value in vars(guess).items() if value not in ("", None)})
            for guess in record.guesses
        ],
        "library": record.library,
        "scenario_sha256": record.scenario_sha256,
        "scenario": record.scenario_text,
        "files": dict(record.files),
        "law": _law_lines(record.law.to_json()),
    }


def _law_lines(law: dict[str, Any]) -> dict[str, Any]:
    """Write each value, table row and source on a line of its own where it fits."""
    for group in law["readings"]:
        group["values"] = [_OneLine(entry) for entry in group["values"]]
    law["tables"] = [_OneLine(entry) for entry in law["tables"]]
    for entry in law["rows"]:
        entry["rows"] = [_OneLine(row) for row in entry["rows"]]
    return law


def _day_text(value: object) -> str:
    if isinstance(value, Date):
        return value.isoformat()
    raise TypeError(f"{type(value).__name__} has no place in a record")


def _seal(data: Mapping[str, Any]) -> str:
    return hashlib.sha256(json.dumps(data, sort_keys=True, default=_day_text, ensure_ascii=False).encode()).hexdigest()


def text(record: Record) -> str:
    """Return the record as the text of its file (YAML): the same bytes for the same record."""
    data = _data(record)
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


# --- years later


@dataclass(frozen=True)
class FlipMoved:
    """A recorded flip under another law: `then` as recorded, `now` under it [unit of the input]; None: nothing flips it."""

    path: str
    label: str
    alternative: str
    against: str
    unit: str
    then: float
    now: float | None

    def to_json(self) -> dict[str, Any]:
        """Return plain data with fixed keys."""
        return dict(vars(self))


@dataclass(frozen=True)
class LawDifference:
    """One parameter that reads otherwise today, and what it alone does to the answer.

    `on` is the first day asked about on which it differs; `from_date` and `enacted` are of today's value. `effect` is
    the present worth of the chosen course with this parameter alone as today, less as recorded; `effect_on_lead` the
    same of its lead over keeping [currency]. `flips` are the recorded flips that it alone moves.
    """

    id: str
    description: str
    on: Date | None
    from_date: Date | None
    enacted: Date | None
    then: str
    today: str
    effect: float
    effect_on_lead: float
    flips: tuple[FlipMoved, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Return plain data with fixed keys."""
        plain = {
            name: value.isoformat() if isinstance(value := getattr(self, name), Date) else value
            for name in self.__dataclass_fields__
        }
        return plain | {"flips": [flip.to_json() for flip in self.flips]}


@dataclass(frozen=True, eq=False, repr=False)
class Rerun(Shown):
    """A record figured again. `same` tells whether every figure of the answer and every flip is as recorded.

    `flips` are the nearest flips as they now are, `moved` the recorded ones that this law moves. `together` is what is left of the change when the effects of the single parameters are taken off: parameters
    acting together. `not_recorded` names parameters this version reads and the record does not hold. Money in the
    scenario's currency.
    """

    record: Record
    law: Literal["then", "today"]
    comparison: Comparison
    answer: tuple[Figures, ...]
    flips: tuple[FlipKept, ...]
    moved: tuple[FlipMoved, ...]
    differences: tuple[LawDifference, ...]
    together: float
    not_recorded: tuple[str, ...]
    findings: tuple[str, ...]
    folder: tempfile.TemporaryDirectory[str] | None = field(
        default=None
    )  # keeps the scenario's files while this is kept

    @property
    def same(self) -> bool:
        """Whether the answer, to the cent, and what flips it are the recorded ones."""
        return self.answer == self.record.answer and self.flips == self.record.flips

    def __getitem__(self, name: str) -> Figures:
        return named(self.answer, name, "course of the record")

    def to_json(self) -> dict[str, Any]:
        """Return plain data with fixed keys."""
        return {
            "chosen": self.record.chosen,
            "decided_on": self.record.decided_on.isoformat(),
            "law": self.law,
            "same": self.same,
            "answer": [figures.to_json() for figures in self.answer],
            "recorded": [figures.to_json() for figures in self.record.answer],
            "flips": [dict(vars(flip)) for flip in self.flips],
            "flips_recorded": [dict(vars(flip)) for flip in self.record.flips],
            "flips_moved": [flip.to_json() for flip in self.moved],
            "differences": [difference.to_json() for difference in self.differences],
            "together": self.together,
            "not_recorded": list(self.not_recorded),
            "findings": list(self.findings),
        }

    def to_frame(self) -> pd.DataFrame:
        """Return a tidy pandas frame, one row a parameter that differs, effects in the scenario's currency."""
        import pandas as pd

        return pd.DataFrame(
            [difference.to_json() for difference in self.differences], columns=list(LawDifference.__dataclass_fields__)
        )


def rerun(record: Record, law: Literal["then", "today"] = "then", today: Law | None = None) -> Rerun:
    """Figure a record again, with the law it holds (`law` "then") or with that of today.

    `today` replaces the parameters shipped with this version. With "today", every parameter that differs is named with
    its day and what it alone does to the answer.
    """
    if law not in ("then", "today"):
        raise ValueError(f"law is 'then' or 'today', not {law!r}")
    current = today or parameters.load(record.law.country)
    folder = tempfile.TemporaryDirectory(prefix="record-") if record.files else None
    for name, content in record.files.items():
        assert folder is not None
        place = Path(folder.name) / name
        if Path(folder.name).resolve() not in place.resolve().parents:
            raise ValueError(f"the record names a file outside its folder: {name}")
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_text(content, encoding="utf-8", newline="")
    scenario = loads(record.scenario_text, "scenario of the record", folder.name if folder else None)
    recorded = RecordedLaw(record.law, current, record.decided_on)
    then = measure(evaluate(scenario, law=recorded))
    flips_then = breakeven(scenario, law=recorded)
    kept = _flips(flips_then, record.chosen)
    findings = []
    if _answer(then.outcomes) != record.answer or kept != record.flips:
        findings.append(
            f"With the law of {record.decided_on} the figures are not those recorded. The record is of version "
            f"{record.library}, this is version {VERSION}: the way of figuring has changed, see its change log."
        )
    missing = tuple(sorted(recorded.not_recorded))
    if missing:
        findings.append(
            "This version reads what the record does not hold, and took it as known on "
            f"{record.decided_on}: {', '.join(missing)}."
        )
    if law == "then":
        moved = _moved(record, scenario, recorded, flips_then)
        return Rerun(record, law, then, _answer(then.outcomes), kept, moved, (), 0.0, missing, tuple(findings), folder)
    now = measure(evaluate(scenario, law=current))
    flips_now = breakeven(scenario, law=current)
    differences = tuple(_difference(record, scenario, current, then, change) for change in changes(record.law, current))
    together = now[record.chosen].npv - then[record.chosen].npv - sum(d.effect for d in differences)
    return Rerun(
        record,
        law,
        now,
        _answer(now.outcomes),
        _flips(flips_now, record.chosen),
        _moved(record, scenario, current, flips_now),
        differences,
        _cents(together),
        missing,
        tuple(findings),
        folder,
    )


def _moved(record: Record, scenario: Scenario, law: Law, found: Breakevens) -> tuple[FlipMoved, ...]:
    """Return the recorded flips that stand elsewhere under `law`, or nowhere; `found` is what flips the answer under it."""
    by = {(flip.path, flip.alternative, flip.against): flip.flip for flip in found}
    searched = {(one.alternative, one.against) for one in found.flips}
    searched |= {(one.alternative, one.against) for one in found.never}
    moved = []
    for kept in record.flips:
        pair = (kept.alternative, kept.against)
        if pair not in searched:  # another course leads now; look at the recorded pair all the same
            by |= {(kept.path, *pair): flip.flip for flip in breakeven(scenario, kept.path, *pair, law=law)}
        now = by.get((kept.path, *pair))
        if now is None or abs(now - kept.flip) > FLIP_STANDS * max(abs(kept.flip), abs(kept.entered), 1e-9):
            moved.append(FlipMoved(kept.path, kept.label, *pair, kept.unit, kept.flip, now))
    return tuple(moved)


def _difference(record: Record, scenario: Scenario, current: Law, then: Comparison, change: Change) -> LawDifference:
    mixed = RecordedLaw(record.law, current, record.decided_on, [change.id])
    one = measure(evaluate(scenario, law=mixed))
    effect = one[record.chosen].npv - then[record.chosen].npv
    lead = one[record.chosen].npv_less_keep - then[record.chosen].npv_less_keep
    touched = any(abs(outcome.npv - then[outcome.name].npv) >= 0.005 for outcome in one)
    return LawDifference(
        change.id,
        change.description or change.id,
        change.on,
        change.from_date,
        change.enacted,
        _words(change.then, change.unit),
        "no longer on file" if change.today is None else _words(change.today, change.unit),
        _cents(effect),
        _cents(lead),
        _moved(record, scenario, mixed, breakeven(scenario, law=mixed)) if touched else (),
    )


def _words(value: object, unit: str) -> str:
    if isinstance(value, list):  # rows
        return (
            "; ".join(
                " ".join(f"{key} {cell}" for key, cell in row.items() if cell not in ("", None)) for row in value[:3]
            )
            or "no such row"
        )
    if isinstance(value, tuple):
        return ", ".join(
            f"{pair[1]:g} over {pair[0]:,.0f}" if isinstance(pair, tuple) else f"{pair:g}" for pair in value
        )
    return in_words(value, unit)  # type: ignore[arg-type]
