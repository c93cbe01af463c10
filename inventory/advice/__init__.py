"""What to make, at which size, of what is here. Imports `production` and below."""
