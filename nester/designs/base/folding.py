"""Pieces folded up in space, and whether the folded part is sound.

A piece is cut along its score lines and slits into *facets*, exactly.  One of them,
the base, stays; the others are turned about the score lines that join them to it.  Folded shapes
are in mm as floats: they show whether a design folds, and decide no cut.  In space, x runs to the
right and y up the page, and z out of the face, towards the reader.  Paper has no thickness here;
the checks take its thickness as their tolerance.
"""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cmp_to_key
from itertools import combinations, pairwise
from typing import NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray

from nester.core.lengths import UNITS_PER_MM, Length, Unit, format_length
from nester.core.piece import Fold, Line, Piece, Score
from nester.designs.base.errors import DesignRefusal

__all__ = [
    "Crossing",
    "Facet",
    "FoldedState",
    "Polygon3D",
    "RationalPoint",
    "corner_gaps",
    "crossings",
    "facets",
    "fold",
    "fold_faults",
    "lies_on",
]

RationalPoint: TypeAlias = tuple[int | Fraction, int | Fraction]
"""An exact point on a flat piece, in fine units: crossing lines may meet between them."""

Polygon3D: TypeAlias = NDArray[np.float64]
"""The corners of a folded facet, a row each: x, y and z in mm."""

_Edge: TypeAlias = tuple[RationalPoint, RationalPoint]

_TOLERANCE = 1e-7
"""What floats may be off by, in mm."""


@dataclass(frozen=True)
class Facet:
    """A flat part of a piece between its edges, slits and score lines.

    Attributes
    ----------
    corners
        In order, clockwise on the page; those where another line ends on a side are among them.
    """

    corners: tuple[RationalPoint, ...]

    @property
    def twice_area(self) -> int | Fraction:
        """Double its area, in square fine units."""
        return _twice_area(self.corners)

    def contains(self, point: RationalPoint) -> bool:
        """Return whether a point is on it; its border belongs to it.

        Even-odd rule: a ray to the right crosses the border an odd number of times.
        """
        odd = False
        for a, b in _sides_of(self.corners):
            turn = _orientation(a, b, point)
            if turn == 0 and _between(a, b, point):
                return True
            if (a[1] > point[1]) != (b[1] > point[1]):
                odd ^= (turn > 0) == (b[1] > a[1])
        return odd


@dataclass(frozen=True, eq=False)
class FoldedState:
    """A piece folded up.

    Attributes
    ----------
    piece
        What was folded.
    facets, polygons
        Its facets flat, and in space, in the same order.
    base
        The index of the facet that stays where it is on the page.
    parents
        For each facet the index of the facet it is joined to by a score line; the base is its
        own parent.
    closure_error
        The largest gap between the two sides of a score line, in mm: more than 0 where the
        facets round a point can't be folded by the given angles.
    """

    piece: Piece
    facets: tuple[Facet, ...]
    polygons: tuple[Polygon3D, ...]
    base: int
    parents: tuple[int, ...]
    closure_error: float

    @property
    def walls(self) -> tuple[int, ...]:
        """The facets that are joined to the base itself."""
        return tuple(
            at for at, on in enumerate(self.parents) if on == self.base and at != self.base
        )


class Crossing(NamedTuple):
    """The indices of two shapes that pass through each other, and how deep, in mm."""

    first: int
    second: int
    depth: float


def facets(piece: Piece) -> tuple[Facet, ...]:
    """Cut a piece along its score lines and slits.

    A slit that ends within a facet doesn't divide it.  A window that slits alone cut out is no
    facet.

    Raises
    ------
    DesignRefusal
        If a score line ends within the paper: nothing can be folded there.
    """
    return tuple(Facet(corners) for corners in _trace_faces(_planar_graph(piece)))


def _planar_graph(piece: Piece) -> dict[_Edge, Score | None]:
    """Return all lines, split where they meet, as edges in both directions.

    The value is the score line along an edge, or None where the paper is cut.
    """
    corners = piece.outline
    cuts = [Line(a, b) for a, b in zip(corners, corners[1:] + corners[:1], strict=True)]
    cuts += piece.slits
    marks: list[tuple[Line, Score | None]] = [(score.line, score) for score in piece.scores]
    marks += [(line, None) for line in cuts]
    lines = [line for line, _ in marks]
    edges: dict[_Edge, Score | None] = {}
    for line, score in marks:  # cuts come last: a score that is cut is no fold
        for a, b in _split_segment(line, lines):
            edges[a, b] = edges[b, a] = score
    _prune_dangling(piece, edges)
    return edges


