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
from nester.packing.runtime.cp_sat import solve
from nester.packing.runtime.stop import Stop

if TYPE_CHECKING:
    from ortools.sat.python.cp_model import CpModel, CpSolver, IntVar, LinearExpr

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
        self, oracles: Sequence[CapacityOracle], candidates: Sequence[Candidate], stop: Stop
    ) -> None:
        self._oracles = oracles
        self._candidates = candidates
        self._stop = stop
        self._counts = [
            [oracle.counts(candidate.pieces) for candidate in candidates] for oracle in oracles
        ]
        self._inequalities = [[oracle.area_inequality()] for oracle in oracles]
        self._infeasible_counts: list[set[ItemCounts]] = [set() for _ in oracles]
        self._area_limits: dict[int, int] = {}
        self._excluded: set[frozenset[int]] = set()
        self._last_solution: frozenset[int] = frozenset()

    def counts(self, paper: int, orders: frozenset[int]) -> ItemCounts:
        """Return what some orders want of a paper, by item type."""
        rows = [self._counts[paper][order] for order in sorted(orders)]
        if not rows:
            return (0,) * len(self._oracles[paper].task.item_types)
        return tuple(map(sum, zip(*rows, strict=True)))

    def has_ties(self, orders: frozenset[int]) -> bool:
        """Say whether orders may be exchanged for others that are as urgent."""
        ranks = [candidate.rank for candidate in self._candidates]
        others = {rank for order, rank in enumerate(ranks) if order not in orders}
        return any(ranks[order] in others for order in orders)

    def add_inequality(self, paper: int, inequality: ValidInequality) -> None:
        """Learn an inequality of a paper's sheets."""
        self._inequalities[paper].append(inequality)

    def forbid_counts(self, paper: int, counts: ItemCounts) -> None:
        """Learn that a paper's sheets don't hold so many pieces of each item type together."""
        self._infeasible_counts[paper].add(counts)

    def limit_area(self, paper: int, area: int) -> None:
        """Choose no more than some area of a paper, though that is not proven."""
        self._area_limits[paper] = min(area, self._area_limits.get(paper, area))

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
        return _MasterModel(self, use_estimates=True).solve(like)

    def order_bound(self) -> int:
        """Return a number of orders that no choice can surpass; proven."""
        return _MasterModel(self, use_estimates=False).order_bound()


