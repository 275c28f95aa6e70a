"""What to do after a decision: days against the law's own tables or worked by hand; the calendar file read back."""

import datetime as dt
from collections import defaultdict
from pathlib import Path

import pytest
import vobject
import yaml

import equipdecide as ed
from equipdecide import parameters
from equipdecide.after.todo import DATA, after, load_data, moved
from equipdecide.views.calendar_file import calendar_file
from equipdecide.views.todo_page import todo_page, todo_text

ROOT = Path(__file__).parents[1]
DECK = (ROOT / "scenarios" / "deck_fittings.yaml").read_text(encoding="utf-8")
FIRST = (ROOT / "scenarios" / "first_sale.yaml").read_text(encoding="utf-8")
DAY = dt.date


def changed(text, *pairs):
    for old, new in pairs:
        assert old in text, old
        text = text.replace(old, new, 1)
    return ed.loads(text, folder=ROOT / "scenarios")


@pytest.fixture(scope="module")
def deck():
    return ed.compare(ed.load(ROOT / "scenarios" / "deck_fittings.yaml"))


@pytest.fixture(scope="module")
def first():
    return ed.compare(ed.load(ROOT / "scenarios" / "first_sale.yaml"))


def test_days_of_a_sale_and_a_loan_by_hand(deck):
    """Handed over and paid off 2027-02-05; the new loan is drawn with the shipment on 2027-01-04."""
    todo = after(deck, "replace by R1")
    by = {item.key: item.by for item in todo}
    assert by["payoff figure: MC-1 bank"] == DAY(2027, 1, 22)  # 14 days to answer: UCC 9-210(b)
    assert by["consent of the lender: MC-1 bank"] == DAY(2027, 1, 29)
    assert by["demand for release: MC-1 bank"] == DAY(2027, 2, 6)
    assert by["release due: MC-1 bank"] == DAY(2027, 2, 26)  # 20 days after that demand: UCC 9-513(c)
    assert (by["search at 30 days: MC-1 bank"], by["search at 60 days: MC-1 bank"]) == (
        DAY(2027, 3, 7),
        DAY(2027, 4, 6),
    )
    assert by["filing lapses: R1 loan 84"] == DAY(2032, 1, 4)  # five years: UCC 9-515(a); 84 payments outlive it
    assert by["lien of the new loan: R1 loan 84"] == DAY(2027, 2, 3)
    assert [by[f"look back: month {m}"] for m in (1, 3, 6, 12, 24)] == [
        DAY(2027, 3, 5),
        DAY(2027, 5, 5),
        DAY(2027, 8, 5),
        DAY(2028, 2, 5),
        DAY(2029, 2, 5),
    ]
    # the return of 2027 is due 18 April 2028 (the 15th is a Saturday, the 17th the District's holiday); three years on
    assert by["papers of what was sold: 2027"] == DAY(2031, 4, 18)
    assert list(todo.items) == sorted(todo.items, key=lambda item: item.by)


def test_tax_days_are_those_of_the_published_table(deck):
    """Against `federal/estimated_tax_dates`, whose days were read and worked from the statute, not
    from our calendar.
    """
    table = {
        (row["tax_year"], row["event"]): row["due_date"]
        for row in parameters.load().rows("federal/estimated_tax_dates")
        if row["payer"] == "individual"
    }
    todo = after(deck, "upgrade")
    paid = {item.by for item in todo if item.key.startswith("pay tax")}
    wanted = (
        {table[2026, f"estimate-{k}"] for k in (3, 4)}
        | {table[2027, f"estimate-{k}"] for k in (1, 2, 3, 4)}
        | {table[2026, "return"], table[2027, "return"]}
    )
    assert paid == wanted
    entity = {
        (row["tax_year"], row["event"]): row["due_date"]
        for row in parameters.load().rows("federal/estimated_tax_dates")
        if row["payer"].startswith("partnership")
    }
    assert todo["election of section 179: 2026"].by == entity[2026, "return"] == DAY(2027, 3, 15)


