"""Pieces folded up in space, and whether the folded part is sound.

A piece is cut along its score lines and slits into *facets*, exactly.  From one of them, the
base, the others are turned about the score lines they hang by.  Folded shapes are in mm as
floats: they show whether a design folds, and decide no cut.  Space has x to the right and y up
the page, and z out of the face, towards the reader.  Paper has no thickness in it; thickness is
a tolerance of the checks.
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
"""An exact place on a flat piece, in fine units."""

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

    def contains(self, spot: RationalPoint) -> bool:
        """Tell whether a place lies on it; its border belongs to it."""
        odd = False
        for a, b in _sides_of(self.corners):
            turn = _orientation(a, b, spot)
            if turn == 0 and _between(a, b, spot):
                return True
            if (a[1] > spot[1]) != (b[1] > spot[1]):
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
        Which of them lies where it lay on the page.
    parents
        For each facet the one it hangs on by a score line; the base hangs on itself.
    closure_error
        How far the two sides of a score line are apart at most, in mm: more than nothing where
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
        """The facets that hang on the base itself."""
        return tuple(
            at for at, on in enumerate(self.parents) if on == self.base and at != self.base
        )


class Crossing(NamedTuple):
    """Two shapes of which one passes through the other, by their places, and how deep in mm."""

    first: int
    second: int
    depth: float


def facets(piece: Piece) -> tuple[Facet, ...]:
    """Cut a piece along its score lines and slits.

    A slit that ends within a facet doesn't part it, and what slits alone cut out is left out.

    Raises
    ------
    DesignRefusal
        If a score line ends within the paper: nothing can be folded there.
    """
    return tuple(Facet(corners) for corners in _trace_faces(_planar_graph(piece)))


def _planar_graph(piece: Piece) -> dict[_Edge, Score | None]:
    """Return all lines cut at each other, each both ways; None: paper is cut there."""
    corners = piece.outline
    cuts = [Line(a, b) for a, b in zip(corners, corners[1:] + corners[:1], strict=True)]
    cuts += piece.slits
    marks: list[tuple[Line, Score | None]] = [(score.line, score) for score in piece.scores]
    marks += [(line, None) for line in cuts]
    lines = [line for line, _ in marks]
    edges: dict[_Edge, Score | None] = {}
    for line, score in marks:  # cuts come last: a score that is cut through is no fold
        for a, b in _split_segment(line, lines):
            edges[a, b] = edges[b, a] = score
    _prune_dangling(piece, edges)
    return edges


def _split_segment(line: Line, others: Iterable[Line]) -> Iterable[_Edge]:
    """Cut a line wherever another meets it."""
    spots: set[RationalPoint] = {line.start, line.end}
    for other in others:
        spots.update(_intersections(line, other))
    along = sorted(spots, key=lambda spot: _along(line, spot))
    return pairwise(along)


def _along(line: Line, spot: RationalPoint) -> int | Fraction:
    (ax, ay), (bx, by) = line
    return (spot[0] - ax) * (bx - ax) + (spot[1] - ay) * (by - ay)


def _intersections(line: Line, other: Line) -> Iterable[RationalPoint]:
    """Give the inner or end places of a line at which another touches or crosses it."""
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
    """Return on which side of a → b a place lies: more than zero is clockwise on the page."""
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def _between(a: RationalPoint, b: RationalPoint, c: RationalPoint) -> bool:
    within = min(a[0], b[0]) <= c[0] <= max(a[0], b[0])
    return within and min(a[1], b[1]) <= c[1] <= max(a[1], b[1])


def _sides_of(corners: Sequence[RationalPoint]) -> Iterable[_Edge]:
    return zip(corners, (*corners[1:], corners[0]), strict=True)


def _twice_area(corners: Sequence[RationalPoint]) -> int | Fraction:
    return sum(a[0] * b[1] - b[0] * a[1] for a, b in _sides_of(corners))


def _prune_dangling(piece: Piece, edges: dict[_Edge, Score | None]) -> None:
    """Take out what bounds no facet: loose ends, and loops with no way to the outline."""
    while True:
        ways = Counter(start for start, _ in edges)
        loose = {edge for edge in edges if 1 in (ways[edge[0]], ways[edge[1]])}
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
    """Return the edges that no way along edges leads to."""
    onwards = _neighbours(edges)
    reached, waiting = {start}, [start]
    while waiting:
        fresh = [spot for spot in onwards[waiting.pop()] if spot not in reached]
        reached.update(fresh)
        waiting += fresh
    return {edge for edge in edges if edge[0] not in reached}


def _neighbours(edges: Iterable[_Edge]) -> dict[RationalPoint, list[RationalPoint]]:
    onwards: dict[RationalPoint, list[RationalPoint]] = {}
    for start, end in edges:
        onwards.setdefault(start, []).append(end)
    return onwards


def _trace_faces(edges: Iterable[_Edge]) -> list[tuple[RationalPoint, ...]]:
    """Walk round every facet, turning off at each corner as sharply as can be."""
    onwards = {spot: _sorted_by_angle(spot, ends) for spot, ends in _neighbours(edges).items()}
    rings, walked = [], set()
    for edge in edges:
        ring: list[RationalPoint] = []
        here, there = edge
        while (here, there) not in walked:
            walked.add((here, there))
            ring.append(here)
            ways = onwards[there]
            here, there = there, ways[ways.index(here) - 1]
        # The walk round the outside of the piece goes the other way about.
        if ring and _twice_area(ring) > 0:
            rings.append(tuple(ring))
    return rings


def _sorted_by_angle(centre: RationalPoint, spots: Iterable[RationalPoint]) -> list[RationalPoint]:
    """Sort places by their direction from a centre, clockwise on the page, exactly."""

    def half(spot: RationalPoint) -> bool:
        return (spot[1], spot[0]) < (centre[1], centre[0])

    def compare(a: RationalPoint, b: RationalPoint) -> int:
        if half(a) != half(b):
            return half(a) - half(b)
        turn = _orientation(centre, a, b)
        return (turn < 0) - (turn > 0)

    return sorted(spots, key=cmp_to_key(compare))


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
        How far each score line is folded: 0 leaves it flat, 90 stands a wall up, 180 lays it
        back on itself; for all of them, or told of each.  Each as far as it says itself unless
        given.  Valley folds turn towards the face, mountain folds away from it.
    base
        A place on the facet that stays where it is; the middle of the blank unless given.  If
        several hold it, or none does, the largest of them stays.

    Returns
    -------
    Folded
        Its shapes in mm.

    Raises
    ------
    DesignRefusal
        If a score line ends within the paper, or the slits cut the piece in two.
    """
    edges = _planar_graph(piece)
    parts = tuple(Facet(corners) for corners in _trace_faces(edges))
    start = _base_facet(parts, base or (Fraction(piece.width, 2), Fraction(piece.height, 2)))
    sides = {edge: at for at, part in enumerate(parts) for edge in _sides_of(part.corners)}
    frames: dict[int, _RigidMotion] = {start: _RigidMotion(np.eye(3), np.zeros(3))}
    hangs_on = {start: start}
    tear = 0.0
    waiting = deque([start])
    while waiting:
        here = waiting.popleft()
        for a, b in _sides_of(parts[here].corners):
            score, next_part = edges[a, b], sides.get((b, a))
            if score is None or next_part is None:
                continue
            turned = frames[here].compose(
                _rotation_about(a, b, _fold_angle(score, degrees), score.fold)
            )
            if next_part in frames:
                there = frames[next_part].apply(_flat_mm(parts[next_part].corners))
                gap = turned.apply(_flat_mm(parts[next_part].corners)) - there
                tear = max(tear, float(np.linalg.norm(gap, axis=1).max()))
                continue
            frames[next_part], hangs_on[next_part] = turned, here
            waiting.append(next_part)
    if len(frames) < len(parts):
        raise DesignRefusal(
            f"the slits of '{piece.name}' cut it in two; a slit must leave a fold to hang by"
        )
    shapes = tuple(frames[at].apply(_flat_mm(part.corners)) for at, part in enumerate(parts))
    order = tuple(hangs_on[at] for at in range(len(parts)))
    return FoldedState(piece, parts, shapes, start, order, tear)


