"""The page for partners: one HTML file that answers, says what would flip the answer, and shows where the money goes.

A page is a row of parts, each a heading over blocks (paragraph, table, chart, list, definitions); the template knows
blocks, not parts, so that another reader is another row of parts. The page holds no script, asks nothing of any
server, and is the same bytes for the same scenario.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path

import jinja2
from markupsafe import Markup, escape

from equipdecide.decide.compare import Comparison
from equipdecide.views import accountant_page as accountant
from equipdecide.views import lender_page as lender
from equipdecide.views.answer_parts import alternatives, answer, flips
from equipdecide.views.explained import Linked, Said
from equipdecide.views.hours_part import hours
from equipdecide.views.money_parts import cash, proceeds, why
from equipdecide.views.parts import Page, Part
from equipdecide.views.printing import print_page
from equipdecide.views.reading_parts import assumptions, cautions, definitions, findings, law, where_from
from equipdecide.views.sure_part import sure
from equipdecide.views.ten_numbers import first_table
from equipdecide.words import day, listed

TEMPLATE = "brief.html.j2"


PartRow = tuple[Callable[[Page], Part | None], ...]
PARTNERS: PartRow = (
    answer,
    first_table,
    why,
    flips,
    alternatives,
    sure,
    proceeds,
    cash,
    hours,
    assumptions,
    findings,
    cautions,
    law,
    definitions,
    where_from,
)


def _unbroken(text: str) -> Markup:
    """Return text in which no day and no per cent is broken over two lines, and linked figures are links."""
    if isinstance(text, Said):
        return Markup("").join(_unbroken(piece) for piece in text.pieces)
    if isinstance(text, Linked):
        return Markup('<a href="#{}">{}</a>').format(text.anchor, _unbroken(str(text)))
    held = re.sub(r"(?<=\d) %", "\N{NO-BREAK SPACE}%", str(escape(text)))
    return Markup(re.sub(r"\b(\d{4}-\d\d-\d\d)\b", r"<time>\1</time>", held))


@lru_cache(maxsize=1)
def _template() -> jinja2.Template:
    loader = jinja2.FileSystemLoader(Path(__file__).parent)
    home = jinja2.Environment(
        loader=loader, autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    home.filters["unbroken"] = _unbroken
    return home.get_template(TEMPLATE)


LENDER: PartRow = (
    lender.caption,
    lender.funds,
    lender.debts,
    lender.collateral,
    lender.coverage,
    lender.customers,
    lender.guarantees,
    lender.findings,
    cautions,
    where_from,
)
ACCOUNTANT: PartRow = (
    accountant.course,
    accountant.settlements,
    accountant.gains,
    accountant.taxes,
    accountant.elections,
    accountant.forms,
    assumptions,
    findings,
    law,
    cautions,
    where_from,
)
OUTSIDE: dict[str, PartRow] = {"lender": LENDER, "accountant": ACCOUNTANT}


def _left_out(reader: str, owner: str | None) -> str:
    """Say for whom a page is and what it leaves out; nothing on the page for all partners."""
    if owner is not None:
        return f"Copy for {owner}: the other owners' own figures are left out."
    left = {
        "lender": "the owners' own figures are left out, but for what they guarantee",
        "accountant": "what the owners entered of their households is left out",
    }
    return f"For the {reader}: {left[reader]}." if reader in left else ""


def readers(comparison: Comparison) -> tuple[str, ...]:
    """Return the readers there is a page for."""
    return ("partners", *OUTSIDE, *(f"partner:{owner}" for owner in comparison.scenario.owners))


def brief(comparison: Comparison, path: str | Path | None = None, reader: str = "partners") -> str:
    """Return the page as HTML, and write it to `path` where one is given; a path that ends in ``.pdf`` is printed to.

    `reader` is ``partners``; ``partner:NAME`` for a copy that leaves out the other owners' own figures; ``lender`` or
    ``accountant``, whose pages leave out all owners' own figures. Raises ValueError for another reader,
    :class:`equipdecide.views.printing.NoPrinter` where nothing on this computer can make a PDF.
    """
    if reader not in (known := readers(comparison)):
        raise ValueError(f"no page for the reader {reader!r}; there is one for {listed(known)}")
    owner = reader.removeprefix("partner:") if reader.startswith("partner:") else None
    page = Page(comparison, owner, reader in OUTSIDE)
    parts = [part for make in OUTSIDE.get(reader, PARTNERS) if (part := make(page)) is not None]
    scenario = comparison.scenario
    text = _template().render(
        title=scenario.title,
        shop=scenario.shop.name,
        decided=day(scenario.decision_date),
        currency=scenario.currency,
        copy_for=_left_out(reader, owner),
        parts=parts,
    )
    if path is not None and Path(path).suffix.lower() == ".pdf":
        print_page(text, Path(path))
    elif path is not None:
        Path(path).write_text(text, encoding="utf-8", newline="\n")
    return text
