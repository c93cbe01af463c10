"""What each piece is worth at the margin: the linear programme over known layouts.

Least cost of sheets, cut in fractions by the layouts so far, such that every piece is made and
no more sheets of a kind are used than there are.  Its dual values are the prices by which new
layouts are sought (Gilmore and Gomory, Operations Research 9, 1961, and 13, 1965).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

from nester.packing.task.task import Pattern, Task

__all__ = ["ColumnValue", "DualValues", "RestrictedMaster"]

_MAX_COLUMNS = 1500
_KEPT_COLUMNS = 600
_STEPS_PER_COLUMN = 3
"""What solving costs beside filling, in steps of filling (measured), with few shapes."""
_FEW_ITEM_TYPES = 50


class DualValues(NamedTuple):
    """Dual values: worth of one piece of each shape, and what one sheet of a kind costs.

    The cost is the sheet's price and what it is worth that there are no more of them.
    """

    item_duals: tuple[float, ...]
    bin_costs: tuple[float, ...]


class ColumnValue(NamedTuple):
    """A layout, the shapes it makes, and how many sheets the programme cuts by it."""

    pattern: Pattern
    counts: dict[int, int]
    value: float


class RestrictedMaster:
    """The linear programme, solved by GLOP; layouts are added as they are found."""

    def __init__(self, task: Task) -> None:
        self._task = task
        self._columns: list[tuple[Pattern, dict[int, int]]] = []
        self._price_scale = max(1, max(kind.price for kind in task.bin_types))
        self._demand = list(task.demand)
        self._stock = [task.max_sheets(kind) for kind in range(len(task.bin_types))]
        self.steps = 0
        self._build()

    def _build(self) -> None:
        from ortools.linear_solver import pywraplp

        self._solver = solver = pywraplp.Solver.CreateSolver("GLOP")
        endless = solver.infinity()
        self._demand_rows = [solver.Constraint(float(number), endless) for number in self._demand]
        self._supply_rows = [solver.Constraint(-endless, float(number)) for number in self._stock]
        self._objective = solver.Objective()
        self._objective.SetMinimization()
        # A piece may be left out for ten times what its area costs on the dearest sheet.
        dear = 10 * max(kind.price / kind.area for kind in self._task.bin_types) / self._price_scale
        for shape, row in zip(self._task.item_types, self._demand_rows, strict=True):
            left_out = solver.NumVar(0.0, endless, "")
            row.SetCoefficient(left_out, 1.0)
            self._objective.SetCoefficient(left_out, dear * shape.area + 1e-6)
        self._variables = [
            self._create_column(pattern, counts) for pattern, counts in self._columns
        ]

    def _create_column(self, pattern: Pattern, counts: dict[int, int]) -> Any:
        column = self._solver.NumVar(0.0, self._solver.infinity(), "")
        price = self._task.bin_types[pattern.bin_type].price
        self._objective.SetCoefficient(column, price / self._price_scale)
        self._supply_rows[pattern.bin_type].SetCoefficient(column, 1.0)
        for shape, number in counts.items():
            self._demand_rows[shape].SetCoefficient(column, float(number))
        return column

    def add_column(self, pattern: Pattern, counts: dict[int, int]) -> None:
        """Let the programme cut sheets by one more layout."""
        self._columns.append((pattern, counts))
        self._variables.append(self._create_column(pattern, counts))

    def set_demand(self, left: Sequence[int], stock: Sequence[int]) -> None:
        """Set how many of each shape are still to be made, and how many sheets there are."""
        self._demand, self._stock = list(left), list(stock)
        for row, number in zip(self._demand_rows, left, strict=True):
            row.SetLb(float(number))
        for row, number in zip(self._supply_rows, stock, strict=True):
            row.SetUb(float(number))

    def dual_values(self) -> DualValues:
        """Solve, and return the dual values; columns too dear to matter are put out if many."""
        if not self._solve():
            return self._duals_by_area()
        worth = tuple(max(0.0, row.dual_value()) for row in self._demand_rows)
        cost = tuple(
            kind.price / self._price_scale - min(0.0, row.dual_value())
            for kind, row in zip(self._task.bin_types, self._supply_rows, strict=True)
        )
        prices = DualValues(worth, cost)
        if len(self._columns) > _MAX_COLUMNS:
            self._purge_columns(prices)
        return prices

    def _duals_by_area(self) -> DualValues:
        """Price pieces by their area alone, where the programme can't be solved."""
        kinds = self._task.bin_types
        cost = tuple(kind.price / self._price_scale for kind in kinds)
        rate = min(price / kind.area for price, kind in zip(cost, kinds, strict=True))
        return DualValues(tuple(rate * shape.area for shape in self._task.item_types), cost)

    def primal_solution(self) -> list[ColumnValue]:
        """Solve, and return the layouts that are used, in the order in which they were added."""
        if not self._solve():
            return []
        return [
            ColumnValue(pattern, counts, sheets)
            for (pattern, counts), column in zip(self._columns, self._variables, strict=True)
            if (sheets := column.solution_value()) > 1e-6
        ]

    def _solve(self) -> bool:
        """Solve from where the last time ended; if that fails in its numbers, from nothing."""
        many = max(1, len(self._demand_rows) // _FEW_ITEM_TYPES)
        self.steps += _STEPS_PER_COLUMN * many * len(self._columns)
        if self._solver.Solve() == self._solver.OPTIMAL:
            return True
        self._build()
        return bool(self._solver.Solve() == self._solver.OPTIMAL)

    def _purge_columns(self, prices: DualValues) -> None:
        kept = sorted(self._by_reduced_cost(prices)[:_KEPT_COLUMNS])
        self._columns = [self._columns[index] for index in kept]
        self._build()

    def _by_reduced_cost(self, prices: DualValues) -> list[int]:
        """Return the columns by their reduced cost, the least first."""

        def dearness(index: int) -> float:
            pattern, counts = self._columns[index]
            return prices.bin_costs[pattern.bin_type] - sum(
                prices.item_duals[s] * n for s, n in counts.items()
            )

        return sorted(range(len(self._columns)), key=dearness)

    def least_reduced_cost(self, number: int) -> list[tuple[Pattern, dict[int, int]]]:
        """Solve, and return so many layouts of least reduced cost with the shapes they make."""
        return [
            self._columns[index] for index in self._by_reduced_cost(self.dual_values())[:number]
        ]
