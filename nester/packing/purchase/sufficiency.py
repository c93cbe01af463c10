"""Which sheets suffice for one paper's pieces: shown by plans, or refuted by inequalities.

Sheets that can be bought are unlimited in the task; sheets on hand are free.  That sheets suffice
is shown by a plan that uses no more of those that can be bought.  That they don't is proven by an
inequality that they violate (`feasibility_cuts.py`).  For few pieces all maximal patterns are
enumerated (`feasible_contents.py`), and every question has an answer.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from random import Random
from typing import NamedTuple

from nester.core.problem import Cuts
from nester.packing.bounds.dual_bound import PricingBound
from nester.packing.bounds.dual_feasible_functions import DualFeasibleFunctions
from nester.packing.bounds.lower_bound import quick_pricing
from nester.packing.bounds.valid_inequalities import ValidInequality
from nester.packing.exact.feasible_contents import FeasiblePatterns, TooManyPatterns
from nester.packing.exact.guillotine_fronts import ItemCounts, count_splits
from nester.packing.purchase.expected_capacity import EstimatedInequalities
from nester.packing.purchase.feasibility_cuts import FeasibilityCutSeparator
from nester.packing.runtime.stop import Stop
from nester.packing.search.diving import DivingHeuristic
from nester.packing.search.ruin_recreate import RUIN_RECREATE_STEP_RATIO, RuinAndRecreate
from nester.packing.search.value_correction import sequential_plans
from nester.packing.task.pattern_pool import (
    PatternPool,
    Plan,
    has_too_many_pieces,
    merge_plans,
    objective,
)
from nester.packing.task.task import Pattern, Task, item_counts

__all__ = ["Column", "SheetCounts", "Sufficiency"]

_SEED = 1
_MAX_PLANS = 40
"""Plans given to the pack master; of more, those with the least paper."""
_SHEETS_LEFT_RANGE = (4, 12)
"""Range of the number of sheets that a dive leaves to ruin and recreate."""
_MAX_STALLED_STEPS = 500_000
"""Steps of ruin and recreate without a better plan before a start is given up."""
_MAX_PRICE_RATIO = 10_000
"""A sheet is assumed to cost at least the highest price divided by this."""
_STEPS_PER_SEPARATION = 5_000
"""Overhead of choosing sheets and checking the known inequalities."""
_MAX_DIVE_STEPS = 100_000
"""Limit on the steps of one dive."""

SheetCounts = tuple[int, ...]
"""Numbers of sheets by bin type; of bin types on hand, all that there are."""


class Column(NamedTuple):
    """A maximal content of a bin type, and its pattern."""

    bin_type: int
    content: ItemCounts
    pattern: Pattern | None


class Sufficiency:
    """What is known about the sheets that one paper's pieces need.

    Attributes
    ----------
    plans
        Complete plans, by the sheets that they use of what can be bought.
    columns
        For few pieces: all maximal contents, first the proven ones, then those that may be
        feasible; else None.
    inequalities
        Valid inequalities found so far.
    """

    def __init__(self, task: Task, cuts: Cuts, size_of: Sequence[int | None]) -> None:
        self.task = task
        self.size_of = tuple(size_of)
        self._cuts = cuts
        self._rng = Random(f"{_SEED} {task.paper}")  # noqa: S311 - for a search, not for secrets
        self.pool = PatternPool(task)
        self.plans: dict[SheetCounts, Plan] = {}
        self.columns: tuple[list[Column], list[Column]] | None = None
        self._dual_feasible_functions = DualFeasibleFunctions(task)
        self._pricing: PricingBound | None = None
        self._separator: FeasibilityCutSeparator | None = None
        self._query_steps = 0
        self._patterns_read = 0
        self.inequalities = [self._dual_feasible_functions.area_inequality()]
        # The linear program needs positive prices, also where a sheet costs next to nothing.
        min_price = max(1, *(sheet_type.price // _MAX_PRICE_RATIO for sheet_type in task.bin_types))
        self._prices = [
            None if size is None else max(min_price, sheet_type.price)
            for sheet_type, size in zip(task.bin_types, size_of, strict=True)
        ]
        self.estimated = EstimatedInequalities(task, cuts, self._rng, self.pool, self._prices)
        self._failed_searches: dict[SheetCounts, tuple[int, Fraction]] = {}

    # --- plans ------------------------------------------------------------------------------

    def first_plan(self, start: Plan, stop: Stop) -> None:
        """Find one complete plan quickly, which includes the sheets of a start."""
        remaining, stock = list(self.task.demand), self._stock(None)
        for pattern, copies in start:
            stock[pattern.bin_type] -= copies
            for item_type, number in item_counts(pattern.placements).items():
                remaining[item_type] -= number * copies
        if not any(remaining):
            self.add_plan(start)
            return
        bin_types = tuple(
            sheet_type._replace(on_hand=number) if sheet_type.on_hand is not None else sheet_type
            for sheet_type, number in zip(self.task.bin_types, stock, strict=True)
        )
        remaining_task = replace(self.task, bin_types=bin_types).with_demand(remaining)
        for plan in sequential_plans(remaining_task, self._cuts, self._rng, 1, self.pool, stop):
            self.add_plan(merge_plans(start, plan))
        if not self.plans:
            raise AssertionError("sheets without end do not suffice")

    def add_plan(self, plan: Plan) -> bool:
        """Keep a plan if it is complete and no known plan needs as few sheets or fewer."""
        if objective(self.task, plan)[0] or not all(self.task.allows(p) for p, _ in plan):
            return False
        used = [0] * len(self.task.bin_types)
        for pattern, copies in plan:
            if self.size_of[pattern.bin_type] is not None:
                used[pattern.bin_type] += copies
        sheets = tuple(used)
        self.pool.add_plan(plan)
        if self.plan_for(sheets) is not None:
            return False
        for sufficient in [k for k in self.plans if _covers(k, sheets)]:
            del self.plans[sufficient]
        self.plans[sheets] = plan
        return True

    def plan_for(self, sheets: Sequence[int]) -> Plan | None:
        """Return a known plan for which these sheets suffice."""
        return next(
            (plan for sufficient, plan in self.plans.items() if _covers(sheets, sufficient)), None
        )

    def smallest_sufficient_sheets(self) -> list[SheetCounts]:
        """Return the sheets of known plans, least paper first, at most `_MAX_PLANS`."""
        areas = [sheet_type.area for sheet_type in self.task.bin_types]

        def area(sheets: SheetCounts) -> int:
            return sum(n * area for n, area in zip(sheets, areas, strict=True))

        return sorted(self.plans, key=area)[:_MAX_PLANS]

    def max_output_plan(self, steps: int, stop: Stop) -> Plan:
        """Return a plan that makes as much area as possible, where sheets are limited."""
        plans = sequential_plans(self.task, self._cuts, self._rng, 1, self.pool, stop)
        best = min(plans, key=lambda candidate: objective(self.task, candidate))
        if not objective(self.task, best)[0] or not self._can_improve(best):
            return best
        for plan in RuinAndRecreate(self.task, self._rng, self.pool).plans(steps, best, stop):
            if not objective(self.task, best := plan)[0]:
                break
        return best

    def search_patterns(self, steps: int, stop: Stop) -> None:
        """Look for cheap plans at the task's prices with unlimited sheets."""
        ruin_recreate = RuinAndRecreate(self.task, self._rng, self.pool)
        best = min(self.plans.values(), key=lambda known_plan: objective(self.task, known_plan))
        if not self._can_improve(best):
            return
        for plan in ruin_recreate.plans(steps * RUIN_RECREATE_STEP_RATIO // 4, best, stop):
            self.add_plan(plan)
        # Its patterns serve whatever sheets are bought.
        DivingHeuristic(self.task, self._cuts, self._rng, self.pool).generate_columns(
            3 * steps // 4, stop
        )

    def _can_improve(self, plan: Plan) -> bool:
        """Whether ruin and recreate knows the rules of this task, and the plan is not too large."""
        return self.task.is_unrestricted and not has_too_many_pieces(plan)

    def search_plan(self, sheets: Sequence[int], steps: int, stop: Stop) -> Fraction:
        """Look for a complete plan from these sheets; return the share of area left unmade.

        If as many steps were spent on these sheets before, that result is returned.
        """
        if self.plan_for(sheets) is not None:
            return Fraction(0)
        key = tuple(sheets)
        steps_spent, unmade_share = self._failed_searches.get(key, (0, Fraction(1)))
        if steps_spent >= steps:
            return unmade_share
        limited = self.limited_task(sheets)
        best: Plan = min(
            self._start_plans(limited, stop), key=lambda plan: objective(limited, plan)
        )
        for plan in self._improved_plans(limited, best, steps, stop):
            best = plan
            if not objective(limited, best)[0]:
                break
        self.add_plan(best)
        area = sum(item.area * item.demand for item in self.task.item_types)
        unmade_share = Fraction(objective(limited, best)[0], max(1, area))
        self._failed_searches[key] = steps, unmade_share
        return unmade_share

    def _improved_plans(self, limited: Task, best: Plan, steps: int, stop: Stop) -> Iterator[Plan]:
        """Yield better and better plans from limited sheets while steps last.

        Half of the steps goes to ruin and recreate, half to dives that it completes.
        """
        if not objective(limited, best)[0] or not self._can_improve(best):
            return
        ruin_recreate = RuinAndRecreate(limited, self._rng, self.pool)
        for plan in ruin_recreate.plans(steps // 2 * RUIN_RECREATE_STEP_RATIO, best, stop):
            best = plan
            yield best
        diving = DivingHeuristic(limited, self._cuts, self._rng, self.pool)
        steps_left = steps - steps // 2
        while steps_left > 0 and not stop():
            diving_before, recreate_before = diving.steps, ruin_recreate.steps
            min_sheets_left = self._rng.randint(*_SHEETS_LEFT_RANGE)
            start = (
                diving.partial_plan(min_sheets_left, min(steps_left, _MAX_DIVE_STEPS), stop, None)
                or ()
            )
            max_completion_steps = min(steps_left * RUIN_RECREATE_STEP_RATIO, _MAX_STALLED_STEPS)
            for plan in ruin_recreate.complete(start, best, max_completion_steps, stop):
                best = plan
                yield best
            recreate_before = ruin_recreate.steps - recreate_before
            steps_left -= max(
                1000, diving.steps - diving_before + recreate_before // RUIN_RECREATE_STEP_RATIO
            )

    def _start_plans(self, limited: Task, stop: Stop) -> Iterator[Plan]:
        """Yield plans from limited sheets: a new one, and the best known one cut down to them."""
        yield from sequential_plans(limited, self._cuts, self._rng, 1, self.pool, stop)
        areas = [item.area for item in self.task.item_types]
        trimmed = []
        for plan in list(self.plans.values())[-_MAX_PLANS:]:
            stock = [limited.max_sheets(bin_type) for bin_type in range(len(limited.bin_types))]
            kept = []
            # Fullest sheets first.
            for pattern, copies in sorted(
                plan,
                key=lambda use: -sum(areas[placement.item_type] for placement in use[0].placements),
            ):
                copies_left = min(copies, stock[pattern.bin_type])
                if copies_left:
                    stock[pattern.bin_type] -= copies_left
                    kept.append((pattern, copies_left))
            trimmed.append(tuple(kept))
        if trimmed:
            yield min(trimmed, key=lambda plan: objective(limited, plan))

    def limited_task(self, sheets: Sequence[int]) -> Task:
        """Return the task with just these sheets."""
        bin_types = tuple(
            sheet_type._replace(on_hand=number)
            for sheet_type, number in zip(self.task.bin_types, self._stock(sheets), strict=True)
        )
        return replace(self.task, bin_types=bin_types)

    def _stock(self, sheets: Sequence[int] | None) -> list[int]:
        return [
            self.task.max_sheets(bin_type) if size is None or sheets is None else sheets[bin_type]
            for bin_type, size in enumerate(self.size_of)
        ]

    # --- inequalities -----------------------------------------------------------------------

    def enumerate_patterns(self, max_steps: int, stop: Stop) -> None:
        """Enumerate the maximal contents of every bin type, if the steps suffice."""
        task = self.task
        if not task.is_unrestricted or count_splits(task.demand) > 2 * max_steps:
            return
        try:
            feasible = FeasiblePatterns(task, self._cuts, max_steps, 60.0, stop)
        except TooManyPatterns:
            return
        bin_types = range(len(task.bin_types))
        self.columns = (
            [
                Column(bin_type, content, Pattern(bin_type, feasible.placements(bin_type, content)))
                for bin_type in bin_types
                for content in feasible.maximal(bin_type, surely=True)
            ],
            [
                Column(bin_type, content, None)
                for bin_type in bin_types
                for content in feasible.maximal(bin_type, surely=False)
            ],
        )

    @property
    def separation_steps(self) -> int:
        """Steps spent on separation so far."""
        solvers = (self._pricing, self._separator)
        return self._query_steps + sum(part.steps for part in solvers if part is not None)

    def separate(self, sheets: Sequence[int], steps: int, stop: Stop) -> bool:
        """Look for a valid inequality that these sheets violate; return whether one was found."""
        self._query_steps += _STEPS_PER_SEPARATION
        if steps <= 0 or self.plan_for(sheets) is not None:
            return False
        stock, demand = self._stock(sheets), self.task.demand
        if any(
            inequality.total_capacity(stock) < inequality.total_weight(demand)
            for inequality in self.inequalities
        ):
            return False  # known already; the solver chose these sheets within its tolerance
        inequality = self._dual_feasible_functions.most_violated(stock, demand)
        if inequality is None:
            inequality = self._feasibility_cut(stock, steps, stop)
        if inequality is None:
            return False
        self.inequalities.append(inequality)
        return True

    def _feasibility_cut(
        self, stock: Sequence[int], steps: int, stop: Stop
    ) -> ValidInequality | None:
        if self._pricing is None:
            self._pricing = quick_pricing(self.task, self._cuts)
            if self._pricing is None:
                return None
            self._separator = FeasibilityCutSeparator(self.task, self._pricing, self._prices)
        if self._separator is None:
            return None
        for pattern, counts in self.pool.added_since(self._patterns_read):
            self._separator.add_column(
                pattern.bin_type, {item_type: float(n) for item_type, n in counts.items()}
            )
        self._patterns_read = len(self.pool)
        return self._separator.separate(stock, steps, stop)

    def separate_estimated(self, sheets: Sequence[int], steps: int, stop: Stop) -> bool:
        """Return whether a new estimated inequality rules out these sheets."""
        return self.estimated.separate(self._stock(sheets), steps, stop)

    def surplus(self, sheets: Sequence[int]) -> Fraction:
        """Return by what share these sheets exceed what the inequalities need."""
        stock = self._stock(sheets)
        demand = self.task.demand
        return min(
            (
                Fraction(inequality.total_capacity(stock), inequality.total_weight(demand)) - 1
                for inequality in (*self.inequalities, *self.estimated.inequalities)
                if inequality.total_weight(demand)
            ),
            default=Fraction(0),
        )


def _covers(sheets: Sequence[int], needed: Sequence[int]) -> bool:
    return all(available >= required for available, required in zip(sheets, needed, strict=True))
