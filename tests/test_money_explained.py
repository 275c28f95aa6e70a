"""Every figure of a payoff, an offer of money and a settlement can be told in words, and the words give the figure."""

import pytest
from money_files import loan, scenario
from recalculate import recalculate

from equipdecide.decide.compare import compare
from equipdecide.views.explain import explain
from equipdecide.views.in_words import Sentence
from equipdecide.views.workbook import lay_out, workbook

LOANS = [
    {
        "payoff": "sum of digits",
        "early_charge": {"by_year": ["5 %", "4 %", "3 %"], "a_year_left": "1 %", "free_share": "10 %"},
        "wire_fee": 35,
    },
    {
        "payoff": "present value",
        "payoff_rate": "6 %",
        "early_charge": {"first_year": "5 %", "falls_over": 5, "months_of_interest": 2},
    },
    {"payoff": "remaining payments", "day_count": "actual/actual", "release_fee": 100},
    {"day_count": "30/360", "collateral": ["saw"], "release_amounts": {"saw": "12,000"}},
]
OFFERS = [
    {
        "kind": "stepped loan",
        "rate": "8 %",
        "payments": 36,
        "steps": [{"payments": 6, "payment": 99}],
        "progress_payments": "50 %",
    },
    {"kind": "deferred loan", "rate": "8 %", "payments": 36, "deferred": 3},
    {"kind": "fixed-option lease", "payments": 36, "payment": "2,600", "option_price": "8,000", "fee": 300},
    {
        "kind": "fair-value lease",
        "payments": 36,
        "payment": "2,300",
        "end_value": "25,000",
        "return_costs": {"freight": "900"},
        "at_end": "return",
        "in_advance": "yes",
    },
]
MONEY = (
    "payoff ",
    "loan ",
    "settlement ",
    "sale ",
    "amount of ",
    "drawn ",
    "progress ",
    "interest before ",
    "service ",
    "return of ",
    "collateral ",
    "purchase ",
)


def course(lent, offered):
    """Three machines and two sales: one let go, one that does not cover its loan, both before a
    purchase by the offer.
    """
    saw = {
        "what": "saw",
        "assets": {"machine": {"cost": "20,000", "in_service": "2024-03-01"}},
        "worth_at_end": "1,000",
    }
    new = {"what": "new", "price": "80,000", "worth_at_end": "9,000", "terms": {"order": "30 %", "acceptance": "70 %"}}
    steps = [
        {"do": "sell", "machine": "saw", "by": "saw buyer", "on": "2026-01-20"},
        {"do": "sell", "machine": "mill", "by": "dealer", "on": "2026-03-20", "rolled_into": "offer"},
        {"do": "buy", "machine": "new", "ordered": "2026-01-05", "on": "2026-04-01", "pay": ["offer"]},
    ]
    return scenario(
        {"bank": loan(**lent)},
        machines={"saw": saw, "new": new},
        years=5,
        offers={
            "saw buyer": {"machine": "saw", "route": "private sale", "price": "14,000"},
            "dealer": {
                "machine": "mill",
                "route": "consignment",
                "price": "40,000",
                "commission": "9 %",
                "credited_to": "new",
                "credit_lost": "10 %",
            },
        },
        financing={"offer": {"amount": "80,000", **offered}},
        alternatives={"go": steps},
    )


EACH = pytest.mark.parametrize(
    ("lent", "offered"), list(zip(LOANS, OFFERS, strict=True)), ids=[offer["kind"] for offer in OFFERS]
)


@EACH
def test_every_figure_of_money_is_told(lent, offered):
    outcome = compare(course(lent, offered))["go"]
    told = 0
    for name, working in outcome.ledger.workings.items():
        if not name.startswith(MONEY):
            continue
        for column in working:
            rows = {0, len(column.axis) - 1, int(abs(column.per_row()).argmax())}
            for row in rows:
                made = explain(outcome, column.full_name, column.axis.labels[row])
                assert made.value == column.figure(row) and (made.sentence or made.origin) and made.rule_says, (
                    column.full_name
                )
                if column.formula is not None:
                    sentence = Sentence(column, row)
                    assert sentence.value(sentence.tree) == pytest.approx(column.figure(row), rel=1e-9, abs=1e-9), (
                        column.full_name
                    )
                told += 1
    assert told > 150


@pytest.mark.e2e
@EACH
def test_the_workbook_agrees_by_libreoffice(lent, offered, tmp_path):
    comparison = compare(course(lent, offered))
    path, made = workbook(comparison, tmp_path / "money.xlsx", "go"), lay_out(comparison, "go")
    cells = recalculate(path)
    of_keep = {id(column) for column in made.keep.ledger.order}
    wrong, seen = [], 0
    for column, row, sheet, address in made.cells():
        name = "keep" if id(column) in of_keep else "go"
        figure = float(next(c for c in comparison[name].ledger.order if c.full_name == column.full_name).per_row()[row])
        shown = cells.get((sheet, address))
        seen += 1
        if not isinstance(shown, int | float) or abs(shown - figure) > 0.005:
            wrong.append(f"{column.full_name}[{row}]: shows {shown}, the engine says {figure}")
    assert wrong == [] and seen > 1000
