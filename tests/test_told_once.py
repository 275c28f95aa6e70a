"""Findings of several courses: each once, with the names of those it holds for. Expected sentences
are written by hand.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import equipdecide as ed
from equipdecide.decide.told_once import told_once
from equipdecide.ledger import Finding

SCENARIO = Path(__file__).parents[1] / "scenarios" / "deck_fittings.yaml"


def of(text: str, code: str = "x", about: str = "", weight: str = "note") -> Finding:
    return Finding(code, text, about, weight)  # type: ignore[arg-type]


def texts(findings: dict[str, list[Finding]]) -> list[str]:
    return [finding.text for finding in told_once(findings)]


def test_what_holds_for_all_stands_as_it_is() -> None:
    assert texts({"a": [of("It rains.")], "b": [of("It rains.")]}) == ["It rains."]


def test_what_holds_for_some_names_them() -> None:
    said = {"a": [of("It rains.", about="step 1")], "b": [of("It rains.", about="step 2")], "c": []}
    assert texts(said) == ["It rains. Holds for 'a' and 'b'."]
    assert texts(said | {"d": [of("It rains.")]}) == ["It rains. Holds for all but 'c'."]
    assert texts({"sold": [of("sold: it rains.")], "c": []}) == ["sold: it rains."]  # it is named already


def test_other_figures_follow_with_their_names() -> None:
    said = {
        "a": [of("Walt: 1,200 is due on 2026-09-18 (IRC 731(a)(1)) for R1.")],
        "b": [of("Walt: 3,400.50 is due on 2026-09-18 (IRC 731(a)(1)) for R1.")],
        "c": [of("Walt: 1,200 is due on 2026-09-18 (IRC 731(a)(1)) for R1.")],
        "d": [of("Walt: 5 is due on 2027-01-15 (IRC 731(a)(1)) for R1.")],
    }
    assert texts(said) == [
        "Walt: 1,200 is due on 2026-09-18 (IRC 731(a)(1)) for R1. Holds for 'a' and 'c'; for 'b' with 3,400.50; "
        "for 'd' with 5 and 2027-01-15."
    ]


def test_unlike_findings_are_not_thrown_together() -> None:
    unlike = [
        ([of("It costs 1.")], [of("It costs 2.", code="y")]),
        ([of("It costs 1.")], [of("It costs 2.", weight="warning")]),
        ([of("It costs 1.", about="owners.Ines")], [of("It costs 1.", about="owners.Walt")]),
        ([of("Buying R1 costs.")], [of("Buying R2 costs.")]),
        ([of("It costs 1."), of("It costs 2.")], [of("It costs 3.")]),  # two of one course are two things
    ]
    for a, b in unlike:
        assert len(told_once({"a": a, "b": b})) == len(a) + len(b), (a, b)
    law = [of("Rate (r), 2027: 12 % is from memory.", code="parameter")]
    assert told_once({"a": law, "b": []}) == tuple(law)  # of the law, not of a course


@pytest.mark.parametrize("verb", ["sale", "compare"])
def test_the_larger_example_says_nothing_twice(verb: str) -> None:
    result = getattr(ed, verb)(ed.load(SCENARIO))
    plain = [
        re.sub(r" Holds for .*", "", re.sub(r"\d[\d,.-]*", "#", finding.text))
        for finding in result.findings
        if finding.code in ("paid_out_over_basis", "payoff_lowers_no_gain", "letter_expired", "not_tied")
    ]
    assert plain and len(plain) == len(set(plain))
    if verb == "sale":
        (beyond,) = (f for f in result.findings if f.code == "paid_out_over_basis")
        assert all(f"'{route.name}'" in beyond.text for route in result.routes) and beyond.weight == "warning"
