"""Batches of series (121 monthly flows): present worth and rate of return, and the bounds of the
machine beside them.
"""

from __future__ import annotations

import numpy as np
import numpy_financial as npf
from timing import Table, medians

from equipdecide import measures

try:
    import pyxirr  # the extra `bench`: a compiled, general-purpose library of cash-flow functions
except ImportError:
    pyxirr = None

SERIES, NPV_SLICE, IRR_SLICE, COMPILED_SLICE = 100_000, 2_000, 20, 2_000
MONTHS = np.arange(121) / 12
RATE = 0.10
MONTHLY = 1.10 ** (1 / 12) - 1


def bounds(table: Table) -> float:
    """Measure and print what one thread of this machine can do; returns the bandwidth [byte/s]."""
    size = 16_000_000  # 128 MB each: far beyond the caches
    a, b, c = np.empty(size), np.ones(size), np.ones(size)
    left = np.random.default_rng(1).random((1_500, 1_500))
    spent = medians(
        {
            "copy": lambda: np.copyto(a, b),
            "add": lambda: np.add(b, c, out=a),
            "read": lambda: b @ c,
            "dgemm": lambda: left @ left,
        }
    )
    speeds = {"copy": 16, "add": 24, "read": 16}
    found = {name: size * each / spent[name] for name, each in speeds.items()}
    for name, what in (("copy", "copied, a = b"), ("add", "added, a = b + c"), ("read", "read, b . c")):
        table.figure(f"memory, arrays of 128 MB, {what}", f"{found[name] / 1e9:,.1f} GB/s")
    table.figure("arithmetic, dgemm of 1,500", f"{2 * 1_500**3 / spent['dgemm'] / 1e9:,.1f} GFlop/s")
    return max(found.values())


def batches(table: Table, bandwidth: float) -> None:
    """Check the figures against each other, time them, print the rows."""
    rng = np.random.default_rng(1)
    series = rng.uniform(500, 1_500, (121, SERIES))
    series[0] = -60_000
    rows = [row.copy() for row in series[:, :COMPILED_SLICE].T]

    worth = measures.present_worth(series, MONTHS, RATE)
    assert np.allclose(worth[:200], [npf.npv(MONTHLY, row) for row in rows[:200]], rtol=0, atol=1e-6)
    rates = measures.rates_of_return_batch(series, MONTHS).rates
    by_npf = [(1 + npf.irr(row)) ** 12 - 1 for row in rows[:IRR_SLICE]]
    assert np.allclose(rates[:IRR_SLICE], by_npf, rtol=0, atol=1e-9)  # numpy-financial's own precision
    candidates = {
        "npv": lambda: measures.present_worth(series, MONTHS, RATE),
        "npf npv": lambda: [npf.npv(MONTHLY, row) for row in rows[:NPV_SLICE]],
        "irr": lambda: measures.rates_of_return_batch(series, MONTHS),
        "npf irr": lambda: [npf.irr(row) for row in rows[:IRR_SLICE]],
    }
    if pyxirr is not None:
        candidates["compiled irr"] = lambda: [pyxirr.irr(row) for row in rows]
    spent = medians(candidates, rounds=3)
    npv, irr = spent["npv"] / SERIES, spent["irr"] / SERIES
    bound = series.nbytes / SERIES / bandwidth
    table.figure(
        "present worth: package; numpy-financial (2,000 series)",
        f"{npv * 1e6:.3f}; {spent['npf npv'] / NPV_SLICE * 1e6:.2f} us",
    )
    table.goal("present worth, times as quick as numpy-financial", spent["npf npv"] / NPV_SLICE / npv, 40, False, " x")
    table.goal(
        f"present worth against the bandwidth bound ({bound * 1e6:.3f} us a series)",
        npv / bound,
        1.5,
        True,
        " x",
        "the flows are read more than once: every pass beyond the product itself (looking for what is not finite) costs one bound",
    )
    table.figure(
        "rate of return: package; numpy-financial (20 series)",
        f"{irr * 1e6:.2f}; {spent['npf irr'] / IRR_SLICE * 1e6:,.0f} us",
    )
    table.goal(
        "rate of return, times as quick as numpy-financial", spent["npf irr"] / IRR_SLICE / irr, 1_000, False, " x"
    )
    if pyxirr is None:
        print("  rate of return against a compiled library: skipped, pyxirr is not installed (extra `bench`)")
        return
    compiled = np.array([(1 + pyxirr.irr(row)) ** 12 - 1 for row in rows])
    table.goal(
        f"rate of return, times as quick as a compiled library (pyxirr {pyxirr.__version__})",
        spent["compiled irr"] / COMPILED_SLICE / irr,
        8,
        False,
        " x",
    )
    table.goal(
        "rate of return, largest difference from it (yearly rates)",
        float(np.abs(compiled - rates[:COMPILED_SLICE]).max()),
        1e-12,
        True,
        "",
    )
