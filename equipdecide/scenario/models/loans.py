"""Loans owed, and money on offer."""

from typing import Literal

from pydantic import Field

from equipdecide.scenario.amounts import Count, Day, Money, Rate, Share
from equipdecide.scenario.models.base import Frozen


class PayoffLetter(Frozen):
    """What the lender wrote: it overrides the schedule."""

    written: Day = Field(title="Day of the letter")
    balance: Money = Field(title="Principal balance in the letter")
    balance_on: Day = Field(title="Day the balance stands after")
    per_diem: Money = Field(title="Interest a day")
    good_through: Day = Field(title="Last day the letter holds")
    total: Money | None = Field(None, title="Total the letter asks for on that day")


class EarlyCharge(Frozen):
    """What a contract charges for paying early: give what it says, leave the rest out. The charges add up."""

    by_year: list[Share] = Field(
        default_factory=list,
        title="Share of the principal paid early, by year of the loan",
        description="nothing after the last",
    )
    first_year: Share | None = Field(None, title="Share charged in the first year, falling in equal yearly steps")
    falls_over: int | None = Field(None, ge=1, le=40, title="Years until it has fallen to nothing")
    a_year_left: Share | None = Field(
        None, title="Share of the principal for each year left, a year begun counted in full"
    )
    months_of_interest: Count | None = Field(None, title="Months of interest charged for paying early")
    of_share: Share | None = Field(
        None, title="Share of the principal those months are reckoned on; left out: all of it"
    )
    free_share: Share | None = Field(
        None,
        title="Share of the balance that may be paid early without a charge",
        description="above it all of it is charged",
    )
    only_from_years: int | None = Field(None, ge=1, le=40, title="Charged only on loans of so many years or more")


class Loan(Frozen):
    """A loan on one or several machines, from its first day or from a balance."""

    lender: str = Field("the lender", title="Who lends")
    principal: Money = Field(title="Amount borrowed, or the balance still owed")
    rate: Rate = Field(title="Interest rate a year")
    payments: int = Field(ge=1, le=480, title="Number of payments (from the first, or left)")
    first_payment: Day = Field(title="Day of the first (or next) payment")
    balance_on: Day | None = Field(None, title="Day on which `principal` was still owed, if not from the start")
    payment: Money | None = Field(None, title="Monthly payment; left out: level to the cent")
    day_count: Literal["actual/365", "actual/360", "30/360", "actual/actual"] = Field(
        "actual/365", title="How the lender counts days"
    )
    early_payoff: Share | None = Field(None, title="Charge for paying early, of the principal left")
    document_fee: Money | None = Field(None, title="Fee for papers when it is paid off")
    wire_fee: Money | None = Field(None, title="Fee for the wire that pays the lender")
    release_fee: Money | None = Field(None, title="Fee for releasing the lien")
    letter: PayoffLetter | None = Field(None, title="Payoff letter of the lender")
    payoff: Literal["simple interest", "remaining payments", "present value", "sum of digits"] = Field(
        "simple interest",
        title="What paying early costs by the contract",
        description="interest to the day; every payment left; those payments at a stated rate; or by the rule of 78",
    )
    payoff_rate: Rate | None = Field(
        None, title="Rate at which the payments left are brought back (payoff: present value)"
    )
    early_charge: EarlyCharge | None = Field(
        None, title="Charge for paying early that is not one share of the principal"
    )
    signed: Day | None = Field(
        None, title="Day it was signed", description="left out: a month before the first payment"
    )
    collateral: list[str] = Field(default_factory=list, title="Other machines the lender's filing covers")
    release_amounts: dict[str, Money] = Field(
        default_factory=dict,
        title="Principal the lender asks for to let one machine go, by machine",
        description="the loan goes on with the rest",
    )


class PaymentStep(Frozen):
    """Several payments of one amount, before the level ones (stepped loans)."""

    payments: int = Field(ge=1, le=480, title="How many payments")
    payment: Money = Field(title="Amount of each")


FinancingKind = Literal[
    "loan",
    "stepped loan",
    "deferred loan",
    "balloon loan",
    "one-dollar buyout",
    "fixed-option lease",
    "fair-value lease",
]


class Financing(Frozen):
    """An offer of money for a purchase or an upgrade."""

    kind: FinancingKind = Field("loan", title="What kind of offer it is")
    lender: str = Field("the lender", title="Who lends")
    machine: str | None = Field(None, title="Machine or improvement it is offered for")
    amount: Money = Field(title="Amount lent (a lease: what the lessor pays for the machine)")
    rate: Rate | None = Field(
        None, title="Interest rate a year", description="left out for a lease: it is worked out from its payments"
    )
    payments: int = Field(
        ge=1, le=480, title="Number of payments", description="monthly, unless `every_months` says otherwise"
    )
    payment: Money | None = Field(
        None, title="One payment; left out: level to the cent", description="a lease needs it"
    )
    fee: Money | None = Field(None, title="Fee of the lender")
    every_months: int = Field(1, ge=1, le=12, title="Months from one payment to the next")
    in_advance: bool = Field(False, title="Each payment falls at the beginning of its period")
    steps: list[PaymentStep] = Field(default_factory=list, title="Payments before the level ones (stepped loan)")
    deferred: int = Field(0, ge=0, le=60, title="Payment periods without payment, interest added (deferred loan)")
    balloon: Money | None = Field(None, title="Amount due with the last payment (balloon loan)")
    progress_payments: Share | None = Field(
        None,
        title="Share of the builder's instalments before shipment that the lender pays",
        description="interest runs from then and is paid when the loan begins",
    )
    option_price: Money | None = Field(None, title="Price of the machine at the end of the lease")
    at_end: Literal["buy", "return"] = Field("buy", title="What you do when the lease ends")
    end_value: Money | None = Field(None, title="What the machine will be worth when the lease ends (fair-value lease)")
    notice: list[int] = Field(
        default_factory=list, title="Days before the end between which notice must be given: [most, least]"
    )
    return_costs: dict[str, Money] = Field(default_factory=dict, title="Costs of sending the machine back")
    taxed_as: Literal["by rule", "purchase", "lease"] = Field(
        "by rule",
        title="What the lease is for tax",
        description="by rule: a nominal price at the end makes it a purchase",
    )
