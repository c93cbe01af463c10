"""Punched holes, with the eyelets set into them and the ribbons drawn through them."""

from __future__ import annotations

from collections.abc import Callable

from nester.core.lengths import Length, Unit, cm, format_length, inch, mm
from nester.core.piece import Hole, Point
from nester.designs.base.design import Consumable, Measure, Setting, Settings, number_in
from nester.designs.base.errors import DesignRefusal
from nester.designs.base.settings import (
    capped_default,
    is_yes,
    length_setting,
    round_default,
    yes_no_setting,
)

__all__ = [
    "MIN_EDGE_DISTANCE",
    "check_hole_edge_distance",
    "hole_from_settings",
    "hole_settings",
    "ribbon",
]

MIN_EDGE_DISTANCE: Length = mm(2)
"""Paper left between a hole and an edge so that it doesn't tear out (common practice, no
source)."""


def hole_settings(side: Callable[[Settings], Length], ribbon_length: Length) -> tuple[Setting, ...]:
    """Return the settings of a hole: its size, its place, its eyelet and its ribbon.

    Parameters
    ----------
    side
        The side of the paper it is punched into; the default is small on a small one.
    ribbon_length
        The default of the ribbon in a metric shop, a whole number of 5 cm; two inches stand for
        5 cm in an inch shop.
    """
    return (
        length_setting(
            "hole",
            "diameter of the punched hole",
            capped_default(mm(4), inch("3/16"), side, 4),
            mm(1),
            cm(3),
        ),
        length_setting(
            "hole-edge",
            "paper between the hole and the edge",
            capped_default(mm(6), inch("1/4"), side, 4),
            MIN_EDGE_DISTANCE,
            cm(20),
        ),
        yes_no_setting("eyelet", "an eyelet in the hole"),
        length_setting(
            "ribbon",
            "length of the ribbon through the hole; 0 for none",
            round_default(ribbon_length, ribbon_length // cm(5) * inch(2)),
            0,
            cm(300),
        ),
    )


def hole_from_settings(settings: Settings, centre: Point) -> Hole:
    """Return the hole that the settings ask for."""
    return Hole(centre, number_in(settings, "hole"), is_yes(settings, "eyelet"))


def check_hole_edge_distance(settings: Settings, across: Length, along: Length, unit: Unit) -> None:
    """Refuse a hole that leaves too little paper on a rectangle of `across` × `along`.

    The hole is in the middle of `across`, `hole-edge` from one end of `along`.
    """
    hole, edge = number_in(settings, "hole"), number_in(settings, "hole-edge")
    largest = min(across - 2 * MIN_EDGE_DISTANCE, along - edge - MIN_EDGE_DISTANCE)
    if hole > largest:
        raise DesignRefusal(
            f"hole {format_length(hole, unit)} at hole-edge {format_length(edge, unit)} leaves too"
            f" little paper on {format_length(across, unit)} × {format_length(along, unit)};"
            f" {format_length(MIN_EDGE_DISTANCE, unit)} must stay on every side of it"
        )


def ribbon(settings: Settings, use: str, quantity: int = 1) -> tuple[Consumable, ...]:
    """Return the ribbon that the settings ask for, if any."""
    length = number_in(settings, "ribbon")
    return (Consumable("ribbon", use, Measure.LENGTH, length, quantity),) if length else ()
