"""A reader who has the page alone: answer, flip point and day of the tax are those that the commands give as data.

The scenarios are changed here, so that no figure of a page can have been seen before; the page is read as HTML.
"""

from __future__ import annotations

import json
import re
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest

from equipdecide.cli import main

SCENARIOS = Path(__file__).parents[1] / "scenarios"

# name of the file, what is changed in it
CHANGED = {
    "a dearer next machine": ("first_sale", {"price: 52,000": "price: 54,500", "on: 2026-10-09": "on: 2026-10-16"}),
    "a higher price for the old one, sold and bought in the next year": (
        "first_sale",
        {
            "33,000 .. 38,500 .. 41,000": "36,000 .. 43,700 .. 47,000",
            "on: 2026-10-09": "on: 2027-02-11",
            "on: 2026-10-23": "on: 2027-02-25",
        },
    ),
    "a next machine too dear": ("first_sale", {"price: 52,000": "price: 75,000"}),
    "a lower floor": ("deck_fittings", {"cash_floor: 45,000": "cash_floor: 0", "on: 2026-09-18": "on: 2027-01-22"}),
    "a shop at the edge": ("deck_fittings", {"cash_floor: 45,000": "cash_floor: 51,000"}),
}


class Reading(HTMLParser):
    """What a reader takes from the page: the leading sentence, and the rows of its first table by their heads."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.lead, self.rows = "", {}
        self._in_lead = False
        self._row: list[str] | None = None
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._in_lead = self._in_lead or (tag == "p" and dict(attrs).get("class") == "lead")
        if tag == "tr":
            self._row = []
        if tag in ("th", "td") and self._row is not None:
            self._row.append("")

    def handle_endtag(self, tag: str) -> None:
        if tag == "p":
            self._in_lead = False
        if tag == "tr" and self._row:
            self.rows.setdefault(self._row[0], self._row[1:])
            self._row = None

    def handle_data(self, data: str) -> None:
        if self._in_lead:
            self.lead += data
        if self._row:
            self._row[-1] += data

    def row(self, head: str) -> list[str]:
        return next(cells for name, cells in self.rows.items() if name.startswith(head))


def figure(text: str) -> float:
    """The first figure of a text, as a reader takes it: a share where it is in per cent."""
    found = re.search(r"([+\u2212-]?)(\d[\d,]*(?:\.\d+)?)\s*(%?)", text.replace("\N{NO-BREAK SPACE}", " "))
    assert found, text
    value = float(found[2].replace(",", "")) * (-1 if found[1] in ("-", "\u2212") else 1)
    return value / 100 if found[3] else value


def followed(page: str, head: str) -> str:
    """What a reader finds who follows the link of the figure in the row that begins so: the head of its explanation."""
    row = re.search(rf'<th scope="row">{head}[^<]*</th><td><a href="#(e\d+)">', page)
    assert row, head
    entry = re.search(rf'<div id="{row[1]}"><dt>(.*?)</dt>', page)
    assert entry
    return re.sub(r"<[^>]*>", "", entry[1])


def given(capsys: pytest.CaptureFixture[str], *args: str) -> Any:
    assert main([*args, "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def _passes(course: dict[str, Any]) -> bool:
    return course["affordable"] is not False and not course["failed_gates"]


def _last_place(flip: dict[str, Any]) -> float:
    """Half the last place shown, and a little: a tenth of a per cent, whole hundreds from a
    thousand up, else by size.
    """
    if flip["unit"] in ("share", "1/year", "chance"):
        return 0.00051
    size = abs(flip["flip"])
    return 51 if size >= 1000 else 0.51 if size >= 100 else 0.051 if size >= 10 else 0.0051


@pytest.mark.parametrize("case", CHANGED)
def test_answer_flip_and_day_of_the_tax_can_be_read_off_the_page(
    case: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    name, changes = CHANGED[case]
    text = (SCENARIOS / f"{name}.yaml").read_text(encoding="utf-8")
    for old, new in changes.items():
        assert old in text
        text = text.replace(old, new)
    (tmp_path / "nightlog.csv").write_bytes((SCENARIOS / "nightlog.csv").read_bytes())
    file, page = tmp_path / "changed.yaml", tmp_path / "page.html"
    file.write_text(text, encoding="utf-8")
    assert main(["brief", str(file), "-o", str(page)]) == 0
    capsys.readouterr()
    read = Reading(page.read_text(encoding="utf-8"))

    # the answer: which course, and by how much
    data = given(capsys, "compare", str(file))
    best = data["best"] or data["best_ignoring_cash"]
    course = next(one for one in data["alternatives"] if one["name"] == best)
    assert re.match(rf"(Best that can be paid for|Best|No course .* the best is):? {re.escape(best)}\b", read.lead), (
        read.lead
    )
    rivals = [
        one["npv_less_keep"]
        for one in data["alternatives"]
        if one["name"] != best and (data["best"] is None or _passes(one))
    ]
    second = max(rivals, default=0.0)  # where nothing else can be chosen, keeping leads itself by nothing
    lead = course["npv_less_keep"] if best != "keep" else -second
    assert figure(read.row("Lead of")[0]) == pytest.approx(lead, abs=51)

    # and to the cent, where the figure's link leads
    explained = followed(page.read_text(encoding="utf-8"), "Lead of")
    assert figure(explained.rpartition("=")[2]) == pytest.approx(lead, abs=0.006)

    # the flip: the input, what it is now, where it turns
    flips = given(capsys, "breakeven", str(file))
    nearest = next(flip for flip in flips["flips"] if best in (flip["alternative"], flip["against"]))
    now, then = read.row("Nearest flip")[0].split("→")
    label = re.sub(r" \([^()]*\)", "", nearest["label"])
    assert read.row("Nearest flip")[1].startswith(label)
    near = _last_place(nearest)
    assert figure(then) == pytest.approx(nearest["flip"], abs=near)
    assert figure(now) == pytest.approx(nearest["entered"], abs=near)

    # the tax on the sale: how much, and each day it falls due
    on = re.search(r"Sold (\d{4}-\d\d-\d\d)", read.row("Cash from the sale")[1]) or re.search(
        r"on (\d{4}-\d\d-\d\d)", read.row("Cash from the sale")[1]
    )
    assert on
    machine = next(iter(re.findall(r"does not sell (\S.*?);", read.row("Cash from the sale")[1])), None)
    sold = given(capsys, "sale", str(file), "--on", on[1], *(("--machine", machine) if machine else ()))
    amount, said = read.row("Tax on the sale alone")
    route = next(
        one
        for one in sold["routes"]
        if one["tax"] == pytest.approx(figure(amount), abs=51) and all(due["date"] in said for due in one["tax_due"])
    )
    assert route["tax_due"], "the page names days of tax, so the data must"
    assert re.findall(r"\d{4}-\d\d-\d\d", said) == [due["date"] for due in route["tax_due"]]
    assert figure(read.row("Cash from the sale")[0]) == pytest.approx(route["net_cash"], abs=51)
