"""A plain sheet to print: sections of sentences, tables, lines to sign on; one file that asks nothing of any server."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import jinja2


@dataclass(frozen=True)
class SheetRow:
    """A row: its cells, the first its heading; `note` stands small under cell `note_at`. `tone`: best, done, late."""

    cells: tuple[str, ...]
    tone: str = ""
    note: str = ""
    note_at: int = 1


@dataclass(frozen=True)
class SheetTable:
    """A table: columns as (heading, kind), kind being empty for words, ``figure`` or ``day``."""

    caption: str
    columns: tuple[tuple[str, str], ...]
    rows: tuple[SheetRow, ...]


@dataclass(frozen=True)
class Section:
    """A heading over sentences (text, tone: empty, lead or warning), a table, and names to sign over."""

    heading: str = ""
    texts: tuple[tuple[str, str], ...] = ()
    table: SheetTable | None = None
    sign: tuple[str, ...] = ()


@dataclass(frozen=True)
class Sheet:
    """A page: title, what stands under it, sections, and the small print at its foot."""

    title: str
    under: str
    sections: tuple[Section, ...]
    footer: str


@lru_cache(maxsize=1)
def _template() -> jinja2.Template:
    loader = jinja2.FileSystemLoader(Path(__file__).parent)
    home = jinja2.Environment(
        loader=loader, autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    return home.get_template("sheet.html.j2")


def sheet_html(sheet: Sheet, path: str | Path | None = None) -> str:
    """Return a sheet as HTML, and write it to `path` where one is given."""
    text = _template().render(sheet=sheet)
    if path is not None:
        Path(path).write_text(text, encoding="utf-8", newline="\n")
    return text
