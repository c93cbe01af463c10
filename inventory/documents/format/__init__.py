"""Blocks of a document on pages, in HTML, workbooks and terminals; languages."""
