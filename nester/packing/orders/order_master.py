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

from nester.packing.bounds.valid_inequalities import ValidInequality
from nester.packing.orders.capacity import CapacityOracle, ItemCounts
from nester.packing.runtime.cp_sat import cp_solver, solve
from nester.packing.runtime.stop import Stop

if TYPE_CHECKING:
    from ortools.sat.python.cp_model import CpModel, IntVar, LinearExpr

__all__ = ["Candidate", "MasterSolution", "OrderMaster"]

_DETERMINISTIC_TIME = 0.5
"""CP-SAT's deterministic time for each aim."""
_LARGEST_WEIGHT = 2**30
_LARGEST_SUM = 2**40


class Candidate(NamedTuple):
    """An order that could be made: how urgent it is (0 most), and what it wants by name."""

    rank: int
    pieces: Mapping[str, int]


class MasterSolution(NamedTuple):
    """A choice.

    Attributes
    ----------
    orders
        Places of the chosen among the applicants.
    order_bound
        No choice that keeps to the same has more orders.
    cost_bound
        What it costs at least, in money.
    """

    orders: frozenset[int]
    order_bound: int
    cost_bound: float


class OrderMaster:
    """All that is known, and the best choice that keeps to it."""

    def __init__(
        self, rooms: Sequence[CapacityOracle], applicants: Sequence[Candidate], stop: Stop
    ) -> None:
        self._oracles = rooms
        self._candidates = applicants
        self._stop = stop
        self._counts = [[room.counts(one.pieces) for one in applicants] for room in rooms]
        self._inequalities = [[room.area_inequality()] for room in rooms]
        self._infeasible_counts: list[set[ItemCounts]] = [set() for _ in rooms]
        self._area_limits: dict[int, int] = {}
        self._excluded: set[frozenset[int]] = set()
        self._last_solution: frozenset[int] = frozenset()

    def counts(self, room: int, orders: frozenset[int]) -> ItemCounts:
        """Return what some orders want of a paper, by shape."""
        rows = [self._counts[room][order] for order in sorted(orders)]
        if not rows:
            return (0,) * len(self._oracles[room].task.item_types)
        return tuple(map(sum, zip(*rows, strict=True)))

    def has_ties(self, orders: frozenset[int]) -> bool:
        """Say whether orders may be exchanged for others that are as urgent."""
        ranks = [one.rank for one in self._candidates]
        others = {rank for order, rank in enumerate(ranks) if order not in orders}
        return any(ranks[order] in others for order in orders)

    def add_inequality(self, room: int, inequality: ValidInequality) -> None:
        """Learn an inequality of a paper's sheets."""
        self._inequalities[room].append(inequality)

    def forbid_counts(self, room: int, counts: ItemCounts) -> None:
        """Learn that a paper's sheets don't hold so many pieces of each shape together."""
        self._infeasible_counts[room].add(counts)

    def limit_area(self, room: int, area: int) -> None:
        """Choose no more than some area of a paper, though that is not proven."""
        self._area_limits[room] = min(area, self._area_limits.get(room, area))

    def exclude(self, orders: frozenset[int]) -> None:
        """Choose anything but just these orders."""
        self._excluded.add(orders)

    def solve(self, *, like: frozenset[int] | None = None) -> MasterSolution | None:
        """Return the best choice; None if the solver found none.

        Parameters
        ----------
        like
            Choose as many and as urgent orders as these are.
        """
        return _MasterModel(self, doubts=True).solve(like)

    def order_bound(self) -> int:
        """Return a number of orders that no choice can surpass; proven."""
        return _MasterModel(self, doubts=False).order_bound()


