"""The built-in boxes, one file each. Imports `parts` and `base`."""
