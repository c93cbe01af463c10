"""What sheets are likely to hold: the best contents known, where bounds say what they hold at most.

The same programme that refutes sheets by bounds (`feasibility_cuts.py`) says of other sheets that
they are not likely to do: that even cut in fractions, by the best layouts that a search finds at
the worths the programme asks about, they lack something.  Nothing is proven by that; it tells where
plans are worth seeking.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from random import Random
from typing import TYPE_CHECKING, Any

from nester.core.problem import Cuts
from nester.packing.bounds.valid_inequalities import ValidInequality, scaled_inequality
from nester.packing.patterns.greedy import randomized_order
from nester.packing.patterns.guillotine_dp import GuillotineDP
from nester.packing.patterns.staged_greedy import make_filler
from nester.packing.purchase.feasibility_cuts import FeasibilityCutSeparator
from nester.packing.runtime.stop import Stop
from nester.packing.task.pattern_pool import PatternPool
from nester.packing.task.task import Pattern, Task

if TYPE_CHECKING:
    import numpy as np

    Matrix = np.ndarray[Any, np.dtype[np.float64]]

__all__ = ["EstimatedInequalities"]

_FILLINGS_PER_PRICING = 2
"""Fillings of each kind of sheet that can be bought, for each question."""
_PATTERNS_PER_TABLE = 2
"""Layouts of each kind of sheet that can be bought, by one table."""
_RASTER = 500
"""Units into which sheets are divided for slicing: fewer than where plans are sought."""
_ENTRIES_PER_STEP = 40
"""Numbers in the table of contents that cost as much to look at as one step of filling."""


class EstimatedInequalities:
    """Inequalities between sheets and pieces that plans are likely to keep to."""

    def __init__(
        self,
        task: Task,
        cuts: Cuts,
        rng: Random,
        pool: PatternPool,
        prices: Sequence[int | None],
    ) -> None:
        sought = [kind for kind, price in enumerate(prices) if price is not None]
        self._pricing = _PoolPricing(task, cuts, rng, pool, sought)
        self._separator = FeasibilityCutSeparator(task, self._pricing, prices)
        self._patterns_read = 0
        self._demand = task.demand
        self._pool = pool
        self.inequalities: list[ValidInequality] = []

    @property
    def steps(self) -> int:
        """Steps spent so far."""
        return self._pricing.steps + self._separator.steps

    def separate(self, sheets: Sequence[int], steps: int, stop: Stop) -> bool:
        """Say whether such sheets are not likely to do; if so, keep an inequality that says why."""
        self.refresh()
        if any(
            one.total_capacity(sheets) < one.total_weight(self._demand) for one in self.inequalities
        ):
            return False  # it is known; the solver counts what is almost held as held
        found = self._separator.separate(sheets, steps, stop)
        if found is not None:
            self.inequalities.append(found)
        return found is not None

    def refresh(self) -> None:
        """Expect as much of sheets as the layouts hold that came into the pool meanwhile."""
        new = list(self._pool.added_since(self._patterns_read))
        if not new:
            return
        for pattern, counts in new:
            self._separator.add_column(
                pattern.bin_type, {shape: float(n) for shape, n in counts.items()}
            )
        self._patterns_read = len(self._pool)
        self.inequalities = [
            scaled_inequality(self._pricing.best_values(one.weights), one.weights, self._demand)
            for one in self.inequalities
        ]


class _PoolPricing:
    """Worths of sheets by the contents in a pool, to which it adds."""

    def __init__(
        self, task: Task, cuts: Cuts, rng: Random, pool: PatternPool, sought: Sequence[int]
    ) -> None:
        self._task = task
        self._rng = rng
        self._pool = pool
        self._priced_bin_types = set(sought)
        ways = (Cuts.STRAIGHT,) if cuts is Cuts.STRAIGHT else (Cuts.FREE, Cuts.STRAIGHT)
        self._fillers = [make_filler(task, way, rng) for way in ways]
        # Slicing finds the best of all straight cuts; the rules of some tasks are unknown to it.
        sliced = task.is_unrestricted and any(task.demand)
        self._slicing = GuillotineDP(task, rng, _RASTER) if sliced else None
        self._entries_scanned = 0
        self._rows: list[list[tuple[int, ...]]] = [[] for _ in task.bin_types]
        self._count_matrices: list[Matrix | None] = [None] * len(task.bin_types)

    @property
    def steps(self) -> int:
        """What all calls of `solve` have cost, in steps of filling."""
        of_slicing = self._slicing.steps if self._slicing else 0
        of_filling = sum(filler.steps for filler in self._fillers)
        return self._entries_scanned // _ENTRIES_PER_STEP + of_slicing + of_filling

    def solve(self, worths: Sequence[int], stop: Stop) -> list[tuple[int, Mapping[int, float]]]:
        """Return, for each kind, the worth of the best content known, and that content."""
        shapes = self._task.item_types
        wanted = [i for i, shape in enumerate(shapes) if shape.demand and worths[i]]
        if self._slicing and wanted and not stop():
            self._slicing.build_table(self._task.demand, [float(worth) for worth in worths])
        for kind in sorted(self._priced_bin_types):
            for _ in range(0 if stop() else _FILLINGS_PER_PRICING):
                self._fill(kind, wanted, worths)
            if self._slicing and wanted and not stop():
                for spots in self._slicing.sample_layouts(kind, _PATTERNS_PER_TABLE):
                    self._pool.add(Pattern(kind, spots))
        found: list[tuple[int, Mapping[int, float]]] = []
        for content in self._best_contents(worths):
            worth = sum(n * one for n, one in zip(content, worths, strict=True))
            found.append((worth, {i: float(n) for i, n in enumerate(content) if n}))
        return found

    def best_values(self, worths: Sequence[int]) -> list[int]:
        """Return, for each kind, the worth of the best content known."""
        return [
            sum(n * one for n, one in zip(content, worths, strict=True))
            for content in self._best_contents(worths)
        ]

    def _best_contents(self, worths: Sequence[int]) -> list[tuple[int, ...]]:
        """Return the best content known for each kind; nothing where none is."""
        import numpy as np

        self._read_pool()
        nothing = (0,) * len(worths)
        found = []
        values = np.array(worths, dtype=np.float64)
        for kind, rows in enumerate(self._rows):
            if not rows:
                found.append(nothing)
                continue
            table = self._count_matrices[kind]
            if table is None or len(table) < len(rows):
                self._count_matrices[kind] = table = np.array(rows, dtype=np.float64)
            self._entries_scanned += table.size
            found.append(rows[int((table @ values).argmax())])
        return found

    def _fill(self, kind: int, wanted: Sequence[int], worths: Sequence[int]) -> None:
        size = self._task.bin_types[kind]
        order = randomized_order(self._task.item_types, wanted, worths, self._rng)
        filler = self._rng.choice(self._fillers)
        demand = self._task.demand
        spots = filler.fill(size.width, size.height, demand, order, spoiled=size.defects)
        self._pool.add(Pattern(kind, spots))

    def _read_pool(self) -> None:
        known = sum(map(len, self._rows))
        for pattern, counts in list(self._pool.added_since(known)):
            row = [0] * len(self._task.item_types)
            for shape, number in counts.items():
                row[shape] = number
            self._rows[pattern.bin_type].append(tuple(row))
