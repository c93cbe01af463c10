"""Prices, suppliers, levels, purchases and what to buy as lists and data."""
