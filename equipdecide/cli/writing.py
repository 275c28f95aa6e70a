"""Commands that write a page, a workbook, slides, a form or a file to begin with."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import TYPE_CHECKING

from equipdecide.cli.saying import (
    FINE,
    Refusal,
    file_option,
    nearest,
    new_file,
    read_scenario,
    say,
    write_text,
)

if TYPE_CHECKING:
    from equipdecide.scenario import Scenario


def run_brief(args: argparse.Namespace) -> int:
    """Write the page for one kind of reader; print it where asked."""
    scenario = read_scenario(args.file)
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
        write_text(path, page)
    if args.json:
        say(
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
    say(f"{headline(result)}\n\nThe page is {path}: {how}.{lack} Nothing was sent anywhere.")
    return FINE


def _reader(name: str | None, scenario: Scenario) -> str:
    """Return the reader of a page: an owner's name alone is that owner's copy."""
    if name is None:
        return "partners"
    if name in scenario.owners:
        return f"partner:{name}"
    kind, _, owner = name.partition(":")
    if kind == "partner" and owner and owner not in scenario.owners:
        raise Refusal(f"there is no owner '{owner}'. {nearest(owner, scenario.owners, 'Owners')}")
    known = ["partners", "lender", "accountant", *(f"partner:{owner}" for owner in scenario.owners)]
    if name not in known:
        raise Refusal(
            f"there is no page for '{name}'. {nearest(name, [*known, *scenario.owners], 'There are pages for')}"
        )
    return name


def run_workbook(args: argparse.Namespace) -> int:
    """Write the workbook of a course."""
    scenario = read_scenario(args.file)
    path = Path(args.output or f"{Path(args.file).stem}.xlsx")
    if path.is_dir() or not path.parent.is_dir():
        raise Refusal(f"{path} cannot be written: there is no such folder, or it is a folder itself")
    from equipdecide.decide.compare import compare
    from equipdecide.views.workbook import lay_out, workbook

    comparison = compare(scenario)
    if args.course is not None and args.course not in scenario.alternatives:
        raise Refusal(f"no course is named '{args.course}'. {nearest(args.course, scenario.alternatives, 'There are')}")
    try:
        workbook(comparison, path, args.course)
    except ImportError as error:
        raise Refusal(str(error)) from None
    made = lay_out(comparison, args.course)
    shown = "keep alone" if made.alone else f"{made.course.name} beside keep"
    say(f"The workbook is {path}: {shown}, every figure a live formula. Its first sheet says what may be changed.")
    return FINE


def run_slides(args: argparse.Namespace) -> int:
    """Write the slides."""
    scenario = read_scenario(args.file)
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
    say(f"The slides are {path}: five, with charts that can be edited; what is to be said stands in the notes.")
    return FINE


def run_new(args: argparse.Namespace) -> int:
    """Write a starter file."""
    path = new_file(args.output or args.name or "my_shop.yaml")
    from equipdecide.scenario.starter import starter_text

    write_text(path, starter_text())
    if args.json:
        say(json.dumps({"file": str(path)}, indent=2))
        return FINE
    say(f"Written: {path}. Its figures are invented; write your own over them. Then: equipdecide check {path}")
    return FINE


def run_form(args: argparse.Namespace) -> int:
    """Write a form, or convert between form and scenario file."""
    source, target = args.name or "form.xlsx", args.to or args.target
    if target is None and Path(source).suffix.lower() in (".yaml", ".yml"):
        target = str(Path(source).with_suffix(".xlsx"))
    if target is not None:
        path, remarks = _converted(source, target, plain_file=args.to is not None)
    else:
        path, remarks = new_file(source), []
        if path.suffix.lower() != ".xlsx":
            raise Refusal(f"a form is a workbook: give a name that ends in .xlsx, not {path.name}")
        _write_form(path, None)
        says = "Fill in the yellow cells of the first sheet and save; the later sheets hold all else there is to say."
        remarks.append(f"{says} Then: equipdecide compare {path}")
    said = " ".join([f"Written: {path}.", *remarks])
    say(json.dumps({"file": str(path), "remarks": remarks}, indent=2, ensure_ascii=False) if args.json else said)
    return FINE


def _write_form(path: Path, scenario: Scenario | None) -> None:
    from equipdecide.scenario.form.book import form

    try:
        form(path, scenario)
    except ImportError as error:
        raise Refusal(str(error)) from None
    except OSError as error:
        raise Refusal(f"{path} cannot be written: {(error.strerror or str(error)).lower()}") from None


def _converted(source: str, target: str, plain_file: bool) -> tuple[Path, list[str]]:
    """Write a scenario file as a form or a form as a scenario file; return its path and what did not go with it."""
    from equipdecide.scenario.form.entries import files_named
    from equipdecide.scenario.writing import dump

    scenario, path = read_scenario(source), new_file(target)
    if path.suffix.lower() == ".xlsx":
        _write_form(path, scenario)
        remarks = [f"Every sheet holds what {source} says. Change the yellow cells; then: equipdecide compare {path}."]
    elif plain_file or path.suffix.lower() in (".yaml", ".yml"):
        write_text(path, dump(scenario))
        remarks = [f"Go on there in any editor; then: equipdecide check {path}."]
    else:
        raise Refusal(f"a form ends in .xlsx and a scenario file in .yaml; {path.name} does neither")
    remarks += scenario.source.remarks
    if Path(source).suffix.lower() != ".xlsx":
        from equipdecide.scenario.form.book import remarks_in

        if count := remarks_in(Path(source).read_text(encoding="utf-8-sig")):
            lines = "1 line has a remark" if count == 1 else f"{count} lines have remarks"
            remarks.append(f"{lines} after # in {source}; they do not go into it (notes do).")
    remarks += [f"Put {name} beside it." for name in files_named(scenario) if not (path.parent / name).is_file()]
    return path, remarks


# --- what they take


def new_options(verb: argparse.ArgumentParser) -> None:
    """Add the options of `new`."""
    verb.add_argument("name", nargs="?", metavar="FILE", help="file to write (my_shop.yaml if left out)")
    verb.add_argument("-o", "--output", metavar="FILE", help="the same")
    verb.add_argument("--json", action="store_true", help="say the file's name as JSON")


def form_options(verb: argparse.ArgumentParser) -> None:
    """Add the options of `form`."""
    says = "empty form to write (form.xlsx if left out); or a scenario file or filled form to convert"
    verb.add_argument("name", nargs="?", metavar="FILE", help=says)
    says = "file to write FILE's scenario to: .xlsx makes a form, .yaml a scenario file"
    verb.add_argument("target", nargs="?", metavar="OUT", help=says)
    verb.add_argument("--to", metavar="YAML", help="the same, for a scenario file of any name")
    verb.add_argument("--json", action="store_true", help="say the file's name as JSON")


def brief_options(verb: argparse.ArgumentParser) -> None:
    """Add the options of `brief`."""
    file_option(verb)
    says = "page to write (brief.html if left out); .pdf prints it"
    verb.add_argument("-o", "--output", metavar="FILE", help=says)
    says = "lender, accountant, or partner:NAME: a page that leaves out what is not for that reader"
    verb.add_argument("--for", dest="reader", metavar="READER", help=says)
    verb.add_argument("--pdf", action="store_true", help="print the page to a PDF (brief.pdf if no -o)")
    verb.add_argument("--json", action="store_true", help="say the file's name and the answer as JSON")


def slides_options(verb: argparse.ArgumentParser) -> None:
    """Add the options of `slides`."""
    file_option(verb)
    verb.add_argument("-o", "--output", metavar="FILE", help="slides to write (slides.pptx if left out)")


def workbook_options(verb: argparse.ArgumentParser) -> None:
    """Add the options of `workbook`."""
    file_option(verb)
    says = "name of a course (the leading one if left out)"
    verb.add_argument("course", nargs="?", metavar="COURSE", help=says)
    verb.add_argument("-o", "--output", metavar="FILE", help="workbook to write (FILE.xlsx if left out)")
