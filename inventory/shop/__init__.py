"""The shop's own settings."""
