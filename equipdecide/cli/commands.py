"""Every command: what it is for, what it takes, what it runs."""

from __future__ import annotations

import argparse
import difflib
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import NoReturn

from equipdecide.answers import ANSWERS
from equipdecide.cli import afterwards, asking, figuring, writing
from equipdecide.cli.saying import Refusal

EPILOG = """\
A course is one thing you could do: keep, upgrade, replace, sell and do without, or steps of your own.
To begin: ask (about ten minutes, no papers needed), or new or form; then compare, sale, breakeven and brief.

Nothing leaves this computer. Estimates for a decision, not tax, legal, lending or safety advice.
Exit codes: 0 fine; 2 faults in a file; 1 anything else.
equipdecide alone offers four ways to begin; equipdecide COMMAND --help says more of one."""


@dataclass(frozen=True)
class Command:
    """One command: what it runs, what it is for in a line, and how its options are added."""

    run: Callable[[argparse.Namespace], int]
    says: str
    options: Callable[[argparse.ArgumentParser], None]


def _answering(name: str) -> Command:
    return Command(figuring.run_answer, ANSWERS[name].says, partial(figuring.answer_options, name))


COMMANDS: dict[str, Command] = {
    "ask": Command(
        asking.run_ask,
        "answer fifteen questions in about ten minutes: a rough answer, and a scenario file to go on with",
        asking.ask_options,
    ),
    "new": Command(writing.run_new, "write a starter file with a remark beside each line", writing.new_options),
    "form": Command(
        writing.run_form,
        "write a workbook to fill in, empty or from a scenario file; or make a scenario file of a filled one",
        writing.form_options,
    ),
    "check": Command(
        figuring.run_check,
        "read a scenario file and say every fault at once, with line and mend",
        figuring.check_options,
    ),
    "compare": Command(
        figuring.run_compare,
        "all courses side by side: worth, rate of return, payback, cash against the floor",
        figuring.compare_options,
    ),
    "sale": _answering("sale"),
    "breakeven": Command(
        figuring.run_breakeven, "what would flip the answer, the nearest first", figuring.breakeven_options
    ),
    **{name: _answering(name) for name in ANSWERS if name != "sale"},
    "explain": Command(
        figuring.run_explain, "where a figure comes from, one level at a time", figuring.explain_options
    ),
    "brief": Command(
        writing.run_brief,
        "write the page for partners, for a lender or for the accountant; also as PDF",
        writing.brief_options,
    ),
    "record": Command(
        afterwards.run_record,
        "write the record of a decision, to sign and keep; --rerun figures one again years later",
        afterwards.record_options,
    ),
    "after": Command(
        afterwards.run_after,
        "what to do after the decision: who, what, by when; as a list, a page, a calendar file",
        afterwards.after_options,
    ),
    "look-back": Command(
        afterwards.run_look_back,
        "planned against actual, the answer with what came, how guesses have run",
        afterwards.look_back_options,
    ),
    "papers": Command(
        figuring.run_papers,
        "where a course's figures land on the tax forms, and what may still be elected by when",
        figuring.papers_options,
    ),
    "slides": Command(
        writing.run_slides, "write five slides with charts that can be edited and notes", writing.slides_options
    ),
    "workbook": Command(
        writing.run_workbook,
        "write one course beside keep as a workbook of live formulas, for the accountant",
        writing.workbook_options,
    ),
}


class Parser(argparse.ArgumentParser):
    """A parser that refuses in a sentence, and names the command that was meant."""

    def error(self, message: str) -> NoReturn:
        """Refuse: raises :class:`Refusal`."""
        if "invalid choice" in message and "COMMAND" in message:
            word = message.split("'")[1]
            near = difflib.get_close_matches(word, COMMANDS, 1, 0.5)
            message = f"there is no command '{word}'." + (
                f" Did you mean '{near[0]}'?" if near else f" There are {', '.join(COMMANDS)}."
            )
        message = message if message.endswith((".", "?")) else message + "."
        raise Refusal(f"{message} See {self.prog} --help.")


def parser(command: str = "") -> argparse.ArgumentParser:
    """Return the parser of all commands, or of `command` alone where there is one of that name: a tenth of the work."""
    whole = Parser(
        prog="equipdecide",
        description=(
            "Keep, upgrade, sell or replace a machine tool: the after-tax answer, what flips it, and a "
            "page for partners."
        ),
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    verbs = whole.add_subparsers(dest="command", metavar="COMMAND", required=True, parser_class=Parser)
    for name, one in COMMANDS.items():
        if command in COMMANDS and name != command:
            continue
        says = one.says
        verb = verbs.add_parser(name, help=says, description=f"{says[0].upper()}{says[1:]}.")
        verb.set_defaults(run=one.run)
        one.options(verb)
    return whole
