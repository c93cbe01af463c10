"""A flat piece: what is cut out of paper, and the marks upon it.

Coordinates are in fine units, x to the right and y down from the top left corner of the piece's
bounding rectangle, the face (the side that shows) towards the reader.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum
from typing import NamedTuple

from nester.core.lengths import Length

__all__ = ["Fold", "Grain", "Hole", "Line", "Piece", "Point", "Score", "Turn"]


class Turn(StrEnum):
    """How a piece may be rotated on its sheet."""

    ANY = "any"
    """By quarter turns."""
    HALF = "half"
    """By half a turn only: a grain or stripes must keep their direction."""
    NONE = "none"
    """Not at all: the pattern must stand upright."""


class Fold(StrEnum):
    """Which way paper is folded along a score line, seen from the face."""

    VALLEY = "valley"
    MOUNTAIN = "mountain"


class Grain(StrEnum):
    """Along which of its sides a piece wants the paper's grain to run."""

    ANY = "any"
    WIDTH = "width"
    HEIGHT = "height"


class Point(NamedTuple):
    """A place on a piece."""

    x: Length
    y: Length


class Line(NamedTuple):
    """A straight line between two places on a piece."""

    start: Point
    end: Point


@dataclass(frozen=True)
class Score:
    """A line to be scored, and the fold it makes.

    Attributes
    ----------
    degrees
        How far it is folded when the object is done: 90 stands a wall up, 180 lays the paper
        back on itself, 0 leaves it flat until it bends in use.
    """

    line: Line
    fold: Fold
    degrees: int = 90

    def __post_init__(self) -> None:
        if not 0 <= self.degrees <= 180:
            raise ValueError(f"paper can't be folded by {self.degrees} degrees")


@dataclass(frozen=True)
class Hole:
    """A punched round hole; an eyelet may be set into it."""

    centre: Point
    diameter: Length
    eyelet: bool = False


@dataclass(frozen=True)
class Piece:
    """One flat part to be cut.

    Attributes
    ----------
    name
        What the maker calls it, unique within its design: ``tier 1``.
    role
        Which paper it wants: ``tier.1``.  A role with a point also answers to the part before it.
    outline
        Corners in order, clockwise on the page, first one not repeated; they touch x = 0 and y = 0.
    quantity
        How many of it one finished object takes.
    upright
        A directional pattern must stand upright on it.
    grain
        Along which side the grain should run, if that can be: folds along the grain crack less.
    mounted
        Its whole back is glued to another piece.
    scores, slits, holes, glue
        Marks: fold lines, cuts inside the outline, punched holes, and polygons that take glue.
    note
        A word of advice for the maker, or nothing.
    """

    name: str
    role: str
    outline: tuple[Point, ...]
    quantity: int = 1
    upright: bool = False
    grain: Grain = Grain.ANY
    mounted: bool = False
    scores: tuple[Score, ...] = ()
    slits: tuple[Line, ...] = ()
    holes: tuple[Hole, ...] = ()
    glue: tuple[tuple[Point, ...], ...] = ()
    note: str = ""

    def __post_init__(self) -> None:
        if len(self.outline) < 3 or self.quantity < 1:
            raise ValueError(f"piece {self.name!r} needs an outline and a quantity")
        if min(p.x for p in self.outline) != 0 or min(p.y for p in self.outline) != 0:
            raise ValueError(f"the outline of piece {self.name!r} must start at 0, 0")

    @classmethod
    def rectangle(
        cls, name: str, role: str, width: Length, height: Length, **others: object
    ) -> Piece:
        """Make a plain rectangular piece; `others` are further attributes."""
        corners = (Point(0, 0), Point(width, 0), Point(width, height), Point(0, height))
        return replace(cls(name, role, corners), **others)  # type: ignore[arg-type]

    @property
    def width(self) -> Length:
        """Width of the bounding rectangle: the piece's blank."""
        return max(p.x for p in self.outline)

    @property
    def height(self) -> Length:
        """Height of the bounding rectangle: the piece's blank."""
        return max(p.y for p in self.outline)

    @property
    def area(self) -> int:
        """Area within the outline, in square fine units (slanted edges rounded down)."""
        twice = 0
        for here, there in zip(self.outline, self.outline[1:] + self.outline[:1], strict=True):
            twice += here.x * there.y - there.x * here.y
        return abs(twice) // 2

    @property
    def is_rectangle(self) -> bool:
        """Whether nothing is cut away from the blank."""
        return self.area == self.width * self.height
