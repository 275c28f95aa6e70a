"""Recalculates a workbook by a program that knows nothing of equipdecide, for tests that compare its figures with ours.

Two ways: LibreOffice (the reference; needs `soffice`, one to three seconds) and the Python package `formulas` (in the
`test` extra; 1 s for 300 formula cells, 6 s for 3,000). Neither trusts the values stored in the file: see `_PROFILE`.

What `formulas` 1.3.4 cannot do, seen by comparing some 110 functions with LibreOffice: numbers like 1E-7 (it refuses
the whole workbook), sheet names with an apostrophe (#REF!), OFFSET (#NAME?), the `--(condition)` idiom inside
SUMPRODUCT (0, without a word; `(condition)*range` is right), ROUND of a decimal half that binary falls short of
(1.005 gives 1.00, in LibreOffice 1.01), TEXT of a half (1234.5 gives 1,234 for 1,235).
"""

from __future__ import annotations

import contextlib
import datetime as dt
import io
import os
import shutil
import subprocess
import tempfile
from pathlib import Path
from typing import Any, Literal

import openpyxl

Value = float | int | str | bool | dt.datetime | dt.date | dt.time

# LibreOffice on its default profile keeps the stored values of an .xlsx file that it did not write itself, and would
# hand our own figures back to us. OOXMLRecalcMode 0 is "always recalculate" (Tools > Options > Calc > Formula).
_PROFILE = """<?xml version="1.0" encoding="UTF-8"?>
<oor:items xmlns:oor="http://openoffice.org/2001/registry" xmlns:xs="http://www.w3.org/2001/XMLSchema">
<item oor:path="/org.openoffice.Office.Calc/Formula/Load">
<prop oor:name="OOXMLRecalcMode" oor:op="fuse"><value>0</value></prop></item>
</oor:items>
"""


def which_soffice() -> str | None:
    """Path of LibreOffice's `soffice`, or None: on PATH, else where the installers of macOS and Windows put it."""
    for name in ("soffice", "libreoffice"):
        if found := shutil.which(name):
            return found
    usual = [Path("/Applications/LibreOffice.app/Contents/MacOS/soffice")]
    usual += [
        Path(folder) / "LibreOffice/program/soffice.exe" for folder in (os.environ.get("PROGRAMFILES"),) if folder
    ]
    return next((str(path) for path in usual if path.exists()), None)


def recalculate(xlsx: Path, by: Literal["libreoffice", "formulas"] = "libreoffice") -> dict[tuple[str, str], Value]:
    """Values of all filled cells of `xlsx` after a full recalculation, by (sheet, cell), for example ("Plan", "B7").

    Numbers, texts, truth values and dates come as Python values; an error as its text, for example "#DIV/0!".
    Cells without a value are left out. Dates come as such by LibreOffice only: `formulas` gives serial numbers.
    Raises RuntimeError when LibreOffice is missing, fails, or says nothing for two minutes.
    """
    return _by_libreoffice(xlsx) if by == "libreoffice" else _by_formulas(xlsx)


def _by_libreoffice(xlsx: Path) -> dict[tuple[str, str], Value]:
    soffice = which_soffice()
    if soffice is None:
        raise RuntimeError("LibreOffice is not installed: no soffice on PATH")
    with tempfile.TemporaryDirectory(prefix="recalculate-") as name:
        folder = Path(name)
        # a profile of its own: two runs on one profile wait for each other or fail
        settings = folder / "profile" / "user" / "registrymodifications.xcu"
        settings.parent.mkdir(parents=True)
        settings.write_text(_PROFILE, encoding="utf-8")
        command = [soffice, "--headless", "--norestore", f"-env:UserInstallation={(folder / 'profile').as_uri()}"]
        command += ["--convert-to", "xlsx:Calc MS Excel 2007 XML", "--outdir", str(folder / "out"), str(xlsx.resolve())]
        try:
            run = subprocess.run(command, capture_output=True, text=True, timeout=120, check=False)
        except subprocess.TimeoutExpired as late:
            raise RuntimeError(f"LibreOffice did not finish {xlsx.name} in two minutes") from late
        result = folder / "out" / f"{xlsx.stem}.xlsx"
        if run.returncode or not result.exists():
            raise RuntimeError(f"LibreOffice failed on {xlsx.name}: {run.stdout.strip()} {run.stderr.strip()}")
        book = openpyxl.load_workbook(result, data_only=True)
    return {
        (sheet.title, cell.coordinate): cell.value
        for sheet in book.worksheets
        for row in sheet.iter_rows()
        for cell in row
        if cell.value is not None
    }


def _by_formulas(xlsx: Path) -> dict[tuple[str, str], Value]:
    import formulas  # slow to import, and not needed by the other way

    with contextlib.redirect_stderr(io.StringIO()):  # its progress bar
        solution = formulas.ExcelModel().loads(str(xlsx)).finish().calculate()
    values: dict[str, Any] = {str(key): found for key, found in solution.items()}
    cells: dict[tuple[str, str], Value] = {}
    for sheet in openpyxl.load_workbook(xlsx).worksheets:
        prefix = f"'[{xlsx.name}]{sheet.title.upper()}'!"  # it names sheets in capitals
        for row in sheet.iter_rows():
            for cell in row:
                if cell.value is None:
                    continue
                if (found := values.get(prefix + cell.coordinate)) is None:
                    if cell.data_type != "f":  # a constant that no formula reads
                        cells[sheet.title, cell.coordinate] = cell.value
                        continue
                    raise RuntimeError(f"formulas gave no value for {sheet.title}!{cell.coordinate}: {cell.value!r}")
                value = found.value[0, 0]
                value = value.item() if hasattr(value, "item") else value
                plain = isinstance(value, float | int | str) and not type(value).__module__.startswith("formulas")
                cells[sheet.title, cell.coordinate] = value if plain else str(value)
    return cells
