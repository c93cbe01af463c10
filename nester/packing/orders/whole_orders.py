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
    claims: Sequence[OrderDemand],
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
    claims
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
    _validate_order_demands(problem, claims)
    desk = _OrderSearch(problem, claims, effort, processes, stop, on_progress)
    made, answer, most = desk.solve()
    chosen = [claim for place, claim in enumerate(claims) if place in made]
    waiting = [claim for place, claim in enumerate(claims) if place not in made]
    return OrderSelection(
        problem_for_orders(problem, chosen),
        answer,
        tuple(claim.order for claim in chosen),
        tuple(claim.order for claim in waiting),
        _shortfalls(problem, unused_stock(problem.stock, answer), waiting),
        most,
    )


def _validate_order_demands(problem: Problem, claims: Sequence[OrderDemand]) -> None:
    names = {want.name for want in problem.demands}
    for number, times in Counter(claim.order for claim in claims).items():
        if times > 1:
            raise Refusal(f"order {number} stands {times} times in the batch; once would do")
    for claim in claims:
        for name, number in claim.pieces.items():
            if name not in names:
                raise Refusal(f"order {claim.order} wants piece '{name}', which is not described")
            if number < 0:
                raise Refusal(
                    f"order {claim.order} wants {number} of piece '{name}'; none or more would do"
                )


