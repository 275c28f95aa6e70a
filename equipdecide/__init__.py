"""Keep, upgrade, sell or replace a machine tool: the after-tax answer, what flips it, and a page for partners.

    import equipdecide as ed

    s = ed.load("scenarios/first_sale.yaml")     # a frozen scenario; all faults of the file at once
    s = ed.ask()                                 # or fifteen questions, answered under the cell
    ed.form("form.xlsx")                         # fifteen questions as a workbook to fill in; ed.load reads it
    c = ed.compare(s)                            # every alternative: worth, cash, gates; c["keep"] is one
    c["sell and replace"] - c["keep"]            # their difference
    ed.sale(s, on="2026-10-09")                  # settlement, gain, tax and cash, by route
    ed.hours(s)                                  # staffed and night hours, profit per spindle hour
    ed.times(s)                                  # where the shifts went: time elements, each share with what it is over
    ed.market_value(s)                           # what it may bring: a band, each curve named for what it shows
    ed.news(s)                                   # each yes/no event: both answers, weighed; what knowing is worth
    ed.breakeven(s)                              # every input, by how near its flip is
    ed.explain(c["keep"], "worth.npv")           # where a figure comes from, one level at a time
    ed.papers(s, "sell and replace")             # lines of the tax forms; elections with their last days
    ed.brief(c, "brief.html")                    # the page for partners
    ed.knobs(c)                                  # in a notebook: sliders for what lies nearest to its flip
    ed.record(c, "sell and replace", ["Perrin"])  # what was decided, with the law as it stood; ed.rerun years later
    ed.after(c, "sell and replace")              # what to do, who, by when; ed.calendar_file for a calendar
    ed.look_back(c, "actuals.yaml")              # planned against actual
    ed.workbook(c, "book.xlsx")                  # one course beside Keep in live formulas, for the accountant

Estimates for a decision, not tax, legal, lending or safety advice; local codes and licensed practice come first.
"""

from __future__ import annotations

import importlib
import sys
from types import ModuleType
from typing import TYPE_CHECKING, Any

from equipdecide.asked import asked_of
from equipdecide.version import VERSION

__version__ = VERSION

# Loaded on first use, so that `import equipdecide` and the command line's --help stay quick.
_VERBS = {
    "load": "equipdecide.scenario",
    "loads": "equipdecide.scenario",
    "ScenarioError": "equipdecide.scenario",
    "news": "equipdecide.decide.news",
    "noise": "equipdecide.decide.noise",
    "mix": "equipdecide.decide.mix",
    "weigh": "equipdecide.decide.criteria",
    "evaluate": "equipdecide.evaluate",
    "compare": "equipdecide.decide.compare",
    "sale": "equipdecide.decide.sale",
    "papers": "equipdecide.decide.papers",
    "hours": "equipdecide.decide.hours",
    "times": "equipdecide.decide.times",
    "market_value": "equipdecide.decide.market_value",
    "explain": "equipdecide.views.explain",
    "breakeven": "equipdecide.decide.breakeven",
    "nothing_extra_sold": "equipdecide.decide.breakeven",
    "extra_hours_needed": "equipdecide.decide.breakeven",
    "simulate": "equipdecide.decide.simulate",
    "brief": "equipdecide.views.brief",
    "workbook": "equipdecide.views.workbook",
    "tornado": "equipdecide.decide.sensitivity",
    "curve": "equipdecide.decide.sensitivity",
    "two_way": "equipdecide.decide.sensitivity",
    "indices": "equipdecide.decide.sensitivity",
    "service_life": "equipdecide.decide.service_life",
    "replace_when": "equipdecide.decide.renewal",
    "sell_when": "equipdecide.decide.sell_when",
    "wait": "equipdecide.decide.waiting",
    "whose": "equipdecide.decide.whose",
    "record": "equipdecide.after.record",
    "rerun": "equipdecide.after.rerun",
    "after": "equipdecide.after.todo",
    "look_back": "equipdecide.after.look_back",
    "record_page": "equipdecide.views.record_page",
    "todo_page": "equipdecide.views.todo_page",
    "calendar_file": "equipdecide.views.calendar_file",
    "routes": "equipdecide.decide.routes",
    "money": "equipdecide.decide.money",
    "cash_calendar": "equipdecide.decide.cash_calendar",
    "lender": "equipdecide.decide.lender",
    "ask": "equipdecide.scenario.asking.dialogue",
    "form": "equipdecide.scenario.form.book",
    "slides": "equipdecide.views.slides",
    "knobs": "equipdecide.views.knobs",
}

