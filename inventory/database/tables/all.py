"""All tables of the book, for what looks through the whole of it.

Each table takes a few milliseconds to make, so a plain command reads in only those that it uses.
"""

from __future__ import annotations

from inventory.database.tables import (  # noqa: F401 - each adds its own
    costs,
    ledger,
    orders,
    production,
    purchasing,
    shop,
    stock,
    supplies,
)
from inventory.database.tables.base import Base

__all__ = ["METADATA"]

METADATA = Base.metadata
