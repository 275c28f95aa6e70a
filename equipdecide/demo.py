"""The demonstration: the smallest example, then a whole shop. ``python -m equipdecide.demo``."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

from equipdecide.scenario.examples import example
from equipdecide.scenario.reading import load
from equipdecide.words import plain

OUT = Path("out")  # in the folder it is run in


def _say(text: str) -> None:
    print(plain(text, sys.stdout.encoding))


def _headed(text: str) -> str:
    return f"\n{'=' * 96}\n{text}\n{'=' * 96}\n"


def main(say: Callable[[str], None] = _say) -> int:
    """Print the sale and the comparison of both examples, and write the page for partners into `out/`."""
    from equipdecide.decide.compare import compare
    from equipdecide.decide.sale import sale
    from equipdecide.views.brief import brief
    from equipdecide.views.sale_table import sale_text
    from equipdecide.views.table import comparison_text

    file = example("first_sale")
    small = load(file)
    say(_headed(f"The smallest example: one machine, its loan, a reseller  ({file.name})"))
    say(sale_text(sale(small)))
    say("")
    say(comparison_text(compare(small)))
    file = example("deck_fittings")
    shop = load(file)
    say(_headed(f"A whole shop: six courses, two owners, a limited machine  ({file.name})"))
    comparison = compare(shop)
    say(comparison_text(comparison))
    say("")
    say(sale_text(sale(shop)))
    OUT.mkdir(exist_ok=True)
    page = OUT / "brief.html"
    brief(comparison, page)
    say(f"\nThe page for partners is {page.resolve()}: open it in a browser.")
    say(f"Both files are in {file.parent}. Copy one and write your own figures over it, or begin with: equipdecide ask")
    return 0


if __name__ == "__main__":
    sys.exit(main())
