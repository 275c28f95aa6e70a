"""What to do after a decision: a dated list made from the steps of the plan, the ledger's tax lines and sourced data.

The plan gives occasions (a sale, a payoff, a purchase, a tax date ...), each with its days and words;
``todo_data.yaml`` says which entries an occasion calls for. Steps that say ``done: yes`` tick what had to come before
them; what follows stays open and counts from the day entered.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import yaml

from equipdecide import calendar as cal
from equipdecide.calendar import Date
from equipdecide.decide.compare import Comparison
from equipdecide.decide.named import named
from equipdecide.decide.sale import STATE_WITH_RETURN
from equipdecide.evaluate import Evaluation
from equipdecide.ledger import Ledger
from equipdecide.plan import LEASES, Plan, Purchase, last_day
from equipdecide.scenario.models import Buy, Improve, Scenario, Sell
from equipdecide.showing import Shown
from equipdecide.tax.payments import due_dates

if TYPE_CHECKING:
    import pandas as pd

DATA = Path(__file__).with_name("todo_data.yaml")
MARKS = ("read", "memory", "common practice")
SAME = "same"  # what the data says of an entry that holds in every country
THROUGH_A_DEALER = ("consignment", "trade-in", "auction")
LIEN_YEARS = 5  # a filing lapses five years after it was made: UCC 9-515(a)
SMALL = 0.5  # a tax payment that differs by less than this is no entry [currency]


@dataclass(frozen=True)
class Rule:
    """One entry of the data: which occasions call for it, by when, and what it says."""

    id: str
    for_each: str
    by: Mapping[str, Any]
    who: str
    what: str
    why: str
    mark: str
    source: str = ""
    ask: str = ""
    elsewhere: str = ""
    only: tuple[str, ...] = ()
    done_with_step: bool = False

    def fits(self, occasion: Occasion) -> bool:
        """Tell whether the occasion calls for this entry."""
        if occasion.kind != self.for_each:
            return False
        return all((word.removeprefix("not ") in occasion.marks) != word.startswith("not ") for word in self.only)


@dataclass(frozen=True)
class Data:
    """What ``todo_data.yaml`` holds."""

    rules: tuple[Rule, ...]
    look_back_months: tuple[int, ...]
    property_tax: Mapping[str, Mapping[str, str] | str]


@lru_cache(maxsize=4)
def load_data(path: Path = DATA) -> Data:
    """Return the entries of a data file. Raises ValueError with every fault of it together."""
    raw = yaml.safe_load(path.read_text(encoding="utf-8"))
    faults, rules = [], []
    known = set(Rule.__dataclass_fields__)
    for entry in raw["entries"]:
        name = entry.get("id", "an entry without id")
        faults += [f"{name}: unknown key {key}" for key in entry if key not in known]
        faults += [
            f"{name}: {key} is missing"
            for key in ("id", "for_each", "by", "who", "what", "why", "mark")
            if not entry.get(key)
        ]
        if entry.get("mark") not in MARKS:
            faults.append(f"{name}: mark is one of {', '.join(MARKS)}")
        if entry.get("mark") == "read" and not entry.get("source"):
            faults.append(f"{name}: what was read needs its source")
        if not faults:
            rules.append(
                Rule(
                    **(
                        entry
                        | {
                            "only": tuple(entry.get("only", ())),
                            "done_with_step": bool(entry.get("done_with_step", False)),
                        }
                    )
                )
            )
    if len({rule.id for rule in rules}) < len(rules):
        faults.append("two entries have the same id")
    if faults:
        raise ValueError(f"{path.name}: " + "; ".join(faults))
    return Data(tuple(rules), tuple(raw["look_back_months"]), raw["property_tax"])


@dataclass(frozen=True)
class Occasion:
    """Something in the plan that calls for entries: its days, the words that go into them, and what kind it is."""

    kind: str
    name: str
    days: Mapping[str, Date]
    words: Mapping[str, str] = field(default_factory=dict)
    marks: frozenset[str] = frozenset()
    done: bool = False
    amount: float | None = None
    past: frozenset[str] = frozenset()  # days of it that came before the decision: what belongs to them has happened


@dataclass(frozen=True)
class TodoItem:
    """One thing to do. `key` names it for good; `amount` is to be paid more than if kept [currency], negative: less.

    `mark` is read, memory or common practice; `source` where it was read; `ask` whom to ask, where the rule differs by
    state, by country or by contract.
    """

    key: str
    by: Date
    who: str
    what: str
    why: str
    mark: str
    source: str
    ask: str
    about: str
    done: bool
    late: bool
    amount: float | None = None

    @property
    def basis(self) -> str:
        """The source with its mark, or that there is none."""
        if not self.source:
            return "common practice, no source" if self.mark == "common practice" else f"{self.mark}, no source"
        return self.source if self.mark == "read" else f"{self.source} (from {self.mark}, to be confirmed)"

    def to_json(self) -> dict[str, Any]:
        """Return plain data with fixed keys."""
        return {
            "key": self.key,
            "by": self.by.isoformat(),
            "who": self.who,
            "what": self.what,
            "amount": self.amount,
            "why": self.why,
            "mark": self.mark,
            "source": self.source,
            "ask": self.ask,
            "about": self.about,
            "done": self.done,
            "late": self.late,
        }


@dataclass(frozen=True, eq=False, repr=False)
class TodoList(Shown):
    """What follows course `chosen`, by date. `today` decides what is late; `uid` names the decision in a calendar."""

    title: str
    shop: str
    chosen: str
    decided_on: Date
    today: Date
    currency: str
    items: tuple[TodoItem, ...]
    uid: str

    def __iter__(self) -> Iterator[TodoItem]:
        return iter(self.items)

    def __getitem__(self, key: str) -> TodoItem:
        return named(self.items, key, "entry", lambda entry: entry.key)

    @property
    def open(self) -> tuple[TodoItem, ...]:
        """The entries still to be done."""
        return tuple(item for item in self.items if not item.done)

    @property
    def late(self) -> tuple[TodoItem, ...]:
        """The entries not done whose day is past."""
        return tuple(item for item in self.items if item.late)

    def to_json(self) -> dict[str, Any]:
        """Return plain data with fixed keys: keys are added, never renamed."""
        return {
            "title": self.title,
            "chosen": self.chosen,
            "decided_on": self.decided_on.isoformat(),
            "today": self.today.isoformat(),
            "currency": self.currency,
            "items": [item.to_json() for item in self.items],
        }

    def to_frame(self) -> pd.DataFrame:
        """Return a tidy pandas frame, one row an entry; `amount` in the scenario's currency."""
        import pandas as pd

        return pd.DataFrame([item.to_json() for item in self.items])