def _split_segment(line: Line, others: Iterable[Line]) -> Iterable[_Edge]:
    """Split a line wherever another meets it."""
    points: set[RationalPoint] = {line.start, line.end}
    for other in others:
        points.update(_intersections(line, other))
    along = sorted(points, key=lambda point: _along(line, point))
    return pairwise(along)


def _along(line: Line, point: RationalPoint) -> int | Fraction:
    (ax, ay), (bx, by) = line
    return (point[0] - ax) * (bx - ax) + (point[1] - ay) * (by - ay)


def _intersections(line: Line, other: Line) -> Iterable[RationalPoint]:
    """Give the points of a line at which another touches or crosses it."""
    for end in other:
        if _orientation(*line, end) == 0 and _between(*line, end):
            yield end
    from_start, from_end = _orientation(*other, line.start), _orientation(*other, line.end)
    sides = _orientation(*line, other.start), _orientation(*line, other.end)
    if min(sides) < 0 < max(sides) and min(from_start, from_end) < 0 < max(from_start, from_end):
        part = Fraction(from_start) / (from_start - from_end)
        (ax, ay), (bx, by) = line
        yield (ax + part * (bx - ax), ay + part * (by - ay))


def _orientation(a: RationalPoint, b: RationalPoint, c: RationalPoint) -> int | Fraction:
    """Return twice the area of the triangle a, b, c: above 0 if it turns clockwise on the page."""
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def _between(a: RationalPoint, b: RationalPoint, c: RationalPoint) -> bool:
    within = min(a[0], b[0]) <= c[0] <= max(a[0], b[0])
    return within and min(a[1], b[1]) <= c[1] <= max(a[1], b[1])


def _sides_of(corners: Sequence[RationalPoint]) -> Iterable[_Edge]:
    return zip(corners, (*corners[1:], corners[0]), strict=True)


def _twice_area(corners: Sequence[RationalPoint]) -> int | Fraction:
    return sum(a[0] * b[1] - b[0] * a[1] for a, b in _sides_of(corners))


def _prune_dangling(piece: Piece, edges: dict[_Edge, Score | None]) -> None:
    """Remove edges that bound no facet: loose ends, and loops that don't reach the outline."""
    while True:
        degrees = Counter(start for start, _ in edges)
        loose = {edge for edge in edges if 1 in (degrees[edge[0]], degrees[edge[1]])}
        loose = loose or _unreachable(edges, piece.outline[0])
        if not loose:
            return
        if any(edges[edge] for edge in loose):
            raise DesignRefusal(
                f"a score line of '{piece.name}' ends within the paper, where nothing can be"
                " folded; draw it from edge to edge"
            )
        for edge in loose:
            del edges[edge]


def _unreachable(edges: Iterable[_Edge], start: RationalPoint) -> set[_Edge]:
    """Return the edges that can't be reached along edges from a point."""
    neighbours = _neighbours(edges)
    reached, waiting = {start}, [start]
    while waiting:
        new = [point for point in neighbours[waiting.pop()] if point not in reached]
        reached.update(new)
        waiting += new
    return {edge for edge in edges if edge[0] not in reached}


def _neighbours(edges: Iterable[_Edge]) -> dict[RationalPoint, list[RationalPoint]]:
    neighbours: dict[RationalPoint, list[RationalPoint]] = {}
    for start, end in edges:
        neighbours.setdefault(start, []).append(end)
    return neighbours


