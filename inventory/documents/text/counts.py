"""Counting things in words."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

__all__ = ["tally"]


def tally(names: Iterable[str]) -> str:
    """Write names with their counts: ``tier 1, 4 card``."""
    counts = Counter(names)
    return ", ".join(f"{n} {name}" if n > 1 else name for name, n in counts.items())
