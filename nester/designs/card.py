"""A folded card's blank."""

from __future__ import annotations

from enum import StrEnum

from nester.measure import Length
from nester.pieces import Fold, Line, Piece, Point, Score

__all__ = ["Opens", "single_fold"]


class Opens(StrEnum):
    """Where a card is folded, seen from its front."""

    SIDE = "side"
    """The fold is on the left, as in a book."""
    UP = "up"
    """The fold is at the top, as in a tent."""


def single_fold(width: Length, height: Length, opens: Opens) -> Piece:
    """Make a card that is `width` × `height` when folded once.

    The face is the outside, so the card folds away from it.  The front is the right half of a
    card that opens to the side, and the lower half of one that opens up.
    """
    if opens is Opens.SIDE:
        fold, wide, high = Line(Point(width, 0), Point(width, height)), 2 * width, height
    else:
        fold, wide, high = Line(Point(0, height), Point(width, height)), width, 2 * height
    return Piece.rectangle(
        "card",
        "card",
        wide,
        high,
        upright=True,
        scores=(Score(fold, Fold.MOUNTAIN),),
        note="Score before folding; the fold cracks less along the grain.",
    )
