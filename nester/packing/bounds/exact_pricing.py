"""The pricing problem by logic-based Benders decomposition.

The master problem chooses integer counts of pieces of most value, subject to all that is known of a
sheet.  The subproblem decides whether the sheet holds them.  If it does not, a smallest infeasible
part of the counts is found, and a cut forbids every choice that contains it (Hooker and Ottosson,
Mathematical Programming 96, 2003).  Cuts don't depend on the values, so they serve all later calls.

Where feasibility can't be decided with the effort allowed, the pieces count as feasible: the bound
may then be too high, never too low.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import ceil
from typing import TYPE_CHECKING

from nester.core.problem import Cuts
from nester.packing.bounds.dual_feasible_functions import DualFeasibleFunctions
from nester.packing.exact.guillotine_fronts import (
    GuillotineFronts,
    ItemCounts,
    adjusted,
    count_splits,
)
from nester.packing.exact.orthogonal_feasibility import (
    BASE_STEPS,
    STEPS_PER_TIME,
    solve_orthogonal_packing,
)
from nester.packing.runtime.cp_sat import cp_solver, solve
from nester.packing.runtime.stop import Stop
from nester.packing.task.task import Task

if TYPE_CHECKING:
    from ortools.sat.python.cp_model import IntVar

    from nester.packing.bounds.dual_bound import PricingBound

__all__ = ["ExactPricing"]

_MAX_ROUNDS = 60
"""Solutions of the master in one call, at most."""
_MAX_ITEMS_BY_CP_SAT = 12
"""With more pieces than this CP-SAT is not asked whether a sheet holds them."""
_MAX_SPLITS = 20_000
"""With more ways to split the counts than this, their fronts take too long."""
_DETERMINISTIC_TIME = 0.05
"""CP-SAT's deterministic time for one solution of the master."""
_STEPS_PER_SPLIT = 10
_ITEM_TYPES_PER_SPLIT = 8
_STEPS_PER_SOLVE = 5000
_STEPS_PER_ITEM_TYPE = 200
_STEPS_PER_TIME = 2_000_000
"""Steps of filling (measured): for a split, and again for each eight item types; for a solution of
the master, by its item types and by CP-SAT's deterministic time."""


class ExactPricing:
    """Finds the best counts of pieces on a sheet of each bin type, for given values.

    Parameters
    ----------
    relaxation
        A quicker bound on the same problem; each call starts from it.
    """

    def __init__(
        self, task: Task, cuts: Cuts, functions: DualFeasibleFunctions, relaxation: PricingBound
    ) -> None:
        self._task = task
        self._relaxation = relaxation
        self._oracle = _FeasibilityOracle(task, cuts)
        self._masters = [
            _PricingMaster(task, bin_type, functions, self._oracle)
            for bin_type in range(len(task.bin_types))
        ]

    @property
    def steps(self) -> int:
        """Effort of all calls, in steps of filling."""
        master_steps = sum(master.steps for master in self._masters)
        steps_per_split = _STEPS_PER_SPLIT * (
            1 + len(self._task.item_types) // _ITEM_TYPES_PER_SPLIT
        )
        return self._relaxation.steps + steps_per_split * self._oracle.steps + master_steps

    def solve(self, values: Sequence[int], stop: Stop) -> list[tuple[int, Mapping[int, float]]]:
        """Return for each bin type an upper bound on its pieces' value, and counts near it.

        Once `stop` is true no further cuts are added.
        """
        bounds = self._relaxation.solve(values, stop)
        return [
            master.solve(values, bound, stop)
            for master, (bound, _) in zip(self._masters, bounds, strict=True)
        ]


class _FeasibilityOracle:
    """The subproblem: whether a sheet holds some pieces; answers are kept."""

    def __init__(self, task: Task, cuts: Cuts) -> None:
        self._task = task
        self._cuts = cuts
        self._fronts = GuillotineFronts(task)
        self._answers: dict[tuple[int, ItemCounts], bool | None] = {}
        self._cp_sat_steps = 0

    @property
    def steps(self) -> int:
        """Steps spent so far."""
        return self._fronts.steps + self._cp_sat_steps

    def is_feasible(self, bin_type: int, counts: ItemCounts) -> bool | None:
        """Return whether a sheet holds given counts of item types; None if undecided."""
        key = bin_type, counts
        if key not in self._answers:
            self._answers[key] = self._decide(bin_type, counts)
        return self._answers[key]

    def _decide(self, bin_type: int, counts: ItemCounts) -> bool | None:
        sheet, items = self._task.bin_types[bin_type], self._task.item_types
        solid_area = sum(count * item.solid_area for count, item in zip(counts, items, strict=True))
        if solid_area > sheet.area:
            return False
        has_few_splits = count_splits(counts) <= _MAX_SPLITS
        if has_few_splits and self._fronts.is_feasible(counts, sheet):
            return True
        if has_few_splits and self._cuts is Cuts.STRAIGHT:
            return False
        # Three rectangles or fewer are always guillotine; not if one reaches into another.
        has_no_voids = not any(
            count and item.voids for count, item in zip(counts, items, strict=True)
        )
        if has_few_splits and has_no_voids and sum(counts) <= 3:
            return False
        if sum(counts) > _MAX_ITEMS_BY_CP_SAT:
            return None
        placements, work = solve_orthogonal_packing(items, counts, sheet, 60.0)
        self._cp_sat_steps += BASE_STEPS + int(work * STEPS_PER_TIME)
        if placements == ():
            return False
        return True if placements and self._cuts is Cuts.FREE else None


