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
from nester.packing.exact.guillotine_fronts import Content, Fronts, changed
from nester.packing.exact.orthogonal_feasibility import STEPS, STEPS_IN_WORK, arrange
from nester.packing.runtime.stop import Stop
from nester.packing.task.task import Spot, Task

__all__ = ["Contents", "TooMany"]


class TooMany(Exception):
    """There are more contents than the work allowed suffices for."""


class Contents:
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
        self._shapes = task.shapes
        self._kinds = task.kinds
        self._fronts = Fronts(task)
        self._cuts = cuts
        self._steps_left = most_steps
        self._seconds = seconds
        self._stop = stop
        self._arranged: dict[tuple[Content, int], tuple[Spot, ...]] = {}
        self._held: list[dict[Content, bool]] = [{} for _ in task.kinds]
        self._find(task.demand)

    def held(self, kind: int, *, surely: bool) -> Iterator[Content]:
        """Yield the largest contents of a kind of sheet: each is part of no other.

        Parameters
        ----------
        surely
            Leave out those of which CP-SAT could not tell; else they count as held.
        """
        known = {c for c, sure in self._held[kind].items() if sure or not surely}
        for content in self._held[kind]:
            if content in known and not any(
                changed(content, shape, 1) in known for shape in range(len(content))
            ):
                yield content

    def spots(self, kind: int, content: Content) -> tuple[Spot, ...]:
        """Return how a content that is surely held lies on a sheet of a kind."""
        arranged = self._arranged.get((content, kind))
        if arranged is not None:
            return arranged
        return self._fronts.spots(content, self._kinds[kind])

    def _find(self, demand: Content) -> None:
        last = [tuple(0 for _ in demand)]
        while last:
            grown = {
                changed(content, shape, 1): None
                for content in last
                for shape, number in enumerate(content)
                if number < demand[shape]
            }
            last = [content for content in grown if self._is_held(content)]

    def _is_held(self, content: Content) -> bool:
        parts = [changed(content, shape, -1) for shape, number in enumerate(content) if number]
        single = sum(content) == 1
        area = sum(n * shape.solid_area for n, shape in zip(content, self._shapes, strict=True))
        kinds = [
            number
            for number, kind in enumerate(self._kinds)
            if area <= kind.area and (single or all(p in self._held[number] for p in parts))
        ]
        if not kinds:
            return False
        open_to = []
        before = self._fronts.steps
        for number in kinds:
            if self._fronts.holds(content, self._kinds[number]):
                self._held[number][content] = True
            else:
                open_to.append(number)
        self._spend(self._fronts.steps - before)
        # Three blanks or fewer that don't reach into each other come apart by straight cuts.
        few = 1 if any(self._shapes[i].voids for i, n in enumerate(content) if n) else 3
        if self._cuts is Cuts.FREE and sum(content) > few:
            for number in open_to:
                self._ask(content, number)
        return any(content in held for held in self._held)

    def _ask(self, content: Content, number: int) -> None:
        answer, work = arrange(self._shapes, content, self._kinds[number], self._seconds)
        self._spend(STEPS + int(work * STEPS_IN_WORK))
        if answer == ():
            return
        self._held[number][content] = answer is not None
        if answer is not None:
            self._arranged[content, number] = answer

    def _spend(self, steps: int) -> None:
        self._steps_left -= steps
        if self._steps_left < 0 or self._stop():
            raise TooMany
