"""A tray: a box part whose walls are held up by mitred glue tabs."""

from __future__ import annotations

from nester.core.lengths import Length
from nester.core.piece import Fold, Piece
from nester.designs.parts.walled import WalledBase

__all__ = ["tray"]


def tray(
    width: Length, length: Length, depth: Length, tab: Length, mitre: Length | None = None
) -> Piece:
    """Make a tray of outer size `width` × `length` × `depth`.

    Its blank is (width + 2 depth) × (length + 2 depth).  The face is the outside, so the walls
    fold away from it.  Each wall carries one tab, at its clockwise end, that is glued by its
    face inside the next wall.

    Parameters
    ----------
    tab
        How far a tab reaches along the next wall; at most `depth` and the shorter side.
    mitre
        How much narrower a tab is at each end of its free side (see `WalledBase.tabs`).
    """
    shape = WalledBase(width, length, depth)
    return Piece(
        name="tray",
        role="tray",
        outline=shape.tab_outline(tab, mitre),
        scores=shape.base_scores(Fold.MOUNTAIN) + shape.corner_scores(Fold.MOUNTAIN),
        glue=shape.tabs(tab, mitre),
        grain=shape.grain,
        note="Glue each tab inside the next wall.",
    )
