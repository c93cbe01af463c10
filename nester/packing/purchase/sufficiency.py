"""Which sheets are enough for one paper's pieces: what is shown by plans, and what is refuted.

Sheets that can be bought have no end in the task; those on hand are there anyway and cost nothing
more.  What is *shown* are plans, each with the sheets that it takes of what can be bought: as many
or more are enough.  What is *refuted* are sheets that break an inequality that every plan keeps to
(`feasibility_cuts.py`).  For few pieces every content of every sheet is known
(`feasible_contents.py`), and nothing is left between the two.
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
"""Plans that a choice looks at; of more, those with least paper."""
_SHEETS_LEFT_RANGE = (4, 12)
"""Least and most sheets that a dive leaves to recreation."""
_MAX_STALLED_STEPS = 500_000
"""Steps of recreation without a better plan after which a dive's start is given up."""
_MAX_PRICE_RATIO = 10_000
"""No further sheet is taken to cost less than such a part of the dearest."""
_STEPS_PER_SEPARATION = 5_000
"""What it costs to choose sheets, and to ask whether they break a known inequality."""
_MAX_DIVE_STEPS = 100_000
"""Steps of one dive at most."""

SheetCounts = tuple[int, ...]
"""So many of each kind; of kinds on hand, those that there are."""


class Column(NamedTuple):
    """What a sheet of a kind holds, and how that lies on it."""

    bin_type: int
    content: ItemCounts
    pattern: Pattern | None