def _trace_faces(edges: Iterable[_Edge]) -> list[tuple[RationalPoint, ...]]:
    """Walk round every facet, at each corner along the next edge in order of direction.

    This is how the faces of a planar graph are traced: each edge is walked once in each
    direction, once for the facet on either side.
    """
    neighbours = {
        point: _sorted_by_angle(point, ends) for point, ends in _neighbours(edges).items()
    }
    rings, walked = [], set()
    for edge in edges:
        ring: list[RationalPoint] = []
        here, there = edge
        while (here, there) not in walked:
            walked.add((here, there))
            ring.append(here)
            turns = neighbours[there]
            here, there = there, turns[turns.index(here) - 1]
        # The walk round the outside of the piece runs anticlockwise: its area is negative.
        if ring and _twice_area(ring) > 0:
            rings.append(tuple(ring))
    return rings


def _sorted_by_angle(centre: RationalPoint, points: Iterable[RationalPoint]) -> list[RationalPoint]:
    """Sort points by their direction from a centre, clockwise on the page, exactly.

    No angle is calculated: first by half plane, then by the side on which each is of the other.
    """

    def half(point: RationalPoint) -> bool:
        return (point[1], point[0]) < (centre[1], centre[0])

    def compare(a: RationalPoint, b: RationalPoint) -> int:
        if half(a) != half(b):
            return half(a) - half(b)
        turn = _orientation(centre, a, b)
        return (turn < 0) - (turn > 0)

    return sorted(points, key=cmp_to_key(compare))


def fold(
    piece: Piece,
    degrees: float | Callable[[Score], float] | None = None,
    base: RationalPoint | None = None,
) -> FoldedState:
    """Fold a piece up along its score lines.

    Parameters
    ----------
    piece
        The piece, flat.
    degrees
        How far score lines are folded: 0 leaves them flat, 90 stands a wall up, 180 lays the
        paper back on itself.  One angle for all, or a function that gives it for each; by
        default the angle of the score line itself.  Valley folds turn towards the face, mountain
        folds away from it.
    base
        A point on the facet that stays where it is; by default the middle of the blank.  If it
        is on several facets, or on none, the largest stays.

    Returns
    -------
    FoldedState
        Its facets flat and in space, in mm.

    Raises
    ------
    DesignRefusal
        If a score line ends within the paper, or the slits cut the piece in two.
    """
    edges = _planar_graph(piece)
    parts = tuple(Facet(corners) for corners in _trace_faces(edges))
    start = _base_facet(parts, base or (Fraction(piece.width, 2), Fraction(piece.height, 2)))
    sides = {edge: at for at, part in enumerate(parts) for edge in _sides_of(part.corners)}
    # Breadth first from the base: each facet moves with its parent, after turning about the score
    # line between them.  A facet reached twice must come out in the same place both times.
    motions: dict[int, _RigidMotion] = {start: _RigidMotion(np.eye(3), np.zeros(3))}
    parents = {start: start}
    closure_error = 0.0
    waiting = deque([start])
    while waiting:
        here = waiting.popleft()
        for a, b in _sides_of(parts[here].corners):
            score, next_part = edges[a, b], sides.get((b, a))
            if score is None or next_part is None:
                continue
            motion = motions[here].compose(
                _rotation_about(a, b, _fold_angle(score, degrees), score.fold)
            )
            if next_part in motions:
                flat = _flat_mm(parts[next_part].corners)
                gaps = motion.apply(flat) - motions[next_part].apply(flat)
                closure_error = max(closure_error, float(np.linalg.norm(gaps, axis=1).max()))
                continue
            motions[next_part], parents[next_part] = motion, here
            waiting.append(next_part)
    if len(motions) < len(parts):
        raise DesignRefusal(
            f"the slits of '{piece.name}' cut it in two; a slit must leave a fold to hang by"
        )
    shapes = tuple(motions[at].apply(_flat_mm(part.corners)) for at, part in enumerate(parts))
    in_order = tuple(parents[at] for at in range(len(parts)))
    return FoldedState(piece, parts, shapes, start, in_order, closure_error)


def _fold_angle(score: Score, degrees: float | Callable[[Score], float] | None) -> float:
    if degrees is None:
        return score.degrees
    return degrees(score) if callable(degrees) else degrees


