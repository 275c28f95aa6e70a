"""The business: how far it looks ahead, its state, its last year, its owners."""

from typing import Literal

from pydantic import Field

from equipdecide.scenario.amounts import (
    Day,
    HourRate,
    HoursOfLife,
    Money,
    MoneyOrLoss,
    MoneyOrLossPerYear,
    MoneyPerYear,
    Multiple,
    Rate,
    Share,
)
from equipdecide.scenario.models.base import Frozen

TaxedAs = Literal["sole proprietor", "partnership", "S corporation", "C corporation"]
Filing = Literal["single", "joint", "separate", "head of household"]


class Study(Frozen):
    """How far to look ahead and what money is worth."""

    years: int = Field(ge=1, le=40, title="Years to look ahead")
    rate: Rate = Field(
        title="What the money would earn elsewhere, after tax",
        description="minimum attractive rate of return, a year, after tax",
    )
    periods: Literal["months", "years"] = Field(
        "months", title="Months, or years with flows at the end of each (textbook examples)"
    )
    tax_indexing: Rate | None = Field(None, title="Yearly growth of tax brackets after the last published year")


class State(Frozen):
    """The state's income tax: a rate of its own, and a book of its own where it does not follow the federal one."""

    code: str | None = Field(None, title="Two-letter code of the state, where its rules are shipped")
    rate: Rate | None = Field(None, title="State income tax rate on the owners' business income")
    pass_through_rate: Rate | None = Field(
        None, title="Rate at which the business elects to pay its owners' state tax (partnership, S corporation)"
    )
    add_back: Literal["as a rule", "withholding rose", "made a loss"] = Field(
        "as a rule",
        title="Which share of the first-year deduction the state adds back",
        description="Ohio: two thirds where its withholding rose by a tenth, all of it where the deduction made a loss",
    )
    property_tax: Rate | None = Field(
        None, title="Local rate of property tax on machines a year, on the value the state taxes"
    )
    bonus: Literal["follows", "does not follow"] = Field(
        "follows", title="Does the state follow the federal bonus depreciation?"
    )
    section_179: Literal["follows", "does not follow"] = Field(
        "follows", title="Does the state follow the federal section 179 limit?"
    )


class AsThingsAre(Frozen):
    """The business's last full year as the return shows it, the machine in question included."""

    ordinary_income: MoneyOrLoss = Field(title="Ordinary business income, this machine included")
    wages: Money | None = Field(None, title="Wages paid by the business")
    other_property: Money | None = Field(
        None, title="Cost of other machines and buildings, in use for less than ten years"
    )
    gross_receipts: Money | None = Field(None, title="Gross receipts, average of the last three years")
    other_interest: Money | None = Field(
        None, title="Interest in that income on debts other than those of the machines here"
    )
    other_depreciation: Money | None = Field(
        None, title="Depreciation in that income on property other than the machines here"
    )
    interest_carried: Money | None = Field(None, title="Business interest of earlier years not yet deducted")
    last_tax: Money | None = Field(None, title="Federal income tax on the corporation's last return (C corporation)")
    loss_carried: Money | None = Field(None, title="Net operating loss the corporation carries over (C corporation)")


class Shop(Frozen):
    """The business that owns the machines."""

    name: str = Field(title="Name of the business")
    taxed_as: TaxedAs = Field(title="How the business is taxed")
    began: Day | None = Field(
        None,
        title="Day the business began",
        description="needed where an item was put in service in its first year: a short tax year has no table",
    )
    state: State | None = Field(None, title="State income tax")
    as_things_are: AsThingsAre | None = Field(None, title="Last full year, as the return shows it")
    cash: Money | None = Field(None, title="Cash in the bank")
    cash_floor: Money | None = Field(None, title="Cash you will not go under")
    contribution_elsewhere: MoneyOrLossPerYear | None = Field(
        None, title="Contribution of all other work a year, which no course changes"
    )
    overhead: MoneyPerYear | None = Field(None, title="Overhead with all wages a year, which no course changes")
    other_debt_payments: MoneyPerYear | None = Field(
        None, title="Payments on debts other than those of the machines here, a year"
    )
    distributions: MoneyPerYear | None = Field(
        None, title="Money the owners draw a year, beside what they draw for tax"
    )
    tax_distributions: Share | None = Field(None, title="Share of taxable income paid out to the owners for their tax")
    depreciation_schedule: str | None = Field(
        None,
        title="CSV file of the last return's depreciation schedule",
        description="columns item, cost, in_service, section_179, bonus, to_date",
    )
    coverage_required: Multiple | None = Field(None, title="Debt service coverage the lender asks for, every year")
    largest_customer: Share | None = Field(None, title="Largest customer's share of last year's sales")
    other_limits: dict[str, HourRate] = Field(
        default_factory=dict,
        title="Hours of this work a year that other stations can pass",
        description="inspection, saw, people: no machine makes more than they pass",
    )


