"""Ways to sell a machine."""

from typing import Literal

from pydantic import Field

from equipdecide.scenario.amounts import Day, Days, Money, MoneyPerMonth, Rate, Share, YesNo
from equipdecide.scenario.models.base import Frozen

Route = Literal["outright", "consignment", "trade-in", "auction", "private sale"]


class PaidOver(Frozen):
    """A buyer who pays part of the price later, in equal parts, with interest on what is owed."""

    deferred: Share = Field(title="Part of the price paid later")
    payments: int = Field(ge=1, le=120, title="Number of later payments")
    every_months: int = Field(12, ge=1, le=12, title="Months from one to the next")
    rate: Rate | None = Field(None, title="Interest the buyer pays a year")


class PriceStep(Frozen):
    """A cut of the list price of a consignment that the agreement foresees."""

    after: int = Field(ge=1, le=3660, title="Days from handing over after which it falls")
    off: Share = Field(title="Share by which it then falls")


class Offer(Frozen):
    """A way to sell a machine: an offer letter, or what an adviser expects."""

    machine: str = Field(title="Name of the machine")
    route: Route = Field(title="How it is sold")
    price: Money = Field(title="Price, allowance or hammer price")
    commission: Share | None = Field(None, title="Commission, as a share of the price")
    commission_minimum: Money | None = Field(None, title="Least commission")
    costs: dict[str, Money] = Field(default_factory=dict, title="Costs of selling you carry")
    monthly_costs: dict[str, MoneyPerMonth] = Field(default_factory=dict, title="Costs a month until it is sold")
    days_to_sale: Days | None = Field(None, title="Days until it is sold")
    list_price: Money | None = Field(None, title="List price at which it is offered")
    price_steps: list[PriceStep] = Field(
        default_factory=list, title="Cuts of the list price that are agreed", description="shown; the price stays yours"
    )
    exclusive_days: int | None = Field(
        None, ge=1, le=3660, title="Days from handing over in which nobody else may sell it"
    )
    paid_after: Days | None = Field(None, title="Days from sale to money")
    unsold: YesNo | None = Field(None, title="Chance that it does not sell")
    if_unsold: str | None = Field(None, title="The offer taken then")
    against: str | None = Field(None, title="The machine bought in trade")
    price_with_trade: Money | None = Field(None, title="Price of that machine when traded")
    pays_lender: bool = Field(True, title="The buyer or reseller pays the lender first")
    credited_to: str | None = Field(None, title="Machine whose order is credited with what is left")
    credit_lost: YesNo | None = Field(None, title="Chance that a credit is never paid out")
    paid_over: PaidOver | None = Field(None, title="The buyer pays over time")
    divided: dict[str, Money] = Field(
        default_factory=dict, title="How the contract divides the price over the items sold; left out: by their cost"
    )
    buyer_related: bool = Field(
        False, title="Is the buyer family, or a business of which the sellers own more than half?"
    )
    buyer_is_family: bool = Field(
        False,
        title="Is the related buyer family, not a business?",
        description="a loss does not count either way; gain above cost is ordinary only on a sale to a business of one's own",
    )
    written: Day | None = Field(None, title="Day of the offer")
    valid_days: int | None = Field(None, ge=1, le=3660, title="Days the offer stands from the day it was written")
