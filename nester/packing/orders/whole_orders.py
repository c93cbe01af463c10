"""When paper is short: which orders are made completely, and what the others are short of.

An order is made completely or not at all, so that an order that can't be finished takes no paper
from one that can.  The objectives are lexicographic: as many orders as possible; of as many, the
most urgent (their ranks by due date, sorted, are compared one by one); then the least cost.

Logic-based Benders decomposition (Hooker and Ottosson, Mathematical Programming 96, 2003): the
master problem (`order_master.py`) selects orders by what is known of each paper's sheets; the
subproblem of each paper (`capacity.py`) looks for a plan for them.  If there is provably none, a
valid inequality or an infeasible set of pieces is added to the master.  If a search merely fails,
the master gets an area limit, which is tightened until the selection fits; then more orders are
added greedily while they fit.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from fractions import Fraction
from typing import NamedTuple

from nester.core.errors import Refusal
from nester.core.problem import CuttingPlan, Effort, Problem, StockItem
from nester.packing.orders.capacity import CapacityOracle
from nester.packing.orders.order_master import Candidate, OrderMaster
from nester.packing.runtime.stop import Stop, never
from nester.packing.search.solve import NO_ROOM_FOUND, NO_SHEET_LEFT, Progress, solve
from nester.packing.task.task import tasks_by_paper
from nester.packing.task.validate import validate

__all__ = [
    "OrderDemand",
    "OrderSelection",
    "Shortfall",
    "problem_for_orders",
    "solve_orders",
    "unused_stock",
]

_TRUST_SCHEDULE: tuple[tuple[float, int], ...] = ((1.0, 3), (0.5, 2))
"""Where the area limit is set after a failed search, and for how many iterations: between the area
that was placed (0) and all that was wanted (1)."""
_MAX_ITERATIONS = 200
"""Selections tried in all; after the schedule the area limits shrink faster and faster."""
_MAX_GREEDY_TRIES = 40
"""Orders tried one by one in the end."""
_MAX_COMPARED_PIECES = 2000
"""Pieces that may be placed to compare equally good selections by cost."""


class OrderDemand(NamedTuple):
    """The pieces of one order: numbers by the names of a problem's demands.

    Order demands come most urgent first.  Neighbours that are due on the same day have equal rank;
    an order without a due day is less urgent than those before it.
    """

    order: int
    pieces: Mapping[str, int]
    due: date | None = None


class Shortfall(NamedTuple):
    """Pieces of a waiting order for which there is no paper, and why."""

    order: int
    name: str
    quantity: int
    why: str


@dataclass(frozen=True)
class OrderSelection:
    """Which orders of a batch are made, and which wait.

    Attributes
    ----------
    problem, cutting_plan
        The problem with only the orders that are made, and its plan; nothing is unplaced.
    made, waiting
        Orders, most urgent first.
    shortfalls
        The pieces of the waiting orders for which the remaining stock has no paper.
    max_orders
        A proven upper bound on the number of orders that can be made.
    """

    problem: Problem
    cutting_plan: CuttingPlan
    made: tuple[int, ...]
    waiting: tuple[int, ...]
    shortfalls: tuple[Shortfall, ...]
    max_orders: int

    @property
    def is_optimal(self) -> bool:
        """Whether it is proven that no selection has more orders."""
        return len(self.made) == self.max_orders


def solve_orders(
    problem: Problem,
    order_demands: Sequence[OrderDemand],
    effort: Effort = Effort.NORMAL,
    *,
    processes: int = 1,
    stop: Stop = never,
    on_progress: Callable[[Progress], None] = lambda _: None,
) -> OrderSelection:
    """Select the orders that can be made completely, and plan them.

    Parameters
    ----------
    problem
        Its demands describe every piece; their quantities are taken from the order demands.
    order_demands
        What each order wants, most urgent first.
    effort, processes, stop, on_progress
        As for `nester.packing.search.solve`.

    Raises
    ------
    Refusal
        If the problem is invalid (see `nester.packing.task.validate`), or an order wants a piece
        that the problem doesn't describe, or a negative number of it.
    """
    validate(problem)
    _validate_order_demands(problem, order_demands)
    search = _OrderSearch(problem, order_demands, effort, processes, stop, on_progress)
    selected, plan, order_bound = search.solve()
    chosen = [order_demand for place, order_demand in enumerate(order_demands) if place in selected]
    waiting = [
        order_demand for place, order_demand in enumerate(order_demands) if place not in selected
    ]
    return OrderSelection(
        problem_for_orders(problem, chosen),
        plan,
        tuple(order_demand.order for order_demand in chosen),
        tuple(order_demand.order for order_demand in waiting),
        _shortfalls(problem, unused_stock(problem.stock, plan), waiting),
        order_bound,
    )


def _validate_order_demands(problem: Problem, order_demands: Sequence[OrderDemand]) -> None:
    names = {demand.name for demand in problem.demands}
    for number, times in Counter(order_demand.order for order_demand in order_demands).items():
        if times > 1:
            raise Refusal(f"order {number} stands {times} times in the batch; once would do")
    for order_demand in order_demands:
        for name, number in order_demand.pieces.items():
            if name not in names:
                raise Refusal(
                    f"order {order_demand.order} wants piece '{name}', which is not described"
                )
            if number < 0:
                raise Refusal(
                    f"order {order_demand.order} wants {number} of piece '{name}';"
                    " none or more would do"
                )


class _OrderSearch:
    """The decomposition; orders are indices of candidates.

    Candidates are the order demands whose pieces all fit some sheet; `_places` maps them back to
    indices of order demands.
    """

    def __init__(
        self,
        problem: Problem,
        order_demands: Sequence[OrderDemand],
        effort: Effort,
        processes: int,
        stop: Stop,
        on_progress: Callable[[Progress], None],
    ) -> None:
        self._problem = problem
        self._demands = order_demands
        self._effort = effort
        self._processes = processes
        self._stop = stop
        self._on_progress = on_progress
        combined = problem_for_orders(problem, order_demands)
        tasks, unplaceable = tasks_by_paper(combined)
        unplaceable_names = {demand.name for demand, _ in unplaceable}
        self._candidates = [
            place
            for place, order_demand in enumerate(order_demands)
            if not unplaceable_names.intersection(
                name for name, n in order_demand.pieces.items() if n
            )
        ]
        self._oracles = []
        for task in tasks:
            members = {blank.demand.name for blanks in task.blanks for blank in blanks}
            paper_demands = tuple(demand for demand in combined.demands if demand.name in members)
            stock = tuple(item for item in problem.stock if item.paper == task.paper)
            self._oracles.append(
                CapacityOracle(replace(combined, demands=paper_demands, stock=stock), task)
            )
        self._limited_oracles = [
            (n, oracle) for n, oracle in enumerate(self._oracles) if not oracle.is_unlimited
        ]
        ranks = _ranks(order_demands)
        candidates = [
            Candidate(ranks[place], order_demands[place].pieces) for place in self._candidates
        ]
        self._master = OrderMaster(self._oracles, candidates, stop)

    def solve(self) -> tuple[frozenset[int], CuttingPlan, int]:
        """Return the orders to make, their plan, and an upper bound on their number."""
        all_orders = frozenset(range(len(self._candidates)))
        if not self._separate(all_orders, quick_only=True):
            plan = self._solve(all_orders)
            if not plan.unplaced:
                return self._places(all_orders), plan, len(all_orders)
        selected = self._add_orders(self._search())
        selected = self._cheapest_selection(selected)
        plan = self._final_plan(selected)
        return self._places(selected), plan, max(len(selected), self._master.order_bound())

    def _places(self, orders: frozenset[int]) -> frozenset[int]:
        return frozenset(self._candidates[order] for order in orders)

    def _pieces(self, orders: frozenset[int]) -> Counter[str]:
        return _totals([self._demands[place] for place in sorted(self._places(orders))])

    def _search(self) -> frozenset[int]:
        """Iterate between master and subproblems until a selection fits; return it."""
        trust_levels = [trust for trust, times in _TRUST_SCHEDULE for _ in range(times)]
        halvings = 0
        for _ in range(_MAX_ITERATIONS):
            chosen = self._master.solve()
            if chosen is None:
                break
            if self._separate(chosen.orders):
                continue
            trust = trust_levels[0] if trust_levels else -(2.0**halvings - 1)
            # A thorough search is expensive: only the first selections get it.
            thorough = self._effort is not Effort.QUICK and len(trust_levels) > 3
            proven, is_feasible = self._check_capacity(chosen.orders, trust, thorough=thorough)
            if is_feasible:
                return chosen.orders
            if not proven and trust_levels:
                trust_levels.pop(0)
            elif not proven:
                halvings += 1
        return self._greedy_selection()

    def _greedy_selection(self) -> frozenset[int]:
        """Return a selection that fits, found quickly: most urgent first.

        Of a first plan, only the orders with all pieces placed are kept; these are planned again
        until everything is placed.
        """
        orders = sorted(range(len(self._candidates)))
        while True:
            pieces = self._pieces(frozenset(orders))
            placed = Counter(pieces)
            for _, oracle in self._limited_oracles:
                result = oracle.check(pieces, None, self._stop)
                placed.subtract(
                    {piece.name: piece.quantity for piece in result.cutting_plan.unplaced}
                )
            complete = []
            for order in orders:
                wanted = self._pieces(frozenset({order}))
                if all(placed[name] >= number for name, number in wanted.items()):
                    placed.subtract(wanted)
                    complete.append(order)
            if len(complete) == len(orders):
                return frozenset(complete)
            orders = complete

    def _separate(self, orders: frozenset[int], *, quick_only: bool = False) -> bool:
        """Add inequalities that a selection violates; return whether any were found."""
        learned = False
        for paper, oracle in self._limited_oracles:
            counts = self._master.counts(paper, orders)
            inequality = oracle.separate(counts)
            if (
                inequality is None
                and not quick_only
                and not self._is_feasible(oracle, orders, None)
            ):
                inequality = oracle.separate_by_dual_bound(counts, self._stop)
            if inequality is not None:
                self._master.add_inequality(paper, inequality)
                learned = True
        return learned

    def _is_feasible(
        self, oracle: CapacityOracle, orders: frozenset[int], effort: Effort | None
    ) -> bool:
        return oracle.check(self._pieces(orders), effort, self._stop).is_feasible

    def _check_capacity(
        self, orders: frozenset[int], trust: float, *, thorough: bool
    ) -> tuple[bool, bool]:
        """Look for plans of a selection paper by paper, and tighten the master where that fails.

        Returns
        -------
        tuple of bool
            Whether all added constraints are proven, and whether the selection fits.
        """
        all_proven = is_feasible = True
        pieces = self._pieces(orders)
        for paper, oracle in self._limited_oracles:
            for effort in (None, Effort.QUICK, Effort.NORMAL)[: 3 if thorough else 2]:
                result = oracle.check(pieces, effort, self._stop)
                if result.is_feasible or result.is_proven:
                    break
            if result.is_feasible:
                continue
            is_feasible = False
            counts = self._master.counts(paper, orders)
            if result.is_proven:
                self._master.forbid_counts(paper, oracle.minimal_infeasible(counts, self._stop))
                continue
            all_proven = False
            required_area = oracle.area(counts)
            unplaced = oracle.counts(
                {piece.name: piece.quantity for piece in result.cutting_plan.unplaced}
            )
            placed_area = required_area - oracle.area(unplaced)
            limit = placed_area + int((required_area - placed_area) * trust)
            self._master.limit_area(paper, max(0, min(limit, required_area - 1)))
        return all_proven, is_feasible

    def _add_orders(self, selected: frozenset[int]) -> frozenset[int]:
        """Add more orders while they fit, the smallest first."""
        tries = 0
        waiting = frozenset(range(len(self._candidates))) - selected
        for order in sorted(waiting, key=self._largest_area_share):
            larger = selected | {order}
            if tries == _MAX_GREEDY_TRIES or self._stop():
                break
            if self._violates_inequality(larger):
                continue
            tries += 1
            if all(self._is_feasible(oracle, larger, None) for _, oracle in self._limited_oracles):
                selected = larger
        return selected

    def _largest_area_share(self, order: int) -> tuple[Fraction, int]:
        """Return the largest share of any paper that an order takes; ties go to earlier orders."""
        shares = [Fraction(0)]
        for paper, oracle in self._limited_oracles:
            area = oracle.area(self._master.counts(paper, frozenset({order})))
            on_hand = sum(
                n * sheet_type.area
                for n, sheet_type in zip(oracle.sheets, oracle.task.bin_types, strict=True)
            )
            shares.append(Fraction(area, max(1, on_hand)))
        return max(shares), order

    def _violates_inequality(self, orders: frozenset[int]) -> bool:
        return any(
            oracle.separate(self._master.counts(paper, orders)) is not None
            for paper, oracle in self._limited_oracles
        )

    def _cheapest_selection(self, selected: frozenset[int]) -> frozenset[int]:
        """Return the cheapest selection found with as many orders of each rank."""
        if not self._master.has_ties(selected):
            return selected
        best, cost = selected, self._quick_plan(selected).cost
        pieces_left = _MAX_COMPARED_PIECES
        compared = selected
        while pieces_left > 0 and not self._stop():
            self._master.exclude(compared)
            chosen = self._master.solve(like=selected)
            if chosen is None or chosen.cost_bound >= cost:
                break
            compared = chosen.orders
            pieces_left -= 50 + sum(self._pieces(compared).values())
            if (
                self._separate(compared)
                or not self._check_capacity(compared, 1.0, thorough=False)[1]
            ):
                continue
            plan = self._quick_plan(compared)
            if not plan.unplaced and plan.cost < cost:
                best, cost = compared, plan.cost
        return best

    def _quick_plan(self, orders: frozenset[int]) -> CuttingPlan:
        demands = [self._demands[place] for place in sorted(self._places(orders))]
        return solve(problem_for_orders(self._problem, demands), Effort.QUICK, stop=self._stop)

    def _solve(self, orders: frozenset[int]) -> CuttingPlan:
        demands = [self._demands[place] for place in sorted(self._places(orders))]
        return solve(
            problem_for_orders(self._problem, demands),
            self._effort,
            processes=self._processes,
            stop=self._stop,
            on_progress=self._on_progress,
        )

    def _final_plan(self, orders: frozenset[int]) -> CuttingPlan:
        """Return a plan for a selection that fits."""
        plan = self._solve(orders)
        if not plan.unplaced:
            return plan
        # The papers shared their effort.  Where that was too little, the earlier plan is used.  The
        # bound stays valid: it is for fewer pieces, which cost no more than all.
        paper_of = {demand.name: demand.paper for demand in self._problem.demands}
        short_papers = {paper_of[piece.name] for piece in plan.unplaced}
        paper_of_stock = {item.name: item.paper for item in self._problem.stock}
        price = {item.name: item.price for item in self._problem.stock}
        layouts = [
            layout for layout in plan.layouts if paper_of_stock[layout.stock] not in short_papers
        ]
        for oracle in self._oracles:
            if oracle.task.paper in short_papers:
                result = oracle.check(self._pieces(orders), None, self._stop)
                layouts += result.cutting_plan.layouts
        cost = sum((price[layout.stock] * layout.copies for layout in layouts), Fraction(0))
        return replace(plan, layouts=tuple(layouts), unplaced=(), cost=cost)


def _ranks(order_demands: Sequence[OrderDemand]) -> list[int]:
    """Return the rank of each order: how many due days, or orders without one, come before it."""
    ranks: list[int] = []
    for place, order_demand in enumerate(order_demands):
        is_tied = (
            place
            and order_demand.due is not None
            and order_demand.due == order_demands[place - 1].due
        )
        ranks.append(ranks[-1] + (not is_tied) if ranks else 0)
    return ranks


def unused_stock(stock: Sequence[StockItem], plan: CuttingPlan) -> tuple[StockItem, ...]:
    """Return the stock that a plan doesn't use."""
    used: Counter[str] = Counter()
    for layout in plan.layouts:
        used[layout.stock] += layout.copies
    return tuple(
        item if item.quantity is None else replace(item, quantity=item.quantity - used[item.name])
        for item in stock
    )


