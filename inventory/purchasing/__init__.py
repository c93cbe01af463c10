"""Suppliers, prices, purchases and goods receipts. Imports `stock` and `shop`."""
