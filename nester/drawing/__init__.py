"""Pieces and layouts as pictures."""