def test_amounts_are_what_the_course_adds_to_keeping(deck):
    """By hand from the lines of the ledger: what Ines pays on one day less what she would pay if kept."""
    todo = after(deck, "upgrade")
    item = todo["pay tax: Ines 2027-04-15"]
    added = 0.0
    for name, sign in (("upgrade", -1), ("keep", 1)):
        for line in deck[name].ledger.lines:
            if line.purse == "Ines" and line.group == "tax" and line.dates:
                added += sign * sum(
                    float(a) for day, a in zip(line.dates, line.amounts(), strict=True) if day == DAY(2027, 4, 15)
                )
    assert item.amount == pytest.approx(added, abs=0.005) and item.amount < 0  # the write-off of the kit comes first
    assert "balance of 2026" in item.what and "estimate 1 of 2027" in item.what
    assert not any(item.amount for item in after(deck, "keep"))


def test_a_step_already_done_is_ticked_and_the_rest_counts_from_its_day():
    """Figured on 20 October, the machine gone on the 13th: what came before is ticked, what follows stays open."""
    scenario = changed(
        FIRST,
        ("decision_date: 2026-09-28", "decision_date: 2026-10-20"),
        ("by: reseller, on: 2026-10-09}", "by: reseller, on: 2026-10-13, done: yes}"),
    )
    comparison = ed.compare(scenario)
    todo = after(comparison, "sell and replace")
    before = (
        "terms of the reseller: sander",
        "notice of consignment: sander",
        "consent of the lender: sander bank",
        "control and drawings: sander",
    )
    assert all(todo[key].done for key in before)
    demand, release = todo["demand for release: sander bank"], todo["release due: sander bank"]
    assert (demand.by, demand.done, demand.late) == (DAY(2026, 10, 14), False, True)
    assert (release.by, release.late) == (DAY(2026, 11, 3), False)  # 13 October, a day, twenty days
    assert not todo["order in writing: used sander"].done
    assert "[x]" in todo_text(todo) and "Late on 2026-10-20" in todo_text(todo)
    again = after(comparison, "sell and replace", done=[demand.key])
    assert again[demand.key].done and len(again.late) == len(todo.late) - 1
    with pytest.raises(KeyError, match="to tick"):
        after(comparison, "sell and replace", done=["no such"])


@pytest.mark.parametrize(
    ("code", "key", "by"),
    [
        ("ca", "property tax return: 2028", DAY(2028, 4, 1)),
        ("IN", "property tax return: 2028", DAY(2028, 5, 15)),
        ("NC", "property tax return: 2028", DAY(2028, 1, 31)),
        ("MI", "property tax return: 2027", DAY(2028, 2, 20)),  # assessed on 31 December
        ("NY", "property tax, no return known: 2028", DAY(2028, 1, 1)),
        ("WV", "property tax, to ask: 2028", DAY(2028, 1, 1)),
    ],
)
def test_property_tax_by_state(deck, code, key, by):
    """Sold 2027-02-05, bought 2027-01-18: neither counts on 1 January 2027. Days: the calendars named in the data."""
    state = deck.scenario.shop.state.model_copy(update={"code": code})
    scenario = deck.scenario.model_copy(update={"shop": deck.scenario.shop.model_copy(update={"state": state})})
    evaluation = type(deck.evaluation)(
        scenario,
        deck.evaluation.time,
        {n: _with(p, scenario) for n, p in deck.evaluation.plans.items()},
        deck.evaluation.ledgers,
        deck.evaluation.law,
        (),
    )
    todo = after(evaluation, "replace by R1")
    assert [(item.key, item.by) for item in todo if item.key.startswith("property tax")] == [(key, by)]
    assert "assessor" in todo[key].ask


def _with(plan, scenario):
    from dataclasses import replace

    return replace(plan, scenario=scenario)


FLAT = """
title: Textbook
decision_date: 2026-01-05
regime: flat
flat: {tax_rate: 25 %}
machine_in_question: [old]
study: {years: 5, rate: 10 %}
shop: {name: Shop, taxed_as: sole proprietor}
machines:
  old:
    what: lathe
    assets: {lathe: {cost: 50,000, in_service: 2023-01-10}}
    loans: {note: {principal: 20,000, rate: 8 %, payments: 36, first_payment: 2024-02-01}}
    worth_at_end: 0
offers: {cash: {machine: old, route: outright, price: 30,000}}
alternatives:
  keep: []
  sell: [{do: sell, machine: old, by: cash, on: 2026-03-02}]
"""


