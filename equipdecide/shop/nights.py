"""Nights alone: what a log of evenings says about stops, and what a window of hours can be expected to run.

A night that ran out its window is *censored*: its hours count, a stop does not. Times between stops are taken as
exponential (stops at random) or Weibull (``beta`` above 1: wear); competing causes add their hazards. Machine failures
(months apart) are another matter and not in such a log.

Sources: maximum likelihood for censored exponential and Weibull lives, the chi-square interval and competing risks are
in any text of reliability, e.g. NIST/SEMATECH e-Handbook of Statistical Methods, chapter 8 (from memory).
"""

from __future__ import annotations

import csv
import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from equipdecide.calendar import FloatArray
from equipdecide.ledger import Finding

RAN_OUT = "ran out"  # a log's reason that begins with these words is a night that was not stopped
NOT_CAUGHT = "not caught"  # a reason with these words is a fault that did not stop the machine
CONFIDENCE = 0.95


@dataclass(frozen=True)
class Mean:
    """A mean running time between stops [h] with its interval [h]; without a stop, only a lower bound `low`."""

    hours: float
    stops: int
    low: float
    high: float | None

    @property
    def theta(self) -> float | None:
        """Total hours over stops [h]; None where nothing stopped."""
        return self.hours / self.stops if self.stops else None


def mean_between_stops(hours: float, stops: int, confidence: float = CONFIDENCE) -> Mean:
    """Return the mean time between stops of `hours` run with `stops`, and its interval.

    Interval ``2T / chi2(1 - a/2; 2S + 2)`` to ``2T / chi2(a/2; 2S)``; with no stop the one-sided lower bound
    ``2T / chi2(1 - a; 2)``, as for a test that ends at a set time. Raises ValueError for hours that are not above 0.
    """
    if not hours > 0:
        raise ValueError(f"the hours run are {hours}; they must be above 0")
    if stops == 0:
        return Mean(hours, 0, hours / _half_chi2(1 - confidence, 1), None)
    tail = (1 - confidence) / 2
    return Mean(hours, stops, hours / _half_chi2(tail, stops + 1), hours / _half_chi2(1 - tail, stops))


@lru_cache(maxsize=256)
def _half_chi2(above: float, stops: int) -> float:
    """Return half the value that chi-square of ``2 stops`` degrees of freedom exceeds with probability `above`.

    At an even number of degrees that probability is a sum, ``exp(-h) (1 + h + ... + h**(stops-1) / (stops-1)!)``, which
    falls in h: it is halved down to the last digit, and no statistics library need be loaded to read a log.
    """
    low, high = 0.0, stops + 40.0 * math.sqrt(stops) + 40.0
    while (h := (low + high) / 2) not in (low, high):
        log_h = math.log(h)
        tail = math.fsum(math.exp(j * log_h - h - math.lgamma(j + 1)) for j in range(stops))
        low, high = (h, high) if tail > above else (low, h)
    return h


@dataclass(frozen=True)
class Cause:
    """One reason for stopping: how often, its hazard [1/h], and the mean hours between stops for it alone."""

    reason: str
    mean: Mean

    @property
    def stops(self) -> int:
        """Stops logged with this reason."""
        return self.mean.stops

    @property
    def hazard(self) -> float:
        """Stops an hour of running [1/h]; the hazards of all causes add up to one over the mean time between stops."""
        return self.mean.stops / self.mean.hours


