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

__all__ = ["Chosen", "Number", "Programme", "Sum"]

_ERROR, _SHARE_OF_ERROR = 1e-3, 1e-8
"""What a bound is taken down by, and by which share of itself."""

Number = int
"""A whole number of zero or more that is to be chosen, by its index."""
Sum = list[tuple[int, Number]]
"""Numbers to be chosen, each times a factor."""


class Chosen(NamedTuple):
    """What the solver said.

    Attributes
    ----------
    value
        Of each number, exact; None if it found no choice.
    bound
        No choice has a smaller sum.
    impossible
        Whether it proved that there is no choice.
    """

    value: Mapping[Number, Fraction] | None
    bound: int
    impossible: bool


class Programme:
    """Whole numbers that keep to inequalities between their sums."""

    def __init__(self) -> None:
        from ortools.linear_solver import pywraplp

        self._solver = pywraplp.Solver.CreateSolver("SCIP")
        self._numbers: list[Any] = []

    def number(self, most: int) -> Number:
        """Return a new number from none to so many."""
        self._numbers.append(self._solver.IntVar(0, most, ""))
        return len(self._numbers) - 1

    def at_least(self, total: Sequence[tuple[int, Number]], least: int) -> None:
        """Ask that a sum be so large or larger; no number is in it twice."""
        row = self._solver.Constraint(float(least), self._solver.infinity())
        for factor, number in total:
            row.SetCoefficient(self._numbers[number], float(factor))

    def smallest(
        self,
        total: Sum,
        nodes: int,
        stop: Stop = never,
        *,
        near: float = 0.0,
        sharp: bool = False,
    ) -> Chosen:
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
        factors: dict[Number, int] = {}
        for factor, number in total:
            factors[number] = factors.get(number, 0) + factor
        aim = solver.Objective()
        aim.SetMinimization()
        for number, factor in factors.items():
            aim.SetCoefficient(self._numbers[number], float(factor))
        status = self._run(nodes, near, stop, sharp)
        if status not in (solver.OPTIMAL, solver.FEASIBLE):
            return Chosen(None, 0, status == solver.INFEASIBLE)
        value = {i: Fraction(round(one.solution_value())) for i, one in enumerate(self._numbers)}
        found = int(sum(factor * value[number] for number, factor in factors.items()))
        bound = float(aim.BestBound())
        least = 0
        if abs(bound) < float("inf"):
            least = max(0, ceil(bound - _ERROR - abs(bound) * _SHARE_OF_ERROR))
        return Chosen(value, min(least, found), False)

    def _run(self, nodes: int, near: float, stop: Stop, sharp: bool) -> int:
        few = "separating/maxroundsroot = 3\nseparating/maxrounds = 0\n"
        self._solver.SetSolverSpecificParametersAsString(
            f"limits/nodes = {nodes}\nlimits/gap = {near}\nmisc/catchctrlc = FALSE\n"
            + ("" if sharp else few)
        )
        return int(interruptible(self._solver.Solve, self._solver.InterruptSolve, stop))
