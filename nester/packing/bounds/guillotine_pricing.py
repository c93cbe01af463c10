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
from nester.packing.task.normal_patterns import LARGEST, Places
from nester.packing.task.task import Kind, Task, ways

if TYPE_CHECKING:
    import numpy as np

    Table = np.ndarray[Any, np.dtype[np.int64] | np.dtype[np.int32]]

__all__ = ["StraightWorth"]

_ADDITIONS_A_STEP = 400
"""Additions of the table that cost as much as one step of filling (measured)."""
_ADDITIONS_A_ROW = 24_000
"""What a row costs beside them, in the same measure."""


class _Host(NamedTuple):
    """A shape with voids in one of its ways."""

    shape: int
    width: int
    height: int
    voids: tuple[Rect, ...]


class StraightWorth:
    """Finds, for given worths of pieces, the best content of each kind of sheet."""

    def __init__(self, task: Task) -> None:
        sizes = [way for shape in task.shapes if shape.wanted for way in ways(shape)]
        kinds = task.kinds
        self._task = task
        self._across = Places([w for w, _ in sizes], [kind.width for kind in kinds])
        self._down = Places([h for _, h in sizes], [kind.height for kind in kinds])
        self._laid = [
            i
            for i, shape in enumerate(task.shapes)
            if shape.wanted
            and all(self._across.first(w) and self._down.first(h) for w, h in ways(shape))
        ]
        # What is rounded to nothing is taken to be on every sheet.
        self._dust = {
            i: shape.wanted
            for i, shape in enumerate(task.shapes)
            if shape.wanted and i not in set(self._laid)
        }
        hosts = [
            _Host(index, width, height, task.shapes[index].voids_at(0, 0, turned > 0))
            for index in self._laid
            if task.shapes[index].voids
            for turned, (width, height) in enumerate(ways(task.shapes[index]))
        ]
        # Narrow ones first: what lies in a void is narrower than its host.
        self._hosts = sorted(hosts, key=lambda host: (host.width, host.height))
        self._worth_of_hosts: dict[_Host, int] = {}
        self._additions = 0

    @property
    def steps(self) -> int:
        """What all calls of `best` have cost, in steps of filling."""
        return self._additions // _ADDITIONS_A_STEP

    def best(self, worths: Sequence[int], _stop: Stop) -> list[tuple[int, dict[int, int]]]:
        """Return for each kind the most that its pieces can be worth, and which pieces are.

        Parameters
        ----------
        worths
            Of one piece of each shape, whole and not negative.
        """
        table = self._table(worths)
        return [self._best_of(kind, worths, table) for kind in self._task.kinds]

    def _table(self, worths: Sequence[int]) -> Table:
        import numpy as np

        across, down = self._across, self._down
        table = np.zeros((len(across.places), len(down.places)), dtype=self._kind_of_number(worths))
        for index in self._laid:
            for width, height in self._ways_of_plain(index):
                larger = table[across.first(width) :, down.first(height) :]
                np.maximum(larger, worths[index], out=larger)
        hosts = iter([*self._hosts, None])
        host = next(hosts)
        # Where a rectangle is worth no more than a narrower one no cut needs to be tried.
        rises = np.zeros(len(table), dtype=bool)
        for wide in range(1, len(table)):
            parts, others = across.partings(wide)
            parts, others = parts[rises[parts]], others[rises[parts]]
            row = np.maximum(table[wide], table[wide - 1])
            self._additions += _ADDITIONS_A_ROW + len(parts) * len(row)
            if len(parts):
                np.maximum(row, (table[parts] + table[others]).max(axis=0), out=row)
            rising = row > table[wide - 1]
            if rising.any():
                self._additions += down.join(row, int(rising.argmax()))
            table[wide] = row
            while host and across.first(host.width) == wide:
                worth = worths[host.shape] + self._worth_of_voids(host, table)
                self._worth_of_hosts[host] = worth
                high = down.first(host.height)
                larger = table[wide:, high:]
                np.maximum(larger, worth, out=larger)
                self._additions += down.join(table[wide], high)
                host = next(hosts)
            rises[wide] = (table[wide] > table[wide - 1]).any()
        return table

    def _kind_of_number(self, worths: Sequence[int]) -> type[np.signedinteger[Any]]:
        """Return the smallest kind of whole number that holds all worths of the table."""
        import numpy as np

        if self._hosts:
            return np.int64
        # A sheet is worth no more than it would be all over at the best rate of any piece.
        area = int(self._across.places[-1]) * int(self._down.places[-1])
        most = max(
            (
                worths[index] * area // (self._across.rounded(w) * self._down.rounded(h))
                for index in self._laid
                for w, h in self._ways_of_plain(index)
            ),
            default=0,
        )
        return np.int32 if most < LARGEST else np.int64

    def _ways_of_plain(self, index: int) -> tuple[tuple[int, int], ...]:
        shape = self._task.shapes[index]
        return () if shape.voids else ways(shape)

    def _worth_of_voids(self, host: _Host, table: Table) -> int:
        return sum(int(table[place]) for place in self._places_of_voids(host))

    def _places_of_voids(self, host: _Host) -> list[tuple[int, int]]:
        return [
            (self._across.within(void.width), self._down.within(void.height)) for void in host.voids
        ]

    def _best_of(
        self, kind: Kind, worths: Sequence[int], table: Table
    ) -> tuple[int, dict[int, int]]:
        start = self._across.within(kind.width), self._down.within(kind.height)
        content = dict(self._dust)
        parts = [start]
        while parts:
            wide, high = parts.pop()
            if not table[wide, high]:
                continue
            single = self._single(wide, high, worths, table)
            parted = [] if single is not None else self._parted(wide, high, table)
            if single is None and not parted:
                host = self._host(wide, high, int(table[wide, high]))
                single = host.shape if host else None
                # Else it is worth no more than a narrower one.
                parted = self._places_of_voids(host) if host else [(wide - 1, high)]
            if single is not None:
                content[single] = content.get(single, 0) + 1
            parts += parted
        dust = sum(worths[index] * number for index, number in self._dust.items())
        return int(table[start]) + dust, content

    def _single(self, wide: int, high: int, worths: Sequence[int], table: Table) -> int | None:
        for index in self._laid:
            if worths[index] == table[wide, high] and any(
                self._across.first(w) <= wide and self._down.first(h) <= high
                for w, h in self._ways_of_plain(index)
            ):
                return index
        return None

    def _host(self, wide: int, high: int, worth: int) -> _Host | None:
        for host in self._hosts:
            if (
                self._worth_of_hosts.get(host) == worth
                and self._across.first(host.width) <= wide
                and self._down.first(host.height) <= high
            ):
                return host
        return None

    def _parted(self, wide: int, high: int, table: Table) -> list[tuple[int, int]]:
        """Return two parts that are together worth as much as a rectangle, if there are any."""
        worth = table[wide, high]
        parts, rests = self._across.partings(wide)
        for part, rest in zip(parts, rests, strict=True):
            if table[part, high] + table[rest, high] == worth:
                return [(int(part), high), (int(rest), high)]
        parts, rests = self._down.partings(high)
        for part, rest in zip(parts, rests, strict=True):
            if table[wide, part] + table[wide, rest] == worth:
                return [(wide, int(part)), (wide, int(rest))]
        return []
