"""The fifteen questions that already give an answer, and the scenario that their answers make.

A question holds one or more blanks; "don't know" gives a blank's stated default, and every figure that was not
answered says ``from: default``. Defaults without a source are common practice.
"""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any, get_args

from equipdecide import parameters
from equipdecide.scenario.amounts import (
    Amount,
    AmountError,
    Days,
    HourRate,
    Hours,
    Money,
    MoneyPerHour,
    MoneyPerYear,
    Multiple,
    Quantity,
    Rate,
    Share,
    Weeks,
)
from equipdecide.scenario.asking.typed import (
    NONE,
    as_meant,
    figure,
    read_name,
    read_number,
    read_state,
    read_typed_day,
    read_years,
    shares_alike,
)
from equipdecide.scenario.asking.typed import UNKNOWN as UNKNOWN
from equipdecide.scenario.faults import ScenarioError, did_you_mean
from equipdecide.scenario.models import Route, Scenario, TaxedAs
from equipdecide.scenario.reading import loads
from equipdecide.scenario.writing import dump

PAYMENTS_LEFT = 36  # where they are not known; common practice, no source
WEEKS_A_YEAR = 50  # common practice, no source: two weeks closed
RECOVERY_YEARS = 8  # calendar years over which 7-year property is deducted under the half-year convention


class AnswerError(ValueError):
    """Answers that cannot be used: `problems` leads from the key of a blank to what is wrong and how to mend it."""

    def __init__(self, problems: Mapping[str, str]) -> None:
        self.problems = dict(problems)
        super().__init__("\n".join(f"{key}: {text}" for key, text in self.problems.items()))


_OTHER_UNIT = re.compile(r"\b(h|hours?|days?|weeks?|months?|years?|of)\b", re.I)  # then the figure alone may mislead


def _quantity(kind: Any) -> Quantity:
    found: Quantity = get_args(kind)[1]
    return found


@dataclass(frozen=True)
class Blank:
    """One thing to fill in. `kind` is a quantity, a tuple of words, or one of day, number, name, owners, state."""

    key: str
    label: str
    kind: Quantity | tuple[str, ...] | str
    default: str = ""
    must: bool = False
    none: bool = False

    def read(self, answer: str) -> Any:
        """Return the answer as amount, day, number, word or name; None for "none".

        A file is read to the letter; here what a person types is met half way (:func:`as_meant`). Raises
        :class:`AmountError` with what is wrong and how to mend it.
        """
        text = " ".join(answer.split())
        if text.lower() in NONE and self.none:
            return None
        if isinstance(self.kind, Quantity):
            per_cent = self.kind.example.endswith("%")
            try:
                amount = self.kind.read(as_meant(text, per_cent))
            except AmountError:
                inside = "" if _OTHER_UNIT.search(text) else figure(text)
                if not inside or ("%" in inside and not per_cent):
                    raise
                amount = self.kind.read(as_meant(inside, per_cent))
            return replace(amount, path="")
        if isinstance(self.kind, tuple):
            for word in self.kind:
                if text.lower() == word.lower():
                    return word
            if self.key == "taxed_as" and "llc" in text.lower():
                mend = "One owner: write sole proprietor; several: partnership; unless it elected to be an S or C corporation"
                raise AmountError("an LLC is not taxed as such", mend)
            raise AmountError(f"'{text}' is not known here", did_you_mean(text, self.kind))
        return _READERS[self.kind](text)

    @property
    def prompt(self) -> str:
        """The label with its default, as asked."""
        if self.must:
            return f"{self.label}: "
        return f"{self.label} [don't know = {self.default}]: "


@dataclass(frozen=True)
class Question:
    """One of the fifteen: the question, where to find the answer, and its blanks."""

    number: int
    ask: str
    where: str
    blanks: tuple[Blank, ...]

    @property
    def may_be_skipped(self) -> bool:
        """Whether "don't know" is an answer to all of it."""
        return not any(blank.must for blank in self.blanks)


