"""Income of the business in each book, and each owner's return computed whole, with and without.

Form 1040 with Schedule SE, Form 8995 or 8995-A, and Form 8960 for an owner who is passive; a state return at one rate on
the state's own book. A return is computed three times: as filed, with the sale struck out, and for the reference (the
business without the machines in question). Tax of an alternative is the first less the last, so brackets and limits
bite. No rule here reads cash.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from equipdecide import calendar as cal
from equipdecide.calendar import ONE, Date
from equipdecide.ledger import Column, Draft, Origin, Working, sum_of
from equipdecide.parameters import Law, Reading
from equipdecide.plan import Plan, Timeline
from equipdecide.scenario.models import Owner, Scenario

STATUS = {"single": "single", "joint": "joint", "separate": "separate", "head of household": "head_of_household"}
DEFAULT_INDEXING = 0.025  # a year, for brackets after the last published year: an assumption, said in a finding
CASES = ("as filed", "without the sale", "reference")


@dataclass(frozen=True, eq=False)
class LawByYear:
    """Reads federal parameters for the tax years of a timeline, later years indexed at a named rate."""

    law: Law
    time: Timeline
    index_rate: float
    decided: Date
    columns: dict[tuple[str, ...], Column] = field(default_factory=dict)

    def _readings(self, id: str, **keys: Any) -> list[Reading]:
        return [self.law.get(id, Date(day.year, 12, 31), index_rate=self.index_rate, **keys) for day in self.time.tax.ends]

    def figure(self, draft: Draft, id: str, says: str, **keys: str) -> Column:
        """Return a column of one parameter over the tax years, made once for all alternatives."""
        key = (id, says, *keys.values())
        if key not in self.columns:
            readings = self._readings(id, **keys)
            late = [reading for reading in readings if reading.enacted_after(self.decided)]
            if late:
                draft.common.find("later_law", f"{says}: enacted on {late[0].enacted}, after the decision date.", id)
            self.columns[key] = draft.legal(readings, says, self.time.tax)
        return self.columns[key]

    def brackets(self, draft: Draft, id: str, says: str, status: str) -> tuple[Column, Column]:
        """Return wide columns of thresholds and rates over the tax years, made once for all alternatives."""
        over, rate = (id, says, status, "over"), (id, says, status, "rate")
        if over not in self.columns:
            readings = self._readings(id, status=status)
            rows, last, tax = [reading.brackets for reading in readings], readings[-1], self.time.tax
            self.columns[over] = draft.legal_wide([[pair[0] for pair in row] for row in rows], last, "USD", f"{says}: thresholds", tax)
            self.columns[rate] = draft.legal_wide([[pair[1] for pair in row] for row in rows], last, "1", f"{says}: rates", tax)
        return self.columns[over], self.columns[rate]


def income(draft: Draft, plan: Plan, books: list[str], reference: dict[str, Column | float]) -> None:
    """Post the business's income in each book and year: working ``income <book>``.

    Columns [currency]: one per item, ``business``, ``recapture``, ``section_1231``. `reference` is the year's income
    without the machines in question, per book.
    """
    axis = plan.time.tax
    for book in books:
        w = draft.working(f"income {book}", axis, f"income of the business in the {book} book", "income")
        found: dict[str, list[Column]] = {"business": [], "recapture": [], "section 1231": []}
        for k, item in enumerate(draft.income):
            if item.book not in ("", book):
                continue
            sign = "" if item.sign > 0 else "0 - "
            found[item.character].append(
                w.formula(f"{k}: {item.name}", f"{sign}gather(x)" if item.column.axis is not axis else f"{sign}x", "USD", item.name, x=item.column)
            )
        sum_of(w, "of_this_plan", found["business"], "USD", "income of the machines in this plan")
        w.formula("business", "base + of_this_plan", "USD", "ordinary business income", base=reference[book])
        sum_of(w, "recapture", found["recapture"], "USD", "ordinary recapture of the year")
        sum_of(w, "section_1231", found["section 1231"], "USD", "section 1231 gain or loss of the year")


def struck_out(draft: Draft, plan: Plan, books: list[str]) -> bool:
    """Post, per book, the year's income with the plan's first sale struck out; False where the plan sells nothing."""
    sale = next((s for s in plan.sales if not s.at_end and f"settlement {s.machine}" in draft), None)
    if sale is None:
        return False
    for book in books:
        w, gain = draft[f"income {book}"], draft[f"gain {book} {sale.machine}"]
        for kind in ("recapture", "section_1231"):
            part = gain["ordinary_recapture" if kind == "recapture" else kind]
            w.formula(f"{kind}_without", f"{kind} - gather(part)", "USD", f"{kind.replace('_', ' ')} with the sale of {sale.machine} struck out", part=part)
    return True


def at_one_rate(draft: Draft, plan: Plan, name: str, share: Column | float, rate: Column, cases: dict[str, tuple[Column, Column, Column]]) -> None:
    """Post tax at one combined rate; a loss lowers tax on the owner's other income."""
    for case, (business, recapture, gain) in cases.items():
        w = draft.working(f"federal return {name} {case}", plan.time.tax, f"tax of {name} at one rate, {case}", "returns")
        w.formula("income", "share * (business + recapture + gain)", "USD", "share of the business's income", share=share, business=business, recapture=recapture, gain=gain)
        w.formula("tax", "rate * income", "USD", "tax at one combined rate", rate=rate)


