"""The covering LP over known patterns, which both the search and the bounds solve.

The LP relaxation of cutting stock: sheets are cut in fractions by the known patterns, so that every
piece is made or a penalty is paid for it, at least cost (Gilmore and Gomory, Operations Research 9,
1961).  Only the patterns found so far are its columns; its dual values price the search for better
ones.

The search wants good plans, and all of its columns are real patterns.  The bounds want proofs from
the dual values alone, so their columns may also be mixtures, or hold more than any sheet does.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from nester.packing.task.task import Task

__all__ = ["SHORTAGE_PENALTY", "PatternLP"]

SHORTAGE_PENALTY = 10
"""Leaving out a piece costs this many times what its area costs on the dearest sheet."""
_STEPS_PER_COLUMN = 3
"""What solving the LP costs, in steps of filling (measured)."""

_Column = tuple[int, Mapping[int, float]]
"""A bin type, and how many of each item type one sheet of it makes."""


class PatternLP:
    """Least cost of sheets, cut in fractions by known patterns; solved by GLOP.

    One row for each item type: pieces made plus pieces left out cover the demand.  One row for each
    bin type: sheets used less extra sheets keep to the supply.

    Attributes
    ----------
    steps
        What `solve` has cost so far, in steps of filling.

    Parameters
    ----------
    prices
        Of a sheet of each bin type.
    shortage_penalties
        For leaving out one piece of each item type.
    extra_sheet_prices
        Of a sheet of each bin type beyond the supply; None if there are no more.
    """

    def __init__(
        self,
        prices: Sequence[float],
        shortage_penalties: Sequence[float],
        extra_sheet_prices: Sequence[float | None] = (),
    ) -> None:
        self.prices = prices
        self._shortage_penalties = shortage_penalties
        self._extra_sheet_prices = extra_sheet_prices
        self._columns: dict[tuple[int, tuple[tuple[int, float], ...]], _Column] = {}
        self.steps = 0
        self._build()

    @classmethod
    def minimal_cost(cls, task: Task, least_penalty: float = 0.0) -> PatternLP:
        """Return the LP for a task's own prices, as parts of the dearest.

        Parameters
        ----------
        least_penalty
            Added to each penalty, so that leaving out a piece costs something on free sheets too.
        """
        dearest = max(1, *(sheet.price for sheet in task.bin_types))
        rate = (
            SHORTAGE_PENALTY * max(sheet.price / sheet.area for sheet in task.bin_types) / dearest
        )
        return cls(
            [sheet.price / dearest for sheet in task.bin_types],
            [rate * item.area + least_penalty for item in task.item_types],
        )

    def __len__(self) -> int:
        return len(self._columns)

    def _build(self) -> None:
        from ortools.linear_solver import pywraplp

        self._solver = solver = pywraplp.Solver.CreateSolver("GLOP")
        infinity = solver.infinity()
        self._demand_rows = [solver.Constraint(0.0, infinity) for _ in self._shortage_penalties]
        self._supply_rows = [solver.Constraint(-infinity, 0.0) for _ in self.prices]
        self._objective = solver.Objective()
        self._objective.SetMinimization()
        for penalty, row in zip(self._shortage_penalties, self._demand_rows, strict=True):
            shortage = solver.NumVar(0.0, infinity, "")
            row.SetCoefficient(shortage, 1.0)
            self._objective.SetCoefficient(shortage, penalty)
        for bin_type, price in enumerate(self._extra_sheet_prices):
            if price is not None:
                extra = solver.NumVar(0.0, infinity, "")
                self._supply_rows[bin_type].SetCoefficient(extra, -1.0)
                self._objective.SetCoefficient(extra, price)
        self._variables = [
            self._create_column(bin_type, counts) for bin_type, counts in self._columns.values()
        ]

    def _create_column(self, bin_type: int, counts: Mapping[int, float]) -> Any:
        sheets = self._solver.NumVar(0.0, self._solver.infinity(), "")
        self._objective.SetCoefficient(sheets, self.prices[bin_type])
        self._supply_rows[bin_type].SetCoefficient(sheets, 1.0)
        for item_type, count in counts.items():
            self._demand_rows[item_type].SetCoefficient(sheets, float(count))
        return sheets

    def add_column(self, bin_type: int, counts: Mapping[int, float]) -> bool:
        """Let sheets be cut by one more pattern; return whether it is new."""
        key = bin_type, tuple(sorted(counts.items()))
        if key in self._columns:
            return False
        self._columns[key] = bin_type, counts
        self._variables.append(self._create_column(bin_type, counts))
        return True

    def keep_columns(self, numbers: Iterable[int]) -> None:
        """Drop all columns but these, by their numbers in the order in which they were added."""
        columns = list(self._columns.items())
        self._columns = dict(columns[number] for number in numbers)
        self._build()

    def optimize(self, supply: Sequence[int], demand: Sequence[int]) -> bool:
        """Solve for some sheets and pieces of each type; return whether an optimum was found.

        GLOP starts from the basis of the last call.  Should it fail numerically, the LP is built
        again and solved from scratch.
        """
        for is_retry in (False, True):
            if is_retry:
                self._build()
            for row, number in zip(self._demand_rows, demand, strict=True):
                row.SetLb(float(number))
            for row, number in zip(self._supply_rows, supply, strict=True):
                row.SetUb(float(number))
            if self._solver.Solve() == self._solver.OPTIMAL:
                return True
        return False

    def solve(self, supply: Sequence[int], demand: Sequence[int]) -> tuple[float, list[float]]:
        """Return the least cost and the dual values of the pieces; all zero if GLOP fails."""
        self.steps += _STEPS_PER_COLUMN * len(self._columns)
        if self.optimize(supply, demand):
            return self._objective.Value(), self.item_duals()
        return 0.0, [0.0] * len(self._demand_rows)

    def item_duals(self) -> list[float]:
        """Return what one more piece of each item type would cost, at the optimum."""
        return [max(0.0, row.dual_value()) for row in self._demand_rows]

    def bin_duals(self) -> list[float]:
        """Return what one more sheet of each bin type would change the cost by: zero or less."""
        return [min(0.0, row.dual_value()) for row in self._supply_rows]

    def column_values(self) -> list[float]:
        """Return how many sheets are cut by each column at the optimum, in the order added."""
        return [sheets.solution_value() for sheets in self._variables]
