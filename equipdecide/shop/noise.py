"""Noise of a working day: dose under three criteria, levels added, and what may be compared with what.

Three doses from the same day are three different numbers, never to be compared with one another: the OSHA permissible
dose counts sound from 90 dBA up, the OSHA hearing-conservation dose from 80, both at 5 dB a halving; NIOSH counts from
80 at 3 dB a halving on 85 dBA.

Sources: 29 CFR 1910.95 with Table G-16 and Appendix A (read); NIOSH recommended limit 85 dBA, 3 dB (read second hand);
thresholds: ishn.com, Measuring noise exposure (read). Machine noise tests exclude cutting: ISO 8525 (abstract read).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Literal

import numpy as np

from equipdecide.calendar import FloatArray
from equipdecide.ledger import Finding

ACTION_DOSE = 50.0  # percent of the hearing-conservation dose: 29 CFR 1910.95(c)
CEILING = 115.0  # dBA, Table G-16: not to be exceeded at any time by steady noise

CAUTIONS = (
    "An estimate, not a measurement for compliance: a dosimeter worn for the whole shift decides.",
    "Levels are A-weighted, slow, at the ear, while cutting; a level heard at one metre or guessed by ear is worth nothing.",
    "Impact noise is apart: no exposure above 140 dB peak.",
    "A shift longer than eight hours lowers the level that makes the action dose.",
    "State plans may be stricter. Hearing protectors must be derated, and come after quieter machines and nozzles.",
    "Hours in which the machine runs alone expose nobody.",
)


@dataclass(frozen=True)
class Criterion:
    """A rule of dose: `level` [dBA] allowed for eight hours, `exchange` [dB] that halves the time,
    `threshold` [dBA].
    """

    name: str
    level: float
    exchange: float
    threshold: float

    def allowed_hours(self, level: FloatArray | float) -> FloatArray:
        """Return the hours a level may last: ``8 / 2 ** ((L - level) / exchange)`` [h]."""
        return np.asarray(8.0 / 2.0 ** ((np.asarray(level, dtype=float) - self.level) / self.exchange))

    def dose(self, levels: Sequence[float], hours: Sequence[float]) -> float:
        """Return the dose ``100 sum(C / T)`` [%] of levels [dBA] for hours [h]; below the threshold nothing counts."""
        heard, length = np.asarray(levels, dtype=float), np.asarray(hours, dtype=float)
        if heard.shape != length.shape:
            raise ValueError(f"{heard.size} levels and {length.size} times do not pair")
        if (length < 0).any():
            raise ValueError("a time of exposure is below zero")
        return float(100 * (length / self.allowed_hours(heard) * (heard >= self.threshold)).sum())

    def average_level(self, dose: float) -> float:
        """Return the eight-hour level that makes a dose [%]: ``exchange / log10 2 * log10(D / 100) + level`` [dBA]."""
        return self.exchange / math.log10(2) * math.log10(dose / 100) + self.level if dose > 0 else -math.inf


OSHA_PERMISSIBLE = Criterion("OSHA permissible dose", 90.0, 5.0, 90.0)
OSHA_CONSERVATION = Criterion("OSHA hearing-conservation dose", 90.0, 5.0, 80.0)
NIOSH = Criterion("NIOSH dose", 85.0, 3.0, 80.0)
CRITERIA = (OSHA_PERMISSIBLE, OSHA_CONSERVATION, NIOSH)


@dataclass(frozen=True)
class Exposure:
    """A piece of the day: what, level at the ear [dBA] and hours [h]."""

    what: str
    level: float
    hours: float


@dataclass(frozen=True)
class NoiseDay:
    """A day's doses [%] and eight-hour levels [dBA] by criterion, and what the reader must know."""

    doses: Mapping[str, float]
    levels: Mapping[str, float]
    shares: Mapping[str, float]  # of the hearing-conservation dose, by piece of the day
    findings: tuple[Finding, ...]


