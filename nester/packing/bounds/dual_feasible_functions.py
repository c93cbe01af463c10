"""Inequalities from pairs of superadditive functions.

A function f is superadditive if f(x) + f(y) ≤ f(x + y).  If pieces of sizes w × h lie on a W × H
sheet without overlap, then Σ f(w) · g(h) ≤ f(W) · g(H) (conservative scales: Fekete and Schepers,
Mathematical Methods of Operations Research 60, 2004).  A piece that may be turned counts the
smaller of its two products.

Where other pieces can reach into a piece's voids, only what is solid of it counts.  Rectangles
into which the solid part is divided lie on the sheet as if they were pieces, and none overlaps
anything; so the sum of their products is a weight for the piece.  This holds for each way to divide
it, so the largest sum may be taken: it is divided into rows or into columns.

With f = g = x this is the area; with f = g = ⌊x/a⌋ it counts pieces
in which an a × a square lies.  The functions, with their sources, are in `_AxisFunctions`.

There are thousands of pairs.  Floats only point out the one that matters most; it is computed in
whole numbers before it is used.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import count
from typing import TYPE_CHECKING, Any

from nester.packing.bounds.valid_inequalities import ValidInequality, scaled_inequality
from nester.packing.task.task import ItemType, Task

if TYPE_CHECKING:
    import numpy as np

    Matrix = np.ndarray[Any, np.dtype[np.float64]]

__all__ = ["DualFeasibleFunctions"]

_MAX_SIDES = 60
_MAX_CANDIDATES = 5
"""So many of the inequalities that seem most broken are computed in whole numbers."""
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
        whole = self._longest

        def value(x: int) -> int:
            if 2 * x > whole:
                return 2 * (whole // side - (whole - x) // side)
            return whole // side if 2 * x == whole else 2 * (x // side)

        return value

    def _threshold_function(self, side: int) -> _Function:
        """Return U^ε of Fekete and Schepers (Mathematical Programming 91, 2001)."""
        whole = self._longest

        def value(x: int) -> int:
            if x > whole - side:
                return whole
            return x if x >= side else 0

        return value


class DualFeasibleFunctions:
    """All inequalities from pairs of functions, one for each direction."""

    def __init__(self, task: Task) -> None:
        self._item_types = task.item_types
        wanted = [shape for shape in task.item_types if shape.demand]
        all_turn = all(shape.rotatable or shape.is_rotation_symmetric for shape in wanted)
        # Where every piece may be turned, sheets may be looked at lying on their long side.
        self._bin_types = [
            kind._replace(width=kind.height, height=kind.width)
            if all_turn and kind.height > kind.width
            else kind
            for kind in task.bin_types
        ]
        self._decompositions = [_decompositions(shape) for shape in task.item_types]
        numbered = count()
        self._blocks = [
            [next(numbered) for way in ways for _ in way] for ways in self._decompositions
        ]
        blocks = [
            block
            for shape, ways in zip(task.item_types, self._decompositions, strict=True)
            if shape.demand
            for way in ways
            for block in way
        ]
        wide = [width for width, _ in blocks]
        high = [height for _, height in blocks]
        if any(shape.rotatable for shape in wanted):
            wide = high = wide + high
        self._across = list(_AxisFunctions([k.width for k in self._bin_types], wide).functions())
        self._down = list(_AxisFunctions([k.height for k in self._bin_types], high).functions())
        self._function_values_cache: tuple[tuple[Matrix, ...], Matrix, Matrix] | None = None
        self._total_weights_cache: dict[tuple[int, ...], Matrix] = {}

    def area_inequality(self) -> ValidInequality:
        """Return the inequality that compares areas."""
        return self._integer_inequality(self._across[0], self._down[0])

    def most_violated(self, sheets: Sequence[int], made: Sequence[int]) -> ValidInequality | None:
        """Return the inequality most broken if such sheets make so many of each shape, or None."""
        import numpy as np

        _, across, down = self._function_values()
        needed = self._total_weights(tuple(made))
        held = (across * np.array(sheets, dtype=np.float64)) @ down.T
        with np.errstate(divide="ignore", invalid="ignore"):
            lack = np.where(needed > 0, needed / held, 0.0)
        for _ in range(_MAX_CANDIDATES):
            f, g = divmod(int(lack.argmax()), lack.shape[1])
            if lack[f, g] <= 1 + 1e-9:
                return None
            lack[f, g] = 0.0
            found = self._integer_inequality(self._across[f], self._down[g])
            if found.total_capacity(sheets) < found.total_weight(made):
                return found
        return None

    def _total_weights(self, made: tuple[int, ...]) -> Matrix:
        """Return, as floats, what each pair needs for so many pieces of each shape."""
        import numpy as np

        if made not in self._total_weights_cache:
            (fw, fh, gw, gh), _, _ = self._function_values()
            # Few shapes lie on a sheet, so only theirs are looked at.
            shapes = [shape for shape, number in enumerate(made) if number]
            numbers = np.array([made[shape] for shape in shapes], dtype=np.float64)
            turns = np.array([self._item_types[shape].rotatable for shape in shapes], dtype=bool)
            blocks = [block for shape in shapes for block in self._blocks[shape]]
            fw, fh, gw, gh = (table[:, blocks] for table in (fw, fh, gw, gh))
            ways = [way for shape in shapes for way in self._decompositions[shape]]
            needed = np.zeros((len(fw), len(gw)))
            first_block = np.cumsum([0, *(len(way) for way in ways[:-1])])
            first_way = np.cumsum([0, *(len(self._decompositions[shape]) for shape in shapes[:-1])])

            def weights(products: Matrix) -> Matrix:
                sums = np.add.reduceat(products, first_block, axis=1)
                return np.asarray(np.maximum.reduceat(sums, first_way, axis=1))

            for row in range(len(fw) if shapes else 0):
                upright, turned = weights(fw[row] * gh), weights(fh[row] * gw)
                needed[row] = np.where(turns, np.minimum(upright, turned), upright) @ numbers
            self._total_weights_cache = {made: needed}
        return self._total_weights_cache[made]

    def _function_values(self) -> tuple[tuple[Matrix, ...], Matrix, Matrix]:
        """Return, as floats, the functions at all solid sides, and f(W) and g(H) of kinds."""
        if self._function_values_cache is None:
            import numpy as np

            def table(functions: Sequence[_Function], sides: Sequence[int]) -> Matrix:
                return np.array([[f(x) for x in sides] for f in functions], dtype=np.float64)

            blocks = [block for ways in self._decompositions for way in ways for block in way]
            wide = [width for width, _ in blocks]
            high = [height for _, height in blocks]
            sides = tuple(
                table(functions, of_shapes)
                for functions in (self._across, self._down)
                for of_shapes in (wide, high)
            )
            across = table(self._across, [kind.width for kind in self._bin_types])
            down = table(self._down, [kind.height for kind in self._bin_types])
            self._function_values_cache = sides, across, down
        return self._function_values_cache

    def _integer_inequality(self, f: _Function, g: _Function) -> ValidInequality:
        return scaled_inequality(
            [f(kind.width) * g(kind.height) for kind in self._bin_types],
            [
                _weight(shape, ways, f, g)
                for shape, ways in zip(self._item_types, self._decompositions, strict=True)
            ],
            [shape.demand for shape in self._item_types],
        )


_Decomposition = tuple[tuple[int, int], ...]
"""Sides of disjoint rectangles that lie within what is solid of a piece."""


def _decompositions(shape: ItemType) -> tuple[_Decomposition, ...]:
    if not shape.voids:
        return (((shape.width, shape.height),),)
    return tuple(
        tuple((block.width, block.height) for block in blocks)
        for blocks in (shape.rows(), shape.columns())
    )


def _weight(shape: ItemType, ways: Sequence[_Decomposition], f: _Function, g: _Function) -> int:
    upright = max(sum(f(width) * g(height) for width, height in way) for way in ways)
    if not shape.rotatable:
        return upright
    return min(upright, max(sum(f(high) * g(wide) for wide, high in way) for way in ways))
