"""Orders made whole or not at all: a Benders master over papers. Imports `search` and below."""
