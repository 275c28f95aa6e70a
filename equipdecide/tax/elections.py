"""Which life, convention, section 179 amount and bonus rate each cost item has. Structure, decided at the entered
figures.

Order of the first year: section 179, then bonus on the rest, then the table on what is left (IRC 168(k)(1)(B); Reg.
1.168(b)-1(a)(3)). The quarter test is of the year's additions after section 179 and before bonus (Reg.
1.168(d)-1(b)(4)): more than 40 % in the last three months makes the whole year mid-quarter. It is done in integer
cents, for each book apart.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

from equipdecide.calendar import Date
from equipdecide.parameters import Law, MissingParameter, Table
from equipdecide.plan import Plan, Possession
from equipdecide.scenario.amounts import Amount
from equipdecide.scenario.models import Asset, Buy, Improvement, Machine, Method, Scenario
from equipdecide.tax.section_179 import Limit
from equipdecide.tax.without_tables import Rates, first_months, is_short, quarter

FIRST_DAY_ON_FILE = Date(1987, 1, 1)  # first day of the values on file that have never changed


@dataclass(frozen=True)
class Election:
    """What was or will be elected for one cost item, and the table its year calls for."""

    possession: Possession
    life: float  # recovery period [year]
    convention: str  # "half-year" or "mid-quarter-1" .. "-4"
    section_179: Amount | str  # an amount, "all" or "none"
    bonus: float | Amount  # share of what section 179 leaves
    bonus_source: str
    expensed: bool
    percents: tuple[float, ...]  # of the basis left, by year, percent
    table: Table | None
    declining: bool = False  # textbook double declining balance: by year from what is left, no percentages
    rates: Rates | None = None  # figured by the rate on what is left, not by a table
    alternative: bool = False  # ADS elected
    in_state: bool = False  # section 179 is elected for the state alone

    def expenses(self, book: str) -> bool:
        """Tell whether section 179 is elected on the item in a book."""
        return self.section_179 != "none" or (book == "state" and self.in_state)


def cost_at_entered(possession: Possession) -> float:
    """Return the cost of an item at the entered figures [currency]."""
    if possession.asset is not None:
        return float(possession.asset.cost)
    assert possession.purchase is not None
    source = possession.purchase.source
    price = float(source.price) if isinstance(source, Machine) and source.price else 0.0
    taxed = float(source.sales_tax) * price if isinstance(source, Machine) and source.sales_tax else 0.0
    return price + taxed + sum(float(amount) for amount in source.capital_costs.values())


def business_use_floor(law: Law) -> float:
    """Return the share of business use at or below which there is no section 179, or it is taken back."""
    return law.get("federal/depreciation.business_use_floor", FIRST_DAY_ON_FILE).number


def _section_179(law: Law, possession: Possession, state: bool = False) -> Amount | str:
    """Return what is elected; none where the law allows none.

    Bought from a related person (IRC 179(d)(2)), used half or less in the business (Reg. 1.179-1(d)(1), from memory),
    or disposed of in the year it was placed in service (nothing is deducted then).
    """
    half = business_use(possession) <= business_use_floor(law)
    if from_related(possession) or half or possession.in_service.year == possession.disposed.year:
        return "none"
    own = possession.elected.section_179_state if state else None
    return possession.elected.section_179 if own is None else own


def business_use(possession: Possession) -> float:
    """Return the share of business use at first, at the entered figures."""
    asset = possession.asset
    return float(asset.business_use) if asset is not None and asset.business_use is not None else 1.0


def from_related(possession: Possession) -> bool:
    """Tell whether an item is bought from a related person: no section 179 and no bonus (IRC
    179(d)(2), 168(k)(2)(E)(ii)).
    """
    return isinstance(possession.entry, Machine) and possession.entry.seller_related


STRAIGHT_LINE, SLOWER, FASTER = 0.0, 1.5, 2.0  # factor of the declining rate


def factor_of(law: Law, method: Method | None, life: float) -> float:
    """Return the factor of an item's declining rate: 2 or 1.5, 0 for straight line (IRC 168(b)(1)
    to (3), (5), (g)(2)).
    """
    if method is not None and (method.method == "straight line" or method.system == "alternative"):
        return STRAIGHT_LINE
    long = law.get("federal/depreciation.slower_rate_from_years", FIRST_DAY_ON_FILE).number
    slower = life >= long or (method is not None and method.method == "150 % declining balance")
    return SLOWER if slower else FASTER


@lru_cache(maxsize=256)
def printed_table(law: Law, convention: str, life: float, factor: float) -> Table | None:
    """Return the printed table of a convention, recovery period and factor; None where there is none."""
    kind = {STRAIGHT_LINE: "SL", SLOWER: "150DB", FASTER: "200DB"}[factor]
    file = "federal/straight_line" if factor == STRAIGHT_LINE else "federal/macrs"
    try:
        return law.table(file, convention=convention, method=kind, period=f"{life:g}")
    except MissingParameter:
        return None


def method_of(possession: Possession) -> Method | None:
    """Return the method of depreciation stated for an item, None where the law's own is used."""
    entry = possession.entry
    if isinstance(entry, Machine):
        return entry.depreciation
    return entry if isinstance(entry, Asset) else None


