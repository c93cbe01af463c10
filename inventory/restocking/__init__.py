"""What to buy, from whom and by when. Imports `production` and below."""
