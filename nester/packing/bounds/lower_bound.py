"""What no plan can do better: the least area unmade, and the least cost.

Every plan keeps to certain inequalities between sheets and pieces (`valid_inequalities.py`); the
best whole numbers of sheets that keep to them are a bound.  The few inequalities that matter are
found one after the other: find the best sheets with the inequalities so far, add one that they
break, and so on.  The first come from pairs of superadditive functions
(`dual_feasible_functions.py`), thousands of which are compared in a moment.  When no pair helps any
more, linear programmes over the contents of sheets, for the least cost and for the least left out,
find further ones (`dual_bound.py`): first with a quick bound on what a sheet is worth
(`guillotine_pricing.py`, or `bar_relaxation.py` for free cuts), then with a sharper one
(`exact_pricing.py`).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from nester.core.problem import Cuts
from nester.packing.bounds.bar_relaxation import MAX_BIN_TYPES, BarRelaxation
from nester.packing.bounds.dual_bound import DualBound, PricingBound
from nester.packing.bounds.dual_feasible_functions import DualFeasibleFunctions
from nester.packing.bounds.exact_pricing import ExactPricing
from nester.packing.bounds.guillotine_pricing import GuillotinePricing
from nester.packing.bounds.valid_inequalities import (
    RelaxedSolution,
    ValidInequality,
    solve_relaxation,
)
from nester.packing.runtime.stop import Stop, never
from nester.packing.task.task import Task

__all__ = ["LowerBound", "lower_bound", "quick_pricing"]

_MAX_ROUNDS = 40
"""Inequalities from pairs added at a time; each takes a few milliseconds."""
_STEPS_PER_TIME = 2_000_000
"""Steps of filling in CP-SAT's deterministic time (measured)."""


def lower_bound(
    task: Task, seconds: float = 10.0, most: Mapping[int, Sequence[int]] | None = None
) -> int:
    """Return a proven lower bound on the whole price of making all of a task's pieces.

    If it is proven that they can't all be made there is no plan to bound, and 0 is returned.

    Parameters
    ----------
    seconds
        A safety stop for each time the solver runs; the bound holds also when it strikes.
    most
        For some shapes, how many of them a sheet of each kind holds at most.
    """
    bound = LowerBound(task, seconds)
    bound.add_capacities(most or {})
    return 0 if bound.unmet_area else bound.cost


def quick_pricing(task: Task, cuts: Cuts) -> PricingBound | None:
    """Return a quick bound on what sheets hold, or None where there is none."""
    if cuts is Cuts.STRAIGHT:
        return GuillotinePricing(task)
    return BarRelaxation(task) if len(task.bin_types) <= MAX_BIN_TYPES else None


class LowerBound:
    """What is proven of all plans for a task, and can be strengthened.

    Attributes
    ----------
    unmet_area
        No plan leaves less area unmade.
    cost
        No plan that leaves just that much unmade costs less.
    """

    def __init__(self, task: Task, seconds: float = 10.0) -> None:
        self._task = task
        self._seconds = seconds
        self._functions = DualFeasibleFunctions(task)
        self._inequalities = [self._functions.area_inequality()]
        self._work = 0.0
        self._dual_bounds: list[DualBound] = []
        self._exact_pricing: PricingBound | None = None
        self.unmet_area = self.cost = 0
        self._relaxation = self._solve_relaxation()
        self._add_function_inequalities()

    def add_capacities(self, most: Mapping[int, Sequence[int]]) -> None:
        """Reckon with it that a sheet of each kind holds at most so many of some shapes."""
        for shape, holds in most.items():
            wanted = self._task.item_types[shape].demand
            worths = tuple(int(i == shape) for i in range(len(self._task.item_types)))
            self._add_inequality(
                ValidInequality(tuple(min(number, wanted) for number in holds), worths)
            )
        if most:
            self._add_function_inequalities()

    def strengthen(
        self,
        cuts: Cuts,
        target: tuple[int, int],
        most_steps: int,
        stop: Stop = never,
        contents: Iterable[tuple[int, Mapping[int, float]]] = (),
    ) -> None:
        """Refute sheets until the bound is as high as `target`, or so many steps are spent.

        Parameters
        ----------
        cuts
            How paper is cut; always the same.
        target
            Area unmade and cost of a plan that is known.
        contents
            Of sheets, by their kind: what good plans cut, so that it need not be found again.
        """
        if not self._dual_bounds:
            self._dual_bounds = self._make_dual_bounds(cuts)
        for kind, content in contents:
            for refuter in self._dual_bounds:
                refuter.add_column(kind, content)
        end = self.steps + most_steps
        while (
            self.steps < end and (self.unmet_area, self.cost) < target and self._relaxation.sheets
        ):
            found = None
            for refuter in self._dual_bounds:
                left = end - self.steps
                found = refuter.separate(self._relaxation.sheets, self._relaxation.made, left, stop)
                if found is not None or self.steps >= end:
                    break
            if found is None:
                return
            self._add_inequality(found)
            self._add_function_inequalities()

    def _make_dual_bounds(self, cuts: Cuts) -> list[DualBound]:
        quick = quick_pricing(self._task, cuts)
        if quick is None:
            return []
        self._exact_pricing = ExactPricing(self._task, cuts, self._functions, quick)
        return [DualBound(self._task, quick), DualBound(self._task, self._exact_pricing)]

    @property
    def steps(self) -> int:
        """Steps spent so far."""
        of_worth = self._exact_pricing.steps if self._exact_pricing else 0
        return (
            int(_STEPS_PER_TIME * self._work)
            + of_worth
            + sum(r.lp_steps for r in self._dual_bounds)
        )

    def _add_function_inequalities(self) -> None:
        for _ in range(_MAX_ROUNDS):
            if not self._relaxation.sheets:  # the solver ran out of work
                return
            worst = self._functions.most_violated(self._relaxation.sheets, self._relaxation.made)
            if worst is None:
                return
            self._add_inequality(worst)

    def _add_inequality(self, inequality: ValidInequality) -> None:
        self._inequalities.append(inequality)
        self._relaxation = self._solve_relaxation()

    def _solve_relaxation(self) -> RelaxedSolution:
        best = solve_relaxation(
            self._task, self._inequalities, self._seconds, short=self.unmet_area > 0
        )
        self._work += best.work
        # Where the solver runs out of work it may say less than before.
        if (best.unmet_area, best.cost) > (self.unmet_area, self.cost):
            self.unmet_area, self.cost = best.unmet_area, best.cost
        return best
