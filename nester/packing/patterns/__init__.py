"""Pattern generation: methods that fill one sheet with pieces. Imports `task` and `runtime`."""
