"""Which orders to make: a choice in whole numbers, within what is known of each paper's sheets.

Every order is made or not.  All that is made of a paper keeps to the inequalities known of its
sheets (`valid_inequalities.py`) and has not all the pieces that are known not to be held together.
Most orders are chosen; of as many the most urgent; of equally urgent ones the cheapest, as far as
the inequalities tell; then those that came first.

What is only doubted, because a search found no place for it, is kept apart from what is proven:
without the doubts the same choice says how many orders could be made at most.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from math import floor
from typing import TYPE_CHECKING, NamedTuple

from nester.packing.bounds.valid_inequalities import Inequality
from nester.packing.orders.capacity import Counts, Room
from nester.packing.runtime.cp_sat import run
from nester.packing.runtime.stop import Stop

if TYPE_CHECKING:
    from ortools.sat.python.cp_model import CpModel, CpSolver, IntVar, LinearExpr

__all__ = ["Applicant", "Choice", "Chosen"]

_WORK = 0.5
"""CP-SAT's deterministic time for each aim."""
_LARGEST_WEIGHT = 2**30
_LARGEST_SUM = 2**40


class Applicant(NamedTuple):
    """An order that could be made: how urgent it is (0 most), and what it wants by name."""

    rank: int
    pieces: Mapping[str, int]


class Chosen(NamedTuple):
    """A choice.

    Attributes
    ----------
    orders
        Places of the chosen among the applicants.
    most
        No choice that keeps to the same has more orders.
    outlay
        What it costs at least, in money.
    """

    orders: frozenset[int]
    most: int
    outlay: float


class Choice:
    """All that is known, and the best choice that keeps to it."""

    def __init__(self, rooms: Sequence[Room], applicants: Sequence[Applicant], stop: Stop) -> None:
        self._rooms = rooms
        self._applicants = applicants
        self._stop = stop
        self._counts = [[room.counts(one.pieces) for one in applicants] for room in rooms]
        self._known = [[room.first()] for room in rooms]
        self._not_together: list[set[Counts]] = [set() for _ in rooms]
        self._at_most: dict[int, int] = {}
        self._tried: set[frozenset[int]] = set()
        self._last: frozenset[int] = frozenset()

    def counts(self, room: int, orders: frozenset[int]) -> Counts:
        """Return what some orders want of a paper, by shape."""
        rows = [self._counts[room][order] for order in sorted(orders)]
        if not rows:
            return (0,) * len(self._rooms[room].task.shapes)
        return tuple(map(sum, zip(*rows, strict=True)))

    def ties(self, orders: frozenset[int]) -> bool:
        """Say whether orders may be exchanged for others that are as urgent."""
        ranks = [one.rank for one in self._applicants]
        others = {rank for order, rank in enumerate(ranks) if order not in orders}
        return any(ranks[order] in others for order in orders)

    def keep_to(self, room: int, inequality: Inequality) -> None:
        """Learn an inequality of a paper's sheets."""
        self._known[room].append(inequality)

    def forbid(self, room: int, counts: Counts) -> None:
        """Learn that a paper's sheets don't hold so many pieces of each shape together."""
        self._not_together[room].add(counts)

    def doubt(self, room: int, area: int) -> None:
        """Choose no more than some area of a paper, though that is not proven."""
        self._at_most[room] = min(area, self._at_most.get(room, area))

    def pass_over(self, orders: frozenset[int]) -> None:
        """Choose anything but just these orders."""
        self._tried.add(orders)

    def best(self, *, like: frozenset[int] | None = None) -> Chosen | None:
        """Return the best choice; None if the solver found none.

        Parameters
        ----------
        like
            Choose as many and as urgent orders as these are.
        """
        return _Model(self, doubts=True).best(like)

    def most(self) -> int:
        """Return a number of orders that no choice can surpass; proven."""
        return _Model(self, doubts=False).most()


