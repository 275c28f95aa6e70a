"""Lines of forms, tie-out with the last return, dates of elections, property tax on machines, beliefs answered."""

from datetime import date
from pathlib import Path

import pytest

from equipdecide import parameters
from equipdecide.evaluate import Evaluation, evaluate
from equipdecide.scenario import loads
from equipdecide.tax.election_dates import election_dates
from equipdecide.tax.form_lines import FormLine, form_lines
from equipdecide.tax.tie_out import ScheduleError, read_schedule

BASE = """
title: A machine and its papers
decision_date: 2026-01-01
machine_in_question: M
study: {{years: 5, rate: 10 %, tax_indexing: 0 %}}
shop:
  name: Case
  taxed_as: {kind}
  as_things_are: {{ordinary_income: 90,000}}
  {shop}
owners: {{{owners}}}
machines:
  M:
    what: machine
    worth_at_end: 0
    assets: {{{assets}}}
  N: {{what: new machine, price: 60,000, worth_at_end: 0}}
offers:
  buyer: {offer}
alternatives:
  keep: []
  sell: [{{do: sell, machine: M, by: buyer, on: 2026-06-10}}]
  change:
    - {{do: buy, machine: N, ordered: 2025-12-15, on: 2026-01-20, section_179: all}}
    - {{do: sell, machine: M, by: buyer, on: 2026-06-10}}
"""
ONE = "One: {share: 100 %, filing: single, other_income: 0}"
TRUCK = "truck: {cost: 10,000, in_service: 2024-03-01, life: 5, bonus: elected out, convention: half-year}"
WRITTEN_OFF = "press: {cost: 18,640, in_service: 2021-03-01, section_179: all}"


def made(
    course: str,
    assets: str = WRITTEN_OFF,
    offer: str = "{machine: M, route: outright, price: 6,215, costs: {ad: 310}}",
    kind: str = "sole proprietor",
    owners: str = ONE,
    shop: str = "cash: 1",
    folder: Path | None = None,
) -> Evaluation:
    text = BASE.format(kind=kind, owners=owners, shop=shop, assets=assets, offer=offer)
    return evaluate(loads(text, folder=folder), only=[course])


def lines(evaluation: Evaluation, course: str, year: int = 2026) -> dict[tuple[str, str], float]:
    found: tuple[FormLine, ...] = form_lines(evaluation[course], evaluation.plans[course], evaluation.law, year)
    assert all(one.meaning and one.source for one in found)
    totals: dict[tuple[str, str], float] = {}
    for one in found:
        totals[one.form, one.line] = totals.get((one.form, one.line), 0.0) + one.amount
    return totals


# --- forms


def test_form_4797_of_the_truck() -> None:
    """IRS Publication 544 (2025), chapter 3: the truck sold for 7,000; cost 10,000, depreciation 6,160."""
    found = lines(made("sell", TRUCK, "{machine: M, route: outright, price: 7,000}"), "sell")
    expected = {
        "20": 7000,
        "21": 10000,
        "22": 6160,
        "23": 3840,
        "24": 3160,
        "25b": 3160,
        "31": 3160,
        "13": 3160,
        "17": 3160,
    }
    assert {line: found["4797", line] for line in expected} == pytest.approx(expected, abs=0.005)
    assert ("4797", "32") not in found  # nothing beyond recapture
    assert found["Schedule 1 (1040)", "4"] == pytest.approx(3160)


def test_form_4797_with_expense_of_sale() -> None:
    """Hand-worked case citing Form 4797 (2025) and Publication 537 (2025): price 6,215, expense
    310, all written off.
    """
    found = lines(made("sell"), "sell")
    expected = {"20": 6215, "21": 18950, "22": 18640, "23": 310, "24": 5905, "25b": 5905, "31": 5905}
    assert {line: found["4797", line] for line in expected} == pytest.approx(expected, abs=0.005)


def test_a_loss_goes_to_part_1_and_its_net_to_ordinary() -> None:
    """Hand-worked case citing Form 4797 (2025): a machine at a loss of 2,000 stands on line 2, its net on line 17."""
    land = "truck: {cost: 10,000, in_service: 2024-03-01, life: 5, bonus: elected out, convention: half-year}"
    found = lines(made("sell", land, "{machine: M, route: outright, price: 1,840}"), "sell")
    assert found["4797", "2"] == pytest.approx(-2000)
    assert found["4797", "7"] == pytest.approx(-2000)
    assert found["4797", "17"] == pytest.approx(-2000)


