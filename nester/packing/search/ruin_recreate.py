"""Better plans by ruin and recreate: take pieces off some sheets and place them again.

Ruin and recreate is due to Schrimpf and others, "Record breaking optimization results using the
ruin and recreate principle", Journal of Computational Physics 159 (2000).  This search follows
Gardeyn and Wauters, "A goal-driven ruin and recreate heuristic for the 2D variable-sized bin
packing problem with guillotine constraints", European Journal of Operational Research 301 (2022):

- A plan is one cut tree per sheet (`cut_tree.py`), and a list of unplaced pieces.  A cost goal just
  below the best plan limits which sheets may be used.
- A move removes branches of a few trees, or clears whole sheets, and then inserts unplaced pieces
  one by one where they fit best.  Now and then it skips a good place ("blinks": Christiaens and
  Vanden Berghe, "Slack induction by string removals", Transportation Science 54, 2020).
- A move that leaves more area unplaced is accepted if that is no more than a hundred moves ago
  (late acceptance: Burke and Bykov, "The late acceptance hill-climbing heuristic", European Journal
  of Operational Research 258, 2017).
- Once everything is placed, the plan is better than the best, and the goal is lowered below it.

Each void of a piece that could hold another piece is treated as a small sheet of its own; what lies
in it is removed with its host.
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
"""Steps of this search that take as long as one step of the other methods (measured)."""

_MAX_SHEETS = 40
"""A plan with more sheets is improved in parts of this many sheets."""
_STEPS_PER_SUBPROBLEM = 1_000_000
"""Steps spent on one part."""
_STEPS_PER_MOVE = 100
"""Overhead of a move, in steps (measured)."""
_LATE_ACCEPTANCE_LENGTH = 100
"""A move is compared with the result of this many moves ago."""
_MAX_STALLED_MOVES = 30_000
"""Moves without a new lowest unplaced area before a third of the sheets is cleared."""
_MAX_RUINED_SHEETS = 3
_MAX_OPENED_SHEETS = 8
"""Most sheets ruined, and most new sheets opened, in one move."""
_CLEAR_PROBABILITY = 0.1
"""How often the sheets to be ruined are cleared and returned to stock."""
_PRUNE_PROBABILITIES = (0.05, 0.3)
"""Range of the probability that a branch of a ruined sheet is removed."""
_BLINK_RATE = 0.02
"""How often a rectangle in which a piece fits is skipped."""
_CROSS_CUT_PROBABILITY = 0.2
"""How often the first cut beside a piece does not keep the larger rest whole."""


class _State(NamedTuple):
    """What a move replaces.  Moves build new lists, so that a rejected one is undone at no cost."""

    sheets: list[Sheet]
    stock: list[int]
    cost: int
    unplaced: list[int]


class RuinAndRecreate:
    """Improves plans, in parts if they are large."""

    def __init__(self, task: Task, rng: Random, pool: PatternPool) -> None:
        self._task = task
        self._rng = rng
        self._pool = pool
        self._whole_plan: _Subproblem | None = None
        self.steps = 0

    def plans(self, steps: int, best: Plan, stop: Stop) -> Iterator[Plan]:
        """Yield plans, each better than the one before and than `best`, while steps last."""
        while steps > 0 and not stop():
            subproblem, fixed, step_share = self._next_subproblem(best, steps)
            steps -= step_share
            end = subproblem.steps + step_share
            while subproblem.run(end, stop):
                best = merge_plans(fixed, subproblem.plan())
                yield best
                subproblem.lower_goal()

    def complete(self, start: Plan, best: Plan, steps: int, stop: Stop) -> Iterator[Plan]:
        """Yield plans better than `best` that keep the sheets of `start` as they are.

        It ends once `steps` have been spent without a better plan.
        """
        subproblem = _Subproblem(self._task, (), start, self._rng, self._pool)
        unmet_area, cost, _ = objective(self._task, best)
        subproblem.aim_below(unmet_area, cost - objective(self._task, start)[1])
        while subproblem.run(subproblem.steps + steps, stop):
            yield merge_plans(start, subproblem.plan())
            subproblem.lower_goal()
        self.steps += subproblem.steps

    def _next_subproblem(self, best: Plan, steps: int) -> tuple[_Subproblem, Plan, int]:
        """Return what to improve, the rest of the plan, and how many steps to spend."""
        unmet_area, cost, sheets = objective(self._task, best)
        if sheets <= _MAX_SHEETS:
            if self._whole_plan is None:
                self._whole_plan = _Subproblem(self._task, best, (), self._rng, self._pool)
            self._whole_plan.aim_below(unmet_area, cost)
            return self._whole_plan, (), steps
        chosen, fixed = _draw_wasteful_sheets(self._task, best, self._rng)
        subproblem = _Subproblem(self._task, chosen, fixed, self._rng, self._pool)
        subproblem.aim_below(unmet_area, objective(self._task, chosen)[1])
        return subproblem, fixed, min(steps, _STEPS_PER_SUBPROBLEM)


def _subtract(plan: Plan, wanted: list[int], stock: list[int]) -> None:
    for pattern, copies in plan:
        stock[pattern.bin_type] -= copies
        for item_type, number in item_counts(pattern.placements).items():
            wanted[item_type] -= number * copies


def _draw_wasteful_sheets(task: Task, plan: Plan, rng: Random) -> tuple[Plan, Plan]:
    """Draw `_MAX_SHEETS` sheets of a plan, preferring wasteful ones; return them and the others."""
    ranked: list[tuple[float, int]] = []
    for index, (pattern, copies) in enumerate(plan):
        used_area = sum(
            task.item_types[placement.item_type].area for placement in pattern.placements
        )
        waste = 1 - used_area / task.bin_types[pattern.bin_type].area
        drawn = range(min(copies, _MAX_SHEETS))
        ranked += ((-(waste + 0.01) * rng.random(), index) for _ in drawn)
    ranked.sort()
    taken = [0] * len(plan)
    for _, index in ranked[:_MAX_SHEETS]:
        taken[index] += 1
    counted = list(zip(plan, taken, strict=True))
    return (
        tuple((pattern, number) for (pattern, _), number in counted if number),
        tuple((pattern, copies - n) for (pattern, copies), n in counted if copies > n),
    )


class _Subproblem:
    """The search on some sheets of a plan, with all pieces and sheets not used by the others."""

    def __init__(
        self, task: Task, chosen: Plan, fixed: Plan, rng: Random, pool: PatternPool
    ) -> None:
        self._item_types = task.item_types
        self._bin_types = task.bin_types
        self._rng = rng
        self._random = rng.random
        self._pool = pool
        self._lengths = (  # of a piece by its code, along each axis
            [side for item in task.item_types for side in item[:2]],
            [side for item in task.item_types for side in (item[1], item[0])],
        )
        self._areas = [item.area for item in task.item_types]
        self._voids = [  # of a piece by its code, those that could hold some piece
            tuple(
                void
                for void in item.voids_at(0, 0, turned)
                if any(other.fits(void.width, void.height) for other in task.item_types)
            )
            for item in task.item_types
            for turned in (False, True)
        ]
        wanted = list(task.demand)
        stock = [task.max_sheets(bin_type) for bin_type in range(len(task.bin_types))]
        _subtract(fixed, wanted, stock)
        self._stock_cost = sum(
            sheet_type.price * n for sheet_type, n in zip(task.bin_types, stock, strict=True)
        )
        self._cost_goal = self._stock_cost
        kept = [
            self._sheet_from_pattern(pattern) for pattern, copies in chosen for _ in range(copies)
        ]
        sheets = [sheet for sheet in kept if sheet is not None]
        for sheet in sheets:
            _subtract(((self._pattern_of(sheet), 1),), wanted, stock)
        unplaced = [index for index, number in enumerate(wanted) for _ in range(number)]
        cost = sum(task.bin_types[sheet.bin_type].price for sheet in sheets)
        self._state = _State(sheets, stock, cost, unplaced)
        self._unplaced_area = self._lowest_unplaced_area = self._area_of(unplaced)
        self._unplaced_target = 0
        self._history = [self._unplaced_area] * _LATE_ACCEPTANCE_LENGTH
        self._moves = self._moves_at_lowest = 0
        self.steps = 0

    def aim_below(self, unmet_area: int, cost: int) -> None:
        """Look for a plan that leaves less area unmade or, if that is none, costs less."""
        self._unplaced_target = max(0, unmet_area - 1)
        goal = self._stock_cost if unmet_area else cost - 1
        if goal < self._cost_goal:
            self._cost_goal = goal
            self._enforce_goal()

    def lower_goal(self) -> None:
        """Look for a plan better than the current one."""
        self.aim_below(self._unplaced_area, self._state.cost)

    def run(self, end: int, stop: Stop) -> bool:
        """Make moves until the goal is met or `end` steps are spent; return whether it was met."""
        while self.steps < end and (self._moves % 256 or not stop()):
            if self._cost_goal < 0:
                return False
            self._move()
            if self._unplaced_area <= self._unplaced_target:
                return True
            if self._moves - self._moves_at_lowest > _MAX_STALLED_MOVES:
                self._restart()
        return False

    def plan(self) -> Plan:
        """Return the current plan."""
        copies: dict[Pattern, int] = {}
        for sheet in self._state.sheets:
            pattern = self._pattern_of(sheet)
            copies[pattern] = copies.get(pattern, 0) + 1
        return tuple(copies.items())

    def _sheet_from_pattern(self, pattern: Pattern) -> Sheet | None:
        """Return the sheet of a pattern, or None if it is not a guillotine pattern.

        A piece is assigned to the smallest void that contains it, else to the sheet.
        """
        sheet_type = self._bin_types[pattern.bin_type]
        whole = Rect(0, 0, sheet_type.width, sheet_type.height)
        contents: dict[Rect, list[Placement]] = {whole: []}
        for placement in pattern.placements:
            contents.update((void, []) for void in self._voids_of(placement))
        smallest_first = sorted(contents, key=lambda region: region.area)
        for placement in pattern.placements:
            box = self._bounding_box(placement)
            contents[next(region for region in smallest_first if region.contains(box))].append(
                placement
            )
        root = self._build_tree(whole, contents)
        return None if root is None else Sheet(pattern.bin_type, root)

    def _build_tree(self, region: Rect, contents: dict[Rect, list[Placement]]) -> Node | None:
        """Return the tree of a sheet or void, or None if cuts can't separate its pieces."""
        boxes = []
        for placement in contents[region]:
            x, y, width, height = self._bounding_box(placement)
            roots = [self._build_tree(void, contents) for void in self._voids_of(placement)]
            guests = [root for root in roots if root is not None]
            if len(guests) < len(roots):
                return None
            piece = Host(_oriented_code(placement), guests) if guests else _oriented_code(placement)
            boxes.append(PlacedBox((x, y), (x + width, y + height), piece))
        return build_cut_tree(boxes, 0, region.width, region.height)

    def _bounding_box(self, placement: Placement) -> Rect:
        code = _oriented_code(placement)
        return Rect(placement.x, placement.y, self._lengths[0][code], self._lengths[1][code])

    def _voids_of(self, placement: Placement) -> list[Rect]:
        return [
            Rect(placement.x + x, placement.y + y, width, height)
            for x, y, width, height in self._voids[_oriented_code(placement)]
        ]

    def _pattern_of(self, sheet: Sheet) -> Pattern:
        placements: list[Placement] = []
        self._collect_placements(sheet.root, 0, 0, placements)
        return Pattern(sheet.bin_type, tuple(placements))

    def _collect_placements(self, node: Node, x: int, y: int, placements: list[Placement]) -> None:
        for part in node.slices:
            if isinstance(part, Node):
                self._collect_placements(part, x, y, placements)
            else:
                code = part if isinstance(part, int) else part.code
                placements.append(Placement(code >> 1, x, y, bool(code & 1)))
            if isinstance(part, Host):
                for void, root in zip(self._voids[part.code], part.roots, strict=True):
                    self._collect_placements(root, x + void.x, y + void.y, placements)
            if node.axis:
                y += self._extent(part, 1)
            else:
                x += self._extent(part, 0)

    def _extent(self, part: Slice, axis: int) -> int:
        """Return the length of a slice along the axis of its node."""
        if isinstance(part, Node):
            return part.cross
        return self._lengths[axis][part if isinstance(part, int) else part.code]

    def _area_of(self, unplaced: Sequence[int]) -> int:
        return sum(self._areas[index] for index in unplaced)

    def _enforce_goal(self) -> None:
        """Return sheets to stock, emptiest first, until the others cost no more than the goal."""
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
        """Return sheets to stock; their pieces become unplaced."""
        sheets, stock, cost, unplaced = self._state
        stock = stock.copy()
        codes: list[int] = []
        for index in indices:
            bin_type = sheets[index].bin_type
            stock[bin_type] += 1
            cost -= self._bin_types[bin_type].price
            collect_codes(sheets[index].root.slices, codes)
        removed = set(indices)
        sheets = [sheet for index, sheet in enumerate(sheets) if index not in removed]
        self._state = _State(sheets, stock, cost, unplaced + [code >> 1 for code in codes])

    def _move(self) -> None:
        """Ruin, recreate, and accept the result or undo it.

        Late acceptance: a result is compared with the current one and with that of
        `_LATE_ACCEPTANCE_LENGTH` moves ago, which lets the search leave local optima without a
        temperature to tune.
        """
        before = self._state
        changes: list[NodeChange] = []
        touched: list[Sheet] = []
        if before.sheets:
            self._ruin(changes, touched)
        opened_sheets = self._open_sheets()
        unplaced_area = self._recreate(opened_sheets, changes, touched)
        slot = self._moves % _LATE_ACCEPTANCE_LENGTH
        if unplaced_area <= self._unplaced_area or unplaced_area <= self._history[slot]:
            self._unplaced_area = unplaced_area
            self._close_empty()
            for sheet in touched:
                sheet.update_free()
            if unplaced_area < self._lowest_unplaced_area:
                self._lowest_unplaced_area = unplaced_area
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
        self._history[slot] = self._unplaced_area
        self._moves += 1

    def _ruin(self, changes: list[NodeChange], touched: list[Sheet]) -> None:
        """Clear a few sheets, or remove random branches of their trees."""
        random, sheets = self._random, self._state.sheets
        number = 1 + int(random() * _MAX_RUINED_SHEETS)
        # A tournament of two: the more wasteful sheet has more to gain.
        pairs = ((int(random() * len(sheets)), int(random() * len(sheets))) for _ in range(number))
        chosen = sorted(
            {
                first if sheets[first].waste > sheets[second].waste else second
                for first, second in pairs
            }
        )
        if random() < _CLEAR_PROBABILITY:
            self._remove_sheets(chosen)
            return
        low, high = _PRUNE_PROBABILITIES
        probability = low + random() * (high - low)
        codes: list[int] = []
        for index in chosen:
            self._prune(sheets[index].root, probability, codes, changes)
            touched.append(sheets[index])
        self._state = self._state._replace(
            unplaced=self._state.unplaced + [code >> 1 for code in codes]
        )

    def _prune(
        self, node: Node, probability: float, codes: list[int], changes: list[NodeChange]
    ) -> None:
        """Remove branches at random, and nodes that then have nothing left to cut."""
        random = self._random
        kept: list[Slice] = []
        rest = node.rest
        for part in node.slices:
            if random() < probability:
                rest += self._extent(part, node.axis)
                collect_codes((part,), codes)
                continue
            if not isinstance(part, Node):
                kept.append(part)
                if isinstance(part, Host):
                    for root in part.roots:
                        self._prune(root, probability, codes, changes)
                continue
            self._prune(part, probability, codes, changes)
            slices = part.slices
            if not slices:
                rest += part.cross
            elif len(slices) > 1 or part.rest:
                kept.append(part)
            elif isinstance(slices[0], Node):
                # The only slice fills its node, and its own slices lie along this axis again.
                kept += slices[0].slices
                rest += slices[0].rest
            else:
                kept.append(slices[0])
        if kept != node.slices:
            changes.append((node, node.rest, node.slices))
            node.rest, node.slices = rest, kept

    def _open_sheets(self) -> list[Sheet]:
        """Open new sheets, drawn from the bin types that the cost goal still allows."""
        sheets, stock, cost, unplaced = self._state
        opened_sheets: list[Sheet] = []
        while unplaced and len(opened_sheets) < _MAX_OPENED_SHEETS:
            allowed = [
                bin_type
                for bin_type, sheet_type in enumerate(self._bin_types)
                if stock[bin_type] and cost + sheet_type.price <= self._cost_goal
            ]
            if not allowed:
                break
            if not opened_sheets:
                stock = stock.copy()
            bin_type = allowed[int(self._random() * len(allowed))]
            sheet_type = self._bin_types[bin_type]
            opened_sheets.append(Sheet(bin_type, Node(0, sheet_type.width, sheet_type.height, [])))
            stock[bin_type] -= 1
            cost += sheet_type.price
        if opened_sheets:
            self._state = _State(sheets + opened_sheets, stock, cost, unplaced)
        return opened_sheets

    def _close_empty(self) -> None:
        """Return sheets without pieces to stock."""
        sheets, stock, cost, unplaced = self._state
        if all(sheet.root.slices for sheet in sheets):
            return
        stock = stock.copy()
        for sheet in sheets:
            if not sheet.root.slices:
                stock[sheet.bin_type] += 1
                cost -= self._bin_types[sheet.bin_type].price
        self._state = _State([s for s in sheets if s.root.slices], stock, cost, unplaced)

    def _recreate(
        self, opened_sheets: list[Sheet], changes: list[NodeChange], touched: list[Sheet]
    ) -> int:
        """Insert unplaced pieces where they fit best; return the area that stays unplaced.

        Greedy insertion by best short side fit, in a randomized order, into the free rectangles of
        all sheets in use and of those just opened.
        """
        touched += opened_sheets
        order = self._sorted_items(self._state.unplaced)
        free = self._usable_free_rectangles(order, touched)
        item_types = self._item_types
        self.steps += _STEPS_PER_MOVE + len(order)
        unplaced_area = 0
        still_unplaced: list[int] = []
        last_failed = -1
        for index in order:
            if index != last_failed:
                rectangle, turned = self._best_fit(free, item_types[index])
                if rectangle is not None:
                    sheet = self._place(2 * index + turned, free, rectangle, changes)
                    if sheet not in touched:
                        touched.append(sheet)
                    continue
            last_failed = index
            still_unplaced.append(index)
            unplaced_area += self._areas[index]
        self._state = self._state._replace(unplaced=still_unplaced)
        return unplaced_area

    def _sorted_items(self, unplaced: list[int]) -> list[int]:
        """Sort pieces by area or by length, largest first with some noise; or at random."""
        random, rule = self._random, self._random()
        if rule < 0.6:
            key = {i: self._areas[i] * (1 + 0.3 * random()) for i in dict.fromkeys(unplaced)}
        elif rule < 0.9:
            key = {
                i: max(self._item_types[i][:2]) * (1 + 0.3 * random())
                for i in dict.fromkeys(unplaced)
            }
        else:
            key = {i: random() for i in dict.fromkeys(unplaced)}
        return sorted(unplaced, key=lambda i: -key[i])

    def _usable_free_rectangles(
        self, order: list[int], touched: list[Sheet]
    ) -> list[FreeRectangle]:
        """Return the free rectangles in which some piece might fit."""
        min_width = min_height = INFINITE_LENGTH
        for index in dict.fromkeys(order):
            width, height, _, rotatable, _ = self._item_types[index]
            if rotatable:
                width = height = min(width, height)
            min_width, min_height = min(min_width, width), min(min_height, height)
        free: list[FreeRectangle] = []
        for sheet in self._state.sheets:
            rectangles = sheet.free
            if sheet in touched:
                rectangles = []
                collect_free(sheet.root, sheet, rectangles)
            free += [
                rectangle
                for rectangle in rectangles
                if rectangle[0] >= min_width and rectangle[1] >= min_height
            ]
        return free

    def _best_fit(
        self, free: list[FreeRectangle], item: ItemType
    ) -> tuple[FreeRectangle | None, int]:
        """Return the rectangle that leaves the shortest strip, and 1 if the piece is turned."""
        width, height, _, rotatable, _ = item
        random = self._random
        shortest = INFINITE_LENGTH
        best: FreeRectangle | None = None
        turned = 0
        self.steps += len(free)
        # Most of the search's time is spent here: no unpacking, no calls before a piece fits.
        for rectangle in free:
            if width <= rectangle[0] and height <= rectangle[1]:
                short_side = min(rectangle[0] - width, rectangle[1] - height)
                if short_side < shortest and random() >= _BLINK_RATE:
                    shortest, best = short_side, rectangle
        if rotatable:
            for rectangle in free:
                if height <= rectangle[0] and width <= rectangle[1]:
                    short_side = min(rectangle[0] - height, rectangle[1] - width)
                    if short_side < shortest and random() >= _BLINK_RATE:
                        shortest, best, turned = short_side, rectangle, 1
        return best, turned

    def _place(
        self,
        code: int,
        free: list[FreeRectangle],
        rectangle: FreeRectangle,
        changes: list[NodeChange],
    ) -> Sheet:
        """Place a piece in the corner of a free rectangle; return the sheet.

        The L-shaped rest is divided by a guillotine cut into two rectangles.  The first cut usually
        keeps the larger one whole.

        Parameters
        ----------
        code
            The piece and its orientation.
        free
            The free rectangles; changed.
        rectangle
            One of them, in which the piece fits.
        changes
            What must be undone if the move is rejected; changed.
        """
        _, _, node, sheet = rectangle
        free.remove(rectangle)
        changes.append((node, node.rest, None))
        axis = node.axis
        along, across = self._lengths[axis][code], self._lengths[1 - axis][code]
        rest_along, rest_across = node.rest - along, node.cross - across
        piece: Piece = code
        if self._voids[code]:
            piece = Host(code, [Node(0, v.width, v.height, []) for v in self._voids[code]])
            for root in piece.roots:
                add_free(free, root, sheet)
        if not rest_across:
            node.slices.append(piece)
            node.rest = rest_along
            add_free(free, node, sheet)
            return sheet
        slice_first = rest_along * node.cross >= rest_across * node.rest
        if rest_along and self._random() < _CROSS_CUT_PROBABILITY:
            slice_first = not slice_first
        if slice_first or not rest_along:
            rest_node = Node(1 - axis, rest_across, along, [piece])
            node.rest = rest_along
            add_free(free, node, sheet)
        else:
            row = Node(axis, rest_along, across, [piece])
            rest_node = Node(1 - axis, rest_across, node.rest, [row])
            node.rest = 0
            add_free(free, row, sheet)
        node.slices.append(rest_node)
        add_free(free, rest_node, sheet)
        return sheet


def _oriented_code(placement: Placement) -> int:
    return 2 * placement.item_type + placement.turned