def _read_owners(text: str) -> dict[str, Amount]:
    owners: dict[str, Amount] = {}
    text = shares_alike(text) or text
    for part in re.split(r"\s*(?:,|;|\band\b)\s*", text):
        found = re.fullmatch(r"(.+?)\s+([\d.]+)\s*%?", part)
        if found is None:
            raise AmountError(f"cannot read '{part}' as an owner and a share", "Write for example Ines 60 %, Walt 40 %")
        owners[read_name(found[1])] = _SHARE.read(f"{found[2]} %")
    if abs(sum(float(share) for share in owners.values()) - 1) > 1e-6:
        raise AmountError("the shares do not make 100 %", "Write for example Ines 60 %, Walt 40 %")
    return owners


_MONEY, _MONEY_A_YEAR, _MONEY_AN_HOUR = _quantity(Money), _quantity(MoneyPerYear), _quantity(MoneyPerHour)
_SHARE, _RATE, _HOURS, _HOUR_RATE = _quantity(Share), _quantity(Rate), _quantity(Hours), _quantity(HourRate)
_MULTIPLE, _DAYS, _WEEKS = _quantity(Multiple), _quantity(Days), _quantity(Weeks)
_TAX_RATE = replace(_RATE, name="a tax rate", example="24 %")
_WEEK_HOURS = replace(_HOURS, name="a number of hours a week", example="26", high=168.0)
_SHIFT = replace(_WEEK_HOURS, example="40", low=1.0)
_NIGHT_HOURS = replace(_HOURS, name="a number of hours a night", example="5", low=0.25, high=72.0)
_NIGHTS = Quantity("a number of nights a week", "count", "4", high=7.0)
_OF_TEN = Quantity("a number of nights out of ten", "count", "6", high=10.0)
_ROUTES = tuple(route for route in get_args(Route) if route != "trade-in")  # a trade-in needs an offer of its own
_READERS: dict[str, Callable[[str], Any]] = {
    "day": read_typed_day,
    "number": read_number,
    "years": read_years,
    "name": read_name,
    "owners": _read_owners,
    "state": read_state,
}