def asset_class(possession: Possession, scenario: Scenario) -> str:
    """Return the asset class of the activity an item is used in; an improvement has that of its
    machine (IRC 168(i)(6)).
    """
    entry = possession.entry
    if not isinstance(entry, Improvement):
        return entry.asset_class
    machine = scenario.machines[possession.machine]
    first = next(iter(machine.assets.values()), None)
    return first.asset_class if first is not None else machine.asset_class


@lru_cache(maxsize=256)
def recovery_period(law: Law, code: str, alternative: bool = False) -> float:
    """Return the recovery period of an asset class [year], general or alternative.

    A class that is not on file counts as property without a class life: 7 years, 12 under the alternative system (IRC
    168(e)(3)(C)(v), (g)(2)(C)(ii)).
    """
    for row in law.rows("federal/asset_classes"):
        if row["asset_class"] == code:
            found = row["ads_period"] if alternative else row["gds_period"]
            if found is not None:
                return float(str(found))
    if alternative:
        return law.get("federal/depreciation.ads_years_without_class_life", FIRST_DAY_ON_FILE).number
    return law.get("federal/depreciation.gds_years_without_class_life", FIRST_DAY_ON_FILE).number


def is_mid_quarter(additions: Sequence[tuple[Date, float]], share: float) -> bool:
    """Return whether the last quarter's additions exceed `share` of the year's.

    `additions` are days placed in service and bases after section 179, before bonus [currency]; compared in integer
    cents and exact fractions. Exactly the share does not trip it. Source: IRC 168(d)(3)(A).
    """
    cents = [(day, round(basis * 100)) for day, basis in additions]
    last = sum(basis for day, basis in cents if day.month >= 10)
    return last > 0 and last > Fraction(str(share)) * sum(basis for _, basis in cents)


def conventions(law: Law, possessions: Sequence[Possession], after_179: Sequence[float]) -> dict[int, bool]:
    """Return for each year of additions whether it is a mid-quarter year, tested over all items of the plan and file.

    `after_179` is what section 179 leaves of each item [currency]. Items placed in service and disposed of in the same
    year are left out of the test (IRC 168(d)(3)(B)).
    """
    years: dict[int, list[tuple[Date, float]]] = {}
    for item, basis in zip(possessions, after_179, strict=True):
        if item.in_service.year != item.disposed.year:
            years.setdefault(item.in_service.year, []).append((item.in_service, basis))
    share = law.get("federal/depreciation.mid_quarter_share", FIRST_DAY_ON_FILE).number
    return {year: is_mid_quarter(additions, share) for year, additions in years.items()}


def left_after_179(law: Law, plan: Plan, limit: Limit | None, filed: bool, state: bool = False) -> list[float]:
    """Return what section 179 leaves of each item at the entered figures [currency], within a book's dollar limit.

    `limit` None: the book allows none. `filed`: what was elected before the study stands as entered.
    """
    items, first = plan.possessions, plan.time.first_tax_year
    costs = [cost_at_entered(item) * business_use(item) for item in items]
    small = [item.asset is not None and item.asset.expensed for item in items]
    asked = [_elected_at_entered(law, item, cost, state) for item, cost in zip(items, costs, strict=True)]
    stands: dict[int, float] = {}
    for year in {item.in_service.year for item in items}:
        of_year = [k for k, item in enumerate(items) if item.in_service.year == year and not small[k]]
        whole, elected = sum(costs[k] for k in of_year), sum(asked[k] for k in of_year)
        stands[year] = 1.0
        if not (filed and year < first) and elected > 0:
            stands[year] = min(limit.amount(law, year, whole) / elected, 1.0) if limit is not None else 0.0
    return [
        0.0 if small[k] else max(costs[k] - asked[k] * stands[item.in_service.year], 0.0)
        for k, item in enumerate(items)
    ]


