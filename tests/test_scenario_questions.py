"""The fifteen questions: defaults as the door states them, scripted dialogues, answers turned into a scenario.

Defaults: common practice, no source, unless noted. Expected figures are worked by hand beside each.
"""

from __future__ import annotations

import datetime as dt

import pytest

from equipdecide.scenario import Scenario, loads
from equipdecide.scenario.amounts import AmountError
from equipdecide.scenario.asking.questions import (
    BLANKS,
    QUESTIONS,
    AnswerError,
    scenario_from_answers,
    to_yaml,
    value_by_age,
)
from equipdecide.scenario.asking.typed import as_meant
from equipdecide.scenario.reading import amounts

TODAY = dt.date(2026, 9, 14)
LEAST = {"machine": "mill", "cost": "100,000", "in_service": "2021-09-15", "hour_worth": "50", "owed": "none"}
FULL = LEAST | {
    "deducted": "80,000",
    "taxed_as": "partnership",
    "owners": "Ines 60 %, Walt 40 %",
    "tax_rate": "30 %",
    "state": "oh",
    "worth": "28,000 .. 34,000 .. 38,000",
    "route": "outright",
    "commission": "none",
    "owed": "20,000",
    "loan_rate": "6 %",
    "payments_left": "24",
    "payment": "886.41",
    "shift_week": "40",
    "hours_week": "24",
    "nights_week": "4",
    "night_hours": "5",
    "nights_of_ten": "6",
    "extra_hours": "200 .. 500 .. 600",
    "repairs": "9,000",
    "lost_days": "10",
    "upgrade_price": "48,000",
    "upgrade_hours": "26",
    "upgrade_cycle": "0.9",
    "upgrade_nights_of_ten": "8",
    "upgrade_repairs": "7,000",
    "new_price": "288,500",
    "new_name": "R1",
    "new_extras": "60,000",
    "new_weeks": "18",
    "new_hours": "28",
    "new_cycle": "0.92",
    "new_repairs": "4,000",
    "finance_rate": "8.15 %",
    "finance_months": "84",
    "deposit": "25 %",
    "cash": "74,000",
    "floor": "45,000",
    "years": "7",
    "earns": "10 %",
}


@pytest.fixture(scope="module")
def least() -> Scenario:
    return scenario_from_answers(LEAST, TODAY)


@pytest.fixture(scope="module")
def full() -> Scenario:
    return scenario_from_answers(FULL, TODAY)


def test_there_are_fifteen_and_only_two_must_be_answered() -> None:
    assert [question.number for question in QUESTIONS] == list(range(1, 16))
    assert [question.number for question in QUESTIONS if not question.may_be_skipped] == [1, 8]
    assert all(question.where.endswith(".") for question in QUESTIONS)
    not_in_full = {"upgrade_weeks", "upgrade_nights_week", "new_nights_week", "new_night_hours", "new_nights_of_ten"}
    assert set(FULL) | not_in_full == set(BLANKS)


def test_dont_know_gives_the_stated_defaults(least: Scenario) -> None:
    found = amounts(least)

    def ends(path: str) -> tuple[float | None, float, float | None]:
        assert found[path].given_by == "default", path
        return found[path].low, found[path].likely, found[path].high

    assert ends("owners.owner.tax_rate") == (0.12, 0.24, 0.37)
    assert ends("machines.mill.running.cutting_share") == (0.25, 0.35, 0.60)
    assert ends("machines.mill.upkeep.first_year") == (2000, 4000, 8000)  # 2, 4, 8 % of 100,000
    assert ends("machines.mill.upkeep.growth") == (None, 0.08, None)
    assert ends("parts.more work.hours") == (None, 0, None)
    assert ends("offers.sale.commission") == (None, 0.10, None)
    assert ends("study.rate") == (0.07, 0.10, 0.15)
    assert least.study.years == 7
    assert least.machines["mill"].assets["machine"].section_179 == "all"
    assert least.machines["mill"].loans == {}
    assert least.machines["mill"].running and least.machines["mill"].running.nights is None
    assert least.shop.taxed_as == "sole proprietor" and least.shop.cash is None
    assert list(least.alternatives) == ["keep", "sell and do without"]


def test_what_was_answered_is_not_marked_as_default(least: Scenario, full: Scenario) -> None:
    assert amounts(least)["machines.mill.assets.machine.cost"].given_by == ""
    assert amounts(least)["parts.work now.contribution_per_hour"].given_by == ""
    for path in (
        "study.rate",
        "owners.Ines.tax_rate",
        "machines.R1.price",
        "offers.sale.price",
        "financing.machine loan.amount",
    ):
        assert amounts(full)[path].given_by == "", path


