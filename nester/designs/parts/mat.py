"""A mat: a decorative facing, smaller than what it is glued to by the reveal."""

from __future__ import annotations

from nester.core.lengths import Length, Unit, mm
from nester.core.piece import Piece
from nester.designs.base.design import Settings
from nester.designs.base.limits import check_at_most

__all__ = ["SMALLEST_MAT", "check_reveal", "mat", "mats"]

SMALLEST_MAT: Length = mm(5)
"""Nothing smaller can be cut and glued (common practice, no source)."""


def check_reveal(settings: Settings, side: Length, fault: str, unit: Unit, layers: int = 1) -> None:
    """Refuse a reveal that leaves less than `SMALLEST_MAT` of the topmost mat.

    Parameters
    ----------
    side
        Shorter side of the face that the lowest mat is glued to.
    fault
        What it leaves too little of, as the end of a sentence: ``leaves no mat on a flap``.
    layers
        How many mats are glued on one another.
    """
    check_at_most(settings, "reveal", (side - SMALLEST_MAT) // layers, fault, unit)


def mat(
    name: str, role: str, width: Length, length: Length, reveal: Length, quantity: int = 1
) -> Piece:
    """Make the mats for a face of `width` × `length`.

    Parameters
    ----------
    reveal
        How much smaller the mat is than the face, each way: half of it shows on every side.
        Less than the shorter side.
    quantity
        How many such faces there are.
    """
    return Piece.rectangle(
        name,
        role,
        width - reveal,
        length - reveal,
        quantity=quantity,
        upright=True,
        mounted=True,
        note="Glue its whole back, in the middle of its panel." if reveal else "",
    )


def mats(
    name: str,
    role: str,
    width: Length,
    length: Length,
    reveal: Length,
    quantity: int = 1,
    layers: int = 1,
) -> tuple[Piece, ...]:
    """Make mats on mats, each smaller than the one under it by the reveal.

    The lowest has the name and role given; those on it have their number behind both.
    """
    made = [mat(name, role, width, length, reveal, quantity)]
    for layer in range(2, layers + 1):
        reduction = (layer - 1) * reveal
        made.append(
            mat(
                f"{name} {layer}",
                f"{role}.{layer}",
                width - reduction,
                length - reduction,
                reveal,
                quantity,
            )
        )
    return tuple(made)
