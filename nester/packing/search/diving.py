"""Whole plans by column generation and diving.

Column generation (Gilmore and Gomory, Operations Research 9, 1961, and 11, 1963): the linear
program over known patterns (`restricted_master.py`) gives each item type a dual value, and patterns
whose pieces have more value than their sheet costs are looked for.  The pricing problem is solved
heuristically: by strips (`strip_knapsack.py`), by greedy fillings in the order of dual value per
area, and for all pieces and thorough dives by dynamic programming (`guillotine_dp.py`).

Diving rounds the linear program to a plan (Sadykov and others, "Primal heuristics for branch and
price", INFORMS Journal on Computing 31, 2019): fix the columns it uses most, update the demand, and
price again for what is left.

The last sheets of a dive are poor, as few pieces are left to choose from.  So a dive may also end
early and leave a start that ruin and recreate completes.  The cost of the fixed columns and the
linear program together only rises during a dive, so a dive that would end no cheaper than the best
plan is given up.
"""

from __future__ import annotations

from collections.abc import Iterator
from random import Random

from nester.core.problem import Cuts
from nester.packing.patterns.greedy import randomized_order
from nester.packing.patterns.guillotine_dp import GuillotineDP
from nester.packing.patterns.staged_greedy import make_filler
from nester.packing.patterns.strip_knapsack import StripKnapsack
from nester.packing.runtime.stop import Stop
from nester.packing.search.restricted_master import ColumnValue, DualValues, RestrictedMaster
from nester.packing.task.pattern_pool import PatternPool, Plan
from nester.packing.task.task import Pattern, Placement, Task, item_counts

__all__ = ["DivingHeuristic"]

_FILLINGS_PER_PRICING = 20
"""Greedy fillings of each bin type for one set of dual values."""
_FIRST_ROUNDS = 30
_ROUNDS = 3
"""Rounds of pricing at the start of the first dive, and after columns are fixed."""
_NEAR_MAXIMUM = 0.8
"""A column is drawn among those with at least this part of the largest value."""
_START_TRIES, _START_ROUNDS = 5, 1
"""Fillings and rounds of a dive that only makes a start: many starts beat a few good ones."""
_MAX_START_STEPS = 3_000_000
"""A start is taken as it is after this many steps."""
_PATTERNS_PER_TABLE = 20
"""Patterns sampled for each bin type from one table of the dynamic program."""
_DUAL_DISCOUNT = 0.98
"""Factor by which the dual value of an overused item type is reduced."""
_MAX_FAILED_PRICINGS = 5
"""Rounds without an improving pattern after which the linear program counts as solved."""
_MAX_OVERRUN = 400_000
"""A dive that exceeds its budget by this many steps is given up; its patterns are kept."""


