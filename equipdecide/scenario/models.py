"""The scenario: one decision written down. Labels, hints, units, bounds and defaults stand here, once.

The starter file, the fifteen questions, the form, the JSON Schema and the error messages all read them from these
models. Everything is frozen; a changed scenario is a copy.
"""

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, PrivateAttr

from equipdecide.scenario.amounts import (
    Amount,
    Count,
    Day,
    Days,
    Decibels,
    Factor,
    HourRate,
    Hours,
    HoursOfLife,
    Minutes,
    Money,
    MoneyOrLoss,
    MoneyOrLossPerYear,
    MoneyPerHour,
    MoneyPerMonth,
    MoneyPerYear,
    Multiple,
    Rate,
    Share,
    Weeks,
    Years,
    YesNo,
)
from equipdecide.scenario.tree import Source

TaxedAs = Literal["sole proprietor", "partnership", "S corporation", "C corporation"]
Filing = Literal["single", "joint", "separate", "head of household"]
Route = Literal["outright", "consignment", "trade-in", "auction", "private sale"]


class Frozen(BaseModel):
    """Base of all parts of a scenario: frozen, unknown keys refused."""

    # built when a file is first read, all in one: each on its own, and again within its owner, takes half as long again
    model_config = ConfigDict(frozen=True, extra="forbid", arbitrary_types_allowed=True, defer_build=True)


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
    loss_suspended: Money | None = Field(None, title="Losses of the business held back so far for want of basis")
    passive_loss_carried: Money | None = Field(None, title="Passive losses of the business carried over")
    guarantees: Money | None = Field(
        None, title="Most of the business's debts this owner guarantees", description="left out: all of them"
    )


class Method(Frozen):
    """How something is depreciated, where not by law alone."""

    life: int | None = Field(None, ge=1, le=50, title="Recovery period where it is not that of the class")
    convention: Literal["by rule", "half-year", "mid-quarter"] = Field(
        "by rule", title="Convention of its year", description="by rule: tested over the assets in this file"
    )
    method: Literal[
        "by law", "straight line", "150 % declining balance", "declining balance", "sum of years digits", "table"
    ] = Field(
        "by law",
        title="Depreciation method",
        description="straight line and 150 % are elections of tax law; a table holds what the returns took by year, all of it; "
        "the other two are of textbooks",
    )
    system: Literal["general", "alternative"] = Field(
        "general", title="Recovery system of tax law: general (GDS), or the alternative (ADS) where it is elected"
    )
    tables: bool = Field(
        True,
        title="Figured by the printed tables",
        description="no: by the rate on what is left, as a return may from the first year on",
    )
    salvage: Money | None = Field(None, title="Salvage value the method leaves (textbook methods)")
    table: list[Share] | None = Field(None, title="Percentages by year (method: table)")


class Casualty(Frozen):
    """Damage that changed the basis of an item: from that year on no table is used for it."""

    on: Day = Field(title="Day it happened")
    lowered: Money = Field(title="Loss that was deducted, and what insurance paid")
    restored: Money | None = Field(None, title="What was spent to restore it and went into its basis")


class Asset(Method):
    """One cost item with its date and its elections; a machine has several."""

    cost: Money = Field(title="Cost, everything in")
    in_service: Day = Field(title="Day it was ready and first used")
    contract: Day | None = Field(None, title="Day a binding contract was signed")
    expensed: bool = Field(False, title="Deducted at once as a small item (de minimis)")
    section_179: Money | Literal["all", "none"] = Field("none", title="Section 179 deduction elected")
    section_179_used: dict[str, Money] = Field(
        default_factory=dict, title="What each owner could use of it, where not all"
    )
    bonus: Literal["by law", "elected out", "reduced"] | Share = Field(
        "by law",
        title="Bonus depreciation",
        description="reduced: the lower rate that could be elected for the first year of a new law",
    )
    depreciation_claimed: Money | None = Field(
        None, title="Depreciation claimed on it so far, if less than the law allowed"
    )
    deductions_taken_by: dict[str, Share] = Field(
        default_factory=dict, title="Shares in which the owners took its deductions so far, where not as they share now"
    )
    business_use: Share | None = Field(None, title="Share of its use that is business; left out: all of it")
    business_use_later: Share | None = Field(None, title="Share of business use from a later year on")
    business_use_changes: Day | None = Field(None, title="Day from which the later share holds")
    casualty: Casualty | None = Field(None, title="Damage that changed its basis")
    bought_used: bool = Field(False, title="It was used before you bought it")
    asset_class: str = Field("34.0", title="Asset class of the activity")


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


