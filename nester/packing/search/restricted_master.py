"""What each piece is worth at the margin: the linear program over known patterns.

Least cost of sheets, cut in fractions by the patterns so far, such that every piece is made and
no more sheets of a bin type are used than there are.  Its dual values are the prices by which new
patterns are sought (Gilmore and Gomory, Operations Research 9, 1961, and 13, 1965).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

from nester.packing.task.task import Pattern, Task

__all__ = ["ColumnValue", "DualValues", "RestrictedMaster"]

_MAX_COLUMNS = 1500
_KEPT_COLUMNS = 600
_STEPS_PER_COLUMN = 3
"""What solving costs beside filling, in steps of filling (measured), with few item types."""
_FEW_ITEM_TYPES = 50


class DualValues(NamedTuple):
    """Dual values: worth of one piece of each item type, and what one sheet of a bin type costs.

    The cost is the sheet's price and what it is worth that there are no more of them.
    """

    item_duals: tuple[float, ...]
    bin_costs: tuple[float, ...]


class ColumnValue(NamedTuple):
    """A pattern, the item types it makes, and how many sheets the program cuts by it."""

    pattern: Pattern
    counts: dict[int, int]
    value: float


class RestrictedMaster:
    """The linear program, solved by GLOP; patterns are added as they are found."""

    def __init__(self, task: Task) -> None:
        self._task = task
        self._columns: list[tuple[Pattern, dict[int, int]]] = []
        self._price_scale = max(1, max(sheet_type.price for sheet_type in task.bin_types))
        self._demand = list(task.demand)
        self._stock = [task.max_sheets(bin_type) for bin_type in range(len(task.bin_types))]
        self.steps = 0
        self._build()

    def _build(self) -> None:
        from ortools.linear_solver import pywraplp

        self._solver = solver = pywraplp.Solver.CreateSolver("GLOP")
        infinity = solver.infinity()
        self._demand_rows = [solver.Constraint(float(number), infinity) for number in self._demand]
        self._supply_rows = [solver.Constraint(-infinity, float(number)) for number in self._stock]
        self._objective = solver.Objective()
        self._objective.SetMinimization()
        # A piece may be left out for ten times what its area costs on the dearest sheet.
        penalty_rate = (
            10
            * max(sheet_type.price / sheet_type.area for sheet_type in self._task.bin_types)
            / self._price_scale
        )
        for item, row in zip(self._task.item_types, self._demand_rows, strict=True):
            shortage = solver.NumVar(0.0, infinity, "")
            row.SetCoefficient(shortage, 1.0)
            self._objective.SetCoefficient(shortage, penalty_rate * item.area + 1e-6)
        self._variables = [
            self._create_column(pattern, counts) for pattern, counts in self._columns
        ]

    def _create_column(self, pattern: Pattern, counts: dict[int, int]) -> Any:
        column = self._solver.NumVar(0.0, self._solver.infinity(), "")
        price = self._task.bin_types[pattern.bin_type].price
        self._objective.SetCoefficient(column, price / self._price_scale)
        self._supply_rows[pattern.bin_type].SetCoefficient(column, 1.0)
        for item_type, number in counts.items():
            self._demand_rows[item_type].SetCoefficient(column, float(number))
        return column

    def add_column(self, pattern: Pattern, counts: dict[int, int]) -> None:
        """Let the program cut sheets by one more pattern."""
        self._columns.append((pattern, counts))
        self._variables.append(self._create_column(pattern, counts))

    def set_demand(self, demand: Sequence[int], stock: Sequence[int]) -> None:
        """Set how many of each item type are still to be made, and how many sheets there are."""
        self._demand, self._stock = list(demand), list(stock)
        for row, number in zip(self._demand_rows, demand, strict=True):
            row.SetLb(float(number))
        for row, number in zip(self._supply_rows, stock, strict=True):
            row.SetUb(float(number))

    def dual_values(self) -> DualValues:
        """Solve, and return the dual values; columns too dear to matter are put out if many."""
        if not self._solve():
            return self._duals_by_area()
        item_duals = tuple(max(0.0, row.dual_value()) for row in self._demand_rows)
        bin_costs = tuple(
            sheet_type.price / self._price_scale - min(0.0, row.dual_value())
            for sheet_type, row in zip(self._task.bin_types, self._supply_rows, strict=True)
        )
        duals = DualValues(item_duals, bin_costs)
        if len(self._columns) > _MAX_COLUMNS:
            self._purge_columns(duals)
        return duals

    def _duals_by_area(self) -> DualValues:
        """Price pieces by their area alone, where the program can't be solved."""
        bin_types = self._task.bin_types
        bin_costs = tuple(sheet_type.price / self._price_scale for sheet_type in bin_types)
        rate = min(
            price / sheet_type.area for price, sheet_type in zip(bin_costs, bin_types, strict=True)
        )
        return DualValues(tuple(rate * item.area for item in self._task.item_types), bin_costs)

    def primal_solution(self) -> list[ColumnValue]:
        """Solve, and return the patterns that are used, in the order in which they were added."""
        if not self._solve():
            return []
        return [
            ColumnValue(pattern, counts, sheets)
            for (pattern, counts), column in zip(self._columns, self._variables, strict=True)
            if (sheets := column.solution_value()) > 1e-6
        ]

    def _solve(self) -> bool:
        """Solve from where the last time ended; if that fails in its numbers, from nothing."""
        size_factor = max(1, len(self._demand_rows) // _FEW_ITEM_TYPES)
        self.steps += _STEPS_PER_COLUMN * size_factor * len(self._columns)
        if self._solver.Solve() == self._solver.OPTIMAL:
            return True
        self._build()
        return bool(self._solver.Solve() == self._solver.OPTIMAL)

    def _purge_columns(self, duals: DualValues) -> None:
        kept = sorted(self._by_reduced_cost(duals)[:_KEPT_COLUMNS])
        self._columns = [self._columns[index] for index in kept]
        self._build()

    def _by_reduced_cost(self, duals: DualValues) -> list[int]:
        """Return the columns by their reduced cost, the least first."""

        def reduced_cost(index: int) -> float:
            pattern, counts = self._columns[index]
            return duals.bin_costs[pattern.bin_type] - sum(
                duals.item_duals[s] * n for s, n in counts.items()
            )

        return sorted(range(len(self._columns)), key=reduced_cost)

    def least_reduced_cost(self, number: int) -> list[tuple[Pattern, dict[int, int]]]:
        """Solve, and return the patterns of least reduced cost, each with its pieces."""
        return [
            self._columns[index] for index in self._by_reduced_cost(self.dual_values())[:number]
        ]
