"""Where the files that travel with the program lie."""

from __future__ import annotations

from pathlib import Path

__all__ = ["demo_folder", "migrations_folder"]

_PACKAGE = Path(__file__).resolve().parents[1]


def migrations_folder() -> Path:
    """Return the folder of the database migrations."""
    return _find("_migrations", "migrations")


def demo_folder() -> Path:
    """Return the folder of the demo shop's data."""
    return _find("_demo_data", "demo_data")


def _find(installed: str, in_checkout: str) -> Path:
    """Look beside the code first, as the wheel packs it, then at the top of a checkout."""
    packed = _PACKAGE / installed
    return packed if packed.is_dir() else _PACKAGE.parent / in_checkout
