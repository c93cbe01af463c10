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
    ways = (Cuts.STRAIGHT,) if cuts is Cuts.STRAIGHT else (Cuts.FREE, Cuts.STRAIGHT)
    builder = _SequentialBuilder(
        task, [make_filler(task, way, rng) for way in ways], rng, pool, stop
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
        self._item_values = [float(shape.area) for shape in task.item_types]
        # A little of the area beside the price lets sheets that cost nothing be compared.
        dearest = max((kind.price / kind.area for kind in task.bin_types), default=0.0) or 1.0
        self._bin_costs = [kind.price + 0.01 * dearest * kind.area for kind in task.bin_types]

    @property
    def steps(self) -> int:
        """Steps of filling spent so far."""
        return sum(filler.steps for filler in self._fillers)

    def plan(self) -> Plan:
        """Build one plan; what finds no sheet any more is left out of it."""
        self._plan_count += 1
        left = list(self._task.demand)
        stock = [self._task.max_sheets(kind) for kind in range(len(self._task.bin_types))]
        spread = self._rng.choice((0.02, 0.1, 0.3, 0.8))
        uses: list[tuple[Pattern, int]] = []
        while any(left):
            pattern = self._best_pattern(left, stock, spread)
            if pattern is None:
                break
            counts = item_counts(pattern.placements)
            copies = min(
                stock[pattern.bin_type],
                *(left[shape] // number for shape, number in counts.items()),
            )
            for shape, number in counts.items():
                left[shape] -= number * copies
            stock[pattern.bin_type] -= copies
            uses.append((pattern, copies))
            self._correct_values(pattern)
        return tuple(uses)

    def _best_pattern(self, left: list[int], stock: list[int], spread: float) -> Pattern | None:
        kinds = [
            kind
            for kind, size in enumerate(self._task.bin_types)
            if stock[kind]
            and any(
                number and shape.fits(size.width, size.height)
                for number, shape in zip(left, self._task.item_types, strict=True)
            )
        ]
        others: list[int] = []
        if len(kinds) > _MAX_BIN_TYPES_PER_SHEET:
            drawn = sorted(self._rng.sample(kinds, _MAX_BIN_TYPES_PER_SHEET))
            others = [kind for kind in kinds if kind not in drawn]
            kinds = drawn
        best = self._best_pattern_on(kinds, left, spread)
        # By the rules there may be no room on any of these.
        while best is None and others:
            best = self._best_pattern_on([others.pop(0)], left, spread)
        return best

    def _best_pattern_on(self, kinds: list[int], left: list[int], spread: float) -> Pattern | None:
        best: Pattern | None = None
        best_rate = -1.0
        end = self.steps + _MAX_STEPS_PER_SHEET
        for kind in kinds:
            for number in range(_FILLINGS_PER_SHEET):
                if number and (self.steps > end or self._stop()):
                    break
                pattern = Pattern(kind, self._fill(kind, left, spread))
                if not pattern.placements:
                    continue
                self._pool.add(pattern)
                rate = self._pattern_value(pattern.placements) / self._bin_costs[kind]
                if rate > best_rate:
                    best, best_rate = pattern, rate
        return best

    def _fill(self, kind: int, left: list[int], spread: float) -> tuple[Placement, ...]:
        size = self._task.bin_types[kind]
        noise = self._rng.random
        key = [value * (1 + spread * (2 * noise() - 1)) for value in self._item_values]
        order = sorted((i for i, number in enumerate(left) if number), key=lambda i: -key[i])
        filler = self._fillers[self._plan_count % len(self._fillers)]
        return filler.fill(size.width, size.height, left, order, spoiled=size.defects)

    def _pattern_value(self, spots: tuple[Placement, ...]) -> float:
        return sum(self._item_values[spot.item_type] for spot in spots)

    def _correct_values(self, pattern: Pattern) -> None:
        """Move the values of a sheet's pieces towards what they cost on this sheet."""
        shapes = self._task.item_types
        made = sum(shapes[spot.item_type].area for spot in pattern.placements)
        dearness = self._task.bin_types[pattern.bin_type].area / made
        for shape in {spot.item_type for spot in pattern.placements}:
            fair = shapes[shape].area * dearness**1.5
            self._item_values[shape] = 0.7 * self._item_values[shape] + 0.3 * fair
