"""A folding engine of the tests' own: flat pieces, as a program reads them, folded in space.

It knows outlines, folds and slits from the JSON of a design, in mm, and shares no code with the
product.  Paper is as thick as it is said to be: the folds of a piece are in the middle of its
sheet, so that a part reaches half the thickness to either side of them.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Any, NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray

__all__ = ["FoldingError", "Points", "Slab", "box_slab", "fold_up", "moved", "overlap", "pushed"]

Points: TypeAlias = NDArray[np.float64]
JsonPiece: TypeAlias = Mapping[str, Any]

EXACT = 1e-6
"""What floats may be off by, in mm."""


class FoldingError(Exception):
    """A piece that can't be folded as it is marked."""


class Slab(NamedTuple):
    """A flat part of a folded piece in space.

    Attributes
    ----------
    middle
        Its corners in space, in the middle of the sheet's thickness.
    normal
        The direction that its face looks to.
    thickness
        Of its paper.
    depth
        How many folds it is away from the base.
    parent
        The place of the slab that it hangs on; -1 for the base.
    degrees
        How far it is folded towards its parent's face; below 0 away from it.
    """

    middle: Points
    normal: Points
    thickness: float
    depth: int = 0
    parent: int = -1
    degrees: float = 0

    @property
    def solid(self) -> Points:
        """The corners on its face, then those on its back."""
        half = self.normal * self.thickness / 2
        return np.concatenate([self.middle + half, self.middle - half])

    @property
    def centre(self) -> Points:
        """The middle of its corners."""
        centre: Points = (self.middle.min(axis=0) + self.middle.max(axis=0)) / 2
        return centre


# ---- from lines on paper to flat parts ---------------------------------------------------------


class _Edge(NamedTuple):
    start: int
    end: int


class _Paper(NamedTuple):
    """A piece divided by its lines: points, flat parts as rings of points, and what edges are."""

    points: Points
    rings: list[list[int]]
    folds: dict[_Edge, float]
    border: set[_Edge]


def _divided(piece: JsonPiece) -> _Paper:
    """Divide a piece along its folds and slits."""
    outline = [tuple(corner) for corner in piece["outline"]]
    lines = [(a, b, None) for a, b in zip(outline, outline[1:] + outline[:1], strict=True)]
    lines += [(tuple(s["from"]), tuple(s["to"]), None) for s in piece["slits"]]
    for score in piece["scores"]:
        sign = {"valley": 1, "mountain": -1}[score["fold"]]
        lines.append((tuple(score["from"]), tuple(score["to"]), sign * float(score["degrees"])))
    starts = np.array([line[0] for line in lines], dtype=float)
    ends = np.array([line[1] for line in lines], dtype=float)
    points = _distinct(np.concatenate([starts, ends, _crossings(starts, ends)]))
    folds: dict[_Edge, float] = {}
    cut: set[_Edge] = set()
    border: set[_Edge] = set()
    for at, ((_, _, degrees), start, end) in enumerate(zip(lines, starts, ends, strict=True)):
        on = _in_order(points, start, end)
        for a, b in pairwise(on):
            for edge in (_Edge(a, b), _Edge(b, a)):
                if degrees is None:
                    cut.add(edge)
                    border |= {edge} if at < len(outline) else set()
                else:
                    folds[edge] = degrees
    for edge in cut:
        folds.pop(edge, None)
    # The page has y down; in space y is up, and the face looks along z.
    flipped = points * np.array([1.0, -1.0])
    return _Paper(flipped, _rings(flipped, cut | set(folds)), folds, border)


def _distinct(points: Points) -> Points:
    found: list[Points] = []
    for point in points:
        if not found or np.abs(np.array(found) - point).max(axis=1).min() > EXACT:
            found.append(point)
    return np.array(found)