def test_form_4562_adds_up_and_a_partnership_states_section_179_apart() -> None:
    """Line 22 = 12 + 14 + 17 + 19; on Form 1065 line 16a leaves section 179 out, which stands on Schedule K line 12."""
    two = "One: {share: 50 %, filing: single, other_income: 0}, Two: {share: 50 %, tax_rate: 20 %}"
    found = lines(made("change", TRUCK, kind="partnership", owners=two), "change")
    assert found["4562", "2"] == found["4562", "8"] == found["4562", "12"] == 60_000
    assert found["4562", "5"] == 2_560_000
    assert found["4562", "17"] == pytest.approx(960)  # 19.20 % of 10,000, half: sold in the year
    assert found["4562", "22"] == pytest.approx(60_960)
    assert found["1065", "16a"] == pytest.approx(960)
    assert found["1065 Schedule K", "12"] == pytest.approx(60_000)


# --- tie-out


def schedule(tmp_path: Path, text: str) -> list[str]:
    (tmp_path / "last_return.csv").write_text(
        "item,cost,in_service,section_179,bonus,to_date\n" + text, encoding="utf-8"
    )
    shop = "depreciation_schedule: last_return.csv"
    ledger = made("keep", f"{WRITTEN_OFF}, {TRUCK}", shop=shop, folder=tmp_path)["keep"]
    return [f"{one.code}: {one.text}" for one in ledger.findings if one.about == "shop.depreciation_schedule"]


def test_a_schedule_that_agrees_ties_the_books(tmp_path: Path) -> None:
    """By hand: 10,000 x (20 % + 32 %) = 5,200 at the end of 2025; the press was expensed."""
    said = schedule(tmp_path, "M press,18640,2021-03-01,18640,0,18640\nM truck,10000,2024-03-01,,,5200\n")
    assert len(said) == 1 and said[0].startswith("tied_to_return")


def test_every_difference_is_named(tmp_path: Path) -> None:
    said = schedule(tmp_path, "M press,18640,2021-04-01,18000,,18640\nM lathe,500,,,,\n")
    assert len(said) == 4
    words = [
        "section 179 is 18,000.00 on the return, 18,640.00",
        "day in service is 2021-04-01",
        "M lathe: the item is on the schedule",
        "M truck: the item is not on the schedule",
    ]
    assert all(any(word in one for one in said) for word in words), said


def test_without_a_schedule_it_is_said() -> None:
    assert any(one.code == "not_tied" for one in made("keep")["keep"].findings)


def test_a_schedule_that_cannot_be_read_names_every_fault(tmp_path: Path) -> None:
    file = tmp_path / "s.csv"
    file.write_text("item,cost,to_date\nM press,eighteen,5\nM press,5,x\n,4,4\n", encoding="utf-8")
    with pytest.raises(ScheduleError) as caught:
        read_schedule(file)
    said = str(caught.value)
    assert "s.csv:2: cost is 'eighteen'" in said and "s.csv:3: to_date is 'x'" in said
    assert "s.csv:4: item is empty" in said and "M press stands twice" in said


# --- elections


def test_elections_with_their_last_days() -> None:
    """Placed in service in January 2026: return due 15 April 2027, extended 15 October 2027;
    section 179 three years on.
    """
    evaluation = made("change")
    found = {(one.what, one.about): one.last_day for one in election_dates(evaluation.plans["change"], evaluation.law)}
    assert found["section 179: elect, change or revoke", "N as bought"] == date(2030, 4, 15)
    assert found["elect out of bonus for all 7-year property of 2026", "N as bought"] == date(2027, 10, 15)
    assert not any(about == "M press" and "out of bonus" in what for what, about in found)  # 2021 is long closed


def test_a_partnership_elects_a_month_earlier() -> None:
    """Form 1065 is due 15 March (IRC 6072(b)), extended six months."""
    two = "One: {share: 50 %, filing: single, other_income: 0}, Two: {share: 50 %, tax_rate: 20 %}"
    evaluation = made("change", kind="partnership", owners=two)
    found = {(one.what, one.about): one.last_day for one in election_dates(evaluation.plans["change"], evaluation.law)}
    assert found["elect out of bonus for all 7-year property of 2026", "N as bought"] == date(2027, 9, 15)


