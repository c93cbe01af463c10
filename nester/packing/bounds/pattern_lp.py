"""The linear programme over contents of sheets: what its dual values say, bounds make into proofs.

Sheets are cut in fractions, by contents that may be mixtures and more than any sheet holds (column
generation: Gilmore and Gomory, Operations Research 9, 1961).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

__all__ = ["SHORTAGE_PENALTY", "PatternLP"]

SHORTAGE_PENALTY = 10
"""A piece may be left out for so many times what its area costs on the dearest sheet."""
_STEPS_PER_COLUMN = 3
"""What solving a programme costs, in steps of filling (measured)."""


class PatternLP:
    """Sheets cut in fractions by known contents, so that each piece is made or left out.

    Attributes
    ----------
    steps
        What solving it has cost so far, in steps of filling.

    Parameters
    ----------
    prices
        Of a sheet of each kind.
    amends
        For leaving out one piece of each shape.
    further
        Prices of sheets of each kind beyond the limits; None if there are no more.
    """

    def __init__(
        self,
        prices: Sequence[float],
        amends: Sequence[float],
        further: Sequence[float | None] = (),
    ) -> None:
        self.prices = prices
        self._shortage_penalties = amends
        self._extra_sheet_prices = further
        self._columns: dict[tuple[int, tuple[tuple[int, float], ...]], Mapping[int, float]] = {}
        self.steps = 0
        self._build()

    def _build(self) -> None:
        from ortools.linear_solver import pywraplp

        self._solver = solver = pywraplp.Solver.CreateSolver("GLOP")
        endless = solver.infinity()
        self._demand_rows = [solver.Constraint(0.0, endless) for _ in self._shortage_penalties]
        self._supply_rows = [solver.Constraint(-endless, 0.0) for _ in self.prices]
        self._objective = solver.Objective()
        self._objective.SetMinimization()
        for amend, row in zip(self._shortage_penalties, self._demand_rows, strict=True):
            left_out = solver.NumVar(0.0, endless, "")
            row.SetCoefficient(left_out, 1.0)
            self._objective.SetCoefficient(left_out, amend)
        for kind, price in enumerate(self._extra_sheet_prices):
            if price is not None:
                more = solver.NumVar(0.0, endless, "")
                self._supply_rows[kind].SetCoefficient(more, -1.0)
                self._objective.SetCoefficient(more, price)
        for (kind, _), content in self._columns.items():
            self._create_column(kind, content)

    def add_column(self, kind: int, content: Mapping[int, float]) -> bool:
        """Let sheets of a kind be cut by one more content; say whether it is new."""
        key = kind, tuple(sorted(content.items()))
        if key in self._columns:
            return False
        self._columns[key] = content
        self._create_column(kind, content)
        return True

    def _create_column(self, kind: int, content: Mapping[int, float]) -> None:
        column = self._solver.NumVar(0.0, self._solver.infinity(), "")
        self._objective.SetCoefficient(column, self.prices[kind])
        self._supply_rows[kind].SetCoefficient(column, 1.0)
        for shape, number in content.items():
            self._demand_rows[shape].SetCoefficient(column, float(number))

    def solve(self, limits: Sequence[int], made: Sequence[int]) -> tuple[float, list[float]]:
        """Return the least paid for so many of each shape from so many sheets, and dual values.

        Nothing at all where the solver fails in its numbers, also from a new start.
        """
        self.steps += _STEPS_PER_COLUMN * len(self._columns)
        for again in (False, True):
            if again:
                self._build()
            for row, number in zip(self._demand_rows, made, strict=True):
                row.SetLb(float(number))
            for row, number in zip(self._supply_rows, limits, strict=True):
                row.SetUb(float(number))
            if self._solver.Solve() == self._solver.OPTIMAL:
                return self._objective.Value(), [
                    max(0.0, row.dual_value()) for row in self._demand_rows
                ]
        return 0.0, [0.0] * len(self._demand_rows)