class _Model:
    def __init__(self, choice: Choice, *, doubts: bool) -> None:
        from ortools.sat.python import cp_model

        self._all = choice
        self._model = model = cp_model.CpModel()
        self._made = [model.new_bool_var("") for _ in choice._applicants]
        self._sheets: list[IntVar] = []
        self._prices: list[float] = []
        for number, room in enumerate(choice._rooms):
            self._add_room(number, room, choice._at_most.get(number) if doubts else None)
        self._add_equals()
        if doubts:
            for orders in choice._tried:
                model.add_bool_or(
                    [one.negated() if i in orders else one for i, one in enumerate(self._made)]
                )
        for order, one in enumerate(self._made):
            model.add_hint(one, order in choice._last)

    def _sum(self, weights: Sequence[int]) -> LinearExpr:
        from ortools.sat.python import cp_model

        return cp_model.LinearExpr.weighted_sum(self._made, weights)

    def _add_room(self, number: int, room: Room, at_most: int | None) -> None:
        from ortools.sat.python import cp_model

        model, counts = self._model, self._all._counts[number]
        sheets = [model.new_int_var(0, most, "") for most in room.sheets]
        self._sheets += sheets
        unit = room.task.price_unit
        self._prices += [float(kind.price * unit) for kind in room.task.kinds]
        for one in self._all._known[number]:
            needed = self._sum([one.needed(row) for row in counts])
            model.add(cp_model.LinearExpr.weighted_sum(sheets, one.holds) >= needed)
        if at_most is not None:
            model.add(self._sum([room.area(row) for row in counts]) <= at_most)
        reached: dict[tuple[int, int], IntVar] = {}
        for together in sorted(self._all._not_together[number]):
            some = []
            for shape, least in enumerate(together):
                if least and (shape, least) not in reached:
                    few = reached[shape, least] = model.new_bool_var("")
                    made = self._sum([row[shape] for row in counts])
                    model.add(made < least).only_enforce_if(few)
                if least:
                    some.append(reached[shape, least])
            model.add_bool_or(some)

    def _add_equals(self) -> None:
        """Of orders equal in all let the first come first: else there are too many ways."""
        last: dict[tuple[int, tuple[Counts, ...]], int] = {}
        for order, applicant in enumerate(self._all._applicants):
            key = applicant.rank, tuple(rows[order] for rows in self._all._counts)
            if key in last:
                self._model.add_implication(self._made[order], self._made[last[key]])
            last[key] = order

    def most(self) -> int:
        """Return a bound on the number of orders made."""
        return self._greatest(self._model, [1] * len(self._made))[1]

    def best(self, like: frozenset[int] | None) -> Chosen | None:
        """Return the best choice, one aim after the other."""
        model, ranks = self._model, [one.rank for one in self._all._applicants]
        if like is None:
            found, most = self._greatest(model, [1] * len(self._made))
            if found is None:
                return None
            model.add(self._sum([1] * len(self._made)) >= len(found))
            for group in self._groups():
                weights = [group.get(rank, 0) for rank in ranks]
                better, _ = self._greatest(model, weights, found)
                found = found if better is None else better
                self._keep_ranks(set(group), found)
        else:
            found, most = like, len(like)
            self._keep_ranks(set(ranks), like)
        found, outlay = self._cheapest(found)
        if found is None:
            return None
        self._all._last = found
        return Chosen(found, most, outlay)

    def _groups(self) -> list[dict[int, int]]:
        """Return weights of ranks, in groups.

        By these one order of a rank counts more than all of later ranks of its group.
        """
        numbers: dict[int, int] = defaultdict(int)
        for one in self._all._applicants:
            numbers[one.rank] += 1
        groups: list[dict[int, int]] = []
        group: dict[int, int] = {}
        product = 1
        for rank in sorted(numbers):
            if product * (numbers[rank] + 1) > _LARGEST_WEIGHT and group:
                groups.append(group)
                group, product = {}, 1
            product *= numbers[rank] + 1
            group = {r: weight * (numbers[rank] + 1) for r, weight in group.items()} | {rank: 1}
        return [*groups, group] if group else groups

    def _keep_ranks(self, ranks: set[int], found: frozenset[int]) -> None:
        of_rank: dict[int, list[int]] = defaultdict(list)
        for order, one in enumerate(self._all._applicants):
            if one.rank in ranks:
                of_rank[one.rank].append(order)
        for orders in of_rank.values():
            weights = [0] * len(self._made)
            for order in orders:
                weights[order] = 1
            self._model.add(self._sum(weights) == len(found.intersection(orders)))

    def _cheapest(self, found: frozenset[int]) -> tuple[frozenset[int] | None, float]:
        """Return the cheapest choice as far as is known, and of these that which came first."""
        from ortools.sat.python import cp_model

        highest = sum(
            price * most
            for price, most in zip(
                self._prices, (m for room in self._all._rooms for m in room.sheets), strict=True
            )
        )
        scale = _LARGEST_SUM / highest if highest else 0.0
        outlay = cp_model.LinearExpr.weighted_sum(
            self._sheets, [floor(price * scale) for price in self._prices]
        )
        self._model.minimize(outlay)
        solver = self._solver()
        status = run(solver, self._model, self._all._stop)
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return (None if status == cp_model.INFEASIBLE else found), 0.0
        least = solver.value(outlay)
        found = frozenset(i for i, one in enumerate(self._made) if solver.value(one))
        self._model.add(outlay <= least)
        # Later orders weigh more: leave them out rather.
        earlier, _ = self._greatest(self._model, [-place for place in range(len(self._made))])
        return (found if earlier is None else earlier), least / scale if scale else 0.0

    def _greatest(
        self, model: CpModel, weights: Sequence[int], known: frozenset[int] | None = None
    ) -> tuple[frozenset[int] | None, int]:
        """Make a sum as great as can be; return a choice, and a bound on the sum."""
        from ortools.sat.python import cp_model

        model.maximize(self._sum(weights))
        solver = self._solver()
        status = run(solver, model, self._all._stop)
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return known, sum(weight for weight in weights if weight > 0)
        found = frozenset(i for i, one in enumerate(self._made) if solver.value(one))
        if status == cp_model.OPTIMAL:
            return found, sum(weights[order] for order in found)
        bound = floor(solver.best_objective_bound * (1 + 1e-12) + 1e-6)
        return found, bound

    @staticmethod
    def _solver() -> CpSolver:
        from ortools.sat.python import cp_model

        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.random_seed = 1
        solver.parameters.max_deterministic_time = _WORK
        return solver
