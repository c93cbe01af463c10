"""The cheapest purchase together with the cutting. Imports `search` and below."""