class _RigidMotion(NamedTuple):
    """A movement in space: a rotation, then a translation in mm."""

    rotation: Polygon3D
    translation: Polygon3D

    def apply(self, points: Polygon3D) -> Polygon3D:
        """Move points, one in each row."""
        moved: Polygon3D = points @ self.rotation.T + self.translation
        return moved

    def compose(self, first: _RigidMotion) -> _RigidMotion:
        """Return the movement that makes `first` and then this."""
        return _RigidMotion(
            self.rotation @ first.rotation, self.rotation @ first.translation + self.translation
        )


def _base_facet(parts: Sequence[Facet], middle: RationalPoint) -> int:
    candidates = [at for at, part in enumerate(parts) if part.contains(middle)]
    return max(candidates or range(len(parts)), key=lambda at: parts[at].twice_area)


def _flat_mm(corners: Iterable[RationalPoint]) -> Polygon3D:
    """Return points of the page in space, in mm: y points up, the face towards +z."""
    return np.array([(float(x) / UNITS_PER_MM, -float(y) / UNITS_PER_MM, 0.0) for x, y in corners])


def _rotation_about(
    a: RationalPoint, b: RationalPoint, degrees: float, direction: Fold
) -> _RigidMotion:
    """Return the rotation about a → b of what is beyond it (Rodrigues' formula).

    Facets run clockwise on the page, so the neighbour is on the left of a → b, and a positive
    angle lifts it towards the face.
    """
    start, end = _flat_mm([a, b])
    x, y, z = (end - start) / np.linalg.norm(end - start)
    angle = np.radians(degrees if direction is Fold.VALLEY else -degrees)
    cross = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    rotation = np.eye(3) + np.sin(angle) * cross + (1 - np.cos(angle)) * (cross @ cross)
    return _RigidMotion(rotation, start - rotation @ start)


def corner_gaps(folded: FoldedState) -> tuple[float, ...]:
    """Return the gap between neighbouring walls at each corner of the base, in mm.

    The gap is the distance of the lower wall's upper end from the side of the other, so walls of
    different height meet too.  Only corners with two standing walls count: a wall folded flat
    onto the base needn't meet anything.
    """
    base = folded.polygons[folded.base]
    walls = [at for at in folded.walls if not _coplanar(folded.polygons[at], base)]
    wall_on = {frozenset(edge): at for at in walls for edge in _sides_of(folded.facets[at].corners)}
    gaps = []
    ring = folded.facets[folded.base].corners
    for before, corner, after in zip((ring[-1], *ring), ring, (*ring[1:], ring[0]), strict=False):
        first = wall_on.get(frozenset((before, corner)))
        second = wall_on.get(frozenset((corner, after)))
        if first is None or second is None or first == second:
            continue
        sides = [_side(folded, first, corner, before), _side(folded, second, corner, after)]
        low, high = sorted(sides, key=lambda side: float(np.linalg.norm(side[1] - side[0])))
        gaps.append(float(_distances(low[1:], high[:1], high[1:])[0, 0]))
    return tuple(gaps)


def _side(folded: FoldedState, wall: int, corner: RationalPoint, along: RationalPoint) -> Polygon3D:
    """Return the upright side of a wall at a corner of the base, from the corner to its end.

    `along` is the other end of the wall's fold.  Points on the way, where another line ends on
    the side, are passed over.
    """
    ring = folded.facets[wall].corners
    at, count = ring.index(corner), len(ring)
    (step,) = [step for step in (-1, 1) if ring[(at + step) % count] != along]
    far = (at + step) % count
    while _orientation(corner, ring[far], ring[(far + step) % count]) == 0:
        far = (far + step) % count
    return folded.polygons[wall][[at, far]]


def _distances(points: Polygon3D, starts: Polygon3D, ends: Polygon3D) -> Polygon3D:
    """Return the distances in mm of points (rows) from line segments (columns)."""
    along = ends - starts
    squared = np.maximum((along**2).sum(axis=1), _TOLERANCE**2)
    offset = points[:, None, :] - starts[None, :, :]
    share = np.clip((offset * along).sum(axis=2) / squared, 0.0, 1.0)
    nearest = starts + share[:, :, None] * along
    distances: Polygon3D = np.linalg.norm(points[:, None, :] - nearest, axis=2)
    return distances


