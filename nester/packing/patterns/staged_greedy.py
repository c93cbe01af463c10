"""Fill one sheet for a trimmer on which the way of cutting may change only so often.

The greedy of `greedy.py`, but each free rectangle knows by which cuts it came about: a piece is
laid into its corner only if the cuts that free it stay within the stages.
"""

from __future__ import annotations

from collections.abc import Sequence
from random import Random
from typing import NamedTuple

from nester.core.problem import Cuts, Rect
from nester.packing.patterns.greedy import Filler
from nester.packing.task.task import Shape, Spot, Task

__all__ = ["StagedFiller", "filler_for"]


def filler_for(task: Task, cuts: Cuts, rng: Random) -> Filler:
    """Return what fills a task's sheets."""
    if cuts is Cuts.STRAIGHT and task.stages is not None:
        return StagedFiller(task.shapes, task.stages, rng)
    return Filler(task.shapes, cuts, rng)


class _Part(NamedTuple):
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


class StagedFiller(Filler):
    """Fills sheets so that they come apart in so many stages."""

    def __init__(self, shapes: Sequence[Shape], stages: int, rng: Random) -> None:
        super().__init__(shapes, Cuts.STRAIGHT, rng)
        self._stages = stages

    def fill(
        self,
        width: int,
        height: int,
        counts: Sequence[int],
        order: Sequence[int],
        laid: Sequence[Spot] = (),
        spoiled: Sequence[Rect] = (),
    ) -> tuple[Spot, ...]:
        """Lay pieces on a width × height sheet; see `Filler.fill`."""
        parts = [_Part(0, 0, width, height)]
        spots: list[Spot] = []
        left = list(counts)
        passes = 2 if any(self._shapes[index].voids for index in order) else 1
        for index in (*order,) * passes:
            while left[index]:
                spot = self._laid(parts, index, spoiled)
                if spot is None:
                    break
                spots.append(spot)
                left[index] -= 1
        return tuple(spots)

    def _laid(self, parts: list[_Part], index: int, spoiled: Sequence[Rect]) -> Spot | None:
        """Lay one piece where it leaves the shortest strip; change what is free to suit."""
        shape = self._shapes[index]
        self.steps += len(parts)
        found: tuple[int, float, int, bool, list[_Part]] | None = None
        for where, part in enumerate(parts):
            for turned in (False, True) if shape.turns else (False,):
                wide, high = shape.sides(turned)
                rest = min(part.width - wide, part.height - high)
                if rest < 0 or any(Rect(part.x, part.y, wide, high).meets(bad) for bad in spoiled):
                    continue
                for down_first in (False, True):
                    parted = self._parted(part, wide, high, down_first)
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
        parts += [_Part(*void) for void in shape.voids_at(x, y, turned)]
        return Spot(index, x, y, turned)

    def _parted(self, part: _Part, wide: int, high: int, down_first: bool) -> list[_Part] | None:
        """Return what is left beside a piece in a part's corner, or None: too many stages."""
        x, y, width, height, stage, down = part
        rest = []
        for cuts_down in (down_first, not down_first):
            if (height > high) if cuts_down else (width > wide):
                stage += down is not cuts_down
                down = cuts_down
                if cuts_down:
                    rest.append(_Part(x, y + high, width, height - high, stage, down))
                    height = high
                else:
                    rest.append(_Part(x + wide, y, width - wide, height, stage, down))
                    width = wide
        return rest if stage <= self._stages else None
