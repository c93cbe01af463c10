"""Whole plans by sequential value correction.

Plans are built sheet after sheet; each sheet gets the filling with the highest value for its cost,
and each filling takes pieces in the order of their values.  Pieces that end up on wasteful sheets
are then given a higher value, so that the next plan places them earlier, while there is still
choice (Mukhacheva and others, Pesquisa Operacional 20, 2000; Belov and Scheithauer, "Setup and
open-stacks minimization in one-dimensional stock cutting", INFORMS Journal on Computing 19, 2007).
Every pattern built on the way goes into the pool.
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
"""Fillings tried for each sheet; the best is kept."""
_MAX_STEPS_PER_SHEET = 200_000
"""After this many steps, or once asked to stop, each bin type gets a single filling."""
_MAX_BIN_TYPES_PER_SHEET = 4
"""Bin types tried for each sheet, if there are more."""
_MAX_ITEM_TYPES = 2_000
"""Of more item types, each sheet is filled from a window of them, or time grows by the square."""
_WINDOW = 400
"""Item types in a window; it is filled up again when it is down to half."""


def sequential_plans(
    task: Task, cuts: Cuts, rng: Random, steps: int, pool: PatternPool, stop: Stop
) -> Iterator[Plan]:
    """Yield plans until `steps` are spent or `stop` says so; at least one plan.

    A guillotine pattern can also be cut freely, and is often better for many equal pieces; so free
    cuts alternate between both ways of filling.  When asked to stop, only the first is finished.
    """
    cut_modes = (Cuts.STRAIGHT,) if cuts is Cuts.STRAIGHT else (Cuts.FREE, Cuts.STRAIGHT)
    builder = _SequentialBuilder(
        task, [make_filler(task, cut_mode, rng) for cut_mode in cut_modes], rng, pool, stop
    )
    while True:
        before = builder.steps
        plan = builder.plan()
        if plan is None:
            return
        yield plan
        # If no piece fits any sheet, no step is ever spent.
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
        # A small cost for area makes sheets comparable that cost nothing.
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

    def plan(self) -> Plan | None:
        """Build one plan; pieces for which no sheet is left are left out.

        None if it is not the first and was stopped.
        """
        self._plan_count += 1
        remaining = list(self._task.demand)
        window = _Window(remaining, self._rng)
        stock = [self._task.max_sheets(bin_type) for bin_type in range(len(self._task.bin_types))]
        noise_level = self._rng.choice((0.02, 0.1, 0.3, 0.8))
        patterns: list[tuple[Pattern, int]] = []
        while item_types := window.item_types(remaining):
            if self._plan_count > 1 and self._stop():
                return None
            pattern = self._best_pattern(item_types, remaining, stock, noise_level)
            if pattern is None:
                if window.is_whole:
                    break
                window.give_up()
                continue
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
        self, item_types: list[int], remaining: list[int], stock: list[int], noise_level: float
    ) -> Pattern | None:
        items = self._task.item_types
        bin_types = [
            bin_type
            for bin_type, size in enumerate(self._task.bin_types)
            if stock[bin_type]
            and any(items[item_type].fits(size.width, size.height) for item_type in item_types)
        ]
        others: list[int] = []
        if len(bin_types) > _MAX_BIN_TYPES_PER_SHEET:
            drawn = sorted(self._rng.sample(bin_types, _MAX_BIN_TYPES_PER_SHEET))
            others = [bin_type for bin_type in bin_types if bin_type not in drawn]
            bin_types = drawn
        best = self._best_pattern_on(bin_types, item_types, remaining, noise_level)
        # The trimmer's rules may allow no pattern on any of these.
        while best is None and others:
            best = self._best_pattern_on([others.pop(0)], item_types, remaining, noise_level)
        return best

    def _best_pattern_on(
        self,
        bin_types: list[int],
        item_types: list[int],
        remaining: list[int],
        noise_level: float,
    ) -> Pattern | None:
        best: Pattern | None = None
        best_rate = -1.0
        end = self.steps + _MAX_STEPS_PER_SHEET
        is_huge = len(self._task.item_types) > _MAX_ITEM_TYPES
        for bin_type in bin_types:
            for attempt in range(1 if is_huge else _FILLINGS_PER_SHEET):
                if attempt and (self.steps > end or self._stop()):
                    break
                pattern = Pattern(
                    bin_type, self._fill(bin_type, item_types, remaining, noise_level)
                )
                if not pattern.placements:
                    continue
                self._pool.add(pattern)
                rate = self._pattern_value(pattern.placements) / self._bin_costs[bin_type]
                if rate > best_rate:
                    best, best_rate = pattern, rate
        return best

    def _fill(
        self, bin_type: int, item_types: list[int], remaining: list[int], noise_level: float
    ) -> tuple[Placement, ...]:
        size = self._task.bin_types[bin_type]
        random = self._rng.random
        values = self._item_values
        # Values of types that are used up are drawn too, unless there are very many: which values
        # the others get must not depend on what was used up.
        drawn = range(len(values)) if len(values) <= _MAX_ITEM_TYPES else item_types
        key = {i: values[i] * (1 + noise_level * (2 * random() - 1)) for i in drawn}
        order = sorted(item_types, key=lambda i: -key[i])
        filler = self._fillers[self._plan_count % len(self._fillers)]
        return filler.fill(size.width, size.height, remaining, order, spoiled=size.defects)

    def _pattern_value(self, placements: tuple[Placement, ...]) -> float:
        return sum(self._item_values[placement.item_type] for placement in placements)

    def _correct_values(self, pattern: Pattern) -> None:
        """Move the values of a pattern's pieces towards what they cost on this sheet.

        The target is the piece's area times a factor that grows with the waste of the sheet;
        exponential smoothing keeps what earlier sheets taught.
        """
        item_types = self._task.item_types
        used_area = sum(item_types[placement.item_type].area for placement in pattern.placements)
        cost_factor = self._task.bin_types[pattern.bin_type].area / used_area
        for item_type in {placement.item_type for placement in pattern.placements}:
            observed_value = item_types[item_type].area * cost_factor**1.5
            self._item_values[item_type] = 0.7 * self._item_values[item_type] + 0.3 * observed_value


class _Window:
    """The item types that the next sheet is filled from: all that are left, or some of very many.

    These are drawn at random, so that there are large and small ones among them.
    """

    def __init__(self, remaining: list[int], rng: Random) -> None:
        self._inside: list[int] = []
        self._outside: list[int] = []
        self.is_whole = len(remaining) <= _MAX_ITEM_TYPES
        if not self.is_whole:
            self._outside = rng.sample(range(len(remaining)), len(remaining))

    def item_types(self, remaining: list[int]) -> list[int]:
        """Return the item types to fill from; none if nothing is left."""
        if self.is_whole:
            return [item_type for item_type, number in enumerate(remaining) if number]
        self._inside = [item_type for item_type in self._inside if remaining[item_type]]
        while self._outside and len(self._inside) < _WINDOW // 2:
            missing = _WINDOW - len(self._inside)
            self._inside += [i for i in self._outside[-missing:] if remaining[i]]
            del self._outside[-missing:]
        return self._inside

    def give_up(self) -> None:
        """Leave out the window's item types: no sheet that is left takes any of them."""
        self._inside = []