def _normal(shape: Polygon3D) -> Polygon3D:
    """Return the unit normal of a flat shape (Newell's method)."""
    normal = np.cross(shape, np.roll(shape, -1, axis=0)).sum(axis=0)
    unit: Polygon3D = normal / np.linalg.norm(normal)
    return unit


def _coplanar(shape: Polygon3D, base: Polygon3D) -> bool:
    """Return whether a shape is in the plane of another."""
    heights = (shape - base[0]) @ _normal(base)
    return bool(np.abs(heights).max() <= _TOLERANCE)


def _depths(shape: Polygon3D, points: Polygon3D) -> Polygon3D:
    """Return how deep points of a shape's plane are within its border, in mm; below 0 outside."""
    ends = np.roll(shape, -1, axis=0)
    distances = _distances(points, shape, ends).min(axis=1)
    # Even-odd rule, in the projection along the axis in which the shape is largest.
    u, v = np.delete(np.arange(3), np.abs(_normal(shape)).argmax())
    start_v, end_v, v_of = shape[:, v], ends[:, v], points[:, v, None]
    crosses = (start_v > v_of) != (end_v > v_of)
    rise = np.where(end_v == start_v, 1.0, end_v - start_v)
    crossing_u = shape[:, u] + (v_of - start_v) / rise * (ends[:, u] - shape[:, u])
    inside = (crosses & (points[:, u, None] < crossing_u)).sum(axis=1) % 2 == 1
    depths: Polygon3D = np.where(inside, distances, -distances)
    return depths


def lies_on(upper: Polygon3D, lower: Polygon3D, tolerance: float) -> bool:
    """Return whether a shape lies flat on another, nowhere over its border.

    Parameters
    ----------
    tolerance
        How far it may be off in any direction, in mm: the thickness of the paper.
    """
    normal = _normal(lower)
    heights = (upper - lower[0]) @ normal
    flat = upper - heights[:, None] * normal
    allowed = max(tolerance, _TOLERANCE)
    return bool(np.abs(heights).max() <= allowed and _depths(lower, flat).min() >= -allowed)


def crossings(shapes: Sequence[Polygon3D], tolerance: float) -> tuple[Crossing, ...]:
    """Find shapes that pass through each other.

    Two shapes in different planes cross if they share a point that is deeper than the tolerance
    within both.  Shapes that touch, stand on each other or lie flat on each other don't cross.

    Parameters
    ----------
    tolerance
        The thickness of the paper, in mm.
    """
    allowed = max(tolerance, _TOLERANCE)
    lows = np.array([shape.min(axis=0) for shape in shapes])
    highs = np.array([shape.max(axis=0) for shape in shapes])
    found = []
    for first, second in combinations(range(len(shapes)), 2):
        if (lows[first] > highs[second]).any() or (lows[second] > highs[first]).any():
            continue
        depth = _crossing_depth(shapes[first], shapes[second], allowed)
        if depth > allowed:
            found.append(Crossing(first, second, depth))
    return tuple(found)


def _crossing_depth(first: Polygon3D, second: Polygon3D, allowed: float) -> float:
    """Return how deep within both shapes the line comes in which their planes meet, in mm."""
    if not (_straddles(first, second, allowed) and _straddles(second, first, allowed)):
        return 0.0
    normals = _normal(first), _normal(second)
    along = np.cross(*normals)
    if np.linalg.norm(along) < _TOLERANCE:
        return 0.0
    along /= np.linalg.norm(along)
    # The point of that line closest to the middle of the first shape: in both planes, and level
    # with the middle along the line.
    heights = [normals[0] @ first[0], normals[1] @ second[0], along @ first.mean(axis=0)]
    start = np.linalg.solve(np.array([*normals, along]), np.array(heights))
    points = start + _deepest_candidates((first, second), normals, start, along)[:, None] * along
    depths = np.minimum(_depths(first, points), _depths(second, points))
    return float(depths.max())


def _straddles(shape: Polygon3D, other: Polygon3D, allowed: float) -> bool:
    """Return whether a shape reaches beyond the plane of another on both sides."""
    heights = (shape - other[0]) @ _normal(other)
    return bool(heights.min() < -allowed and heights.max() > allowed)


