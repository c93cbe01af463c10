"""The search on one paper: its methods in turn, the best plan so far, and its lower bound."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum, auto
from fractions import Fraction
from random import Random
from typing import NamedTuple

from nester.core.problem import Cuts, Demand, Layout, Problem
from nester.packing.bounds.lower_bound import LowerBound, lower_bound
from nester.packing.exact.small_tasks import solve_small_task
from nester.packing.patterns.interlocking import Interlocking
from nester.packing.runtime.stop import Stop, never
from nester.packing.search.diving import DivingHeuristic
from nester.packing.search.pattern_reduction import reduce_patterns
from nester.packing.search.rectpack_start import rectpack_plans
from nester.packing.search.ruin_recreate import RUIN_RECREATE_STEP_RATIO, RuinAndRecreate
from nester.packing.search.set_covering import choose_by_mip, choose_patterns
from nester.packing.search.value_correction import sequential_plans
from nester.packing.task.pattern_pool import PatternPool, Plan, has_too_many_pieces, objective
from nester.packing.task.pattern_value import PatternEvaluator
from nester.packing.task.preprocess import Blank
from nester.packing.task.task import Pattern, Task, item_counts

__all__ = [
    "Budget",
    "Command",
    "PaperSearch",
    "ReductionCommand",
    "SearchResult",
    "SearchState",
    "assign_demands",
    "start_search",
]

SEED = 1
_MANY_ITEM_TYPES = 2_000
_MAX_BOUND_PATTERNS = 200
"""Patterns of the pool that are given to the bound as columns."""
_MAX_SHEETS_LEFT = 8
"""Most sheets that a dive leaves to ruin and recreate; never more than a third of all."""
_MAX_STALLED_STEPS = 3_000_000
"""Steps of ruin and recreate without a better plan before a start is given up."""
_FULL_DEMAND_SHARE = 0.6
"""Share of pricing spent on the full demand; the rest is for the first dives."""
_MAX_MIP_PATTERNS = 600
"""Patterns of least reduced cost that the integer program chooses from."""
_MIN_STEPS = 1_000
"""A start and its completion count as this many steps at least, so that the loop ends."""


_FIRST_EXACT_STEPS = {Cuts.STRAIGHT: 150_000, Cuts.FREE: 50_000}
"""Steps for an exact solution of a small paper before the first round, at any effort."""
_STEPS_PER_EVALUATED_PIECE = 40
"""Steps of value correction per piece whose exact offcuts may be evaluated."""


@dataclass(frozen=True, kw_only=True)
class Budget:
    """What each method may spend in one round, in the order in which they run.

    `exact` is for papers with few pieces; those that need more steps are not solved exactly.
    `pricing` and `completions` are for papers that ruin and recreate may still improve, `diving`
    for the others.

    The last round of each effort ends with pattern reduction, so that more effort starts from the
    very plan that less effort ends with.

    Attributes
    ----------
    value_correction, exact, bounding, ruin_recreate, diving, pricing, completions
        Steps.
    covering_time, reduction_time
        CP-SAT's deterministic time.
    mip_nodes
        Nodes of SCIP's search tree.
    """

    value_correction: int
    exact: int = 0
    bounding: int = 0
    ruin_recreate: int = 0
    diving: int = 0
    pricing: int = 0
    completions: int = 0
    covering_time: float = 0
    mip_nodes: int = 0
    reduction_time: float = 0


class SearchState(NamedTuple):
    """The state of a search.

    Attributes
    ----------
    net_cost, lower_bound
        The net cost of the best plan, and a bound on that of any plan, in money.
    cost
        Of the sheets of the best plan, in money.
    sheet_count
        Their number.
    is_done
        Whether nothing better can be found.
    may_make_more
        Whether the best plan leaves pieces out, and it isn't proven that some must be.
    """

    net_cost: Fraction
    lower_bound: Fraction
    cost: Fraction
    sheet_count: int
    is_done: bool
    may_make_more: bool


class SearchResult(NamedTuple):
    """The result of a search: its part of a cutting plan.

    Attributes
    ----------
    lower_bound
        On the net cost, in money, of making the same pieces.
    statistics
        Numbers of plans by the methods that made them.
    may_make_more
        Whether pieces are missing, and it isn't proven that some must be.
    """

    layouts: tuple[Layout, ...]
    missing: tuple[tuple[Demand, int], ...]
    cost: Fraction
    offcut_value: Fraction
    lower_bound: Fraction
    statistics: dict[str, int]
    may_make_more: bool


class Command(Enum):
    """What a search can do besides a round and pattern reduction."""

    START = auto()
    END = auto()


class ReductionCommand(NamedTuple):
    """Reduce the patterns of the best plan, within this deterministic time of CP-SAT."""

    deterministic_time: float


def start_search(problem: Problem, task: Task) -> PaperSearch:
    """Return a search with a first plan; it is not stopped before it has one."""
    search = PaperSearch(problem, task)
    search.first_plan(never)
    return search


class PaperSearch:
    """The search on one paper."""

    def __init__(self, problem: Problem, task: Task) -> None:
        self.task = task
        # Of very many pieces all sheets are different, and each is taken apart at the end.
        hurried = len(task.item_types) > _MANY_ITEM_TYPES
        self.evaluator = PatternEvaluator(problem, task, hurried=hurried)
        self._bounding_task = self.evaluator.bounding_task()
        self._cuts = problem.cuts
        self._statistics: dict[str, int] = {}
        self._pool = PatternPool(task)
        self._rng = Random(f"{SEED} {task.paper}")  # noqa: S311 - for a search, not for secrets
        self._interlocking = Interlocking(task, self._rng)
        self._ruin_recreate = RuinAndRecreate(task, self._rng, self._pool)
        self._diver = DivingHeuristic(task, problem.cuts, self._rng, self._pool)
        self._set_incumbent(())
        self._evaluation_limit = 0
        self._has_covered = False
        self._last_reduced: Plan = ()
        self.unmet_area_bound = self.cost_bound = 0

    def first_plan(self, stop: Stop) -> None:
        """Find one plan quickly; even more quickly once asked to stop."""
        for plan in sequential_plans(self.task, self._cuts, self._rng, 1, self._pool, stop):
            self._consider(plan, "sequential")

    def do(
        self, command: Command | Budget | ReductionCommand, stop: Stop
    ) -> SearchState | SearchResult:
        """Run a command; return the state of the search, or its result at the end."""
        if command is Command.END:
            return self.result()
        if command is Command.START:
            self.start(stop)
        elif isinstance(command, Budget) and not stop():
            self.run_round(command, stop)
        elif isinstance(command, ReductionCommand) and not stop():
            self.reduce_patterns(command.deterministic_time, stop)
        return self.state

    def start(self, stop: Stop) -> None:
        """Compute a first bound, and try rectpack, exact solution and interlocking patterns."""
        self._lower_bound = LowerBound(self._bounding_task, stop=stop)
        self._update_bound()
        if self.is_optimal:
            return
        for plan in rectpack_plans(self.task, self._cuts):
            self._consider(plan, "rectpack")
            if self.is_optimal or stop():
                return
        self._solve_exactly(_FIRST_EXACT_STEPS[self._cuts], stop)
        if self._cuts is Cuts.FREE and not self.is_optimal:
            for pattern in self._interlocking.patterns(stop):
                self._pool.add(pattern)
                self._statistics["interlocked"] = self._statistics.get("interlocked", 0) + 1
            self._lower_bound.add_capacities(self._interlocking.max_copies)
            self._update_bound()

    def _solve_exactly(self, max_steps: int, stop: Stop) -> None:
        solution = None
        if self.task.is_unrestricted:
            solution = solve_small_task(self._bounding_task, self._cuts, max_steps, stop=stop)
        if solution:
            self._consider(solution.plan, "exact")
            proven = solution.unmet_area, solution.cost
            self.unmet_area_bound, self.cost_bound = max(
                (self.unmet_area_bound, self.cost_bound), proven
            )

    def _update_bound(self) -> None:
        proven = self._lower_bound.unmet_area, self._lower_bound.cost
        self.unmet_area_bound, self.cost_bound = max(
            (self.unmet_area_bound, self.cost_bound), proven
        )

    def run_round(self, budget: Budget, stop: Stop) -> None:
        """Run one round: each method in turn, until the plan is proven to be optimal.

        Value correction fills the pool; the lower bound is strengthened; ruin and recreate, and
        dives with completions, improve the plan; set covering recombines the patterns of the pool.
        """
        if budget.exact > _FIRST_EXACT_STEPS[self._cuts]:
            self._solve_exactly(budget.exact, stop)
            if self.is_optimal or stop():
                return
        self._evaluation_limit = (
            self.evaluator.pieces_evaluated + budget.value_correction // _STEPS_PER_EVALUATED_PIECE
        )
        for plan in sequential_plans(
            self.task, self._cuts, self._rng, budget.value_correction, self._pool, stop
        ):
            self._consider(plan, "sequential")
            if self.is_optimal or stop():
                return
        incumbent_objective = objective(self._bounding_task, self.incumbent)[:2]
        known_patterns = (
            (p.bin_type, made)
            for p, made in self._pool.least_waste(_MAX_BOUND_PATTERNS, self.incumbent)
        )
        self._lower_bound.strengthen(
            self._cuts, incumbent_objective, budget.bounding, stop, known_patterns
        )
        self._update_bound()
        if self.is_optimal or has_too_many_pieces(self.incumbent) or stop():
            return
        # If the sheets are known to be the cheapest, only other offcuts can still save money.
        skip_improvement = self._is_cheapest or not self.task.is_unrestricted
        ruin_recreate_steps = 0 if skip_improvement else budget.ruin_recreate
        for plan in self._ruin_recreate.plans(ruin_recreate_steps, self.incumbent, stop):
            self._consider(plan, "recreation")
            if self.is_optimal or stop():
                return
        if budget.completions and not skip_improvement:
            self._dive_and_complete(budget.pricing, budget.completions, stop)
        else:
            for plan in self._diver.plans(budget.diving, stop):
                self._consider(plan, "dive")
                if self.is_optimal or stop():
                    return
        if self.is_optimal or stop():
            return
        self._set_incumbent(
            choose_patterns(
                self.task, self._pool, self.incumbent, budget.covering_time, self.evaluator, stop
            )
        )
        self._statistics["choice"] = self._statistics.get("choice", 0) + 1
        self._has_covered = True
        if budget.mip_nodes and not (skip_improvement or self.is_optimal or stop()):
            patterns = self._diver.least_reduced_cost(_MAX_MIP_PATTERNS)
            plan = choose_by_mip(self.task, patterns, budget.mip_nodes, self.evaluator, stop)
            self._consider(plan, "near choice")

    def _dive_and_complete(self, pricing_steps: int, steps: int, stop: Stop) -> None:
        """Start plans by diving and complete them by ruin and recreate, while steps last.

        Dives use the dynamic program for pricing as long as `pricing_steps` last.
        """
        ruin_recreate, diver = self._ruin_recreate, self._diver
        before = diver.steps
        diver.generate_columns(int(pricing_steps * _FULL_DEMAND_SHARE), stop)
        pricing_steps -= diver.steps - before
        while steps > 0 and not (self.is_optimal or stop()):
            unmet_area, cost, sheets = objective(self.task, self.incumbent)
            cost_limit = None if unmet_area else cost
            sheets_left = self._rng.randint(1, min(_MAX_SHEETS_LEFT, max(2, sheets // 3)))
            before = diver.steps
            start = diver.partial_plan(
                sheets_left, steps, stop, cost_limit, by_slicing=pricing_steps > 0
            )
            steps_spent = diver.steps - before
            if pricing_steps > 0:
                pricing_steps -= steps_spent
                steps_spent = 0
            if start is not None:
                before = ruin_recreate.steps
                max_completion_steps = min(steps * RUIN_RECREATE_STEP_RATIO, _MAX_STALLED_STEPS)
                for plan in ruin_recreate.complete(
                    start, self.incumbent, max_completion_steps, stop
                ):
                    self._consider(plan, "completion")
                steps_spent += (ruin_recreate.steps - before) // RUIN_RECREATE_STEP_RATIO
            steps -= max(_MIN_STEPS, steps_spent)

    def reduce_patterns(self, deterministic_time: float, stop: Stop) -> None:
        """Reduce the patterns of the best plan, unless that was done for this plan already."""
        if self.incumbent != self._last_reduced and not has_too_many_pieces(self.incumbent):
            self._set_incumbent(
                reduce_patterns(
                    self.task,
                    self._cuts,
                    self._pool,
                    self.evaluator,
                    self.incumbent,
                    deterministic_time,
                    stop,
                )
            )
            self._last_reduced = self.incumbent

    def _consider(self, plan: Plan, method: str) -> None:
        """Keep a plan if it is the best so far; its patterns go into the pool in any case."""
        self._statistics[method] = self._statistics.get(method, 0) + 1
        self._pool.add_plan(plan)
        if not all(self.task.allows(pattern) for pattern, _ in plan):
            return
        evaluator = self.evaluator
        if (
            evaluator.optimistic_objective(plan) < self._objective
            and evaluator.objective(plan, self._evaluation_limit) < self._objective
        ):
            self._set_incumbent(plan)

    def _set_incumbent(self, plan: Plan) -> None:
        self.incumbent = plan
        self._objective = self.evaluator.objective(plan)

    @property
    def is_optimal(self) -> bool:
        """Whether no plan makes more, and none that makes as much costs less net."""
        unmet_area, net, _ = self._objective
        return unmet_area <= self.unmet_area_bound and net * self.task.price_unit <= self._net_bound

    @property
    def _may_make_more(self) -> bool:
        return self._objective[0] > self.unmet_area_bound

    @property
    def is_done(self) -> bool:
        """Whether nothing better can be found, or only other offcuts of the cheapest sheets.

        For these, set covering runs once.
        """
        return self.is_optimal or (self._has_covered and self._is_cheapest)

    @property
    def _is_cheapest(self) -> bool:
        """Whether no plan makes more, and none that makes as much costs less before offcuts."""
        incumbent_objective = objective(self._bounding_task, self.incumbent)[:2]
        return incumbent_objective <= (self.unmet_area_bound, self.cost_bound)

    @property
    def _net_bound(self) -> Fraction:
        item_cost = self.evaluator.min_item_cost(self.task.demand, self._objective[0])
        return self.cost_bound * self._bounding_task.price_unit + item_cost

    @property
    def state(self) -> SearchState:
        """The state of the search."""
        unit = self.task.price_unit
        _, price, sheets = objective(self.task, self.incumbent)
        return SearchState(
            self._objective[1] * unit,
            self._net_bound,
            price * unit,
            sheets,
            self.is_done,
            self._may_make_more,
        )

    def result(self) -> SearchResult:
        """Return the best plan with its cuts and offcuts, and the demands that its pieces serve."""
        task = self.task
        made, missing = assign_demands(task, self.incumbent)
        layouts = []
        offcut_value = Fraction(0)
        sheet_counts: dict[int, int] = {}
        for pattern, blanks, copies in made:
            placed, cuts, offcuts = self.evaluator.cut_pattern(pattern, blanks)
            stock = task.sheets[pattern.bin_type].stock
            layouts.append(Layout(stock.name, copies, placed, cuts, offcuts))
            offcut_value += self.evaluator.value_of_offcuts(pattern.bin_type, offcuts) * copies
            sheet_counts[pattern.bin_type] = sheet_counts.get(pattern.bin_type, 0) + copies
        cost = task.exact_cost(sheet_counts)
        return SearchResult(
            tuple(layouts),
            tuple(missing),
            cost,
            offcut_value,
            self._bound_of_made_items(),
            self._statistics,
            self._may_make_more,
        )

    def _bound_of_made_items(self) -> Fraction:
        """Bound the net cost, in money, of making the same pieces as the best plan does."""
        made = [0] * len(self.task.item_types)
        for pattern, copies in self.incumbent:
            for item_type, number in item_counts(pattern.placements).items():
                made[item_type] += number * copies
        item_cost = self.evaluator.min_item_cost(made)
        unit = self._bounding_task.price_unit
        if tuple(made) == self.task.demand or self.is_optimal:
            return self.cost_bound * unit + item_cost
        reduced_task = self._bounding_task.with_demand(made)
        return lower_bound(reduced_task, most=self._interlocking.max_copies) * unit + item_cost


_AssignedPattern = tuple[Pattern, tuple[Blank, ...], int]
"""A pattern, the blank that each of its placements makes, and copies."""


def assign_demands(
    task: Task, plan: Plan
) -> tuple[list[_AssignedPattern], list[tuple[Demand, int]]]:
    """Assign each piece of a plan to a demand: equal rectangles may serve several demands.

    Copies of a pattern serve the same demands as long as these last.

    Returns
    -------
    tuple of list
        Patterns with the blanks they make, and the demands that are not met, each with how many
        pieces are missing.
    """
    remaining = [
        [blank.demand.quantity for blank in blanks_of_type] for blanks_of_type in task.blanks
    ]
    assigned: list[_AssignedPattern] = []
    for pattern, copies in plan:
        while copies:
            taken: dict[tuple[int, int], int] = {}
            blanks: list[Blank] = []
            for placement in pattern.placements:
                queue = remaining[placement.item_type]
                member = next(
                    i for i, n in enumerate(queue) if n > taken.get((placement.item_type, i), 0)
                )
                taken[placement.item_type, member] = taken.get((placement.item_type, member), 0) + 1
                blanks.append(task.blanks[placement.item_type][member])
            same_copies = min(copies, *(remaining[s][m] // n for (s, m), n in taken.items()))
            for (item_type, member), number in taken.items():
                remaining[item_type][member] -= number * same_copies
            assigned.append((pattern, tuple(blanks), same_copies))
            copies -= same_copies
    missing = [
        (blank.demand, number)
        for blanks_of_type, numbers in zip(task.blanks, remaining, strict=True)
        for blank, number in zip(blanks_of_type, numbers, strict=True)
        if number
    ]
    return assigned, missing
