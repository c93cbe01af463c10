"""The built-in cards, envelopes and tags, one file each. Imports `parts` and `base`."""