def federal(
    draft: Draft, plan: Plan, law: LawByYear, name: str, owner: Owner, case: str, business: Column, recapture: Column, gain: Column
) -> Working:
    """Post one owner's federal return as working ``federal return <owner> <case>``; its last column is ``tax``."""
    shop, axis = plan.scenario.shop, plan.time.tax
    status = STATUS[owner.filing or "single"]
    home = draft.common if case == "reference" else draft
    w = home.working(f"federal return {name} {case}", axis, f"federal return of {name}, {case}", "returns")
    share = draft.input(owner.share)

    def year(id: str, says: str, **keys: str) -> Column:
        return law.figure(draft, f"federal/{id}", says, **keys)

    w.formula("business_share", "share * business", "USD", "share of business income", share=share, business=business)
    w.formula("recapture_share", "share * recapture", "USD", "share of ordinary recapture", share=share, recapture=recapture)
    w.formula("section_1231_share", "share * gain", "USD", "share of section 1231 gain or loss", share=share, gain=gain)
    w.formula("capital_gain", "max(section_1231_share, 0)", "USD", "taxed as long-term capital gain")
    # Schedule SE: depreciation lowers the base, recapture never enters it (IRC 1402(a)(3)(C))
    if shop.taxed_as in ("sole proprietor", "partnership") and owner.active:
        w.formula("se_base", "max(business_share, 0) * factor", "USD", "net earnings from self-employment", factor=year("self_employment.net_earnings_factor", "factor on net earnings"))
        w.formula(
            "se_tax",
            "where(se_base >= least, social * min(se_base, wage_base) + medicare * se_base, 0)",
            "USD",
            "self-employment tax",
            least=year("self_employment.minimum_net_earnings", "least net earnings"),
            social=year("self_employment.social_security_rate", "social security rate"),
            wage_base=year("self_employment.wage_base", "social security wage base"),
            medicare=year("self_employment.medicare_rate", "medicare rate"),
        )
    else:
        w.formula("se_tax", "0", "USD", "no self-employment tax")
    w.formula("se_deduction", "se_tax * half", "USD", "deduction for half of it", half=year("self_employment.deductible_share", "deductible share of self-employment tax"))
    w.formula(
        "income",
        "other + business_share + recapture_share + section_1231_share - se_deduction",
        "USD",
        "adjusted gross income",
        other=draft.input(owner.other_income) if owner.other_income else 0.0,
    )
    w.formula("loss", "max(0 - income, 0)", "USD", "loss of the year, carried forward")
    w.formula("before_carryover", "max(income - deduction, 0)", "USD", "income after the standard deduction", deduction=year("income_tax.standard_deduction", "standard deduction", status=status))
    w.formula(
        "loss_carried",
        "prev(loss_carried) - min(prev(loss_carried), limit * before_carryover) + loss",
        "USD",
        "net operating loss carried to the next year",
        limit=year("business_losses.net_operating_loss_share", "share of income a carried loss may offset"),
    )
    w.formula("after_carryover", "before_carryover - (prev(loss_carried) + loss - loss_carried)", "USD", "income after carried losses")
    # IRC 199A: recapture is in the qualified income, net 1231 gain taxed as capital is not, a net 1231 loss is
    w.formula("qualified", "business_share + recapture_share + min(section_1231_share, 0) - se_deduction", "USD", "qualified business income of the year")
    w.formula("qualified_loss", "min(prev(qualified_loss) + qualified, 0)", "USD", "qualified loss carried to the next year")
    w.formula("qualified_net", "max(prev(qualified_loss) + qualified, 0)", "USD", "qualified business income after carried losses")
    w.formula("qbi_full", "qualified_net * rate", "USD", "20 % of it", rate=year("qualified_business_income.rate", "QBI deduction rate"))
    w.formula(
        "qbi_phase",
        "min(max((after_carryover - threshold) / length, 0), 1)",
        "1",
        "how far the wage limit has come in",
        threshold=year("qualified_business_income.threshold", "QBI threshold", status=status),
        length=year("qualified_business_income.phase_in_length", "QBI phase-in", status=status),
    )
    wages = shop.as_things_are.wages if shop.as_things_are else None
    w.formula("wage_limit", "share * wages * half", "USD", "half of the share of wages", share=share, wages=draft.input(wages) if wages else 0.0, half=year("qualified_business_income.wage_share", "share of wages"))
    w.formula(
        "qbi_deduction",
        "min(qbi_full - qbi_phase * max(qbi_full - wage_limit, 0), rate * max(after_carryover - capital_gain, 0))",
        "USD",
        "deduction for qualified business income",
        rate=year("qualified_business_income.rate", "QBI deduction rate"),
    )
    w.formula("taxable", "max(after_carryover - qbi_deduction, 0)", "USD", "taxable income")
    w.formula("ordinary_taxable", "max(taxable - capital_gain, 0)", "USD", "of it, taxed at ordinary rates")
    over, rate = law.brackets(draft, "federal/income_tax.brackets", f"brackets, {owner.filing}", status)
    w.formula("ordinary_tax", "brackets(ordinary_taxable, over, rate)", "USD", "tax by the year's brackets", over=over, rate=rate)
    gain_over, gain_rate = law.brackets(draft, "federal/income_tax.capital_gain_brackets", f"capital gain brackets, {owner.filing}", status)
    w.formula("gain_tax", "brackets(taxable, over, rate) - brackets(ordinary_taxable, over, rate)", "USD", "tax on capital gain, on top of ordinary income", over=gain_over, rate=gain_rate)
    if owner.active:
        w.formula("investment_tax", "0", "USD", "no net investment income tax: active in the business")
    else:
        w.formula(
            "investment_tax",
            "rate * min(max(business_share + recapture_share + section_1231_share, 0), max(income - threshold, 0))",
            "USD",
            "net investment income tax of a passive owner",
            rate=year("net_investment_income.rate", "net investment income tax rate"),
            threshold=year("net_investment_income.threshold", "net investment income threshold", status=status),
        )
    w.formula("tax", "ordinary_tax + gain_tax + investment_tax + se_tax", "USD", "federal tax of the year")
    return w


