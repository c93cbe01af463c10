"""Durations as people write them: minutes, hours."""

from __future__ import annotations

import re
from decimal import Decimal
from fractions import Fraction

from inventory.core.limits import LONGEST_ASSEMBLY
from inventory.core.text import shorten
from nester.core.errors import Refusal

__all__ = [
    "MOST_MINUTES",
    "format_minutes",
    "read_minutes",
    "read_time_taken",
]
MOST_MINUTES = 24 * 60
"""Of one report."""
_MINUTES = re.compile(r"([0-9]{1,9}(?:[.,][0-9]{1,4})?)\s*(min|h)?", re.IGNORECASE)


def read_minutes(text: str, what: str) -> Decimal:
    """Read a time: ``90``, ``90 min`` or ``1.5 h``; a bare number is in minutes.

    Raises
    ------
    Refusal
        If it can't be read, or is more than 100,000 minutes.
    """
    match = _MINUTES.fullmatch(text.strip())
    if match is None:
        raise Refusal(f"{what} must be a time such as 90 min or 1.5 h, not '{shorten(text)}'")
    minutes = Decimal(match[1].replace(",", ".")) * (
        60 if (match[2] or "").casefold() == "h" else 1
    )
    if minutes > LONGEST_ASSEMBLY:
        raise Refusal(f"{what} '{shorten(text)}' is more than {LONGEST_ASSEMBLY:,} minutes")
    return minutes


def format_minutes(minutes: Fraction | int) -> str:
    """Write a time to the minute: ``90 min`` is ``1 h 30 min``."""
    hours, rest = divmod(round(minutes), 60)
    return f"{hours} h {rest} min" if hours else f"{rest} min"


def read_time_taken(text: str) -> int:
    """Read how long cutting took, such as ``25``, ``7.5`` or ``1.5 h``, as seconds.

    Raises
    ------
    Refusal
        If it is no time above zero and at most a day.
    """
    try:
        seconds = round(60 * read_minutes(text, "the time"))
    except Refusal:
        seconds = 0
    if not 1 <= seconds <= MOST_MINUTES * 60:
        raise Refusal(
            f"'{text[:20]}' can't be the minutes that cutting took; give a number above zero and"
            f" up to {MOST_MINUTES}, such as 25 or 7.5"
        )
    return seconds
