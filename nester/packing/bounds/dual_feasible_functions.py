"""Valid inequalities from pairs of dual feasible functions.

If f and g are superadditive, f(x) + f(y) ≤ f(x + y), and pieces of sizes w × h lie on a W × H sheet
without overlap, then Σ f(w) · g(h) ≤ f(W) · g(H) (conservative scales: Fekete and Schepers,
Mathematical Methods of Operations Research 60, 2004).  So f(w) · g(h) is a weight of a piece, and
f(W) · g(H) the capacity of a sheet.  A piece that may be turned counts the smaller of its two
products.  Scaled to f(W) = 1 such functions are dual feasible; here they stay integers.

With f = g = x the weight is the area; with f = g = ⌊x/a⌋ it counts the a × a squares in a piece.
The functions, with their sources, are in `_AxisFunctions`.

Other pieces may reach into a piece's voids, so only its solid part counts.  The rectangles into
which it is divided overlap nothing, so the sum of their products is a weight of the piece.  This
holds for every division, so the larger of two sums is taken: by rows, or by columns.

There are thousands of pairs.  Floats only find the pairs that are violated most; those are computed
again in integers before they are used.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import count
from math import isqrt
from typing import TYPE_CHECKING, Any

from nester.packing.bounds.valid_inequalities import ValidInequality, scaled_inequality
from nester.packing.task.task import ItemType, Task

if TYPE_CHECKING:
    import numpy as np

    Matrix = np.ndarray[Any, np.dtype[np.float64]]

__all__ = ["DualFeasibleFunctions"]

_MAX_SIDES = 60
_MAX_CANDIDATES = 5
"""Pairs violated most, by floats, that are computed again in integers."""
_MANY_BLOCKS = 2_000
_MAX_PAIR_VALUES = 20_000_000
"""Pairs of functions times blocks, if there are many blocks: a second or two."""
_Function = Callable[[int], int]


class _AxisFunctions:
    """Superadditive functions for one direction of the sheets.

    They need to be superadditive only up to the longest sheet in that direction.
    """

    def __init__(self, sheet_sides: Sequence[int], piece_sides: Sequence[int]) -> None:
        self._longest = max(sheet_sides)
        self._piece_sides = sorted(set(piece_sides))
        if len(self._piece_sides) > _MAX_SIDES:
            step = len(self._piece_sides) / _MAX_SIDES
            self._piece_sides = [self._piece_sides[int(i * step)] for i in range(_MAX_SIDES)]

    def functions(self) -> Iterator[_Function]:
        yield lambda x: x
        for side in self._piece_sides:
            yield self._floor_function(side)
        for side in self._piece_sides:
            if 2 * side <= self._longest:
                yield self._symmetric_rounding(side)
                yield self._threshold_function(side)

    @staticmethod
    def _floor_function(side: int) -> _Function:
        """⌊x / side⌋."""
        return lambda x: x // side

    def _symmetric_rounding(self, side: int) -> _Function:
        """Return f₁ of Carlier, Clautiaux and Moukrim (Computers & OR 34, 2007), doubled."""
        longest = self._longest

        def value(x: int) -> int:
            if 2 * x > longest:
                return 2 * (longest // side - (longest - x) // side)
            return longest // side if 2 * x == longest else 2 * (x // side)

        return value

    def _threshold_function(self, side: int) -> _Function:
        """Return U^ε of Fekete and Schepers (Mathematical Programming 91, 2001)."""
        longest = self._longest

        def value(x: int) -> int:
            if x > longest - side:
                return longest
            return x if x >= side else 0

        return value


class DualFeasibleFunctions:
    """All inequalities from pairs of functions, one for each direction."""

    def __init__(self, task: Task) -> None:
        self._item_types = task.item_types
        demanded = [item for item in task.item_types if item.demand]
        all_rotatable = all(item.rotatable or item.is_rotation_symmetric for item in demanded)
        # Where every piece may be turned, sheets may be turned too, to lie on their long side.
        self._bin_types = [
            sheet_type._replace(width=sheet_type.height, height=sheet_type.width)
            if all_rotatable and sheet_type.height > sheet_type.width
            else sheet_type
            for sheet_type in task.bin_types
        ]
        self._decompositions = [_decompositions(item) for item in task.item_types]
        numbers = count()
        self._blocks = [
            [next(numbers) for decomposition in decompositions for _ in decomposition]
            for decompositions in self._decompositions
        ]
        blocks = [
            block
            for item, decompositions in zip(task.item_types, self._decompositions, strict=True)
            if item.demand
            for decomposition in decompositions
            for block in decomposition
        ]
        widths = [width for width, _ in blocks]
        heights = [height for _, height in blocks]
        if any(item.rotatable for item in demanded):
            widths = heights = widths + heights
        self._across = _thinned(
            _AxisFunctions([size.width for size in self._bin_types], widths).functions(),
            len(blocks),
        )
        self._down = _thinned(
            _AxisFunctions([size.height for size in self._bin_types], heights).functions(),
            len(blocks),
        )
        self._function_values_cache: tuple[tuple[Matrix, ...], Matrix, Matrix] | None = None
        self._total_weights_cache: dict[tuple[int, ...], Matrix] = {}

    def area_inequality(self) -> ValidInequality:
        """Return the inequality that compares areas."""
        return self._integer_inequality(self._across[0], self._down[0])

    def most_violated(
        self, sheets: Sequence[int], production: Sequence[int]
    ) -> ValidInequality | None:
        """Return the inequality violated most if these sheets make given counts of each item type.

        None if no pair of functions yields one.
        """
        import numpy as np

        _, across, down = self._function_values()
        weights = self._total_weights(tuple(production))
        capacities = (across * np.array(sheets, dtype=np.float64)) @ down.T
        with np.errstate(divide="ignore", invalid="ignore"):
            violation = np.where(weights > 0, weights / capacities, 0.0)
        for _ in range(_MAX_CANDIDATES):
            f, g = divmod(int(violation.argmax()), violation.shape[1])
            if violation[f, g] <= 1 + 1e-9:
                return None
            violation[f, g] = 0.0
            inequality = self._integer_inequality(self._across[f], self._down[g])
            if inequality.total_capacity(sheets) < inequality.total_weight(production):
                return inequality
        return None

    def _total_weights(self, production: tuple[int, ...]) -> Matrix:
        """Return, as floats, the total weight of given counts, by pair of functions."""
        import numpy as np

        if production not in self._total_weights_cache:
            (fw, fh, gw, gh), _, _ = self._function_values()
            # One sheet holds few item types, so only theirs are computed.
            item_types = [item_type for item_type, count in enumerate(production) if count]
            counts = np.array([production[item_type] for item_type in item_types], dtype=np.float64)
            rotatable = np.array(
                [self._item_types[item_type].rotatable for item_type in item_types], dtype=bool
            )
            blocks = [block for item_type in item_types for block in self._blocks[item_type]]
            fw, fh, gw, gh = (table[:, blocks] for table in (fw, fh, gw, gh))
            decompositions = [
                decomposition
                for item_type in item_types
                for decomposition in self._decompositions[item_type]
            ]
            total = np.zeros((len(fw), len(gw)))
            first_block = np.cumsum(
                [0, *(len(decomposition) for decomposition in decompositions[:-1])]
            )
            first_decomposition = np.cumsum(
                [0, *(len(self._decompositions[item_type]) for item_type in item_types[:-1])]
            )

            def weights(products: Matrix) -> Matrix:
                sums = np.add.reduceat(products, first_block, axis=1)
                return np.asarray(np.maximum.reduceat(sums, first_decomposition, axis=1))

            for row in range(len(fw) if item_types else 0):
                upright, turned = weights(fw[row] * gh), weights(fh[row] * gw)
                total[row] = np.where(rotatable, np.minimum(upright, turned), upright) @ counts
            self._total_weights_cache = {production: total}
        return self._total_weights_cache[production]

    def _function_values(self) -> tuple[tuple[Matrix, ...], Matrix, Matrix]:
        """Return, as floats, the functions of all solid sides, and f(W) and g(H) of bin types."""
        if self._function_values_cache is None:
            import numpy as np

            def table(functions: Sequence[_Function], sides: Sequence[int]) -> Matrix:
                return np.array([[f(x) for x in sides] for f in functions], dtype=np.float64)

            blocks = [
                block
                for decompositions in self._decompositions
                for decomposition in decompositions
                for block in decomposition
            ]
            widths = [width for width, _ in blocks]
            heights = [height for _, height in blocks]
            sides = tuple(
                table(functions, lengths)
                for functions in (self._across, self._down)
                for lengths in (widths, heights)
            )
            across = table(self._across, [sheet_type.width for sheet_type in self._bin_types])
            down = table(self._down, [sheet_type.height for sheet_type in self._bin_types])
            self._function_values_cache = sides, across, down
        return self._function_values_cache

    def _integer_inequality(self, f: _Function, g: _Function) -> ValidInequality:
        return scaled_inequality(
            [f(sheet_type.width) * g(sheet_type.height) for sheet_type in self._bin_types],
            [
                _weight(item, decompositions, f, g)
                for item, decompositions in zip(self._item_types, self._decompositions, strict=True)
            ],
            [item.demand for item in self._item_types],
        )


def _thinned(functions: Iterable[_Function], blocks: int) -> list[_Function]:
    """Return the functions, or of very many pieces some of them: the first, which is area, too.

    Each pair of functions is worked out for each block of solid paper.
    """
    kept = list(functions)
    most = max(2, isqrt(_MAX_PAIR_VALUES // max(1, blocks)))
    if blocks <= _MANY_BLOCKS or len(kept) <= most:
        return kept
    return [kept[number * len(kept) // most] for number in range(most)]


_Decomposition = tuple[tuple[int, int], ...]
"""Sides of disjoint rectangles that cover the solid part of a piece."""


def _decompositions(item: ItemType) -> tuple[_Decomposition, ...]:
    if not item.voids:
        return (((item.width, item.height),),)
    return tuple(
        tuple((block.width, block.height) for block in blocks)
        for blocks in (item.rows(), item.columns())
    )


def _weight(
    item: ItemType, decompositions: Sequence[_Decomposition], f: _Function, g: _Function
) -> int:
    upright = max(
        sum(f(width) * g(height) for width, height in decomposition)
        for decomposition in decompositions
    )
    if not item.rotatable:
        return upright
    return min(
        upright,
        max(
            sum(f(high) * g(wide) for wide, high in decomposition)
            for decomposition in decompositions
        ),
    )
