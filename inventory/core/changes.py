"""Whether this run has changed anything that lasts: a shop, a file.

A command whose output is lost must know it, so that it does not call a failure what is done.
"""

from __future__ import annotations

__all__ = ["forget_changes", "has_changed", "note_change"]

_changed = False


def note_change() -> None:
    """Say that something was stored."""
    global _changed
    _changed = True


def has_changed() -> bool:
    """Whether something was stored since `forget_changes`."""
    return _changed


def forget_changes() -> None:
    """Start again from nothing, as a run of the command does."""
    global _changed
    _changed = False