QUESTIONS: tuple[Question, ...] = (
    Question(
        1,
        "Which machine is it, what did it cost with everything, and when did it first make parts?",
        "The invoices, with freight, rigging and tooling bought with it.",
        (
            Blank("machine", "Its name in the shop", "name", must=True),
            Blank("cost", "What it cost with everything", _MONEY, must=True),
            Blank("in_service", "Day it first made parts", "day", must=True),
        ),
    ),
    Question(
        2,
        "How much of its cost has been deducted so far?",
        "Ask your preparer for the depreciation schedule. All of it gives the highest tax on a sale.",
        (Blank("deducted", "Deducted so far, or all", "deducted", "all"),),
    ),
    Question(
        3,
        "How is the business taxed, who owns which share, and in which state?",
        "The first page of the last return says how; your preparer knows the combined rate.",
        (
            Blank("taxed_as", f"Taxed as ({', '.join(get_args(TaxedAs))})", get_args(TaxedAs), "sole proprietor"),
            Blank("owners", "Owners and shares, such as Ines 60 %, Walt 40 %", "owners", "one owner"),
            Blank(
                "tax_rate",
                "Tax on one more dollar of income, federal and state together",
                _TAX_RATE,
                "12 % .. 24 % .. 37 %",
            ),
            Blank("state", "State, two letters", "state", "left out: its own depreciation books are not kept"),
        ),
    ),
    Question(
        4,
        "What would it bring today: low, likely, high? Sold how, and for what commission?",
        "Two dealers and one auctioneer, by telephone. An asking price is not a sale.",
        (
            Blank("worth", "What it would bring", _MONEY, "a wide band by its age"),
            Blank("route", f"Sold by ({', '.join(_ROUTES)})", _ROUTES, "consignment"),
            Blank("commission", "Cost of selling, of the price", _SHARE, "10 %, to a dealer outright none", none=True),
        ),
    ),
    Question(
        5,
        "What is owed on it? Say none if nothing is.",
        "The lender's last statement, or a payoff letter (which is more exact than the balance).",
        (
            Blank(
                "owed",
                "Balance owed, or none",
                _MONEY,
                "reckoned from the payment and the payments left below",
                none=True,
            ),
            Blank("loan_rate", "Interest rate a year", _RATE, "6 % .. 8 % .. 10 %"),
            Blank("payments_left", "Monthly payments left", "number", "36"),
            Blank("payment", "Monthly payment", _MONEY, "reckoned from the balance"),
        ),
    ),
    Question(
        6,
        "How many hours does it cut in a normal week with people present?",
        "The control's cutting-time counter, read on two Fridays.",
        (
            Blank("shift_week", "Hours a week somebody is there", _SHIFT, "40"),
            Blank("hours_week", "Hours a week it cuts", _WEEK_HOURS, "25 % .. 35 % .. 60 % of those"),
        ),
    ),
    Question(
        7,
        "How many nights a week does it run alone, for how long, and how many of ten run through?",
        "A list of evenings: hours run and why it stopped.",
        (
            Blank("nights_week", "Nights a week, or none", _NIGHTS, "none", none=True),
            Blank("night_hours", "Hours when all goes well", _NIGHT_HOURS, "5"),
            Blank("nights_of_ten", "Nights of ten that run through", _OF_TEN, "5"),
        ),
    ),
    Question(
        8,
        "What is one more good hour worth?",
        "The rate you quote less what the hour uses up, or the price you pay outside.",
        (Blank("hour_worth", "Worth of one more good hour", _MONEY_AN_HOUR, must=True),),
    ),
    Question(
        9,
        "How many more good hours a year could you sell?",
        "Orders turned away last year. Count only what somebody would order.",
        (Blank("extra_hours", "More good hours a year", _HOUR_RATE, "0", none=True),),
    ),
    Question(
        10,
        "What did repairs and service cost last year, and how many days were lost?",
        "The ledger's repairs account, and the calendar.",
        (
            Blank(
                "repairs", "Repairs and service last year", _MONEY_A_YEAR, "2 % .. 4 % .. 8 % of its cost", none=True
            ),
            Blank("lost_days", "Days lost last year", _DAYS, "0", none=True),
        ),
    ),
    Question(
        11,
        "Is an upgrade on offer? Its price, and what does it change?",
        "The quote, fitting included.",
        (
            Blank("upgrade_price", "Price, fitted, or none", _MONEY, "left out", none=True),
            Blank("upgrade_weeks", "Weeks until it is fitted", _WEEKS, "6"),
            Blank("upgrade_hours", "Hours a week it cuts then", _WEEK_HOURS, "the same"),
            Blank("upgrade_cycle", "Time a part takes, as a multiple of today's", _MULTIPLE, "1"),
            Blank("upgrade_nights_week", "Nights a week it runs alone then", _NIGHTS, "the same"),
            Blank("upgrade_nights_of_ten", "Nights of ten that run through then", _OF_TEN, "the same"),
            Blank("upgrade_repairs", "Repairs and service a year then", _MONEY_A_YEAR, "the same"),
        ),
    ),
    Question(
        12,
        "Is there a new machine? Its quoted price, what is not in the quote, and when does it come?",
        "The quote; then rigging, power, tooling, fixtures, software, training.",
        (
            Blank("new_price", "Quoted price, or none", _MONEY, "left out", none=True),
            Blank("new_name", "A short name for it", "name", "new machine"),
            Blank("new_extras", "What is not in the quote", _MONEY, "15 % .. 25 % .. 35 % of the price", none=True),
            Blank("new_weeks", "Weeks to delivery", _WEEKS, "16"),
        ),
    ),
    Question(
        13,
        "What does the new one change?",
        "A test cut by the dealer on your part; another owner who runs one.",
        (
            Blank("new_hours", "Hours a week the new one cuts", _WEEK_HOURS, "the same as now"),
            Blank("new_cycle", "Time a part takes on it, as a multiple of today's", _MULTIPLE, "1"),
            Blank("new_nights_week", "Nights a week it would run alone", _NIGHTS, "the same"),
            Blank("new_night_hours", "Hours of such a night when all goes well", _NIGHT_HOURS, "the same"),
            Blank("new_nights_of_ten", "Nights of ten that run through", _OF_TEN, "the same"),
            Blank("new_repairs", "Repairs and service a year", _MONEY_A_YEAR, "60 % of today's"),
        ),
    ),
    Question(
        14,
        "How is it paid? And how much cash is in the bank, and how low may it go?",
        "The lender's offer; the bank statement; two months of bills is a common floor.",
        (
            Blank("finance_rate", "Loan rate a year", _RATE, "8 %"),
            Blank("finance_months", "Months", "number", "60"),
            Blank("deposit", "Down payment, in dollars or per cent of the price", "deposit", "20 %", none=True),
            Blank("cash", "Cash in the bank", _MONEY, "the floor is not tested"),
            Blank("floor", "Cash you will not go under", _MONEY, "not tested"),
        ),
    ),
    Question(
        15,
        "How many years to look ahead, and what else would the money earn?",
        "As long as you can picture this work; what paying off debt or the next best machine would bring.",
        (
            Blank("years", "Years", "years", "7"),
            Blank("earns", "What else the money would earn a year, after tax", _RATE, "7 % .. 10 % .. 15 %"),
        ),
    ),
)
"""The fifteen questions, in order."""

