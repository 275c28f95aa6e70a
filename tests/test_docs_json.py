"""The page on JSON lists the keys that the commands print, no more and no fewer."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path

import pytest

from equipdecide.cli import main
from equipdecide.cli.commands import COMMANDS

ROOT = Path(__file__).parents[1]
DECK = ROOT / "scenarios" / "deck_fittings.yaml"
OF_NO_JSON = {"workbook", "slides"}
# What a command takes beside the file; `ask`, `new` and `form` write one, and are tested with the command line.
MORE = {
    "simulate": ["--trials", "64"],
    "sell-when": ["--months", "1"],
    "explain": ["keep"],
    "papers": ["upgrade"],
    "after": ["upgrade"],
    "look-back": [str(ROOT / "scenarios" / "deck_fittings_actuals.yaml")],
    "brief": ["-o", "page.html"],
    "record": ["upgrade", "-o", "record.yaml"],
}
GUESSES = (
    "\nguesses: {Walt: [{of: study.rate, value: 30 %}, {of: improvements.kit.changes.cycle_factor, value: 0.99}]}\n"
)


def page() -> dict[str, dict[str, set[str]]]:
    """Keys by command and parent: the first level has the parent "", a list `a` the parent "a[]"."""
    found: dict[str, dict[str, set[str]]] = {}
    text = re.sub(r"\n  (?=\S)", " ", (ROOT / "docs" / "json.md").read_text(encoding="utf-8"))
    for section in text.split("\n## ")[1:]:
        command, *lines = section.splitlines()
        keys = found.setdefault(command, {})
        for line in lines:
            if line.startswith("- "):
                parents, _, names = line[2:].partition(": ")
                for parent in re.findall(r"`([^`]+)`", parents) or [""]:
                    keys[parent] = set(re.findall(r"`([^`]+)`", names))
    return found


PAGE = page()


def printed(value: object, parent: str, listed: dict[str, set[str]], found: dict[str, set[str]]) -> None:
    """Collect the keys that stand in a printed value by parent, as the page writes them; maps by
    name are entered where it lists them.
    """
    if isinstance(value, list):
        for item in value:
            printed(item, f"{parent}[]", listed, found)
    elif isinstance(value, dict):
        by_name = {name.removesuffix("{}") for name in listed.get(parent, set()) if name.endswith("{}")}
        found.setdefault(parent, set()).update(f"{key}{{}}" if key in by_name else key for key in value)
        for key, inner in value.items():
            path = f"{parent}.{key}" if parent else key
            if key not in by_name:
                printed(inner, path, listed, found)
            elif f"{path}{{}}" in listed:
                for one in inner.values():
                    printed(one, f"{path}{{}}", listed, found)


def test_every_command_that_gives_json_is_on_the_page() -> None:
    assert set(PAGE) == set(COMMANDS) - OF_NO_JSON


@pytest.mark.parametrize("command", [command for command in PAGE if command not in ("ask", "new", "form")])
def test_keys_on_the_page_are_those_printed(
    command: str, capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = str(DECK)
    if command == "whose":
        shutil.copy(DECK.with_name("nightlog.csv"), tmp_path)
        (tmp_path / "guesses.yaml").write_text(DECK.read_text(encoding="utf-8") + GUESSES, encoding="utf-8")
        file = str(tmp_path / "guesses.yaml")
    if command == "times":
        file = str(DECK.with_name("shop_records.yaml"))
    monkeypatch.chdir(tmp_path)
    assert main([command, file, *MORE.get(command, []), "--json"]) == 0
    found: dict[str, set[str]] = {}
    shown = json.loads(capsys.readouterr().out)
    printed(
        {key: shown[key] for key in shown if key not in ("parts", "inner")}
        | dict.fromkeys(set(shown) & {"parts", "inner"}),
        "",
        PAGE[command],
        found,
    )
    assert {parent: keys for parent, keys in PAGE[command].items() if parent in found} == found


def test_keys_of_faults(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    file = tmp_path / "broken.yaml"
    file.write_text("decision_date: soon\n", encoding="utf-8")
    assert main(["check", str(file), "--json"]) == 2
    assert set(json.loads(capsys.readouterr().out)["faults"][0]) == PAGE["check"]["faults[]"]


def test_a_key_left_out_or_invented_is_seen() -> None:
    found: dict[str, set[str]] = {}
    printed({"a": [{"b": 1}], "c": {"x y": {"d": 1}}}, "", {"": {"a", "c{}"}, "c{}": {"d"}}, found)
    assert found == {"": {"a", "c{}"}, "a[]": {"b"}, "c{}": {"d"}}
