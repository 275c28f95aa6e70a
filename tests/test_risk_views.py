"""Tables and commands of chances, timing, whose guesses, routes, money, cash and the lender:
figures of the results, at console width.
"""

from __future__ import annotations

import json
import time
from pathlib import Path

import numpy as np
import pytest

import equipdecide as ed
from equipdecide.cli import main
from equipdecide.decide.simulate import Runs
from equipdecide.decide.trials import Trials
from equipdecide.scenario.examples import example, examples
from equipdecide.views import lending, risk, sell_when, service_life, waiting
from equipdecide.views.listing import Listing
from equipdecide.words import cents, in_hundred, money, plain, times

COMMANDS = (
    "simulate",
    "tornado",
    "map",
    "whose",
    "service-life",
    "replace-when",
    "sell-when",
    "wait",
    "routes",
    "money",
    "calendar",
    "lender",
)
CHARTS = tuple(command for command in COMMANDS if command not in ("whose", "wait"))
DECK = str(example("deck_fittings"))
GUESSES = (
    "\nguesses: {Walt: [{of: improvements.kit.changes.cycle_factor, value: 1.05}, {of: study.rate, value: 12 %}]}\n"
)


def flat(text: str) -> str:
    return " ".join(text.split())


@pytest.fixture(scope="module")
def demo():
    return ed.load(DECK)


@pytest.fixture(scope="module")
def runs(demo) -> Runs:
    return ed.simulate(demo, trials=512)


@pytest.fixture(scope="module")
def printers() -> Runs:
    return ed.simulate(ed.load(example("marrowdene_printers")), trials=1024)


# --- commands


