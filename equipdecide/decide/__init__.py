"""Deciding: alternatives side by side, a sale by every route, hours, what flips the answer, how sure it is.

Everything here reads ledgers and runs them again at other inputs; no figure is made anywhere else.
"""
