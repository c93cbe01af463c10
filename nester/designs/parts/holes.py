"""Punched holes, with the eyelets set into them and the ribbons drawn through them."""

from __future__ import annotations

from collections.abc import Callable

from nester.core.lengths import Length, Unit, cm, format_length, inch, mm
from nester.core.piece import Hole, Point
from nester.designs.base.design import (
    Consumable,
    Kind,
    Measure,
    Setting,
    Settings,
    by_unit,
    number,
    tidied,
    word,
)
from nester.designs.base.errors import DesignRefusal

__all__ = ["WEB", "hole_at", "hole_has_paper_round_it", "hole_settings", "ribbon"]

WEB: Length = mm(2)
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
            Kind.LENGTH,
            "diameter of the punched hole",
            lambda before, unit: tidied(
                min(by_unit(unit, mm(4), inch("3/16")), side(before) // 4), unit
            ),
            least=mm(1),
            most=cm(3),
        ),
        Setting(
            "hole-edge",
            Kind.LENGTH,
            "paper between the hole and the edge",
            lambda before, unit: tidied(
                min(by_unit(unit, mm(6), inch("1/4")), side(before) // 4), unit
            ),
            least=WEB,
            most=cm(20),
        ),
        Setting("eyelet", Kind.CHOICE, "an eyelet in the hole", "no", choices=("yes", "no")),
        Setting(
            "ribbon",
            Kind.LENGTH,
            "length of the ribbon through the hole; 0 for none",
            lambda _, unit: by_unit(unit, ribbon_length, ribbon_length // cm(5) * inch(2)),
            least=0,
            most=cm(300),
        ),
    )


def hole_at(settings: Settings, centre: Point) -> Hole:
    """Return the hole that the settings ask for."""
    return Hole(centre, number(settings, "hole"), word(settings, "eyelet") == "yes")


def hole_has_paper_round_it(settings: Settings, across: Length, along: Length, unit: Unit) -> None:
    """Refuse a hole that leaves too little paper on a rectangle of `across` × `along`.

    The hole is in the middle of `across`, `hole-edge` from one end of `along`.
    """
    hole, edge = number(settings, "hole"), number(settings, "hole-edge")
    most = min(across - 2 * WEB, along - edge - WEB)
    if hole > most:
        raise DesignRefusal(
            f"hole {format_length(hole, unit)} at hole-edge {format_length(edge, unit)} leaves too"
            f" little paper on {format_length(across, unit)} × {format_length(along, unit)};"
            f" {format_length(WEB, unit)} must stay on every side of it"
        )


def ribbon(settings: Settings, use: str, quantity: int = 1) -> tuple[Consumable, ...]:
    """Return the ribbon that the settings ask for, if any."""
    length = number(settings, "ribbon")
    return (Consumable("ribbon", use, Measure.LENGTH, length, quantity),) if length else ()
