"""What is weighed beside the money, and what is doubtful."""

from typing import Literal

from pydantic import Field

from equipdecide.scenario.amounts import Decibels, Factor, Hours, Money
from equipdecide.scenario.models.base import Frozen


class Exposure(Frozen):
    """A piece of one person's working day, for the noise of it: at a machine, or at a level of its own."""

    hours: Hours = Field(title="Hours a day")
    level: Decibels | None = Field(None, title="Noise at the ear [dBA]")
    machine: str | None = Field(
        None,
        title="... or the machine whose noise it is",
        description="a machine in question stands for what does its work in each course",
    )


class Quieter(Frozen):
    """What would quieten a piece of the working day, such as another nozzle or a hood."""

    piece: str = Field(title="Piece of the working day that it quietens")
    level: Decibels = Field(title="Noise at the ear with it [dBA]")
    price: Money = Field(title="What it costs, fitted")


class Criterion(Frozen):
    """Something that is not money and may be weighed: its range, what each course has of it, each partner's weight."""

    worst: Factor = Field(
        title="Worst value that could be had", description="below the best, or above it where less is better"
    )
    best: Factor = Field(title="Best value that could be had")
    values: dict[str, Factor] = Field(title="Value of each course, by its name")
    weights: dict[str, Factor] = Field(
        default_factory=dict,
        title="What the swing from worst to best is worth to each partner",
        description="any scale; left out: all criteria count alike",
    )


class Doubt(Frozen):
    """How an input with a range is drawn, or how two of them go together; left out: PERT, each on its own."""

    of: list[str] = Field(
        min_length=1,
        max_length=2,
        title="Input by its path; two for a correlation",
        description="names with full stops between: machines.MC-1.upkeep.growth",
    )
    shape: Literal["PERT", "triangular", "uniform", "normal", "lognormal", "logged"] | None = Field(
        None,
        title="Shape of the doubt",
        description="normal and lognormal: low and high are the points with 5 % below and 5 % above",
    )
    log: str | None = Field(None, title="CSV file of one column with values seen, written as here (shape: logged)")
    correlation: float | None = Field(
        None, ge=-1, le=1, title="Correlation of the two, from -1 to 1", description="of their normal scores"
    )


class Guess(Frozen):
    """One input as one partner sees it."""

    of: str = Field(title="Input by its path", description="names with full stops between: machines.MC-1.upkeep.growth")
    value: str = Field(title="What this partner believes it is, in the input's unit")
