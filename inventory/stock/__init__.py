"""Papers, sheets, offcuts, places, supplies, and the ledger by which they change."""
