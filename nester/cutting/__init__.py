"""From a layout to the order of cuts."""
