"""Reading scenario files: the two contract files, who gave what, writing back, and every fault of broken files."""

from __future__ import annotations

import datetime as dt
import subprocess
import sys
from pathlib import Path

import pytest
import yaml

from equipdecide.scenario import Fault, Scenario, ScenarioError, dump, load, loads, schema
from equipdecide.scenario.models import Buy
from equipdecide.scenario.reading import amounts
from equipdecide.scenario.starter import starter_text
from equipdecide.scenario.writing import schema_text

ROOT = Path(__file__).parents[1]
SCENARIOS = ROOT / "scenarios"
BROKEN = Path(__file__).parent / "broken"
EXPECTED: dict[str, list[list[object]]] = yaml.safe_load((BROKEN / "expected.yaml").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def fittings() -> Scenario:
    return load(SCENARIOS / "deck_fittings.yaml")


# --- the broken files


def faults_of(name: str) -> tuple[Fault, ...]:
    with pytest.raises(ScenarioError) as caught:
        load(BROKEN / name)
    return caught.value.faults


@pytest.mark.parametrize("name", sorted(EXPECTED))
def test_every_fault_of_a_broken_file_is_reported_and_nothing_else(name: str) -> None:
    faults, expected = faults_of(name), EXPECTED[name]
    report = "\n".join(map(str, faults))
    assert [[fault.place.line, fault.place.column] for fault in faults] == [row[:2] for row in expected], report
    for fault, (_, _, *words) in zip(faults, expected, strict=True):
        for word in words:
            assert str(word) in str(fault), f"{word!r} is not in\n{fault}"


@pytest.mark.parametrize("name", sorted(EXPECTED))
def test_every_fault_shows_place_mend_and_line(name: str) -> None:
    for fault in faults_of(name):
        file, line, column = fault.place.file, fault.place.line, fault.place.column
        lines = (BROKEN / file).read_text(encoding="utf-8").splitlines()
        head, *below = str(fault).splitlines()
        assert head.startswith(f"{file}:{line}:{column}: ")
        assert len(fault.mend) > 5
        for tag in ("function-plain", "literal[", "[key]", "extra_forbidden", "Input should"):
            assert tag not in head
        if line <= len(lines) and lines[line - 1].strip():
            assert below[0].strip("\n")[4:].replace("\t", " ") == lines[line - 1].replace("\t", " ")
            assert below[1].index("^") == column + 3


def test_expected_lists_every_broken_file() -> None:
    assert sorted(EXPECTED) == sorted(path.name for path in BROKEN.glob("*.yaml") if path.name != "expected.yaml")
    assert len(EXPECTED) >= 40


# --- what the contract files say (figures copied from the files by hand)


def test_figures_of_the_large_file(fittings: Scenario) -> None:
    machine = fittings.machines["MC-1"]
    rate = fittings.study.rate
    assert (rate.low, rate.likely, rate.high) == (0.07, 0.10, 0.13)
    assert machine.assets["rotary axis"].cost.likely == 26_400
    assert machine.assets["machine"].in_service == dt.date(2021, 5, 17)
    assert machine.loans["bank"].rate.likely == 0.0635
    assert machine.running and machine.running.nights and machine.running.nights.window.likely == 5
    assert fittings.parts["P5 bracket"].renews and fittings.parts["P5 bracket"].renews.chance == 0.75
    assert fittings.parts["P5 bracket"].renews.likely == 1.0
    assert fittings.machine_in_question == ["MC-1"]
    assert fittings.offers["consignment"].pays_lender is True
    assert machine.assets["fixture columns"].expensed is True


def test_words_of_a_doubt_become_its_path(fittings: Scenario) -> None:
    step = fittings.alternatives["kit now, R1 if P5 renews"][1]
    assert isinstance(step, Buy)
    assert step.when == "parts.P5 bracket.renews"
    assert step.pay == ["R1 loan 84"]


@pytest.mark.parametrize(
    "words", ["P5 renews", "p5 bracket renews", "P5 bracket contract renews", "parts.P5 bracket.renews"]
)
def test_a_doubt_may_be_named_by_the_first_word_of_its_part(words: str) -> None:
    text = (
        (SCENARIOS / "deck_fittings.yaml")
        .read_text(encoding="utf-8")
        .replace("when: P5 bracket renews", f"when: {words}")
    )
    scenario = loads(text, folder=SCENARIOS)
    assert scenario.alternatives["kit now, R1 if P5 renews"][1].when == "parts.P5 bracket.renews"


def test_who_gave_it_is_inherited_downwards_and_a_new_source_replaces_the_name(fittings: Scenario) -> None:
    found = amounts(fittings)
    upkeep = found["machines.MC-1.upkeep.first_year"]
    assert (upkeep.given_by, upkeep.by) == ("guess", "Ines")
    assert found["offers.consignment.costs.cleaning"].given_by == "guess"
    assert found["offers.consignment.costs.cleaning"].by == "adviser"
    assert found["owners.Walt.last_tax"].given_by == "last return"
    assert found["offers.outright.price"].given_by == "letter"
    assert found["machines.MC-1.worth_at_end"].given_by == ""
    text = _small("upkeep: {first_year: 900, growth: {likely: 5 %, from: quote, on: 1 Sep 2026}, from: guess, by: Ann}")
    found = amounts(loads(text))
    growth, first = found["machines.mill.upkeep.growth"], found["machines.mill.upkeep.first_year"]
    assert (growth.given_by, growth.by, growth.on) == ("quote", "", "2026-09-01")
    assert (first.given_by, first.by) == ("guess", "Ann")


def test_amounts_know_their_path_and_place(fittings: Scenario) -> None:
    found = amounts(fittings)
    assert all(path == amount.path for path, amount in found.items())
    assert len(found) > 150
    price = found["offers.outright.price"]
    line = (SCENARIOS / "deck_fittings.yaml").read_text(encoding="utf-8").splitlines()[price.place.line - 1]
    assert line[price.place.column - 1 :].startswith("71,000")
    assert fittings.source.where("alternatives.upgrade.0.on") is not None
    assert fittings.source.folder == SCENARIOS


def _small(more: str = "", end: str = "") -> str:
    return f"""\
title: Keep the mill or not?
decision_date: 2026-09-14
machine_in_question: mill
study: {{years: 3, rate: 10 %}}
shop: {{name: Shop, taxed_as: sole proprietor}}
owners: {{Ann: {{share: 100 %, tax_rate: 24 %}}}}
machines:
  mill:
    what: old mill
    assets: {{mill: {{cost: $ 60,000, in_service: 1 Mar 2021}}}}
    {more}
alternatives: {{keep: []}}
{end}"""


def test_thousands_between_braces_and_brackets() -> None:
    scenario = loads(_small("earnings_by_year: [1,200, 1,300, 12,345,678.50]"))
    mill = scenario.machines["mill"]
    assert mill.assets["mill"].cost.likely == 60_000
    assert mill.earnings_by_year and [float(one) for one in mill.earnings_by_year] == [1200, 1300, 12_345_678.5]
    assert mill.earnings_by_year[1].path == "machines.mill.earnings_by_year.1"


def test_a_block_amount_with_a_note() -> None:
    worth = (
        loads(_small("worth_now: {low: 1,000, likely: 2,000, high: 3,000, note: two dealers}"))
        .machines["mill"]
        .worth_now
    )
    assert worth is not None
    assert (worth.low, worth.likely, worth.high, worth.note) == (1000, 2000, 3000, "two dealers")
    assert worth.path == "machines.mill.worth_now"


def test_a_machine_to_buy_may_name_its_depreciation_method() -> None:
    text = _small(end="").replace(
        "alternatives:",
        "  new: {what: n, price: 9,000, depreciation: {method: straight line, life: 9}}\nalternatives:",
    )
    scenario = loads(text)
    rules = scenario.machines["new"].depreciation
    assert rules and rules.method == "straight line" and rules.life == 9
    assert loads(dump(scenario)) == scenario


def test_a_single_string_is_a_list_of_one_and_words_are_booleans() -> None:
    scenario = loads(_small(end="notes: one remark"))
    assert scenario.notes == ["one remark"]
    assert scenario.machines["mill"].bought_used is False
    assert loads(_small("bought_used: yes")).machines["mill"].bought_used is True


# --- writing and schema


@pytest.mark.parametrize("name", ["first_sale.yaml", "deck_fittings.yaml"])
def test_what_is_written_reads_back_equal(name: str) -> None:
    scenario = load(SCENARIOS / name)
    again = loads(dump(scenario), folder=SCENARIOS)
    assert again == scenario
    assert amounts(again) == amounts(scenario)
    changed = scenario.model_copy(update={"title": "another: title # with signs"})
    assert loads(dump(changed), folder=SCENARIOS) == changed
    assert changed != scenario


def test_the_starter_file_reads_without_faults_and_explains_its_keys() -> None:
    text = starter_text()
    assert loads(text).alternatives["keep"] == []
    for title in ("Years to look ahead", "Cost, everything in", "Courses of action"):
        assert title in text


def test_the_schema_file_is_current() -> None:
    committed = (SCENARIOS / "scenario.schema.json").read_text(encoding="utf-8")
    assert committed == schema_text(), "write `equipdecide.scenario.writing.schema_text()` to the file again"


def test_the_schema_allows_what_the_reader_allows() -> None:
    jsonschema = pytest.importorskip("jsonschema")
    validator = jsonschema.Draft202012Validator(schema())
    for text in (dump(load(SCENARIOS / "deck_fittings.yaml")), starter_text()):
        assert [error.message for error in validator.iter_errors(_core_yaml(text))] == []
    wrong = _core_yaml(starter_text().replace("tax_rate", "tax_rat").replace("do: buy", "do: by"))
    assert len(list(validator.iter_errors(wrong))) >= 2


def _core_yaml(text: str) -> object:
    """Read YAML as editors do (YAML 1.2 core schema: yes, on and dates are strings), by hand from the base loader."""

    def typed(node: object) -> object:
        if isinstance(node, dict):
            return {key: typed(value) for key, value in node.items()}
        if isinstance(node, list):
            return [typed(item) for item in node]
        try:
            return int(str(node))
        except ValueError:
            return node

    return typed(yaml.load(text, Loader=yaml.BaseLoader))


# --- imports


def test_reading_needs_neither_pandas_nor_numpy() -> None:
    code = "import sys, equipdecide.scenario; print([m for m in ('pandas', 'numpy', 'scipy') if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_a_file_that_is_not_text_is_a_fault(tmp_path: Path) -> None:
    file = tmp_path / "photo.yaml"
    file.write_bytes(b"\xff\xd8\xff\xe0 photo")
    with pytest.raises(ScenarioError, match="UTF-8"):
        load(file)
    file.write_bytes(b"title: a\x07bell\n")
    with pytest.raises(ScenarioError, match="character"):
        load(file)
