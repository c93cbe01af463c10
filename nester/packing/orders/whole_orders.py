"""When paper is short: which orders are made whole, and what the others lack.

An order is made whole or not at all, so that one that can't be finished takes no paper from one
that can.  The aim, strictly in this order: as many orders as possible; of as many, the most urgent
(their places in the order of due dates, sorted, are compared one by one); then the least cost.

A choice in whole numbers (`order_master.py`) proposes orders by what is known of each paper's
sheets; a search on each paper then finds room for them, or teaches the choice better
(`capacity.py`; logic-based Benders decomposition: Hooker and Ottosson, Mathematical Programming 96,
2003).  What is not proven but only not found is doubted by and by, until all that is chosen is
placed; then further orders are let in as long as there is room.
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
from nester.packing.search.solve import NO_SHEET_LEFT, Progress, solve
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
"""How far what is not proven is trusted, and for how many choices: between what a search placed
(0) and all that it was asked for (1)."""
_MAX_ITERATIONS = 200
"""Choices looked at in all; doubts then shrink by halves."""
_MAX_GREEDY_TRIES = 40
"""Orders tried one by one in the end."""
_MAX_COMPARED_PIECES = 2000
"""Equally good choices are compared by their cost until so many pieces have been placed for it."""


class OrderDemand(NamedTuple):
    """What one order wants: numbers of pieces by the names of a problem's wants.

    Claims come most urgent first.  Those that follow each other and are due on the same day are
    equals; without a day, each is less urgent than those before it.
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
    """What becomes of a batch of orders.

    Attributes
    ----------
    problem, cutting_plan
        The problem cut down to the orders that are made, and its answer; nothing is unplaced.
    made, waiting
        Orders, most urgent first.
    shortfalls
        What the waiting orders lack beside what is left over when the others are made.
    max_orders
        No choice of orders completes more; proven.
    """

    problem: Problem
    cutting_plan: CuttingPlan
    made: tuple[int, ...]
    waiting: tuple[int, ...]
    shortfalls: tuple[Shortfall, ...]
    max_orders: int

    @property
    def is_optimal(self) -> bool:
        """Whether it is proven that no choice of orders completes more."""
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
    """Plan the orders that can be made whole.

    Parameters
    ----------
    problem
        Its wants name every kind of piece; their quantities are taken from the claims.
    order_demands
        What each order wants, most urgent first.
    effort, processes, stop, on_progress
        As for `nester.packing.search.solve`.

    Raises
    ------
    Refusal
        If the problem has no meaning (see `nester.packing.task.validate`), or a claim wants what is
        not among the problem's wants or less than none of it.
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
    """The search for the best orders to make; orders are known by their places in the claims."""

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
        """Return the orders to make, their answer, and the most that could be made."""
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
        """Return a choice of orders for all of which there is room."""
        trust_levels = [trust for trust, times in _TRUST_SCHEDULE for _ in range(times)]
        halvings = 0
        for _ in range(_MAX_ITERATIONS):
            chosen = self._master.solve()
            if chosen is None:
                break
            if self._separate(chosen.orders):
                continue
            trust = trust_levels[0] if trust_levels else -(2.0**halvings - 1)
            # A hard look is dear: only the first choices get one.
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
        """Return orders for which there is room, found quickly: most urgent first.

        Of what a first plan places only whole orders are kept, and planned again, until all is
        placed.
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
        """Look for inequalities that some orders break; say whether there are any."""
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
        """Look for room for some orders, paper by paper, and learn from what finds none.

        Returns
        -------
        tuple of bool
            Whether all that was learnt is proven, and whether there is room for all.
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
        """Let further orders in as long as there is room, the smallest first."""
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
        """Return the largest share that an order takes of any paper."""
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
        """Compare choices of as many and as urgent orders by what they cost."""
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
        """Return a plan for orders for which there is room."""
        plan = self._solve(orders)
        if not plan.unplaced:
            return plan
        # The papers shared their effort.  Where that was too little, what was found before serves.
        # Its bound is on fewer pieces, which cost no more than all.
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
    """Return for each claim how many days, or claims without a day, come before it."""
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
    """Return the stock that an answer leaves untouched."""
    used: Counter[str] = Counter()
    for layout in plan.layouts:
        used[layout.stock] += layout.copies
    return tuple(
        item if item.quantity is None else replace(item, quantity=item.quantity - used[item.name])
        for item in stock
    )


def problem_for_orders(problem: Problem, order_demands: Sequence[OrderDemand]) -> Problem:
    """Return a problem with just the pieces that the claims want."""
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
    """Lay the waiting orders on what is left; what finds no place is lacked by the last of them."""
    if not waiting:
        return ()
    waiting_problem = problem_for_orders(problem, waiting)
    # What fits some sheet, though none that is left, lacks no other size but one more sheet.
    unplaceable = {demand.name: reason for demand, reason in tasks_by_paper(waiting_problem)[1]}
    shortfalls = []
    for piece in solve(replace(waiting_problem, stock=unused), Effort.QUICK).unplaced:
        missing = piece.quantity
        for order_demand in reversed(waiting):
            number = min(missing, order_demand.pieces.get(piece.name, 0))
            if number:
                reason = unplaceable.get(piece.name, NO_SHEET_LEFT)
                shortfalls.append(Shortfall(order_demand.order, piece.name, number, reason))
                missing -= number
    position = {order_demand.order: place for place, order_demand in enumerate(waiting)}
    return tuple(sorted(shortfalls, key=lambda lack: position[lack.order]))
