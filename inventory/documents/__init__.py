"""Papers for the table and the shop, made of plain data.

Only `plan/facts_from_book.py` asks the book.
"""
