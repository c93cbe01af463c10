"""Pieces with corners cut away that reach into each other, for free cuts.

Equal pieces first.  Push every piece of a layout to the left until something stops it, then up:
each then lies where the distances between its edges add up from the sheet's edge, so only such
places need be looked at (the normal patterns of Christofides and Whitlock, Operations Research
25, 1977, for pieces with inner edges too).  Which of them are taken is a set packing: no cell of
the grid is covered twice.  CP-SAT solves it, starting from the densest lattice: a plus of five
panels tiles the plane by steps of (2, 1) and (-1, 2) panels or the mirror image of those, and
lattices for other shapes are found by trying.  Where there are too many places, the lattice and
what still fits beside it must do.

Where all normal places are looked at and the set packing is solved, no sheet of that size holds
more such pieces, whatever else lies on it; `Interlocking.most` says so to the bounds.

Then the other pieces with voids are laid one by one, each as close to a corner as the others let
it, arms in corners included; and what is left goes to all other pieces by maximal rectangles.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from functools import cached_property, lru_cache
from heapq import nsmallest
from itertools import islice, product
from random import Random
from typing import NamedTuple

from nester.core.geometry import solid_columns, solid_rows
from nester.core.problem import Cuts, Rect
from nester.packing.patterns.greedy import GreedyFiller
from nester.packing.runtime.cp_sat import cp_solver, solve
from nester.packing.runtime.stop import Stop
from nester.packing.task.task import BinType, ItemType, Pattern, Placement, Task, item_counts

__all__ = ["Interlocking"]

_MAX_COORDINATES = 60
"""With more normal places along one side than this, the shortest steps are left out."""
_MAX_POSITIONS = 900
"""With more places than this only those of the densest lattice are looked at."""
_MAX_POSITIONS_IN_STRIPS = 250
"""With more than this, no parts of a sheet are searched for layouts of fewer pieces."""
_TIME_PER_SHEET, _TIME_PER_STRIP, _TOTAL_TIME = 0.6, 0.05, 3.0
"""CP-SAT's deterministic time for a whole sheet, for a part of it, and for a paper."""
_MAX_SHEETS = 300
"""How many sheets are filled for a paper, shared among its shapes and kinds of sheet."""
_MAX_ITEM_TYPES = 16
"""Of so many shapes, those that take most paper, whole sheets of one shape are looked for."""
_MAX_MISSES = 8
"""After so many shapes that find no place on a sheet, the others are not tried."""
_SHUFFLES = 3
"""Further orders in which pieces of several shapes are laid."""
_MAX_LATTICES, _MAX_LATTICE_PAIRS = 4, 300
"""Lattices used for each way to lie, and pairs of steps that are tried for them."""


