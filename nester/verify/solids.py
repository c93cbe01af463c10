"""What is solid of pieces, and what lies over what: the verifier's own geometry."""

from __future__ import annotations

from bisect import bisect_left, insort
from enum import IntEnum
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

from nester.core.lengths import Unit, format_size
from nester.core.problem import Rect

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence


__all__ = [
    "IntervalSet",
    "Item",
    "SweepEvent",
    "contains",
    "describe_rect",
    "overlap",
    "solid_rects",
]


class Item(NamedTuple):
    """A piece or an offcut that must lie free in the end."""

    rect: Rect
    name: str
    voids: tuple[Rect, ...] = ()


def describe_rect(rect: Rect) -> str:
    """Write the size of a rectangle and its place, in millimetres."""
    at = format_size(rect.x, rect.y, Unit.MM).replace(" ×", ",")
    return f"{format_size(rect.width, rect.height, Unit.MM)} at {at}"


def contains(outer: Rect, inner: Rect) -> bool:
    """Tell whether a rectangle lies in another; edges may touch."""
    return (
        outer.x <= inner.x
        and outer.y <= inner.y
        and inner.right <= outer.right
        and inner.bottom <= outer.bottom
    )


class IntervalSet:
    """Disjoint intervals along one axis, found by binary search."""

    def __init__(self) -> None:
        self.intervals: list[tuple[int, int, int]] = []

    def find_overlap(self, start: int, end: int) -> int | None:
        """Return the index of an interval that shares more than an end with the given one."""
        at = bisect_left(self.intervals, (start,))
        if at < len(self.intervals) and self.intervals[at][0] < end:
            return self.intervals[at][2]
        if at and self.intervals[at - 1][1] > start:
            return self.intervals[at - 1][2]
        return None

    def add(self, start: int, end: int, index: int) -> None:
        """Add an interval under an index."""
        insort(self.intervals, (start, end, index))

    def remove(self, start: int, end: int, index: int) -> None:
        """Remove an interval if it was added."""
        at = bisect_left(self.intervals, (start, end, index))
        if at < len(self.intervals) and self.intervals[at] == (start, end, index):
            del self.intervals[at]


class SweepEvent(IntEnum):
    """What a sweep line meets; at one place, what ends comes first and what begins last."""

    END = 0
    CUT = 1
    START = 2


def overlap(first: Rect, second: Rect) -> bool:
    """Tell whether two rectangles share more than an edge."""
    return (
        first.x < second.right
        and second.x < first.right
        and first.y < second.bottom
        and second.y < first.bottom
    )


def _solid_rows(item: Item) -> Iterator[Rect]:
    """Yield what is solid of an item in rows; each reaches as far left and right as it can."""
    blank, voids = item.rect, item.voids
    ends = {blank.y, blank.bottom, *(v.y for v in voids), *(v.bottom for v in voids)}
    for top, bottom in pairwise(sorted(ends)):
        left = blank.x
        for void in sorted(v for v in voids if v.y < bottom and top < v.bottom):
            if left < void.x:
                yield Rect(left, top, void.x - left, bottom - top)
            left = void.right
        if left < blank.right:
            yield Rect(left, top, blank.right - left, bottom - top)


def _transposed(rect: Rect) -> Rect:
    """Return a rectangle with across and down exchanged."""
    return Rect(rect.y, rect.x, rect.height, rect.width)


def solid_rects(items: Sequence[Item], upright: bool = True) -> list[tuple[Rect, Item]]:
    """Return what is solid of items in rows, or in columns with across and down exchanged."""
    if not upright:
        seen_items = [Item(_transposed(r), n, tuple(map(_transposed, v))) for r, n, v in items]
    else:
        seen_items = list(items)
    return [
        (row, item)
        for item, seen in zip(items, seen_items, strict=True)
        for row in _solid_rows(seen)
    ]