SELLING_COSTS = {"outright": "0 %"}
"""Costs of selling by way of sale, of the price, where they are not the usual default: a dealer who buys outright takes
no commission. Common practice, no source."""

OWN_RATES = "A C corporation pays tax at the federal rate and its state's: the tax rate that was answered is not used."

BLANKS: dict[str, Blank] = {blank.key: blank for question in QUESTIONS for blank in question.blanks}


def _read_deducted(text: str) -> Amount | str:
    if text.lower() in ("all", "100 %", "100%", "fully") or re.search(
        r"\b(in full|all of it|everything|fully|written off)\b", text, re.I
    ):
        return "all"
    return _MONEY.read(as_meant(text))


def _read_deposit(text: str) -> Amount:
    """Return a down payment as a share of the price (unit "share") or as money."""
    meant = as_meant(text)
    return _SHARE.read(meant) if "%" in meant or "per cent" in meant else _MONEY.read(meant)


_READERS["deducted"] = _read_deducted
_READERS["deposit"] = _read_deposit


def value_by_age(age: float) -> tuple[float, float, float]:
    """Return low, likely and high value at `age` [year] as a share of cost: the band of
    :mod:`equipdecide.resale.bands`.
    """
    from equipdecide.resale.bands import value_band  # here, so that reading a file waits for no numpy

    low, likely, high = value_band(age, 1.0)
    return low, likely, high


def scenario_from_answers(answers: Mapping[str, str], today: dt.date | None = None) -> Scenario:
    """Return the scenario that the answers make, by the key of each blank (:data:`BLANKS`).

    What is left out or "don't know" takes its default. Raises :class:`AnswerError` with all that cannot be used.
    """
    return loads(to_yaml(answers, today), "answers")


def to_yaml(answers: Mapping[str, str], today: dt.date | None = None) -> str:
    """Return the scenario file that the answers make. Raises :class:`AnswerError`."""
    tree = _Answers(answers, today or dt.date.today()).tree()
    text = dump(Scenario.model_validate(tree))
    try:
        loads(text, "answers")
    except ScenarioError as error:
        raise AnswerError({fault.path: f"{fault.what}. {fault.mend}" for fault in error.faults}) from None
    return text


def readable(key: str, answer: object) -> bool:
    """Tell whether an answer can be read for the blank `key`."""
    try:
        BLANKS[key].read(str(answer))
    except AmountError:
        return False
    return True


def answers_problems(answers: Mapping[str, str], today: dt.date) -> dict[str, str]:
    """Return what cannot be used in answers, and between them, by the key of each blank; empty where all is well."""
    try:
        _Answers(answers, today)
    except AnswerError as error:
        return error.problems
    return {}