def state(draft: Draft, plan: Plan, name: str, owner: Owner, case: str, business: Column, recapture: Column, gain: Column) -> Working:
    """Post one owner's state return at the entered rate, on the state's own book."""
    entry = plan.scenario.shop.state
    assert entry is not None and entry.rate is not None
    home = draft.common if case == "reference" else draft
    w = home.working(f"state return {name} {case}", plan.time.tax, f"state return of {name}, {case}", "returns")
    w.formula(
        "income",
        "other + share * (business + recapture + gain)",
        "USD",
        "income in the state's book",
        other=draft.input(owner.other_income) if owner.other_income else 0.0,
        share=draft.input(owner.share),
        business=business,
        recapture=recapture,
        gain=gain,
    )
    w.formula("loss_carried", "max(prev(loss_carried) - income, 0)", "USD", "loss carried to the next year")
    w.formula("taxable", "max(income - prev(loss_carried), 0)", "USD", "taxable in the state")
    w.formula("tax", "rate * taxable", "USD", "state tax of the year", rate=draft.input(entry.rate))
    return w


def corporation(draft: Draft, plan: Plan, law: LawByYear, case: str, cases: tuple[Column, Column, Column], with_losses: bool) -> None:
    """Post the federal return of a C corporation (Form 1120): one rate, losses carried where its other income is known."""
    business, recapture, gain = cases
    home = draft.common if case == "reference" else draft
    w = home.working(f"federal return shop {case}", plan.time.tax, f"federal return of the corporation, {case}", "returns")
    w.formula("income", "business + recapture + gain", "USD", "income; no lower rate on gain", business=business, recapture=recapture, gain=gain)
    rate = law.figure(draft, "federal/corporate_rate", "corporate rate")
    if with_losses:
        limit = law.figure(draft, "federal/business_losses.net_operating_loss_share", "share of income a carried loss may offset")
        w.formula("loss_carried", "prev(loss_carried) - min(prev(loss_carried), limit * max(income, 0)) + max(0 - income, 0)", "USD", "loss carried", limit=limit)
        w.formula("taxable", "income - (prev(loss_carried) - loss_carried)", "USD", "taxable income")
        w.formula("tax", "rate * taxable", "USD", "federal tax of the year", rate=rate)
    else:
        w.formula("tax", "rate * income", "USD", "federal tax of the year, a loss lowering tax on other income", rate=rate)


