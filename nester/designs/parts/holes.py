"""Punched holes, with the eyelets set into them and the ribbons drawn through them."""

from __future__ import annotations

from collections.abc import Callable

from nester.core.lengths import Length, Unit, cm, format_length, inch, mm
from nester.core.piece import Hole, Point
from nester.designs.base.design import (
    Consumable,
    Measure,
    Setting,
    SettingKind,
    Settings,
    by_unit,
    choice_in,
    floor_to_ruler,
    number_in,
)
from nester.designs.base.errors import DesignRefusal

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
        Setting(
            "hole",
            SettingKind.LENGTH,
            "diameter of the punched hole",
            lambda before, unit: floor_to_ruler(
                min(by_unit(unit, mm(4), inch("3/16")), side(before) // 4), unit
            ),
            minimum=mm(1),
            maximum=cm(3),
        ),
        Setting(
            "hole-edge",
            SettingKind.LENGTH,
            "paper between the hole and the edge",
            lambda before, unit: floor_to_ruler(
                min(by_unit(unit, mm(6), inch("1/4")), side(before) // 4), unit
            ),
            minimum=MIN_EDGE_DISTANCE,
            maximum=cm(20),
        ),
        Setting("eyelet", SettingKind.CHOICE, "an eyelet in the hole", "no", choices=("yes", "no")),
        Setting(
            "ribbon",
            SettingKind.LENGTH,
            "length of the ribbon through the hole; 0 for none",
            lambda _, unit: by_unit(unit, ribbon_length, ribbon_length // cm(5) * inch(2)),
            minimum=0,
            maximum=cm(300),
        ),
    )


def hole_from_settings(settings: Settings, centre: Point) -> Hole:
    """Return the hole that the settings ask for."""
    return Hole(centre, number_in(settings, "hole"), choice_in(settings, "eyelet") == "yes")


def check_hole_edge_distance(settings: Settings, across: Length, along: Length, unit: Unit) -> None:
    """Refuse a hole that leaves too little paper on a rectangle of `across` × `along`.

    The hole is in the middle of `across`, `hole-edge` from one end of `along`.
    """
    hole, edge = number_in(settings, "hole"), number_in(settings, "hole-edge")
    most = min(across - 2 * MIN_EDGE_DISTANCE, along - edge - MIN_EDGE_DISTANCE)
    if hole > most:
        raise DesignRefusal(
            f"hole {format_length(hole, unit)} at hole-edge {format_length(edge, unit)} leaves too"
            f" little paper on {format_length(across, unit)} × {format_length(along, unit)};"
            f" {format_length(MIN_EDGE_DISTANCE, unit)} must stay on every side of it"
        )


def ribbon(settings: Settings, use: str, quantity: int = 1) -> tuple[Consumable, ...]:
    """Return the ribbon that the settings ask for, if any."""
    length = number_in(settings, "ribbon")
    return (Consumable("ribbon", use, Measure.LENGTH, length, quantity),) if length else ()
