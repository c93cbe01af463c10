"""Better plans by ruin and recreate: cut the trees of some sheets back, lay the pieces again.

A whole plan is kept as one cut tree a sheet, with a goal: a limit on what the sheets may cost,
just below the best plan.  Pieces that find no place wait.  Each move takes some branches off a
few trees, now and then whole sheets, and lays all that waits, one piece after the other, into the
free rectangle that it suits best, now and then passing a good one by.  A move that leaves more
waiting is still taken if that is no more than waited a hundred moves ago (late acceptance).  When
nothing waits, the plan is better than the best, and the goal falls.  After Gardeyn and Wauters,
"A goal-driven ruin and recreate heuristic for the 2D variable-sized bin packing problem with
guillotine constraints", European Journal of Operational Research 301 (2022).

Each void of a laid piece that could hold another is a small sheet of its own.  What lies in it goes
when its host goes.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from random import Random
from typing import NamedTuple

from nester.core.problem import Rect
from nester.packing.runtime.stop import Stop
from nester.packing.search.cut_tree import (
    INFINITE_LENGTH,
    FreeRectangle,
    Host,
    Node,
    NodeChange,
    Piece,
    PlacedBox,
    Sheet,
    Slice,
    add_free,
    build_cut_tree,
    collect_codes,
    collect_free,
)
from nester.packing.task.pattern_pool import PatternPool, Plan, merge_plans, objective
from nester.packing.task.task import ItemType, Pattern, Placement, Task, item_counts

__all__ = ["RUIN_RECREATE_STEP_RATIO", "RuinAndRecreate"]

RUIN_RECREATE_STEP_RATIO = 5
"""So many steps of recreation take as long as one of other methods (measured)."""

_MAX_SHEETS = 40
"""Of a plan with more sheets, only so many are taken in hand at a time."""
_STEPS_PER_SUBPROBLEM = 1_000_000
"""Then, after so many steps, others are."""
_STEPS_PER_MOVE = 100
"""What a move costs beside trying pieces, in steps (measured)."""
_LATE_ACCEPTANCE_LENGTH = 100
"""How many moves ago acceptance looks."""
_MAX_STALLED_MOVES = 30_000
"""After so many moves without a new low, some sheets are cleared to start afresh."""
_MAX_RUINED_SHEETS = 3
_MAX_OPENED_SHEETS = 8
"""Sheets cut back, and sheets laid open, in one move."""
_CLEAR_PROBABILITY = 0.1
"""How often the sheets to be ruined are cleared and put back into the stock."""
_PRUNE_PROBABILITIES = (0.05, 0.3)
"""Least and greatest chance that a branch of a ruined sheet is taken off."""
_BLINK_RATE = 0.02
"""How often a rectangle in which a piece fits is passed by."""
_CROSS_CUT_PROBABILITY = 0.2
"""How often the first cut beside a piece does not leave the larger rest."""


class _State(NamedTuple):
    """What a move replaces; it never changes these lists in place."""

    sheets: list[Sheet]
    stock: list[int]
    cost: int
    unplaced: list[int]


class RuinAndRecreate:
    """Makes plans better, one part after the other if they are large."""

    def __init__(self, task: Task, rng: Random, pool: PatternPool) -> None:
        self._task = task
        self._rng = rng
        self._pool = pool
        self._whole_plan: _Subproblem | None = None
        self.steps = 0

    def plans(self, steps: int, best: Plan, stop: Stop) -> Iterator[Plan]:
        """Yield plans, each better than the one before and than `best`, while steps last."""
        while steps > 0 and not stop():
            part, fixed, share = self._next_subproblem(best, steps)
            steps -= share
            end = part.steps + share
            while part.run(end, stop):
                best = merge_plans(fixed, part.uses())
                yield best
                part.lower_goal()

    def complete(self, start: Plan, best: Plan, steps: int, stop: Stop) -> Iterator[Plan]:
        """Yield plans better than `best` that keep the sheets of a start as they are.

        It ends after so many steps without one.
        """
        part = _Subproblem(self._task, (), start, self._rng, self._pool)
        unmade, cost, _ = objective(self._task, best)
        part.aim_below(unmade, cost - objective(self._task, start)[1])
        while part.run(part.steps + steps, stop):
            yield merge_plans(start, part.uses())
            part.lower_goal()
        self.steps += part.steps

    def _next_subproblem(self, best: Plan, steps: int) -> tuple[_Subproblem, Plan, int]:
        """Return what to take in hand, the rest of the plan, and how many steps to spend."""
        unmade, cost, sheets = objective(self._task, best)
        if sheets <= _MAX_SHEETS:
            if self._whole_plan is None:
                self._whole_plan = _Subproblem(self._task, best, (), self._rng, self._pool)
            self._whole_plan.aim_below(unmade, cost)
            return self._whole_plan, (), steps
        chosen, fixed = _draw_wasteful_sheets(self._task, best, self._rng)
        part = _Subproblem(self._task, chosen, fixed, self._rng, self._pool)
        part.aim_below(unmade, objective(self._task, chosen)[1])
        return part, fixed, min(steps, _STEPS_PER_SUBPROBLEM)


def _subtract(uses: Plan, wanted: list[int], stock: list[int]) -> None:
    for pattern, copies in uses:
        stock[pattern.bin_type] -= copies
        for shape, number in item_counts(pattern.placements).items():
            wanted[shape] -= number * copies


def _draw_wasteful_sheets(task: Task, uses: Plan, rng: Random) -> tuple[Plan, Plan]:
    """Draw `_MAX_SHEETS` sheets of a plan, wasteful ones rather; return them and the others."""
    ranked: list[tuple[float, int]] = []
    for index, (pattern, copies) in enumerate(uses):
        size = task.bin_types[pattern.bin_type].area
        waste = 1 - sum(task.item_types[spot.item_type].area for spot in pattern.placements) / size
        drawn = range(min(copies, _MAX_SHEETS))
        ranked += ((-(waste + 0.01) * rng.random(), index) for _ in drawn)
    ranked.sort()
    taken = [0] * len(uses)
    for _, index in ranked[:_MAX_SHEETS]:
        taken[index] += 1
    parted = list(zip(uses, taken, strict=True))
    return (
        tuple((pattern, number) for (pattern, _), number in parted if number),
        tuple((pattern, copies - n) for (pattern, copies), n in parted if copies > n),
    )


class _Subproblem:
    """The search on some sheets of a plan, with all pieces and sheets that the others leave."""

    def __init__(
        self, task: Task, chosen: Plan, fixed: Plan, rng: Random, pool: PatternPool
    ) -> None:
        self._item_types = task.item_types
        self._bin_types = task.bin_types
        self._rng = rng
        self._random = rng.random
        self._pool = pool
        self._lengths = (  # of a piece by its code, along each axis
            [side for shape in task.item_types for side in shape[:2]],
            [side for shape in task.item_types for side in (shape[1], shape[0])],
        )
        self._areas = [shape.area for shape in task.item_types]
        self._voids = [  # of a piece by its code, those that could hold some piece
            tuple(
                void
                for void in shape.voids_at(0, 0, turned)
                if any(other.fits(void.width, void.height) for other in task.item_types)
            )
            for shape in task.item_types
            for turned in (False, True)
        ]
        wanted = list(task.demand)
        stock = [task.max_sheets(kind) for kind in range(len(task.bin_types))]
        _subtract(fixed, wanted, stock)
        self._stock_cost = sum(
            kind.price * n for kind, n in zip(task.bin_types, stock, strict=True)
        )
        self._cost_goal = self._stock_cost
        started = [
            self._sheet_from_pattern(pattern) for pattern, copies in chosen for _ in range(copies)
        ]
        sheets = [sheet for sheet in started if sheet is not None]
        for sheet in sheets:
            _subtract(((self._pattern_of(sheet), 1),), wanted, stock)
        loose = [index for index, number in enumerate(wanted) for _ in range(number)]
        cost = sum(task.bin_types[sheet.bin_type].price for sheet in sheets)
        self._state = _State(sheets, stock, cost, loose)
        self._unplaced_area = self._lowest_unplaced_area = self._area_of(loose)
        self._unplaced_target = 0
        self._history = [self._unplaced_area] * _LATE_ACCEPTANCE_LENGTH
        self._moves = self._moves_at_lowest = 0
        self.steps = 0

    def aim_below(self, unmade: int, cost: int) -> None:
        """Seek a plan that leaves less area unmade or, if that is none, costs less."""
        self._unplaced_target = max(0, unmade - 1)
        goal = self._stock_cost if unmade else cost - 1
        if goal < self._cost_goal:
            self._cost_goal = goal
            self._enforce_goal()

    def lower_goal(self) -> None:
        """Seek a plan better than the one at hand."""
        self.aim_below(self._unplaced_area, self._state.cost)

    def run(self, end: int, stop: Stop) -> bool:
        """Make moves until the goal is met or the steps have come to `end`; say which."""
        while self.steps < end and (self._moves % 256 or not stop()):
            if self._cost_goal < 0:
                return False
            self._move()
            if self._unplaced_area <= self._unplaced_target:
                return True
            if self._moves - self._moves_at_lowest > _MAX_STALLED_MOVES:
                self._restart()
        return False

    def uses(self) -> Plan:
        """Return the plan at hand."""
        copies: dict[Pattern, int] = {}
        for sheet in self._state.sheets:
            pattern = self._pattern_of(sheet)
            copies[pattern] = copies.get(pattern, 0) + 1
        return tuple(copies.items())

    def _sheet_from_pattern(self, pattern: Pattern) -> Sheet | None:
        """Return a sheet cut as the pattern says, or None if it does not come apart."""
        kind = self._bin_types[pattern.bin_type]
        whole = Rect(0, 0, kind.width, kind.height)
        places: dict[Rect, list[Placement]] = {whole: []}
        for spot in pattern.placements:
            places.update((void, []) for void in self._voids_of(spot))
        inmost = sorted(places, key=lambda place: place.area)
        for spot in pattern.placements:
            blank = self._bounding_box(spot)
            places[next(place for place in inmost if place.contains(blank))].append(spot)
        root = self._build_tree(whole, places)
        return None if root is None else Sheet(pattern.bin_type, root)

    def _build_tree(self, place: Rect, places: dict[Rect, list[Placement]]) -> Node | None:
        """Return the tree of a sheet or void, or None if cuts can't part what lies in it."""
        boxes = []
        for spot in places[place]:
            x, y, width, height = self._bounding_box(spot)
            roots = [self._build_tree(void, places) for void in self._voids_of(spot)]
            laid = [root for root in roots if root is not None]
            if len(laid) < len(roots):
                return None
            piece = Host(_oriented_code(spot), laid) if laid else _oriented_code(spot)
            boxes.append(PlacedBox((x, y), (x + width, y + height), piece))
        return build_cut_tree(boxes, 0, place.width, place.height)

    def _bounding_box(self, spot: Placement) -> Rect:
        code = _oriented_code(spot)
        return Rect(spot.x, spot.y, self._lengths[0][code], self._lengths[1][code])

    def _voids_of(self, spot: Placement) -> list[Rect]:
        return [
            Rect(spot.x + x, spot.y + y, width, height)
            for x, y, width, height in self._voids[_oriented_code(spot)]
        ]

    def _pattern_of(self, sheet: Sheet) -> Pattern:
        spots: list[Placement] = []
        self._collect_placements(sheet.root, 0, 0, spots)
        return Pattern(sheet.bin_type, tuple(spots))

    def _collect_placements(self, node: Node, x: int, y: int, spots: list[Placement]) -> None:
        for one in node.slices:
            if isinstance(one, Node):
                self._collect_placements(one, x, y, spots)
            else:
                code = one if isinstance(one, int) else one.code
                spots.append(Placement(code >> 1, x, y, bool(code & 1)))
            if isinstance(one, Host):
                for void, root in zip(self._voids[one.code], one.roots, strict=True):
                    self._collect_placements(root, x + void.x, y + void.y, spots)
            if node.axis:
                y += self._extent(one, 1)
            else:
                x += self._extent(one, 0)

    def _extent(self, one: Slice, axis: int) -> int:
        """Return the length of a slice along the axis of its node."""
        if isinstance(one, Node):
            return one.cross
        return self._lengths[axis][one if isinstance(one, int) else one.code]

    def _area_of(self, loose: Sequence[int]) -> int:
        return sum(self._areas[index] for index in loose)

    def _enforce_goal(self) -> None:
        """Put sheets back, emptiest first, until the others cost no more than the goal."""
        while self._state.cost > self._cost_goal and self._state.sheets:
            sheets = self._state.sheets
            self._remove_sheets(
                [max(range(len(sheets)), key=lambda i: self._free_share(sheets[i]))]
            )
        self._reset_history()

    def _free_share(self, sheet: Sheet) -> float:
        return sheet.waste / self._bin_types[sheet.bin_type].area

    def _restart(self) -> None:
        number = len(self._state.sheets)
        self._remove_sheets(self._rng.sample(range(number), -(-number // 3)))
        self._reset_history()

    def _reset_history(self) -> None:
        self._unplaced_area = self._lowest_unplaced_area = self._area_of(self._state.unplaced)
        self._history = [self._unplaced_area] * _LATE_ACCEPTANCE_LENGTH
        self._moves_at_lowest = self._moves

    def _remove_sheets(self, indices: Sequence[int]) -> None:
        """Put sheets back into the stock; their pieces wait."""
        sheets, stock, cost, loose = self._state
        stock = stock.copy()
        codes: list[int] = []
        for index in indices:
            kind = sheets[index].bin_type
            stock[kind] += 1
            cost -= self._bin_types[kind].price
            collect_codes(sheets[index].root.slices, codes)
        gone = set(indices)
        sheets = [sheet for index, sheet in enumerate(sheets) if index not in gone]
        self._state = _State(sheets, stock, cost, loose + [code >> 1 for code in codes])

    def _move(self) -> None:
        """Ruin, recreate, and take it or leave it."""
        before = self._state
        changes: list[NodeChange] = []
        touched: list[Sheet] = []
        if before.sheets:
            self._ruin(changes, touched)
        opened = self._open_sheets()
        waiting = self._recreate(opened, changes, touched)
        place = self._moves % _LATE_ACCEPTANCE_LENGTH
        if waiting <= self._unplaced_area or waiting <= self._history[place]:
            self._unplaced_area = waiting
            self._close_empty()
            for sheet in touched:
                sheet.update_free()
            if waiting < self._lowest_unplaced_area:
                self._lowest_unplaced_area = waiting
                self._moves_at_lowest = self._moves
                for sheet in self._state.sheets:
                    self._pool.add(self._pattern_of(sheet))
        else:
            self._state = before
            for node, rest, slices in reversed(changes):
                node.rest = rest
                if slices is None:
                    node.slices.pop()
                else:
                    node.slices = slices
        self._history[place] = self._unplaced_area
        self._moves += 1

    def _ruin(self, changes: list[NodeChange], touched: list[Sheet]) -> None:
        random, sheets = self._random, self._state.sheets
        number = 1 + int(random() * _MAX_RUINED_SHEETS)
        # Of two sheets the more wasteful one: it has more to gain.
        pairs = ((int(random() * len(sheets)), int(random() * len(sheets))) for _ in range(number))
        chosen = sorted(
            {one if sheets[one].waste > sheets[two].waste else two for one, two in pairs}
        )
        if random() < _CLEAR_PROBABILITY:
            self._remove_sheets(chosen)
            return
        least, most = _PRUNE_PROBABILITIES
        chance = least + random() * (most - least)
        codes: list[int] = []
        for index in chosen:
            self._prune(sheets[index].root, chance, codes, changes)
            touched.append(sheets[index])
        self._state = self._state._replace(
            unplaced=self._state.unplaced + [code >> 1 for code in codes]
        )

    def _prune(
        self, node: Node, chance: float, codes: list[int], changes: list[NodeChange]
    ) -> None:
        """Take branches off, each by chance, and nodes that then part nothing any more."""
        random = self._random
        kept: list[Slice] = []
        rest = node.rest
        for one in node.slices:
            if random() < chance:
                rest += self._extent(one, node.axis)
                collect_codes((one,), codes)
                continue
            if not isinstance(one, Node):
                kept.append(one)
                if isinstance(one, Host):
                    for root in one.roots:
                        self._prune(root, chance, codes, changes)
                continue
            self._prune(one, chance, codes, changes)
            below = one.slices
            if not below:
                rest += one.cross
            elif len(below) > 1 or one.rest:
                kept.append(one)
            elif isinstance(below[0], Node):
                # It fills its node, and its slices lie along our axis.
                kept += below[0].slices
                rest += below[0].rest
            else:
                kept.append(below[0])
        if kept != node.slices:
            changes.append((node, node.rest, node.slices))
            node.rest, node.slices = rest, kept

    def _open_sheets(self) -> list[Sheet]:
        """Lay sheets open, any that the goal still allows."""
        sheets, stock, cost, loose = self._state
        opened: list[Sheet] = []
        while loose and len(opened) < _MAX_OPENED_SHEETS:
            allowed = [
                kind
                for kind, size in enumerate(self._bin_types)
                if stock[kind] and cost + size.price <= self._cost_goal
            ]
            if not allowed:
                break
            if not opened:
                stock = stock.copy()
            kind = allowed[int(self._random() * len(allowed))]
            size = self._bin_types[kind]
            opened.append(Sheet(kind, Node(0, size.width, size.height, [])))
            stock[kind] -= 1
            cost += size.price
        if opened:
            self._state = _State(sheets + opened, stock, cost, loose)
        return opened

    def _close_empty(self) -> None:
        sheets, stock, cost, loose = self._state
        if all(sheet.root.slices for sheet in sheets):
            return
        stock = stock.copy()
        for sheet in sheets:
            if not sheet.root.slices:
                stock[sheet.bin_type] += 1
                cost -= self._bin_types[sheet.bin_type].price
        self._state = _State([s for s in sheets if s.root.slices], stock, cost, loose)

    def _recreate(
        self, opened: list[Sheet], changes: list[NodeChange], touched: list[Sheet]
    ) -> int:
        """Lay what waits where it fits; return the area of what still waits."""
        touched += opened
        order = self._sorted_items(self._state.unplaced)
        free = self._usable_free_rectangles(order, touched)
        shapes = self._item_types
        self.steps += _STEPS_PER_MOVE + len(order)
        waiting = 0
        loose: list[int] = []
        without_place = -1
        for index in order:
            if index != without_place:
                place, turned = self._best_fit(free, shapes[index])
                if place is not None:
                    sheet = self._place(2 * index + turned, free, place, changes)
                    if sheet not in touched:
                        touched.append(sheet)
                    continue
            without_place = index
            loose.append(index)
            waiting += self._areas[index]
        self._state = self._state._replace(unplaced=loose)
        return waiting

    def _sorted_items(self, loose: list[int]) -> list[int]:
        """Sort pieces, large ones first or long ones first, more or less; or by chance."""
        random, rule = self._random, self._random()
        if rule < 0.6:
            key = {i: self._areas[i] * (1 + 0.3 * random()) for i in dict.fromkeys(loose)}
        elif rule < 0.9:
            key = {
                i: max(self._item_types[i][:2]) * (1 + 0.3 * random()) for i in dict.fromkeys(loose)
            }
        else:
            key = {i: random() for i in dict.fromkeys(loose)}
        return sorted(loose, key=lambda i: -key[i])

    def _usable_free_rectangles(
        self, order: list[int], touched: list[Sheet]
    ) -> list[FreeRectangle]:
        """Return the free rectangles that are not too short for all the pieces."""
        wide = high = INFINITE_LENGTH
        for index in dict.fromkeys(order):
            width, height, _, turns, _ = self._item_types[index]
            if turns:
                width = height = min(width, height)
            wide, high = min(wide, width), min(high, height)
        free: list[FreeRectangle] = []
        for sheet in self._state.sheets:
            rests = sheet.free
            if sheet in touched:
                rests = []
                collect_free(sheet.root, sheet, rests)
            free += [one for one in rests if one[0] >= wide and one[1] >= high]
        return free

    def _best_fit(
        self, free: list[FreeRectangle], shape: ItemType
    ) -> tuple[FreeRectangle | None, int]:
        """Return the rectangle, and whether turned, that leaves the shortest strip."""
        wide, high, _, turns, _ = shape
        random = self._random
        shortest = INFINITE_LENGTH
        best: FreeRectangle | None = None
        turned = 0
        self.steps += len(free)
        # Most of the search's time is spent here: no unpacking, no calls before a piece fits.
        for one in free:
            if wide <= one[0] and high <= one[1]:
                rest = min(one[0] - wide, one[1] - high)
                if rest < shortest and random() >= _BLINK_RATE:
                    shortest, best = rest, one
        if turns:
            for one in free:
                if high <= one[0] and wide <= one[1]:
                    rest = min(one[0] - high, one[1] - wide)
                    if rest < shortest and random() >= _BLINK_RATE:
                        shortest, best, turned = rest, one, 1
        return best, turned

    def _place(
        self,
        code: int,
        free: list[FreeRectangle],
        place: FreeRectangle,
        changes: list[NodeChange],
    ) -> Sheet:
        """Lay a piece into the corner of a free rectangle; return the sheet."""
        _, _, node, sheet = place
        free.remove(place)
        changes.append((node, node.rest, None))
        axis = node.axis
        along, across = self._lengths[axis][code], self._lengths[1 - axis][code]
        beside, below = node.rest - along, node.cross - across
        piece: Piece = code
        if self._voids[code]:
            piece = Host(code, [Node(0, v.width, v.height, []) for v in self._voids[code]])
            for root in piece.roots:
                add_free(free, root, sheet)
        if not below:
            node.slices.append(piece)
            node.rest = beside
            add_free(free, node, sheet)
            return sheet
        slice_first = beside * node.cross >= below * node.rest
        if beside and self._random() < _CROSS_CUT_PROBABILITY:
            slice_first = not slice_first
        if slice_first or not beside:
            part = Node(1 - axis, below, along, [piece])
            node.rest = beside
            add_free(free, node, sheet)
        else:
            row = Node(axis, beside, across, [piece])
            part = Node(1 - axis, below, node.rest, [row])
            node.rest = 0
            add_free(free, row, sheet)
        node.slices.append(part)
        add_free(free, part, sheet)
        return sheet


def _oriented_code(spot: Placement) -> int:
    return 2 * spot.item_type + spot.turned
