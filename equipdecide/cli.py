"""The command line: thin, each command reads a file, calls one verb and prints what a view makes of it.

Exit codes: 0 fine; 2 faults in a file, all of them printed with place and mend; 1 anything else, said in one sentence.
Large libraries are loaded by the command that needs them, so that ``--help`` and ``check`` answer at once.
"""

from __future__ import annotations

import argparse
import difflib
import json
import os
import sys
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

from equipdecide.answers import ANSWERS

if TYPE_CHECKING:
    from equipdecide.scenario import Scenario, ScenarioError

FINE, REFUSED, FAULTS = 0, 1, 2
TRACE = "EQUIPDECIDE_TRACE"  # set, an unforeseen error shows where in the program it arose

DOOR = """\
equipdecide: keep, upgrade, sell or replace a machine tool.
Nothing leaves this computer: no figure is sent anywhere.

  1  answer fifteen questions    equipdecide ask        (about ten minutes; "don't know" is an answer)
  2  fill in a starter file      equipdecide new my_shop.yaml      (or a workbook: equipdecide form my_shop.xlsx)
  3  see an example              python -m equipdecide.demo
  4  read my file                equipdecide compare my_shop.yaml

equipdecide --help lists every command."""

EPILOG = """\
A course is one thing you could do: keep, upgrade, replace, sell and do without, or steps of your own.
To begin: ask (about ten minutes, no papers needed), or new or form; then compare, sale, breakeven and brief.

Nothing leaves this computer. Estimates for a decision, not tax, legal, lending or safety advice.
Exit codes: 0 fine; 2 faults in a file; 1 anything else.
equipdecide alone offers four ways to begin; equipdecide COMMAND --help says more of one."""


ASK = """\
One line each, written as on paper: several figures on a line, "about 60k", "50k to 60k", "7 1/2 %", "next spring".
Each line is read back. Enter or ? takes the default that is shown; "back" goes back; "where" says where to find it;
from question 9 on "answer" takes the defaults for the rest. "stop" or Ctrl-C keeps your answers beside the file, and
the same command goes on from there. Which machine, what an hour is worth and what is owed must be answered; a guess
is enough. Useful to have at hand: the invoice, the lender's last statement, a quote."""


class Refusal(Exception):
    """What was asked for cannot be done; the message says why in one sentence."""


class _Parser(argparse.ArgumentParser):
    def error(self, message: str) -> NoReturn:
        if "invalid choice" in message and "COMMAND" in message:
            word = message.split("'")[1]
            near = difflib.get_close_matches(word, COMMANDS, 1, 0.5)
            message = f"there is no command '{word}'." + (
                f" Did you mean '{near[0]}'?" if near else f" There are {', '.join(COMMANDS)}."
            )
        message = message if message.endswith((".", "?")) else message + "."
        raise Refusal(f"{message} See {self.prog} --help.")


def main(argv: list[str] | None = None) -> int:
    """Run the command line and return its exit code."""
    try:
        code = _run(sys.argv[1:] if argv is None else argv)
        sys.stdout.flush()
        return code
    except Refusal as refusal:
        return _fail(str(refusal))
    except BrokenPipeError:  # the reader of our output has gone
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return REFUSED
    except (KeyboardInterrupt, EOFError):
        return _fail("\nStopped. Nothing was written.")
    except Exception as error:
        if os.environ.get(TRACE):
            raise
        return _unforeseen(error)


def _run(argv: list[str]) -> int:
    if not argv:
        return _door()
    args = _parser(argv[0]).parse_args(argv)
    run: Callable[[argparse.Namespace], int] = args.run
    return run(args)


def _unforeseen(error: Exception) -> int:
    if "ScenarioError" in [kind.__name__ for kind in type(error).__mro__]:  # a scenario, a record or a file of actuals
        return _faults(error, sys.stderr, hint=True)  # type: ignore[arg-type]
    if isinstance(error, OSError):
        return _fail(f"{error.strerror or error}: {error.filename}" if error.filename else str(error))
    said = str(error.args[0]) if error.args else ""
    if isinstance(error, LookupError | ValueError) and " " in said:  # a verb's own words
        return _fail(said)
    return _fail(
        f"This is a fault of equipdecide, not of your file ({type(error).__name__}: "
        f"{said or error}). Please report it; with {TRACE}=1 set, the place is shown."
    )


