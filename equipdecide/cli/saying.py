"""What every command needs: reading what is named, saying what was made, refusing in one sentence."""

from __future__ import annotations

import argparse
import difflib
import json
import sys
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from equipdecide.scenario import Scenario, ScenarioError


FINE, REFUSED, FAULTS = 0, 1, 2
TRACE = "EQUIPDECIDE_TRACE"  # set, an unforeseen error shows where in the program it arose


class Refusal(Exception):
    """What was asked for cannot be done; the message says why in one sentence."""


def say(text: str, file: Any = None) -> None:
    """Print a text, in letters that the other side can show."""
    from equipdecide.words import plain

    out = file or sys.stdout
    print(plain(text, getattr(out, "encoding", None) or "utf-8"), file=out)


def fail(text: str) -> int:
    """Say on the error output what went wrong; return the exit code for it."""
    word = text.split(" ")[0]
    said = text[:1].upper() + text[1:] if word.isalpha() else text  # a file's name stays as it is
    say(said if said.endswith((".", "?", "!")) else said + ".", sys.stderr)
    return REFUSED


def say_faults(error: ScenarioError, file: Any, hint: bool = False) -> int:
    """Say every fault of a file; return the exit code for it."""
    say(str(error), file)
    forms = [fault.place.file for fault in error.faults if getattr(fault.place, "sheet", "")]
    if hint and forms:
        say(f"'equipdecide check {forms[0]}' says the same and writes a copy in which these cells are marked.", file)
    return FAULTS


def give(args: argparse.Namespace, text: Callable[[], str], data: Callable[[], object]) -> int:
    """Print the text, or the data as JSON, or write either to the file of ``-o``."""
    made = json.dumps(data(), indent=2, ensure_ascii=False) if args.json else text()
    if args.output is None:
        say(made)
    else:
        write_text(Path(args.output), made + "\n")
        say(f"Written to {args.output}.", sys.stderr)
    return FINE


def write_text(path: Path, text: str) -> None:
    """Write a file. Raises Refusal where it cannot be written."""
    try:
        path.write_text(text, encoding="utf-8", newline="\n")
    except OSError as error:
        raise Refusal(f"{path} cannot be written: {(error.strerror or str(error)).lower()}") from None


def new_file(name: str) -> Path:
    """Return the path of a file to be written. Raises Refusal where one is there, or no folder for it."""
    path = Path(name)
    if path.exists():
        raise Refusal(f"{path} is there already and is not written over. Give another name with -o, or move it away")
    if not path.parent.is_dir():
        raise Refusal(f"there is no folder {path.parent} to write {path.name} in")
    return path


def nearest(word: str, names: Iterable[str], what: str) -> str:
    """Return the sentence that names what was meant by `word`, or what there is."""
    names = list(names)
    near = difflib.get_close_matches(word, names, 3, 0.5)
    sure = near[:1] if len(near) == 1 else difflib.get_close_matches(word, near, 1, 0.8)
    return f"Did you mean '{sure[0]}'?" if sure else f"{what}: {', '.join(near or names)}."


def read_scenario(name: str) -> Scenario:
    """Read a scenario file or a filled form. Raises Refusal where there is none, ScenarioError with all its faults."""
    from equipdecide.scenario import load

    path = Path(name)
    if path.is_dir():
        raise Refusal(f"{path} is a folder. Name a scenario file in it")
    if not path.exists():
        folder = path.parent if path.parent.is_dir() else Path()
        near = difflib.get_close_matches(
            path.name, [p.name for end in ("*.y*ml", "*.xlsx") for p in folder.glob(end)], 1, 0.5
        )
        raise Refusal(
            f"there is no file {path}. "
            + (f"Did you mean '{near[0]}'?" if near else "'equipdecide new my_shop.yaml' writes one to begin with")
        )
    try:
        return load(path)
    except ImportError as error:
        raise Refusal(str(error)) from None


def day_of(text: str | None, flag: str = "--on") -> Any:
    """Return the day that `text` says, None for none. Raises Refusal."""
    from equipdecide.scenario.amounts import AmountError, read_day

    if text is None:
        return None
    from equipdecide.scenario.asking.typed import read_typed_day

    try:
        return read_typed_day(text) if "/" in text else read_day(text)
    except AmountError as error:
        raise Refusal(f"{flag}: {error.what}. {error.mend}") from None


def say_prompt(prompt: str, where: Any) -> None:
    """Print a question and stay on its line."""
    from equipdecide.words import plain

    where.write(plain(prompt, getattr(where, "encoding", None) or "utf-8"))
    where.flush()


def course_of(name: str, scenario: Scenario) -> str:
    """Return the name where there is such a course. Raises Refusal."""
    if name not in scenario.alternatives:
        raise Refusal(f"there is no course '{name}'. {nearest(name, scenario.alternatives, 'Courses')}")
    return name


def file_there(name: str, what: str) -> Path:
    """Return the path of a file that must be there. Raises Refusal."""
    path = Path(name)
    if not path.is_file():
        names = [p.name for p in path.parent.glob("*.y*ml")] if path.parent.is_dir() else []
        near = difflib.get_close_matches(path.name, names, 1, 0.5)
        raise Refusal(f"there is no {what} {path}." + (f" Did you mean '{near[0]}'?" if near else ""))
    return path


# --- options that several commands take


def file_option(verb: argparse.ArgumentParser) -> None:
    """Add FILE, the scenario to read."""
    verb.add_argument("file", metavar="FILE", help="scenario file, or a filled form (.xlsx)")


def given_options(verb: argparse.ArgumentParser, full: bool = False, width: bool = True) -> None:
    """Add how figures are given: as JSON, to a file, with nothing left out, in so many columns."""
    verb.add_argument("--json", action="store_true", help="give the figures as JSON")
    verb.add_argument("-o", "--output", metavar="FILE", help="write to a file instead of the screen")
    if full:
        verb.add_argument("--full", action="store_true", help="leave nothing out of the lists below the table")
    if width:
        verb.add_argument("--width", type=int, default=96, help=argparse.SUPPRESS)
