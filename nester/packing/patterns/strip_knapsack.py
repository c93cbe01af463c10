"""Fill one sheet with strips: the pieces of each lie side by side, and strips lie one on another.

The pieces of a strip are a knapsack along it (Gilmore and Gomory, Operations Research 13, 1965,
two-stage cutting): of pieces no higher than the strip, each as often as it is still wanted, those
worth most.  Taken up in the order of their heights, one table answers for strips of every height.
A second knapsack chooses strips for the sheet's height.  It does not know that two strips may want
the same pieces: those of its strips that can be had together are taken, and the rest of the sheet
is asked for anew.  Lengths are rounded up to a raster, so what is chosen always fits.

What is left above pieces, at the ends of strips and in voids is filled piece by piece
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
"""What it costs to offer pieces to a knapsack, in steps of filling (measured)."""


class _OrientedItem(NamedTuple):
    """A shape in one of its ways: sides along the strip and across it."""

    depth: int
    length: int
    item_type: int
    turned: bool


class _Strip(NamedTuple):
    """The best strip of a height: its worth, and how many chunks of its knapsack count."""

    depth: int
    value: float
    chunks: int


class _BoundedKnapsack:
    """Things of a length and a worth, offered in chunks of so many equal ones."""

    def __init__(self, length: int, most_chunks: int) -> None:
        import numpy as np

        self._unit = max(1, -(-length // _RASTER))
        self._capacity = length // self._unit
        self._table = np.zeros((most_chunks + 1, self._capacity + 1))
        self._chunks: list[tuple[int, int, int, float]] = []

    def __len__(self) -> int:
        return len(self._chunks)

    def add_item(self, thing: int, long: int, worth: float, most: int) -> None:
        """Offer a thing, at most so often."""
        import numpy as np

        # Rounded up, but what is as long as the room fits it.
        each = min(-(-long // self._unit), self._capacity)
        most = min(most, self._capacity // each)
        many = 1
        while most > 0:
            many = min(many, most)
            before, row = self._table[len(self._chunks) : len(self._chunks) + 2]
            taken = each * many
            row[:taken] = before[:taken]
            np.add(before[:-taken], worth * many, out=row[taken:])
            np.maximum(before[taken:], row[taken:], out=row[taken:])
            self._chunks.append((thing, many, taken, worth * many))
            most -= many
            many *= 2

    @property
    def value(self) -> float:
        """What the best choice among all offered so far is worth."""
        return float(self._table[len(self._chunks), -1])

    def solution(self, chunks: int) -> list[tuple[int, int]]:
        """Return the best things among the first so many chunks, and how often each."""
        at = self._capacity
        chosen = []
        for index in reversed(range(chunks)):
            thing, many, taken, worth = self._chunks[index]
            before = self._table[index]
            if at >= taken and before[at - taken] + worth > before[at]:
                chosen.append((thing, many))
                at -= taken
        return chosen


class StripKnapsack:
    """Fills sheets, and counts the steps that takes."""

    def __init__(self, task: Task, rng: Random) -> None:
        self._task = task
        self._filler = GreedyFiller(task.item_types, Cuts.STRAIGHT, rng)
        self._chunks = 0

    @property
    def steps(self) -> int:
        """Steps spent so far, in the measure of filling."""
        return self._filler.steps + _STEPS_PER_CHUNK * self._chunks

    def fill(
        self, kind: int, counts: Sequence[int], worths: Sequence[float], *, down: bool
    ) -> tuple[Placement, ...]:
        """Lay pieces worth as much as can be on a sheet.

        Parameters
        ----------
        counts
            How many of each shape may be laid.
        worths
            Of one piece of each shape.
        down
            Whether strips run down the sheet, or across.
        """
        sheet = self._task.bin_types[kind]
        long, high = (sheet.height, sheet.width) if down else (sheet.width, sheet.height)
        items = self._items(counts, worths, long, high, down)
        left = list(counts)
        spots: list[Placement] = []
        rests: list[Rect] = []
        used = 0
        while chosen := self._choose_strips(items, left, worths, long, high - used):
            for row in chosen:
                at = 0
                thick = max(item.depth for item in row)
                for item in row:
                    spots.append(_placement(item, at, used, down))
                    rests.append(
                        _rect(at, used + item.depth, item.length, thick - item.depth, down)
                    )
                    at += item.length
                rests.append(_rect(at, used, long - at, thick, down))
                used += thick
        rests.append(_rect(0, used, long, high - used, down))
        for index, x, y, turned in spots:
            rests += self._task.item_types[index].voids_at(x, y, turned)
        return (*spots, *self._filler.fill_remainders(rests, left, worths))

    def _items(
        self,
        counts: Sequence[int],
        worths: Sequence[float],
        long: int,
        high: int,
        down: bool,
    ) -> list[_OrientedItem]:
        items = []
        for index, shape in enumerate(self._task.item_types):
            if counts[index] and worths[index] > 0:
                for turned, (width, height) in enumerate(orientations(shape)):
                    along, across = (height, width) if down else (width, height)
                    if along <= long and across <= high:
                        items.append(_OrientedItem(across, along, index, turned > 0))
        return sorted(items)

    def _choose_strips(
        self,
        items: list[_OrientedItem],
        left: list[int],
        worths: Sequence[float],
        long: int,
        high: int,
    ) -> list[list[_OrientedItem]]:
        """Return good strips for what is left of a sheet, and take their pieces off `left`."""
        items = [item for item in items if left[item.item_type] and item.depth <= high]
        if not items:
            return []
        most = sum((min(left[i.item_type], long // i.length)).bit_length() for i in items)
        along = _BoundedKnapsack(long, most)
        strips: list[_Strip] = []
        for place, item in enumerate(items):
            along.add_item(place, item.length, worths[item.item_type], left[item.item_type])
            if strips and strips[-1].depth == item.depth:
                strips.pop()
            strips.append(_Strip(item.depth, along.value, len(along)))
        across = _BoundedKnapsack(high, sum((high // strip.depth).bit_length() for strip in strips))
        for place, strip in enumerate(strips):
            across.add_item(place, strip.depth, strip.value, high // strip.depth)
        self._chunks += len(along) + len(across)
        wanted = [
            strips[place] for place, many in across.solution(len(across)) for _ in range(many)
        ]
        wanted.sort(key=lambda strip: -strip.value / strip.depth)
        rows = []
        for strip in wanted:
            chosen = along.solution(strip.chunks)
            needed: dict[int, int] = {}
            for place, many in chosen:
                shape = items[place].item_type
                needed[shape] = needed.get(shape, 0) + many
            if any(left[shape] < many for shape, many in needed.items()):
                continue
            for shape, many in needed.items():
                left[shape] -= many
            rows.append([items[place] for place, many in chosen for _ in range(many)])
        return rows


def _rect(along: int, across: int, long: int, high: int, down: bool) -> Rect:
    return Rect(across, along, high, long) if down else Rect(along, across, long, high)


def _placement(item: _OrientedItem, along: int, across: int, down: bool) -> Placement:
    x, y = (across, along) if down else (along, across)
    return Placement(item.item_type, x, y, item.turned)