def after(
    result: Comparison | Evaluation,
    chosen: str,
    today: Date | None = None,
    done: Iterable[str] = (),
    data: Data | None = None,
) -> TodoList:
    """Return the dated list of what follows course `chosen`.

    `today` (the day of decision where left out) decides what is late; `done` names entries, by `key`, that are done
    beside those of steps that say so. Raises KeyError for an unknown course or entry.
    """
    evaluation = result.evaluation if isinstance(result, Comparison) else result
    if chosen not in evaluation.plans:
        raise KeyError(f"no alternative {chosen!r}; there are {', '.join(evaluation.plans)}")
    plan, scenario = evaluation.plans[chosen], evaluation.scenario
    day, data = today or scenario.decision_date, data or load_data()
    found = {}
    for occasion in occasions(evaluation, chosen, data):
        for rule in data.rules:
            if rule.fits(occasion) and (item := _item(rule, occasion, scenario, day)) is not None:
                found[item.key] = item
    ticked = set(done)
    if unknown := sorted(ticked - set(found)):
        raise KeyError(f"no entry {', '.join(map(repr, unknown))} to tick; there are {', '.join(found)}")
    items = [_ticked(item) if item.key in ticked else item for item in found.values()]
    items.sort(key=lambda item: item.by)  # stable: within a day in the order of the data
    uid = hashlib.sha256(
        f"{scenario.title}|{scenario.shop.name}|{scenario.decision_date}|{chosen}".encode()
    ).hexdigest()[:16]
    return TodoList(
        scenario.title, scenario.shop.name, chosen, plan.time.start, day, scenario.currency, tuple(items), uid
    )