def test_the_papers_of_a_course() -> None:
    import equipdecide as ed

    text = BASE.format(
        kind="sole proprietor",
        owners=ONE,
        shop="cash: 1",
        assets=WRITTEN_OFF,
        offer="{machine: M, route: outright, price: 6,215}",
    )
    found = ed.papers(loads(text), "change")
    assert {("4562", "12"), ("4797", "13"), ("Schedule C", "13")} <= {
        (one.form, one.line) for one in found.of_year(2026)
    }
    assert [one.about for one in found.open_until(date(2027, 12, 31))] == ["N as bought"]
    assert set(found.to_json()) == {"alternative", "lines", "elections"}
    assert len(found.to_frame()) == len(found.lines)
    assert "where the figures land" in str(found) and found._repr_html_().startswith('<pre class="mathjax_ignore">')
    with pytest.raises(KeyError, match="no alternative 'lease'"):
        ed.papers(loads(text), "lease")


def test_the_papers_on_the_command_line(capsys: pytest.CaptureFixture[str]) -> None:
    from equipdecide.cli import main

    file = str(Path(__file__).parents[1] / "scenarios" / "deck_fittings.yaml")
    assert main(["papers", file, "replace by R1", "--year", "2027"]) == 0
    said = capsys.readouterr().out
    assert "1065 Schedule K" in said and "elect out of bonus" in said and "2027-" in said
    assert main(["papers", file, "replace by R9"]) != 0
    assert "no course 'replace by R9'" in capsys.readouterr().err


# --- property tax


def test_property_tax_by_mills_on_cost_by_age() -> None:
    """Michigan: 2.4 mills on cost for five years, then 1.25 (MCL 211.1057); by hand on 18,640 in
    service in March 2021.
    """
    column = made("keep", shop="state: {code: MI}")["keep"].column("property tax.tax")
    by_year = dict(zip([day.year for day in column.axis.ends], column.per_row(), strict=True))
    assert by_year[2026] == pytest.approx(18_640 * 0.0024)
    assert by_year[2027] == pytest.approx(18_640 * 0.00125)


def test_property_tax_by_pool() -> None:
    """Indiana pool 2, year 5 of age 24 %, year 6 18 %, year 8 15 % and on; 4,000,000 of cost is above the exemption."""
    big = "press: {cost: 4,000,000, in_service: 2021-03-01, bonus: 100 %}"
    column = made("keep", big, shop="state: {code: IN, property_tax: 2 %}")["keep"].column("property tax.tax")
    by_year = dict(zip([day.year for day in column.axis.ends], column.per_row(), strict=True))
    assert by_year[2026] == pytest.approx(4_000_000 * 0.24 * 0.02)
    assert by_year[2028] == pytest.approx(4_000_000 * 0.15 * 0.02)


def test_small_owners_are_exempt_where_the_state_says_so() -> None:
    ledger = made("keep", shop="state: {code: IN, property_tax: 2 %}")["keep"]
    assert "property tax" not in ledger.workings
    assert any(one.code == "property_tax_exempt" for one in ledger.findings)


def test_sales_tax_is_part_of_the_cost_and_an_exemption_is_said() -> None:
    """IRC 164(a): tax on a purchase is cost. By hand, 60,000 at 6 %."""
    text = BASE.format(
        kind="sole proprietor",
        owners=ONE,
        shop="state: {code: OH}",
        assets=WRITTEN_OFF,
        offer="{machine: M, route: outright, price: 6,215}",
    )
    ledger = evaluate(loads(text.replace("price: 60,000,", "price: 60,000, sales_tax: 6 %,")), only=["change"])[
        "change"
    ]
    assert ledger.column("purchase N.basis").figure() == pytest.approx(63_600)
    assert ledger.line("change-over to N").amounts().sum() == pytest.approx(-3_600)
    assert any(one.code == "sales_tax_exempt" for one in ledger.findings)


# --- beliefs


def test_beliefs_are_answered_where_a_plan_invites_them() -> None:
    offer = "{machine: M, route: trade-in, price: 6,215, against: N, price_with_trade: 60,000}"
    text = BASE.format(kind="sole proprietor", owners=ONE, shop="cash: 1", assets=WRITTEN_OFF, offer=offer)
    text = "".join(
        line for line in text.splitlines(keepends=True) if not line.startswith("  sell:")
    )  # a trade buys too
    codes = {one.code for one in evaluate(loads(text), only=["change"])["change"].findings}
    assert {"trade_in_is_a_sale", "buying_cancels_no_gain", "deducted_when_in_service"} <= codes
    assert not {"trade_in_is_a_sale", "buying_cancels_no_gain"} & {one.code for one in made("keep")["keep"].findings}


