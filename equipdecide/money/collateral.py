"""What a lender holds: the liquidation value of each machine against what is owed on it, year by year.

Orderly liquidation value falls by one share of the price in the first year and by another every year after: 18 % and
10 % where none is entered, from opinions of appraisers (15 to 20 %, then 8 to 12 %), not data. Freight, wiring, holders
and fixtures do not come back and are not in it. A machine owned falls by the yearly share from what it would bring now.
"""

from __future__ import annotations

from equipdecide import calendar as cal
from equipdecide.calendar import Axis
from equipdecide.ledger import Column, Draft, Origin, Working, sum_of
from equipdecide.money.financing import owed_on
from equipdecide.plan import Debt, Plan
from equipdecide.scenario.amounts import Amount

FALLS_FIRST_YEAR, FALLS_YEARLY = 0.18, 0.10  # opinions of appraisers, no data
OPINION = Origin(
    "choice", "falls of value", "opinions of appraisers: 15 to 20 % in the first year, then 8 to 12 %", "assumption"
)


def collateral(draft: Draft, plan: Plan) -> None:
    """Post working ``collateral <machine>`` for every machine that is owed on: ``value, owed, cover`` by year
    [currency].

    Years are counted from the day the machine is paid for (from the decision, for a machine owned) to the last debt on
    it.
    """
    if plan.time.yearly:
        return
    for machine in dict.fromkeys(debt.machine for debt in plan.debts):
        debts = [debt for debt in plan.debts if debt.machine == machine and debt.ends_on > plan.time.start]
        if debts:
            _machine(draft, plan, machine, debts)


def _machine(draft: Draft, plan: Plan, machine: str, debts: list[Debt]) -> None:
    entry = plan.scenario.machines[machine]
    bought = next((p for p in plan.purchases if p.name == machine == p.machine), None)
    since = bought.drawn_on if bought is not None else plan.time.start
    offers = [offer.price for offer in plan.scenario.offers.values() if offer.machine == machine]
    now = entry.price if bought is not None else entry.worth_now or next(iter(offers), None)
    if now is None:
        return
    until = max(debt.ends_on for debt in debts)
    count = max((until.year - since.year) * 12 + until.month - since.month - (until.day < since.day), 0) // 12
    if not count:
        return
    days = [cal.add_years(since, k + 1) for k in range(count)]
    axis = Axis("year owed", tuple(str(k + 1) for k in range(count)), tuple(days), tuple(days))
    w = draft.working(f"collateral {machine}", axis, f"{machine} against what is owed on it", "collateral")
    later = _fall(draft, w, "falls_yearly", FALLS_YEARLY, entry.falls_yearly, "fall in every later year")
    w.given(
        "year", [k + 1 for k in range(count)], "year", f"years from {since}", Origin("calendar", "anniversaries"), axis
    )
    if bought is not None:
        first = _fall(draft, w, "falls_first_year", FALLS_FIRST_YEAR, entry.falls_first_year, "fall in the first year")
        text, uses = (
            "price * (1 - first) * (1 - later) ** (year - 1)",
            {"price": draft.input(now), "first": first, "later": later},
        )
    else:
        text, uses = "now * (1 - later) ** year", {"now": draft.input(now), "later": later}
    w.formula("value", text, "USD", "orderly liquidation value", None, **uses)
    owed = [owed_on(draft, plan, w, debt, k, days) for k, debt in enumerate(debts)]
    sum_of(w, "owed", owed, "USD", "owed on it")
    w.formula("cover", "value - owed", "USD", "value less what is owed; below zero the lender is not covered")


def _fall(draft: Draft, w: Working, name: str, usual: float, entered: Amount | None, says: str) -> Column:
    return draft.input(entered) if entered is not None else w.given(name, usual, "1", says, OPINION)
