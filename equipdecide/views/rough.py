"""The rough answer to the fifteen questions: read in a minute, the answer first, the cautions short and last."""

from __future__ import annotations

import re
from collections.abc import Mapping

from equipdecide.cautions import ESTIMATE
from equipdecide.decide.breakeven import Breakevens, Flip
from equipdecide.decide.compare import Comparison, Outcome
from equipdecide.decide.sale import SaleResult
from equipdecide.scenario.amounts import Amount
from equipdecide.scenario.asking.questions import QUESTIONS
from equipdecide.scenario.reading import amounts
from equipdecide.views.flip_list import flip_in_words
from equipdecide.views.grid import WIDTH
from equipdecide.words import day, listed, money, month, percent, whole, wrap

NEAR = 0.5  # of the figure entered; beyond it a guess is not said to decide
GUESSES = 3  # of those that decide, so many are told
# The question that asks for a figure, by where it stands in the file; the first that fits.
_ASKED_IN = (
    (r"more work\.hours$", 9),
    (r"contribution", 8),
    (r"tax_rate$", 3),
    (r"(offers\.sale\.(price|commission)|worth_at_end)$", 4),
    (r"loans\.", 5),
    (r"upkeep\.first_year$", 10),
    (r"improvements\.", 11),
    (r"(price|capital_costs.*|lead)$", 12),
    (r"financing\.", 14),
    (r"study\.", 15),
)
_NOT_ASKED = {"growth": "The repairs account of the last three to five years says how fast it grows."}


def one_line(comparison: Comparison) -> str:
    """Return the answer so far in a line: the leader, and each other course by how much less it is worth."""
    leader = comparison.leader
    others = [
        f"{o.name} {money((leader - o).npv)} less"
        for o in comparison.outcomes
        if o is not leader and o.npv <= leader.npv
    ]
    return f"{leader.name} leads" + (f"; {listed(others)}" if others else "") + "."


def rough_text(
    comparison: Comparison, flips: Breakevens, none_sold: Comparison, width: int = WIDTH, sold: SaleResult | None = None
) -> str:
    """Return the answer, its flip, the guesses that decide, what the sale leaves, what to find out first, cautions."""
    given = amounts(comparison.scenario)
    guessed = [path for path, amount in given.items() if amount.given_by == "default"]
    deciding = _deciding(flips, given)
    lines = ["ROUGH ANSWER", ""]

    def say(head: str, texts: list[str]) -> None:
        lines.append(head)
        for text in texts:
            lines.extend(wrap(text, width, "  "))
        lines.append("")

    say("The answer", _answer(comparison, none_sold))
    nearest = flips.nearest
    turn = [flip_in_words(nearest) if nearest else f"No single figure turns it from {flips.leader}."]
    if nearest and not _near(nearest):
        turn = [f"Nothing near. The nearest: {turn[0]}"]
    if nearest and nearest in deciding:
        turn = [f"{turn[0]} That figure is a guess or in doubt."]
    say("What would turn it", turn)
    further = [flip for flip in deciding if flip is not nearest]
    if further:
        say("The guesses that decide", [flip_in_words(flip) for flip in further[:GUESSES]])
    elif guessed and not deciding:
        say(
            "The guesses that decide",
            ["None: no default turns the answer by itself unless it is far off, by more than half."],
        )
    if sold is not None:
        say("If it is sold", [_sale(sold)])
    open_ = deciding or ([nearest] if nearest and _near(nearest) else [])
    first = _find_out(open_, comparison.scenario.machine_in_question[0])
    say(
        "Find out first",
        first or ["No single figure left open turns the answer. Next: what it would bring, from two buyers."],
    )
    lines += wrap(
        f"Rough: {len(guessed)} of {len(given)} figures are defaults, which are guesses; in the file they are marked "
        f"from: default. {' '.join(_cautions(comparison))}{ESTIMATE.text}",
        width,
    )
    return "\n".join(lines)