def _fold_angle(score: Score, degrees: float | Callable[[Score], float] | None) -> float:
    if degrees is None:
        return score.degrees
    return degrees(score) if callable(degrees) else degrees


class _RigidMotion(NamedTuple):
    """A rigid movement: turn, then shift."""

    rotation: Polygon3D
    translation: Polygon3D

    def apply(self, points: Polygon3D) -> Polygon3D:
        """Move points, a row each."""
        moved: Polygon3D = points @ self.rotation.T + self.translation
        return moved

    def compose(self, first: _RigidMotion) -> _RigidMotion:
        """Return the movement that does `first` and then this."""
        return _RigidMotion(
            self.rotation @ first.rotation, self.rotation @ first.translation + self.translation
        )


def _base_facet(parts: Sequence[Facet], middle: RationalPoint) -> int:
    holding = [at for at, part in enumerate(parts) if part.contains(middle)]
    return max(holding or range(len(parts)), key=lambda at: parts[at].twice_area)


def _flat_mm(corners: Iterable[RationalPoint]) -> Polygon3D:
    """Lay corners of the page into space: y points up, the face towards +z."""
    return np.array([(float(x) / UNITS_PER_MM, -float(y) / UNITS_PER_MM, 0.0) for x, y in corners])


def _rotation_about(a: RationalPoint, b: RationalPoint, degrees: float, way: Fold) -> _RigidMotion:
    """Turn what lies beyond a → b about it (Rodrigues' formula).

    Facets run clockwise on the page, so what lies beyond is on the left of a → b, and a positive
    turn lifts it towards the face.
    """
    start, end = _flat_mm([a, b])
    x, y, z = (end - start) / np.linalg.norm(end - start)
    angle = np.radians(degrees if way is Fold.VALLEY else -degrees)
    cross = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    turn = np.eye(3) + np.sin(angle) * cross + (1 - np.cos(angle)) * (cross @ cross)
    return _RigidMotion(turn, start - turn @ start)