def _ticked(item: TodoItem) -> TodoItem:
    return TodoItem(**{**vars(item), "done": True, "late": False})


def _item(rule: Rule, occasion: Occasion, scenario: Scenario, today: Date) -> TodoItem | None:
    at_home = scenario.regime == "us" or rule.elsewhere == SAME
    if not at_home and not rule.elsewhere:
        return None
    what = rule.what if at_home else rule.elsewhere
    by = moved(rule.by, occasion.days)
    past = str(rule.by["day"]) in occasion.past
    done = rule.done_with_step and (occasion.done or past)
    if not (occasion.done or done):  # nobody can act before deciding; what follows a step already done keeps its day
        by = max(by, scenario.decision_date)
    words = occasion.words
    return TodoItem(
        f"{rule.id}: {occasion.name}" if occasion.name else rule.id,
        by,
        rule.who.format(**words),
        what.format(**words),
        rule.why.format(**words) if at_home else "The rule of your country was not read for this list",
        rule.mark if at_home else "common practice",
        rule.source if at_home else "",
        (rule.ask or ("" if at_home else "your lawyer or preparer")).format(**words),
        occasion.name,
        done,
        not done and by < today,
        occasion.amount,
    )


def moved(by: Mapping[str, Any], days: Mapping[str, Date]) -> Date:
    """Return a day of the occasion moved as the data says: years, months, days, then to a business day of tax law."""
    day = days[by["day"]]
    day = cal.add_months(day, 12 * int(by.get("years", 0)) + int(by.get("months", 0)))
    day = cal.add_days(day, int(by.get("days", 0)))
    return cal.next_business_day(day) if by.get("tax_day") else day


# --- what the plan calls for


def occasions(evaluation: Evaluation, chosen: str, data: Data) -> list[Occasion]:
    """Return everything in course `chosen` that calls for entries, in the order of the plan."""
    plan, scenario = evaluation.plans[chosen], evaluation.scenario
    found = [Occasion("decision", "", {"decided": plan.time.start})]
    found += _sales(plan)
    found += _payoffs(plan)
    found += _purchases(plan)
    if scenario.regime == "us":
        found += _tax_payments(evaluation, chosen)
        found += _years(evaluation, plan)
    found += _property_tax(plan, scenario, data)
    last = finished(plan)
    for month in data.look_back_months:
        found.append(
            Occasion("look back", f"month {month}", {"due": cal.add_months(last, month)}, {"month": str(month)})
        )
    return found


def finished(plan: Plan) -> Date:
    """Return the day the last step of a plan is taken; the day of decision where there is none."""
    return max([plan.time.start, *(step.on for step in plan.steps)])


def _sales(plan: Plan) -> list[Occasion]:
    steps = {step.machine: step for step in plan.steps if isinstance(step, Sell)}
    found = []
    for sale in plan.sales:
        if sale.at_end or sale.offer is None:
            continue
        offer = sale.offer
        marks: set[str] = {offer.route}
        if offer.route in THROUGH_A_DEALER:
            marks.add("through a dealer")
        if offer.credited_to or offer.against:
            marks.add("credited")
        days = {"decided": plan.time.start, "handed over": sale.handed_over, "sold": sale.sold_on, "paid": sale.paid_on}
        words = {"machine": sale.machine, "offer": sale.offer_name, "route": offer.route}
        found.append(Occasion("sale", sale.machine, days, words, frozenset(marks), steps[sale.machine].done))
    return found


def _payoffs(plan: Plan) -> list[Occasion]:
    """Every old loan that a sale of the plan pays off, and every machine let go from one for a part of it."""
    steps = {step.machine: step for step in plan.steps if isinstance(step, Sell)}
    found = []
    for debt in plan.debts:
        if debt.old is None:
            continue
        for sale, partial in [*((sale, True) for sale, _ in debt.releases), (debt.sale, False)]:
            if sale is None or sale.machine not in steps or sale.at_end:
                continue
            words = {"machine": sale.machine, "loan": debt.name, "lender": debt.old.lender}
            days = {"decided": plan.time.start, "handed over": sale.handed_over, "paid off": sale.sold_on}
            name = f"{debt.name}, {sale.machine}" if partial else debt.name
            found.append(
                Occasion(
                    "payoff", name, days, words, frozenset({"partial"} if partial else ()), steps[sale.machine].done
                )
            )
    return found


