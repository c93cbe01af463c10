"""The best plan of all, for tasks of a few pieces: every content of every sheet, then a choice.

When all largest contents of each kind of sheet are known (`feasible_contents.py`), the best plan is
a choice among them in whole numbers, and CP-SAT proves it: least area not made, then least cost,
then fewest sheets, each settled before the next.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil
from typing import TYPE_CHECKING, NamedTuple

from nester.core.problem import Cuts
from nester.packing.exact.feasible_contents import FeasiblePatterns, TooManyPatterns
from nester.packing.exact.guillotine_fronts import ItemCounts, count_splits
from nester.packing.runtime.cp_sat import cp_solver, solve
from nester.packing.runtime.stop import Stop, never
from nester.packing.task.pattern_pool import Plan, trim_overproduction
from nester.packing.task.task import Pattern, Task

if TYPE_CHECKING:
    from ortools.sat.python.cp_model import IntVar

__all__ = ["ExactResult", "solve_small_task"]

MAX_STEPS = 150_000
"""Steps that suffice for a dozen pieces; asking CP-SAT of all their sets takes some ten seconds."""
_DETERMINISTIC_TIME = 2.0
"""CP-SAT's deterministic time for each of the three choices."""
_LARGEST_SUM = 2**60
"""Sums of areas stay below this, so that they fit the solver's 64 bits."""
_Column = tuple[int, ItemCounts]


class ExactResult(NamedTuple):
    """A best plan, and what is proven of all plans.

    Attributes
    ----------
    plan
        The plan.
    unmet_area
        No plan leaves less area unmade.
    cost
        No plan that leaves just that much unmade costs less.
    """

    plan: Plan
    unmet_area: int
    cost: int


def solve_small_task(
    task: Task,
    cuts: Cuts,
    max_steps: int = MAX_STEPS,
    *,
    seconds: float = 60.0,
    stop: Stop = never,
) -> ExactResult | None:
    """Find a best plan and prove it, if the task is small enough.

    Parameters
    ----------
    max_steps
        Steps allowed; one is a way to part some pieces in two.
    seconds
        A safety stop for each time the solver runs; what is said to be proven is so even then.

    Returns
    -------
    Settled or None
        None if there are too many contents to look at.
    """
    area = sum(item.area * item.demand for item in task.item_types)
    if not task.bin_types or count_splits(task.demand) > 2 * max_steps or area > _LARGEST_SUM:
        return None
    try:
        feasible = FeasiblePatterns(task, cuts, max_steps, seconds, stop)
    except TooManyPatterns:
        return None
    bin_types = range(len(task.bin_types))
    possible = [
        (bin_type, counts)
        for bin_type in bin_types
        for counts in feasible.maximal(bin_type, surely=False)
    ]
    proven = [
        (bin_type, counts)
        for bin_type in bin_types
        for counts in feasible.maximal(bin_type, surely=True)
    ]
    bound = _SetCovering(task, possible, seconds)
    best = bound if possible == proven else _SetCovering(task, proven, seconds)
    plan = tuple(
        (Pattern(bin_type, feasible.placements(bin_type, counts)), copies)
        for (bin_type, counts), copies in best.copies
    )
    return ExactResult(trim_overproduction(task, plan), bound.unmet_area, bound.cost)


class _SetCovering:
    """The best choice among contents; bounds where the solver runs out of work."""

    def __init__(self, task: Task, columns: Sequence[_Column], seconds: float) -> None:
        from ortools.sat.python import cp_model

        self._model = model = cp_model.CpModel()
        self._seconds = seconds
        self._columns = columns
        self._copy_variables = [
            model.new_int_var(0, _max_copies(task, bin_type, counts), "")
            for bin_type, counts in columns
        ]
        unmet = [model.new_int_var(0, item.demand, "") for item in task.item_types]
        for item_type, item in enumerate(task.item_types):
            made = cp_model.LinearExpr.weighted_sum(
                self._copy_variables, [c[item_type] for _, c in columns]
            )
            model.add(made + unmet[item_type] >= item.demand)
        for bin_index, bin_type in enumerate(task.bin_types):
            if bin_type.on_hand is not None:
                of_kind = [
                    n
                    for n, (k, _) in zip(self._copy_variables, columns, strict=True)
                    if k == bin_index
                ]
                model.add(cp_model.LinearExpr.sum(of_kind) <= bin_type.on_hand)
        self.copies: list[tuple[_Column, int]] = []
        self.unmet_area = self._minimize(unmet, [item.area for item in task.item_types])
        self.cost = self._minimize(
            self._copy_variables, [task.bin_types[bin_type].price for bin_type, _ in columns]
        )
        self._minimize(self._copy_variables, [1] * len(columns))

    def _minimize(self, variables: Sequence[IntVar], weights: Sequence[int]) -> int:
        """Make a sum as small as can be, keep it so from now on, and return a bound on it."""
        from ortools.sat.python import cp_model

        total = cp_model.LinearExpr.weighted_sum(variables, weights)
        self._model.minimize(total)
        solver = cp_solver(_DETERMINISTIC_TIME, self._seconds)
        status = solve(solver, self._model)
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return 0
        self.copies = [
            (column, copies)
            for column, number in zip(self._columns, self._copy_variables, strict=True)
            if (copies := solver.value(number))
        ]
        found = solver.value(total)
        self._model.add(total <= found)
        if status == cp_model.OPTIMAL:
            return found
        return max(0, ceil(solver.best_objective_bound * (1 - 1e-12) - 1e-6))


def _max_copies(task: Task, bin_type: int, counts: ItemCounts) -> int:
    """Return how many sheets may be cut so; further ones would make nothing that is wanted."""
    copies = (
        -(-count // per_sheet)
        for count, per_sheet in zip(task.demand, counts, strict=True)
        if per_sheet
    )
    return min(task.max_sheets(bin_type), max(copies))
