"""The most that one sheet's pieces can be worth, by learning what it can't hold.

Whole numbers of pieces are chosen that are worth most and keep to all that is known of a sheet;
then it is tried whether the sheet holds them.  If not, the fewest pieces of these that it does not
hold are found, and from then on no choice may have them: what is learned so serves all later
questions (logic-based Benders decomposition: Hooker and Ottosson, Mathematical Programming 96,
2003).  Where it can't be told in reasonable time whether a sheet holds some pieces, they are taken
to be held; the bound is then too high, never too low.
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
"""Choices made at most for one question."""
_MAX_ITEMS_BY_CP_SAT = 12
"""With more pieces than this it is not tried by free cuts whether a sheet holds them."""
_MAX_SPLITS = 20_000
"""With more, fronts take too long."""
_DETERMINISTIC_TIME = 0.05
"""CP-SAT's deterministic time for one choice."""
_STEPS_PER_SPLIT = 10
_ITEM_TYPES_PER_SPLIT = 8
_STEPS_PER_SOLVE = 5000
_STEPS_PER_ITEM_TYPE = 200
_STEPS_PER_TIME = 2_000_000
"""What a way to part a content (so much again for so many shapes), and a choice, by the shapes to
choose from and the work it takes, cost in steps of filling (measured)."""