# --- saying


def _say(text: str, file: Any = None) -> None:
    from equipdecide.words import plain

    out = file or sys.stdout
    print(plain(text, getattr(out, "encoding", None) or "utf-8"), file=out)


def _fail(text: str) -> int:
    word = text.split(" ")[0]
    said = text[:1].upper() + text[1:] if word.isalpha() else text  # a file's name stays as it is
    _say(said if said.endswith((".", "?", "!")) else said + ".", sys.stderr)
    return REFUSED


def _faults(error: ScenarioError, file: Any, hint: bool = False) -> int:
    _say(str(error), file)
    forms = [fault.place.file for fault in error.faults if getattr(fault.place, "sheet", "")]
    if hint and forms:
        _say(f"'equipdecide check {forms[0]}' says the same and writes a copy in which these cells are marked.", file)
    return FAULTS


def _give(args: argparse.Namespace, text: Callable[[], str], data: Callable[[], object]) -> int:
    """Print the text, or the data as JSON, or write either to the file of ``-o``."""
    made = json.dumps(data(), indent=2, ensure_ascii=False) if args.json else text()
    if args.output is None:
        _say(made)
    else:
        _write(Path(args.output), made + "\n")
        _say(f"Written to {args.output}.", sys.stderr)
    return FINE


def _write(path: Path, text: str) -> None:
    try:
        path.write_text(text, encoding="utf-8", newline="\n")
    except OSError as error:
        raise Refusal(f"{path} cannot be written: {(error.strerror or str(error)).lower()}") from None


def _new_file(name: str) -> Path:
    path = Path(name)
    if path.exists():
        raise Refusal(f"{path} is there already and is not written over. Give another name with -o, or move it away")
    if not path.parent.is_dir():
        raise Refusal(f"there is no folder {path.parent} to write {path.name} in")
    return path


def _nearest(word: str, names: Iterable[str], what: str) -> str:
    names = list(names)
    near = difflib.get_close_matches(word, names, 3, 0.5)
    sure = near[:1] if len(near) == 1 else difflib.get_close_matches(word, near, 1, 0.8)
    return f"Did you mean '{sure[0]}'?" if sure else f"{what}: {', '.join(near or names)}."


def _read(name: str) -> Scenario:
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


def _day(text: str | None, flag: str = "--on") -> Any:
    from equipdecide.scenario.amounts import AmountError, read_day

    if text is None:
        return None
    try:
        return read_day(text)
    except AmountError as error:
        raise Refusal(f"{flag}: {error.what}. {error.mend}") from None


# --- the door


def _somebody_is_there() -> bool:
    return bool(sys.stdin) and sys.stdin.isatty() and sys.stdout.isatty()


def _door() -> int:
    _say(DOOR)
    if not _somebody_is_there():
        return FINE
    choice = input("\n1 to 4, or Enter to leave: ").strip()
    if choice == "1":
        return main(["ask"])
    if choice == "2":
        return main(["new", input("Name of the file to write [my_shop.yaml]: ").strip() or "my_shop.yaml"])
    if choice == "3":
        from equipdecide.demo import main as demo

        return demo()
    if choice == "4":
        name = input("Your file: ").strip().strip("\"'")
        return main(["compare", name]) if name else FINE
    if choice:
        raise Refusal(f"'{choice}' is not one of the four")
    return FINE


# --- commands