def reference_income(draft: Draft, scenario: Scenario, time: Timeline, keep_first_year: dict[str, float]) -> Column:
    """Post, once for all alternatives, the business's yearly income without the machines in question.

    Income *as things are* is the last return's, these machines included; the reference takes out, once, Keep's first
    year at the entered figures. In the year of decision the part already earned by them is put back.
    """
    w = draft.common.working("reference income", time.tax, "income of the business without the machines in question", "reference")
    as_is = scenario.shop.as_things_are
    assert as_is is not None
    w.given("keep_first_year", keep_first_year["whole"], "USD", "Keep's first year at the entered figures", Origin("choice", "Keep as entered"), ONE)
    w.given("earned_before", keep_first_year["before depreciation"], "USD", "the same before depreciation", Origin("choice", "Keep as entered"), ONE)
    start = time.start
    passed = (start - Date(start.year, 1, 1)).days / (366 if cal.month_end(Date(start.year, 2, 1)).day == 29 else 365)
    flags = [passed if day.year == start.year else 0.0 for day in time.tax.ends]
    w.given("share_passed", flags, "1", "part of the year of decision already gone", Origin("calendar", str(start)), time.tax)
    w.formula("without", "as_is - keep_first_year", "USD", "a year without them", ONE, as_is=draft.input(as_is.ordinary_income))
    w.formula("business", "without + share_passed * earned_before", "USD", "income of each year without them")
    w.formula("check", "without + keep_first_year - as_is", "USD", "Keep gives back what was entered: must be zero", ONE, as_is=draft.input(as_is.ordinary_income))
    return w["business"]
