"""The tables, one file a subject."""
