"""Two-stage patterns by two knapsacks: pieces side by side in strips, strips stacked on the sheet.

The first knapsack fills a strip along its length with the most valuable pieces no deeper than it,
each at most as often as it is in demand (two-stage cutting: Gilmore and Gomory, Operations
Research 13, 1965).  Pieces are offered by rising depth, so one table solves strips of every depth.
The second knapsack chooses strips across the sheet.  It does not know that two strips may claim the
same pieces: strips that demand allows together are kept, and the rest of the sheet is solved again.
Lengths are rounded up to a raster, so what is chosen always fits.

What is left beside shallow pieces, at the ends of strips and in voids is filled greedily
(`greedy.py`).
"""

from __future__ import annotations

from collections.abc import Sequence
from random import Random
from typing import TYPE_CHECKING, Any, NamedTuple

from nester.core.problem import Cuts, Rect
from nester.packing.patterns.greedy import GreedyFiller
from nester.packing.task.task import Placement, Task, orientations

if TYPE_CHECKING:
    import numpy as np

    Row = np.ndarray[Any, np.dtype[np.float64]]

__all__ = ["StripKnapsack"]

_RASTER = 1500
"""Units into which the length and the height of a sheet are divided, unless they are fewer."""
_STEPS_PER_CHUNK = 6
"""The cost of offering a chunk to a knapsack, in steps of filling (measured)."""


class _OrientedItem(NamedTuple):
    """An item type in one of its orientations: sides across the strip and along it."""

    depth: int
    length: int
    item_type: int
    turned: bool


class _Strip(NamedTuple):
    """The best strip of a depth: its value, and how many chunks of the knapsack it may use."""

    depth: int
    value: float
    chunks: int


