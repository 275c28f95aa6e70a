"""The command that asks the fifteen questions."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from equipdecide.cli.saying import FINE, fail, new_file, say, say_prompt, write_text

if TYPE_CHECKING:
    from equipdecide.scenario import Scenario

ASK = """\
One line each, written as on paper: several figures on a line, "about 60k", "50k to 60k", "7 1/2 %", "next spring".
Each line is read back. Enter or ? takes the default that is shown; "back" goes back; "where" says where to find it;
from question 9 on "answer" takes the defaults for the rest. "stop" or Ctrl-C keeps your answers beside the file, and
the same command goes on from there. Which machine, what an hour is worth and what is owed must be answered; a guess
is enough. Useful to have at hand: the invoice, the lender's last statement, a quote."""


def run_ask(args: argparse.Namespace) -> int:
    """Ask the fifteen questions, write the scenario file, give the rough answer."""
    from equipdecide.scenario.asking.dialogue import Stopped, ask
    from equipdecide.scenario.writing import dump

    path = new_file(args.output or "decision.yaml")
    kept_file = path.with_suffix(".answers.json")
    where = sys.stderr if args.json else sys.stdout

    def answered(prompt: str) -> str:
        say_prompt(prompt, where)
        return input()

    def keep(answers: dict[str, str], number: int) -> None:
        write_text(kept_file, json.dumps({"next question": number, "answers": answers}, indent=2, ensure_ascii=False))

    def so_far(scenario: Scenario) -> str:
        from equipdecide.decide.compare import compare
        from equipdecide.views.rough import one_line

        return one_line(compare(scenario))

    kept, reached = _kept_answers(kept_file, answered, where)
    try:
        scenario = ask(answered, lambda text: say(text, where), kept=kept, reached=reached, keep=keep, so_far=so_far)
    except (Stopped, EOFError, KeyboardInterrupt):
        if not kept_file.exists():
            raise EOFError from None
        again = "equipdecide ask" + (f" -o {args.output}" if args.output else "")
        return fail(f"\nStopped. Your answers are kept in {kept_file}; {again} goes on from there.")
    write_text(path, dump(scenario))
    kept_file.unlink(missing_ok=True)
    from equipdecide.decide.breakeven import breakeven, nothing_extra_sold
    from equipdecide.decide.compare import compare
    from equipdecide.decide.sale import sale
    from equipdecide.views.rough import rough_text

    comparison = compare(scenario)
    flips = breakeven(scenario)
    if args.json:
        say(
            json.dumps(
                {"file": str(path), "rough": True, "comparison": comparison.to_json(), "breakeven": flips.to_json()},
                indent=2,
                ensure_ascii=False,
            )
        )
    else:
        none_sold = nothing_extra_sold(scenario, comparison)
        say("\n" + rough_text(comparison, flips, none_sold, sold=sale(scenario)))
    say(
        f"\nYour answers are in {path}. Correct it in any editor. Then, for all figures and cautions:\n"
        f"  equipdecide compare {path}\n  equipdecide brief {path} -o brief.html     (a page for partners)",
        where,
    )
    return FINE


def _kept_answers(file: Path, answered: Callable[[str], str], where: Any) -> tuple[dict[str, str], int]:
    """Return the answers of a dialogue that was stopped, and the question to go on from, where the
    person wants them.
    """
    from equipdecide.scenario.asking.questions import BLANKS, readable

    if not file.exists():
        return {}, 1
    try:
        found = json.loads(file.read_text(encoding="utf-8"))
        number = int(found["next question"])
        answers = {key: text for key, text in found["answers"].items() if key in BLANKS and readable(key, text)}
    except (ValueError, KeyError, TypeError, AttributeError):
        say(f"{file} cannot be read as answers of before; beginning afresh.\n", where)
        return {}, 1
    said = answered(
        f"Your answers up to question {number - 1} are kept from before. Enter goes on, new begins afresh: "
    )
    say("", where)
    return ({}, 1) if said.strip().lower() in ("new", "n", "no") else (answers, number)


def ask_options(verb: argparse.ArgumentParser) -> None:
    """Add the options of `ask`."""
    verb.epilog = ASK
    verb.formatter_class = argparse.RawDescriptionHelpFormatter
    verb.add_argument("-o", "--output", metavar="FILE", help="scenario file to write (decision.yaml if left out)")
    verb.add_argument("--json", action="store_true", help="give the answer as JSON; questions go to the error output")
