"""When paper is short: which orders are made whole, and what the others lack.

An order is made whole or not at all, so that one that can't be finished takes no paper from one
that can.  Orders are let in one by one, most urgent first, as long as all that is in can be
placed: by due date no order makes room for a later one.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

from nester.layouts import Answer, Effort, Problem, Stock
from nester.packing.model import split_by_paper
from nester.packing.solve import NO_SHEET_LEFT, Progress, solve
from nester.packing.stop import Stop, never

__all__ = ["Claim", "Lack", "Verdict", "left_over", "solve_orders"]


class Claim(NamedTuple):
    """What one order wants: numbers of pieces by the names of a problem's wants."""

    order: int
    pieces: Mapping[str, int]


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
    """

    problem: Problem
    answer: Answer
    made: tuple[int, ...]
    waiting: tuple[int, ...]
    lacks: tuple[Lack, ...]


def solve_orders(
    problem: Problem,
    claims: Sequence[Claim],
    effort: Effort = Effort.NORMAL,
    *,
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
    effort, stop, on_progress
        As for `nester.packing.solve`.
    """

    def attempt(orders: Sequence[Claim], how: Effort) -> Answer:
        return solve(
            _demanding(problem, orders),
            how,
            stop=stop,
            on_progress=on_progress if how is effort else lambda _: None,
        )

    chosen = list(claims)
    answer = attempt(chosen, effort)
    if answer.unplaced:
        chosen = _admit(problem, claims, answer, lambda orders: attempt(orders, Effort.QUICK))
        answer = attempt(chosen, effort)
    while answer.unplaced:
        # A whole batch shares its effort among papers, so it may miss what one order alone found.
        lacking = {one.name for one in answer.unplaced}
        latest = max(i for i, claim in enumerate(chosen) if lacking & claim.pieces.keys())
        del chosen[latest]
        answer = attempt(chosen, effort)
    made = tuple(claim.order for claim in chosen)
    waiting = [claim for claim in claims if claim.order not in set(made)]
    reduced = _demanding(problem, chosen)
    return Verdict(
        reduced,
        answer,
        made,
        tuple(claim.order for claim in waiting),
        _lacks(problem, left_over(problem.stock, answer), waiting),
    )


def left_over(stock: Sequence[Stock], answer: Answer) -> tuple[Stock, ...]:
    """Return the stock that an answer leaves untouched."""
    used: Counter[str] = Counter()
    for layout in answer.layouts:
        used[layout.stock] += layout.copies
    return tuple(
        one if one.quantity is None else replace(one, quantity=one.quantity - used[one.name])
        for one in stock
    )


def _demanding(problem: Problem, claims: Sequence[Claim]) -> Problem:
    """Return the problem with just the pieces that the claims want."""
    totals: Counter[str] = Counter()
    for claim in claims:
        totals.update(claim.pieces)
    return replace(
        problem,
        wants=tuple(
            replace(want, quantity=totals[want.name]) for want in problem.wants if totals[want.name]
        ),
    )


def _admit(
    problem: Problem,
    claims: Sequence[Claim],
    answer: Answer,
    attempt: Callable[[Sequence[Claim]], Answer],
) -> list[Claim]:
    """Let orders in while all can be placed; only papers that ran short are looked at."""
    paper_of = {want.name: want.paper for want in problem.wants}
    short = {paper_of[one.name] for one in answer.unplaced}
    narrow = [
        Claim(c.order, {n: k for n, k in c.pieces.items() if paper_of[n] in short}) for c in claims
    ]
    chosen: list[Claim] = []
    admitted: list[Claim] = []
    for claim, part in zip(claims, narrow, strict=True):
        if not part.pieces or not attempt([*admitted, part]).unplaced:
            chosen.append(claim)
            admitted.append(part)
    return chosen


def _lacks(problem: Problem, free: tuple[Stock, ...], waiting: Sequence[Claim]) -> tuple[Lack, ...]:
    """Lay the waiting orders on what is left; what finds no place is lacked by the last of them."""
    if not waiting:
        return ()
    wanted = _demanding(problem, waiting)
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
