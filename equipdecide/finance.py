"""Loan and annuity arithmetic: the one guarded door to numpy-financial.

Everything here takes and returns plain floats, one case at a time. The sign convention is the spreadsheet one: money
received is positive, money paid is negative, so a loan of 85,000 has ``pv=85000`` and a negative payment. Rates are
per period, not per year. ``due`` says when in the period a payment falls: ``"end"`` or ``"begin"``.

What the door keeps out (numpy-financial 1.0 and 1.1 differ, and both are wrong in places):

* at rates near zero both lose digits in ``(1 + rate) ** nper - 1``: a payment at 1e-15 is off by a tenth and at 1e-16
  it is infinite. Below `SMALL_RATE` the same formulas are computed here with ``expm1`` and ``log1p``;
* 1.0 gives a negative number of periods at rate zero; 1.1 does not;
* a period outside the loan, a rate at or below -100 %, and a two-dimensional table of flows are silently answered
  by one version and not by the other;
* ``irr`` returns one root of several without a word; ``nan`` stands for "no answer". Here both are a `NoAnswer`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, Literal

Due = Literal["end", "begin"]

SMALL_RATE = 1e-5
"""Below this rate per period the formulas are computed here: numpy-financial holds 12 digits at 1e-5, nine at 1e-9."""


class NoAnswer(ValueError):
    """The question has no single finite answer; the message says why and what to ask instead."""


def _npf(function: str, *arguments: Any, **options: Any) -> float:
    """Call numpy-financial, imported on first use; overflow comes back as inf or nan and is judged by the caller."""
    import numpy
    import numpy_financial

    with numpy.errstate(all="ignore"):
        return float(getattr(numpy_financial, function)(*arguments, **options))


def _check(name: str, due: str = "end", **values: float) -> None:
    """Refuse bad arguments of one call, all of them together."""
    faults = []
    for key, value in values.items():
        if isinstance(value, bool) or not isinstance(value, (int, float)) and not hasattr(value, "__float__"):
            faults.append(f"{key} is {value!r}; give one number")
            continue
        try:
            number = float(value)
        except (TypeError, ValueError):
            faults.append(f"{key} is not one number; this function takes one case at a time")
            continue
        if not math.isfinite(number):
            faults.append(f"{key} is {number}; give a finite number")
        elif key.endswith("rate") and number <= -1.0:
            faults.append(f"{key} is {number:g}; a rate must be above -1 (-100 %)")
        elif key == "nper" and number <= 0.0:
            faults.append(f"nper is {number:g}; there must be at least part of one period")
    if due not in ("end", "begin"):
        faults.append(f"due is {due!r}; use 'end' or 'begin'")
    if faults:
        raise ValueError(f"{name}: " + "; ".join(faults) + ".")


def _answer(name: str, value: Any, why: str) -> float:
    number = float(value)
    if not math.isfinite(number):
        raise NoAnswer(f"{name}: no finite answer. {why}")
    return number


def _growth(rate: float, nper: float) -> float:
    """Future worth of one paid at the end of each period, ((1 + rate) ** nper - 1) / rate, exact near zero."""
    return nper if rate == 0.0 else math.expm1(nper * math.log1p(rate)) / rate


def _begin(due: str) -> float:
    return 1.0 if due == "begin" else 0.0


def pmt(rate: float, nper: float, pv: float, fv: float = 0.0, due: Due = "end") -> float:
    """Return the level payment [USD per period] that turns `pv` into `fv` over `nper` periods.

    Solves ``fv + pv (1+rate)^nper + pmt (1 + rate due) ((1+rate)^nper - 1) / rate = 0``.

    Source: OpenFormula (OASIS ODF 1.3 part 4), PMT; the formula from memory.

    >>> round(pmt(0.08025 / 12, 240, 100_000), 7)
    -837.9966279
    >>> pmt(0.0, 60, 85_000) == -85_000 / 60
    True
    """
    _check("pmt", due, rate=rate, nper=nper, pv=pv, fv=fv)
    if abs(rate) < SMALL_RATE:
        compound = math.exp(nper * math.log1p(rate))
        return -(fv + pv * compound) / ((1.0 + rate * _begin(due)) * _growth(rate, nper))
    found = _npf("pmt", float(rate), float(nper), float(pv), float(fv), due)
    return _answer("pmt", found, "The figures are too large.")


def fv(rate: float, nper: float, pmt: float, pv: float, due: Due = "end") -> float:
    """Return the amount [USD] reached after `nper` periods from `pv` and level payments `pmt`.

    With `pv` a loan and `pmt` its negative payment the answer is minus the balance still owed.

    >>> round(fv(0.05 / 12, 120, -100, -100), 6)
    15692.928894
    """
    _check("fv", due, rate=rate, nper=nper, pmt=pmt, pv=pv)
    if abs(rate) < SMALL_RATE:
        return -(pv * math.exp(nper * math.log1p(rate)) + pmt * (1.0 + rate * _begin(due)) * _growth(rate, nper))
    return _answer("fv", _npf("fv", float(rate), float(nper), float(pmt), float(pv), due), "The figures are too large.")


def pv(rate: float, nper: float, pmt: float, fv: float = 0.0, due: Due = "end") -> float:
    """Return the amount [USD] now that level payments `pmt` and a last amount `fv` are worth, with the sign turned.

    >>> round(pv(0.10, 10, 20_000, -5_000), 2)
    -120963.63
    """
    _check("pv", due, rate=rate, nper=nper, pmt=pmt, fv=fv)
    if abs(rate) < SMALL_RATE:
        grown = fv + pmt * (1.0 + rate * _begin(due)) * _growth(rate, nper)
        return -grown * math.exp(-nper * math.log1p(rate))
    return _answer("pv", _npf("pv", float(rate), float(nper), float(pmt), float(fv), due), "The figures are too large.")


def nper(rate: float, pmt: float, pv: float, fv: float = 0.0, due: Due = "end") -> float:
    """Return the number of periods, not rounded, in which payments `pmt` turn `pv` into `fv`.

    Raises `NoAnswer` when the payments never get there, as when they do not even cover the interest.

    >>> nper(0.0, -1_700, 85_000)
    50.0
    >>> round(nper(0.07 / 12, -150, 8_000), 5)
    64.07335
    """
    _check("nper", due, rate=rate, pmt=pmt, pv=pv, fv=fv)
    why = "The payments never reach the amount wanted: they may not cover the interest, or have the wrong sign."
    if abs(rate) < SMALL_RATE:
        level = pmt * (1.0 + rate * _begin(due)) + pv * rate
        if level == 0.0:
            raise NoAnswer(f"nper: no finite answer. {why}")
        share = -(fv + pv) / level
        periods = share if rate == 0.0 else _log1p(rate * share) / math.log1p(rate)
    else:
        periods = _npf("nper", float(rate), float(pmt), float(pv), float(fv), due)
    if periods < 0.0:
        raise NoAnswer(f"nper: no finite answer. {why}")
    return _answer("nper", periods, why)


def _log1p(x: float) -> float:
    return math.log1p(x) if x > -1.0 else math.nan


def _flow_signs(flows: Sequence[float]) -> int:
    signs = [flow > 0.0 for flow in flows if flow != 0.0]
    return sum(a != b for a, b in zip(signs, signs[1:], strict=False))


def _residual(rate: float, nper: float, pmt: float, pv: float, fv: float, due: str) -> float:
    """Present worth of the whole contract at `rate`, as a share of its parts."""
    shrink = math.exp(-nper * math.log1p(rate))
    level = pmt * (1.0 + rate * _begin(due)) * _growth(rate, nper) * shrink
    scale = abs(pv) + abs(level) + abs(fv * shrink)
    return (pv + level + fv * shrink) / scale if scale else 0.0


def rate(nper: float, pmt: float, pv: float, fv: float = 0.0, due: Due = "end") -> float:
    """Return the rate per period [1/period] at which `pv`, `pmt` and `fv` balance.

    Raises `NoAnswer` when no rate or more than one may balance (counted by the changes of sign of the flows; for those
    use `equipdecide.measures.rates_of_return`), or when the search does not settle.

    >>> round(rate(3, -10, 900), 4)
    -0.7563
    >>> rate(50, -1_700, 85_000)
    0.0
    """
    _check("rate", due, nper=nper, pmt=pmt, pv=pv, fv=fv)
    in_order = (pv + pmt, pmt, fv) if due == "begin" else (pv, pmt, pmt + fv)
    changes = _flow_signs(in_order if nper > 1 else (in_order[0], in_order[-1]))
    if changes == 0:
        raise NoAnswer("rate: every flow has the same sign, so no rate balances them. Give paid amounts a minus sign.")
    if changes > 1:
        raise NoAnswer(
            "rate: the flows change sign twice, so there may be two rates or none; list them with rates_of_return."
        )
    if abs(_residual(0.0, nper, pmt, pv, fv, due)) < 1e-15:
        return 0.0
    for guess in (0.1, 0.01, 0.001, -0.1, 0.5, -0.5, -0.9, 2.0):
        found = _npf("rate", float(nper), float(pmt), float(pv), float(fv), due, guess=guess, tol=1e-13)
        # the library can stop on a false root: what it returns counts only when the contract balances at it
        if math.isfinite(found) and found > -1.0 and abs(_residual(found, nper, pmt, pv, fv, due)) < 1e-10:
            return found
    raise NoAnswer("rate: the search did not settle on a rate; list the flows and use rates_of_return.")


def _check_period(name: str, per: float, nper: float) -> None:
    if per != int(per) or not 1 <= per <= nper:
        raise ValueError(f"{name}: period {per:g} is not one of the {nper:g} periods, which count from 1.")


def ipmt(rate: float, per: int, nper: float, pv: float, fv: float = 0.0, due: Due = "end") -> float:
    """Return the interest part [USD] of payment number `per` (counted from 1).

    >>> round(ipmt(0.05, 5, 7, 15_000), 2)
    -352.97
    """
    _check("ipmt", due, rate=rate, nper=nper, pv=pv, fv=fv, per=per)
    _check_period("ipmt", per, nper)
    if abs(rate) < SMALL_RATE:
        if due == "begin" and per == 1:
            return 0.0
        level = pmt(rate, nper, pv, fv, due)
        owed = pv if per == 1 else -_fv(rate, per - 1, level, pv, due)
        return -owed * rate / (1.0 + rate * _begin(due))
    return _answer(
        "ipmt",
        _npf("ipmt", float(rate), int(per), float(nper), float(pv), float(fv), due),
        "The figures are too large.",
    )


def ppmt(rate: float, per: int, nper: float, pv: float, fv: float = 0.0, due: Due = "end") -> float:
    """Return the principal part [USD] of payment number `per`: the payment less its interest.

    >>> round(ppmt(0.0875 / 12, 1, 36, 5_000, 8_000, "begin"), 2)
    -350.99
    """
    return pmt(rate, nper, pv, fv, due) - ipmt(rate, per, nper, pv, fv, due)


def _flows(name: str, flows: Sequence[float], least: int) -> list[float]:
    rows = [
        float(flow) if getattr(flow, "ndim", 0) == 0 and not isinstance(flow, (str, list, tuple)) else math.nan
        for flow in flows
    ]
    if any(math.isnan(flow) for flow in rows):
        raise ValueError(f"{name}: the flows must be one row of numbers; for many series use equipdecide.measures.")
    if len(rows) < least:
        raise ValueError(f"{name}: {len(rows)} flows given, at least {least} needed.")
    return rows


def npv(rate: float, flows: Sequence[float]) -> float:
    """Return the present worth [USD] of equally spaced `flows`, the first of them now.

    >>> round(npv(0.10, [-10_000, 3_000, 4_200, 6_800]), 2)
    1307.29
    """
    _check("npv", rate=rate)
    return _answer("npv", _npf("npv", float(rate), _flows("npv", flows, 1)), "The figures are too large.")


def irr(flows: Sequence[float]) -> float:
    """Return the one internal rate of return [1/period] of equally spaced flows that change sign exactly once.

    Raises `NoAnswer` for no change of sign (no rate) and for several (perhaps several rates: use
    `equipdecide.measures.rates_of_return`, which lists them all).

    >>> round(irr([-70_000, 12_000, 15_000, 18_000, 21_000, 26_000]), 12)
    0.086630948037
    """
    rows = _flows("irr", flows, 2)
    changes = _flow_signs(rows)
    if changes != 1:
        raise NoAnswer(
            "irr: the flows never change sign, so there is no rate of return."
            if changes == 0
            else f"irr: the flows change sign {changes} times, so there may be several rates or none; "
            "list them with rates_of_return."
        )
    import numpy

    try:
        found = _npf("irr", rows)
    except numpy.linalg.LinAlgError:
        found = math.nan
    return _answer("irr", found, "The flows are too far apart in size; use rates_of_return.")


def mirr(flows: Sequence[float], finance_rate: float, reinvest_rate: float) -> float:
    """Return the modified internal rate of return [1/period] of equally spaced flows, the first of them now.

    Outlays are carried back at `finance_rate`, receipts forward at `reinvest_rate`.

    >>> round(mirr([-120_000, 39_000, 30_000, 21_000, 37_000, 46_000], 0.10, 0.12), 6)
    0.126094
    """
    _check("mirr", finance_rate=finance_rate, reinvest_rate=reinvest_rate)
    rows = _flows("mirr", flows, 2)
    if not (any(flow > 0 for flow in rows) and any(flow < 0 for flow in rows)):
        raise NoAnswer("mirr: it needs at least one outlay and one receipt.")
    return _answer("mirr", _npf("mirr", rows, float(finance_rate), float(reinvest_rate)), "The figures are too large.")


_fv = fv  # `fv` is also a parameter name above
