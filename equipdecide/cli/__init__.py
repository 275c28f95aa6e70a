"""The command line: thin, each command reads a file, calls one verb and prints what a view makes of it.

Exit codes: 0 fine; 2 faults in a file, all of them printed with place and mend; 1 anything else, said in one sentence.
Large libraries are loaded by the command that needs them, so that ``--help`` and ``check`` answer at once.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable

from equipdecide.cli.commands import parser
from equipdecide.cli.front import door
from equipdecide.cli.saying import REFUSED, TRACE, Refusal, fail, say_faults


def main(argv: list[str] | None = None) -> int:
    """Run the command line and return its exit code."""
    try:
        code = _run(sys.argv[1:] if argv is None else argv)
        sys.stdout.flush()
        return code
    except Refusal as refusal:
        return fail(str(refusal))
    except BrokenPipeError:  # the reader of our output has gone
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return REFUSED
    except (KeyboardInterrupt, EOFError):
        return fail("\nStopped. Nothing was written.")
    except Exception as error:
        if os.environ.get(TRACE):
            raise
        return _unforeseen(error)


def _run(argv: list[str]) -> int:
    if not argv:
        return door()
    args = parser(argv[0]).parse_args(argv)
    run: Callable[[argparse.Namespace], int] = args.run
    return run(args)


def _unforeseen(error: Exception) -> int:
    if "ScenarioError" in [kind.__name__ for kind in type(error).__mro__]:  # a scenario, a record or a file of actuals
        return say_faults(error, sys.stderr, hint=True)  # type: ignore[arg-type]
    if isinstance(error, OSError):
        return fail(f"{error.strerror or error}: {error.filename}" if error.filename else str(error))
    said = str(error.args[0]) if error.args else ""
    if isinstance(error, LookupError | ValueError) and " " in said:  # a verb's own words
        return fail(said)
    return fail(
        f"This is a fault of equipdecide, not of your file ({type(error).__name__}: "
        f"{said or error}). Please report it; with {TRACE}=1 set, the place is shown."
    )
