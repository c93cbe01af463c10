"""What each piece is worth at the margin: the linear programme over known layouts.

Least cost of sheets, cut in fractions by the layouts so far, such that every piece is made and
no more sheets of a kind are used than there are.  Its dual values are the prices by which new
layouts are sought (Gilmore and Gomory, Operations Research 9, 1961, and 13, 1965).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

from nester.packing.task.task import Pattern, Task

__all__ = ["Master", "Prices", "Use"]

_MOST_COLUMNS = 1500
_FEWEST_COLUMNS = 600
_STEPS_A_COLUMN = 3
"""What solving costs beside filling, in steps of filling (measured), with few shapes."""
_FEW_SHAPES = 50


class Prices(NamedTuple):
    """Dual values: worth of one piece of each shape, and what one sheet of a kind costs.

    The cost is the sheet's price and what it is worth that there are no more of them.
    """

    worth: tuple[float, ...]
    cost: tuple[float, ...]


class Use(NamedTuple):
    """A layout, the shapes it makes, and how many sheets the programme cuts by it."""

    pattern: Pattern
    counts: dict[int, int]
    sheets: float


class Master:
    """The linear programme, solved by GLOP; layouts are added as they are found."""

    def __init__(self, task: Task) -> None:
        self._task = task
        self._columns: list[tuple[Pattern, dict[int, int]]] = []
        self._unit = max(1, max(kind.price for kind in task.kinds))
        self._left = list(task.demand)
        self._stock = [task.most_of(kind) for kind in range(len(task.kinds))]
        self.steps = 0
        self._build()

    def _build(self) -> None:
        from ortools.linear_solver import pywraplp

        self._solver = solver = pywraplp.Solver.CreateSolver("GLOP")
        endless = solver.infinity()
        self._cover = [solver.Constraint(float(number), endless) for number in self._left]
        self._limit = [solver.Constraint(-endless, float(number)) for number in self._stock]
        self._aim = solver.Objective()
        self._aim.SetMinimization()
        # A piece may be left out for ten times what its area costs on the dearest sheet.
        dear = 10 * max(kind.price / kind.area for kind in self._task.kinds) / self._unit
        for shape, row in zip(self._task.shapes, self._cover, strict=True):
            left_out = solver.NumVar(0.0, endless, "")
            row.SetCoefficient(left_out, 1.0)
            self._aim.SetCoefficient(left_out, dear * shape.area + 1e-6)
        self._sheets = [self._column(pattern, counts) for pattern, counts in self._columns]

    def _column(self, pattern: Pattern, counts: dict[int, int]) -> Any:
        column = self._solver.NumVar(0.0, self._solver.infinity(), "")
        price = self._task.kinds[pattern.kind].price
        self._aim.SetCoefficient(column, price / self._unit)
        self._limit[pattern.kind].SetCoefficient(column, 1.0)
        for shape, number in counts.items():
            self._cover[shape].SetCoefficient(column, float(number))
        return column

    def add(self, pattern: Pattern, counts: dict[int, int]) -> None:
        """Let the programme cut sheets by one more layout."""
        self._columns.append((pattern, counts))
        self._sheets.append(self._column(pattern, counts))

    def want(self, left: Sequence[int], stock: Sequence[int]) -> None:
        """Set how many of each shape are still to be made, and how many sheets there are."""
        self._left, self._stock = list(left), list(stock)
        for row, number in zip(self._cover, left, strict=True):
            row.SetLb(float(number))
        for row, number in zip(self._limit, stock, strict=True):
            row.SetUb(float(number))

    def prices(self) -> Prices:
        """Solve, and return the dual values; columns too dear to matter are put out if many."""
        if not self._solve():
            return self._by_area()
        worth = tuple(max(0.0, row.dual_value()) for row in self._cover)
        cost = tuple(
            kind.price / self._unit - min(0.0, row.dual_value())
            for kind, row in zip(self._task.kinds, self._limit, strict=True)
        )
        prices = Prices(worth, cost)
        if len(self._columns) > _MOST_COLUMNS:
            self._slim(prices)
        return prices

    def _by_area(self) -> Prices:
        """Price pieces by their area alone, where the programme can't be solved."""
        kinds = self._task.kinds
        cost = tuple(kind.price / self._unit for kind in kinds)
        rate = min(price / kind.area for price, kind in zip(cost, kinds, strict=True))
        return Prices(tuple(rate * shape.area for shape in self._task.shapes), cost)

    def uses(self) -> list[Use]:
        """Solve, and return the layouts that are used, in the order in which they were added."""
        if not self._solve():
            return []
        return [
            Use(pattern, counts, sheets)
            for (pattern, counts), column in zip(self._columns, self._sheets, strict=True)
            if (sheets := column.solution_value()) > 1e-6
        ]

    def _solve(self) -> bool:
        """Solve from where the last time ended; if that fails in its numbers, from nothing."""
        many = max(1, len(self._cover) // _FEW_SHAPES)
        self.steps += _STEPS_A_COLUMN * many * len(self._columns)
        if self._solver.Solve() == self._solver.OPTIMAL:
            return True
        self._build()
        return bool(self._solver.Solve() == self._solver.OPTIMAL)

    def _slim(self, prices: Prices) -> None:
        kept = sorted(self._ranked(prices)[:_FEWEST_COLUMNS])
        self._columns = [self._columns[index] for index in kept]
        self._build()

    def _ranked(self, prices: Prices) -> list[int]:
        """Return the columns by their reduced cost, the least first."""

        def dearness(index: int) -> float:
            pattern, counts = self._columns[index]
            return prices.cost[pattern.kind] - sum(prices.worth[s] * n for s, n in counts.items())

        return sorted(range(len(self._columns)), key=dearness)

    def cheapest(self, number: int) -> list[tuple[Pattern, dict[int, int]]]:
        """Solve, and return so many layouts of least reduced cost with the shapes they make."""
        return [self._columns[index] for index in self._ranked(self.prices())[:number]]
