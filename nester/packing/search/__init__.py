"""The search for one problem: column generation, diving, ruin and recreate, set covering.

May import task, runtime, exact, patterns and bounds.
"""