class _OrderSearch:
    """The search for the best orders to make; orders are known by their places in the claims."""

    def __init__(
        self,
        problem: Problem,
        claims: Sequence[OrderDemand],
        effort: Effort,
        processes: int,
        stop: Stop,
        on_progress: Callable[[Progress], None],
    ) -> None:
        self._problem = problem
        self._demands = claims
        self._effort = effort
        self._processes = processes
        self._stop = stop
        self._on_progress = on_progress
        whole = problem_for_orders(problem, claims)
        tasks, hopeless = tasks_by_paper(whole)
        without_hope = {want.name for want, _ in hopeless}
        self._candidates = [
            place
            for place, claim in enumerate(claims)
            if not without_hope.intersection(name for name, n in claim.pieces.items() if n)
        ]
        self._oracles = []
        for task in tasks:
            members = {blank.demand.name for blanks in task.blanks for blank in blanks}
            of_paper = tuple(want for want in whole.demands if want.name in members)
            stock = tuple(one for one in problem.stock if one.paper == task.paper)
            self._oracles.append(
                CapacityOracle(replace(whole, demands=of_paper, stock=stock), task)
            )
        self._limited_oracles = [
            (n, room) for n, room in enumerate(self._oracles) if not room.is_unlimited
        ]
        ranks = _ranks(claims)
        applicants = [Candidate(ranks[place], claims[place].pieces) for place in self._candidates]
        self._master = OrderMaster(self._oracles, applicants, stop)

    def solve(self) -> tuple[frozenset[int], CuttingPlan, int]:
        """Return the orders to make, their answer, and the most that could be made."""
        everyone = frozenset(range(len(self._candidates)))
        if not self._separate(everyone, quickly=True):
            answer = self._solve(everyone)
            if not answer.unplaced:
                return self._places(everyone), answer, len(everyone)
        made = self._add_orders(self._search())
        made = self._cheapest_selection(made)
        answer = self._final_plan(made)
        return self._places(made), answer, max(len(made), self._master.order_bound())

    def _places(self, orders: frozenset[int]) -> frozenset[int]:
        return frozenset(self._candidates[order] for order in orders)

    def _pieces(self, orders: frozenset[int]) -> Counter[str]:
        return _totals([self._demands[place] for place in sorted(self._places(orders))])

    def _search(self) -> frozenset[int]:
        """Return a choice of orders for all of which there is room."""
        looks = [trust for trust, times in _TRUST_SCHEDULE for _ in range(times)]
        shrink = 0
        for _ in range(_MAX_ITERATIONS):
            chosen = self._master.solve()
            if chosen is None:
                break
            if self._separate(chosen.orders):
                continue
            trust = looks[0] if looks else -(2.0**shrink - 1)
            # A hard look is dear: only the first choices get one.
            hard = self._effort is not Effort.QUICK and len(looks) > 3
            proven, fits = self._check_capacity(chosen.orders, trust, hard=hard)
            if fits:
                return chosen.orders
            if not proven and looks:
                looks.pop(0)
            elif not proven:
                shrink += 1
        return self._greedy_selection()

    def _greedy_selection(self) -> frozenset[int]:
        """Return orders for which there is room, found quickly: most urgent first.

        Of what a first plan places only whole orders are kept, and planned again, until all is
        placed.
        """
        orders = sorted(range(len(self._candidates)))
        while True:
            pieces = self._pieces(frozenset(orders))
            left = Counter(pieces)
            for _, room in self._limited_oracles:
                held = room.check(pieces, None, self._stop)
                left.subtract({one.name: one.quantity for one in held.cutting_plan.unplaced})
            whole = []
            for order in orders:
                wanted = self._pieces(frozenset({order}))
                if all(left[name] >= number for name, number in wanted.items()):
                    left.subtract(wanted)
                    whole.append(order)
            if len(whole) == len(orders):
                return frozenset(whole)
            orders = whole

    def _separate(self, orders: frozenset[int], *, quickly: bool = False) -> bool:
        """Look for inequalities that some orders break; say whether there are any."""
        learnt = False
        for number, room in self._limited_oracles:
            counts = self._master.counts(number, orders)
            found = room.separate(counts)
            if found is None and not quickly and not self._is_feasible(room, orders, None):
                found = room.separate_by_dual_bound(counts, self._stop)
            if found is not None:
                self._master.add_inequality(number, found)
                learnt = True
        return learnt

    def _is_feasible(
        self, room: CapacityOracle, orders: frozenset[int], effort: Effort | None
    ) -> bool:
        return room.check(self._pieces(orders), effort, self._stop).is_feasible

    def _check_capacity(
        self, orders: frozenset[int], trust: float, *, hard: bool
    ) -> tuple[bool, bool]:
        """Look for room for some orders, paper by paper, and learn from what finds none.

        Returns
        -------
        tuple of bool
            Whether all that was learnt is proven, and whether there is room for all.
        """
        proven = fits = True
        pieces = self._pieces(orders)
        for number, room in self._limited_oracles:
            for effort in (None, Effort.QUICK, Effort.NORMAL)[: 3 if hard else 2]:
                held = room.check(pieces, effort, self._stop)
                if held.is_feasible or held.is_proven:
                    break
            if held.is_feasible:
                continue
            fits = False
            counts = self._master.counts(number, orders)
            if held.is_proven:
                self._master.forbid_counts(number, room.minimal_infeasible(counts, self._stop))
                continue
            proven = False
            asked = room.area(counts)
            unplaced = room.counts({one.name: one.quantity for one in held.cutting_plan.unplaced})
            placed = asked - room.area(unplaced)
            limit = placed + int((asked - placed) * trust)
            self._master.limit_area(number, max(0, min(limit, asked - 1)))
        return proven, fits

    def _add_orders(self, made: frozenset[int]) -> frozenset[int]:
        """Let further orders in as long as there is room, the smallest first."""
        tries = 0
        waiting = frozenset(range(len(self._candidates))) - made
        for order in sorted(waiting, key=self._largest_area_share):
            larger = made | {order}
            if tries == _MAX_GREEDY_TRIES or self._stop():
                break
            if self._violates_inequality(larger):
                continue
            tries += 1
            if all(self._is_feasible(room, larger, None) for _, room in self._limited_oracles):
                made = larger
        return made

    def _largest_area_share(self, order: int) -> tuple[Fraction, int]:
        """Return the largest share that an order takes of any paper."""
        shares = [Fraction(0)]
        for number, room in self._limited_oracles:
            area = room.area(self._master.counts(number, frozenset({order})))
            on_hand = sum(
                n * kind.area for n, kind in zip(room.sheets, room.task.bin_types, strict=True)
            )
            shares.append(Fraction(area, max(1, on_hand)))
        return max(shares), order

    def _violates_inequality(self, orders: frozenset[int]) -> bool:
        return any(
            room.separate(self._master.counts(number, orders)) is not None
            for number, room in self._limited_oracles
        )

    def _cheapest_selection(self, made: frozenset[int]) -> frozenset[int]:
        """Compare choices of as many and as urgent orders by what they cost."""
        if not self._master.has_ties(made):
            return made
        best, cost = made, self._quick_plan(made).cost
        left = _MAX_COMPARED_PIECES
        passed = made
        while left > 0 and not self._stop():
            self._master.exclude(passed)
            chosen = self._master.solve(like=made)
            if chosen is None or chosen.cost_bound >= cost:
                break
            passed = chosen.orders
            left -= 50 + sum(self._pieces(passed).values())
            if self._separate(passed) or not self._check_capacity(passed, 1.0, hard=False)[1]:
                continue
            answer = self._quick_plan(passed)
            if not answer.unplaced and answer.cost < cost:
                best, cost = passed, answer.cost
        return best

    def _quick_plan(self, orders: frozenset[int]) -> CuttingPlan:
        wanted = [self._demands[place] for place in sorted(self._places(orders))]
        return solve(problem_for_orders(self._problem, wanted), Effort.QUICK, stop=self._stop)

    def _solve(self, orders: frozenset[int]) -> CuttingPlan:
        wanted = [self._demands[place] for place in sorted(self._places(orders))]
        return solve(
            problem_for_orders(self._problem, wanted),
            self._effort,
            processes=self._processes,
            stop=self._stop,
            on_progress=self._on_progress,
        )

    def _final_plan(self, orders: frozenset[int]) -> CuttingPlan:
        """Return a plan for orders for which there is room."""
        answer = self._solve(orders)
        if not answer.unplaced:
            return answer
        # The papers shared their effort.  Where that was too little, what was found before serves.
        # Its bound is on fewer pieces, which cost no more than all.
        paper_of = {want.name: want.paper for want in self._problem.demands}
        lacking = {paper_of[one.name] for one in answer.unplaced}
        of_paper = {one.name: one.paper for one in self._problem.stock}
        price = {one.name: one.price for one in self._problem.stock}
        layouts = [one for one in answer.layouts if of_paper[one.stock] not in lacking]
        for room in self._oracles:
            if room.task.paper in lacking:
                held = room.check(self._pieces(orders), None, self._stop)
                layouts += held.cutting_plan.layouts
        cost = sum((price[one.stock] * one.copies for one in layouts), Fraction(0))
        return replace(answer, layouts=tuple(layouts), unplaced=(), cost=cost)