def _purchases(plan: Plan) -> list[Occasion]:
    found = []
    for purchase in _bought(plan):
        step = purchase.step
        words = {"machine": purchase.machine, "improvement": purchase.name, "thing": _thing(purchase)}
        ordered = (step.ordered if isinstance(step, Buy) else None) or plan.time.start
        shipped = (step.shipped if isinstance(step, Buy) else None) or step.on
        days = {"decided": plan.time.start, "ordered": ordered, "shipped": shipped, "in service": step.on}
        kind = "purchase" if isinstance(step, Buy) else "improvement"
        past = frozenset({"ordered"} if ordered < plan.time.start else ())  # an order of an earlier day is placed
        found.append(Occasion(kind, purchase.name, days, words, done=step.done, past=past))
        found += [_money(plan, purchase, name, days, words) for name in step.pay]
    return found


def _money(plan: Plan, purchase: Purchase, name: str, days: Mapping[str, Date], words: Mapping[str, str]) -> Occasion:
    """A loan or a lease that pays for a purchase."""
    offer, drawn_on = plan.scenario.financing[name], purchase.drawn_on
    ends = last_day(offer, drawn_on)
    marks: set[str] = set()
    when = {**days, "drawn": drawn_on, "ends": ends}
    if ends > cal.add_years(drawn_on, LIEN_YEARS):
        marks.add("runs past five years")
    if offer.notice:
        most, least = max(offer.notice), min(offer.notice)
        marks.add("notice known")
        when |= {"notice opens": cal.add_days(ends, -most), "notice closes": cal.add_days(ends, -least)}
    said = {**words, "lender": offer.lender} | {key: day.isoformat() for key, day in when.items()}
    return Occasion("lease" if offer.kind in LEASES else "new loan", name, when, said, frozenset(marks))


def _bought(plan: Plan) -> list[Purchase]:
    """The purchases that are steps of the plan; a machine bought from its lessor at the end of a lease is none."""
    return [purchase for purchase in plan.purchases if purchase.buyout_of is None]


def _thing(purchase: Purchase) -> str:
    return purchase.name if purchase.name == purchase.machine else f"“{purchase.name}” on {purchase.machine}"


# --- tax


def _years_of_steps(plan: Plan) -> tuple[int, int]:
    """Return the first and last tax year in which the plan buys or sells anything."""
    days = [sale.sold_on for sale in plan.sales if not sale.at_end] + [purchase.step.on for purchase in _bought(plan)]
    return (min(days).year, max(days).year) if days else (plan.time.start.year, plan.time.start.year)


def _tax_payments(evaluation: Evaluation, chosen: str) -> list[Occasion]:
    """Every day on which the course pays other tax than keeping does, for its tax years and the one after."""
    plan, ledger = evaluation.plans[chosen], evaluation[chosen]
    if not any(isinstance(step, Sell | Buy | Improve) for step in plan.steps):
        return []
    first, last = _years_of_steps(plan)
    keep = evaluation.ledgers.get("keep")
    no_state_days = any(f.code == STATE_WITH_RETURN for f in ledger.findings)
    tax: dict[tuple[Date, str], list[tuple[str, float]]] = {}
    shared: dict[Date, list[tuple[str, float]]] = {}
    for line in ledger.lines:
        if line.dates is None or not (
            line.group == "tax" or line.group == "between purses" and line.name.startswith("tax distribution")
        ):
            continue
        less = _rows_of(keep, line.name, line.purse)
        for year, day, amount in zip(line.column.axis.labels, line.dates, line.amounts(), strict=True):
            added = -(float(amount) - less.get(day, 0.0))
            if not first <= int(year) <= last + 1 or day < plan.time.start or abs(added) < SMALL:
                continue
            if line.group == "tax":
                said = f"{line.name} of {year}"
                if no_state_days and line.name.startswith("state tax of "):
                    said += " (shown with the return; the state may ask for part of it earlier)"
                tax.setdefault((day, line.purse), []).append((said, added))
            elif line.purse == "shop":
                shared.setdefault(day, []).append((f"instalment {line.name.rpartition(' ')[2]} of {year}", added))
    found = []
    for (day, purse), parts in sorted(tax.items()):
        payer = "the business" if purse == "shop" else purse
        lines = "; ".join(name for name, _ in parts)
        found.append(
            Occasion(
                "tax payment",
                f"{purse} {day}",
                {"due": day},
                {"payer": payer, "lines": lines},
                amount=sum(a for _, a in parts),
            )
        )
    for day, parts in sorted(shared.items()):
        found.append(
            Occasion(
                "tax distribution",
                str(day),
                {"due": day},
                {"lines": "; ".join(name for name, _ in parts)},
                amount=sum(a for _, a in parts),
            )
        )
    return found


