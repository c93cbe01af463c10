"""The search for one problem: column generation, diving, ruin and recreate, set covering.

Imports all below it.
"""
