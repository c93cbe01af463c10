"""Which orders to make: the master problem of the decomposition in `whole_orders.py`.

An integer program, solved by CP-SAT: each order is selected or not.  For every paper the selection
satisfies the known valid inequalities (`valid_inequalities.py`) and avoids the sets of pieces known
to be infeasible together.  The objectives are lexicographic: most orders; then the most urgent
ones; then the least cost, as far as the inequalities show; then those that came first.

Limits that are not proven, because a search merely failed to place pieces, are kept apart: without
them the same program gives an upper bound on the number of orders.
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
"""CP-SAT's deterministic time for each objective."""
_LARGEST_WEIGHT = 2**30
_LARGEST_SUM = 2**40


class Candidate(NamedTuple):
    """An order that could be made: its rank (0 is most urgent), and its pieces by name."""

    rank: int
    pieces: Mapping[str, int]


class MasterSolution(NamedTuple):
    """A selection of orders.

    Attributes
    ----------
    orders
        Indices of the selected candidates.
    order_bound
        No selection that satisfies the same constraints has more orders.
    cost_bound
        A lower bound on its cost, in money.
    """

    orders: frozenset[int]
    order_bound: int
    cost_bound: float


class OrderMaster:
    """The constraints learned so far, and the best selection that satisfies them."""

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
        """Return the pieces that some orders want of a paper, by item type."""
        rows = [self._counts[paper][order] for order in sorted(orders)]
        if not rows:
            return (0,) * len(self._oracles[paper].task.item_types)
        return tuple(map(sum, zip(*rows, strict=True)))

    def has_ties(self, orders: frozenset[int]) -> bool:
        """Return whether orders may be exchanged for others of the same rank."""
        ranks = [candidate.rank for candidate in self._candidates]
        others = {rank for order, rank in enumerate(ranks) if order not in orders}
        return any(ranks[order] in others for order in orders)

    def add_inequality(self, paper: int, inequality: ValidInequality) -> None:
        """Add a valid inequality of a paper's sheets."""
        self._inequalities[paper].append(inequality)

    def forbid_counts(self, paper: int, counts: ItemCounts) -> None:
        """Exclude every selection that needs at least this many pieces of each item type."""
        self._infeasible_counts[paper].add(counts)

    def limit_area(self, paper: int, area: int) -> None:
        """Limit the area of the pieces on a paper, though that is not proven."""
        self._area_limits[paper] = min(area, self._area_limits.get(paper, area))

    def exclude(self, orders: frozenset[int]) -> None:
        """Exclude this very selection."""
        self._excluded.add(orders)

    def solve(self, *, like: frozenset[int] | None = None) -> MasterSolution | None:
        """Return the best selection; None if the solver found none.

        Parameters
        ----------
        like
            Select as many orders of each rank as there are among these.
        """
        return _MasterModel(self, use_estimates=True).solve(like)

    def order_bound(self) -> int:
        """Return a proven upper bound on the number of orders."""
        return _MasterModel(self, use_estimates=False).order_bound()


class _MasterModel:
    """The integer program in CP-SAT's form; `use_estimates` includes what is not proven."""

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
        """Add the constraints of one paper's sheets.

        An infeasible set of pieces is excluded by a clause: the selection needs fewer pieces of at
        least one of its item types.
        """
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
        is_below_count: dict[tuple[int, int], IntVar] = {}
        for infeasible_counts in sorted(self._master._infeasible_counts[paper]):
            below_any = []
            for item_type, count in enumerate(infeasible_counts):
                if count and (item_type, count) not in is_below_count:
                    is_below = is_below_count[item_type, count] = model.new_bool_var("")
                    produced = self._order_sum([row[item_type] for row in counts])
                    model.add(produced < count).only_enforce_if(is_below)
                if count:
                    below_any.append(is_below_count[item_type, count])
            model.add_bool_or(below_any)

    def _break_symmetry(self) -> None:
        """Of orders with equal rank and pieces, select earlier ones first."""
        previous: dict[tuple[int, tuple[ItemCounts, ...]], int] = {}
        for order, candidate in enumerate(self._master._candidates):
            key = candidate.rank, tuple(rows[order] for rows in self._master._counts)
            if key in previous:
                self._model.add_implication(
                    self._order_variables[order], self._order_variables[previous[key]]
                )
            previous[key] = order

    def order_bound(self) -> int:
        """Return an upper bound on the number of orders."""
        return self._maximize(self._model, [1] * len(self._order_variables))[1]

    def solve(self, like: frozenset[int] | None) -> MasterSolution | None:
        """Return the best selection, optimizing one objective after the other."""
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
        """Return weights of ranks, in groups; each group is one objective.

        Within a group, one order of a rank outweighs all orders of later ranks.  The weights grow
        with the number of orders, so ranks are grouped to keep them within the solver's range.
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
        """Fix the number of orders of each rank to that of a selection."""
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
        """Return the cheapest selection by the inequalities; of equal ones the earliest orders."""
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
        solver = cp_solver(_DETERMINISTIC_TIME)
        status = solve(solver, self._model, self._master._stop)
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return (None if status == cp_model.INFEASIBLE else best), 0.0
        min_cost = solver.value(cost)
        best = frozenset(
            i for i, variable in enumerate(self._order_variables) if solver.value(variable)
        )
        self._model.add(cost <= min_cost)
        # Later orders have a larger penalty.
        earlier, _ = self._maximize(
            self._model, [-order for order in range(len(self._order_variables))]
        )
        return (best if earlier is None else earlier), min_cost / scale if scale else 0.0

    def _maximize(
        self, model: CpModel, weights: Sequence[int], incumbent: frozenset[int] | None = None
    ) -> tuple[frozenset[int] | None, int]:
        """Maximize a weighted number of orders; return a selection and an upper bound."""
        from ortools.sat.python import cp_model

        model.maximize(self._order_sum(weights))
        solver = cp_solver(_DETERMINISTIC_TIME)
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
