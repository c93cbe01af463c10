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
from nester.packing.bounds.valid_inequalities import Inequality, tamed
from nester.packing.patterns.greedy import drawn_order
from nester.packing.patterns.guillotine_dp import Slicing
from nester.packing.patterns.staged_greedy import filler_for
from nester.packing.purchase.feasibility_cuts import Shortage
from nester.packing.runtime.stop import Stop
from nester.packing.task.pattern_pool import Pool
from nester.packing.task.task import Pattern, Task

if TYPE_CHECKING:
    import numpy as np

    Matrix = np.ndarray[Any, np.dtype[np.float64]]

__all__ = ["Likely"]

_TRIES = 2
"""Fillings of each kind of sheet that can be bought, for each question."""
_SLICINGS = 2
"""Layouts of each kind of sheet that can be bought, by one table."""
_RASTER = 500
"""Units into which sheets are divided for slicing: fewer than where plans are sought."""
_ENTRIES_A_STEP = 40
"""Numbers in the table of contents that cost as much to look at as one step of filling."""


class Likely:
    """Inequalities between sheets and pieces that plans are likely to keep to."""

    def __init__(
        self,
        task: Task,
        cuts: Cuts,
        rng: Random,
        pool: Pool,
        prices: Sequence[int | None],
    ) -> None:
        sought = [kind for kind, price in enumerate(prices) if price is not None]
        self._worth = _PoolWorth(task, cuts, rng, pool, sought)
        self._shortage = Shortage(task, self._worth, prices)
        self._told = 0
        self._demand = task.demand
        self._pool = pool
        self.inequalities: list[Inequality] = []

    @property
    def steps(self) -> int:
        """Steps spent so far."""
        return self._worth.steps + self._shortage.steps

    def doubt(self, sheets: Sequence[int], steps: int, stop: Stop) -> bool:
        """Say whether such sheets are not likely to do; if so, keep an inequality that says why."""
        self.learn()
        if any(one.held(sheets) < one.needed(self._demand) for one in self.inequalities):
            return False  # it is known; the solver counts what is almost held as held
        found = self._shortage.broken(sheets, steps, stop)
        if found is not None:
            self.inequalities.append(found)
        return found is not None

    def learn(self) -> None:
        """Expect as much of sheets as the layouts hold that came into the pool meanwhile."""
        new = list(self._pool.since(self._told))
        if not new:
            return
        for pattern, counts in new:
            self._shortage.add(pattern.kind, {shape: float(n) for shape, n in counts.items()})
        self._told = len(self._pool)
        self.inequalities = [
            tamed(self._worth.most(one.worths), one.worths, self._demand)
            for one in self.inequalities
        ]


class _PoolWorth:
    """Worths of sheets by the contents in a pool, to which it adds."""

    def __init__(
        self, task: Task, cuts: Cuts, rng: Random, pool: Pool, sought: Sequence[int]
    ) -> None:
        self._task = task
        self._rng = rng
        self._pool = pool
        self._sought = set(sought)
        ways = (Cuts.STRAIGHT,) if cuts is Cuts.STRAIGHT else (Cuts.FREE, Cuts.STRAIGHT)
        self._fillers = [filler_for(task, way, rng) for way in ways]
        # Slicing finds the best of all straight cuts; the rules of some tasks are unknown to it.
        sliced = task.is_plain and any(task.demand)
        self._slicing = Slicing(task, rng, _RASTER) if sliced else None
        self._looked = 0
        self._rows: list[list[tuple[int, ...]]] = [[] for _ in task.kinds]
        self._tables: list[Matrix | None] = [None] * len(task.kinds)

    @property
    def steps(self) -> int:
        """What all calls of `best` have cost, in steps of filling."""
        of_slicing = self._slicing.steps if self._slicing else 0
        of_filling = sum(filler.steps for filler in self._fillers)
        return self._looked // _ENTRIES_A_STEP + of_slicing + of_filling

    def best(self, worths: Sequence[int], stop: Stop) -> list[tuple[int, Mapping[int, float]]]:
        """Return, for each kind, the worth of the best content known, and that content."""
        shapes = self._task.shapes
        wanted = [i for i, shape in enumerate(shapes) if shape.wanted and worths[i]]
        if self._slicing and wanted and not stop():
            self._slicing.price(self._task.demand, [float(worth) for worth in worths])
        for kind in sorted(self._sought):
            for _ in range(0 if stop() else _TRIES):
                self._fill(kind, wanted, worths)
            if self._slicing and wanted and not stop():
                for spots in self._slicing.layouts(kind, _SLICINGS):
                    self._pool.add(Pattern(kind, spots))
        found: list[tuple[int, Mapping[int, float]]] = []
        for content in self._best(worths):
            worth = sum(n * one for n, one in zip(content, worths, strict=True))
            found.append((worth, {i: float(n) for i, n in enumerate(content) if n}))
        return found

    def most(self, worths: Sequence[int]) -> list[int]:
        """Return, for each kind, the worth of the best content known."""
        return [
            sum(n * one for n, one in zip(content, worths, strict=True))
            for content in self._best(worths)
        ]

    def _best(self, worths: Sequence[int]) -> list[tuple[int, ...]]:
        """Return the best content known for each kind; nothing where none is."""
        import numpy as np

        self._learn()
        nothing = (0,) * len(worths)
        found = []
        values = np.array(worths, dtype=np.float64)
        for kind, rows in enumerate(self._rows):
            if not rows:
                found.append(nothing)
                continue
            table = self._tables[kind]
            if table is None or len(table) < len(rows):
                self._tables[kind] = table = np.array(rows, dtype=np.float64)
            self._looked += table.size
            found.append(rows[int((table @ values).argmax())])
        return found

    def _fill(self, kind: int, wanted: Sequence[int], worths: Sequence[int]) -> None:
        size = self._task.kinds[kind]
        order = drawn_order(self._task.shapes, wanted, worths, self._rng)
        filler = self._rng.choice(self._fillers)
        demand = self._task.demand
        spots = filler.fill(size.width, size.height, demand, order, spoiled=size.spoiled)
        self._pool.add(Pattern(kind, spots))

    def _learn(self) -> None:
        known = sum(map(len, self._rows))
        for pattern, counts in list(self._pool.since(known)):
            row = [0] * len(self._task.shapes)
            for shape, number in counts.items():
                row[shape] = number
            self._rows[pattern.kind].append(tuple(row))
