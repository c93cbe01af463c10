"""The optimizer: `solve` is its only door."""