class Sufficiency:
    """One paper's pieces.

    Attributes
    ----------
    plans
        Plans that make everything, by the sheets that they take of what can be bought.
    columns
        For few pieces: all largest contents, surely held or perhaps; None for more.
    inequalities
        What every plan keeps to, as far as it is known.
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
        # What is lacking has to count, also where a sheet costs next to nothing.
        least = max(1, *(kind.price // _MAX_PRICE_RATIO for kind in task.bin_types))
        self._prices = [
            None if size is None else max(least, kind.price)
            for kind, size in zip(task.bin_types, size_of, strict=True)
        ]
        self.estimated = EstimatedInequalities(task, cuts, self._rng, self.pool, self._prices)
        self._failed_searches: dict[SheetCounts, tuple[int, Fraction]] = {}

    # --- what is shown ----------------------------------------------------------------------

    def first_plan(self, start: Plan, stop: Stop) -> None:
        """Find one plan, quickly; some pieces may be made by a start already."""
        left, stock = list(self.task.demand), self._stock(None)
        for pattern, copies in start:
            stock[pattern.bin_type] -= copies
            for shape, number in item_counts(pattern.placements).items():
                left[shape] -= number * copies
        if not any(left):
            self.add_plan(start)
            return
        kinds = tuple(
            kind._replace(on_hand=number) if kind.on_hand is not None else kind
            for kind, number in zip(self.task.bin_types, stock, strict=True)
        )
        rest = replace(self.task, bin_types=kinds).with_demand(left)
        for plan in sequential_plans(rest, self._cuts, self._rng, 1, self.pool, stop):
            self.add_plan(merge_plans(start, plan))
        if not self.plans:
            raise AssertionError("sheets without end do not suffice")

    def add_plan(self, uses: Plan) -> bool:
        """Keep a plan if it makes everything with sheets of which less was not known to do."""
        if objective(self.task, uses)[0] or not all(self.task.allows(p) for p, _ in uses):
            return False
        taken = [0] * len(self.task.bin_types)
        for pattern, copies in uses:
            if self.size_of[pattern.bin_type] is not None:
                taken[pattern.bin_type] += copies
        sheets = tuple(taken)
        self.pool.add_plan(uses)
        if self.plan_for(sheets) is not None:
            return False
        for known in [k for k in self.plans if _covers(k, sheets)]:
            del self.plans[known]
        self.plans[sheets] = uses
        return True

    def plan_for(self, sheets: Sequence[int]) -> Plan | None:
        """Return a known plan for which such sheets are enough."""
        return next((uses for known, uses in self.plans.items() if _covers(sheets, known)), None)

    def smallest_sufficient_sheets(self) -> list[SheetCounts]:
        """Return the sheets of known plans, those with least paper first, but not too many."""
        areas = [kind.area for kind in self.task.bin_types]

        def area(sheets: SheetCounts) -> int:
            return sum(n * one for n, one in zip(sheets, areas, strict=True))

        return sorted(self.plans, key=area)[:_MAX_PLANS]

    def max_output_plan(self, steps: int, stop: Stop) -> Plan:
        """Return a plan that makes as much as can be found, where not everything can be made."""
        plans = sequential_plans(self.task, self._cuts, self._rng, 1, self.pool, stop)
        best = min(plans, key=lambda uses: objective(self.task, uses))
        if not objective(self.task, best)[0] or not self._can_improve(best):
            return best
        for plan in RuinAndRecreate(self.task, self._rng, self.pool).plans(steps, best, stop):
            if not objective(self.task, best := plan)[0]:
                break
        return best

    def search_patterns(self, steps: int, stop: Stop) -> None:
        """Seek cheap plans at the task's prices, sheets being had without end."""
        recreator = RuinAndRecreate(self.task, self._rng, self.pool)
        best = min(self.plans.values(), key=lambda uses: objective(self.task, uses))
        if not self._can_improve(best):
            return
        for plan in recreator.plans(steps * RUIN_RECREATE_STEP_RATIO // 4, best, stop):
            self.add_plan(plan)
        # The layouts that it finds serve whatever sheets are bought.
        DivingHeuristic(self.task, self._cuts, self._rng, self.pool).generate_columns(
            3 * steps // 4, stop
        )

    def _can_improve(self, uses: Plan) -> bool:
        """Whether the methods that work plans over know the rules of this task, and have time."""
        return self.task.is_unrestricted and not has_too_many_pieces(uses)

    def search_plan(self, sheets: Sequence[int], steps: int, stop: Stop) -> Fraction:
        """Seek a plan for which such sheets are enough; return the share that is left unmade.

        If so many steps have been spent on them in vain they aren't spent again.
        """
        if self.plan_for(sheets) is not None:
            return Fraction(0)
        asked = tuple(sheets)
        spent, missed = self._failed_searches.get(asked, (0, Fraction(1)))
        if spent >= steps:
            return missed
        limited = self.limited_task(sheets)
        best: Plan = min(
            self._start_plans(limited, stop), key=lambda uses: objective(limited, uses)
        )
        for plan in self._improved_plans(limited, best, steps, stop):
            best = plan
            if not objective(limited, best)[0]:
                break
        self.add_plan(best)
        area = sum(shape.area * shape.demand for shape in self.task.item_types)
        missed = Fraction(objective(limited, best)[0], max(1, area))
        self._failed_searches[asked] = steps, missed
        return missed

    def _improved_plans(self, limited: Task, best: Plan, steps: int, stop: Stop) -> Iterator[Plan]:
        """Yield better and better plans from limited sheets, while steps last."""
        if not objective(limited, best)[0] or not self._can_improve(best):
            return
        recreator = RuinAndRecreate(limited, self._rng, self.pool)
        for plan in recreator.plans(steps // 2 * RUIN_RECREATE_STEP_RATIO, best, stop):
            best = plan
            yield best
        diver = DivingHeuristic(limited, self._cuts, self._rng, self.pool)
        left = steps - steps // 2
        while left > 0 and not stop():
            dived, recreated = diver.steps, recreator.steps
            fewest = self._rng.randint(*_SHEETS_LEFT_RANGE)
            start = diver.partial_plan(fewest, min(left, _MAX_DIVE_STEPS), stop, None) or ()
            each = min(left * RUIN_RECREATE_STEP_RATIO, _MAX_STALLED_STEPS)
            for plan in recreator.complete(start, best, each, stop):
                best = plan
                yield best
            recreated = recreator.steps - recreated
            left -= max(1000, diver.steps - dived + recreated // RUIN_RECREATE_STEP_RATIO)

    def _start_plans(self, limited: Task, stop: Stop) -> Iterator[Plan]:
        """Yield plans from limited sheets: a new one, and the nearest known one without others."""
        yield from sequential_plans(limited, self._cuts, self._rng, 1, self.pool, stop)
        areas = [shape.area for shape in self.task.item_types]
        trimmed = []
        for uses in list(self.plans.values())[-_MAX_PLANS:]:
            stock = [limited.max_sheets(kind) for kind in range(len(limited.bin_types))]
            kept = []
            # Fullest sheets first.
            for pattern, copies in sorted(
                uses, key=lambda use: -sum(areas[spot.item_type] for spot in use[0].placements)
            ):
                some = min(copies, stock[pattern.bin_type])
                if some:
                    stock[pattern.bin_type] -= some
                    kept.append((pattern, some))
            trimmed.append(tuple(kept))
        if trimmed:
            yield min(trimmed, key=lambda uses: objective(limited, uses))

    def limited_task(self, sheets: Sequence[int]) -> Task:
        """Return the task with no more than such sheets."""
        kinds = tuple(
            kind._replace(on_hand=number)
            for kind, number in zip(self.task.bin_types, self._stock(sheets), strict=True)
        )
        return replace(self.task, bin_types=kinds)

    def _stock(self, sheets: Sequence[int] | None) -> list[int]:
        return [
            self.task.max_sheets(kind) if size is None or sheets is None else sheets[kind]
            for kind, size in enumerate(self.size_of)
        ]

    # --- what is refuted --------------------------------------------------------------------

    def enumerate_patterns(self, most_steps: int, stop: Stop) -> None:
        """Find every content of every sheet, if so many steps suffice."""
        task = self.task
        if not task.is_unrestricted or count_splits(task.demand) > 2 * most_steps:
            return
        try:
            contents = FeasiblePatterns(task, self._cuts, most_steps, 60.0, stop)
        except TooManyPatterns:
            return
        kinds = range(len(task.bin_types))
        self.columns = (
            [
                Column(kind, content, Pattern(kind, contents.placements(kind, content)))
                for kind in kinds
                for content in contents.maximal(kind, surely=True)
            ],
            [
                Column(kind, content, None)
                for kind in kinds
                for content in contents.maximal(kind, surely=False)
            ],
        )

    @property
    def separation_steps(self) -> int:
        """Steps spent on refuting so far."""
        parts = (self._pricing, self._separator)
        return self._query_steps + sum(part.steps for part in parts if part is not None)

    def separate(self, sheets: Sequence[int], steps: int, stop: Stop) -> bool:
        """Seek an inequality that such sheets break, in so many steps; say if one was found."""
        self._query_steps += _STEPS_PER_SEPARATION
        if steps <= 0 or self.plan_for(sheets) is not None:
            return False
        stock, demand = self._stock(sheets), self.task.demand
        if any(one.total_capacity(stock) < one.total_weight(demand) for one in self.inequalities):
            return False  # it is known; the solver counts what is almost held as held
        found = self._dual_feasible_functions.most_violated(stock, demand)
        if found is None:
            found = self._feasibility_cut(stock, steps, stop)
        if found is None:
            return False
        self.inequalities.append(found)
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
                pattern.bin_type, {shape: float(n) for shape, n in counts.items()}
            )
        self._patterns_read = len(self.pool)
        return self._separator.separate(stock, steps, stop)

    def separate_estimated(self, sheets: Sequence[int], steps: int, stop: Stop) -> bool:
        """Say whether such sheets are not likely to be enough, by `estimated`."""
        return self.estimated.separate(self._stock(sheets), steps, stop)

    def surplus(self, sheets: Sequence[int]) -> Fraction:
        """Return by what share such sheets surpass what is likely to be needed."""
        stock = self._stock(sheets)
        demand = self.task.demand
        return min(
            (
                Fraction(one.total_capacity(stock), one.total_weight(demand)) - 1
                for one in (*self.inequalities, *self.estimated.inequalities)
                if one.total_weight(demand)
            ),
            default=Fraction(0),
        )


def _covers(some: Sequence[int], others: Sequence[int]) -> bool:
    return all(one >= other for one, other in zip(some, others, strict=True))
