"""What is made and sold."""

from pydantic import Field

from equipdecide.scenario.amounts import Count, Day, HourRate, Minutes, Money, MoneyPerHour, Multiple, YesNo
from equipdecide.scenario.models.base import Frozen


class FallingShort(Frozen):
    """What happens when a part that must ship is not made here."""

    cost_factor: Multiple | None = Field(
        None, title="Price of a piece bought outside, as a multiple of its material, outside work and tooling"
    )
    hour: MoneyPerHour | None = Field(None, title="Charge an hour of machine time for a piece bought outside")
    penalty: Money | None = Field(None, title="Penalty for each piece not shipped")


class Part(Frozen):
    """Something the machine makes, by the piece, or plain hours that can be sold."""

    price: Money | None = Field(
        None, title="Price of one piece", description="of a part the shop itself uses: what one costs bought outside"
    )
    material: Money | None = Field(None, title="Material of one piece")
    outside_work: Money | None = Field(None, title="Work bought outside for one piece")
    tooling: Money | None = Field(None, title="Tools used up by one piece")
    minutes: Minutes | None = Field(None, title="Minutes of the machine in question for one piece")
    elsewhere: dict[str, Minutes] = Field(
        default_factory=dict,
        title="Minutes of other stations for one piece",
        description="by the names of `other_limits:` of the shop; an hour for work sold by the hour",
    )
    demand: Count | None = Field(None, title="Pieces a year that can be sold")
    must_ship: Count | None = Field(None, title="Pieces a year that must be shipped")
    last_year: Count | None = Field(None, title="Pieces shipped last year")
    falling_short: FallingShort | None = Field(None, title="What a piece costs that must ship and is not made")
    hours: HourRate | None = Field(None, title="Hours a year that can be sold")
    contribution_per_hour: MoneyPerHour | None = Field(
        None, title="What is left of an hour's price after what it truly costs"
    )
    ends: Day | None = Field(None, title="Day the contract ends")
    renews: YesNo | None = Field(None, title="Chance that it is renewed")
