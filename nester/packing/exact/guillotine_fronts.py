"""The smallest rectangles from which straight cuts free a set of pieces.

A *content* says how many of each shape there are.  Whatever comes apart by an edge-to-edge cut
was joined from two parts, side by side or one above the other; so the sizes of the smallest
rectangles for a content come from those for its parts, over all ways to part it.  What does not
come apart is one blank, with everything else in its voids: each is a small sheet of its own.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import product
from math import prod
from typing import NamedTuple

from nester.core.problem import Rect
from nester.packing.task.task import BinType, Placement, Task, orientations

__all__ = ["GuillotineFronts", "ItemCounts", "adjusted", "count_splits"]

_SIZES_PER_STEP = 8
ItemCounts = tuple[int, ...]
"""How many of each shape, by its index."""
_Size = tuple[int, int]
_Front = list[_Size]
"""Sizes none of which is within another: widths rising, heights falling."""


def adjusted(content: ItemCounts, shape: int, by: int) -> ItemCounts:
    """Return a content with so many more of one shape."""
    return (*content[:shape], content[shape] + by, *content[shape + 1 :])


def count_splits(content: ItemCounts) -> int:
    """Return in how many ways a content and all that is in it can be parted in two."""
    return prod((n + 1) * (n + 2) // 2 for n in content)


class _HostPlacement(NamedTuple):
    """A blank at 0, 0, and its voids."""

    item_type: int
    turned: bool
    size: _Size
    voids: tuple[Rect, ...]


class GuillotineFronts:
    """Finds and keeps the fronts of contents, as far as they fit a sheet of any kind.

    `steps` counts the ways to part a content that were looked at, long fronts as several.
    """

    def __init__(self, task: Task) -> None:
        self._item_types = task.item_types
        self._bin_types = task.bin_types
        self._max_width = max(kind.width for kind in task.bin_types)
        self._max_height = max(kind.height for kind in task.bin_types)
        self._fronts: dict[ItemCounts, _Front] = {}
        self._in_voids: dict[tuple[ItemCounts, tuple[_Size, ...]], bool] = {}
        self.steps = 0

    def is_feasible(self, content: ItemCounts, sheet: BinType) -> bool:
        """Say whether straight cuts free a content from a sheet of a kind."""
        return self._fits(content, (sheet.width, sheet.height))

    def placements(self, content: ItemCounts, sheet: BinType) -> tuple[Placement, ...]:
        """Return how a content that a sheet holds lies on it."""
        return tuple(self._place(content, (sheet.width, sheet.height), (0, 0)))

    def _fits(self, content: ItemCounts, room: _Size) -> bool:
        return any(w <= room[0] and h <= room[1] for w, h in self._front(content))

    def _front(self, content: ItemCounts) -> _Front:
        known = self._fronts.get(content)
        if known is None:
            self._fronts[content] = known = self._pareto_front(self._bounding_boxes(content))
        return known

    def _bounding_boxes(self, content: ItemCounts) -> Iterable[_Size]:
        if sum(content) == 1:
            return orientations(self._item_types[content.index(1)])
        parts = (adjusted(content, shape, -1) for shape, number in enumerate(content) if number)
        if not all(self._front(part) for part in parts):
            return ()
        sizes = {laid.size for laid in self._host_placements(content)}
        for one, other in _splits(content):
            a, b = self._front(one), self._front(other)
            self.steps += 1
            if a and b:
                self.steps += (len(a) + len(b)) // _SIZES_PER_STEP
                sizes.update(_side_by_side(a, b, self._max_width))
                sizes.update(
                    (w, h)
                    for h, w in _side_by_side(_transposed(a), _transposed(b), self._max_height)
                )
        return sizes

    def _host_placements(self, content: ItemCounts) -> Iterator[_HostPlacement]:
        """Yield the ways to lay a blank of a content so that its voids hold all the rest."""
        for index, number in enumerate(content):
            shape = self._item_types[index]
            if not number or not shape.voids:
                continue
            rest = adjusted(content, index, -1)
            for turned, size in enumerate(orientations(shape)):
                voids = shape.voids_at(0, 0, turned > 0)
                if self._fits_voids(rest, tuple((void.width, void.height) for void in voids)):
                    yield _HostPlacement(index, turned > 0, size, voids)

    def _fits_voids(self, content: ItemCounts, voids: tuple[_Size, ...]) -> bool:
        if not any(content):
            return True
        key = content, voids
        if key not in self._in_voids:
            self._in_voids[key] = self._share_of_first_void(content, voids) is not None
        return self._in_voids[key]

    def _share_of_first_void(
        self, content: ItemCounts, voids: tuple[_Size, ...]
    ) -> ItemCounts | None:
        """Return what lies in the first void, if voids hold a content; the others hold the rest."""
        self.steps += 1
        if not voids or not self._may_fit(content, voids):
            return None
        first, others = voids[0], voids[1:]
        if not others:
            return content if self._fits(content, first) else None
        for part, rest in _subsets(content):
            self.steps += 1
            if self._fits_voids(rest, others) and (not any(part) or self._fits(part, first)):
                return part
        return None

    def _may_fit(self, content: ItemCounts, voids: tuple[_Size, ...]) -> bool:
        """Say whether voids are large enough for what is solid of a content, and for each piece."""
        shapes = [shape for shape, n in zip(self._item_types, content, strict=True) if n]
        solid = sum(n * s.solid_area for s, n in zip(self._item_types, content, strict=True))
        return solid <= sum(w * h for w, h in voids) and all(
            any(shape.fits(*void) for void in voids) for shape in shapes
        )

    def _pareto_front(self, sizes: Iterable[_Size]) -> _Front:
        front: _Front = []
        for width, height in sorted(sizes):
            if (not front or height < front[-1][1]) and any(
                width <= kind.width and height <= kind.height for kind in self._bin_types
            ):
                front.append((width, height))
        return front

    def _place(self, content: ItemCounts, room: _Size, at: tuple[int, int]) -> Iterator[Placement]:
        """Take a content apart again, in the room that it is known to need."""
        x, y = at
        if sum(content) == 1:
            index = content.index(1)
            shape = self._item_types[index]
            yield Placement(index, x, y, not (shape.width <= room[0] and shape.height <= room[1]))
            return
        for one, other in _splits(content):
            a, b = self._front(one), self._front(other)
            if not a or not b:
                continue
            wide = _min_width(a, room[1])
            if wide and _fits_beside(wide, b, room):
                yield from self._place(one, (wide, room[1]), at)
                yield from self._place(other, (room[0] - wide, room[1]), (x + wide, y))
                return
            high = _min_width(_transposed(a), room[0])
            if high and _fits_beside(high, _transposed(b), (room[1], room[0])):
                yield from self._place(one, (room[0], high), at)
                yield from self._place(other, (room[0], room[1] - high), (x, y + high))
                return
        for laid in self._host_placements(content):
            if laid.size[0] <= room[0] and laid.size[1] <= room[1]:
                yield Placement(laid.item_type, x, y, laid.turned)
                yield from self._place_in_voids(
                    laid.voids, adjusted(content, laid.item_type, -1), at
                )
                return
        raise AssertionError("a content that is held does not come apart")

    def _place_in_voids(
        self, voids: tuple[Rect, ...], content: ItemCounts, at: tuple[int, int]
    ) -> Iterator[Placement]:
        """Lay what voids are known to hold, one void after the other."""
        if not any(content):
            return
        part = self._share_of_first_void(
            content, tuple((void.width, void.height) for void in voids)
        )
        if part is None:
            raise AssertionError("voids that hold a content do not share it")
        first = voids[0]
        if any(part):
            place = at[0] + first.x, at[1] + first.y
            yield from self._place(part, (first.width, first.height), place)
        rest = tuple(all_ - some for all_, some in zip(content, part, strict=True))
        yield from self._place_in_voids(voids[1:], rest, at)


def _subsets(content: ItemCounts) -> Iterator[tuple[ItemCounts, ItemCounts]]:
    """Yield each part of a content, none and all included, and what it leaves."""
    for part in product(*(range(number + 1) for number in content)):
        yield part, tuple(all_ - some for all_, some in zip(content, part, strict=True))


def _splits(content: ItemCounts) -> Iterator[tuple[ItemCounts, ItemCounts]]:
    """Yield all ways to part a content in two, each once."""
    for one, other in _subsets(content):
        if one > other:
            return  # from here on the same partings come back with their sides changed
        if any(one):
            yield one, other


def _transposed(front: _Front) -> _Front:
    return [(height, width) for width, height in reversed(front)]


def _side_by_side(a: _Front, b: _Front, widest: int) -> Iterator[_Size]:
    """Yield the sizes of what two fronts make beside each other, at most so wide."""
    i = j = 0
    while i < len(a) and j < len(b):
        width = a[i][0] + b[j][0]
        if width > widest:
            return
        below_a, below_b = a[i][1], b[j][1]
        yield width, max(below_a, below_b)
        # Only a lower rectangle in place of the higher one makes the whole lower.
        if below_a >= below_b:
            i += 1
        if below_b >= below_a:
            j += 1


def _min_width(front: _Front, height: int) -> int:
    """Return the least width at which a front is at most so high; 0 if it never is."""
    return next((w for w, h in front if h <= height), 0)


def _fits_beside(wide: int, front: _Front, room: _Size) -> bool:
    rest = _min_width(front, room[1])
    return 0 < rest <= room[0] - wide
