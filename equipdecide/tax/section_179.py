"""Section 179 in three figures: elected, the business income that may take it, deducted. The rest is carried.

Form 4562, part I. The dollar limit of the year the items are placed in service falls dollar for dollar with the cost
above a threshold (IRC 179(b)(2)); what is elected above it is no election, so it stays in the basis of the items, here
in proportion. The deduction is then limited to business income, the year's gain in it (IRC 179(b)(3); Reg. 1.179-2(c)),
at the business and again at each owner (IRC 179(d)(8)); what does not fit is carried forward. An owner's share above
the owner's own dollar limit is lost (Reg. 1.179-2(b)(3), from memory). On the sale of an item what is still carried of
it goes back into its basis just before and is carried no more (Reg. 1.179-3(f)(1), from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from equipdecide import calendar as cal
from equipdecide.calendar import ONE, Date
from equipdecide.ledger import Column, Draft, Origin, Working, sum_of
from equipdecide.parameters import Law, MissingParameter, Reading


def day_before_the_act(law: Law) -> Date:
    """Return the last day before the Act of 2025 became law: what states with an earlier federal limit go by."""
    enacted = [row["enacted"] for row in law.rows("federal/bonus_rates")]
    return cal.add_days(max(day for day in enacted if isinstance(day, Date)), -1)


@dataclass(frozen=True)
class Limit:
    """Where a book's dollar limit comes from: parameter ids, and whether federal law is read as
    before the Act of 2025.
    """

    limit: str = "federal/section_179_limit"
    threshold: str | None = "federal/section_179_threshold"
    earlier: bool = False

    def read(self, law: Law, id: str, year: int, index_rate: float) -> Reading:
        """Return the figure of a tax year. Raises MissingParameter before the first year on file."""
        before = day_before_the_act(law) if self.earlier else None
        if before is not None and year >= before.year:
            return law.get(id, Date(year, 12, 31), index_rate=index_rate, as_known_on=before)
        return law.get(id, Date(year, 12, 31), index_rate=index_rate)

    def amount(self, law: Law, year: int, cost: float) -> float:
        """Return the dollar limit of a year [currency] where `cost` is placed in service; none
        before the first year on file.
        """
        try:
            most = self.read(law, self.limit, year, 0.0).number
            above = self.read(law, self.threshold, year, 0.0).number if self.threshold else float("inf")
        except MissingParameter:
            return float("inf")
        return max(most - max(cost - above, 0.0), 0.0)


def limit_of_year(
    draft: Draft, law: Law, book: str, year: int, index_rate: float, limit: Limit, items: Sequence[Working]
) -> Column | float:
    """Post the dollar limit of one year's elections in one book; returns the share of them that stands, 0 to 1.

    `items` are the workings of all items placed in service in that year, with their columns ``cost`` and ``elected``
    [currency]. Working ``section 179 limit <book> <year>``. 1.0 where the law of that year is not on file.
    """
    try:
        most = limit.read(law, limit.limit, year, index_rate)
        above = limit.read(law, limit.threshold, year, index_rate) if limit.threshold else None
    except MissingParameter:
        return 1.0
    w = draft.working(
        f"section 179 limit {book} {year}",
        ONE,
        f"dollar limit of section 179 in the {book} book, {year}",
        "section 179",
    )
    sum_of(w, "cost", [item["cost"] for item in items], "USD", "cost placed in service in the year")  # Form 4562 line 2
    sum_of(w, "elected", [item["elected"] for item in items], "USD", "elected on these items")  # line 8
    says = f"section 179 limit of {year}, {book} book"
    if above is None:
        w.formula("dollar_limit", "most", "USD", "dollar limit", most=draft.legal(most, says))
    else:
        w.formula(
            "dollar_limit",  # line 5 = line 1 less line 4
            "max(most - max(cost - threshold, 0), 0)",
            "USD",
            "dollar limit, less the cost above the threshold",
            most=draft.legal(most, says),
            threshold=draft.legal(above, f"section 179 threshold of {year}, {book} book"),
        )
    w.formula("stands", "min(dollar_limit / max(elected, 1), 1)", "1", "share of the election that stands")
    if w["stands"].figure() < 1 - 1e-9 and book == "federal":
        draft.find(
            "section_179_over_limit",
            f"Section 179 of {w['elected'].figure():,.0f} is elected for {year}, but the limit is "
            f"{w['dollar_limit'].figure():,.0f}: "
            "the rest stays in the basis of the items, in proportion.",
            "section_179",
            "warning",
        )
    return w["stands"]


def deduct(w: Working, net: Column, passed_on: Column | float, sold: Column | float, start: Column | float) -> None:
    """Post what of the year's election, and of what is carried, business income can take.

    `net` is business income before the deduction with the year's gain in it, `passed_on` the year's election (or an
    owner's share of it), `sold` what was ever elected of items sold in the year, `start` what is carried into the first
    year [currency a year]. Columns ``section_179_carried``, ``section_179_restored`` (back into the basis of what is
    sold), ``section_179`` (deducted).
    """
    uses: dict[str, Column | float] = {"net": net, "passed_on": passed_on, "sold": sold, "start": start}
    before = "prev(section_179_carried, start)"
    w.formula(
        "section_179_carried",  # Form 4562 line 13
        f"max({before} - min({before}, sold) + passed_on - max(net - min({before}, sold), 0), 0)",
        "USD",
        "section 179 carried to the next year",
        None,
        **uses,
    )
    w.formula(
        "section_179_restored",
        f"min({before}, sold)",
        "USD",
        "carried of what is sold: back into its basis",
        sold=sold,
        start=start,
    )
    w.formula(
        "section_179",  # line 12
        f"{before} - section_179_restored + passed_on - section_179_carried",
        "USD",
        "section 179 deducted",
        passed_on=passed_on,
        start=start,
    )


def restore(w: Working, recapture: Column, gain: Column, suffix: str = "") -> tuple[Column, Column]:
    """Post the year's recapture and section 1231 amount after what was carried went back into
    basis: gain falls by it.
    """
    lower = w.formula(
        f"recapture_restored{suffix}",
        "max(recapture - section_179_restored, 0)",
        "USD",
        "recapture, carried section 179 back in basis",
        recapture=recapture,
    )
    other = w.formula(
        f"section_1231_restored{suffix}",
        "gain - max(section_179_restored - recapture, 0)",
        "USD",
        "section 1231, carried section 179 back in basis",
        gain=gain,
        recapture=recapture,
    )
    return lower, other


def use_recapture(
    draft: Draft, name: str, years: Sequence[int], percents: Sequence[float], use: Sequence[float], deducted: Column
) -> Working:
    """Post what is taken back when business use falls to half or less: Form 4797 part IV (IRC 179(d)(10)).

    Section 179 deducted [currency] less the depreciation that would have been allowed on that amount, through the year
    of recapture: the table's percentage of each of `years` times the share of business use over the first share. The
    year of recapture counts in full. Ordinary income that enters self-employment income; it goes back into basis.
    """
    w = draft.working(
        f"section 179 recapture {name}",
        ONE,
        f"business use of {name} falls to half or less in {years[-1]}",
        "section 179",
    )
    share = sum(percent * part for percent, part in zip(percents, use, strict=True)) / 100
    w.given(
        "allowable_share",
        share,
        "1",
        f"table percentages of {years[0]} to {years[-1]} times business use",
        Origin("choice", name),
    )
    w.formula(
        "allowable", "deducted * allowable_share", "USD", "depreciation that would have been allowed", deducted=deducted
    )
    w.formula("recapture", "max(deducted - allowable, 0)", "USD", "section 179 taken back", deducted=deducted)
    return w