class _Answers:
    """The answers as read, and the tree of a scenario that they make."""

    def __init__(self, answers: Mapping[str, str], today: dt.date) -> None:
        self.today = today
        self.given: dict[str, Any] = {}
        problems = {key: did_you_mean(key, BLANKS) for key in answers if key not in BLANKS}
        for key, blank in BLANKS.items():
            text = answers.get(key, "").strip()
            if text.lower() in UNKNOWN:
                if blank.must:
                    problems[key] = "This must be answered."
                continue
            try:
                self.given[key] = blank.read(text)
            except AmountError as error:
                problems[key] = f"{error.what}. {error.mend}."
        problems |= {key: text for key, text in self.do_not_fit().items() if key not in problems}
        if problems:
            raise AnswerError(problems)

    def do_not_fit(self) -> dict[str, str]:
        """Return what is wrong between answers."""
        given, found = self.given, {}
        owners = given.get("owners") or {}
        if given.get("taxed_as") == "sole proprietor" and len(owners) > 1:
            found["taxed_as"] = "A sole proprietor has one owner. Write partnership, or one owner."
        if given.get("taxed_as") == "partnership" and len(owners) < 2:
            found["owners"] = "A partnership has two owners or more. Write for example Ines 60 %, Walt 40 %."
        if (day := given.get("in_service")) and day > self.today:
            found["in_service"] = "That day is still to come. Write the day it first made parts."
        deducted = given.get("deducted")
        if isinstance(deducted, Amount) and "cost" in given and float(deducted) > float(given["cost"]):
            found["deducted"] = "More is deducted than it cost. Write at most the cost, or all."
        if "owed" not in given and not {"payment", "payments_left"} <= set(given):
            found["owed"] = "This one is needed. Say none if nothing is owed; else the balance, about is enough."
        elif given.get("owed") is not None and "payment" in given and "payments_left" in given:
            owed, payment, left = float(given["owed"]), float(given["payment"]), given["payments_left"]
            interest = owed * float(given["loan_rate"]) / 12 if "loan_rate" in given else 0.0
            if payment <= interest or payment * left < owed:
                found["payment"] = (
                    "These payments do not pay the balance off. Check balance, payment and payments left."
                )
        shift = float(given.get("shift_week") or 40)
        for key in ("hours_week", "upgrade_hours", "new_hours"):
            amount = given.get(key)
            if amount is not None and (amount.high or amount.likely) > shift:
                found[key] = (
                    f"That is more than the {shift:g} hours a week somebody is there. Count nights in question 7."
                )
        if (old := given.get("machine")) and old == given.get("new_name"):
            found["new_name"] = "Both machines have the same name. Write another."
        return found

    def amount(self, key: str, kind: Quantity | None = None, default: str = "") -> Amount:
        """Return the answer to a blank, or its default marked as such."""
        blank = BLANKS[key]
        if key in self.given:
            found = self.given[key]
            if isinstance(found, Amount):
                return found
            assert isinstance(blank.kind, Quantity)
            return Amount(0.0, unit=blank.kind.unit.replace("{currency}", "USD"))  # none
        assert isinstance(blank.kind, Quantity)
        return _default((kind or blank.kind).read(default or blank.default))

    def answered(self, key: str) -> Any:
        """Return the answer to a blank, or None where it is "none" or not known."""
        return self.given.get(key)

    # --- the parts of the tree ----------------------------------------------------------------------------------------

    def tree(self) -> dict[str, Any]:
        """Return the scenario as nested blocks."""
        name, today = self.given["machine"], self.today
        new = self.given.get("new_name", "new machine") if self.answered("new_price") else None
        machines = {name: self.old_machine()}
        improvements: dict[str, Any] = {}
        financing: dict[str, Any] = {}
        offer = {"machine": name, "route": self.given.get("route", "consignment"), "price": self.worth()}
        offer["commission"] = self.amount("commission", default=SELLING_COSTS.get(offer["route"], "10 %"))
        alternatives: dict[str, list[dict[str, Any]]] = {"keep": []}
        if price := self.answered("upgrade_price"):
            improvements["upgrade"] = self.upgrade(name, price)
            step = {"do": "improve", "improvement": "upgrade", "on": self.later("upgrade_weeks")}
            alternatives["upgrade"] = [step | self.paid(financing, "upgrade loan", price)]
        if new is not None:
            price = self.given["new_price"]
            machines[new] = self.new_machine(price)
            day = self.later("new_weeks")
            step = {"do": "buy", "machine": new, "ordered": today, "on": day} | self.paid(
                financing, "machine loan", price
            )
            alternatives["replace"] = [step, {"do": "sell", "machine": name, "by": "sale", "on": day}]
        alternatives["sell and do without"] = [{"do": "sell", "machine": name, "by": "sale", "on": today}]
        shop: dict[str, Any] = {"name": "the shop", "taxed_as": self.taxed_as()}
        shop |= {"cash": self.answered("cash"), "cash_floor": self.answered("floor")}
        notes = ["Rough: made from fifteen answers. Figures marked from: default were not answered."]
        if shop["taxed_as"] == "C corporation" and self.answered("tax_rate"):
            notes.append(OWN_RATES)
        if code := self.answered("state"):
            if code.lower() in parameters.load().states():
                shop["state"] = {"code": code}
            else:
                notes.append(
                    f"{code}: its depreciation rules are not on file, so its own books are left out. Ask your preparer."
                )
        return {
            "title": f"{name}: keep, upgrade, replace or sell?",
            "decision_date": today,
            "machine_in_question": [name],
            "study": {"years": self.years, "rate": self.amount("earns")},
            "shop": shop,
            "owners": {
                owner: {"share": share, "tax_rate": self.amount("tax_rate")}
                for owner, share in (self.given.get("owners") or {"owner": _default(_SHARE.read("100 %"))}).items()
            },
            "machines": machines,
            "improvements": improvements,
            "parts": self.parts(machines[name]),
            "offers": {"sale": offer},
            "financing": financing,
            "alternatives": alternatives,
            "notes": notes,
        }

    @property
    def years(self) -> int:
        return int(self.given.get("years", 7))

    @property
    def age(self) -> float:
        first: dt.date = self.given["in_service"]
        return (self.today - first).days / 365.0

    def taxed_as(self) -> str:
        several = len(self.given.get("owners") or {}) > 1
        return str(self.given.get("taxed_as", "partnership" if several else "sole proprietor"))

    def later(self, key: str) -> dt.date:
        return self.today + dt.timedelta(days=round(7 * float(self.amount(key))))

    def paid(self, financing: dict[str, Any], loan: str, price: Amount) -> dict[str, Any]:
        """Add the loan for a purchase, and return the step's key that names it; nothing where all is paid in cash."""
        stated = self.given.get("deposit", _SHARE.read("20 %"))
        down = 0.0 if stated is None else float(stated)
        share = down if stated is None or stated.unit == _SHARE.unit else down / float(price)
        if share >= 1:
            return {}
        amount = _times(price, 1 - share)
        if "deposit" not in self.given:
            amount = _default(amount)
        months = self.given.get("finance_months", 60)
        financing[loan] = {
            "amount": replace(amount, low=None, high=None),
            "rate": self.amount("finance_rate"),
            "payments": months,
        }
        return {"pay": [loan]}

    def worth(self) -> Amount:
        if "worth" in self.given:
            return self.amount("worth")
        return self.by_age(float(self.given["cost"]), self.age)

    def by_age(self, cost: float, age: float) -> Amount:
        """Return the wide band of what a machine brings that cost so much and is so old."""
        low, likely, high = (_hundreds(cost * share) for share in value_by_age(age))
        return Amount(likely, low, high, "USD", given_by="default")

    def worth_at_end(self, now: Amount, age: float) -> Amount:
        """Let a worth of today fall as the curves fall from `age` on, over the years looked ahead."""
        ratios = sorted(b / a for a, b in zip(value_by_age(age), value_by_age(age + self.years), strict=True))
        ends = ((now.low or now.likely) * ratios[0], now.likely * ratios[1], (now.high or now.likely) * ratios[2])
        low, likely, high = (_hundreds(end) for end in ends)
        return Amount(likely, low, high, "USD", given_by="default")

    def old_machine(self) -> dict[str, Any]:
        asset: dict[str, Any] = {"cost": self.given["cost"], "in_service": self.given["in_service"]}
        deducted = self.given.get("deducted", "all")
        if deducted == "all":
            asset["section_179"] = "all"
        else:
            asset |= {"method": "table", "table": self.table(float(deducted) / float(self.given["cost"]))}
        machine: dict[str, Any] = {
            "what": self.given["machine"],
            "assets": {"machine": asset},
            "loans": self.loans(),
            "running": self.running("hours_week", "nights_of_ten", None),
            "upkeep": {"first_year": self.repairs(), "growth": _default(_RATE.read("8 %"))},
            "worth_at_end": self.worth_at_end(self.worth(), self.age),
        }
        return machine

    def table(self, deducted: float) -> list[Amount]:
        """Return yearly shares that give what is deducted so far, and the rest evenly over the recovery years left."""
        past = max(self.today.year - self.given["in_service"].year, 1)
        left = max(RECOVERY_YEARS - past, 1)
        shares = [round(deducted, 6)] + [0.0] * (past - 1)
        rest = round(1 - shares[0], 6)
        each = math.floor(rest / left * 1e6) / 1e6
        shares += [each] * (left - 1) + [round(rest - each * (left - 1), 6)]
        return [Amount(share, unit="share") for share in shares]

    def repairs(self) -> Amount:
        if "repairs" in self.given:
            return self.amount("repairs")
        cost = float(self.given["cost"])
        return Amount(round(cost * 0.04), round(cost * 0.02), round(cost * 0.08), "USD/year", given_by="default")

    def loans(self) -> dict[str, Any]:
        if "owed" in self.given and self.given["owed"] is None:
            return {}
        payment, owed = self.answered("payment"), self.answered("owed")
        left = self.given.get("payments_left", PAYMENTS_LEFT)
        if owed is not None and "payments_left" not in self.given:
            payment = None  # the payment follows from the balance over the payments taken
        rate: Amount = self.amount("loan_rate")
        if owed is not None and (stated := self.answered("payment")) and "payments_left" not in self.given:
            left = _level_count(float(owed), float(stated), float(rate)) or left
        if owed is None:
            ends = [
                _level_worth(float(payment), end, left) for end in (rate.high, rate.likely, rate.low) if end is not None
            ]
            low, likely, high = ends if len(ends) == 3 else (None, ends[0], None)
            owed = Amount(likely, low, high, "USD", given_by="default")
            payment = None
        elif payment is not None and "loan_rate" not in self.given:
            solved = _level_rate(float(owed), float(payment), left)
            rate, payment = Amount(round(solved, 6), unit="1/year", given_by="default"), None
        loan = {"principal": owed, "balance_on": self.today, "rate": rate, "payments": left, "payment": payment}
        first = (self.today.replace(day=1) + dt.timedelta(days=32)).replace(day=1)
        return {"loan": loan | {"first_payment": first}}

    def running(self, hours_key: str, nights_key: str, cycle_key: str | None) -> dict[str, Any]:
        """Return the hours of a machine; what is not answered for a new one is as for the old."""
        shift = self.amount("shift_week")
        a_year = _times(shift, WEEKS_A_YEAR, "h/year")
        if lost := self.answered("lost_days"):
            a_year = _times(a_year, max(1 - float(lost) / (5 * WEEKS_A_YEAR), 0.0))
        found: dict[str, Any] = {"staffed_hours": a_year, "cutting_share": self.cutting(hours_key, float(shift))}
        if cycle_key and (cycle := self.answered(cycle_key)):
            found["cycle_factor"] = cycle
        week = nights_key.replace("_of_ten", "_week")
        if nights := self.nights(nights_key, week, week.replace("nights_week", "night_hours")):
            found["nights"] = nights
        return found

    def cutting(self, key: str, shift: float) -> Amount:
        if key not in self.given:
            key = "hours_week"
        if key in self.given:
            return _times(self.amount(key), 1 / shift, "share")
        return _default(_SHARE.read("25 % .. 35 % .. 60 %"))

    def nights(self, key: str, week: str = "nights_week", hours: str = "night_hours") -> dict[str, Any] | None:
        """Return nights alone; the mean time between stops makes the stated nights of ten run through.

        A night of W hours runs through with chance exp(-W / mean): stops come at a constant rate.
        """
        a_week = self.answered(week if week in self.given else "nights_week")
        if not a_week or float(a_week) == 0:
            return None
        of_ten = self.amount(key if key in self.given else "nights_of_ten")
        window = self.amount(hours if hours in self.given else "night_hours")
        ends = [
            None if end is None else _between_stops(end, float(window))
            for end in (of_ten.low, of_ten.likely, of_ten.high)
        ]
        mean = Amount(ends[1] or 0.0, ends[0], ends[2], "h", given_by=of_ten.given_by)
        return {"nights": _times(a_week, WEEKS_A_YEAR), "window": window, "mean_between_stops": mean}

    def upgrade(self, name: str, price: Amount) -> dict[str, Any]:
        changes: dict[str, Any] = {}
        if "upgrade_hours" in self.given:
            changes["cutting_share"] = self.cutting("upgrade_hours", float(self.amount("shift_week")))
        if "upgrade_cycle" in self.given:
            changes["cycle_factor"] = self.given["upgrade_cycle"]
        changed = {"upgrade_nights_of_ten", "upgrade_nights_week"} & set(self.given)
        if changed and (nights := self.nights("upgrade_nights_of_ten", "upgrade_nights_week")):
            changes["nights"] = nights
        if "upgrade_repairs" in self.given:
            changes["upkeep"] = {"first_year": self.given["upgrade_repairs"], "growth": _default(_RATE.read("8 %"))}
        return {
            "what": "upgrade",
            "machine": name,
            "capital_costs": {"fitted": price},
            "lead": self.amount("upgrade_weeks"),
            "changes": changes,
        }

    def new_machine(self, price: Amount) -> dict[str, Any]:
        extras = self.amount("new_extras", _SHARE, "15 % .. 25 % .. 35 %")
        if "new_extras" not in self.given:
            extras = _default(_times(extras, float(price), "USD"))
        repairs = self.answered("new_repairs") or _default(_times(self.repairs(), 0.6))
        return {
            "what": self.given.get("new_name", "new machine"),
            "price": price,
            "capital_costs": {"not in the quote": extras} if float(extras) else {},
            "lead": self.amount("new_weeks"),
            "running": self.running("new_hours", "new_nights_of_ten", "new_cycle"),
            "upkeep": {"first_year": repairs, "growth": _default(_RATE.read("8 %"))},
            "worth_at_end": self.by_age(float(price), self.years),
        }

    def parts(self, machine: dict[str, Any]) -> dict[str, Any]:
        running, worth = machine["running"], self.given["hour_worth"]
        now = float(running["staffed_hours"]) * float(running["cutting_share"])
        if nights := running.get("nights"):
            mean = float(nights["mean_between_stops"])
            now += float(nights["nights"]) * mean * -math.expm1(-float(nights["window"]) / mean)
        hours = Amount(round(now, 1), unit="h/year", given_by=running["cutting_share"].given_by)
        return {
            "work now": {"hours": hours, "contribution_per_hour": worth},
            "more work": {"hours": self.amount("extra_hours"), "contribution_per_hour": worth},
        }


