"""House rules, read off the tree itself, so that they hold for whatever is added.

Each rule is a function that lists its breaches; `test_each_rule_catches_its_breach` feeds every one a bad sample.
"""

from __future__ import annotations

import ast
import json
import re
import subprocess
import sys
from collections.abc import Iterable, Iterator
from functools import cache
from itertools import pairwise
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "equipdecide"

# The floors of the package, lowest first: a module imports from its own floor or from a lower one, never from a higher.
# A new module gets its place here.
FLOORS = [
    {"asked", "calendar", "formula", "ledger", "program", "showing", "tape", "version", "words"},
    {"parameters", "finance", "measures", "book_methods", "resale"},
    {"scenario"},
    {"plan"},
    {"shop", "money"},
    {"tax"},
    {"cautions"},
    {"evaluate"},
    {"decide"},
    {"after"},
    {"views"},
    {"cli", "demo", "answers"},
]
FLOOR = {name: level for level, names in enumerate(FLOORS) for name in names}
TOP = len(FLOORS) - 1
# What computes money; the views only read ledgers.
COMPUTES = {"shop", "money", "tax"}


@cache
def tree() -> tuple[str, ...]:
    """Paths of the tracked files, and of those in our own folders that wait to be added, from the root."""
    tracked, new = (
        subprocess.run(["git", "ls-files", "-z", *which], cwd=ROOT, capture_output=True, text=True, check=True).stdout
        for which in (
            ["--cached"],
            ["--others", "--exclude-standard", "--", "equipdecide", "tests", "notebooks", "scenarios"],
        )
    )
    return tuple(sorted({name for name in (tracked + new).split("\0") if name and (ROOT / name).is_file()}))


def texts(*endings: str) -> Iterator[tuple[str, str]]:
    """Path and text of each file of the tree with one of these endings; of all that are text when none is given."""
    for name in tree():
        if not endings or name.endswith(endings):
            try:
                yield name, (ROOT / name).read_text(encoding="utf-8")
            except UnicodeDecodeError:
                if endings:
                    raise


def none(breaches: list[str]) -> None:
    assert not breaches, "\n" + "\n".join(breaches)


def package_sources() -> Iterator[tuple[str, str]]:
    return ((name, text) for name, text in texts(".py") if name.startswith("equipdecide/"))


# --- imports go one way


def modules_imported(name: str, source: str) -> Iterator[tuple[int, str]]:
    """Line and dotted name of every import from equipdecide in the source of file `name`, relative ones resolved."""
    package = list(Path(name).parent.parts)
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, alias.name) for alias in node.names if alias.name.split(".")[0] == "equipdecide")
        elif isinstance(node, ast.ImportFrom):
            base = package[: len(package) + 1 - node.level] if node.level else []
            origin = ".".join([*base, *([node.module] if node.module else [])])
            if origin.split(".")[0] == "equipdecide":
                # `from equipdecide import plan` names a module, `from equipdecide.plan import Plan` does not
                yield from ((node.lineno, f"{origin}.{alias.name}") for alias in node.names)


def import_breaches(name: str, source: str) -> list[str]:
    """Imports in the file `name` ("equipdecide/tax/limits.py") that go up, or that a view must not have."""
    own = Path(name).with_suffix("").parts[1]
    if own in {"__init__", "__main__"}:  # the front door: knows everything
        return []
    if own not in FLOOR:
        return [f"{name}: {own} has no place in FLOORS, give it one"]
    breaches = []
    for line, module in modules_imported(name, source):
        other = module.split(".")[1] if "." in module else ""
        if other not in FLOOR:
            if FLOOR[own] < TOP:
                breaches.append(f"{name}:{line}: imports {module} by way of the top of the package")
        elif FLOOR[other] > FLOOR[own]:
            breaches.append(f"{name}:{line}: {own} imports {other}, which stands higher")
        elif own == "views" and other in COMPUTES:
            breaches.append(f"{name}:{line}: a view imports {other}; views read ledgers, they compute no money")
    return breaches


def test_imports_go_one_way() -> None:
    none([breach for name, text in package_sources() for breach in import_breaches(name, text)])


# --- words that do not belong in the repository (brackets keep these patterns from matching themselves)

FOREIGN = {
    "a path of one machine": r"(?<![\w.~-])/(?:[w]ork|[o]pt|[r]oot|[h]ome|[U]sers|[t]mp)/\w|[C]:\\Users"
    r"|\.\./[s]hared\b",
    "the host of a package registry": r"[p]ypi\.org|[p]ythonhosted|[r]egistry\.npmjs|[d]eb\.debian\.org"
    r"|[c]onda\.anaconda|--(?:extra-)?[i]ndex-url|--[f]ind-links",
    "a word of the workshop it was written in": r"(?i)\b(?:[s]ub-?agents?|[s]eed document|[C]EO'?s?|[w]orktree"
    r"|[l]anguage model|[c]laude|[c]hatgpt|[c]opilot|this [s]ession|[h]elper session)\b"
    r"|\b(?:issue|fix(?:es)?|closes) #\d",
    "work left undone": r"\b(?:[T]ODO|[F]IXME|[X]XX)\b",
}


