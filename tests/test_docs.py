"""The how-to pages are followed step by step, so that they stay true."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import equipdecide as ed
from equipdecide.cautions import CAUTIONS, caution

ROOT = Path(__file__).parents[1]


def test_adding_an_alternative_as_the_page_says() -> None:
    page = (ROOT / "docs" / "adding_an_alternative.md").read_text(encoding="utf-8")
    block = re.search(r"```yaml\n(.*?)```", page, re.S)
    assert block is not None
    steps = "\n".join(line[4:] for line in block.group(1).splitlines())
    before = (ROOT / "scenarios" / "first_sale.yaml").read_text(encoding="utf-8")
    new = re.sub(r"alternatives:\n  keep: \[\]", steps.strip(), before)
    scenario = ed.loads(new, "first_sale.yaml")
    assert list(scenario.alternatives) == ["keep", "sell and rent time", "sell and replace"]
    outcome = ed.compare(scenario)["sell and rent time"]
    # by hand: 14,500 a year bought outside, 3 % more after each year from 12 October 2026 to 28 September 2031; each
    # day is
    # one part of its own calendar year, 2028 having 366
    years = 1 + 1.03 * (81 / 365 + 285 / 366) + 1.03**2 * (81 / 366 + 284 / 365) + 1.03**3 + 1.03**4 * (81 + 270) / 365
    spent = outcome.column("step 1: sanding bought outside, yearly.amount").per_row()
    assert spent.sum() == pytest.approx(14500 * years, abs=0.01)


def test_each_caution_is_said_once_and_found_by_its_word() -> None:
    assert len({c.code for c in CAUTIONS}) == len(CAUTIONS)
    assert caution("payoff").text.startswith("A payoff")
    with pytest.raises(KeyError, match="no caution"):
        caution("weather")


def test_the_readme_begins_with_the_job_and_names_the_two_commands() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    first = readme.split("\n\n")[1]
    assert "owner of a small machine shop" in first and "Keep it" in first
    assert "make demo" in readme and "make test" in readme
