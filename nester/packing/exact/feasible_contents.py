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
    max_steps
        Steps allowed; a step is one way to part a content, and asking CP-SAT takes some hundreds.

    Raises
    ------
    TooManyPatterns
        If they don't suffice, or `stop` says so.
    """

    def __init__(self, task: Task, cuts: Cuts, max_steps: int, seconds: float, stop: Stop) -> None:
        self._item_types = task.item_types
        self._bin_types = task.bin_types
        self._fronts = GuillotineFronts(task)
        self._cuts = cuts
        self._steps_left = max_steps
        self._seconds = seconds
        self._stop = stop
        self._cp_sat_placements: dict[tuple[ItemCounts, int], tuple[Placement, ...]] = {}
        self._feasible: list[dict[ItemCounts, bool]] = [{} for _ in task.bin_types]
        self._enumerate(task.demand)

    def maximal(self, bin_type: int, *, surely: bool) -> Iterator[ItemCounts]:
        """Yield the largest contents of a kind of sheet: each is part of no other.

        Parameters
        ----------
        surely
            Leave out those that CP-SAT could not decide; else they count as held.
        """
        feasible = {
            other
            for other, is_proven in self._feasible[bin_type].items()
            if is_proven or not surely
        }
        for counts in self._feasible[bin_type]:
            if counts in feasible and not any(
                adjusted(counts, item_type, 1) in feasible for item_type in range(len(counts))
            ):
                yield counts

    def placements(self, bin_type: int, counts: ItemCounts) -> tuple[Placement, ...]:
        """Return how a content that is surely held lies on a sheet of a kind."""
        arranged = self._cp_sat_placements.get((counts, bin_type))
        if arranged is not None:
            return arranged
        return self._fronts.placements(counts, self._bin_types[bin_type])

    def _enumerate(self, demand: ItemCounts) -> None:
        level = [tuple(0 for _ in demand)]
        while level:
            grown = {
                adjusted(counts, item_type, 1): None
                for counts in level
                for item_type, count in enumerate(counts)
                if count < demand[item_type]
            }
            level = [counts for counts in grown if self._is_feasible(counts)]

    def _is_feasible(self, counts: ItemCounts) -> bool:
        parts = [adjusted(counts, item_type, -1) for item_type, index in enumerate(counts) if index]
        is_single = sum(counts) == 1
        solid_area = sum(
            count * item_type.solid_area
            for count, item_type in zip(counts, self._item_types, strict=True)
        )
        bin_types = [
            index
            for index, sheet_type in enumerate(self._bin_types)
            if solid_area <= sheet_type.area
            and (is_single or all(part in self._feasible[index] for part in parts))
        ]
        if not bin_types:
            return False
        undecided = []
        steps_before = self._fronts.steps
        for index in bin_types:
            if self._fronts.is_feasible(counts, self._bin_types[index]):
                self._feasible[index][counts] = True
            else:
                undecided.append(index)
        self._spend(self._fronts.steps - steps_before)
        # Three blanks or fewer that don't reach into each other come apart by straight cuts.
        max_guillotine = (
            1
            if any(
                self._item_types[used_type].voids for used_type, count in enumerate(counts) if count
            )
            else 3
        )
        if self._cuts is Cuts.FREE and sum(counts) > max_guillotine:
            for index in undecided:
                self._decide_by_cp_sat(counts, index)
        return any(counts in feasible for feasible in self._feasible)

    def _decide_by_cp_sat(self, counts: ItemCounts, bin_type: int) -> None:
        placements, work = solve_orthogonal_packing(
            self._item_types, counts, self._bin_types[bin_type], self._seconds
        )
        self._spend(BASE_STEPS + int(work * STEPS_PER_TIME))
        if placements == ():
            return
        self._feasible[bin_type][counts] = placements is not None
        if placements is not None:
            self._cp_sat_placements[counts, bin_type] = placements

    def _spend(self, steps: int) -> None:
        self._steps_left -= steps
        if self._steps_left < 0 or self._stop():
            raise TooManyPatterns