def test_receipts_above_the_exemption_of_the_interest_limit_are_said() -> None:
    """Rev. Proc. 2025-32 sec. 4.30: 32,000,000 for 2026."""
    text = BASE.format(
        kind="sole proprietor",
        owners=ONE,
        shop="cash: 1",
        assets=WRITTEN_OFF,
        offer="{machine: M, route: outright, price: 6,215}",
    )
    for receipts, said in (("31,900,000", False), ("32,100,000", True)):
        ledger = evaluate(
            loads(text.replace("ordinary_income: 90,000", f"ordinary_income: 90,000, gross_receipts: {receipts}")),
            only=["keep"],
        )["keep"]
        assert any(one.code == "interest_limit_applies" for one in ledger.findings) is said


def test_every_line_named_for_a_return_has_its_row() -> None:
    from equipdecide.tax.form_lines import OWN_RETURN

    rows = {(row["form"], str(row["line"])) for row in parameters.load().rows("federal/form_lines")}
    assert {place for places in OWN_RETURN.values() for place in places if place} <= rows


def test_a_state_with_days_of_its_own() -> None:
    """Florida: 1 May 2027 is a Saturday; California has nothing in September; elsewhere the federal days."""
    from datetime import date

    from equipdecide.calendar import calendar_years
    from equipdecide.tax.payments import due_dates, parts_of_estimates

    law, year = parameters.load(), calendar_years(2026, 2026)
    assert due_dates(law, year, "corporation", "return", "fl") == (date(2027, 5, 3),)
    assert due_dates(law, year, "corporation", "return", "nc") == (date(2027, 4, 15),)
    assert due_dates(law, year, "individual", "return", "fl") == (date(2027, 4, 15),)
    assert parts_of_estimates(law, "ca", "individual") == pytest.approx((1.2, 1.6, 0.0, 1.2))
    assert parts_of_estimates(law, "ca", "corporation") == parts_of_estimates(law, "", "individual") == (1, 1, 1, 1)


def codes_of(text: str, course: str) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for one in evaluate(loads(text), only=["keep", course])[course].findings:
        found.setdefault(one.code, []).append(one.text)
    return found


BELIEVED = """
title: What is believed
decision_date: 2026-11-02
machine_in_question: M
study: {years: 2, rate: 10 %}
shop: {name: Case, taxed_as: sole proprietor}
owners: {One: {share: 100 %, tax_rate: 24 %}}
machines:
  M:
    what: machine
    worth_at_end: 0
    assets: {machine: {cost: 100,000, in_service: 2021-03-01, section_179: all}}
    loans: {bank: {principal: 20,000, rate: 8 %, payments: 24, first_payment: 2026-12-01, balance_on: 2026-11-01}}
  N: {what: new machine, price: 120,000, worth_at_end: 0}
offers:
  dealer: {machine: M, route: outright, price: 60,000, credited_to: N}
  trade: {machine: M, route: trade-in, price: 60,000, against: N, price_with_trade: 120,000}
alternatives:
  keep: []
  change:
    - {do: sell, machine: M, by: OFFER, on: 2026-12-10}
    - {do: buy, machine: N, ordered: 2026-12-12, on: 2027-01-20}
"""


def test_the_five_beliefs_are_answered() -> None:
    left = codes_of(BELIEVED.replace("OFFER", "dealer"), "change")
    assert {
        "payoff_lowers_no_gain",
        "buying_cancels_no_gain",
        "credit_is_received",
        "deducted_when_in_service",
    } <= left.keys()
    assert "not the gain of 60,000" in left["payoff_lowers_no_gain"][0]
    assert "the gain is of 2026, though it is used in 2027" in left["credit_is_received"][0]
    assert "its deductions are of 2027, not 2026" in left["deducted_when_in_service"][0]
    traded = codes_of(BELIEVED.replace("OFFER", "trade").replace("on: 2026-12-10", "on: 2027-01-20"), "change")
    assert "a gain of 60,000 in 2027" in traded["trade_in_is_a_sale"][0]
    for name in ("dealer", "trade"):
        assert not {code for code in codes_of(BELIEVED.replace("OFFER", name), "keep") if code.endswith("no_gain")}