class DivingHeuristic:
    """Dives repeatedly; each dive starts from the columns of earlier ones."""

    def __init__(self, task: Task, cuts: Cuts, rng: Random, pool: PatternPool) -> None:
        self._task = task
        self._rng = rng
        self._pool = pool
        cut_modes = (Cuts.STRAIGHT,) if cuts is Cuts.STRAIGHT else (Cuts.FREE, Cuts.STRAIGHT)
        self._fillers = [make_filler(task, cut_mode, rng) for cut_mode in cut_modes]
        self._strips = StripKnapsack(task, rng)
        self._slicing: GuillotineDP | None = None
        self._master = RestrictedMaster(task)
        self._columns_read = 0
        self._is_first_dive = True
        self._tries, self._rounds = _FILLINGS_PER_PRICING, _ROUNDS
        self._estimated_cost = 0.0

    @property
    def steps(self) -> int:
        """Steps spent so far by pricing and by the linear program, in steps of filling."""
        filler_steps = sum(filler.steps for filler in self._fillers)
        dp_steps = self._slicing.steps if self._slicing else 0
        return self._master.steps + self._strips.steps + dp_steps + filler_steps

    def plans(self, steps: int, stop: Stop) -> Iterator[Plan]:
        """Yield plans until `steps` more are spent; at least one, perhaps incomplete."""
        self._tries, self._rounds = _FILLINGS_PER_PRICING, _ROUNDS
        end = self.steps + steps
        while True:
            yield self._dive(end + _MAX_OVERRUN, stop)
            if self.steps >= end or stop():
                return

    def generate_columns(self, steps: int, stop: Stop) -> None:
        """Improve the linear program for all pieces by column generation, while steps last."""
        remaining, stock = self._full_demand()
        self._tries = _START_TRIES
        discounts = [1.0] * len(remaining)
        failures = 0
        end = self.steps + steps
        self._master.set_demand(remaining, stock)
        self._add_new_columns()
        while self.steps < end and failures < _MAX_FAILED_PRICINGS and not stop():
            duals = self._master.dual_values()
            found = self._price_by_slicing(duals, remaining, stock, discounts)
            found |= self._price_by_filling(duals, remaining, stock)
            failures = 0 if found else failures + 1

    def _full_demand(self) -> tuple[list[int], list[int]]:
        """Return the demand for each item type, and the number of sheets of each bin type."""
        bin_types = range(len(self._task.bin_types))
        return list(self._task.demand), [self._task.max_sheets(bin_type) for bin_type in bin_types]

    def least_reduced_cost(self, number: int) -> list[tuple[Pattern, dict[int, int]]]:
        """Return the patterns of least reduced cost for the full demand, and their pieces."""
        self._master.set_demand(*self._full_demand())
        self._add_new_columns()
        return self._master.least_reduced_cost(number)

    def _price_by_slicing(
        self, duals: DualValues, remaining: list[int], stock: list[int], discounts: list[float]
    ) -> bool:
        """Price by dynamic programming; return whether a new improving pattern was found.

        The dynamic program knows no limit on copies, so its table may overrate patterns that hold
        more of an item type than is left; the sampled patterns then fall short of it.  The dual
        values of item types that run out are therefore reduced until an improving pattern is found.

        Parameters
        ----------
        discounts
            Factors of the dual values, one per item type; changed.
        """
        guillotine_dp = self._slicing = self._slicing or GuillotineDP(self._task, self._rng)
        guillotine_dp.build_table(
            remaining,
            [dual * discount for dual, discount in zip(duals.item_duals, discounts, strict=True)],
        )
        found = False
        exhausted: set[int] = set()
        for bin_type in range(len(self._task.bin_types)):
            min_value = duals.bin_costs[bin_type] * (1 + 1e-6) + 1e-9
            if not stock[bin_type] or guillotine_dp.max_value(bin_type) <= min_value:
                continue
            for placements in guillotine_dp.sample_layouts(bin_type, _PATTERNS_PER_TABLE):
                counts = item_counts(placements)
                exhausted.update(
                    index for index, number in counts.items() if number == remaining[index]
                )
                if sum(duals.item_duals[index] * n for index, n in counts.items()) > min_value:
                    found |= self._pool.add(Pattern(bin_type, placements))
        self._add_new_columns()
        for index, discount in enumerate(discounts):
            if found:
                discounts[index] = (1 + discount) / 2
            elif index in exhausted:
                discounts[index] = discount * _DUAL_DISCOUNT
        return found

    def partial_plan(
        self,
        sheets_left: int,
        steps: int,
        stop: Stop,
        cost_limit: int | None,
        *,
        by_slicing: bool = False,
    ) -> Plan | None:
        """Dive until the linear program needs at most `sheets_left` more sheets, or steps run out.

        Parameters
        ----------
        cost_limit
            None is returned once the fixed columns and the linear program for the rest cost this
            much.
        by_slicing
            Whether each round of pricing uses the dynamic program too.
        """
        self._tries, self._rounds = _START_TRIES, _START_ROUNDS
        max_steps = self.steps + min(steps, _MAX_START_STEPS)
        cut = self._dive(max_steps, stop, sheets_left, cost_limit, by_slicing=by_slicing)
        return None if cost_limit is not None and self._estimated_cost >= cost_limit else cut

    def _cost(self, cut: Plan) -> int:
        return sum(copies * self._task.bin_types[pattern.bin_type].price for pattern, copies in cut)

    def _dive(
        self,
        max_steps: int,
        stop: Stop,
        sheets_left: int = 0,
        cost_limit: int | None = None,
        *,
        by_slicing: bool = False,
    ) -> Plan:
        """Alternate between column generation and fixing columns; return the fixed ones."""
        remaining, stock = self._full_demand()
        cut: dict[Pattern, int] = {}
        self._estimated_cost = 0.0
        rounds = _FIRST_ROUNDS if self._is_first_dive else self._rounds
        self._is_first_dive = False
        while any(remaining) and self.steps < max_steps and not stop():
            self._master.set_demand(remaining, stock)
            self._add_new_columns()
            for _ in range(rounds):
                if self.steps >= max_steps:
                    break
                duals = self._master.dual_values()
                found = by_slicing and self._price_by_slicing(
                    duals, remaining, stock, [1.0] * len(remaining)
                )
                if not self._price_by_filling(duals, remaining, stock) and not found:
                    break
            rounds = self._rounds
            columns = self._master.primal_solution()
            remaining_cost = sum(
                column.value * self._task.bin_types[column.pattern.bin_type].price
                for column in columns
            )
            self._estimated_cost = self._cost(tuple(cut.items())) + remaining_cost
            if cost_limit is not None and self._estimated_cost >= cost_limit:
                break
            if sum(column.value for column in columns) <= sheets_left:
                break
            chosen = self._fix_columns(columns, remaining, stock)
            if not chosen:
                break
            for pattern, copies in chosen:
                cut[pattern] = cut.get(pattern, 0) + copies
        return tuple(cut.items())

    def _add_new_columns(self) -> None:
        """Add the patterns that were added to the pool since the last time as columns."""
        for pattern, counts in self._pool.added_since(self._columns_read):
            self._master.add_column(pattern, counts)
        self._columns_read = len(self._pool)

    def _price_by_filling(self, duals: DualValues, remaining: list[int], stock: list[int]) -> bool:
        """Price greedily and by strips; return whether a new improving pattern was found."""
        item_duals, item_types = duals.item_duals, self._task.item_types
        candidates = [i for i, number in enumerate(remaining) if number and item_duals[i] > 1e-9]
        if not candidates:
            return False
        densest = max(item_duals[i] / item_types[i].solid_area for i in candidates)
        found = False
        for bin_type, size in enumerate(self._task.bin_types):
            min_value = duals.bin_costs[bin_type] * (1 + 1e-6) + 1e-9
            if not stock[bin_type] or densest * size.area <= min_value:
                continue
            fillings = [
                self._strips.fill(bin_type, remaining, item_duals, down=down)
                for down in (False, True)
            ]
            tries = max(1, self._tries // len(self._task.bin_types))
            fillings += (
                self._fill(bin_type, remaining, candidates, item_duals, attempt)
                for attempt in range(tries)
            )
            for placements in fillings:
                if sum(item_duals[placement.item_type] for placement in placements) > min_value:
                    found |= self._pool.add(Pattern(bin_type, placements))
        self._add_new_columns()
        return found

    def _fill(
        self,
        bin_type: int,
        remaining: list[int],
        candidates: list[int],
        item_duals: tuple[float, ...],
        attempt: int,
    ) -> tuple[Placement, ...]:
        order = randomized_order(self._task.item_types, candidates, item_duals, self._rng)
        size = self._task.bin_types[bin_type]
        filler = self._fillers[attempt % len(self._fillers)]
        return filler.fill(size.width, size.height, remaining, order, spoiled=size.defects)

    def _fix_columns(
        self, columns: list[ColumnValue], remaining: list[int], stock: list[int]
    ) -> list[tuple[Pattern, int]]:
        """Round down the values of all columns; if that gives no sheet, fix one of a large column.

        The demand and the stock are reduced by what is fixed.
        """
        chosen = []
        for pattern, counts, sheets in columns:
            copies = min(
                int(sheets + 1e-6),
                stock[pattern.bin_type],
                *(remaining[item_type] // number for item_type, number in counts.items()),
            )
            if copies:
                chosen.append((pattern, copies))
                _subtract_counts(counts, copies, pattern.bin_type, remaining, stock)
        if chosen:
            return chosen
        available = [column for column in columns if stock[column.pattern.bin_type]]
        if not available:
            return []
        largest = max(column.value for column in available)
        near_largest = [column for column in available if column.value >= _NEAR_MAXIMUM * largest]
        pattern = _without_surplus(self._rng.choice(near_largest).pattern, remaining)
        _subtract_counts(item_counts(pattern.placements), 1, pattern.bin_type, remaining, stock)
        return [(pattern, 1)] if pattern.placements else []


def _subtract_counts(
    counts: dict[int, int], copies: int, bin_type: int, remaining: list[int], stock: list[int]
) -> None:
    for item_type, number in counts.items():
        remaining[item_type] -= number * copies
    stock[bin_type] -= copies


def _without_surplus(pattern: Pattern, remaining: list[int]) -> Pattern:
    """Return a pattern without the pieces beyond the remaining demand."""
    remaining_of = dict(enumerate(remaining))
    placements = []
    for placement in pattern.placements:
        if remaining_of[placement.item_type]:
            remaining_of[placement.item_type] -= 1
            placements.append(placement)
    return Pattern(pattern.bin_type, tuple(placements))
