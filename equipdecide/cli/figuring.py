"""Commands that read a scenario and give figures."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from equipdecide.answers import ANSWERS
from equipdecide.cli.saying import (
    FAULTS,
    Refusal,
    course_of,
    day_of,
    file_option,
    give,
    given_options,
    nearest,
    read_scenario,
    say,
    say_faults,
)

if TYPE_CHECKING:
    from equipdecide.scenario import ScenarioError


def run_check(args: argparse.Namespace) -> int:
    """Say every fault of a file, or that there is none."""
    from equipdecide.scenario import ScenarioError

    try:
        scenario = read_scenario(args.file)
    except ScenarioError as error:
        if not args.json:
            say_faults(error, sys.stdout)
            if marked := _marked(args.file, error):
                say(marked)
            return FAULTS
        from equipdecide.scenario.form.cells import Cell

        faults = [
            {
                "file": f.place.file,
                "line": f.place.line,
                "column": f.place.column,
                "path": f.path,
                "what": f.what,
                "mend": f.mend,
                **({"cell": f"{f.place.sheet}!{f.place.name}"} if isinstance(f.place, Cell) else {}),
            }
            for f in error.faults
        ]
        say(json.dumps({"file": args.file, "faults": faults}, indent=2, ensure_ascii=False))
        return FAULTS

    def said() -> str:
        names = list(scenario.alternatives)
        found = f"{args.file}: no fault found. {len(names)} course{'s' if len(names) > 1 else ''}: {', '.join(names)}."
        return "\n".join([found, *scenario.source.remarks])

    return give(args, said, lambda: {"file": args.file, "faults": [], "alternatives": list(scenario.alternatives)})


def run_compare(args: argparse.Namespace) -> int:
    """Set all courses side by side."""
    scenario = read_scenario(args.file)
    from equipdecide.decide.compare import compare
    from equipdecide.views.table import comparison_text

    result = compare(scenario)
    return give(args, lambda: comparison_text(result, args.width, args.full), result.to_json)


def run_papers(args: argparse.Namespace) -> int:
    """Say where figures land on the forms."""
    scenario = read_scenario(args.file)
    from equipdecide.decide.papers import papers
    from equipdecide.views.papers import papers_text

    course = course_of(args.course, scenario)
    if scenario.regime != "us":
        raise Refusal("the forms are those of the United States; this file uses one flat tax rate")
    result = papers(scenario, course)
    return give(args, lambda: papers_text(result, args.year, args.width), result.to_json)


def run_answer(args: argparse.Namespace) -> int:
    """Run a command of :mod:`equipdecide.answers`: check what it names, figure, draw where asked, give."""
    answer, given = ANSWERS[args.command], vars(args)
    if "on" in given:
        args.on = day_of(args.on)
    chart = _chart_file(given.get("chart"))
    scenario = read_scenario(args.file)
    from equipdecide.scenario.reading import amounts

    for flags, known, what in (
        (("course", "against"), scenario.alternatives, "course"),
        (("machine",), scenario.machines, "machine"),
        (("x", "y", "doubt"), amounts(scenario), "input"),
    ):
        for flag in flags:
            name = given.get(flag)
            if name is not None and name not in known:
                raise Refusal(
                    f"there is no {what} '{name}'. "
                    f"{nearest(name, known, 'Nearest' if what == 'input' else f'{what.capitalize()}s')}"
                )
    result = answer.figure(scenario, args)
    if chart is not None:
        answer.draw(result, chart)
        say(f"The chart is {chart}.", sys.stderr)
    return give(args, lambda: answer.text(result, args), result.to_json)


def _chart_file(name: str | None) -> Path | None:
    if name is None:
        return None
    path = Path(name)
    if path.suffix.lower() not in (".png", ".svg"):
        raise Refusal(f"--chart: {path.name} ends in neither .png nor .svg")
    if not path.parent.is_dir():
        raise Refusal(f"there is no folder {path.parent} to write {path.name} in")
    return path


def run_breakeven(args: argparse.Namespace) -> int:
    """Say what would flip the answer."""
    scenario = read_scenario(args.file)
    for name in (args.course, args.against):
        if name is not None and name not in scenario.alternatives:
            raise Refusal(f"there is no course '{name}'. {nearest(name, scenario.alternatives, 'Courses')}")
    from equipdecide.scenario.reading import amounts

    if args.input is not None and args.input not in (known := amounts(scenario)):
        raise Refusal(f"there is no input '{args.input}'. {nearest(args.input, known, 'Nearest')}")
    from equipdecide.decide.breakeven import breakeven
    from equipdecide.views.flip_list import breakeven_text

    result = breakeven(scenario, args.input, args.course, args.against or "keep")
    return give(args, lambda: breakeven_text(result, args.width, 10_000 if args.full else 20), result.to_json)


def run_explain(args: argparse.Namespace) -> int:
    """Say where a figure comes from, or list the figures there are."""
    scenario = read_scenario(args.file)
    if args.course not in scenario.alternatives and args.course not in scenario.offers:
        names = [*scenario.alternatives, *scenario.offers]
        raise Refusal(
            f"there is no course or offer '{args.course}'. {nearest(args.course, names, 'Courses and offers')}"
        )
    from equipdecide.views.explain import UnknownFigure, explain, figures

    of: Any
    if args.course in scenario.alternatives:
        from equipdecide.decide.compare import compare

        of = compare(scenario)[args.course]
    else:
        from equipdecide.decide.sale import sale

        of = sale(scenario, None, scenario.offers[args.course].machine)[args.course]
    if args.list is not None:
        names = figures(of, args.list)
        return give(args, lambda: "\n".join(names), lambda: names)
    try:
        result = explain(of, args.what or "npv", args.row, args.depth)
    except UnknownFigure as error:
        raise Refusal(str(error)) from None
    return give(args, lambda: result.text(args.width), result.to_json)


def _marked(file: str, error: ScenarioError) -> str:
    """Write the marked copy of a form with faults beside it; return what is to be said of it,
    nothing for a text file.
    """
    path = Path(file)
    from equipdecide.scenario.form.cells import Cell
    from equipdecide.scenario.form.marks import mark

    if not any(isinstance(fault.place, Cell) for fault in error.faults):
        return ""
    copy = path.with_name(f"{path.stem}_marked{path.suffix}")
    try:
        mark(path, error.faults, copy)
    except OSError as trouble:
        return f"No marked copy was written: {copy} ({(trouble.strerror or str(trouble)).lower()})."
    return (
        f"{copy} is a copy with these cells in red, what is wrong in a comment, and a list in front; "
        f"correct {path.name} itself."
    )


# --- what they take


def check_options(verb: argparse.ArgumentParser) -> None:
    """Add the options of `check`."""
    file_option(verb)
    given_options(verb, width=False)


def compare_options(verb: argparse.ArgumentParser) -> None:
    """Add the options of `compare`."""
    file_option(verb)
    given_options(verb, full=True)


def papers_options(verb: argparse.ArgumentParser) -> None:
    """Add the options of `papers`."""
    file_option(verb)
    verb.add_argument("course", metavar="COURSE", help="name of a course")
    verb.add_argument("--year", type=int, help="tax year of the lines (the first if left out)")
    given_options(verb)


def breakeven_options(verb: argparse.ArgumentParser) -> None:
    """Add the options of `breakeven`."""
    file_option(verb)
    verb.add_argument("--input", metavar="PATH", help="one input only, such as study.rate")
    verb.add_argument("--course", help="this course only")
    verb.add_argument("--against", help="... against this one (keep)")
    given_options(verb, full=True)


def explain_options(verb: argparse.ArgumentParser) -> None:
    """Add the options of `explain`."""
    file_option(verb)
    says = "name of a course, or of an offer for the figures of that sale"
    verb.add_argument("course", metavar="COURSE", help=says)
    says = "npv, net cash, 'tax of Ines 2026', a line or the full name of a column"
    verb.add_argument("what", nargs="?", metavar="WHAT", help=says)
    verb.add_argument("--row", help="year, month or day of the figure, such as 2027")
    verb.add_argument("--depth", type=int, default=1, choices=range(1, 6), metavar="1..5", help="levels at once (1)")
    says = "list the names that can be asked for, those with WORD in them"
    verb.add_argument("--list", nargs="?", const="", metavar="WORD", help=says)
    given_options(verb)


def answer_options(name: str, verb: argparse.ArgumentParser) -> None:
    """Add the options of a command of :mod:`equipdecide.answers`."""
    file_option(verb)
    for flags, options in ANSWERS[name].options:
        verb.add_argument(*flags, **options)
    if ANSWERS[name].chart:
        verb.add_argument("--chart", metavar="FILE", help="draw it too, to a .png or .svg file")
    given_options(verb)