class _PricingMaster:
    """The master problem for one bin type: its cuts outlive the values."""

    def __init__(
        self,
        task: Task,
        bin_type: int,
        functions: DualFeasibleFunctions,
        oracle: _FeasibilityOracle,
    ) -> None:
        from ortools.sat.python import cp_model

        self._bin_type = bin_type
        self._functions = functions
        self._oracle = oracle
        self._one_sheet = [int(other == bin_type) for other in range(len(task.bin_types))]
        sheet = task.bin_types[bin_type]
        self._max_counts = [
            min(item.demand, sheet.area // item.solid_area)
            if item.fits(sheet.width, sheet.height)
            else 0
            for item in task.item_types
        ]
        self._model = cp_model.CpModel()
        self._quantities = [
            self._model.new_int_var(0, max_count, "") for max_count in self._max_counts
        ]
        self._reach_literals: dict[tuple[int, int], IntVar] = {}
        self.steps = 0

    def solve(
        self, values: Sequence[int], bound: int, stop: Stop
    ) -> tuple[int, Mapping[int, float]]:
        """Return an upper bound on the sheet's value, and counts near it."""
        for _ in range(_MAX_ROUNDS):
            max_value, counts = self._solve_master(values)
            max_value = min(max_value, bound)
            if counts is None or stop() or not self._separate(values, bound, counts):
                break
        return max_value, {
            item_type: float(count) for item_type, count in enumerate(counts or ()) if count
        }

    def _separate(self, values: Sequence[int], bound: int, counts: ItemCounts) -> bool:
        """Add a cut that forbids these counts, cheapest test first; return whether there is one."""
        if sum(value * count for value, count in zip(values, counts, strict=True)) > bound:
            self._add_inequality(values, bound)
            return True
        violated = self._functions.most_violated(self._one_sheet, counts)
        if violated is not None:
            self._add_inequality(violated.weights, violated.total_capacity(self._one_sheet))
            return True
        if self._oracle.is_feasible(self._bin_type, counts) is False:
            self._add_no_good_cut(self._minimal_infeasible(counts))
            return True
        return False

    def _solve_master(self, values: Sequence[int]) -> tuple[int, ItemCounts | None]:
        from ortools.sat.python import cp_model

        total = cp_model.LinearExpr.weighted_sum(self._quantities, values)
        self._model.maximize(total)
        solver = cp_solver(_DETERMINISTIC_TIME)
        status = solve(solver, self._model)
        work = solver.response_proto.deterministic_time
        self.steps += (
            _STEPS_PER_SOLVE + _STEPS_PER_ITEM_TYPE * len(values) + int(work * _STEPS_PER_TIME)
        )
        if status == cp_model.OPTIMAL:
            return solver.value(total), tuple(
                solver.value(quantity) for quantity in self._quantities
            )
        max_value = sum(
            value * count for value, count in zip(values, self._max_counts, strict=True)
        )
        if status != cp_model.FEASIBLE:
            return max_value, None
        bound = ceil(solver.best_objective_bound * (1 + 1e-12) + 1e-6)
        return min(max_value, bound), tuple(solver.value(quantity) for quantity in self._quantities)

    def _add_inequality(self, weights: Sequence[int], capacity: int) -> None:
        from ortools.sat.python import cp_model

        self._model.add(cp_model.LinearExpr.weighted_sum(self._quantities, weights) <= capacity)

    def _minimal_infeasible(self, counts: ItemCounts) -> ItemCounts:
        """Leave out pieces one by one as long as the others remain infeasible."""
        for item_type in reversed(range(len(counts))):
            while counts[item_type]:
                fewer = adjusted(counts, item_type, -1)
                if self._oracle.is_feasible(self._bin_type, fewer) is not False:
                    break
                counts = fewer
        return counts

    def _add_no_good_cut(self, counts: ItemCounts) -> None:
        """Forbid every choice that contains these counts."""
        self._model.add_bool_or(
            [~self._reaches(item_type, count) for item_type, count in enumerate(counts) if count]
        )

    def _reaches(self, item_type: int, count: int) -> IntVar:
        if (item_type, count) not in self._reach_literals:
            reached = self._model.new_bool_var("")
            self._model.add(self._quantities[item_type] < count).only_enforce_if(~reached)
            self._model.add(self._quantities[item_type] >= count).only_enforce_if(reached)
            self._reach_literals[item_type, count] = reached
        return self._reach_literals[item_type, count]
