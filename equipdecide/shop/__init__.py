"""What the shop does with its machines: hours, contribution, upkeep, resale. Rules that post to a ledger."""
