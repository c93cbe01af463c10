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
from nester.packing.patterns.greedy import Filler
from nester.packing.task.task import Spot, Task, ways

if TYPE_CHECKING:
    import numpy as np

    Row = np.ndarray[Any, np.dtype[np.float64]]

__all__ = ["Strips"]

_RASTER = 1500
"""Units into which the length and the height of a sheet are divided, unless they are fewer."""
_STEPS_A_CHUNK = 6
"""What it costs to offer pieces to a knapsack, in steps of filling (measured)."""


class _Item(NamedTuple):
    """A shape in one of its ways: sides along the strip and across it."""

    high: int
    long: int
    shape: int
    turned: bool


class _Strip(NamedTuple):
    """The best strip of a height: its worth, and how many chunks of its knapsack count."""

    high: int
    worth: float
    chunks: int


class _Knapsack:
    """Things of a length and a worth, offered in chunks of so many equal ones."""

    def __init__(self, length: int, most_chunks: int) -> None:
        import numpy as np

        self._unit = max(1, -(-length // _RASTER))
        self._room = length // self._unit
        self._rows = np.zeros((most_chunks + 1, self._room + 1))
        self._chunks: list[tuple[int, int, int, float]] = []

    def __len__(self) -> int:
        return len(self._chunks)

    def offer(self, thing: int, long: int, worth: float, most: int) -> None:
        """Offer a thing, at most so often."""
        import numpy as np

        # Rounded up, but what is as long as the room fits it.
        each = min(-(-long // self._unit), self._room)
        most = min(most, self._room // each)
        many = 1
        while most > 0:
            many = min(many, most)
            before, row = self._rows[len(self._chunks) : len(self._chunks) + 2]
            taken = each * many
            row[:taken] = before[:taken]
            np.add(before[:-taken], worth * many, out=row[taken:])
            np.maximum(before[taken:], row[taken:], out=row[taken:])
            self._chunks.append((thing, many, taken, worth * many))
            most -= many
            many *= 2

    @property
    def worth(self) -> float:
        """What the best choice among all offered so far is worth."""
        return float(self._rows[len(self._chunks), -1])

    def choice(self, chunks: int) -> list[tuple[int, int]]:
        """Return the best things among the first so many chunks, and how often each."""
        at = self._room
        chosen = []
        for index in reversed(range(chunks)):
            thing, many, taken, worth = self._chunks[index]
            before = self._rows[index]
            if at >= taken and before[at - taken] + worth > before[at]:
                chosen.append((thing, many))
                at -= taken
        return chosen


class Strips:
    """Fills sheets, and counts the steps that takes."""

    def __init__(self, task: Task, rng: Random) -> None:
        self._task = task
        self._filler = Filler(task.shapes, Cuts.STRAIGHT, rng)
        self._chunks = 0

    @property
    def steps(self) -> int:
        """Steps spent so far, in the measure of filling."""
        return self._filler.steps + _STEPS_A_CHUNK * self._chunks

    def fill(
        self, kind: int, counts: Sequence[int], worths: Sequence[float], *, down: bool
    ) -> tuple[Spot, ...]:
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
        sheet = self._task.kinds[kind]
        long, high = (sheet.height, sheet.width) if down else (sheet.width, sheet.height)
        items = self._items(counts, worths, long, high, down)
        left = list(counts)
        spots: list[Spot] = []
        rests: list[Rect] = []
        used = 0
        while chosen := self._rows(items, left, worths, long, high - used):
            for row in chosen:
                at = 0
                thick = max(item.high for item in row)
                for item in row:
                    spots.append(_spot(item, at, used, down))
                    rests.append(_rect(at, used + item.high, item.long, thick - item.high, down))
                    at += item.long
                rests.append(_rect(at, used, long - at, thick, down))
                used += thick
        rests.append(_rect(0, used, long, high - used, down))
        for index, x, y, turned in spots:
            rests += self._task.shapes[index].voids_at(x, y, turned)
        return (*spots, *self._filler.fill_rests(rests, left, worths))

    def _items(
        self,
        counts: Sequence[int],
        worths: Sequence[float],
        long: int,
        high: int,
        down: bool,
    ) -> list[_Item]:
        items = []
        for index, shape in enumerate(self._task.shapes):
            if counts[index] and worths[index] > 0:
                for turned, (width, height) in enumerate(ways(shape)):
                    along, across = (height, width) if down else (width, height)
                    if along <= long and across <= high:
                        items.append(_Item(across, along, index, turned > 0))
        return sorted(items)

    def _rows(
        self, items: list[_Item], left: list[int], worths: Sequence[float], long: int, high: int
    ) -> list[list[_Item]]:
        """Return good strips for what is left of a sheet, and take their pieces off `left`."""
        items = [item for item in items if left[item.shape] and item.high <= high]
        if not items:
            return []
        most = sum((min(left[i.shape], long // i.long)).bit_length() for i in items)
        along = _Knapsack(long, most)
        strips: list[_Strip] = []
        for place, item in enumerate(items):
            along.offer(place, item.long, worths[item.shape], left[item.shape])
            if strips and strips[-1].high == item.high:
                strips.pop()
            strips.append(_Strip(item.high, along.worth, len(along)))
        across = _Knapsack(high, sum((high // strip.high).bit_length() for strip in strips))
        for place, strip in enumerate(strips):
            across.offer(place, strip.high, strip.worth, high // strip.high)
        self._chunks += len(along) + len(across)
        wanted = [strips[place] for place, many in across.choice(len(across)) for _ in range(many)]
        wanted.sort(key=lambda strip: -strip.worth / strip.high)
        rows = []
        for strip in wanted:
            chosen = along.choice(strip.chunks)
            needed: dict[int, int] = {}
            for place, many in chosen:
                shape = items[place].shape
                needed[shape] = needed.get(shape, 0) + many
            if any(left[shape] < many for shape, many in needed.items()):
                continue
            for shape, many in needed.items():
                left[shape] -= many
            rows.append([items[place] for place, many in chosen for _ in range(many)])
        return rows


def _rect(along: int, across: int, long: int, high: int, down: bool) -> Rect:
    return Rect(across, along, high, long) if down else Rect(along, across, long, high)


def _spot(item: _Item, along: int, across: int, down: bool) -> Spot:
    x, y = (across, along) if down else (along, across)
    return Spot(item.shape, x, y, item.turned)
