"""A list as a table: a row a thing, columns of words wrapped and columns of figures right-aligned, for any width."""

from __future__ import annotations

from dataclasses import dataclass
from html import escape

from equipdecide.views.grid import GAP, RULE, WIDTH
from equipdecide.words import wrap

LEAST_WORDS = 12  # signs a column of words is never narrowed below


@dataclass(frozen=True)
class Listing:
    """Headings over rows; `words` are the positions of the columns that hold words, wrapped where room is short."""

    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    words: tuple[int, ...] = (0,)

    def text(self, width: int = WIDTH) -> str:
        """Return the list as text within `width` signs."""
        if not self.rows:
            return ""
        widths = self._widths(width)
        lines = self._row(self.headings, widths, heading=True)
        lines.append(RULE * (sum(widths) + GAP * (len(widths) - 1)))
        for row in self.rows:
            lines += self._row(row, widths)
        return "\n".join(lines)

    def _widths(self, width: int) -> list[int]:
        natural = [
            max(len(part) for row in (self.headings, *self.rows) for part in row[k].split("\n"))
            for k in range(len(self.headings))
        ]
        for k, heading in enumerate(self.headings):
            if k not in self.words:  # a heading over figures may be broken between words
                natural[k] = max(
                    [
                        *(len(word) for word in heading.split()),
                        *(len(part) for row in self.rows for part in row[k].split("\n")),
                    ]
                )
        spare = width - GAP * (len(natural) - 1) - sum(natural[k] for k in range(len(natural)) if k not in self.words)
        wanted = {k: natural[k] for k in self.words}
        while wanted and sum(wanted.values()) > spare:
            widest = max(wanted, key=lambda k: wanted[k])
            if wanted[widest] <= LEAST_WORDS:
                break
            wanted[widest] -= 1
        widths = [wanted.get(k, natural[k]) for k in range(len(natural))]
        left = width - GAP * (len(widths) - 1) - sum(widths)
        for k, heading in enumerate(self.headings):  # a heading gets what room there is, so that it need not be broken
            more = max(min(len(heading) - widths[k], left), 0) if len(heading) <= 24 else 0
            widths[k], left = widths[k] + more, left - more
        return widths

    def _row(self, cells: tuple[str, ...], widths: list[int], heading: bool = False) -> list[str]:
        parts = []
        for k, cell in enumerate(cells):
            if k in self.words or heading:
                parts.append(
                    [
                        line
                        for piece in cell.split("\n")
                        for line in wrap(piece, widths[k], "", "" if heading or k else "  ")
                    ]
                )
            else:
                parts.append(cell.split("\n"))
        deep = max(map(len, parts))
        if heading:  # headings stand on the rule
            parts = [[""] * (deep - len(part)) + part for part in parts]
        lines = []
        for n in range(deep):
            cut = [part[n] if n < len(part) else "" for part in parts]
            placed = [cell.ljust(widths[k]) if k in self.words else cell.rjust(widths[k]) for k, cell in enumerate(cut)]
            lines.append((" " * GAP).join(placed).rstrip())
        return lines

    def html(self) -> str:
        """Return the list as an HTML table that no typesetting of formulas touches."""

        def cells(row: tuple[str, ...], tag: str) -> str:
            return "".join(
                f'<{tag} style="text-align:{"left" if k in self.words else "right"}">{escape(cell).replace(chr(10), "<br>")}</{tag}>'
                for k, cell in enumerate(row)
            )

        body = "".join(f"<tr>{cells(row, 'td')}</tr>" for row in self.rows)
        return f'<table class="mathjax_ignore"><thead><tr>{cells(self.headings, "th")}</tr></thead><tbody>{body}</tbody></table>'
