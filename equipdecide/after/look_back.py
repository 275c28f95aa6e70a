"""Planned against actual at months 1, 3, 6, 12 and 24, what the answer would be now, and how guesses have run.

What came is put into the same engine in place of what was guessed. For what runs on (upkeep, hours, nights, pieces)
the answer is given twice: as if it goes on as seen, and with later years as planned. Corrections are offered, never
applied.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from equipdecide import calendar as cal
from equipdecide.after.actuals import Actual, Actuals, read_actuals
from equipdecide.after.record import Record
from equipdecide.after.rerun import rerun
from equipdecide.after.todo import finished, load_data
from equipdecide.calendar import Date
from equipdecide.decide.compare import Comparison, measure, passes
from equipdecide.evaluate import evaluate
from equipdecide.plan import Plan
from equipdecide.scenario.amounts import Amount
from equipdecide.scenario.labels import labels
from equipdecide.scenario.models import Improve, Scenario
from equipdecide.showing import Shown

if TYPE_CHECKING:
    import pandas as pd

ENOUGH = 2  # figures of one kind, or of one person, before a correction is offered
RUNS_OFF = 0.05  # a mean ratio this far from one counts as high or low
YEAR_DAYS = 365.0
NOT_SAID = "not said"  # where the scenario does not say who gave a figure


@dataclass(frozen=True)
class LookRow:
    """One figure, planned and actual, in the unit shown: of the input where it is one, else money or days.

    `ratio` is actual over planned, None where nothing was planned. `month` is the first look back that knew it.
    `inside_range` tells whether what came lies within the low and high given. `effect` is what it alone does to the
    lead over keeping if it goes on as seen [currency]; None where it is no input of the engine.
    """

    what: str
    of: str
    path: str
    label: str
    unit: str
    planned: float
    actual: float
    ratio: float | None
    inside_range: bool | None
    since: Date | None
    on: Date
    month: int
    given_by: str
    by: str
    note: str
    effect: float | None = None

    def to_json(self) -> dict[str, Any]:
        """Return plain data with fixed keys."""
        return {
            name: value.isoformat() if isinstance(value := getattr(self, name), Date) else value
            for name in self.__dataclass_fields__
        }


@dataclass(frozen=True)
class Then:
    """The answer at one look back: the lead of the course over keeping with what was known by then [currency].

    `goes_on` takes what runs on as it was seen; `as_planned` takes its later years as planned. Were the choice made
    with the first: `best` is the best course that passes, `passes` tells whether the one taken does, `lowest_cash` is
    the lowest cash it comes to.
    """

    month: int
    until: Date
    known: int
    goes_on: float
    as_planned: float
    best: str | None
    passes: bool
    lowest_cash: float | None

    def to_json(self) -> dict[str, Any]:
        """Return plain data with fixed keys."""
        return {
            name: value.isoformat() if isinstance(value := getattr(self, name), Date) else value
            for name in self.__dataclass_fields__
        }


@dataclass(frozen=True)
class Run:
    """How the guesses of one kind, or of one person or source, have run: mean of actual over planned (geometric)."""

    of: str  # "kind" or "guesser"
    name: str
    count: int
    guessed_low: int  # more came than was guessed
    guessed_high: int
    mean_ratio: float

    @property
    def runs(self) -> str:
        """``low``, ``high`` or ``even``: how the guesses stood to what came."""
        return "low" if self.mean_ratio > 1 + RUNS_OFF else "high" if self.mean_ratio < 1 - RUNS_OFF else "even"

    @property
    def correction(self) -> float | None:
        """The factor to offer next time; None where there are too few figures, or they do not lean one way."""
        one_way = not (self.guessed_low and self.guessed_high)
        return self.mean_ratio if self.count >= ENOUGH and one_way and self.runs != "even" else None

    def to_json(self) -> dict[str, Any]:
        """Return plain data with fixed keys."""
        return {name: getattr(self, name) for name in self.__dataclass_fields__} | {
            "runs": self.runs,
            "correction": self.correction,
        }


@dataclass(frozen=True, eq=False, repr=False)
class LookBack(Shown):
    """Planned against actual of one course. `planned` is its lead over keeping as decided [currency]."""

    title: str
    course: str
    decided_on: Date
    counted_from: Date
    currency: str
    planned: float
    rows: tuple[LookRow, ...]
    then: tuple[Then, ...]
    runs: tuple[Run, ...]

    @property
    def corrections(self) -> tuple[Run, ...]:
        """The runs for which a correction is offered."""
        return tuple(run for run in self.runs if run.correction is not None)

    def to_json(self) -> dict[str, Any]:
        """Return plain data with fixed keys: keys are added, never renamed."""
        return {
            "title": self.title,
            "course": self.course,
            "decided_on": self.decided_on.isoformat(),
            "counted_from": self.counted_from.isoformat(),
            "currency": self.currency,
            "planned": self.planned,
            "rows": [row.to_json() for row in self.rows],
            "then": [then.to_json() for then in self.then],
            "runs": [run.to_json() for run in self.runs],
        }

    def to_frame(self) -> pd.DataFrame:
        """Return a tidy pandas frame, one row a figure, in the unit of its column `unit`."""
        import pandas as pd

        return pd.DataFrame([row.to_json() for row in self.rows])


def look_back(of: Comparison | Record, actuals: Actuals | str | Path, months: Sequence[int] | None = None) -> LookBack:
    """Hold what came against what was planned.

    `of` is a comparison, or the record of the decision: then the plan is figured with the law of the record. `actuals`
    is what came, or the file of it (:func:`equipdecide.after.actuals.read_actuals` says what is wrong with one).
    `months` are the look backs, counted from the day of the last step [month]; those with nothing known by then are
    left out. Raises ValueError for a month below 1.
    """
    again = rerun(of) if isinstance(of, Record) else None  # kept while this runs: it holds the record's files
    comparison = again.comparison if again else of
    assert isinstance(comparison, Comparison)
    actuals = actuals if isinstance(actuals, Actuals) else read_actuals(comparison, actuals)
    scenario, outcome = comparison.scenario, comparison[actuals.course]
    plan = outcome.plan
    start = finished(plan)
    months = sorted(set(months or load_data().look_back_months))
    if months[0] < 1:
        raise ValueError("a look back is a month or more after the last step")
    ends = {month: cal.add_months(start, month) for month in months}
    then = []
    known = 0
    for month, until in ends.items():
        seen = [entry for entry in actuals.entries if entry.on <= until]
        if len(seen) > known:
            known = len(seen)
            then.append(_answer(comparison, plan, seen, month, until))
    names = labels(scenario)
    rows = [_row(comparison, plan, group, _month(ends, group[-1].on), names) for group in _groups(actuals.entries)]
    rows = [
        replace(row, effect=_effect(comparison, plan, group))
        for row, group in zip(rows, _groups(actuals.entries), strict=True)
    ]
    return LookBack(
        scenario.title,
        actuals.course,
        plan.time.start,
        start,
        scenario.currency,
        outcome.npv_less_keep,
        tuple(rows),
        tuple(then),
        _runs(rows),
    )


def _month(ends: Mapping[int, Date], day: Date) -> int:
    """Return the first look back that knows what came on `day`; the last one for what came later."""
    return next((month for month, until in ends.items() if day <= until), max(ends))


def _groups(entries: Sequence[Actual]) -> list[list[Actual]]:
    """Put the entries of one figure together, in the order of days."""
    found: dict[tuple[str, str], list[Actual]] = {}
    for entry in sorted(entries, key=lambda entry: entry.on):
        key = (
            (entry.what, f"{entry.of} {entry.on.year - 1}")
            if entry.what == "tax of the year"
            else (entry.what, entry.amount.path if entry.amount else entry.of)
        )
        found.setdefault(key, []).append(entry)
    return list(found.values())


# --- one figure


def _years(entry: Actual) -> float:
    """Return the time an entry counts, first and last day included [year of 365 days]."""
    assert entry.since is not None
    return ((entry.on - entry.since).days + 1) / YEAR_DAYS


def seen(group: Sequence[Actual]) -> float:
    """Return what a group of entries says its input is [unit of the input].

    What runs over time is added up and divided by the years counted; upkeep is taken back to its first year by the
    growth entered; hours cut become a share of staffed hours. Of anything else the last entry counts.
    """
    last = group[-1]
    if last.span != "yearly":
        return last.value
    years = sum(_years(entry) for entry in group)
    if last.what == "upkeep":
        return sum(entry.value for entry in group) / sum(_years(entry) * _growth(entry) for entry in group)
    if last.what == "hours cut":
        assert last.setup is not None and last.setup.running is not None
        return sum(entry.value for entry in group) / (years * float(last.setup.running.staffed_hours))
    return sum(entry.value for entry in group) / years


def _growth(entry: Actual) -> float:
    """Return the growth of upkeep from its first year to the one in which the entry begins."""
    setup = entry.setup
    if setup is None or setup.upkeep is None or setup.upkeep.growth is None or entry.since is None:
        return 1.0
    whole = max(
        entry.since.year
        - setup.growth_from.year
        - ((entry.since.month, entry.since.day) < (setup.growth_from.month, setup.growth_from.day)),
        0,
    )
    return (1.0 + float(setup.upkeep.growth)) ** whole


def _row(comparison: Comparison, plan: Plan, group: list[Actual], month: int, names: Mapping[str, str]) -> LookRow:
    last = group[-1]
    amount = last.amount
    if amount is None:
        planned, actual, unit, label = _beside(comparison, plan, last)
        return LookRow(
            last.what,
            last.of,
            "",
            label,
            unit,
            planned,
            actual,
            actual / planned if planned and unit != "day" else None,
            None,
            last.since,
            last.on,
            month,
            "",
            "",
            last.note,
        )
    planned, actual = float(amount.likely if amount.chance is None else amount.chance), seen(group)
    inside = amount.low <= actual <= amount.high if amount.low is not None and amount.high is not None else None
    ratio = actual / planned if planned and amount.chance is None else None
    return LookRow(
        last.what,
        last.of,
        amount.path,
        names.get(amount.path, amount.path),
        amount.unit,
        planned,
        actual,
        ratio,
        inside,
        group[0].since,
        last.on,
        month,
        amount.given_by,
        amount.by,
        last.note,
    )


def _beside(comparison: Comparison, plan: Plan, entry: Actual) -> tuple[float, float, str, str]:
    """Return planned, actual, unit and label of what is no input: payoff, tax of a year, first good part."""
    ledger, currency = comparison[plan.name].ledger, comparison.scenario.currency
    if entry.what == "payoff":
        return ledger.column(f"settlement {entry.of}.payoff").figure(), entry.value, currency, f"{entry.of}: payoff"
    if entry.what == "tax of the year":
        year = entry.on.year - 1  # a return is filed in the year after
        row = plan.time.tax.labels.index(str(year))
        return (
            float(ledger.column(f"federal return {entry.of} as filed.tax").per_row()[row]),
            entry.value,
            currency,
            f"{entry.of}: federal tax of {year}",
        )
    purchase = next(p for p in plan.purchases if p.name == entry.of)
    return (
        0.0,
        float((entry.on - purchase.step.on).days),
        "day",
        f"{entry.of}: first good part, days after {purchase.step.on}",
    )


# --- the answer with what came


def _moved(scenario: Scenario, course: str, entries: Sequence[Actual]) -> Scenario:
    """Return the scenario with the steps of the course on the day their first good part came."""
    days = {entry.of: entry.on for entry in entries if entry.what == "first good part"}
    if not days:
        return scenario
    steps = [
        step.model_copy(update={"on": days[name]})
        if step.do in ("buy", "improve")
        and (name := step.improvement if isinstance(step, Improve) else getattr(step, "machine", "")) in days
        else step
        for step in scenario.alternatives[course]
    ]
    moved = scenario.model_copy(update={"alternatives": {**scenario.alternatives, course: steps}})
    moved._source = scenario.source
    return moved


def _values(comparison: Comparison, plan: Plan, entries: Sequence[Actual], goes_on: bool) -> dict[str, float]:
    """Return the inputs that `entries` replace, by path; later years as planned unless it goes on as seen."""
    found = {}
    for group in _groups([entry for entry in entries if entry.amount is not None]):
        last = group[-1]
        assert last.amount is not None
        value = seen(group)
        if not goes_on and last.span != "once":
            weight = _weight(comparison, plan, last)
            value = weight * value + (1.0 - weight) * last.amount.likely
        found[last.amount.path] = value
    return found


def _weight(comparison: Comparison, plan: Plan, entry: Actual) -> float:
    """Return the share of the present worth of a level yearly flow that falls before the last day counted."""
    first = entry.setup.first if entry.setup else plan.time.start
    end = min(entry.setup.last, plan.time.end) if entry.setup else plan.time.end
    so_far, whole = max((entry.on - first).days + 1, 0) / YEAR_DAYS, (end - first).days / YEAR_DAYS
    rate = float(comparison.scenario.study.rate)
    if abs(rate) < 1e-9:
        return min(so_far / whole, 1.0)
    return min(math.expm1(-so_far * math.log1p(rate)) / math.expm1(-whole * math.log1p(rate)), 1.0)


def _figured(
    comparison: Comparison, plan: Plan, entries: Sequence[Actual], goes_on: bool, all_courses: bool = False
) -> Comparison:
    scenario = _moved(comparison.scenario, plan.name, entries)
    only = None if all_courses else list(dict.fromkeys(["keep", plan.name]))
    return measure(evaluate(scenario, _values(comparison, plan, entries, goes_on), only, comparison.evaluation.law))


def _answer(comparison: Comparison, plan: Plan, entries: Sequence[Actual], month: int, until: Date) -> Then:
    on, planned = (
        _figured(comparison, plan, entries, True, all_courses=True),
        _figured(comparison, plan, entries, False),
    )
    outcome = on[plan.name]
    low = outcome.cash_low.amount if outcome.cash_low else None
    return Then(
        month,
        until,
        len(entries),
        outcome.npv_less_keep,
        planned[plan.name].npv_less_keep,
        on.best,
        passes(outcome),
        low,
    )


def _effect(comparison: Comparison, plan: Plan, group: Sequence[Actual]) -> float | None:
    """Return what one figure alone does to the lead over keeping, if it goes on as seen [currency]."""
    if group[-1].amount is None and group[-1].what != "first good part":
        return None
    return _figured(comparison, plan, group, True)[plan.name].npv_less_keep - comparison[plan.name].npv_less_keep


# --- how guesses have run


def _runs(rows: Sequence[LookRow]) -> tuple[Run, ...]:
    """Return how each kind of guess and each guesser has run, those with most figures first."""
    by: dict[tuple[str, str], list[float]] = {}
    for row in rows:
        if row.path and row.ratio is not None and row.ratio > 0:
            by.setdefault(
                ("kind", row.what if row.what != row.path else row.path.rpartition(".")[2].replace("_", " ")), []
            ).append(row.ratio)
            by.setdefault(("guesser", row.by or row.given_by or NOT_SAID), []).append(row.ratio)
    found = [
        Run(
            of,
            name,
            len(ratios),
            sum(r > 1 + RUNS_OFF for r in ratios),
            sum(r < 1 - RUNS_OFF for r in ratios),
            math.exp(sum(map(math.log, ratios)) / len(ratios)),
        )
        for (of, name), ratios in by.items()
    ]
    return tuple(sorted(found, key=lambda run: (run.of != "guesser", -run.count, run.name)))


def corrected(amount: Amount, run: Run) -> Amount:
    """Return an amount with an offered correction put in: likely, low and high times its factor. Never done unasked.

    Raises ValueError where no correction is offered.
    """
    if run.correction is None:
        raise ValueError(f"no correction is offered for {run.name}: figures {run.count}, running {run.runs}")
    low, high = (None if end is None else end * run.correction for end in (amount.low, amount.high))
    return replace(
        amount,
        likely=amount.likely * run.correction,
        low=low,
        high=high,
        note=f"corrected by {run.correction:.2f} for {run.name}",
    )
