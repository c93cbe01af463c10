"""The most that one sheet's pieces can be worth, by straight cuts.

If every piece could be had as often as one likes, the best sheet is found exactly: a w × h
rectangle is worth its best single piece, or what two parts are worth into which an edge-to-edge cut
divides it (Gilmore and Gomory, Operations Research 13, 1965, and 14, 1966).  Cuts need to be tried
only at sums of piece sides; where these are too many lengths are rounded (`normal_patterns.py`),
and then the most is rather too much, never too little.

A piece with voids is worth itself and what its voids are worth, each a small sheet of its own.
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
"""What a row costs beside them, in the same measure."""


class _Host(NamedTuple):
    """A shape with voids in one of its ways."""

    item_type: int
    width: int
    height: int
    voids: tuple[Rect, ...]


class GuillotinePricing:
    """Finds, for given worths of pieces, the best content of each kind of sheet."""

    def __init__(self, task: Task) -> None:
        sizes = [way for shape in task.item_types if shape.demand for way in orientations(shape)]
        kinds = task.bin_types
        self._task = task
        self._across = NormalPatterns([w for w, _ in sizes], [kind.width for kind in kinds])
        self._down = NormalPatterns([h for _, h in sizes], [kind.height for kind in kinds])
        self._table_items = [
            i
            for i, shape in enumerate(task.item_types)
            if shape.demand
            and all(
                self._across.ceil_index(w) and self._down.ceil_index(h)
                for w, h in orientations(shape)
            )
        ]
        # What is rounded to nothing is taken to be on every sheet.
        self._negligible_items = {
            i: shape.demand
            for i, shape in enumerate(task.item_types)
            if shape.demand and i not in set(self._table_items)
        }
        hosts = [
            _Host(index, width, height, task.item_types[index].voids_at(0, 0, turned > 0))
            for index in self._table_items
            if task.item_types[index].voids
            for turned, (width, height) in enumerate(orientations(task.item_types[index]))
        ]
        # Narrow ones first: what lies in a void is narrower than its host.
        self._hosts = sorted(hosts, key=lambda host: (host.width, host.height))
        self._host_values: dict[_Host, int] = {}
        self._additions = 0

    @property
    def steps(self) -> int:
        """What all calls of `solve` have cost, in steps of filling."""
        return self._additions // _ADDITIONS_PER_STEP

    def solve(self, worths: Sequence[int], _stop: Stop) -> list[tuple[int, dict[int, int]]]:
        """Return for each kind the most that its pieces can be worth, and which pieces are.

        Parameters
        ----------
        worths
            Of one piece of each shape, whole and not negative.
        """
        table = self._value_table(worths)
        return [self._trace_back(kind, worths, table) for kind in self._task.bin_types]

    def _value_table(self, worths: Sequence[int]) -> Table:
        import numpy as np

        across, down = self._across, self._down
        table = np.zeros((len(across.points), len(down.points)), dtype=self._integer_dtype(worths))
        for index in self._table_items:
            for width, height in self._plain_orientations(index):
                larger = table[across.ceil_index(width) :, down.ceil_index(height) :]
                np.maximum(larger, worths[index], out=larger)
        hosts = iter([*self._hosts, None])
        host = next(hosts)
        # Where a rectangle is worth no more than a narrower one no cut needs to be tried.
        rises = np.zeros(len(table), dtype=bool)
        for wide in range(1, len(table)):
            parts, others = across.splits(wide)
            parts, others = parts[rises[parts]], others[rises[parts]]
            row = np.maximum(table[wide], table[wide - 1])
            self._additions += _ADDITIONS_PER_ROW + len(parts) * len(row)
            if len(parts):
                np.maximum(row, (table[parts] + table[others]).max(axis=0), out=row)
            rising = row > table[wide - 1]
            if rising.any():
                self._additions += down.combine_pairs(row, int(rising.argmax()))
            table[wide] = row
            while host and across.ceil_index(host.width) == wide:
                worth = worths[host.item_type] + self._void_value(host, table)
                self._host_values[host] = worth
                high = down.ceil_index(host.height)
                larger = table[wide:, high:]
                np.maximum(larger, worth, out=larger)
                self._additions += down.combine_pairs(table[wide], high)
                host = next(hosts)
            rises[wide] = (table[wide] > table[wide - 1]).any()
        return table

    def _integer_dtype(self, worths: Sequence[int]) -> type[np.signedinteger[Any]]:
        """Return the smallest kind of whole number that holds all worths of the table."""
        import numpy as np

        if self._hosts:
            return np.int64
        # A sheet is worth no more than it would be all over at the best rate of any piece.
        area = int(self._across.points[-1]) * int(self._down.points[-1])
        most = max(
            (
                worths[index] * area // (self._across.rounded(w) * self._down.rounded(h))
                for index in self._table_items
                for w, h in self._plain_orientations(index)
            ),
            default=0,
        )
        return np.int32 if most < INT32_LIMIT else np.int64

    def _plain_orientations(self, index: int) -> tuple[tuple[int, int], ...]:
        shape = self._task.item_types[index]
        return () if shape.voids else orientations(shape)

    def _void_value(self, host: _Host, table: Table) -> int:
        return sum(int(table[place]) for place in self._void_indices(host))

    def _void_indices(self, host: _Host) -> list[tuple[int, int]]:
        return [
            (self._across.floor_index(void.width), self._down.floor_index(void.height))
            for void in host.voids
        ]

    def _trace_back(
        self, kind: BinType, worths: Sequence[int], table: Table
    ) -> tuple[int, dict[int, int]]:
        start = self._across.floor_index(kind.width), self._down.floor_index(kind.height)
        content = dict(self._negligible_items)
        parts = [start]
        while parts:
            wide, high = parts.pop()
            if not table[wide, high]:
                continue
            single = self._matching_item(wide, high, worths, table)
            parted = [] if single is not None else self._split(wide, high, table)
            if single is None and not parted:
                host = self._matching_host(wide, high, int(table[wide, high]))
                single = host.item_type if host else None
                # Else it is worth no more than a narrower one.
                parted = self._void_indices(host) if host else [(wide - 1, high)]
            if single is not None:
                content[single] = content.get(single, 0) + 1
            parts += parted
        dust = sum(worths[index] * number for index, number in self._negligible_items.items())
        return int(table[start]) + dust, content

    def _matching_item(
        self, wide: int, high: int, worths: Sequence[int], table: Table
    ) -> int | None:
        for index in self._table_items:
            if worths[index] == table[wide, high] and any(
                self._across.ceil_index(w) <= wide and self._down.ceil_index(h) <= high
                for w, h in self._plain_orientations(index)
            ):
                return index
        return None

    def _matching_host(self, wide: int, high: int, worth: int) -> _Host | None:
        for host in self._hosts:
            if (
                self._host_values.get(host) == worth
                and self._across.ceil_index(host.width) <= wide
                and self._down.ceil_index(host.height) <= high
            ):
                return host
        return None

    def _split(self, wide: int, high: int, table: Table) -> list[tuple[int, int]]:
        """Return two parts that are together worth as much as a rectangle, if there are any."""
        worth = table[wide, high]
        parts, rests = self._across.splits(wide)
        for part, rest in zip(parts, rests, strict=True):
            if table[part, high] + table[rest, high] == worth:
                return [(int(part), high), (int(rest), high)]
        parts, rests = self._down.splits(high)
        for part, rest in zip(parts, rests, strict=True):
            if table[wide, part] + table[wide, rest] == worth:
                return [(wide, int(part)), (wide, int(rest))]
        return []