def _rows_of(ledger: Ledger | None, name: str, purse: str) -> dict[Date, float]:
    if ledger is None:
        return {}
    for line in ledger.lines:
        if (line.name, line.purse) == (name, purse) and line.dates is not None:
            return dict(zip(line.dates, map(float, line.amounts()), strict=True))
    return {}


PAYERS = {
    "sole proprietor": "individual",
    "partnership": "partnership or S corporation",
    "S corporation": "partnership or S corporation",
    "C corporation": "corporation",
}


def _years(evaluation: Evaluation, plan: Plan) -> list[Occasion]:
    """The tax years in which something is sold or added, with the days of their returns."""
    taxed_as = plan.scenario.shop.taxed_as
    sold: dict[int, list[str]] = {}
    added: dict[int, list[str]] = {}
    for sale in plan.sales:
        if not sale.at_end:
            sold.setdefault(sale.sold_on.year, []).append(sale.machine)
    for purchase in _bought(plan):
        if purchase.lease is not None:  # the lessor owns it and writes it off
            continue
        added.setdefault(purchase.step.on.year, []).append(_thing(purchase))
    found = []
    for kind, years in (("year of sale", sold), ("year of additions", added)):
        for year, things in sorted(years.items()):
            row = plan.time.tax.labels.index(str(year))
            entity = due_dates(evaluation.law, plan.time.tax, PAYERS[taxed_as], "return")[row]
            owner = (
                entity
                if taxed_as == "C corporation"
                else due_dates(evaluation.law, plan.time.tax, "individual", "return")[row]
            )
            days = {"decided": plan.time.start, "entity return": entity, "owner return": owner}
            found.append(Occasion(kind, str(year), days, {"year": str(year), "things": ", ".join(things)}))
    return found


def _property_tax(plan: Plan, scenario: Scenario, data: Data) -> list[Occasion]:
    """The first property-tax return after each thing sold or added, where the state's days are on file."""
    events = [(sale.sold_on, "off", sale.machine) for sale in plan.sales if not sale.at_end]
    events += [(purchase.step.on, "on", _thing(purchase)) for purchase in _bought(plan)]
    if not events:
        return []
    state = scenario.shop.state.code if scenario.shop.state and scenario.shop.state.code else ""
    rule = data.property_tax.get(state.upper())
    grouped: dict[Date, dict[str, list[str]]] = {}
    for day, side, thing in sorted(events):
        assessed = _next(day, rule["assessed"]) if isinstance(rule, Mapping) else Date(day.year + 1, 1, 1)
        grouped.setdefault(assessed, {"off": [], "on": []})[side].append(thing)
    mark = "state known" if isinstance(rule, Mapping) else "state without" if rule == "none" else "state unknown"
    found = []
    for assessed, sides in sorted(grouped.items()):
        words = {side: ", ".join(things) or "nothing" for side, things in sides.items()} | {
            "assessed": assessed.isoformat(),
            "state": state.upper(),
        }
        days = {"next new year": assessed}
        if isinstance(rule, Mapping):
            days["property return"] = _next(assessed, rule["due"], same=True)
        found.append(Occasion("property tax", str(assessed.year), days, words, frozenset({mark})))
    return found


def _next(day: Date, month_day: str, same: bool = False) -> Date:
    """Return the first `month_day` ("04-01") after `day`, or on it where `same`."""
    month, number = map(int, month_day.split("-"))
    found = Date(day.year, month, number)
    return found if found > day or (same and found == day) else Date(day.year + 1, month, number)