class _BoundedKnapsack:
    """A bounded knapsack by dynamic programming, with binary splitting of the copies.

    Copies are offered in chunks of 1, 2, 4 and so on.  Each chunk is an item of a 0-1
    knapsack; together they make up every number of copies.  The rows of the table are kept, so
    that any first part of the chunks can be solved.
    """

    def __init__(self, length: int, max_chunks: int) -> None:
        import numpy as np

        self._unit = max(1, -(-length // _RASTER))
        self._capacity = length // self._unit
        self._table = np.zeros((max_chunks + 1, self._capacity + 1))
        self._chunks: list[tuple[int, int, int, float]] = []

    def __len__(self) -> int:
        return len(self._chunks)

    def add_item(self, item: int, length: int, value: float, max_copies: int) -> None:
        """Offer up to `max_copies` of an item of a length and a value."""
        import numpy as np

        # Rounded up; but an item as long as the whole knapsack must still fit.
        size = min(-(-length // self._unit), self._capacity)
        max_copies = min(max_copies, self._capacity // size)
        copies = 1
        while max_copies > 0:
            copies = min(copies, max_copies)
            before, row = self._table[len(self._chunks) : len(self._chunks) + 2]
            chunk_size = size * copies
            row[:chunk_size] = before[:chunk_size]
            np.add(before[:-chunk_size], value * copies, out=row[chunk_size:])
            np.maximum(before[chunk_size:], row[chunk_size:], out=row[chunk_size:])
            self._chunks.append((item, copies, chunk_size, value * copies))
            max_copies -= copies
            copies *= 2

    @property
    def value(self) -> float:
        """The value of the best choice among all items offered so far."""
        return float(self._table[len(self._chunks), -1])

    def solution(self, chunks: int) -> list[tuple[int, int]]:
        """Return the best items of the first chunks, and how often each; an item may come twice."""
        capacity = self._capacity
        chosen = []
        for index in reversed(range(chunks)):
            item, copies, chunk_size, value = self._chunks[index]
            before = self._table[index]
            if capacity >= chunk_size and before[capacity - chunk_size] + value > before[capacity]:
                chosen.append((item, copies))
                capacity -= chunk_size
        return chosen


class StripKnapsack:
    """Fills sheets with strips, and counts its steps."""

    def __init__(self, task: Task, rng: Random) -> None:
        self._task = task
        self._filler = GreedyFiller(task.item_types, Cuts.STRAIGHT, rng)
        self._chunks = 0

    @property
    def steps(self) -> int:
        """Effort so far, in steps of filling."""
        return self._filler.steps + _STEPS_PER_CHUNK * self._chunks

    def fill(
        self, bin_type: int, counts: Sequence[int], values: Sequence[float], *, down: bool
    ) -> tuple[Placement, ...]:
        """Place pieces of high value on a sheet.

        Parameters
        ----------
        counts
            How many of each item type may be placed.
        values
            Of one piece of each item type.
        down
            Whether strips run down the sheet, or across.
        """
        sheet = self._task.bin_types[bin_type]
        length, depth = (sheet.height, sheet.width) if down else (sheet.width, sheet.height)
        items = self._items(counts, values, length, depth, down)
        remaining = list(counts)
        placements: list[Placement] = []
        remainders: list[Rect] = []
        across = 0
        while strips := self._choose_strips(items, remaining, values, length, depth - across):
            for strip in strips:
                along = 0
                strip_depth = max(item.depth for item in strip)
                for item in strip:
                    placements.append(_placement(item, along, across, down))
                    remainders.append(
                        _rect(
                            along,
                            across + item.depth,
                            item.length,
                            strip_depth - item.depth,
                            down,
                        )
                    )
                    along += item.length
                remainders.append(_rect(along, across, length - along, strip_depth, down))
                across += strip_depth
        remainders.append(_rect(0, across, length, depth - across, down))
        for item_type, x, y, turned in placements:
            remainders += self._task.item_types[item_type].voids_at(x, y, turned)
        return (*placements, *self._filler.fill_remainders(remainders, remaining, values))

    def _items(
        self,
        counts: Sequence[int],
        values: Sequence[float],
        length: int,
        depth: int,
        vertical: bool,
    ) -> list[_OrientedItem]:
        items = []
        for item_type, item in enumerate(self._task.item_types):
            if counts[item_type] and values[item_type] > 0:
                for turned, (width, height) in enumerate(orientations(item)):
                    item_length, item_depth = (height, width) if vertical else (width, height)
                    if item_length <= length and item_depth <= depth:
                        items.append(_OrientedItem(item_depth, item_length, item_type, turned > 0))
        return sorted(items)

    def _choose_strips(
        self,
        items: list[_OrientedItem],
        remaining: list[int],
        values: Sequence[float],
        length: int,
        depth: int,
    ) -> list[list[_OrientedItem]]:
        """Return good strips for what is left of a sheet; take their pieces off `remaining`."""
        items = [item for item in items if remaining[item.item_type] and item.depth <= depth]
        if not items:
            return []
        max_chunks = sum(
            (min(remaining[i.item_type], length // i.length)).bit_length() for i in items
        )
        strip_knapsack = _BoundedKnapsack(length, max_chunks)
        strips: list[_Strip] = []
        for index, item in enumerate(items):
            strip_knapsack.add_item(
                index, item.length, values[item.item_type], remaining[item.item_type]
            )
            if strips and strips[-1].depth == item.depth:
                strips.pop()
            strips.append(_Strip(item.depth, strip_knapsack.value, len(strip_knapsack)))
        sheet_knapsack = _BoundedKnapsack(
            depth, sum((depth // strip.depth).bit_length() for strip in strips)
        )
        for index, strip in enumerate(strips):
            sheet_knapsack.add_item(index, strip.depth, strip.value, depth // strip.depth)
        self._chunks += len(strip_knapsack) + len(sheet_knapsack)
        chosen_strips = [
            strips[index]
            for index, copies in sheet_knapsack.solution(len(sheet_knapsack))
            for _ in range(copies)
        ]
        chosen_strips.sort(key=lambda strip: -strip.value / strip.depth)
        result = []
        for strip in chosen_strips:
            contents = strip_knapsack.solution(strip.chunks)
            needed: dict[int, int] = {}
            for index, copies in contents:
                item_type = items[index].item_type
                needed[item_type] = needed.get(item_type, 0) + copies
            if any(remaining[item_type] < copies for item_type, copies in needed.items()):
                continue
            for item_type, copies in needed.items():
                remaining[item_type] -= copies
            result.append([items[index] for index, copies in contents for _ in range(copies)])
        return result


def _rect(along: int, across: int, length: int, depth: int, vertical: bool) -> Rect:
    return Rect(across, along, depth, length) if vertical else Rect(along, across, length, depth)


def _placement(item: _OrientedItem, along: int, across: int, vertical: bool) -> Placement:
    x, y = (across, along) if vertical else (along, across)
    return Placement(item.item_type, x, y, item.turned)