def foreign_words(name: str, text: str) -> list[str]:
    return [
        f"{name}:{text.count(chr(10), 0, found.start()) + 1}: {found[0]!r} is {what}"
        for what, pattern in FOREIGN.items()
        for found in re.finditer(pattern, text)
    ]


def test_no_foreign_words() -> None:
    none([breach for name, text in texts() for breach in foreign_words(name, name + "\n" + text)])


# --- notebooks

PROTECTED = re.compile(r'```.*?```|`[^`\n]*`|<(\w+)[^>]*class="[^"]*mathjax_ignore[^"]*"[^>]*>.*?</\1>', re.DOTALL)


def notebook_breaches(name: str, text: str) -> list[str]:
    notebook = json.loads(text)
    breaches = []
    if notebook["metadata"].get("kernelspec", {}).get("name") != "python3":
        breaches.append(f"{name}: the kernelspec must be python3, else Jupyter asks for a kernel")
    for number, cell in enumerate(notebook["cells"], start=1):
        place = f"{name}: cell {number}"
        source = "".join(cell["source"])
        if cell["cell_type"] == "code":
            if cell.get("outputs") or cell.get("execution_count") is not None:
                breaches.append(f"{place}: stores outputs or an execution count; clear them")
            code = re.sub(r"^[%!].*$", "", source, flags=re.MULTILINE)
            kinds = ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef
            if any(isinstance(node, kinds) for node in ast.walk(ast.parse(code))):
                breaches.append(f"{place}: defines a function or class; it belongs in the package")
        elif cell["cell_type"] == "markdown" and PROTECTED.sub("", source).count("$") > 1:
            breaches.append(f"{place}: two bare dollar signs are typeset as a formula; write 'dollars'")
    return breaches


def test_notebooks() -> None:
    none([breach for name, text in texts(".ipynb") for breach in notebook_breaches(name, text)])


# --- docstrings


def undocumented(name: str, source: str) -> list[str]:
    """The module, and its public functions and classes, where they have no docstring."""
    module = ast.parse(source)
    kinds = ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef
    public = [node for node in module.body if isinstance(node, kinds) and not node.name.startswith("_")]
    breaches = [] if ast.get_docstring(module) else [f"{name}: the module has no docstring"]
    return breaches + [
        f"{name}:{node.lineno}: {node.name} has no docstring" for node in public if not ast.get_docstring(node)
    ]


def test_everything_public_has_a_docstring() -> None:
    none([breach for name, text in package_sources() for breach in undocumented(name, text)])


# --- a quick start: help and a first import wait for no large library

SLOW = {"numpy", "pandas", "pydantic", "scipy", "matplotlib"}
HELP = """
import sys
sys.argv = ["equipdecide", "--help"]
from equipdecide.cli import main
try:
    code = main()
except SystemExit as end:
    code = end.code
assert not code, code
"""
STARTS = {"import": "import equipdecide", **({"help": HELP} if (PACKAGE / "cli.py").exists() else {})}


def slow_imports(code: str) -> set[str]:
    """Which of SLOW are loaded once `code` has run in a fresh interpreter."""
    code += f"\nimport sys\nprint('loaded:', *sorted({SLOW!r} & set(sys.modules)))"
    run = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stderr
    return set(run.stdout.splitlines()[-1].split()[1:])


@pytest.mark.parametrize("start", STARTS)
def test_quick_start(start: str) -> None:
    assert slow_imports(STARTS[start]) == set()


# --- no data that nothing reads


def orphans(data: Iterable[str], readers: dict[str, str]) -> list[str]:
    """Files of `data` whose stem no reader (path -> text), other than the file itself, has as a whole word."""
    return [
        name
        for name in data
        if not any(
            reader != name and re.search(rf"(?<![A-Za-z0-9_-]){re.escape(Path(name).stem)}(?![A-Za-z0-9_-])", text)
            for reader, text in readers.items()
        )
    ]


def test_no_parameter_without_a_reader() -> None:
    """A parameter file is named by a module, by another data file (a table by its .yaml), or at the least by a test."""
    data = [name for name in tree() if name.startswith("equipdecide/") and name.endswith((".yaml", ".csv"))]
    readers = {name: text for name, text in texts(".py", ".yaml") if name.startswith(("equipdecide/", "tests/"))}
    none(orphans(data, readers))


# --- law is data

# What a formula of tax may say in digits: nothing and all, halves and quarters of a whole, percent as printed, half a
# cent.
DIGITS = {"0", "1", "2", "4", "100", "0.01", "0.005"}
NO_LAW = {"equipdecide/tax/elections.py": {1987}}  # the day at which values are read that have never changed


