"""Orders, batches, plans, cuts and designs as lists and data."""
