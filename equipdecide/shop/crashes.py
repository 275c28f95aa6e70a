"""Crashes as a rate: what they cost a year on average, and the working days a machine then stands.

A count over years is taken as a rate, count over years, as for stops at random; its interval is that of
:func:`equipdecide.shop.nights.mean_between_stops`, in years in place of hours. An average is no year that will be: most
years have no crash, and the one that has costs all of it.
"""

from __future__ import annotations

from equipdecide.ledger import Draft, Working
from equipdecide.plan import Setup
from equipdecide.scenario.amounts import decimal_text
from equipdecide.scenario.models import Crashes
from equipdecide.shop.nights import mean_between_stops


def crashes(draft: Draft, setup: Setup) -> Working | None:
    """Post once what crashes of a setup cost: ``a_year`` [1/year], ``cost_a_year`` [currency/year], ``down_days``
    [day/year].

    None where none are entered.
    """
    entry = setup.running.crashes if setup.running is not None else None
    if entry is None:
        return None
    name = f"crashes of {setup.name}"
    if name in draft:
        return draft[name]
    w = draft.common.working(name, says=f"crashes of {setup.name} a year, on average", rule="crashes")
    if entry.a_year is not None:
        w.formula("a_year", "rate", "1/year", "crashes a year", rate=draft.input(entry.a_year))
    else:
        assert entry.count is not None and entry.over_years is not None  # the checks of a scenario ask for them
        w.formula(
            "a_year",
            "count / max(over_years, 0.01)",
            "1/year",
            "crashes counted over the years they were counted in",
            count=draft.input(entry.count),
            over_years=draft.input(entry.over_years),
        )
        _say_how_sure(draft, setup, entry)
    w.formula(
        "cost_a_year",
        "a_year * cost",
        "USD/year",
        "repairs after crashes a year, on average",
        cost=draft.input(entry.cost),
    )
    days = draft.input(entry.days) if entry.days is not None else 0.0
    w.formula("down_days", "a_year * days", "day/year", "working days a year it stands after a crash", days=days)
    return w


def _say_how_sure(draft: Draft, setup: Setup, entry: Crashes) -> None:
    """Say the interval of a rate that was counted; with no crash, the bound, since none so far is not none ever."""
    assert entry.count is not None and entry.over_years is not None
    count, years = round(float(entry.count)), float(entry.over_years)
    found = mean_between_stops(years, count)
    begun = f"{setup.machine}: {count} crash{'' if count == 1 else 'es'} in {decimal_text(years)} years"
    if found.high is None:
        text = f"{begun}, taken as none a year; up to {1 / found.low:.2f} a year would fit such a run of years (95 %)."
    else:
        text = (
            f"{begun}, {count / years:.2f} a year on average (95 % interval {1 / found.high:.2f} to "
            f"{1 / found.low:.2f})."
        )
    if not any(one.text == text for one in draft.shared.findings):  # one count, several setups: said once
        draft.common.find("crash_rate", text, entry.count.path)
