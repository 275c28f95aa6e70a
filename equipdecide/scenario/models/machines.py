"""Machines owned or to be bought, and what could be fitted to them."""

from typing import Literal

from pydantic import Field

from equipdecide.scenario.amounts import (
    Day,
    Days,
    Decibels,
    HourRate,
    Hours,
    Money,
    MoneyOrLoss,
    MoneyPerYear,
    Multiple,
    Rate,
    Share,
    Weeks,
)
from equipdecide.scenario.models.assets import Asset, EarlierUse, Method
from equipdecide.scenario.models.base import Frozen
from equipdecide.scenario.models.business import OwnBooks
from equipdecide.scenario.models.loans import Loan
from equipdecide.scenario.models.running import Crashes, NightChanges, Ramp, Running, Times, Upkeep


class Market(Frozen):
    """What is known of the market for a used machine, for the band of `equipdecide value`."""

    bare_price: Money | None = Field(None, title="Price it had new, without freight and installation")
    made: Day | None = Field(None, title="Day it was new, where not that of its first asset")
    new_price: Money | None = Field(None, title="Price today of an equivalent new machine")
    hours_a_year: HourRate | None = Field(None, title="Hours it has run a year, by its meter")
    factor: Multiple | None = Field(None, title="Today's market against a usual one, as you judge it")
    as_of: Day | None = Field(None, title="Day of that judgement; left out: the day of decision")
    comparables: str | None = Field(
        None,
        title="CSV file of machines like it, asked for or sold",
        description="columns date, price, kind, new_price, age_years, hours_a_year, what",
    )


class Machine(Frozen):
    """A machine owned, or one that could be bought."""

    what: str = Field(title="What it is, in a few words")
    assets: dict[str, Asset] = Field(default_factory=dict, title="What was paid for it, item by item (owned machines)")
    loans: dict[str, Loan] = Field(default_factory=dict, title="What is owed on it")
    running: Running | None = Field(None, title="Hours it runs in a year")
    upkeep: Upkeep | None = Field(None, title="Repairs and service")
    market: Market | None = Field(None, title="What is known of its market")
    times: Times | None = Field(None, title="Files of its shifts and stops, to see where its hours went")
    costs: dict[str, MoneyPerYear] = Field(default_factory=dict, title="Other yearly costs of having it")
    earnings: dict[str, MoneyPerYear] = Field(
        default_factory=dict, title="Yearly earnings or savings where hours are not modelled"
    )
    earnings_by_year: list[MoneyOrLoss] | None = Field(None, title="Earnings year by year")
    costs_by_year: list[MoneyOrLoss] | None = Field(None, title="Costs year by year")
    worth_now: Money | None = Field(None, title="What it would bring today")
    worth_at_end: MoneyOrLoss | None = Field(None, title="What it will bring at the end of the study")
    falls_first_year: Share | None = Field(None, title="Fall of its liquidation value in the first year, of the price")
    falls_yearly: Share | None = Field(None, title="Fall of its liquidation value in every later year")
    price: Money | None = Field(None, title="Quoted cash price")
    capital_costs: dict[str, Money] = Field(
        default_factory=dict, title="Costs that go with it into its basis (freight, rigging, power)"
    )
    expenses: dict[str, Money] = Field(
        default_factory=dict, title="Costs of the change that are deducted at once (training, programs)"
    )
    lead: Weeks | None = Field(None, title="Weeks from order to acceptance")
    down_days: Days | None = Field(None, title="Days without this work while it is changed over")
    ramp_loss: Hours | None = Field(None, title="Good hours lost while learning")
    ramp: Ramp | None = Field(None, title="... or how the first batches come to the standard time")
    terms: dict[Literal["order", "shipment", "acceptance"], Share] = Field(
        default_factory=dict, title="When the price is paid; left out: all on acceptance"
    )
    bought_used: bool = Field(False, title="It was used before you bought it")
    owned_before: EarlierUse | None = Field(
        None, title="When you had it in use before, if you buy it back", description="most such machines get no bonus"
    )
    asset_class: str = Field("34.0", title="Asset class of the activity")
    sales_tax: Rate | None = Field(
        None, title="Sales or use tax on its price, where it is not exempt", description="part of its cost for tax"
    )
    seller_related: bool = Field(
        False, title="Is its seller family, or a business of which the owners own more than half?"
    )
    depreciation: Method | None = Field(None, title="Depreciation method when bought, if not by law")
    own_books: OwnBooks | None = Field(None, title="Depreciation in the shop's own books")
    noise: Decibels | None = Field(None, title="Noise at the operator while cutting [dBA]")
    noise_declared: Decibels | None = Field(
        None,
        title="Noise declared by the builder [dBA]",
        description="measured without cutting: it is not compared with the other",
    )


class Changes(Frozen):
    """What an improvement changes; left out: as it was."""

    staffed_hours: HourRate | None = Field(
        None, title="Hours a year with people present", description="a second shift, a Saturday"
    )
    cutting_share: Share | None = Field(None, title="Share of the staffed hours it cuts")
    cycle_factor: Multiple | None = Field(None, title="Time a part takes, as a multiple of the standard time")
    good_share: Share | None = Field(None, title="Good parts, as a share of parts made")
    nights: NightChanges | None = Field(None, title="What changes in the hours it runs alone")
    crashes: Crashes | None = Field(None, title="Crashes a year from then on, what one costs, how long it stands")
    ends_causes: dict[str, Share] = Field(
        default_factory=dict,
        title="Share of the logged stops it ends, by reason",
        description="reasons as they stand in the log of evenings; the mean time between stops follows",
    )
    upkeep: Upkeep | None = Field(None, title="Repairs and service")
    worth_at_end: MoneyOrLoss | None = Field(None, title="What the machine will bring at the end of the study")
    noise: Decibels | None = Field(None, title="Noise at the operator while cutting [dBA]")
    earnings: dict[str, MoneyPerYear] = Field(default_factory=dict, title="Yearly earnings or savings it adds")
    costs: dict[str, MoneyPerYear] = Field(default_factory=dict, title="Yearly costs it adds")


class Improvement(Frozen):
    """An upgrade, retrofit, rebuild or add-on."""

    what: str = Field(title="What it is, in a few words")
    machine: str = Field(title="Name of the machine it is fitted to")
    capital_costs: dict[str, Money] = Field(default_factory=dict, title="Costs that go into its basis")
    expenses: dict[str, Money] = Field(default_factory=dict, title="Costs that are deducted at once")
    lead: Weeks | None = Field(None, title="Weeks from order until it can be fitted")
    down_days: Days | None = Field(None, title="Days without this work while it is fitted")
    ramp_loss: Hours | None = Field(None, title="Good hours lost while learning")
    ramp: Ramp | None = Field(None, title="... or how the first batches come to the standard time")
    changes: Changes = Field(title="What it changes")
