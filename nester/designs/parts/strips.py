"""Strips: facings that run round the walls of a lid."""

from __future__ import annotations

from nester.core.lengths import Length, Unit, format_length, mm
from nester.core.piece import Piece
from nester.designs.base.design import Settings
from nester.designs.base.limits import check_at_most
from nester.designs.parts.walled import WalledBase

__all__ = ["check_lid_strips", "lid_strips"]

SMALLEST_STRIP: Length = mm(2)


def check_lid_strips(settings: Settings, wall: Length, unit: Unit) -> None:
    """Refuse a reveal that leaves no strip on a lid's wall of height `wall`."""
    fault = f"leaves no strip on a lid's wall of {format_length(wall, unit)}"
    check_at_most(settings, "reveal", wall - SMALLEST_STRIP, fault, unit)


def lid_strips(lid_name: str, role: str, shape: WalledBase, reveal: Length) -> tuple[Piece, ...]:
    """Make the strips for the four walls of a lid.

    They are as long as their walls, so that they meet at the corners, and lower by the reveal,
    half of which shows above and half below.

    Parameters
    ----------
    lid_name
        What the lid is called.
    shape
        The lid's base and walls.
    """
    height = shape.wall_height - reveal

    def strip(name: str, width: Length, quantity: int) -> Piece:
        return Piece.rectangle(name, role, width, height, quantity=quantity, upright=True)

    if shape.width == shape.length:
        return (strip(f"strip {lid_name}", shape.width, 4),)
    return (
        strip(f"strip {lid_name}", shape.width, 2),
        strip(f"strip {lid_name} side", shape.length, 2),
    )
