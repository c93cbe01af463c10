"""The most that one sheet's pieces can be worth, however they are cut.

A line across a sheet runs through pieces that lie side by side: their widths fit into the sheet's
width.  So the pieces, taken apart into strips of no height, fill the sheet with such *bars*; and
likewise with upright ones (the bar relaxation: Scheithauer, "LP-based bounds for the container
and multi-container loading problem", International Transactions in Operational Research 6, 1999).
A linear programme finds the contents worth most for which both is so.  It bounds all layouts,
those too that no trimmer can cut.

Its dual values say what a unit of height of each piece is worth to the bars across, and a unit
of width to those that run down.  If no bar of one or the other kind is worth more than A or D,
a W × H sheet is worth no more than A·H + D·W, whatever the dual values were.  That is computed in
whole numbers, so that no float decides.

Of a piece with voids only what is solid counts: taken apart into rows, each is met by bars across
over its own height; and into columns by bars that run down.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

from nester.core.geometry import solid_columns, solid_rows
from nester.core.problem import Rect
from nester.packing.runtime.stop import Stop
from nester.packing.task.normal_patterns import NormalPatterns
from nester.packing.task.task import BinType, ItemType, Task, orientations

__all__ = ["MAX_BIN_TYPES", "BarRelaxation"]

MAX_BIN_TYPES = 60
"""With more kinds of sheet, each with bars of its own, bounding by them takes too long."""

_SCALE = 2**16
_MAX_ROUNDS = 30
"""New bars for one question at most."""
_STEPS_PER_ROUND = 2000
"""What a round costs in steps of filling (measured)."""


_Bar = tuple[tuple[int, int], ...]
"""Strips by place, and how often each lies on the bar."""


class _OrientedItem(NamedTuple):
    """A shape in one of its ways: what is solid of it, in rows and in columns."""

    item_type: int
    rows: tuple[Rect, ...]
    columns: tuple[Rect, ...]


def _oriented_item(
    index: int, shape: ItemType, size: tuple[int, int], turned: bool
) -> _OrientedItem:
    blank, gone = Rect(0, 0, *size), shape.voids_at(0, 0, turned)
    return _OrientedItem(index, solid_rows(blank, gone), solid_columns(blank, gone))


class BarRelaxation:
    """Finds, for given worths of pieces, a bound on the best content of each kind of sheet."""

    def __init__(self, task: Task) -> None:
        self._models = [_BarModel(task, kind) for kind in task.bin_types]

    @property
    def steps(self) -> int:
        """What all calls have cost, in steps of filling."""
        return _STEPS_PER_ROUND * sum(sheet.rounds for sheet in self._models)

    def solve(self, worths: Sequence[int], _stop: Stop) -> list[tuple[int, dict[int, float]]]:
        """Return for each kind a bound on what its pieces are worth, and a mixture near it."""
        return [sheet.solve(worths) for sheet in self._models]


class _BarModel:
    def __init__(self, task: Task, kind: BinType) -> None:
        from ortools.linear_solver import pywraplp

        self._task = task
        self._bin_type = kind
        self.rounds = 0
        self._items = [
            _oriented_item(index, shape, (width, height), turned > 0)
            for index, shape in enumerate(task.item_types)
            if shape.demand
            for turned, (width, height) in enumerate(orientations(shape))
            if width <= kind.width and height <= kind.height
        ]
        self._solver = solver = pywraplp.Solver.CreateSolver("GLOP")
        endless = solver.infinity()
        self._objective = solver.Objective()
        self._objective.SetMaximization()
        self._quantities = [solver.NumVar(0.0, endless, "") for _ in self._items]
        self._demand_rows = [solver.Constraint(-endless, float(n)) for n in task.demand]
        for item, number in zip(self._items, self._quantities, strict=True):
            self._demand_rows[item.item_type].SetCoefficient(number, 1.0)
        across = [_Strip(n, r.width, r.height) for n, i in enumerate(self._items) for r in i.rows]
        down = [_Strip(n, c.height, c.width) for n, i in enumerate(self._items) for c in i.columns]
        self._bars = (
            [
                _BarDirection(solver, self._quantities, across, kind.width, kind.height),
                _BarDirection(solver, self._quantities, down, kind.height, kind.width),
            ]
            if self._items
            else []
        )

    def solve(self, worths: Sequence[int]) -> tuple[int, dict[int, float]]:
        """Return a bound on the sheet's worth, and a mixture of pieces near it."""
        if not self._items:
            return 0, {}
        largest = max(worths) or 1
        for item, number in zip(self._items, self._quantities, strict=True):
            self._objective.SetCoefficient(number, worths[item.item_type] / largest)
        bound = sum(worth * n for worth, n in zip(worths, self._task.demand, strict=True))
        content: dict[int, float] = {}
        for _ in range(_MAX_ROUNDS):
            self.rounds += 1
            if self._solver.Solve() != self._solver.OPTIMAL:
                break  # it failed in its numbers; the bound so far holds
            content = self._content()
            values = [bars.dual_values(largest) for bars in self._bars]
            best = [bars.best_bar(of) for bars, of in zip(self._bars, values, strict=True)]
            bound = min(bound, self._bound(worths, values, [most for most, _ in best]))
            learnt = [bars.add_bar(bar) for bars, (_, bar) in zip(self._bars, best, strict=True)]
            if not any(learnt):
                break
        return bound, content

    def _content(self) -> dict[int, float]:
        content: dict[int, float] = {}
        for item, number in zip(self._items, self._quantities, strict=True):
            value = round(number.solution_value(), 9)
            if value > 0:
                content[item.item_type] = content.get(item.item_type, 0.0) + value
        return content

    def _bound(
        self, worths: Sequence[int], values: Sequence[Sequence[int]], bars: Sequence[int]
    ) -> int:
        """Return what the sheet is worth at most.

        Parameters
        ----------
        values
            What a unit of depth of each strip is worth to the bars of each way.
        bars
            What a bar of each way is worth at most.
        """
        total = bars[0] * self._bin_type.height + bars[1] * self._bin_type.width
        paid = [0] * len(self._items)
        for bars_of, of in zip(self._bars, values, strict=True):
            for strip, value in zip(bars_of.strips, of, strict=True):
                paid[strip.item] += value * strip.depth
        over = [0] * len(worths)
        for item, of_item in zip(self._items, paid, strict=True):
            over[item.item_type] = max(
                over[item.item_type], worths[item.item_type] * _SCALE - of_item
            )
        total += sum(o * n for o, n in zip(over, self._task.demand, strict=True))
        return total // _SCALE


