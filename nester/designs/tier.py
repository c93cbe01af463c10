"""A tier: the cross-shaped layer of a box that falls open when the lid is lifted."""

from __future__ import annotations

from nester.designs.walled import Walled
from nester.measure import Length
from nester.pieces import Fold, Piece, Point

__all__ = ["CORNERS", "FLAPS", "OPEN", "tier"]

OPEN = "open"
"""The corners of the blank are cut away."""
FLAPS = "flaps"
"""The corners of the blank stay on as flaps."""
CORNERS = (OPEN, FLAPS)


def tier(place: int, panel: Length, corners: str, seat: Length = 0) -> Piece:
    """Make one tier from a square blank of 3 × 3 panels.

    The face is the inside, which shows when the box lies open; the walls fold up towards it.

    With `OPEN` corners the piece is a plus; its four walls stand edge to edge.  With `FLAPS` it
    is the whole square.  Each corner square hangs by a fold on the wall before it (going
    clockwise) and is slit free of the wall after it.  To close: stand the four walls up, each
    with its flap sticking out past its end; then fold every flap round the corner, against the
    outside of the next wall, which it covers, being as large.  Each wall wears one flap and
    covers none of its own, so all four can close in any order, and all fall open together.

    Parameters
    ----------
    place
        1 for the outermost tier.
    panel
        Side of the base and height of the walls.
    corners
        `OPEN` or `FLAPS`.
    seat
        Side of the base that is glued onto this tier's base; 0 for none.
    """
    shape = Walled(panel, panel, panel)
    scores = shape.base_scores(Fold.VALLEY)
    note = "Score before folding; stand the walls up towards the face."
    if corners == FLAPS:
        scores += shape.corner_scores(Fold.VALLEY)
        note = "Score before folding; cut the four slits, fold each flap over the next wall."
    return Piece(
        name=f"tier {place}",
        role=f"tier.{place}",
        outline=shape.square_outline() if corners == FLAPS else shape.cross_outline(),
        scores=scores,
        slits=shape.corner_slits() if corners == FLAPS else (),
        glue=(_centred_square(shape.blank_width, seat),) if seat else (),
        note=note,
    )


def _centred_square(blank: Length, side: Length) -> tuple[Point, ...]:
    near = (blank - side) // 2
    far = near + side
    return (Point(near, near), Point(far, near), Point(far, far), Point(near, far))