def law_in_code(name: str, source: str) -> list[str]:
    """Years in the code of a tax module, and figures in its formulas, that belong among the dated parameters."""
    breaches = []
    for node in ast.walk(ast.parse(source)):
        year = node.value if isinstance(node, ast.Constant) and type(node.value) is int else 0
        if 1900 <= year <= 2100 and year not in NO_LAW.get(name, set()):
            breaches.append(f"{name}:{node.lineno}: the year {year} stands in code")
        if not isinstance(node, ast.Call) or not isinstance(node.func, ast.Attribute) or node.func.attr != "formula":
            continue
        for text in ast.walk(node.args[1]) if len(node.args) > 1 else ():
            if isinstance(text, ast.Constant) and isinstance(text.value, str):
                figures = re.findall(r"(?<![\w.])\d+(?:\.\d+)?(?![\w.])", text.value)
                breaches += [
                    f"{name}:{node.lineno}: {figure} stands in a formula" for figure in figures if figure not in DIGITS
                ]
    return breaches


def test_law_stands_among_the_parameters() -> None:
    none(
        [
            breach
            for name, text in package_sources()
            if name.startswith("equipdecide/tax/")
            for breach in law_in_code(name, text)
        ]
    )


def test_no_published_case_without_a_reader() -> None:
    """A file of outside cases is named by a test; where a test reads a whole folder, the folder is."""
    data = [name for name in tree() if name.startswith("tests/published/")]
    readers = {name: text for name, text in texts(".py") if name.startswith("tests/")}
    folder_of = {name: Path(name).parent.as_posix() for name in data if len(Path(name).parts) > 3}
    unnamed = orphans(data, readers)
    none([name for name in unnamed if name not in folder_of or orphans([folder_of[name]], readers)])


# --- the rules themselves

BAD_NOTEBOOK = json.dumps(
    {
        "metadata": {},
        "cells": [
            {
                "cell_type": "code",
                "source": ["%matplotlib inline\n", "def f():\n", "    pass"],
                "execution_count": None,
            },
            {"cell_type": "code", "source": "1", "outputs": [], "execution_count": 3},
            {"cell_type": "code", "source": "1", "outputs": [{}], "execution_count": None},
            {"cell_type": "markdown", "source": "from $ 5 to $ 9"},
            {"cell_type": "markdown", "source": 'costs `$5`, not <span class="mathjax_ignore">$6</span>, but $7'},
        ],
    }
)


@pytest.mark.parametrize(
    ("name", "source", "breaches"),
    [
        ("tax/limits.py", "from ..views import table\nfrom .. import decide, plan", 2),
        ("plan.py", "def f():\n    from equipdecide import compare", 1),
        ("views/brief.py", "import equipdecide.tax.limits\nfrom ..money.loan import Loan", 2),
        ("unheard_of.py", "", 1),
        ("tax/limits.py", "import numpy\nfrom . import returns\nfrom ..plan import Plan", 0),
        ("views/brief.py", "from equipdecide.measures import npv\nfrom equipdecide import ledger", 0),
        ("cli.py", "from equipdecide import compare", 0),
    ],
)
def test_the_rule_on_imports_catches_its_breach(name: str, source: str, breaches: int) -> None:
    assert len(import_breaches(f"equipdecide/{name}", source)) == breaches


def test_each_rule_catches_its_breach() -> None:
    assert (
        len(law_in_code("equipdecide/tax/x.py", "ACT = Date(2025, 1, 19)\nw.formula('tax', 'income * 0.21', 'USD')"))
        == 2
    )
    assert not law_in_code("equipdecide/tax/x.py", "w.formula('tax_2025', 'max(rate * income, 0) / 4', 'USD, 2025')")
    # the bars keep this file clean of the very words
    bad = "/wo|rk/main/x, see /ho|me/ann/x, ../sha|red/x, https://py|pi.org/simple, --index|-url, the C|EO, "
    bad += "a work|tree, fixes |#12, # TO|DO later, FIX|ME"
    assert [text for text in bad.replace("|", "").split(", ") if len(foreign_words("x", text)) != 1] == []
    assert foreign_words("x", "https://a.gov/home/x /usr/bin/env #0072B2 seed=7 workplace noise") == []

    places = [breach.split(":")[1].split()[:2] for breach in notebook_breaches("x", BAD_NOTEBOOK)]
    assert places == [["the", "kernelspec"], ["cell", "1"], ["cell", "2"], ["cell", "3"], ["cell", "4"]]

    assert len(undocumented("x", "def f(): ...\nclass C: ...\ndef _g(): ...")) == 3
    assert slow_imports("import numpy") == {"numpy"}
    readers = {"b.py": "table('rate')  # no_limit", "a/limit.yaml": "limit"}
    assert orphans(["a/limit.yaml", "a/rate.csv"], readers) == ["a/limit.yaml"]


def test_floors_name_each_module_once() -> None:
    assert sum(map(len, FLOORS)) == len(FLOOR)
    assert all(
        FLOOR[low] < FLOOR[high] for low, high in pairwise(["ledger", "scenario", "plan", "money", "tax", "cli"])
    )
