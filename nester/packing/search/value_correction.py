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
from nester.packing.patterns.greedy import Filler
from nester.packing.patterns.staged_greedy import filler_for
from nester.packing.runtime.stop import Stop
from nester.packing.task.pattern_pool import Pool, Uses
from nester.packing.task.task import Pattern, Spot, Task, usage

__all__ = ["sequential_plans"]

_TRIES = 5
"""Fillings tried for each sheet, the best of which is kept."""
_STEPS_A_SHEET = 200_000
"""After so many steps, or once it is to stop, one filling of each kind must do for a sheet."""
_KINDS_A_SHEET = 4
"""Kinds of sheet looked at for each sheet, when there are more."""


def sequential_plans(
    task: Task, cuts: Cuts, rng: Random, steps: int, pool: Pool, stop: Stop
) -> Iterator[Uses]:
    """Yield plans until so many steps are spent (at least one plan) or `stop` says so.

    A layout that comes apart by straight cuts does so by free cuts too, and is often the better
    one for many equal pieces; so free cuts take turns with both ways of filling.
    """
    ways = (Cuts.STRAIGHT,) if cuts is Cuts.STRAIGHT else (Cuts.FREE, Cuts.STRAIGHT)
    builder = _Builder(task, [filler_for(task, way, rng) for way in ways], rng, pool, stop)
    while True:
        before = builder.steps
        yield builder.plan()
        # Where nothing can be laid nothing is spent either.
        if builder.steps >= steps or builder.steps == before or stop():
            return


class _Builder:
    def __init__(
        self, task: Task, fillers: list[Filler], rng: Random, pool: Pool, stop: Stop
    ) -> None:
        self._stop = stop
        self._task = task
        self._fillers = fillers
        self._plans = 0
        self._rng = rng
        self._pool = pool
        self._value = [float(shape.area) for shape in task.shapes]
        # A little of the area beside the price lets sheets that cost nothing be compared.
        dearest = max((kind.price / kind.area for kind in task.kinds), default=0.0) or 1.0
        self._outlay = [kind.price + 0.01 * dearest * kind.area for kind in task.kinds]

    @property
    def steps(self) -> int:
        """Steps of filling spent so far."""
        return sum(filler.steps for filler in self._fillers)

    def plan(self) -> Uses:
        """Build one plan; what finds no sheet any more is left out of it."""
        self._plans += 1
        left = list(self._task.demand)
        stock = [self._task.most_of(kind) for kind in range(len(self._task.kinds))]
        spread = self._rng.choice((0.02, 0.1, 0.3, 0.8))
        uses: list[tuple[Pattern, int]] = []
        while any(left):
            pattern = self._best_sheet(left, stock, spread)
            if pattern is None:
                break
            counts = usage(pattern.spots)
            copies = min(
                stock[pattern.kind], *(left[shape] // number for shape, number in counts.items())
            )
            for shape, number in counts.items():
                left[shape] -= number * copies
            stock[pattern.kind] -= copies
            uses.append((pattern, copies))
            self._correct(pattern)
        return tuple(uses)

    def _best_sheet(self, left: list[int], stock: list[int], spread: float) -> Pattern | None:
        kinds = [
            kind
            for kind, size in enumerate(self._task.kinds)
            if stock[kind]
            and any(
                number and shape.fits(size.width, size.height)
                for number, shape in zip(left, self._task.shapes, strict=True)
            )
        ]
        others: list[int] = []
        if len(kinds) > _KINDS_A_SHEET:
            drawn = sorted(self._rng.sample(kinds, _KINDS_A_SHEET))
            others = [kind for kind in kinds if kind not in drawn]
            kinds = drawn
        best = self._best_of(kinds, left, spread)
        # By the rules there may be no room on any of these.
        while best is None and others:
            best = self._best_of([others.pop(0)], left, spread)
        return best

    def _best_of(self, kinds: list[int], left: list[int], spread: float) -> Pattern | None:
        best: Pattern | None = None
        best_rate = -1.0
        end = self.steps + _STEPS_A_SHEET
        for kind in kinds:
            for number in range(_TRIES):
                if number and (self.steps > end or self._stop()):
                    break
                pattern = Pattern(kind, self._fill(kind, left, spread))
                if not pattern.spots:
                    continue
                self._pool.add(pattern)
                rate = self._worth(pattern.spots) / self._outlay[kind]
                if rate > best_rate:
                    best, best_rate = pattern, rate
        return best

    def _fill(self, kind: int, left: list[int], spread: float) -> tuple[Spot, ...]:
        size = self._task.kinds[kind]
        noise = self._rng.random
        key = [value * (1 + spread * (2 * noise() - 1)) for value in self._value]
        order = sorted((i for i, number in enumerate(left) if number), key=lambda i: -key[i])
        filler = self._fillers[self._plans % len(self._fillers)]
        return filler.fill(size.width, size.height, left, order, spoiled=size.spoiled)

    def _worth(self, spots: tuple[Spot, ...]) -> float:
        return sum(self._value[spot.shape] for spot in spots)

    def _correct(self, pattern: Pattern) -> None:
        """Move the values of a sheet's pieces towards what they cost on this sheet."""
        shapes = self._task.shapes
        made = sum(shapes[spot.shape].area for spot in pattern.spots)
        dearness = self._task.kinds[pattern.kind].area / made
        for shape in {spot.shape for spot in pattern.spots}:
            fair = shapes[shape].area * dearness**1.5
            self._value[shape] = 0.7 * self._value[shape] + 0.3 * fair
