"""The dual value of each piece: the restricted master of column generation.

The covering LP over the patterns so far (`bounds/pattern_lp.py`): its dual values are the prices by
which new patterns are sought (Gilmore and Gomory, Operations Research 9, 1961, and 13, 1965).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from nester.packing.bounds.pattern_lp import PatternLP
from nester.packing.task.task import Pattern, Task

__all__ = ["ColumnValue", "DualValues", "RestrictedMaster"]

_MAX_COLUMNS = 1500
_KEPT_COLUMNS = 600
_STEPS_PER_COLUMN = 3
"""What solving costs beside filling, in steps of filling (measured), with few item types."""
_FEW_ITEM_TYPES = 50
_LEAST_PENALTY = 1e-6


class DualValues(NamedTuple):
    """Dual values of one piece of each item type, and the cost of one sheet of each bin type.

    The cost is the sheet's price plus the dual value of its limited number.
    """

    item_duals: tuple[float, ...]
    bin_costs: tuple[float, ...]


class ColumnValue(NamedTuple):
    """A pattern, the items it makes, and how many sheets the LP cuts by it."""

    pattern: Pattern
    counts: dict[int, int]
    value: float


class RestrictedMaster:
    """The covering LP for what is still to be made; patterns are added as they are found."""

    def __init__(self, task: Task) -> None:
        self._task = task
        self._lp = PatternLP.minimal_cost(task, _LEAST_PENALTY)
        self._columns: list[tuple[Pattern, dict[int, int]]] = []
        self._demand = list(task.demand)
        self._stock = [task.max_sheets(bin_type) for bin_type in range(len(task.bin_types))]
        self.steps = 0

    def add_column(self, pattern: Pattern, counts: dict[int, int]) -> None:
        """Let sheets be cut by one more pattern, unless another makes the same of the same."""
        if self._lp.add_column(pattern.bin_type, counts):
            self._columns.append((pattern, counts))

    def set_demand(self, demand: Sequence[int], stock: Sequence[int]) -> None:
        """Set how many of each item type are still to be made, and how many sheets there are."""
        self._demand, self._stock = list(demand), list(stock)

    def dual_values(self) -> DualValues:
        """Solve, and return the dual values; if columns are many, those too dear are dropped."""
        if not self._solve():
            return self._duals_by_area()
        bin_costs = tuple(
            price - dual for price, dual in zip(self._lp.prices, self._lp.bin_duals(), strict=True)
        )
        duals = DualValues(tuple(self._lp.item_duals()), bin_costs)
        if len(self._columns) > _MAX_COLUMNS:
            self._purge_columns(duals)
        return duals

    def _duals_by_area(self) -> DualValues:
        """Price pieces by their area alone, where the LP can't be solved."""
        prices = self._lp.prices
        rate = min(
            price / sheet.area for price, sheet in zip(prices, self._task.bin_types, strict=True)
        )
        return DualValues(tuple(rate * item.area for item in self._task.item_types), tuple(prices))

    def primal_solution(self) -> list[ColumnValue]:
        """Solve, and return the patterns that are used, in the order in which they were added."""
        if not self._solve():
            return []
        return [
            ColumnValue(pattern, counts, sheets)
            for (pattern, counts), sheets in zip(
                self._columns, self._lp.column_values(), strict=True
            )
            if sheets > 1e-6
        ]

    def _solve(self) -> bool:
        size_factor = max(1, len(self._demand) // _FEW_ITEM_TYPES)
        self.steps += _STEPS_PER_COLUMN * size_factor * len(self._columns)
        return self._lp.optimize(self._stock, self._demand)

    def _purge_columns(self, duals: DualValues) -> None:
        kept = sorted(self._by_reduced_cost(duals)[:_KEPT_COLUMNS])
        self._columns = [self._columns[index] for index in kept]
        self._lp.keep_columns(kept)

    def _by_reduced_cost(self, duals: DualValues) -> list[int]:
        """Return the columns by their reduced cost, the least first."""

        def reduced_cost(index: int) -> float:
            pattern, counts = self._columns[index]
            return duals.bin_costs[pattern.bin_type] - sum(
                duals.item_duals[item] * count for item, count in counts.items()
            )

        return sorted(range(len(self._columns)), key=reduced_cost)

    def least_reduced_cost(self, number: int) -> list[tuple[Pattern, dict[int, int]]]:
        """Solve, and return a number of patterns of least reduced cost with the items they make."""
        return [
            self._columns[index] for index in self._by_reduced_cost(self.dual_values())[:number]
        ]
