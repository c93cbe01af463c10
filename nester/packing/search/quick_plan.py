"""A plan at little effort, for comparing many similar problems: sizes of a design, or sheets.

It takes a small part of the effort of `solve`, and starts from the layouts of similar problems,
filled with this problem's pieces (`relayout.py`).  Equal input gives an equal plan.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from random import Random
from typing import NamedTuple

from nester.core.problem import CuttingPlan, Demand, Layout, Problem, Unplaced
from nester.packing.bounds.lower_bound import LowerBound
from nester.packing.exact.small_tasks import solve_small_task
from nester.packing.patterns.relayout import Relayout
from nester.packing.runtime.stop import Stop, never
from nester.packing.search.paper_search import assign_demands
from nester.packing.search.ruin_recreate import RuinAndRecreate
from nester.packing.search.set_covering import choose_patterns
from nester.packing.search.solve import NO_ROOM_FOUND, NO_SHEET_LEFT
from nester.packing.search.value_correction import sequential_plans
from nester.packing.task.pattern_pool import PatternPool, Plan, objective
from nester.packing.task.pattern_value import PatternEvaluator
from nester.packing.task.task import Pattern, Task, item_counts, tasks_by_paper
from nester.packing.task.validate import validate

__all__ = ["QuickBudget", "SolvedProblem", "fits_on_one_sheet", "quick_plan", "relayout_plan"]

_SEED = 1
_EXACT_STEPS = 20_000
"""Steps for deciding exactly whether a sheet holds a few pieces."""
_MAX_BOUND_PATTERNS = 200
"""Patterns of the pool that are given to the bound as columns."""


class SolvedProblem(NamedTuple):
    """A similar problem and its plan; its demands have the same names as the problem's."""

    problem: Problem
    cutting_plan: CuttingPlan


class QuickBudget(NamedTuple):
    """Effort for each paper: steps of three methods, and deterministic time of set covering."""

    value_correction: int = 3_000
    bounding: int = 40_000
    ruin_recreate: int = 60_000
    covering_time: float = 0.02

    def scaled(self, factor: int) -> QuickBudget:
        """Return a multiple of the effort."""
        value_correction, bounding, ruin_recreate, covering_time = self
        return QuickBudget(
            value_correction * factor,
            bounding * factor,
            ruin_recreate * factor,
            covering_time * factor,
        )


_DEFAULT_BUDGET = QuickBudget()


def quick_plan(
    problem: Problem,
    similar: Sequence[SolvedProblem] = (),
    budget: QuickBudget = _DEFAULT_BUDGET,
    *,
    cost_bound: Fraction = Fraction(0),
    target_cost: Fraction = Fraction(0),
    stop: Stop = never,
) -> CuttingPlan:
    """Place a problem's pieces at low cost, with little effort.

    Offcuts have no value, whatever `Problem.offcut_value_share` says.  The plan is not verified
    here: give it to `nester.verify`.

    Parameters
    ----------
    similar
        Solved problems; their layouts, filled with this problem's pieces, are the start.
    budget
        The most effort: the search ends once a plan is proven to be the cheapest.
    cost_bound
        A known lower bound on the cost; used for problems of one paper only.
    target_cost
        The search on a paper ends at a plan of this cost.
    stop
        Ends the search early.

    Raises
    ------
    Refusal
        If the problem is invalid: see `nester.packing.task.validate`.
    """
    validate(problem)
    tasks, unplaceable = tasks_by_paper(problem)
    cost_bound = cost_bound if len(tasks) == 1 else Fraction(0)
    return _plan_papers(problem, tasks, unplaceable, similar, budget, cost_bound, target_cost, stop)


def relayout_plan(problem: Problem, similar: SolvedProblem) -> CuttingPlan | None:
    """Return a similar problem's plan with this problem's pieces; None if they don't all fit.

    Its lower bound is 0.
    """
    tasks, unplaceable = tasks_by_paper(problem)
    if unplaceable or not all(_meets_demand(t, next(_relayout_plans(t, [similar]))) for t in tasks):
        return None
    return _plan_papers(problem, tasks, [], [similar], None, Fraction(0), Fraction(0), never)


