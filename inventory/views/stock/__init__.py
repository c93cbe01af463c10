"""Papers, places, the stash, deliveries, stocktakes and supplies as lists and data."""
