"""Moments as people read them, by the clock of this machine."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from datetime import datetime

__all__ = ["local_day", "local_time"]


def local_time(at: datetime) -> str:
    """Write a moment to the minute: ``2027-03-14 18:05``."""
    return at.astimezone().strftime("%Y-%m-%d %H:%M")


def local_day(at: datetime) -> str:
    """Write the day of a moment: ``2027-03-14``."""
    return at.astimezone().date().isoformat()