def fits_on_one_sheet(problem: Problem, stock: str, pieces: Mapping[str, int]) -> tuple[bool, bool]:
    """Return whether one sheet holds some pieces together.

    Parameters
    ----------
    stock
        The name of the sheet.
    pieces
        Numbers of pieces by the names of demands.

    Returns
    -------
    tuple of bool
        Whether a pattern was found; and, if not, whether it is proven that there is none.
    """
    sheets = (replace(s, quantity=1, price=Fraction(1)) for s in problem.stock if s.name == stock)
    demands = (replace(w, quantity=pieces[w.name]) for w in problem.demands if pieces.get(w.name))
    one_sheet = replace(problem, demands=tuple(demands), stock=tuple(sheets))
    tasks, unplaceable = tasks_by_paper(one_sheet)
    if unplaceable:
        return False, True
    (task,) = tasks
    if LowerBound(task).unmet_area:
        return False, True
    if task.is_unrestricted:
        solution = solve_small_task(task, problem.cuts, _EXACT_STEPS)
        if solution is not None:
            if solution.unmet_area:
                return False, True
            if objective(task, solution.plan)[0] == 0:
                return True, False
    return not quick_plan(one_sheet).unplaced, False


def _meets_demand(task: Task, plan: Plan) -> bool:
    return objective(task, plan)[0] == 0


def _plan_papers(
    problem: Problem,
    tasks: Sequence[Task],
    unplaceable: Sequence[tuple[Demand, str]],
    similar: Sequence[SolvedProblem],
    budget: QuickBudget | None,
    cost_bound: Fraction,
    target_cost: Fraction,
    stop: Stop,
) -> CuttingPlan:
    statistics: dict[str, int] = {}
    unplaced = [Unplaced(demand.name, demand.quantity, reason) for demand, reason in unplaceable]
    layouts: list[Layout] = []
    cost = bound = Fraction(0)
    for task in tasks:
        evaluator = PatternEvaluator(problem, task, hurried=True)
        search = _QuickSearch(
            problem, task, evaluator, budget, cost_bound, target_cost, statistics, stop
        )
        search.search(similar)
        made, missing = assign_demands(task, search.incumbent)
        for pattern, blanks, copies in made:
            placed, cuts, offcuts = evaluator.cut_pattern(pattern, blanks)
            stock = task.sheets[pattern.bin_type].stock
            layouts.append(Layout(stock.name, copies, placed, cuts, offcuts))
        is_most = objective(task, search.incumbent)[0] <= search.unmet_area_bound
        why = NO_SHEET_LEFT if is_most else NO_ROOM_FOUND
        unplaced += [Unplaced(demand.name, number, why) for demand, number in missing]
        cost += task.exact_cost(_sheet_counts(search.incumbent))
        if not missing:
            bound += max(cost_bound, search.cost_bound * task.price_unit)
    position = {demand.name: place for place, demand in enumerate(problem.demands)}
    unplaced.sort(key=lambda unplaced_item: position[unplaced_item.name])
    return CuttingPlan(tuple(layouts), tuple(unplaced), cost, bound, statistics, stop())


