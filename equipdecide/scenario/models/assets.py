"""What was paid for a machine and how it is written off."""

from typing import Literal

from pydantic import Field

from equipdecide.scenario.amounts import Day, Money, Share
from equipdecide.scenario.models.base import Frozen


class Method(Frozen):
    """How something is depreciated, where not by law alone."""

    life: int | None = Field(None, ge=1, le=50, title="Recovery period where it is not that of the class")
    convention: Literal["by rule", "half-year", "mid-quarter"] = Field(
        "by rule", title="Convention of its year", description="by rule: tested over the assets in this file"
    )
    method: Literal[
        "by law", "straight line", "150 % declining balance", "declining balance", "sum of years digits", "table"
    ] = Field(
        "by law",
        title="Depreciation method",
        description="straight line and 150 % are elections of tax law; a table holds what the returns took by year, all of it; "
        "the other two are of textbooks",
    )
    system: Literal["general", "alternative"] = Field(
        "general", title="Recovery system of tax law: general (GDS), or the alternative (ADS) where it is elected"
    )
    tables: bool = Field(
        True,
        title="Figured by the printed tables",
        description="no: by the rate on what is left, as a return may from the first year on",
    )
    salvage: Money | None = Field(None, title="Salvage value the method leaves (textbook methods)")
    table: list[Share] | None = Field(None, title="Percentages by year (method: table)")


class EarlierUse(Frozen):
    """An earlier time in which this owner had the machine in use."""

    began: Day = Field(title="Day it was first put to use then")
    ended: Day = Field(title="Day it was sold then")


class Casualty(Frozen):
    """Damage that changed the basis of an item: from that year on no table is used for it."""

    on: Day = Field(title="Day it happened")
    lowered: Money = Field(title="Loss that was deducted, and what insurance paid")
    restored: Money | None = Field(None, title="What was spent to restore it and went into its basis")


class Asset(Method):
    """One cost item with its date and its elections; a machine has several."""

    cost: Money = Field(title="Cost, everything in")
    in_service: Day = Field(title="Day it was ready and first used")
    contract: Day | None = Field(None, title="Day a binding contract was signed")
    expensed: bool = Field(False, title="Deducted at once as a small item (de minimis)")
    section_179: Money | Literal["all", "none"] = Field("none", title="Section 179 deduction elected")
    section_179_state: Money | Literal["all", "none"] | None = Field(
        None, title="Section 179 deduction elected for the state alone, where it is not the federal one"
    )
    section_179_used: dict[str, Money] = Field(
        default_factory=dict, title="What each owner could use of it, where not all"
    )
    bonus: Literal["by law", "elected out", "reduced"] | Share = Field(
        "by law",
        title="Bonus depreciation",
        description="reduced: the lower rate that could be elected for the first year of a new law",
    )
    depreciation_claimed: Money | None = Field(
        None, title="Depreciation claimed on it so far, if less than the law allowed"
    )
    deductions_taken_by: dict[str, Share] = Field(
        default_factory=dict, title="Shares in which the owners took its deductions so far, where not as they share now"
    )
    business_use: Share | None = Field(None, title="Share of its use that is business; left out: all of it")
    business_use_later: Share | None = Field(None, title="Share of business use from a later year on")
    business_use_changes: Day | None = Field(None, title="Day from which the later share holds")
    casualty: Casualty | None = Field(None, title="Damage that changed its basis")
    bought_used: bool = Field(False, title="It was used before you bought it")
    owned_before: EarlierUse | None = Field(
        None, title="When you had it in use before, if you buy it back", description="most such machines get no bonus"
    )
    asset_class: str = Field("34.0", title="Asset class of the activity")