class Owner(Frozen):
    """One owner: share, tax profile, what is signed."""

    share: Share = Field(title="Share of the business")
    tax_rate: Rate | None = Field(
        None, title="One combined tax rate on business income", description="instead of filing status and other income"
    )
    filing: Filing | None = Field(None, title="Filing status of the owner's return")
    other_income: MoneyOrLoss | None = Field(None, title="Other income of the household a year")
    active: bool = Field(True, title="Works in the business (materially participates)")
    last_tax: Money | None = Field(None, title="Total federal tax on last year's return")
    last_agi: MoneyOrLoss | None = Field(None, title="Adjusted gross income on last year's return")
    last_state_tax: Money | None = Field(None, title="Total state income tax on last year's return")
    wages: Money | None = Field(None, title="Of the other income: this owner's wages")
    spouse_wages: Money | None = Field(None, title="Of the other income: the spouse's wages")
    investment_income: Money | None = Field(None, title="Of the other income: interest, dividends, rents, gains")
    section_179_carried: Money | None = Field(None, title="Section 179 deduction carried over unused")
    other_section_179: MoneyPerYear | None = Field(
        None, title="Section 179 that other businesses pass on, a year, not taken off the other income"
    )
    other_business_income: MoneyOrLoss | None = Field(
        None, title="Of the other income: from other businesses this owner works in, a year"
    )
    loss_carried: Money | None = Field(None, title="Net operating loss carried over from earlier years")
    losses_1231: dict[str, Money] = Field(
        default_factory=dict,
        title="Net section 1231 losses of the last five years not yet set against gains, by year",
    )
    outside_basis: Money | None = Field(None, title="Owner's basis in the business, share of debts included")
    at_risk: Money | None = Field(
        None,
        title="Amount at risk in the business at the last year's end",
        description="Form 6198: own money and debts this owner answers for; left out: losses are not limited by it",
    )
    loss_suspended: Money | None = Field(None, title="Losses of the business held back so far for want of basis")
    passive_loss_carried: Money | None = Field(None, title="Passive losses of the business carried over")
    guarantees: Money | None = Field(
        None, title="Most of the business's debts this owner guarantees", description="left out: all of them"
    )


class OwnBooks(Frozen):
    """How the shop's own books depreciate a machine, for statements; tax has methods of its own."""

    method: Literal["straight line", "declining balance", "sum of years digits", "units of production"] = Field(
        title="Method of the shop's own books",
        description="declining balance: double, with straight line once that is more; units: spindle hours",
    )
    life: int | None = Field(None, ge=1, le=50, title="Years of life in the shop's own books")
    salvage: Money | None = Field(None, title="Salvage value the shop's own books leave")
    spindle_hours: HoursOfLife | None = Field(None, title="Spindle hours it is good for (units of production)")
    spindle_hours_so_far: HoursOfLife | None = Field(None, title="Spindle hours on it at the decision")


class Flat(Frozen):
    """The textbook regime: one rate, tax in the period of the flow."""

    tax_rate: Rate = Field(title="The one tax rate")
    losses: Literal["lower other tax", "carried forward"] = Field(
        "lower other tax",
        title="What a loss does",
        description="lower other tax: at once, on income from elsewhere; carried forward: set against later income",
    )