class NightChanges(Frozen):
    """Hours the machine runs alone, as an improvement changes them; left out: as before."""

    nights: Count | None = Field(None, title="Nights a year it is left running alone")
    window: Hours | None = Field(None, title="Hours of a night when all goes well")
    mean_between_stops: Hours | None = Field(None, title="Mean running hours between stops")
    log: str | None = Field(None, title="File of logged evenings (date, hours_run, reason)")
    parts_loaded: Count | None = Field(None, title="Parts that can be loaded for one night")
    minutes_each: Minutes | None = Field(None, title="Minutes the machine takes for one of them")
    bar_or_pallets: Hours | None = Field(None, title="Hours of work on the bar or the pallets")
    tool_life: Hours | None = Field(None, title="Hours until a tool-life counter stops it")
    undetected: Share | None = Field(None, title="Share of the stops the machine does not notice: it runs on")
    scrap_hour: MoneyPerHour | None = Field(None, title="What an hour run on spoils, in material and tools")
    fault_cost: Money | None = Field(None, title="What one such night costs beside: a crash, a repair, a lost morning")
    cost_a_night: Money | None = Field(None, title="What loading and proving for one night costs")
    recovery: Hours | None = Field(
        None,
        title="Staffed spindle hours that a stopped night costs the next morning",
        description="to clear, prove and restart; hours, where `fault_cost` is money",
    )


class Nights(NightChanges):
    """Hours the machine runs alone."""

    nights: Count = Field(title="Nights a year it is left running alone")
    window: Hours = Field(title="Hours of a night when all goes well")


class Attended(Frozen):
    """One or more people look after several machines in staffed hours; a machine that calls while they are busy waits."""

    machines: int = Field(ge=2, le=12, title="Machines looked after, this one included")
    attendants: int = Field(1, ge=1, le=12, title="People who look after them")
    run: Minutes = Field(title="Minutes a machine runs between calls, on average")
    attention: Minutes = Field(title="Minutes a call takes, on average")


class Crashes(Frozen):
    """Crashes as a rate: entered, or counted over years; what one costs and how long the machine then stands."""

    a_year: Count | None = Field(None, title="Crashes a year, on average")
    count: Count | None = Field(None, title="Crashes there have been")
    over_years: Years | None = Field(None, title="Years over which crashes were counted")
    cost: Money = Field(title="What one crash costs in repairs")
    days: Days | None = Field(None, title="Working days the machine stands after one")


class Upkeep(Frozen):
    """Repairs and service."""

    first_year: MoneyPerYear | None = Field(
        None,
        title="Repairs and service in the first year",
        description="from the day of decision, or from service for a new machine",
    )
    growth: Rate | None = Field(None, title="Growth of upkeep a year")
    bills: str | None = Field(
        None,
        title="... or a CSV file of the shop's repair bills, from which both follow",
        description="columns date, amount; hours (the meter) and what may stand too",
    )
    warranty_years: int = Field(0, ge=0, le=10, title="Years of warranty")
    warranty_share: Share | None = Field(None, title="Share of upkeep you still pay in the warranty years")


