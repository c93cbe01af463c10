"""A tray: a box part whose walls are held up by mitred glue tabs."""

from __future__ import annotations

from nester.core.lengths import Length, Unit, format_length
from nester.core.piece import Fold, Piece
from nester.designs.base.design import Settings, number_in
from nester.designs.base.errors import DesignRefusal
from nester.designs.base.limits import check_at_most
from nester.designs.parts.walled import WalledBase

__all__ = ["check_tray_mitre", "check_tray_tab", "tray"]


def check_tray_tab(settings: Settings, shortest_side: Length, unit: Unit) -> None:
    """Refuse a tab wider than the shortest side of a tray, its depth included."""
    fault = "is longer than the wall it is glued to or folds from"
    check_at_most(settings, "tab", shortest_side, fault, unit)


def check_tray_mitre(settings: Settings, depth: Length, unit: Unit) -> None:
    """Refuse a mitre that takes the whole of a tab on a wall of height `depth`."""
    mitre = number_in(settings, "mitre")
    if 2 * mitre >= depth:
        raise DesignRefusal(
            f"mitre {format_length(mitre, unit)} leaves nothing of a tab on a wall of"
            f" {format_length(depth, unit)}; it must be under {format_length(depth // 2, unit)}"
        )


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
