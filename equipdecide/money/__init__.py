"""Loans, the settlement of a sale, and what a purchase is paid with. Rules that post to a ledger."""
