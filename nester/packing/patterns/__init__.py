"""Pattern generation: methods that lay one sheet. Imports `task` and `runtime`."""