@dataclass(frozen=True, eq=False)
class NightLog:
    """A log of evenings: hours run [h] and which reason ended each, shape (evenings,); -1 where the window ran out."""

    run: FloatArray
    code: NDArray[np.int64]
    reasons: tuple[str, ...]

    @property
    def evenings(self) -> int:
        """Number of evenings."""
        return len(self.run)

    @property
    def stopped(self) -> NDArray[np.bool_]:
        """Which evenings ended in a stop, shape (evenings,)."""
        return self.code >= 0

    @property
    def hours(self) -> float:
        """Hours run in all [h]."""
        return float(self.run.sum())

    @property
    def stops(self) -> int:
        """Evenings that ended in a stop."""
        return int(self.stopped.sum())

    @cached_property
    def mean(self) -> Mean:
        """Mean running time between stops with its 95 % interval."""
        return mean_between_stops(self.hours, self.stops)

    @property
    def theta(self) -> float | None:
        """Mean running hours between stops [h]; None where nothing stopped."""
        return self.mean.theta

    @property
    def low(self) -> float:
        """Lower end of its interval, or the bound where nothing stopped [h]."""
        return self.mean.low

    @property
    def high(self) -> float | None:
        """Upper end of its interval [h]; None where nothing stopped."""
        return self.mean.high

    @cached_property
    def causes(self) -> tuple[Cause, ...]:
        """Every reason with its stops, the most frequent first."""
        counts = np.bincount(self.code[self.code >= 0], minlength=len(self.reasons))
        found = [
            Cause(reason, mean_between_stops(self.hours, int(count)))
            for reason, count in zip(self.reasons, counts, strict=True)
        ]
        return tuple(sorted(found, key=lambda cause: (-cause.stops, cause.reason)))

    def cause(self, words: str) -> Cause:
        """Return the cause whose reason is `words`, or the only one that begins with them. Raises
        KeyError otherwise.
        """
        said = " ".join(words.lower().split())
        exact = [cause for cause in self.causes if cause.reason.lower() == said]
        found = exact or [cause for cause in self.causes if cause.reason.lower().startswith(said)]
        if len(found) != 1:
            raise KeyError(
                f"no one reason of the log is '{words}'; there are {', '.join(cause.reason for cause in self.causes)}"
            )
        return found[0]

    @cached_property
    def weibull(self) -> WeibullFit | None:
        """The Weibull fit; None where there are too few stops for one."""
        try:
            return weibull_fit(self.run, self.stopped)
        except ValueError:
            return None

    @property
    def undetected(self) -> int:
        """Stops whose reason says that the machine did not notice."""
        return sum(cause.stops for cause in self.causes if NOT_CAUGHT in cause.reason.lower())

    def naive_mean(self) -> float:
        """Return the average of the stopped nights alone [h]: far too short, shown as a warning example."""
        return float(self.run[self.stopped].mean()) if self.stops else math.nan

    def to_json(self) -> dict[str, object]:
        """Return plain data with fixed keys; times in hours. Keys are added, never renamed."""
        fit = self.weibull
        return {
            "evenings": self.evenings,
            "hours": self.hours,
            "stops": self.stops,
            "theta": self.theta,
            "low": self.low,
            "high": self.high,
            "mean_of_stopped_nights": self.naive_mean() if self.stops else None,
            "undetected": self.undetected,
            "causes": [
                {
                    "reason": c.reason,
                    "stops": c.stops,
                    "stops_an_hour": c.hazard,
                    "theta": c.mean.theta,
                    "low": c.mean.low,
                    "high": c.mean.high,
                }
                for c in self.causes
            ],
            "weibull": None
            if fit is None
            else {
                "eta": fit.eta,
                "beta": fit.beta,
                "beta_low": fit.beta_low,
                "beta_high": fit.beta_high,
                "says": shape_in_words(fit),
            },
        }


def shape_in_words(fit: WeibullFit) -> str:
    """Say what the shape of a fit speaks for: stops at random, wear, or bad starts."""
    if fit.beta_low > 1:
        return "stops come more often the longer it has run, as wear does"
    if fit.beta_high < 1:
        return "stops come more often early in the night, as bad starts do"
    return "nothing speaks against stops at random"


def read_log(path: Path) -> NightLog:
    """Read a log of evenings (CSV: date, hours_run, reason). Its faults are reported when the scenario is read."""
    known: dict[str, int] = {}
    run, code = [], []
    with path.open(newline="", encoding="utf-8-sig") as file:
        rows = csv.reader(file)
        next(rows)
        for row in rows:
            if not row:
                continue
            run.append(row[1])
            reason = ",".join(row[2:]).strip()
            code.append(-1 if reason.lower().startswith(RAN_OUT) else known.setdefault(reason, len(known)))
    return NightLog(np.array(run, dtype=float), np.array(code, dtype=np.int64), tuple(known))


# --- Weibull


@dataclass(frozen=True)
class WeibullFit:
    """A censored Weibull fit: scale `eta` [h], shape `beta` with its 95 % likelihood interval, and the test of beta =
    1.

    `p_exponential` is the likelihood-ratio chance of so much difference if stops came at random; small speaks for wear
    (beta above 1) or for a bad start (below 1).
    """

    eta: float
    beta: float
    beta_low: float
    beta_high: float
    p_exponential: float
    findings: tuple[Finding, ...] = ()

    @property
    def mean(self) -> float:
        """Mean time to a stop [h]."""
        return self.eta * math.gamma(1 + 1 / self.beta)