class Running(Frozen):
    """What a machine can do in a year: hours with people, nights alone, pace and yield."""

    staffed_hours: HourRate = Field(title="Hours a year with people present")
    cutting_share: Share = Field(title="Share of the staffed hours it cuts")
    cycle_factor: Multiple | None = Field(None, title="Time a part takes, as a multiple of the standard time")
    good_share: Share | None = Field(None, title="Good parts, as a share of parts made")
    nights: Nights | None = Field(None, title="Hours it runs alone at night")
    attended: Attended | None = Field(
        None,
        title="Several machines looked after by the same people",
        description="the cutting share is then that of a machine which never waits for them",
    )
    crashes: Crashes | None = Field(
        None, title="Crashes a year, what one costs, how long it stands", description="not in the upkeep as well"
    )


class Ramp(Frozen):
    """Learning after a change: batches take longer at first, fall with each doubling, and stop at the standard time."""

    start: Multiple = Field(title="Time of the first batch, as a multiple of the standard time")
    rate: Share = Field(title="Learning rate: what is left of a batch's time at each doubling of batches")
    batch: Hours = Field(title="Standard hours of one batch")
    form: Literal["each batch", "average of all"] = Field(
        "each batch",
        title="What falls by the learning rate at each doubling",
        description="the time of each batch (Crawford), or the average of all so far (Wright)",
    )


class Market(Frozen):
    """What is known of the market for a used machine, for the band of `equipdecide value`."""

    bare_price: Money | None = Field(None, title="Price it had new, without freight and installation")
    made: Day | None = Field(None, title="Day it was new, where not that of its first asset")
    new_price: Money | None = Field(None, title="Price today of an equivalent new machine")
    hours_a_year: HourRate | None = Field(None, title="Hours it has run a year, by its meter")
    factor: Multiple | None = Field(None, title="Today's market against a usual one, as you judge it")
    as_of: Day | None = Field(None, title="Day of that judgement; left out: the day of decision")
    comparables: str | None = Field(
        None,
        title="CSV file of machines like it, asked for or sold",
        description="columns date, price, kind, new_price, age_years, hours_a_year, what",
    )


class Times(Frozen):
    """Where the hours of a machine went, for `equipdecide times`: files of its shifts, its stops, its meter."""

    shifts: str = Field(title="CSV file of the shifts", description="columns start, end, as 2026-09-14 06:00")
    stops: str = Field(
        title="CSV file of the stops",
        description="columns start, end, kind, reason; kind: planned downtime, no order, set-up or delay",
    )
    meter: str | None = Field(None, title="CSV file of the meter's readings", description="columns date, hours")
    minutes_each: Minutes | None = Field(None, title="Planned minutes of one piece made in these shifts")
    produced: Count | None = Field(None, title="Pieces made in these shifts")
    good: Count | None = Field(None, title="Of them good at once or after rework")
    scrap: Count | None = Field(None, title="Of them scrapped")
    rework: Count | None = Field(None, title="Of them reworked")


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


