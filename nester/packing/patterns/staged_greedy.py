"""Fill one sheet for a trimmer on which the way of cutting may change only so often.

The greedy of `greedy.py`, but each free rectangle knows by which cuts it came about: a piece is
laid into its corner only if the cuts that free it stay within the stages.
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
    """Return what fills a task's sheets."""
    if cuts is Cuts.STRAIGHT and task.max_stages is not None:
        return StagedGreedyFiller(task.item_types, task.max_stages, rng)
    return GreedyFiller(task.item_types, cuts, rng)


class _FreePart(NamedTuple):
    """A free rectangle.

    Attributes
    ----------
    stage
        The stage of the cuts that made it; 0 for a whole sheet.
    down
        Whether they were cuts across its height; None for a whole sheet.
    """

    x: int
    y: int
    width: int
    height: int
    stage: int = 0
    down: bool | None = None


class StagedGreedyFiller(GreedyFiller):
    """Fills sheets so that they come apart in so many stages."""

    def __init__(self, shapes: Sequence[ItemType], stages: int, rng: Random) -> None:
        super().__init__(shapes, Cuts.STRAIGHT, rng)
        self._max_stages = stages

    def fill(
        self,
        width: int,
        height: int,
        counts: Sequence[int],
        order: Sequence[int],
        laid: Sequence[Placement] = (),
        spoiled: Sequence[Rect] = (),
    ) -> tuple[Placement, ...]:
        """Lay pieces on a width × height sheet; see `GreedyFiller.fill`."""
        parts = [_FreePart(0, 0, width, height)]
        spots: list[Placement] = []
        left = list(counts)
        passes = 2 if any(self._item_types[index].voids for index in order) else 1
        for index in (*order,) * passes:
            while left[index]:
                spot = self._place_item(parts, index, spoiled)
                if spot is None:
                    break
                spots.append(spot)
                left[index] -= 1
        return tuple(spots)

    def _place_item(
        self, parts: list[_FreePart], index: int, spoiled: Sequence[Rect]
    ) -> Placement | None:
        """Lay one piece where it leaves the shortest strip; change what is free to suit."""
        shape = self._item_types[index]
        self.steps += len(parts)
        found: tuple[int, float, int, bool, list[_FreePart]] | None = None
        for where, part in enumerate(parts):
            for turned in (False, True) if shape.rotatable else (False,):
                wide, high = shape.oriented_size(turned)
                rest = min(part.width - wide, part.height - high)
                if rest < 0 or any(
                    Rect(part.x, part.y, wide, high).overlaps(bad) for bad in spoiled
                ):
                    continue
                for down_first in (False, True):
                    parted = self._staged_split(part, wide, high, down_first)
                    if parted is None:
                        continue
                    # Rather the cut that leaves the larger rest; now and then the other.
                    largest = max((one.width * one.height for one in parted), default=0)
                    key = rest, -largest * (0.5 + self._rng.random())
                    if found is None or key < found[:2]:
                        found = *key, where, turned, parted
        if found is None:
            return None
        _, _, where, turned, parted = found
        x, y = parts[where][:2]
        parts[where : where + 1] = parted
        parts += [_FreePart(*void) for void in shape.voids_at(x, y, turned)]
        return Placement(index, x, y, turned)

    def _staged_split(
        self, part: _FreePart, wide: int, high: int, down_first: bool
    ) -> list[_FreePart] | None:
        """Return what is left beside a piece in a part's corner, or None: too many stages."""
        x, y, width, height, stage, down = part
        rest = []
        for cuts_down in (down_first, not down_first):
            if (height > high) if cuts_down else (width > wide):
                stage += down is not cuts_down
                down = cuts_down
                if cuts_down:
                    rest.append(_FreePart(x, y + high, width, height - high, stage, down))
                    height = high
                else:
                    rest.append(_FreePart(x + wide, y, width - wide, height, stage, down))
                    width = wide
        return rest if stage <= self._max_stages else None
