"""Commands that ask one verb one question: what each takes, what it figures, how the result is written and drawn.

The command line reads this table. Modules are named, not imported, so that help answers at once.
"""

from __future__ import annotations

import importlib
from argparse import Namespace
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from equipdecide.scenario import Scenario

MOST_TRIALS = 262_144  # what a small computer holds in memory
Option = tuple[tuple[str, ...], dict[str, Any]]


@dataclass(frozen=True)
class Answer:
    """One command: `figure` makes the result of a scenario; `view` and `chart` name a function as ``module:function``.

    `full` tells that the view takes a flag to leave nothing out.
    """

    says: str
    figure: Callable[[Scenario, Namespace], Any]
    view: str
    chart: str = ""
    options: tuple[Option, ...] = ()
    full: bool = False

    def text(self, result: Any, args: Namespace) -> str:
        """Return the result as text."""
        made = _named(self.view)(result, args.width, args.full) if self.full else _named(self.view)(result, args.width)
        return str(made)

    def draw(self, result: Any, path: Path) -> None:
        """Draw the result to a file, PNG or SVG by its ending. Raises OSError where it cannot be written."""
        import matplotlib as mpl

        mpl.use("Agg")  # draw to a file, whatever screen there is
        from matplotlib import pyplot as plt

        from equipdecide.views import charts

        ax = _named(self.chart)(result)
        if path.suffix.lower() == ".svg":
            path.write_text(charts.svg(ax) + "\n", encoding="utf-8", newline="\n")
        else:
            with charts.style():
                ax.figure.savefig(path, dpi=150, metadata={"Software": None})
        plt.close(ax.figure)


def _named(name: str) -> Callable[..., Any]:
    module, _, function = name.partition(":")
    found: Callable[..., Any] = getattr(importlib.import_module(f"equipdecide.{module}"), function)
    return found


def _plainly(verb: str) -> Callable[[Scenario, Namespace], Any]:
    """Return how to figure a verb that takes nothing but the scenario."""
    return lambda scenario, args: _named(verb)(scenario)


def _weigh(scenario: Scenario, args: Namespace) -> Any:
    return _named("decide.criteria:weigh")(_named("decide.compare:compare")(scenario))


def _simulate(scenario: Scenario, args: Namespace) -> Any:
    if args.trials > MOST_TRIALS:
        raise ValueError(f"--trials: {args.trials:,} is more than the {MOST_TRIALS:,} that are run at most.")
    return _named("decide.simulate:simulate")(scenario, args.trials, args.seed, stoppable=True)


def _tornado(scenario: Scenario, args: Namespace) -> Any:
    return _named("decide.sensitivity:tornado")(scenario, args.course, args.against or "keep")


def _map(scenario: Scenario, args: Namespace) -> Any:
    return _named("decide.sensitivity:two_way")(scenario, args.x, args.y, args.course, args.against or "keep")


def _sell_when(scenario: Scenario, args: Namespace) -> Any:
    if args.months < 0:
        raise ValueError(f"--months: {args.months} is less than 0.")
    return _named("decide.sell_when:sell_when")(scenario, args.course, args.machine, args.months)


def _service_life(scenario: Scenario, args: Namespace) -> Any:
    return _named("decide.service_life:service_life")(scenario, args.machine)


def _replace_when(scenario: Scenario, args: Namespace) -> Any:
    cheaper, better = args.cheaper / 100, args.better / 100
    return _named("decide.renewal:replace_when")(scenario, args.course, args.machine, cheaper, better)


def _wait(scenario: Scenario, args: Namespace) -> Any:
    return _named("decide.waiting:wait")(scenario, args.doubt, args.on, not args.ignoring_cash)


def _sale(scenario: Scenario, args: Namespace) -> Any:
    return _named("decide.sale:sale")(scenario, args.on, args.machine)


def _times(scenario: Scenario, args: Namespace) -> Any:
    return _named("decide.times:times")(scenario, args.machine)


