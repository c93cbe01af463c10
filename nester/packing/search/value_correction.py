"""Whole plans, sheet after sheet, each time with piece values mended by what went badly.

Sequential value correction (Mukhacheva, Belov and Mosquera; see Belov and Scheithauer, European
Journal of Operational Research 171, 2006): pieces that end on wasteful sheets are worth more in
the next plan, so that they are laid earlier, while there is still choice.  Every sheet laid out
on the way goes into the pool.
"""

from __future__ import annotations

from collections.abc import Iterator
from random import Random

from nester.core.problem import Cuts
from nester.packing.patterns.greedy import GreedyFiller
from nester.packing.patterns.staged_greedy import make_filler
from nester.packing.runtime.stop import Stop
from nester.packing.task.pattern_pool import PatternPool, Plan
from nester.packing.task.task import Pattern, Placement, Task, item_counts

__all__ = ["sequential_plans"]

_FILLINGS_PER_SHEET = 5
"""Fillings tried for each sheet, the best of which is kept."""
_MAX_STEPS_PER_SHEET = 200_000
"""After so many steps, or once it is to stop, one filling of each kind must do for a sheet."""
_MAX_BIN_TYPES_PER_SHEET = 4
"""Kinds of sheet looked at for each sheet, when there are more."""


def sequential_plans(
    task: Task, cuts: Cuts, rng: Random, steps: int, pool: PatternPool, stop: Stop
) -> Iterator[Plan]:
    """Yield plans until so many steps are spent (at least one plan) or `stop` says so.

    A layout that comes apart by straight cuts does so by free cuts too, and is often the better
    one for many equal pieces; so free cuts take turns with both ways of filling.
    """
    cut_modes = (Cuts.STRAIGHT,) if cuts is Cuts.STRAIGHT else (Cuts.FREE, Cuts.STRAIGHT)
    builder = _SequentialBuilder(
        task, [make_filler(task, cut_mode, rng) for cut_mode in cut_modes], rng, pool, stop
    )
    while True:
        before = builder.steps
        yield builder.plan()
        # Where nothing can be laid nothing is spent either.
        if builder.steps >= steps or builder.steps == before or stop():
            return


class _SequentialBuilder:
    def __init__(
        self, task: Task, fillers: list[GreedyFiller], rng: Random, pool: PatternPool, stop: Stop
    ) -> None:
        self._stop = stop
        self._task = task
        self._fillers = fillers
        self._plan_count = 0
        self._rng = rng
        self._pool = pool
        self._item_values = [float(item.area) for item in task.item_types]
        # A little of the area beside the price lets sheets that cost nothing be compared.
        highest_rate = (
            max((sheet_type.price / sheet_type.area for sheet_type in task.bin_types), default=0.0)
            or 1.0
        )
        self._bin_costs = [
            sheet_type.price + 0.01 * highest_rate * sheet_type.area
            for sheet_type in task.bin_types
        ]

    @property
    def steps(self) -> int:
        """Steps of filling spent so far."""
        return sum(filler.steps for filler in self._fillers)

    def plan(self) -> Plan:
        """Build one plan; what finds no sheet any more is left out of it."""
        self._plan_count += 1
        remaining = list(self._task.demand)
        stock = [self._task.max_sheets(bin_type) for bin_type in range(len(self._task.bin_types))]
        noise_level = self._rng.choice((0.02, 0.1, 0.3, 0.8))
        patterns: list[tuple[Pattern, int]] = []
        while any(remaining):
            pattern = self._best_pattern(remaining, stock, noise_level)
            if pattern is None:
                break
            counts = item_counts(pattern.placements)
            copies = min(
                stock[pattern.bin_type],
                *(remaining[item_type] // number for item_type, number in counts.items()),
            )
            for item_type, number in counts.items():
                remaining[item_type] -= number * copies
            stock[pattern.bin_type] -= copies
            patterns.append((pattern, copies))
            self._correct_values(pattern)
        return tuple(patterns)

    def _best_pattern(
        self, remaining: list[int], stock: list[int], noise_level: float
    ) -> Pattern | None:
        bin_types = [
            bin_type
            for bin_type, size in enumerate(self._task.bin_types)
            if stock[bin_type]
            and any(
                number and item.fits(size.width, size.height)
                for number, item in zip(remaining, self._task.item_types, strict=True)
            )
        ]
        others: list[int] = []
        if len(bin_types) > _MAX_BIN_TYPES_PER_SHEET:
            drawn = sorted(self._rng.sample(bin_types, _MAX_BIN_TYPES_PER_SHEET))
            others = [bin_type for bin_type in bin_types if bin_type not in drawn]
            bin_types = drawn
        best = self._best_pattern_on(bin_types, remaining, noise_level)
        # By the rules there may be no room on any of these.
        while best is None and others:
            best = self._best_pattern_on([others.pop(0)], remaining, noise_level)
        return best

    def _best_pattern_on(
        self, bin_types: list[int], remaining: list[int], noise_level: float
    ) -> Pattern | None:
        best: Pattern | None = None
        best_rate = -1.0
        end = self.steps + _MAX_STEPS_PER_SHEET
        for bin_type in bin_types:
            for attempt in range(_FILLINGS_PER_SHEET):
                if attempt and (self.steps > end or self._stop()):
                    break
                pattern = Pattern(bin_type, self._fill(bin_type, remaining, noise_level))
                if not pattern.placements:
                    continue
                self._pool.add(pattern)
                rate = self._pattern_value(pattern.placements) / self._bin_costs[bin_type]
                if rate > best_rate:
                    best, best_rate = pattern, rate
        return best

    def _fill(
        self, bin_type: int, remaining: list[int], noise_level: float
    ) -> tuple[Placement, ...]:
        size = self._task.bin_types[bin_type]
        random = self._rng.random
        key = [value * (1 + noise_level * (2 * random() - 1)) for value in self._item_values]
        order = sorted((i for i, number in enumerate(remaining) if number), key=lambda i: -key[i])
        filler = self._fillers[self._plan_count % len(self._fillers)]
        return filler.fill(size.width, size.height, remaining, order, spoiled=size.defects)

    def _pattern_value(self, placements: tuple[Placement, ...]) -> float:
        return sum(self._item_values[placement.item_type] for placement in placements)

    def _correct_values(self, pattern: Pattern) -> None:
        """Move the values of a sheet's pieces towards what they cost on this sheet."""
        item_types = self._task.item_types
        used_area = sum(item_types[placement.item_type].area for placement in pattern.placements)
        cost_factor = self._task.bin_types[pattern.bin_type].area / used_area
        for item_type in {placement.item_type for placement in pattern.placements}:
            observed_value = item_types[item_type].area * cost_factor**1.5
            self._item_values[item_type] = 0.7 * self._item_values[item_type] + 0.3 * observed_value