class _MasterModel:
    def __init__(self, choice: OrderMaster, *, doubts: bool) -> None:
        from ortools.sat.python import cp_model

        self._master = choice
        self._model = model = cp_model.CpModel()
        self._order_variables = [model.new_bool_var("") for _ in choice._candidates]
        self._sheet_variables: list[IntVar] = []
        self._prices: list[float] = []
        for number, room in enumerate(choice._oracles):
            self._add_paper(number, room, choice._area_limits.get(number) if doubts else None)
        self._break_symmetry()
        if doubts:
            for orders in choice._excluded:
                model.add_bool_or(
                    [
                        one.negated() if i in orders else one
                        for i, one in enumerate(self._order_variables)
                    ]
                )
        for order, one in enumerate(self._order_variables):
            model.add_hint(one, order in choice._last_solution)

    def _order_sum(self, weights: Sequence[int]) -> LinearExpr:
        from ortools.sat.python import cp_model

        return cp_model.LinearExpr.weighted_sum(self._order_variables, weights)

    def _add_paper(self, number: int, room: CapacityOracle, at_most: int | None) -> None:
        from ortools.sat.python import cp_model

        model, counts = self._model, self._master._counts[number]
        sheets = [model.new_int_var(0, most, "") for most in room.sheets]
        self._sheet_variables += sheets
        unit = room.task.price_unit
        self._prices += [float(kind.price * unit) for kind in room.task.bin_types]
        for one in self._master._inequalities[number]:
            needed = self._order_sum([one.total_weight(row) for row in counts])
            model.add(cp_model.LinearExpr.weighted_sum(sheets, one.capacities) >= needed)
        if at_most is not None:
            model.add(self._order_sum([room.area(row) for row in counts]) <= at_most)
        reached: dict[tuple[int, int], IntVar] = {}
        for together in sorted(self._master._infeasible_counts[number]):
            some = []
            for shape, least in enumerate(together):
                if least and (shape, least) not in reached:
                    few = reached[shape, least] = model.new_bool_var("")
                    made = self._order_sum([row[shape] for row in counts])
                    model.add(made < least).only_enforce_if(few)
                if least:
                    some.append(reached[shape, least])
            model.add_bool_or(some)

    def _break_symmetry(self) -> None:
        """Of orders equal in all let the first come first: else there are too many ways."""
        last: dict[tuple[int, tuple[ItemCounts, ...]], int] = {}
        for order, applicant in enumerate(self._master._candidates):
            key = applicant.rank, tuple(rows[order] for rows in self._master._counts)
            if key in last:
                self._model.add_implication(
                    self._order_variables[order], self._order_variables[last[key]]
                )
            last[key] = order

    def order_bound(self) -> int:
        """Return a bound on the number of orders made."""
        return self._maximize(self._model, [1] * len(self._order_variables))[1]

    def solve(self, like: frozenset[int] | None) -> MasterSolution | None:
        """Return the best choice, one aim after the other."""
        model, ranks = self._model, [one.rank for one in self._master._candidates]
        if like is None:
            found, most = self._maximize(model, [1] * len(self._order_variables))
            if found is None:
                return None
            model.add(self._order_sum([1] * len(self._order_variables)) >= len(found))
            for group in self._rank_weight_groups():
                weights = [group.get(rank, 0) for rank in ranks]
                better, _ = self._maximize(model, weights, found)
                found = found if better is None else better
                self._fix_rank_counts(set(group), found)
        else:
            found, most = like, len(like)
            self._fix_rank_counts(set(ranks), like)
        found, outlay = self._minimize_cost(found)
        if found is None:
            return None
        self._master._last_solution = found
        return MasterSolution(found, most, outlay)

    def _rank_weight_groups(self) -> list[dict[int, int]]:
        """Return weights of ranks, in groups.

        By these one order of a rank counts more than all of later ranks of its group.
        """
        numbers: dict[int, int] = defaultdict(int)
        for one in self._master._candidates:
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

    def _fix_rank_counts(self, ranks: set[int], found: frozenset[int]) -> None:
        of_rank: dict[int, list[int]] = defaultdict(list)
        for order, one in enumerate(self._master._candidates):
            if one.rank in ranks:
                of_rank[one.rank].append(order)
        for orders in of_rank.values():
            weights = [0] * len(self._order_variables)
            for order in orders:
                weights[order] = 1
            self._model.add(self._order_sum(weights) == len(found.intersection(orders)))

    def _minimize_cost(self, found: frozenset[int]) -> tuple[frozenset[int] | None, float]:
        """Return the cheapest choice as far as is known, and of these that which came first."""
        from ortools.sat.python import cp_model

        highest = sum(
            price * most
            for price, most in zip(
                self._prices,
                (m for room in self._master._oracles for m in room.sheets),
                strict=True,
            )
        )
        scale = _LARGEST_SUM / highest if highest else 0.0
        outlay = cp_model.LinearExpr.weighted_sum(
            self._sheet_variables, [floor(price * scale) for price in self._prices]
        )
        self._model.minimize(outlay)
        solver = cp_solver(_DETERMINISTIC_TIME)
        status = solve(solver, self._model, self._master._stop)
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return (None if status == cp_model.INFEASIBLE else found), 0.0
        least = solver.value(outlay)
        found = frozenset(i for i, one in enumerate(self._order_variables) if solver.value(one))
        self._model.add(outlay <= least)
        # Later orders weigh more: leave them out rather.
        earlier, _ = self._maximize(
            self._model, [-place for place in range(len(self._order_variables))]
        )
        return (found if earlier is None else earlier), least / scale if scale else 0.0

    def _maximize(
        self, model: CpModel, weights: Sequence[int], known: frozenset[int] | None = None
    ) -> tuple[frozenset[int] | None, int]:
        """Make a sum as great as can be; return a choice, and a bound on the sum."""
        from ortools.sat.python import cp_model

        model.maximize(self._order_sum(weights))
        solver = cp_solver(_DETERMINISTIC_TIME)
        status = solve(solver, model, self._master._stop)
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return known, sum(weight for weight in weights if weight > 0)
        found = frozenset(i for i, one in enumerate(self._order_variables) if solver.value(one))
        if status == cp_model.OPTIMAL:
            return found, sum(weights[order] for order in found)
        bound = floor(solver.best_objective_bound * (1 + 1e-12) + 1e-6)
        return found, bound