def test_defaults_of_a_new_machine_and_its_loan() -> None:
    scenario = scenario_from_answers(LEAST | {"new_price": "200,000"}, TODAY)
    found = amounts(scenario)
    extras = found["machines.new machine.capital_costs.not in the quote"]
    assert (extras.low, extras.likely, extras.high) == (30_000, 50_000, 70_000)  # 15, 25, 35 % of 200,000
    assert found["machines.new machine.upkeep.first_year"].likely == 2400  # 60 % of 4 % of 100,000
    loan = scenario.financing["machine loan"]
    assert (loan.amount.likely, loan.rate.likely, loan.payments) == (160_000, 0.08, 60)  # 20 % down
    step = scenario.alternatives["replace"][0]
    assert step.on == dt.date(2027, 1, 4)  # 16 weeks, 112 days, after 2026-09-14
    assert found["machines.new machine.running.cutting_share"].likely == 0.35


def test_every_answer_finds_its_field(full: Scenario) -> None:
    mill, new, kit = full.machines["mill"], full.machines["R1"], full.improvements["upgrade"]
    assert mill.running and mill.running.nights and new.running and new.upkeep and kit.changes.nights
    # 40 h x 50 weeks = 2,000 h less 10 of 250 working days = 1,920 h; 24 of 40 h = 60 %
    assert mill.running.staffed_hours.likely == 1920
    assert mill.running.cutting_share.likely == 0.6
    assert mill.running.nights.nights.likely == 200
    # six of ten nights of 5 h run through: exp(-5 / 9.788) = 0.6, since -5 / ln 0.6 = 5 / 0.510826 = 9.788
    assert mill.running.nights.mean_between_stops and mill.running.nights.mean_between_stops.likely == 9.79
    # eight of ten: 5 / 0.223144 = 22.407
    assert kit.changes.nights.mean_between_stops and kit.changes.nights.mean_between_stops.likely == 22.41
    assert kit.changes.cutting_share and kit.changes.cutting_share.likely == 0.65
    assert kit.changes.upkeep and kit.changes.upkeep.first_year.likely == 7000
    assert new.running.cutting_share.likely == 0.7
    assert new.running.cycle_factor and new.running.cycle_factor.likely == 0.92
    assert new.lead and new.lead.likely == 18
    # hours now: 1,920 x 0.6 = 1,152, and 200 nights of 9.79 x (1 - exp(-5 / 9.79)) = 9.79 x 0.399939 = 3.9154 h
    hours = full.parts["work now"].hours
    assert hours and hours.likely == pytest.approx(1152 + 783.1, abs=0.1)
    more = full.parts["more work"].hours
    assert more and (more.low, more.likely, more.high) == (200, 500, 600)
    assert full.shop.state and full.shop.state.code == "OH"
    assert full.owners["Walt"].share.likely == 0.4
    loan = mill.loans["loan"]
    assert (loan.principal.likely, loan.payments, loan.balance_on, loan.first_payment) == (
        20_000, 24, TODAY, dt.date(2026, 10, 1),
    )  # fmt: skip
    assert full.financing["machine loan"].amount.likely == 216_375  # three quarters of 288,500
    assert full.offers["sale"].commission and full.offers["sale"].commission.likely == 0
    assert list(full.alternatives) == ["keep", "upgrade", "replace", "sell and do without"]


def test_a_balance_from_payment_and_payments_left_takes_8_per_cent() -> None:
    answers = {**LEAST, "owed": "don't know", "payment": "1,000", "payments_left": "24"}
    loan = scenario_from_answers(answers, TODAY).machines["mill"].loans["loan"]
    assert (loan.rate.low, loan.rate.likely, loan.rate.high) == (0.06, 0.08, 0.10)
    # present worth of 24 monthly payments of 1: at 8 % 22.110544, at 10 % 21.670855, at 6 % 22.562866
    # (MEMORY: annuity tables)
    assert loan.principal.likely == pytest.approx(22_110.54, abs=0.01)
    assert loan.principal.low == pytest.approx(21_670.85, abs=0.01)
    assert loan.principal.high == pytest.approx(22_562.87, abs=0.01)


