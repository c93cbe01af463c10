"""Interlocking layouts, for free cuts: pieces with voids that reach into each other.

First, layouts of equal pieces.  Every piece of a layout can be pushed left until something stops
it, then up; its position is then a sum of distances between edges, counted from the sheet's edge.
So only such positions need be tried (the normal patterns of Christofides and Whitlock, Operations
Research 25, 1977, here also for inner edges).  Choosing among them is a set packing problem: no
cell of the grid is covered twice.  CP-SAT solves it, starting from the densest lattice packing: a
plus of five panels tiles the plane by steps of (2, 1) and (-1, 2) panels or their mirror image;
lattices for other shapes are found by trial.  With too many positions, the lattice and what fits
beside it must do.

If all normal positions were tried and the set packing is solved to optimality, no sheet of that
size holds more such pieces: `Interlocking.max_copies` passes this on to the bounds.

Then the other pieces with voids are placed one by one, each as close to a corner as the others
allow; and what is left is filled with all other pieces by maximal rectangles.
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
"""With more normal positions along one side than this, the shortest steps are left out."""
_MAX_POSITIONS = 900
"""With more positions than this only those of the densest lattice are tried."""
_MAX_POSITIONS_IN_STRIPS = 250
"""With more than this, parts of a sheet are not searched for layouts of fewer pieces."""
_TIME_PER_SHEET, _TIME_PER_STRIP, _TOTAL_TIME = 0.6, 0.05, 3.0
"""CP-SAT's deterministic time for a whole sheet, for a part of it, and for a paper."""
_MAX_SHEETS = 300
"""Sheets filled for a paper, shared among its item types and bin types."""
_MAX_ITEM_TYPES = 16
"""Item types, those that take most paper, for which sheets of equal pieces are sought."""
_MAX_MISSES = 8
"""After this many item types that fit nowhere on a sheet, the others are not tried."""
_SHUFFLES = 3
"""Random orders in which pieces of several item types are placed, beside the given one."""
_MAX_LATTICES, _MAX_LATTICE_PAIRS = 4, 300
"""Lattices used for each orientation, and pairs of vectors that are tried for them."""


