"""All that one sheet can hold: for a few pieces, every set of them, with certainty.

For straight cuts that is known from the smallest rectangles of each content
(`guillotine_fronts.py`).  For free cuts, what comes apart by straight cuts is held too; of the rest
CP-SAT decides.

If a sheet holds a content it holds any part of it; so contents grow piece by piece, and what has
a part that isn't held is never looked at.
"""

from __future__ import annotations

from collections.abc import Iterator

from nester.core.problem import Cuts
from nester.packing.exact.guillotine_fronts import GuillotineFronts, ItemCounts, adjusted
from nester.packing.exact.orthogonal_feasibility import (
    BASE_STEPS,
    STEPS_PER_TIME,
    solve_orthogonal_packing,
)
from nester.packing.runtime.stop import Stop
from nester.packing.task.task import Placement, Task

__all__ = ["FeasiblePatterns", "TooManyPatterns"]


class TooManyPatterns(Exception):
    """There are more contents than the work allowed suffices for."""


class FeasiblePatterns:
    """What each kind of sheet of a task holds.

    Parameters
    ----------
    most_steps
        Steps allowed; a step is one way to part a content, and asking CP-SAT takes some hundreds.

    Raises
    ------
    TooMany
        If they don't suffice, or `stop` says so.
    """

    def __init__(self, task: Task, cuts: Cuts, most_steps: int, seconds: float, stop: Stop) -> None:
        self._item_types = task.item_types
        self._bin_types = task.bin_types
        self._fronts = GuillotineFronts(task)
        self._cuts = cuts
        self._steps_left = most_steps
        self._seconds = seconds
        self._stop = stop
        self._cp_sat_placements: dict[tuple[ItemCounts, int], tuple[Placement, ...]] = {}
        self._feasible: list[dict[ItemCounts, bool]] = [{} for _ in task.bin_types]
        self._enumerate(task.demand)

    def maximal(self, kind: int, *, surely: bool) -> Iterator[ItemCounts]:
        """Yield the largest contents of a kind of sheet: each is part of no other.

        Parameters
        ----------
        surely
            Leave out those of which CP-SAT could not tell; else they count as held.
        """
        known = {c for c, sure in self._feasible[kind].items() if sure or not surely}
        for content in self._feasible[kind]:
            if content in known and not any(
                adjusted(content, shape, 1) in known for shape in range(len(content))
            ):
                yield content

    def placements(self, kind: int, content: ItemCounts) -> tuple[Placement, ...]:
        """Return how a content that is surely held lies on a sheet of a kind."""
        arranged = self._cp_sat_placements.get((content, kind))
        if arranged is not None:
            return arranged
        return self._fronts.placements(content, self._bin_types[kind])

    def _enumerate(self, demand: ItemCounts) -> None:
        last = [tuple(0 for _ in demand)]
        while last:
            grown = {
                adjusted(content, shape, 1): None
                for content in last
                for shape, number in enumerate(content)
                if number < demand[shape]
            }
            last = [content for content in grown if self._is_feasible(content)]

    def _is_feasible(self, content: ItemCounts) -> bool:
        parts = [adjusted(content, shape, -1) for shape, number in enumerate(content) if number]
        single = sum(content) == 1
        area = sum(n * shape.solid_area for n, shape in zip(content, self._item_types, strict=True))
        kinds = [
            number
            for number, kind in enumerate(self._bin_types)
            if area <= kind.area and (single or all(p in self._feasible[number] for p in parts))
        ]
        if not kinds:
            return False
        open_to = []
        before = self._fronts.steps
        for number in kinds:
            if self._fronts.is_feasible(content, self._bin_types[number]):
                self._feasible[number][content] = True
            else:
                open_to.append(number)
        self._spend(self._fronts.steps - before)
        # Three blanks or fewer that don't reach into each other come apart by straight cuts.
        few = 1 if any(self._item_types[i].voids for i, n in enumerate(content) if n) else 3
        if self._cuts is Cuts.FREE and sum(content) > few:
            for number in open_to:
                self._decide_by_cp_sat(content, number)
        return any(content in held for held in self._feasible)

    def _decide_by_cp_sat(self, content: ItemCounts, number: int) -> None:
        answer, work = solve_orthogonal_packing(
            self._item_types, content, self._bin_types[number], self._seconds
        )
        self._spend(BASE_STEPS + int(work * STEPS_PER_TIME))
        if answer == ():
            return
        self._feasible[number][content] = answer is not None
        if answer is not None:
            self._cp_sat_placements[content, number] = answer

    def _spend(self, steps: int) -> None:
        self._steps_left -= steps
        if self._steps_left < 0 or self._stop():
            raise TooManyPatterns