class Machine(Frozen):
    """A machine owned, or one that could be bought."""

    what: str = Field(title="What it is, in a few words")
    assets: dict[str, Asset] = Field(default_factory=dict, title="What was paid for it, item by item (owned machines)")
    loans: dict[str, Loan] = Field(default_factory=dict, title="What is owed on it")
    running: Running | None = Field(None, title="Hours it runs in a year")
    upkeep: Upkeep | None = Field(None, title="Repairs and service")
    market: Market | None = Field(None, title="What is known of its market")
    times: Times | None = Field(None, title="Files of its shifts and stops, to see where its hours went")
    costs: dict[str, MoneyPerYear] = Field(default_factory=dict, title="Other yearly costs of having it")
    earnings: dict[str, MoneyPerYear] = Field(
        default_factory=dict, title="Yearly earnings or savings where hours are not modelled"
    )
    earnings_by_year: list[MoneyOrLoss] | None = Field(None, title="Earnings year by year")
    costs_by_year: list[MoneyOrLoss] | None = Field(None, title="Costs year by year")
    worth_now: Money | None = Field(None, title="What it would bring today")
    worth_at_end: MoneyOrLoss | None = Field(None, title="What it will bring at the end of the study")
    falls_first_year: Share | None = Field(None, title="Fall of its liquidation value in the first year, of the price")
    falls_yearly: Share | None = Field(None, title="Fall of its liquidation value in every later year")
    price: Money | None = Field(None, title="Quoted cash price")
    capital_costs: dict[str, Money] = Field(
        default_factory=dict, title="Costs that go with it into its basis (freight, rigging, power)"
    )
    expenses: dict[str, Money] = Field(
        default_factory=dict, title="Costs of the change that are deducted at once (training, programs)"
    )
    lead: Weeks | None = Field(None, title="Weeks from order to acceptance")
    down_days: Days | None = Field(None, title="Days without this work while it is changed over")
    ramp_loss: Hours | None = Field(None, title="Good hours lost while learning")
    ramp: Ramp | None = Field(None, title="... or how the first batches come to the standard time")
    terms: dict[Literal["order", "shipment", "acceptance"], Share] = Field(
        default_factory=dict, title="When the price is paid; left out: all on acceptance"
    )
    bought_used: bool = Field(False, title="It was used before you bought it")
    asset_class: str = Field("34.0", title="Asset class of the activity")
    sales_tax: Rate | None = Field(
        None, title="Sales or use tax on its price, where it is not exempt", description="part of its cost for tax"
    )
    seller_related: bool = Field(
        False, title="Is its seller family, or a business of which the owners own more than half?"
    )
    depreciation: Method | None = Field(None, title="Depreciation method when bought, if not by law")
    own_books: OwnBooks | None = Field(None, title="Depreciation in the shop's own books")
    noise: Decibels | None = Field(None, title="Noise at the operator while cutting [dBA]")
    noise_declared: Decibels | None = Field(
        None,
        title="Noise declared by the builder [dBA]",
        description="measured without cutting: it is not compared with the other",
    )


class Changes(Frozen):
    """What an improvement changes; left out: as it was."""

    staffed_hours: HourRate | None = Field(
        None, title="Hours a year with people present", description="a second shift, a Saturday"
    )
    cutting_share: Share | None = Field(None, title="Share of the staffed hours it cuts")
    cycle_factor: Multiple | None = Field(None, title="Time a part takes, as a multiple of the standard time")
    good_share: Share | None = Field(None, title="Good parts, as a share of parts made")
    nights: NightChanges | None = Field(None, title="What changes in the hours it runs alone")
    crashes: Crashes | None = Field(None, title="Crashes a year from then on, what one costs, how long it stands")
    ends_causes: dict[str, Share] = Field(
        default_factory=dict,
        title="Share of the logged stops it ends, by reason",
        description="reasons as they stand in the log of evenings; the mean time between stops follows",
    )
    upkeep: Upkeep | None = Field(None, title="Repairs and service")
    worth_at_end: MoneyOrLoss | None = Field(None, title="What the machine will bring at the end of the study")
    noise: Decibels | None = Field(None, title="Noise at the operator while cutting [dBA]")
    earnings: dict[str, MoneyPerYear] = Field(default_factory=dict, title="Yearly earnings or savings it adds")
    costs: dict[str, MoneyPerYear] = Field(default_factory=dict, title="Yearly costs it adds")


class Improvement(Frozen):
    """An upgrade, retrofit, rebuild or add-on."""

    what: str = Field(title="What it is, in a few words")
    machine: str = Field(title="Name of the machine it is fitted to")
    capital_costs: dict[str, Money] = Field(default_factory=dict, title="Costs that go into its basis")
    expenses: dict[str, Money] = Field(default_factory=dict, title="Costs that are deducted at once")
    lead: Weeks | None = Field(None, title="Weeks from order until it can be fitted")
    down_days: Days | None = Field(None, title="Days without this work while it is fitted")
    ramp_loss: Hours | None = Field(None, title="Good hours lost while learning")
    ramp: Ramp | None = Field(None, title="... or how the first batches come to the standard time")
    changes: Changes = Field(title="What it changes")


