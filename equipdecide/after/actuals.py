"""What came: a short file of actual figures, read against the plan they belong to.

Each entry says `what` came (a word of :data:`WHATS`, or the path of any input), `of` which machine, part or owner, its
`value`, the day it was known (`on`) and, for what runs over time, since when (`since`). Faults come all together, with
line and mend.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from pydantic import Field

from equipdecide.calendar import Date
from equipdecide.decide.compare import Comparison
from equipdecide.plan import Plan, Setup
from equipdecide.scenario import ScenarioError
from equipdecide.scenario.amounts import Amount, AmountError, Day, Money, Quantity
from equipdecide.scenario.faults import Fault, did_you_mean, near
from equipdecide.scenario.models import Frozen, Improve, Sell
from equipdecide.scenario.reading import Read, amounts, quantity_at, read_as
from equipdecide.scenario.tree import Place

Span = Literal["once", "lasting", "yearly"]
MONEY: Quantity = Money.__metadata__[0]  # type: ignore[attr-defined]


class ActualsError(ScenarioError):
    """A file of actual figures cannot be read, or does not fit the plan. `faults` holds everything that is wrong."""


class Entry(Frozen):
    """One thing that came."""

    what: str = Field(title="What came: price got, payoff, days down ...")
    of: str | None = Field(None, title="Of which machine, upgrade, part or owner")
    value: str | None = Field(None, title="How much, in the unit of the input")
    since: Day | None = Field(None, title="First day it was counted, for what runs over time")
    on: Day = Field(title="Day it was known, or last day it was counted")
    note: str = Field("", title="Remark")


class ActualsFile(Frozen):
    """The file: the course taken and what came of it."""

    course: str = Field(title="The course that was taken")
    actuals: list[Entry] = Field(min_length=1, title="What came, entry by entry")
    notes: list[str] = Field(default_factory=list, title="Remarks")


@dataclass(frozen=True)
class What:
    """A kind of actual figure: how it lasts, and which inputs of the plan it can stand for."""

    span: Span
    inputs: Callable[[Plan, Date], Mapping[str, Amount]] | None = None  # by the name after `of`


def _sold(plan: Plan, day: Date) -> dict[str, Amount]:
    return {step.machine: plan.scenario.offers[step.by].price for step in plan.steps if isinstance(step, Sell)}


def _of_source(field: str) -> Callable[[Plan, Date], dict[str, Amount]]:
    def found(plan: Plan, day: Date) -> dict[str, Amount]:
        return {p.name: amount for p in plan.purchases if (amount := getattr(p.source, field, None)) is not None}

    return found


def _in_place(plan: Plan, day: Date) -> dict[str, Setup]:
    """Return the machines in place on a day, each as it then stands."""
    return {
        setup.machine: setup
        for setup in sorted(plan.setups, key=lambda setup: setup.first)
        if setup.first <= day <= setup.last
    }


def _of_setup(*fields: str) -> Callable[[Plan, Date], dict[str, Amount]]:
    def found(plan: Plan, day: Date) -> dict[str, Amount]:
        amounts = {}
        for machine, setup in _in_place(plan, day).items():
            value: object = setup
            for field in fields:
                value = getattr(value, field, None)
            if isinstance(value, Amount):
                amounts[machine] = value
        return amounts

    return found


def _of_part(field: str) -> Callable[[Plan, Date], dict[str, Amount]]:
    def found(plan: Plan, day: Date) -> dict[str, Amount]:
        return {
            name: amount for name, part in plan.scenario.parts.items() if (amount := getattr(part, field)) is not None
        }

    return found


WHATS: dict[str, What] = {
    "price got": What("once", _sold),
    "payoff": What("once"),
    "tax of the year": What("once"),
    "first good part": What("once"),
    "days down": What("once", _of_source("down_days")),
    "hours lost learning": What("once", _of_source("ramp_loss")),
    "upkeep": What("yearly", _of_setup("upkeep", "first_year")),
    "hours cut": What("yearly", _of_setup("running", "cutting_share")),
    "nights run": What("yearly", _of_setup("running", "nights", "nights")),
    "hours between stops": What("lasting", _of_setup("running", "nights", "mean_between_stops")),
    "share of good parts": What("lasting", _of_setup("running", "good_share")),
    "pieces ordered": What("yearly", _of_part("demand")),
    "contract renewed": What("once", _of_part("renews")),
}
"""What can be written after `what:`, beside the path of any input."""


@dataclass(frozen=True)
class Actual:
    """One entry fitted to the plan. `value` is as entered [unit of the input, or money; days from the plan's day].

    `amount` is the input it stands for, None where it stands for none (payoff, tax, first good part).
    """

    what: str
    of: str
    value: float
    since: Date | None
    on: Date
    span: Span
    amount: Amount | None
    setup: Setup | None
    note: str


@dataclass(frozen=True)
class Actuals:
    """What came of a course, fitted to its plan, in the order of the file."""

    course: str
    entries: tuple[Actual, ...]


def read_actuals(comparison: Comparison, path: str | Path) -> Actuals:
    """Return the actual figures of a file. Raises :class:`ActualsError` with every fault, OSError
    where there is none.
    """
    file = Path(path)
    try:
        text = file.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        raise ActualsError(
            [Fault(Place(file.name, 1, 1), "", "this is not a text file in UTF-8", "Save it as UTF-8 text")]
        ) from None
    return parse_actuals(comparison, text, file.name)


def parse_actuals(comparison: Comparison, text: str, name: str = "actuals") -> Actuals:
    """Return the actual figures that `text` states; `name` stands in messages. Raises :class:`ActualsError`."""
    try:
        read = read_as(ActualsFile, text, name)
    except ScenarioError as error:
        raise ActualsError(error.faults) from None
    plans = comparison.evaluation.plans
    course = read.value.course
    if course not in plans:
        raise ActualsError([read.fault("course", f"there is no course '{course}'", did_you_mean(course, plans))])
    faults: list[Fault] = []
    entries = [_fit(read, k, entry, plans[course], faults) for k, entry in enumerate(read.value.actuals)]
    faults += _overlaps(read, [entry for entry in entries if entry is not None], entries)
    if faults:
        raise ActualsError(sorted(faults, key=lambda fault: (fault.place.line, fault.place.column)))
    return Actuals(course, tuple(entry for entry in entries if entry is not None))


def _fit(read: Read[ActualsFile], k: int, entry: Entry, plan: Plan, faults: list[Fault]) -> Actual | None:
    """Return entry `k` fitted to the plan, or None with its faults added."""
    at, count = f"actuals.{k}", len(faults)

    def fault(field: str, what: str, mend: str) -> None:
        faults.append(read.fault(f"{at}.{field}", what, mend))

    if not plan.time.start <= entry.on:
        fault("on", f"{entry.on} is before the decision, {plan.time.start}", "Write the day on which it was known")
    if entry.since is not None and entry.since > entry.on:
        fault("since", f"{entry.since} is after {entry.on}", "Write the first day counted after `since:`")
    of, amount, setup, value = entry.of or "", None, None, 0.0
    span: Span = "once"
    if entry.what in WHATS:
        kind = WHATS[entry.what]
        span = kind.span
        day = entry.since or entry.on
        known = _known(entry.what, kind, plan, day)
        of = of or (next(iter(known)) if len(known) == 1 else "")
        if of not in known:
            named = ", ".join(known) or "nothing in this course"
            fault(
                "of",
                f"'{entry.what}' needs `of:`" if not of else f"'{of}' has no '{entry.what}' on {day}",
                f"There is: {named}",
            )
        else:
            amount = known[of]
        setup = _in_place(plan, day).get(of)
    else:
        entered = amounts(plan.scenario)
        if entry.what not in entered:
            fault(
                "what",
                f"'{entry.what}' is not known here",
                did_you_mean(entry.what, [*WHATS, *entered])
                if near(entry.what, [*WHATS, *entered])
                else f"Write one of: {', '.join(WHATS)}; or the path of an input",
            )
            return None
        amount = entered[entry.what]
    if span == "yearly" and entry.since is None:
        fault("since", f"'{entry.what}' runs over time and needs `since:`", "Write the first day it was counted")
    if entry.what == "first good part":
        return (
            Actual(entry.what, of, 0.0, None, entry.on, "once", None, None, entry.note)
            if len(faults) == count
            else None
        )
    if entry.value is None:
        fault("value", "`value` is missing", "Write how much came")
    else:
        try:
            value = _quantity(entry.what, amount).read(entry.value).likely
        except AmountError as error:
            fault("value", error.what, error.mend)
    return (
        Actual(entry.what, of, value, entry.since, entry.on, span, amount, setup, entry.note)
        if len(faults) == count
        else None
    )


def _known(what: str, kind: What, plan: Plan, day: Date) -> Mapping[str, Amount | None]:
    """Return what can stand after `of` for one kind, with the input it stands for."""
    if kind.inputs is not None:
        return kind.inputs(plan, day)
    if what == "payoff":
        return {sale.machine: None for sale in plan.sales if not sale.at_end}
    if what == "tax of the year":
        return dict.fromkeys(plan.scenario.owners)
    return {
        step.improvement if isinstance(step, Improve) else step.machine: None
        for step in (p.step for p in plan.purchases if p.buyout_of is None)
    }


HOURS = Quantity("a number of hours", "h", "1,180", high=1e6, words=("h", "hour", "hours"))


def _quantity(what: str, amount: Amount | None) -> Quantity:
    if what == "hours cut":  # entered as the hours themselves, over the days counted
        return HOURS
    if amount is None:
        return MONEY
    found = quantity_at(amount.path)
    assert found is not None  # an amount of a scenario has its quantity
    return found


def _overlaps(read: Read[ActualsFile], fitted: list[Actual], entries: list[Actual | None]) -> list[Fault]:
    """Return a fault for every stretch of time that is counted twice for one input."""
    found = []
    for k, later in enumerate(entries):
        if later is None or later.since is None or later.amount is None:
            continue
        for earlier in entries[:k]:
            if (
                earlier is None
                or earlier.since is None
                or earlier.amount is None
                or earlier.amount.path != later.amount.path
            ):
                continue
            if later.since <= earlier.on and earlier.since <= later.on:
                found.append(
                    read.fault(
                        f"actuals.{k}.since",
                        f"{later.since} to {later.on} is counted twice for '{later.what}' of {later.of}",
                        f"Another entry counts {earlier.since} to {earlier.on}; begin the day after",
                    )
                )
    return found
