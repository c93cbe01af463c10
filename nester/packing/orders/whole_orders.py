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
from nester.core.problem import Answer, Effort, Problem, Stock
from nester.packing.orders.capacity import Room
from nester.packing.orders.order_master import Applicant, Choice
from nester.packing.runtime.stop import Stop, never
from nester.packing.search.solve import NO_SHEET_LEFT, Progress, solve
from nester.packing.task.task import split_by_paper
from nester.packing.task.validate import refuse_unsound

__all__ = ["Claim", "Lack", "Verdict", "demanding", "left_over", "solve_orders"]

_LOOKS: tuple[tuple[float, int], ...] = ((1.0, 3), (0.5, 2))
"""How far what is not proven is trusted, and for how many choices: between what a search placed
(0) and all that it was asked for (1)."""
_MOST_LOOKS = 200
"""Choices looked at in all; doubts then shrink by halves."""
_MOST_LET_IN = 40
"""Orders tried one by one in the end."""
_PIECES_COMPARED = 2000
"""Equally good choices are compared by their cost until so many pieces have been placed for it."""


class Claim(NamedTuple):
    """What one order wants: numbers of pieces by the names of a problem's wants.

    Claims come most urgent first.  Those that follow each other and are due on the same day are
    equals; without a day, each is less urgent than those before it.
    """

    order: int
    pieces: Mapping[str, int]
    due: date | None = None


class Lack(NamedTuple):
    """Pieces of a waiting order for which there is no paper, and why."""

    order: int
    name: str
    quantity: int
    why: str


@dataclass(frozen=True)
class Verdict:
    """What becomes of a batch of orders.

    Attributes
    ----------
    problem, answer
        The problem cut down to the orders that are made, and its answer; nothing is unplaced.
    made, waiting
        Orders, most urgent first.
    lacks
        What the waiting orders lack beside what is left over when the others are made.
    most_possible
        No choice of orders completes more; proven.
    """

    problem: Problem
    answer: Answer
    made: tuple[int, ...]
    waiting: tuple[int, ...]
    lacks: tuple[Lack, ...]
    most_possible: int

    @property
    def proven_most(self) -> bool:
        """Whether it is proven that no choice of orders completes more."""
        return len(self.made) == self.most_possible


def solve_orders(
    problem: Problem,
    claims: Sequence[Claim],
    effort: Effort = Effort.NORMAL,
    *,
    processes: int = 1,
    stop: Stop = never,
    on_progress: Callable[[Progress], None] = lambda _: None,
) -> Verdict:
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
    refuse_unsound(problem)
    _refuse_unsound_claims(problem, claims)
    desk = _Orders(problem, claims, effort, processes, stop, on_progress)
    made, answer, most = desk.decide()
    chosen = [claim for place, claim in enumerate(claims) if place in made]
    waiting = [claim for place, claim in enumerate(claims) if place not in made]
    return Verdict(
        demanding(problem, chosen),
        answer,
        tuple(claim.order for claim in chosen),
        tuple(claim.order for claim in waiting),
        _lacks(problem, left_over(problem.stock, answer), waiting),
        most,
    )


def _refuse_unsound_claims(problem: Problem, claims: Sequence[Claim]) -> None:
    names = {want.name for want in problem.wants}
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


