"""Normal patterns: the positions in one direction at which an edge may lie, sums of piece sides.

Every piece on a sheet can be pushed left and up until it touches another or the sheet's edge; then
each position is a sum of sides (Herz, IBM Journal of Research and Development 16, 1972).

Where there are too many such sums, lengths are first divided by a number and rounded down.  What
fits side by side still fits then, since ⌊a/g⌋ + ⌊b/g⌋ ≤ ⌊(a + b)/g⌋.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import numpy as np

    IntArray = np.ndarray[Any, np.dtype[np.int64] | np.dtype[np.int32]]

__all__ = ["NormalPatterns"]

MAX_POINTS = 600
"""Places in one direction; with more, lengths are rounded."""
_MAX_UNITS_TRIED = 200
INT32_LIMIT = 2**30
"""Worths below this may be in numbers of 32 bits, which are added more quickly."""


class NormalPatterns:
    """Where cuts may run in one direction: sums of sides, in their own units."""

    def __init__(self, sides: Sequence[int], sheets: Sequence[int]) -> None:
        import numpy as np

        longest = max(sheets)
        self._unit = 1
        sums = _reachable_sums(sides, longest)
        if sums is None:
            self._unit, sums = _coarsened(sides, sheets)
        self.points = np.array(sums, dtype=np.int64)
        self._remainders = self._all_remainders()
        self._splits: dict[int, tuple[IntArray, IntArray]] = {}

    def floor_index(self, length: int) -> int:
        """Return the last place in a length."""
        import numpy as np

        return int(np.searchsorted(self.points, length // self._unit, side="right")) - 1

    def ceil_index(self, side: int) -> int:
        """Return the first place from which a side has room."""
        import numpy as np

        return int(np.searchsorted(self.points, side // self._unit))

    def rounded(self, side: int) -> int:
        """Return a side in the unit of the places."""
        return side // self._unit

    def splits(self, at: int) -> tuple[IntArray, IntArray]:
        """Return the places, but 0, in the first half up to a place, and what each leaves of it."""
        import numpy as np

        if at not in self._splits:
            places = self.points
            half = int(np.searchsorted(places, places[at] // 2, side="right"))
            parts = np.arange(1, half)
            rests = np.searchsorted(places, places[at] - places[parts], side="right") - 1
            self._splits[at] = parts, rests
        return self._splits[at]

    def combine_pairs(self, row: IntArray, since: int = 0) -> int:
        """Let each place of a row have the value of the two places that share it.

        Parameters
        ----------
        row
            The value of each place, never falling; changed in place.
        since
            Before this place nothing has changed since the row was last joined.

        Returns
        -------
        int
            How many additions it took.
        """
        import numpy as np

        half = len(self._remainders)
        # One more than the last place: what is left there is not allowed.
        worst = -INT32_LIMIT if row.dtype == np.int32 else -(INT32_LIMIT**2)
        added = 0
        while True:
            steps = np.nonzero(row[1:half] > row[: half - 1])[0] + 1
            if not len(steps):
                return added
            added += len(steps) * (len(row) - since)
            padded = np.append(row, row.dtype.type(worst))
            joined = padded.take(self._remainders[steps, since:], mode="clip")
            np.add(joined, row[steps, None], out=joined)
            most = joined.max(axis=0)
            better = most > row[since:]
            if not better.any():
                return added
            np.maximum(row[since:], most, out=row[since:])
            since += int(better.argmax())

    def _all_remainders(self) -> IntArray:
        """Return what each place in the first half leaves of each, if that is no smaller.

        Else it is the place behind the last.
        """
        import numpy as np

        places = self.points
        half = int(np.searchsorted(places, places[-1] // 2, side="right"))
        left = places[None, :] - places[:half, None]
        allowed = places[None, :] >= 2 * places[:half, None]
        rests = np.searchsorted(places, np.maximum(left, 0), side="right") - 1
        return np.where(allowed, rests, len(places))

    def unbounded_knapsack(
        self, sides: Sequence[int], values: Sequence[int], length: int
    ) -> tuple[int, tuple[tuple[int, int], ...]]:
        """Return the most value of sides in a row, and how often each is in it.

        In rounded lengths that is rather too much; a side rounded to nothing may have no value.
        """
        import numpy as np

        best = np.zeros(len(self.points), dtype=np.int64)
        for side, value in zip(sides, values, strict=True):
            larger = best[self.ceil_index(side) :]
            np.maximum(larger, value, out=larger)
        self.combine_pairs(best)
        counts: dict[int, int] = {}
        parts = [self.floor_index(length)]
        while parts:
            at = parts.pop()
            if not best[at]:
                continue
            single = next(
                (
                    place
                    for place, (side, value) in enumerate(zip(sides, values, strict=True))
                    if value == best[at] and self.ceil_index(side) <= at
                ),
                None,
            )
            if single is not None:
                counts[single] = counts.get(single, 0) + 1
                continue
            halves, rests = self.splits(at)
            fits = np.nonzero(best[halves] + best[rests] == best[at])[0]
            parts += [int(halves[fits[0]]), int(rests[fits[0]])] if len(fits) else [at - 1]
        return int(best[self.floor_index(length)]), tuple(sorted(counts.items()))


def _reachable_sums(sides: Sequence[int], longest: int) -> list[int] | None:
    """Return all sums of sides up to a length, or None if there are too many."""
    import numpy as np

    # Bit n of a whole number stands for the sum n; a side is added by a shift.
    within = (1 << (longest + 1)) - 1
    sums = 1
    for side in sorted(set(sides)):
        step = side
        while step <= longest:
            sums |= (sums << step) & within
            step *= 2
        if sums.bit_count() > MAX_POINTS:
            return None
    size = longest // 8 + 1
    bits = np.frombuffer(sums.to_bytes(size, "little"), dtype=np.uint8)
    found: list[int] = np.flatnonzero(np.unpackbits(bits, bitorder="little")).tolist()
    return found


def _coarsened(sides: Sequence[int], sheets: Sequence[int]) -> tuple[int, list[int]]:
    """Return the unit that loses least of the sides, for what it loses of the sheets, and sums."""
    longest = max(sheets)
    coarsest = -(-longest // (MAX_POINTS - 1))
    finest = max(1, coarsest // 4)
    step = max(1, (coarsest - finest) // _MAX_UNITS_TRIED)
    units = {*range(finest, coarsest + 1, step), coarsest}

    def loss(unit: int) -> float:
        of_sides = sum(side % unit / side for side in sides) / len(sides)
        of_sheets = sum(sheet % unit / sheet for sheet in sheets) / len(sheets)
        return of_sides - of_sheets

    for unit in sorted(units, key=lambda unit: (loss(unit), unit)):
        sums = _reachable_sums([side // unit for side in sides if side >= unit], longest // unit)
        if sums is not None:
            return unit, sums
    raise AssertionError("the coarsest unit has few enough places")
