"""Contribution: what the good hours earn. Must-ship quantities first, then the best contribution an hour, up to demand.

Contribution of a piece = price less material, outside work and tooling; labour is not in it (the theory of constraints
calls it throughput). The value of an extra hour therefore falls like a staircase. The order of the parts is part of
the formulas, by comparing rates, so it follows every doubt.
"""

from __future__ import annotations

from equipdecide.ledger import Column, Draft, Origin, Working, sum_of
from equipdecide.plan import Plan
from equipdecide.scenario.amounts import Amount
from equipdecide.scenario.models import Part, Scenario


def part_economics(draft: Draft, scenario: Scenario) -> None:
    """Post, once for all alternatives, each part's contribution a piece and an hour, and what falling short costs."""
    for name, part in scenario.parts.items():
        w = draft.common.working(f"part {name}", says=f"what one piece of {name} brings", rule="part economics")
        if part.contribution_per_hour is not None:
            w.formula("hours_each", "1", "h", "sold by the hour")
            w.formula(
                "contribution", "rate", "USD", "contribution of one", rate=draft.input(part.contribution_per_hour)
            )
        else:
            assert part.price is not None and part.minutes is not None
            zero = {key: draft.input(amount) if amount else 0.0 for key, amount in _costs(part).items()}
            w.formula("hours_each", "minutes / 60", "h", "standard time of one", minutes=draft.input(part.minutes))
            w.formula(
                "direct_cost",
                "material + outside_work + tooling",
                "USD",
                "material, outside work and tooling of one",
                None,
                **zero,
            )
            w.formula(
                "contribution", "price - direct_cost", "USD", "contribution of one", price=draft.input(part.price)
            )
        w.formula("per_hour", "contribution / hours_each", "USD/h", "contribution an hour of the bottleneck")
        text, unit, says = _short(part)
        w.formula("if_short", text, unit, says, None, **_short_uses(draft, part))
        w.formula(
            "advantage",
            "(contribution - if_short) / hours_each",
            "USD/h",
            "what an hour saves when it ships what must ship",
        )


def _costs(part: Part) -> dict[str, Amount | None]:
    return {"material": part.material, "outside_work": part.outside_work, "tooling": part.tooling}


def _short(part: Part) -> tuple[str, str, str]:
    short = part.falling_short
    if short is not None and short.penalty is not None:
        return "0 - penalty", "USD", "contribution of a piece not shipped: the penalty"
    if short is not None and (short.cost_factor is not None or short.hour is not None):
        return (
            "contribution + direct_cost - factor * direct_cost - hour * hours_each"
            if part.price
            else "contribution - hour",
            "USD",
            "contribution of a piece bought outside instead",
        )
    return "0", "USD", "contribution of a piece not made"


def _short_uses(draft: Draft, part: Part) -> dict[str, Column | float]:
    short = part.falling_short
    if short is None:
        return {}
    if short.penalty is not None:
        return {"penalty": draft.input(short.penalty)}
    if short.cost_factor is None and short.hour is None:
        return {}
    uses: dict[str, Column | float] = {"hour": draft.input(short.hour) if short.hour else 0.0}
    if part.price:
        uses["factor"] = draft.input(short.cost_factor) if short.cost_factor else 1.0
    return uses


def contribution(draft: Draft, plan: Plan) -> None:
    """Post what is made and what it contributes in each stretch, and the line ``contribution`` of the shop."""
    scenario, spans = plan.scenario, plan.spans
    if not scenario.parts or not plan.working:
        return
    hours = draft["capacity"]["hours"]
    years = draft["capacity"]["years"]
    w = draft.working("contribution", spans, "what the good hours make and earn", "contribution")
    names = list(scenario.parts)
    active = {name: _active(draft, plan, name, w) for name in names}
    must_names = [name for name in names if scenario.parts[name].must_ship]
    must: dict[str, Column] = {}
    for name in must_names:
        part = draft[f"part {name}"]
        quantity = scenario.parts[name].must_ship
        assert quantity is not None
        must[name] = w.formula(
            f"{name}: must ship",
            "quantity * hours_each * years * active",
            "h",
            f"hours that {name} must have",
            quantity=draft.input(quantity),
            hours_each=part["hours_each"],
            years=years,
            active=active[name],
        )
    made_must = _fill(draft, w, must, hours, "advantage", "shipped")
    used = sum_of(w, "must_hours", list(made_must.values()), "h", "hours that go to what must ship")
    left = w.formula(
        "hours_left", "max(hours - used, 0)", "h", "hours left after what must ship", hours=hours, used=used
    )
    wanted: dict[str, Column] = {}
    for name in names:
        part, entry = draft[f"part {name}"], scenario.parts[name]
        demand = entry.demand or entry.hours
        if demand is None:
            continue
        wanted[name] = w.formula(
            f"{name}: could sell",
            "max(demand - must_ship, 0) * hours_each * years * active",
            "h",
            f"further hours of {name} that could be sold",
            demand=draft.input(demand),
            must_ship=draft.input(entry.must_ship) if entry.must_ship else 0.0,
            hours_each=part["hours_each"],
            years=years,
            active=active[name],
        )
    made = _fill(draft, w, wanted, left, "per_hour", "sold")
    earned = []
    for name in names:
        part = draft[f"part {name}"]
        zero = [column for column in (made_must.get(name), made.get(name)) if column is not None]
        if not zero:
            continue
        sum_of(w, f"{name}: hours", zero, "h", f"hours that make {name}")
        earning: dict[str, Column | float] = {"hours": w[f"{name}: hours"], "per_hour": part["per_hour"]}
        text = "hours * per_hour"
        if name in must:
            text += " + (must - shipped) / hours_each * if_short"
            earning |= {
                "must": must[name],
                "shipped": made_must[name],
                "hours_each": part["hours_each"],
                "if_short": part["if_short"],
            }
        earned.append(w.formula(f"{name}: contribution", text, "USD", f"contribution of {name}", None, **earning))
    sum_of(
        w,
        "hours_sold",
        [w[f"{name}: hours"] for name in names if f"{name}: hours" in w],
        "h",
        "good hours that are sold",
    )
    total = sum_of(w, "contribution", earned, "USD", "contribution of the bottleneck")
    draft.line("contribution", "shop", total, "operating")
    draft.taxed("contribution", total)
    _elsewhere(draft, plan, w)
    if plan.name == "keep":
        _last_year(draft, plan, w)


