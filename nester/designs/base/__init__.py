"""What a design is: settings, pieces, clearances, folding, thickness.

Imports only `nester.core`.
"""
