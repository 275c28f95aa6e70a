"""Measures of worth on cash flows: present and annual worth, rates of return, payback, economic life.

Flows are arrays with time first: shape (periods,) for one series or (periods, trials) for many; ``t`` of shape
(periods,) says when each flow falls, in years from the date of the study. Positive is money in. Rates are per year,
compounded once a year, so the factor that brings a dollar at time t to time zero is ``(1 + rate) ** -t``. Flows and
rates must both be in actual dollars, or both in constant dollars.

One series gives plain floats; many give arrays of shape (trials,), and trial i equals the series of trial i alone.
"""

from equipdecide.measures.life import (
    EconomicLife,
    Keep,
    Renewal,
    Replacement,
    economic_life,
    replacement_by_age,
    replacement_by_vintage,
    years_to_keep,
)
from equipdecide.measures.other import (
    Payback,
    external_rate,
    modified_rate,
    payback,
    profitability_index,
    savings_to_investment,
)
from equipdecide.measures.rates import (
    effective_rate,
    market_rate,
    nominal_rate,
    present_worth_deviation,
    real_rate,
    three_point_mean,
)
from equipdecide.measures.returns import BatchRates, Rates, gives_up, rates_of_return, rates_of_return_batch
from equipdecide.measures.worth import annual_worth, capital_recovery_factor, discount_factors, present_worth

__all__ = [
    "BatchRates",
    "EconomicLife",
    "Keep",
    "Payback",
    "Rates",
    "Renewal",
    "Replacement",
    "annual_worth",
    "capital_recovery_factor",
    "discount_factors",
    "economic_life",
    "effective_rate",
    "external_rate",
    "gives_up",
    "market_rate",
    "modified_rate",
    "nominal_rate",
    "payback",
    "present_worth",
    "present_worth_deviation",
    "profitability_index",
    "rates_of_return",
    "rates_of_return_batch",
    "real_rate",
    "replacement_by_age",
    "replacement_by_vintage",
    "savings_to_investment",
    "three_point_mean",
    "years_to_keep",
]