class FallingShort(Frozen):
    """What happens when a part that must ship is not made here."""

    cost_factor: Multiple | None = Field(
        None, title="Price of a piece bought outside, as a multiple of its material, outside work and tooling"
    )
    hour: MoneyPerHour | None = Field(None, title="Charge an hour of machine time for a piece bought outside")
    penalty: Money | None = Field(None, title="Penalty for each piece not shipped")


class Part(Frozen):
    """Something the machine makes, by the piece, or plain hours that can be sold."""

    price: Money | None = Field(
        None, title="Price of one piece", description="of a part the shop itself uses: what one costs bought outside"
    )
    material: Money | None = Field(None, title="Material of one piece")
    outside_work: Money | None = Field(None, title="Work bought outside for one piece")
    tooling: Money | None = Field(None, title="Tools used up by one piece")
    minutes: Minutes | None = Field(None, title="Minutes of the machine in question for one piece")
    elsewhere: dict[str, Minutes] = Field(
        default_factory=dict,
        title="Minutes of other stations for one piece",
        description="by the names of `other_limits:` of the shop; an hour for work sold by the hour",
    )
    demand: Count | None = Field(None, title="Pieces a year that can be sold")
    must_ship: Count | None = Field(None, title="Pieces a year that must be shipped")
    last_year: Count | None = Field(None, title="Pieces shipped last year")
    falling_short: FallingShort | None = Field(None, title="What a piece costs that must ship and is not made")
    hours: HourRate | None = Field(None, title="Hours a year that can be sold")
    contribution_per_hour: MoneyPerHour | None = Field(
        None, title="What is left of an hour's price after what it truly costs"
    )
    ends: Day | None = Field(None, title="Day the contract ends")
    renews: YesNo | None = Field(None, title="Chance that it is renewed")


class PaidOver(Frozen):
    """A buyer who pays part of the price later, in equal parts, with interest on what is owed."""

    deferred: Share = Field(title="Part of the price paid later")
    payments: int = Field(ge=1, le=120, title="Number of later payments")
    every_months: int = Field(12, ge=1, le=12, title="Months from one to the next")
    rate: Rate | None = Field(None, title="Interest the buyer pays a year")


class PriceStep(Frozen):
    """A cut of the list price of a consignment that the agreement foresees."""

    after: int = Field(ge=1, le=3660, title="Days from handing over after which it falls")
    off: Share = Field(title="Share by which it then falls")


class Offer(Frozen):
    """A way to sell a machine: an offer letter, or what an adviser expects."""

    machine: str = Field(title="Name of the machine")
    route: Route = Field(title="How it is sold")
    price: Money = Field(title="Price, allowance or hammer price")
    commission: Share | None = Field(None, title="Commission, as a share of the price")
    commission_minimum: Money | None = Field(None, title="Least commission")
    costs: dict[str, Money] = Field(default_factory=dict, title="Costs of selling you carry")
    monthly_costs: dict[str, MoneyPerMonth] = Field(default_factory=dict, title="Costs a month until it is sold")
    days_to_sale: Days | None = Field(None, title="Days until it is sold")
    list_price: Money | None = Field(None, title="List price at which it is offered")
    price_steps: list[PriceStep] = Field(
        default_factory=list, title="Cuts of the list price that are agreed", description="shown; the price stays yours"
    )
    exclusive_days: int | None = Field(
        None, ge=1, le=3660, title="Days from handing over in which nobody else may sell it"
    )
    paid_after: Days | None = Field(None, title="Days from sale to money")
    unsold: YesNo | None = Field(None, title="Chance that it does not sell")
    if_unsold: str | None = Field(None, title="The offer taken then")
    against: str | None = Field(None, title="The machine bought in trade")
    price_with_trade: Money | None = Field(None, title="Price of that machine when traded")
    pays_lender: bool = Field(True, title="The buyer or reseller pays the lender first")
    credited_to: str | None = Field(None, title="Machine whose order is credited with what is left")
    credit_lost: YesNo | None = Field(None, title="Chance that a credit is never paid out")
    paid_over: PaidOver | None = Field(None, title="The buyer pays over time")
    divided: dict[str, Money] = Field(
        default_factory=dict, title="How the contract divides the price over the items sold; left out: by their cost"
    )
    buyer_related: bool = Field(
        False, title="Is the buyer family, or a business of which the sellers own more than half?"
    )
    written: Day | None = Field(None, title="Day of the offer")
    valid_days: int | None = Field(None, ge=1, le=3660, title="Days the offer stands from the day it was written")


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


