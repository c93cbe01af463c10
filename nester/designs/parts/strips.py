"""Strips: facings that run round the walls of a lid."""

from __future__ import annotations

from nester.core.lengths import Length
from nester.core.piece import Piece
from nester.designs.parts.walled import WalledBase

__all__ = ["lid_strips"]


def lid_strips(called: str, role: str, shape: WalledBase, reveal: Length) -> tuple[Piece, ...]:
    """Make the strips for the four walls of a lid.

    They are as long as their walls, so that they meet at the corners, and lower by the reveal,
    so that half of it shows above and half below.

    Parameters
    ----------
    called
        The name of the lid.
    shape
        The lid's base and walls.
    """
    high = shape.wall_height - reveal

    def made(name: str, wide: Length, quantity: int) -> Piece:
        return Piece.rectangle(name, role, wide, high, quantity=quantity, upright=True)

    if shape.width == shape.length:
        return (made(f"strip {called}", shape.width, 4),)
    return (
        made(f"strip {called}", shape.width, 2),
        made(f"strip {called} side", shape.length, 2),
    )
