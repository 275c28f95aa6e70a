"""A table for a console of 80 to 100 columns and for notebooks: rows under headings, as text and as HTML."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

from equipdecide.words import wrap

WIDTH = 96
GAP = 2
RULE = "-"


@dataclass(frozen=True)
class Row:
    """One row of a grid: a label and a cell for each column. No cells: a heading within the table."""

    label: str
    cells: tuple[str, ...] = ()
    line_above: bool = False


@dataclass(frozen=True)
class Grid:
    """A table: column headings over rows, the columns right-aligned."""

    headings: tuple[str, ...]
    rows: tuple[Row, ...]

    def text(self, width: int = WIDTH) -> str:
        """Return the table as text; columns that do not fit stand in further tables below, the first one repeated."""
        labels = max(len(row.label) for row in self.rows if row.cells)
        widths = [
            max(
                [len(word) for word in heading.split()]
                + [len(part) for row in self.rows if row.cells for part in row.cells[k].split("\n")]
            )
            for k, heading in enumerate(self.headings)
        ]
        blocks: list[list[int]] = [[]]
        for k in range(len(self.headings)):
            if blocks[-1] and labels + sum(widths[j] + GAP for j in [*blocks[-1], k]) > width:
                blocks.append([0] if widths[0] + widths[k] + 2 * GAP + labels <= width else [])
            blocks[-1].append(k)
        return "\n\n".join("\n".join(self._block(block, labels, widths, width)) for block in blocks)

    def _block(self, columns: list[int], labels: int, widths: list[int], width: int) -> list[str]:
        widths = list(widths)
        spare = width - labels - sum(widths[k] + GAP for k in columns)
        for k in columns:  # a heading gets what room there is, so that it need not be broken
            more = max(min(len(self.headings[k]) - widths[k], spare), 0)
            if more and len(self.headings[k]) <= 16:
                widths[k], spare = widths[k] + more, spare - more
        heads = [wrap(self.headings[k], widths[k]) for k in columns]
        deep = max(len(head) for head in heads)
        lines = [
            table_line(
                "",
                [("" if n < deep - len(head) else head[n - deep + len(head)]) for head in heads],
                labels,
                [widths[k] for k in columns],
            )
            for n in range(deep)
        ]
        full = labels + sum(widths[k] + GAP for k in columns)
        lines.append(RULE * full)
        for row in self.rows:
            if row.line_above:
                lines.append(RULE * full)
            if not row.cells:
                lines += ["", row.label] if row.label else [""]
                continue
            cells = [row.cells[k].split("\n") for k in columns]
            for n in range(max(len(cell) for cell in cells)):
                parts = [cell[n] if n < len(cell) else "" for cell in cells]
                lines.append(table_line(row.label if n == 0 else "", parts, labels, [widths[k] for k in columns]))
        return lines

    def html(self) -> str:
        """Return the table as an HTML fragment that no typesetting of formulas touches."""
        head = "".join(f'<th scope="col">{escape(name)}</th>' for name in self.headings)
        body = []
        for row in self.rows:
            if row.cells:
                cells = "".join(
                    f'<td style="text-align:right">{escape(cell).replace(chr(10), "<br>")}</td>' for cell in row.cells
                )
                body.append(f'<tr><th scope="row" style="text-align:left">{escape(row.label)}</th>{cells}</tr>')
            elif row.label:
                body.append(
                    f'<tr><th scope="rowgroup" colspan="{len(self.headings) + 1}" style="text-align:left">'
                    f"{escape(row.label)}</th></tr>"
                )
        heads = f"<thead><tr><td></td>{head}</tr></thead>"
        return f'<table class="mathjax_ignore">{heads}<tbody>{"".join(body)}</tbody></table>'


def table_line(label: str, cells: Sequence[str], labels: int, widths: Sequence[int]) -> str:
    """Return one line of a table: the label, then each cell to the right of its column."""
    return (
        label.ljust(labels) + "".join(" " * GAP + cell.rjust(width) for cell, width in zip(cells, widths, strict=True))
    ).rstrip()


def section(head: str, grid: Grid, below: str) -> str:
    """Return a heading over a table, and what stands below it, as an HTML fragment."""
    return f'<div class="mathjax_ignore"><p><b>{escape(head)}</b></p>{grid.html()}{below}</div>'