if TYPE_CHECKING:
    from equipdecide.after.look_back import look_back
    from equipdecide.after.record import record
    from equipdecide.after.rerun import rerun
    from equipdecide.after.todo import after
    from equipdecide.decide.breakeven import breakeven, extra_hours_needed, nothing_extra_sold
    from equipdecide.decide.cash_calendar import cash_calendar
    from equipdecide.decide.compare import compare
    from equipdecide.decide.criteria import weigh
    from equipdecide.decide.hours import hours
    from equipdecide.decide.lender import lender
    from equipdecide.decide.market_value import market_value
    from equipdecide.decide.mix import mix
    from equipdecide.decide.money import money
    from equipdecide.decide.news import news
    from equipdecide.decide.noise import noise
    from equipdecide.decide.papers import papers
    from equipdecide.decide.renewal import replace_when
    from equipdecide.decide.routes import routes
    from equipdecide.decide.sale import sale
    from equipdecide.decide.sell_when import sell_when
    from equipdecide.decide.sensitivity import curve, indices, tornado, two_way
    from equipdecide.decide.service_life import service_life
    from equipdecide.decide.simulate import simulate
    from equipdecide.decide.times import times
    from equipdecide.decide.waiting import wait
    from equipdecide.decide.whose import whose
    from equipdecide.evaluate import evaluate
    from equipdecide.scenario import ScenarioError, load, loads
    from equipdecide.scenario.asking.dialogue import ask
    from equipdecide.scenario.form.book import form
    from equipdecide.views.brief import brief
    from equipdecide.views.calendar_file import calendar_file
    from equipdecide.views.explain import explain
    from equipdecide.views.knobs import knobs
    from equipdecide.views.record_page import record_page
    from equipdecide.views.slides import slides
    from equipdecide.views.todo_page import todo_page
    from equipdecide.views.workbook import workbook

__all__ = [
    "ScenarioError",
    "after",
    "ask",
    "breakeven",
    "brief",
    "calendar_file",
    "cash_calendar",
    "compare",
    "curve",
    "evaluate",
    "explain",
    "extra_hours_needed",
    "form",
    "hours",
    "indices",
    "knobs",
    "lender",
    "load",
    "loads",
    "look_back",
    "market_value",
    "mix",
    "money",
    "news",
    "noise",
    "nothing_extra_sold",
    "record",
    "record_page",
    "replace_when",
    "rerun",
    "routes",
    "papers",
    "sale",
    "sell_when",
    "service_life",
    "simulate",
    "slides",
    "times",
    "todo_page",
    "tornado",
    "two_way",
    "wait",
    "weigh",
    "whose",
    "workbook",
]


def __getattr__(name: str) -> Any:
    if name in _VERBS:
        if _VERBS[name].startswith("equipdecide.decide."):
            # so that results show themselves
            for view in (
                "table", "sale_table", "hours_table", "flip_list", "beside", "risk", "service_life", "sell_when",
                "renewal", "waiting", "whose", "lending", "market_value", "papers", "times",
            ):  # fmt: skip
                importlib.import_module(f"equipdecide.views.{view}")
        if _VERBS[name].startswith("equipdecide.after."):
            for view in ("record_page", "todo_page", "look_back_page"):
                importlib.import_module(f"equipdecide.views.{view}")
        return asked_of(getattr(importlib.import_module(_VERBS[name]), name))
    raise AttributeError(f"equipdecide has no {name!r}; it has {', '.join(sorted(_VERBS))}")


class _Package(ModuleType):
    """The package as a module whose verbs stay verbs: importing `equipdecide.evaluate` does not hide `evaluate`."""

    def __setattr__(self, name: str, value: object) -> None:
        if not (name in _VERBS and isinstance(value, ModuleType)):  # the import system sets each submodule here
            super().__setattr__(name, value)


sys.modules[__name__].__class__ = _Package


def __dir__() -> list[str]:
    return sorted([*globals(), *_VERBS])
