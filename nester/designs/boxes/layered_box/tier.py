"""A tier: the cross-shaped layer of a box that falls open when the lid is lifted."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

from nester.core.lengths import Length
from nester.core.piece import Fold, Line, Piece, Point, Score
from nester.designs.parts.walled import Corner, WalledBase, mirrored

__all__ = [
    "CORNERS",
    "FLAPS",
    "FLAPS_ANTICLOCKWISE",
    "OPEN",
    "POCKETS",
    "Pocket",
    "pocket_room",
    "tier",
]

OPEN = "open"
"""The corners of the blank are cut away."""
FLAPS = "flaps"
"""The corners stay on as flaps; each folds over the next wall, clockwise."""
FLAPS_ANTICLOCKWISE = "flaps-anticlockwise"
"""The same, anticlockwise."""
POCKETS = "pockets"
"""The corners stay on, and are glued down as pockets."""
CORNERS = (OPEN, FLAPS, FLAPS_ANTICLOCKWISE, POCKETS)


class Pocket(NamedTuple):
    """How pockets are cut and glued.

    Attributes
    ----------
    trim
        How much a pocket is cut back beside the base and beside the next wall, so that it does
        not jam in the folds.
    glue_width
        Width of the glue along two of its edges.
    """

    trim: Length
    glue_width: Length


def pocket_room(shape: WalledBase, pocket: Pocket) -> tuple[Length, Length]:
    """Return the clear width and depth of the narrowest pocket of a tier."""
    wide = min(shape.wall_height, shape.width, shape.length)
    return (
        wide - pocket.trim - pocket.glue_width,
        shape.wall_height - pocket.trim - pocket.glue_width,
    )


def tier(
    place: int,
    panel: Length,
    corners: str,
    seat: Length = 0,
    *,
    length: Length | None = None,
    wall: Length | None = None,
    seat_length: Length | None = None,
    pocket: Pocket | None = None,
) -> Piece:
    """Make a tier from a blank of (width + 2 walls) × (length + 2 walls).

    With a square base and walls as high as it is wide, the blank is 3 × 3 panels.  The face is
    the inside, which shows when the box lies open; the walls fold up towards it.

    With `OPEN` corners the piece is a plus; its four walls stand edge to edge.

    With `FLAPS` it is the whole blank.  Each corner square hangs by a fold on the wall before it
    (going clockwise) and is slit free of the wall after it.  To close: stand the four walls up,
    each with its flap sticking out past its end; then fold every flap round the corner, against
    the outside of the next wall.  Each wall is under one flap, and never under its own, so
    all four close in any order and fall open together.

    With `POCKETS` each corner also hangs by a fold on the wall before it, but is folded flat
    back onto the face of the same wall, and glued there along two edges: the one beside the
    base, and the one opposite the fold.  Fold and glue close three sides; the fourth is on the
    wall's rim and stays open, so that a card slides out away from the base.  A corner is as wide
    as the wall is high; what would reach past the wall's other end is cut off, and so is the
    trim beside the base and beside that other end, where the next wall will stand.

    Parameters
    ----------
    place
        1 for the outermost tier.
    panel
        Width of the base.
    corners
        One of `CORNERS`.
    seat, seat_length
        Width and length of the base that is glued onto this tier; 0 for none, square by default.
    length, wall
        Length of the base and height of the walls; as the width by default.
    pocket
        How its pockets are made; needed if the corners are pockets.
    """
    shape = WalledBase(panel, panel if length is None else length, panel if wall is None else wall)
    piece = Piece(
        name=f"tier {place}",
        role=f"tier.{place}",
        outline=shape.cross_outline(),
        scores=shape.base_scores(Fold.VALLEY),
        glue=_seat(shape, seat, seat if seat_length is None else seat_length),
        grain=shape.grain,
        note="Stand the walls up towards the face.",
    )
    if corners == OPEN:
        return piece
    if corners == POCKETS:
        if pocket is None:
            raise ValueError("pockets need a trim and a glue width")
        return _with_pockets(piece, shape, pocket)
    piece = replace(
        piece,
        outline=shape.square_outline(),
        scores=piece.scores + shape.corner_scores(Fold.VALLEY),
        slits=shape.corner_slits(),
        note="Cut the four slits, fold each flap over the next wall.",
    )
    return mirrored(piece) if corners == FLAPS_ANTICLOCKWISE else piece


def _seat(shape: WalledBase, width: Length, length: Length) -> tuple[tuple[Point, ...], ...]:
    if not width:
        return ()
    left, top = (shape.blank_width - width) // 2, (shape.blank_height - length) // 2
    right, bottom = left + width, top + length
    return ((Point(left, top), Point(right, top), Point(right, bottom), Point(left, bottom)),)


def _with_pockets(piece: Piece, shape: WalledBase, pocket: Pocket) -> Piece:
    trim = pocket.trim
    outline: list[Point] = []
    scores: list[Score] = []
    glue: list[tuple[Point, ...]] = []
    for place, corner in enumerate(shape.corners):
        # Corners come clockwise from the top wall's, which runs along the base's width.
        along = shape.length if place % 2 else shape.width
        reach = min(shape.wall_height, along) - trim
        outline += [
            corner.point_at(shape.wall_height, reach),
            corner.point_at(trim, reach),
            corner.point_at(trim, 0),
            corner.base,
            corner.point_at(0, shape.wall_height),
        ]
        hangs_by = Line(corner.point_at(trim, 0), corner.point_at(shape.wall_height, 0))
        scores.append(Score(hangs_by, Fold.VALLEY, 180))
        inner = trim + pocket.glue_width
        glue.append(_glue_strip(corner, (trim, inner), (0, reach)))
        glue.append(
            _glue_strip(corner, (inner, shape.wall_height), (reach - pocket.glue_width, reach))
        )
    return replace(
        piece,
        outline=tuple(outline),
        scores=piece.scores + tuple(scores),
        glue=piece.glue + tuple(glue),
        note="Fold each corner flat onto its own wall, glue two edges.",
    )


def _glue_strip(
    corner: Corner, up: tuple[Length, Length], on: tuple[Length, Length]
) -> tuple[Point, ...]:
    return (
        corner.point_at(up[1], on[0]),
        corner.point_at(up[1], on[1]),
        corner.point_at(up[0], on[1]),
        corner.point_at(up[0], on[0]),
    )