def noise_day(exposures: Sequence[Exposure]) -> NoiseDay:
    """Return the doses of one person's day under the three criteria."""
    levels, hours = [one.level for one in exposures], [one.hours for one in exposures]
    doses = {rule.name: rule.dose(levels, hours) for rule in CRITERIA}
    averages = {rule.name: rule.average_level(doses[rule.name]) for rule in CRITERIA}
    conservation = doses[OSHA_CONSERVATION.name]
    shares = {
        one.what: OSHA_CONSERVATION.dose([one.level], [one.hours]) / conservation if conservation else 0.0
        for one in exposures
    }
    findings = []
    if doses[OSHA_PERMISSIBLE.name] > 100:
        findings.append(
            Finding(
                "over_permissible",
                f"The permissible dose is {doses[OSHA_PERMISSIBLE.name]:.0f} %: above 100 % the law asks for "
                f"engineering or administrative controls.",
                "",
                "warning",
            )
        )
    if conservation >= ACTION_DOSE:
        findings.append(
            Finding(
                "action_level",
                f"The hearing-conservation dose is {conservation:.0f} %: from 50 % the law asks for monitoring, "
                f"hearing tests, protectors and training.",
                "",
                "warning",
            )
        )
    if doses[NIOSH.name] > 100:
        findings.append(
            Finding(
                "over_recommended",
                f"The NIOSH dose is {doses[NIOSH.name]:.0f} %: above the level recommended for health. It is not "
                f"comparable with the OSHA doses.",
            )
        )
    loud = [one.what for one in exposures if one.level > CEILING]
    if loud:
        findings.append(
            Finding(
                "over_ceiling",
                f"{', '.join(loud)}: above {CEILING:g} dBA at no time without protection.",
                "",
                "warning",
            )
        )
    if sum(hours) > 8.01:
        findings.append(
            Finding(
                "long_shift",
                f"The day has {sum(hours):g} h of exposure: the action dose is reached at a lower level than in eight.",
            )
        )
    return NoiseDay(doses, averages, shares, tuple(findings))


@dataclass(frozen=True)
class Remedy:
    """What would quieten a piece of the day: its level at the ear then [dBA], and the price."""

    name: str
    piece: str
    level: float
    price: float


@dataclass(frozen=True)
class Goal:
    """A dose that is to be kept under: its criterion and the per cent of it."""

    says: str
    criterion: Criterion
    dose: float


GOALS = (
    Goal("half the conservation dose", OSHA_CONSERVATION, ACTION_DOSE),
    Goal("the permissible dose", OSHA_PERMISSIBLE, 100.0),
    Goal("the NIOSH recommendation", NIOSH, 100.0),
)


def quietened(exposures: Sequence[Exposure], remedies: Sequence[Remedy]) -> tuple[Exposure, ...]:
    """Return the day with remedies fitted; of several levels of a piece the lowest is heard."""
    return tuple(
        Exposure(one.what, min([one.level, *(r.level for r in remedies if r.piece == one.what)]), one.hours)
        for one in exposures
    )


def cheapest(exposures: Sequence[Exposure], remedies: Sequence[Remedy], goal: Goal) -> tuple[Remedy, ...] | None:
    """Return the remedies of least price together that bring a day under a goal; () where it is under, None where none
    do.

    Every set of them is tried. Of sets of one price the one with the lower dose is taken.
    """

    def dose(fitted: Sequence[Remedy]) -> float:
        day = quietened(exposures, fitted)
        return goal.criterion.dose([one.level for one in day], [one.hours for one in day])

    sets = [fitted for k in range(len(remedies) + 1) for fitted in combinations(remedies, k)]
    reached = [fitted for fitted in sets if dose(fitted) < goal.dose]
    return min(reached, key=lambda fitted: (sum(r.price for r in fitted), dose(fitted)), default=None)


def add_levels(levels: Sequence[float]) -> float:
    """Return the level of sources together, ``10 log10 sum(10 ** (L / 10))`` [dB]. Raises ValueError for none."""
    if not levels:
        raise ValueError("no level is given")
    return float(10 * np.log10((10.0 ** (np.asarray(levels, dtype=float) / 10)).sum()))


# Differences of two levels [dB] up to which so much is added to the higher one; above 12 nothing.
# Source: Hong Kong Environmental Protection Department, Table 4 (read).
ADDITION = ((0.5, 3.0), (1.5, 2.5), (3.0, 2.0), (4.5, 1.5), (7.0, 1.0), (12.0, 0.5))


def add_levels_by_table(levels: Sequence[float]) -> int:
    """Return the level of sources added in pairs by the printed table, rounded to whole decibels at the end [dB]."""
    if not levels:
        raise ValueError("no level is given")
    ordered = sorted(levels)
    total = ordered[0]
    for level in ordered[1:]:
        apart = abs(level - total)
        total = max(level, total) + next((plus for limit, plus in ADDITION if apart <= limit), 0.0)
    return math.floor(total + 0.5)


@dataclass(frozen=True)
class Level:
    """A noise level [dBA] and how it was got: measured while cutting at the operator, or declared
    idle in a brochure.
    """

    level: float
    condition: Literal["cutting", "idle"]
    source: str = ""


def quieter(first: Level, second: Level) -> tuple[float | None, Finding | None]:
    """Return by how much `second` is quieter [dB], or None with the reason why the two may not be compared."""
    if first.condition != second.condition:
        return None, Finding(
            "idle_against_cutting",
            f"{first.level:g} dBA ({first.condition}) and {second.level:g} dBA ({second.condition}) are not "
            f"comparable: declared levels are measured without cutting. "
            "Ask for a level while cutting your material, or compare brochure with brochure.",
            "",
            "warning",
        )
    return first.level - second.level, None
