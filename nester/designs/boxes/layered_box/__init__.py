"""The layered box: cross-shaped tiers, lids and mats. Imports `parts` and `base`."""
