"""Whole plans by diving: price, choose the layout the prices like best, cut by it, price again.

Column generation (Gilmore and Gomory) with a rounding heuristic (Sadykov and others, "Primal
heuristics for branch and price", INFORMS Journal on Computing 31, 2019): the linear programme over
known layouts prices the pieces still to be made; layouts worth more than their sheet costs are
sought by strips (`strip_knapsack.py`) and by greedy fillings in the order of worth for area, for
all pieces and where a dive is to be a thorough one by slicing as well (`guillotine_dp.py`); then
the layout used most is cut, and what is left is priced anew.

The last sheets of a dive are poor ones: few pieces are left to choose from.  So a dive may also
end early, as a good start that another method completes.  What the programme pays only rises as
sheets are cut, so a dive that would end no cheaper than the best plan is given up.
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
"""Fillings of each kind of sheet whenever the prices are new."""
_FIRST_ROUNDS = 30
_ROUNDS = 3
"""New prices at the start of the first dive, and after each layout cut."""
_NEAR_MAXIMUM = 0.8
"""Of the layouts used nearly as much as the first, one is drawn."""
_START_TRIES, _START_ROUNDS = 5, 1
"""The same where a dive is a start only: many starts are better than a few good ones."""
_MAX_START_STEPS = 3_000_000
"""Steps after which a start is taken as it is."""
_PATTERNS_PER_TABLE = 20
"""Layouts of each kind of sheet by one table."""
_DUAL_DISCOUNT = 0.98
"""What counts a little less counts such a part of what it did."""
_MAX_FAILED_PRICINGS = 5
"""Prices in turn by which nothing is found, after which the programme is as good as solved."""
_MAX_OVERRUN = 400_000
"""A dive so many steps beyond its share is given up; its layouts are kept."""


class DivingHeuristic:
    """Dives again and again, knowing what earlier dives found."""

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
        """Steps spent so far: of filling, and of solving in the same measure."""
        of_filling = sum(filler.steps for filler in self._fillers)
        of_slicing = self._slicing.steps if self._slicing else 0
        return self._master.steps + self._strips.steps + of_slicing + of_filling

    def plans(self, steps: int, stop: Stop) -> Iterator[Plan]:
        """Yield plans until so many further steps are spent (at least one plan, whole or not)."""
        self._tries, self._rounds = _FILLINGS_PER_PRICING, _ROUNDS
        end = self.steps + steps
        while True:
            yield self._dive(end + _MAX_OVERRUN, stop)
            if self.steps >= end or stop():
                return

    def generate_columns(self, steps: int, stop: Stop) -> None:
        """Seek layouts by which the programme pays less for all pieces, while steps last."""
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
        """Return how many of each shape are wanted in all, and how many sheets there are."""
        bin_types = range(len(self._task.bin_types))
        return list(self._task.demand), [self._task.max_sheets(bin_type) for bin_type in bin_types]

    def least_reduced_cost(self, number: int) -> list[tuple[Pattern, dict[int, int]]]:
        """Return the layouts of least reduced cost when all pieces are wanted, and their pieces."""
        self._master.set_demand(*self._full_demand())
        self._add_new_columns()
        return self._master.least_reduced_cost(number)

    def _price_by_slicing(
        self, duals: DualValues, remaining: list[int], stock: list[int], discounts: list[float]
    ) -> bool:
        """Slice sheets; say whether a layout worth its sheet was new.

        What the best layouts want more of than there is makes them useless.  So where none is
        found such pieces count a little less the next time.

        Parameters
        ----------
        discounts
            The part of its price that each shape counts; changed.
        """
        guillotine_dp = self._slicing = self._slicing or GuillotineDP(self._task, self._rng)
        guillotine_dp.build_table(
            remaining,
            [w * discount for w, discount in zip(duals.item_duals, discounts, strict=True)],
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
        min_sheets_left: int,
        steps: int,
        stop: Stop,
        cost_limit: int | None,
        *,
        by_slicing: bool = False,
    ) -> Plan | None:
        """Cut sheets until the programme wants about so few more, or the steps are spent.

        Parameters
        ----------
        cost_limit
            What a whole plan may not cost: None is returned once what is cut, and the programme
            for the rest, cost as much.
        by_slicing
            Whether layouts are sought by slicing too, each time that prices are new.
        """
        self._tries, self._rounds = _START_TRIES, _START_ROUNDS
        max_steps = self.steps + min(steps, _MAX_START_STEPS)
        cut = self._dive(max_steps, stop, min_sheets_left, cost_limit, by_slicing=by_slicing)
        return None if cost_limit is not None and self._estimated_cost >= cost_limit else cut

    def _cost(self, cut: Plan) -> int:
        return sum(copies * self._task.bin_types[pattern.bin_type].price for pattern, copies in cut)

    def _dive(
        self,
        max_steps: int,
        stop: Stop,
        min_sheets_left: int = 0,
        cost_limit: int | None = None,
        *,
        by_slicing: bool = False,
    ) -> Plan:
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
                use.value * self._task.bin_types[use.pattern.bin_type].price for use in columns
            )
            self._estimated_cost = self._cost(tuple(cut.items())) + remaining_cost
            if cost_limit is not None and self._estimated_cost >= cost_limit:
                break
            if sum(use.value for use in columns) <= min_sheets_left:
                break
            chosen = self._fix_columns(columns, remaining, stock)
            if not chosen:
                break
            for pattern, copies in chosen:
                cut[pattern] = cut.get(pattern, 0) + copies
        return tuple(cut.items())

    def _add_new_columns(self) -> None:
        """Tell the programme of layouts that came into the pool since it last looked."""
        for pattern, counts in self._pool.added_since(self._columns_read):
            self._master.add_column(pattern, counts)
        self._columns_read = len(self._pool)

    def _price_by_filling(self, duals: DualValues, remaining: list[int], stock: list[int]) -> bool:
        """Fill sheets in the order of worth; say whether a layout worth its sheet was new."""
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
                self._fill(bin_type, remaining, candidates, item_duals, number)
                for number in range(tries)
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
        number: int,
    ) -> tuple[Placement, ...]:
        order = randomized_order(self._task.item_types, candidates, item_duals, self._rng)
        size = self._task.bin_types[bin_type]
        filler = self._fillers[number % len(self._fillers)]
        return filler.fill(size.width, size.height, remaining, order, spoiled=size.defects)

    def _fix_columns(
        self, columns: list[ColumnValue], remaining: list[int], stock: list[int]
    ) -> list[tuple[Pattern, int]]:
        """Take what the programme cuts in whole sheets, else one sheet; keep the books of it."""
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
        open_to = [use for use in columns if stock[use.pattern.bin_type]]
        if not open_to:
            return []
        largest = max(use.value for use in open_to)
        near_largest = [use for use in open_to if use.value >= _NEAR_MAXIMUM * largest]
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
    """Return a layout without the pieces that are made already."""
    remaining_of = dict(enumerate(remaining))
    placements = []
    for placement in pattern.placements:
        if remaining_of[placement.item_type]:
            remaining_of[placement.item_type] -= 1
            placements.append(placement)
    return Pattern(pattern.bin_type, tuple(placements))
