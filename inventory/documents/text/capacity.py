"""How much could be made, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from nester.packing.orders.most_copies import CopiesRange

__all__ = ["number_words"]


def number_words(copies: CopiesRange) -> str:
    """Write how many can be made: ``3``, or ``at least 3, at most 5``."""
    if copies.is_optimal:
        return str(copies.lower_bound)
    return f"at least {copies.lower_bound}, at most {copies.upper_bound}"
