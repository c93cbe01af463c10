"""Money, text, dates, files: what the book needs and knows no table. Imports only `nester.core`."""