class _Step(Frozen):
    on: Day = Field(title="Day it happens", description="of a purchase or an upgrade: the day it is in service")
    when: str | None = Field(None, title="Only if this comes true: an event by its name, or a part and the word renews")
    done: bool = Field(False, title="Already done")


class Sell(_Step):
    """Sell a machine."""

    do: Literal["sell"] = Field(title="What is done")
    machine: str = Field(title="Machine")
    by: str = Field(title="Name of the offer")
    rolled_into: str | None = Field(None, title="Financing that takes in what the price does not cover")


class Buy(_Step):
    """Buy a machine: `on` is the day it is accepted and in service."""

    do: Literal["buy"] = Field(title="What is done")
    machine: str = Field(title="Machine")
    ordered: Day | None = Field(None, title="Day it is ordered")
    shipped: Day | None = Field(None, title="Day it is shipped")
    pay: list[str] = Field(default_factory=list, title="Names of the financing")
    section_179: Money | Literal["all", "none"] = Field("none", title="Section 179 deduction elected")
    bonus: Literal["by law", "elected out", "reduced"] = Field("by law", title="Bonus depreciation")


class Improve(_Step):
    """Fit an improvement: `on` is the day it is in service."""

    do: Literal["improve"] = Field(title="What is done")
    improvement: str = Field(title="Upgrade")
    pay: list[str] = Field(default_factory=list, title="Names of the financing")
    section_179: Money | Literal["all", "none"] = Field("none", title="Section 179 deduction elected")
    bonus: Literal["by law", "elected out", "reduced"] = Field("by law", title="Bonus depreciation")


class Spend(_Step):
    """Money that goes out (or comes in, `do: earn`): once on a day, or so much a year from that day on."""

    do: Literal["spend", "earn"] = Field(title="What is done")
    what: str = Field(title="What it is, in a few words")
    once: Money | None = Field(None, title="amount, once")
    a_year: MoneyPerYear | None = Field(None, title="amount a year")
    growth: Rate | None = Field(None, title="growth a year")
    until: Day | None = Field(None, title="Last day; left out: the end of the study")
    quantity: Factor | None = Field(None, title="quantity (pieces, hours) the amount is multiplied by")
    taxed: bool = Field(
        True,
        title="Deducted, or taxed, at once",
        description="no: money put into stock or a deposit and taken out again",
    )


Step = Annotated[Sell | Buy | Improve | Spend, Field(discriminator="do")]


class Flat(Frozen):
    """The textbook regime: one rate, tax in the period of the flow."""

    tax_rate: Rate = Field(title="The one tax rate")
    losses: Literal["lower other tax", "carried forward"] = Field(
        "lower other tax",
        title="What a loss does",
        description="lower other tax: at once, on income from elsewhere; carried forward: set against later income",
    )


class Exposure(Frozen):
    """A piece of one person's working day, for the noise of it: at a machine, or at a level of its own."""

    hours: Hours = Field(title="Hours a day")
    level: Decibels | None = Field(None, title="Noise at the ear [dBA]")
    machine: str | None = Field(
        None,
        title="... or the machine whose noise it is",
        description="a machine in question stands for what does its work in each course",
    )


class Criterion(Frozen):
    """Something that is not money and may be weighed: its range, what each course has of it, each partner's weight."""

    worst: Factor = Field(
        title="Worst value that could be had", description="below the best, or above it where less is better"
    )
    best: Factor = Field(title="Best value that could be had")
    values: dict[str, Factor] = Field(title="Value of each course, by its name")
    weights: dict[str, Factor] = Field(
        default_factory=dict,
        title="What the swing from worst to best is worth to each partner",
        description="any scale; left out: all criteria count alike",
    )


