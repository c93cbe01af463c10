"""Folded shapes in the tests: move them, measure them, and see whether they stand all round."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

import numpy as np

from nester.designs.base.folding import Polygon3D

_ROUNDING = 1e-7
"""What floats may be off by, in mm."""


def transformed(
    shapes: Iterable[Polygon3D],
    shift: tuple[float, float, float] = (0.0, 0.0, 0.0),
    *,
    upside_down: bool = False,
) -> tuple[Polygon3D, ...]:
    """Move a folded part, if asked for turned over about the x axis first.

    Parameters
    ----------
    shift
        How far it goes along x, y and z, in mm.
    """
    turned = np.array([1.0, -1.0, -1.0]) if upside_down else np.ones(3)
    return tuple(shape * turned + np.array(shift) for shape in shapes)


def extents(shapes: Iterable[Polygon3D]) -> tuple[float, float, float]:
    """Return how far shapes reach along x, y and z, in mm, on paper of no thickness."""
    points = np.concatenate(list(shapes))
    x, y, z = points.max(axis=0) - points.min(axis=0)
    return float(x), float(y), float(z)


class _AngularSpan(NamedTuple):
    """What a shape hides from a place, looking level: two angles, and the distance at each."""

    start: float
    end: float
    start_distance: float
    end_distance: float


def encloses(
    shapes: Iterable[Polygon3D], place: tuple[float, float, float], tolerance: float
) -> bool:
    """Return whether every level look from a place meets one of the shapes.

    Parameters
    ----------
    place
        x, y and z in mm.
    tolerance
        The widest gap that doesn't count, in mm: the thickness of the paper.
    """
    spans = sorted(span for shape in shapes for span in _hidden_spans(shape - np.array(place)))
    if not spans:
        return False
    first, *others = spans
    whole_turn = 2 * np.pi
    first_again = first._replace(start=first.start + whole_turn, end=first.end + whole_turn)
    end, distance = first.end, first.end_distance
    for span in (*others, first_again):
        gap = (span.start - end) * min(distance, span.start_distance)
        if gap > max(tolerance, _ROUNDING):
            return False
        if span.end > end:
            end, distance = span.end, span.end_distance
    return True


def _hidden_spans(shape: Polygon3D) -> Iterable[_AngularSpan]:
    """Give what a shape hides from the origin, where it comes through the plane z = 0."""
    heights = shape[:, 2]
    ends, end_heights = np.roll(shape, -1, axis=0), np.roll(heights, -1)
    crossing = (heights >= 0) != (end_heights >= 0)
    if not crossing.any():
        return
    share = heights[crossing] / (heights[crossing] - end_heights[crossing])
    points = shape[crossing] + share[:, None] * (ends[crossing] - shape[crossing])
    normal = np.cross(shape, np.roll(shape, -1, axis=0)).sum(axis=0)
    order = np.argsort(points @ np.array([-normal[1], normal[0], 0.0]))
    level = points[order][:, :2]
    angles, distances = np.arctan2(level[:, 1], level[:, 0]), np.linalg.norm(level, axis=1)
    for index in range(0, len(level), 2):
        start, end = float(angles[index]), float(angles[index + 1])
        at_start, at_end = float(distances[index]), float(distances[index + 1])
        width = (end - start) % (2 * np.pi)
        if width <= np.pi:
            yield _AngularSpan(start, start + width, at_start, at_end)
        else:
            yield _AngularSpan(end, end + 2 * np.pi - width, at_end, at_start)
