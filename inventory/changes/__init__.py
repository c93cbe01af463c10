"""What changes booked orders and plans, and what undoes it. Imports `production` and below."""
