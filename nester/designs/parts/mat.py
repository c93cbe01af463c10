"""A mat: a decorative facing, smaller than what it is glued to by the reveal."""

from __future__ import annotations

from nester.core.lengths import Length
from nester.core.piece import Piece

__all__ = ["mat", "mats"]


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
    """Make mats on mats, each smaller than what it lies on by the reveal.

    The lowest has the name and role given; those on it have their number behind both.
    """
    made = [mat(name, role, width, length, reveal, quantity)]
    for layer in range(2, layers + 1):
        cut = (layer - 1) * reveal
        made.append(
            mat(f"{name} {layer}", f"{role}.{layer}", width - cut, length - cut, reveal, quantity)
        )
    return tuple(made)
