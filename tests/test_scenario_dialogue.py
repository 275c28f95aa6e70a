"""The fifteen questions as a dialogue: a line read as people write it, what is asked back, back, stop, answer.

Expected figures are what the words say, worked by hand beside each where it is not plain.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable

import pytest

from equipdecide.scenario.asking.dialogue import FIRST_ANSWER, Stopped, ask
from equipdecide.scenario.asking.line_reading import understood
from equipdecide.scenario.asking.lines import LINES
from equipdecide.scenario.asking.questions import BLANKS, QUESTIONS, scenario_from_answers
from equipdecide.scenario.asking.typed import weeks_until

TODAY = dt.date(2026, 9, 14)


def keys(number: int) -> tuple[str, ...]:
    return next(line.keys for line in LINES if line.number == number)


FULL_LINES = [
    "mill, 100,000, 2021-09-15",
    "80,000",
    "partnership, Ines 60 %, Walt 40 %, tax 30 %, Ohio",
    "28,000 .. 34,000 .. 38,000, to a dealer outright, no commission",
    "20,000 at 6 %, 24 payments of 886.41",
    "40 hours there, it cuts 24",
    "4 nights, 5 h, 6 of ten",
    "50",
    "200 .. 500 .. 600",
    "9,000, ten days lost",
    "48,000, in 6 weeks",
    "cuts 26 h, 10 % less time, 8 of ten nights, repairs 7,000",
    "288,500, called R1, plus 60k rigging, 18 weeks",
    "cuts 28 h, time 0.92, repairs 4,000",
    "8.15 %, 7 years, 25 % down",
    "74k, not under 45k",
    "7 years, 10 %",
]
FULL = {
    "machine": "mill", "cost": "100,000", "in_service": "2021-09-15", "deducted": "80,000", "taxed_as": "partnership",
    "owners": "Ines 60 %, Walt 40 %", "tax_rate": "30 %", "state": "OH", "worth": "28,000 .. 34,000 .. 38,000",
    "route": "outright", "commission": "none", "owed": "20,000", "loan_rate": "6 %", "payments_left": "24",
    "payment": "886.41", "shift_week": "40", "hours_week": "24", "nights_week": "4", "night_hours": "5",
    "nights_of_ten": "6", "hour_worth": "50", "extra_hours": "200 .. 500 .. 600", "repairs": "9,000",
    "lost_days": "10", "upgrade_price": "48,000", "upgrade_weeks": "6", "upgrade_hours": "26", "upgrade_cycle": "0.9",
    "upgrade_nights_of_ten": "8", "upgrade_repairs": "7,000", "new_price": "288,500", "new_name": "R1",
    "new_extras": "60,000", "new_weeks": "18", "new_hours": "28", "new_cycle": "0.92", "new_repairs": "4,000",
    "finance_rate": "8.15 %", "finance_months": "84", "deposit": "25 %", "cash": "74,000", "floor": "45,000",
    "years": "7", "earns": "10 %",
}  # fmt: skip
LEAST_LINES = ["mill, 100,000, 2021-09-15", "", "", "", "none", "", "", "50", "", "", "", "", "", ""]
LEAST = {"machine": "mill", "cost": "100,000", "in_service": "2021-09-15", "owed": "none", "hour_worth": "50"}


def typing(lines: list[str], prompts: list[str] | None = None) -> Callable[[str], str]:
    """Give the lines one after another; EOFError after the last."""
    left = iter(lines)

    def answer(prompt: str) -> str:
        if prompts is not None:
            prompts.append(prompt)
        try:
            return next(left)
        except StopIteration:
            raise EOFError from None

    return answer


def told(lines: list[str], **more: object) -> str:
    said: list[str] = []
    ask(typing(lines), said.append, TODAY, **more)  # type: ignore[arg-type]
    return "\n".join(said)


def test_the_lines_hold_every_blank_once_and_in_order() -> None:
    assert [key for line in LINES for key in line.keys] == list(BLANKS)
    assert {line.number for line in LINES} == set(range(1, 16))
    assert len(LINES) == 17


def test_every_example_is_understood_in_full() -> None:
    for line in LINES:
        for example in line.such_as.split("   or   "):
            said = understood(example.split("   (")[0], line.keys, {"cost": "100,000"}, TODAY)
            assert said.answers and not said.unclear and not said.aside, example


def test_one_line_each_gives_the_same_scenario() -> None:
    prompts: list[str] = []
    said: list[str] = []
    assert ask(typing(FULL_LINES, prompts), said.append, TODAY) == scenario_from_answers(FULL, TODAY)
    assert len(prompts) == 17  # fifteen questions, two of which have a second line
    assert all(f"\n{number} of 15. " in "\n".join(said) for number in range(1, 16))


def test_with_dont_know_fourteen_lines_are_enough() -> None:
    prompts: list[str] = []
    assert ask(typing(LEAST_LINES, prompts), lambda text: None, TODAY) == scenario_from_answers(LEAST, TODAY)
    assert len(prompts) == 14  # no new machine: question 13 and the way of paying are not asked


@pytest.mark.parametrize(
    ("number", "typed", "answers"),
    [
        (1, "the vertical mill, 94,500 plus 2,100 freight, June 2023",
         {"machine": "the vertical mill", "cost": "96,600", "in_service": "June 2023"}),
        (1, "a 2019 lathe bought June 2023 for $96,600",
         {"machine": "a 2019 lathe", "cost": "$96,600", "in_service": "June 2023"}),
        (1, "old lathe, about 30k I think, 1998 or so", {"machine": "old lathe", "cost": "30,000", "in_service": "1998"}),
        (1, "Big Red the vertical, paid 92,500 and 4,100 for rigging in spring 2023",
         {"machine": "Big Red the vertical", "cost": "96,600", "in_service": "spring 2023"}),
        (2, "half of it", {"deducted": "50,000"}),  # of a cost of 100,000
        (2, "80 %", {"deducted": "80,000"}),
        (3, "LLC, Mara and Theo, half each, Ohio", {"owners": "Mara 50 %, Theo 50 %", "taxed_as": "?", "state": "OH"}),
        (3, "just me, Pennsylvania", {"taxed_as": "sole proprietor", "state": "PA"}),
        (3, "s corp; Ines 60% and Walt 40%; 30%",
         {"taxed_as": "S corporation", "owners": "Ines 60%, Walt 40%", "tax_rate": "30%"}),
        (4, "a neighbour shop said about 55k", {"worth": "55,000", "route": "private sale"}),
        (4, "between 50 and 60k at auction, 12 %",
         {"worth": "50,000 to 60,000", "route": "auction", "commission": "12 %"}),
        (4, "n/a", {}),
        (4, "scrap value probably, 2500?", {"worth": "2500"}),
        (4, "I am there 10 hours a week", {}),
        (5, "54,800 at 6.5 %, 38 payments of 1,560",
         {"owed": "54,800", "loan_rate": "6.5 %", "payments_left": "38", "payment": "1,560"}),
        (5, "about 60k at 7 1/2 %, 1,890 a month", {"owed": "60,000", "loan_rate": "7.5 %", "payment": "1,890"}),
        (5, "60k, three years left", {"owed": "60,000", "payments_left": "36"}),
        (5, "paid off", {"owed": "none"}),
        (6, "45, maybe half", {"shift_week": "45", "hours_week": "22.5"}),
        (6, "9 hours a day, it cuts 20", {"shift_week": "45", "hours_week": "20"}),  # five days
        (6, "two of us, 9 hours a day; maybe 22 hours cutting", {"shift_week": "45", "hours_week": "22"}),
        (6, "works maybe 10 hours a week when I am there 50", {"shift_week": "50", "hours_week": "10"}),
        (12, "not now", {"new_price": "none"}),
        (10, "couple hundred bucks", {"repairs": "200"}),
        (7, "none, never", {"nights_week": "none"}),
        (9, "5 h a week", {"extra_hours": "250"}),  # of 50 weeks
        (10, "about 11k, two weeks", {"repairs": "11,000", "lost_days": "10"}),  # working days
        (12, "quote 138,400, tooling and rigging maybe 20k, 16-20 weeks",
         {"new_price": "138,400", "new_extras": "20,000", "new_weeks": "16-20"}),
        (12, "138,400, about 4 months", {"new_price": "138,400", "new_weeks": "17"}),  # 4 x 52 / 12 = 17.3
        (13, "20 % faster, 2 or 3 nights of 5 hours",
         {"new_cycle": "0.833", "new_nights_week": "2 or 3", "new_night_hours": "5"}),  # 1 / 1.2
        (13, "same hours, 20 % less time", {"new_cycle": "0.8"}),
        (14, "8% 5 years, 20k down", {"finance_rate": "8%", "finance_months": "60", "deposit": "20,000"}),
        (14, "cash", {"deposit": "100 %"}),
        (12, "138,400 delivered, another 18 to 24k for tooling, 16 weeks",
         {"new_price": "138,400", "new_extras": "18,000 to 24,000", "new_weeks": "16"}),
        (13, "about 15% faster, would run 3 nights, 6 hrs, 7 out of 10, service 4k",
         {"new_cycle": "0.87", "new_nights_week": "3", "new_night_hours": "6", "new_nights_of_ten": "7",
          "new_repairs": "4,000"}),  # 1 / 1.15 = 0.8696
        (15, "7, no idea", {"years": "7"}),
        (1, "sinker EDM, $71,000.00, 9/12/24",
         {"machine": "sinker EDM", "cost": "$71,000.00", "in_service": "9/12/2024"}),  # month first
        (1, "Lathe; 88k; March of 2014", {"machine": "Lathe", "cost": "88,000", "in_service": "March 2014"}),
        (1, "lathe, 88k, 03-2014", {"machine": "lathe", "cost": "88,000", "in_service": "03/2014"}),
        (1, "lathe, 88k, Oct. 5, 2020", {"machine": "lathe", "cost": "88,000", "in_service": "5 Oct 2020"}),
        (3, "sole prop in Washington state, 22 to 24 percent",
         {"taxed_as": "sole proprietor", "state": "WA", "tax_rate": "22 to 24 %"}),
        (4, "45k - 50k private, no commission", {"worth": "45,000 - 50,000", "route": "private sale", "commission": "none"}),
        (4, "45k - 50k private no commission", {"worth": "45,000 - 50,000", "route": "private sale", "commission": "none"}),
        # from 2026-09 to 2030-09: 48 months
        (5, "owe 60k, 1,510 a month till Sept 2030", {"owed": "60,000", "payment": "1,510", "payments_left": "48"}),
        (6, "5 days 9 hours, 26", {"shift_week": "45", "hours_week": "26"}),
        (6, "5 x 8, about half", {"shift_week": "40", "hours_week": "20"}),
        (6, "two shifts of 8, half", {"shift_week": "80", "hours_week": "40"}),  # five days
        (6, "40 hours a week, 5 hours a day cutting", {"shift_week": "40", "hours_week": "25"}),
        (6, "50 hrs, 60 percent", {"shift_week": "50", "hours_week": "30"}),
        (7, "3 nights, 5 1/2 h, 7/10", {"nights_week": "3", "night_hours": "5.5", "nights_of_ten": "7"}),
        (8, "fifty-five", {"hour_worth": "55"}),
        (10, "6,500, a week lost", {"repairs": "6,500", "lost_days": "5"}),
        # 2026-09-14 to 2027-01-15: 16 + 31 + 30 + 31 + 15 = 123 days, 17.6 weeks
        (12, "46,000, rigging 3,500, 1/15/2027", {"new_price": "46,000", "new_extras": "3,500", "new_weeks": "18"}),
        (13, "saves 8 %", {"new_cycle": "0.92"}),
    ],
)  # fmt: skip
def test_lines_as_people_write_them(number: int, typed: str, answers: dict[str, str]) -> None:
    said = understood(typed, keys(number), {"cost": "100,000"}, TODAY)
    assert said.answers == answers
    assert not said.unclear or not answers


def test_next_spring_is_so_many_weeks() -> None:
    # from 2026-11-25 to 2027-04-01: 5 + 31 + 31 + 28 + 31 + 1 = 127 days, 18.1 weeks
    assert weeks_until("next spring", dt.date(2026, 11, 25)) == "18"
    assert weeks_until("maybe later", dt.date(2026, 11, 25)) == ""


def test_what_is_not_understood_is_asked_singly_and_the_rest_is_kept() -> None:
    prompts: list[str] = []
    lines = [
        "mill, 100,000, 2021-09-15",
        "",
        "",
        "",
        "none",
        "40 h, it cuts 900 or 1,000 or so much",
        "20",
        *LEAST_LINES[6:],
    ]
    said: list[str] = []
    scenario = ask(typing(lines, prompts), said.append, TODAY)
    assert "Not understood: '" in "\n".join(said)
    assert [prompt.strip() for prompt in prompts if "cuts" in prompt] == [BLANKS["hours_week"].prompt.strip()]
    running = scenario.machines["mill"].running
    assert running and running.cutting_share.likely == 0.5  # 20 of 40 hours


def test_what_must_be_answered_is_asked_with_help() -> None:
    text = told([*LEAST_LINES[:7], "?", "no idea", "about 50", *LEAST_LINES[8:]])
    assert "less what the hour uses up" in text


def test_a_figure_far_from_usual_is_asked_back() -> None:
    prompts: list[str] = []
    lines = [*LEAST_LINES[:7], "about 11k", "85", *LEAST_LINES[8:]]
    scenario = ask(typing(lines, prompts), lambda text: None, TODAY)
    assert any("11,000, really?" in prompt for prompt in prompts)
    assert scenario.parts["more work"].contribution_per_hour.likely == 85
    kept = ask(typing([*lines[:8], "yes", *LEAST_LINES[8:]]), lambda text: None, TODAY)
    assert kept.parts["more work"].contribution_per_hour.likely == 11_000


def test_a_floor_in_thousands_that_lost_its_k_is_asked_back() -> None:
    lines = [*LEAST_LINES[:12], "42k, would not go below 15", "15k", ""]
    floor = ask(typing(lines), lambda text: None, TODAY).shop.cash_floor
    assert floor is not None and floor.likely == 15_000


def test_a_second_amount_that_belongs_nowhere_is_said() -> None:
    assert understood("mill, 96,600, 4,100, June 2023", keys(1), {}, TODAY).unclear == ["4,100"]


def test_back_goes_to_the_question_before_and_enter_keeps_its_answer() -> None:
    said: list[str] = []
    lines = [*LEAST_LINES[:2], "back", "back", "", "64,000", *LEAST_LINES[2:]]
    asset = ask(typing(lines), said.append, TODAY).machines["mill"].assets["machine"]
    assert asset.table is not None and asset.table[0].likely == 0.64
    assert "Enter keeps: mill; cost 100,000; first parts 2021-09-15" in "\n".join(said)


def test_back_from_a_figure_asked_singly_asks_its_line_again() -> None:
    lines = ["mill, 100,000", "back", *LEAST_LINES]
    assert ask(typing(lines), lambda text: None, TODAY) == scenario_from_answers(LEAST, TODAY)


def test_answer_takes_the_defaults_for_the_rest() -> None:
    scenario = ask(typing([*LEAST_LINES[: FIRST_ANSWER - 1], "answer"]), lambda text: None, TODAY)
    assert scenario == scenario_from_answers(LEAST, TODAY)
    assert "are needed for a first answer" in told(["answer", *LEAST_LINES])


def test_stopped_answers_are_kept_and_gone_on_from() -> None:
    kept: list[tuple[dict[str, str], int]] = []
    with pytest.raises(Stopped):
        ask(typing([*LEAST_LINES[:5], "stop"]), lambda text: None, TODAY, keep=lambda a, n: kept.append((a, n)))
    answers, number = kept[-1]
    assert number == 6 and answers["cost"] == "100,000"
    # going on: one step back to question 5 is possible, its answer is kept by Enter
    lines = ["back", "", *LEAST_LINES[5:]]
    assert ask(typing(lines), lambda text: None, TODAY, kept=answers, reached=number) == scenario_from_answers(
        LEAST, TODAY
    )


def test_an_answer_on_the_way() -> None:
    text = told(LEAST_LINES, so_far=lambda scenario: f"{len(scenario.alternatives)} courses")
    assert "So far, very roughly: 2 courses" in text
    assert text.index("So far") < text.index("\n15 of 15")


def test_an_llc_of_several_is_taken_as_a_partnership_and_said() -> None:
    lines = [*LEAST_LINES[:2], "LLC, Mara 50, Theo 50", *LEAST_LINES[3:]]
    assert ask(typing(lines), lambda text: None, TODAY).shop.taxed_as == "partnership"
    assert "Taken: taxed as partnership" in told(lines)


def test_answers_that_do_not_fit_are_asked_again_at_their_question() -> None:
    text = told([*LEAST_LINES[:5], "40 h there, it cuts 50 to 60", "20", *LEAST_LINES[6:]])
    assert text.index("more than the 40 hours") < text.index("\n7 of 15")
    text = told([*LEAST_LINES[:4], "?", "none", *LEAST_LINES[5:]])
    assert "none if nothing is owed" in text


def test_defaults_say_what_they_are() -> None:
    lines = [*LEAST_LINES[:10], "none", "200,000", "3 nights", "", "", ""]
    text = told(lines)
    assert "Enter takes: 0" in text
    # no nights now: a night of the new one is taken as 5 h, five of ten running through, not as "the same"
    assert "Taken: hours each 5; of ten run through 5" in " ".join(text.split())


def test_no_more_answers_ends_the_dialogue() -> None:
    with pytest.raises(EOFError):
        ask(typing([]), lambda text: None, TODAY)


def test_where_says_where_to_find_it_and_asks_on() -> None:
    lines = [typed for line in FULL_LINES for typed in ("where", line)]
    said: list[str] = []
    assert ask(typing(lines), said.append, TODAY) == scenario_from_answers(FULL, TODAY)
    text = " ".join("\n".join(said).split())
    assert all(question.where in text for question in QUESTIONS)
    assert all(line.where in text for line in LINES)


def test_a_question_takes_few_words() -> None:
    # ten minutes for seventeen lines: some 35 s each; read at 220 words a minute, 60 words are 16 s of them
    shown = re.split(r"\n(?=\d+ of 15\.)", told(FULL_LINES))
    assert max(len(part.split()) for part in shown) < 85
    assert sum(len(part.split()) for part in shown) < 950


def test_a_dealer_takes_no_commission_and_that_is_said() -> None:
    text = told(["mill, 100,000, 2021-09-15", "", "", "30,000, to a dealer", "none", "", "", "50", *[""] * 6])
    assert "Taken: cost of selling 0 %" in text


def test_a_c_corporation_is_told_that_its_tax_rate_is_not_used() -> None:
    text = told([LEAST_LINES[0], "", "C corp, 25 %, Ohio", "", "none", "", "", "50", *[""] * 6])
    assert "the tax rate that was answered is not used" in " ".join(text.split())


def test_a_lease_is_pointed_to_the_file() -> None:
    prompts: list[str] = []
    lines = [*FULL_LINES[:14], "lease", *FULL_LINES[15:]]
    said: list[str] = []
    scenario = ask(typing(lines, prompts), said.append, TODAY)
    assert "A lease is not asked for here" in " ".join("\n".join(said).split())
    assert len(prompts) == len(FULL_LINES)  # nothing is asked singly
    # the defaults of the loan, as the screen shows them: 8 %, 60 months, 20 % down
    assert float(scenario.financing["machine loan"].rate) == 0.08