@pytest.mark.parametrize("command", COMMANDS)
def test_each_command_gives_text_and_data(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main([command, DECK]) == 0
    text = capsys.readouterr().out
    assert max(len(line) for line in text.splitlines()) <= 96
    assert "?" not in plain(text, "cp1252").encode("cp1252").decode("cp1252")
    assert main([command, DECK, "--json"]) == 0
    assert isinstance(json.loads(capsys.readouterr().out), dict)


# what an example does not say, and the command that therefore refuses it
NOT_SAID = {
    "wait": {
        "first_sale": "no yes/no doubt",
        "hollinmere_router": "no yes/no doubt",
        "marrowdene_printers": "on which day a doubt is settled",
        "pellwick_laser": "no yes/no doubt",
        "quillhaven_grinder": "no yes/no doubt",
        "shop_records": "no yes/no doubt",
    },
    "service-life": {"night_watch": "would bring today"},
    "replace-when": dict.fromkeys(("more_hours", "night_watch", "shop_records"), "no course of this file does"),
    "sell-when": {"night_watch": "would bring today"},
    "routes": {"night_watch": "No offer for 'MC-1'", "shop_records": "No offer for 'lathe'"},
}


@pytest.mark.parametrize("name", list(examples()))
@pytest.mark.parametrize("command", COMMANDS)
def test_each_example_is_answered_or_refused_in_words(
    command: str, name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    code = main([command, str(example(name)), *(["--trials", "256"] if command == "simulate" else [])])
    said = capsys.readouterr()
    missing = NOT_SAID.get(command, {}).get(name)
    assert code == (0 if missing is None else 1)
    assert missing is None or missing in said.err
    assert "Traceback" not in said.out + said.err and "a fault of equipdecide" not in said.err


@pytest.mark.parametrize("command", CHARTS)
def test_each_chart_is_written(command: str, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    more = {"simulate": ["--trials", "256"], "sell-when": ["--months", "2"]}.get(command, [])
    for ending, start in ((".png", b"\x89PNG"), (".svg", b"<svg")):
        file = tmp_path / f"chart{ending}"
        assert main([command, DECK, *more, "--chart", str(file)]) == 0
        assert file.read_bytes().startswith(start)
        assert str(file) in capsys.readouterr().err


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (["simulate", DECK, "--trials", "3"], "give at least 2 replicates"),
        (["simulate", DECK, "--trials", "900000"], "more than the 262,144"),
        (["tornado", DECK, "upgarde"], "Did you mean 'upgrade'?"),
        (["tornado", DECK, "--against", "kep"], "Did you mean 'keep'?"),
        (["map", DECK, "--x", "study.rat"], "study.rate"),
        (["service-life", DECK, "--machine", "MC-2"], "There is no machine 'MC-2'"),
        (["sell-when", DECK, "upgrade"], "does not sell 'MC-1'"),
        (["sell-when", DECK, "--months", "-1"], "less than 0"),
        (["wait", DECK, "--doubt", "study.rate"], "no yes/no doubt 'study.rate'"),
        (["wait", DECK, "--on", "soon"], "--on"),
        (["wait", str(example("first_sale"))], "no yes/no doubt in this file"),
        (["wait", str(example("marrowdene_printers"))], "events.contract signed"),
        (["calendar", DECK, "kep"], "Did you mean 'keep'?"),
        (["routes", DECK, "--chart", "chart.pdf"], "neither .png nor .svg"),
        (["routes", DECK, "--chart", "nowhere/chart.png"], "There is no folder nowhere"),
    ],
)
def test_a_mistake_is_one_plain_sentence(args: list[str], said: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(args) == 1
    shown = capsys.readouterr()
    assert said.lower() in shown.err.lower()
    assert "Traceback" not in shown.err and shown.out == ""


# --- chances


def test_the_headline_of_a_simulation_follows_the_chances(runs: Runs) -> None:
    text = flat(risk.runs_text(runs))
    best = max(runs.names, key=lambda name: runs.chance_best(name).value)
    assert f"Best without regard to cash in {in_hundred(runs.chance_best(best).value)}: {best}." in text
    assert (
        f"Best of what can be paid for in {in_hundred(runs.chance_best('upgrade', affordable=True).value)}: upgrade."
        in text
    )
    low, high = (float(np.percentile(runs.npv("upgrade") - runs.npv("keep"), level)) for level in (5, 95))
    assert f"nine draws in ten lie between {money(low, plus=True)} and {money(high, plus=True)}" in text
    assert "These chances repeat your own ranges" in text


def test_what_a_contract_is_worth_to_know(printers: Runs) -> None:
    """One doubt, two answers: worth of knowing = mean of the best of each answer less the best of
    the means, by hand.
    """
    drawn = printers.draws["events.contract signed"]
    share = drawn.mean()
    names = [name for name in printers.names if name != "keep"]
    yes, no = (
        {name: float(printers.npv(name, "keep")[drawn == answer][0]) for name in names} | {"keep": 0.0}
        for answer in (1.0, 0.0)
    )
    by_hand = (
        share * max(yes.values())
        + (1 - share) * max(no.values())
        - max(share * yes[name] + (1 - share) * no[name] for name in yes)
    )
    text = flat(risk.runs_text(printers))
    assert f"Whether “contract signed” comes true is worth {money(by_hand)} to know: ask before you sign." in text
    row = risk.information_listing(printers).rows[0]
    assert row[0] == "whether “contract signed” comes true" and row[1].startswith(money(by_hand))


def test_the_best_on_average_is_named_where_another_leads_as_entered(printers: Runs) -> None:
    ahead = float((printers.npv("wait for the signature") - printers.npv("buy now")).mean())
    assert ahead > 0
    assert f"wait for the signature is worth {money(ahead)} more than buy now" in flat(risk.runs_text(printers))


def test_nothing_to_find_out_is_said(runs: Runs) -> None:
    assert runs.evpi(runs.affordable).value < 1
    assert "no draw changes the choice, so nothing is worth paying to find out" in flat(risk.runs_text(runs))


def test_what_a_reader_may_not_see_is_not_told(printers: Runs) -> None:
    hidden = risk.worth_knowing(printers, lambda path: not path.startswith("events."))
    assert "contract" not in " ".join(hidden)
    assert len(risk.information_listing(printers, lambda path: False).rows) == 1


def test_regret_among_what_can_be_paid_for(runs: Runs) -> None:
    best = np.maximum(runs.npv("keep"), runs.npv("upgrade"))
    assert set(runs.affordable) == {"keep", "upgrade"}
    assert runs.regret("keep", runs.affordable).value == pytest.approx((best - runs.npv("keep")).mean())


# --- a simulation that is stopped


@pytest.fixture
def stopped_in_the_fourth(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    ran: list[int] = []
    run = Trials.run

    def interrupted(self: Trials, values: dict[str, np.ndarray]) -> object:
        ran.append(len(next(iter(values.values()))))
        if len(ran) == 4:
            raise KeyboardInterrupt
        return run(self, values)

    monkeypatch.setattr(Trials, "run", interrupted)
    return ran


def _clock(monkeypatch: pytest.MonkeyPatch, each: float) -> None:
    now = [0.0]

    def tick() -> float:
        now[0] += each
        return now[0]

    monkeypatch.setattr(time, "monotonic", tick)


def test_what_was_run_is_kept_after_two_seconds(
    demo, runs: Runs, stopped_in_the_fourth: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    _clock(monkeypatch, 5.0)
    part = ed.simulate(demo, trials=512, stoppable=True)
    assert (part.trials, part.asked, part.replicates) == (192, 512, 3)
    for name in runs.names:
        assert part.npv(name) == pytest.approx(runs.npv(name)[:192], abs=1e-6)
    assert part.findings[0].code == "stopped"
    assert "Stopped after 192 of 512 trials" in risk.runs_text(part)


def test_of_long_replicates_as_many_blocks_are_kept_of_each(
    demo, monkeypatch: pytest.MonkeyPatch, stopped_in_the_fourth: list[int]
) -> None:
    monkeypatch.setattr("equipdecide.decide.simulate.BLOCK", 16)
    _clock(monkeypatch, 5.0)
    part = ed.simulate(demo, trials=128, replicates=2, stoppable=True)  # blocks in turn: 1a 2a 1b, stopped in 2b
    monkeypatch.undo()
    whole = ed.simulate(demo, trials=128, replicates=2)
    assert (part.trials, part.replicates) == (32, 2)
    assert part.npv("upgrade") == pytest.approx(whole.npv("upgrade")[[*range(16), *range(64, 80)]], abs=1e-6)
    assert part.draws["study.rate"] == pytest.approx(whole.draws["study.rate"][[*range(16), *range(64, 80)]])


def test_before_two_seconds_nothing_is_kept(
    stopped_in_the_fourth: list[int], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    _clock(monkeypatch, 0.1)
    assert main(["simulate", DECK, "--trials", "512"]) == 1
    shown = capsys.readouterr()
    assert "Stopped. Nothing was written." in shown.err and shown.out == ""


def test_run_in_parts_a_simulation_is_the_same(demo, runs: Runs) -> None:
    parts = ed.simulate(demo, trials=512, stoppable=True)
    assert parts.trials == runs.trials
    for name in runs.names:
        assert parts.npv(name) == pytest.approx(runs.npv(name), abs=1e-6)
        assert parts.regret(name).error == pytest.approx(runs.regret(name).error)
    assert [f.code for f in parts.findings] == [f.code for f in runs.findings]


# --- what moves it


def test_bars_of_a_tornado_are_listed_with_both_leads(demo) -> None:
    found = ed.tornado(demo)
    rows = risk.tornado_listing(found).rows
    assert [row[5] for row in rows] == [money(bar.swing) for bar in found.bars if bar.swing >= 0.5]
    assert rows[0][3:5] == (money(found.bars[0].at_low, plus=True), money(found.bars[0].at_high, plus=True))
    assert "No single doubt turns it" in flat(risk.tornado_text(found))


def test_the_map_takes_nights_and_what_can_be_sold_for_the_machine(demo) -> None:
    found = ed.two_way(demo, a="replace by R1")
    assert found.y_path == "machines.R1.running.nights.mean_between_stops"
    assert found.x_path.startswith("parts.")
    lead = ed.compare(demo)["replace by R1"].npv_less_keep
    assert found.lead_entered == pytest.approx(lead, abs=1e-6)
    assert money(lead) in flat(risk.map_text(found))
    other = ed.two_way(demo, x="study.rate", a="replace by R1")
    assert other.x_path == "study.rate" and other.y_path != "study.rate"


def test_the_map_of_a_file_without_nights_takes_the_nearest_flips() -> None:
    scenario = ed.load(example("first_sale"))
    flips = ed.breakeven(scenario, a="sell and replace").flips
    found = ed.two_way(scenario)
    assert (found.x_path, found.y_path) == tuple(dict.fromkeys(flip.path for flip in flips))[:2]


# --- when, and whose


def test_a_life_is_made_of_its_two_costs(demo) -> None:
    life = ed.service_life(demo)
    assert life.capital_recovery + life.annual_expenses == pytest.approx(np.asarray(life.before_tax.annual_cost))
    # level annual worth of the first two years' expenses, by hand: (e1 / 1.1 + e2 / 1.21) x 0.1 / (1 - 1.1 ** -2)
    e1, e2 = life.expenses[:2]
    assert life.annual_expenses[1] == pytest.approx((e1 / 1.1 + e2 / 1.21) * 0.1 / (1 - 1.1**-2))
    cost = np.asarray(life.before_tax.annual_cost)
    assert life.near_best == tuple(k + 1 for k in range(len(cost)) if cost[k] / cost.min() <= 1.03)
    assert money(float(cost.min())) in flat(service_life.life_text(life))


def test_years_are_written_as_stretches() -> None:
    assert service_life.years_in_words((2, 3, 4, 7)) == "2 to 4 and 7"


def test_the_month_to_sell_is_the_best_of_the_months(demo) -> None:
    found = ed.sell_when(demo, "replace by R1", months=3)
    text = flat(sell_when.sell_when_text(found))
    assert (
        f"“replace by R1” is worth most now: {money(found.months[0].npv - found.months[-1].npv)} more than 3 months later"
        in text
    )
    assert len(sell_when.sell_when_listing(found).rows) == 4


def test_waiting_is_told_with_its_price(demo) -> None:
    found = ed.wait(demo, affordable=True)
    text = flat(waiting.waiting_text(found))
    assert found.value < 0
    assert (
        f"Do not wait until 2027-07-01 to know whether P5 bracket renews: waiting is worth {money(-found.value)} less"
        in text
    )


def test_the_figure_that_decides_is_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "nightlog.csv").write_bytes(Path(DECK).with_name("nightlog.csv").read_bytes())
    file = tmp_path / "guesses.yaml"
    file.write_text(Path(DECK).read_text(encoding="utf-8") + GUESSES, encoding="utf-8")
    assert main(["whose", str(file)]) == 0
    text = flat(capsys.readouterr().out)
    found = ed.whose(ed.load(file))
    assert found.deciding and not found.agree
    assert "It hangs on kit: Time a part takes" in text
    assert "Walt: What the money would earn elsewhere, after tax 12 %, not 10 %" in text


# --- selling and lending


def test_sources_and_uses_on_the_lenders_page_are_equal(demo) -> None:
    found = ed.lender(demo, "replace by R1")
    text = lending.lender_text(found)
    assert text.count(cents(sum(use.amount for use in found.uses))) == 2
    assert "A projection of one machine, not of the borrower." in text
    assert f"{times(found.worst_coverage)} times in the worst year" in flat(text)


def test_routes_show_what_is_left_and_every_dated_step(demo) -> None:
    found = ed.routes(demo, "2026-09-18")
    text = lending.routes_text(found)
    assert "16,016.69" in text  # by hand in test_first_sale.py
    sold = ed.sale(demo, on="2026-09-18")
    for route in found.routes:
        assert route.left_in_all == pytest.approx(sold[route.name].left_in_all, abs=0.01)
        assert text.count(f"\n{route.name}:\n") == 1


def test_the_best_money_for_a_machine_is_named(demo) -> None:
    found = ed.money(demo)
    best = found.best("R1")
    assert f"R1: {best.name} is worth {money(best.worth_against_cash)} more than paying cash, after tax" in flat(
        lending.money_text(found)
    )


def test_the_calendar_leaves_out_only_what_it_says(demo) -> None:
    found = ed.cash_calendar(demo, "replace by R1")
    short, full = lending.calendar_text(found), lending.calendar_text(found, full=True)
    assert "--full shows all" in short and "--full shows all" not in full
    assert money(found.lowest) in short and "rest of Jan 2027" in short
    assert full.count("tax distribution") == sum("tax distribution" in entry.what for entry in found.entries)


def test_results_show_themselves(demo, runs: Runs) -> None:
    assert "8.15 %" in str(ed.money(demo)) and "<Runs>" not in str(runs)
    for result in (
        runs,
        ed.tornado(demo),
        ed.service_life(demo),
        ed.wait(demo),
        ed.whose(demo),
        ed.routes(demo),
        ed.lender(demo),
    ):
        assert "mathjax_ignore" in result._repr_html_()
        assert len(repr(result)) < 40


def test_a_list_wraps_words_and_keeps_figures_whole() -> None:
    made = Listing(
        ("what", "amount"), (("a long name of something that must be broken", "1,234.56"), ("short", "−5.00"))
    )
    lines = made.text(40).splitlines()
    assert max(map(len, lines)) <= 40
    assert sum("1,234.56" in line for line in lines) == 1
    assert lines[-1].endswith("−5.00") and len(lines) == 5
