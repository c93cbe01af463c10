"""Cut trees arranged again for fewer cuts and larger offcuts."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from random import Random
from typing import TYPE_CHECKING, NamedTuple

from nester.core.problem import Cuts
from nester.packing.patterns.staged_greedy import make_filler
from nester.packing.runtime.stop import Stop
from nester.packing.task.pattern_pool import Plan
from nester.packing.task.pattern_value import PatternEvaluator
from nester.packing.task.task import ItemType, Pattern, Placement, Task, item_counts

if TYPE_CHECKING:
    pass

__all__ = []
_PIECES_PER_TIME = 8_000
"""Pieces on sheets taken apart in CP-SAT's deterministic time (measured)."""
_REFILLS = 4
"""Ways of laying the pieces of one layout that are tried beside those of its slices."""


class PatternRearranger:
    """Lays the pieces of a layout in other ways."""

    def __init__(self, task: Task, cuts: Cuts, table: PatternEvaluator, rng: Random) -> None:
        self._task = task
        self._evaluator = table
        self._rng = rng
        self._filler = make_filler(task, cuts, rng)

    def improve(self, uses: Plan, work: float, stop: Stop) -> Plan:
        """Return the plan with its layouts arranged better, those cut most often first."""
        end = self._evaluator.pieces_evaluated + int(work * _PIECES_PER_TIME)
        best = {pattern: pattern for pattern, _ in uses}
        for pattern, _ in sorted(uses, key=lambda use: -use[1]):
            for other in self._arrangements(pattern):
                if self._evaluator.pieces_evaluated >= end or stop():
                    break
                best[pattern] = min(best[pattern], other, key=self._objective)
        return tuple((best[pattern], copies) for pattern, copies in uses)

    def _objective(self, pattern: Pattern) -> tuple[Fraction, int, int]:
        apart = self._evaluator.cut_pattern(pattern)
        return -self._evaluator.offcut_value(pattern), len(apart.cuts), -apart.offcut_concentration

    def _arrangements(self, pattern: Pattern) -> Iterator[Pattern]:
        seen = {frozenset(pattern.placements)}
        for spots in (*self._sort_slices(pattern), *self._refill(pattern)):
            other = Pattern(pattern.bin_type, spots)
            if frozenset(spots) not in seen and self._task.allows(other):
                seen.add(frozenset(spots))
                yield other

    def _sort_slices(self, pattern: Pattern) -> Iterator[tuple[Placement, ...]]:
        shapes = self._task.item_types
        if any(shapes[spot.item_type].voids for spot in pattern.placements):
            return
        for axis in (0, 1):
            block = _slice_blocks(
                [_single_block(spot, shapes[spot.item_type]) for spot in pattern.placements], axis
            )
            if block is None:
                return
            yield block.placements

    def _refill(self, pattern: Pattern) -> Iterator[tuple[Placement, ...]]:
        size, shapes = self._task.bin_types[pattern.bin_type], self._task.item_types
        content = item_counts(pattern.placements)
        counts = [content.get(shape, 0) for shape in range(len(shapes))]
        for number in range(_REFILLS):
            keys = {
                shape: (shapes[shape].area, max(shapes[shape][:2]))[number % 2]
                * (1 + (number > 1) * self._rng.random())
                for shape in content
            }
            order = sorted(content, key=lambda shape: (-keys[shape], shape))
            spots = self._filler.fill(size.width, size.height, counts, order, spoiled=size.defects)
            if len(spots) == len(pattern.placements):
                yield spots


class _Block(NamedTuple):
    """Pieces, each where it lies, and the sides of the rectangle that they need."""

    placements: tuple[Placement, ...]
    origin: tuple[int, int]
    sides: tuple[int, int]

    def moved_to(self, near: tuple[int, int]) -> _Block:
        """Return it with its near corner elsewhere."""
        x, y = near[0] - self.origin[0], near[1] - self.origin[1]
        spots = tuple(spot._replace(x=spot.x + x, y=spot.y + y) for spot in self.placements)
        return _Block(spots, near, self.sides)


def _single_block(spot: Placement, shape: ItemType) -> _Block:
    sides = shape.oriented_size(spot.turned)
    return _Block((spot,), (spot.x, spot.y), sides)


def _slice_blocks(blocks: Sequence[_Block], axis: int, *, whole: bool = False) -> _Block | None:
    """Return blocks cut into slices along an axis, without gaps, the widest slice first.

    None if edge-to-edge cuts don't part them; `whole` says that cuts along the other axis don't.
    """
    groups: list[list[_Block]] = []
    end = -1
    for block in sorted(blocks, key=lambda one: one.origin[axis]):
        if block.origin[axis] >= end:
            groups.append([])
        groups[-1].append(block)
        end = max(end, block.origin[axis] + block.sides[axis])
    if len(groups) == 1 and whole and len(blocks) > 1:
        return None
    slices = []
    for group in groups:
        one: _Block | None = group[0]
        if len(group) > 1:
            one = _slice_blocks(group, 1 - axis, whole=len(groups) == 1)
        if one is None:
            return None
        slices.append(one)
    slices.sort(key=lambda one: (-one.sides[1 - axis], -one.sides[axis]))
    spots: list[Placement] = []
    length = 0
    for one in slices:
        spots += one.moved_to((length, 0) if axis == 0 else (0, length)).placements
        length += one.sides[axis]
    across = max(one.sides[1 - axis] for one in slices)
    return _Block(tuple(spots), (0, 0), (length, across) if axis == 0 else (across, length))