def _ranks(claims: Sequence[OrderDemand]) -> list[int]:
    """Return for each claim how many days, or claims without a day, come before it."""
    ranks: list[int] = []
    for place, claim in enumerate(claims):
        equal = place and claim.due is not None and claim.due == claims[place - 1].due
        ranks.append(ranks[-1] + (not equal) if ranks else 0)
    return ranks


def unused_stock(stock: Sequence[StockItem], answer: CuttingPlan) -> tuple[StockItem, ...]:
    """Return the stock that an answer leaves untouched."""
    used: Counter[str] = Counter()
    for layout in answer.layouts:
        used[layout.stock] += layout.copies
    return tuple(
        one if one.quantity is None else replace(one, quantity=one.quantity - used[one.name])
        for one in stock
    )


def problem_for_orders(problem: Problem, claims: Sequence[OrderDemand]) -> Problem:
    """Return a problem with just the pieces that the claims want."""
    totals = _totals(claims)
    return replace(
        problem,
        demands=tuple(
            replace(want, quantity=totals[want.name])
            for want in problem.demands
            if totals[want.name]
        ),
    )


def _totals(claims: Sequence[OrderDemand]) -> Counter[str]:
    totals: Counter[str] = Counter()
    for claim in claims:
        totals.update(claim.pieces)
    return totals


def _shortfalls(
    problem: Problem, free: tuple[StockItem, ...], waiting: Sequence[OrderDemand]
) -> tuple[Shortfall, ...]:
    """Lay the waiting orders on what is left; what finds no place is lacked by the last of them."""
    if not waiting:
        return ()
    wanted = problem_for_orders(problem, waiting)
    # What fits some sheet, though none that is left, lacks no other size but one more sheet.
    hopeless = {want.name: why for want, why in tasks_by_paper(wanted)[1]}
    lacks = []
    for one in solve(replace(wanted, stock=free), Effort.QUICK).unplaced:
        rest = one.quantity
        for claim in reversed(waiting):
            number = min(rest, claim.pieces.get(one.name, 0))
            if number:
                why = hopeless.get(one.name, NO_SHEET_LEFT)
                lacks.append(Shortfall(claim.order, one.name, number, why))
                rest -= number
    position = {claim.order: place for place, claim in enumerate(waiting)}
    return tuple(sorted(lacks, key=lambda lack: position[lack.order]))
