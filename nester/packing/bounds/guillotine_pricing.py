"""The unbounded guillotine pricing problem, by dynamic programming.

Demand is left out of account, so the result bounds the value of every sheet cut by straight cuts.
The value of a w × h rectangle is its best single piece's, or that of the two parts into which an
edge-to-edge cut divides it (Gilmore and Gomory, Operations Research 13, 1965, and 14, 1966).
Cuts are tried only at normal patterns, sums of piece sides; where these are too many, lengths are
rounded (`normal_patterns.py`), and the value may be too high, never too low.

The value of a piece with voids is its own and that of its voids, each cut up like a small sheet.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

from nester.core.problem import Rect
from nester.packing.runtime.stop import Stop
from nester.packing.task.normal_patterns import INT32_LIMIT, NormalPatterns
from nester.packing.task.task import BinType, Task, orientations

if TYPE_CHECKING:
    import numpy as np

    Table = np.ndarray[Any, np.dtype[np.int64] | np.dtype[np.int32]]

__all__ = ["GuillotinePricing"]

_ADDITIONS_PER_STEP = 400
"""Additions of the table that cost as much as one step of filling (measured)."""
_ADDITIONS_PER_ROW = 24_000
"""The cost of a row beside its additions, counted in additions."""


class _Host(NamedTuple):
    """An item type with voids, in one of its orientations."""

    item_type: int
    width: int
    height: int
    voids: tuple[Rect, ...]


class GuillotinePricing:
    """Finds the best counts of pieces on a sheet of each bin type, for given values."""

    def __init__(self, task: Task) -> None:
        sizes = [size for item in task.item_types if item.demand for size in orientations(item)]
        bin_types = task.bin_types
        self._task = task
        self._across = NormalPatterns(
            [w for w, _ in sizes], [sheet_type.width for sheet_type in bin_types]
        )
        self._down = NormalPatterns(
            [h for _, h in sizes], [sheet_type.height for sheet_type in bin_types]
        )
        self._table_items = [
            item_type
            for item_type, item in enumerate(task.item_types)
            if item.demand
            and all(
                self._across.ceil_index(w) and self._down.ceil_index(h)
                for w, h in orientations(item)
            )
        ]
        # Rounding leaves nothing of these sides, so a sheet could hold all of them.
        self._negligible_items = {
            item_type: item.demand
            for item_type, item in enumerate(task.item_types)
            if item.demand and item_type not in set(self._table_items)
        }
        hosts = [
            _Host(index, width, height, task.item_types[index].voids_at(0, 0, turned > 0))
            for index in self._table_items
            if task.item_types[index].voids
            for turned, (width, height) in enumerate(orientations(task.item_types[index]))
        ]
        # Narrowest first: the table must know what a void holds before its host is added.
        self._hosts = sorted(hosts, key=lambda host: (host.width, host.height))
        self._host_values: dict[_Host, int] = {}
        self._additions = 0

    @property
    def steps(self) -> int:
        """Effort of all calls of `solve`, in steps of filling."""
        return self._additions // _ADDITIONS_PER_STEP

    def solve(self, values: Sequence[int], _stop: Stop) -> list[tuple[int, dict[int, int]]]:
        """Return for each bin type the largest value of its pieces, and the counts that reach it.

        Parameters
        ----------
        values
            Of one piece of each item type, integers of zero or more.
        """
        table = self._value_table(values)
        return [self._trace_back(sheet_type, values, table) for sheet_type in self._task.bin_types]

    def _value_table(self, values: Sequence[int]) -> Table:
        import numpy as np

        across, down = self._across, self._down
        table = np.zeros((len(across.points), len(down.points)), dtype=self._integer_dtype(values))
        for index in self._table_items:
            for width, height in self._plain_orientations(index):
                larger = table[across.ceil_index(width) :, down.ceil_index(height) :]
                np.maximum(larger, values[index], out=larger)
        hosts = iter([*self._hosts, None])
        host = next(hosts)
        # Where a rectangle has no more value than a narrower one, no cut there needs to be tried.
        rises = np.zeros(len(table), dtype=bool)
        for column in range(1, len(table)):
            parts, others = across.splits(column)
            parts, others = parts[rises[parts]], others[rises[parts]]
            row = np.maximum(table[column], table[column - 1])
            self._additions += _ADDITIONS_PER_ROW + len(parts) * len(row)
            if len(parts):
                np.maximum(row, (table[parts] + table[others]).max(axis=0), out=row)
            rising = row > table[column - 1]
            if rising.any():
                self._additions += down.combine_pairs(row, int(rising.argmax()))
            table[column] = row
            while host and across.ceil_index(host.width) == column:
                value = values[host.item_type] + self._void_value(host, table)
                self._host_values[host] = value
                row_index = down.ceil_index(host.height)
                larger = table[column:, row_index:]
                np.maximum(larger, value, out=larger)
                self._additions += down.combine_pairs(table[column], row_index)
                host = next(hosts)
            rises[column] = (table[column] > table[column - 1]).any()
        return table

    def _integer_dtype(self, values: Sequence[int]) -> type[np.signedinteger[Any]]:
        """Return the smallest integer type that holds all values of the table."""
        import numpy as np

        if self._hosts:
            return np.int64
        # No sheet has more value than its area at the best rate of any piece.
        area = int(self._across.points[-1]) * int(self._down.points[-1])
        max_value = max(
            (
                values[index] * area // (self._across.rounded(w) * self._down.rounded(h))
                for index in self._table_items
                for w, h in self._plain_orientations(index)
            ),
            default=0,
        )
        return np.int32 if max_value < INT32_LIMIT else np.int64

    def _plain_orientations(self, item_type: int) -> tuple[tuple[int, int], ...]:
        item = self._task.item_types[item_type]
        return () if item.voids else orientations(item)

    def _void_value(self, host: _Host, table: Table) -> int:
        return sum(int(table[cell]) for cell in self._void_indices(host))

    def _void_indices(self, host: _Host) -> list[tuple[int, int]]:
        return [
            (self._across.floor_index(void.width), self._down.floor_index(void.height))
            for void in host.voids
        ]

    def _trace_back(
        self, sheet_type: BinType, values: Sequence[int], table: Table
    ) -> tuple[int, dict[int, int]]:
        start = (
            self._across.floor_index(sheet_type.width),
            self._down.floor_index(sheet_type.height),
        )
        counts = dict(self._negligible_items)
        parts = [start]
        while parts:
            column, row = parts.pop()
            if not table[column, row]:
                continue
            item_type = self._matching_item(column, row, values, table)
            children = [] if item_type is not None else self._split(column, row, table)
            if item_type is None and not children:
                host = self._matching_host(column, row, int(table[column, row]))
                item_type = host.item_type if host else None
                # Without a host the value comes from a narrower rectangle.
                children = self._void_indices(host) if host else [(column - 1, row)]
            if item_type is not None:
                counts[item_type] = counts.get(item_type, 0) + 1
            parts += children
        negligible_value = sum(
            values[index] * count for index, count in self._negligible_items.items()
        )
        return int(table[start]) + negligible_value, counts

    def _matching_item(
        self, column: int, row: int, values: Sequence[int], table: Table
    ) -> int | None:
        for index in self._table_items:
            if values[index] == table[column, row] and any(
                self._across.ceil_index(w) <= column and self._down.ceil_index(h) <= row
                for w, h in self._plain_orientations(index)
            ):
                return index
        return None

    def _matching_host(self, column: int, row: int, value: int) -> _Host | None:
        for host in self._hosts:
            if (
                self._host_values.get(host) == value
                and self._across.ceil_index(host.width) <= column
                and self._down.ceil_index(host.height) <= row
            ):
                return host
        return None

    def _split(self, column: int, row: int, table: Table) -> list[tuple[int, int]]:
        """Return two parts, side by side or stacked, that sum to its value; else nothing."""
        value = table[column, row]
        parts, rests = self._across.splits(column)
        for part, rest in zip(parts, rests, strict=True):
            if table[part, row] + table[rest, row] == value:
                return [(int(part), row), (int(rest), row)]
        parts, rests = self._down.splits(row)
        for part, rest in zip(parts, rests, strict=True):
            if table[column, part] + table[column, rest] == value:
                return [(column, int(part)), (column, int(rest))]
        return []
