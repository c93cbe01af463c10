"""What goes inside a box: pull-out cards and photo prints."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

from nester.core.lengths import Length
from nester.core.piece import Hole, Piece, Point

__all__ = ["Punch", "photo_prints", "pull_out_cards", "punched"]


class Punch(NamedTuple):
    """A hole for a ribbon, in the middle of a card's upper edge.

    Attributes
    ----------
    diameter
        Of the hole.
    from_edge
        Paper between the hole and the card's edge.
    eyelet
        Whether an eyelet is set into it.
    """

    diameter: Length
    from_edge: Length
    eyelet: bool


def pull_out_cards(side: Length, quantity: int, punch: Punch | None = None) -> Piece:
    """Make square cards that slide into the pockets of a tier, with a hole for a ribbon loop."""
    card = Piece.rectangle("pull-out card", "card", side, side, quantity=quantity)
    if punch is None:
        return card
    return replace(
        punched(card, side, punch), note="Tie the ribbon through the hole, at the pocket's mouth."
    )


def punched(piece: Piece, side: Length, punch: Punch) -> Piece:
    """Punch a card, or a mat that lies in the middle of it, where the card has its hole.

    Parameters
    ----------
    piece
        The card or the mat; a mat that does not reach under the hole stays whole.
    side
        Side of the card.
    """
    down = punch.from_edge - (side - piece.height) // 2
    if down < 0:
        return piece
    centre = Point(piece.width // 2, down + punch.diameter // 2)
    hole = Hole(centre, punch.diameter, eyelet=punch.eyelet)
    return replace(piece, holes=(hole,))


def photo_prints(side: Length, quantity: int) -> Piece:
    """Make square photo prints, which stand upright."""
    return Piece.rectangle(
        "photo", "photo", side, side, quantity=quantity, upright=True, mounted=True
    )