def _ask(args: argparse.Namespace) -> int:
    from equipdecide.scenario.dialogue import Stopped, ask
    from equipdecide.scenario.writing import dump

    path = _new_file(args.output or "decision.yaml")
    kept_file = path.with_suffix(".answers.json")
    where = sys.stderr if args.json else sys.stdout

    def answered(prompt: str) -> str:
        _say_prompt(prompt, where)
        return input()

    def keep(answers: dict[str, str], number: int) -> None:
        _write(kept_file, json.dumps({"next question": number, "answers": answers}, indent=2, ensure_ascii=False))

    def so_far(scenario: Scenario) -> str:
        from equipdecide.decide.compare import compare
        from equipdecide.views.rough import one_line

        return one_line(compare(scenario))

    kept, reached = _kept_answers(kept_file, answered, where)
    try:
        scenario = ask(answered, lambda text: _say(text, where), kept=kept, reached=reached, keep=keep, so_far=so_far)
    except (Stopped, EOFError, KeyboardInterrupt):
        if not kept_file.exists():
            raise EOFError from None
        again = "equipdecide ask" + (f" -o {args.output}" if args.output else "")
        return _fail(f"\nStopped. Your answers are kept in {kept_file}; {again} goes on from there.")
    _write(path, dump(scenario))
    kept_file.unlink(missing_ok=True)
    from equipdecide.decide.breakeven import breakeven, nothing_extra_sold
    from equipdecide.decide.compare import compare
    from equipdecide.decide.sale import sale
    from equipdecide.views.rough import rough_text

    comparison = compare(scenario)
    flips = breakeven(scenario)
    if args.json:
        _say(
            json.dumps(
                {"file": str(path), "rough": True, "comparison": comparison.to_json(), "breakeven": flips.to_json()},
                indent=2,
                ensure_ascii=False,
            )
        )
    else:
        none_sold = nothing_extra_sold(scenario, comparison)
        _say("\n" + rough_text(comparison, flips, none_sold, sold=sale(scenario)))
    _say(
        f"\nYour answers are in {path}. Correct it in any editor. Then, for all figures and cautions:\n"
        f"  equipdecide compare {path}\n  equipdecide brief {path} -o brief.html     (a page for partners)",
        where,
    )
    return FINE


def _kept_answers(file: Path, answered: Callable[[str], str], where: Any) -> tuple[dict[str, str], int]:
    """Return the answers of a dialogue that was stopped, and the question to go on from, where the person wants them."""
    from equipdecide.scenario.questions import BLANKS, readable

    if not file.exists():
        return {}, 1
    try:
        found = json.loads(file.read_text(encoding="utf-8"))
        number = int(found["next question"])
        answers = {key: text for key, text in found["answers"].items() if key in BLANKS and readable(key, text)}
    except (ValueError, KeyError, TypeError, AttributeError):
        _say(f"{file} cannot be read as answers of before; beginning afresh.\n", where)
        return {}, 1
    said = answered(
        f"Your answers up to question {number - 1} are kept from before. Enter goes on, new begins afresh: "
    )
    _say("", where)
    return ({}, 1) if said.strip().lower() in ("new", "n", "no") else (answers, number)


def _say_prompt(prompt: str, where: Any) -> None:
    from equipdecide.words import plain

    where.write(plain(prompt, getattr(where, "encoding", None) or "utf-8"))
    where.flush()


def _check(args: argparse.Namespace) -> int:
    from equipdecide.scenario import ScenarioError

    try:
        scenario = _read(args.file)
    except ScenarioError as error:
        if not args.json:
            _faults(error, sys.stdout)
            if marked := _marked(args.file, error):
                _say(marked)
            return FAULTS
        from equipdecide.scenario.form_cells import Cell

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
        _say(json.dumps({"file": args.file, "faults": faults}, indent=2, ensure_ascii=False))
        return FAULTS

    def said() -> str:
        names = list(scenario.alternatives)
        found = f"{args.file}: no fault found. {len(names)} courses: {', '.join(names)}."
        return "\n".join([found, *scenario.source.remarks])

    return _give(args, said, lambda: {"file": args.file, "faults": [], "alternatives": list(scenario.alternatives)})


def _compare(args: argparse.Namespace) -> int:
    scenario = _read(args.file)
    from equipdecide.decide.compare import compare
    from equipdecide.views.table import comparison_text

    result = compare(scenario)
    return _give(args, lambda: comparison_text(result, args.width, args.full), result.to_json)


def _papers(args: argparse.Namespace) -> int:
    scenario = _read(args.file)
    from equipdecide.decide.papers import papers
    from equipdecide.views.papers import papers_text

    course = _course(args.course, scenario)
    if scenario.regime != "us":
        raise Refusal("the forms are those of the United States; this file uses one flat tax rate")
    result = papers(scenario, course)
    return _give(args, lambda: papers_text(result, args.year, args.width), result.to_json)


