"""The commands about what is on hand: papers, sheets, offcuts, stash, places, supplies."""
