"""Greedy filling of one sheet where the number of guillotine stages is limited.

The guillotine method of `greedy.py`, but each free rectangle knows the stage and direction of the
cuts that made it: a piece is placed in its corner only if the cuts that free it stay within the
stages allowed.
"""

from __future__ import annotations

from collections.abc import Sequence
from random import Random
from typing import NamedTuple

from nester.core.problem import Cuts, Rect
from nester.packing.patterns.greedy import GreedyFiller
from nester.packing.task.task import ItemType, Placement, Task

__all__ = ["StagedGreedyFiller", "make_filler"]


def make_filler(task: Task, cuts: Cuts, rng: Random) -> GreedyFiller:
    """Return the greedy method for a task: within its stages, if they are limited."""
    if cuts is Cuts.STRAIGHT and task.max_stages is not None:
        return StagedGreedyFiller(task.item_types, task.max_stages, rng)
    return GreedyFiller(task.item_types, cuts, rng)


class _FreePart(NamedTuple):
    """A free rectangle.

    Attributes
    ----------
    stage
        Stage of the cuts that made it; 0 for a whole sheet.
    down
        Whether those cuts divide the height; None for a whole sheet.
    """

    x: int
    y: int
    width: int
    height: int
    stage: int = 0
    down: bool | None = None


class StagedGreedyFiller(GreedyFiller):
    """Fills sheets so that a limited number of stages frees every piece."""

    def __init__(self, items: Sequence[ItemType], max_stages: int, rng: Random) -> None:
        super().__init__(items, Cuts.STRAIGHT, rng)
        self._max_stages = max_stages

    def fill(
        self,
        width: int,
        height: int,
        counts: Sequence[int],
        order: Sequence[int],
        placed: Sequence[Placement] = (),
        spoiled: Sequence[Rect] = (),
    ) -> tuple[Placement, ...]:
        """Place pieces on a width × height sheet; see `GreedyFiller.fill`."""
        parts = [_FreePart(0, 0, width, height)]
        placements: list[Placement] = []
        remaining = list(counts)
        passes = 2 if any(self._item_types[item_type].voids for item_type in order) else 1
        for item_type in (*order,) * passes:
            while remaining[item_type]:
                placement = self._place_item(parts, item_type, spoiled)
                if placement is None:
                    break
                placements.append(placement)
                remaining[item_type] -= 1
        return tuple(placements)

    def _place_item(
        self, parts: list[_FreePart], item_type: int, defects: Sequence[Rect]
    ) -> Placement | None:
        """Place a piece where it leaves the shortest strip, and update the free parts."""
        item = self._item_types[item_type]
        self.steps += len(parts)
        best: tuple[int, float, int, bool, list[_FreePart]] | None = None
        for part_index, part in enumerate(parts):
            for turned in (False, True) if item.rotatable else (False,):
                width, height = item.oriented_size(turned)
                gap = min(part.width - width, part.height - height)
                if gap < 0 or any(
                    Rect(part.x, part.y, width, height).overlaps(defect) for defect in defects
                ):
                    continue
                for is_horizontal_first in (False, True):
                    remainders = self._staged_split(part, width, height, is_horizontal_first)
                    if remainders is None:
                        continue
                    # Mostly the cut that leaves the larger remainder; sometimes the other.
                    largest = max(
                        (remainder.width * remainder.height for remainder in remainders), default=0
                    )
                    key = gap, -largest * (0.5 + self._rng.random())
                    if best is None or key < best[:2]:
                        best = *key, part_index, turned, remainders
        if best is None:
            return None
        _, _, part_index, turned, remainders = best
        x, y = parts[part_index][:2]
        parts[part_index : part_index + 1] = remainders
        parts += [_FreePart(*void) for void in item.voids_at(x, y, turned)]
        return Placement(item_type, x, y, turned)

    def _staged_split(
        self, part: _FreePart, item_width: int, item_height: int, is_horizontal_first: bool
    ) -> list[_FreePart] | None:
        """Return what is left beside a piece in a part's corner; None if over the stages."""
        x, y, width, height, stage, is_horizontal = part
        remainders = []
        for cuts_horizontally in (is_horizontal_first, not is_horizontal_first):
            if (height > item_height) if cuts_horizontally else (width > item_width):
                stage += is_horizontal is not cuts_horizontally
                is_horizontal = cuts_horizontally
                if cuts_horizontally:
                    remainders.append(
                        _FreePart(
                            x, y + item_height, width, height - item_height, stage, is_horizontal
                        )
                    )
                    height = item_height
                else:
                    remainders.append(
                        _FreePart(
                            x + item_width, y, width - item_width, height, stage, is_horizontal
                        )
                    )
                    width = item_width
        return remainders if stage <= self._max_stages else None
