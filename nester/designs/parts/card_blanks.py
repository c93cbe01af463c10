"""The blanks of folded cards."""

from __future__ import annotations

from enum import StrEnum

from nester.core.lengths import Length
from nester.core.piece import Fold, Grain, Line, Piece, Point, Score

__all__ = ["Opening", "gate_fold", "single_fold"]


class Opening(StrEnum):
    """Where a card is folded, seen from its front."""

    SIDE = "side"
    """The fold is on the left, as in a book; the folds of a gatefold are left and right."""
    UP = "up"
    """The fold is at the top, as in a tent; the folds of a gatefold are top and bottom."""


def single_fold(width: Length, height: Length, opens: Opening) -> Piece:
    """Make a card that is `width` × `height` when folded once.

    The face is the outside, so the card folds away from it.  The front is the right half of a
    card that opens to the side, and the lower half of one that opens up.
    """
    if opens is Opening.SIDE:
        return _card_blank(2 * width, height, (width,), opens)
    return _card_blank(width, 2 * height, (height,), opens)


def gate_fold(width: Length, height: Length, gate: Length, opens: Opening) -> Piece:
    """Make a card that is `width` × `height` when its two gates are folded to the front.

    The face is the outside.  The back is in the middle of the blank, a gate on either side of
    it.

    Parameters
    ----------
    gate
        How far each gate reaches over the card; at most half of it.
    """
    if opens is Opening.SIDE:
        return _card_blank(width + 2 * gate, height, (gate, gate + width), opens)
    return _card_blank(width, height + 2 * gate, (gate, gate + height), opens)


def _card_blank(wide: Length, high: Length, folds: tuple[Length, ...], opens: Opening) -> Piece:
    """Make a blank with mountain folds, upright ones if it opens to the side."""
    if opens is Opening.SIDE:
        lines = [Line(Point(at, 0), Point(at, high)) for at in folds]
    else:
        lines = [Line(Point(0, at), Point(wide, at)) for at in folds]
    return Piece.rectangle(
        "card",
        "card",
        wide,
        high,
        upright=True,
        grain=Grain.HEIGHT if opens is Opening.SIDE else Grain.WIDTH,
        scores=tuple(Score(line, Fold.MOUNTAIN, 180) for line in lines),
    )