def test_a_rate_from_balance_and_payment() -> None:
    # 22,110.54 is paid off by 24 payments of 1,000 at 8 %, as above
    answers = {**LEAST, "owed": "22,110.54", "payment": "1,000", "payments_left": "24"}
    loan = scenario_from_answers(answers, TODAY).machines["mill"].loans["loan"]
    assert loan.rate.likely == pytest.approx(0.08, abs=1e-5)
    assert loan.rate.given_by == "default"


def test_deducted_so_far_becomes_a_table_of_the_whole_cost(full: Scenario) -> None:
    asset = full.machines["mill"].assets["machine"]
    assert asset.table is not None
    shares = [share.likely for share in asset.table]
    assert sum(shares[:5]) == 0.8  # 2021 to 2025: 80,000 of 100,000
    assert sum(shares) == pytest.approx(1.0, abs=1e-12)
    assert len(shares) == 8  # 2021 to 2028: 7-year property spans eight tax years (half-year convention)


def test_value_by_age_lies_between_the_curves() -> None:
    # at age 5: national accounts (1 - 0.1225)^5 = 0.5203; appraiser's rule 0.82 x 0.9^4 = 0.5380; percent good of ten
    # years
    # 0.58, 0.58, 0.55 and of twelve 0.66, 0.65. Low: the lowest at auction (0.6); likely: the middle, 0.58, as a dealer
    # buys (0.8); high: the highest
    low, likely, high = value_by_age(5.0)
    assert low == pytest.approx(0.6 * 0.5203, abs=1e-4)
    assert likely == pytest.approx(0.8 * 0.58)
    assert high == pytest.approx(0.66)
    for age in (0.0, 0.5, 3.2, 9.9, 10.0, 25.0):
        now, later = value_by_age(age), value_by_age(age + 1)
        assert all(a >= b for a, b in zip(now, later, strict=True))


@pytest.mark.parametrize(
    "answers", [LEAST, FULL, LEAST | {"upgrade_price": "9,000"}, LEAST | {"deposit": "100 %", "new_price": "50,000"}]
)
def test_the_written_file_reads_back(answers: dict[str, str]) -> None:
    assert loads(to_yaml(answers, TODAY)) == scenario_from_answers(answers, TODAY)


def test_all_bad_answers_at_once() -> None:
    with pytest.raises(AnswerError) as caught:
        scenario_from_answers(
            {
                "machine": "QX-2.5",
                "cost": "a lot",
                "in_service": "2021-02-30",
                "tax_rate": "0.24",
                "owners": "Ines 60 %, Walt 30 %",
                "hours_week": "70",
                "owed": "?",
                "years": "0",
                "wroth": "5",
            },
            TODAY,
        )
    problems = caught.value.problems
    for key, words in {
        "machine": "full stop",
        "cost": "cannot read 'a lot'",
        "in_service": "no such day",
        "hour_worth": "must be answered",
        "tax_rate": "per cent",
        "owners": "100 %",
        "hours_week": "more than the 40 hours",
        "owed": "Say none",
        "years": "1 to 40",
        "wroth": "Did you mean 'worth'?",
    }.items():
        assert words in problems[key], key
    assert len(problems) == 10


@pytest.mark.parametrize(
    ("more", "key"),
    [
        ({"taxed_as": "sole proprietor", "owners": "A 50 %, B 50 %"}, "taxed_as"),
        ({"taxed_as": "partnership"}, "owners"),
        ({"in_service": "2026-12-01"}, "in_service"),
        ({"deducted": "120,000"}, "deducted"),
        ({"owed": "20,000", "payments_left": "24", "payment": "500"}, "payment"),  # 24 x 500 is less than 20,000
        ({"new_price": "5,000", "new_name": "mill"}, "new_name"),
    ],
)
def test_answers_that_do_not_fit_together(more: dict[str, str], key: str) -> None:
    with pytest.raises(AnswerError) as caught:
        scenario_from_answers(LEAST | more, TODAY)
    assert list(caught.value.problems) == [key]


@pytest.mark.parametrize(
    ("typed", "meant", "per_cent"),
    [
        ("about 60k", "60,000", False),
        ("1.2m", "1,200,000", False),
        ("52,000-80,000", "52,000 .. 66,000 .. 80,000", False),
        ("24% to 30%", "24 % .. 27 % .. 30 %", True),
        ("24", "24 %", True),
        ("0.24", "0.24", True),  # could be a quarter of one per cent: asked again
        ("7 1/2 %", "7.5 %", True),
        ("6½", "6.5 %", True),
        ("2 or 3", "2 .. 2.5 .. 3", False),
        ("50 to 60k", "50,000 .. 55,000 .. 60,000", False),
        ("maybe 30k, I think", "30,000", False),
        ("71,000", "71,000", False),
    ],
)
def test_figures_are_met_half_way(typed: str, meant: str, per_cent: bool) -> None:
    assert as_meant(typed, per_cent) == meant