LATER = """
title: Law that came later
decision_date: DECIDED
machine_in_question: M
study: {years: 1, rate: 10 %}
shop: {name: Case, taxed_as: sole proprietor, began: 2025-01-15, as_things_are: {ordinary_income: 90,000}}
owners: {One: {share: 100 %, filing: single, other_income: 10,000}}
machines:
  M:
    what: machine
    worth_at_end: 0
    assets:
      x: {cost: 1,000, in_service: 2025-01-20, bonus: elected out}
      y: {cost: 1,000, in_service: 2024-01-20, system: alternative, bonus: elected out}
      z: {cost: 1,000, in_service: 2023-01-20, bonus: elected out, casualty: {on: 2025-01-25, lowered: 100}}
  N: {what: new machine, price: 100,000, worth_at_end: 0}
alternatives:
  keep: []
  buy: [{do: buy, machine: N, ordered: 2025-08-02, on: 2025-09-01, section_179: 50,000}]
"""


def test_law_after_the_decision_and_rules_from_memory_are_said() -> None:
    """P.L. 119-21 is of 4 July 2025: a decision of February 2025 could not know its bonus or its section 179 limit."""
    before = codes_of(LATER.replace("DECIDED", "2025-02-03"), "buy")
    act = [text for text in before["later_law"] if "2025-07-04" in text]
    for words in ("bonus of 100%", "section 179 limit of 2025", "standard deduction"):
        assert any(text.startswith(words) for text in act), words
    assert any("brackets, single: enacted on 2025-10-09" in text for text in before["later_law"])
    after = codes_of(LATER.replace("DECIDED", "2025-07-21"), "buy")
    assert not any("2025-07-04" in text for text in after.get("later_law", []))
    memory = " ".join(after["rule_from_memory"])
    assert "M x: the months of a short tax year" in memory
    assert "M z: leaving the table after a casualty" in memory
    assert "M y" not in memory
    assert len(after["table_worked_out"]) == 1


def test_a_small_item_above_the_safe_harbour_is_said() -> None:
    """Reg. 1.263(a)-1(f): 2,500 an item without audited statements."""
    for cost, said in (("2,500", False), ("2,501", True)):
        text = BELIEVED.replace("OFFER", "dealer").replace(
            "section_179: all}}",
            f"section_179: all}}, gauge: {{cost: {cost}, in_service: 2023-03-01, expensed: yes}}}}",
        )
        assert ("small_item_over_limit" in codes_of(text, "change")) is said


def test_part_four_and_an_instalment_sale_land_on_their_lines() -> None:
    """Part IV by Publication 946 (a deduction of 5,000, allowable 4,185.20); 20,000 of gain above
    recapture in four parts.
    """
    text = BELIEVED.replace("OFFER", "buyer").replace(
        "section_179: all}}",
        "section_179: all}, tool: {cost: 5,000, in_service: 2024-03-01, life: 3, section_179: all, "
        "business_use_later: 40 %, business_use_changes: 2026-01-01}}",
    )
    text = (
        text.replace(
            "offers:\n",
            "offers:\n  buyer: {machine: M, route: private sale, price: 125,000, divided: {machine: 120,000, tool: "
            "5,000}, paid_over: {deferred: 75 %, payments: 3, rate: 6 %}}\n",
        )
        .replace("on: 2026-12-10", "on: 2027-02-10")
        .replace("years: 2,", "years: 6,")
    )
    evaluation = evaluate(loads(text), only=["keep", "change"])

    def lines(year: int) -> dict[tuple[str, str, str], float]:
        made = form_lines(evaluation["change"], evaluation.plans["change"], evaluation.law, year)
        return {(one.form, one.line, one.about): round(one.amount, 2) for one in made}

    falls = lines(2026)
    assert falls["4797", "33", "M tool"] == 5_000
    assert falls["4797", "34", "M tool"] == 4_185.2
    assert falls["4797", "35", "M tool"] == falls["Schedule C", "6", "M tool"] == 814.8
    sold, later = lines(2027), lines(2028)
    gain = 20_000  # of the machine, above its cost; all of the tool's gain is recapture
    assert sold["6252", "26", "M"] == sold["4797", "4", ""] == sold["4797", "7", ""] == gain / 4
    assert later["6252", "26", "M"] == later["4797", "4", ""] == gain / 4
    assert ("4797", "32", "") not in sold
    assert sold["6252", "12", "M"] == sold["4797", "31", ""]
