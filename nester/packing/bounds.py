"""A cost that no plan can go below.

Give each piece a weight of zero or more such that no sheet of kind s can hold more than V_s of
it in all.  Then Σ V_s · (sheets of kind s used) ≥ the weight of all pieces, whatever the plan.
The cheapest whole numbers of sheets that satisfy such inequalities cost no more than any plan.

Weights come from pairs of superadditive functions f, g: f(x) + f(y) ≤ f(x + y).  If pieces of
sizes w × h lie on a W × H sheet without overlap, then Σ f(w) · g(h) ≤ f(W) · g(H) (conservative
scales: Fekete and Schepers, Mathematical Methods of Operations Research 60, 2004).  A piece that
may be turned counts the smaller of its two products.

Where other pieces can reach into a piece's voids, only what is solid of it counts.  Rectangles
into which the solid part is divided lie on the sheet as if they were pieces, and none overlaps
anything; so the sum of their products is a weight for the piece.  This holds for each way to divide
it, so the largest sum may be taken: it is divided into rows or into columns.

With f = g = x this is the area; with
f = g = ⌊x/a⌋ it counts pieces in which an a × a square lies.  The functions, with their sources,
are in `_Axis`.

There are thousands of pairs.  The few that matter are found one after the other: solve with the
inequalities so far, add the one that the numbers of sheets found violate most, and so on.  Floats
only point out candidates; each inequality is computed in whole numbers before it is used.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from math import ceil
from typing import TYPE_CHECKING, Any, NamedTuple

from nester.packing.interruptible import run
from nester.packing.model import Shape, Task
from nester.packing.stop import Stop, never

if TYPE_CHECKING:
    import numpy as np

    Matrix = np.ndarray[Any, np.dtype[np.float64]]

__all__ = ["Inequality", "lower_bound"]

_LARGEST = 2**40
"""Numbers in an inequality stay below this."""
_LARGEST_SUM = 2**60
"""So do sums of prices, so that they fit the solver's 64 bits."""
_ROUNDS = 40
"""Inequalities added at most; each round takes a few milliseconds."""
_MOST_SIDES = 60
_Function = Callable[[int], int]


class Inequality(NamedTuple):
    """Σ holds[kind] · sheets[kind] ≥ needed."""

    holds: tuple[int, ...]
    needed: int


def lower_bound(
    task: Task, stop: Stop = never, most: Mapping[int, Sequence[int]] | None = None
) -> int:
    """Return a proven lower bound on the whole price of making all of a task's pieces.

    If the inequalities can't be satisfied with the sheets there are, not all pieces can be made;
    then there is no plan to bound and 0 is returned.

    Parameters
    ----------
    stop
        Ends the search early; the bound holds also then.
    most
        For some shapes, how many of them a sheet of each kind holds at most.
    """
    if not any(task.demand):
        return 0
    family = _Family(task)
    chosen = [family.area()]
    for shape, holds in (most or {}).items():
        wanted = task.shapes[shape].wanted
        chosen.append(Inequality(tuple(min(number, wanted) for number in holds), wanted))
    bound = 0
    for _ in range(_ROUNDS):
        solved = _cheapest(task, chosen, stop)
        if solved is None:
            return 0
        bound, sheets = solved
        worst = family.most_violated(sheets)
        if worst is None or stop():
            return bound
        chosen.append(worst)
    return bound


