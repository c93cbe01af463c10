"""How large what the shop keeps may be; commands, import and check all hold to these."""

from __future__ import annotations

from decimal import Decimal

from nester.core.lengths import Length, mm

__all__ = [
    "HEAVIEST",
    "LARGEST_PRINT",
    "LARGEST_RATE",
    "LONGEST_ASSEMBLY",
    "LONGEST_REEL",
    "MAX_CALIPER",
    "MAX_DEPTH",
    "MAX_GRAMMAGE",
    "MAX_LEAD_DAYS",
    "MAX_PRICE_SHARE",
    "MIN_CALIPER",
    "MOST_PARTS",
    "MOST_STAGES",
    "NOBODY",
    "RATE_DECIMALS",
]

MAX_GRAMMAGE = 2000
"""g/m²; board that is heavier is cut with other tools (common practice, no source)."""
MIN_CALIPER: Length = mm("0.01")
MAX_CALIPER: Length = mm(5)
"""A caliper beyond these is a slip of the unit (common practice, no source)."""
MAX_DEPTH = 20
"""So many places stand in each other at most."""
MOST_STAGES = 100
"""Nobody turns paper more often until a piece is free."""

MAX_LEAD_DAYS = 365
LARGEST_RATE = Decimal(10**6)
RATE_DECIMALS = 10

LONGEST_REEL: Length = mm(1_000_000)
MOST_PARTS = 1_000_000_000
"""Of a supply, in the smallest parts of its measure: thousandths of its unit."""

LARGEST_PRINT: Length = mm(5000)
HEAVIEST = Decimal(1_000_000)
"""Grams."""
LONGEST_ASSEMBLY = Decimal(100_000)
"""Minutes: ten weeks."""
MAX_PRICE_SHARE = 99
"""Percent of the price that fees and margin may take together: something must pay for the box."""

NOBODY = 0
"""Stands for the number of an order where a piece is for none: once cut, it is a spare piece."""
