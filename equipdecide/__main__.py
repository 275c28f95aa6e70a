"""``python -m equipdecide`` is the command ``equipdecide``."""

import sys

from equipdecide.cli import main

if __name__ == "__main__":
    sys.exit(main())
