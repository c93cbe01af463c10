"""Cut trees arranged again for fewer cuts and larger offcuts."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from random import Random
from typing import TYPE_CHECKING, NamedTuple

from nester.core.problem import Cuts
from nester.packing.patterns.staged_greedy import filler_for
from nester.packing.runtime.stop import Stop
from nester.packing.task.pattern_pool import Uses
from nester.packing.task.pattern_value import Table
from nester.packing.task.task import Pattern, Shape, Spot, Task, usage

if TYPE_CHECKING:
    pass

__all__ = []
_PIECES_IN_WORK = 8_000
"""Pieces on sheets taken apart in CP-SAT's deterministic time (measured)."""
_REFILLINGS = 4
"""Ways of laying the pieces of one layout that are tried beside those of its slices."""


class _Rearranger:
    """Lays the pieces of a layout in other ways."""

    def __init__(self, task: Task, cuts: Cuts, table: Table, rng: Random) -> None:
        self._task = task
        self._table = table
        self._rng = rng
        self._filler = filler_for(task, cuts, rng)

    def improved(self, uses: Uses, work: float, stop: Stop) -> Uses:
        """Return the plan with its layouts arranged better, those cut most often first."""
        end = self._table.spent + int(work * _PIECES_IN_WORK)
        best = {pattern: pattern for pattern, _ in uses}
        for pattern, _ in sorted(uses, key=lambda use: -use[1]):
            for other in self._arrangements(pattern):
                if self._table.spent >= end or stop():
                    break
                best[pattern] = min(best[pattern], other, key=self._untidiness)
        return tuple((best[pattern], copies) for pattern, copies in uses)

    def _untidiness(self, pattern: Pattern) -> tuple[Fraction, int, int]:
        apart = self._table.apart(pattern)
        return -self._table.kept(pattern), len(apart.cuts), -apart.largeness

    def _arrangements(self, pattern: Pattern) -> Iterator[Pattern]:
        seen = {frozenset(pattern.spots)}
        for spots in (*self._slices_moved(pattern), *self._refilled(pattern)):
            other = Pattern(pattern.kind, spots)
            if frozenset(spots) not in seen and self._task.allows(other):
                seen.add(frozenset(spots))
                yield other

    def _slices_moved(self, pattern: Pattern) -> Iterator[tuple[Spot, ...]]:
        shapes = self._task.shapes
        if any(shapes[spot.shape].voids for spot in pattern.spots):
            return
        for axis in (0, 1):
            block = _sliced([_block(spot, shapes[spot.shape]) for spot in pattern.spots], axis)
            if block is None:
                return
            yield block.spots

    def _refilled(self, pattern: Pattern) -> Iterator[tuple[Spot, ...]]:
        size, shapes = self._task.kinds[pattern.kind], self._task.shapes
        content = usage(pattern.spots)
        counts = [content.get(shape, 0) for shape in range(len(shapes))]
        for number in range(_REFILLINGS):
            keys = {
                shape: (shapes[shape].area, max(shapes[shape][:2]))[number % 2]
                * (1 + (number > 1) * self._rng.random())
                for shape in content
            }
            order = sorted(content, key=lambda shape: (-keys[shape], shape))
            spots = self._filler.fill(size.width, size.height, counts, order, spoiled=size.spoiled)
            if len(spots) == len(pattern.spots):
                yield spots


class _Block(NamedTuple):
    """Pieces, each where it lies, and the sides of the rectangle that they need."""

    spots: tuple[Spot, ...]
    near: tuple[int, int]
    sides: tuple[int, int]

    def moved(self, near: tuple[int, int]) -> _Block:
        """Return it with its near corner elsewhere."""
        x, y = near[0] - self.near[0], near[1] - self.near[1]
        spots = tuple(spot._replace(x=spot.x + x, y=spot.y + y) for spot in self.spots)
        return _Block(spots, near, self.sides)


def _block(spot: Spot, shape: Shape) -> _Block:
    sides = shape.sides(spot.turned)
    return _Block((spot,), (spot.x, spot.y), sides)


def _sliced(blocks: Sequence[_Block], axis: int, *, whole: bool = False) -> _Block | None:
    """Return blocks cut into slices along an axis, without gaps, the widest slice first.

    None if edge-to-edge cuts don't part them; `whole` says that cuts along the other axis don't.
    """
    groups: list[list[_Block]] = []
    end = -1
    for block in sorted(blocks, key=lambda one: one.near[axis]):
        if block.near[axis] >= end:
            groups.append([])
        groups[-1].append(block)
        end = max(end, block.near[axis] + block.sides[axis])
    if len(groups) == 1 and whole and len(blocks) > 1:
        return None
    slices = []
    for group in groups:
        one: _Block | None = group[0]
        if len(group) > 1:
            one = _sliced(group, 1 - axis, whole=len(groups) == 1)
        if one is None:
            return None
        slices.append(one)
    slices.sort(key=lambda one: (-one.sides[1 - axis], -one.sides[axis]))
    spots: list[Spot] = []
    length = 0
    for one in slices:
        spots += one.moved((length, 0) if axis == 0 else (0, length)).spots
        length += one.sides[axis]
    across = max(one.sides[1 - axis] for one in slices)
    return _Block(tuple(spots), (0, 0), (length, across) if axis == 0 else (across, length))
