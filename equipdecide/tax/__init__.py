"""What the tax books do with the plan: depreciation, gain, each owner's return, payments on their days.

Estimates for a decision, not tax advice: a preparer confirms them. One rule a module, in the order of
:mod:`equipdecide.evaluate`; every figure of law comes from :mod:`equipdecide.parameters` with its source.
"""