class _MasterModel:
    def __init__(self, master: OrderMaster, *, use_estimates: bool) -> None:
        from ortools.sat.python import cp_model

        self._master = master
        self._model = model = cp_model.CpModel()
        self._order_variables = [model.new_bool_var("") for _ in master._candidates]
        self._sheet_variables: list[IntVar] = []
        self._prices: list[float] = []
        for paper, oracle in enumerate(master._oracles):
            self._add_paper(
                paper, oracle, master._area_limits.get(paper) if use_estimates else None
            )
        self._break_symmetry()
        if use_estimates:
            for orders in master._excluded:
                model.add_bool_or(
                    [
                        variable.negated() if i in orders else variable
                        for i, variable in enumerate(self._order_variables)
                    ]
                )
        for order, variable in enumerate(self._order_variables):
            model.add_hint(variable, order in master._last_solution)

    def _order_sum(self, weights: Sequence[int]) -> LinearExpr:
        from ortools.sat.python import cp_model

        return cp_model.LinearExpr.weighted_sum(self._order_variables, weights)

    def _add_paper(self, paper: int, oracle: CapacityOracle, area_limit: int | None) -> None:
        from ortools.sat.python import cp_model

        model, counts = self._model, self._master._counts[paper]
        sheets = [model.new_int_var(0, max_sheets, "") for max_sheets in oracle.sheets]
        self._sheet_variables += sheets
        unit = oracle.task.price_unit
        self._prices += [float(sheet_type.price * unit) for sheet_type in oracle.task.bin_types]
        for inequality in self._master._inequalities[paper]:
            required = self._order_sum([inequality.total_weight(row) for row in counts])
            model.add(cp_model.LinearExpr.weighted_sum(sheets, inequality.capacities) >= required)
        if area_limit is not None:
            model.add(self._order_sum([oracle.area(row) for row in counts]) <= area_limit)
        reached: dict[tuple[int, int], IntVar] = {}
        for infeasible_counts in sorted(self._master._infeasible_counts[paper]):
            below_any = []
            for item_type, count in enumerate(infeasible_counts):
                if count and (item_type, count) not in reached:
                    is_below = reached[item_type, count] = model.new_bool_var("")
                    produced = self._order_sum([row[item_type] for row in counts])
                    model.add(produced < count).only_enforce_if(is_below)
                if count:
                    below_any.append(reached[item_type, count])
            model.add_bool_or(below_any)

    def _break_symmetry(self) -> None:
        """Of orders equal in all let the first come first: else there are too many ways."""
        previous: dict[tuple[int, tuple[ItemCounts, ...]], int] = {}
        for order, candidate in enumerate(self._master._candidates):
            key = candidate.rank, tuple(rows[order] for rows in self._master._counts)
            if key in previous:
                self._model.add_implication(
                    self._order_variables[order], self._order_variables[previous[key]]
                )
            previous[key] = order

    def order_bound(self) -> int:
        """Return a bound on the number of orders made."""
        return self._maximize(self._model, [1] * len(self._order_variables))[1]

    def solve(self, like: frozenset[int] | None) -> MasterSolution | None:
        """Return the best choice, one aim after the other."""
        model, ranks = self._model, [candidate.rank for candidate in self._master._candidates]
        if like is None:
            best, order_bound = self._maximize(model, [1] * len(self._order_variables))
            if best is None:
                return None
            model.add(self._order_sum([1] * len(self._order_variables)) >= len(best))
            for group in self._rank_weight_groups():
                weights = [group.get(rank, 0) for rank in ranks]
                improved, _ = self._maximize(model, weights, best)
                best = best if improved is None else improved
                self._fix_rank_counts(set(group), best)
        else:
            best, order_bound = like, len(like)
            self._fix_rank_counts(set(ranks), like)
        best, cost = self._minimize_cost(best)
        if best is None:
            return None
        self._master._last_solution = best
        return MasterSolution(best, order_bound, cost)

    def _rank_weight_groups(self) -> list[dict[int, int]]:
        """Return weights of ranks, in groups.

        By these one order of a rank counts more than all of later ranks of its group.
        """
        numbers: dict[int, int] = defaultdict(int)
        for candidate in self._master._candidates:
            numbers[candidate.rank] += 1
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

    def _fix_rank_counts(self, ranks: set[int], best: frozenset[int]) -> None:
        of_rank: dict[int, list[int]] = defaultdict(list)
        for order, candidate in enumerate(self._master._candidates):
            if candidate.rank in ranks:
                of_rank[candidate.rank].append(order)
        for orders in of_rank.values():
            weights = [0] * len(self._order_variables)
            for order in orders:
                weights[order] = 1
            self._model.add(self._order_sum(weights) == len(best.intersection(orders)))

    def _minimize_cost(self, best: frozenset[int]) -> tuple[frozenset[int] | None, float]:
        """Return the cheapest choice as far as is known, and of these that which came first."""
        from ortools.sat.python import cp_model

        largest_cost = sum(
            price * max_sheets
            for price, max_sheets in zip(
                self._prices,
                (m for oracle in self._master._oracles for m in oracle.sheets),
                strict=True,
            )
        )
        scale = _LARGEST_SUM / largest_cost if largest_cost else 0.0
        cost = cp_model.LinearExpr.weighted_sum(
            self._sheet_variables, [floor(price * scale) for price in self._prices]
        )
        self._model.minimize(cost)
        solver = self._new_solver()
        status = solve(solver, self._model, self._master._stop)
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return (None if status == cp_model.INFEASIBLE else best), 0.0
        min_cost = solver.value(cost)
        best = frozenset(
            i for i, variable in enumerate(self._order_variables) if solver.value(variable)
        )
        self._model.add(cost <= min_cost)
        # Later orders weigh more: leave them out rather.
        earlier, _ = self._maximize(
            self._model, [-place for place in range(len(self._order_variables))]
        )
        return (best if earlier is None else earlier), min_cost / scale if scale else 0.0

    def _maximize(
        self, model: CpModel, weights: Sequence[int], incumbent: frozenset[int] | None = None
    ) -> tuple[frozenset[int] | None, int]:
        """Make a sum as great as can be; return a choice, and a bound on the sum."""
        from ortools.sat.python import cp_model

        model.maximize(self._order_sum(weights))
        solver = self._new_solver()
        status = solve(solver, model, self._master._stop)
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return incumbent, sum(weight for weight in weights if weight > 0)
        selection = frozenset(
            i for i, variable in enumerate(self._order_variables) if solver.value(variable)
        )
        if status == cp_model.OPTIMAL:
            return selection, sum(weights[order] for order in selection)
        bound = floor(solver.best_objective_bound * (1 + 1e-12) + 1e-6)
        return selection, bound

    @staticmethod
    def _new_solver() -> CpSolver:
        from ortools.sat.python import cp_model

        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.random_seed = 1
        solver.parameters.max_deterministic_time = _DETERMINISTIC_TIME
        return solver
