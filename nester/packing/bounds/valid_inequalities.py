"""Inequalities between sheets and pieces, and the best sheets that keep to them.

Give each piece a worth of zero or more such that no sheet of kind s can hold more than V_s of
it in all.  Then Σ V_s · (sheets of kind s used) ≥ the worth of all pieces made, whatever the plan.
The cheapest whole numbers of sheets that keep to such inequalities cost no more than any plan; and
if there are none, at least as much area stays unmade as it takes to keep to them.
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
    """Σ holds[kind] · sheets[kind] ≥ Σ worths[shape] · made[shape], in every plan."""

    capacities: tuple[int, ...]
    weights: tuple[int, ...]

    def total_capacity(self, sheets: Sequence[int]) -> int:
        """Return what so many sheets of each kind hold at most."""
        return sum(hold * n for hold, n in zip(self.capacities, sheets, strict=True))

    def total_weight(self, made: Sequence[int]) -> int:
        """Return what so many pieces of each shape need."""
        return sum(worth * n for worth, n in zip(self.weights, made, strict=True))


def scaled_inequality(
    holds: Sequence[int], worths: Sequence[int], demand: Sequence[int]
) -> ValidInequality:
    """Return an inequality in numbers that suit the solver, rounded so that it only gets weaker."""
    needed = sum(worth * n for worth, n in zip(worths, demand, strict=True))
    scale = max(1, -(-max(needed, *holds) // _LARGEST))
    worths = [worth // scale for worth in worths]
    needed = sum(worth * n for worth, n in zip(worths, demand, strict=True))
    # In whole numbers a sheet that holds more than all that is needed is no better.
    return ValidInequality(tuple(min(needed, -(-one // scale)) for one in holds), tuple(worths))


class RelaxedSolution(NamedTuple):
    """The best sheets that keep to inequalities.

    Attributes
    ----------
    unmet_area, cost
        Bounds: the least area unmade, and the least cost where just that stays unmade.
    sheets, made
        So many of each kind, and of each shape, at which the inequalities hold; empty if the
        solver ran out of work before it found any.
    work
        What it took, in CP-SAT's deterministic time.
    """

    unmet_area: int
    cost: int
    sheets: tuple[int, ...]
    made: tuple[int, ...]
    work: float


def solve_relaxation(
    task: Task, inequalities: Sequence[ValidInequality], seconds: float, *, short: bool
) -> RelaxedSolution:
    """Return the sheets that leave least area unmade, and of these the cheapest.

    Parameters
    ----------
    short
        It is known that not everything can be made.
    """
    if not short:
        best = _RelaxationModel(task, inequalities, short=False).solve(seconds)
        if best is not None:
            return best
    best = _RelaxationModel(task, inequalities, short=True).solve(seconds)
    if best is None:
        raise AssertionError("no sheets and nothing made keep to every inequality")
    return best


class _RelaxationModel:
    def __init__(self, task: Task, inequalities: Sequence[ValidInequality], *, short: bool) -> None:
        from ortools.sat.python import cp_model

        self._task = task
        self._allows_unmet = short
        self._work = 0.0
        self._model = model = cp_model.CpModel()
        most = [
            min(task.max_sheets(kind), _sufficient_sheets(task, inequalities, kind))
            for kind in range(len(task.bin_types))
        ]
        self._max_sheets = most
        # Sheets that cost nothing are all taken: what can't be made of all can't be of some.
        self._sheets = [
            model.new_int_var(0 if kind.price else n, n, "")
            for kind, n in zip(task.bin_types, most, strict=True)
        ]
        self._unmet = [model.new_int_var(0, n if short else 0, "") for n in task.demand]
        for one in inequalities:
            held = cp_model.LinearExpr.weighted_sum(self._sheets, one.capacities)
            spared = cp_model.LinearExpr.weighted_sum(self._unmet, one.weights)
            model.add(held + spared >= one.total_weight(task.demand))

    def solve(self, seconds: float) -> RelaxedSolution | None:
        """Return the best sheets, or None if no sheets will do."""
        unmade = 0
        if self._allows_unmet:
            areas = [shape.area for shape in self._task.item_types]
            unmade, status = self._minimize(self._unmet, areas, self._task.demand, seconds)
            if not status.found:
                return None if status.infeasible else RelaxedSolution(0, 0, (), (), self._work)
        prices = [kind.price for kind in self._task.bin_types]
        cost, status = self._minimize(self._sheets, prices, self._max_sheets, seconds)
        if not status.found:
            return None if status.infeasible else RelaxedSolution(unmade, 0, (), (), self._work)
        made = (n - left for n, left in zip(self._task.demand, status.unmet, strict=True))
        return RelaxedSolution(unmade, cost, status.sheets, tuple(made), self._work)

    def _minimize(
        self,
        variables: Sequence[IntVar],
        weights: Sequence[int],
        most: Sequence[int],
        seconds: float,
    ) -> tuple[int, _SolverResult]:
        """Make a sum as small as can be, keep it so from now on, and return a bound on it."""
        from ortools.sat.python import cp_model

        unit = gcd(*weights) or 1
        largest = sum(weight // unit * n for weight, n in zip(weights, most, strict=True))
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
            sheets=tuple(solver.value(one) for one in self._sheets),
            unmet=tuple(solver.value(one) for one in self._unmet),
        )


class _SolverResult(NamedTuple):
    """What the solver said."""

    found: bool
    infeasible: bool = False
    sheets: tuple[int, ...] = ()
    unmet: tuple[int, ...] = ()


def _sufficient_sheets(task: Task, inequalities: Sequence[ValidInequality], kind: int) -> int:
    """Return how many sheets of one kind do all that this kind can do; more only cost more."""
    return max(
        (
            -(-one.total_weight(task.demand) // one.capacities[kind])
            for one in inequalities
            if one.capacities[kind]
        ),
        default=0,
    )
