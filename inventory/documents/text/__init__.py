"""Sentences and tables that both faces show."""