def _default(amount: Amount) -> Amount:
    return replace(amount, given_by="default", path="")


def _times(amount: Amount, factor: float, unit: str = "") -> Amount:
    def scaled(value: float | None) -> float | None:
        return None if value is None else round(value * factor, 6)

    likely = round(amount.likely * factor, 6)
    return replace(amount, likely=likely, low=scaled(amount.low), high=scaled(amount.high), unit=unit or amount.unit)


def _hundreds(value: float) -> float:
    return float(round(value, -2))


def _between_stops(of_ten: float, window: float) -> float:
    """Return the mean hours between stops with which `of_ten` nights of `window` hours run through.

    Never and always are taken as one night in twenty the other way.
    """
    chance = min(max(of_ten / 10, 0.05), 0.95)
    return round(-window / math.log(chance), 2)


def _level_worth(payment: float, rate: float, count: int) -> float:
    """Return the balance that `count` monthly payments pay off at `rate` a year."""
    monthly = rate / 12
    return round(payment * (count if abs(monthly) < 1e-12 else -math.expm1(-count * math.log1p(monthly)) / monthly), 2)


def _level_count(balance: float, payment: float, rate: float) -> int:
    """Return how many whole monthly payments pay the balance off at `rate` a year; 0 where they never do."""
    monthly = rate / 12
    if payment <= balance * monthly:
        return 0
    exact = balance / payment if monthly < 1e-12 else -math.log1p(-balance * monthly / payment) / math.log1p(monthly)
    return min(max(round(exact), 1), 480)


def _level_rate(balance: float, payment: float, count: int) -> float:
    """Return the yearly rate at which `count` monthly payments pay off the balance, by halving between 0 and 100 %."""
    low, high = 0.0, 1.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if _level_worth(payment, middle, count) > balance else (low, middle)
    return (low + high) / 2
