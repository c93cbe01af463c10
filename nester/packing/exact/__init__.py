"""Exact methods for few items: feasible patterns, enumerated. Imports `task` and `runtime`."""