def _elsewhere(draft: Draft, plan: Plan, w: Working) -> None:
    """Post what the mix takes of other stations, and say where one cannot pass it: ranking by one limit then fails."""
    for station, limit in plan.scenario.shop.other_limits.items():
        terms: list[str] = []
        uses: dict[str, Column | float] = {}
        for k, (name, part) in enumerate(plan.scenario.parts.items()):
            if station in part.elsewhere and f"{name}: hours" in w:
                terms.append(f"hours_{k} / each_{k} * minutes_{k} / 60")
                uses |= {
                    f"hours_{k}": w[f"{name}: hours"],
                    f"each_{k}": draft[f"part {name}"]["hours_each"],
                    f"minutes_{k}": draft.input(part.elsewhere[station]),
                }
        if not terms:
            continue
        needed = w.formula(
            f"needed at {station}", " + ".join(terms), "h", f"hours of {station} that this mix takes", None, **uses
        )
        passed = w.formula(
            f"passed by {station}",
            "a_year * years",
            "h",
            f"hours {station} has",
            a_year=draft.input(limit),
            years=draft["capacity"]["years"],
        )
        short = float(
            (needed.per_row() - passed.per_row()).clip(min=0).sum() / draft["capacity"]["years"].per_row().sum()
        )
        if short > 0.5:
            draft.find(
                "station_short",
                f"{plan.name}: this mix takes about {short:,.0f} h a year more of {station} than there are, so its "
                f"contribution is too high here: two limits bind, and ranking "
                "by one of them is not right. `mix` gives the best mix within both.",
                f"shop.other_limits.{station}",
                "warning",
            )


def _active(draft: Draft, plan: Plan, name: str, w: Working) -> Column | float:
    """Return whether the part is ordered in each stretch: 1 before its contract ends, then only if it is renewed."""
    part = plan.scenario.parts[name]
    if part.ends is None or part.ends >= plan.time.end:
        return 1.0
    after = [1.0 if day > part.ends else 0.0 for day in plan.spans.starts]
    flag = w.given(
        f"{name}: after", after, "1", f"after {part.ends}", Origin("choice", f"parts.{name}.ends"), plan.spans
    )
    renews = draft.input(part.renews) if part.renews else 0.0
    return w.formula(
        f"{name}: ordered", "1 - after * (1 - renews)", "1", f"{name} is ordered", after=flag, renews=renews
    )


def _fill(
    draft: Draft, w: Working, wanted: dict[str, Column], hours: Column, rank: str, verb: str
) -> dict[str, Column]:
    """Give hours to the parts in the order of their `rank` (dollars an hour), each up to what it wants."""
    made: dict[str, Column] = {}
    names = list(wanted)
    for k, name in enumerate(names):
        own = draft[f"part {name}"][rank]
        terms: list[str] = []
        uses: dict[str, Column | float] = {}
        for j, other in enumerate(names):
            if j == k:
                continue
            test = ">=" if j < k else ">"  # equal rates: in the order of the file
            terms.append(f"where(rate_{j} {test} own, want_{j}, 0)")
            uses |= {f"rate_{j}": draft[f"part {other}"][rank], f"want_{j}": wanted[other]}
        if terms:
            uses["own"] = own
            ahead: Column | float = w.formula(
                f"{name}: {verb} after",
                " + ".join(terms),
                "h",
                f"hours wanted by what comes before {name}",
                None,
                **uses,
            )
        else:
            ahead = 0.0
        made[name] = w.formula(
            f"{name}: {verb}",
            "min(want, max(hours - ahead, 0))",
            "h",
            f"hours {verb} for {name}",
            want=wanted[name],
            hours=hours,
            ahead=ahead,
        )
    return made


def _last_year(draft: Draft, plan: Plan, w: Working) -> None:
    """Say where keeping does not make what was shipped last year."""
    short = []
    years = draft["capacity"]["years"].per_row()
    full = min(len(years), 1 + next((k for k in range(len(years)) if years[: k + 1].sum() >= 1 - 1e-9), len(years) - 1))
    for name, part in plan.scenario.parts.items():
        if part.last_year is None or f"{name}: hours" not in w:
            continue
        made = (
            w[f"{name}: hours"].per_row()[:full].sum()
            / draft[f"part {name}"]["hours_each"].figure()
            / years[:full].sum()
        )
        if made < part.last_year.likely * 0.995:
            short.append(f"{name} {made:,.0f} of {part.last_year.likely:,.0f}")
    if short:
        draft.find(
            "last_years_mix",
            "Keeping does not make last year's mix at these hours: " + "; ".join(short) + ".",
            "parts",
            "warning",
        )
