"""A column's formula as the formulas of its cells."""

from __future__ import annotations

from equipdecide.ledger import Column
from equipdecide.views.workbook.layout import Layout, Place, address


class Addresses:
    """The cells of the columns that one column speaks of (see ``formula.SheetAddresses``)."""

    def __init__(self, made: Layout, column: Column) -> None:
        assert column.formula is not None
        self.made, self.sheet = made, made.place(column).sheet
        own = column.formula.own
        names = [name for name in column.formula.names if not (name == own and column.formula.recurs)]
        self.columns = dict(zip(names, column.args, strict=True))
        if column.formula.recurs and own is not None:
            self.columns[own] = column
        self.axes = {name: found.axis for name, found in self.columns.items()}

    def _on(self, place: Place) -> str:
        return (
            "" if place.sheet == self.sheet else f"'{place.sheet}'!" if not place.sheet.isalpha() else f"{place.sheet}!"
        )

    def at(self, name: str, row: int) -> str:
        """Return the cell of column `name` at `row` of its own axis; an input by the name of its cell."""
        column = self.columns[name]
        if id(column) in self.made.names:
            return self.made.names[id(column)]
        place = self.made.place(column)
        return self._on(place) + address(place.row + row, place.column, True)

    def whole(self, name: str) -> str:
        """Return the absolute range of the whole column `name`."""
        column = self.columns[name]
        place = self.made.place(column)
        return (
            self._on(place)
            + address(place.row, place.column, True)
            + ":"
            + address(place.row + len(column.axis) - 1, place.column, True)
        )

    def across(self, name: str, row: int) -> tuple[str, str]:
        """Return the cells of a wide column at `row`, and the cells one to their left."""
        place = self.made.place(self.columns[name])
        found = []
        for shift in (0, -1):
            first, last = place.column + shift, place.column + place.width - 1 + shift
            found.append(
                self._on(place) + address(place.row + row, first, True) + ":" + address(place.row + row, last, True)
            )
        return found[0], found[1]


def cell_formulas(made: Layout, column: Column) -> list[str]:
    """Return the spreadsheet formulas of a formula column, a row each, with the leading equals sign."""
    assert column.formula is not None
    addresses = Addresses(made, column)
    return ["=" + column.formula.cell(row, column.axis, addresses.axes, addresses) for row in range(len(column.axis))]