class Interlocking:
    """Layouts for free cuts in which pieces with voids reach into each other.

    Attributes
    ----------
    max_copies
        For some item types, a proven bound on their number on a sheet of each bin type; known
        once `patterns` is exhausted.
    """

    def __init__(self, task: Task, rng: Random) -> None:
        self.max_copies: dict[int, tuple[int, ...]] = {}
        self._task = task
        self._rng = rng
        self._with_voids = [
            item_type for item_type, item in enumerate(task.item_types) if item.voids
        ]
        repeated = [
            item_type for item_type in self._with_voids if task.item_types[item_type].demand > 1
        ]
        repeated.sort(
            key=lambda item_type: (
                -task.item_types[item_type].demand * task.item_types[item_type].solid_area
            )
        )
        self._item_types = repeated[:_MAX_ITEM_TYPES]
        self._packings: dict[tuple[int, _Coordinates, _Coordinates], _SingleItemPackings] = {}
        self._time = _TimeBudget(_TOTAL_TIME)

    def patterns(self, stop: Stop) -> Iterator[Pattern]:
        """Yield patterns until all bin types have been tried or `stop` is true."""
        if not self._with_voids:
            return
        completer = _Completer(self._task, self._rng)
        sheet_types = self._task.bin_types
        max_copies = {
            item_type: [self._area_bound(item_type, sheet_type) for sheet_type in sheet_types]
            for item_type in self._item_types
        }
        share = max(1, _MAX_SHEETS // (len(sheet_types) * (len(self._item_types) + 1)))
        remaining = _MAX_SHEETS
        # Cheapest paper first, in case effort runs out before all bin types have been tried.
        for bin_type in sorted(
            range(len(sheet_types)), key=lambda index: (_price_per_area(sheet_types[index]), index)
        ):
            starts: list[tuple[list[list[Placement]], Sequence[Sequence[int]]]] = []
            for item_type in self._item_types:
                if stop():
                    return
                if self._area_bound(item_type, sheet_types[bin_type]) < 2:
                    continue
                packings = self._single_item_packings(item_type, sheet_types[bin_type])
                if packings.max_copies is not None:
                    max_copies[item_type][bin_type] = min(
                        max_copies[item_type][bin_type], packings.max_copies
                    )
                starts.append((packings.layouts, [self._with_voids]))
            starts.append(([[]], self._orders()))
            for layouts, orders in starts:
                patterns = (
                    completer.complete(bin_type, layout, order, strategy)
                    for strategy in range(completer.strategy_count)
                    for order in orders
                    for layout in layouts
                )
                for pattern in islice(patterns, min(share, remaining)):
                    remaining -= 1
                    if pattern.placements:
                        yield pattern
        self.max_copies = {item_type: tuple(numbers) for item_type, numbers in max_copies.items()}

    def _area_bound(self, item_type: int, sheet_type: BinType) -> int:
        return sheet_type.area // self._task.item_types[item_type].solid_area

    def _single_item_packings(self, item_type: int, sheet_type: BinType) -> _SingleItemPackings:
        grid = _Grid(self._task.item_types[item_type], sheet_type)
        key = (item_type, grid.across, grid.down)
        if key not in self._packings:
            self._packings[key] = _single_item_packings(item_type, grid, self._time)
        return self._packings[key]

    def _orders(self) -> list[tuple[int, ...]]:
        """Return orders of the item types with voids: largest first, and random ones."""
        item_types = self._with_voids
        orders = [
            item_types,
            *(self._rng.sample(item_types, len(item_types)) for _ in range(_SHUFFLES)),
        ]
        return list(dict.fromkeys(map(tuple, orders)))


def _price_per_area(sheet_type: BinType) -> float:
    return sheet_type.price / sheet_type.area


class _TimeBudget:
    """The rest of a paper's CP-SAT deterministic time."""

    def __init__(self, time: float) -> None:
        self.remaining = time


# ------------------------------------------------------------------------- equal pieces

_Coordinates = tuple[tuple[int, ...], ...]
"""Normal coordinates along one side of a sheet, for each orientation of an item type."""


def _covered_rects(item: ItemType, x: int, y: int, turned: bool) -> tuple[Rect, ...]:
    """Return the rectangles of a sheet that a piece covers."""
    width, height = item.oriented_size(turned)
    return solid_rows(Rect(x, y, width, height), item.voids_at(x, y, turned))


class _LatticeVector(NamedTuple):
    """A basis vector of a lattice."""

    x: int
    y: int


class _SingleItemPackings(NamedTuple):
    """Layouts of one item type, and the most copies a sheet holds, if that is proven."""

    layouts: list[list[Placement]]
    max_copies: int | None


class _Grid:
    """The normal positions of an item type on a sheet."""

    def __init__(self, item: ItemType, sheet_type: BinType) -> None:
        self.item_type = item
        self.orientations = (False, True) if item.rotatable else (False,)
        self.solids = [_covered_rects(item, 0, 0, turned) for turned in self.orientations]
        self.steps = tuple(
            tuple(sorted({b - a for a, b in product(self._edges(axis), repeat=2) if b > a}))
            for axis in (0, 1)
        )
        (self.across, is_across_complete), (self.down, is_down_complete) = (
            _normal_coordinates(steps, tuple(length - side for side in sides))
            for steps, length, sides in (
                (self.steps[0], sheet_type.width, self._sides(0)),
                (self.steps[1], sheet_type.height, self._sides(1)),
            )
        )

        self.complete = is_across_complete and is_down_complete and self._pushes_forward()

    def _pushes_forward(self) -> bool:
        """Return whether a piece stopped by another always lies further on than that one.

        Only then do forward steps alone reach every position where a piece can be stopped.
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
        """All normal positions, as placements of item type 0."""
        return [
            Placement(0, x, y, turned)
            for turned in self.orientations
            for y in self.down[turned]
            for x in self.across[turned]
        ]

    @cached_property
    def lattices(self) -> tuple[tuple[tuple[_LatticeVector, _LatticeVector], ...], ...]:
        """The densest lattices for each orientation."""
        return tuple(_lattices(solid, self.steps) for solid in self.solids)

    def covered_rects(self, placement: Placement) -> list[Rect]:
        """Return the rectangles that a piece covers at a position."""
        return [
            Rect(placement.x + r.x, placement.y + r.y, r.width, r.height)
            for r in self.solids[placement.turned]
        ]


def _span(rect: Rect, axis: int) -> tuple[int, int]:
    return (rect.x, rect.right) if axis == 0 else (rect.y, rect.bottom)


def _normal_coordinates(steps: Sequence[int], limits: tuple[int, ...]) -> tuple[_Coordinates, bool]:
    """Return the sums of steps up to the limit of each orientation, and whether all are there."""
    used = list(steps)
    while (reached := _reachable_sums(used, max(limits))) is None:
        del used[0]
    coordinates = tuple(
        tuple(coordinate for coordinate in reached if coordinate <= limit) for limit in limits
    )
    return coordinates, len(used) == len(steps)


def _reachable_sums(steps: Sequence[int], limit: int) -> list[int] | None:
    """Return all sums of steps up to a limit, sorted; None if they are too many."""
    reachable, queue = {0}, [0]
    while queue:
        reached_sum = queue.pop()
        sums = {reached_sum + step for step in steps if reached_sum + step <= limit} - reachable
        reachable |= sums
        queue += sums
        if len(reachable) > _MAX_COORDINATES:
            return None
    return sorted(reachable)


def _single_item_packings(item_type: int, grid: _Grid, budget: _TimeBudget) -> _SingleItemPackings:
    """Return layouts of one item type: the most a sheet holds, and fewer on part of it."""
    positions = grid.positions
    demand = grid.item_type.demand
    full, is_optimal = _set_packing(grid, positions, budget, _TIME_PER_SHEET)
    packings = _SingleItemPackings([], len(full) if is_optimal and grid.complete else None)
    if len(full) < 2:
        return packings

    def add(placements: Iterable[Placement]) -> None:
        packings.layouts.append(
            [placement._replace(item_type=item_type) for placement in placements][:demand]
        )

    add(sorted(full, key=lambda placement: (placement.y, placement.x)))
    if len(positions) > _MAX_POSITIONS_IN_STRIPS:
        return packings
    for axis in (1, 2):  # the x of a placement, and its y
        count = 1
        for limit in sorted({position[axis] for position in positions}):
            part = [position for position in positions if position[axis] <= limit]
            fewer, _ = _set_packing(grid, part, budget, _TIME_PER_STRIP)
            if len(fewer) > count:
                count = len(fewer)
                add(sorted(fewer, key=lambda placement: placement[axis]))
            if count >= min(demand, len(full)):
                break
    return packings


def _set_packing(
    grid: _Grid, positions: Sequence[Placement], budget: _TimeBudget, max_time: float
) -> tuple[list[Placement], bool]:
    """Return as many disjoint positions as are found, and whether that is proven optimal."""
    lattice = _densest_lattice(grid, positions)
    if len(positions) > _MAX_POSITIONS:
        return _without_overlaps(grid, lattice), False
    start = _without_overlaps(grid, [*lattice, *positions])
    if len(positions) == len(start):
        return start, True
    if budget.remaining <= 0:
        return start, False
    from ortools.sat.python import cp_model

    model = cp_model.CpModel()
    variables = [model.new_bool_var("") for _ in positions]
    starting = dict.fromkeys(start)
    for position, variable in zip(positions, variables, strict=True):
        model.add_hint(variable, position in starting)
    for conflict in _conflicts(grid, positions):
        model.add_at_most_one(variables[index] for index in conflict)
    model.maximize(cp_model.LinearExpr.sum(variables))
    solver = cp_solver(min(max_time, budget.remaining))
    status = solve(solver, model)
    budget.remaining -= solver.response_proto.deterministic_time
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return start, False
    chosen = [
        position
        for position, variable in zip(positions, variables, strict=True)
        if solver.value(variable)
    ]
    return chosen if len(chosen) > len(start) else start, status == cp_model.OPTIMAL


def _conflicts(grid: _Grid, positions: Sequence[Placement]) -> list[tuple[int, ...]]:
    """Return for each cell of the grid the positions that cover it, equal groups once."""
    covers = [grid.covered_rects(position) for position in positions]
    lines = [
        sorted(
            {coordinate for rects in covers for rect in rects for coordinate in _span(rect, axis)}
        )
        for axis in (0, 1)
    ]
    rank = [{coordinate: number for number, coordinate in enumerate(line)} for line in lines]
    cells: dict[tuple[int, int], list[int]] = {}
    for number, rects in enumerate(covers):
        for rect in rects:
            columns = range(rank[0][rect.x], rank[0][rect.right])
            rows = range(rank[1][rect.y], rank[1][rect.bottom])
            for cell in product(columns, rows):
                cells.setdefault(cell, []).append(number)
    return list(dict.fromkeys(tuple(covering) for covering in cells.values() if len(covering) > 1))


# ------------------------------------------------------------------------- lattices


def _overlap(some: Sequence[Rect], others: Sequence[Rect], x: int, y: int) -> bool:
    """Return whether rectangles overlap others that are moved by x, y."""
    return any(
        a.x < b.right + x and b.x + x < a.right and a.y < b.bottom + y and b.y + y < a.bottom
        for a in some
        for b in others
    )


@lru_cache(maxsize=128)
def _lattices(
    solid: tuple[Rect, ...], steps: tuple[tuple[int, ...], ...]
) -> tuple[tuple[_LatticeVector, _LatticeVector], ...]:
    """Return the densest lattices on which copies of a solid don't seem to overlap.

    Only the copies up to two steps away are checked; the layout is checked again later.
    """
    across, down = ([0, *axis_steps, *(-step for step in axis_steps)] for axis_steps in steps)
    vectors = [
        _LatticeVector(x, y)
        for x, y in product(across, down)
        if (y > 0 or (y == 0 and x > 0)) and not _overlap(solid, solid, x, y)
    ]
    pairs = (
        (abs(first.x * second.y - first.y * second.x), first, second)
        for index, first in enumerate(vectors)
        for second in vectors[:index]
    )
    solid_area = sum(rect.area for rect in solid)
    densest = nsmallest(_MAX_LATTICE_PAIRS, (pair for pair in pairs if pair[0] >= solid_area))
    multiples = [(i, j) for i, j in product(range(-2, 3), repeat=2) if (i, j) > (0, 0)]
    disjoint = (
        (first, second)
        for _, first, second in densest
        if not any(
            _overlap(solid, solid, i * first.x + j * second.x, i * first.y + j * second.y)
            for i, j in multiples
        )
    )
    return tuple(islice(disjoint, _MAX_LATTICES))


def _densest_lattice(grid: _Grid, positions: Sequence[Placement]) -> list[Placement]:
    """Return the largest set of positions that lie on one lattice."""
    best: list[Placement] = []
    for turned in grid.orientations:
        turned_positions = [position for position in positions if position.turned is turned]
        for first, second in grid.lattices[turned]:
            area = abs(first.x * second.y - first.y * second.x)
            # Positions an integer number of both vectors apart have equal remainders.
            groups: dict[tuple[int, int], list[Placement]] = {}
            for position in turned_positions:
                key = (
                    (position.x * second.y - position.y * second.x) % area,
                    (position.y * first.x - position.x * first.y) % area,
                )
                groups.setdefault(key, []).append(position)
            best = max([best, *groups.values()], key=len)
    return best


def _without_overlaps(grid: _Grid, positions: Sequence[Placement]) -> list[Placement]:
    """Return the positions that overlap none of those chosen before them."""
    chosen: list[Placement] = []
    covered: list[Rect] = []
    for position in positions:
        rects = grid.covered_rects(position)
        if not _overlap(rects, covered, 0, 0):
            chosen.append(position)
            covered += rects
    return chosen


# ------------------------------------------------------------------------- all together


class _Completer:
    """Completes a sheet that already holds some pieces."""

    def __init__(self, task: Task, rng: Random) -> None:
        self._task = task
        self._filler = GreedyFiller(task.item_types, Cuts.FREE, rng)
        by_area = sorted(
            range(len(task.item_types)), key=lambda item_type: -task.item_types[item_type].area
        )
        by_side = sorted(by_area, key=lambda item_type: -max(task.item_types[item_type][:2]))
        orders = dict.fromkeys((tuple(by_area), tuple(by_side)))
        # Towards a corner first, then row after row or column after column.
        self._strategies = [
            (nearest, order) for nearest in ("corner", "row", "column") for order in orders
        ]
        self.strategy_count = len(self._strategies)

    def complete(
        self, bin_type: int, start: Sequence[Placement], item_types: Sequence[int], strategy: int
    ) -> Pattern:
        """Return a sheet that starts with some pieces, filled up by one of the strategies."""
        sheet = self._task.bin_types[bin_type]
        nearest, order = self._strategies[strategy]
        weights = {"corner": (1, 1), "row": (1, sheet.width), "column": (sheet.height, 1)}[nearest]
        placements = [*start, *self._place_items(sheet, start, item_types, weights)]
        counts = item_counts(placements)
        remaining = [
            item.demand - counts.get(item_type, 0)
            for item_type, item in enumerate(self._task.item_types)
        ]
        others = self._filler.fill(
            sheet.width, sheet.height, remaining, order, placements, sheet.defects
        )
        return Pattern(bin_type, (*placements, *others))

    def _place_items(
        self,
        sheet: BinType,
        start: Sequence[Placement],
        item_types: Sequence[int],
        weights: tuple[int, int],
    ) -> Iterator[Placement]:
        """Yield placements of pieces with voids, item type by item type, each near the corner."""
        counts = item_counts(start)
        covered = [
            covered_rect
            for placement in start
            for covered_rect in _covered_rects(
                self._task.item_types[placement.item_type], *placement[1:]
            )
        ]
        free_area = sheet.area - sum(rect.area for rect in covered)
        misses = 0
        for item_type in item_types:
            item = self._task.item_types[item_type]
            for _ in range(item.demand - counts.get(item_type, 0)):
                if item.solid_area > free_area:
                    break
                placement = _nearest_position(sheet, item_type, item, covered, weights)
                if placement is None:
                    misses += 1
                    break
                yield placement
                covered += _covered_rects(item, *placement[1:])
                free_area -= item.solid_area
            if misses == _MAX_MISSES:
                return


def _nearest_position(
    sheet: BinType,
    item_type: int,
    item: ItemType,
    covered: Sequence[Rect],
    weights: tuple[int, int],
) -> Placement | None:
    """Return the free position of least weighted x and y; None if there is none.

    Only positions where an edge of the piece meets an edge of another, or of the sheet, are tried.
    """
    import numpy as np

    best: tuple[int, Placement] | None = None
    for turned in (False, True) if item.rotatable else (False,):
        solid = _covered_rects(item, 0, 0, turned)
        width, height = item.oriented_size(turned)
        axes = []
        for axis, limit in ((0, sheet.width - width), (1, sheet.height - height)):
            own_edges = {coordinate for rect in solid for coordinate in _span(rect, axis)}
            edges = {coordinate for rect in covered for coordinate in _span(rect, axis)}
            coordinates = {0, limit} | {
                edge - coordinate for edge in edges for coordinate in own_edges
            }
            axes.append(
                np.array(
                    sorted(coordinate for coordinate in coordinates if 0 <= coordinate <= limit),
                    dtype=np.int64,
                )
            )
        xs, ys = axes
        if not (len(xs) and len(ys)):
            continue
        blocked = np.zeros((len(xs), len(ys)), dtype=bool)
        for obstacle in covered:
            for rect in solid:
                over_x = (xs + rect.x < obstacle.right) & (obstacle.x < xs + rect.right)
                over_y = (ys + rect.y < obstacle.bottom) & (obstacle.y < ys + rect.bottom)
                blocked |= over_x[:, None] & over_y[None, :]
        distance = weights[0] * xs[:, None] + weights[1] * ys[None, :]
        distance = np.where(blocked, np.iinfo(np.int64).max, distance)
        column, row = divmod(int(np.argmin(distance)), len(ys))
        if not blocked[column, row] and (best is None or distance[column, row] < best[0]):
            best = (
                int(distance[column, row]),
                Placement(item_type, int(xs[column]), int(ys[row]), turned),
            )
    return best and best[1]
