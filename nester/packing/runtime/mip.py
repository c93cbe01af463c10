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

    def add_variable(self, most: int) -> Variable:
        """Return a new number from none to so many."""
        self._variables.append(self._solver.IntVar(0, most, ""))
        return len(self._variables) - 1

    def add_at_least(self, total: Sequence[tuple[int, Variable]], least: int) -> None:
        """Ask that a sum be so large or larger; no number is in it twice."""
        row = self._solver.Constraint(float(least), self._solver.infinity())
        for factor, number in total:
            row.SetCoefficient(self._variables[number], float(factor))

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
        for factor, number in total:
            factors[number] = factors.get(number, 0) + factor
        aim = solver.Objective()
        aim.SetMinimization()
        for number, factor in factors.items():
            aim.SetCoefficient(self._variables[number], float(factor))
        status = self._solve(nodes, near, stop, sharp)
        if status not in (solver.OPTIMAL, solver.FEASIBLE):
            return MipSolution(None, 0, status == solver.INFEASIBLE)
        value = {i: Fraction(round(one.solution_value())) for i, one in enumerate(self._variables)}
        found = int(sum(factor * value[number] for number, factor in factors.items()))
        bound = float(aim.BestBound())
        least = 0
        if abs(bound) < float("inf"):
            least = max(0, ceil(bound - _BOUND_ERROR - abs(bound) * _RELATIVE_BOUND_ERROR))
        return MipSolution(value, min(least, found), False)

    def _solve(self, nodes: int, near: float, stop: Stop, sharp: bool) -> int:
        few = "separating/maxroundsroot = 3\nseparating/maxrounds = 0\n"
        self._solver.SetSolverSpecificParametersAsString(
            f"limits/nodes = {nodes}\nlimits/gap = {near}\nmisc/catchctrlc = FALSE\n"
            + ("" if sharp else few)
        )
        return int(interruptible(self._solver.Solve, self._solver.InterruptSolve, stop))