class _QuickSearch:
    """The search on one paper.

    Attributes
    ----------
    incumbent
        The best plan so far.
    unmet_area_bound, cost_bound
        No plan leaves less area unmade; none that makes everything costs less.
    """

    def __init__(
        self,
        problem: Problem,
        task: Task,
        evaluator: PatternEvaluator,
        budget: QuickBudget | None,
        cost_bound: Fraction,
        target_cost: Fraction,
        statistics: dict[str, int],
        stop: Stop,
    ) -> None:
        self._task, self._cuts, self._evaluator = task, problem.cuts, evaluator
        self._budget, self._statistics, self._stop = budget, statistics, stop
        self._pool = PatternPool(task)
        self._rng = Random(f"{_SEED} {task.paper}")  # noqa: S311 - for a search, not for secrets
        self.incumbent: Plan = ()
        self.unmet_area_bound, self.cost_bound = 0, -(-cost_bound // task.price_unit)
        self._target_cost = target_cost // task.price_unit

    def search(self, similar: Sequence[SolvedProblem]) -> None:
        """Look for a plan, with one method after the other until it is proven to be optimal."""
        task, budget, stop = self._task, self._budget, self._stop
        for plan in _relayout_plans(task, similar):
            self._consider(self._complete_plan(plan), "laid again")
            if self._is_optimal:
                return
        if budget is None or (self.cost_bound and self._meets_target):
            return
        bound = LowerBound(task)
        self._update_bound(bound)
        if self._is_optimal:
            return
        for plan in sequential_plans(
            task, self._cuts, self._rng, budget.value_correction, self._pool, stop
        ):
            self._consider(plan, "sequential")
            if self._is_optimal:
                return
        incumbent_objective = objective(task, self.incumbent)[:2]
        known_patterns = (
            (p.bin_type, made)
            for p, made in self._pool.least_waste(_MAX_BOUND_PATTERNS, self.incumbent)
        )
        bound.strengthen(self._cuts, incumbent_objective, budget.bounding, stop, known_patterns)
        self._update_bound(bound)
        if self._is_optimal or self._meets_target or stop():
            return
        if task.is_unrestricted:
            ruin_recreate = RuinAndRecreate(task, self._rng, self._pool)
            for plan in ruin_recreate.plans(budget.ruin_recreate, self.incumbent, stop):
                self._consider(plan, "recreation")
                if self._is_optimal:
                    return
        chosen = choose_patterns(
            task, self._pool, self.incumbent, budget.covering_time, self._evaluator, stop
        )
        self._consider(chosen, "choice")

    def _complete_plan(self, start: Plan) -> Plan:
        """Return a plan that keeps the sheets of a start, and makes the rest of the demand."""
        remaining, bin_types = list(self._task.demand), list(self._task.bin_types)
        for pattern, copies in start:
            sheet_type = bin_types[pattern.bin_type]
            if sheet_type.on_hand is not None:
                bin_types[pattern.bin_type] = sheet_type._replace(
                    on_hand=sheet_type.on_hand - copies
                )
            for item_type, number in item_counts(pattern.placements).items():
                remaining[item_type] -= number * copies
        if not any(remaining):
            return start
        remaining_task = replace(self._task.with_demand(remaining), bin_types=tuple(bin_types))
        for plan in sequential_plans(
            remaining_task, self._cuts, self._rng, 1, self._pool, self._stop
        ):
            return (*start, *plan)
        return start

    def _update_bound(self, bound: LowerBound) -> None:
        self.unmet_area_bound = bound.unmet_area
        self.cost_bound = max(self.cost_bound, 0 if bound.unmet_area else bound.cost)

    def _consider(self, plan: Plan, method: str) -> None:
        self._statistics[method] = self._statistics.get(method, 0) + 1
        self._pool.add_plan(plan)
        if all(self._task.allows(pattern) for pattern, _ in plan) and (
            objective(self._task, plan) < objective(self._task, self.incumbent)
        ):
            self.incumbent = plan

    @property
    def _meets_target(self) -> bool:
        return objective(self._task, self.incumbent)[:2] <= (0, self._target_cost)

    @property
    def _is_optimal(self) -> bool:
        return objective(self._task, self.incumbent)[:2] <= (self.unmet_area_bound, self.cost_bound)


def _relayout_plans(task: Task, similar: Sequence[SolvedProblem]) -> Iterator[Plan]:
    """Yield plans of similar problems with this task's pieces, without layouts that don't fit."""
    relayout = Relayout(task)
    for solved in similar:
        demands = {demand.name: demand for demand in solved.problem.demands}
        remaining = list(task.demand)
        stock = [task.max_sheets(bin_type) for bin_type in range(len(task.bin_types))]
        plan: list[tuple[Pattern, int]] = []
        for layout in solved.cutting_plan.layouts:
            pattern = relayout.pattern(layout, demands)
            if pattern is None:
                continue
            counts = item_counts(pattern.placements)
            by_demand = min(remaining[item_type] // number for item_type, number in counts.items())
            copies = min(layout.copies, stock[pattern.bin_type], by_demand)
            if copies:
                stock[pattern.bin_type] -= copies
                for item_type, number in counts.items():
                    remaining[item_type] -= number * copies
                plan.append((pattern, copies))
        yield tuple(plan)


def _sheet_counts(plan: Plan) -> dict[int, int]:
    sheets: dict[int, int] = {}
    for pattern, copies in plan:
        sheets[pattern.bin_type] = sheets.get(pattern.bin_type, 0) + copies
    return sheets
