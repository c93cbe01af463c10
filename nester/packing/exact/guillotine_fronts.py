"""The smallest rectangles from which straight cuts free a set of pieces.

A *content* says how many of each shape there are.  Whatever comes apart by an edge-to-edge cut
was joined from two parts, side by side or one above the other; so the sizes of the smallest
rectangles for a content come from those for its parts, over all ways to part it.  What does not
come apart is one blank, with everything else in its voids: each is a separate small sheet.
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


def adjusted(counts: ItemCounts, item_type: int, change: int) -> ItemCounts:
    """Return a content with more of one shape, by `change`."""
    return (*counts[:item_type], counts[item_type] + change, *counts[item_type + 1 :])


def count_splits(counts: ItemCounts) -> int:
    """Return in how many ways a content and all that is in it can be parted in two."""
    return prod((count + 1) * (count + 2) // 2 for count in counts)


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
        self._max_width = max(sheet_type.width for sheet_type in task.bin_types)
        self._max_height = max(sheet_type.height for sheet_type in task.bin_types)
        self._fronts: dict[ItemCounts, _Front] = {}
        self._in_voids: dict[tuple[ItemCounts, tuple[_Size, ...]], bool] = {}
        self.steps = 0

    def is_feasible(self, counts: ItemCounts, sheet: BinType) -> bool:
        """Say whether straight cuts free a content from a sheet of a kind."""
        return self._fits(counts, (sheet.width, sheet.height))

    def placements(self, counts: ItemCounts, sheet: BinType) -> tuple[Placement, ...]:
        """Return how a content that a sheet holds lies on it."""
        return tuple(self._place(counts, (sheet.width, sheet.height), (0, 0)))

    def _fits(self, counts: ItemCounts, size: _Size) -> bool:
        return any(w <= size[0] and h <= size[1] for w, h in self._front(counts))

    def _front(self, counts: ItemCounts) -> _Front:
        known = self._fronts.get(counts)
        if known is None:
            self._fronts[counts] = known = self._pareto_front(self._bounding_boxes(counts))
        return known

    def _bounding_boxes(self, counts: ItemCounts) -> Iterable[_Size]:
        if sum(counts) == 1:
            return orientations(self._item_types[counts.index(1)])
        parts = (adjusted(counts, item_type, -1) for item_type, count in enumerate(counts) if count)
        if not all(self._front(part) for part in parts):
            return ()
        sizes = {host.size for host in self._host_placements(counts)}
        for first, second in _splits(counts):
            first_front, second_front = self._front(first), self._front(second)
            self.steps += 1
            if first_front and second_front:
                self.steps += (len(first_front) + len(second_front)) // _SIZES_PER_STEP
                sizes.update(_side_by_side(first_front, second_front, self._max_width))
                sizes.update(
                    (w, h)
                    for h, w in _side_by_side(
                        _transposed(first_front), _transposed(second_front), self._max_height
                    )
                )
        return sizes

    def _host_placements(self, counts: ItemCounts) -> Iterator[_HostPlacement]:
        """Yield the ways to lay a blank of a content so that its voids hold all the rest."""
        for item_type, count in enumerate(counts):
            item = self._item_types[item_type]
            if not count or not item.voids:
                continue
            rest = adjusted(counts, item_type, -1)
            for turned, size in enumerate(orientations(item)):
                voids = item.voids_at(0, 0, turned > 0)
                if self._fits_voids(rest, tuple((void.width, void.height) for void in voids)):
                    yield _HostPlacement(item_type, turned > 0, size, voids)

    def _fits_voids(self, counts: ItemCounts, voids: tuple[_Size, ...]) -> bool:
        if not any(counts):
            return True
        key = counts, voids
        if key not in self._in_voids:
            self._in_voids[key] = self._share_of_first_void(counts, voids) is not None
        return self._in_voids[key]

    def _share_of_first_void(
        self, counts: ItemCounts, voids: tuple[_Size, ...]
    ) -> ItemCounts | None:
        """Return what lies in the first void, if voids hold a content; the others hold the rest."""
        self.steps += 1
        if not voids or not self._may_fit(counts, voids):
            return None
        first, others = voids[0], voids[1:]
        if not others:
            return counts if self._fits(counts, first) else None
        for part, rest in _subsets(counts):
            self.steps += 1
            if self._fits_voids(rest, others) and (not any(part) or self._fits(part, first)):
                return part
        return None

    def _may_fit(self, counts: ItemCounts, voids: tuple[_Size, ...]) -> bool:
        """Say whether voids are large enough for what is solid of a content, and for each piece."""
        items = [item for item, count in zip(self._item_types, counts, strict=True) if count]
        solid_area = sum(
            count * other_item.solid_area
            for other_item, count in zip(self._item_types, counts, strict=True)
        )
        return solid_area <= sum(w * h for w, h in voids) and all(
            any(item.fits(*void) for void in voids) for item in items
        )

    def _pareto_front(self, sizes: Iterable[_Size]) -> _Front:
        front: _Front = []
        for width, height in sorted(sizes):
            if (not front or height < front[-1][1]) and any(
                width <= sheet_type.width and height <= sheet_type.height
                for sheet_type in self._bin_types
            ):
                front.append((width, height))
        return front

    def _place(self, counts: ItemCounts, size: _Size, at: tuple[int, int]) -> Iterator[Placement]:
        """Take a content apart again, in the room that it is known to need."""
        x, y = at
        if sum(counts) == 1:
            item_type = counts.index(1)
            item = self._item_types[item_type]
            yield Placement(item_type, x, y, not (item.width <= size[0] and item.height <= size[1]))
            return
        for part, rest in _splits(counts):
            part_front, rest_front = self._front(part), self._front(rest)
            if not part_front or not rest_front:
                continue
            width = _min_width(part_front, size[1])
            if width and _fits_beside(width, rest_front, size):
                yield from self._place(part, (width, size[1]), at)
                yield from self._place(rest, (size[0] - width, size[1]), (x + width, y))
                return
            height = _min_width(_transposed(part_front), size[0])
            if height and _fits_beside(height, _transposed(rest_front), (size[1], size[0])):
                yield from self._place(part, (size[0], height), at)
                yield from self._place(rest, (size[0], size[1] - height), (x, y + height))
                return
        for host in self._host_placements(counts):
            if host.size[0] <= size[0] and host.size[1] <= size[1]:
                yield Placement(host.item_type, x, y, host.turned)
                yield from self._place_in_voids(
                    host.voids, adjusted(counts, host.item_type, -1), at
                )
                return
        raise AssertionError("a content that is held does not come apart")

    def _place_in_voids(
        self, voids: tuple[Rect, ...], counts: ItemCounts, at: tuple[int, int]
    ) -> Iterator[Placement]:
        """Lay what voids are known to hold, one void after the other."""
        if not any(counts):
            return
        part = self._share_of_first_void(counts, tuple((void.width, void.height) for void in voids))
        if part is None:
            raise AssertionError("voids that hold a content do not share it")
        first = voids[0]
        if any(part):
            place = at[0] + first.x, at[1] + first.y
            yield from self._place(part, (first.width, first.height), place)
        rest = tuple(all_ - some for all_, some in zip(counts, part, strict=True))
        yield from self._place_in_voids(voids[1:], rest, at)


def _subsets(counts: ItemCounts) -> Iterator[tuple[ItemCounts, ItemCounts]]:
    """Yield each part of a content, none and all included, and what it leaves."""
    for part in product(*(range(count + 1) for count in counts)):
        yield part, tuple(all_ - some for all_, some in zip(counts, part, strict=True))


def _splits(counts: ItemCounts) -> Iterator[tuple[ItemCounts, ItemCounts]]:
    """Yield all ways to part a content in two, each once."""
    for part, rest in _subsets(counts):
        if part > rest:
            return  # from here on the same partings come back with their sides changed
        if any(part):
            yield part, rest


def _transposed(front: _Front) -> _Front:
    return [(height, width) for width, height in reversed(front)]


def _side_by_side(a: _Front, b: _Front, max_width: int) -> Iterator[_Size]:
    """Yield the sizes of what two fronts make beside each other, at most so wide."""
    i = j = 0
    while i < len(a) and j < len(b):
        width = a[i][0] + b[j][0]
        if width > max_width:
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


def _fits_beside(width: int, front: _Front, size: _Size) -> bool:
    min_width = _min_width(front, size[1])
    return 0 < min_width <= size[0] - width