def _cheapest(
    task: Task, inequalities: Sequence[Inequality], stop: Stop
) -> tuple[int, list[int]] | None:
    """Return a bound on, and whole numbers of, the cheapest sheets; None if there are too few."""
    from ortools.sat.python import cp_model

    model = cp_model.CpModel()
    most = [min(task.most_of(kind), _enough(inequalities, kind)) for kind in range(len(task.kinds))]
    spent_at_most = sum(kind.price * n for kind, n in zip(task.kinds, most, strict=True))
    coarse = max(1, -(-spent_at_most // _LARGEST_SUM))
    sheets = [model.new_int_var(0, n, "") for n in most]
    for holds, needed in inequalities:
        model.add(cp_model.LinearExpr.weighted_sum(sheets, holds) >= needed)
    prices = [kind.price // coarse for kind in task.kinds]
    model.minimize(cp_model.LinearExpr.weighted_sum(sheets, prices))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.max_deterministic_time = 1.0
    status = run(solver, model, stop)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return None if status == cp_model.INFEASIBLE else (0, [0] * len(sheets))
    # Prices are whole, so the bound is; it comes as a float and may be a little off either way.
    bound = max(0, ceil(solver.best_objective_bound * (1 - 1e-12) - 1e-6))
    return bound * coarse, [solver.value(one) for one in sheets]


def _enough(inequalities: Sequence[Inequality], kind: int) -> int:
    """Return how many sheets of one kind do all that this kind can do; more only cost more."""
    return max(
        (-(-needed // holds[kind]) for holds, needed in inequalities if holds[kind]), default=0
    )


class _Axis:
    """Superadditive functions for one direction of the sheets.

    They need to be superadditive only up to the longest sheet in that direction.
    """

    def __init__(self, sheet_sides: Sequence[int], piece_sides: Sequence[int]) -> None:
        self._longest = max(sheet_sides)
        self._pieces = sorted(set(piece_sides))
        if len(self._pieces) > _MOST_SIDES:
            step = len(self._pieces) / _MOST_SIDES
            self._pieces = [self._pieces[int(i * step)] for i in range(_MOST_SIDES)]

    def functions(self) -> Iterator[_Function]:
        yield lambda x: x
        for side in self._pieces:
            yield self._counting(side)
        for side in self._pieces:
            if 2 * side <= self._longest:
                yield self._from_both_ends(side)
                yield self._all_or_nothing(side)

    @staticmethod
    def _counting(side: int) -> _Function:
        """⌊x / side⌋."""
        return lambda x: x // side

    def _from_both_ends(self, side: int) -> _Function:
        """Return f₁ of Carlier, Clautiaux and Moukrim (Computers & OR 34, 2007), doubled."""
        whole = self._longest

        def value(x: int) -> int:
            if 2 * x > whole:
                return 2 * (whole // side - (whole - x) // side)
            return whole // side if 2 * x == whole else 2 * (x // side)

        return value

    def _all_or_nothing(self, side: int) -> _Function:
        """Return U^ε of Fekete and Schepers (Mathematical Programming 91, 2001)."""
        whole = self._longest

        def value(x: int) -> int:
            if x > whole - side:
                return whole
            return x if x >= side else 0

        return value


class _Family:
    """All inequalities from pairs of functions, one for each direction."""

    def __init__(self, task: Task) -> None:
        self._shapes = [shape for shape in task.shapes if shape.wanted]
        all_turn = all(shape.turns or shape.same_turned for shape in self._shapes)
        # Where every piece may be turned, sheets may be looked at lying on their long side.
        self._kinds = [
            kind._replace(width=kind.height, height=kind.width)
            if all_turn and kind.height > kind.width
            else kind
            for kind in task.kinds
        ]
        self._divisions = [_divisions(shape) for shape in self._shapes]
        blocks = [block for ways in self._divisions for way in ways for block in way]
        wide = [width for width, _ in blocks]
        high = [height for _, height in blocks]
        if any(shape.turns for shape in self._shapes):
            wide = high = wide + high
        self._across = list(_Axis([k.width for k in self._kinds], wide).functions())
        self._down = list(_Axis([k.height for k in self._kinds], high).functions())
        self._tables: tuple[Matrix, Matrix, Matrix] | None = None

    def area(self) -> Inequality:
        return self._exact(self._across[0], self._down[0])

    def most_violated(self, sheets: Sequence[int]) -> Inequality | None:
        """Return the inequality that so many sheets of each kind break most, or None."""
        import numpy as np

        needed, across, down = self._tabled()
        held = (across * np.array(sheets, dtype=np.float64)) @ down.T
        with np.errstate(divide="ignore", invalid="ignore"):
            lack = np.where(needed > 0, needed / held, 0.0)
        for flat in np.argsort(-lack, axis=None, kind="stable")[:5]:
            f, g = divmod(int(flat), lack.shape[1])
            if lack[f, g] <= 1 + 1e-9:
                return None
            found = self._exact(self._across[f], self._down[g])
            if sum(v * n for v, n in zip(found.holds, sheets, strict=True)) < found.needed:
                return found
        return None

    def _tabled(self) -> tuple[Matrix, Matrix, Matrix]:
        """Return, as floats, what each pair needs, and f(W) and g(H) of each kind."""
        if self._tables is None:
            import numpy as np

            def table(functions: Sequence[_Function], sides: Sequence[int]) -> Matrix:
                return np.array([[f(x) for x in sides] for f in functions], dtype=np.float64)

            ways = [way for of_shape in self._divisions for way in of_shape]
            blocks = [block for way in ways for block in way]
            first_block = np.cumsum([0, *(len(way) for way in ways[:-1])])
            first_way = np.cumsum([0, *(len(of_shape) for of_shape in self._divisions[:-1])])
            fw, fh = (table(self._across, sides) for sides in zip(*blocks, strict=True))
            gw, gh = (table(self._down, sides) for sides in zip(*blocks, strict=True))
            wanted = np.array([shape.wanted for shape in self._shapes], dtype=np.float64)
            turns = np.array([shape.turns for shape in self._shapes])

            def weights(products: Matrix) -> Matrix:
                sums = np.add.reduceat(products, first_block, axis=1)
                return np.asarray(np.maximum.reduceat(sums, first_way, axis=1))

            needed = np.empty((len(fw), len(gw)))
            for row in range(len(fw)):
                upright, turned = weights(fw[row] * gh), weights(fh[row] * gw)
                needed[row] = np.where(turns, np.minimum(upright, turned), upright) @ wanted
            across = table(self._across, [kind.width for kind in self._kinds])
            down = table(self._down, [kind.height for kind in self._kinds])
            self._tables = needed, across, down
        return self._tables

    def _exact(self, f: _Function, g: _Function) -> Inequality:
        needed = sum(
            shape.wanted * _weight(shape, ways, f, g)
            for shape, ways in zip(self._shapes, self._divisions, strict=True)
        )
        holds = [f(kind.width) * g(kind.height) for kind in self._kinds]
        # Rounded so that the inequality only gets weaker, where numbers would outgrow the solver.
        scale = max(1, -(-max(needed, *holds) // _LARGEST))
        needed //= scale
        # In whole numbers a sheet that holds more than all that is needed is no better.
        return Inequality(tuple(min(needed, -(-one // scale)) for one in holds), needed)


_Division = tuple[tuple[int, int], ...]
"""Sides of disjoint rectangles that lie within what is solid of a piece."""


def _divisions(shape: Shape) -> tuple[_Division, ...]:
    if not shape.voids:
        return (((shape.width, shape.height),),)
    return tuple(
        tuple((block.width, block.height) for block in blocks)
        for blocks in (shape.rows(), shape.columns())
    )


def _weight(shape: Shape, ways: Sequence[_Division], f: _Function, g: _Function) -> int:
    upright = max(sum(f(width) * g(height) for width, height in way) for way in ways)
    if not shape.turns:
        return upright
    return min(upright, max(sum(f(high) * g(wide) for wide, high in way) for way in ways))
