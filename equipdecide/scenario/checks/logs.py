"""Logs of nights can be read."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from pathlib import Path

from equipdecide.scenario.amounts import AmountError, decimal_text, read_day
from equipdecide.scenario.checks.checker import Checker
from equipdecide.scenario.checks.looking import HOURS, all_nights, block_at, blocks_of, figure_of, first_nights
from equipdecide.scenario.faults import Fault, did_you_mean
from equipdecide.scenario.tree import Place, Table, Text

LOG_COLUMNS = ("date", "hours_run", "reason")


def logs_can_be_read(c: Checker) -> None:
    """A log of evenings exists and each row can be read; hours alone need one or the other source."""
    first = first_nights(c.tree)
    for nights in all_nights(c.tree):
        if nights in first and "log" not in nights and "mean_between_stops" not in nights:
            mend = "Add `mean_between_stops:`, or `log:` with a file of evenings"
            c.report(nights, "nothing says how long it runs between stops", mend, "mean_between_stops")
        if nights in first and ".changes." in nights.path:
            for key in ("nights", "window"):
                if key not in nights:
                    c.report(
                        nights, f"`{key}` is missing: its machine has no nights to take it from", f"Add `{key}:`", key
                    )
        name = nights.get("log")
        if not isinstance(name, Text) or not name or c.folder is None:
            continue
        file = c.folder / name
        try:
            lines = file.read_text(encoding="utf-8-sig").splitlines()
        except OSError:
            c.report(
                nights,
                f"the file '{name}' is not in the folder of this file",
                "Put it there, or leave `log:` out",
                "log",
            )
        except UnicodeDecodeError:
            c.report(nights, f"the file '{name}' is not text in UTF-8", "Save it as CSV in UTF-8", "log")
        else:
            window = figure_of(nights.get("window"), HOURS)
            c.faults.extend(log_faults(lines, str(name), window))


def shapes_have_a_log(c: Checker) -> None:
    """A shape of the times between stops is taken on the scale of a log; without one it would say nothing."""
    logged = {
        name: any("log" in nights for _, run in block_at(machine, "running") for _, nights in block_at(run, "nights"))
        for name, machine in blocks_of(c.tree, "machines")
    }
    blocks = [(name, run) for name, machine in blocks_of(c.tree, "machines") for _, run in block_at(machine, "running")]
    blocks += [
        (str(one.get("machine")), change)
        for _, one in blocks_of(c.tree, "improvements")
        for _, change in block_at(one, "changes")
    ]
    for machine, block in blocks:
        for _, nights in block_at(block, "nights"):
            if "shape" in nights and "log" not in nights and not logged.get(machine, False):
                mend = "Add `log:` with a file of evenings, or leave `shape:` out: stops are then at random"
                c.report(nights, "a shape is given without a log of nights", mend, "shape")


def causes_are_logged(c: Checker) -> None:
    """Reasons that an improvement ends stand in the log of its machine, and no more than all of one is ended."""
    machines = dict(blocks_of(c.tree, "machines"))
    for _, improvement in blocks_of(c.tree, "improvements"):
        for _, change in block_at(improvement, "changes"):
            ended = change.get("ends_causes")
            if not isinstance(ended, Table) or not ended:
                continue
            base = machines.get(str(improvement.get("machine")))
            runs = [run for block in ([base] if base is not None else []) for _, run in block_at(block, "running")]
            logs = [nights.get("log") for run in [change, *runs] for _, nights in block_at(run, "nights")]
            name = next((log for log in logs if isinstance(log, Text) and log), None)
            if name is None:
                mend = "Add `log:` to the nights of the machine, or give the new `mean_between_stops:` instead"
                c.report(change, "there is no log of evenings to take these reasons from", mend, "ends_causes")
                continue
            reasons = _reasons(c.folder, name)
            for words, place in ended.keys_at.items():
                found = [r for r in reasons if r.lower() == words.lower()] or [
                    r for r in reasons if r.lower().startswith(words.lower())
                ]
                if reasons and len(found) != 1:
                    otherwise = f"Reasons in the log: {'; '.join(reasons)}"
                    what = (
                        f"no reason in the log is '{words}'"
                        if not found
                        else f"{len(found)} reasons in the log begin with '{words}'"
                    )
                    c.report(
                        Text.at(words, place, f"{ended.path}.{words}"), what, did_you_mean(words, reasons, otherwise)
                    )


def _reasons(folder: Path | None, name: str) -> list[str]:
    """Return the reasons of a log, each once; empty where it cannot be read (which is reported elsewhere)."""
    try:
        lines = (folder / name).read_text(encoding="utf-8-sig").splitlines() if folder is not None else []
    except (OSError, UnicodeDecodeError):
        return []
    rows = [row for row in csv.reader(lines[1:]) if len(row) > 2]
    return list(dict.fromkeys(",".join(row[2:]).strip() for row in rows))


def log_faults(lines: list[str], name: str, window: float | None = None) -> Iterator[Fault]:
    """Yield what is wrong in a log of evenings: date, hours_run [h] and reason; `window` bounds the hours [h]."""

    def fault(number: int, column: int, what: str, mend: str) -> Fault:
        line = lines[number - 1] if 0 < number <= len(lines) else ""
        return Fault(Place(name, number, column), "", what, mend, line)

    head = [cell.strip() for cell in next(csv.reader(lines[:1]), [])]
    if tuple(head) != LOG_COLUMNS:
        yield fault(1, 1, "the columns are not date, hours_run, reason", "Make date,hours_run,reason the first line")
        return
    if len(lines) < 2:
        yield fault(1, 1, "the log holds no evening", "Add one line for each evening, or leave `log:` out")
    for number, line in enumerate(lines[1:], 2):
        cells = next(csv.reader([line]), [])
        if not cells:
            continue
        starts = [1]
        for cell in cells[:-1]:
            starts.append(starts[-1] + len(cell) + 1)
        if len(cells) < len(LOG_COLUMNS):  # commas in the reason, the last column, do no harm
            yield fault(number, 1, f"the row has {len(cells)} cells, not 3", "Write date,hours_run,reason")
            continue
        try:
            read_day(cells[0])
        except AmountError as error:
            yield fault(number, 1, error.what, error.mend)
        try:
            hours = float(HOURS.read(cells[1]))
            if window is not None and hours > window + 1e-9:
                mend = f"Write at most {decimal_text(window)}, or check `window:`"
                yield fault(
                    number, starts[1], f"{cells[1]} h is more than the window of {decimal_text(window)} h", mend
                )
        except AmountError as error:
            yield fault(number, starts[1], error.what, error.mend)
