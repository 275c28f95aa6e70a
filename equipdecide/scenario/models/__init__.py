"""The scenario: one decision written down. Labels, hints, units, bounds and defaults stand here, once.

The starter file, the fifteen questions, the form, the JSON Schema and the error messages all read them from these
models. Everything is frozen; a changed scenario is a copy.
"""

from equipdecide.scenario.models.assets import Asset, Casualty, EarlierUse, Method
from equipdecide.scenario.models.base import Frozen
from equipdecide.scenario.models.business import AsThingsAre, Filing, Flat, OwnBooks, Owner, Shop, State, Study, TaxedAs
from equipdecide.scenario.models.decision import Scenario
from equipdecide.scenario.models.loans import EarlyCharge, Financing, FinancingKind, Loan, PaymentStep, PayoffLetter
from equipdecide.scenario.models.machines import Changes, Improvement, Machine, Market
from equipdecide.scenario.models.offers import Offer, PaidOver, PriceStep, Route
from equipdecide.scenario.models.parts import FallingShort, Part
from equipdecide.scenario.models.running import Attended, Crashes, NightChanges, Nights, Ramp, Running, Times, Upkeep
from equipdecide.scenario.models.steps import Buy, Improve, Sell, Spend, Step
from equipdecide.scenario.models.weighed import Criterion, Doubt, Exposure, Guess, Quieter

__all__ = [
    "AsThingsAre",
    "Asset",
    "Attended",
    "Buy",
    "Casualty",
    "EarlierUse",
    "Changes",
    "Crashes",
    "Criterion",
    "Doubt",
    "EarlyCharge",
    "Exposure",
    "FallingShort",
    "Filing",
    "Financing",
    "FinancingKind",
    "Flat",
    "Frozen",
    "Guess",
    "Improve",
    "Improvement",
    "Loan",
    "Machine",
    "Market",
    "Method",
    "NightChanges",
    "Nights",
    "Offer",
    "OwnBooks",
    "Owner",
    "PaidOver",
    "Part",
    "PaymentStep",
    "PayoffLetter",
    "PriceStep",
    "Quieter",
    "Ramp",
    "Route",
    "Running",
    "Scenario",
    "Sell",
    "Shop",
    "Spend",
    "State",
    "Step",
    "Study",
    "TaxedAs",
    "Times",
    "Upkeep",
]