def _answer(args: argparse.Namespace) -> int:
    """Run a command of :mod:`equipdecide.answers`: check what it names, figure, draw where asked, give."""
    answer, given = ANSWERS[args.command], vars(args)
    if "on" in given:
        args.on = _day(args.on)
    chart = _chart_file(given.get("chart"))
    scenario = _read(args.file)
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
                    f"{_nearest(name, known, 'Nearest' if what == 'input' else f'{what.capitalize()}s')}"
                )
    result = answer.figure(scenario, args)
    if chart is not None:
        answer.draw(result, chart)
        _say(f"The chart is {chart}.", sys.stderr)
    return _give(args, lambda: answer.text(result, args), result.to_json)


def _chart_file(name: str | None) -> Path | None:
    if name is None:
        return None
    path = Path(name)
    if path.suffix.lower() not in (".png", ".svg"):
        raise Refusal(f"--chart: {path.name} ends in neither .png nor .svg")
    if not path.parent.is_dir():
        raise Refusal(f"there is no folder {path.parent} to write {path.name} in")
    return path


def _breakeven(args: argparse.Namespace) -> int:
    scenario = _read(args.file)
    for name in (args.course, args.against):
        if name is not None and name not in scenario.alternatives:
            raise Refusal(f"there is no course '{name}'. {_nearest(name, scenario.alternatives, 'Courses')}")
    from equipdecide.scenario.reading import amounts

    if args.input is not None and args.input not in (known := amounts(scenario)):
        raise Refusal(f"there is no input '{args.input}'. {_nearest(args.input, known, 'Nearest')}")
    from equipdecide.decide.breakeven import breakeven
    from equipdecide.views.flip_list import breakeven_text

    result = breakeven(scenario, args.input, args.course, args.against or "keep")
    return _give(args, lambda: breakeven_text(result, args.width, 10_000 if args.full else 20), result.to_json)


