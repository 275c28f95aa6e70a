"""What to make when two stations are the limit: a small linear programme, and when simple ranking fails.

With one bottleneck the best order is by contribution an hour of it. With two that bind together no single ranking need
be right; the programme gives the best quantities, and its dual what one more hour of each station is worth. The
certificate is primal less dual value: it must be zero.

Sources: duality of linear programmes, any text; the limits of ranking by one constraint: elischragenheim.com (2016,
read).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from equipdecide.ledger import Breach, Finding

GAP = 0.005  # currency a period: the certificate's tolerance, half a cent


@dataclass(frozen=True)
class Product:
    """One product: contribution a piece [currency], hours a piece by station [h], demand and must-ship [pieces]."""

    contribution: float
    hours: Mapping[str, float]
    demand: float
    must_ship: float = 0.0


@dataclass(frozen=True)
class Mix:
    """Best quantities [pieces], what they contribute, and what one more hour of each station is worth [currency/h].

    `ranked` is what ranking by the most loaded station alone would contribute. `certificate` is primal less dual.
    """

    quantities: Mapping[str, float]
    contribution: float
    hour_worth: Mapping[str, float]
    binding: tuple[str, ...]
    ranked_by: str
    ranked: float
    certificate: float
    findings: tuple[Finding, ...]


def by_ranking(products: Mapping[str, Product], available: Mapping[str, float], station: str) -> dict[str, float]:
    """Return quantities made in the order of contribution an hour of `station`, each until demand
    or any station ends.
    """
    left = dict(available)
    made = {}
    for name in products:
        made[name] = min([products[name].must_ship, *(left[s] / h for s, h in products[name].hours.items() if h > 0)])
        for s, h in products[name].hours.items():
            left[s] -= made[name] * h
    order = sorted(products, key=lambda n: -products[n].contribution / max(products[n].hours.get(station, 0.0), 1e-12))
    for name in order:
        one = products[name]
        more = min([one.demand - made[name], *(max(left[s], 0.0) / h for s, h in one.hours.items() if h > 0)])
        made[name] += max(more, 0.0)
        for s, h in one.hours.items():
            left[s] -= max(more, 0.0) * h
    return made


def best_mix(products: Mapping[str, Product], available: Mapping[str, float]) -> Mix:
    """Return the best mix within the hours `available` by station [h a period].

    Raises ValueError where what must ship does not fit, or a product names an unknown station.
    """
    from scipy.optimize import linprog

    stations, names = list(available), list(products)
    for name, one in products.items():
        unknown = [s for s in one.hours if s not in available]
        if unknown:
            raise ValueError(f"{name} needs hours of {', '.join(unknown)}; there are {', '.join(stations)}")
    needed = {s: sum(one.must_ship * one.hours.get(s, 0.0) for one in products.values()) for s in stations}
    short = [f"{s} by {needed[s] - available[s]:,.1f} h" for s in stations if needed[s] > available[s] + 1e-9]
    if short:
        raise ValueError(f"what must ship does not fit: {'; '.join(short)} too little")
    use = np.array([[products[n].hours.get(s, 0.0) for n in names] for s in stations])
    worth = np.array([products[n].contribution for n in names])
    limits = np.array([available[s] for s in stations])
    low = np.array([products[n].must_ship for n in names])
    high = np.array([max(products[n].demand, products[n].must_ship) for n in names])
    found = linprog(-worth, A_ub=use, b_ub=limits, bounds=np.column_stack([low, high]), method="highs")
    if not found.success:
        raise ValueError(f"no mix was found: {found.message}")
    price = -np.asarray(found.ineqlin.marginals)
    # the dual from its own prices: hours at their price, and each bound at what the prices leave of the contribution
    rest = worth - price @ use
    dual = float(price @ limits + (np.maximum(rest, 0) * high).sum() - (np.maximum(-rest, 0) * low).sum())
    primal = float(worth @ found.x)
    if abs(primal - dual) > GAP:
        raise Breach(f"best mix: primal {primal} less dual {dual} is not zero")
    load = {
        s: sum(products[n].demand * products[n].hours.get(s, 0.0) for n in names) / max(available[s], 1e-12)
        for s in stations
    }
    first = max(load, key=lambda s: load[s])
    made = by_ranking(products, available, first)
    ranked = float(sum(made[n] * products[n].contribution for n in names))
    binding = tuple(s for s, p in zip(stations, price, strict=True) if p > 1e-9)
    findings = []
    if primal - ranked > max(GAP, 1e-6 * abs(primal)):
        findings.append(
            Finding(
                "ranking_fails",
                f"Ranking by contribution an hour of {first} brings {ranked:,.0f}; the best mix brings {primal:,.0f}. "
                f"{' and '.join(binding) or first} bind together, so no single ranking is right.",
                first,
                "warning",
            )
        )
    return Mix(
        dict(zip(names, map(float, found.x), strict=True)),
        primal,
        dict(zip(stations, map(float, price), strict=True)),
        binding,
        first,
        ranked,
        primal - dual,
        tuple(findings),
    )


def machine_hour_rate(
    cost: float,
    scrap_value: float,
    life_hours: float,
    yearly_costs: Mapping[str, float],
    hours_a_year: float,
    hourly_costs: Mapping[str, float] | None = None,
) -> float:
    """Return a machine-hour rate for quoting [currency/h]: wear over its life, yearly costs over the hours, costs an
    hour.

    It falls as hours rise, so it must not be used to value extra hours. Source: absorption costing, any text.
    """
    if not life_hours > 0 or not hours_a_year > 0:
        raise ValueError("hours of life and hours a year must be above 0")
    return (
        (cost - scrap_value) / life_hours
        + sum(yearly_costs.values()) / hours_a_year
        + sum((hourly_costs or {}).values())
    )
