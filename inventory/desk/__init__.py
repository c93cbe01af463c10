"""The faces of the shop: the command line."""