def problem_for_orders(problem: Problem, order_demands: Sequence[OrderDemand]) -> Problem:
    """Return a problem with just the pieces of some orders."""
    totals = _totals(order_demands)
    return replace(
        problem,
        demands=tuple(
            replace(demand, quantity=totals[demand.name])
            for demand in problem.demands
            if totals[demand.name]
        ),
    )


def _totals(order_demands: Sequence[OrderDemand]) -> Counter[str]:
    totals: Counter[str] = Counter()
    for order_demand in order_demands:
        totals.update(order_demand.pieces)
    return totals


def _shortfalls(
    problem: Problem, unused: tuple[StockItem, ...], waiting: Sequence[OrderDemand]
) -> tuple[Shortfall, ...]:
    """Plan the waiting orders on unused stock; unplaced pieces are assigned to the last orders."""
    if not waiting:
        return ()
    waiting_problem = problem_for_orders(problem, waiting)
    # A piece that fits a sheet that is used up needs one more sheet, not a larger size; so
    # what fits nothing is decided by the whole stock.
    unplaceable = {demand.name: reason for demand, reason in tasks_by_paper(waiting_problem)[1]}
    shortfalls = []
    for piece in solve(replace(waiting_problem, stock=unused), Effort.QUICK).unplaced:
        missing = piece.quantity
        for order_demand in reversed(waiting):
            number = min(missing, order_demand.pieces.get(piece.name, 0))
            if number:
                short = piece.why if piece.why == NO_ROOM_FOUND else NO_SHEET_LEFT
                reason = unplaceable.get(piece.name, short)
                shortfalls.append(Shortfall(order_demand.order, piece.name, number, reason))
                missing -= number
    position = {order_demand.order: place for place, order_demand in enumerate(waiting)}
    return tuple(sorted(shortfalls, key=lambda shortfall: position[shortfall.order]))
