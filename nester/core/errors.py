"""What Quirebox says when it is asked for something it can't do."""

from __future__ import annotations

__all__ = ["Refusal"]


class Refusal(ValueError):
    """A user's mistake; its text is one clear sentence: what is wrong, where, what would be right.

    Whoever raises it has changed nothing.
    """
