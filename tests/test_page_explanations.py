"""Every figure of the ten numbers, tables and charts of a page is a link to its explanation on the same page."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from pathlib import Path

import pytest

import equipdecide as ed
from equipdecide.views.explained import Linked, Said, marked
from equipdecide.words import cents, quantity

SCENARIOS = Path(__file__).parents[1] / "scenarios"
NAMES = ("deck_fittings", "first_sale", "quillhaven_grinder", "pellwick_laser")
# a cell that is a figure and nothing else: money, a share, a time, an arrow between two of them
FIGURE = re.compile(r"(short by |over |up to )?[+−-]?\d[\d,]*(\.\d+)?( %| years?| h|k)?( → .*)?$")
# what stands among the words of the ten numbers and is no figure of money, hours or rate
NO_FIGURE = re.compile(r"\d{4}-\d\d-\d\d|[A-Z][a-z]{2} \d{4}|\b\d+ years at|worst year, \d{4}|“[^”]*”|\b[A-Z]+-\d+\b")


class Cells(HTMLParser):
    """Cells of all tables: (row heading, column, whole text, text outside links); and every link and anchor."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.cells: list[tuple[str, int, str, str]] = []
        self.targets: list[str] = []
        self.anchors: set[str] = set()
        self.entries: dict[str, str] = {}
        self.charts: list[str] = []
        self._head = self._whole = self._outside = ""
        self._at, self._in, self._linked, self._entry = 0, "", 0, ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = dict(attrs)
        if found.get("id"):
            self.anchors.add(str(found["id"]))
        if tag == "a":
            self.targets.append(str(found["href"]))
            self._linked += 1
        if tag == "tr":
            self._head, self._at = "", 0
        if tag in ("td", "th"):
            self._in, self._whole, self._outside, self._at = tag, "", "", self._at + 1
        if tag == "div" and "id" in found:
            self._entry = str(found["id"])
            self.entries[self._entry] = ""
        if tag == "figure":
            self.charts.append("")
        if tag == "p" and found.get("class") == "from":
            self._in = "from"

    def handle_endtag(self, tag: str) -> None:
        if tag == "a":
            self._linked -= 1
        if tag == "th":
            self._head = self._head or self._whole
        if tag == "td":
            self.cells.append((self._head, self._at, self._whole, self._outside))
        if tag in ("td", "th", "p"):
            self._in = ""
        if tag == "div":
            self._entry = ""

    def handle_data(self, data: str) -> None:
        data = data.replace("\N{NO-BREAK SPACE}", " ")
        if self._in in ("td", "th"):
            self._whole += data
            self._outside += "" if self._linked else data
        if self._entry:
            self.entries[self._entry] += data
        if self._in == "from":
            self.charts[-1] += data

    def unlinked(self) -> list[tuple[str, str]]:
        """Cells of any table that are a figure with a part that is no link."""
        return [
            (head, whole)
            for head, _, whole, outside in self.cells
            if FIGURE.fullmatch(whole) and re.search(r"\d", outside)
        ]

    def loose(self) -> list[tuple[str, str]]:
        """Figures outside links in the words beside the ten numbers: the first ten rows of the page."""
        words = [(head, outside) for head, at, _, outside in self.cells[:20] if at == 3]
        return [(head, outside) for head, outside in words if re.search(r"\d", NO_FIGURE.sub("", outside))]


@pytest.fixture(scope="module")
def comparisons():
    return {name: ed.compare(ed.load(SCENARIOS / f"{name}.yaml")) for name in NAMES}


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("reader", ["partners", "lender", "accountant", "partner"])
def test_every_figure_leads_to_its_explanation(comparisons, name: str, reader: str) -> None:
    comparison = comparisons[name]
    reader = f"partner:{next(iter(comparison.scenario.owners))}" if reader == "partner" else reader
    read = Cells(ed.brief(comparison, reader=reader))
    assert sum(bool(FIGURE.fullmatch(whole)) for _, _, whole, _ in read.cells) > 8
    assert read.unlinked() == []
    assert {target.removeprefix("#") for target in read.targets} <= read.anchors
    assert {target.removeprefix("#") for target in read.targets} == set(read.entries), "an explanation nobody links to"
    assert all(len(text) > 25 for text in read.entries.values())
    if reader.startswith("partner"):
        assert read.loose() == []
        assert len(read.charts) >= 4 and all(len(said) > 20 for said in read.charts)


def test_the_search_finds_a_figure_that_is_no_link() -> None:
    row = '<table><tr><th scope="row">{}</th><td>{}</td><td>{}</td></tr></table>'
    assert Cells(row.format("Lead", "+120,200", "none")).unlinked() == [("Lead", "+120,200")]
    assert Cells(row.format("Lead", '<a href="#e1">+120,200</a>', "Floor 45,000")).loose() == [("Lead", "Floor 45,000")]


def test_an_explanation_has_the_figure_of_the_ledger_to_the_cent(comparisons) -> None:
    comparison = comparisons["deck_fittings"]
    read = Cells(ed.brief(comparison))
    said = list(read.entries.values())
    for course in comparison.outcomes:
        wanted = f"“{course.name}”: present worth of all purses together = {cents(course.npv)}"
        assert any(text.startswith(wanted) for text in said), wanted
        annual = quantity(course.annual_worth, "USD/year")
        assert any(text.startswith(f"“{course.name}”: the level yearly amount") and annual in text for text in said)
    given = next(text for text in said if text.startswith("Cash you will not go under"))
    assert "shop.cash_floor, in deck_fittings.yaml, line " in given
    lead = comparison.leader.npv - comparison.keep.npv
    assert any(f"present worth after tax = {cents(lead, plus=True)}" in text for text in said)


def test_what_an_explanation_names_and_the_page_explains_is_a_link_too(comparisons) -> None:
    page = ed.brief(comparisons["deck_fittings"])
    entry = re.search(r'<div id="e\d+"><dt>“upgrade”: present worth of all purses together[^\n]*', page)
    assert entry and len(re.findall(r'<a href="#e\d+">', entry[0])) >= 4


def test_an_explanation_does_not_name_what_a_partners_copy_leaves_out(comparisons) -> None:
    comparison = comparisons["deck_fittings"]
    hers = Cells(ed.brief(comparison, reader="partner:Ines"))
    walts = [text for text in hers.entries.values() if re.search(r"\bWalt\b", text) and "Given by" not in text]
    assert walts == []
    assert any("belongs to owners whose figures this copy leaves out" in text for text in hers.entries.values())
    assert not any("this copy leaves out" in text for text in Cells(ed.brief(comparison)).entries.values())


def test_figures_are_linked_where_they_stand_alone() -> None:
    """ "2,100" is not a part of "12,100"; a figure without an anchor, or not in the text, is passed over."""
    said = marked("12,100 less 2,100 is 10,000", Linked("2,100", "e1"), "10,000", Linked("9", "e2"))
    assert isinstance(said, Said) and said == "12,100 less 2,100 is 10,000"
    assert [piece.anchor for piece in said.pieces if isinstance(piece, Linked)] == ["e1"]
    assert said.pieces[0] == "12,100 less "
    assert marked("nothing", "0") == "nothing"