@pytest.mark.parametrize("typed", ["3/14/2022", "2022-03-14", "14 Mar 2022"])
def test_days_as_people_type_them(typed: str) -> None:
    assert BLANKS["in_service"].read(typed) == dt.date(2022, 3, 14)


def test_a_month_is_its_first_day() -> None:
    assert BLANKS["in_service"].read("March 2022") == BLANKS["in_service"].read("2022-03") == dt.date(2022, 3, 1)


def test_a_state_without_rules_is_left_out_and_said() -> None:
    scenario = scenario_from_answers(LEAST | {"owed": "none", "state": "Georgia"}, TODAY)
    assert scenario.shop.state is None
    assert any(note.startswith("GA:") and "left out" in note for note in scenario.notes)
    assert scenario_from_answers(LEAST | {"owed": "none", "state": "Ohio"}, TODAY).shop.state.code == "OH"


def test_an_unknown_number_of_payments_is_a_marked_guess() -> None:
    loan = scenario_from_answers(LEAST | {"owed": "20,000", "payment": "24"}, TODAY).machines["mill"].loans["loan"]
    assert loan.payments == 36 and loan.payment is None  # the payment follows from balance, rate and 36 payments


def test_a_down_payment_in_money_or_per_cent() -> None:
    # 100,000 less 30,000, and less 30 %
    for typed in ("30,000", "30 %"):
        made = scenario_from_answers(LEAST | {"owed": "none", "new_price": "100,000", "deposit": typed}, TODAY)
        assert made.financing["machine loan"].amount.likely == pytest.approx(70_000)


def test_a_new_machine_may_run_the_nights_the_old_one_cannot() -> None:
    answers = {"new_price": "200,000", "new_nights_week": "4", "new_night_hours": "8", "new_nights_of_ten": "7"}
    machines = scenario_from_answers(LEAST | {"owed": "none"} | answers, TODAY).machines
    assert machines["mill"].running.nights is None
    nights = machines["new machine"].running.nights
    assert (nights.nights.likely, nights.window.likely) == (200, 8)  # 4 nights in 50 weeks
    assert nights.mean_between_stops.likely == pytest.approx(22.43, abs=0.01)  # -8 / ln 0.7


@pytest.mark.parametrize(
    ("key", "typed", "likely"),
    [
        ("cost", "100 grand", 100_000),
        ("cost", "94,500 plus 2,100 freight", 96_600),
        ("worth", "a neighbour said about 55k", 55_000),
        ("hour_worth", "85 an hour", 85),
        ("loan_rate", "7 1/2", 0.075),
    ],
)
def test_one_figure_among_words(key: str, typed: str, likely: float) -> None:
    assert float(BLANKS[key].read(typed)) == pytest.approx(likely)


@pytest.mark.parametrize(
    ("key", "typed"),
    [
        ("cost", "60k at 7 %"),
        ("hours_week", "5 days"),
        ("new_weeks", "4 months"),
        ("cost", "55k or so, 3 offers"),
        ("new_cycle", "20 %"),
    ],
)
def test_a_figure_of_another_unit_or_of_two_is_not_guessed(key: str, typed: str) -> None:
    with pytest.raises(AmountError):
        BLANKS[key].read(typed)


def test_written_off_in_full_is_all() -> None:
    assert BLANKS["deducted"].read("written off in full") == BLANKS["deducted"].read("100 %") == "all"


def test_a_year_alone_is_its_middle() -> None:
    assert BLANKS["in_service"].read("1998 or so") == dt.date(1998, 7, 1)


def test_payments_left_follow_from_balance_rate_and_payment() -> None:
    # 24 payments of 1,000 at 8 % are worth 22,110.54 (MEMORY: annuity tables, as above)
    answers = {**LEAST, "owed": "22,110.54", "loan_rate": "8 %", "payment": "1,000"}
    assert scenario_from_answers(answers, TODAY).machines["mill"].loans["loan"].payments == 24


def test_owners_in_equal_shares() -> None:
    found = scenario_from_answers(LEAST | {"owners": "Mara and Theo, half each"}, TODAY)
    assert {name: owner.share.likely for name, owner in found.owners.items()} == {"Mara": 0.5, "Theo": 0.5}
    assert found.shop.taxed_as == "partnership"
