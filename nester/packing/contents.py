"""All that one sheet can hold: for a few pieces, every set of them, with certainty.

A *content* says how many of each shape lie on a sheet.  For straight cuts the sizes of the
smallest rectangles that hold a content are found by joining the smallest rectangles of its parts,
side by side or one above the other, for all ways to part it: whatever comes apart by an
edge-to-edge cut was joined so.  For free cuts, what comes apart by straight cuts is held too; of
the rest CP-SAT decides.

If a sheet holds a content it holds any part of it; so contents grow piece by piece, and what has
a part that isn't held is never looked at.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import product
from typing import TYPE_CHECKING

from nester.layouts import Cuts
from nester.packing.interruptible import run
from nester.packing.model import Kind, Shape, Spot, Task
from nester.packing.stop import Stop

if TYPE_CHECKING:
    from ortools.util.python.sorted_interval_list import Domain

__all__ = ["Content", "Contents", "TooMany"]

Content = tuple[int, ...]
"""How many of each shape, by its index."""
_Size = tuple[int, int]
_Front = list[_Size]
"""Sizes none of which is within another: widths rising, heights falling."""
_MOST_PLACES = 2000
"""With more places for a piece than this, all whole numbers are as good."""
_WORK = 0.5
"""CP-SAT's deterministic time for one question."""
_STEPS_TO_ASK = 300
_STEPS_IN_WORK = 100_000
"""What asking CP-SAT costs, in partings of a content (measured)."""


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
        self._cuts = cuts
        self._steps_left = most_steps
        self._seconds = seconds
        self._stop = stop
        self._widest = max(kind.width for kind in task.kinds)
        self._highest = max(kind.height for kind in task.kinds)
        self._fronts: dict[Content, _Front] = {}
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
                _changed(content, shape, 1) in known for shape in range(len(content))
            ):
                yield content

    def spots(self, kind: int, content: Content) -> tuple[Spot, ...]:
        """Return how a content that is surely held lies on a sheet of a kind."""
        arranged = self._arranged.get((content, kind))
        if arranged is not None:
            return arranged
        sheet = self._kinds[kind]
        return tuple(self._place(content, (sheet.width, sheet.height), (0, 0)))

    def _find(self, demand: Content) -> None:
        last = [tuple(0 for _ in demand)]
        while last:
            grown = {
                _changed(content, shape, 1): None
                for content in last
                for shape, number in enumerate(content)
                if number < demand[shape]
            }
            last = [content for content in grown if self._is_held(content)]

    def _is_held(self, content: Content) -> bool:
        parts = [_changed(content, shape, -1) for shape, number in enumerate(content) if number]
        single = sum(content) == 1
        area = sum(n * shape.area for n, shape in zip(content, self._shapes, strict=True))
        kinds = [
            number
            for number, kind in enumerate(self._kinds)
            if area <= kind.area and (single or all(p in self._held[number] for p in parts))
        ]
        if not kinds:
            return False
        self._fronts[content] = front = self._front(content)
        open_to = []
        for number in kinds:
            kind = self._kinds[number]
            if any(w <= kind.width and h <= kind.height for w, h in front):
                self._held[number][content] = True
            else:
                open_to.append(number)
        # Three pieces or fewer always come apart by straight cuts.
        if self._cuts is Cuts.FREE and sum(content) > 3:
            for number in open_to:
                self._ask(content, number)
        return any(content in held for held in self._held)

    def _ask(self, content: Content, number: int) -> None:
        answer, work = _arrange(self._shapes, content, self._kinds[number], self._seconds)
        self._spend(_STEPS_TO_ASK + int(work * _STEPS_IN_WORK))
        if answer == ():
            return
        self._held[number][content] = answer is not None
        if answer is not None:
            self._arranged[content, number] = answer

    def _spend(self, steps: int) -> None:
        self._steps_left -= steps
        if self._steps_left < 0 or self._stop():
            raise TooMany

    def _front(self, content: Content) -> _Front:
        if sum(content) == 1:
            shape = self._shapes[content.index(1)]
            return self._smallest(_ways(shape))
        sizes: set[_Size] = set()
        steps = 0
        for one, other in _partings(content):
            steps += 1
            a, b = self._fronts.get(one), self._fronts.get(other)
            if a and b:
                sizes.update(_side_by_side(a, b, self._widest))
                sizes.update((w, h) for h, w in _side_by_side(_flip(a), _flip(b), self._highest))
        self._spend(steps)
        return self._smallest(sizes)

    def _smallest(self, sizes: Iterable[_Size]) -> _Front:
        front: _Front = []
        for width, height in sorted(sizes):
            if (not front or height < front[-1][1]) and any(
                width <= kind.width and height <= kind.height for kind in self._kinds
            ):
                front.append((width, height))
        return front

    def _place(self, content: Content, room: _Size, at: tuple[int, int]) -> Iterator[Spot]:
        """Take a content apart again, in the room that it is known to need."""
        x, y = at
        if sum(content) == 1:
            index = content.index(1)
            shape = self._shapes[index]
            yield Spot(index, x, y, not (shape.width <= room[0] and shape.height <= room[1]))
            return
        for one, other in _partings(content):
            a, b = self._fronts.get(one), self._fronts.get(other)
            if not a or not b:
                continue
            wide = _narrowest(a, room[1])
            if wide and _fits_beside(wide, b, room):
                yield from self._place(one, (wide, room[1]), at)
                yield from self._place(other, (room[0] - wide, room[1]), (x + wide, y))
                return
            high = _narrowest(_flip(a), room[0])
            if high and _fits_beside(high, _flip(b), (room[1], room[0])):
                yield from self._place(one, (room[0], high), at)
                yield from self._place(other, (room[0], room[1] - high), (x, y + high))
                return
        raise AssertionError("a content that is held does not come apart")