class Doubt(Frozen):
    """How an input with a range is drawn, or how two of them go together; left out: PERT, each on its own."""

    of: list[str] = Field(
        min_length=1,
        max_length=2,
        title="Input by its path; two for a correlation",
        description="names with full stops between: machines.MC-1.upkeep.growth",
    )
    shape: Literal["PERT", "triangular", "uniform", "normal", "lognormal", "logged"] | None = Field(
        None,
        title="Shape of the doubt",
        description="normal and lognormal: low and high are the points with 5 % below and 5 % above",
    )
    log: str | None = Field(None, title="CSV file of one column with values seen, written as here (shape: logged)")
    correlation: float | None = Field(
        None, ge=-1, le=1, title="Correlation of the two, from -1 to 1", description="of their normal scores"
    )


class Guess(Frozen):
    """One input as one partner sees it."""

    of: str = Field(title="Input by its path", description="names with full stops between: machines.MC-1.upkeep.growth")
    value: str = Field(title="What this partner believes it is, in the input's unit")


class Scenario(Frozen):
    """One decision written down."""

    title: str = Field(title="The decision in one line")
    decision_date: Day = Field(title="Day the decision is taken; present worth is counted to it")
    currency: str = Field("USD", title="Currency of every amount of money", pattern="^[A-Z]{3}$")
    regime: Literal["us", "flat"] = Field("us", title="Tax rules: of the United States, or one flat rate")
    machine_in_question: list[str] = Field(min_length=1, title="Machine or machines the decision is about")
    study: Study = Field(title="How far to look ahead, and what money is worth")
    shop: Shop = Field(title="The business")
    owners: dict[str, Owner] = Field(default_factory=dict, title="Who owns it, by name")
    flat: Flat | None = Field(None, title="The flat rate, where regime is flat")
    machines: dict[str, Machine] = Field(title="Machines owned, and machines that could be bought, by name")
    improvements: dict[str, Improvement] = Field(default_factory=dict, title="Upgrades that could be fitted, by name")
    parts: dict[str, Part] = Field(default_factory=dict, title="What is made and sold, by name")
    offers: dict[str, Offer] = Field(default_factory=dict, title="Ways to sell a machine, by name")
    financing: dict[str, Financing] = Field(default_factory=dict, title="Loans on offer, by name")
    events: dict[str, YesNo] = Field(
        default_factory=dict, title="What may come true or not, on which steps may hang (`when:`), by name"
    )
    gates: dict[str, dict[str, bool]] = Field(
        default_factory=dict, title="What a course must pass, by name: yes or no for each course"
    )
    working_day: dict[str, Exposure] = Field(
        default_factory=dict, title="One person's working day, piece by piece, for its noise"
    )
    criteria: dict[str, Criterion] = Field(
        default_factory=dict,
        title="What is not money and may be weighed, by name",
        description="nothing that is in the money already",
    )
    alternatives: dict[str, list[Step]] = Field(title="Courses of action: dated steps; keep is the empty list")
    doubts: list[Doubt] = Field(default_factory=list, title="Shapes and correlations of doubtful inputs")
    guesses: dict[str, list[Guess]] = Field(
        default_factory=dict, title="Partners who see some inputs differently, by name"
    )
    notes: list[str] = Field(default_factory=list, title="Remarks for the reader")
    _source: Source = PrivateAttr(default_factory=Source)

    def doubt(self, path: str) -> Amount:
        """Return the yes/no doubt at `path` (``events.<name>`` or ``parts.<name>.renews``). Raises KeyError where there is none."""
        section, name = path.split(".")[:2]
        found = self.events.get(name) if section == "events" else self.parts[name].renews
        if found is None:
            raise KeyError(f"no yes/no doubt {path}")
        return found

    @property
    def source(self) -> Source:
        """The file it was read from: name, folder (other files are named relative to it), place of each path."""
        return self._source