def test_elsewhere_the_list_asks():
    """Outside the United States no day of American law stands in the list: it asks, and says whom."""
    todo = after(ed.compare(ed.loads(FLAT)), "sell")
    said = " ".join(f"{item.what} {item.source}" for item in todo)
    assert not any(word in said for word in ("UCC", "IRC", "Form 4797", "20 days", "section 179"))
    demand = todo["demand for release: old note"]
    assert "ask your lawyer" in demand.what and demand.mark == "common practice"
    assert not any(item.key.startswith("pay tax") for item in todo)


def _everywhere(deck, first):
    """Enough courses that every entry of the data is called for."""
    lease = [
        (
            "R1, ordered: 2026-09-21, shipped: 2027-01-04, on: 2027-01-18, pay: R1 loan 84",
            "R1, ordered: 2026-09-21, shipped: 2027-01-04, on: 2027-01-18, pay: R1 lease",
        )
    ]
    buyout = [(lease[0][0], lease[0][0].replace("R1 loan 84", "R1 buyout"))]
    yield from ((deck, name) for name in deck.evaluation.plans)
    yield first, "sell and replace"
    for pairs in (lease, buyout):
        yield ed.compare(changed(DECK, *pairs)), "replace by R1"
    for code in ("CA", "NY"):
        yield (
            ed.compare(
                changed(FIRST, ("taxed_as: sole proprietor", f"taxed_as: sole proprietor\n  state: {{code: {code}}}"))
            ),
            "sell and replace",
        )


def test_every_entry_is_called_for_and_says_where_it_is_from(deck, first):
    met = defaultdict(set)
    for comparison, name in _everywhere(deck, first):
        for item in after(comparison, name):
            met[item.key.partition(":")[0]].add(item.basis)
            assert "{" not in item.what + item.ask + item.who + item.why
    rules = {rule.id: rule for rule in load_data().rules}
    assert set(met) == set(rules)
    assert all(rule.source for rule in rules.values() if rule.mark == "read")
    assert {"common practice, no source"} == met["leave it safe"]
    assert {"UCC 9-315(a)(1) (from memory, to be confirmed)"} == met["consent of the lender"]


def test_the_notice_of_a_lease(deck):
    """Drawn with the shipment on 2027-01-04, 60 months: ends 2032-01-04; the file says 180 to 120 days before."""
    pair = (
        "shipped: 2027-01-04, on: 2027-01-18, pay: R1 loan 84",
        "shipped: 2027-01-04, on: 2027-01-18, pay: R1 lease",
    )
    todo = after(ed.compare(changed(DECK, pair)), "replace by R1")
    item = todo["notice to the lessor: R1 lease"]
    assert item.by == DAY(2032, 1, 4) - dt.timedelta(days=120) == DAY(2031, 9, 6)
    assert "from 2031-07-08 to 2031-09-06" in item.what
    assert not any(key.key.startswith("election of section 179") for key in todo)  # the lessor writes it off


def test_faults_of_the_data_are_said_together(tmp_path):
    bad = tmp_path / "bad.yaml"
    data = yaml.safe_load(DATA.read_text(encoding="utf-8"))
    data["entries"] = [
        {"id": "a", "for_each": "sale", "wat": 1, "mark": "sure"},
        {"id": "b", "for_each": "sale", "by": {"day": "sold"}, "who": "x", "what": "y", "why": "z", "mark": "read"},
    ]
    bad.write_text(yaml.safe_dump(data), encoding="utf-8")
    with pytest.raises(ValueError) as caught:
        load_data(bad)
    for words in ("a: unknown key wat", "a: who is missing", "a: mark is one of", "b: what was read needs its source"):
        assert words in str(caught.value)


def test_days_move_as_the_data_says():
    days = {"sold": DAY(2028, 2, 29)}
    assert moved({"day": "sold", "years": 1}, days) == DAY(2029, 2, 28)
    assert moved({"day": "sold", "days": -60}, days) == DAY(2027, 12, 31)
    assert moved({"day": "sold", "months": 1, "days": 17, "tax_day": True}, days) == DAY(
        2028, 4, 18
    )  # Saturday, holiday


