"""Questions about a design over many sizes and quantities. Imports all of `nester`."""
