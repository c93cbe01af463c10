"""The most that one sheet's pieces can be worth, by straight cuts.

If every piece could be had as often as one likes, the best sheet is found exactly: a w × h
rectangle is worth its best single piece, or what two parts are worth into which an edge-to-edge
cut divides it (Gilmore and Gomory, Operations Research 13, 1965, and 14, 1966).  Cuts need to be
tried only at sums of piece sides (normal patterns; Herz, IBM Journal of Research and Development
16, 1972).

Where there are too many such sums, lengths are first divided by a number and rounded down.  What
fits side by side fits after that too, since ⌊a/g⌋ + ⌊b/g⌋ ≤ ⌊(a + b)/g⌋: so the most is then
rather too much, never too little.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from nester.packing.model import Kind, Shape, Task

if TYPE_CHECKING:
    import numpy as np

    Table = np.ndarray[Any, np.dtype[np.int64]]

__all__ = ["StraightWorth"]

_MOST_PLACES = 600
"""Places for cuts in one direction; with more, lengths are rounded."""
_ROUNDINGS = 200
_OPERATIONS_A_STEP = 500
"""Additions of the table that cost as much as one step of filling (measured)."""


class StraightWorth:
    """Finds, for given worths of pieces, the best content of each kind of sheet."""

    def __init__(self, task: Task) -> None:
        ways = [way for shape in task.shapes if shape.wanted for way in _ways(shape)]
        kinds = task.kinds
        self._task = task
        self._across = _Places([w for w, _ in ways], [kind.width for kind in kinds])
        self._down = _Places([h for _, h in ways], [kind.height for kind in kinds])
        self._laid = [
            i
            for i, shape in enumerate(task.shapes)
            if shape.wanted
            and all(self._across.first(w) and self._down.first(h) for w, h in _ways(shape))
        ]
        # What is rounded to nothing is taken to be on every sheet.
        self._dust = {
            i: shape.wanted
            for i, shape in enumerate(task.shapes)
            if shape.wanted and i not in set(self._laid)
        }
        wide, high = len(self._across.places), len(self._down.places)
        self.steps = wide * high * (wide + high) // (2 * _OPERATIONS_A_STEP)

    def best(self, worths: Sequence[int]) -> list[tuple[int, dict[int, int]]]:
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
        table = np.zeros((len(across.places), len(down.places)), dtype=np.int64)
        for index in self._laid:
            for width, height in _ways(self._task.shapes[index]):
                larger = table[across.first(width) :, down.first(height) :]
                np.maximum(larger, worths[index], out=larger)
        rest_down, allowed = down.rests()
        for wide in range(1, len(table)):
            parts, rests = across.partings(wide)
            row = np.maximum(table[wide], table[wide - 1])
            if len(parts):
                np.maximum(row, (table[parts] + table[rests]).max(axis=0), out=row)
            while (row > table[wide - 1]).any():
                joined = ((row[: rest_down.shape[1]] + row[rest_down]) * allowed).max(axis=1)
                if (joined <= row).all():
                    break
                np.maximum(row, joined, out=row)
            table[wide] = row
        return table

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
            if single is None:
                parts += self._parted(wide, high, table)
            else:
                content[single] = content.get(single, 0) + 1
        dust = sum(worths[index] * number for index, number in self._dust.items())
        return int(table[start]) + dust, content

    def _single(self, wide: int, high: int, worths: Sequence[int], table: Table) -> int | None:
        for index in self._laid:
            if worths[index] == table[wide, high] and any(
                self._across.first(w) <= wide and self._down.first(h) <= high
                for w, h in _ways(self._task.shapes[index])
            ):
                return index
        return None

    def _parted(self, wide: int, high: int, table: Table) -> list[tuple[int, int]]:
        """Return the two parts into which a rectangle is cut to be worth most."""
        worth = table[wide, high]
        parts, rests = self._across.partings(wide)
        for part, rest in zip(parts, rests, strict=True):
            if table[part, high] + table[rest, high] == worth:
                return [(int(part), high), (int(rest), high)]
        parts, rests = self._down.partings(high)
        for part, rest in zip(parts, rests, strict=True):
            if table[wide, part] + table[wide, rest] == worth:
                return [(wide, int(part)), (wide, int(rest))]
        return [(wide - 1, high)]  # worth no more than a narrower one


def _ways(shape: Shape) -> set[tuple[int, int]]:
    upright = (shape.width, shape.height)
    return {upright, (shape.height, shape.width)} if shape.turns else {upright}


class _Places:
    """Where cuts may run in one direction: sums of sides, in units of their own."""

    def __init__(self, sides: Sequence[int], sheets: Sequence[int]) -> None:
        import numpy as np

        longest = max(sheets)
        self._unit = 1
        sums = _sums(sides, longest)
        if sums is None:
            self._unit, sums = _rounded(sides, sheets)
        self.places = np.array(sums, dtype=np.int64)

    def within(self, length: int) -> int:
        """Return the last place in a length."""
        import numpy as np

        return int(np.searchsorted(self.places, length // self._unit, side="right")) - 1

    def first(self, side: int) -> int:
        """Return the first place from which a side has room."""
        import numpy as np

        return int(np.searchsorted(self.places, side // self._unit))

    def partings(self, at: int) -> tuple[Table, Table]:
        """Return the places, but 0, in the first half up to a place, and what each leaves of it."""
        import numpy as np

        places = self.places
        half = int(np.searchsorted(places, places[at] // 2, side="right"))
        parts = np.arange(1, half)
        return parts, np.searchsorted(places, places[at] - places[parts], side="right") - 1

    def rests(self) -> tuple[Table, Table]:
        """Return what each place leaves of each; and whether the first lies in its first half."""
        import numpy as np

        places = self.places
        half = int(np.searchsorted(places, places[-1] // 2, side="right"))
        left = places[:, None] - places[None, :half]
        allowed = places[:, None] >= 2 * places[None, :half]
        rest = np.searchsorted(places, np.maximum(left, 0), side="right") - 1
        return rest, allowed.astype(np.int64)


def _sums(sides: Sequence[int], longest: int) -> list[int] | None:
    """Return all sums of sides up to a length, or None if there are too many."""
    sums = {0}
    fresh = [0]
    while fresh:
        fresh = sorted(
            {place + side for place in fresh for side in set(sides) if place + side <= longest}
            - sums
        )
        sums.update(fresh)
        if len(sums) > _MOST_PLACES:
            return None
    return sorted(sums)


def _rounded(sides: Sequence[int], sheets: Sequence[int]) -> tuple[int, list[int]]:
    """Return the unit that loses least of the sides, for what it loses of the sheets, and sums."""
    longest = max(sheets)
    coarsest = -(-longest // (_MOST_PLACES - 1))
    finest = max(1, coarsest // 4)
    step = max(1, (coarsest - finest) // _ROUNDINGS)
    units = {*range(finest, coarsest + 1, step), coarsest}

    def loss(unit: int) -> float:
        of_sides = sum(side % unit / side for side in sides) / len(sides)
        of_sheets = sum(sheet % unit / sheet for sheet in sheets) / len(sheets)
        return of_sides - of_sheets

    for unit in sorted(units, key=lambda unit: (loss(unit), unit)):
        sums = _sums([side // unit for side in sides if side >= unit], longest // unit)
        if sums is not None:
            return unit, sums
    raise AssertionError("the coarsest unit has few enough places")
