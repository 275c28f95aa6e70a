"""The commands record, after and look-back: what they write, print and refuse."""

import json
import re
import shlex
from pathlib import Path

import pytest
import vobject

from equipdecide.cli import main

SCENARIOS = Path(__file__).parents[1] / "scenarios"
FIRST, DECK = str(SCENARIOS / "first_sale.yaml"), str(SCENARIOS / "deck_fittings.yaml")
COURSE = "sell and replace"


@pytest.fixture
def run(capsys, tmp_path, monkeypatch):
    """Run a command in an empty folder; returns exit code, what was printed and what was said beside it."""
    monkeypatch.chdir(tmp_path)

    def command(*argv):
        code = main(list(argv))
        said = capsys.readouterr()
        return code, said.out, said.err

    return command


def test_a_record_is_written_and_runs_again(run):
    code, out, err = run(
        "record", FIRST, COURSE, "--agreed", "Perrin", "--revisit-on", "1 Mar 2027", "--page", "sign.html"
    )
    assert code == 0 and f"Decided: {COURSE}." in out and "2027-03-01" in out and "sign.html" in err
    page = Path("sign.html").read_text(encoding="utf-8")
    assert "Perrin, date" in page and "sha256" in page and "http" not in page and "src=" not in page
    assert run("record", FIRST, COURSE)[0] == 1  # decision_record.yaml is there and is not written over
    code, out, _ = run("record", "decision_record.yaml", "--rerun", "then")
    assert code == 0 and "Every figure is as recorded, to the cent." in out
    code, out, _ = run("record", "decision_record.yaml", "--rerun", "today", "--json")
    found = json.loads(out)
    assert code == 0 and found["same"] and found["answer"] == found["recorded"] and found["differences"] == []


def test_a_record_changed_afterwards_is_refused(run):
    run("record", FIRST, COURSE, "--dissent", "Odile would wait")
    path = Path("decision_record.yaml")
    path.write_text(path.read_text(encoding="utf-8").replace("Odile would wait", "None"), encoding="utf-8")
    code, _, err = run("record", "decision_record.yaml", "--rerun", "then")
    assert code == 2 and "the seal does not fit" in err and "decision_record.yaml:" in err


def test_the_list_as_text_page_and_calendar(run):
    code, out, err = run(
        "after", FIRST, COURSE, "--today", "2026-10-20", "--page", "list.html", "--calendar", "list.ics", "--full"
    )
    assert code == 0 and "Late on 2026-10-20" in out and "Basis:" in out and "list.ics" in err
    events = vobject.readOne(Path("list.ics").read_text(encoding="utf-8")).vevent_list
    data = json.loads(run("after", FIRST, COURSE, "--json", "--done", "freeze the decision")[1])
    assert len(events) == len(data["items"]) and data["items"][0]["done"] and not data["items"][1]["done"]
    assert Path("list.html").read_text(encoding="utf-8").count("<tr") == len(events) + 1


def test_the_look_back_of_a_scenario_and_of_its_record_agree(run):
    actuals = str(SCENARIOS / "deck_fittings_actuals.yaml")
    code, plain, _ = run("look-back", DECK, actuals, "--page", "back.html", "--json")
    assert code == 0 and Path("back.html").is_file()
    run("record", DECK, "upgrade")
    code, recorded, _ = run("look-back", "decision_record.yaml", actuals, "--json")
    assert code == 0 and json.loads(recorded) == json.loads(plain)


@pytest.mark.parametrize(
    ("argv", "code", "words"),
    [
        (("record", FIRST), 1, "say which course"),
        (("record", FIRST, "sell and replce"), 1, f"Did you mean '{COURSE}'?"),
        (("record", FIRST, COURSE, "--revisit-on", "soon"), 1, "--revisit-on"),
        (("record", "no.yaml", "--rerun", "then"), 1, "there is no record"),
        (("record", FIRST, "--rerun", "then"), 2, "is missing"),
        (("record", FIRST, COURSE, "--rerun", "then"), 1, "goes with a new record"),
        (("record", FIRST, "--rerun", "now"), 1, "then"),
        (("after", FIRST, "sell"), 1, "there is no course"),
        (("after", FIRST, COURSE, "--done", "no such"), 1, "to tick"),
        (("after", FIRST, COURSE, "--today", "then"), 1, "--today"),
        (("look-back", FIRST, "no.yaml"), 1, "there is no file of actual figures"),
        (("look-back", FIRST, FIRST), 2, "`course` is missing"),
    ],
)
def test_what_is_refused(run, argv, code, words):
    found, out, err = run(*argv)
    assert found == code and words.lower() in err.lower() and "Traceback" not in err and out == ""


def test_the_page_on_what_follows_does_what_it_says(run):
    """Every command of docs/after_the_decision.md, in its order, on a copy of the smallest example."""
    page = (SCENARIOS.parent / "docs" / "after_the_decision.md").read_text(encoding="utf-8")
    Path("first_sale.yaml").write_text(Path(FIRST).read_text(encoding="utf-8"), encoding="utf-8")
    (actuals,) = re.findall(r"```yaml\n(.*?)```", page, re.S)
    Path("actuals.yaml").write_text(actuals, encoding="utf-8")
    commands = [line for block in re.findall(r"```sh\n(.*?)```", page, re.S) for line in block.splitlines()]
    assert len(commands) == 5
    said = {}
    for line in commands:
        program, *argv = shlex.split(line)
        code, out, err = run(*argv)
        assert (program, code, "Traceback" in err) == ("equipdecide", 0, False), f"{line}\n{err}"
        said[argv[0]] = out
    assert sorted(path.name for path in Path().iterdir()) == [
        "actuals.yaml",
        "decision_record.yaml",
        "first_sale.yaml",
        "list.html",
        "list.ics",
        "sign.html",
    ]
    assert "sander: payoff" in said["look-back"] and "Price, allowance or hammer price" in said["look-back"]