def weibull_fit(run: FloatArray, stopped: NDArray[np.bool_], resolution: float = 0.1) -> WeibullFit:
    """Fit a Weibull law to `run` hours [h] of which `stopped` ended in a stop, shape (evenings,), by maximum
    likelihood.

    The shape solves ``sum(t**b log t) / sum(t**b) - 1/b = mean(log t of the stops)``, the scale follows. A stop at 0 h
    is taken at half of `resolution` [h], the log's own step, and said. Raises ValueError with fewer than two stops at
    different hours.
    """
    from scipy.optimize import brentq
    from scipy.stats import chi2

    findings = []
    at_once = int(((run <= 0) & stopped).sum())
    if at_once:
        findings.append(
            Finding(
                "stopped_at_once",
                f"{at_once} stops at 0 h are taken at {resolution / 2:g} h, half a step of the log, for the Weibull fit.",
            )
        )
    t = np.where(run <= 0, resolution / 2, run)
    kept = stopped | (run > 0)
    t, failed = t[kept], stopped[kept]
    stops = int(failed.sum())
    if stops < 2 or np.ptp(t[failed]) == 0 and np.ptp(t) == 0:
        raise ValueError(f"a Weibull fit needs two stops at different hours; the log has {stops} stops")
    logs = np.log(t / t.max())  # scaled, so that no power overflows
    mean_log = float(logs[failed].mean())

    def slope(beta: float) -> float:
        weight = np.exp(beta * logs)
        return float((weight * logs).sum() / weight.sum() - 1 / beta - mean_log)

    beta = float(brentq(slope, 1e-3, 200.0, xtol=1e-12))

    def profile(shape: float) -> float:
        """Log likelihood at a shape, its scale fitted."""
        total = float(np.exp(shape * logs).sum())
        return stops * (math.log(shape) - math.log(total / stops)) + (shape - 1) * mean_log * stops - stops

    best = profile(beta)
    drop = float(chi2.ppf(CONFIDENCE, 1)) / 2

    def below(shape: float) -> float:
        return profile(shape) - best + drop

    low = float(brentq(below, beta * 1e-3, beta)) if below(beta * 1e-3) < 0 else 0.0
    top = beta * 2
    while below(top) > 0 and top < 1e4:
        top *= 2
    eta = float(t.max() * (np.exp(beta * logs).sum() / stops) ** (1 / beta))
    p = float(chi2.sf(max(2 * (best - profile(1.0)), 0.0), 1))
    return WeibullFit(eta, beta, low, float(brentq(below, beta, top)), p, tuple(findings))


# --- a window of hours


def survival(at: FloatArray | float, theta: float) -> FloatArray:
    """Return the chance of running `at` hours [h] without a stop, exponential with mean `theta` [h]."""
    return np.exp(-np.asarray(at, dtype=float) / theta)


def expected_hours(window: FloatArray | float, theta: FloatArray | float) -> FloatArray:
    """Return the hours a window [h] runs on average: ``theta (1 - exp(-window / theta))`` [h];
    never the window itself.
    """
    return np.asarray(-np.asarray(theta) * np.expm1(-np.asarray(window, dtype=float) / theta), dtype=float)


def weibull_survival(at: FloatArray | float, eta: float, beta: float) -> FloatArray:
    """Return the chance of running `at` hours [h] without a stop, Weibull with scale `eta` [h] and shape `beta`."""
    return np.exp(-((np.asarray(at, dtype=float) / eta) ** beta))


def weibull_expected_hours(window: FloatArray | float, eta: float, beta: float) -> FloatArray:
    """Return the hours a window [h] runs on average, Weibull: ``(eta / beta) gamma(1/beta,
    (window/eta)**beta)`` [h].
    """
    from scipy.special import gamma, gammainc

    reach = (np.asarray(window, dtype=float) / eta) ** beta
    return np.asarray(eta / beta * gamma(1 / beta) * gammainc(1 / beta, reach), dtype=float)


