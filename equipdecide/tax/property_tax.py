"""Personal property tax on the machines, by the state's way of valuing them, as a yearly cost.

The local rate is entered; the state's parameters give the value: a percentage of cost by age (by pool of recovery
period, or by life), mills on cost by band of age, or none. Where the state's way is not on file the whole cost is
taken, and said. What is owned on 1 January is taxed; it is taken to be paid on 31 December (common practice, no source:
days are local).
"""

from __future__ import annotations

from collections.abc import Sequence

from equipdecide.calendar import Date
from equipdecide.ledger import Column, Draft, Origin, sum_of
from equipdecide.parameters import Law, MissingParameter, Reading
from equipdecide.plan import Plan
from equipdecide.tax.books import on_file, reading_then
from equipdecide.tax.depreciation import book_name
from equipdecide.tax.elections import Election, asset_class, cost_at_entered

POOLS = ((4, "1"), (8, "2"), (12, "3"), (99, "4"))  # recovery period up to [year], pool
BANDS = ((5, "1-5"), (10, "6-10"), (999, "over-10"))  # age up to [year], band


def property_tax(draft: Draft, plan: Plan, law: Law, elections: Sequence[Election]) -> None:
    """Post the yearly tax on machines: working ``property tax``, a line of the shop and a deduction."""
    entry = plan.scenario.shop.state
    if entry is None or entry.code is None or plan.time.flat or entry.code.lower() not in law.states():
        return
    code = entry.code.lower()
    method = reading_then(law, f"{code}/property_tax.method", plan.time.first_tax_year)
    if method is None or method.choice == "exempt" or (entry.property_tax is None and method.choice != "mills-on-cost"):
        return
    items = [e for e in elections if not e.expensed]
    free = (
        reading_then(law, f"{code}/property_tax.exemption", plan.time.first_tax_year)
        if on_file(law, f"{code}/property_tax.exemption")
        else None
    )
    cost = sum(cost_at_entered(e.possession) for e in items)
    if free is not None and cost < free.number:
        draft.find(
            "property_tax_exempt",
            f"{free.description}: {free.number:,.0f}; the machines here cost {cost:,.0f} and bear no property tax.",
            "shop.state.property_tax",
        )
        return
    w = draft.working(
        "property tax", plan.time.tax, f"property tax on machines, {code.upper()}: {method.meaning}", "property tax"
    )
    parts: list[Column] = []
    for e in items:
        values, read = _percents(law, plan, code, method, e, [end.year for end in plan.time.tax.ends])
        if not any(values):
            continue
        name = e.possession.name
        origin = Origin("law", read.id, str(read.source), read.status)
        w.given(f"{name}: part", values, "1", f"taxable part of the cost of {name} on 1 January", origin)
        parts.append(
            w.formula(
                f"{name}: value",
                "part * cost",
                "USD",
                f"taxable value of {name}",
                part=w[f"{name}: part"],
                cost=draft[book_name(e, "federal")]["cost"],
            )
        )
    whole = sum_of(w, "value", parts, "USD", "taxable value on 1 January")
    inside = [
        1.0
        if Date(end.year, 1, 1) >= plan.time.start and end <= plan.time.end or end.year == plan.time.start.year
        else 0.0
        for end in plan.time.tax.ends
    ]
    w.given("counted", inside, "1", "years of the study", Origin("calendar", "tax years"))
    if method.choice == "mills-on-cost":
        w.formula("tax", "counted * value", "USD", "tax of the year", value=whole)
    else:
        assert entry.property_tax is not None
        w.formula(
            "tax", "counted * rate * value", "USD", "tax of the year", rate=draft.input(entry.property_tax), value=whole
        )
    out = w.formula("paid", "0 - tax", "USD", "as cash")
    draft.line(
        "property tax on machines", "shop", out, "operating", [Date(end.year, 12, 31) for end in plan.time.tax.ends]
    )
    draft.taxed("property tax on machines", w["tax"], -1)


def _percents(
    law: Law, plan: Plan, code: str, method: Reading, election: Election, years: list[int]
) -> tuple[list[float], Reading]:
    """Return the taxable part of cost on 1 January of each year, and the reading it comes from."""
    item, parts, read = election.possession, [], method
    series: tuple[float, ...] = ()
    if method.choice == "pool-percent":
        pool = next(name for most, name in POOLS if election.life <= most)
        found = reading_then(law, f"{code}/property_tax.pool_percent", years[0], pool=pool)
        if found is not None:
            series, read = found.series, found
    elif method.choice == "index-percent-good" and on_file(law, f"{code}/property_tax.combined_factor"):
        found = reading_then(law, f"{code}/property_tax.combined_factor", years[0], life=_life(law, plan, election))
        if found is not None:
            series, read = found.series, found
    for year in years:
        age = year - item.in_service.year  # 1 on the first 1 January
        owned = item.in_service < Date(year, 1, 1) <= item.disposed
        if not owned or age < 1:
            parts.append(0.0)
        elif method.choice == "mills-on-cost":
            band = next(name for most, name in BANDS if age <= most)
            read = law.get(f"{code}/property_tax.mills", Date(year, 1, 1), index_rate=0.0, as_known_on=None, age=band)
            parts.append(read.number)
        elif series:
            parts.append(series[min(age, len(series)) - 1] / 100)
        else:
            parts.append(1.0)
    return parts, read


def _life(law: Law, plan: Plan, election: Election) -> str:
    for row in law.rows("federal/asset_classes"):
        if row["asset_class"] == asset_class(election.possession, plan.scenario):
            life = float(str(row["class_life"] or 12))
            return "10" if life <= 10 else "12" if life <= 12 else "15"
    return "12"


def sales_tax_finding(draft: Draft, plan: Plan, law: Law) -> None:
    """Say how the state treats a machine bought, for its sales or use tax; the tax itself is
    entered with the machine.
    """
    entry = plan.scenario.shop.state
    if (
        entry is None
        or entry.code is None
        or entry.code.lower() not in law.states()
        or not any(p.machine == p.name for p in plan.purchases)
    ):
        return
    code = entry.code.lower()
    try:
        read = reading_then(law, f"{code}/sales_tax.machine_exemption", plan.time.first_tax_year)
    except MissingParameter:
        return
    if read is None:
        return
    exempted = [p.name for p in plan.purchases if read.choice == "exempt" and getattr(p.source, "sales_tax", None)]
    if exempted:
        text = (
            f"{', '.join(exempted)}: sales tax is entered, but {code.upper()} exempts manufacturing machines: ask "
            f"for the exemption certificate."
        )
        draft.find("sales_tax_exempt", text, f"machines.{exempted[0]}.sales_tax", "warning")
    advice = {
        "exempt": "give the seller the exemption certificate; a use that does not qualify is taxed",
        "partial": "part of the rate is due: enter it as the machine's sales tax",
        "taxed": "enter the rate as the machine's sales tax: it is part of the basis",
    }.get(read.choice, "ask the state, and enter what is due as the machine's sales tax")
    draft.common.find(
        "sales_tax",
        f"Sales or use tax on a machine, {code.upper()}: {read.meaning or read.choice}; {advice}.",
        "shop.state.code",
    )