class _Strip(NamedTuple):
    """A solid part of an item: how long it is along the bars, and how deep across them."""

    item: int
    length: int
    depth: int


class _BarDirection:
    """The bars that run one way: rows of the programme, and the bars known so far."""

    def __init__(
        self,
        solver: Any,
        numbers: Sequence[Any],
        strips: Sequence[_Strip],
        length: int,
        depth: int,
    ) -> None:
        self._solver = solver
        self.strips = strips
        self._lengths = [strip.length for strip in strips]
        self._length, self._depth = length, depth
        self._normal_patterns = NormalPatterns(self._lengths, [length])
        endless = solver.infinity()
        self._capacity_row = solver.Constraint(-endless, 1.0)
        self._rows = []
        for strip in strips:
            row = solver.Constraint(-endless, 0.0)
            row.SetCoefficient(numbers[strip.item], strip.depth / depth)
            self._rows.append(row)
        self._known: set[_Bar] = set()

    def dual_values(self, largest: int) -> list[int]:
        """Return what a unit of depth of each strip is worth to a bar, by the dual values.

        What is rounded to no length is worth nothing: a bar could hold any number of it.
        """
        scale = largest * _SCALE / self._depth
        return [
            max(0, int(row.dual_value() * scale)) if self._normal_patterns.ceil_index(length) else 0
            for row, length in zip(self._rows, self._lengths, strict=True)
        ]

    def best_bar(self, values: Sequence[int]) -> tuple[int, _Bar]:
        """Return what a bar is worth at most, and that bar."""
        return self._normal_patterns.unbounded_knapsack(self._lengths, values, self._length)

    def add_bar(self, bar: _Bar) -> bool:
        """Let the programme know a bar; say whether it is new."""
        if bar in self._known:
            return False
        self._known.add(bar)
        column = self._solver.NumVar(0.0, self._solver.infinity(), "")
        self._capacity_row.SetCoefficient(column, 1.0)
        for place, number in bar:
            self._rows[place].SetCoefficient(column, -float(number))
        return True