class ExactPricing:
    """Finds, for given worths of pieces, the best content of each kind of sheet.

    Parameters
    ----------
    coarse
        Another bound, known to be quick; contents must keep to it too.
    """

    def __init__(
        self, task: Task, cuts: Cuts, scales: DualFeasibleFunctions, coarse: PricingBound
    ) -> None:
        self._task = task
        self._relaxation = coarse
        self._oracle = _FeasibilityOracle(task, cuts)
        self._masters = [
            _PricingMaster(task, kind, scales, self._oracle) for kind in range(len(task.bin_types))
        ]

    @property
    def steps(self) -> int:
        """What all calls have cost, in steps of filling."""
        chosen = sum(sheet.steps for sheet in self._masters)
        a_parting = _STEPS_PER_SPLIT * (1 + len(self._task.item_types) // _ITEM_TYPES_PER_SPLIT)
        return self._relaxation.steps + a_parting * self._oracle.steps + chosen

    def solve(self, worths: Sequence[int], stop: Stop) -> list[tuple[int, Mapping[int, float]]]:
        """Return for each kind a bound on what its pieces are worth, and a content near it.

        Once `stop` says so nothing further is learned.
        """
        coarse = self._relaxation.solve(worths, stop)
        return [
            sheet.solve(worths, at_most, stop)
            for sheet, (at_most, _) in zip(self._masters, coarse, strict=True)
        ]


class _FeasibilityOracle:
    """Says whether a kind of sheet holds a content, and remembers."""

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

    def is_feasible(self, kind: int, content: ItemCounts) -> bool | None:
        """Say whether a sheet holds a content; None if that can't be told."""
        key = kind, content
        if key not in self._answers:
            self._answers[key] = self._decide(kind, content)
        return self._answers[key]

    def _decide(self, kind: int, content: ItemCounts) -> bool | None:
        sheet, shapes = self._task.bin_types[kind], self._task.item_types
        solid = sum(n * shape.solid_area for n, shape in zip(content, shapes, strict=True))
        if solid > sheet.area:
            return False
        few = count_splits(content) <= _MAX_SPLITS
        if few and self._fronts.is_feasible(content, sheet):
            return True
        if few and self._cuts is Cuts.STRAIGHT:
            return False
        # Three blanks or fewer always come apart by straight cuts; not if one reaches into another.
        blanks = not any(n and shape.voids for n, shape in zip(content, shapes, strict=True))
        if few and blanks and sum(content) <= 3:
            return False
        if sum(content) > _MAX_ITEMS_BY_CP_SAT:
            return None
        spots, work = solve_orthogonal_packing(shapes, content, sheet, 60.0)
        self._cp_sat_steps += BASE_STEPS + int(work * STEPS_PER_TIME)
        if spots == ():
            return False
        return True if spots and self._cuts is Cuts.FREE else None


class _PricingMaster:
    """What is known of one kind of sheet, as a choice of whole numbers."""

    def __init__(
        self, task: Task, kind: int, scales: DualFeasibleFunctions, oracle: _FeasibilityOracle
    ) -> None:
        from ortools.sat.python import cp_model

        self._bin_type = kind
        self._functions = scales
        self._oracle = oracle
        self._one_sheet = [int(number == kind) for number in range(len(task.bin_types))]
        sheet = task.bin_types[kind]
        self._max_counts = [
            min(shape.demand, sheet.area // shape.solid_area)
            if shape.fits(sheet.width, sheet.height)
            else 0
            for shape in task.item_types
        ]
        self._model = cp_model.CpModel()
        self._quantities = [self._model.new_int_var(0, most, "") for most in self._max_counts]
        self._reach_literals: dict[tuple[int, int], IntVar] = {}
        self.steps = 0

    def solve(
        self, worths: Sequence[int], at_most: int, stop: Stop
    ) -> tuple[int, Mapping[int, float]]:
        """Return a bound on the sheet's worth, and a content near it."""
        for _ in range(_MAX_ROUNDS):
            most, content = self._solve_master(worths)
            most = min(most, at_most)
            if content is None or stop() or not self._separate(worths, at_most, content):
                break
        return most, {shape: float(n) for shape, n in enumerate(content or ()) if n}

    def _separate(self, worths: Sequence[int], at_most: int, content: ItemCounts) -> bool:
        """Look for what makes a content impossible; say whether there was anything to learn."""
        if sum(worth * n for worth, n in zip(worths, content, strict=True)) > at_most:
            self._add_inequality(worths, at_most)
            return True
        broken = self._functions.most_violated(self._one_sheet, content)
        if broken is not None:
            self._add_inequality(broken.weights, broken.total_capacity(self._one_sheet))
            return True
        if self._oracle.is_feasible(self._bin_type, content) is False:
            self._add_no_good_cut(self._minimal_infeasible(content))
            return True
        return False

    def _solve_master(self, worths: Sequence[int]) -> tuple[int, ItemCounts | None]:
        from ortools.sat.python import cp_model

        total = cp_model.LinearExpr.weighted_sum(self._quantities, worths)
        self._model.maximize(total)
        solver = cp_solver(_DETERMINISTIC_TIME)
        status = solve(solver, self._model)
        work = solver.response_proto.deterministic_time
        self.steps += (
            _STEPS_PER_SOLVE + _STEPS_PER_ITEM_TYPE * len(worths) + int(work * _STEPS_PER_TIME)
        )
        if status == cp_model.OPTIMAL:
            return solver.value(total), tuple(solver.value(one) for one in self._quantities)
        most = sum(worth * n for worth, n in zip(worths, self._max_counts, strict=True))
        if status != cp_model.FEASIBLE:
            return most, None
        bound = ceil(solver.best_objective_bound * (1 + 1e-12) + 1e-6)
        return min(most, bound), tuple(solver.value(one) for one in self._quantities)

    def _add_inequality(self, worths: Sequence[int], at_most: int) -> None:
        from ortools.sat.python import cp_model

        self._model.add(cp_model.LinearExpr.weighted_sum(self._quantities, worths) <= at_most)

    def _minimal_infeasible(self, content: ItemCounts) -> ItemCounts:
        """Leave pieces out of a content that is not held, as long as the rest is not held."""
        for shape in reversed(range(len(content))):
            while content[shape]:
                fewer = adjusted(content, shape, -1)
                if self._oracle.is_feasible(self._bin_type, fewer) is not False:
                    break
                content = fewer
        return content

    def _add_no_good_cut(self, content: ItemCounts) -> None:
        """Let no choice have all that is in a content."""
        self._model.add_bool_or(
            [~self._reaches(shape, number) for shape, number in enumerate(content) if number]
        )

    def _reaches(self, shape: int, number: int) -> IntVar:
        if (shape, number) not in self._reach_literals:
            reached = self._model.new_bool_var("")
            self._model.add(self._quantities[shape] < number).only_enforce_if(~reached)
            self._model.add(self._quantities[shape] >= number).only_enforce_if(reached)
            self._reach_literals[shape, number] = reached
        return self._reach_literals[shape, number]
