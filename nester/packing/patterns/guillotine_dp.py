"""Fill a sheet by slicing it as well as can be: the exact best of all edge-to-edge cuts.

If every piece could be had as often as one likes, a table tells for each rectangle what the best
content is worth: its best single piece, or what two parts are worth into which a cut divides it
(Gilmore and Gomory, Operations Research 13, 1965, and 14, 1966).  Lengths of pieces are rounded up
to a raster and those of sheets down, so that whatever the table finds lies on the sheet as it is.

A sheet is then sliced along the table.  Where it wants a piece of which no more are wanted, the
next best that fits takes its place; and cuts are drawn from among those that are nearly as good as
the best, so that one table yields several layouts.  What is left over is filled piece by piece.

A piece with voids is worth itself and what its voids are worth, each a small sheet of its own.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from random import Random
from typing import TYPE_CHECKING, Any, NamedTuple

from nester.core.problem import Cuts, Rect
from nester.packing.patterns.greedy import GreedyFiller
from nester.packing.task.task import Placement, Task, orientations

if TYPE_CHECKING:
    import numpy as np

    Table = np.ndarray[Any, np.dtype[np.float32]]

__all__ = ["RASTER", "GuillotineDP"]

RASTER = 1000
"""Units into which the longest side of a sheet is divided at most; half as many at least."""
_ADDITIONS_PER_STEP = 600
"""Additions of the table that cost as much as one step of filling (measured)."""
_ADDITIONS_PER_ROW = 24_000
"""What a row of the table costs beside them, in the same measure."""
_ADDITIONS_PER_BLOCK = 4_000
"""The same for a block of places that are looked at together."""
_MAX_PIECES_ALONG = 50
"""Pieces of which more lie along the longest sheet are not sliced but fill what is left over."""
_STEPS_PER_CUT = 10
"""What it costs to choose a cut along the table (measured)."""
_ALLOWED_LOSSES = (0.001, 0.003, 0.01)
"""What cuts may lose of the best to be drawn, in turn."""
_TOLERANCE = 1e-5
"""Sums of worths that differ by such a part are taken as equal: they are summed in floats."""


class _OrientedItem(NamedTuple):
    """A shape in one of its ways: sides in units of the raster, rounded up.

    `value_with_voids` is what it and its voids are worth.
    """

    value_with_voids: float
    value: float
    width: int
    height: int
    item_type: int
    turned: bool


class GuillotineDP:
    """Slices sheets, and counts the steps that takes.

    Parameters
    ----------
    raster
        Units into which the longest side of a sheet is divided at most; half as many at least, if
        it is so long.  Half of them take an eighth of the steps.
    """

    def __init__(self, task: Task, rng: Random, raster: int = RASTER) -> None:
        self._task = task
        self._rng = rng
        self._filler = GreedyFiller(task.item_types, Cuts.STRAIGHT, rng)
        self._unit = _raster_unit(task, raster)
        self._width = max(kind.width for kind in task.bin_types) // self._unit
        self._height = max(kind.height for kind in task.bin_types) // self._unit
        self._items: list[_OrientedItem] = []
        self._table: Table = self._empty_table()
        self._remaining: Sequence[int] = ()
        self._values: Sequence[float] = ()
        self._additions = 0
        self._cuts_chosen = 0

    @property
    def steps(self) -> int:
        """Steps spent so far, in the measure of filling."""
        of_table = self._additions // _ADDITIONS_PER_STEP
        return of_table + _STEPS_PER_CUT * self._cuts_chosen + self._filler.steps

    def _empty_table(self) -> Table:
        import numpy as np

        return np.zeros((self._width + 1, self._height + 1), dtype=np.float32)

    def build_table(self, left: Sequence[int], worths: Sequence[float]) -> None:
        """Make the table.

        Parameters
        ----------
        left
            How many of each shape are wanted; those of which none is are left out.
        worths
            Of one piece of each shape.
        """
        import numpy as np

        self._remaining, self._values = left, worths
        shapes = self._task.item_types
        items = [
            _OrientedItem(
                worths[index],
                worths[index],
                -(-width // self._unit),
                -(-height // self._unit),
                index,
                turn > 0,
            )
            for index, shape in enumerate(shapes)
            if left[index] and worths[index] > 0
            for turn, (width, height) in enumerate(orientations(shape))
        ]
        items = [
            item
            for item in items
            if item.width <= self._width
            and item.height <= self._height
            and min(item.width, item.height) > max(self._width, self._height) // _MAX_PIECES_ALONG
        ]
        table = self._empty_table()
        hosts: dict[int, list[_OrientedItem]] = {}
        for item in items:
            if shapes[item.item_type].voids:
                hosts.setdefault(item.width, []).append(item)
            else:
                larger = table[item.width :, item.height :]
                np.maximum(larger, item.value, out=larger)
        self._table = table
        least = min((min(item.width, item.height) for item in items), default=self._width + 1)
        for wide in range(least, self._width + 1):
            row = table[wide]
            np.maximum(row, table[wide - 1], out=row)
            if wide >= 2 * least:
                halves = table[least : wide // 2 + 1]
                rests = table[wide - least : wide - wide // 2 - 1 : -1]
                self._additions += halves.size
                np.maximum(row, (halves + rests).max(axis=0), out=row)
            for host in hosts.get(wide, ()):
                worth = host.value + sum(float(table[void]) for void in self._void_sizes(host))
                np.maximum(row[host.height :], worth, out=row[host.height :])
                items[items.index(host)] = host._replace(value_with_voids=worth)
            self._combine_pairs(row, least)
            self._additions += _ADDITIONS_PER_ROW
        self._items = sorted(items, key=lambda item: (-item.value_with_voids, item[1:]))

    def _combine_pairs(self, row: Table, least: int) -> None:
        """Let each place of a row be worth what two places are that share it.

        No piece is shorter than `least`, so so many places can be looked at together: none of
        their parts is among them.
        """
        import numpy as np

        for start in range(2 * least, len(row), least):
            end = min(start + least, len(row))
            most = (end - 1) // 2
            parts = row[least : most + 1]
            rests = np.lib.stride_tricks.sliding_window_view(
                row[start - most : end - least], end - start
            )[::-1]
            self._additions += rests.size + _ADDITIONS_PER_BLOCK
            np.maximum(row[start:end], (rests + parts[:, None]).max(axis=0), out=row[start:end])
        np.maximum.accumulate(row, out=row)

    def _void_sizes(self, host: _OrientedItem) -> list[tuple[int, int]]:
        """Return the sides of its voids, rounded down."""
        voids = self._task.item_types[host.item_type].voids_at(0, 0, host.turned)
        return [(void.width // self._unit, void.height // self._unit) for void in voids]

    def max_value(self, kind: int) -> float:
        """Return what the best content of a sheet is worth, if pieces could be had without end."""
        size = self._task.bin_types[kind]
        return float(self._table[size.width // self._unit, size.height // self._unit])

    def sample_layouts(self, kind: int, number: int) -> Iterator[tuple[Placement, ...]]:
        """Yield layouts of a sheet by the table; the first keeps to its best cuts."""
        for count in range(number):
            yield self._trace_back(
                kind, _ALLOWED_LOSSES[count % len(_ALLOWED_LOSSES)] if count else 0.0
            )

    def _trace_back(self, kind: int, loss: float) -> tuple[Placement, ...]:
        size = self._task.bin_types[kind]
        unit = self._unit
        left = list(self._remaining)
        spots: list[Placement] = []
        # What hangs over the raster stays with the last parts.
        parts = [Rect(0, 0, size.width, size.height)]
        rests: list[Rect] = []
        while parts:
            part = parts.pop()
            wide, high, worth = self._tight_size(part)
            if not worth:
                rests.append(part)
                continue
            self._cuts_chosen += 1
            item = self._matching_item(wide, high, worth * (1 - loss), left)
            if item is not None:
                if not left[item.item_type]:
                    rests.append(part)
                    continue
                left[item.item_type] -= 1
                shape = self._task.item_types[item.item_type]
                width, height = shape.oriented_size(item.turned)
                spots.append(Placement(item.item_type, part.x, part.y, item.turned))
                parts += shape.voids_at(part.x, part.y, item.turned)
                rests.append(Rect(part.x, part.y + height, width, part.height - height))
                rests.append(Rect(part.x + width, part.y, part.width - width, part.height))
                continue
            at, down = self._choose_cut(wide, high, worth * (1 - loss), loss > 0)
            at *= unit
            if down:
                one = part._replace(width=at)
                other = part._replace(x=part.x + at, width=part.width - at)
            else:
                one = part._replace(height=at)
                other = part._replace(y=part.y + at, height=part.height - at)
            parts += (one, other) if self._rng.random() < 0.5 else (other, one)
        return (*spots, *self._filler.fill_remainders(rests, left, self._values))

    def _tight_size(self, part: Rect) -> tuple[int, int, float]:
        """Return how much of a part its best content needs, and what that is worth."""
        import numpy as np

        wide, high = part.width // self._unit, part.height // self._unit
        worth = self._table[wide, high]
        if worth > 0:
            wide = int(np.searchsorted(self._table[:, high], worth))
            high = int(np.searchsorted(self._table[wide], worth))
        return wide, high, float(worth)

    def _matching_item(
        self, wide: int, high: int, worth: float, left: list[int]
    ) -> _OrientedItem | None:
        """Return a piece that is worth as much as a part, or the next best that is wanted."""
        enough = worth * (1 - _TOLERANCE)
        fitting = (i for i in self._items if i.width <= wide and i.height <= high)
        first = next(fitting, None)
        if first is None or first.value_with_voids < enough:
            return None
        return (
            first
            if left[first.item_type]
            else next((i for i in fitting if left[i.item_type]), first)
        )

    def _choose_cut(self, wide: int, high: int, worth: float, drawn: bool) -> tuple[int, bool]:
        """Return where to cut a part, and whether the cut runs down it."""
        import numpy as np

        table = self._table
        down = table[1:wide, high] + table[wide - 1 : 0 : -1, high]
        across = table[wide, 1:high] + table[wide, high - 1 : 0 : -1]
        both = np.concatenate((down, across))
        best = int(both.argmax())
        if drawn:
            good = np.flatnonzero(both >= min(float(both[best]), worth) * (1 - _TOLERANCE))
            best = int(good[self._rng.randrange(len(good))])
        return (best + 1, True) if best < len(down) else (best - len(down) + 1, False)


def _raster_unit(task: Task, raster: int) -> int:
    """Return the unit of the raster that loses least of pieces and sheets."""
    import numpy as np

    sides = np.array([side for shape in task.item_types for side in shape[:2]])
    weights = np.array([shape.demand for shape in task.item_types for _ in shape[:2]])
    of_sheets = np.array([side for kind in task.bin_types for side in kind[:2]])
    longest = int(of_sheets.max())
    finest, coarsest = (max(1, longest // most) for most in (raster, raster // 2))
    units = np.arange(finest, coarsest + 1)[:, None]
    loss = (-sides % units / sides) @ weights / weights.sum()
    loss += (of_sheets % units / of_sheets).mean(axis=1)
    # A coarser raster is looked through more quickly; of equals the coarsest is taken.
    by_loss = loss / np.sqrt(units[:, 0])
    return int(units[len(units) - 1 - by_loss[::-1].argmin(), 0])