def _value(scenario: Scenario, args: Namespace) -> Any:
    return _named("decide.market_value:market_value")(scenario, args.machine)


def _noise(scenario: Scenario, args: Namespace) -> Any:
    instead = {}
    for text in args.instead:
        piece, _, level = text.rpartition("=")
        try:
            instead[piece.strip()] = float(level)
        except ValueError:
            raise ValueError(
                f"--instead: '{text}' is no piece of the day with its level; write for example 'air gun=86'."
            ) from None
    return _named("decide.noise:noise")(scenario, instead)


def _routes(scenario: Scenario, args: Namespace) -> Any:
    return _named("decide.routes:routes")(scenario, args.on, args.machine)


def _calendar(scenario: Scenario, args: Namespace) -> Any:
    return _named("decide.cash_calendar:cash_calendar")(scenario, args.course)


def _lender(scenario: Scenario, args: Namespace) -> Any:
    definition = "BEFORE_DRAWINGS" if args.before_drawings else "AFTER_DRAWINGS"
    return _named("decide.lender:lender")(scenario, args.course, _named(f"decide.lender:{definition}"))


def _flag(name: str, says: str, metavar: str = "") -> Option:
    return (name,), {"help": says, **({"metavar": metavar} if metavar else {})}


def _number(name: str, default: int, says: str) -> Option:
    return (name,), {"type": int, "default": default, "metavar": "N", "help": f"{says} ({default})"}


def _percent(name: str, says: str) -> Option:
    return (name,), {"type": float, "default": 0.0, "metavar": "PERCENT", "help": f"{says} (0)"}


def _course(says: str) -> Option:
    return ("course",), {"nargs": "?", "metavar": "COURSE", "help": f"name of a course ({says} if left out)"}


_MACHINE = _flag("--machine", "machine, if not the one in question")
_AGAINST = _flag("--against", "the course it is set against (keep)", "COURSE")
_HANDED_OVER = _flag("--on", "day it is handed over, such as 2026-09-18", "DAY")

