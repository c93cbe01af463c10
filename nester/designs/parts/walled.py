"""The shared shape: a base with a wall on each of its four sides, cut from one blank.

The blank is (width + 2 walls) × (length + 2 walls).  Its four corner squares, one wall wide and
high, are cut away, or kept so that they can join neighbouring walls.  All corners are made
alike: each wall keeps the corner at its clockwise end, joined to that wall by a fold and parted
from the next wall by a cut.  So no corner is in another's way when the walls stand up.
"""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

from nester.core.lengths import Length
from nester.core.piece import Fold, Grain, Line, Piece, Point, Score

__all__ = ["Corner", "WalledBase", "mirrored"]


class Corner(NamedTuple):
    """One corner of the base, with the two directions in which its square extends.

    Attributes
    ----------
    base
        Its place on the piece.
    outward
        The unit step away from the base, along the end of the wall that keeps the corner.
    onward
        The unit step onwards round the box, along the side of the next wall.
    """

    base: Point
    outward: Point
    onward: Point

    def point_at(self, up: Length, on: Length) -> Point:
        """Return the point `up` outward and `on` onward from the base's corner."""
        return Point(
            self.base.x + up * self.outward.x + on * self.onward.x,
            self.base.y + up * self.outward.y + on * self.onward.y,
        )


class WalledBase(NamedTuple):
    """A base of `width` × `length` with walls of height `wall_height`."""

    width: Length
    length: Length
    wall_height: Length

    @property
    def blank_width(self) -> Length:
        """Width of the blank."""
        return self.width + 2 * self.wall_height

    @property
    def blank_height(self) -> Length:
        """Height of the blank on the page: the base's length and two walls."""
        return self.length + 2 * self.wall_height

    @property
    def grain(self) -> Grain:
        """The grain along the longest folds; any if the base is square."""
        if self.width == self.length:
            return Grain.ANY
        return Grain.WIDTH if self.width > self.length else Grain.HEIGHT

    @property
    def corners(self) -> tuple[Corner, ...]:
        """The corners, clockwise from the top right: the clockwise end of the top wall."""
        left, right = self.wall_height, self.wall_height + self.width
        top, bottom = self.wall_height, self.wall_height + self.length
        above, across, below, back = Point(0, -1), Point(1, 0), Point(0, 1), Point(-1, 0)
        return (
            Corner(Point(right, top), above, across),
            Corner(Point(right, bottom), across, below),
            Corner(Point(left, bottom), below, back),
            Corner(Point(left, top), back, above),
        )

    def base(self) -> tuple[Point, ...]:
        """Return the base as a polygon, clockwise from its top left."""
        top_right, bottom_right, bottom_left, top_left = (c.base for c in self.corners)
        return (top_left, top_right, bottom_right, bottom_left)

    def base_scores(self, fold: Fold) -> tuple[Score, ...]:
        """Return the four folds round the base."""
        ring = self.base()
        return tuple(
            Score(Line(start, end), fold)
            for start, end in zip(ring, ring[1:] + ring[:1], strict=True)
        )

    def square_outline(self) -> tuple[Point, ...]:
        """Return the outline of the whole blank, its corners kept."""
        wide, high = self.blank_width, self.blank_height
        return (Point(0, 0), Point(wide, 0), Point(wide, high), Point(0, high))

    def cross_outline(self) -> tuple[Point, ...]:
        """Return the outline with its corners cut away: a plus of twelve corners."""
        return tuple(
            point
            for corner in self.corners
            for point in (
                corner.point_at(self.wall_height, 0),
                corner.base,
                corner.point_at(0, self.wall_height),
            )
        )

    def tab_outline(self, tab: Length, mitre: Length | None = None) -> tuple[Point, ...]:
        """Return the outline with a mitred tab at the clockwise end of each wall."""
        outline: list[Point] = []
        for corner, quad in zip(self.corners, self.tabs(tab, mitre), strict=True):
            outline += [*quad, corner.point_at(0, self.wall_height)]
        return tuple(outline)

    def tabs(self, tab: Length, mitre: Length | None = None) -> tuple[tuple[Point, ...], ...]:
        """Return the mitred tabs, each from its wall's rim to the base's corner.

        Parameters
        ----------
        tab
            How far each reaches beyond its fold.
        mitre
            How much narrower it is at each end of its free side; more than 0, less than half the
            wall.  None takes `default_mitre`.
        """
        cut = self.default_mitre(tab) if mitre is None else mitre
        return tuple(
            (
                corner.point_at(self.wall_height, 0),
                corner.point_at(self.wall_height - cut, tab),
                corner.point_at(cut, tab),
                corner.base,
            )
            for corner in self.corners
        )

    def default_mitre(self, tab: Length) -> Length:
        """Return a mitre of 45° on tabs up to a quarter of the wall, steeper on wider ones.

        So at least half of the wall's height is glued.
        """
        return min(tab, self.wall_height // 4)

    def corner_squares(self) -> tuple[tuple[Point, ...], ...]:
        """Return the corner squares as polygons."""
        return tuple(
            (
                corner.base,
                corner.point_at(self.wall_height, 0),
                corner.point_at(self.wall_height, self.wall_height),
                corner.point_at(0, self.wall_height),
            )
            for corner in self.corners
        )

    def corner_scores(self, fold: Fold) -> tuple[Score, ...]:
        """Return the folds that join the corners (flaps or tabs) to their walls."""
        return tuple(
            Score(Line(c.base, c.point_at(self.wall_height, 0)), fold) for c in self.corners
        )

    def corner_slits(self) -> tuple[Line, ...]:
        """Return the slits that part kept corners from the next wall, from the edge inwards."""
        return tuple(Line(c.point_at(0, self.wall_height), c.base) for c in self.corners)


def mirrored(piece: Piece) -> Piece:
    """Return a piece with left and right exchanged; its folds stay valleys and mountains.

    What ran clockwise round the base then runs anticlockwise.
    """

    def mirror(point: Point) -> Point:
        return Point(piece.width - point.x, point.y)

    def mirror_line(line: Line) -> Line:
        return Line(mirror(line.start), mirror(line.end))

    return replace(
        piece,
        outline=tuple(mirror(point) for point in reversed(piece.outline)),
        scores=tuple(replace(score, line=mirror_line(score.line)) for score in piece.scores),
        slits=tuple(mirror_line(slit) for slit in piece.slits),
        holes=tuple(replace(hole, centre=mirror(hole.centre)) for hole in piece.holes),
        glue=tuple(tuple(mirror(point) for point in reversed(area)) for area in piece.glue),
    )
