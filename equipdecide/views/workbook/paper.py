"""What every sheet of the workbook has: formats, heading, links; and the words for units and columns."""

from __future__ import annotations

import datetime as dt
from typing import Any

from equipdecide.ledger import Column
from equipdecide.views.workbook.layout import ANSWER, COURSE, INPUTS, KEEP, LAW, LINES, Layout, address


def kind_of(unit: str) -> str:
    """Return which number format a unit has."""
    if unit.startswith("USD") or unit == "%":
        return "money"
    if unit in ("share", "1/year"):
        return "percent"
    return "plain" if unit in ("h", "h/year", "day", "count", "min") else "ratio"


NUMBERS = {"money": "#,##0.00", "percent": "0.00%", "plain": "#,##0.00", "ratio": "0.0000", "whole": "0"}
_PAPER = 1  # US letter


class Paper:
    """The book being written, its formats, and what every sheet of it has."""

    def __init__(self, book: Any, made: Layout) -> None:
        self.book, self.made = book, made
        scenario = made.comparison.scenario
        self.currency = scenario.currency
        book.set_properties(
            {"title": scenario.title, "created": dt.datetime.combine(scenario.decision_date, dt.time())}
        )
        book.set_calc_mode("auto")
        base = {"font_name": "Calibri", "font_size": 10, "valign": "top"}
        self.title = book.add_format(base | {"bold": True, "font_size": 15})
        self.head = book.add_format(base | {"bold": True, "font_size": 11, "bottom": 1})
        self.label = book.add_format(
            base | {"bold": True, "text_wrap": True, "bottom": 1, "align": "right", "valign": "bottom"}
        )
        self.corner = book.add_format(base | {"bold": True, "bottom": 1, "valign": "bottom"})
        self.beside = book.add_format(base | {"indent": 1})
        self.left = book.add_format(base | {"bold": True, "text_wrap": True, "bottom": 1})
        self.text = book.add_format(base | {"text_wrap": True})
        self.short = book.add_format(base)
        self.small = book.add_format(
            base | {"font_size": 8, "font_color": "#555555", "text_wrap": True, "align": "right"}
        )
        self.aside = book.add_format(base | {"font_size": 8, "font_color": "#555555"})
        self.numbers = {kind: book.add_format(base | {"num_format": number}) for kind, number in NUMBERS.items()}
        self.strong = book.add_format(base | {"num_format": NUMBERS["money"], "bold": True, "top": 1})
        self.open = {
            kind: book.add_format(
                base
                | {"num_format": number, "locked": False, "bg_color": "#FFF6D6", "border": 1, "border_color": "#C9A227"}
            )
            for kind, number in NUMBERS.items()
        }

    def sheet(self, name: str, tall: bool = False) -> Any:
        """Return a new sheet of the book, protected without a password and set for printing."""
        sheet = self.book.add_worksheet(name)
        sheet.protect("", {"format_columns": True, "format_rows": True, "select_locked_cells": True})
        if not tall:
            sheet.set_landscape()
        sheet.set_paper(_PAPER)
        sheet.fit_to_pages(1, 0)
        sheet.set_margins(0.5, 0.5, 0.6, 0.6)
        sheet.set_footer(f"&L{name}&RPage &P of &N")
        sheet.hide_gridlines(2)
        return sheet

    def heading(self, sheet: Any, text: str, says: str) -> None:
        """Write what a sheet is over it."""
        sheet.set_row(0, 24)
        sheet.write_string(0, 0, text, self.title)
        sheet.write_string(1, 0, says, self.short)

    def link(self, column: Column, row: int = 0) -> str:
        """Return the formula that reads a column's cell on its own sheet."""
        place = self.made.place(column)
        return f"='{place.sheet}'!{address(place.row + row, place.column, True)}"


def unit_in(unit: str, currency: str) -> str:
    """Return a unit in the scenario's currency; nothing for a pure number."""
    return "" if unit == "1" else unit.replace("USD", currency)


def about(name: str, course: str = "the course") -> str:
    """Return what stands on a sheet, in a line."""
    subject, _, part = name.partition(" - ")
    says = {
        ANSWER: "Present worth, cash, what the sale leaves",
        INPUTS: "Figures of the scenario; the only cells to change",
        LAW: "Rates, limits and brackets in force, with source",
        LINES: "Every dated cash flow, with its sum and where it stands",
        "Shop": "Hours, contribution, upkeep and other yearly money",
        "Loans and orders": "Loan schedules, payoff, settlement of the sale, purchases",
        "Books": "Depreciation by item, gain on the sale",
        "Returns": "Income of the business, returns of the owners",
        "Payments": "When tax is paid",
        "Worth and cash": "Cash by period and purse, present worth",
    }.get(subject, subject)
    whose = {KEEP: "of Keep", COURSE: f"of {course}"}.get(part, "")
    return f"{says}, {whose}" if whose else says
