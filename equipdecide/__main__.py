"""``python -m equipdecide`` is the command ``equipdecide``: one command, in a process of its own."""

import gc
import os
import sys

from equipdecide.cli import main


def command() -> int:
    """Run the command line as a whole process and return its exit code.

    A command keeps nearly all it makes until it ends, so that looking for garbage, at the end once more, is a sixth of
    a comparison; and pydantic reads of every installed package whether it has a plugin, of which none is wanted here.
    """
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
    gc.disable()
    code = main()
    gc.freeze()
    return code


if __name__ == "__main__":
    sys.exit(command())
