"""Estimates of what sheets hold: the best patterns known in place of proven bounds.

The linear program of `feasibility_cuts.py`, priced by heuristics instead of bounds, shows that
sheets are unlikely to suffice: even cut in fractions by the best patterns found, they don't cover
the pieces.  That proves nothing, but shows for which purchases to look for a plan.
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
"""Greedy fillings of each bin type that can be bought, for one pricing."""
_PATTERNS_PER_TABLE = 2
"""Patterns sampled for each bin type that can be bought, from one dynamic program."""
_RASTER = 500
"""Raster of the dynamic program: coarser than in the search for plans."""
_ENTRIES_PER_STEP = 40
"""Entries of the count matrices that take as long as one step of filling."""


class EstimatedInequalities:
    """Inequalities between sheets and pieces that plans probably satisfy."""

    def __init__(
        self,
        task: Task,
        cuts: Cuts,
        rng: Random,
        pool: PatternPool,
        prices: Sequence[int | None],
    ) -> None:
        priced_bin_types = [bin_type for bin_type, price in enumerate(prices) if price is not None]
        self._pricing = _PoolPricing(task, cuts, rng, pool, priced_bin_types)
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
        """Return whether a new estimated inequality rules out these sheets; it is kept."""
        self.refresh()
        if any(
            inequality.total_capacity(sheets) < inequality.total_weight(self._demand)
            for inequality in self.inequalities
        ):
            return False  # known already; the solver chose these sheets within its tolerance
        cut = self._separator.separate(sheets, steps, stop)
        if cut is not None:
            self.inequalities.append(cut)
        return cut is not None

    def refresh(self) -> None:
        """Weaken the inequalities so that patterns added to the pool since then satisfy them."""
        new_patterns = list(self._pool.added_since(self._patterns_read))
        if not new_patterns:
            return
        for pattern, counts in new_patterns:
            self._separator.add_column(
                pattern.bin_type, {item_type: float(n) for item_type, n in counts.items()}
            )
        self._patterns_read = len(self._pool)
        self.inequalities = [
            scaled_inequality(
                self._pricing.best_values(inequality.weights), inequality.weights, self._demand
            )
            for inequality in self.inequalities
        ]


class _PoolPricing:
    """Heuristic pricing by the patterns of a pool, to which it adds new ones."""

    def __init__(
        self,
        task: Task,
        cuts: Cuts,
        rng: Random,
        pool: PatternPool,
        priced_bin_types: Sequence[int],
    ) -> None:
        self._task = task
        self._rng = rng
        self._pool = pool
        self._priced_bin_types = set(priced_bin_types)
        cut_modes = (Cuts.STRAIGHT,) if cuts is Cuts.STRAIGHT else (Cuts.FREE, Cuts.STRAIGHT)
        self._fillers = [make_filler(task, cut_mode, rng) for cut_mode in cut_modes]
        # The dynamic program doesn't know the trimmer's rules.
        can_slice = task.is_unrestricted and any(task.demand)
        self._slicing = GuillotineDP(task, rng, _RASTER) if can_slice else None
        self._entries_scanned = 0
        self._rows: list[list[tuple[int, ...]]] = [[] for _ in task.bin_types]
        self._count_matrices: list[Matrix | None] = [None] * len(task.bin_types)

    @property
    def steps(self) -> int:
        """What all calls of `solve` have cost, in steps of filling."""
        dp_steps = self._slicing.steps if self._slicing else 0
        filler_steps = sum(filler.steps for filler in self._fillers)
        return self._entries_scanned // _ENTRIES_PER_STEP + dp_steps + filler_steps

    def solve(self, item_duals: Sequence[int], stop: Stop) -> list[tuple[int, Mapping[int, float]]]:
        """Return the value of the best pattern known for each bin type, and its content."""
        items = self._task.item_types
        demanded = [i for i, item in enumerate(items) if item.demand and item_duals[i]]
        if self._slicing and demanded and not stop():
            self._slicing.build_table(self._task.demand, [float(value) for value in item_duals])
        for bin_type in sorted(self._priced_bin_types):
            for _ in range(0 if stop() else _FILLINGS_PER_PRICING):
                self._fill(bin_type, demanded, item_duals)
            if self._slicing and demanded and not stop():
                for placements in self._slicing.sample_layouts(bin_type, _PATTERNS_PER_TABLE):
                    self._pool.add(Pattern(bin_type, placements))
        best: list[tuple[int, Mapping[int, float]]] = []
        for content in self._best_contents(item_duals):
            value = sum(n * dual for n, dual in zip(content, item_duals, strict=True))
            best.append((value, {i: float(n) for i, n in enumerate(content) if n}))
        return best

    def best_values(self, item_duals: Sequence[int]) -> list[int]:
        """Return the value of the best pattern known for each bin type."""
        return [
            sum(n * dual for n, dual in zip(content, item_duals, strict=True))
            for content in self._best_contents(item_duals)
        ]

    def _best_contents(self, item_duals: Sequence[int]) -> list[tuple[int, ...]]:
        """Return the best content known for each bin type; an empty one if there is none."""
        import numpy as np

        self._read_pool()
        empty = (0,) * len(item_duals)
        best = []
        values = np.array(item_duals, dtype=np.float64)
        for bin_type, rows in enumerate(self._rows):
            if not rows:
                best.append(empty)
                continue
            counts = self._count_matrices[bin_type]
            if counts is None or len(counts) < len(rows):
                self._count_matrices[bin_type] = counts = np.array(rows, dtype=np.float64)
            self._entries_scanned += counts.size
            best.append(rows[int((counts @ values).argmax())])
        return best

    def _fill(self, bin_type: int, demanded: Sequence[int], item_duals: Sequence[int]) -> None:
        size = self._task.bin_types[bin_type]
        order = randomized_order(self._task.item_types, demanded, item_duals, self._rng)
        filler = self._rng.choice(self._fillers)
        demand = self._task.demand
        placements = filler.fill(size.width, size.height, demand, order, spoiled=size.defects)
        self._pool.add(Pattern(bin_type, placements))

    def _read_pool(self) -> None:
        known = sum(map(len, self._rows))
        for pattern, counts in list(self._pool.added_since(known)):
            row = [0] * len(self._task.item_types)
            for item_type, number in counts.items():
                row[item_type] = number
            self._rows[pattern.bin_type].append(tuple(row))
