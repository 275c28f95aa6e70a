"""Yes/no doubts, one at a time: every course if yes, if no and on average, and what knowing the answer would be worth.

A comparison takes each doubt one way. Where steps hang on the answer, the average over both decides, not the likelier
answer: a course that waits and buys only on a yes may be worth more than one that buys now. Expected monetary value
and the expected value of perfect information are as in decision analysis (Raiffa and Schlaifer; from memory).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from equipdecide.evaluate import Evaluation, evaluate
from equipdecide.ledger import Finding
from equipdecide.scenario.amounts import Amount
from equipdecide.scenario.models import Scenario
from equipdecide.showing import Shown


@dataclass(frozen=True)
class News:
    """One yes/no doubt. `if_yes` and `if_no` hold each course's present worth less Keep's
    [currency], other doubts as entered.
    """

    path: str
    says: str
    chance: float
    if_yes: Mapping[str, float]
    if_no: Mapping[str, float]

    def expected_at(self, chance: float) -> dict[str, float]:
        """Return each course's worth less Keep's, averaged over the answers, at a chance of yes [currency]."""
        return {name: chance * yes + (1 - chance) * self.if_no[name] for name, yes in self.if_yes.items()}

    @property
    def expected(self) -> dict[str, float]:
        """Each course's worth less Keep's on average, at the chance entered [currency]."""
        return self.expected_at(self.chance)

    @property
    def best(self) -> str:
        """The course of highest worth on average."""
        return max(self.expected, key=lambda name: self.expected[name])

    @property
    def value_of_news(self) -> float:
        """What knowing the answer before choosing would be worth: never below 0 [currency]."""
        knowing = self.chance * max(self.if_yes.values()) + (1 - self.chance) * max(self.if_no.values())
        return max(knowing - max(self.expected.values()), 0.0)

    @cached_property
    def turns(self) -> tuple[tuple[float, str, str], ...]:
        """Chances at which another course becomes best: (chance, best below, best above), rising."""
        names = list(self.if_yes)
        crossings = set()
        for k, a in enumerate(names):
            for b in names[k + 1 :]:
                slope = (self.if_yes[a] - self.if_no[a]) - (self.if_yes[b] - self.if_no[b])
                if slope:
                    at = (self.if_no[b] - self.if_no[a]) / slope
                    if 0 < at < 1:
                        crossings.add(at)
        edges = [0.0, *sorted(crossings), 1.0]
        found = []
        for at, before, after in zip(edges[1:-1], edges[:-2], edges[2:], strict=True):
            below, above = (self.expected_at((at + other) / 2) for other in (before, after))
            first, second = (max(worth, key=lambda name: worth[name]) for worth in (below, above))
            if first != second:
                found.append((at, first, second))
        return tuple(found)

    def to_json(self) -> dict[str, object]:
        """Return plain data with fixed keys; money in the scenario's currency."""
        return {
            "path": self.path,
            "chance": self.chance,
            "if_yes": dict(self.if_yes),
            "if_no": dict(self.if_no),
            "expected": self.expected,
            "best": self.best,
            "value_of_news": self.value_of_news,
            "turns": [{"chance": at, "below": below, "above": above} for at, below, above in self.turns],
        }


@dataclass(frozen=True, eq=False, repr=False)
class NewsResult(Shown):
    """Every yes/no doubt of a scenario, in the order of the file; iterate or index by number."""

    doubts: tuple[News, ...]

    def __iter__(self) -> Iterator[News]:
        return iter(self.doubts)

    def __len__(self) -> int:
        return len(self.doubts)

    def __getitem__(self, position: int) -> News:
        return self.doubts[position]

    def to_json(self) -> dict[str, object]:
        """Return plain data with fixed keys: keys are added, never renamed."""
        return {"doubts": [one.to_json() for one in self.doubts]}


def _all_doubts(scenario: Scenario) -> list[tuple[str, str, Amount]]:
    found = [(f"events.{name}", name, amount) for name, amount in scenario.events.items()]
    found += [
        (f"parts.{name}.renews", f"{name} renews", part.renews) for name, part in scenario.parts.items() if part.renews
    ]
    found += [
        (f"offers.{name}.unsold", f"{name}: does not sell", offer.unsold)
        for name, offer in scenario.offers.items()
        if offer.unsold
    ]
    return found


def questions(scenario: Scenario) -> dict[str, str]:
    """Return what each yes/no doubt asks, by path: "P5 renews", "“contract signed” comes true"."""
    return {
        path: f"“{says}” comes true" if path.startswith("events.") else says.replace(": does", " does")
        for path, says, _ in _all_doubts(scenario)
    }


def news(
    scenario: Scenario,
    values: Mapping[str, float] | None = None,
    evaluation: Evaluation | None = None,
    paths: Sequence[str] | None = None,
) -> NewsResult:
    """Return every yes/no doubt of a scenario (or those at `paths`), both answers evaluated whole.

    `values` overrides other inputs by path; `evaluation`, the run at the entered figures, saves one run a doubt.
    """
    found = []
    for path, says, amount in _all_doubts(scenario):
        if paths is not None and path not in paths:
            continue
        answers = []
        for answer in (1.0, 0.0):
            if evaluation is not None and not values and answer == amount.likely:
                ledgers = evaluation.ledgers
            else:
                ledgers = evaluate(scenario, {**(values or {}), path: answer}, sale_alone=False).ledgers
            keep = ledgers["keep"].column("worth.npv").figure()
            answers.append({name: ledger.column("worth.npv").figure() - keep for name, ledger in ledgers.items()})
        chance = amount.chance if amount.chance is not None else amount.likely
        found.append(News(path, says, chance, *answers))
    return NewsResult(tuple(found))


def on_average(evaluation: Evaluation) -> list[Finding]:
    """Return, for each event of the scenario, what is best on average where that is not the best of
    the answer taken.
    """
    scenario, found = evaluation.scenario, []
    if not scenario.events:
        return []
    for one in news(scenario, evaluation=evaluation, paths=[f"events.{name}" for name in scenario.events]):
        taken = one.if_yes if scenario.events[one.says].likely > 0.5 else one.if_no
        best_taken = max(taken, key=lambda name: taken[name])
        if one.best == best_taken:
            continue
        answer = "yes" if taken is one.if_yes else "no"
        found.append(
            Finding(
                "best_on_average",
                f"Weighed over both answers to '{one.says}' (chance of yes {one.chance:.0%}), {one.best} is best: "
                f"{one.expected[one.best]:,.0f} more than keep, {best_taken} {one.expected[best_taken]:,.0f}. The "
                f"figures here take the answer as {answer}. Knowing it first is worth {one.value_of_news:,.0f}.",
                one.path,
                "warning",
            )
        )
    return found