class _Orders:
    """The search for the best orders to make; orders are known by their places in the claims."""

    def __init__(
        self,
        problem: Problem,
        claims: Sequence[Claim],
        effort: Effort,
        processes: int,
        stop: Stop,
        on_progress: Callable[[Progress], None],
    ) -> None:
        self._problem = problem
        self._claims = claims
        self._effort = effort
        self._processes = processes
        self._stop = stop
        self._on_progress = on_progress
        whole = demanding(problem, claims)
        tasks, hopeless = split_by_paper(whole)
        without_hope = {want.name for want, _ in hopeless}
        self._open = [
            place
            for place, claim in enumerate(claims)
            if not without_hope.intersection(name for name, n in claim.pieces.items() if n)
        ]
        self._rooms = []
        for task in tasks:
            members = {blank.want.name for blanks in task.members for blank in blanks}
            of_paper = tuple(want for want in whole.wants if want.name in members)
            stock = tuple(one for one in problem.stock if one.paper == task.paper)
            self._rooms.append(Room(replace(whole, wants=of_paper, stock=stock), task))
        self._short = [(n, room) for n, room in enumerate(self._rooms) if not room.endless]
        ranks = _ranks(claims)
        applicants = [Applicant(ranks[place], claims[place].pieces) for place in self._open]
        self._choice = Choice(self._rooms, applicants, stop)

    def decide(self) -> tuple[frozenset[int], Answer, int]:
        """Return the orders to make, their answer, and the most that could be made."""
        everyone = frozenset(range(len(self._open)))
        if not self._learn(everyone, quickly=True):
            answer = self._solve(everyone)
            if not answer.unplaced:
                return self._places(everyone), answer, len(everyone)
        made = self._let_in(self._search())
        made = self._cheapest(made)
        answer = self._planned(made)
        return self._places(made), answer, max(len(made), self._choice.most())

    def _places(self, orders: frozenset[int]) -> frozenset[int]:
        return frozenset(self._open[order] for order in orders)

    def _pieces(self, orders: frozenset[int]) -> Counter[str]:
        return _totals([self._claims[place] for place in sorted(self._places(orders))])

    def _search(self) -> frozenset[int]:
        """Return a choice of orders for all of which there is room."""
        looks = [trust for trust, times in _LOOKS for _ in range(times)]
        shrink = 0
        for _ in range(_MOST_LOOKS):
            chosen = self._choice.best()
            if chosen is None:
                break
            if self._learn(chosen.orders):
                continue
            trust = looks[0] if looks else -(2.0**shrink - 1)
            # A hard look is dear: only the first choices get one.
            hard = self._effort is not Effort.QUICK and len(looks) > 3
            proven, fits = self._look(chosen.orders, trust, hard=hard)
            if fits:
                return chosen.orders
            if not proven and looks:
                looks.pop(0)
            elif not proven:
                shrink += 1
        return self._placed_whole()

    def _placed_whole(self) -> frozenset[int]:
        """Return orders for which there is room, found quickly: most urgent first.

        Of what a first plan places only whole orders are kept, and planned again, until all is
        placed.
        """
        orders = sorted(range(len(self._open)))
        while True:
            pieces = self._pieces(frozenset(orders))
            left = Counter(pieces)
            for _, room in self._short:
                held = room.holds(pieces, None, self._stop)
                left.subtract({one.name: one.quantity for one in held.answer.unplaced})
            whole = []
            for order in orders:
                wanted = self._pieces(frozenset({order}))
                if all(left[name] >= number for name, number in wanted.items()):
                    left.subtract(wanted)
                    whole.append(order)
            if len(whole) == len(orders):
                return frozenset(whole)
            orders = whole

    def _learn(self, orders: frozenset[int], *, quickly: bool = False) -> bool:
        """Look for inequalities that some orders break; say whether there are any."""
        learnt = False
        for number, room in self._short:
            counts = self._choice.counts(number, orders)
            found = room.broken(counts)
            if found is None and not quickly and not self._held(room, orders, None):
                found = room.refuted(counts, self._stop)
            if found is not None:
                self._choice.keep_to(number, found)
                learnt = True
        return learnt

    def _held(self, room: Room, orders: frozenset[int], effort: Effort | None) -> bool:
        return room.holds(self._pieces(orders), effort, self._stop).all

    def _look(self, orders: frozenset[int], trust: float, *, hard: bool) -> tuple[bool, bool]:
        """Look for room for some orders, paper by paper, and learn from what finds none.

        Returns
        -------
        tuple of bool
            Whether all that was learnt is proven, and whether there is room for all.
        """
        proven = fits = True
        pieces = self._pieces(orders)
        for number, room in self._short:
            for effort in (None, Effort.QUICK, Effort.NORMAL)[: 3 if hard else 2]:
                held = room.holds(pieces, effort, self._stop)
                if held.all or held.surely:
                    break
            if held.all:
                continue
            fits = False
            counts = self._choice.counts(number, orders)
            if held.surely:
                self._choice.forbid(number, room.fewest(counts, self._stop))
                continue
            proven = False
            asked = room.area(counts)
            unplaced = room.counts({one.name: one.quantity for one in held.answer.unplaced})
            placed = asked - room.area(unplaced)
            limit = placed + int((asked - placed) * trust)
            self._choice.doubt(number, max(0, min(limit, asked - 1)))
        return proven, fits

    def _let_in(self, made: frozenset[int]) -> frozenset[int]:
        """Let further orders in as long as there is room, the smallest first."""
        tries = 0
        waiting = frozenset(range(len(self._open))) - made
        for order in sorted(waiting, key=self._share):
            larger = made | {order}
            if tries == _MOST_LET_IN or self._stop():
                break
            if self._broken(larger):
                continue
            tries += 1
            if all(self._held(room, larger, None) for _, room in self._short):
                made = larger
        return made

    def _share(self, order: int) -> tuple[Fraction, int]:
        """Return the largest share that an order takes of any paper."""
        shares = [Fraction(0)]
        for number, room in self._short:
            area = room.area(self._choice.counts(number, frozenset({order})))
            on_hand = sum(
                n * kind.area for n, kind in zip(room.sheets, room.task.kinds, strict=True)
            )
            shares.append(Fraction(area, max(1, on_hand)))
        return max(shares), order

    def _broken(self, orders: frozenset[int]) -> bool:
        return any(
            room.broken(self._choice.counts(number, orders)) is not None
            for number, room in self._short
        )

    def _cheapest(self, made: frozenset[int]) -> frozenset[int]:
        """Compare choices of as many and as urgent orders by what they cost."""
        if not self._choice.ties(made):
            return made
        best, cost = made, self._quick(made).cost
        left = _PIECES_COMPARED
        passed = made
        while left > 0 and not self._stop():
            self._choice.pass_over(passed)
            chosen = self._choice.best(like=made)
            if chosen is None or chosen.outlay >= cost:
                break
            passed = chosen.orders
            left -= 50 + sum(self._pieces(passed).values())
            if self._learn(passed) or not self._look(passed, 1.0, hard=False)[1]:
                continue
            answer = self._quick(passed)
            if not answer.unplaced and answer.cost < cost:
                best, cost = passed, answer.cost
        return best

    def _quick(self, orders: frozenset[int]) -> Answer:
        wanted = [self._claims[place] for place in sorted(self._places(orders))]
        return solve(demanding(self._problem, wanted), Effort.QUICK, stop=self._stop)

    def _solve(self, orders: frozenset[int]) -> Answer:
        wanted = [self._claims[place] for place in sorted(self._places(orders))]
        return solve(
            demanding(self._problem, wanted),
            self._effort,
            processes=self._processes,
            stop=self._stop,
            on_progress=self._on_progress,
        )

    def _planned(self, orders: frozenset[int]) -> Answer:
        """Return a plan for orders for which there is room."""
        answer = self._solve(orders)
        if not answer.unplaced:
            return answer
        # The papers shared their effort.  Where that was too little, what was found before serves.
        # Its bound is on fewer pieces, which cost no more than all.
        paper_of = {want.name: want.paper for want in self._problem.wants}
        lacking = {paper_of[one.name] for one in answer.unplaced}
        of_paper = {one.name: one.paper for one in self._problem.stock}
        price = {one.name: one.price for one in self._problem.stock}
        layouts = [one for one in answer.layouts if of_paper[one.stock] not in lacking]
        for room in self._rooms:
            if room.task.paper in lacking:
                held = room.holds(self._pieces(orders), None, self._stop)
                layouts += held.answer.layouts
        cost = sum((price[one.stock] * one.copies for one in layouts), Fraction(0))
        return replace(answer, layouts=tuple(layouts), unplaced=(), cost=cost)


