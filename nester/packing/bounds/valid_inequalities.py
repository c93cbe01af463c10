"""Valid inequalities between sheets and pieces, and the relaxation that they define.

Give each item type a weight of zero or more, such that the pieces on one sheet of bin type s never
weigh more than its capacity C_s.  Then Σ C_s · (sheets of type s used) ≥ the weight of all pieces
made, in every plan.  The cheapest integer numbers of sheets that satisfy such inequalities cost no
more than any plan; and if no numbers do, at least as much area stays unmade as it takes to satisfy
them.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil, gcd
from typing import TYPE_CHECKING, NamedTuple

from nester.packing.runtime.cp_sat import cp_solver, solve
from nester.packing.task.task import Task

if TYPE_CHECKING:
    from ortools.sat.python.cp_model import IntVar

__all__ = ["RelaxedSolution", "ValidInequality", "scaled_inequality", "solve_relaxation"]

_LARGEST = 2**40
"""Numbers in an inequality stay below this."""
_LARGEST_SUM = 2**60
"""So do sums of prices and of areas, so that they fit the solver's 64 bits."""
_DETERMINISTIC_TIME = 1.0
"""CP-SAT's deterministic time for one choice."""


class ValidInequality(NamedTuple):
    """Σ capacities[b] · sheets[b] ≥ Σ weights[i] · made[i] in every plan, for all b and i."""

    capacities: tuple[int, ...]
    weights: tuple[int, ...]

    def total_capacity(self, sheets: Sequence[int]) -> int:
        """Return the capacity of given counts of sheets of each bin type together."""
        return sum(
            capacity * count for capacity, count in zip(self.capacities, sheets, strict=True)
        )

    def total_weight(self, counts: Sequence[int]) -> int:
        """Return the weight of given counts of pieces of each item type together."""
        return sum(weight * count for weight, count in zip(self.weights, counts, strict=True))