def _elected_at_entered(law: Law, item: Possession, cost: float, state: bool) -> float:
    elected = _section_179(law, item, state)
    return cost if elected == "all" else min(float(elected), cost) if isinstance(elected, Amount) else 0.0


@lru_cache(maxsize=1024)
def bonus_row(law: Law, acquired: Date, placed: Date) -> Mapping[str, object] | None:
    """Return the row of the bonus rates for days of acquisition and placing in service; None where none fits."""
    for row in law.rows("federal/bonus_rates"):
        a0, a1, p0, p1 = (row[key] for key in ("acquired_from", "acquired_to", "placed_from", "placed_to"))
        inside = (a0 is None or acquired >= a0) and (a1 is None or acquired <= a1)  # type: ignore[operator]
        if inside and (p0 is None or placed >= p0) and (p1 is None or placed <= p1):  # type: ignore[operator]
            return row
    return None


def bonus_rate(law: Law, acquired: Date, placed: Date, used: bool) -> tuple[float, str]:
    """Return the bonus rate and its source for days of acquisition and placing in service; 0 where there is none."""
    row = bonus_row(law, acquired, placed)
    if row is None:
        return 0.0, "no row of the bonus rates fits these dates"
    return 0.0 if used and row["used_property"] != "yes" else float(str(row["rate"])), str(row["source"])


FEDERAL = Limit()
AS_FILED = "as on the returns: the table holds all that was deducted"


def elect(
    law: Law, plan: Plan, limit: Limit | None = FEDERAL, filed: bool = True, state: bool = False
) -> list[Election]:
    """Return the elections of every cost item of a plan, in the order of the plan, for a book with a section 179 limit.

    The quarter test is of what that book's section 179 leaves, so a state's may come out otherwise than the federal
    one.
    """
    if plan.time.flat:
        return [_flat(law, item) for item in plan.possessions]
    mid = conventions(law, plan.possessions, left_after_179(law, plan, limit, filed, state))
    began = plan.scenario.shop.began
    found = []
    for item in plan.possessions:
        method = method_of(item)
        alternative = method is not None and method.system == "alternative"
        by_class = recovery_period(law, asset_class(item, plan.scenario), alternative)
        life = float(method.life) if method is not None and method.life else by_class
        wanted = method.convention if method else "by rule"
        is_mid = mid.get(item.in_service.year, False) if wanted == "by rule" else wanted == "mid-quarter"
        convention = f"mid-quarter-{quarter(began, item.in_service)}" if is_mid else "half-year"
        rate, source = _bonus(law, item)
        expensed = item.asset is not None and item.asset.expensed
        factor = factor_of(law, method, life)
        table = printed_table(law, convention, life, factor)
        rates = _rates(item, began, convention, life, factor, table)
        if method is not None and method.method == "table" and method.table:
            as_filed = tuple(100 * float(share) for share in method.table)
            found.append(Election(item, life, convention, "none", 0.0, AS_FILED, expensed, as_filed, None))
            continue
        if rates is not None and rates.from_year is None:
            table = None
        percents = table.values if table is not None else rates.percents() if rates is not None else ()
        found.append(
            Election(
                item,
                life,
                convention,
                _section_179(law, item, state),
                rate,
                source,
                expensed,
                percents,
                table,
                rates=rates,
                alternative=alternative,
                in_state=item.elected.section_179_state is not None and _section_179(law, item, True) != "none",
            )
        )
    return found


def _rates(
    item: Possession, began: Date | None, convention: str, life: float, factor: float, table: Table | None
) -> Rates | None:
    """Return how an item is figured without a table; None where the table holds to the end."""
    method = method_of(item)
    casualty = item.asset.casualty if item.asset is not None else None
    if is_short(began, item.in_service):
        why, since = f"short tax year, from {began}", None
    elif table is None:
        why, since = f"no table for {life:g} years", None
    elif method is not None and not method.tables:
        why, since = "tables not used", None
    elif casualty is not None:
        why, since = f"casualty of {casualty.on}", casualty.on.year
    else:
        return None
    return Rates(factor, life, first_months(began, item.in_service, convention), why, since)