def _explain(args: argparse.Namespace) -> int:
    scenario = _read(args.file)
    if args.course not in scenario.alternatives and args.course not in scenario.offers:
        names = [*scenario.alternatives, *scenario.offers]
        raise Refusal(
            f"there is no course or offer '{args.course}'. {_nearest(args.course, names, 'Courses and offers')}"
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
        return _give(args, lambda: "\n".join(names), lambda: names)
    try:
        result = explain(of, args.what or "npv", args.row, args.depth)
    except UnknownFigure as error:
        raise Refusal(str(error)) from None
    return _give(args, lambda: result.text(args.width), result.to_json)


def _brief(args: argparse.Namespace) -> int:
    scenario = _read(args.file)
    path = Path(args.output or ("brief.pdf" if args.pdf else "brief.html"))
    if args.pdf and path.suffix.lower() != ".pdf":
        raise Refusal(f"--pdf writes a file that ends in .pdf, not {path.name}")
    if not path.parent.is_dir():
        raise Refusal(f"there is no folder {path.parent} to write {path.name} in")
    reader = _reader(args.reader, scenario)
    from equipdecide.decide.compare import compare
    from equipdecide.views.brief import brief
    from equipdecide.views.printing import NoPrinter, print_page
    from equipdecide.views.table import headline

    result = compare(scenario)
    page = brief(result, reader=reader)
    lack = ""
    if path.suffix.lower() == ".pdf":
        try:
            print_page(page, path)
        except NoPrinter as error:
            path = path.with_suffix(".html")
            lack = f" It is no PDF: {error}."
    if path.suffix.lower() != ".pdf":
        _write(path, page)
    if args.json:
        _say(
            json.dumps(
                {
                    "file": str(path),
                    "reader": reader,
                    "best": result.best,
                    "best_ignoring_cash": result.best_ignoring_cash,
                },
                indent=2,
            )
        )
        return FINE
    how = "print it or send it" if path.suffix.lower() == ".pdf" else "open it in any browser, or print it"
    _say(f"{headline(result)}\n\nThe page is {path}: {how}.{lack} Nothing was sent anywhere.")
    return FINE


def _reader(name: str | None, scenario: Scenario) -> str:
    """Return the reader of a page: an owner's name alone is that owner's copy."""
    if name is None:
        return "partners"
    if name in scenario.owners:
        return f"partner:{name}"
    kind, _, owner = name.partition(":")
    if kind == "partner" and owner and owner not in scenario.owners:
        raise Refusal(f"there is no owner '{owner}'. {_nearest(owner, scenario.owners, 'Owners')}")
    known = ["partners", "lender", "accountant", *(f"partner:{owner}" for owner in scenario.owners)]
    if name not in known:
        raise Refusal(
            f"there is no page for '{name}'. {_nearest(name, [*known, *scenario.owners], 'There are pages for')}"
        )
    return name


def _course(name: str, scenario: Scenario) -> str:
    if name not in scenario.alternatives:
        raise Refusal(f"there is no course '{name}'. {_nearest(name, scenario.alternatives, 'Courses')}")
    return name


def _there(name: str, what: str) -> Path:
    path = Path(name)
    if not path.is_file():
        names = [p.name for p in path.parent.glob("*.y*ml")] if path.parent.is_dir() else []
        near = difflib.get_close_matches(path.name, names, 1, 0.5)
        raise Refusal(f"there is no {what} {path}." + (f" Did you mean '{near[0]}'?" if near else ""))
    return path


def _record(args: argparse.Namespace) -> int:
    if args.rerun is not None:
        return _rerun(args)
    if args.course is None:
        raise Refusal("say which course was decided on: equipdecide record FILE COURSE; or --rerun then for a record")
    revisit_on = _day(args.revisit_on, "--revisit-on")
    scenario = _read(args.file)
    course = _course(args.course, scenario)
    path = _new_file(args.output or "decision_record.yaml")
    page = _new_file(args.page) if args.page else None
    from equipdecide.after.record import record, write
    from equipdecide.decide.compare import compare
    from equipdecide.views.record_page import record_page, record_text

    made = record(compare(scenario), course, args.agreed, args.dissent, revisit_on, args.change_our_mind)
    write(made, path)
    if page is not None:
        _write(page, record_page(made))
    _say(json.dumps(made.to_json(), indent=2, ensure_ascii=False) if args.json else record_text(made, args.width))
    _say(f"The record is {path}; keep it unchanged." + (f" The page to sign is {page}." if page else ""), sys.stderr)
    return FINE


def _rerun(args: argparse.Namespace) -> int:
    for flag in ("course", "agreed", "dissent", "revisit_on", "change_our_mind", "page"):
        if getattr(args, flag):
            said = "COURSE" if flag == "course" else f"--{flag.replace('_', '-')}"
            raise Refusal(f"{said} goes with a new record; --rerun figures one again that was written")
    path = _there(args.file, "record")
    from equipdecide.after.record import read, rerun
    from equipdecide.views.record_page import rerun_text

    result = rerun(read(path), args.rerun)
    return _give(args, lambda: rerun_text(result, args.width), result.to_json)


def _after(args: argparse.Namespace) -> int:
    today = _day(args.today, "--today")
    scenario = _read(args.file)
    course = _course(args.course, scenario)
    page = _new_file(args.page) if args.page else None
    calendar = _new_file(args.calendar) if args.calendar else None
    from equipdecide.after.todo import after
    from equipdecide.decide.compare import compare
    from equipdecide.views.calendar_file import calendar_file
    from equipdecide.views.todo_page import todo_page, todo_text

    result = after(compare(scenario), course, today, args.done)
    if page is not None:
        _write(page, todo_page(result))
        _say(f"The page is {page}.", sys.stderr)
    if calendar is not None:
        try:
            calendar_file(result, calendar)
        except ImportError as error:
            raise Refusal(str(error)) from None
        _say(f"The calendar file is {calendar}: open it in any calendar program.", sys.stderr)
    return _give(args, lambda: todo_text(result, args.width, args.full), result.to_json)


def _look_back(args: argparse.Namespace) -> int:
    file, actuals = _there(args.file, "scenario or record"), _there(args.actuals, "file of actual figures")
    page = _new_file(args.page) if args.page else None
    from equipdecide.after.look_back import look_back
    from equipdecide.after.record import is_record, read
    from equipdecide.decide.compare import compare
    from equipdecide.views.look_back_page import look_back_page, look_back_text

    result = look_back(read(file) if is_record(file) else compare(_read(args.file)), actuals)
    if page is not None:
        _write(page, look_back_page(result))
        _say(f"The page is {page}.", sys.stderr)
    return _give(args, lambda: look_back_text(result, args.width), result.to_json)


def _workbook(args: argparse.Namespace) -> int:
    scenario = _read(args.file)
    path = Path(args.output or f"{Path(args.file).stem}.xlsx")
    if path.is_dir() or not path.parent.is_dir():
        raise Refusal(f"{path} cannot be written: there is no such folder, or it is a folder itself")
    from equipdecide.decide.compare import compare
    from equipdecide.views.workbook import lay_out, workbook

    comparison = compare(scenario)
    if args.course is not None and args.course not in scenario.alternatives:
        raise Refusal(
            f"no course is named '{args.course}'. {_nearest(args.course, scenario.alternatives, 'There are')}"
        )
    try:
        workbook(comparison, path, args.course)
    except ImportError as error:
        raise Refusal(str(error)) from None
    made = lay_out(comparison, args.course)
    shown = "keep alone" if made.alone else f"{made.course.name} beside keep"
    _say(f"The workbook is {path}: {shown}, every figure a live formula. Its first sheet says what may be changed.")
    return FINE


def _slides(args: argparse.Namespace) -> int:
    scenario = _read(args.file)
    path = Path(args.output or "slides.pptx")
    if path.suffix.lower() != ".pptx":
        raise Refusal(f"slides are a file that ends in .pptx, not {path.name}")
    if not path.parent.is_dir():
        raise Refusal(f"there is no folder {path.parent} to write {path.name} in")
    from equipdecide.decide.compare import compare
    from equipdecide.views.slides import slides

    try:
        slides(compare(scenario), path)
    except ImportError as error:
        raise Refusal(str(error)) from None
    _say(f"The slides are {path}: five, with charts that can be edited; what is to be said stands in the notes.")
    return FINE


def _new(args: argparse.Namespace) -> int:
    path = _new_file(args.output or args.name or "my_shop.yaml")
    from equipdecide.scenario.starter import starter_text

    _write(path, starter_text())
    if args.json:
        _say(json.dumps({"file": str(path)}, indent=2))
        return FINE
    _say(f"Written: {path}. Its figures are invented; write your own over them. Then: equipdecide check {path}")
    return FINE


def _form(args: argparse.Namespace) -> int:
    source, target = args.name or "form.xlsx", args.to or args.target
    if target is None and Path(source).suffix.lower() in (".yaml", ".yml"):
        target = str(Path(source).with_suffix(".xlsx"))
    if target is not None:
        path, remarks = _converted(source, target, plain_file=args.to is not None)
    else:
        path, remarks = _new_file(source), []
        if path.suffix.lower() != ".xlsx":
            raise Refusal(f"a form is a workbook: give a name that ends in .xlsx, not {path.name}")
        _write_form(path, None)
        says = "Fill in the yellow cells of the first sheet and save; the later sheets hold all else there is to say."
        remarks.append(f"{says} Then: equipdecide compare {path}")
    said = " ".join([f"Written: {path}.", *remarks])
    _say(json.dumps({"file": str(path), "remarks": remarks}, indent=2, ensure_ascii=False) if args.json else said)
    return FINE


def _write_form(path: Path, scenario: Scenario | None) -> None:
    from equipdecide.scenario.form import form

    try:
        form(path, scenario)
    except ImportError as error:
        raise Refusal(str(error)) from None
    except OSError as error:
        raise Refusal(f"{path} cannot be written: {(error.strerror or str(error)).lower()}") from None


def _converted(source: str, target: str, plain_file: bool) -> tuple[Path, list[str]]:
    """Write a scenario file as a form or a form as a scenario file; return its path and what did not go with it."""
    from equipdecide.scenario.form_entries import files_named
    from equipdecide.scenario.writing import dump

    scenario, path = _read(source), _new_file(target)
    if path.suffix.lower() == ".xlsx":
        _write_form(path, scenario)
        remarks = [f"Every sheet holds what {source} says. Change the yellow cells; then: equipdecide compare {path}."]
    elif plain_file or path.suffix.lower() in (".yaml", ".yml"):
        _write(path, dump(scenario))
        remarks = [f"Go on there in any editor; then: equipdecide check {path}."]
    else:
        raise Refusal(f"a form ends in .xlsx and a scenario file in .yaml; {path.name} does neither")
    remarks += scenario.source.remarks
    if Path(source).suffix.lower() != ".xlsx":
        from equipdecide.scenario.form import remarks_in

        if count := remarks_in(Path(source).read_text(encoding="utf-8-sig")):
            lines = "1 line has a remark" if count == 1 else f"{count} lines have remarks"
            remarks.append(f"{lines} after # in {source}; they do not go into it (notes do).")
    remarks += [f"Put {name} beside it." for name in files_named(scenario) if not (path.parent / name).is_file()]
    return path, remarks


def _marked(file: str, error: ScenarioError) -> str:
    """Write the marked copy of a form with faults beside it; return what is to be said of it, nothing for a text file."""
    path = Path(file)
    from equipdecide.scenario.form_cells import Cell
    from equipdecide.scenario.form_marks import mark

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


COMMANDS: dict[str, tuple[Callable[[argparse.Namespace], int], str]] = {
    "ask": (_ask, "answer fifteen questions in about ten minutes: a rough answer, and a scenario file to go on with"),
    "new": (_new, "write a starter file with a remark beside each line"),
    "form": (
        _form,
        "write a workbook to fill in, empty or from a scenario file; or make a scenario file of a filled one",
    ),
    "check": (_check, "read a scenario file and say every fault at once, with line and mend"),
    "compare": (_compare, "all courses side by side: worth, rate of return, payback, cash against the floor"),
    "sale": (_answer, ANSWERS["sale"].says),
    "breakeven": (_breakeven, "what would flip the answer, the nearest first"),
    **{name: (_answer, answer.says) for name, answer in ANSWERS.items()},
    "explain": (_explain, "where a figure comes from, one level at a time"),
    "brief": (_brief, "write the page for partners, for a lender or for the accountant; also as PDF"),
    "record": (_record, "write the record of a decision, to sign and keep; --rerun figures one again years later"),
    "after": (_after, "what to do after the decision: who, what, by when; as a list, a page, a calendar file"),
    "look-back": (_look_back, "planned against actual, the answer with what came, how guesses have run"),
    "papers": (_papers, "where a course's figures land on the tax forms, and what may still be elected by when"),
    "slides": (_slides, "write five slides with charts that can be edited and notes"),
    "workbook": (_workbook, "write one course beside keep as a workbook of live formulas, for the accountant"),
}


def _parser(command: str = "") -> argparse.ArgumentParser:
    """Return the parser of all commands, or of `command` alone where there is one of that name: a tenth of the work."""
    parser = _Parser(
        prog="equipdecide",
        description=(
            "Keep, upgrade, sell or replace a machine tool: the after-tax answer, what flips it, and a "
            "page for partners."
        ),
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    verbs = parser.add_subparsers(dest="command", metavar="COMMAND", required=True, parser_class=_Parser)
    for name, (run, says) in COMMANDS.items():
        if command in COMMANDS and name != command:
            continue
        verb = verbs.add_parser(name, help=says, description=f"{says[0].upper()}{says[1:]}.")
        verb.set_defaults(run=run)
        if name == "new":
            verb.add_argument("name", nargs="?", metavar="FILE", help="file to write (my_shop.yaml if left out)")
            verb.add_argument("-o", "--output", metavar="FILE", help="the same")
            verb.add_argument("--json", action="store_true", help="say the file's name as JSON")
            continue
        if name == "form":
            says = "empty form to write (form.xlsx if left out); or a scenario file or filled form to convert"
            verb.add_argument("name", nargs="?", metavar="FILE", help=says)
            says = "file to write FILE's scenario to: .xlsx makes a form, .yaml a scenario file"
            verb.add_argument("target", nargs="?", metavar="OUT", help=says)
            verb.add_argument("--to", metavar="YAML", help="the same, for a scenario file of any name")
            verb.add_argument("--json", action="store_true", help="say the file's name as JSON")
            continue
        if name == "ask":
            verb.epilog = ASK
            verb.formatter_class = argparse.RawDescriptionHelpFormatter
            verb.add_argument(
                "-o", "--output", metavar="FILE", help="scenario file to write (decision.yaml if left out)"
            )
            verb.add_argument(
                "--json", action="store_true", help="give the answer as JSON; questions go to the error output"
            )
            continue
        verb.add_argument("file", metavar="FILE", help="scenario file, or a filled form (.xlsx)")
        if name == "brief":
            verb.add_argument(
                "-o", "--output", metavar="FILE", help="page to write (brief.html if left out); .pdf prints it"
            )
            says = "lender, accountant, or partner:NAME: a page that leaves out what is not for that reader"
            verb.add_argument("--for", dest="reader", metavar="READER", help=says)
            verb.add_argument("--pdf", action="store_true", help="print the page to a PDF (brief.pdf if no -o)")
            verb.add_argument("--json", action="store_true", help="say the file's name and the answer as JSON")
            continue
        if name == "slides":
            verb.add_argument("-o", "--output", metavar="FILE", help="slides to write (slides.pptx if left out)")
            continue
        if name == "workbook":
            verb.add_argument(
                "course", nargs="?", metavar="COURSE", help="name of a course (the leading one if left out)"
            )
            verb.add_argument("-o", "--output", metavar="FILE", help="workbook to write (FILE.xlsx if left out)")
            continue
        if name == "explain":
            verb.add_argument(
                "course", metavar="COURSE", help="name of a course, or of an offer for the figures of that sale"
            )
            verb.add_argument(
                "what",
                nargs="?",
                metavar="WHAT",
                help="npv, net cash, 'tax of Ines 2026', a line or the full name of a column",
            )
            verb.add_argument("--row", help="year, month or day of the figure, such as 2027")
            verb.add_argument(
                "--depth", type=int, default=1, choices=range(1, 6), metavar="1..5", help="levels at once (1)"
            )
            verb.add_argument(
                "--list",
                nargs="?",
                const="",
                metavar="WORD",
                help="list the names that can be asked for, those with WORD in them",
            )
        if name == "papers":
            verb.add_argument("course", metavar="COURSE", help="name of a course")
            verb.add_argument("--year", type=int, help="tax year of the lines (the first if left out)")
        if name in ("record", "after", "look-back"):
            _after_options(verb, name)
        if name in ANSWERS:
            for flags, options in ANSWERS[name].options:
                verb.add_argument(*flags, **options)
            if ANSWERS[name].chart:
                verb.add_argument("--chart", metavar="FILE", help="draw it too, to a .png or .svg file")
        if name == "breakeven":
            verb.add_argument("--input", metavar="PATH", help="one input only, such as study.rate")
            verb.add_argument("--course", help="this course only")
            verb.add_argument("--against", help="... against this one (keep)")
        verb.add_argument("--json", action="store_true", help="give the figures as JSON")
        verb.add_argument("-o", "--output", metavar="FILE", help="write to a file instead of the screen")
        if name in ("compare", "breakeven", "after"):
            verb.add_argument("--full", action="store_true", help="leave nothing out of the lists below the table")
        if name != "check":
            verb.add_argument("--width", type=int, default=96, help=argparse.SUPPRESS)
    return parser


def _after_options(verb: argparse.ArgumentParser, name: str) -> None:
    """Add what only the commands after the decision take."""
    if name == "look-back":
        verb.add_argument("actuals", metavar="ACTUALS", help="file of what came, such as deck_fittings_actuals.yaml")
    else:
        many = "?" if name == "record" else None
        verb.add_argument("course", metavar="COURSE", nargs=many, help="name of the course decided on")
    if name == "record":
        verb.add_argument("--agreed", metavar="NAME", action="append", default=[], help="who agreed; once for each")
        verb.add_argument("--dissent", metavar="TEXT", default="", help="who did not agree, and why")
        verb.add_argument("--change-our-mind", metavar="TEXT", default="", help="what would change your mind")
        verb.add_argument("--revisit-on", metavar="DAY", help="day to look at it again, such as 2027-03-01")
        says = "FILE is a record: figure it again with the law of then, or of today"
        verb.add_argument("--rerun", choices=("then", "today"), help=says)
    if name == "after":
        verb.add_argument("--today", metavar="DAY", help="day that makes an entry late (day of decision if left out)")
        says = "tick an entry by its key (see --json); once for each"
        verb.add_argument("--done", metavar="KEY", action="append", default=[], help=says)
        verb.add_argument("--calendar", metavar="FILE", help="calendar file to write, such as after.ics")
    verb.add_argument("--page", metavar="FILE", help="page to write, such as page.html")


if __name__ == "__main__":
    sys.exit(main())