def _changed(content: Content, shape: int, by: int) -> Content:
    return (*content[:shape], content[shape] + by, *content[shape + 1 :])


def _ways(shape: Shape) -> tuple[_Size, ...]:
    upright = (shape.width, shape.height)
    return (upright, (shape.height, shape.width)) if shape.turns else (upright,)


def _partings(content: Content) -> Iterator[tuple[Content, Content]]:
    """Yield all ways to part a content in two, each once."""
    for one in product(*(range(number + 1) for number in content)):
        other = tuple(all_ - some for all_, some in zip(content, one, strict=True))
        if one > other:
            return  # from here on the same partings come back with their sides changed
        if any(one):
            yield one, other


def _flip(front: _Front) -> _Front:
    return [(height, width) for width, height in reversed(front)]


def _side_by_side(a: _Front, b: _Front, widest: int) -> Iterator[_Size]:
    """Yield the sizes of what two fronts make beside each other, at most so wide."""
    i = j = 0
    while i < len(a) and j < len(b):
        width = a[i][0] + b[j][0]
        if width > widest:
            return
        below_a, below_b = a[i][1], b[j][1]
        yield width, max(below_a, below_b)
        # Only a lower rectangle in place of the higher one makes the whole lower.
        if below_a >= below_b:
            i += 1
        if below_b >= below_a:
            j += 1


def _narrowest(front: _Front, height: int) -> int:
    """Return the least width at which a front is at most so high; 0 if it never is."""
    return next((w for w, h in front if h <= height), 0)


def _fits_beside(wide: int, front: _Front, room: _Size) -> bool:
    rest = _narrowest(front, room[1])
    return 0 < rest <= room[0] - wide


def _places(sides: Sequence[tuple[int, int]], most: int) -> list[int]:
    """Return the places at which a piece's edge may lie, at most `most`, rising.

    Whatever lies on a sheet can be pushed left and up until everything touches; then each edge
    is a sum of sides away from the sheet's (normal patterns: Herz, IBM Journal of Research and
    Development 16, 1972; Christofides and Whitlock, Operations Research 25, 1977).  Where there
    are too many such sums nothing is returned: any place will do.

    Parameters
    ----------
    sides
        Each with how often it may be used.
    """
    places = {0}
    for side, times in sides:
        for _ in range(times):
            places |= {place + side for place in places if place + side <= most}
            if len(places) > _MOST_PLACES:
                return []
    return sorted(places)


def _domain(sides: Sequence[tuple[int, int]], most: int) -> Domain:
    from ortools.util.python.sorted_interval_list import Domain

    places = _places(sides, most)
    return Domain.from_values(places) if places else Domain(0, most)


def _arrange(
    shapes: Sequence[Shape], content: Content, sheet: Kind, seconds: float
) -> tuple[tuple[Spot, ...] | None, float]:
    """Lay a content on a sheet by free cuts.

    Returns
    -------
    tuple of Spot, or None
        Where the pieces lie; empty if the sheet does not hold them; None if it could not be told.
    float
        The work it took, in CP-SAT's deterministic time.
    """
    from ortools.sat.python import cp_model

    model = cp_model.CpModel()
    ways = [(way, n) for shape, n in zip(shapes, content, strict=True) for way in _ways(shape)]
    across = _domain([(way[0], n) for way, n in ways], sheet.width)
    down = _domain([(way[1], n) for way, n in ways], sheet.height)
    x_spans, y_spans, wides, highs = [], [], [], []
    laid = []
    for index, shape in enumerate(shapes):
        before = None
        for _ in range(content[index]):
            turned = model.new_bool_var("") if shape.turns else 0
            longer = shape.height - shape.width
            wide, high = shape.width + longer * turned, shape.height - longer * turned
            x = model.new_int_var_from_domain(across, "")
            y = model.new_int_var_from_domain(down, "")
            right = model.new_int_var(0, sheet.width, "")
            bottom = model.new_int_var(0, sheet.height, "")
            x_spans.append(model.new_interval_var(x, wide, right, ""))
            y_spans.append(model.new_interval_var(y, high, bottom, ""))
            wides.append(wide)
            highs.append(high)
            laid.append((index, x, y, turned))
            if before is not None:
                model.add(before <= x)  # equal pieces from left to right
            before = x
    model.add_no_overlap_2d(x_spans, y_spans)
    model.add_cumulative(x_spans, highs, sheet.height)
    model.add_cumulative(y_spans, wides, sheet.width)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 1
    solver.parameters.max_deterministic_time = _WORK
    solver.parameters.max_time_in_seconds = max(0.1, seconds)
    status = run(solver, model)
    work = solver.response_proto.deterministic_time
    if status == cp_model.INFEASIBLE:
        return (), work
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return None, work
    spots = tuple(
        Spot(index, solver.value(x), solver.value(y), bool(solver.value(turned)))
        for index, x, y, turned in laid
    )
    return spots, work
