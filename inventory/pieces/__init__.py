"""Cut pieces: which order has which, and which are spare. Imports `orders` and below."""
