"""Backups, archives and the check of the whole book. Imports `stock` and below."""