def _crossings(starts: Points, ends: Points) -> Points:
    """Return where lines cross each other between their ends."""
    ways = ends - starts
    across = ways[:, None, 0] * ways[None, :, 1] - ways[:, None, 1] * ways[None, :, 0]
    apart = starts[None, :] - starts[:, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        along = (apart[..., 0] * ways[None, :, 1] - apart[..., 1] * ways[None, :, 0]) / across
    hits = np.isfinite(along) & (along > 0) & (along < 1)
    hits &= hits.T  # Each within the other.
    first, second = np.nonzero(np.triu(hits))
    crossings: Points = starts[first] + along[first, second][:, None] * ways[first]
    return crossings


def _in_order(points: Points, start: Points, end: Points) -> list[int]:
    """Return the points that lie on a line, from its start to its end."""
    way = end - start
    length = math.hypot(*way)
    along = (points - start) @ way / length
    aside = np.abs((points - start) @ np.array([-way[1], way[0]])) / length
    on = np.nonzero((aside < EXACT) & (along > -EXACT) & (along < length + EXACT))[0]
    return [int(at) for at in on[np.argsort(along[on])]]


def _rings(points: Points, edges: set[_Edge]) -> list[list[int]]:
    """Walk round every part, keeping it on the left; give the rings that run anticlockwise."""
    neighbours: dict[int, list[int]] = {}
    for start, end in edges:
        neighbours.setdefault(start, []).append(end)
    for at, around in neighbours.items():
        ways = points[around] - points[at]
        around[:] = [around[i] for i in np.argsort(np.arctan2(ways[:, 1], ways[:, 0]))]
    left = set(edges)
    rings = []
    while left:
        edge = first = min(left)
        ring = []
        while True:
            left.remove(edge)
            ring.append(edge.start)
            around = neighbours[edge.end]
            edge = _Edge(edge.end, around[around.index(edge.start) - 1])
            if edge == first:
                break
        if _area(points[ring]) > EXACT:
            rings.append(ring)
    return rings


def _area(corners: Points) -> float:
    x, y = corners[:, 0], corners[:, 1]
    return float(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2


# ---- folding -----------------------------------------------------------------------------------


def fold_up(piece: JsonPiece, thickness: float) -> list[Slab]:
    """Fold a piece; its base, which is under the middle of its blank, stays level and comes first.

    Raises
    ------
    FoldingError
        If the folds would tear the paper, or leave a part of it hanging on nothing.
    """
    paper = _divided(piece)
    flat = np.column_stack([paper.points, np.zeros(len(paper.points))])
    holder = {
        _Edge(a, b): at
        for at, ring in enumerate(paper.rings)
        for a, b in zip(ring, ring[1:] + ring[:1], strict=True)
    }
    base = _under(paper, np.array([piece["width"] / 2, -piece["height"] / 2]))
    placed: dict[int, tuple[Points, Points]] = {base: (np.eye(3), np.zeros(3))}
    depths, parents, degrees = {base: 0}, {base: -1}, {base: 0.0}
    waiting = deque([base])
    while waiting:
        at = waiting.popleft()
        turn, shift = placed[at]
        ring = paper.rings[at]
        for a, b in zip(ring, ring[1:] + ring[:1], strict=True):
            other = holder.get(_Edge(b, a))
            if _Edge(a, b) not in paper.folds or other is None or other == at:
                continue
            # The other part is on the left of its own edge, from b to a: a valley lifts it.
            spin = _rotation(flat[a] - flat[b], math.radians(paper.folds[_Edge(a, b)]))
            moved_turn = turn @ spin
            moved_shift = turn @ (flat[a] - spin @ flat[a]) + shift
            if other not in placed:
                placed[other] = (moved_turn, moved_shift)
                depths[other], parents[other] = depths[at] + 1, at
                degrees[other] = paper.folds[_Edge(a, b)]
                waiting.append(other)
                continue
            there = flat[paper.rings[other]]
            torn = np.abs((there @ moved_turn.T + moved_shift) - _put(there, placed[other])).max()
            if torn > 1e-5:
                raise FoldingError(f"{piece['name']}: the folds tear it by {torn:.4f} mm")
    for at, ring in enumerate(paper.rings):
        edges = {_Edge(a, b) for a, b in zip(ring, ring[1:] + ring[:1], strict=True)}
        if at not in placed and edges & (paper.border | set(paper.folds)):
            raise FoldingError(f"{piece['name']}: a part of it hangs on nothing")
    order = list(placed)
    return [
        Slab(
            _put(flat[paper.rings[at]], placed[at]),
            placed[at][0][:, 2],
            thickness,
            depths[at],
            -1 if at == base else order.index(parents[at]),
            degrees[at],
        )
        for at in order
    ]


def _put(points: Points, place: tuple[Points, Points]) -> Points:
    turn, shift = place
    return points @ turn.T + shift


def _rotation(axis: Points, angle: float) -> Points:
    """Turn about an axis through the origin (Rodrigues)."""
    x, y, z = axis / np.linalg.norm(axis)
    cross = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    turn: Points = np.eye(3) + math.sin(angle) * cross + (1 - math.cos(angle)) * cross @ cross
    return turn


def _under(paper: _Paper, place: Points) -> int:
    """Return the part that holds a place, or else the nearest."""
    distances = []
    for ring in paper.rings:
        corners = paper.points[ring]
        ways = np.roll(corners, -1, axis=0) - corners
        apart = place - corners
        distances.append(-float((ways[:, 0] * apart[:, 1] - ways[:, 1] * apart[:, 0]).min()))
    return int(np.argmin(distances))


# ---- slabs in space ----------------------------------------------------------------------------


def moved(slab: Slab, shift: Sequence[float], *, upside_down: bool = False) -> Slab:
    """Move a slab, if asked for after turning it over about the x axis."""
    turn = np.array([1.0, -1.0, -1.0]) if upside_down else np.ones(3)
    return slab._replace(middle=slab.middle * turn + np.array(shift), normal=slab.normal * turn)


def pushed(slab: Slab, way: Points, distance: float) -> Slab:
    """Push a slab along a direction."""
    return slab._replace(middle=slab.middle + way * distance)


def box_slab(
    centre: Points, along: Points, up: Points, size: tuple[float, float], thickness: float
) -> Slab:
    """Return a flat rectangle in space."""
    half_along, half_up = along * size[0] / 2, up * size[1] / 2
    corners = np.array(
        [
            centre - half_along - half_up,
            centre + half_along - half_up,
            centre + half_along + half_up,
            centre - half_along + half_up,
        ]
    )
    return Slab(corners, np.cross(along, up), thickness)


def overlap(first: Slab, second: Slab) -> float:
    """Return how far one slab must be pushed to come free of the other; 0 if they are apart.

    By separating axes of two convex solids: their normals, the normals of their edges within
    their planes, and the products of their edges.
    """
    a, b = first.solid, second.solid
    if (a.min(axis=0) >= b.max(axis=0)).any() or (b.min(axis=0) >= a.max(axis=0)).any():
        return 0.0
    edges = [np.roll(slab.middle, -1, axis=0) - slab.middle for slab in (first, second)]
    axes = [first.normal[None], second.normal[None]]
    axes += [np.cross(own, slab.normal) for own, slab in zip(edges, (first, second), strict=True)]
    axes.append(np.cross(edges[0][:, None], edges[1][None]).reshape(-1, 3))
    ways = np.concatenate(axes)
    lengths = np.linalg.norm(ways, axis=1)
    ways = ways[lengths > EXACT] / lengths[lengths > EXACT][:, None]
    on_a, on_b = a @ ways.T, b @ ways.T
    depths = np.minimum(on_a.max(axis=0) - on_b.min(axis=0), on_b.max(axis=0) - on_a.min(axis=0))
    return max(0.0, float(depths.min()))
