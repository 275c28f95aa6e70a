"""The month to sell in: a course moved month by month, the whole order run again each time.

So the loan falls, upkeep grows and tax years turn as they do.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from equipdecide.calendar import Date
from equipdecide.decide.put_off import fallen_prices, keep_end, machine_asked, move, tested_course, with_offer
from equipdecide.evaluate import evaluate
from equipdecide.parameters import Law
from equipdecide.scenario.models import Scenario, Sell, Step
from equipdecide.showing import Shown

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class Month:
    """A course moved by a number of months. Money in the scenario's currency."""

    months: int
    sold_on: Date
    price: float
    payoff: float
    net_cash: float  # from the sale, after selling costs and the lender, before tax
    npv: float
    npv_less_keep: float
    affordable: bool | None  # cash above the floor and every gate passed; None where cash or floor is not given


@dataclass(frozen=True, repr=False)
class SellWhen(Shown):
    """One course now and in each of the months after."""

    machine: str
    alternative: str
    months: tuple[Month, ...]

    @property
    def best(self) -> Month:
        """The month of highest present worth."""
        return max(self.months, key=lambda month: month.npv)

    def to_json(self) -> dict[str, object]:
        """Return plain data with fixed keys: keys are added, never renamed."""
        return {
            "machine": self.machine,
            "alternative": self.alternative,
            "best_months": self.best.months,
            "months": self._rows(),
        }

    def to_frame(self) -> pd.DataFrame:
        """Return a tidy pandas frame, one row a month; money in columns that end in `_usd`."""
        import pandas as pd

        money = ("price", "payoff", "net_cash", "npv", "npv_less_keep")
        return pd.DataFrame(self._rows()).rename(columns={name: f"{name}_usd" for name in money})

    def _rows(self) -> list[dict[str, object]]:
        return [
            {
                "months": m.months,
                "sold_on": m.sold_on.isoformat(),
                "price": m.price,
                "payoff": m.payoff,
                "net_cash": m.net_cash,
                "npv": m.npv,
                "npv_less_keep": m.npv_less_keep,
                "affordable": m.affordable,
            }
            for m in self.months
        ]


def sell_when(
    scenario: Scenario,
    alternative: str | None = None,
    machine: str | None = None,
    months: int = 24,
    law: Law | None = None,
) -> SellWhen:
    """Return selling `machine` now and in each of the next `months` months.

    With `alternative`, all steps of that course are moved together (sell and replace later); without, the machine is
    sold alone, from the day of decision. The price falls with the months; months that end after the study are left
    out. Raises KeyError for unknown names or where the course does not sell the machine.
    """
    machine = machine_asked(scenario, machine)
    if alternative is None:
        scenario, offer = with_offer(scenario, machine)
        step = Sell.model_validate({"do": "sell", "machine": machine, "by": offer, "on": scenario.decision_date})
        steps: Sequence[Step] = [step]
    else:
        if alternative not in scenario.alternatives:
            raise KeyError(f"no alternative {alternative!r}; there are {', '.join(scenario.alternatives)}")
        steps = scenario.alternatives[alternative]
    selling = [step for step in steps if isinstance(step, Sell) and step.machine == machine]
    if not selling:
        raise KeyError(f"{alternative!r} does not sell {machine!r}")
    name = alternative or "sell"
    keep = evaluate(scenario, only=["keep"], law=law)["keep"].column("worth.npv").figure()
    rows = []
    for k in range(months + 1):
        moved = [move(step, k) for step in steps]
        if any(step.on >= keep_end(scenario) for step in moved):
            break
        prices = fallen_prices(scenario, steps, k)
        later = scenario.model_copy(update={"alternatives": {"keep": [], name: moved}})
        there = evaluate(later, prices, [name], law)
        worth, passing = tested_course(there, name)
        settled = there[name].workings[f"settlement {machine}"]
        sold = next(sale for sale in there.plans[name].sales if sale.machine == machine)
        rows.append(
            Month(
                k,
                sold.sold_on,
                settled["gross"].figure(),
                settled["payoff"].figure() + settled["release"].figure(),
                settled["net_cash"].figure(),
                worth,
                worth - keep,
                passing,
            )
        )
    if not rows:
        raise ValueError(f"{name!r} ends after the study already: lengthen the study, or take another course.")
    return SellWhen(machine, name, tuple(rows))