class Interlocking:
    """Layouts for free cuts in which pieces with voids reach into each other.

    Attributes
    ----------
    max_copies
        For some shapes, how many of them a sheet of each kind holds at most, proven; known once
        `patterns` has been gone through.
    """

    def __init__(self, task: Task, rng: Random) -> None:
        self.max_copies: dict[int, tuple[int, ...]] = {}
        self._task = task
        self._rng = rng
        self._with_voids = [i for i, shape in enumerate(task.item_types) if shape.voids]
        many = [i for i in self._with_voids if task.item_types[i].demand > 1]
        many.sort(key=lambda i: -task.item_types[i].demand * task.item_types[i].solid_area)
        self._item_types = many[:_MAX_ITEM_TYPES]
        self._packings: dict[tuple[int, _Coordinates, _Coordinates], _SingleItemPackings] = {}
        self._time = _TimeBudget(_TOTAL_TIME)

    def patterns(self, stop: Stop) -> Iterator[Pattern]:
        """Yield layouts until all kinds of sheets are gone through or `stop` says so."""
        if not self._with_voids:
            return
        layer = _Completer(self._task, self._rng)
        kinds = self._task.bin_types
        most = {
            shape: [self._area_bound(shape, kind) for kind in kinds] for shape in self._item_types
        }
        share = max(1, _MAX_SHEETS // (len(kinds) * (len(self._item_types) + 1)))
        left = _MAX_SHEETS
        # Should they not all come up, those do whose paper is cheapest.
        for number in sorted(range(len(kinds)), key=lambda i: (_price_per_area(kinds[i]), i)):
            starts: list[tuple[list[list[Placement]], Sequence[Sequence[int]]]] = []
            for shape in self._item_types:
                if stop():
                    return
                if self._area_bound(shape, kinds[number]) < 2:
                    continue
                found = self._single_item_packings(shape, kinds[number])
                if found.max_copies is not None:
                    most[shape][number] = min(most[shape][number], found.max_copies)
                starts.append((found.layouts, [self._with_voids]))
            starts.append(([[]], self._orders()))
            for begun, orders in starts:
                some = (
                    layer.complete(number, spots, order, way)
                    for way in range(layer.strategy_count)
                    for order in orders
                    for spots in begun
                )
                for pattern in islice(some, min(share, left)):
                    left -= 1
                    if pattern.placements:
                        yield pattern
        self.max_copies = {shape: tuple(numbers) for shape, numbers in most.items()}

    def _area_bound(self, shape: int, kind: BinType) -> int:
        return kind.area // self._task.item_types[shape].solid_area

    def _single_item_packings(self, index: int, kind: BinType) -> _SingleItemPackings:
        grid = _Grid(self._task.item_types[index], kind)
        key = (index, grid.across, grid.down)
        if key not in self._packings:
            self._packings[key] = _single_item_packings(index, grid, self._time)
        return self._packings[key]

    def _orders(self) -> list[tuple[int, ...]]:
        """Return orders of the shapes with voids: largest first, and some by chance."""
        shapes = self._with_voids
        orders = [shapes, *(self._rng.sample(shapes, len(shapes)) for _ in range(_SHUFFLES))]
        return list(dict.fromkeys(map(tuple, orders)))


def _price_per_area(kind: BinType) -> float:
    return kind.price / kind.area


class _TimeBudget:
    """CP-SAT's deterministic time that is left."""

    def __init__(self, left: float) -> None:
        self.remaining = left


# ------------------------------------------------------------------------- equal pieces

_Coordinates = tuple[tuple[int, ...], ...]
"""For a shape upright, and turned if it may be: normal places along one side of a sheet."""


def _covered_rects(shape: ItemType, x: int, y: int, turned: bool) -> tuple[Rect, ...]:
    """Return what a piece covers of its sheet."""
    width, height = shape.oriented_size(turned)
    return solid_rows(Rect(x, y, width, height), shape.voids_at(x, y, turned))


class _LatticeVector(NamedTuple):
    """A step of a lattice."""

    x: int
    y: int


class _SingleItemPackings(NamedTuple):
    """Layouts of one shape, and how many of it a sheet holds at most, if that is proven."""

    layouts: list[list[Placement]]
    max_copies: int | None


class _Grid:
    """Where a shape may lie on a sheet."""

    def __init__(self, shape: ItemType, kind: BinType) -> None:
        self.item_type = shape
        self.orientations = (False, True) if shape.rotatable else (False,)
        self.solids = [_covered_rects(shape, 0, 0, turned) for turned in self.orientations]
        self.steps = tuple(
            tuple(sorted({b - a for a, b in product(self._edges(axis), repeat=2) if b > a}))
            for axis in (0, 1)
        )
        (self.across, all_across), (self.down, all_down) = (
            _normal_coordinates(steps, tuple(length - side for side in sides))
            for steps, length, sides in (
                (self.steps[0], kind.width, self._sides(0)),
                (self.steps[1], kind.height, self._sides(1)),
            )
        )

        self.complete = all_across and all_down and self._pushes_forward()

    def _pushes_forward(self) -> bool:
        """Tell whether a piece stopped by another always lies further on than that.

        Only then do steps forward alone reach every place where a piece can be stopped.
        """
        columns = [
            solid_columns(Rect(0, 0, *self.item_type.oriented_size(t)), self._voids(t))
            for t in self.orientations
        ]
        for axis, solids in ((0, self.solids), (1, columns)):
            spans = [_span(rect, axis) for rects in solids for rect in rects]
            if min(end for _, end in spans) <= max(start for start, _ in spans):
                return False
        return True

    def _voids(self, turned: bool) -> tuple[Rect, ...]:
        return self.item_type.voids_at(0, 0, turned)

    def _edges(self, axis: int) -> list[int]:
        return sorted({at for rects in self.solids for r in rects for at in _span(r, axis)})

    def _sides(self, axis: int) -> tuple[int, ...]:
        return tuple(self.item_type.oriented_size(turned)[axis] for turned in self.orientations)

    @cached_property
    def positions(self) -> list[Placement]:
        """All normal places, as spots of shape 0."""
        return [
            Placement(0, x, y, turned)
            for turned in self.orientations
            for y in self.down[turned]
            for x in self.across[turned]
        ]

    @cached_property
    def lattices(self) -> tuple[tuple[tuple[_LatticeVector, _LatticeVector], ...], ...]:
        """The densest lattices for each way to lie."""
        return tuple(_lattices(solid, self.steps) for solid in self.solids)

    def covered_rects(self, spot: Placement) -> list[Rect]:
        """Return what a piece at a place covers."""
        return [
            Rect(spot.x + r.x, spot.y + r.y, r.width, r.height) for r in self.solids[spot.turned]
        ]


def _span(rect: Rect, axis: int) -> tuple[int, int]:
    return (rect.x, rect.right) if axis == 0 else (rect.y, rect.bottom)


def _normal_coordinates(
    steps: Sequence[int], furthest: tuple[int, ...]
) -> tuple[_Coordinates, bool]:
    """Return the sums of steps up to the furthest place for each way to lie, and if that is all."""
    used = list(steps)
    while (reached := _reachable_sums(used, max(furthest))) is None:
        del used[0]
    lines = tuple(tuple(at for at in reached if at <= most) for most in furthest)
    return lines, len(used) == len(steps)


def _reachable_sums(steps: Sequence[int], most: int) -> list[int] | None:
    """Return all sums of steps up to a limit, sorted; None if they are too many."""
    reached, waiting = {0}, [0]
    while waiting:
        at = waiting.pop()
        fresh = {at + step for step in steps if at + step <= most} - reached
        reached |= fresh
        waiting += fresh
        if len(reached) > _MAX_COORDINATES:
            return None
    return sorted(reached)


def _single_item_packings(index: int, grid: _Grid, work: _TimeBudget) -> _SingleItemPackings:
    """Return layouts of one shape: as many as a sheet holds, and fewer on a part of it."""
    places = grid.positions
    wanted = grid.item_type.demand
    full, best = _set_packing(grid, places, work, _TIME_PER_SHEET)
    found = _SingleItemPackings([], len(full) if best and grid.complete else None)
    if len(full) < 2:
        return found

    def add(spots: Iterable[Placement]) -> None:
        found.layouts.append([spot._replace(item_type=index) for spot in spots][:wanted])

    add(sorted(full, key=lambda spot: (spot.y, spot.x)))
    if len(places) > _MAX_POSITIONS_IN_STRIPS:
        return found
    for axis in (1, 2):  # a spot's x, and its y
        count = 1
        for furthest in sorted({place[axis] for place in places}):
            part = [place for place in places if place[axis] <= furthest]
            some, _ = _set_packing(grid, part, work, _TIME_PER_STRIP)
            if len(some) > count:
                count = len(some)
                add(sorted(some, key=lambda spot: spot[axis]))
            if count >= min(wanted, len(full)):
                break
    return found


def _set_packing(
    grid: _Grid, places: Sequence[Placement], work: _TimeBudget, at_most: float
) -> tuple[list[Placement], bool]:
    """Return as many places as can be found of which no two overlap, and if they are the most."""
    lattice = _densest_lattice(grid, places)
    if len(places) > _MAX_POSITIONS:
        return _without_overlaps(grid, lattice), False
    start = _without_overlaps(grid, [*lattice, *places])
    if len(places) == len(start):
        return start, True
    if work.remaining <= 0:
        return start, False
    from ortools.sat.python import cp_model

    model = cp_model.CpModel()
    taken = [model.new_bool_var("") for _ in places]
    lies_here = dict.fromkeys(start)
    for place, variable in zip(places, taken, strict=True):
        model.add_hint(variable, place in lies_here)
    for several in _conflicts(grid, places):
        model.add_at_most_one(taken[one] for one in several)
    model.maximize(cp_model.LinearExpr.sum(taken))
    solver = cp_solver(min(at_most, work.remaining))
    status = solve(solver, model)
    work.remaining -= solver.response_proto.deterministic_time
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return start, False
    found = [place for place, one in zip(places, taken, strict=True) if solver.value(one)]
    return found if len(found) > len(start) else start, status == cp_model.OPTIMAL


def _conflicts(grid: _Grid, places: Sequence[Placement]) -> list[tuple[int, ...]]:
    """Return for each cell of the grid the places that cover it, each such group once."""
    covers = [grid.covered_rects(place) for place in places]
    lines = [
        sorted({at for rects in covers for rect in rects for at in _span(rect, axis)})
        for axis in (0, 1)
    ]
    rank = [{at: number for number, at in enumerate(some)} for some in lines]
    cells: dict[tuple[int, int], list[int]] = {}
    for number, rects in enumerate(covers):
        for rect in rects:
            columns = range(rank[0][rect.x], rank[0][rect.right])
            rows = range(rank[1][rect.y], rank[1][rect.bottom])
            for cell in product(columns, rows):
                cells.setdefault(cell, []).append(number)
    return list(dict.fromkeys(tuple(some) for some in cells.values() if len(some) > 1))


# ------------------------------------------------------------------------- lattices


def _overlap(one: Sequence[Rect], other: Sequence[Rect], x: int, y: int) -> bool:
    """Tell whether rectangles overlap others that are moved by x, y."""
    return any(
        a.x < b.right + x and b.x + x < a.right and a.y < b.bottom + y and b.y + y < a.bottom
        for a in one
        for b in other
    )


@lru_cache(maxsize=128)
def _lattices(
    solid: tuple[Rect, ...], steps: tuple[tuple[int, ...], ...]
) -> tuple[tuple[_LatticeVector, _LatticeVector], ...]:
    """Return the densest lattices by whose steps a shape seems to repeat without overlap.

    Only two steps each way are looked at.
    """
    across, down = ([0, *some, *(-step for step in some)] for some in steps)
    clear = [
        _LatticeVector(x, y)
        for x, y in product(across, down)
        if (y > 0 or (y == 0 and x > 0)) and not _overlap(solid, solid, x, y)
    ]
    pairs = (
        (abs(one.x * other.y - one.y * other.x), one, other)
        for number, one in enumerate(clear)
        for other in clear[:number]
    )
    solid_area = sum(rect.area for rect in solid)
    close = nsmallest(_MAX_LATTICE_PAIRS, (pair for pair in pairs if pair[0] >= solid_area))
    reach = [(i, j) for i, j in product(range(-2, 3), repeat=2) if (i, j) > (0, 0)]
    apart = (
        (one, other)
        for _, one, other in close
        if not any(
            _overlap(solid, solid, i * one.x + j * other.x, i * one.y + j * other.y)
            for i, j in reach
        )
    )
    return tuple(islice(apart, _MAX_LATTICES))


def _densest_lattice(grid: _Grid, places: Sequence[Placement]) -> list[Placement]:
    """Return the most of some places that lie on one lattice."""
    best: list[Placement] = []
    for turned in grid.orientations:
        mine = [place for place in places if place.turned is turned]
        for one, other in grid.lattices[turned]:
            area = abs(one.x * other.y - one.y * other.x)
            # Places a whole number of both steps apart have equal remainders.
            groups: dict[tuple[int, int], list[Placement]] = {}
            for place in mine:
                key = (
                    (place.x * other.y - place.y * other.x) % area,
                    (place.y * one.x - place.x * one.y) % area,
                )
                groups.setdefault(key, []).append(place)
            best = max([best, *groups.values()], key=len)
    return best


def _without_overlaps(grid: _Grid, places: Sequence[Placement]) -> list[Placement]:
    """Return each of the places that is clear of those before it."""
    chosen: list[Placement] = []
    taken: list[Rect] = []
    for place in places:
        rects = grid.covered_rects(place)
        if not _overlap(rects, taken, 0, 0):
            chosen.append(place)
            taken += rects
    return chosen


# ------------------------------------------------------------------------- all together


class _Completer:
    """Lays pieces of several shapes beside what lies on a sheet already."""

    def __init__(self, task: Task, rng: Random) -> None:
        self._task = task
        self._filler = GreedyFiller(task.item_types, Cuts.FREE, rng)
        by_area = sorted(range(len(task.item_types)), key=lambda i: -task.item_types[i].area)
        by_side = sorted(by_area, key=lambda i: -max(task.item_types[i][:2]))
        orders = dict.fromkeys((tuple(by_area), tuple(by_side)))
        # Towards a corner first, then row after row or column after column.
        self._strategies = [
            (nearest, order) for nearest in ("corner", "row", "column") for order in orders
        ]
        self.strategy_count = len(self._strategies)

    def complete(
        self, kind: int, start: Sequence[Placement], shapes: Sequence[int], way: int
    ) -> Pattern:
        """Return a sheet with some pieces on it, filled up in one of the ways."""
        size = self._task.bin_types[kind]
        nearest, order = self._strategies[way]
        weights = {"corner": (1, 1), "row": (1, size.width), "column": (size.height, 1)}[nearest]
        spots = [*start, *self._place_items(size, start, shapes, weights)]
        counts = item_counts(spots)
        left = [s.demand - counts.get(i, 0) for i, s in enumerate(self._task.item_types)]
        rest = self._filler.fill(size.width, size.height, left, order, spots, size.defects)
        return Pattern(kind, (*spots, *rest))

    def _place_items(
        self,
        size: BinType,
        start: Sequence[Placement],
        shapes: Sequence[int],
        weights: tuple[int, int],
    ) -> Iterator[Placement]:
        """Yield where pieces with voids find a place, the first shape's first."""
        counts = item_counts(start)
        taken = [
            r
            for spot in start
            for r in _covered_rects(self._task.item_types[spot.item_type], *spot[1:])
        ]
        free = size.area - sum(rect.area for rect in taken)
        misses = 0
        for index in shapes:
            shape = self._task.item_types[index]
            for _ in range(shape.demand - counts.get(index, 0)):
                if shape.solid_area > free:
                    break
                spot = _nearest_position(size, index, shape, taken, weights)
                if spot is None:
                    misses += 1
                    break
                yield spot
                taken += _covered_rects(shape, *spot[1:])
                free -= shape.solid_area
            if misses == _MAX_MISSES:
                return


def _nearest_position(
    size: BinType, index: int, shape: ItemType, taken: Sequence[Rect], weights: tuple[int, int]
) -> Placement | None:
    """Return the place of least weighted x and y where a piece touches others or the sheet's edge.

    None if there is no place.
    """
    import numpy as np

    best: tuple[int, Placement] | None = None
    for turned in (False, True) if shape.rotatable else (False,):
        solid = _covered_rects(shape, 0, 0, turned)
        width, height = shape.oriented_size(turned)
        lines = []
        for axis, most in ((0, size.width - width), (1, size.height - height)):
            own = {at for rect in solid for at in _span(rect, axis)}
            edges = {at for rect in taken for at in _span(rect, axis)}
            places = {0, most} | {edge - at for edge in edges for at in own}
            lines.append(np.array(sorted(at for at in places if 0 <= at <= most), dtype=np.int64))
        xs, ys = lines
        if not (len(xs) and len(ys)):
            continue
        blocked = np.zeros((len(xs), len(ys)), dtype=bool)
        for one in taken:
            for rect in solid:
                over_x = (xs + rect.x < one.right) & (one.x < xs + rect.right)
                over_y = (ys + rect.y < one.bottom) & (one.y < ys + rect.bottom)
                blocked |= over_x[:, None] & over_y[None, :]
        far = weights[0] * xs[:, None] + weights[1] * ys[None, :]
        far = np.where(blocked, np.iinfo(np.int64).max, far)
        column, row = divmod(int(np.argmin(far)), len(ys))
        if not blocked[column, row] and (best is None or far[column, row] < best[0]):
            best = int(far[column, row]), Placement(index, int(xs[column]), int(ys[row]), turned)
    return best and best[1]