def corner_gaps(folded: FoldedState) -> tuple[float, ...]:
    """Return how far apart, in mm, neighbouring walls are at each corner of the base.

    It is the distance of the lower wall's end from the side of the other, so walls of unlike
    height meet too.  Only corners at which two walls stand on the base are counted: what is
    folded flat onto it needn't meet anything.
    """
    base = folded.polygons[folded.base]
    walls = [at for at in folded.walls if not _coplanar(folded.polygons[at], base)]
    hanging = {frozenset(edge): at for at in walls for edge in _sides_of(folded.facets[at].corners)}
    gaps = []
    ring = folded.facets[folded.base].corners
    for before, corner, after in zip((ring[-1], *ring), ring, (*ring[1:], ring[0]), strict=False):
        first = hanging.get(frozenset((before, corner)))
        second = hanging.get(frozenset((corner, after)))
        if first is None or second is None or first == second:
            continue
        sides = [_side(folded, first, corner, before), _side(folded, second, corner, after)]
        low, high = sorted(sides, key=lambda side: float(np.linalg.norm(side[1] - side[0])))
        gaps.append(float(_distances(low[1:], high[:1], high[1:])[0, 0]))
    return tuple(gaps)


def _side(folded: FoldedState, wall: int, corner: RationalPoint, along: RationalPoint) -> Polygon3D:
    """Return the side of a wall that leaves a corner of the base, not along the base."""
    ring = folded.facets[wall].corners
    at, count = ring.index(corner), len(ring)
    (way,) = [way for way in (-1, 1) if ring[(at + way) % count] != along]
    far = (at + way) % count
    while _orientation(corner, ring[far], ring[(far + way) % count]) == 0:
        far = (far + way) % count
    return folded.polygons[wall][[at, far]]


def _distances(points: Polygon3D, starts: Polygon3D, ends: Polygon3D) -> Polygon3D:
    """Return the distances of points (rows) from line segments (columns)."""
    along = ends - starts
    squared = np.maximum((along**2).sum(axis=1), _TOLERANCE**2)
    offset = points[:, None, :] - starts[None, :, :]
    part = np.clip((offset * along).sum(axis=2) / squared, 0.0, 1.0)
    nearest = starts + part[:, :, None] * along
    distances: Polygon3D = np.linalg.norm(points[:, None, :] - nearest, axis=2)
    return distances


def _normal(shape: Polygon3D) -> Polygon3D:
    """Return the unit normal of a flat shape (Newell's method)."""
    normal = np.cross(shape, np.roll(shape, -1, axis=0)).sum(axis=0)
    unit: Polygon3D = normal / np.linalg.norm(normal)
    return unit


def _coplanar(shape: Polygon3D, base: Polygon3D) -> bool:
    """Tell whether a shape lies in the plane of another."""
    heights = (shape - base[0]) @ _normal(base)
    return bool(np.abs(heights).max() <= _TOLERANCE)


def _depths(shape: Polygon3D, points: Polygon3D) -> Polygon3D:
    """Return how far within the border of a shape points of its plane are; outside: negative."""
    ends = np.roll(shape, -1, axis=0)
    distances = _distances(points, shape, ends).min(axis=1)
    # Even and odd crossings, seen along the axis in which the shape shows largest.
    u, v = np.delete(np.arange(3), np.abs(_normal(shape)).argmax())
    start_v, end_v, v_of = shape[:, v], ends[:, v], points[:, v, None]
    astride = (start_v > v_of) != (end_v > v_of)
    rise = np.where(end_v == start_v, 1.0, end_v - start_v)
    meets = shape[:, u] + (v_of - start_v) / rise * (ends[:, u] - shape[:, u])
    inside = (astride & (points[:, u, None] < meets)).sum(axis=1) % 2 == 1
    depths: Polygon3D = np.where(inside, distances, -distances)
    return depths


