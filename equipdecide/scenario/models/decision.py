"""One decision written down, whole."""

from typing import Literal

from pydantic import Field, PrivateAttr

from equipdecide.scenario.amounts import Amount, Day, YesNo
from equipdecide.scenario.models.base import Frozen
from equipdecide.scenario.models.business import Flat, Owner, Shop, Study
from equipdecide.scenario.models.loans import Financing
from equipdecide.scenario.models.machines import Improvement, Machine
from equipdecide.scenario.models.offers import Offer
from equipdecide.scenario.models.parts import Part
from equipdecide.scenario.models.steps import Step
from equipdecide.scenario.models.weighed import Criterion, Doubt, Exposure, Guess, Quieter
from equipdecide.scenario.tree import Source


class Scenario(Frozen):
    """One decision written down."""

    title: str = Field(title="The decision in one line")
    decision_date: Day = Field(title="Day the decision is taken; present worth is counted to it")
    currency: str = Field("USD", title="Currency of every amount of money", pattern="^[A-Z]{3}$")
    regime: Literal["us", "flat"] = Field("us", title="Tax rules: of the United States, or one flat rate")
    machine_in_question: list[str] = Field(min_length=1, title="Machine or machines the decision is about")
    study: Study = Field(title="How far to look ahead, and what money is worth")
    shop: Shop = Field(title="The business")
    owners: dict[str, Owner] = Field(default_factory=dict, title="Who owns it, by name")
    flat: Flat | None = Field(None, title="The flat rate, where regime is flat")
    machines: dict[str, Machine] = Field(title="Machines owned, and machines that could be bought, by name")
    improvements: dict[str, Improvement] = Field(default_factory=dict, title="Upgrades that could be fitted, by name")
    parts: dict[str, Part] = Field(default_factory=dict, title="What is made and sold, by name")
    offers: dict[str, Offer] = Field(default_factory=dict, title="Ways to sell a machine, by name")
    financing: dict[str, Financing] = Field(default_factory=dict, title="Loans on offer, by name")
    events: dict[str, YesNo] = Field(
        default_factory=dict, title="What may come true or not, on which steps may hang (`when:`), by name"
    )
    gates: dict[str, dict[str, bool]] = Field(
        default_factory=dict, title="What a course must pass, by name: yes or no for each course"
    )
    working_day: dict[str, Exposure] = Field(
        default_factory=dict, title="One person's working day, piece by piece, for its noise"
    )
    quieter: dict[str, Quieter] = Field(
        default_factory=dict, title="What would quieten a piece of that day, with its price, by name"
    )
    criteria: dict[str, Criterion] = Field(
        default_factory=dict,
        title="What is not money and may be weighed, by name",
        description="nothing that is in the money already",
    )
    alternatives: dict[str, list[Step]] = Field(title="Courses of action: dated steps; keep is the empty list")
    doubts: list[Doubt] = Field(default_factory=list, title="Shapes and correlations of doubtful inputs")
    guesses: dict[str, list[Guess]] = Field(
        default_factory=dict, title="Partners who see some inputs differently, by name"
    )
    notes: list[str] = Field(default_factory=list, title="Remarks for the reader")
    _source: Source = PrivateAttr(default_factory=Source)

    def doubt(self, path: str) -> Amount:
        """Return the yes/no doubt at `path` (``events.<name>`` or ``parts.<name>.renews``). Raises
        KeyError where there is none.
        """
        section, name = path.split(".")[:2]
        found = self.events.get(name) if section == "events" else self.parts[name].renews
        if found is None:
            raise KeyError(f"no yes/no doubt {path}")
        return found

    @property
    def source(self) -> Source:
        """The file it was read from: name, folder (other files are named relative to it), place of each path."""
        return self._source
