"""What pages are made of: parts, each a heading over blocks, and the figures they read, each figured once.

A page for another reader is another row of parts (see :mod:`equipdecide.views.brief`).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import ClassVar

from markupsafe import Markup
from matplotlib.axes import Axes

from equipdecide.decide.breakeven import Breakevens, breakeven, nothing_extra_sold
from equipdecide.decide.compare import Comparison, Outcome
from equipdecide.decide.lender import LenderView, lender
from equipdecide.decide.page_figures import TenNumbers, ten_numbers
from equipdecide.decide.papers import Papers, papers
from equipdecide.decide.simulate import Runs, simulate
from equipdecide.evaluate import Evaluation
from equipdecide.ledger import Finding
from equipdecide.scenario.amounts import Amount
from equipdecide.scenario.labels import labels
from equipdecide.scenario.reading import amounts
from equipdecide.views import charts
from equipdecide.views.explained import Entry, Explained

PAGE_TRIALS = 2048  # draws behind a page: chances to a point, and quick

# of a settlement: its column, what the page calls it, its sign, its tone
SETTLED = (
    ("gross", "Price", 1, ""),
    ("commission", "Commission", -1, ""),
    ("costs", "Costs of selling", -1, ""),
    ("payoff", "Payoff to the lender", -1, ""),
    ("release", "Release of the lien", -1, ""),
    ("net_cash", "Net cash, before tax", 1, "total"),
)

# --- what a page is made of


@dataclass(frozen=True)
class Text:
    """A paragraph; `tone` is empty, ``lead`` or ``warning``."""

    kind: ClassVar[str] = "text"
    text: str
    tone: str = ""


@dataclass(frozen=True)
class Row:
    """A row of a table: its heading, its cells; `tone` is empty, ``total`` or ``best``."""

    head: str
    cells: tuple[str, ...]
    tone: str = ""


@dataclass(frozen=True)
class Table:
    """A table with a caption. `columns` name the row headings first; `words` are the columns that hold words."""

    kind: ClassVar[str] = "table"
    caption: str
    columns: tuple[str, ...]
    rows: tuple[Row, ...]
    words: tuple[int, ...] = ()
    look: str = ""


@dataclass(frozen=True)
class Chart:
    """A drawing with its title in words and what it shows for those who do not see it."""

    kind: ClassVar[str] = "chart"
    title: str
    source: Markup
    alt: str
    figures: str = ""  # a sentence that links to where its figures come from


@dataclass(frozen=True)
class Bullets:
    """A list of sentences."""

    kind: ClassVar[str] = "bullets"
    items: tuple[str, ...]


@dataclass(frozen=True)
class Definitions:
    """Terms and what they mean here."""

    kind: ClassVar[str] = "definitions"
    pairs: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Entries:
    """Explanations that figures elsewhere on the page link to."""

    kind: ClassVar[str] = "entries"
    items: tuple[Entry, ...]


Block = Text | Table | Chart | Bullets | Definitions | Entries


@dataclass(frozen=True)
class Part:
    """One section of a page: an anchor, a heading, and its blocks in order."""

    anchor: str
    heading: str
    blocks: tuple[Block, ...]


def chart(ax: Axes, figures: str = "") -> Chart:
    """Return a chart of :mod:`equipdecide.views.charts` as a block: drawing, title, words, and
    where its figures are from.
    """
    return Chart(charts.title(ax), Markup(charts.data_address(ax, with_title=False)), charts.alt_text(ax), figures)


# --- what the parts read


@dataclass(frozen=True, eq=False)
class Page:
    """A comparison and what else the parts read, each figured once.

    `owner` limits private figures to one owner's; on an `outside` page no owner's are shown. Private are all figures
    entered under an owner: household income, last year's tax, what is guaranteed.
    """

    comparison: Comparison
    owner: str | None = None
    outside: bool = False

    @property
    def course(self) -> Outcome:
        """The course the page is about: the best that passes, else the one of highest worth."""
        return self.comparison.leader

    @cached_property
    def ten(self) -> TenNumbers:
        """The figures of the first table."""
        return ten_numbers(self.comparison)

    @cached_property
    def flips(self) -> Breakevens:
        """What flips the lead, input by input."""
        return breakeven(self.comparison.scenario, evaluation=self._as_entered)

    @cached_property
    def runs(self) -> Runs:
        """All doubts drawn together, always the same draws."""
        return simulate(self.comparison.scenario, trials=PAGE_TRIALS, evaluation=self._as_entered)

    @property
    def _as_entered(self) -> Evaluation | None:
        """The comparison's own evaluation where it is of the entered figures."""
        return self.comparison.evaluation if self.comparison.evaluation.as_entered else None

    @cached_property
    def unsold(self) -> Comparison:
        """The comparison with no extra hour sold."""
        return nothing_extra_sold(self.comparison.scenario, self.comparison)

    @cached_property
    def lender(self) -> LenderView | None:
        """The lender's figures of the course; None where the study is in whole years."""
        return None if self.comparison.evaluation.time.yearly else lender(self.comparison.scenario, self.course.name)

    @cached_property
    def papers(self) -> Papers | None:
        """Form lines and elections of the course; None under one flat tax rate."""
        return papers(self.comparison.scenario, self.course.name) if self.comparison.scenario.regime == "us" else None

    @cached_property
    def entered(self) -> dict[str, Amount]:
        """Every figure of the scenario by path, without other owners' figures where the page is one owner's."""
        return {path: amount for path, amount in amounts(self.comparison.scenario).items() if not self.hidden(path)}

    @cached_property
    def labels(self) -> dict[str, str]:
        """Every figure's label by path."""
        return labels(self.comparison.scenario)

    @cached_property
    def explained(self) -> Explained:
        """The explanations that this page's figures link to; filled while its parts are made."""
        scenario = self.comparison.scenario
        hidden = [name for name in scenario.owners if name not in self.owners]
        return Explained(self.entered, self.labels, hidden, (*scenario.alternatives, *scenario.offers))

    @property
    def owners(self) -> tuple[str, ...]:
        """The owners whose own figures the page shows."""
        return (
            ()
            if self.outside
            else tuple(name for name in self.comparison.scenario.owners if self.owner in (None, name))
        )

    def hidden(self, about: str) -> bool:
        """Tell whether a path belongs to an owner whose figures this page leaves out."""
        return any(
            f"{about}.".startswith(f"owners.{name}.")
            for name in self.comparison.scenario.owners
            if name not in self.owners
        )

    @cached_property
    def findings(self) -> tuple[Finding, ...]:
        """The findings this page's reader may see."""
        return tuple(f for f in self.comparison.findings if not self.hidden(f.about))
