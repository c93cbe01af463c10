"""What a plan puts on paper: cut lists, take-out lists, shopping lists."""
