"""A record figured again: under the law of then, or of today, with what each changed parameter does."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from equipdecide import parameters
from equipdecide.after.law_used import Change, RecordedLaw, changes
from equipdecide.after.record import FLIP_STANDS, Figures, FlipKept, Record, answer_kept, flips_kept, to_cents
from equipdecide.calendar import Date
from equipdecide.decide.breakeven import Breakevens, breakeven
from equipdecide.decide.compare import Comparison, measure
from equipdecide.decide.named import named
from equipdecide.evaluate import evaluate
from equipdecide.parameters import Law
from equipdecide.parameters.values import in_words
from equipdecide.scenario import Scenario, loads
from equipdecide.showing import Shown
from equipdecide.version import VERSION

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class FlipMoved:
    """A recorded flip under another law: `then` as recorded, `now` under it [unit of the input];
    None: nothing flips it.
    """

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

    `flips` are the nearest flips as they now are, `moved` the recorded ones that this law moves. `together` is what is
    left of the change when the effects of the single parameters are taken off: parameters acting together.
    `not_recorded` names parameters this version reads and the record does not hold. Money in the scenario's currency.
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
    kept = flips_kept(flips_then, record.chosen)
    findings = []
    if answer_kept(then.outcomes) != record.answer or kept != record.flips:
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
        return Rerun(
            record, law, then, answer_kept(then.outcomes), kept, moved, (), 0.0, missing, tuple(findings), folder
        )
    now = measure(evaluate(scenario, law=current))
    flips_now = breakeven(scenario, law=current)
    differences = tuple(_difference(record, scenario, current, then, change) for change in changes(record.law, current))
    together = now[record.chosen].npv - then[record.chosen].npv - sum(d.effect for d in differences)
    return Rerun(
        record,
        law,
        now,
        answer_kept(now.outcomes),
        flips_kept(flips_now, record.chosen),
        _moved(record, scenario, current, flips_now),
        differences,
        to_cents(together),
        missing,
        tuple(findings),
        folder,
    )


def _moved(record: Record, scenario: Scenario, law: Law, found: Breakevens) -> tuple[FlipMoved, ...]:
    """Return the recorded flips that stand elsewhere under `law`, or nowhere; `found` is what flips
    the answer under it.
    """
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
        to_cents(effect),
        to_cents(lead),
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
