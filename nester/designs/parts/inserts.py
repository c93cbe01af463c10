"""What goes inside a box: pull-out cards and photo prints."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

from nester.core.lengths import Length
from nester.core.piece import Hole, Piece, Point

__all__ = ["PunchedHole", "photo_prints", "pull_out_cards", "with_hole"]


class PunchedHole(NamedTuple):
    """A hole for a ribbon, in the middle of a card's upper edge.

    Attributes
    ----------
    diameter
        Of the hole.
    edge_distance
        Paper between the hole and the card's edge.
    eyelet
        Whether an eyelet is set into it.
    """

    diameter: Length
    edge_distance: Length
    eyelet: bool


def pull_out_cards(side: Length, quantity: int, punch: PunchedHole | None = None) -> Piece:
    """Make square cards that slide into the pockets of a tier, with a hole for a ribbon loop."""
    card = Piece.rectangle("pull-out card", "card", side, side, quantity=quantity)
    if punch is None:
        return card
    return replace(
        with_hole(card, side, punch), note="Tie the ribbon through the hole, at the pocket's mouth."
    )


def with_hole(piece: Piece, side: Length, punch: PunchedHole) -> Piece:
    """Punch a card, or a mat glued in the middle of it, where the card has its hole.

    Parameters
    ----------
    piece
        The card or the mat; a mat that does not reach under the hole stays whole.
    side
        Side of the card.
    """
    edge_distance = punch.edge_distance - (side - piece.height) // 2
    if edge_distance < 0:
        return piece
    centre = Point(piece.width // 2, edge_distance + punch.diameter // 2)
    hole = Hole(centre, punch.diameter, eyelet=punch.eyelet)
    return replace(piece, holes=(hole,))


def photo_prints(side: Length, quantity: int) -> Piece:
    """Make square photo prints, which stand upright."""
    return Piece.rectangle(
        "photo", "photo", side, side, quantity=quantity, upright=True, mounted=True
    )
