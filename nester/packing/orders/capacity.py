"""Which numbers of pieces the sheets of one paper hold together.

The subproblem of the decomposition in `whole_orders.py`.  A set of pieces that provably doesn't fit
is cut off by a valid inequality between sheets and pieces, which serves all later questions; that
pieces fit is shown by a plan.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import NamedTuple

from nester.core.problem import Cuts, CuttingPlan, Effort, Problem
from nester.packing.bounds.bar_relaxation import MAX_BIN_TYPES, BarRelaxation
from nester.packing.bounds.dual_bound import DualBound
from nester.packing.bounds.dual_feasible_functions import DualFeasibleFunctions
from nester.packing.bounds.guillotine_pricing import GuillotinePricing
from nester.packing.bounds.valid_inequalities import ValidInequality
from nester.packing.exact.small_tasks import solve_small_task
from nester.packing.runtime.stop import Stop
from nester.packing.search.solve import solve
from nester.packing.task.task import Task

__all__ = ["CapacityOracle", "CapacityResult", "ItemCounts"]

ItemCounts = tuple[int, ...]
"""Numbers of pieces, one for each item type of a task."""

_SEPARATION_STEPS = 200_000
"""Steps for a dual bound on one set of pieces."""


class CapacityResult(NamedTuple):
    """Whether the sheets hold some pieces.

    Attributes
    ----------
    cutting_plan
        A plan for them, at no cost; pieces may be unplaced.
    is_proven
        Whether it is proven that not all of them fit.
    """

    cutting_plan: CuttingPlan
    is_proven: bool

    @property
    def is_feasible(self) -> bool:
        """Whether every piece is placed."""
        return not self.cutting_plan.unplaced


class CapacityOracle:
    """Decides which pieces the sheets of one paper hold.

    Parameters
    ----------
    problem
        Of this paper alone, with all pieces that could be wanted; each fits some sheet.
    task
        The same problem, preprocessed.
    """

    def __init__(self, problem: Problem, task: Task) -> None:
        self.task = task
        # If paper costs nothing, a search ends as soon as everything is placed.
        self._problem = replace(
            problem, stock=tuple(replace(item, price=Fraction(0)) for item in problem.stock)
        )
        self.sheets = tuple(task.max_sheets(bin_type) for bin_type in range(len(task.bin_types)))
        self._item_type_of = {
            blank.demand.name: item_type
            for item_type, blanks in enumerate(task.blanks)
            for blank in blanks
        }
        self._dual_feasible_functions = DualFeasibleFunctions(task)
        self._dual_bound: DualBound | None = None
        self._results: dict[tuple[tuple[str, int], ...], tuple[Effort | None, CapacityResult]] = {}
        self._feasibility: dict[ItemCounts, bool] = {}

    @property
    def is_unlimited(self) -> bool:
        """Whether every piece fits a sheet of unlimited stock."""
        return all(
            any(k.on_hand is None and item.fits(k.width, k.height) for k in self.task.bin_types)
            for item in self.task.item_types
        )

    def counts(self, pieces: Mapping[str, int]) -> ItemCounts:
        """Return the numbers of pieces by item type; pieces of other papers are ignored."""
        counts = [0] * len(self.task.item_types)
        for name, number in pieces.items():
            if name in self._item_type_of:
                counts[self._item_type_of[name]] += number
        return tuple(counts)

    def area(self, counts: Sequence[int]) -> int:
        """Return the solid area of some pieces, voids excluded."""
        return sum(
            n * item.solid_area for n, item in zip(counts, self.task.item_types, strict=True)
        )

    def area_inequality(self) -> ValidInequality:
        """Return the inequality that compares the areas of sheets and pieces."""
        return self._dual_feasible_functions.area_inequality()

    def separate(self, counts: ItemCounts) -> ValidInequality | None:
        """Return an inequality that refutes these pieces, found by dual feasible functions."""
        return self._dual_feasible_functions.most_violated(self.sheets, counts)

    def separate_by_dual_bound(self, counts: ItemCounts, stop: Stop) -> ValidInequality | None:
        """Return an inequality that refutes these pieces, found by column generation."""
        if self._dual_bound is None:
            if self._problem.cuts is Cuts.STRAIGHT:
                self._dual_bound = DualBound(self.task, GuillotinePricing(self.task))
            elif len(self.sheets) > MAX_BIN_TYPES or any(s.voids for s in self.task.item_types):
                return None
            else:
                self._dual_bound = DualBound(self.task, BarRelaxation(self.task))
        return self._dual_bound.separate(self.sheets, counts, _SEPARATION_STEPS, stop)

    def check(self, pieces: Mapping[str, int], effort: Effort | None, stop: Stop) -> CapacityResult:
        """Return whether the sheets hold some pieces; results are cached.

        Parameters
        ----------
        effort
            How hard to look; None for a first plan only.
        """
        key = tuple(sorted((n, k) for n, k in pieces.items() if k and n in self._item_type_of))
        cached = self._results.get(key)
        if cached and (
            cached[1].is_feasible or cached[1].is_proven or _is_as_hard(cached[0], effort)
        ):
            return cached[1]
        quantities = dict(key)
        problem = replace(
            self._problem,
            demands=tuple(
                replace(demand, quantity=quantities[demand.name])
                for demand in self._problem.demands
                if demand.name in quantities
            ),
        )
        plan = solve(problem, effort or Effort.QUICK, stop=stop if effort else lambda: True)
        is_proven = bool(plan.unplaced) and not self._may_be_feasible(self.counts(pieces), stop)
        result = CapacityResult(plan, is_proven)
        self._results[key] = effort, result
        return result

    def minimal_infeasible(self, counts: ItemCounts, stop: Stop) -> ItemCounts:
        """Shrink an infeasible set of pieces greedily while it is provably infeasible.

        The smaller the set, the more selections of orders it rules out.
        """
        for item_type in reversed(range(len(counts))):
            while counts[item_type]:
                fewer = (*counts[:item_type], counts[item_type] - 1, *counts[item_type + 1 :])
                if self._may_be_feasible(fewer, stop):
                    break
                counts = fewer
        return counts

    def _may_be_feasible(self, counts: ItemCounts, stop: Stop) -> bool:
        """Return False if the pieces provably don't fit, which can be decided for few pieces."""
        if counts not in self._feasibility:
            solution = solve_small_task(
                self.task.with_demand(counts), self._problem.cuts, stop=stop
            )
            self._feasibility[counts] = solution is None or solution.unmet_area == 0
        return self._feasibility[counts]


def _is_as_hard(effort: Effort | None, least: Effort | None) -> bool:
    order = [None, *Effort]
    return order.index(effort) >= order.index(least)
