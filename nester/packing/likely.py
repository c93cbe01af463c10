"""What sheets are likely to hold: the best contents known, where bounds say what they hold at most.

The same programmes that refute sheets by bounds (`refute.py`) say of other sheets that they are not
likely to do: that even cut in fractions, by the best layouts that a search finds at the worths the
programme asks about, they leave something out.  Nothing is proven by that; it tells where plans
are worth seeking.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from random import Random
from typing import TYPE_CHECKING, Any

from nester.layouts import Cuts
from nester.packing.fill import drawn_order
from nester.packing.inequalities import Inequality
from nester.packing.model import Pattern, Task
from nester.packing.pool import Pool
from nester.packing.refute import Refuter
from nester.packing.staged import filler_for
from nester.packing.stop import Stop

if TYPE_CHECKING:
    import numpy as np

    Matrix = np.ndarray[Any, np.dtype[np.float64]]

__all__ = ["Likely"]

_TRIES = 2
"""Fillings of each kind of sheet that can be bought, for each question."""
_ENTRIES_A_STEP = 40
"""Numbers in the table of contents that cost as much to look at as one step of filling."""


class Likely:
    """Inequalities between sheets and pieces that plans are likely to keep to."""

    def __init__(self, task: Task, cuts: Cuts, rng: Random, pool: Pool, sought: Sequence[int]):
        self._task = task
        self._worth = _PoolWorth(task, cuts, rng, pool, sought)
        self._refuter = Refuter(task, self._worth)
        self._told = 0
        self._pool = pool
        self.inequalities: list[Inequality] = []

    @property
    def steps(self) -> int:
        """Steps spent so far."""
        return self._refuter.steps

    def doubt(self, sheets: Sequence[int], steps: int, stop: Stop) -> bool:
        """Say whether such sheets are not likely to do; if so, keep an inequality that says why."""
        for pattern, counts in list(self._pool.since(self._told)):
            self._refuter.add(pattern.kind, {shape: float(n) for shape, n in counts.items()})
        self._told = len(self._pool)
        found = self._refuter.refute(sheets, self._task.demand, steps, stop)
        if found is not None:
            self.inequalities.append(found)
        return found is not None


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
        self._looked = 0
        self._rows: list[list[tuple[int, ...]]] = [[] for _ in task.kinds]
        self._tables: list[Matrix | None] = [None] * len(task.kinds)

    @property
    def steps(self) -> int:
        """What all calls of `best` have cost, in steps of filling."""
        return self._looked // _ENTRIES_A_STEP + sum(filler.steps for filler in self._fillers)

    def best(self, worths: Sequence[int], stop: Stop) -> list[tuple[int, Mapping[int, float]]]:
        """Return, for each kind, the worth of the best content known, and that content."""
        import numpy as np

        shapes = self._task.shapes
        wanted = [i for i, shape in enumerate(shapes) if shape.wanted and worths[i]]
        for kind in sorted(self._sought):
            for _ in range(0 if stop() else _TRIES):
                self._fill(kind, wanted, worths)
        self._learn()
        found: list[tuple[int, Mapping[int, float]]] = []
        values = np.array(worths, dtype=np.float64)
        for kind in range(len(self._task.kinds)):
            rows = self._rows[kind]
            if not rows:
                found.append((0, {}))
                continue
            table = self._tables[kind]
            if table is None or len(table) < len(rows):
                self._tables[kind] = table = np.array(rows, dtype=np.float64)
            self._looked += table.size
            content = rows[int((table @ values).argmax())]
            worth = sum(n * one for n, one in zip(content, worths, strict=True))
            found.append((worth, {i: float(n) for i, n in enumerate(content) if n}))
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
