"""What one finished object weighs, and how much paper, glue and small parts it takes."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from nester.core.lengths import UNITS_PER_MM, area_m2, grams
from nester.core.piece import Piece, Point
from nester.designs.base.design import Consumable, Design, Measure, Settings

__all__ = [
    "ADHESIVE",
    "EYELET",
    "ConsumableTotal",
    "FinishedWeight",
    "PaperArea",
    "consumables_of",
    "finished_weight",
    "paper_areas",
    "total_consumables",
]

ADHESIVE = "adhesive"
EYELET = "eyelet"

_UNITS_PER_METRE = 1000 * UNITS_PER_MM


@dataclass(frozen=True)
class PaperArea:
    """How much of a paper, or for a role, an object takes.

    Attributes
    ----------
    name
        The paper or the role.
    pieces
        How many pieces are cut.
    blank_area, outline_area
        Area of their bounding rectangles, and within their outlines, in square fine units.
    """

    name: str
    pieces: int
    blank_area: int
    outline_area: int


def _identity(role: str) -> str:
    return role


def paper_areas(
    pieces: Iterable[Piece], name_of: Callable[[str], str] = _identity
) -> tuple[PaperArea, ...]:
    """Add up the areas of pieces by role, or by the paper of their role.

    Parameters
    ----------
    pieces
        The pieces of one object.
    name_of
        The name under which a role is counted: that of its paper.

    Returns
    -------
    tuple of PaperArea
        In the order in which the names first occur.
    """
    found: dict[str, PaperArea] = {}
    for piece in pieces:
        name = name_of(piece.role)
        so_far = found.get(name, PaperArea(name, 0, 0, 0))
        found[name] = PaperArea(
            name,
            so_far.pieces + piece.quantity,
            so_far.blank_area + piece.quantity * piece.width * piece.height,
            so_far.outline_area + piece.quantity * piece.area,
        )
    return tuple(found.values())


def consumables_of(
    design: Design, settings: Settings, pieces: Iterable[Piece]
) -> tuple[Consumable, ...]:
    """Return what one finished object needs apart from paper.

    Parameters
    ----------
    design, settings
        Give the ribbons.
    pieces
        Give the adhesive, by the area of their glue marks and of backs glued whole, and the
        eyelets, by their holes; neither is among `Design.consumables`.
    """
    found = list(design.consumables(settings))
    for piece in pieces:
        glued = sum(_polygon_area(polygon) for polygon in piece.glue) + piece.area * piece.mounted
        if glued:
            found.append(Consumable(ADHESIVE, piece.name, Measure.AREA, glued, piece.quantity))
        eyelets = sum(hole.eyelet for hole in piece.holes)
        if eyelets:
            found.append(Consumable(EYELET, piece.name, Measure.COUNT, eyelets, piece.quantity))
    return tuple(found)


def _polygon_area(polygon: tuple[Point, ...]) -> int:
    """Return the area of a polygon in square fine units, slanted sides rounded up."""
    twice = sum(
        here.x * there.y - there.x * here.y
        for here, there in zip(polygon, polygon[1:] + polygon[:1], strict=True)
    )
    return (abs(twice) + 1) // 2


@dataclass(frozen=True)
class ConsumableTotal:
    """All of one consumable: fine units, square fine units or a number, as `measure` says."""

    name: str
    measure: Measure
    amount: int


def total_consumables(consumables: Iterable[Consumable]) -> tuple[ConsumableTotal, ...]:
    """Add up consumables of the same name and measure, in the order they first occur."""
    amounts: dict[tuple[str, Measure], int] = {}
    for consumable in consumables:
        key = (consumable.name, consumable.measure)
        amounts[key] = amounts.get(key, 0) + consumable.amount * consumable.quantity
    return tuple(
        ConsumableTotal(name, measure, amount) for (name, measure), amount in amounts.items()
    )


@dataclass(frozen=True)
class FinishedWeight:
    """What one finished object weighs, in grams.

    Attributes
    ----------
    paper
        Its pieces.
    other_materials
        Its consumables, as far as their weights are known.
    unweighed
        The consumables whose weights aren't known; they are not in the total.
    """

    paper: Fraction
    other_materials: Fraction
    unweighed: tuple[str, ...]

    @property
    def total(self) -> Fraction:
        """The weight of everything whose weight is known."""
        return self.paper + self.other_materials


def finished_weight(
    pieces: Iterable[Piece],
    grammage: Callable[[str], int],
    consumables: Iterable[Consumable] = (),
    weights: Mapping[str, Decimal | Fraction | int] | None = None,
) -> FinishedWeight:
    """Return what one finished object weighs.

    Paper weighs its area × its grammage (ISO 536: grammage is mass per unit area).  Punched holes
    are not taken off.

    Parameters
    ----------
    pieces
        The pieces of one object.
    grammage
        Weight of the paper of each role, in g/m².
    consumables
        What it needs apart from paper.
    weights
        Grams of each consumable, by its name: per m, per m² or each, as it is measured.
    """
    known = weights or {}
    paper = sum(
        (grams(piece.area * piece.quantity, grammage(piece.role)) for piece in pieces), Fraction(0)
    )
    others, unweighed = Fraction(0), []
    for total in total_consumables(consumables):
        if total.name in known:
            others += _amount_in_base_units(total) * Fraction(known[total.name])
        else:
            unweighed.append(total.name)
    return FinishedWeight(paper, others, tuple(dict.fromkeys(unweighed)))


def _amount_in_base_units(total: ConsumableTotal) -> Fraction:
    """Return an amount in metres, square metres or numbers."""
    if total.measure is Measure.LENGTH:
        return Fraction(total.amount, _UNITS_PER_METRE)
    return area_m2(total.amount) if total.measure is Measure.AREA else Fraction(total.amount)
