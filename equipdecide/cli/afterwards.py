"""Commands for the time after a decision: its record, what to do, what came."""

from __future__ import annotations

import argparse
import json
import sys

from equipdecide.cli.saying import (
    FINE,
    Refusal,
    course_of,
    day_of,
    file_option,
    file_there,
    give,
    given_options,
    new_file,
    read_scenario,
    say,
    write_text,
)


def run_record(args: argparse.Namespace) -> int:
    """Write the record of a decision, or figure one again."""
    if args.rerun is not None:
        return _rerun(args)
    if args.course is None:
        raise Refusal("say which course was decided on: equipdecide record FILE COURSE; or --rerun then for a record")
    revisit_on = day_of(args.revisit_on, "--revisit-on")
    scenario = read_scenario(args.file)
    course = course_of(args.course, scenario)
    path = new_file(args.output or "decision_record.yaml")
    page = new_file(args.page) if args.page else None
    from equipdecide.after.record import record
    from equipdecide.after.record_file import write
    from equipdecide.decide.compare import compare
    from equipdecide.views.record_page import record_page, record_text

    made = record(compare(scenario), course, args.agreed, args.dissent, revisit_on, args.change_our_mind)
    write(made, path)
    if page is not None:
        write_text(page, record_page(made))
    say(json.dumps(made.to_json(), indent=2, ensure_ascii=False) if args.json else record_text(made, args.width))
    say(f"The record is {path}; keep it unchanged." + (f" The page to sign is {page}." if page else ""), sys.stderr)
    return FINE


def _rerun(args: argparse.Namespace) -> int:
    for flag in ("course", "agreed", "dissent", "revisit_on", "change_our_mind", "page"):
        if getattr(args, flag):
            said = "COURSE" if flag == "course" else f"--{flag.replace('_', '-')}"
            raise Refusal(f"{said} goes with a new record; --rerun figures one again that was written")
    path = file_there(args.file, "record")
    from equipdecide.after.record_file import read
    from equipdecide.after.rerun import rerun
    from equipdecide.views.record_page import rerun_text

    result = rerun(read(path), args.rerun)
    return give(args, lambda: rerun_text(result, args.width), result.to_json)


def run_after(args: argparse.Namespace) -> int:
    """Say what to do after a decision; write its page and calendar file where asked."""
    today = day_of(args.today, "--today")
    scenario = read_scenario(args.file)
    course = course_of(args.course, scenario)
    page = new_file(args.page) if args.page else None
    calendar = new_file(args.calendar) if args.calendar else None
    from equipdecide.after.todo import after
    from equipdecide.decide.compare import compare
    from equipdecide.views.calendar_file import calendar_file
    from equipdecide.views.todo_page import todo_page, todo_text

    result = after(compare(scenario), course, today, args.done)
    if page is not None:
        write_text(page, todo_page(result))
        say(f"The page is {page}.", sys.stderr)
    if calendar is not None:
        try:
            calendar_file(result, calendar)
        except ImportError as error:
            raise Refusal(str(error)) from None
        say(f"The calendar file is {calendar}: open it in any calendar program.", sys.stderr)
    return give(args, lambda: todo_text(result, args.width, args.full), result.to_json)


def run_look_back(args: argparse.Namespace) -> int:
    """Set what came against what was planned."""
    file, actuals = file_there(args.file, "scenario or record"), file_there(args.actuals, "file of actual figures")
    page = new_file(args.page) if args.page else None
    from equipdecide.after.look_back import look_back
    from equipdecide.after.record_file import is_record, read
    from equipdecide.decide.compare import compare
    from equipdecide.views.look_back_page import look_back_page, look_back_text

    result = look_back(read(file) if is_record(file) else compare(read_scenario(args.file)), actuals)
    if page is not None:
        write_text(page, look_back_page(result))
        say(f"The page is {page}.", sys.stderr)
    return give(args, lambda: look_back_text(result, args.width), result.to_json)


# --- what they take


def record_options(verb: argparse.ArgumentParser) -> None:
    """Add the options of `record`."""
    file_option(verb)
    verb.add_argument("course", metavar="COURSE", nargs="?", help="name of the course decided on")
    verb.add_argument("--agreed", metavar="NAME", action="append", default=[], help="who agreed; once for each")
    verb.add_argument("--dissent", metavar="TEXT", default="", help="who did not agree, and why")
    verb.add_argument("--change-our-mind", metavar="TEXT", default="", help="what would change your mind")
    verb.add_argument("--revisit-on", metavar="DAY", help="day to look at it again, such as 2027-03-01")
    says = "FILE is a record: figure it again with the law of then, or of today"
    verb.add_argument("--rerun", choices=("then", "today"), help=says)
    page_option(verb)
    given_options(verb)


def after_options(verb: argparse.ArgumentParser) -> None:
    """Add the options of `after`."""
    file_option(verb)
    verb.add_argument("course", metavar="COURSE", help="name of the course decided on")
    verb.add_argument("--today", metavar="DAY", help="day that makes an entry late (day of decision if left out)")
    says = "tick an entry by its key (see --json); once for each"
    verb.add_argument("--done", metavar="KEY", action="append", default=[], help=says)
    verb.add_argument("--calendar", metavar="FILE", help="calendar file to write, such as after.ics")
    page_option(verb)
    given_options(verb, full=True)


def look_back_options(verb: argparse.ArgumentParser) -> None:
    """Add the options of `look-back`."""
    file_option(verb)
    verb.add_argument("actuals", metavar="ACTUALS", help="file of what came, such as deck_fittings_actuals.yaml")
    page_option(verb)
    given_options(verb)


def page_option(verb: argparse.ArgumentParser) -> None:
    """Add the page to write."""
    verb.add_argument("--page", metavar="FILE", help="page to write, such as page.html")
