"""The papers of a course: where each figure of its tax lands on the forms, and what may still be elected by when."""

from __future__ import annotations

from dataclasses import dataclass

from equipdecide.calendar import Date
from equipdecide.evaluate import evaluate
from equipdecide.scenario.models import Scenario
from equipdecide.showing import Shown
from equipdecide.tax.election_dates import ElectionDate, election_dates
from equipdecide.tax.form_lines import FormLine, form_lines


@dataclass(frozen=True, repr=False)
class Papers(Shown):
    """Lines of forms by tax year, and elections by last day, of one course. Lines are those of the forms of 2025."""

    alternative: str
    lines: tuple[tuple[int, FormLine], ...]
    elections: tuple[ElectionDate, ...]

    def of_year(self, year: int) -> tuple[FormLine, ...]:
        """Return the lines of one tax year."""
        return tuple(line for when, line in self.lines if when == year)

    def open_until(self, day: Date) -> tuple[ElectionDate, ...]:
        """Return the elections whose last day is on or before `day`: what must be done by then."""
        return tuple(one for one in self.elections if one.last_day <= day)

    def to_json(self) -> dict[str, object]:
        """Return plain data with fixed keys: keys are added, never renamed."""
        return {
            "alternative": self.alternative,
            "lines": [
                {
                    "year": year,
                    "form": one.form,
                    "line": one.line,
                    "amount": one.amount,
                    "meaning": one.meaning,
                    "about": one.about,
                    "source": one.source,
                }
                for year, one in self.lines
            ],
            "elections": [
                {
                    "what": one.what,
                    "about": one.about,
                    "last_day": one.last_day.isoformat(),
                    "how": one.how,
                    "source": one.source,
                }
                for one in self.elections
            ],
        }

    def to_frame(self):  # type: ignore[no-untyped-def]
        """Return a tidy pandas frame of the lines, one row a line and year."""
        import pandas as pd

        keys = ("form", "line", "amount", "meaning", "about")
        return pd.DataFrame(
            [
                {"year": year, **{("amount_usd" if key == "amount" else key): getattr(one, key) for key in keys}}
                for year, one in self.lines
            ]
        )


def papers(scenario: Scenario, alternative: str = "keep") -> Papers:
    """Return where the figures of a course land on the forms, tax year by tax year, and its elections with their last
    days.

    Raises KeyError for an unknown alternative, ValueError where the regime is not that of the United States.
    """
    if scenario.regime != "us":
        raise ValueError("the papers are those of the United States; this scenario uses one flat rate")
    if alternative not in scenario.alternatives:
        raise KeyError(f"no alternative {alternative!r}; there are {', '.join(scenario.alternatives)}")
    evaluation = evaluate(scenario, only=[alternative])
    plan, ledger = evaluation.plans[alternative], evaluation[alternative]
    years = range(plan.time.first_tax_year, plan.time.last_tax_year + 1)
    lines = tuple((year, line) for year in years for line in form_lines(ledger, plan, evaluation.law, year))
    return Papers(alternative, lines, election_dates(plan, evaluation.law))