def _answer(comparison: Comparison, none_sold: Comparison) -> list[str]:
    leader, study = comparison.leader, comparison.scenario.study
    head = leader.name[:1].upper() + leader.name[1:]
    apart = [
        f"{o.name} is worth {money(abs((leader - o).npv))} {'less' if (leader - o).npv >= 0 else 'more'}{_cannot(o)}"
        for o in sorted(comparison.outcomes, key=lambda o: -o.npv)
        if o is not leader
    ]
    said = [
        f"{head}. Against it {listed(apart)} (in today's money, after tax, over {study.years} years at "
        f"{percent(float(study.rate))} a year)."
        if apart
        else f"{head}."
    ]
    if comparison.best is None:
        said.append("But no course keeps the cash above your floor: this one is only the best on paper.")
    floor = comparison.scenario.shop.cash_floor
    if floor is None or comparison.scenario.shop.cash is None:
        said.append("Whether the shop can pay for it was not tested: cash or floor is not given.")
    else:
        lows = [
            f"{o.name} {money(o.cash_low.amount)} in {month(o.cash_low.month)}"
            for o in comparison.outcomes
            if o.cash_low is not None
        ]
        said.append(f"Lowest cash, with a floor of {money(float(floor))}: {'; '.join(lows)}.")
    if any(abs(a.npv - b.npv) > 0.5 for a, b in zip(comparison.outcomes, none_sold.outcomes, strict=True)):
        told = "; ".join(
            f"{o.name} {money(o.npv_less_keep, plus=True)}{_cannot(o)}" for o in none_sold.outcomes if o.name != "keep"
        )
        said.append(f"If no extra hour is sold, each course against keeping: {told}.")
    return said


def _cannot(outcome: Outcome) -> str:
    return ", which the shop cannot pay for" if outcome.affordable is False else ""


def _sale(sold: SaleResult) -> str:
    """Say what the sale leaves after the lender and tax, and when the tax is due."""
    route = sold.routes[0]
    lender = f", less {whole(route.payoff)} to the lender" if route.payoff else ""
    costs = f", less {whole(route.selling_costs)} for selling" if route.selling_costs else ""
    left = route.cash_less_tax
    whens = [
        f"on {day(when)}" if abs(amount - route.tax) < 0.5 else f"{whole(amount)} on {day(when)}"
        for when, amount in route.tax_due
    ]
    due = listed(whens)
    end = f"{whole(left)} is left" if left >= 0 else f"you are short by {whole(-left)}, to be found elsewhere"
    net = route.net_cash
    cash = f"gives {whole(net)} in cash" if net >= 0 else f"does not cover it: {whole(-net)} to pay in"
    return (
        f"{sold.machine}, {day(route.sold_on)}: {whole(route.gross)}{costs}{lender} {cash}; "
        f"tax on the gain of {whole(route.gain)} is {whole(route.tax)}{f', due {due}' if due else ''}: {end}."
    )


def _near(flip: Flip) -> bool:
    """Whether a flip lies within the owner's range, or within half of what was entered."""
    return flip.inside_range or flip.distance <= NEAR


def _deciding(flips: Breakevens, given: Mapping[str, Amount]) -> list[Flip]:
    """Return the guesses that turn the leader, the nearest first, each once."""
    found: dict[str, Flip] = {}
    for flip in flips.flips:
        guess = flip.path in given and given[flip.path].given_by in ("default", "guess")
        if (flip.inside_range or (guess and _near(flip))) and flips.leader in (flip.alternative, flip.against):
            found.setdefault(flip.path, flip)
    return list(found.values())


def _find_out(flips: list[Flip], machine: str) -> list[str]:
    """Return what to find out, and where, for the figures nearest to turning the answer; each question once."""
    said: list[str] = []
    for flip in flips:
        name = flip.path.rsplit(".", 1)[-1]
        number = next((n for pattern, n in _ASKED_IN if re.search(pattern, flip.path)), 0)
        if re.search(r"\.running\.", flip.path):
            old = flip.path.startswith(f"machines.{machine}.")
            number = (7 if "nights" in flip.path else 6) if old else 13
        where = QUESTIONS[number - 1].where if number else _NOT_ASKED.get(name, "")
        told = f"{flip.label}{f' (question {number})' if number else ''}: {where[:1].lower()}{where[1:]}"
        if where and told not in said:
            said.append(told)
    return said[:GUESSES]


def _cautions(comparison: Comparison) -> list[str]:
    """The warnings, each in its first sentence."""
    warnings = [f.text for f in comparison.findings if f.weight == "warning"]
    return [re.split(r"(?<=[a-z)])\. (?=[A-Z])", text)[0].rstrip(".") + ". " for text in warnings[:2]]
