"""Programmes in whole numbers of things bought and made, solved by SCIP.

Such programmes are close to linear ones, and branch and bound on those closes them quickly, where
CP-SAT, which reasons about what can't be, does not.  Effort is counted in nodes of the search, so
that the same programme has the same answer.

SCIP computes with floats.  All coefficients are whole and small enough to be exact in them; the
bound that it gives is taken down by far more than its error before it is rounded up to the next
whole number.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from math import ceil
from typing import Any, NamedTuple

from nester.packing.runtime.cp_sat import interruptible
from nester.packing.runtime.stop import Stop, never

__all__ = ["LinearExpression", "MipSolution", "MixedIntegerProgram", "Variable"]

_BOUND_ERROR, _RELATIVE_BOUND_ERROR = 1e-3, 1e-8
"""What a bound is taken down by, and by which share of itself."""

Variable = int
"""A whole number of zero or more that is to be chosen, by its index."""
LinearExpression = list[tuple[int, Variable]]
"""Numbers to be chosen, each times a factor."""


class MipSolution(NamedTuple):
    """What the solver said.

    Attributes
    ----------
    values
        Of each number, exact; None if it found no choice.
    bound
        No choice has a smaller sum.
    infeasible
        Whether it proved that there is no choice.
    """

    values: Mapping[Variable, Fraction] | None
    bound: int
    infeasible: bool


class MixedIntegerProgram:
    """Whole numbers that keep to inequalities between their sums."""

    def __init__(self) -> None:
        from ortools.linear_solver import pywraplp

        self._solver = pywraplp.Solver.CreateSolver("SCIP")
        self._variables: list[Any] = []

    def add_variable(self, upper_bound: int) -> Variable:
        """Return a new number from zero to an upper bound."""
        self._variables.append(self._solver.IntVar(0, upper_bound, ""))
        return len(self._variables) - 1

    def add_at_least(self, terms: Sequence[tuple[int, Variable]], lower_bound: int) -> None:
        """Ask that a sum be so large or larger; no number is in it twice."""
        row = self._solver.Constraint(float(lower_bound), self._solver.infinity())
        for factor, variable in terms:
            row.SetCoefficient(self._variables[variable], float(factor))

    def minimize(
        self,
        total: LinearExpression,
        nodes: int,
        stop: Stop = never,
        *,
        near: float = 0.0,
        sharp: bool = False,
    ) -> MipSolution:
        """Make a sum that can't be negative as small as can be.

        Parameters
        ----------
        total
            A number may be in it twice.
        nodes
            Nodes of the search at most.
        near
            A sum is small enough if it is larger than its bound by no more than such a share.
        sharp
            Whether to cut off parts of one (by cutting planes) as much as SCIP likes: slower, but
            fewer nodes do.
        """
        solver = self._solver
        factors: dict[Variable, int] = {}
        for factor, variable in total:
            factors[variable] = factors.get(variable, 0) + factor
        objective = solver.Objective()
        objective.SetMinimization()
        for variable, factor in factors.items():
            objective.SetCoefficient(self._variables[variable], float(factor))
        status = self._solve(nodes, near, stop, sharp)
        if status not in (solver.OPTIMAL, solver.FEASIBLE):
            return MipSolution(None, 0, status == solver.INFEASIBLE)
        values = {
            i: Fraction(round(solver_variable.solution_value()))
            for i, solver_variable in enumerate(self._variables)
        }
        found = int(sum(factor * values[variable] for variable, factor in factors.items()))
        bound = float(objective.BestBound())
        lower_bound = 0
        if abs(bound) < float("inf"):
            lower_bound = max(0, ceil(bound - _BOUND_ERROR - abs(bound) * _RELATIVE_BOUND_ERROR))
        return MipSolution(values, min(lower_bound, found), False)

    def _solve(self, nodes: int, near: float, stop: Stop, sharp: bool) -> int:
        few_cuts = "separating/maxroundsroot = 3\nseparating/maxrounds = 0\n"
        self._solver.SetSolverSpecificParametersAsString(
            f"limits/nodes = {nodes}\nlimits/gap = {near}\nmisc/catchctrlc = FALSE\n"
            + ("" if sharp else few_cuts)
        )
        return int(interruptible(self._solver.Solve, self._solver.InterruptSolve, stop))