def combined(thetas: Mapping[str, float]) -> float:
    """Return the mean time between stops [h] of causes that compete, each random with its own mean [h]: hazards add."""
    return 1 / sum(1 / theta for theta in thetas.values())


def without_causes(log: NightLog, theta: float, ended: Mapping[str, float]) -> float:
    """Return the mean time between stops [h] once part of the logged causes is ended.

    `theta` is the mean in use [h], `ended` the share (0 to 1) of each reason's stops that go. Each cause keeps its
    share of the hazard in the log: ``theta / (1 - sum(share * stops of the reason / all stops))``.
    """
    gone = sum(share * log.cause(reason).stops / log.stops for reason, share in ended.items())
    if gone >= 1:
        raise ValueError("every stop of the log is ended; no time between stops follows from that")
    return theta / (1 - gone)


@dataclass(frozen=True)
class Window:
    """The hours a night can run at most [h], and which limit it meets first."""

    hours: float
    limit: str


def window_held(
    window: float,
    parts_loaded: float | None = None,
    minutes_each: float | None = None,
    bar_or_pallet: float | None = None,
    tool_life: float | None = None,
) -> Window:
    """Return the smallest of: the `window` [h], the work loaded, the bar or pallets [h], the life of the tools [h].

    A tool-life counter that stops the machine is a certain stop: it caps the window and is no hazard.
    """
    limits = {"window": window}
    if parts_loaded is not None and minutes_each is not None:
        limits["parts loaded"] = parts_loaded * minutes_each / 60
    if bar_or_pallet is not None:
        limits["bar or pallets"] = bar_or_pallet
    if tool_life is not None:
        limits["tool life"] = tool_life
    name = min(limits, key=lambda key: limits[key])
    return Window(limits[name], name)


@dataclass(frozen=True)
class RunOn:
    """What faults that stop nothing cost a year: nights with one, and hours run on making scrap [h/year]."""

    chance: float
    hours_a_night: float
    nights: float

    @property
    def runs_a_year(self) -> float:
        """Nights a year on which one comes first [1/year]."""
        return self.chance * self.nights

    @property
    def hours_a_year(self) -> float:
        """Hours a year run on after one [h/year]."""
        return self.hours_a_night * self.nights


def run_on(theta: float, window: float, share: float, nights: float = 1.0) -> RunOn:
    """Return the run-on of faults the machine does not notice.

    `share` of the stops, mean `theta` [h] between all of them, pass unnoticed; the machine then runs on until a stop
    that it does notice or the end of the `window` [h]. `nights` a year. With u = share / theta, d = (1 - share) /
    theta: chance ``share (1 - exp(-w/theta))``; hours ``share / (1 - share) theta (1 - exp(-w/theta)) - exp(-d w) (1 -
    exp(-u w)) / d``.
    """
    if not 0 <= share <= 1:
        raise ValueError(f"the share that passes unnoticed is {share}; it is 0 to 1")
    clean = -math.expm1(-window / theta)
    if share == 1:  # nothing ever stops it: the rest of the window is scrap
        return RunOn(clean, window - theta * clean, nights)
    u, d = share / theta, (1 - share) / theta
    hours = share / (1 - share) * theta * clean + math.exp(-d * window) * math.expm1(-u * window) / d
    return RunOn(share * clean, hours, nights)


# --- the chart


@dataclass(frozen=True, eq=False)
class SurvivalCurve:
    """Chance of still running, against hours: of the log, and of the fitted laws. Arrays of one length, hours [h]."""

    hours: FloatArray
    logged: FloatArray
    exponential: FloatArray
    weibull: FloatArray | None


def survival_curve(log: NightLog, points: int = 101) -> SurvivalCurve:
    """Return the log's survival (product-limit estimate of Kaplan and Meier) beside the fitted laws, for a chart."""
    from scipy.stats import CensoredData, ecdf

    estimate = ecdf(CensoredData.right_censored(log.run, ~log.stopped)).sf
    at = np.linspace(0.0, float(log.run.max()), points)
    theta = log.theta if log.theta is not None else log.low
    weibull = None
    if log.stops >= 2:
        fit = weibull_fit(log.run, log.stopped)
        weibull = weibull_survival(at, fit.eta, fit.beta)
    return SurvivalCurve(at, np.asarray(estimate.evaluate(at), dtype=float), survival(at, theta), weibull)
