"""What Quirebox says when it is asked for something it can't do."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Hint", "Refusal"]


@dataclass(frozen=True)
class Hint:
    """What to do about a refusal, for a face to show its own way: as a command, or as a link.

    Attributes
    ----------
    purpose
        What it is good for, as the end of a sentence: ``make one``.
    action
        The noun and the verb: ``shop new``.
    arguments
        What follows them: ``("3",)``.
    """

    purpose: str
    action: str
    arguments: tuple[str, ...] = ()


class Refusal(ValueError):
    """A user's mistake; its text is one clear sentence: what is wrong, where, what would be right.

    Whoever raises it has changed nothing.

    Attributes
    ----------
    hint
        What to do about it, if some action of the program helps.
    """

    def __init__(self, text: str, hint: Hint | None = None) -> None:
        super().__init__(text)
        self.hint = hint

    def at(self, place: str) -> Refusal:
        """Return the same refusal with the place in front: ``orders.csv, line 3: …``."""
        return Refusal(f"{place}: {self}", self.hint)
