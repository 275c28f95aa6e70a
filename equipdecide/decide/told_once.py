"""Findings of several routes or courses, each told once, with the names of those it holds for."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace

from equipdecide.ledger import Finding
from equipdecide.words import listed

# a day or a number that stands by itself: of "R1" or "731(a)(1)" the digits are part of a name
_FIGURE = re.compile(r"(?<![\w.(-])(?:\d{4}-\d\d-\d\d|[-\N{MINUS SIGN}]?\d[\d,]*(?:\.\d+)?)(?![\w(-])")
AS_THEY_STAND = ("parameter",)  # told of the law, not of a course


def told_once(findings: Mapping[str, Sequence[Finding]]) -> tuple[Finding, ...]:
    """Return findings by name of a route or course as one list, in the order in which they were first said.

    What holds for all is said as it stands. What holds for some ends with their names; where only figures differ, it is
    said with those of the first, and the others' figures follow with their names.
    """
    first: dict[tuple[str, str, str, str], Finding] = {}
    holders: dict[Finding, list[str]] = {}
    for name, found in findings.items():
        for finding in found:
            held = holders.setdefault(first.setdefault(_said(finding), finding), [])
            held += [name] if name not in held else []
    alike: dict[tuple[str, str, str, str], list[Finding]] = {}
    for finding in holders:
        alike.setdefault((*_said(finding)[:3], _FIGURE.sub("#", finding.text)), []).append(finding)
    told: list[Finding] = []
    for group in alike.values():
        names = [name for finding in group for name in holders[finding]]
        apart = len(set(names)) < len(names) or group[0].code in AS_THEY_STAND  # two of one course are two things
        told += [_named(one, holders, tuple(findings)) for one in ([[each] for each in group] if apart else [group])]
    return tuple(told)


def _said(finding: Finding) -> tuple[str, str, str, str]:
    """What makes two findings the same: whose they are, where they are an owner's, and all they
    say; not of which step.
    """
    return finding.code, finding.weight, finding.about if finding.about.startswith("owners") else "", finding.text


def _named(group: Sequence[Finding], holders: Mapping[Finding, list[str]], everyone: tuple[str, ...]) -> Finding:
    """Return findings that differ in their figures alone as one, with the names of those it holds for."""
    first, names = group[0], holders[group[0]]
    if len(group) == 1 and (
        len(names) == len(everyone) or first.code in AS_THEY_STAND or all(_says(first.text, name) for name in names)
    ):
        return first
    told = [f"Holds for {_who(names, everyone)}"]
    for other in group[1:]:
        figures = [
            theirs
            for ours, theirs in zip(_FIGURE.findall(first.text), _FIGURE.findall(other.text), strict=True)
            if ours != theirs
        ]
        told.append(f"for {_who(holders[other], everyone)} with {listed(figures)}")
    return replace(first, text=f"{first.text} {'; '.join(told)}.")


def _says(text: str, name: str) -> bool:
    word = "keep(?:ing)?" if name == "keep" else re.escape(name)
    return re.search(rf"(?<!\w){word}(?!\w)", text, re.IGNORECASE) is not None


def _who(names: Sequence[str], everyone: tuple[str, ...]) -> str:
    left = [name for name in everyone if name not in names]
    return f"all but '{left[0]}'" if len(left) == 1 and len(names) > 2 else listed(f"'{name}'" for name in names)
