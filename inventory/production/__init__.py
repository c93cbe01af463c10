"""Batches: planning, booking, cutting, spoiling, undoing.

Imports `orders`, `purchasing` and below.
"""