def _deepest_candidates(
    shapes: tuple[Polygon3D, Polygon3D],
    normals: tuple[Polygon3D, Polygon3D],
    start: Polygon3D,
    along: Polygon3D,
) -> Polygon3D:
    """Return the positions along a line, in mm, where the depth within both can be greatest.

    Within a convex shape the depth is the smallest of the distances from its sides.  These are
    linear along the line, so the smallest is greatest where two of them are equal.  Evenly spaced
    positions are added for shapes that are not convex.
    """
    at_start, slopes = [], []
    for shape, normal in zip(shapes, normals, strict=True):
        inwards = np.cross(normal, np.roll(shape, -1, axis=0) - shape)
        inwards /= np.linalg.norm(inwards, axis=1)[:, None]
        at_start.append(((start - shape) * inwards).sum(axis=1))
        slopes.append(inwards @ along)
    values, slope = np.concatenate(at_start), np.concatenate(slopes)
    steeper = slope[:, None] - slope[None, :]
    not_parallel = np.abs(steeper) > _TOLERANCE
    equal = (values[None, :] - values[:, None])[not_parallel] / steeper[not_parallel]
    spans = [(shape - start) @ along for shape in shapes]
    low, high = max(span.min() for span in spans), min(span.max() for span in spans)
    if low > high:
        return np.array([low])
    return np.concatenate([equal[(equal >= low) & (equal <= high)], np.linspace(low, high, 33)])


def fold_faults(
    piece: Piece,
    thickness: Length,
    unit: Unit,
    degrees: float | Callable[[Score], float] | None = None,
) -> tuple[str, ...]:
    """Fold a piece and return what is wrong with it, a sentence for each fault.

    Parameters
    ----------
    thickness
        Of its paper, in fine units: parts may be apart or overlap by as much.
    degrees
        How far its score lines are folded (see `fold`).
    """
    try:
        folded = fold(piece, degrees)
    except DesignRefusal as refusal:
        return (str(refusal),)
    allowed = max(thickness / UNITS_PER_MM, _TOLERANCE)
    faults = []
    if folded.closure_error > allowed:
        faults.append(
            f"{piece.name}: its folds would tear it by {_format_mm(folded.closure_error, unit)}"
        )
    apart = max(corner_gaps(folded), default=0.0)
    if apart > allowed:
        faults.append(f"{piece.name}: its walls stand {_format_mm(apart, unit)} apart at a corner")
    faults += [
        f"{piece.name}: the part at {_facet_location(folded, crossing.first, unit)} passes"
        f" {_format_mm(crossing.depth, unit)} through the part at"
        f" {_facet_location(folded, crossing.second, unit)}"
        for crossing in crossings(folded.polygons, allowed)
    ]
    faults += [
        f"{piece.name}: the tab at {_facet_location(folded, at, unit)} reaches over what it is"
        " glued to"
        for at in _overhanging_tabs(folded, allowed)
    ]
    return tuple(faults)


def _overhanging_tabs(folded: FoldedState, allowed: float) -> list[int]:
    """Return the facets that are glue tabs and lie on a part of the piece, but not wholly."""
    tabs = [{(x, y) for x, y in area} for area in folded.piece.glue]
    found = []
    for at, facet in enumerate(folded.facets):
        if set(facet.corners) not in tabs:
            continue
        tab = folded.polygons[at]
        middle = tab.mean(axis=0, keepdims=True)
        under = [
            other
            for place, other in enumerate(folded.polygons)
            if place != at and lies_on(middle, other, allowed)
        ]
        if under and not any(lies_on(tab, other, allowed) for other in under):
            found.append(at)
    return found


def _format_mm(millimetres: float, unit: Unit) -> str:
    shown = Unit.IN if unit is Unit.IN else Unit.MM
    return format_length(round(millimetres * 100) * UNITS_PER_MM // 100, shown)


def _facet_location(folded: FoldedState, at: int, unit: Unit) -> str:
    """Return where a facet is on the flat piece, in words."""
    corners = folded.facets[at].corners
    x, y = (round(sum(Fraction(c[axis]) for c in corners) / len(corners)) for axis in (0, 1))
    return f"{format_length(x, unit)} from the left and {format_length(y, unit)} from the top"
