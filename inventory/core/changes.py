"""What this run has changed that lasts: a shop, a file.

A command whose output is lost must know it, so that it does not call a failure what is done; and
programs are told which entries of the history a command made.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

__all__ = ["ENTRIES", "entries_made", "forget_changes", "has_changed", "note_change"]

ENTRIES = "entries"
"""Under which a session keeps the numbers of the entries that it books."""
_changed = False
_entries: list[int] = []


def note_change(entries: Iterable[int] = ()) -> None:
    """Say that something was stored, and under which entries of the shop's history."""
    global _changed
    _changed = True
    _entries.extend(entries)


def entries_made() -> list[int]:
    """Return the entries that were stored since `forget_changes`."""
    return list(_entries)


def has_changed() -> bool:
    """Whether something was stored since `forget_changes`."""
    return _changed


def forget_changes() -> None:
    """Start again from nothing, as a run of the command does."""
    global _changed
    _changed = False
    _entries.clear()
