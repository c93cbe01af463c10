"""Pieces, layouts and whole objects as pictures and full-size templates."""
