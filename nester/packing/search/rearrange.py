"""The pieces of a pattern placed in other ways, for fewer cuts and larger offcuts.

The slices of a guillotine pattern may be reordered; with the widest first, the free area gathers at
one edge.  Besides, the pieces are packed again in a few other orders.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from random import Random
from typing import NamedTuple

from nester.core.problem import Cuts
from nester.packing.patterns.staged_greedy import make_filler
from nester.packing.runtime.stop import Stop
from nester.packing.task.pattern_pool import Plan
from nester.packing.task.pattern_value import PatternEvaluator
from nester.packing.task.task import ItemType, Pattern, Placement, Task, item_counts

__all__ = ["PatternRearranger"]

_PIECES_PER_TIME = 8_000
"""Pieces on sheets evaluated in one unit of CP-SAT's deterministic time (measured)."""
_REFILLS = 4
"""Fillings tried for each pattern, besides reordering its slices."""


class PatternRearranger:
    """Places the pieces of patterns in other ways and keeps the best."""

    def __init__(self, task: Task, cuts: Cuts, evaluator: PatternEvaluator, rng: Random) -> None:
        self._task = task
        self._evaluator = evaluator
        self._rng = rng
        self._filler = make_filler(task, cuts, rng)

    def improve(self, plan: Plan, deterministic_time: float, stop: Stop) -> Plan:
        """Return the plan with its patterns rearranged, those cut most often first."""
        end = self._evaluator.pieces_evaluated + int(deterministic_time * _PIECES_PER_TIME)
        best = {pattern: pattern for pattern, _ in plan}
        for pattern, _ in sorted(plan, key=lambda use: -use[1]):
            for other in self._arrangements(pattern):
                if self._evaluator.pieces_evaluated >= end or stop():
                    break
                best[pattern] = min(best[pattern], other, key=self._objective)
        return tuple((best[pattern], copies) for pattern, copies in plan)

    def _objective(self, pattern: Pattern) -> tuple[Fraction, int, int]:
        cut_pattern = self._evaluator.cut_pattern(pattern)
        return (
            -self._evaluator.offcut_value(pattern),
            len(cut_pattern.cuts),
            -cut_pattern.offcut_concentration,
        )

    def _arrangements(self, pattern: Pattern) -> Iterator[Pattern]:
        seen = {frozenset(pattern.placements)}
        for placements in (*self._sort_slices(pattern), *self._refill(pattern)):
            other = Pattern(pattern.bin_type, placements)
            if frozenset(placements) not in seen and self._task.allows(other):
                seen.add(frozenset(placements))
                yield other

    def _sort_slices(self, pattern: Pattern) -> Iterator[tuple[Placement, ...]]:
        """Yield a guillotine pattern with sorted slices; nothing for pieces with voids."""
        item_types = self._task.item_types
        if any(item_types[placement.item_type].voids for placement in pattern.placements):
            return
        for axis in (0, 1):
            block = _slice_blocks(
                [
                    _single_block(placement, item_types[placement.item_type])
                    for placement in pattern.placements
                ],
                axis,
            )
            if block is None:
                return
            yield block.placements

    def _refill(self, pattern: Pattern) -> Iterator[tuple[Placement, ...]]:
        """Yield fillings with all pieces of a pattern, ordered by area or length, with noise."""
        size, item_types = self._task.bin_types[pattern.bin_type], self._task.item_types
        content = item_counts(pattern.placements)
        counts = [content.get(item_type, 0) for item_type in range(len(item_types))]
        for attempt in range(_REFILLS):
            keys = {
                item_type: (item_types[item_type].area, max(item_types[item_type][:2]))[attempt % 2]
                * (1 + (attempt > 1) * self._rng.random())
                for item_type in content
            }
            order = sorted(content, key=lambda item_type: (-keys[item_type], item_type))
            placements = self._filler.fill(
                size.width, size.height, counts, order, spoiled=size.defects
            )
            if len(placements) == len(pattern.placements):
                yield placements


class _Block(NamedTuple):
    """Placed pieces and their bounding box: its corner nearest to the origin, and its sides."""

    placements: tuple[Placement, ...]
    origin: tuple[int, int]
    sides: tuple[int, int]

    def moved_to(self, corner: tuple[int, int]) -> _Block:
        """Return the block with its near corner elsewhere."""
        x, y = corner[0] - self.origin[0], corner[1] - self.origin[1]
        placements = tuple(
            placement._replace(x=placement.x + x, y=placement.y + y)
            for placement in self.placements
        )
        return _Block(placements, corner, self.sides)


def _single_block(placement: Placement, item: ItemType) -> _Block:
    sides = item.oriented_size(placement.turned)
    return _Block((placement,), (placement.x, placement.y), sides)


def _slice_blocks(blocks: Sequence[_Block], axis: int, *, is_whole: bool = False) -> _Block | None:
    """Return blocks packed slice by slice along an axis without gaps, the widest slice first.

    Parameters
    ----------
    is_whole
        That cuts along the other axis don't separate the blocks.

    Returns
    -------
    _Block or None
        None if edge-to-edge cuts can't separate the blocks.
    """
    groups: list[list[_Block]] = []
    end = -1
    for block in sorted(blocks, key=lambda block: block.origin[axis]):
        if block.origin[axis] >= end:
            groups.append([])
        groups[-1].append(block)
        end = max(end, block.origin[axis] + block.sides[axis])
    if len(groups) == 1 and is_whole and len(blocks) > 1:
        return None
    slices = []
    for group in groups:
        slice_block: _Block | None = group[0]
        if len(group) > 1:
            slice_block = _slice_blocks(group, 1 - axis, is_whole=len(groups) == 1)
        if slice_block is None:
            return None
        slices.append(slice_block)
    slices.sort(key=lambda block: (-block.sides[1 - axis], -block.sides[axis]))
    placements: list[Placement] = []
    length = 0
    for slice_block in slices:
        placements += slice_block.moved_to((length, 0) if axis == 0 else (0, length)).placements
        length += slice_block.sides[axis]
    across = max(block.sides[1 - axis] for block in slices)
    return _Block(tuple(placements), (0, 0), (length, across) if axis == 0 else (across, length))
