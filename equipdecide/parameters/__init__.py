"""Dated parameters of law: every value has the day it runs from, a status and a source, or it does not load.

A country is a folder; a file in it holds either one parameter, whose id is the path of the file without its ending
("federal/section_179_limit"), or a family of them, each id ending in a dot and a name ("federal/income_tax.brackets").
A table chosen by several keys is a CSV file of rows with a YAML file of the same name beside it that gives the types
of its columns and its source ("federal/macrs"). A state is a folder of its own ("ca/income.brackets").

>>> from datetime import date
>>> law = load()
>>> law.get("federal/section_179_limit", date(2026, 6, 1)).value
2560000.0
>>> print(law.get("federal/section_179_limit", date(2028, 6, 1), index_rate=0.02).finding())
Dollar limit of the section 179 deduction, 2028: $2,660,000 is the figure of 2026 raised by 2 % a year for 2 years, \
because no later one is on file.

This is not tax advice: the figures are carried with how they were come by, and a preparer confirms them.
"""

from equipdecide.parameters.faults import Fault, MissingParameter, ParameterFileError
from equipdecide.parameters.law import Law, load
from equipdecide.parameters.values import Brackets, Leaf, Reading, Source, Table

__all__ = [
    "Brackets",
    "Fault",
    "Law",
    "Leaf",
    "MissingParameter",
    "ParameterFileError",
    "Reading",
    "Source",
    "Table",
    "load",
]
