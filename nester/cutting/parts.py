"""Parts of a sheet, and the edge-to-edge cuts that part them."""

from __future__ import annotations

from operator import itemgetter
from typing import TYPE_CHECKING, NamedTuple

from nester.core.problem import Rect

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence


__all__ = [
    "Box",
    "CandidateCut",
    "Part",
    "X",
    "Y",
    "candidate_cuts",
    "empty_bands",
    "is_piece",
    "overlap",
    "split_box",
    "split_part",
    "to_box",
    "to_rect",
    "within",
]


Box = tuple[int, int, int, int]
"""Left, top, right, bottom: box[axis] and box[axis + 2] bound it along an axis."""


X, Y = 0, 1
"""The axes: across and down."""


class Part(NamedTuple):
    """A part of a sheet, and the boxes of the pieces in it."""

    box: Box
    pieces: Sequence[Box]


class CandidateCut(NamedTuple):
    """A cut across an axis.

    The first `pieces_before` of the sorted pieces lie before it; `alternatives` cuts are possible
    along its axis.
    """

    axis: int
    at: int
    pieces_before: int
    alternatives: int
    pieces: Sequence[Box]


def to_box(rect: Rect) -> Box:
    """Return a rectangle as a box."""
    return rect.x, rect.y, rect.right, rect.bottom


def to_rect(box: Box) -> Rect:
    """Return a box as a rectangle."""
    return Rect(box[0], box[1], box[2] - box[0], box[3] - box[1])


def empty_bands(
    ordered: Sequence[Box], axis: int, low: int, high: int
) -> Iterator[tuple[int, int, int]]:
    """Yield start, end, and number of pieces before each empty band that runs edge to edge.

    A band may have no width: where pieces touch, and at the two ends.
    """
    reach = low
    for before, box in enumerate(ordered):
        if box[axis] >= reach:
            yield reach, box[axis], before
        reach = max(reach, box[axis + 2])
    yield reach, high, len(ordered)


def candidate_cuts(part: Part) -> Iterator[CandidateCut]:
    """Yield the edge-to-edge cuts of a part: at both edges of each empty band."""
    for axis in (X, Y):
        low, high = part.box[axis], part.box[axis + 2]
        ordered = sorted(part.pieces, key=itemgetter(axis))
        lines = [
            (at, before)
            for start, end, before in empty_bands(ordered, axis, low, high)
            for at in ((start, end) if start < end else (start,))
            if low < at < high
        ]
        for at, before in lines:
            yield CandidateCut(axis, at, before, len(lines), ordered)


def split_box(box: Box, axis: int, at: int) -> tuple[Box, Box]:
    """Return what lies before and behind a place along an axis."""
    x, y, right, bottom = box
    if axis == X:
        return (x, y, at, bottom), (at, y, right, bottom)
    return (x, y, right, at), (x, at, right, bottom)


def split_part(part: Part, choice: CandidateCut) -> tuple[Part, Part]:
    """Cut a part, or what an earlier cut the same way has left of it."""
    first, second = split_box(part.box, choice.axis, choice.at)
    gone = len(choice.pieces) - len(part.pieces)
    return (
        Part(first, choice.pieces[gone : choice.pieces_before]),
        Part(second, choice.pieces[choice.pieces_before :]),
    )


def is_piece(part: Part) -> bool:
    """Tell whether a part is one piece and nothing else."""
    return len(part.pieces) == 1 and part.pieces[0] == part.box


def overlap(first: Box, second: Box) -> bool:
    """Tell whether two boxes share more than an edge."""
    return all(first[a] < second[a + 2] and second[a] < first[a + 2] for a in (X, Y))


def within(inner: Box, outer: Box) -> bool:
    """Tell whether a box lies in another; edges may touch."""
    return all(outer[a] <= inner[a] and inner[a + 2] <= outer[a + 2] for a in (X, Y))
