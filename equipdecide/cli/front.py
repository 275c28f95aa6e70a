"""The door: what is said when the program is started alone."""

from __future__ import annotations

import sys

from equipdecide.cli.saying import FINE, Refusal, say

DOOR = """\
equipdecide: keep, upgrade, sell or replace a machine tool.
Nothing leaves this computer: no figure is sent anywhere.

  1  answer fifteen questions    equipdecide ask        (about ten minutes; "don't know" is an answer)
  2  fill in a starter file      equipdecide new my_shop.yaml      (or a workbook: equipdecide form my_shop.xlsx)
  3  see an example              python -m equipdecide.demo
  4  read my file                equipdecide compare my_shop.yaml

equipdecide --help lists every command."""


def _somebody_is_there() -> bool:
    return bool(sys.stdin) and sys.stdin.isatty() and sys.stdout.isatty()


def door() -> int:
    """Say the four ways to begin, and take one where somebody is there."""
    from equipdecide.cli import main  # it opens this door

    say(DOOR)
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