def lies_on(upper: Polygon3D, lower: Polygon3D, tolerance: float) -> bool:
    """Tell whether one shape lies flat on another and nowhere over its border.

    Parameters
    ----------
    tolerance
        How far it may be off, in mm: the thickness of the paper.
    """
    normal = _normal(lower)
    heights = (upper - lower[0]) @ normal
    flat = upper - heights[:, None] * normal
    allowed = max(tolerance, _TOLERANCE)
    return bool(np.abs(heights).max() <= allowed and _depths(lower, flat).min() >= -allowed)


def crossings(shapes: Sequence[Polygon3D], tolerance: float) -> tuple[Crossing, ...]:
    """Find shapes that pass through each other.

    Two shapes cross if they have a place in common that lies deeper than the tolerance within
    both, while they lie in unlike planes.  Shapes that touch, stand on each other or lie flat on
    each other don't cross.

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


def _crossing_depth(one: Polygon3D, other: Polygon3D, allowed: float) -> float:
    """Return how deep within both shapes the line in which their planes meet comes."""
    if not (_straddles(one, other, allowed) and _straddles(other, one, allowed)):
        return 0.0
    normals = _normal(one), _normal(other)
    along = np.cross(*normals)
    if np.linalg.norm(along) < _TOLERANCE:
        return 0.0
    along /= np.linalg.norm(along)
    heights = [normals[0] @ one[0], normals[1] @ other[0], along @ one.mean(axis=0)]
    start = np.linalg.solve(np.array([*normals, along]), np.array(heights))
    points = start + _candidates((one, other), normals, start, along)[:, None] * along
    depths = np.minimum(_depths(one, points), _depths(other, points))
    return float(depths.max())


def _straddles(shape: Polygon3D, other: Polygon3D, allowed: float) -> bool:
    """Tell whether a shape reaches beyond both sides of the plane of another."""
    heights = (shape - other[0]) @ _normal(other)
    return bool(heights.min() < -allowed and heights.max() > allowed)


def _candidates(
    shapes: tuple[Polygon3D, Polygon3D],
    normals: tuple[Polygon3D, Polygon3D],
    start: Polygon3D,
    along: Polygon3D,
) -> Polygon3D:
    """Return where on a line the depth within both shapes can be greatest.

    Within a convex shape the depth is the least of the distances from its sides, which are
    linear along the line: the greatest is where two of them are equal.  Even steps are added for
    shapes that are not convex.
    """
    at_start, slopes = [], []
    for shape, normal in zip(shapes, normals, strict=True):
        inwards = np.cross(normal, np.roll(shape, -1, axis=0) - shape)
        inwards /= np.linalg.norm(inwards, axis=1)[:, None]
        at_start.append(((start - shape) * inwards).sum(axis=1))
        slopes.append(inwards @ along)
    values, slope = np.concatenate(at_start), np.concatenate(slopes)
    steeper = slope[:, None] - slope[None, :]
    unlike = np.abs(steeper) > _TOLERANCE
    equal = (values[None, :] - values[:, None])[unlike] / steeper[unlike]
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
    """Fold a piece and say what is wrong with it, a sentence each; nothing if it is sound.

    Parameters
    ----------
    thickness
        Of its paper, in fine units: by so much parts may miss or enter each other.
    degrees
        How far its score lines are folded, as `fold` takes it.
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
    """Return the glue tabs that lie on a part of the piece, but not wholly."""
    tabs = [{(x, y) for x, y in area} for area in folded.piece.glue]
    found = []
    for at, facet in enumerate(folded.facets):
        if set(facet.corners) not in tabs:
            continue
        tab = folded.polygons[at]
        heart = tab.mean(axis=0, keepdims=True)
        under = [
            other
            for place, other in enumerate(folded.polygons)
            if place != at and lies_on(heart, other, allowed)
        ]
        if under and not any(lies_on(tab, other, allowed) for other in under):
            found.append(at)
    return found


def _format_mm(millimetres: float, unit: Unit) -> str:
    shown = Unit.IN if unit is Unit.IN else Unit.MM
    return format_length(round(millimetres * 100) * UNITS_PER_MM // 100, shown)


def _facet_location(folded: FoldedState, at: int, unit: Unit) -> str:
    """Say where on the flat piece a facet is, from the left and from the top."""
    corners = folded.facets[at].corners
    x, y = (round(sum(Fraction(c[axis]) for c in corners) / len(corners)) for axis in (0, 1))
    return f"{format_length(x, unit)} from the left and {format_length(y, unit)} from the top"