def is_used(item: Possession) -> bool:
    """Tell whether an item was bought used."""
    return not isinstance(item.entry, Improvement) and item.entry.bought_used


OWNED_BEFORE = "in the owner's use before: IRC 168(k)(2)(E)(ii)(I)"


def was_in_own_use(law: Law, item: Possession) -> bool:
    """Tell whether an item's buyer had it in use before, so that it gets no bonus (Reg. 1.168(k)-2(b)(3)(iii)(B)).

    Not counted: ninety days or less from first putting it to use, and what ended before the five calendar years before.
    """
    before = None if isinstance(item.entry, Improvement) else item.entry.owned_before
    if before is None:
        return False
    days = law.get("federal/depreciation.earlier_use_days", item.in_service).number
    years = law.get("federal/depreciation.earlier_use_years", item.in_service).number
    return (before.ended - before.began).days > days and before.ended.year >= item.in_service.year - years


def acquired_on(item: Possession) -> Date:
    """Return the day of acquisition: that of the binding contract or order, else the day in service
    (sec. 70301(c)(4)).
    """
    chosen = item.elected
    agreed = chosen.contract if isinstance(chosen, Asset) else chosen.ordered if isinstance(chosen, Buy) else None
    return agreed or item.in_service


def _bonus(law: Law, item: Possession) -> tuple[float | Amount, str]:
    if from_related(item):
        return 0.0, "bought from a related person: IRC 168(k)(2)(E)(ii)"
    if was_in_own_use(law, item):
        return 0.0, OWNED_BEFORE
    stated = item.elected.bonus
    if isinstance(stated, Amount):
        return stated, "as entered"
    if stated == "elected out":
        return 0.0, "elected out: IRC 168(k)(7)"
    by_law, source = bonus_rate(law, acquired_on(item), item.in_service, is_used(item))
    if stated == "reduced":
        return reduced_rate(law, item.in_service, by_law)
    return by_law, source


def reduced_rate(law: Law, placed: Date, by_law: float) -> tuple[float, str]:
    """Return the reduced rate that may be elected for the first tax year after a change of the law; else that by law.

    It is for the tax year that holds the day the new rate began, and never above the rate by law (IRC 168(k)(10)).
    """
    for row in law.rows("federal/bonus_elections"):
        since = row["acquired_from"]
        if row["kind"] == "reduced" and isinstance(since, Date) and since.year == placed.year:
            return min(float(str(row["rate"])), by_law), str(row["source"])
    return by_law, f"no reduced rate may be elected for {placed.year}"


def _flat(law: Law, item: Possession) -> Election:
    """Textbook methods: whole years counted from the day in service, percentages of cost less salvage."""
    method = method_of(item)
    kind = method.method if method else "by law"
    life = (method.life if method else None) or 7
    table = None
    if kind == "table" and method is not None and method.table:
        percents = tuple(100 * float(share) for share in method.table)
    elif kind == "straight line":
        percents = (100.0 / life,) * life
    elif kind == "sum of years digits":
        digits = life * (life + 1) / 2
        percents = tuple(100.0 * (life - k) / digits for k in range(life))
    elif kind == "declining balance":
        percents = ()
    else:
        table = printed_table(law, "half-year", life, factor_of(law, None, life))
        percents = table.values if table is not None else Rates(FASTER, life, 6.0, "no table").percents()
    return Election(
        item,
        life,
        "half-year" if table else "whole years",
        "none",
        0.0,
        "",
        False,
        percents,
        table,
        kind == "declining balance",
    )


def describe(election: Election) -> str:
    """Say in words what was elected."""
    if election.expensed:
        return "deducted at once as a small item"
    parts = []
    if election.section_179 == "all":
        parts.append("section 179 on all of it")
    elif isinstance(election.section_179, Amount):
        parts.append(f"section 179 on {float(election.section_179):,.0f}")
    if float(election.bonus) and election.section_179 != "all":
        parts.append(f"bonus {float(election.bonus):.0%}")
    if election.section_179 != "all" and float(election.bonus) < 1:
        system = ", alternative system" if election.alternative else ""
        if election.bonus_source == AS_FILED:
            parts.append("by the percentages of the returns")
        elif election.table is not None:
            parts.append(f"{election.life:g}-year table, {election.convention}{system}")
        else:
            parts.append(f"{election.life:g} years, {election.convention}{system}, by the rate on what is left")
        if election.rates is not None:
            parts.append(election.rates.why)
    return ", ".join(parts)