def _ranks(claims: Sequence[Claim]) -> list[int]:
    """Return for each claim how many days, or claims without a day, come before it."""
    ranks: list[int] = []
    for place, claim in enumerate(claims):
        equal = place and claim.due is not None and claim.due == claims[place - 1].due
        ranks.append(ranks[-1] + (not equal) if ranks else 0)
    return ranks


def left_over(stock: Sequence[Stock], answer: Answer) -> tuple[Stock, ...]:
    """Return the stock that an answer leaves untouched."""
    used: Counter[str] = Counter()
    for layout in answer.layouts:
        used[layout.stock] += layout.copies
    return tuple(
        one if one.quantity is None else replace(one, quantity=one.quantity - used[one.name])
        for one in stock
    )


def demanding(problem: Problem, claims: Sequence[Claim]) -> Problem:
    """Return a problem with just the pieces that the claims want."""
    totals = _totals(claims)
    return replace(
        problem,
        wants=tuple(
            replace(want, quantity=totals[want.name]) for want in problem.wants if totals[want.name]
        ),
    )


def _totals(claims: Sequence[Claim]) -> Counter[str]:
    totals: Counter[str] = Counter()
    for claim in claims:
        totals.update(claim.pieces)
    return totals


def _lacks(problem: Problem, free: tuple[Stock, ...], waiting: Sequence[Claim]) -> tuple[Lack, ...]:
    """Lay the waiting orders on what is left; what finds no place is lacked by the last of them."""
    if not waiting:
        return ()
    wanted = demanding(problem, waiting)
    # What fits some sheet, though none that is left, lacks no other size but one more sheet.
    hopeless = {want.name: why for want, why in split_by_paper(wanted)[1]}
    lacks = []
    for one in solve(replace(wanted, stock=free), Effort.QUICK).unplaced:
        rest = one.quantity
        for claim in reversed(waiting):
            number = min(rest, claim.pieces.get(one.name, 0))
            if number:
                why = hopeless.get(one.name, NO_SHEET_LEFT)
                lacks.append(Lack(claim.order, one.name, number, why))
                rest -= number
    position = {claim.order: place for place, claim in enumerate(waiting)}
    return tuple(sorted(lacks, key=lambda lack: position[lack.order]))
