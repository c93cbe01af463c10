"""What a box costs and what it is sold for. Imports `production` and below."""