def scaled_inequality(
    capacities: Sequence[int], weights: Sequence[int], demand: Sequence[int]
) -> ValidInequality:
    """Return an inequality in numbers small enough for the solver.

    It is rounded so that it only gets weaker: weights down, capacities up.
    """
    total_weight = sum(weight * count for weight, count in zip(weights, demand, strict=True))
    scale = max(1, -(-max(total_weight, *capacities) // _LARGEST))
    weights = [weight // scale for weight in weights]
    total_weight = sum(weight * count for weight, count in zip(weights, demand, strict=True))
    # A sheet that could hold more than all pieces weigh is no better in integers.
    return ValidInequality(
        tuple(min(total_weight, -(-capacity // scale)) for capacity in capacities), tuple(weights)
    )


class RelaxedSolution(NamedTuple):
    """The best sheets that satisfy some inequalities.

    Attributes
    ----------
    unmet_area, cost
        Bounds: the least area unmade, and the least cost where just that stays unmade.
    sheets, made
        How many of each bin type, and of each item type, satisfy the inequalities; empty if the
        solver ran out of effort before it found any.
    work
        What it took, in CP-SAT's deterministic time.
    """

    unmet_area: int
    cost: int
    sheets: tuple[int, ...]
    made: tuple[int, ...]
    work: float


def solve_relaxation(
    task: Task, inequalities: Sequence[ValidInequality], seconds: float, *, allows_unmet: bool
) -> RelaxedSolution:
    """Return the sheets that leave least area unmade, and of these the cheapest.

    Parameters
    ----------
    allows_unmet
        Whether it is known that not everything can be made.
    """
    if not allows_unmet:
        solution = _RelaxationModel(task, inequalities, allows_unmet=False).solve(seconds)
        if solution is not None:
            return solution
    solution = _RelaxationModel(task, inequalities, allows_unmet=True).solve(seconds)
    if solution is None:
        raise AssertionError("no sheets and nothing made keep to every inequality")
    return solution


class _RelaxationModel:
    def __init__(
        self, task: Task, inequalities: Sequence[ValidInequality], *, allows_unmet: bool
    ) -> None:
        from ortools.sat.python import cp_model

        self._task = task
        self._allows_unmet = allows_unmet
        self._work = 0.0
        self._model = model = cp_model.CpModel()
        max_sheets = [
            min(task.max_sheets(bin_type), _sufficient_sheets(task, inequalities, bin_type))
            for bin_type in range(len(task.bin_types))
        ]
        self._max_sheets = max_sheets
        # Free sheets are all taken: what can't be made from all of them can't be from some.
        self._sheets = [
            model.new_int_var(0 if bin_type.price else count, count, "")
            for bin_type, count in zip(task.bin_types, max_sheets, strict=True)
        ]
        self._unmet = [
            model.new_int_var(0, count if allows_unmet else 0, "") for count in task.demand
        ]
        for inequality in inequalities:
            capacity = cp_model.LinearExpr.weighted_sum(self._sheets, inequality.capacities)
            unmet_weight = cp_model.LinearExpr.weighted_sum(self._unmet, inequality.weights)
            model.add(capacity + unmet_weight >= inequality.total_weight(task.demand))

    def solve(self, seconds: float) -> RelaxedSolution | None:
        """Return the best sheets, or None if no sheets will do."""
        unmet_area = 0
        if self._allows_unmet:
            areas = [item.area for item in self._task.item_types]
            unmet_area, result = self._minimize(self._unmet, areas, self._task.demand, seconds)
            if not result.found:
                return None if result.infeasible else RelaxedSolution(0, 0, (), (), self._work)
        prices = [sheet_type.price for sheet_type in self._task.bin_types]
        cost, result = self._minimize(self._sheets, prices, self._max_sheets, seconds)
        if not result.found:
            return None if result.infeasible else RelaxedSolution(unmet_area, 0, (), (), self._work)
        production = (
            count - unmet for count, unmet in zip(self._task.demand, result.unmet, strict=True)
        )
        return RelaxedSolution(unmet_area, cost, result.sheets, tuple(production), self._work)

    def _minimize(
        self,
        variables: Sequence[IntVar],
        weights: Sequence[int],
        upper_bounds: Sequence[int],
        seconds: float,
    ) -> tuple[int, _SolverResult]:
        """Minimize a sum, fix it at its value for later aims, and return a lower bound on it."""
        from ortools.sat.python import cp_model

        unit = gcd(*weights) or 1
        largest = sum(
            weight // unit * upper_bound
            for weight, upper_bound in zip(weights, upper_bounds, strict=True)
        )
        unit *= max(1, -(-largest // _LARGEST_SUM))
        total = cp_model.LinearExpr.weighted_sum(variables, [weight // unit for weight in weights])
        self._model.minimize(total)
        solver = cp_solver(_DETERMINISTIC_TIME, seconds)
        status = solve(solver, self._model)
        self._work += solver.response_proto.deterministic_time
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return 0, _SolverResult(found=False, infeasible=status == cp_model.INFEASIBLE)
        bound = found = solver.value(total)
        if status != cp_model.OPTIMAL:
            # The sum is whole, so its bound is; it comes as a float and may be a little off.
            bound = max(0, ceil(solver.best_objective_bound * (1 - 1e-12) - 1e-6))
        self._model.add(total <= found)
        return bound * unit, _SolverResult(
            found=True,
            sheets=tuple(solver.value(variable) for variable in self._sheets),
            unmet=tuple(solver.value(variable) for variable in self._unmet),
        )


class _SolverResult(NamedTuple):
    """What the solver found."""

    found: bool
    infeasible: bool = False
    sheets: tuple[int, ...] = ()
    unmet: tuple[int, ...] = ()


def _sufficient_sheets(task: Task, inequalities: Sequence[ValidInequality], bin_type: int) -> int:
    """Return how many sheets of one type satisfy all they can alone; more would only cost more."""
    return max(
        (
            -(-inequality.total_weight(task.demand) // inequality.capacities[bin_type])
            for inequality in inequalities
            if inequality.capacities[bin_type]
        ),
        default=0,
    )
