"""The outline of a piece with corners cut away, and whether a mark is on it; all exact."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import TypeAlias

from nester.core.lengths import Length
from nester.core.piece import Line, Point

__all__ = [
    "CORNERS",
    "CutCorner",
    "OutlineError",
    "clip_line",
    "disc_within",
    "line_within",
    "outline",
]

CORNERS = ("top_left", "top_right", "bottom_right", "bottom_left")
"""In the order in which an outline goes round."""

_RationalPoint: TypeAlias = tuple[Fraction | int, Fraction | int]


class OutlineError(ValueError):
    """Corners cut away that leave no piece; the text names the reason."""


@dataclass(frozen=True)
class CutCorner:
    """What is cut away at one corner: a rectangle, or with a slanted cut half of it."""

    width: Length
    height: Length
    slanted: bool = False


def outline(width: Length, height: Length, cut: Mapping[str, CutCorner]) -> tuple[Point, ...]:
    """Return the outline of a rectangle with corners cut away.

    Parameters
    ----------
    cut
        By the names in `CORNERS`.

    Raises
    ------
    OutlineError
        If the cuts meet or leave nothing of a side.
    """
    _check_sides(width, height, cut)
    _check_opposite(width, height, cut)
    points: list[Point] = []
    for name in CORNERS:
        corner = cut.get(name)
        points += _corner(name, width, height, corner or CutCorner(0, 0, slanted=True))
    kept = [here for here, there in zip(points, points[-1:] + points[:-1], strict=True)
            if here != there]  # fmt: skip
    return tuple(kept)


def _corner(name: str, width: Length, height: Length, cut: CutCorner) -> list[Point]:
    right, bottom = name.endswith("right"), name.startswith("bottom")
    near_x = width - cut.width if right else cut.width
    near_y = height - cut.height if bottom else cut.height
    on_side = Point(width if right else 0, near_y)
    on_end = Point(near_x, height if bottom else 0)
    between = [] if cut.slanted else [Point(near_x, near_y)]
    way = [on_side, *between, on_end]
    return way if name in ("top_left", "bottom_right") else way[::-1]


def _check_sides(width: Length, height: Length, cut: Mapping[str, CutCorner]) -> None:
    """Refuse cuts that meet on a side, unless a slanted cut makes it a point, as in a gable."""
    for first, second, side in (
        ("top_left", "top_right", "top"),
        ("bottom_left", "bottom_right", "bottom"),
        ("top_left", "bottom_left", "left side"),
        ("top_right", "bottom_right", "right side"),
    ):
        level = side in ("top", "bottom")
        whole = width if level else height
        corners = [cut[name] for name in (first, second) if name in cut]
        taken = [corner.width if level else corner.height for corner in corners]
        square = [size for size, each in zip(taken, corners, strict=True) if not each.slanted]
        if sum(taken) > whole or (square and sum(square) == whole):
            raise OutlineError(f"the corners cut away leave nothing of the {side}")


def _check_opposite(width: Length, height: Length, cut: Mapping[str, CutCorner]) -> None:
    for first, second in (("top_left", "bottom_right"), ("top_right", "bottom_left")):
        if first not in cut or second not in cut:
            continue
        here, there = cut[first], cut[second]
        # How far the two cuts overlap; two squares may not even touch, or the piece falls apart.
        across = here.width + there.width - width
        down = here.height + there.height - height
        both_square = not (here.slanted or there.slanted)
        if (across > 0 and down > 0) or (both_square and across >= 0 and down >= 0):
            raise OutlineError("two corners cut away opposite each other meet in the middle")


# --- marks -------------------------------------------------------------------------------------


def line_within(shape: Sequence[Point], line: Line) -> bool:
    """Return whether a whole line is within an outline or on it."""
    places = [_point_on_line(line, share) for share in _intersection_parameters(shape, line)]
    if not all(_on_edge(shape, end) or _inside(shape, end) for end in line):
        return False
    middles = (_midpoint(here, there) for here, there in pairwise(places))
    return all(_on_edge(shape, place) or _inside(shape, place) for place in middles)


def clip_line(shape: Sequence[Point], line: Line) -> list[Line]:
    """Return the parts of a line that run within an outline, not along its edge.

    Ends on a slanted edge are rounded to the fine unit.
    """
    kept: list[tuple[_RationalPoint, _RationalPoint]] = []
    for here, there in pairwise(
        _point_on_line(line, share) for share in _intersection_parameters(shape, line)
    ):
        middle = _midpoint(here, there)
        if _on_edge(shape, middle) or not _inside(shape, middle):
            continue
        if kept and kept[-1][1] == here:
            kept[-1] = (kept[-1][0], there)
        else:
            kept.append((here, there))
    return [Line(_rounded_point(here), _rounded_point(there)) for here, there in kept]


def disc_within(shape: Sequence[Point], centre: Point, diameter: Length) -> bool:
    """Return whether a hole is within an outline, without touching its edge."""
    return _inside(shape, centre) and all(
        4 * _distance_squared(centre, edge) > diameter**2 for edge in _edges(shape)
    )


def _edges(shape: Sequence[Point]) -> list[Line]:
    return [Line(*ends) for ends in zip(shape, [*shape[1:], shape[0]], strict=True)]


def _intersection_parameters(shape: Sequence[Point], line: Line) -> list[Fraction]:
    """Return how far along a line, from 0 to 1, it meets the edges, with its two ends."""
    (x, y), (x2, y2) = line
    dx, dy = x2 - x, y2 - y
    found = {Fraction(0), Fraction(1)}
    for (ax, ay), (bx, by) in _edges(shape):
        ex, ey = bx - ax, by - ay
        turn = dx * ey - dy * ex
        if turn:
            found.add(Fraction((ax - x) * ey - (ay - y) * ex, turn))
        else:
            for px, py in ((ax, ay), (bx, by)):
                found.add(Fraction((px - x) * dx + (py - y) * dy, dx * dx + dy * dy))
    return sorted(share for share in found if 0 <= share <= 1)


def _point_on_line(line: Line, share: Fraction) -> _RationalPoint:
    (x, y), (x2, y2) = line
    return (x + share * (x2 - x), y + share * (y2 - y))


def _midpoint(here: _RationalPoint, there: _RationalPoint) -> _RationalPoint:
    return (Fraction(here[0] + there[0]) / 2, Fraction(here[1] + there[1]) / 2)


def _rounded_point(place: _RationalPoint) -> Point:
    return Point(round(place[0]), round(place[1]))


def _on_edge(shape: Sequence[Point], place: _RationalPoint) -> bool:
    x, y = place
    return any(
        (bx - ax) * (y - ay) == (by - ay) * (x - ax)
        and min(ax, bx) <= x <= max(ax, bx)
        and min(ay, by) <= y <= max(ay, by)
        for (ax, ay), (bx, by) in _edges(shape)
    )


def _inside(shape: Sequence[Point], place: _RationalPoint) -> bool:
    """Count the edges to the right of a place (even-odd rule); an edge owns its upper end."""
    x, y = place
    inside = False
    for (ax, ay), (bx, by) in _edges(shape):
        if (ay > y) != (by > y) and x < ax + Fraction((bx - ax) * (y - ay)) / (by - ay):
            inside = not inside
    return inside


def _distance_squared(place: Point, edge: Line) -> Fraction:
    (ax, ay), (bx, by) = edge
    dx, dy = bx - ax, by - ay
    along = Fraction((place.x - ax) * dx + (place.y - ay) * dy, dx * dx + dy * dy)
    share = min(max(along, Fraction(0)), Fraction(1))
    return (place.x - ax - share * dx) ** 2 + (place.y - ay - share * dy) ** 2
