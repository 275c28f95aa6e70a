"""Courses of action: dated steps."""

from typing import Annotated, Literal

from pydantic import Field

from equipdecide.scenario.amounts import Day, Factor, Money, MoneyPerYear, Rate
from equipdecide.scenario.models.base import Frozen


class _Step(Frozen):
    on: Day = Field(title="Day it happens", description="of a purchase or an upgrade: the day it is in service")
    when: str | None = Field(None, title="Only if this comes true: an event by its name, or a part and the word renews")
    done: bool = Field(False, title="Already done")


class Sell(_Step):
    """Sell a machine."""

    do: Literal["sell"] = Field(title="What is done")
    machine: str = Field(title="Machine")
    by: str = Field(title="Name of the offer")
    rolled_into: str | None = Field(None, title="Financing that takes in what the price does not cover")


class Buy(_Step):
    """Buy a machine: `on` is the day it is accepted and in service."""

    do: Literal["buy"] = Field(title="What is done")
    machine: str = Field(title="Machine")
    ordered: Day | None = Field(None, title="Day it is ordered")
    shipped: Day | None = Field(None, title="Day it is shipped")
    pay: list[str] = Field(default_factory=list, title="Names of the financing")
    section_179: Money | Literal["all", "none"] = Field("none", title="Section 179 deduction elected")
    section_179_state: Money | Literal["all", "none"] | None = Field(
        None, title="Section 179 deduction elected for the state alone, where it is not the federal one"
    )
    bonus: Literal["by law", "elected out", "reduced"] = Field("by law", title="Bonus depreciation")


class Improve(_Step):
    """Fit an improvement: `on` is the day it is in service."""

    do: Literal["improve"] = Field(title="What is done")
    improvement: str = Field(title="Upgrade")
    pay: list[str] = Field(default_factory=list, title="Names of the financing")
    section_179: Money | Literal["all", "none"] = Field("none", title="Section 179 deduction elected")
    section_179_state: Money | Literal["all", "none"] | None = Field(
        None, title="Section 179 deduction elected for the state alone, where it is not the federal one"
    )
    bonus: Literal["by law", "elected out", "reduced"] = Field("by law", title="Bonus depreciation")


class Spend(_Step):
    """Money that goes out (or comes in, `do: earn`): once on a day, or so much a year from that day on."""

    do: Literal["spend", "earn"] = Field(title="What is done")
    what: str = Field(title="What it is, in a few words")
    once: Money | None = Field(None, title="amount, once")
    a_year: MoneyPerYear | None = Field(None, title="amount a year")
    growth: Rate | None = Field(None, title="growth a year")
    until: Day | None = Field(None, title="Last day; left out: the end of the study")
    quantity: Factor | None = Field(None, title="quantity (pieces, hours) the amount is multiplied by")
    taxed: bool = Field(
        True,
        title="Deducted, or taxed, at once",
        description="no: money put into stock or a deposit and taken out again",
    )


Step = Annotated[Sell | Buy | Improve | Spend, Field(discriminator="do")]
