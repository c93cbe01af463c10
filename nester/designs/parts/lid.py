"""A lid: it goes over a box, and its corners stay on as glue tabs."""

from __future__ import annotations

from nester.core.lengths import Length, Unit, format_length, mm
from nester.core.piece import Fold, Piece
from nester.designs.base.design import Settings, number_in
from nester.designs.base.errors import DesignRefusal
from nester.designs.parts.walled import WalledBase

__all__ = ["check_lid_tab_width", "lid", "lid_inside"]

SMALLEST_TAB: Length = mm(1)


def check_lid_tab_width(settings: Settings, name: str, unit: Unit) -> None:
    """Refuse a lid's glue tab, the setting `name`, that is narrower than `SMALLEST_TAB`."""
    tab = number_in(settings, name)
    if 0 < tab < SMALLEST_TAB:
        raise DesignRefusal(
            f"{name} {format_length(tab, unit)} is too narrow to glue; it may be 0, which keeps"
            f" the corners whole, or at least {format_length(SMALLEST_TAB, unit)}"
        )


def lid_inside(covered: Length, clearance: Length) -> Length:
    """Return the inner side of a lid over a box of side `covered`."""
    return covered + clearance


def lid(
    name: str,
    role: str,
    width: Length,
    length: Length,
    clearance: Length,
    wall: Length,
    tab: Length = 0,
) -> Piece:
    """Make a lid over a box of `width` × `length`.

    Its blank is the covered size + clearance + two walls each way.  It stays a rectangle, if no
    `tab` is given: four slits as long as the wall free the corner squares, which serve as glue
    tabs.  The face is the outside; walls and tabs fold away from it, and each tab is glued by its
    face inside the next wall.

    Parameters
    ----------
    clearance
        How much wider and longer the lid is inside than what it covers, both sides together.
    wall
        Height of its walls; at most the lid's shorter inner side if the corners stay whole, or
        the tabs meet.
    tab
        How far mitred tabs reach along the next wall; 0 keeps the corners whole.
    """
    shape = WalledBase(lid_inside(width, clearance), lid_inside(length, clearance), wall)
    return Piece(
        name=name,
        role=role,
        outline=shape.tab_outline(tab) if tab else shape.square_outline(),
        scores=shape.base_scores(Fold.MOUNTAIN) + shape.corner_scores(Fold.MOUNTAIN),
        slits=() if tab else shape.corner_slits(),
        glue=shape.tabs(tab) if tab else shape.corner_squares(),
        grain=shape.grain,
        note=f"{'Glue' if tab else 'Cut the four slits; glue'} each tab inside the next wall.",
    )
