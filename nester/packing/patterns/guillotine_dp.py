"""Guillotine patterns from the dynamic programme of unbounded two-dimensional cutting.

With demand left out of account, a table holds the largest value of every rectangle: of its best
single piece, or of the two parts into which an edge-to-edge cut divides it (Gilmore and Gomory,
Operations Research 13, 1965, and 14, 1966).  Lengths of pieces are rounded up to a raster and those
of sheets down, so that what the table finds fits the real sheet.

A sheet is then cut along the table, now with demand: where the table uses a piece of which none
remains, the next best that fits takes its place.  Cuts are drawn at random among those nearly as
good as the best, so that one table yields several patterns.  What is left over is filled greedily.

The value of a piece with voids is its own and that of its voids, each cut up like a small sheet.
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
"""Units into which the longest side of a sheet is divided, at most; half as many at least."""
_ADDITIONS_PER_STEP = 600
"""Additions of the table that cost as much as one step of filling (measured)."""
_ADDITIONS_PER_ROW = 24_000
"""The cost of a row beside its additions, counted in additions."""
_ADDITIONS_PER_BLOCK = 4_000
"""The same for a block of cells that are computed together."""
_MAX_PIECES_ALONG = 50
"""Pieces of which more lie along the longest sheet are left to the greedy filling."""
_STEPS_PER_CUT = 10
"""The cost of choosing a cut along the table, in steps of filling (measured)."""
_ALLOWED_LOSSES = (0.001, 0.003, 0.01)
"""The share of the best value that a cut may lose and still be drawn; used in turn."""
_TOLERANCE = 1e-5
"""Values that differ by this share count as equal: they are sums of 32-bit floats."""


class _OrientedItem(NamedTuple):
    """An item type in one of its orientations: sides in units of the raster, rounded up.

    `value_with_voids` adds the value of its voids.
    """

    value_with_voids: float
    value: float
    width: int
    height: int
    item_type: int
    turned: bool


class GuillotineDP:
    """Cuts up sheets by the table, and counts its steps.

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
        self._width = max(sheet_type.width for sheet_type in task.bin_types) // self._unit
        self._height = max(sheet_type.height for sheet_type in task.bin_types) // self._unit
        self._items: list[_OrientedItem] = []
        self._table: Table = self._empty_table()
        self._remaining: Sequence[int] = ()
        self._values: Sequence[float] = ()
        self._additions = 0
        self._cuts_chosen = 0

    @property
    def steps(self) -> int:
        """Effort so far, in steps of filling."""
        table_steps = self._additions // _ADDITIONS_PER_STEP
        return table_steps + _STEPS_PER_CUT * self._cuts_chosen + self._filler.steps

    def _empty_table(self) -> Table:
        import numpy as np

        return np.zeros((self._width + 1, self._height + 1), dtype=np.float32)

    def build_table(self, remaining: Sequence[int], values: Sequence[float]) -> None:
        """Compute the table, column by column.

        Parameters
        ----------
        remaining
            How many of each item type may be placed; types with none are left out.
        values
            Of one piece of each item type.
        """
        import numpy as np

        self._remaining, self._values = remaining, values
        item_types = self._task.item_types
        items = [
            _OrientedItem(
                values[item_type],
                values[item_type],
                -(-width // self._unit),
                -(-height // self._unit),
                item_type,
                turned > 0,
            )
            for item_type, piece in enumerate(item_types)
            if remaining[item_type] and values[item_type] > 0
            for turned, (width, height) in enumerate(orientations(piece))
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
            if item_types[item.item_type].voids:
                hosts.setdefault(item.width, []).append(item)
            else:
                larger = table[item.width :, item.height :]
                np.maximum(larger, item.value, out=larger)
        self._table = table
        min_side = min((min(item.width, item.height) for item in items), default=self._width + 1)
        for column in range(min_side, self._width + 1):
            row = table[column]
            np.maximum(row, table[column - 1], out=row)
            if column >= 2 * min_side:
                halves = table[min_side : column // 2 + 1]
                rests = table[column - min_side : column - column // 2 - 1 : -1]
                self._additions += halves.size
                np.maximum(row, (halves + rests).max(axis=0), out=row)
            for host in hosts.get(column, ()):
                value = host.value + sum(float(table[void]) for void in self._void_sizes(host))
                np.maximum(row[host.height :], value, out=row[host.height :])
                items[items.index(host)] = host._replace(value_with_voids=value)
            self._combine_pairs(row, min_side)
            self._additions += _ADDITIONS_PER_ROW
        self._items = sorted(items, key=lambda item: (-item.value_with_voids, item[1:]))

    def _combine_pairs(self, row: Table, min_side: int) -> None:
        """Raise each cell of a row to the best sum of two cells that divide it.

        No part is shorter than `min_side`, so blocks of that many cells can be computed together:
        none of their parts lies in the same block.
        """
        import numpy as np

        for start in range(2 * min_side, len(row), min_side):
            end = min(start + min_side, len(row))
            longest_part = (end - 1) // 2
            parts = row[min_side : longest_part + 1]
            rests = np.lib.stride_tricks.sliding_window_view(
                row[start - longest_part : end - min_side], end - start
            )[::-1]
            self._additions += rests.size + _ADDITIONS_PER_BLOCK
            np.maximum(row[start:end], (rests + parts[:, None]).max(axis=0), out=row[start:end])
        np.maximum.accumulate(row, out=row)

    def _void_sizes(self, host: _OrientedItem) -> list[tuple[int, int]]:
        """Return the sides of a host's voids in units of the raster, rounded down."""
        voids = self._task.item_types[host.item_type].voids_at(0, 0, host.turned)
        return [(void.width // self._unit, void.height // self._unit) for void in voids]

    def max_value(self, bin_type: int) -> float:
        """Return the largest value of a sheet with demand left out of account."""
        sheet = self._task.bin_types[bin_type]
        return float(self._table[sheet.width // self._unit, sheet.height // self._unit])

    def sample_layouts(self, bin_type: int, count: int) -> Iterator[tuple[Placement, ...]]:
        """Yield layouts of a sheet by the table; the first follows its best cuts."""
        for number in range(count):
            yield self._trace_back(
                bin_type, _ALLOWED_LOSSES[number % len(_ALLOWED_LOSSES)] if number else 0.0
            )

    def _trace_back(self, bin_type: int, loss: float) -> tuple[Placement, ...]:
        sheet = self._task.bin_types[bin_type]
        unit = self._unit
        remaining = list(self._remaining)
        placements: list[Placement] = []
        # Parts keep their exact sizes, so what the raster rounds off goes to the last of them.
        parts = [Rect(0, 0, sheet.width, sheet.height)]
        remainders: list[Rect] = []
        while parts:
            part = parts.pop()
            columns, rows, value = self._tight_size(part)
            if not value:
                remainders.append(part)
                continue
            self._cuts_chosen += 1
            item = self._matching_item(columns, rows, value * (1 - loss), remaining)
            if item is not None:
                if not remaining[item.item_type]:
                    remainders.append(part)
                    continue
                remaining[item.item_type] -= 1
                item_type = self._task.item_types[item.item_type]
                width, height = item_type.oriented_size(item.turned)
                placements.append(Placement(item.item_type, part.x, part.y, item.turned))
                parts += item_type.voids_at(part.x, part.y, item.turned)
                remainders.append(Rect(part.x, part.y + height, width, part.height - height))
                remainders.append(Rect(part.x + width, part.y, part.width - width, part.height))
                continue
            cut, is_vertical = self._choose_cut(columns, rows, value * (1 - loss), loss > 0)
            cut *= unit
            if is_vertical:
                first = part._replace(width=cut)
                second = part._replace(x=part.x + cut, width=part.width - cut)
            else:
                first = part._replace(height=cut)
                second = part._replace(y=part.y + cut, height=part.height - cut)
            parts += (first, second) if self._rng.random() < 0.5 else (second, first)
        return (*placements, *self._filler.fill_remainders(remainders, remaining, self._values))

    def _tight_size(self, part: Rect) -> tuple[int, int, float]:
        """Return the smallest size that has the value of a part, and that value."""
        import numpy as np

        columns, rows = part.width // self._unit, part.height // self._unit
        value = self._table[columns, rows]
        if value > 0:
            columns = int(np.searchsorted(self._table[:, rows], value))
            rows = int(np.searchsorted(self._table[columns], value))
        return columns, rows, float(value)

    def _matching_item(
        self, columns: int, rows: int, value: float, remaining: list[int]
    ) -> _OrientedItem | None:
        """Return an item of the same value as a part, or else the next best that remains.

        None if no single item has the value, so that the part must be cut.
        """
        min_value = value * (1 - _TOLERANCE)
        fitting = (item for item in self._items if item.width <= columns and item.height <= rows)
        first = next(fitting, None)
        if first is None or first.value_with_voids < min_value:
            return None
        return (
            first
            if remaining[first.item_type]
            else next((item for item in fitting if remaining[item.item_type]), first)
        )

    def _choose_cut(
        self, columns: int, rows: int, min_value: float, randomize: bool
    ) -> tuple[int, bool]:
        """Return where to cut a part, and whether the cut divides its width."""
        import numpy as np

        table = self._table
        vertical = table[1:columns, rows] + table[columns - 1 : 0 : -1, rows]
        horizontal = table[columns, 1:rows] + table[columns, rows - 1 : 0 : -1]
        values = np.concatenate((vertical, horizontal))
        best = int(values.argmax())
        if randomize:
            candidates = np.flatnonzero(
                values >= min(float(values[best]), min_value) * (1 - _TOLERANCE)
            )
            best = int(candidates[self._rng.randrange(len(candidates))])
        return (best + 1, True) if best < len(vertical) else (best - len(vertical) + 1, False)


def _raster_unit(task: Task, raster: int) -> int:
    """Return the unit of the raster whose rounding loses least of pieces and sheets."""
    import numpy as np

    sides = np.array([side for item in task.item_types for side in item[:2]])
    weights = np.array([item.demand for item in task.item_types for _ in item[:2]])
    sheet_sides = np.array([side for sheet_type in task.bin_types for side in sheet_type[:2]])
    longest = int(sheet_sides.max())
    finest, coarsest = (max(1, longest // divisions) for divisions in (raster, raster // 2))
    units = np.arange(finest, coarsest + 1)[:, None]
    loss = (-sides % units / sides) @ weights / weights.sum()
    loss += (sheet_sides % units / sheet_sides).mean(axis=1)
    # A coarser raster is quicker; of equals the coarsest is taken.
    by_loss = loss / np.sqrt(units[:, 0])
    return int(units[len(units) - 1 - by_loss[::-1].argmin(), 0])
