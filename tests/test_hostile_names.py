"""Names that hold code, formulas, quotes, emoji, right-to-left letters, or no end: text on every
page and in every file.
"""

from __future__ import annotations

import re
import zipfile
from html.parser import HTMLParser
from pathlib import Path

import openpyxl
import pytest

import equipdecide as ed
from equipdecide.decide.compare import Comparison

SCENARIOS = Path(__file__).parents[1] / "scenarios"
# what stands for machine, next machine, offer, loan, owner, cost, course
NAMES = {
    "used sander": '=cmd|" /C calc"!A0',
    "sander": "<script>alert('m')</script>",
    "reseller": "+SUM(1+1)*cmd & “Söhne”",
    "dealer loan": "@loan {{ 7 * 7 }} {% raw %}",
    "Perrin": "-Ñandú O'Brien 😀",
    "cleaning and freight": "שלום العالم",
    "sell and replace": "a course whose name has no end " + "and goes on " * 12,
}
TITLE = "=1+1 <b>bold</b> & \"quoted\" 'single' 😀 \u202eabc"


def hostile_text() -> str:
    """The smallest scenario with every name replaced."""
    text = (SCENARIOS / "first_sale.yaml").read_text(encoding="utf-8")
    text = re.sub(r"#.*", "", text)
    text = re.sub(r"(?m)^(title:|    what:) .*", lambda found: f"{found[1]} {quoted(TITLE)}", text)
    for name, other in NAMES.items():
        text = re.sub(
            rf"(?<![\w' -]){name}(?=[:,}}\n])|(?<=: |  |\{{ ){name}(?=[:,}}\n])", lambda _, o=other: quoted(o), text
        )
    return text


def quoted(text: str) -> str:
    return "'" + text.strip().replace("'", "''") + "'"


@pytest.fixture(scope="module")
def hostile() -> Comparison:
    comparison = ed.compare(ed.loads(hostile_text()))
    assert NAMES["sell and replace"].strip() in [o.name for o in comparison.outcomes]
    assert set(comparison.scenario.machines) == {NAMES["sander"], NAMES["used sander"]}
    return comparison


class Tags(HTMLParser):
    """The tags of a page, and its text."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.attributes: set[str] = set()
        self.text = ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self.attributes |= {name for name, _ in attrs}

    def handle_data(self, data: str) -> None:
        self.text += data


@pytest.mark.parametrize("reader", ["partners", "lender", "accountant", "partner"])
def test_a_page_holds_names_as_text(hostile: Comparison, reader: str) -> None:
    owner = NAMES["Perrin"]
    page = ed.brief(hostile, reader=f"partner:{owner}" if reader == "partner" else reader)
    plain = Tags(ed.brief(ed.compare(ed.load(SCENARIOS / "first_sale.yaml")), reader="partners"))
    found = Tags(page)
    assert found.tags <= plain.tags | {"dl", "code"} and "script" not in found.tags and "b" not in found.tags
    assert not {name for name in found.attributes if name.startswith("on")}
    assert TITLE in found.text and "{{ 7 * 7 }}" in found.text + "{{ 7 * 7 }}" * (reader == "accountant")
    assert "<script>alert('m')</script>" in found.text
    alts = re.findall(r'alt="([^"]*)"', page)
    assert all("<" not in alt for alt in alts)


def test_a_workbook_holds_names_as_text(hostile: Comparison, tmp_path: Path) -> None:
    path = ed.workbook(hostile, tmp_path / "book.xlsx")
    with zipfile.ZipFile(path) as parts:
        formulas = "".join(
            "".join(re.findall(r"<f>(.*?)</f>", parts.read(name).decode()))
            for name in parts.namelist()
            if "worksheets/sheet" in name
        )
        names = parts.read("xl/workbook.xml").decode()
        links = b"".join(parts.read(name) for name in parts.namelist() if name.endswith(".rels"))
    book = openpyxl.load_workbook(path)
    for name in sorted(book.defined_names, key=len, reverse=True):  # names of cells are made of letters and digits
        assert re.fullmatch(r"[A-Za-z]\w*", name)
        formulas = formulas.replace(name, "")
    assert not re.search(r"cmd|SUM\(1\+1\)|script|HYPERLINK|7 \* 7", formulas) and len(formulas) > 1000
    assert "<script" not in names and b"http" not in links.replace(b"http://schemas.", b"")
    texts = [cell for sheet in book for row in sheet.iter_rows() for cell in row if isinstance(cell.value, str)]
    for text in (TITLE, NAMES["used sander"]):
        held = [cell for cell in texts if text in str(cell.value)]
        assert held and all(cell.data_type == "s" for cell in held if not str(cell.value).startswith("='"))
    assert all(len(name) <= 31 and not re.search(r"[\[\]:*?/\\]", name) for name in book.sheetnames)


def test_tables_charts_and_slides_bear_them(hostile: Comparison, tmp_path: Path) -> None:
    from equipdecide.views import charts
    from equipdecide.views.table import comparison_text
    from equipdecide.words import plain

    lines = plain(comparison_text(hostile, 80), "cp1252").splitlines()
    assert max(len(line) for line in lines) <= 80
    assert "<script" not in hostile._repr_html_().replace("&lt;script", "")
    drawn = charts.svg(charts.cumulative_worth(hostile))
    assert "<script" not in drawn
    pptx = pytest.importorskip("pptx")
    ed.slides(hostile, tmp_path / "slides.pptx")
    assert len(pptx.Presentation(str(tmp_path / "slides.pptx")).slides) == 5
