"""Lower bounds on every plan: the least area left unmade, and the least cost.

A cutting-plane method.  Every plan satisfies certain valid inequalities between the sheets it uses
and the pieces it makes (`valid_inequalities.py`); the best integer numbers of sheets that satisfy
them are a bound.  Only inequalities that matter are added: solve with those so far, add one that
the solution violates, solve again.

They come from two sources, the cheap one first.  Pairs of dual feasible functions
(`dual_feasible_functions.py`) are compared by the thousand.  When none is violated any more, dual
values of covering LPs yield further ones (`dual_bound.py`), with a quick bound on the pricing
problem (`guillotine_pricing.py` for straight cuts, `bar_relaxation.py` for free cuts) and then with
a sharp one (`exact_pricing.py`).
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
"""Inequalities from pairs of functions added at a time; each takes a few milliseconds."""
_STEPS_PER_TIME = 2_000_000
"""Steps of filling in CP-SAT's deterministic time (measured)."""


def lower_bound(
    task: Task, seconds: float = 10.0, most: Mapping[int, Sequence[int]] | None = None
) -> int:
    """Return a proven lower bound on the price of all of a task's pieces, in its unit of price.

    If it is proven that they can't all be made there is no plan to bound, and 0 is returned.

    Parameters
    ----------
    seconds
        A safety stop for each time the solver runs; the bound holds also when it strikes.
    most
        For some item types, how many of them a sheet of each bin type holds at most.
    """
    bound = LowerBound(task, seconds)
    bound.add_capacities(most or {})
    return 0 if bound.unmet_area else bound.cost


def quick_pricing(task: Task, cuts: Cuts) -> PricingBound | None:
    """Return a quick bound on the value of a sheet's pieces, or None where there is none."""
    if cuts is Cuts.STRAIGHT:
        return GuillotinePricing(task)
    return BarRelaxation(task) if len(task.bin_types) <= MAX_BIN_TYPES else None


class LowerBound:
    """What is proven of all plans for a task; it can be strengthened.

    Attributes
    ----------
    unmet_area
        No plan leaves less area unmade.
    cost
        No plan that leaves just that much unmade costs less.
    """

    def __init__(self, task: Task, seconds: float = 10.0, stop: Stop = never) -> None:
        self._task = task
        self._stop = stop
        self._seconds = seconds
        self._functions = DualFeasibleFunctions(task)
        self._inequalities = [self._functions.area_inequality()]
        self._work = 0.0
        self._dual_bounds: list[DualBound] = []
        self._exact_pricing: PricingBound | None = None
        self.unmet_area = self.cost = 0
        self._relaxation = self._solve_relaxation()
        self._add_function_inequalities()

    def add_capacities(self, capacities: Mapping[int, Sequence[int]]) -> None:
        """Add that a sheet of each bin type holds only limited counts of some item types.

        Parameters
        ----------
        capacities
            By item type: how many of it a sheet of each bin type holds.
        """
        for item_type, per_sheet in capacities.items():
            demand = self._task.item_types[item_type].demand
            weights = tuple(int(i == item_type) for i in range(len(self._task.item_types)))
            self._add_inequality(
                ValidInequality(tuple(min(capacity, demand) for capacity in per_sheet), weights)
            )
        if capacities:
            self._add_function_inequalities()

    def strengthen(
        self,
        cuts: Cuts,
        target: tuple[int, int],
        max_steps: int,
        stop: Stop = never,
        columns: Iterable[tuple[int, Mapping[int, float]]] = (),
    ) -> None:
        """Add inequalities until the bound reaches `target`, or the steps are spent.

        Parameters
        ----------
        cuts
            How paper is cut; always the same.
        target
            Unmet area and cost of the best plan known; no bound can be higher.
        columns
            Bin types and item counts of good patterns, so that the LPs need not find them again.
        """
        if not self._dual_bounds:
            self._dual_bounds = self._make_dual_bounds(cuts)
        for bin_type, counts in columns:
            for dual_bound in self._dual_bounds:
                dual_bound.add_column(bin_type, counts)
        end = self.steps + max_steps
        while (
            self.steps < end and (self.unmet_area, self.cost) < target and self._relaxation.sheets
        ):
            found = None
            for dual_bound in self._dual_bounds:
                steps_left = end - self.steps
                found = dual_bound.separate(
                    self._relaxation.sheets, self._relaxation.made, steps_left, stop
                )
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
        pricing_steps = self._exact_pricing.steps if self._exact_pricing else 0
        return (
            int(_STEPS_PER_TIME * self._work)
            + pricing_steps
            + sum(dual_bound.lp_steps for dual_bound in self._dual_bounds)
        )

    def _add_function_inequalities(self) -> None:
        for _ in range(_MAX_ROUNDS):
            if not self._relaxation.sheets or self._stop():  # the solver ran out of work, or time
                return
            worst = self._functions.most_violated(self._relaxation.sheets, self._relaxation.made)
            if worst is None:
                return
            self._add_inequality(worst)

    def _add_inequality(self, inequality: ValidInequality) -> None:
        self._inequalities.append(inequality)
        self._relaxation = self._solve_relaxation()

    def _solve_relaxation(self) -> RelaxedSolution:
        solution = solve_relaxation(
            self._task, self._inequalities, self._seconds, allows_unmet=self.unmet_area > 0
        )
        self._work += solution.work
        # Where the solver runs out of work it may say less than before.
        if (solution.unmet_area, solution.cost) > (self.unmet_area, self.cost):
            self.unmet_area, self.cost = solution.unmet_area, solution.cost
        return solution