ANSWERS: dict[str, Answer] = {
    "hours": Answer(
        "hours staffed and alone, and what a spindle hour earns",
        _plainly("decide.hours:hours"),
        "views.hours_table:hours_text",
        "views.shop_charts:hours_chart",
    ),
    "times": Answer(
        "where the hours of a shift calendar went, from a log of stops: time elements and indicators",
        _times,
        "views.times:times_text",
        options=(_MACHINE,),
    ),
    "value": Answer(
        "what a machine may bring: public curves and your comparables as a band, beside the offers",
        _value,
        "views.market_value:market_value_text",
        options=(_MACHINE,),
    ),
    "mix": Answer(
        "what to make in a full year within every station's hours, and what one more hour is worth",
        _plainly("decide.mix:mix"),
        "views.beside:mix_text",
    ),
    "news": Answer(
        "each yes/no doubt: every course if yes, if no and on average, and what knowing is worth",
        _plainly("decide.news:news"),
        "views.beside:news_text",
    ),
    "weigh": Answer(
        "what is not money: gates, criteria weighed by each partner, and the rate of exchange",
        _weigh,
        "views.beside:weighing_text",
    ),
    "noise": Answer(
        "the noise of one person's day in each course, by three criteria",
        _noise,
        "views.beside:noise_text",
        options=(
            (
                ("--instead",),
                {
                    "action": "append",
                    "default": [],
                    "metavar": "PIECE=DBA",
                    "help": "try another level for a piece of the day first, such as 'air gun=86'; may be given again",
                },
            ),
        ),
    ),
    "simulate": Answer(
        "how sure: all doubts drawn together, chances, regret, and what is worth finding out first",
        _simulate,
        "views.risk:runs_text",
        "views.risk_charts:exceedance",
        (_number("--trials", 4096, "number of draws"), _number("--seed", 7, "the same seed gives the same figures")),
    ),
    "tornado": Answer(
        "how far each doubt alone moves the lead, the widest first",
        _tornado,
        "views.risk:tornado_text",
        "views.risk_charts:tornado",
        (_course("the leading one"), _AGAINST),
    ),
    "map": Answer(
        "the lead over two inputs at once, and the line where the answer flips",
        _map,
        "views.risk:map_text",
        "views.risk_charts:flip_map",
        (
            _course("the leading one"),
            _flag("--x", "input across, such as 'parts.P6 jobbing.hours'", "PATH"),
            _flag("--y", "input upwards, such as study.rate", "PATH"),
            _AGAINST,
        ),
    ),
    "whose": Answer(
        "the answer under each partner's own figures, and which difference decides",
        _plainly("decide.whose:whose"),
        "views.whose:whose_text",
    ),
    "service-life": Answer(
        "how many more years a machine is worth keeping, before and after tax",
        _service_life,
        "views.service_life:life_text",
        "views.timing_charts:economic_life",
        (_MACHINE,),
    ),
    "replace-when": Answer(
        "in which year to replace, as new machines get cheaper or better; before tax",
        _replace_when,
        "views.renewal:replace_when_text",
        "views.timing_charts:replace_when",
        (
            _course("the first that replaces the machine"),
            _MACHINE,
            _percent("--cheaper", "how much cheaper each year's new machine is than the last, in percent"),
            _percent("--better", "how much more each year's new machine earns over the one owned, in percent"),
        ),
    ),
    "sell-when": Answer(
        "selling now and in each month after: price, lender, cash, worth",
        _sell_when,
        "views.sell_when:sell_when_text",
        "views.timing_charts:sell_when",
        (_course("the machine is sold alone"), _MACHINE, _number("--months", 24, "months looked at")),
    ),
    "wait": Answer(
        "what waiting for the answer to a yes/no doubt is worth",
        _wait,
        "views.waiting:waiting_text",
        options=(
            _flag("--doubt", "the doubt, such as 'parts.P5 bracket.renews' (the first with a day if left out)", "PATH"),
            _flag("--on", "day the answer is known, such as 2027-07-01", "DAY"),
            (
                ("--ignoring-cash",),
                {"action": "store_true", "help": "choose from all courses, not only those that can be paid for"},
            ),
        ),
    ),
    "sale": Answer(
        "what a sale leaves by every offer: settlement, gain, tax, what is left",
        _sale,
        "views.sale_table:sale_text",
        "views.lending_charts:sale_offers",
        (
            _HANDED_OVER,
            _MACHINE,
            (("--full",), {"action": "store_true", "help": "leave nothing out of the lists below the table"}),
        ),
        full=True,
    ),
    "routes": Answer(
        "every way to sell the machine, side by side: net, expected, at worst, dated steps",
        _routes,
        "views.lending:routes_text",
        "views.lending_charts:routes",
        (_HANDED_OVER, _MACHINE),
    ),
    "money": Answer(
        "every offer of money, side by side: payments, yearly rate, worth after tax",
        _plainly("decide.money:money"),
        "views.lending:money_text",
        "views.lending_charts:money_offers",
    ),
    "calendar": Answer(
        "cash of one course by its dates: weeks to the first good part, then months",
        _calendar,
        "views.lending:calendar_text",
        "views.lending_charts:cash_dates",
        (
            _course("the first that buys a machine"),
            (("--full",), {"action": "store_true", "help": "leave no month and no entry out"}),
        ),
        full=True,
    ),
    "lender": Answer(
        "what a lender asks of one course: funds, coverage, collateral, debts, guarantees",
        _lender,
        "views.lending:lender_text",
        "views.lending_charts:coverage",
        (
            _course("the first that buys a machine"),
            (("--before-drawings",), {"action": "store_true", "help": "coverage before taxes and money drawn"}),
        ),
    ),
}
