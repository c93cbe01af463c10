"""Lower bounds and valid inequalities. Imports `exact`, `patterns`, `task` and `runtime`."""
