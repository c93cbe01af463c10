"""What goes inside a box: pull-out cards and photo prints."""

from __future__ import annotations

from nester.measure import Length
from nester.pieces import Piece

__all__ = ["photo_prints", "pull_out_cards"]


def pull_out_cards(side: Length, quantity: int) -> Piece:
    """Make square cards that slide into the pockets of a tier."""
    return Piece.rectangle("pull-out card", "card", side, side, quantity=quantity)


def photo_prints(side: Length, quantity: int) -> Piece:
    """Make square photo prints, which stand upright."""
    return Piece.rectangle("photo", "photo", side, side, quantity=quantity, upright=True)
