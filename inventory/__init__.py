"""Quirebox: the shop's book of paper, orders and batches, and its faces."""