def test_the_calendar_is_read_by_an_independent_reader(deck):
    """Written by icalendar, read by vobject (RFC 5545): the same days and words, whole days, one name for each."""
    todo = after(deck, "replace by R1")
    made = calendar_file(todo)
    assert made == calendar_file(after(deck, "replace by R1"))  # the same bytes
    text = made.decode("utf-8")
    lines = made.split(b"\r\n")
    assert max(map(len, lines)) <= 75 and text.count("\n") == text.count("\r\n")  # RFC 5545 3.1
    events = vobject.readOne(text).vevent_list
    assert len(events) == len(todo.items) == len({event.uid.value for event in events})
    for event, item in zip(events, todo, strict=True):
        assert type(event.dtstart.value) is DAY and event.dtstart.value == item.by
        assert event.dtend.value - event.dtstart.value == dt.timedelta(days=1)
        assert item.what in event.summary.value and item.why in event.description.value
        assert event.dtstamp.value == dt.datetime(2026, 9, 14, tzinfo=dt.UTC)
        assert event.valarm.trigger.value == dt.timedelta(days=-3)
    vobject.readOne(text).validate(raiseException=True)


def test_an_event_keeps_its_name_when_its_day_moves():
    """A list made again after a step moved brings a calendar up to date instead of filling it twice."""
    names = []
    for day in ("2026-10-09", "2026-10-13"):
        todo = after(
            ed.compare(changed(FIRST, ("by: reseller, on: 2026-10-09", f"by: reseller, on: {day}"))), "sell and replace"
        )
        names.append(
            {
                event.uid.value: event.dtstart.value
                for event in vobject.readOne(calendar_file(todo).decode()).vevent_list
            }
        )
    assert set(names[0]) == set(names[1])
    assert sum(names[0][name] != names[1][name] for name in names[0]) > 8


def test_the_page_holds_every_entry_and_asks_no_server(deck, tmp_path):
    todo = after(deck, "replace by R1", today=DAY(2027, 2, 20))
    page = todo_page(todo, tmp_path / "todo.html")
    assert (tmp_path / "todo.html").read_text(encoding="utf-8") == page
    assert page.count("<tr") == len(todo.items) + 1
    assert page.count('class="late"') == len(todo.late) > 0
    assert "src=" not in page and "http" not in page.replace("http-equiv", "")
    text = todo_text(todo, full=True)
    assert text.count("Basis:") == len(todo.items)
    assert max(map(len, text.splitlines())) <= 96


def test_an_unknown_course(deck):
    with pytest.raises(KeyError, match="no alternative 'sell'"):
        after(deck, "sell")


def test_an_owner_who_has_signed_sees_what_is_done_what_is_open_and_the_tax():
    """Sold on 18 September and R1 ordered on the 21st; the file is written on 12 October."""
    old = DECK[DECK.index("  replace by R1:\n    - {do: buy") : DECK.index("  replace by R2:\n    - {do: buy")]
    new = """  replace by R1:
    - {do: sell, machine: MC-1, by: outright, on: 2026-09-18, done: yes}
    - {do: buy, machine: R1, ordered: 2026-09-21, shipped: 2027-01-04, on: 2027-01-18, pay: R1 loan 84}
"""
    signed = changed(
        DECK,
        ("decision_date: 2026-09-14", "decision_date: 2026-10-12"),
        (old, new),
        ("by: outright, on: 2026-09-18}", "by: outright, on: 2026-11-18}"),
    )
    todo = after(ed.compare(signed), "replace by R1", DAY(2026, 10, 12))
    done, late = {item.key for item in todo if item.done}, {item.key for item in todo.late}
    assert {"bill of sale: MC-1", "order in writing: R1"} <= done
    assert todo["order in writing: R1"].by == DAY(2026, 9, 21)
    assert late == {
        "insurer, sold: MC-1",
        "demand for release: MC-1 bank",
        "letter that it is paid: MC-1 bank",
        "release due: MC-1 bank",
    }
    assert not todo["acceptance test: R1"].done and todo["acceptance test: R1"].by == DAY(2027, 1, 18)
    # what the sale left, and when its tax is due: the estimate of 15 January and the return
    sold = ed.sale(signed)
    assert sold.date == DAY(2026, 9, 18) and sold["outright"].net_cash == pytest.approx(16_016.69, abs=0.005)
    assert [day for day, _ in sold["outright"].tax_due] == [DAY(2027, 1, 15), DAY(2027, 4, 15)]
    assert sum(amount for _, amount in sold["outright"].tax_due) == pytest.approx(sold["outright"].tax)
    with pytest.raises(ValueError, match="is done"):
        ed.routes(signed)
    with pytest.raises(ValueError, match="not within the study"):
        ed.sale(signed, "2026-09-20")  # no step was done on that day
